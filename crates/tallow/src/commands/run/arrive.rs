//! Booking a run, and knowing one again that has come before by whichever way.

use std::cmp::Reverse;

use jiff::{SignedDuration, Timestamp, ZonedDateTime};
use ledger::{Error, Ledger, Listed, NewEntry};
use upkeep::entry::{Basis, Run};
use upkeep::{Entry, EntryId, Event};

use super::executed::Executed;
use super::told::Told;
use crate::commands::hours;
use crate::commands::slot::{self, Slot};
use crate::context::OnMachine;
use crate::input::Source;
use crate::trouble::Trouble;
use crate::when;

/// How often a run is looked for anew where others book on the same machine meanwhile.
pub(super) const TRIES: usize = 20;

/// What became of a run that came.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Came {
    /// The entry by which it counts.
    pub(crate) entry: EntryId,
    /// What was done.
    pub(crate) how: How,
    /// That, in words.
    pub(crate) said: String,
}

/// What was done with a run that came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum How {
    /// It was booked.
    Booked,
    /// It counts already, and nothing was recorded.
    Already,
    /// What was known of it by its hours alone was corrected by what is known now.
    Refined,
}

impl How {
    /// The word for it in JSON.
    pub(crate) fn word(self) -> &'static str {
        match self {
            How::Booked => "booked",
            How::Already => "already",
            How::Refined => "refined",
        }
    }
}

/// Books a run as a person does: one that counts already, or for which there was no time, is refused.
///
/// # Errors
/// Such a run; what can't be metered or estimated.
pub(super) async fn book(
    ledger: &Ledger,
    machine: &OnMachine,
    told: &Told,
    source: Option<&Source>,
    now: &ZonedDateTime,
) -> Result<Came, Trouble> {
    let (executed, start) = executed(ledger, machine, told, source, now).await?;
    slot(machine, &executed.run, start.timestamp(), executed.duration()).refuse_if_taken(ledger, now).await?;
    let said = executed.said(&start);
    let new = new_entry(machine, told, start.timestamp(), now, executed.run);
    let entry = ledger.append(new).await.map_err(|error| match error {
        Error::AlreadyBooked(entry) => {
            Trouble::refused(format!("this run is already booked, as entry {entry}; it counts once"))
                .help(format!("if that entry is wrong: tallow correct {entry} --withdraw"))
        }
        error => error.into(),
    })?;
    booked(ledger, machine, entry, said, now).await
}

/// What a run that is told of used, and when it started: not before its machine joined the shop.
async fn executed(
    ledger: &Ledger,
    machine: &OnMachine,
    told: &Told,
    source: Option<&Source>,
    now: &ZonedDateTime,
) -> Result<(Executed, ZonedDateTime), Trouble> {
    let executed = Executed::of(ledger, machine, told, source).await?;
    let start = executed.start(told, now);
    machine.joined_by(&start)?;
    Ok((executed, start))
}

/// Books a run that comes by itself, perhaps more than once and by several ways: it counts once. Where it was known by its hours
/// alone and now its file is there, what was estimated is corrected; so are the machine's other runs of that file.
///
/// # Errors
/// A run for which there was no time, because the machine was at another; what can't be metered or estimated.
pub(crate) async fn arrive(
    ledger: &Ledger,
    machine: &OnMachine,
    told: &Told,
    source: Option<&Source>,
    now: &ZonedDateTime,
) -> Result<Came, Trouble> {
    let (executed, start) = executed(ledger, machine, told, source, now).await?;
    let came = arrived(ledger, machine, told, source, &executed, &start, now).await?;
    if let (Some(source), Some(program)) = (source, &executed.run.program) {
        refine_others(ledger, machine, program, source, now).await?;
    }
    Ok(came)
}

async fn arrived(
    ledger: &Ledger,
    machine: &OnMachine,
    told: &Told,
    source: Option<&Source>,
    executed: &Executed,
    start: &ZonedDateTime,
    now: &ZonedDateTime,
) -> Result<Came, Trouble> {
    for _ in 0..TRIES {
        // What is decided below holds only while nobody else books on this machine.
        let revision = ledger.revision(&machine.info.name).await?;
        let guarded = ledger.as_read_at(revision);
        let slot = slot(machine, &executed.run, start.timestamp(), executed.duration());
        let near = slot.near(ledger).await?;
        let known = the_same(as_known(&near), &executed.run, start.timestamp());
        let written = match known {
            None => {
                if let Err(trouble) = slot.refuse_if_taken(ledger, now).await {
                    match ledger.revision(&machine.info.name).await? == revision {
                        true => return Err(trouble),
                        // Perhaps it is taken by this very run, which somebody else has just booked.
                        false => continue,
                    }
                }
                let run = executed.run.clone();
                guarded.append(new_entry(machine, told, start.timestamp(), now, run)).await
            }
            Some((id, at, run)) if tells_more(&executed.run, run) => {
                let run = match source {
                    Some(source) => refined(ledger, machine, run, source, &told.materials).await?,
                    None => Run { label: run.label.clone(), ..executed.run.clone() },
                };
                let note = "known better now".to_owned();
                guarded.correct(id, NewEntry { note, ..new_entry(machine, told, at, now, run) }).await
            }
            Some((entry, ..)) => return already(ledger, entry, now).await,
        };
        match written {
            Err(Error::MovedOn { .. }) => continue,
            Err(Error::AlreadyBooked(entry)) => return already(ledger, entry, now).await,
            Ok(entry) if known.is_none() => return booked(ledger, machine, entry, executed.said(start), now).await,
            Ok(entry) => {
                hours::settle(ledger, machine, now.timestamp()).await?;
                let said = format!("what was estimated of {} is corrected", named(ledger, entry, now).await?);
                return Ok(Came { entry, how: How::Refined, said });
            }
            Err(error) => return Err(error.into()),
        }
    }
    Err(Trouble::from(Error::MovedOn { machine: machine.info.name.clone() }))
}

/// Corrects what was estimated of the machine's other runs of a program whose file has turned up. What does not fit the file stays
/// as it was.
async fn refine_others(
    ledger: &Ledger,
    machine: &OnMachine,
    program: &str,
    source: &Source,
    now: &ZonedDateTime,
) -> Result<(), Trouble> {
    for (id, at, run) in standing(ledger.estimated_runs(&machine.info.name, program).await?) {
        let Ok(better) = refined(ledger, machine, &run, source, &[]).await else { continue };
        let note = "the file turned up".to_owned();
        let new = NewEntry { note, ..new_entry(machine, &Told::default(), at, now, better) };
        ledger.correct(id, new).await?;
        hours::settle(ledger, machine, now.timestamp()).await?;
    }
    Ok(())
}

/// A run that was known by its hours alone, as its file has it: under its own name, of these materials or, where none are named, of
/// its own, and no longer than it was where it stopped early.
///
/// # Errors
/// What can't be metered, and materials that do not fit.
pub(crate) async fn refined(
    ledger: &Ledger,
    machine: &OnMachine,
    run: &Run,
    source: &Source,
    materials: &[String],
) -> Result<Run, Trouble> {
    let own = || run.materials.iter().map(|(tool, material)| format!("T{tool}={material}")).collect();
    let told = Told {
        materials: if materials.is_empty() { own() } else { materials.to_vec() },
        label: Some(run.label.clone()),
        hours: Some(slot::duration(&run.usage).as_secs_f64() / 3600.0),
        is_stopped: run.stopped.is_some(),
        ..Told::default()
    };
    Ok(Executed::of(ledger, machine, &told, Some(source)).await?.run)
}

/// Whether a run as it comes tells more than what is known of it.
pub(super) fn tells_more(new: &Run, known: &Run) -> bool {
    let is_estimated = known.basis != Basis::Metered;
    is_estimated && (new.basis == Basis::Metered || (known.program.is_none() && new.program.is_some()))
}

/// A run that counts: its entry, its start, and what it did.
pub(super) type Standing = (EntryId, Timestamp, Run);

/// A run that counts, and by what it is known.
pub(super) type KnownBy<'a, By> = (By, Timestamp, &'a Run);

/// The same, of runs of which the entry is known.
pub(super) fn as_known(runs: &[Standing]) -> impl Iterator<Item = KnownBy<'_, EntryId>> {
    runs.iter().map(|(id, at, run)| (*id, *at, run))
}

/// Which of the runs that count is the one that started at `start`: of the same program as far as programs are known, and at the
/// same instant, or at work together for half of the time of the longer of the two. The one that shares most time, of several.
pub(super) fn the_same<'a, By>(
    known: impl Iterator<Item = KnownBy<'a, By>>,
    new: &Run,
    start: Timestamp,
) -> Option<KnownBy<'a, By>> {
    let shared = |(_, at, run): &KnownBy<'a, By>| {
        let (one, other) = (slot::duration(&new.usage), slot::duration(&run.usage));
        let until = slot::end(start, one).min(slot::end(*at, other));
        (until.duration_since(start.max(*at)), one.max(other))
    };
    let is_same = |standing: &KnownBy<'a, By>| {
        let agrees = match (&new.program, &standing.2.program) {
            (Some(one), Some(other)) => one == other,
            _ => true,
        };
        let (shared, longer) = shared(standing);
        agrees && (standing.1 == start || SignedDuration::ZERO < shared && longer <= shared.saturating_mul(2))
    };
    known.filter(is_same).min_by_key(|standing| Reverse(shared(standing).0))
}

/// The runs of a list that count.
pub(super) fn standing(listed: Vec<Listed>) -> Vec<Standing> {
    let counting = listed.into_iter().filter(|listed| listed.replaced_by.is_none());
    let run = |listed: Listed| match listed.entry {
        Entry { id, at, event: Event::Run(run), .. } => Some((id, at, run)),
        _ => None,
    };
    counting.filter_map(run).collect()
}

impl Slot<'_> {
    /// The runs that count and began before this one's end.
    async fn near(&self, ledger: &Ledger) -> Result<Vec<Standing>, Trouble> {
        Ok(standing(ledger.entries(&self.before_its_end(), slot::RUNS_TO_COMPARE).await?))
    }
}

pub(super) fn slot<'a>(machine: &'a OnMachine, run: &'a Run, start: Timestamp, duration: SignedDuration) -> Slot<'a> {
    let (label, program) = (run.label.as_str(), run.program.as_deref());
    Slot { machine: &machine.info.name, label, program, start, duration, corrects: None }
}

pub(super) fn new_entry(machine: &OnMachine, told: &Told, at: Timestamp, now: &ZonedDateTime, run: Run) -> NewEntry {
    let (machine, note) = (machine.info.name.clone(), told.note.clone());
    NewEntry { machine, at, recorded: now.timestamp(), note, event: Event::Run(run) }
}

/// That a run was booked; the hour meter and the queue are told of it.
async fn booked(
    ledger: &Ledger,
    machine: &OnMachine,
    entry: EntryId,
    said: String,
    now: &ZonedDateTime,
) -> Result<Came, Trouble> {
    hours::settle(ledger, machine, now.timestamp()).await?;
    let fulfilled = match ledger.entry(entry).await?.event {
        Event::Run(Run { queued: Some(queued), .. }) => format!("; it was in the queue, as entry {queued}"),
        _ => String::new(),
    };
    Ok(Came { entry, how: How::Booked, said: format!("{said}{fulfilled}") })
}

async fn already(ledger: &Ledger, entry: EntryId, now: &ZonedDateTime) -> Result<Came, Trouble> {
    let said = format!("{} is booked already, and counts once", named(ledger, entry, now).await?);
    Ok(Came { entry, how: How::Already, said })
}

/// How messages call a run that counts.
async fn named(ledger: &Ledger, entry: EntryId, now: &ZonedDateTime) -> Result<String, Trouble> {
    let Entry { at, event, .. } = ledger.entry(entry).await?;
    let label = match event {
        Event::Run(run) => run.label,
        _ => format!("entry {entry}"),
    };
    Ok(format!("{label}, from {},", when::spoken(&at.to_zoned_datetime(now.time_zone().clone()))))
}
