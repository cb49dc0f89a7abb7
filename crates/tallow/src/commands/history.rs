//! `tallow history`: what happened on a machine, or what the shop recorded of itself, newest first.

use jiff::ZonedDateTime;
use ledger::{Filter, Kind, Listed};
use motion::Quantity;
use serde_json::{Value, json};
use upkeep::entry::{Basis, Because, OwnLimit, Queued, Run};
use upkeep::shop::Visit;
use upkeep::{Entry, EntryId, Event, Rates, Usage, amount};

use crate::cli;
use crate::commands::{fault, keeper, readings, stores};
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::when;

pub(crate) async fn history(context: &Context, args: &cli::History) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let machine = match &args.machine {
        Some(name) => Some(context::machine(&ledger, name).await?),
        None => None,
    };
    let before = match args.before {
        Some(id) => Some((ledger.entry(EntryId(id)).await?.at, EntryId(id))),
        None => None,
    };
    // The shop itself has no name.
    let name = machine.as_ref().map_or_else(String::new, |machine| machine.info.name.clone());
    let filter = Filter { machine: Some(name), before, ..Filter::default() };
    let entries = ledger.entries(&filter, args.most).await?;
    let now = context.now_in(&ledger);
    if context.json {
        return context.out.json(&entries.iter().map(shape).collect());
    }
    let columns = [("entry", Align::Right), ("when", Align::Left), ("what", Align::Left), ("", Align::Left)];
    let mut table = Table::new(columns);
    for listed in &entries {
        let entry = &listed.entry;
        let at = when::spoken(&entry.at.to_zoned_datetime(now.time_zone().clone()));
        let outside = machine.as_ref().and_then(|machine| readings::mark(&machine.build, &entry.event));
        let cells = [entry.id.to_string(), at, said(entry, &now), remarks(listed, outside)];
        table.row(cells, Dress::Plain);
    }
    if entries.is_empty() && args.machine.is_none() {
        return context
            .out
            .line("The shop has recorded nothing of itself. A machine's history: tallow history MACHINE");
    }
    context.out.table(&table)?;
    match entries.last() {
        Some(last) if entries.len() == args.most as usize => {
            let machine = args.machine.as_ref().map_or_else(String::new, |name| format!(" \"{name}\""));
            context.out.line(format!("\nEarlier: tallow history{machine} --before {}", last.entry.id))
        }
        _ => Ok(()),
    }
}

/// What an entry says, in a line.
pub(crate) fn said(entry: &Entry, now: &ZonedDateTime) -> String {
    match &entry.event {
        Event::Added { build } => format!("joined the shop, build \"{build}\""),
        Event::Run(run) => format!("ran {}{}", run.label, run_words(run)),
        Event::Queued(queued) => format!("expects {}{}", queued.label, queued_words(queued, now)),
        Event::Done { task, supplies } if supplies.is_empty() => format!("done: {task}"),
        Event::Done { task, supplies } => {
            format!("done: {task}, with {}", supplies.iter().map(supply_words).collect::<Vec<_>>().join("; "))
        }
        Event::Replaced { position, because, spare } => {
            let with = spare.as_ref().map_or_else(String::new, |spare| format!(", by a {spare}"));
            format!("replaced: {position}, which {}{with}", because_words(*because))
        }
        Event::Failed { position, mode, found, mended } => {
            let (how, after) = (if *found { "found failed" } else { "failed" }, if *mended { ", mended" } else { "" });
            format!("{how}: {position}, {mode}{after}")
        }
        Event::Reading { position, what, value, unit } => format!("{position}: {what} {value} {unit}"),
        Event::HourMeter { hours, unbooked, .. } if unbooked.is_empty() => format!("hour meter {hours} h"),
        Event::HourMeter { hours, unbooked, .. } => {
            format!("hour meter {hours} h, {} of it not booked before", time_words(unbooked))
        }
        Event::Limit(own) => format!("own limit: {} every {}{}, {}", own.task, own.every, of_words(own), own.reason),
        Event::Age { position, of, amount } => {
            format!("{}: {}", old_words(position.as_deref()), aged(amount, of.as_deref()))
        }
        Event::Rates(rates) => format!("rates: {}", rates_words(rates)),
        Event::Visit(visit) => visit_words(visit, now),
        Event::Skipped { task, reason } => format!("skipped: {task}, because {reason}"),
        Event::Keeper(keeper) => keeper::keeper_words(keeper),
        Event::Away(away) => keeper::away_words(away, now.date()),
        Event::Ordered(ordered) => stores::ordered_words(ordered, now.date()),
        Event::Received(received) => stores::received_words(received, now.date()),
        Event::Counted(counted) => format!("counted: {} of {}", counted.amount, counted.item),
        Event::ThrownAway(thrown) => format!("thrown away: {} of {}, {}", thrown.amount, thrown.item, thrown.why),
        Event::Terms(terms) => stores::terms_words(terms),
        Event::FaultShown(shown) => format!("fault: {}", shown.symptoms.join("; ")),
        Event::FaultAnswered(answered) => fault::words::answered(answered),
        Event::FaultOver(over) => fault::words::over(over),
        Event::FaultGrade(own) => fault::words::own_grade(own),
        Event::Withdrawn => "withdrawn".to_owned(),
    }
}

/// `visit on 27 Nov by mate, 25 min: wipe the x rods; oil the y and z rods`.
fn visit_words(visit: &Visit, now: &ZonedDateTime) -> String {
    let day = crate::words::day(visit.day, now.date());
    let locked = if visit.is_locked { ", not to be moved" } else { "" };
    let took = visit.took.map_or_else(String::new, |took| format!(", walked in {took} min"));
    format!(
        "visit on {day} by {}, {:.0} min{locked}{took}: {}",
        visit.keeper,
        visit.minutes.ceil(),
        visit.tasks.join("; ")
    )
}

fn old_words(position: Option<&str>) -> String {
    format!("age of {} when records began", position.unwrap_or("every part"))
}

/// `1200 h of time`; calendar time is of nothing.
pub(crate) fn aged(amount: &str, of: Option<&str>) -> String {
    of.map_or_else(|| amount.to_owned(), |of| format!("{amount} of {of}"))
}

/// `an hour of labour 32, damage 180, in EUR`.
pub(crate) fn rates_words(rates: &Rates) -> String {
    let amounts = rates.amounts().into_iter().filter_map(|(what, amount)| Some(format!("{what} {}", amount?)));
    let currency = Some(format!("in {}", rates.currency)).filter(|_| !rates.currency.is_empty());
    amounts.chain(currency).collect::<Vec<_>>().join(", ")
}

/// ` of travel x`; nothing for calendar time.
fn of_words(own: &OwnLimit) -> String {
    own.of.as_ref().map_or_else(String::new, |of| format!(" of {of}"))
}

/// `2 ml of light oil`.
fn supply_words((name, amount): (&String, &String)) -> String {
    if amount.is_empty() { name.clone() } else { format!("{amount} of {name}") }
}

fn run_words(run: &Run) -> String {
    let stopped = run.stopped.as_ref().map_or_else(String::new, |point| format!(", stopped at {point}"));
    let basis = match run.basis {
        Basis::Metered => String::new(),
        Basis::Estimated { spread } => format!(", estimated, give or take {:.0} %", spread * 100.0),
    };
    format!(": {}{stopped}{basis}", use_words(&run.usage))
}

fn queued_words(queued: &Queued, now: &ZonedDateTime) -> String {
    let on = queued.on.map_or_else(String::new, |date| format!(" on {}", crate::words::day(date, now.date())));
    format!("{on}: {}", use_words(&queued.usage))
}

/// `2.9 h, 61 g ASA`.
pub(crate) fn use_words(usage: &Usage) -> String {
    let mut masses: Vec<(&str, f64)> = Vec::new();
    for (stream, grains) in usage.streams() {
        let mass = grains.amount(Quantity::FilamentMass);
        match masses.iter_mut().find(|(name, _)| *name == stream.material.name()) {
            Some((_, sum)) => *sum += mass,
            None => masses.push((stream.material.name(), mass)),
        }
    }
    let masses = masses.iter().filter(|(_, mass)| *mass > 0.0);
    let masses: Vec<String> =
        masses.map(|(name, mass)| format!("{} {name}", amount::print(*mass, Quantity::FilamentMass))).collect();
    [vec![time_words(usage)], masses].concat().join(", ")
}

fn time_words(usage: &Usage) -> String {
    amount::print(usage.amount(Quantity::Time), Quantity::Time)
}

/// The word of the option `--because`.
pub(crate) fn because_word(because: Because) -> &'static str {
    match because {
        Because::Failed => "failed",
        Because::Worn => "worn",
        Because::Good => "good",
    }
}

fn because_words(because: Because) -> &'static str {
    match because {
        Because::Failed => "had failed",
        Because::Worn => "was worn",
        Because::Good => "was good",
    }
}

fn remarks(listed: &Listed, outside: Option<String>) -> String {
    let corrects = listed.entry.corrects.map(|id| format!("corrects {id}"));
    let replaced = listed.replaced_by.map(|id| format!("no longer holds, see {id}"));
    let note = Some(listed.entry.note.clone()).filter(|note| !note.is_empty());
    let by = listed.by.as_ref().map(|by| format!("by {by}"));
    [outside, by, corrects, replaced, note].into_iter().flatten().collect::<Vec<_>>().join("; ")
}

/// A listed entry as JSON.
pub(crate) fn shape(listed: &Listed) -> Value {
    let entry = &listed.entry;
    json!({
        "entry": entry.id.0, "machine": entry.machine, "kind": Kind::of(&entry.event).word(), "at": entry.at.to_string(),
        "recorded": entry.recorded.to_string(), "note": entry.note, "corrects": entry.corrects.map(|id| id.0),
        "replaced_by": listed.replaced_by.map(|id| id.0), "by": listed.by, "event": event_shape(&entry.event),
    })
}

fn event_shape(event: &Event) -> Value {
    match event {
        Event::Added { build } => json!({ "build": build }),
        Event::Run(run) => json!({
            "label": run.label, "program": run.program, "stopped": run.stopped, "materials": materials_shape(&run.materials),
            "basis": match run.basis { Basis::Metered => "metered", Basis::Estimated { .. } => "estimated" },
            "spread": match run.basis { Basis::Metered => None, Basis::Estimated { spread } => Some(spread) },
            "queued": run.queued.map(|id| id.0), "use": usage_shape(&run.usage),
        }),
        Event::Queued(queued) => json!({
            "label": queued.label, "program": queued.program, "on": queued.on.map(|date| date.to_string()),
            "materials": materials_shape(&queued.materials), "use": usage_shape(&queued.usage),
        }),
        Event::Done { task, supplies } => json!({ "task": task, "supplies": supplies }),
        Event::Replaced { position, because, spare } => {
            json!({ "position": position, "because": because_word(*because), "spare": spare })
        }
        Event::Failed { position, mode, found, mended } => {
            json!({ "position": position, "mode": mode, "found": found, "mended": mended })
        }
        Event::Reading { position, what, value, unit } => {
            json!({ "position": position, "what": what, "value": value, "unit": unit })
        }
        Event::HourMeter { hours, unbooked, doubt } => {
            json!({ "hours": hours, "unbooked": usage_shape(unbooked), "doubt": doubt })
        }
        Event::Limit(own) => {
            json!({ "task": own.task, "of": own.of, "every": own.every, "reason": own.reason })
        }
        Event::Age { position, of, amount } => json!({ "position": position, "of": of, "amount": amount }),
        Event::Rates(rates) => rates_shape(rates),
        Event::Visit(visit) => json!({
            "day": visit.day.to_string(), "keeper": visit.keeper, "tasks": visit.tasks, "minutes": visit.minutes,
            "locked": visit.is_locked, "took": visit.took,
        }),
        Event::Skipped { task, reason } => json!({ "task": task, "reason": reason }),
        Event::Keeper(keeper) => {
            json!({ "keeper": keeper.name, "minutes": keeper.minutes, "skills": keeper.skills, "gone": keeper.is_gone })
        }
        Event::Away(away) => json!({
            "keeper": away.keeper, "from": away.from.to_string(), "to": away.to.to_string(), "why": away.why,
        }),
        Event::Ordered(ordered) => json!({
            "item": ordered.item, "amount": ordered.amount, "by": ordered.by.to_string(), "supplier": ordered.supplier,
        }),
        Event::Received(received) => json!({
            "item": received.item, "amount": received.amount, "price": received.price,
            "expires": received.expires.map(|day| day.to_string()), "supplier": received.supplier,
        }),
        Event::Counted(counted) => json!({ "item": counted.item, "amount": counted.amount }),
        Event::ThrownAway(thrown) => json!({ "item": thrown.item, "amount": thrown.amount, "why": thrown.why }),
        Event::Terms(terms) => stores::terms_shape(terms),
        Event::FaultShown(shown) => json!({ "symptoms": shown.symptoms }),
        Event::FaultAnswered(answered) => fault::shape::answered(answered),
        Event::FaultOver(over) => fault::shape::over(over),
        Event::FaultGrade(own) => fault::shape::own_grade(own),
        Event::Withdrawn => json!({}),
    }
}

/// Rates as JSON; what is not set is null.
pub(crate) fn rates_shape(rates: &Rates) -> Value {
    json!({
        "currency": rates.currency, "labour_per_hour": rates.labour_per_hour, "standing_per_hour": rates.standing_per_hour,
        "nuisance": rates.nuisance, "failed_print": rates.failed_print, "damage": rates.damage,
    })
}

fn materials_shape(materials: &std::collections::BTreeMap<motion::Tool, upkeep::Material>) -> Value {
    materials
        .iter()
        .map(|(tool, material)| (format!("T{tool}"), json!(material.name())))
        .collect::<serde_json::Map<_, _>>()
        .into()
}

/// Use as JSON: one object per tool and material, amounts in the quantities' SI units.
pub(crate) fn usage_shape(usage: &Usage) -> Value {
    let streams = usage.streams().map(|(stream, grains)| {
        let amounts = grains.iter().map(|(quantity, _)| (quantity.name().to_owned(), json!(grains.amount(quantity))));
        json!({ "tool": stream.tool, "material": stream.material.name(), "amounts": amounts.collect::<serde_json::Map<_, _>>() })
    });
    streams.collect()
}
