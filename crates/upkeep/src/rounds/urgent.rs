//! Urgent jobs go before all else: a first plan of them alone, as early as they can be done.
//!
//! The sum of the days of urgent jobs is made as small as it can be, an urgent job that is left counting as more than any that
//! is done; jobs that must go before urgent ones are planned with them. The same search as for the whole plan, so near the
//! best and not proved to be.

use super::problem::{Job, MachineWork, Problem};

/// What a visit costs beside a job's day, so that jobs of a machine share one where that delays none.
const VISIT: f64 = 1e-5;

/// The problem of the urgent jobs alone, their day being their cost; `None` where there is no urgent job.
pub(crate) fn urgent_alone(problem: &Problem) -> Option<Problem> {
    let is_urgent = |machine: &MachineWork| machine.jobs.iter().any(|job| job.is_urgent);
    if !problem.machines.iter().any(is_urgent) {
        return None;
    }
    let machines = problem.machines.iter().map(|machine| alone(machine, problem.days)).collect();
    let told = problem.told.iter().filter(|told| told.is_locked).cloned().collect();
    Some(Problem { machines, told, worth_moving: 0.0, ..problem.clone() })
}

fn alone(machine: &MachineWork, days: usize) -> MachineWork {
    let costs = |job: &Job| {
        let by_day = (0..days).map(|day| if job.is_urgent { day as f64 } else { 0.0 });
        let left = if job.is_urgent { (10 * (days + 1)) as f64 } else { 0.0 };
        by_day.chain([left]).collect()
    };
    let jobs = machine.jobs.iter().map(|job| Job { costs: costs(job), is_due_within: false, ..job.clone() }).collect();
    MachineWork { setup_cost: vec![VISIT; days + 1], minute_cost: vec![0.0; days + 1], jobs, ..machine.clone() }
}

/// The urgent jobs of a machine and those that go before them, as flags.
pub(crate) fn urgent_and_before(machine: &MachineWork) -> Vec<bool> {
    let mut within: Vec<bool> = machine.jobs.iter().map(|job| job.is_urgent).collect();
    while let Some(&[first, _]) = machine.after.iter().find(|[first, second]| within[*second] && !within[*first]) {
        within[first] = true;
    }
    within
}
