//! `tallow visit`: visits that people have been told of, and what came of them.

pub(crate) mod moved;

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::{ToSpan, ZonedDateTime};
use ledger::{Ledger, Maker, NewEntry, Told};
use serde_json::{Value, json};
use upkeep::shop::{self, Visit};
use upkeep::{Build, EntryId, Event};

use crate::cli;
use crate::commands::keeper::refused;
use crate::commands::readings::{self, Found};
use crate::commands::record::{self, Known, allowed, supply, worded};
use crate::context::{self, Context, OnMachine};
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::{when, words};

pub(crate) async fn visit(context: &Context, args: &cli::Visit) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    match &args.action {
        None => list(context, &ledger).await,
        Some(cli::VisitAction::Move { visit, to, keeper }) => {
            moved::moved(context, &ledger, *visit, to, keeper.as_deref()).await
        }
        Some(cli::VisitAction::Lock { visit }) => lock(context, &ledger, *visit, true).await,
        Some(cli::VisitAction::Free { visit }) => lock(context, &ledger, *visit, false).await,
        Some(cli::VisitAction::Off { visit, why }) => {
            let told = standing(&ledger, *visit).await?;
            let why = worded(why, "why it is called off", "--why \"the machine is away\"")?;
            shop::said("why it is called off", &why).map_err(|error| refused(&error))?;
            let entry = ledger.withdraw(told.id, context.now, &why).await?;
            say(context, Some(entry), &format!("visit {visit} to {} on {}: called off", told.machine, told.visit.day))
        }
        Some(cli::VisitAction::Walked(walked)) => book(context, &ledger, walked, None).await,
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
async fn standing(ledger: &Ledger, visit: i64) -> Result<Told, Trouble> {
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
    let told = standing(ledger, visit).await?;
    let what = if is_locked { "locked where it is" } else { "free to be moved" };
    let said = format!("visit {visit} to {}: {what} when planning anew", told.machine);
    if told.visit.is_locked == is_locked {
        return say(context, None, &format!("{said}; it was already"));
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
    say(context, Some(entry), said)
}

/// Says what holds now, and the entry that was written if there was need of one.
fn say(context: &Context, entry: Option<EntryId>, said: &str) -> Result<(), Trouble> {
    match (context.json, entry) {
        (true, _) => context.out.json(&json!({ "entry": entry.map(|entry| entry.0), "said": said })),
        (false, Some(entry)) => context.out.line(format!("entry {entry}: {said}")),
        (false, None) => context.out.line(said),
    }
}

/// Books a whole visit: what was done, what was skipped and why, what was read and used. `by` is the press that books it, where
/// it is one of a device that may send it again.
///
/// # Errors
/// No such visit to be walked, and whatever it says that can't be booked.
pub(crate) async fn book(
    context: &Context,
    ledger: &Ledger,
    args: &cli::Walked,
    by: Option<&Maker<'_>>,
) -> Result<(), Trouble> {
    let told = standing(ledger, args.visit).await?;
    let machine = context::machine(ledger, &told.machine).await?;
    let now = context.now_in(ledger);
    let at = when::past(&args.when, &now)?;
    not_before_it_was_told(ledger, &told, &at).await?;
    machine.joined_by(&at)?;
    let skipped = all_skipped(&machine.build, &told, &args.skip)?;
    let also = besides(&machine.build, &told, &args.also)?;
    let mut events = Vec::new();
    let tasks: Vec<String> = told.visit.tasks.iter().chain(&also).cloned().collect();
    let known = record::known_supplies(ledger, args.new).await?;
    let mut used = uses(&machine.build, &tasks, &skipped, &args.used, &known)?;
    for task in &tasks {
        match skipped.get(task) {
            Some(reason) => events.push(Event::Skipped { task: task.clone(), reason: reason.clone() }),
            None => {
                let supplies = used.remove(task).unwrap_or_default();
                events.push(Event::Done { task: task.clone(), supplies });
            }
        }
    }
    for text in &args.reading {
        events.push(reading(ledger, &machine, text, args.new).await?);
    }
    let outside = events.iter().filter_map(|event| Found::in_event(&machine, event)).collect::<Vec<_>>();
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
    let over = NewEntry { at: context.now, ..entry(Event::Visit(visit)) };
    let over = ledger.finish_visit(told.id, over, events.into_iter().map(entry).collect(), by).await?;
    let day = if at.date() == now.date() { String::new() } else { format!(" on {}", when::spoken_day(&at)) };
    let said = format!(
        "visit {} to {}: walked{day} in {took} min; {} done, {} skipped, {} taken",
        args.visit,
        told.machine,
        words::count(n_done as u64, "tasks"),
        skipped.len(),
        words::count(args.reading.len() as u64, "readings")
    );
    if context.json {
        return context.out.json(
            &json!({ "entry": over.0, "said": said, "outside": outside.iter().map(Found::shape).collect::<Vec<_>>() }),
        );
    }
    say(context, Some(over), &said)?;
    outside.iter().try_for_each(|found| context.out.prose("", &found.words()))
}

/// Refuses what booking it would refuse, so that it can be said at the machine and not at the end.
///
/// # Errors
/// As booking: a skip without a reason, a reading that is none, a supply that must not touch the part.
pub(crate) async fn check(ledger: &Ledger, told: &Told, args: &cli::Walked) -> Result<(), Trouble> {
    let machine = context::machine(ledger, &told.machine).await?;
    let skipped = all_skipped(&machine.build, told, &args.skip)?;
    let known = record::known_supplies(ledger, args.new).await?;
    uses(&machine.build, &told.visit.tasks, &skipped, &args.used, &known)?;
    for text in &args.reading {
        reading(ledger, &machine, text, args.new).await?;
    }
    Ok(())
}

/// Refuses an instant at which nobody had been told of the visit yet; before its day it may well have been walked.
async fn not_before_it_was_told(ledger: &Ledger, told: &Told, at: &ZonedDateTime) -> Result<(), Trouble> {
    let first = ledger.entry(told.id).await?.recorded.to_zoned_datetime(at.time_zone().clone());
    // A time of day is told to the minute.
    if first <= at.saturating_add(1.minute()) {
        return Ok(());
    }
    Err(Trouble::refused(format!(
        "visit {} was told of on {}, so it can't have been walked on {}",
        told.id,
        when::spoken(&first),
        when::spoken(at)
    ))
    .help("give the day, with its year, and the time when it ended; a day without a year is the last of that name"))
}

/// What was skipped and why, by task.
fn all_skipped(build: &Build, told: &Told, texts: &[String]) -> Result<BTreeMap<String, String>, Trouble> {
    let mut all = BTreeMap::new();
    for text in texts {
        let (task, reason) = skipped(build, told, text)?;
        if all.insert(task.clone(), reason).is_some() {
            return Err(Trouble::refused(format!("\"{task}\" is skipped twice")).help("give one --skip for each task"));
        }
    }
    Ok(all)
}

/// Tasks that were done besides those of the visit.
fn besides(build: &Build, told: &Told, names: &[String]) -> Result<Vec<String>, Trouble> {
    let mut all: Vec<String> = Vec::new();
    for name in names {
        let task = &build.task(name)?.name;
        if told.visit.tasks.contains(task) {
            return Err(Trouble::refused(format!("\"{task}\" is a task of visit {} already", told.id))
                .help("leave it out of --also: a task of the visit counts as done unless it is skipped"));
        }
        if all.contains(task) {
            return Err(Trouble::refused(format!("\"{task}\" is named twice")).help("give one --also for each task"));
        }
        all.push(task.clone());
    }
    Ok(all)
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
    let reason = worded(reason, "why it was skipped", "\"oil the y rods: no oil left\"")?;
    shop::said("why it was skipped", &reason).map_err(|error| refused(&error))?;
    Ok((task, reason))
}

/// What was used besides or instead, by task, as typed: `wipe the x rods: isopropyl alcohol=5 ml`.
fn uses(
    build: &Build,
    tasks: &[String],
    skipped: &BTreeMap<String, String>,
    texts: &[String],
    known: &Known,
) -> Result<BTreeMap<String, BTreeMap<String, String>>, Trouble> {
    let mut used: BTreeMap<String, BTreeMap<String, String>> = BTreeMap::new();
    for text in texts {
        let Some((name, said)) = text.split_once(':') else {
            return Err(Trouble::refused(format!("\"{text}\" does not say for which task it was used"))
                .help("write the task and the supply: --used \"oil the y rods: ISO VG 32 light oil=2 ml\""));
        };
        let task = build.task(name)?;
        if !tasks.contains(&task.name) {
            return Err(Trouble::refused(format!("\"{}\" is not among the tasks of the visit", task.name))
                .help(format!("its tasks are: {}", tasks.join("; "))));
        }
        if skipped.contains_key(&task.name) {
            return Err(Trouble::refused(format!("\"{}\" was skipped, so nothing was used for it", task.name))
                .help("leave out its --used or its --skip"));
        }
        let (supply, amount) = supply(said, known)?;
        let of_task = used.entry(task.name.clone()).or_default();
        of_task.insert(supply, amount);
        allowed(task, build.position(&task.at)?, of_task)?;
    }
    Ok(used)
}

/// A reading as typed: `belts: belt frequency = 104 Hz`.
async fn reading(ledger: &Ledger, machine: &OnMachine, text: &str, is_new: bool) -> Result<Event, Trouble> {
    let parts = text.split_once(':').and_then(|(position, rest)| Some((position, rest.split_once('=')?)));
    let Some((position, (what, value))) = parts else {
        return Err(Trouble::refused(format!("\"{text}\" is not a reading"))
            .help("write position, what was measured and the value: --reading \"belts: belt frequency = 104 Hz\"")
            .help(format!("the positions are told by: tallow machine show \"{}\"", machine.info.name)));
    };
    let position = &machine.position(position)?.name;
    let what = worded(what, "what was measured", "\"belt frequency\"")?;
    Ok(readings::event(ledger, machine, position, &what, value, is_new).await?.0)
}
