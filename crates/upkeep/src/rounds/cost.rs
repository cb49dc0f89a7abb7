//! What visits take and cost.

use super::problem::{MachineWork, Placed, Plan, Problem, Skills};

/// Minutes of a visit with some jobs: the set-up, each access once, the jobs, and the longest wait among them.
pub(crate) fn visit_minutes(machine: &MachineWork, jobs: &[usize]) -> f64 {
    work_minutes(machine, jobs) + wait_minutes(machine, jobs)
}

/// The longest wait among some jobs, min.
fn wait_minutes(machine: &MachineWork, jobs: &[usize]) -> f64 {
    let is_there = |pair: &[usize; 2]| pair.iter().all(|job| jobs.contains(job));
    let waits = machine.waits.iter().filter(|(pair, _)| is_there(pair)).map(|(_, minutes)| *minutes);
    waits.fold(0.0, f64::max)
}

/// Minutes of a visit with some jobs, waits apart: what minutes are priced by, for it is a sum.
pub(crate) fn work_minutes(machine: &MachineWork, jobs: &[usize]) -> f64 {
    machine.setup_minutes
        + access_minutes(machine, jobs)
        + jobs.iter().map(|&job| machine.jobs[job].minutes).sum::<f64>()
}

/// Minutes that the accesses of some jobs take, each once.
fn access_minutes(machine: &MachineWork, jobs: &[usize]) -> f64 {
    let is_used = |access: &usize| jobs.iter().any(|&job| machine.jobs[job].access == Some(*access));
    (0..machine.accesses.len()).filter(is_used).map(|access| machine.accesses[access]).sum()
}

/// What one must be able to do for some jobs.
pub(crate) fn skills_of(machine: &MachineWork, jobs: &[usize]) -> Skills {
    Skills(jobs.iter().fold(0, |all, &job| all | machine.jobs[job].skills.0))
}

/// Some visits as a plan with its cost, whatever they break. Nothing is known of a bound but that costs are not negative.
pub(crate) fn of_visits(problem: &Problem, visits: Vec<Placed>) -> Plan {
    let of_machine = |machine: usize| {
        let theirs: Vec<Placed> = visits.iter().filter(|visit| visit.machine == machine).cloned().collect();
        machine_cost(&problem.machines[machine], problem.days, &theirs)
    };
    let cost = (0..problem.machines.len()).map(of_machine).sum();
    Plan { visits, unplaced: Vec::new(), cost, bound: 0.0 }
}

/// What a machine costs with some visits, the jobs that are left included. Money.
pub(crate) fn machine_cost(machine: &MachineWork, days: usize, visits: &[Placed]) -> f64 {
    let at_visits: f64 = visits.iter().map(|visit| visit_cost(machine, visit.day, &visit.jobs)).sum();
    let is_left = |job: &usize| !visits.iter().any(|visit| visit.jobs.contains(job));
    let (within, later): (Vec<usize>, Vec<usize>) =
        (0..machine.jobs.len()).filter(is_left).partition(|&job| machine.jobs[job].is_due_within);
    let thereafter = if within.is_empty() { 0.0 } else { visit_cost(machine, days, &within) };
    at_visits + thereafter + later.iter().map(|&job| job_cost(machine, days, job)).sum::<f64>()
}

/// What a visit on a day costs with its jobs; with the day after the last, what it costs to leave them. Money.
pub(crate) fn visit_cost(machine: &MachineWork, day: usize, jobs: &[usize]) -> f64 {
    let accesses = access_minutes(machine, jobs) * machine.minute_cost[day];
    machine.setup_cost[day] + accesses + jobs.iter().map(|&job| job_cost(machine, day, job)).sum::<f64>()
}

/// What a job costs on a day, the machine's standing still included; with the day after the last, what it costs to leave it.
pub(crate) fn job_cost(machine: &MachineWork, day: usize, job: usize) -> f64 {
    machine.jobs[job].costs[day] + machine.jobs[job].minutes * machine.minute_cost[day]
}
