//! The stays in each condition of the machine, with the least waiting.
//!
//! Dynamic programming over the set of tasks done and the machine's condition, exact for up to [`MOST`] tasks of which up
//! to [`MOST_WHILE_COOLING`] may be done while the machine cools. It rests on one exchange: in a stay, every task that
//! needs this condition and waits for no other is done. Doing it in a later stay instead could open nothing sooner and
//! save no change, so only two things are left to choose: into which condition to go next, and which of the tasks that
//! may be done while cooling to keep for it.

use std::collections::HashMap;

use crate::build::State;

/// The most tasks that one search takes: as many as the set has bits.
pub(super) const MOST: usize = 128;

/// The most tasks of which the search chooses whether to keep them for a cooling; their sets are tried, 3 for each task.
pub(super) const MOST_WHILE_COOLING: usize = 8;

/// A set of tasks.
type Set = u128;

/// A task as the search sees it.
#[derive(Clone, Debug)]
pub(super) struct Item {
    pub(super) state: State,
    /// Whether it may be done while the machine cools.
    pub(super) while_cooling: bool,
    pub(super) ms: u64,
    /// The tasks that must be done before it.
    pub(super) before: Set,
}

/// What waiting costs, ms.
#[derive(Clone, Copy, Debug)]
pub(super) struct Waits {
    pub(super) heating_ms: u64,
    pub(super) cooling_ms: u64,
    /// Switching off and on again.
    pub(super) switching_ms: u64,
}

/// The machine's condition.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Condition {
    /// Without power, and cold.
    Isolated,
    /// Powered and cold.
    Cold,
    /// Powered and hot.
    Hot,
    /// Powered, heaters off, still hot; since these tasks were done.
    Cooling {
        /// The tasks done when it began.
        since: Set,
    },
}

/// The tasks done in one stay in a condition.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stay {
    pub(super) condition: Condition,
    pub(super) tasks: Set,
}

/// What is done next.
#[derive(Clone, Copy, Debug)]
enum Choice {
    End,
    Task(usize),
    Go(Condition),
}

/// Waiting, ms, and then changes of condition.
type Cost = (u64, u32);

/// The stays with the least waiting, and of those with the fewest changes, from `start` until all is done and the machine
/// has power.
pub(super) fn stays(items: &[Item], waits: Waits, start: Condition) -> Vec<Stay> {
    let mut search = Search { items, waits, best: HashMap::new() };
    search.best(0, start);
    search.walk(start)
}

struct Search<'a> {
    items: &'a [Item],
    waits: Waits,
    best: HashMap<(Set, Condition), (Cost, Choice)>,
}

impl Search<'_> {
    /// The least cost from here on.
    fn best(&mut self, done: Set, condition: Condition) -> Cost {
        let done = self.settle(done, condition);
        if let Some((cost, _)) = self.best.get(&(done, condition)) {
            return *cost;
        }
        let options = self.options(done, condition);
        let costed = options.into_iter().map(|choice| (self.cost(done, condition, choice), choice));
        // OK because there is always an option: see `options`.
        let (cost, choice) = costed.min_by_key(|(cost, _)| *cost).unwrap_or(((0, 0), Choice::End));
        self.best.insert((done, condition), (cost, choice));
        cost
    }

    /// Does all that this condition allows and that cannot be better kept for later.
    fn settle(&self, mut done: Set, condition: Condition) -> Set {
        while let Some(next) = (0..self.items.len())
            .find(|task| self.is_open(done, *task) && !self.items[*task].while_cooling && self.fits(*task, condition))
        {
            done |= bit(next);
        }
        done
    }

    /// Whether a task is still to be done and waits for no other.
    fn is_open(&self, done: Set, task: usize) -> bool {
        done & bit(task) == 0 && self.items[task].before & !done == 0
    }

    fn fits(&self, task: usize, condition: Condition) -> bool {
        let item = &self.items[task];
        match condition {
            Condition::Isolated => item.state == State::Isolated,
            Condition::Cold => item.state == State::Cold,
            Condition::Hot => item.state == State::Hot,
            Condition::Cooling { .. } => item.while_cooling,
        }
    }

    /// What can be done next in a settled stay: never nothing, for each condition leads on to the next, and none is
    /// entered but for a task that is open.
    fn options(&self, done: Set, condition: Condition) -> Vec<Choice> {
        let all_done = done.count_ones() as usize == self.items.len();
        if all_done && condition != Condition::Isolated {
            return vec![Choice::End];
        }
        let open = |condition| (0..self.items.len()).any(|task| self.is_open(done, task) && self.fits(task, condition));
        let here = (0..self.items.len()).filter(|task| self.is_open(done, *task) && self.fits(*task, condition));
        let mut options: Vec<Choice> = here.map(Choice::Task).collect();
        match condition {
            Condition::Cold => {
                let onward = [Condition::Isolated, Condition::Hot];
                options.extend(onward.into_iter().filter(|next| open(*next)).map(Choice::Go));
            }
            Condition::Hot => options.push(Choice::Go(Condition::Cooling { since: done })),
            Condition::Isolated | Condition::Cooling { .. } => options.push(Choice::Go(Condition::Cold)),
        }
        options
    }

    fn cost(&mut self, done: Set, condition: Condition, choice: Choice) -> Cost {
        match choice {
            Choice::End => (0, 0),
            Choice::Task(task) => self.best(done | bit(task), condition),
            Choice::Go(next) => {
                let (wait, changes) = self.best(done, next);
                (self.wait(done, condition, next) + wait, changes + 1)
            }
        }
    }

    /// The wait between two conditions, ms.
    fn wait(&self, done: Set, from: Condition, to: Condition) -> u64 {
        match (from, to) {
            (_, Condition::Hot) => self.waits.heating_ms,
            (_, Condition::Isolated) => self.waits.switching_ms,
            (Condition::Cooling { since }, _) => self.waits.cooling_ms.saturating_sub(self.ms(done & !since)),
            _ => 0,
        }
    }

    /// What these tasks take together, ms.
    fn ms(&self, tasks: Set) -> u64 {
        let chosen = self.items.iter().enumerate().filter(|(task, _)| tasks & bit(*task) != 0);
        chosen.map(|(_, item)| item.ms).sum()
    }

    /// Follows the best choices.
    fn walk(&self, start: Condition) -> Vec<Stay> {
        let mut stays = Vec::new();
        let (mut from, mut done, mut condition) = (0, self.settle(0, start), start);
        // OK because every place that a best choice leads to has been searched.
        while let Some((_, choice)) = self.best.get(&(done, condition)) {
            let left = condition;
            match *choice {
                Choice::End => break,
                Choice::Task(task) => done |= bit(task),
                Choice::Go(next) => {
                    stays.push(Stay { condition: left, tasks: done & !from });
                    (from, condition) = (done, next);
                }
            }
            done = self.settle(done, condition);
        }
        stays.push(Stay { condition, tasks: done & !from });
        stays
    }
}

/// The set of one task.
pub(super) fn bit(task: usize) -> Set {
    1 << task
}
