//! Two simple rules to compare a plan with. Common practice, no source.

use super::cost::{job_cost, machine_cost, skills_of, visit_minutes};
use super::problem::{Placed, Plan, Problem};
use super::reasons::possible_days;
use super::room::{Room, TOLERANCE};

/// Each job on its own best day, at the machine's visit of that day: the first keeper with room, else the next day, and after
/// the last it is left. Jobs that are best left are left, and so are those with bonds to other jobs whose turn has not come.
///
/// # Panics
/// If [`Problem::check`] fails for the problem.
pub fn on_due_days(problem: &Problem) -> Plan {
    let mut filler = Filler::new(problem);
    let mut wanted: Vec<(usize, usize, usize)> = Vec::new();
    for (machine, of) in problem.machines.iter().enumerate() {
        for job in 0..of.jobs.len() {
            let cheaper = |a: &usize, b: &usize| job_cost(of, *a, job).total_cmp(&job_cost(of, *b, job));
            // OK because the day after the last is always among them.
            let day = (0..=problem.days).min_by(cheaper).expect("a day");
            wanted.push((day, machine, job));
        }
    }
    wanted.sort_unstable();
    for (day, machine, job) in wanted {
        filler.add_from(machine, day, job);
    }
    filler.plan()
}

/// All jobs of a machine that are due in the days in one visit, on the first day on which somebody has room for all, machine
/// after machine.
///
/// # Panics
/// If [`Problem::check`] fails for the problem.
pub fn monthly(problem: &Problem) -> Plan {
    let mut filler = Filler::new(problem);
    for (machine, of) in problem.machines.iter().enumerate() {
        let due: Vec<usize> = (0..of.jobs.len()).filter(|&job| of.jobs[job].is_due_within).collect();
        if due.is_empty() {
            continue;
        }
        let together = (0..problem.days).any(|day| filler.add(machine, day, &due));
        if !together {
            due.iter().for_each(|&job| filler.add_from(machine, 0, job));
        }
    }
    filler.plan()
}

/// A plan that is filled job by job.
struct Filler<'a> {
    problem: &'a Problem,
    visits: Vec<Placed>,
    room: Room,
    possible: Vec<Vec<u64>>,
}

impl<'a> Filler<'a> {
    fn new(problem: &'a Problem) -> Filler<'a> {
        let days = |machine| move |job| possible_days(problem, &problem.machines[machine], job).unwrap_or(0);
        let of_machine = |machine: usize| (0..problem.machines[machine].jobs.len()).map(days(machine)).collect();
        let possible = (0..problem.machines.len()).map(of_machine).collect();
        Filler { problem, visits: Vec::new(), room: Room::whole(problem), possible }
    }

    /// Adds a job on the first day from a day on on which there is room, if there is one.
    fn add_from(&mut self, machine: usize, day: usize, job: usize) {
        for day in day..self.problem.days {
            if self.add(machine, day, &[job]) {
                return;
            }
        }
    }

    /// Adds jobs to a machine's visit on a day. Whether there was room.
    fn add(&mut self, machine: usize, day: usize, jobs: &[usize]) -> bool {
        let of = &self.problem.machines[machine];
        let place = self.visits.iter().position(|visit| visit.machine == machine && visit.day == day);
        let before = place.map(|place| self.visits.swap_remove(place));
        before.iter().for_each(|visit| self.room.give_back(of, visit));
        let mut all: Vec<usize> = before.iter().flat_map(|visit| &visit.jobs).chain(jobs).copied().collect();
        all.sort_unstable();
        let added = self.visit(machine, day, all, before.as_ref().map(|visit| visit.keeper));
        let stands = added.is_some();
        if let Some(visit) = added.or(before) {
            self.room.take(of, &visit);
            self.visits.push(visit);
        }
        stands
    }

    /// A visit with some jobs, if nothing forbids it.
    fn visit(&self, machine: usize, day: usize, jobs: Vec<usize>, keeper: Option<usize>) -> Option<Placed> {
        let of = &self.problem.machines[machine];
        let minutes = visit_minutes(of, &jobs);
        let day_of = |job: usize| {
            let with = self.visits.iter().find(|visit| visit.machine == machine && visit.jobs.contains(&job));
            if jobs.contains(&job) { Some(day) } else { with.map(|visit| visit.day) }
        };
        let in_order = |pair: &[usize; 2]| match (day_of(pair[0]), day_of(pair[1])) {
            (_, None) => true,
            (first, Some(second)) => first.is_some_and(|first| first <= second),
        };
        let is_apart = |pair: &[usize; 2]| !(jobs.contains(&pair[0]) && jobs.contains(&pair[1]));
        let supplied = |stock: usize| {
            let uses = jobs.iter().flat_map(|&job| &of.jobs[job].uses).filter(|(used, _)| *used == stock);
            let uses: Vec<(usize, f64)> = uses.map(|(_, amount)| (day, *amount)).collect();
            self.room.overdrawn(stock, &uses).is_none()
        };
        let can = jobs.iter().all(|&job| self.possible[machine][job] >> day & 1 == 1)
            && minutes <= of.window[day] + TOLERANCE
            && of.after.iter().all(in_order)
            && of.apart.iter().all(is_apart)
            && (0..self.problem.stocks.len()).all(supplied);
        let skills = skills_of(of, &jobs);
        let first =
            || (0..self.problem.keepers.len()).find(|&keeper| self.room.keeper_fits(keeper, day, minutes, skills));
        let keeper = match keeper {
            Some(keeper) => self.room.keeper_fits(keeper, day, minutes, skills).then_some(keeper),
            None => first(),
        };
        can.then_some(Placed { machine, day, keeper: keeper?, jobs, minutes })
    }

    fn plan(mut self) -> Plan {
        self.visits.sort_by_key(|visit| (visit.day, visit.keeper, visit.machine));
        let of_machine = |machine: usize| -> Vec<Placed> {
            self.visits.iter().filter(|visit| visit.machine == machine).cloned().collect()
        };
        let machines = self.problem.machines.iter().enumerate();
        let cost = machines.map(|(machine, of)| machine_cost(of, self.problem.days, &of_machine(machine))).sum();
        Plan { visits: self.visits, unplaced: Vec::new(), cost, bound: 0.0 }
    }
}
