//! The stages of a visit, one after another.

use super::before::Before;
use super::search::{self, Condition, Item, MOST, MOST_WHILE_COOLING, Stay, Waits, bit};
use super::{Start, heat};
use crate::Build;
use crate::build::Task;

/// What each switching off and on again takes after the first of a visit, min: booting and homing. The first is in the
/// build's minutes for every visit. Judgement, no source.
pub const AGAIN_MINUTES: f64 = 3.0;

/// A visit from its beginning to its end.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Order {
    /// What is done, one after another.
    pub stages: Vec<Stage>,
    /// The whole visit, min: the stages, and what the build states for every visit.
    pub minutes: f64,
}

/// One thing after another.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// What is done.
    pub what: What,
    /// How long it takes, min; nought for what the build's minutes for every visit include.
    pub minutes: f64,
}

/// What is done in a stage.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// Switch off and pull the plug, so that nobody can switch on.
    SwitchOff,
    /// Plug in and switch on.
    PowerOn,
    /// Hot work follows. The heaters are still off: each task says itself when to heat, after its cautions. The minutes
    /// are those of heating.
    HotWork,
    /// Switch off every heater that is still on. What follows until the machine has cooled is done away from hot parts.
    HeatersOff,
    /// Wait for what is left of the cooling, and make sure of it.
    CoolDown {
        /// Until nozzle and bed are at or below this, °C.
        to_c: f64,
    },
    /// Open a way of access, the one of that index in the build.
    Open(usize),
    /// Close it again; its minutes are in its opening.
    Close(usize),
    /// Do the task of that index.
    Task(usize),
    /// Home the axes and try the machine: the end of every visit.
    TestMove,
}

/// The order of a visit's tasks with the fewest minutes, and of those with the fewest changes of the machine's condition.
///
/// Hot work is never done without power, nor anything else on a machine that is not cool to touch, but for tasks that
/// allow it (`while_cooling`), which fill the time of cooling. What comes before what: the build's `after`; at one
/// position cleaning and replacing before oil, and tests last; oil before the plate is cleaned, and other cleaning before
/// oil, wherever on the machine. Where those contradict each other the former stands. Hot cleaning, too, goes before oil,
/// unless that takes more changes of the machine's condition, and what calibrates the whole machine goes last unless that
/// takes more changes or minutes. Once cooling has begun it goes on until the machine may be touched. The visit
/// ends with power on, heaters off and a test move.
///
/// Exact for up to 128 tasks; more are ordered in blocks of 128, each from where the last one ended. Of tasks that may be
/// done while cooling, the eight longest are placed with care and the others when the machine is cold.
pub fn order(build: &Build, tasks: &[&Task], start: Start) -> Order {
    if tasks.is_empty() {
        return Order::default();
    }
    let (before, usual) = hot_cleaning_first(build, tasks, start);
    let last = before.clone().with_calibration_last(tasks);
    if last == before {
        return usual;
    }
    let last = in_order(build, tasks, start, &last);
    let is_free = last.minutes <= usual.minutes + SAME_MINUTES && last.n_changes() <= usual.n_changes();
    if is_free { Order { minutes: usual.minutes, ..last } } else { usual }
}

/// Sums of the same minutes in another order differ by less, min.
const SAME_MINUTES: f64 = 1e-6;

/// What comes before what, and the order by it: with hot cleaning before oil unless that takes more changes.
fn hot_cleaning_first(build: &Build, tasks: &[&Task], start: Start) -> (Before, Order) {
    let before = Before::of(build, tasks);
    let usual = in_order(build, tasks, start, &before);
    let hot_too = before.clone().with_hot_cleaning(tasks);
    if hot_too == before {
        return (before, usual);
    }
    let hot_first = in_order(build, tasks, start, &hot_too);
    if hot_first.n_changes() <= usual.n_changes() { (hot_too, hot_first) } else { (before, usual) }
}

/// How long a visit takes that does these tasks on a machine that is met cold, min: what its sheet says.
pub fn minutes(build: &Build, tasks: &[&Task]) -> f64 {
    // OK because what calibrates goes last only where that takes no minute more.
    if tasks.is_empty() { 0.0 } else { hot_cleaning_first(build, tasks, Start::Cold).1.minutes }
}

impl Order {
    /// How often the machine is switched off or made ready for hot work.
    fn n_changes(&self) -> usize {
        self.stages.iter().filter(|stage| matches!(stage.what, What::SwitchOff | What::HotWork)).count()
    }
}

/// The order with the fewest minutes of those that hold to `before`.
fn in_order(build: &Build, tasks: &[&Task], start: Start, before: &Before) -> Order {
    let mut sheet =
        Sheet { build, tasks, stages: Vec::new(), n_switched: 0, open: Vec::new(), left: accesses(build, tasks) };
    let mut condition = match start {
        Start::Cold => Condition::Cold,
        Start::Hot => Condition::Hot,
    };
    for block in before.listed().chunks(MOST) {
        if matches!(condition, Condition::Cooling { .. }) {
            sheet.go(condition, Condition::Cold);
            condition = Condition::Cold;
        }
        for stay in &search::stays(&items(tasks, block, before), waits(build), condition) {
            sheet.go(condition, stay.condition);
            sheet.tasks(&arrange(tasks, block, stay, before));
            condition = stay.condition;
        }
    }
    sheet.finish(condition)
}

/// The tasks of a block as the search sees them.
fn items(tasks: &[&Task], block: &[usize], before: &Before) -> Vec<Item> {
    let waiting = while_cooling(tasks, block);
    let item = |&task: &usize| Item {
        state: tasks[task].state,
        while_cooling: waiting.contains(&task),
        ms: ms(tasks[task].minutes),
        before: block.iter().enumerate().filter(|(_, other)| before.is(**other, task)).map(|(at, _)| bit(at)).sum(),
    };
    block.iter().map(item).collect()
}

/// The tasks that may be done while cooling, the longest of them.
fn while_cooling(tasks: &[&Task], block: &[usize]) -> Vec<usize> {
    let mut able: Vec<usize> = block.iter().copied().filter(|task| tasks[*task].while_cooling).collect();
    able.sort_by(|one, other| tasks[*other].minutes.total_cmp(&tasks[*one].minutes));
    able.truncate(MOST_WHILE_COOLING);
    able
}

fn waits(build: &Build) -> Waits {
    Waits {
        heating_ms: ms(heat::heating_minutes(&build.heat)),
        cooling_ms: ms(heat::cooling_minutes(&build.heat)),
        switching_ms: ms(AGAIN_MINUTES),
    }
}

/// The longest time, ms, that sums of are safe from overflow: a year.
const LONGEST_MS: f64 = 365.0 * 86_400_000.0;

/// Whole milliseconds, so that equal waits compare as equal.
fn ms(minutes: f64) -> u64 {
    (minutes * 60_000.0).round().clamp(0.0, LONGEST_MS) as u64
}

/// The tasks of a stay in the order in which they are done: those behind one access together, then those at one position,
/// then by kind of work.
fn arrange(tasks: &[&Task], block: &[usize], stay: &Stay, before: &Before) -> Vec<usize> {
    let chosen = block.iter().enumerate().filter(|(at, _)| stay.tasks & bit(*at) != 0);
    let mut left: Vec<usize> = chosen.map(|(_, task)| *task).collect();
    let mut arranged: Vec<usize> = Vec::with_capacity(left.len());
    let is_free = |task: usize, left: &[usize]| left.iter().all(|other| !before.is(*other, task));
    while !left.is_empty() {
        let last = arranged.last().map(|last| tasks[*last]);
        let unlike = |task: usize| {
            let (access, at) = (&tasks[task].access, &tasks[task].at);
            (
                last.is_some_and(|last| last.access != *access),
                last.is_some_and(|last| last.at != *at),
                tasks[task].work,
                task,
            )
        };
        let free = (0..left.len()).filter(|at| is_free(left[*at], &left));
        // OK because `before` has no cycles, so one of those that are left waits for no other.
        let next = free.min_by_key(|at| unlike(left[*at])).unwrap_or(0);
        arranged.push(left.remove(next));
    }
    arranged
}

/// For each way of access, how many tasks still need it.
fn accesses(build: &Build, tasks: &[&Task]) -> Vec<usize> {
    let need = |name: &str| tasks.iter().filter(|task| task.access.as_deref() == Some(name)).count();
    build.accesses.iter().map(|access| need(&access.name)).collect()
}

/// The stages as they are written down.
struct Sheet<'a> {
    build: &'a Build,
    tasks: &'a [&'a Task],
    stages: Vec<Stage>,
    /// How often the machine was switched off.
    n_switched: usize,
    /// Ways of access that stand open.
    open: Vec<usize>,
    /// For each way of access, how many tasks still need it.
    left: Vec<usize>,
}

impl Sheet<'_> {
    fn add(&mut self, what: What, minutes: f64) {
        self.stages.push(Stage { what, minutes });
    }

    /// Brings the machine from one condition into the next.
    fn go(&mut self, from: Condition, to: Condition) {
        let heat = &self.build.heat;
        match (from, to) {
            (Condition::Cold, Condition::Isolated) => {
                let minutes = if self.n_switched == 0 { 0.0 } else { AGAIN_MINUTES };
                self.n_switched += 1;
                self.add(What::SwitchOff, minutes);
            }
            (Condition::Isolated, Condition::Cold) => self.add(What::PowerOn, 0.0),
            (Condition::Cold, Condition::Hot) => {
                self.add(What::HotWork, heat::heating_minutes(heat));
            }
            (Condition::Hot, Condition::Cooling { .. }) => self.add(What::HeatersOff, 0.0),
            (Condition::Cooling { .. }, Condition::Cold) => {
                let rest = heat::cooling_minutes(heat) - self.since_heaters_off();
                self.add(What::CoolDown { to_c: heat.touch_c }, rest.max(0.0));
            }
            // OK because the search goes no other way; a block begins where the last one ended.
            _ => {}
        }
    }

    /// What was done since the heaters were last switched off, min.
    fn since_heaters_off(&self) -> f64 {
        let since = self.stages.iter().rev().take_while(|stage| stage.what != What::HeatersOff);
        since.map(|stage| stage.minutes).sum()
    }

    /// Does tasks, and opens and closes what they need.
    fn tasks(&mut self, tasks: &[usize]) {
        for &task in tasks {
            let name = self.tasks[task].access.as_deref();
            let access = self.build.accesses.iter().position(|access| Some(access.name.as_str()) == name);
            if let Some(access) = access.filter(|access| !self.open.contains(access)) {
                self.open.push(access);
                self.add(What::Open(access), self.build.accesses[access].minutes);
            }
            self.add(What::Task(task), self.tasks[task].minutes);
            if let Some(access) = access {
                self.left[access] -= 1;
                if self.left[access] == 0 {
                    self.add(What::Close(access), 0.0);
                }
            }
        }
    }

    fn finish(mut self, condition: Condition) -> Order {
        if condition == Condition::Hot {
            self.add(What::HeatersOff, 0.0);
        }
        self.add(What::TestMove, 0.0);
        let minutes = self.build.visit_minutes + self.stages.iter().map(|stage| stage.minutes).sum::<f64>();
        Order { stages: self.stages, minutes }
    }
}
