//! `tallow correct`: a new entry that names the old one.

use std::collections::BTreeSet;
use std::path::Path;

use jiff::{Timestamp, ZonedDateTime};
use ledger::{Ledger, NewEntry};
use motion::Tool;
use upkeep::entry::Run;
use upkeep::{Entry, EntryId, Event, booking};

use crate::cli;
use crate::commands::history::said;
use crate::commands::hours;
use crate::commands::keeper::refused;
use crate::commands::readings;
use crate::commands::record::{because, measured, say_recorded, spare};
use crate::commands::run::refined;
use crate::commands::slot::{self, Slot};
use crate::commands::stores;
use crate::context::{self, Context, OnMachine};
use crate::printed::{self, Printed};
use crate::trouble::Trouble;
use crate::when;

pub(crate) async fn correct(context: &Context, args: &cli::Correct) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let now = context.now_in(&ledger);
    let old = newest(&ledger, EntryId(args.entry)).await?;
    if args.withdraw {
        return withdraw(context, &ledger, &old, args).await;
    }
    if let Some(help) = set_anew(&old.event) {
        return Err(Trouble::refused(format!("entry {} can't be changed: that is set anew", old.id))
            .help(help)
            .help(format!("or, if it was never so: tallow correct {} --withdraw", old.id)));
    }
    let machine = match old.event.is_of_the_shop() {
        true => None,
        false => Some(context::machine(&ledger, &old.machine).await?),
    };
    let at = match &args.when {
        Some(text) => when::past(text, &now)?.timestamp(),
        None => old.at,
    };
    let event = match (&args.file, &machine) {
        (Some(file), Some(machine)) => with_file(context, &ledger, machine, &old, file, args).await?,
        _ => changed(&ledger, &old, args).await?,
    };
    if let Event::ThrownAway(thrown) = &event {
        thrown.check().map_err(|error| refused(&error))?;
        stores::enough(&ledger, thrown, at, Some(old.id)).await?;
    }
    if let Some(machine) = &machine {
        allowed(&ledger, machine, &old, at, &event, &now).await?;
    }
    if at == old.at && event == old.event && args.note.is_empty() {
        return Err(Trouble::refused(format!("entry {} already says that", args.entry)).help(
            "say what to change: --when, --material, --file, --because, --spare, --value, --note; or --withdraw",
        ));
    }
    let note = if args.note.is_empty() { old.note.clone() } else { args.note.clone() };
    let new = NewEntry { machine: old.machine.clone(), at, recorded: context.now, note, event };
    let id = ledger.correct(old.id, new).await?;
    if let Some(machine) = &machine {
        hours::settle(&ledger, machine, context.now).await?;
    }
    let corrected = ledger.entry(id).await?;
    let spoken = when::spoken(&corrected.at.to_zoned_datetime(now.time_zone().clone()));
    let outside = machine.and_then(|machine| readings::mark(&machine.build, &corrected.event));
    let outside = outside.map_or_else(String::new, |outside| format!(" ({outside})"));
    let said = said(&corrected, &now);
    say_recorded(context, id, corrected.at, &format!("entry {} now says: {said}{outside}, {spoken}", args.entry))
}

/// How what an entry says is said anew, where it can't be changed.
fn set_anew(event: &Event) -> Option<&'static str> {
    match event {
        Event::Rates(_) => Some("set the rate anew: tallow rates --labour 32"),
        Event::Keeper(_) => Some("set it anew: tallow keeper set NAME --minutes \"mon-fri 60\""),
        Event::Away(_) => Some("withdraw it and say it anew: tallow keeper away NAME --from DAY --to DAY"),
        Event::Terms(_) => Some("set them anew: tallow stores terms ITEM --price 9.50"),
        Event::Visit(_) => Some("a visit is moved by planning anew; --withdraw calls it off"),
        _ => None,
    }
}

/// Says that an entry did not happen, and settles the hour meter of its machine.
async fn withdraw(context: &Context, ledger: &Ledger, old: &Entry, args: &cli::Correct) -> Result<(), Trouble> {
    let machine = match old.event.is_of_the_shop() {
        true => None,
        false => Some(context::machine(ledger, &old.machine).await?),
    };
    let id = ledger.withdraw(old.id, context.now, &args.note).await?;
    if let Some(machine) = machine {
        settle_unless_gone(ledger, &machine, context).await?;
    }
    let was = said(old, &context.now_in(ledger));
    say_recorded(context, id, old.at, &format!("entry {} is withdrawn ({was})", args.entry))
}

/// Settles the hour meter, unless the machine itself was withdrawn.
async fn settle_unless_gone(ledger: &Ledger, machine: &OnMachine, context: &Context) -> Result<(), Trouble> {
    if ledger.machines().await?.iter().any(|there| there.name == machine.info.name) {
        hours::settle(ledger, machine, context.now).await?;
    }
    Ok(())
}

/// Refuses a time before the machine joined, and a run while the machine was busy with another.
async fn allowed(
    ledger: &Ledger,
    machine: &OnMachine,
    old: &Entry,
    at: Timestamp,
    event: &Event,
    now: &ZonedDateTime,
) -> Result<(), Trouble> {
    if matches!(event, Event::Added { .. }) {
        return Ok(());
    }
    machine.joined_by(&at.to_zoned_datetime(now.time_zone().clone()))?;
    match event {
        Event::Run(run) if at != old.at => {
            let slot = Slot {
                machine: &machine.info.name,
                label: &run.label,
                program: run.program.as_deref(),
                start: at,
                duration: slot::duration(&run.usage),
                corrects: Some(old.id),
            };
            slot.refuse_if_taken(ledger, now).await
        }
        _ => Ok(()),
    }
}

/// The entry as its newest correction has it.
async fn newest(ledger: &Ledger, id: EntryId) -> Result<Entry, Trouble> {
    let newest = ledger.newest(id).await?;
    if newest.id == id && newest.event == Event::Withdrawn {
        return Err(Trouble::refused(format!("entry {id} is itself a withdrawal, which can't be corrected"))
            .help("record what really happened as a new entry"));
    }
    if newest.event == Event::Withdrawn {
        return Err(Trouble::refused(format!("entry {id} is withdrawn, by entry {}", newest.id))
            .help("record what really happened as a new entry"));
    }
    Ok(newest)
}

/// A run as its print file has it.
async fn with_file(
    context: &Context,
    ledger: &Ledger,
    machine: &OnMachine,
    old: &Entry,
    file: &Path,
    args: &cli::Correct,
) -> Result<Event, Trouble> {
    let Event::Run(run) = &old.event else { return Err(does_not_fit(old.id, "--file", "a run")) };
    let source = context.source(file)?;
    Ok(Event::Run(refined(ledger, machine, run, &source, &args.materials).await?))
}

/// The event with what is to be changed.
async fn changed(ledger: &Ledger, old: &Entry, args: &cli::Correct) -> Result<Event, Trouble> {
    let mut event = old.event.clone();
    if !args.materials.is_empty() {
        event = with_materials(ledger, old.id, event, &args.materials).await?;
    }
    if let Some(reason) = args.because {
        let Event::Replaced { because: old, .. } = &mut event else {
            return Err(does_not_fit(old.id, "--because", "a part replaced"));
        };
        *old = because(reason);
    }
    if let Some(name) = &args.spare {
        let Event::Replaced { spare: old, .. } = &mut event else {
            return Err(does_not_fit(old.id, "--spare", "a part replaced"));
        };
        *old = Some(spare(ledger, name).await?);
    }
    if let Some(text) = &args.value {
        if let Some((item, amount)) = moved(&mut event) {
            *amount = stores::amount_in_unit(ledger, item, text).await?;
            return Ok(event);
        }
        let (measured, measured_in) = measured(text)?;
        match &mut event {
            Event::Reading { value, unit, .. } => {
                *value = measured;
                if !measured_in.is_empty() {
                    *unit = measured_in;
                }
            }
            Event::HourMeter { hours, .. } if matches!(measured_in.as_str(), "" | "h") => *hours = measured,
            Event::HourMeter { .. } => {
                return Err(Trouble::refused(format!("an hour meter shows hours, not {measured_in}"))
                    .help("write the hours alone, or with h: --value \"120 h\""));
            }
            _ => return Err(does_not_fit(old.id, "--value", "a reading or an amount in the stores")),
        }
    }
    Ok(event)
}

/// The item and the amount of what was moved in the stores.
fn moved(event: &mut Event) -> Option<(&str, &mut String)> {
    match event {
        Event::Ordered(ordered) => Some((&ordered.item, &mut ordered.amount)),
        Event::Received(received) => Some((&received.item, &mut received.amount)),
        Event::Counted(counted) => Some((&counted.item, &mut counted.amount)),
        Event::ThrownAway(thrown) => Some((&thrown.item, &mut thrown.amount)),
        _ => None,
    }
}

fn does_not_fit(entry: EntryId, option: &str, what: &str) -> Trouble {
    Trouble::refused(format!("{option} is for {what}, which entry {entry} is not"))
        .help(format!("withdraw it and record what really happened: tallow correct {entry} --withdraw"))
}

/// The run as printed in other materials.
async fn with_materials(ledger: &Ledger, entry: EntryId, event: Event, words: &[String]) -> Result<Event, Trouble> {
    let Event::Run(run) = event else { return Err(does_not_fit(entry, "--material", "a run")) };
    let known = context::materials(ledger).await?;
    let tools: BTreeSet<Tool> = run.usage.streams().map(|(stream, _)| stream.tool).collect();
    let changed = Printed::parse(words, &known)?.by_tool(&Vec::from_iter(tools))?;
    let usage = booking::reprinted(&run.usage, &changed);
    let mut materials = run.materials.clone();
    materials.extend(printed::names(&changed));
    Ok(Event::Run(Run { materials, usage, ..run }))
}
