//! `tallow visit`: visits that people have been told of, and what came of them.

use std::collections::BTreeMap;

use jiff::civil::Date;
use ledger::{Ledger, NewEntry, Told};
use serde_json::{Value, json};
use upkeep::shop::Visit;
use upkeep::{Build, EntryId, Event};

use crate::cli;
use crate::commands::record::{allowed, measured, supply, worded};
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::{when, words};

pub(crate) async fn visit(context: &Context, args: &cli::Visit) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    match &args.action {
        None => list(context, &ledger).await,
        Some(cli::VisitAction::Move { visit, to, keeper }) => {
            let told = standing(context, &ledger, *visit).await?;
            let day = when::coming_day(to, &context.now_in(&ledger))?;
            let keeper = match keeper {
                Some(name) => keeper_named(&ledger, name).await?,
                None => told.visit.keeper.clone(),
            };
            let said = format!("visit {visit} to {}: moved to {day}, {keeper}", told.machine);
            // Whoever moves a visit by hand wants it there.
            change(context, &ledger, &told, Visit { day, keeper, is_locked: true, ..told.visit.clone() }, &said).await
        }
        Some(cli::VisitAction::Lock { visit }) => lock(context, &ledger, *visit, true).await,
        Some(cli::VisitAction::Free { visit }) => lock(context, &ledger, *visit, false).await,
        Some(cli::VisitAction::Off { visit, why }) => {
            let told = standing(context, &ledger, *visit).await?;
            let why = worded(why, "why it is called off", "--why \"the machine is away\"")?;
            let entry = ledger.withdraw(told.id, context.now, &why).await?;
            say(context, entry, &format!("visit {visit} to {} on {}: called off", told.machine, told.visit.day))
        }
        Some(cli::VisitAction::Walked(walked)) => book(context, &ledger, walked).await,
    }
}

async fn list(context: &Context, ledger: &Ledger) -> Result<(), Trouble> {
    let today = context.now_in(ledger).date();
    let told: Vec<Told> = ledger.visits(today).await?.into_iter().filter(|told| !told.is_cancelled).collect();
    if context.json {
        return context.out.json(&told.iter().map(shape).collect());
    }
    if told.is_empty() {
        return context.out.line("Nobody has been told of a visit from today on. To plan some: tallow plan --keep");
    }
    let columns = [
        ("visit", Align::Right),
        ("day", Align::Left),
        ("keeper", Align::Left),
        ("machine", Align::Left),
        ("min", Align::Right),
        ("tasks", Align::Right),
        ("", Align::Left),
    ];
    let mut table = Table::new(columns);
    for told in &told {
        let Visit { day, keeper, tasks, minutes, is_locked, took } = &told.visit;
        let state = match (took, is_locked) {
            (Some(took), _) => format!("walked, {took} min"),
            (None, true) => "not to be moved".to_owned(),
            (None, false) => String::new(),
        };
        let cells = [
            told.id.to_string(),
            words::weekday(*day, today),
            keeper.clone(),
            told.machine.clone(),
            format!("{minutes:.0}"),
            tasks.len().to_string(),
            state,
        ];
        table.row(cells, Dress::Plain);
    }
    context.out.table(&table)?;
    let next = told.iter().find(|told| told.stands());
    next.map_or(Ok(()), |told| {
        context.out.line(format!("\nNext: tallow sheet {0}, and then: tallow visit walked {0}", told.id))
    })
}

fn shape(told: &Told) -> Value {
    let Visit { day, keeper, tasks, minutes, is_locked, took } = &told.visit;
    json!({
        "visit": told.id.0, "changes": told.sequence, "machine": told.machine, "day": day.to_string(), "keeper": keeper,
        "tasks": tasks, "minutes": minutes, "locked": is_locked, "took": took,
    })
}

/// The visit of that number that is still to be walked.
async fn standing(_context: &Context, ledger: &Ledger, visit: i64) -> Result<Told, Trouble> {
    let told = ledger.visits(Date::MIN).await?.into_iter().find(|told| told.id == EntryId(visit));
    let all = |trouble: Trouble| trouble.help("all visits from today on: tallow visit");
    match told {
        None => Err(all(Trouble::refused(format!("there is no visit {visit}")))),
        Some(told) if told.is_cancelled => Err(all(Trouble::refused(format!("visit {visit} was called off")))),
        Some(told) if told.visit.took.is_some() => {
            Err(all(Trouble::refused(format!("visit {visit} was walked already"))))
        }
        Some(told) => Ok(told),
    }
}

async fn lock(context: &Context, ledger: &Ledger, visit: i64, is_locked: bool) -> Result<(), Trouble> {
    let told = standing(context, ledger, visit).await?;
    let what = if is_locked { "stays where it is" } else { "may be moved" };
    let said = format!("visit {visit} to {}: {what} when planning anew", told.machine);
    if told.visit.is_locked == is_locked {
        return context.out.line(format!("{said}; it did already"));
    }
    change(context, ledger, &told, Visit { is_locked, ..told.visit.clone() }, &said).await
}

async fn change(context: &Context, ledger: &Ledger, told: &Told, visit: Visit, said: &str) -> Result<(), Trouble> {
    let new = NewEntry {
        machine: told.machine.clone(),
        at: context.now,
        recorded: context.now,
        note: String::new(),
        event: Event::Visit(visit),
    };
    let entry = ledger.correct(told.id, new).await?;
    say(context, entry, said)
}

fn say(context: &Context, entry: EntryId, said: &str) -> Result<(), Trouble> {
    match context.json {
        true => context.out.json(&json!({ "entry": entry.0, "said": said })),
        false => context.out.line(format!("entry {entry}: {said}")),
    }
}

async fn keeper_named(ledger: &Ledger, name: &str) -> Result<String, Trouble> {
    let keepers = ledger.keepers().await?;
    let found = upkeep::Unknown::find("keeper", name, &keepers, |one| &one.keeper.name)?;
    Ok(found.keeper.name.clone())
}

/// Books a whole visit: what was done, what was skipped and why, what was read and used.
async fn book(context: &Context, ledger: &Ledger, args: &cli::Walked) -> Result<(), Trouble> {
    let told = standing(context, ledger, args.visit).await?;
    let machine = context::machine(ledger, &told.machine).await?;
    let at = when::past(&args.when, &context.now_in(ledger))?;
    machine.joined_by(&at)?;
    let skipped =
        args.skip.iter().map(|text| skipped(&machine.build, &told, text)).collect::<Result<BTreeMap<_, _>, _>>()?;
    let also = args.also.iter().map(|name| Ok(machine.build.task(name)?.name.clone()));
    let also = also.collect::<Result<Vec<String>, Trouble>>()?;
    let mut events = Vec::new();
    let mut used = uses(&machine.build, &told, &also, &args.used)?;
    for task in told.visit.tasks.iter().chain(&also) {
        match skipped.get(task) {
            Some(reason) => events.push(Event::Skipped { task: task.clone(), reason: reason.clone() }),
            None => {
                let supplies = used.remove(task).unwrap_or_default();
                events.push(Event::Done { task: task.clone(), supplies });
            }
        }
    }
    for text in &args.reading {
        events.push(reading(&machine.build, text)?);
    }
    let took = args.took.unwrap_or(told.visit.minutes);
    let entry = |event: Event| NewEntry {
        machine: told.machine.clone(),
        at: at.timestamp(),
        recorded: context.now,
        note: args.note.clone(),
        event,
    };
    let n_done = events.iter().filter(|event| matches!(event, Event::Done { .. })).count();
    let visit = Visit { took: Some(took), ..told.visit.clone() };
    visit.check().map_err(|error| Trouble::from_text(&error.to_string()))?;
    // What was done first: it is worth more than that the visit is over.
    ledger.import(&told.machine, events.into_iter().map(entry).collect()).await?;
    let over = ledger.correct(told.id, NewEntry { at: context.now, ..entry(Event::Visit(visit)) }).await?;
    let said = format!(
        "visit {} to {}: walked in {took} min; {} done, {} skipped, {} taken",
        args.visit,
        told.machine,
        words::count(n_done as u64, "tasks"),
        skipped.len(),
        words::count(args.reading.len() as u64, "readings")
    );
    say(context, over, &said)
}

/// A task that was skipped, as typed: `oil the y rods: no oil left`.
fn skipped(build: &Build, told: &Told, text: &str) -> Result<(String, String), Trouble> {
    let help = "write the task and the reason: --skip \"oil the y rods: no oil left\"";
    let Some((name, reason)) = text.split_once(':') else {
        return Err(Trouble::refused(format!("\"{text}\" does not say why it was skipped")).help(help));
    };
    let task = build.task(name)?.name.clone();
    if !told.visit.tasks.contains(&task) {
        return Err(Trouble::refused(format!("\"{task}\" is not among the tasks of visit {}", told.id))
            .help(format!("its tasks are: {}", told.visit.tasks.join("; "))));
    }
    Ok((task, worded(reason, "why it was skipped", "\"oil the y rods: no oil left\"")?))
}

/// What was used besides or instead, by task, as typed: `wipe the x rods: isopropyl alcohol=5 ml`.
fn uses(
    build: &Build,
    told: &Told,
    also: &[String],
    texts: &[String],
) -> Result<BTreeMap<String, BTreeMap<String, String>>, Trouble> {
    let mut used: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
    for text in texts {
        let Some((name, said)) = text.split_once(':') else {
            return Err(Trouble::refused(format!("\"{text}\" does not say for which task it was used"))
                .help("write the task and the supply: --used \"oil the y rods: ISO VG 32 light oil=2 ml\""));
        };
        let task = build.task(name)?;
        if !told.visit.tasks.contains(&task.name) && !also.contains(&task.name) {
            return Err(Trouble::refused(format!("\"{}\" is not among the tasks of visit {}", task.name, told.id)));
        }
        let (supply, amount) = supply(said)?;
        let of_task = used.entry(task.name.clone()).or_default();
        of_task.insert(supply, amount);
        allowed(task, build.position(&task.at)?, of_task)?;
    }
    Ok(used)
}

/// A reading as typed: `belts: belt frequency = 104 Hz`.
fn reading(build: &Build, text: &str) -> Result<Event, Trouble> {
    let parts = text.split_once(':').and_then(|(position, rest)| Some((position, rest.split_once('=')?)));
    let Some((position, (what, value))) = parts else {
        return Err(Trouble::refused(format!("\"{text}\" is not a reading"))
            .help("write position, what was measured and the value: --reading \"belts: belt frequency = 104 Hz\""));
    };
    let position = build.position(position)?.name.clone();
    let (value, unit) = measured(value)?;
    Ok(Event::Reading { position, what: worded(what, "what was measured", "\"belt frequency\"")?, value, unit })
}
