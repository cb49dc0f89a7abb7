//! Builds: the description of a machine type, as a text file in TOML.

mod access;
mod belt;
pub(crate) mod check;
pub(crate) mod error;
mod expected;
mod heat;
mod life;
mod limit;
mod motion;
mod own_limit;
mod position;
pub(crate) mod raw;
mod reading;
mod safety;
mod shipped;
pub(crate) mod task;
mod ties;
mod words;
mod work;

use ::motion::{Machine, Quantity, Tool};

pub use access::Access;
pub use belt::{BallBearing, Belt, Idler, SEALED_IDLER, TOOTHED_BELT};
pub(crate) use error::is_unusual;
pub use error::{BuildError, BuildErrors};
pub use heat::{Heat, LONGEST_TOUCH_C};
pub use life::BelievedLife;
pub use own_limit::LimitError;
pub use reading::{Outside, Reading};
pub use shipped::shipped;
pub use work::Work;
pub(crate) use work::uses_lubricant;

use crate::Unknown;

/// A machine type, read and checked.
#[derive(Clone, Debug, PartialEq)]
pub struct Build {
    /// Its name, for example `enclosed CoreXY, carbon X rods`.
    pub name: String,
    /// What it is, in a few sentences.
    pub about: String,
    /// What the meter must know.
    pub machine: Machine,
    /// Usable travel per axis X, Y, Z, mm.
    pub travel: [f64; 3],
    /// The distance of the belts' teeth, mm.
    pub belt_pitch_mm: f64,
    /// What each fan index cools, in index order.
    pub fans: Vec<String>,
    /// What a shop expects of the machine before it has records.
    pub expected: Expected,
    /// What every visit takes besides its tasks, min: powering down, opening, homing, a test move.
    pub visit_minutes: f64,
    /// How it heats and cools.
    pub heat: Heat,
    /// Ways of getting at parts.
    pub accesses: Vec<Access>,
    /// Places where parts sit.
    pub positions: Vec<Position>,
    /// Preventive and inspection tasks.
    pub tasks: Vec<Task>,
}

impl Build {
    /// Reads and checks a build. `file` is the name to put into messages.
    ///
    /// # Errors
    /// Everything that is wrong, each with its place in the text and what to do.
    pub fn parse(file: &str, text: &str) -> Result<Build, BuildErrors> {
        let report = error::Report::default();
        let build = check::build(text, &report);
        match (report.finish(file, text), build) {
            (None, Some(build)) => Ok(build),
            (Some(errors), _) => Err(errors),
            // OK because whoever answers `None` has noted why.
            (None, None) => unreachable!("a build that cannot be read has at least one error"),
        }
    }

    /// The task of that name, whatever its case.
    ///
    /// # Errors
    /// If the build has none.
    pub fn task(&self, name: &str) -> Result<&Task, Unknown> {
        Unknown::find("task", name, &self.tasks, |task| &task.name)
    }

    /// The position of that name, whatever its case.
    ///
    /// # Errors
    /// If the build has none.
    pub fn position(&self, name: &str) -> Result<&Position, Unknown> {
        Unknown::find("position", name, &self.positions, |position| &position.name)
    }
}

/// Expected use.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// Printing hours in a week.
    pub hours_per_week: f64,
    /// Days of the week with any printing, 1 to 7.
    pub days_per_week: f64,
    /// Duty per printing hour, in each quantity's unit.
    pub per_hour: Vec<(Quantity, f64)>,
}

/// A place on the machine where a part sits.
#[derive(Clone, Debug, PartialEq)]
pub struct Position {
    /// Its name, unique in the build.
    pub name: String,
    /// What sits there, one of the kinds that the rules know.
    pub kind: String,
    /// The axis along which its wear is mapped.
    pub along: Option<Axis>,
    /// The tool whose use alone wears it; `None` where all tools do.
    pub tool: Option<Tool>,
    /// How long its part is believed to last before a shop has records; `None` where nobody says.
    pub life: Option<BelievedLife>,
    /// What is known of a toothed belt; nothing of any other part.
    pub belt: Belt,
    /// How an idler turns, where the build says so.
    pub idler: Option<Idler>,
    /// Substances that must never touch it, those of its kind included.
    pub never: Vec<Ban>,
}

/// An axis of travel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Axis {
    /// X.
    X,
    /// Y.
    Y,
    /// Z.
    Z,
}

/// A substance that must never touch a position, and why.
#[derive(Clone, Debug, PartialEq, serde::Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ban {
    /// The class of substance: `grease`, `oil`, `acetone` …
    pub substance: String,
    /// Why, in one sentence.
    pub reason: String,
}

/// The state that the machine must be in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum State {
    /// Switched off and unplugged, and cold.
    Isolated,
    /// Powered, with everything cold.
    Cold,
    /// Powered, with the nozzle or bed hot.
    Hot,
}

/// The consequence of neglect, from least to worst.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Neglect {
    /// It annoys.
    Nuisance,
    /// A print is lost.
    FailedPrint,
    /// The machine is damaged.
    Damage,
    /// Somebody may be hurt.
    Injury,
}

/// A preventive or inspection task.
#[derive(Clone, Debug, PartialEq)]
pub struct Task {
    /// Its name, unique in the build, an instruction: `wipe the x rods`.
    pub name: String,
    /// The position that it cares for.
    pub at: String,
    /// The state that the machine must be in.
    pub state: State,
    /// Hands-on time, min.
    pub minutes: f64,
    /// What happens if it is not done.
    pub neglect: Neglect,
    /// Whether only a qualified person may go beyond looking.
    pub qualified: bool,
    /// Whether doing it puts a new part in.
    pub renews: bool,
    /// What kind of work it is.
    pub work: Work,
    /// Whether it may be done while the machine cools, because nothing hot is within its reach.
    pub while_cooling: bool,
    /// The name of the way of access that it needs.
    pub access: Option<String>,
    /// Names of tasks that are not to be done on a later day, and in one visit before it.
    pub after: Vec<String>,
    /// Names of tasks that are never to be done in one visit with it.
    pub apart: Vec<String>,
    /// Names of tasks that are always to be done in one visit with it.
    pub with: Vec<String>,
    /// Protective gear to wear.
    pub gear: Vec<String>,
    /// Tools to lay out.
    pub tools: Vec<String>,
    /// Supplies and amounts that doing it uses up.
    pub uses: Vec<Supply>,
    /// Supplies and amounts that it uses only where a step finds them needed.
    pub may_use: Vec<Supply>,
    /// What must be done on the powered machine before it is switched off for it, each an order: `unload the filament`.
    pub before_off: Vec<String>,
    /// What to do, in order.
    pub steps: Vec<String>,
    /// Cautions; each stands before the step it belongs to.
    pub cautions: Vec<Caution>,
    /// What it measures.
    pub readings: Vec<Reading>,
    /// What makes it due, whichever comes first.
    pub limits: Vec<Limit>,
}

/// A supply and how much of it a task uses.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply {
    /// Its name by kind and grade.
    pub name: String,
    /// How much.
    pub amount: f64,
    /// In what: `ml`, `g`, or empty for pieces.
    pub unit: String,
}

/// A caution with its signal word (ANSI Z535.6, ISO 3864-2).
#[derive(Clone, Debug, PartialEq)]
pub struct Caution {
    /// The signal word.
    pub word: SignalWord,
    /// What can happen and how to avoid it.
    pub text: String,
    /// The step before which it stands, from 0; 0 for the whole task.
    pub before: usize,
}

/// Signal words, from worst to least.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SignalWord {
    /// Will cause death or serious injury.
    Danger,
    /// Could cause death or serious injury.
    Warning,
    /// Could cause minor or moderate injury.
    Caution,
    /// Could cause damage to things.
    Notice,
}

/// What makes a task due.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// The allowance.
    pub every: Allowance,
    /// The allowance as the build writes it: `250 km`.
    pub text: String,
    /// Weights by material name or class; what is not named counts once. See [`crate::Materials::weight`].
    pub counts: Vec<(String, f64)>,
    /// Where the allowance comes from.
    pub source: String,
}

/// How much is allowed between two times of doing a task.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Allowance {
    /// Elapsed time, by the calendar: one month from 31 January ends on the last day of February.
    Elapsed {
        /// Calendar months.
        months: u16,
        /// Days on top.
        days: u16,
    },
    /// An amount on a meter, in the quantity's unit.
    Amount {
        /// What is metered.
        quantity: Quantity,
        /// How much.
        amount: f64,
    },
}
