//! A plan as it waits for somebody to decide: all that is shown of it and what telling people needs, as words and plain figures.
//! Any server of the shop can show it and tell people of it, so it holds nothing of what it was made of.

use std::time::Duration;

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use upkeep::rounds::Placed;

use super::{Assembled, Risks, Round, Telling};
use crate::trouble::Trouble;
use crate::words;

/// A plan that nobody has been told of.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Proposal {
    /// The day on which it was made, its first.
    pub(crate) today: Date,
    /// Its last day.
    pub(crate) last: Date,
    /// How long it was sought, s.
    pub(crate) seconds: u16,
    /// Cost, bound and gap in a sentence without its first capital.
    pub(crate) costs: String,
    /// Prices that are assumed.
    pub(crate) assumed: Vec<String>,
    /// The plan beside two simple rules.
    pub(crate) ways: Vec<WayOfPlanning>,
    /// Machines that must not run before something is done.
    pub(crate) forbidden: Vec<Work>,
    /// What could not be placed though it should be.
    pub(crate) unplaced: Vec<Unplaced>,
    /// Why each task is there.
    pub(crate) reasons: Vec<Reason>,
    /// What people would be told.
    pub(crate) telling: Telling,
}

/// A way of planning and what it comes to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct WayOfPlanning {
    pub(crate) name: String,
    pub(crate) visits: usize,
    pub(crate) cost: String,
}

/// Work at a machine.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Work {
    pub(crate) machine: String,
    pub(crate) tasks: Vec<String>,
}

/// Work that could not be placed for the same reason.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Unplaced {
    pub(crate) why: String,
    pub(crate) work: Vec<Work>,
}

/// Tasks that are done together, how much of their allowances will be used, and what doing and waiting cost.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Reason {
    pub(crate) machine: String,
    pub(crate) tasks: String,
    pub(crate) used: String,
    pub(crate) cost: String,
}

impl Proposal {
    /// Seeks a plan for `days` days within about `seconds`.
    ///
    /// # Errors
    /// A shop that the planner can't hold.
    pub(crate) fn seek(shop: &Assembled, risks: &Risks, days: u16, seconds: u16) -> Result<Proposal, Trouble> {
        let round = Round::of(shop, risks, usize::from(days), Duration::from_secs(seconds.into()))?;
        Ok(Proposal {
            today: round.agenda.today,
            last: round.date(round.agenda.problem.days.saturating_sub(1)),
            seconds,
            costs: costs(shop, &round),
            assumed: shop.assumed.iter().map(|&price| price.to_owned()).collect(),
            ways: ways(shop, &round),
            forbidden: forbidden(shop, &round),
            unplaced: unplaced(shop, &round),
            reasons: round.plan.visits.iter().flat_map(|visit| reasons(shop, &round, visit)).collect(),
            telling: Telling::of(shop, &round),
        })
    }
}

fn costs(shop: &Assembled, round: &Round) -> String {
    let cost = round.spent(&round.plan, &shop.currency);
    match round.agenda.spent(&round.plan).days_late {
        0 => {
            let bound = words::money(round.plan.bound, &shop.currency);
            format!("cost {cost}, bound {bound}, gap {:.1} %.", 100.0 * round.plan.gap())
        }
        // Danger is weighed so far above money that a bound on both tells nothing of money.
        _ => format!("cost {cost}. It went before money, but had no place in time."),
    }
}

fn ways(shop: &Assembled, round: &Round) -> Vec<WayOfPlanning> {
    let all = [
        ("This plan", &round.plan),
        ("Each task on its due day", &round.on_due_days),
        ("Everything of a machine at once", &round.at_once),
    ];
    let way = |(name, plan): (&str, &upkeep::rounds::Plan)| WayOfPlanning {
        name: name.to_owned(),
        visits: plan.visits.len(),
        cost: round.spent(plan, &shop.currency),
    };
    all.into_iter().map(way).collect()
}

fn forbidden(shop: &Assembled, round: &Round) -> Vec<Work> {
    let states = shop.states.iter().zip(&round.agenda.forbidden).filter(|(_, tasks)| !tasks.is_empty());
    let work = states.map(|(state, tasks)| Work {
        machine: state.name.clone(),
        tasks: tasks.iter().map(|&task| state.build.tasks[task].name.clone()).collect(),
    });
    work.collect()
}

fn unplaced(shop: &Assembled, round: &Round) -> Vec<Unplaced> {
    let work = |(machine, jobs): (usize, Vec<&str>)| Work {
        machine: round.agenda.problem.machines[machine].name.clone(),
        tasks: jobs.into_iter().map(str::to_owned).collect(),
    };
    let all = round.unplaced(shop).into_iter();
    all.map(|(why, machines)| Unplaced { why, work: machines.into_iter().map(work).collect() }).collect()
}

fn reasons<'a>(shop: &'a Assembled, round: &'a Round, visit: &'a Placed) -> impl Iterator<Item = Reason> + 'a {
    let of_job = move |&job: &usize| {
        let share = |&task: &usize| words::percent(round.agenda.ahead[visit.machine].shares[task][visit.day]);
        Reason {
            machine: round.machine(visit).to_owned(),
            tasks: round.agenda.problem.machines[visit.machine].jobs[job].name.clone(),
            used: round.agenda.tasks[visit.machine][job].iter().map(share).collect::<Vec<_>>().join(", "),
            cost: round.why(visit, job, &shop.currency),
        }
    };
    visit.jobs.iter().map(of_job)
}
