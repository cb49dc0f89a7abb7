//! The plan of a round.

use super::bound::bound;
use super::cost::{machine_cost, skills_of, visit_minutes};
use super::group::{Prices, Work};
use super::opening::ones;
use super::problem::{MachineWork, Placed, Plan, Problem, Reason, Unplaced};
use super::reasons::{possible_days, waiting};
use super::room::{Room, TOLERANCE};
use super::search::{Visits, search};
use super::stage::{Stage, placed};
use super::urgent::{urgent_alone, urgent_and_before};

/// How many branches a machine alone is looked into to see which of its jobs it would have done.
const BRANCHES: usize = 200;

/// How long to seek.
#[derive(Clone, Copy)]
pub struct Effort<'a> {
    /// How many times prices are changed for a better bound.
    pub rounds: usize,
    /// How many times each of two chains of the search takes some machines out of the plan and puts them back.
    pub steps: usize,
    /// How many threads may be used. The plan is the same with any number.
    pub threads: usize,
    /// Whether to stop now. Asked after every step. Where it says so, the plan depends on when; else the same problem always
    /// gives the same plan.
    pub stop: &'a (dyn Fn() -> bool + Sync),
}

impl Effort<'_> {
    /// As many steps as end within seconds for some tens of machines, and no end before.
    pub fn new() -> Effort<'static> {
        Effort { rounds: 150, steps: 4_000, threads: 2, stop: &|| false }
    }
}

impl Default for Effort<'_> {
    fn default() -> Self {
        Effort::new()
    }
}

/// The visits of some days, as cheap as they could be made, and what no plan can cost less than.
///
/// Each machine is visited once a day at most, but for locked visits. Urgent jobs are planned first and alone; the bound holds
/// for plans with these visits.
///
/// # Panics
/// If [`Problem::check`] fails for the problem.
pub fn plan(problem: &Problem, effort: &Effort<'_>) -> Plan {
    if let Err(wrong) = problem.check() {
        panic!("a problem that contradicts itself: {wrong}");
    }
    let reasons: Vec<Vec<Result<u64, Reason>>> =
        (0..problem.machines.len()).map(|machine| days_or_reasons(problem, machine)).collect();
    let possible: Vec<Vec<u64>> =
        reasons.iter().map(|jobs| jobs.iter().map(|job| *job.as_ref().unwrap_or(&0)).collect()).collect();
    let locked = locked(problem);
    let fixed = with_urgent(problem, &possible, locked, effort);
    let stage = Stage::new(problem, &possible, &fixed);
    let bound = bound(&stage, effort.rounds, effort.threads, effort.stop);
    let visits = search(&stage, &bound, effort);
    let cost =
        visits.iter().zip(&problem.machines).map(|(visits, machine)| machine_cost(machine, problem.days, visits)).sum();
    let unplaced = unplaced(problem, &reasons, &stage, &visits);
    let mut visits: Vec<Placed> = visits.into_iter().flatten().collect();
    visits.sort_by_key(|visit| (visit.day, visit.keeper, visit.machine));
    Plan { visits, unplaced, cost, bound: bound.value.min(cost) }
}

/// The days on which each job of a machine can be done, or why there is none. Days of locked visits that it could join are
/// among them.
fn days_or_reasons(problem: &Problem, machine: usize) -> Vec<Result<u64, Reason>> {
    let of = &problem.machines[machine];
    let joined = |job: usize| {
        let may_join = |told: &&super::ToldVisit| {
            told.is_locked && told.machine == machine && problem.keepers[told.keeper].skills.hold(of.jobs[job].skills)
        };
        problem.told.iter().filter(may_join).fold(0_u64, |all, told| all | 1 << told.day)
    };
    let days = |job: usize| match (possible_days(problem, of, job), joined(job)) {
        (Ok(days), joined) => Ok(days | joined),
        (Err(_), joined) if joined != 0 => Ok(joined),
        (Err(reason), _) => Err(reason),
    };
    let alone: Vec<Result<u64, Reason>> = (0..of.jobs.len()).map(days).collect();
    let waiting = waiting(of, |job| alone[job].is_ok());
    alone.into_iter().zip(waiting).map(|(days, waiting)| waiting.map_or(days, Err)).collect()
}

/// The locked visits of each machine.
fn locked(problem: &Problem) -> Visits {
    let mut locked = vec![Vec::new(); problem.machines.len()];
    problem.told.iter().filter(|told| told.is_locked).for_each(|told| locked[told.machine].push(placed(problem, told)));
    locked
}

/// The locked visits with the urgent jobs, placed as early as they can be.
fn with_urgent(problem: &Problem, possible: &[Vec<u64>], locked: Visits, effort: &Effort<'_>) -> Visits {
    let Some(alone) = urgent_alone(problem) else { return locked };
    let only_urgent = |(machine, days): (usize, &Vec<u64>)| {
        let within = urgent_and_before(&problem.machines[machine]);
        days.iter().zip(within).map(|(days, within)| if within { *days } else { 0 }).collect()
    };
    let possible: Vec<Vec<u64>> = possible.iter().enumerate().map(only_urgent).collect();
    let stage = Stage::new(&alone, &possible, &locked);
    let bound = bound(&stage, effort.rounds, effort.threads, effort.stop);
    let mut visits = search(&stage, &bound, effort);
    // Their minutes are the same in both problems, and locked visits with nothing urgent in them are among them.
    for visit in visits.iter_mut().flatten() {
        visit.minutes = visit_minutes(&problem.machines[visit.machine], &visit.jobs);
    }
    visits
}

/// The jobs that are left though they should not be, with the reasons.
fn unplaced(
    problem: &Problem,
    reasons: &[Vec<Result<u64, Reason>>],
    stage: &Stage<'_>,
    visits: &Visits,
) -> Vec<Unplaced> {
    let boundless = Room::boundless(problem.days, problem.stocks.len(), problem.keepers.len().max(1));
    let mut room = Room::whole(problem);
    visits.iter().flatten().for_each(|visit| room.take(&problem.machines[visit.machine], visit));
    let room = &room;
    let of_machine = |machine: usize| {
        let of = &problem.machines[machine];
        let is_left = |job: usize| !visits[machine].iter().any(|visit| visit.jobs.contains(&job));
        let all = vec![super::group::all_days(problem.days); of.jobs.len()];
        let free = MachineWork { window: vec![f64::INFINITY; problem.days], ..of.clone() };
        let work = Work::new(&free, problem.days, &all, stage.works[machine].fixed.clone());
        let chosen = work.best(&work.costs(&Prices::none(problem.days)), &boundless, BRANCHES);
        let wanted = chosen.map_or_else(Vec::new, |chosen| work.placed(&chosen));
        let should = move |job: &usize| {
            let must = of.jobs[*job].is_urgent || wanted.contains(job) || reasons[machine][*job] == Err(Reason::Cycle);
            must && is_left(*job)
        };
        let why = move |job: usize| match &reasons[machine][job] {
            Err(reason) => reason.clone(),
            Ok(days) => match of.after.iter().find(|[first, second]| *second == job && is_left(*first)) {
                Some(&[first, _]) => Reason::Waits { job: first },
                None if !of.jobs[job].is_urgent && has_place(of, job, *days, &visits[machine], room) => Reason::Dear,
                None => Reason::Crowded,
            },
        };
        (0..of.jobs.len()).filter(should).map(move |job| Unplaced { machine, job, why: why(job) }).collect::<Vec<_>>()
    };
    (0..problem.machines.len()).flat_map(of_machine).collect()
}

/// Whether visits leave room for a job on one of some days, in its machine's visit of that day where there is one.
fn has_place(of: &MachineWork, job: usize, days: u64, visits: &[Placed], room: &Room) -> bool {
    let is_on = |day: usize| {
        let there = visits.iter().find(|visit| visit.day == day);
        let others = there.map_or(&[][..], |visit| &visit.jobs);
        let jobs: Vec<usize> = others.iter().copied().chain([job]).collect();
        let (minutes, skills) = (visit_minutes(of, &jobs), skills_of(of, &[job]));
        let has_minutes = match there {
            Some(visit) => room.keeper_fits(visit.keeper, day, minutes - visit.minutes, skills),
            None => room.fits(day, minutes, skills),
        };
        let is_apart = |pair: &[usize; 2]| !(pair.contains(&job) && pair.iter().any(|other| others.contains(other)));
        has_minutes
            && minutes <= of.window[day] + TOLERANCE
            && of.apart.iter().all(is_apart)
            && of.jobs[job].uses.iter().all(|&(stock, amount)| room.overdrawn(stock, &[(day, amount)]).is_none())
    };
    ones(days).any(is_on)
}
