//! Many runs of one machine that come at once, by the same rule as one that comes by itself: decided in memory, written in one
//! transaction.

use std::collections::BTreeMap;

use jiff::{Timestamp, ZonedDateTime};
use ledger::{Error, Filter, Imported, Kind, Ledger};
use upkeep::entry::Run;

use super::arrive::{How, KnownBy, Standing, TRIES, arrive, new_entry, slot, standing, tells_more, the_same};
use super::executed::{Executed, Lookup};
use super::told::Told;
use crate::commands::hours;
use crate::commands::slot::{self as slots, By};
use crate::context::OnMachine;
use crate::trouble::Trouble;

/// What becomes of one of many runs.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Fate {
    /// It is booked, is there already, or corrects what is there.
    Came(How),
    /// It can't be booked.
    Refused(Trouble),
}

impl Fate {
    fn is_new(&self) -> bool {
        *self == Fate::Came(How::Booked)
    }
}

/// What is told, and the line that tells it.
pub(crate) type Line = (u64, Told);

/// Decides on many runs of one machine, in the order in which they stand, and books them if `write`: those that are new all or none.
/// What would correct an estimate is written after them, one by one.
///
/// # Errors
/// Where the shop can't be read or written; what is wrong with a run is its fate.
pub(crate) async fn arrive_all(
    ledger: &Ledger,
    machine: &OnMachine,
    lines: &[Line],
    now: &ZonedDateTime,
    write: bool,
) -> Result<Vec<Fate>, Trouble> {
    let executed = all_executed(ledger, machine, lines).await?;
    let name = &machine.info.name;
    for _ in 0..TRIES {
        // What is decided below holds only while nobody else books on this machine.
        let revision = ledger.revision(name).await?;
        let filter = Filter { machine: Some(name.clone()), kind: Some(Kind::Run), ..Filter::default() };
        let known = standing(ledger.entries(&filter, u32::MAX).await?);
        let mut fates = decide(machine, lines, &executed, &known, now);
        if !write {
            return Ok(fates);
        }
        let new = lines.iter().zip(&executed).zip(&fates).filter(|(_, fate)| fate.is_new());
        let entries = new.filter_map(|(((_, told), executed), _)| {
            let executed = executed.as_ref().ok()?;
            let start = executed.start(told, now).timestamp();
            Some(new_entry(machine, told, start, now, executed.run.clone()))
        });
        let imported = match ledger.as_read_at(revision).import(name, entries.collect()).await {
            Err(Error::MovedOn { .. }) => continue,
            imported => imported?,
        };
        for (fate, imported) in fates.iter_mut().filter(|fate| fate.is_new()).zip(imported) {
            if let Imported::Already(_) = imported {
                *fate = Fate::Came(How::Already);
            }
        }
        for (fate, (_, told)) in fates.iter_mut().zip(lines) {
            if *fate == Fate::Came(How::Refined) {
                *fate = match arrive(ledger, machine, told, None, now).await {
                    Err(trouble) if trouble.may_pass() => return Err(trouble),
                    Err(trouble) => Fate::Refused(trouble),
                    Ok(came) => Fate::Came(came.how),
                };
            }
        }
        hours::settle(ledger, machine, now.timestamp()).await?;
        return Ok(fates);
    }
    Err(Trouble::from(Error::MovedOn { machine: name.clone() }))
}

async fn all_executed(
    ledger: &Ledger,
    machine: &OnMachine,
    lines: &[Line],
) -> Result<Vec<Result<Executed, Trouble>>, Trouble> {
    let mut lookup = Lookup::new(ledger, machine).await?;
    let mut all = Vec::with_capacity(lines.len());
    for (_, told) in lines {
        match Executed::without_file(&mut lookup, told).await {
            Err(trouble) if trouble.may_pass() => return Err(trouble),
            executed => all.push(executed),
        }
    }
    Ok(all)
}

/// What becomes of each run, by the runs that count and those before it.
fn decide(
    machine: &OnMachine,
    lines: &[Line],
    executed: &[Result<Executed, Trouble>],
    known: &[Standing],
    now: &ZonedDateTime,
) -> Vec<Fate> {
    let mut by_start = ByStart::default();
    known.iter().for_each(|(id, at, run)| by_start.add(By::Entry(*id), *at, run));
    let mut fates = Vec::with_capacity(lines.len());
    for (row, executed) in lines.iter().zip(executed) {
        let fate = fate(machine, row, executed, &by_start, now);
        if let (Ok(How::Booked), Ok(executed)) = (&fate, executed) {
            by_start.add(By::Line(row.0), executed.start(&row.1, now).timestamp(), &executed.run);
        }
        fates.push(fate.map_or_else(Fate::Refused, Fate::Came));
    }
    fates
}

/// What becomes of one run, by those that count.
fn fate(
    machine: &OnMachine,
    (line, told): &Line,
    executed: &Result<Executed, Trouble>,
    by_start: &ByStart<'_>,
    now: &ZonedDateTime,
) -> Result<How, Trouble> {
    let executed = executed.as_ref().map_err(Clone::clone)?;
    let start = executed.start(told, now);
    machine.joined_by(&start)?;
    let (at, run) = (start.timestamp(), &executed.run);
    let slot = slot(machine, run, at, executed.duration());
    let near = || by_start.before(slots::end(at, executed.duration()));
    match the_same(near(), run, at) {
        None => slot.refuse_if_among(near(), now).map(|()| How::Booked),
        Some((By::Line(other), ..)) => Err(Trouble::refused(format!(
            "it is the same run as that of line {other}, which counts; line {line} is left out"
        ))),
        Some((By::Entry(_), _, other)) if tells_more(run, other) => Ok(How::Refined),
        Some((By::Entry(_), ..)) => Ok(How::Already),
    }
}

/// Runs of a machine by their start.
#[derive(Default)]
struct ByStart<'a> {
    runs: BTreeMap<(Timestamp, usize), KnownBy<'a, By>>,
}

impl<'a> ByStart<'a> {
    fn add(&mut self, by: By, at: Timestamp, run: &'a Run) {
        self.runs.insert((at, self.runs.len()), (by, at, run));
    }

    /// Those that began before an instant, the latest first; as many as one that comes by itself is compared with.
    fn before(&self, at: Timestamp) -> impl Iterator<Item = KnownBy<'a, By>> {
        self.runs.range(..(at, 0)).rev().take(slots::RUNS_TO_COMPARE as usize).map(|(_, known)| *known)
    }
}
