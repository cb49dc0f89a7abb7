//! Before a print: what a program would use up of each machine that could run it, and which machine it is cheapest on.

use jiff::{SignedDuration, ZonedDateTime};
use motion::Quantity;

use crate::build::{Allowance, Task};
use crate::stake::forbids_running;
use crate::state::{MachineState, QueuedUse};
use crate::used::{Used, meter, used};
use crate::{Materials, Prices, Risk, Stake, Usage};

/// What a program would ask of one machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Before {
    /// What it uses up of each task of the build, in the build's order; tasks of which it uses nothing are left out.
    pub tasks: Vec<Takes>,
    /// What the work is worth that it uses up: each task's cost by the share of its allowance, money.
    pub wear: f64,
    /// What the failures cost that are to be expected meanwhile, money; without those that may injure, which have no price.
    pub risk: f64,
    /// The tasks that are past their limit and by which the machine is not to be run before they are done.
    pub forbidding: Vec<usize>,
}

impl Before {
    /// What it costs in all, money.
    pub fn cost(&self) -> f64 {
        self.wear + self.risk
    }

    /// The tasks that would fall due while it runs, the first to do so first.
    pub fn falling_due(&self) -> Vec<&Takes> {
        let mut falling: Vec<&Takes> = self.tasks.iter().filter(|takes| takes.due_at.is_some()).collect();
        falling.sort_by(|one, other| one.due_at.unwrap_or(1.0).total_cmp(&other.due_at.unwrap_or(1.0)));
        falling
    }
}

/// What it uses up of one task's allowance.
#[derive(Clone, Debug, PartialEq)]
pub struct Takes {
    /// The task's index in the build.
    pub task: usize,
    /// The share that is used now; 1 when due.
    pub from: f64,
    /// The share that is used afterwards.
    pub to: f64,
    /// How far the program has got when the task falls due, as a share of it; `None` where it does not, or is due already.
    pub due_at: Option<f64>,
    /// What that is worth, money.
    pub wear: f64,
}

/// A program.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// What it asks of the machine.
    pub usage: &'a Usage,
    /// How long it takes, s.
    pub seconds: f64,
}

/// What work is worth on one machine.
#[derive(Clone, Copy, Debug)]
pub struct Worth<'a> {
    /// The risk of each task, in the build's order.
    pub risks: &'a [Risk],
    /// What the supplies of each task cost, money, in the build's order.
    pub supplies: &'a [f64],
    /// What things cost.
    pub prices: &'a Prices,
}

/// What a program would take of a machine.
///
/// Use is taken to come evenly over the program's time. Allowances by the calendar are used up by its time alone.
pub fn before(
    state: &MachineState,
    asked: Asked<'_>,
    worth: Worth<'_>,
    materials: &Materials,
    now: &ZonedDateTime,
) -> Before {
    let believed = Risk::believed();
    let mut answer = Before { tasks: Vec::new(), wear: 0.0, risk: 0.0, forbidding: Vec::new() };
    for (index, task) in state.build.tasks.iter().enumerate() {
        let standing = used(state, task, materials, now);
        let (from, to, due_at) = span(state, task, &standing, asked, materials);
        if forbids_running(task, from) {
            answer.forbidding.push(index);
        }
        if to <= from {
            continue;
        }
        let risk = worth.risks.get(index).unwrap_or(&believed);
        let stake = Stake::new(task, worth.supplies.get(index).copied().unwrap_or(0.0), worth.prices, risk);
        let wear = stake.doing * (to - from);
        answer.wear += wear;
        answer.risk += stake.waiting(from, to).unwrap_or(0.0);
        answer.tasks.push(Takes { task: index, from, to, due_at, wear });
    }
    answer
}

/// The share of a task's allowance that is used before and after a program, and how far it has got when the first of the
/// task's limits is reached.
fn span(
    state: &MachineState,
    task: &Task,
    standing: &Used,
    asked: Asked<'_>,
    materials: &Materials,
) -> (f64, f64, Option<f64>) {
    let (mut from, mut to, mut due_at) = (0.0_f64, 0.0_f64, f64::INFINITY);
    for (limit, standing) in task.limits.iter().zip(&standing.limits) {
        let more = match (limit.every, meter(&state.build, task, limit)) {
            (Allowance::Amount { .. }, Some(meter)) => meter.amount(asked.usage, materials),
            _ => asked.seconds / SECONDS_A_DAY,
        };
        let (share, then) = (standing.share(), (standing.so_far + more) / standing.allowed);
        (from, to) = (from.max(share), to.max(then));
        if 1.0 <= then && share < then {
            due_at = due_at.min((1.0 - share) / (then - share));
        }
    }
    (from, to, Some(due_at).filter(|share| from < 1.0 && share.is_finite()))
}

/// Seconds of a day.
const SECONDS_A_DAY: f64 = 86_400.0;

/// The first instant from `now` on from which a machine has time for a program of so many seconds beside its queue.
///
/// Runs that are queued for no day, or for one that has begun, follow each other from now on. The others begin with their
/// day, or as soon as the ones before are over.
pub fn free_from(queue: &[QueuedUse], seconds: f64, now: &ZonedDateTime) -> ZonedDateTime {
    let begins = |run: &QueuedUse| {
        let day = run.on.filter(|on| now.date() < *on);
        day.and_then(|on| on.to_zoned_datetime(now.time_zone().clone()).ok()).unwrap_or_else(|| now.clone())
    };
    let mut runs: Vec<(ZonedDateTime, f64)> =
        queue.iter().map(|run| (begins(run), run.usage.amount(Quantity::Time))).collect();
    runs.sort_by(|(one, _), (other, _)| one.cmp(other));
    let mut free = now.clone();
    for (begins, takes) in runs {
        if after(&free, seconds) <= begins {
            break;
        }
        free = after(&free.max(begins), takes);
    }
    free
}

/// The instant so many seconds later; the last that there is, where none is as late.
fn after(start: &ZonedDateTime, seconds: f64) -> ZonedDateTime {
    start.saturating_add(SignedDuration::try_from_secs_f64(seconds).unwrap_or(SignedDuration::MAX))
}
