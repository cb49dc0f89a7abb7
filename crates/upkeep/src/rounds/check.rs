//! Whether a plan keeps to its problem. Written apart from the planner: it shares no function with it, so that neither hides
//! the other's mistakes.

use super::problem::{MachineWork, Placed, Plan, Problem};

/// Minutes, amounts and money may differ by this share, or by this much where they are less than 1.
const TOLERANCE: f64 = 1e-6;

/// A constraint that a plan breaks.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Broken {
    /// A visit is to a machine, on a day, by a keeper or for a job that is not there, or for nothing.
    #[error("visit {0} is of nothing that is there")]
    Index(usize),
    /// A job is planned twice: machine and job.
    #[error("machine {0}: job {1} is planned twice")]
    Twice(usize, usize),
    /// A machine is visited twice on a day: machine and day.
    #[error("machine {0} is visited twice on day {1}")]
    TwoVisits(usize, usize),
    /// A visit's minutes are not what its jobs take.
    #[error("visit {0} does not take its minutes")]
    Minutes(usize),
    /// A visit is longer than the machine's window: machine and day.
    #[error("machine {0} is not free for so long on day {1}")]
    Window(usize, usize),
    /// A keeper has not the skills for a visit.
    #[error("visit {0} needs skills that its keeper lacks")]
    Skills(usize),
    /// A keeper's visits take more than the day's minutes: keeper and day.
    #[error("keeper {0} has not so many minutes on day {1}")]
    KeeperMinutes(usize, usize),
    /// More of a stock is used than there is: stock and day.
    #[error("stock {0} does not last until day {1}")]
    Supply(usize, usize),
    /// A job goes before the one that it comes after: machine and both jobs.
    #[error("machine {0}: job {2} goes before job {1}")]
    Order(usize, usize, usize),
    /// Two jobs are in one visit that never may be: machine and both jobs.
    #[error("machine {0}: jobs {1} and {2} are in one visit")]
    Together(usize, usize, usize),
    /// A locked visit is not in the plan: its place among the told ones.
    #[error("locked visit {0} is not in the plan")]
    Locked(usize),
    /// A job is told to be unplaced and is planned: machine and job.
    #[error("machine {0}: job {1} is planned and told to be unplaced")]
    Unplaced(usize, usize),
    /// The cost is not what the visits cost: what is told, and what they cost.
    #[error("the plan costs {1} and says {0}")]
    Cost(f64, f64),
    /// The bound lies above the cost.
    #[error("the bound lies above the cost")]
    Bound,
}

/// Everything in which a plan breaks its problem's constraints or is wrong about itself; nothing for a good plan. Locked visits
/// stand whatever they break.
pub fn check(problem: &Problem, plan: &Plan) -> Vec<Broken> {
    let is_there = |visit: &Placed| {
        visit.day < problem.days
            && visit.keeper < problem.keepers.len()
            && !visit.jobs.is_empty()
            && problem.machines.get(visit.machine).is_some_and(|of| visit.jobs.iter().all(|&job| job < of.jobs.len()))
    };
    let missing: Vec<Broken> =
        (0..plan.visits.len()).filter(|&place| !is_there(&plan.visits[place])).map(Broken::Index).collect();
    if !missing.is_empty() {
        return missing;
    }
    let mut broken = Vec::new();
    each_visit(problem, plan, &mut broken);
    for (machine, of) in problem.machines.iter().enumerate() {
        each_machine(problem, plan, machine, of, &mut broken);
    }
    keepers(problem, plan, &mut broken);
    supplies(problem, plan, &mut broken);
    locked_and_left(problem, plan, &mut broken);
    let cost: f64 = problem.machines.iter().enumerate().map(|(machine, of)| cost_of(problem, plan, machine, of)).sum();
    if TOLERANCE * cost.abs().max(1.0) < (cost - plan.cost).abs() {
        broken.push(Broken::Cost(plan.cost, cost));
    }
    if plan.cost + TOLERANCE * plan.cost.abs().max(1.0) < plan.bound {
        broken.push(Broken::Bound);
    }
    broken
}

/// Whether a visit is a locked one, perhaps with further jobs.
fn holds_locked(problem: &Problem, visit: &Placed) -> bool {
    let same = |told: &&super::ToldVisit| {
        told.is_locked && told.machine == visit.machine && told.day == visit.day && told.keeper == visit.keeper
    };
    problem.told.iter().filter(same).any(|told| told.jobs.iter().all(|job| visit.jobs.contains(job)))
}

/// Whether a visit is a locked one without further jobs.
fn is_just_locked(problem: &Problem, visit: &Placed) -> bool {
    let same = |told: &super::ToldVisit| {
        told.is_locked
            && (told.machine, told.day, told.keeper) == (visit.machine, visit.day, visit.keeper)
            && told.jobs.len() == visit.jobs.len()
    };
    holds_locked(problem, visit) && problem.told.iter().any(same)
}

fn each_visit(problem: &Problem, plan: &Plan, broken: &mut Vec<Broken>) {
    for (place, visit) in plan.visits.iter().enumerate() {
        let of = &problem.machines[visit.machine];
        let mut accesses: Vec<usize> = visit.jobs.iter().filter_map(|&job| of.jobs[job].access).collect();
        accesses.sort_unstable();
        accesses.dedup();
        let mut minutes = of.setup_minutes;
        minutes += accesses.iter().map(|&access| of.accesses[access]).sum::<f64>();
        minutes += visit.jobs.iter().map(|&job| of.jobs[job].minutes).sum::<f64>();
        minutes += waited(of, visit);
        if TOLERANCE * minutes.max(1.0) < (minutes - visit.minutes).abs() {
            broken.push(Broken::Minutes(place));
        }
        if is_just_locked(problem, visit) {
            continue;
        }
        if of.window[visit.day] + TOLERANCE * minutes.max(1.0) < minutes {
            broken.push(Broken::Window(visit.machine, visit.day));
        }
        let told: &[usize] = problem
            .told
            .iter()
            .find(|told| told.is_locked && told.machine == visit.machine && told.day == visit.day)
            .map_or(&[], |told| &told.jobs);
        let needed =
            visit.jobs.iter().filter(|job| !told.contains(job)).fold(0, |all, &job| all | of.jobs[job].skills.0);
        if needed & !problem.keepers[visit.keeper].skills.0 != 0 {
            broken.push(Broken::Skills(place));
        }
    }
}

/// How long a visit waits, min: as long as two of its jobs do at most.
fn waited(of: &MachineWork, visit: &Placed) -> f64 {
    let is_there = |job: &usize| visit.jobs.contains(job);
    of.waits.iter().fold(
        0.0,
        |most, ([one, other], minutes)| {
            if is_there(one) && is_there(other) && most < *minutes { *minutes } else { most }
        },
    )
}

fn each_machine(problem: &Problem, plan: &Plan, machine: usize, of: &MachineWork, broken: &mut Vec<Broken>) {
    let visits: Vec<&Placed> = plan.visits.iter().filter(|visit| visit.machine == machine).collect();
    let visits_with = |job: usize| visits.iter().filter(move |visit| visit.jobs.contains(&job));
    for job in 0..of.jobs.len() {
        let count = visits.iter().flat_map(|visit| &visit.jobs).filter(|&&planned| planned == job).count();
        if 1 < count {
            broken.push(Broken::Twice(machine, job));
        }
    }
    for day in 0..problem.days {
        let others = visits.iter().filter(|visit| visit.day == day && !holds_locked(problem, visit)).count();
        let locked = visits.iter().filter(|visit| visit.day == day && holds_locked(problem, visit)).count();
        if 1 < others || (0 < others && 0 < locked) {
            broken.push(Broken::TwoVisits(machine, day));
        }
    }
    let is_locked = |job: usize| is_locked(problem, machine, job);
    for &[first, second] in &of.after {
        let Some(then) = visits_with(second).next() else { continue };
        let before = visits_with(first).next();
        if !is_locked(second) && before.is_none_or(|before| then.day < before.day) {
            broken.push(Broken::Order(machine, first, second));
        }
    }
    for &[one, other] in &of.apart {
        let both = visits.iter().any(|visit| visit.jobs.contains(&one) && visit.jobs.contains(&other));
        if both && !(is_locked(one) && is_locked(other)) {
            broken.push(Broken::Together(machine, one, other));
        }
    }
}

fn keepers(problem: &Problem, plan: &Plan, broken: &mut Vec<Broken>) {
    for (keeper, of) in problem.keepers.iter().enumerate() {
        for day in 0..problem.days {
            let theirs = || plan.visits.iter().filter(|visit| visit.keeper == keeper && visit.day == day);
            let minutes: f64 = theirs().map(|visit| visit.minutes).sum();
            let only_locked = theirs().all(|visit| is_just_locked(problem, visit));
            if of.minutes[day] + TOLERANCE * minutes.max(1.0) < minutes && !only_locked {
                broken.push(Broken::KeeperMinutes(keeper, day));
            }
        }
    }
}

fn supplies(problem: &Problem, plan: &Plan, broken: &mut Vec<Broken>) {
    for (stock, of) in problem.stocks.iter().enumerate() {
        for day in 0..problem.days {
            let (mut locked, mut others) = (0.0, 0.0);
            for visit in plan.visits.iter().filter(|visit| visit.day <= day) {
                for &job in &visit.jobs {
                    let uses = problem.machines[visit.machine].jobs[job].uses.iter().filter(|(used, _)| *used == stock);
                    let amount: f64 = uses.map(|(_, amount)| amount).sum();
                    *(if is_locked(problem, visit.machine, job) { &mut locked } else { &mut others }) += amount;
                }
            }
            if 0.0 < others && of.by_day[day] + TOLERANCE * others.max(1.0) < locked + others {
                broken.push(Broken::Supply(stock, day));
            }
        }
    }
}

/// Whether a job is in a locked visit.
fn is_locked(problem: &Problem, machine: usize, job: usize) -> bool {
    problem.told.iter().any(|told| told.is_locked && told.machine == machine && told.jobs.contains(&job))
}

fn locked_and_left(problem: &Problem, plan: &Plan, broken: &mut Vec<Broken>) {
    for (place, told) in problem.told.iter().enumerate().filter(|(_, told)| told.is_locked) {
        let stands = |visit: &Placed| {
            (visit.machine, visit.day, visit.keeper) == (told.machine, told.day, told.keeper)
                && told.jobs.iter().all(|job| visit.jobs.contains(job))
        };
        if !plan.visits.iter().any(stands) {
            broken.push(Broken::Locked(place));
        }
    }
    for left in &plan.unplaced {
        if plan.visits.iter().any(|visit| visit.machine == left.machine && visit.jobs.contains(&left.job)) {
            broken.push(Broken::Unplaced(left.machine, left.job));
        }
    }
}

/// What a machine costs in a plan, from the words of the types alone.
fn cost_of(problem: &Problem, plan: &Plan, machine: usize, of: &MachineWork) -> f64 {
    let mut cost = 0.0;
    let mut day_of = vec![None; of.jobs.len()];
    for visit in plan.visits.iter().filter(|visit| visit.machine == machine) {
        cost += of.setup_cost[visit.day]
            + (visit.minutes - of.setup_minutes - waited(of, visit)) * of.minute_cost[visit.day];
        cost += visit.jobs.iter().map(|&job| of.jobs[job].costs[visit.day]).sum::<f64>();
        visit.jobs.iter().for_each(|&job| day_of[job] = Some(visit.day));
    }
    let left: Vec<usize> = (0..of.jobs.len()).filter(|&job| day_of[job].is_none()).collect();
    cost += left.iter().map(|&job| of.jobs[job].costs[problem.days]).sum::<f64>();
    let minute = of.minute_cost[problem.days];
    cost += left.iter().map(|&job| of.jobs[job].minutes * minute).sum::<f64>();
    let within: Vec<usize> = left.into_iter().filter(|&job| of.jobs[job].is_due_within).collect();
    for (access, minutes) in of.accesses.iter().enumerate() {
        if within.iter().any(|&job| of.jobs[job].access == Some(access)) {
            cost += minutes * minute;
        }
    }
    cost + if within.is_empty() { 0.0 } else { of.setup_cost[problem.days] }
}
