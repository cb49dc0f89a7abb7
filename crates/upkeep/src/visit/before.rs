//! Which task of a visit comes before which.

use crate::Build;
use crate::build::{State, Task, Work, uses_lubricant};

/// A partial order of tasks, always without cycles.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Before {
    /// `[earlier][later]`, through others too.
    pairs: Vec<Vec<bool>>,
}

impl Before {
    /// The order among `tasks`. What the build's author says stands first; then, at one position, what kinds of work ask
    /// for; then oil before the plate is cleaned, and other cleaning before oil, wherever on the machine. A rule that would
    /// contradict what stands already gives way.
    pub(super) fn of(build: &Build, tasks: &[&Task]) -> Before {
        let mut before = Before { pairs: vec![vec![false; tasks.len()]; tasks.len()] };
        before.add_all(tasks, |one, other| other.after.contains(&one.name));
        before.add_all(tasks, |one, other| one.at == other.at && comes_first(one.work, other.work));
        before.add_all(tasks, |one, other| brings_oil(one) && cleans_plate(build, other));
        before.add_all(tasks, |one, other| one.state != State::Hot && sheds_dirt_on(one, other));
        before
    }

    /// The same order with hot cleaning before oil as well, as far as that contradicts nothing.
    pub(super) fn with_hot_cleaning(mut self, tasks: &[&Task]) -> Before {
        self.add_all(tasks, sheds_dirt_on);
        self
    }

    /// The same order with what calibrates the whole machine behind all that may change it, as far as that contradicts
    /// nothing.
    pub(super) fn with_calibration_last(mut self, tasks: &[&Task]) -> Before {
        let may_change = |task: &Task| !matches!(task.work, Work::Calibrate | Work::Test) && !task.while_cooling;
        self.add_all(tasks, |one, other| may_change(one) && other.work == Work::Calibrate);
        self
    }

    /// Whether `earlier` must be done before `later`.
    pub(super) fn is(&self, earlier: usize, later: usize) -> bool {
        self.pairs[earlier][later]
    }

    /// The tasks in an order that holds to this one, otherwise as they came.
    pub(super) fn listed(&self) -> Vec<usize> {
        let mut left: Vec<usize> = (0..self.pairs.len()).collect();
        let mut listed = Vec::with_capacity(left.len());
        // OK because an order without cycles has a first among those that are left.
        while let Some(at) = left.iter().position(|later| left.iter().all(|earlier| !self.is(*earlier, *later))) {
            listed.push(left.remove(at));
        }
        listed
    }

    fn add_all(&mut self, tasks: &[&Task], is_before: impl Fn(&Task, &Task) -> bool) {
        for (earlier, one) in tasks.iter().enumerate() {
            for (later, other) in tasks.iter().enumerate() {
                if earlier != later && is_before(one, other) {
                    self.add(earlier, later);
                }
            }
        }
    }

    /// Adds a pair and what follows from it, unless it would close a cycle.
    fn add(&mut self, earlier: usize, later: usize) {
        if self.is(earlier, later) || self.is(later, earlier) {
            return;
        }
        let all = 0..self.pairs.len();
        let until: Vec<usize> = all.clone().filter(|one| *one == earlier || self.is(*one, earlier)).collect();
        let from: Vec<usize> = all.filter(|one| *one == later || self.is(later, *one)).collect();
        for one in until {
            for other in &from {
                self.pairs[one][*other] = true;
            }
        }
    }
}

/// Whether, at one position, the first kind of work is done before the second: dirt and old parts go before oil comes,
/// and the test is last.
fn comes_first(one: Work, other: Work) -> bool {
    match other {
        Work::Test => one != Work::Test,
        Work::Calibrate => !matches!(one, Work::Calibrate | Work::Test),
        Work::Lubricate => matches!(one, Work::Clean | Work::Replace),
        _ => false,
    }
}

/// Whether the first task loosens dirt that would stick to the oil of the second. What is cleaned while the machine cools
/// is away from it.
fn sheds_dirt_on(one: &Task, other: &Task) -> bool {
    one.work == Work::Clean && !one.while_cooling && other.work == Work::Lubricate
}

/// Whether a task brings oil or grease to the machine, whatever else it is.
fn brings_oil(task: &Task) -> bool {
    task.work == Work::Lubricate || uses_lubricant(task.uses.iter().chain(&task.may_use))
}

/// Kinds of part on which prints must stick, which oil from a glove or a rod would keep them from.
const PLATES: [&str; 6] = [
    "coated glass plate",
    "glass plate",
    "glass-fibre laminate plate",
    "polycarbonate plate",
    "smooth film-coated plate",
    "textured powder-coated plate",
];

/// Whether the task takes grease off the face on which prints stick.
fn cleans_plate(build: &Build, task: &Task) -> bool {
    let is_plate = |kind: &str| PLATES.contains(&kind);
    task.work == Work::Clean && build.positions.iter().any(|at| at.name == task.at && is_plate(&at.kind))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::build::shipped;
    use crate::{Kind, Supplies};

    #[test]
    fn every_shipped_task_that_uses_oil_or_grease_goes_before_the_plate_is_cleaned() {
        let mut n_oiling = 0;
        for (name, text) in shipped() {
            let build = Build::parse(name, text).expect("a shipped build");
            let tasks: Vec<&Task> = build.tasks.iter().collect();
            let before = Before::of(&build, &tasks);
            let plates: Vec<usize> = (0..tasks.len()).filter(|at| cleans_plate(&build, tasks[*at])).collect();
            assert!(!plates.is_empty(), "{name}");
            let is_oily = |supply: &str| {
                let classes = Supplies::built_in().get(supply).map(|supply| supply.classes.clone()).unwrap_or_default();
                classes.iter().any(|class| class == "oil" || class == "grease")
            };
            for (at, task) in tasks.iter().enumerate() {
                if task.uses.iter().chain(&task.may_use).any(|supply| is_oily(&supply.name)) {
                    n_oiling += 1;
                    assert!(plates.iter().all(|plate| before.is(at, *plate)), "{name}: {}", task.name);
                }
            }
        }
        assert!(10 < n_oiling);
    }

    #[test]
    fn every_kind_of_plate_is_cleaned_after_oil() {
        let plates: Vec<&str> =
            Kind::all().iter().map(|kind| kind.name.as_str()).filter(|k| k.ends_with(" plate")).collect();
        assert!(plates.iter().all(|kind| PLATES.contains(kind)), "{plates:?}");
        assert_eq!(plates.len(), PLATES.len());
    }
}
