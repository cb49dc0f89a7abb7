//! Readings, held against what the machine's build says is good.

use jiff::{Timestamp, ZonedDateTime};
use ledger::{Filter, Kind, Ledger};
use serde_json::{Value, json};
use upkeep::build::{Outside, Reading, Task};
use upkeep::{Build, EntryId, Event};

use crate::commands::record::{measured, not_near};
use crate::context::OnMachine;
use crate::trouble::Trouble;
use crate::words;

/// A value that is outside of the limits of its reading.
pub(crate) struct Found<'a> {
    machine: &'a str,
    task: &'a Task,
    reading: &'a Reading,
    value: f64,
    outside: Outside,
}

impl<'a> Found<'a> {
    /// What is wrong with a reading just recorded; `None` for one within its limits, without any, in another unit than
    /// theirs, and for what is no reading.
    pub(crate) fn in_event(machine: &'a OnMachine, event: &Event) -> Option<Found<'a>> {
        let Event::Reading { position, what, value, unit } = event else { return None };
        let (task, reading) = machine.build.reading(position, what)?;
        let outside = outside(reading, *value, unit)?;
        Some(Found { machine: &machine.info.name, task, reading, value: *value, outside })
    }

    /// By how much it is outside, and what to do next.
    pub(crate) fn words(&self) -> String {
        let Found { machine, task, reading, outside, .. } = self;
        format!(
            "{} of {} is outside of its limits: {} ({}). It is kept as it was read. Take it once more; if it stays outside, do \
             what its task says: tallow steps \"{}\" --on \"{machine}\"",
            reading.name,
            reading.at,
            outside_words(*outside, &reading.unit),
            reading.source,
            task.name
        )
    }

    pub(crate) fn shape(&self) -> Value {
        let Found { task, reading, value, outside, .. } = self;
        let (is, limit, by) = match *outside {
            Outside::Below { least, by } => ("below", least, by),
            Outside::Above { most, by } => ("above", most, by),
        };
        json!({ "position": reading.at, "what": reading.name, "value": value, "unit": reading.unit, "is": is, "limit": limit,
                "by": rounded(by), "source": reading.source, "task": task.name })
    }
}

/// How far a value is outside; `None` where it was read in another unit than the limits are stated in.
fn outside(reading: &Reading, value: f64, unit: &str) -> Option<Outside> {
    if reading.unit == unit { reading.outside(value) } else { None }
}

/// `5 Hz below 100 Hz, the least`.
fn outside_words(outside: Outside, unit: &str) -> String {
    let in_unit = |value: f64| format!("{} {unit}", rounded(value)).trim_end().to_owned();
    match outside {
        Outside::Below { least, by } => format!("{} below {}, the least", in_unit(by), in_unit(least)),
        Outside::Above { most, by } => format!("{} above {}, the most", in_unit(by), in_unit(most)),
    }
}

/// To a millionth, far finer than anything is read: a difference of decimal numbers shows no digits that nobody wrote.
fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// How an entry that is a reading outside of its limits is marked: `outside, 5 Hz below 100 Hz, the least`.
pub(crate) fn mark(build: &Build, event: &Event) -> Option<String> {
    let Event::Reading { position, what, value, unit } = event else { return None };
    let (_, reading) = build.reading(position, what)?;
    Some(format!("outside, {}", outside_words(outside(reading, *value, unit)?, unit)))
}

/// What is good: `100 to 120 Hz`, `at most 0.1 mm`, `see the maker's manual`.
pub(crate) fn good(reading: &Reading) -> String {
    let in_unit = |words: String| format!("{words} {}", reading.unit).trim_end().to_owned();
    match (reading.least, reading.most) {
        (Some(least), Some(most)) => in_unit(format!("{least} to {most}")),
        (Some(least), None) => in_unit(format!("at least {least}")),
        (None, Some(most)) => in_unit(format!("at most {most}")),
        (None, None) => format!("see {}", reading.source),
    }
}

/// A reading as it is to be recorded, by the name that the build has for it and in the unit in which it was taken before;
/// and in words: `belt frequency 104 Hz`.
///
/// # Errors
/// A name near to that of another reading there, unless `is_new`; a value that is none, or in another unit than the same was measured in before, or than the build states.
pub(crate) async fn event(
    ledger: &Ledger,
    machine: &OnMachine,
    position: &str,
    what: &str,
    value: &str,
    is_new: bool,
) -> Result<(Event, String), Trouble> {
    let (value, unit) = measured(value)?;
    let known = machine.build.reading(position, what).map(|(_, reading)| reading);
    let what = known.map_or(what, |reading| &reading.name).to_owned();
    let taken = taken(ledger, &machine.info.name, Some(position.to_owned())).await?;
    let stated = machine.build.tasks.iter().flat_map(|task| &task.readings).filter(|reading| reading.at == position);
    let names: Vec<String> =
        stated.map(|reading| &reading.name).chain(taken.iter().map(|taken| &taken.what)).cloned().collect();
    not_near("reading", &what, &names, is_new)?;
    let before = taken.into_iter().find(|taken| taken.what.eq_ignore_ascii_case(&what));
    match (before.map(|taken| (taken.entry, taken.unit)), known) {
        (Some((entry, before)), _) if before != unit => Err(Trouble::refused(format!(
            "{what} of {position} was measured in {} before, as entry {entry}, not in {}",
            unit_words(&before),
            unit_words(&unit)
        ))
        .help("give it in the same unit; if that entry was wrong: tallow correct ENTRY --value \"110 Hz\"")),
        (None, Some(reading)) if reading.unit != unit => Err(Trouble::refused(format!(
            "{what} of {position} is read in {}, says the build, not in {}",
            unit_words(&reading.unit),
            unit_words(&unit)
        ))
        .help("give it in that unit, or under another name")),
        _ => {
            let words = format!("{what} {value} {unit}").trim_end().to_owned();
            Ok((Event::Reading { position: position.to_owned(), what, value, unit }, words))
        }
    }
}

fn unit_words(unit: &str) -> &str {
    if unit.is_empty() { "no unit" } else { unit }
}

/// Among how many of a machine's or part's latest readings one is looked for.
const LATEST: u32 = 200;

/// A reading as it was taken last.
#[derive(Clone, Debug)]
pub(crate) struct Taken {
    pub(crate) position: String,
    pub(crate) what: String,
    pub(crate) value: f64,
    pub(crate) unit: String,
    pub(crate) at: Timestamp,
    pub(crate) entry: EntryId,
}

impl Taken {
    /// Whether it is the reading that a build names.
    pub(crate) fn is(&self, reading: &Reading) -> bool {
        self.position == reading.at && self.what.to_lowercase() == reading.name.to_lowercase()
    }

    /// How far it is outside of the limits that a build states.
    fn outside(&self, build: &Build) -> Option<Outside> {
        outside(build.reading(&self.position, &self.what)?.1, self.value, &self.unit)
    }

    /// By how much it is outside of the limits that a build states, in words.
    pub(crate) fn outside_words(&self, build: &Build) -> Option<String> {
        Some(outside_words(self.outside(build)?, &self.unit))
    }

    /// `x rods: play 0.3 mm on 25 Nov (good: at most 0.1 mm); outside: 0.2 mm above 0.1 mm, the most`.
    pub(crate) fn words(&self, build: &Build, now: &ZonedDateTime) -> String {
        let Taken { position, what, value, unit, .. } = self;
        let day = words::day(now.time_zone().to_datetime(self.at).date(), now.date());
        let good = build.reading(position, what).map(|(_, reading)| good(reading));
        let good = good.map_or_else(String::new, |good| format!(" (good: {good})"));
        let outside = self.outside_words(build).map_or_else(String::new, |words| format!("; outside: {words}"));
        let value = format!("{value} {unit}");
        format!("{position}: {what} {} on {day}{good}{outside}", value.trim_end())
    }

    pub(crate) fn shape(&self, build: &Build) -> Value {
        let reading = build.reading(&self.position, &self.what).map(|(_, reading)| reading);
        let outside = self.outside(build).map(|outside| match outside {
            Outside::Below { .. } => "below",
            Outside::Above { .. } => "above",
        });
        json!({ "position": self.position, "what": self.what, "value": self.value, "unit": self.unit,
                "at": self.at.to_string(), "entry": self.entry.0, "least": reading.and_then(|reading| reading.least),
                "most": reading.and_then(|reading| reading.most), "outside": outside })
    }
}

/// What was measured on a machine, at one position or at all, each as it was last; the latest first.
pub(crate) async fn taken(ledger: &Ledger, machine: &str, about: Option<String>) -> Result<Vec<Taken>, Trouble> {
    let filter = Filter { machine: Some(machine.to_owned()), kind: Some(Kind::Reading), about, ..Filter::default() };
    let mut all: Vec<Taken> = Vec::new();
    for listed in ledger.entries(&filter, LATEST).await?.into_iter().filter(|listed| listed.replaced_by.is_none()) {
        let Event::Reading { position, what, value, unit } = listed.entry.event else { continue };
        if !all.iter().any(|other| other.position == position && other.what.eq_ignore_ascii_case(&what)) {
            all.push(Taken { position, what, value, unit, at: listed.entry.at, entry: listed.entry.id });
        }
    }
    Ok(all)
}
