//! `tallow fault end`: what a fault was, and what that makes of the record: a failure, a new part, a task done.

use std::collections::BTreeMap;

use ledger::{Imported, Ledger, NewEntry};
use upkeep::entry::Because;
use upkeep::fault::said::{Over, Was};
use upkeep::fault::{Case, Mending, RemedyKind};
use upkeep::{Event, Unknown};

use super::{Known, all, open_of_number, say, words};
use crate::cli;
use crate::commands::record::{allowed, because, known_supplies, spare, supply, worded};
use crate::context::Context;
use crate::trouble::Trouble;

pub(super) async fn end(context: &Context, args: &cli::FaultEnd) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let cases = all(&ledger).await?;
    let case = open_of_number(&cases, args.fault)?;
    let over = |was: Was| Event::FaultOver(Over { fault: case.id, was });
    let said = match (&args.was.cause, &args.was.other, &args.was.unknown) {
        (Some(name), ..) => {
            let known = Known::of(context, &ledger, &case.machine, &cases).await?;
            let titles: Vec<String> = known.faults.causes.iter().map(|cause| cause.title()).collect();
            let title = Unknown::find("cause", name, &titles, |title| title).map_err(Trouble::from)?;
            // OK because the title is one of these faults.
            let cause = known.faults.cause(title).expect("a listed cause");
            let events = vec![over(Was::Cause(title.clone()))];
            book(context, &ledger, case, &known, Mended { cause, helped: true, events }, &args.mending).await?
        }
        (_, Some(text), _) => {
            let text = worded(text, "what it was", "--other \"a pin was lying on the bed\"")?;
            write(context, &ledger, case, vec![over(Was::Unlisted(text))], &args.mending.note).await?
        }
        (.., unknown) => {
            let why = unknown.as_deref().unwrap_or_default();
            let why = worded(why, "why nobody looks for it any more", "--unknown \"it has not come back\"")?;
            write(context, &ledger, case, vec![over(Was::Unknown(why))], &args.mending.note).await?
        }
    };
    say::answer(context, &ledger, case, &said).await
}

/// A remedy that was carried out.
pub(super) struct Mended {
    /// The cause that it is for.
    pub(super) cause: usize,
    /// Whether it was that.
    pub(super) helped: bool,
    /// What is recorded of the fault itself.
    pub(super) events: Vec<Event>,
}

/// Records what was done, and that the part had failed where that was it; what was recorded, in words.
pub(super) async fn book(
    context: &Context,
    ledger: &Ledger,
    case: &Case,
    known: &Known,
    mended: Mended,
    args: &cli::Mending,
) -> Result<String, Trouble> {
    let cause = &known.faults.causes[mended.cause];
    let supplies = supplies(ledger, known, &cause.remedy.kind, args).await?;
    let spare = match (&args.spare, &cause.remedy.kind) {
        (None, _) => None,
        (Some(name), RemedyKind::Replace) => Some(spare(ledger, name).await?),
        (Some(_), _) => {
            return Err(Trouble::refused(format!("no part is replaced for \"{}\"", cause.title()))
                .help("leave --spare out; if you replaced one all the same: tallow replace POSITION --on MACHINE"));
        }
    };
    let usual = if mended.helped { Because::Failed } else { Because::Good };
    let mending = Mending { supplies, because: args.because.map_or(usual, because), spare };
    let came = known.faults.mended(mended.cause, mending).into_iter().flatten();
    let came = came.filter(|event| mended.helped || !matches!(event, Event::Failed { .. }));
    let events = mended.events.into_iter().chain(came).collect();
    write(context, ledger, case, events, &args.note).await
}

/// The supplies that were used, where a task was done.
async fn supplies(
    ledger: &Ledger,
    known: &Known,
    kind: &RemedyKind,
    args: &cli::Mending,
) -> Result<BTreeMap<String, String>, Trouble> {
    let RemedyKind::Task(task) = kind else {
        return match args.used.first() {
            None => Ok(BTreeMap::new()),
            Some(used) => Err(Trouble::refused(format!("\"{used}\" can't be booked: no task of the build was done"))
                .help("leave --used out, and say it in --note; or book it with a task: tallow done TASK --used …")),
        };
    };
    let names = known_supplies(ledger, args.new).await?;
    let supplies = args.used.iter().map(|text| supply(text, &names)).collect::<Result<BTreeMap<_, _>, _>>()?;
    let build = &known.machine.build;
    let task = build.task(task)?;
    allowed(task, build.position(&task.at)?, &supplies)?;
    Ok(supplies)
}

/// Writes what came of a fault, all or nothing; in words.
pub(super) async fn write(
    context: &Context,
    ledger: &Ledger,
    case: &Case,
    events: Vec<Event>,
    note: &str,
) -> Result<String, Trouble> {
    let told: Vec<String> = events.iter().map(|event| told(event, case)).collect();
    let entries = events.into_iter().map(|event| NewEntry {
        machine: case.machine.clone(),
        // A part failed when the fault began to show; all else happens now.
        at: if matches!(event, Event::Failed { .. }) { case.since } else { context.now },
        recorded: context.now,
        note: note.to_owned(),
        event,
    });
    let written = ledger.import(&case.machine, entries.collect()).await?;
    let numbered = written.iter().zip(&told).map(|(written, told)| match written {
        Imported::New(id) | Imported::Already(id) => format!("entry {id}: {told}"),
    });
    Ok(numbered.collect::<Vec<_>>().join("\n"))
}

/// What an event of a fault says.
fn told(event: &Event, case: &Case) -> String {
    match event {
        Event::FaultAnswered(answered) => words::answered(answered),
        Event::FaultOver(over) => words::over(over),
        Event::Done { task, .. } => format!("{task} on {}: done", case.machine),
        Event::Replaced { position, .. } => {
            format!("{position} on {}: replaced; its meters start at zero", case.machine)
        }
        Event::Failed { position, mode, mended, .. } => {
            let mended = if *mended { ", mended" } else { "" };
            format!("{position} on {}: failed, {mode}{mended}", case.machine)
        }
        _ => String::new(),
    }
}
