//! A machine as it is foreseen on one day: how each of its tasks stands, and on which days its queue keeps it busy.

use std::sync::Arc;

use jiff::{Timestamp, ZonedDateTime};
use motion::Quantity;

use crate::agenda::busy_minutes;
use crate::build::Task;
use crate::stake::forbids_running;
use crate::{Build, Due, MachineState, Materials, Usage, When, due};

/// What a list of a hall says of one machine, on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct Foreseen {
    /// The machine's name.
    pub name: String,
    /// Its build, with its own limits.
    pub build: Arc<Build>,
    /// When it joined.
    pub added: Timestamp,
    /// What was metered since then.
    pub total: Usage,
    /// How each of its tasks stands, in the build's order.
    pub dues: Vec<Due>,
    /// Minutes of each day from that day on for which runs are queued.
    pub busy: Vec<f64>,
}

impl Foreseen {
    /// How far ahead the likely day of what comes due is told, d.
    pub const HORIZON_DAYS: usize = 62;

    /// How the machine in that state is foreseen at `now`, whose time zone is the shop's.
    pub fn of(state: &MachineState, materials: &Materials, now: &ZonedDateTime) -> Foreseen {
        Foreseen {
            name: state.name.clone(),
            build: state.build.clone(),
            added: state.added,
            total: state.total.clone(),
            dues: due(state, materials, now, Foreseen::HORIZON_DAYS),
            busy: busy_minutes(state, now.date(), Foreseen::HORIZON_DAYS),
        }
    }

    /// Time metered since it joined, s.
    pub fn seconds(&self) -> f64 {
        self.total.amount(Quantity::Time)
    }

    /// The task that `due` is of.
    pub fn task(&self, due: &Due) -> &Task {
        &self.build.tasks[due.task]
    }

    /// The tasks that forbid to run the machine until they are done.
    pub fn forbidding(&self) -> impl Iterator<Item = &Due> {
        self.dues.iter().filter(|due| forbids_running(self.task(due), due.share()))
    }

    /// What is due now.
    pub fn due_now(&self) -> impl Iterator<Item = &Due> {
        self.dues.iter().filter(|due| matches!(due.when, When::Since(_)))
    }

    /// The task that is most used; `None` where the build has no task.
    pub fn most_used(&self) -> Option<&Due> {
        self.dues.iter().max_by(|one, other| one.share().total_cmp(&other.share()))
    }
}
