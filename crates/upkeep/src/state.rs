//! Everything that must be known of one machine to say what is due on it.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::{Build, Entry, EntryId, Event, Usage};

/// One machine as its records have it.
#[derive(Clone, Debug)]
pub struct MachineState {
    /// Its name.
    pub name: String,
    /// Its build.
    pub build: Arc<Build>,
    /// When it joined the shop; its meters start at nothing here.
    pub added: Timestamp,
    /// All use since then.
    pub total: Usage,
    /// When each task was last done and each position's part last replaced; what never happened is left out.
    pub standings: BTreeMap<Care, Standing>,
    /// The first day that `days` covers; days from here on that are not in `days` were idle.
    pub history_from: Date,
    /// Recent use by civil day in the shop's time zone, oldest first, days without use left out.
    pub days: Vec<DayUse>,
    /// Readings of its hour meter from `history_from` on, oldest first.
    pub readings: Vec<HourReading>,
    /// Runs that are expected, oldest first.
    pub queue: Vec<QueuedUse>,
}

/// A reading of the hour meter. Its use stands among that of its day, though the days since the reading before brought it.
#[derive(Clone, Debug, PartialEq)]
pub struct HourReading {
    /// The day on which it was read.
    pub date: Date,
    /// The use that no run accounts for, estimated by the hours; nothing of the first, and of one that agreed with the runs.
    pub unbooked: Usage,
    /// Relative standard uncertainty of what an hour was taken to ask.
    pub doubt: f64,
}

impl HourReading {
    /// The reading that an entry records, on its day in the shop's zone; `None` if it records none.
    pub fn of(entry: &Entry, zone: &TimeZone) -> Option<HourReading> {
        let Event::HourMeter { unbooked, doubt, .. } = &entry.event else { return None };
        Some(HourReading { date: zone.to_datetime(entry.at).date(), unbooked: unbooked.clone(), doubt: *doubt })
    }
}

/// What can be done for a machine, and so stands in its records as last done.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Care {
    /// The task of that name.
    Task(String),
    /// The replacement of the part at the position of that name.
    Position(String),
}

/// When something was last done, and what the machine had done by then.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Standing {
    /// The instant.
    pub at: Timestamp,
    /// The entry that records it.
    pub entry: EntryId,
    /// The machine's total use just before it.
    pub base: Usage,
}

/// The use of one day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayUse {
    /// The civil day on which the runs began.
    pub date: Date,
    /// Their use.
    pub usage: Usage,
}

/// The use that a queued run will bring.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct QueuedUse {
    /// The day on which it is expected; `None` for as soon as the machine is free.
    pub on: Option<Date>,
    /// What it will ask of the machine.
    pub usage: Usage,
}
