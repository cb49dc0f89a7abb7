//! What a machine's own hour meter tells of runs that nobody booked.
//!
//! A reading is compared with the runs booked since the last reading that was settled: the first one, or one after which
//! hours were estimated. Between readings that agree nothing is settled, so that many small differences add up to one
//! that counts.

use jiff::Timestamp;
use ledger::{Filter, Kind, Ledger, NewEntry};
use motion::Quantity;
use upkeep::estimate::Ratios;
use upkeep::{Entry, EntryId, Event, Material, Usage};

use crate::commands::history::use_words;
use crate::commands::run::ratios;
use crate::context::{self, OnMachine};
use crate::printed;
use crate::trouble::Trouble;

const SECONDS_PER_HOUR: f64 = 3600.0;

/// Estimated hours that differ by less than this stay as they are: the ratios move a little with every run.
const SAME_HOURS: f64 = 0.05;

/// A reading of the hour meter.
pub(crate) struct Reading<'a> {
    pub(crate) at: Timestamp,
    pub(crate) hours: f64,
    pub(crate) material: &'a Material,
}

/// What a machine's entries say about its hours.
pub(crate) struct Hours<'a> {
    entries: &'a [Entry],
    ratios: &'a Ratios,
    /// The last reading that was settled, and when.
    settled: Option<(Timestamp, f64)>,
}

impl<'a> Hours<'a> {
    /// Of the entries that stand, oldest first.
    pub(crate) fn new(entries: &'a [Entry], ratios: &'a Ratios) -> Hours<'a> {
        Hours { entries, ratios, settled: None }
    }

    /// The use that no run accounts for up to this reading, estimated; `None` for the first. Readings come in the order of
    /// their times.
    ///
    /// # Errors
    /// The meter ran back, or less than is booked.
    pub(crate) fn next(&mut self, reading: &Reading<'_>) -> Result<Option<Usage>, Trouble> {
        let Some((since, before)) = self.settled else {
            self.settled = Some((reading.at, reading.hours));
            return Ok(None);
        };
        let booked = self.booked(since, reading.at);
        let estimate = self.ratios.unbooked(before, reading.hours, booked, 0, reading.material);
        let estimate = estimate.map_err(|error| Trouble::refused(error.to_string()))?;
        if estimate.is_some() {
            self.settled = Some((reading.at, reading.hours));
        }
        Ok(Some(estimate.map(|estimate| estimate.usage).unwrap_or_default()))
    }

    /// As [`Hours::next`], for a reading that was taken before: one that contradicts the runs by now accounts for nothing,
    /// and the next is compared with it alone.
    pub(crate) fn pass(&mut self, reading: &Reading<'_>) -> Usage {
        match self.next(reading) {
            Ok(usage) => usage.unwrap_or_default(),
            Err(_) => {
                self.settled = Some((reading.at, reading.hours));
                Usage::new()
            }
        }
    }

    /// Hours of runs that began from `since` on and before `until`.
    fn booked(&self, since: Timestamp, until: Timestamp) -> f64 {
        let within = self.entries.iter().filter(|entry| since <= entry.at && entry.at < until);
        let runs = within.filter(|entry| matches!(entry.event, Event::Run(_)));
        runs.filter_map(|entry| entry.event.usage()).map(|usage| usage.amount(Quantity::Time)).sum::<f64>()
            / SECONDS_PER_HOUR
    }
}

/// Records what a machine's hour meter showed, with the hours that no run accounts for; gives the entry, and what it says.
///
/// # Errors
/// Hours that no meter shows, or that it can't have shown then.
pub(crate) async fn read(
    ledger: &Ledger,
    machine: &OnMachine,
    at: Timestamp,
    hours: f64,
    material: &Material,
    note: &str,
    now: Timestamp,
) -> Result<(EntryId, String), Trouble> {
    if !(0.0..=1e7).contains(&hours) {
        return Err(
            Trouble::refused(format!("an hour meter can't show {hours} h")).help("give what it shows, 0 or more")
        );
    }
    let name = &machine.info.name;
    let entries = ledger.effective(name).await?;
    not_faster_than_the_clock(&entries, at, hours)?;
    let ratios = ratios(ledger, machine).await?;
    let mut meter = Hours::new(&entries, &ratios);
    for entry in entries.iter().filter(|entry| entry.at < at) {
        if let Event::HourMeter { hours, .. } = entry.event {
            meter.pass(&Reading { at: entry.at, hours, material });
        }
    }
    let (unbooked, finding) = match meter.next(&Reading { at, hours, material })? {
        // What it ran before the records began is nobody's to book.
        None => (Usage::new(), "from here on it is compared with the runs booked".to_owned()),
        Some(unbooked) if unbooked.is_empty() => (unbooked, "which agrees with the runs booked".to_owned()),
        Some(unbooked) => {
            let said = format!("{} that no run accounts for are added, as an estimate", use_words(&unbooked));
            (unbooked, said)
        }
    };
    let event = Event::HourMeter { hours, unbooked, doubt: ratios.doubt() };
    let new = NewEntry { machine: name.clone(), at, recorded: now, note: note.to_owned(), event };
    let entry = ledger.append(new).await?;
    settle(ledger, machine, now).await?;
    Ok((entry, format!("{name}: the hour meter shows {hours} h; {finding}")))
}

/// The material to charge unbooked hours to: as named, or none.
///
/// # Errors
/// A name that the shop does not know.
pub(crate) async fn material(ledger: &Ledger, name: &str) -> Result<Material, Trouble> {
    Ok(Material::new(&match name.trim() {
        "" => String::new(),
        name => printed::known(name, &context::materials(ledger).await?)?.name,
    }))
}

/// Refuses a reading that ran ahead of the clock since the one before it, or back since then or before the one after it.
fn not_faster_than_the_clock(entries: &[Entry], at: Timestamp, hours: f64) -> Result<(), Trouble> {
    let readings = entries.iter().filter_map(|entry| match entry.event {
        Event::HourMeter { hours, .. } => Some((entry.id, entry.at, hours)),
        _ => None,
    });
    for (entry, other_at, other) in readings {
        let (elapsed, ran) = match at < other_at {
            true => (other_at.duration_since(at), other - hours),
            false => (at.duration_since(other_at), hours - other),
        };
        let elapsed = elapsed.as_secs_f64() / 3600.0;
        // An hour of grace: meters show whole hours.
        if ran < 0.0 || elapsed + 1.0 < ran {
            let order = if at < other_at { "after" } else { "before" };
            return Err(Trouble::refused(format!(
                "the hour meter showed {other} h {elapsed:.1} h {order} that, so it can't show {hours} h"
            ))
            .help(format!("correct this reading, or that one: tallow correct {entry} --value \"120 h\"")));
        }
    }
    Ok(())
}

/// Corrects the estimates of hour meter readings that runs, readings or corrections since have overtaken, so that no hour
/// counts twice.
///
/// # Errors
/// Where the shop can't be read or written.
pub(crate) async fn settle(ledger: &Ledger, machine: &OnMachine, now: Timestamp) -> Result<(), Trouble> {
    let name = &machine.info.name;
    let filter = Filter { machine: Some(name.clone()), kind: Some(Kind::HourMeter), ..Filter::default() };
    if ledger.entries(&filter, 1).await?.is_empty() {
        return Ok(());
    }
    let entries = ledger.effective(name).await?;
    let ratios = ratios(ledger, machine).await?;
    let mut hours = Hours::new(&entries, &ratios);
    for entry in &entries {
        let Event::HourMeter { hours: shown, unbooked, .. } = &entry.event else { continue };
        let material =
            unbooked.streams().next().map_or_else(|| Material::new(""), |(stream, _)| stream.material.clone());
        let reading = Reading { at: entry.at, hours: *shown, material: &material };
        let now_unbooked = hours.pass(&reading);
        let hours_of = |usage: &Usage| usage.amount(Quantity::Time) / SECONDS_PER_HOUR;
        if (hours_of(&now_unbooked) - hours_of(unbooked)).abs() < SAME_HOURS {
            continue;
        }
        let new = NewEntry {
            machine: name.clone(),
            at: entry.at,
            recorded: now,
            note: "worked out anew from the runs and readings since".to_owned(),
            event: Event::HourMeter { hours: *shown, unbooked: now_unbooked, doubt: ratios.doubt() },
        };
        ledger.correct(entry.id, new).await?;
    }
    Ok(())
}
