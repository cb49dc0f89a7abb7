//! What the ledger records. Nothing is ever edited: a correction is a new entry that names the one it corrects.

use std::collections::BTreeMap;
use std::fmt;

use jiff::Timestamp;
use jiff::civil::Date;
use motion::Tool;

use crate::fault::said::{Answered, Over, OwnGrade, Shown};
use crate::shop::{Away, Counted, Keeper, Ordered, Received, Terms, ThrownAway, Visit};
use crate::{Material, Rates, Usage};

/// The number of an entry, as screens and commands show it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct EntryId(pub i64);

impl fmt::Display for EntryId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}

/// One line of the ledger.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Its number.
    pub id: EntryId,
    /// The machine's name; empty where the entry is of the shop itself.
    pub machine: String,
    /// When it happened.
    pub at: Timestamp,
    /// When it was written down.
    pub recorded: Timestamp,
    /// The entry that this one corrects.
    pub corrects: Option<EntryId>,
    /// Words added by the keeper; may be empty.
    pub note: String,
    /// What happened.
    pub event: Event,
}

/// What can happen.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// The machine joined the shop. Meters start here.
    Added {
        /// The name of its build.
        build: String,
    },
    /// A print, or another program, was executed.
    Run(Run),
    /// A run is expected.
    Queued(Queued),
    /// A task was done.
    Done {
        /// The task's name in the machine's build.
        task: String,
        /// Supplies used that the task does not name, by name and amount as typed; checked against the rules.
        supplies: BTreeMap<String, String>,
    },
    /// A part was replaced. Its life ends and the next begins.
    Replaced {
        /// The position.
        position: String,
        /// Why the old part went.
        because: Because,
        /// The spare of the stores of which one was put in; `None` where nobody said.
        spare: Option<String>,
    },
    /// A part lost the ability to do its work (IEC 60050-192).
    Failed {
        /// The position.
        position: String,
        /// How it showed, in the keeper's words.
        mode: String,
        /// Whether it was found by looking: then it happened between the last look and this one.
        found: bool,
        /// Whether it was put right without another part: then the part's life goes on.
        mended: bool,
    },
    /// A condition was measured.
    Reading {
        /// The position.
        position: String,
        /// What was measured, for example `belt frequency`.
        what: String,
        /// The value, never negative.
        value: f64,
        /// Its unit, as typed.
        unit: String,
    },
    /// The machine's own hour meter was read.
    HourMeter {
        /// What it showed, h.
        hours: f64,
        /// Use that had not been booked since the last reading, estimated from the machine's own ratios.
        unbooked: Usage,
        /// Relative standard uncertainty of what an hour was taken to ask.
        doubt: f64,
    },
    /// A task of this machine got a limit of the shop's own; the build stays as it is.
    Limit(OwnLimit),
    /// How old a part was that was there when the machine joined. Of several on the same position and quantity the latest
    /// holds; one on a position stands above one on all.
    Age {
        /// The position; `None` for every part that was there.
        position: Option<String>,
        /// The quantity by which it is told, by name; `None` for calendar time.
        of: Option<String>,
        /// The age as typed: `1200 h`, `8 months`. [`crate::measure::read`] reads it.
        amount: String,
    },
    /// What things cost in the shop's money. Of the shop, not of a machine; what it leaves out stays as it was.
    Rates(Rates),
    /// People have been told of a visit.
    Visit(Visit),
    /// A task of a visit was not done. Counts for nothing; the task stays as due as it was.
    Skipped {
        /// The task's name in the machine's build.
        task: String,
        /// Why.
        reason: String,
    },
    /// Somebody looks after machines, or does no more. Of the shop.
    Keeper(Keeper),
    /// A keeper has days off. Of the shop.
    Away(Away),
    /// Something for the stores was ordered. Of the shop.
    Ordered(Ordered),
    /// Something came into the stores. Of the shop.
    Received(Received),
    /// Something in the stores was counted. Of the shop.
    Counted(Counted),
    /// Something left the stores unused. Of the shop.
    ThrownAway(ThrownAway),
    /// How something is bought. Of the shop.
    Terms(Terms),
    /// A machine shows a fault.
    FaultShown(Shown),
    /// An answer on the way to a fault's cause.
    FaultAnswered(Answered),
    /// A fault is over.
    FaultOver(Over),
    /// How often a cause shows something, by the shop's own judgement. Of the shop.
    FaultGrade(OwnGrade),
    /// The entry that this one corrects did not happen.
    Withdrawn,
}

/// A limit of the shop's own, in place of the build's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OwnLimit {
    /// The task's name in the machine's build.
    pub task: String,
    /// The quantity that it meters, by name; `None` for calendar time.
    pub of: Option<String>,
    /// The allowance as a build would write it: `340 km`, `6 weeks`.
    pub every: String,
    /// Why, in a sentence or two.
    pub reason: String,
}

/// Why a part was replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Because {
    /// It had failed.
    Failed,
    /// It was worn, but worked.
    Worn,
    /// It was good; the replacement was preventive.
    Good,
}

/// Whether a run's use was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Basis {
    /// Metered from its file.
    Metered,
    /// Scaled from hours and grams by the machine's or build's ratios.
    Estimated {
        /// Relative spread (one standard deviation) of the ratios, 0.2 for ±20 %.
        spread: f64,
    },
}

/// A run as booked.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// The file's name, or what the keeper called the run.
    pub label: String,
    /// SHA-256 of the file's plain bytes, lower-case hexadecimal; `None` where no file is known.
    pub program: Option<String>,
    /// Where it stopped, as typed, if before the end: `40 %`, `layer 12`, `line 300`.
    pub stopped: Option<String>,
    /// What each tool printed.
    pub materials: BTreeMap<Tool, Material>,
    /// What it asked of the machine.
    pub usage: Usage,
    /// Whether that was measured.
    pub basis: Basis,
    /// The queued run that this one fulfils.
    pub queued: Option<EntryId>,
}

/// A run that is expected.
#[derive(Clone, Debug, PartialEq)]
pub struct Queued {
    /// The file's name, or what the keeper calls it.
    pub label: String,
    /// SHA-256 of the file's plain bytes, lower-case hexadecimal.
    pub program: Option<String>,
    /// The day on which it is expected; `None` for as soon as the machine is free.
    pub on: Option<Date>,
    /// What each tool will print.
    pub materials: BTreeMap<Tool, Material>,
    /// What it will ask of the machine.
    pub usage: Usage,
}

impl Event {
    /// The use that this event adds to the machine's meters.
    pub fn usage(&self) -> Option<&Usage> {
        match self {
            Event::Run(run) => Some(&run.usage),
            Event::HourMeter { unbooked, .. } => Some(unbooked),
            _ => None,
        }
    }

    /// Whether it is of the shop itself, and not of a machine.
    pub fn is_of_the_shop(&self) -> bool {
        matches!(
            self,
            Event::Rates(_)
                | Event::Keeper(_)
                | Event::Away(_)
                | Event::Ordered(_)
                | Event::Received(_)
                | Event::Counted(_)
                | Event::ThrownAway(_)
                | Event::Terms(_)
                | Event::FaultGrade(_)
        )
    }
}
