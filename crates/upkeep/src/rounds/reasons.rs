//! On which days a job can be done at all, and why one can't.

use super::cost::visit_minutes;
use super::problem::{Job, MachineWork, Problem, Reason, Skills};
use super::room::TOLERANCE;

/// The days on which a job can be done as far as it alone is concerned, as a set of bits; or why there is none.
pub(crate) fn possible_days(problem: &Problem, machine: &MachineWork, job: usize) -> Result<u64, Reason> {
    let needed = visit_minutes(machine, &[job]);
    let job = &machine.jobs[job];
    if problem.keepers.is_empty() {
        return Err(Reason::NoKeeper);
    }
    if !problem.keepers.iter().any(|keeper| keeper.skills.hold(job.skills)) {
        return Err(Reason::NoSkill);
    }
    let longest = |day: usize| longest_day(problem, job.skills, day);
    let long: Vec<usize> = (0..problem.days).filter(|&day| needed <= longest(day) + TOLERANCE).collect();
    if long.is_empty() {
        let longest = (0..problem.days).map(longest).fold(0.0, f64::max);
        return Err(Reason::NoDayLongEnough { needed, longest });
    }
    let open: Vec<usize> = long.iter().copied().filter(|&day| needed <= machine.window[day] + TOLERANCE).collect();
    if open.is_empty() {
        let longest = long.iter().map(|&day| machine.window[day]).fold(0.0, f64::max);
        return Err(Reason::NoWindow { needed, longest });
    }
    with_supplies(problem, job, &open)
}

/// The longest day of a keeper who holds some skills, min.
fn longest_day(problem: &Problem, skills: Skills, day: usize) -> f64 {
    let holders = problem.keepers.iter().filter(|keeper| keeper.skills.hold(skills));
    holders.map(|keeper| keeper.minutes[day]).fold(0.0, f64::max)
}

/// Those of some days on which the supplies of a job are there, or which one is not.
fn with_supplies(problem: &Problem, job: &Job, days: &[usize]) -> Result<u64, Reason> {
    let mut all = days.iter().fold(0_u64, |all, day| all | 1 << day);
    for &(stock, needed) in &job.uses {
        // What is used on a day is missing on all later ones, too.
        let there = |day: usize| problem.stocks[stock].by_day[day..].iter().copied().fold(f64::INFINITY, f64::min);
        all &= days.iter().filter(|&&day| needed <= there(day)).fold(0_u64, |all, day| all | 1 << day);
        if all == 0 {
            let most = days.iter().map(|&day| there(day)).fold(0.0, f64::max);
            return Err(Reason::NoSupply { stock, needed, most });
        }
    }
    Ok(all)
}

/// Why jobs of a machine can't be done for the sake of those they come after: those that wait for themselves through others,
/// and those that wait for a job that can't be done. `None` where nothing of that holds.
pub(crate) fn waiting(machine: &MachineWork, can_be_done: impl Fn(usize) -> bool) -> Vec<Option<Reason>> {
    let reached = reached_from_each(machine);
    let own = |job: usize| (reached[job] >> job & 1 == 1).then_some(Reason::Cycle);
    let mut reasons: Vec<Option<Reason>> = (0..machine.jobs.len()).map(own).collect();
    loop {
        let is_stuck = |job: usize| reasons[job].is_some() || !can_be_done(job);
        let next = machine.after.iter().find(|[first, second]| is_stuck(*first) && !is_stuck(*second));
        let Some(&[first, second]) = next else { return reasons };
        reasons[second] = Some(Reason::Waits { job: first });
    }
}

/// The jobs that come after each job, directly or through others, as sets of bits.
fn reached_from_each(machine: &MachineWork) -> Vec<u128> {
    let mut reached = vec![0_u128; machine.jobs.len()];
    for &[first, second] in &machine.after {
        reached[first] |= 1 << second;
    }
    for through in 0..reached.len() {
        for from in 0..reached.len() {
            if reached[from] >> through & 1 == 1 {
                reached[from] |= reached[through];
            }
        }
    }
    reached
}
