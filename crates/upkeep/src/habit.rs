//! One fixed habit for a machine: a visit every so many days, and each task in every visit, every second one, …
//!
//! [`rounds::rhythm`](crate::rounds::rhythm) finds it. What follows a task is told by its [`Risk`] on the axis of its allowance;
//! at the machine's mean pace, and without its queue, that axis is time. Failures expected by a time are taken as a power of it
//! that passes through those expected by half of the limit and by all of it; a power below 1, which no waiting makes dearer, is
//! taken as 1. No task waits past its limit.

use jiff::ZonedDateTime;

use crate::agenda::together;
use crate::before::Worth;
use crate::build::{Allowance, Task};
use crate::forecast::Outlook;
use crate::history::History;
use crate::meter::Meter;
use crate::rounds::rhythm::{NoRhythm, Recurring, Works};
use crate::state::MachineState;
use crate::used::{meter, used};
use crate::{Materials, Risk, Stake};

/// A machine's habit.
#[derive(Clone, Debug, PartialEq)]
pub struct Habit {
    /// Days from one visit to the next.
    pub interval: u32,
    /// What is done in them, in the build's order.
    pub turns: Vec<Turn>,
    /// Tasks that no habit of whole days keeps to their limits: they come due within a day.
    pub too_often: Vec<usize>,
    /// Tasks whose allowance is not used at all at this pace.
    pub unused: Vec<usize>,
    /// Tasks that have turns but are never done in one visit.
    pub apart: Vec<[usize; 2]>,
    /// What visits, work and the failures to be expected cost in a year, in money. As in a round, getting at parts takes no labour
    /// of its own; visits in which nothing has its turn are counted.
    pub cost: f64,
    /// What they cost if each task is done when it is due, in a visit of its own.
    pub separately: f64,
    /// What no way of visiting that keeps the limits can cost less than.
    pub bound: f64,
}

/// Tasks that are always done together, and how often.
#[derive(Clone, Debug, PartialEq)]
pub struct Turn {
    /// The build's tasks, by index.
    pub tasks: Vec<usize>,
    /// They are done in every so many visits.
    pub every: u32,
    /// In how many days their allowance is used up in the mean.
    pub limit: f64,
}

const DAYS_A_YEAR: f64 = 365.0;

impl Habit {
    /// The habit of the least cost at the machine's mean pace; `None` where no task can have one.
    ///
    /// # Errors
    /// Where a visit costs nothing, so that no habit is the best.
    pub fn of(
        state: &MachineState,
        worth: Worth<'_>,
        materials: &Materials,
        now: &ZonedDateTime,
    ) -> Result<Option<Habit>, NoRhythm> {
        let limits = limits(state, materials, now);
        let of_group = |group: &Vec<usize>| group.iter().map(|&task| limits[task]).fold(f64::INFINITY, f64::min);
        let groups: Vec<(Vec<usize>, f64)> = together(&state.build.tasks)
            .into_iter()
            .map(|group| {
                let limit = of_group(&group);
                (group, limit)
            })
            .collect();
        let among = |is_meant: fn(f64) -> bool| -> Vec<usize> {
            groups.iter().filter(|(_, limit)| is_meant(*limit)).flat_map(|(group, _)| group).copied().collect()
        };
        let (too_often, unused) = (among(|limit| limit < 1.0), among(f64::is_infinite));
        let turning: Vec<&(Vec<usize>, f64)> =
            groups.iter().filter(|(_, limit)| (1.0..f64::INFINITY).contains(limit)).collect();
        if turning.is_empty() {
            return Ok(None);
        }
        let machine = Context { state, worth, limits: &limits, believed: Risk::believed() };
        let setup = worth.prices.labour(state.build.visit_minutes);
        let works: Vec<Recurring> = turning.iter().map(|(group, limit)| machine.recurring(group, *limit)).collect();
        let works_there = Works::new(setup, &works)?;
        let alone =
            |work: &Recurring| (setup + work.doing) / work.most + work.growth * work.most.powf(work.power - 1.0);
        let separately = DAYS_A_YEAR * works.iter().map(alone).sum::<f64>();
        // OK because every limit is a day or more.
        let rhythm = works_there.best_in_whole().expect("a rhythm of one day");
        let turn = |((group, limit), every): (&&(Vec<usize>, f64), &u32)| Turn {
            tasks: group.clone(),
            every: *every,
            limit: *limit,
        };
        Ok(Some(Habit {
            interval: rhythm.interval as u32,
            turns: turning.iter().zip(&rhythm.every).map(turn).collect(),
            too_often,
            unused,
            apart: apart(&state.build.tasks, &turning),
            cost: DAYS_A_YEAR * rhythm.cost_rate,
            separately,
            bound: DAYS_A_YEAR * works_there.bound(),
        }))
    }
}

/// The pairs of tasks of some groups that are never done in one visit.
fn apart(tasks: &[Task], groups: &[&(Vec<usize>, f64)]) -> Vec<[usize; 2]> {
    let turning: Vec<usize> = groups.iter().flat_map(|(group, _)| group).copied().collect();
    let are_apart = |one: usize, other: usize| {
        tasks[one].apart.contains(&tasks[other].name) || tasks[other].apart.contains(&tasks[one].name)
    };
    let pairs = turning.iter().flat_map(|&one| turning.iter().map(move |&other| [one, other]));
    pairs.filter(|&[one, other]| one < other && are_apart(one, other)).collect()
}

/// What making works of tasks needs.
struct Context<'a> {
    state: &'a MachineState,
    worth: Worth<'a>,
    /// The days in which each task's allowance is used up.
    limits: &'a [f64],
    /// The risk of a task of which nothing is known.
    believed: Risk,
}

impl Context<'_> {
    fn stake(&self, task: usize) -> Stake<'_> {
        let supplies = self.worth.supplies.get(task).copied().unwrap_or(0.0);
        let risk = self.worth.risks.get(task).unwrap_or(&self.believed);
        Stake::new(&self.state.build.tasks[task], supplies, self.worth.prices, risk)
    }

    /// The work of a group, its time in days.
    fn recurring(&self, group: &[usize], limit: f64) -> Recurring {
        let failures = |days: f64| -> f64 {
            group.iter().filter_map(|&task| self.stake(task).waiting(0.0, days / self.limits[task])).sum()
        };
        let [by_half, by_all] = [failures(0.5 * limit), failures(limit)];
        let power = if 0.0 < by_half { (by_all / by_half).log2().max(1.0) } else { 1.0 };
        let doing = group.iter().map(|&task| self.stake(task).doing).sum();
        Recurring { doing, growth: by_all / limit.powf(power), power, most: limit }
    }
}

/// In how many days each task's whole allowance is used up at the machine's mean pace; infinite where it is not used at all.
fn limits(state: &MachineState, materials: &Materials, now: &ZonedDateTime) -> Vec<f64> {
    let history = History::of(state, now);
    let a_day = |meter: &Meter<'_>| Outlook::new(meter, &state.build, &history, &[], materials).grounds.per_week / 7.0;
    let of_task = |task: &Task| {
        let counted = used(state, task, materials, now).limits;
        let days = task.limits.iter().zip(counted).map(|(limit, used)| {
            match (limit.every, meter(&state.build, task, limit)) {
                (Allowance::Amount { .. }, Some(meter)) => used.allowed / a_day(&meter),
                _ => used.allowed,
            }
        });
        days.fold(f64::INFINITY, f64::min)
    };
    state.build.tasks.iter().map(of_task).collect()
}
