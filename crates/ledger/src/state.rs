//! What the due list must know of one machine.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::Timestamp;
use jiff::civil::Date;
use upkeep::{Build, EntryId, Usage};

/// What is looked after: a task, or the part at a position.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Care {
    /// A task, by name.
    Task(String),
    /// A position, by name.
    Position(String),
}

/// When a care was last given.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// The instant.
    pub at: Timestamp,
    /// The entry that says so.
    pub entry: EntryId,
    /// The machine's use before that instant.
    pub base: Usage,
}

/// The use of one day.
#[derive(Clone, Debug, PartialEq)]
pub struct DayUse {
    /// The day, in the shop's zone.
    pub date: Date,
    /// What was used.
    pub usage: Usage,
}

/// A run that is expected.
#[derive(Clone, Debug, PartialEq)]
pub struct QueuedUse {
    /// The day; `None` for as soon as possible.
    pub on: Option<Date>,
    /// What it will use.
    pub usage: Usage,
}

/// Everything that the due list needs to know of one machine.
#[derive(Clone, Debug)]
pub struct MachineState {
    /// Its name.
    pub name: String,
    /// Its build.
    pub build: Arc<Build>,
    /// When it joined the shop.
    pub added: Timestamp,
    /// Its use since then.
    pub total: Usage,
    /// When each care was last given.
    pub standings: BTreeMap<Care, Standing>,
    /// The first day of `days` that is covered.
    pub history_from: Date,
    /// Use per day, oldest first; days without use are left out.
    pub days: Vec<DayUse>,
    /// Runs expected.
    pub queue: Vec<QueuedUse>,
}
