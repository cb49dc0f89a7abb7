//! A plan as JSON; the keys are in docs/JSON.md.

use serde_json::{Value, json};
use upkeep::agenda::Spent;
use upkeep::rounds::{Placed, Plan};

use super::keep::Changes;
use super::{Assembled, Round, held_words, reason_words};

pub(super) fn shape(shop: &Assembled, round: &Round, changes: Option<&Changes>) -> Value {
    let plan = &round.plan;
    let forbidden = shop.states.iter().zip(&round.agenda.forbidden).filter(|(_, tasks)| !tasks.is_empty());
    let forbidden = forbidden.map(|(state, tasks)| {
        let names: Vec<&str> = tasks.iter().map(|&task| state.build.tasks[task].name.as_str()).collect();
        json!({ "machine": state.name, "tasks": names })
    });
    let unplaced = plan.unplaced.iter().map(|unplaced| {
        let machine = &round.agenda.problem.machines[unplaced.machine];
        json!({
            "machine": machine.name, "task": machine.jobs[unplaced.job].name,
            "why": reason_words(&unplaced.why, shop, &round.agenda, unplaced.machine),
        })
    });
    let told = changes.map(|changes| {
        let undecided = changes.undecided.iter().map(|one| {
            json!({ "visit": one.visit, "machine": one.machine, "day": one.day.to_string(), "keeper": one.keeper })
        });
        json!({
            "new": changes.new, "changed": changes.changed, "called_off": changes.called_off, "same": changes.same,
            "undecided": undecided.collect::<Value>(),
        })
    });
    let spent = |plan: &Plan| {
        let Spent { money, days_late } = round.agenda.spent(plan);
        json!({ "cost": money, "days_late": days_late })
    };
    // What a locked visit after the days leaves past its limit is in no visit of the plan.
    let held = round.agenda.held.iter().filter(|held| round.date(round.agenda.problem.days) <= held.day).map(|held| {
        let state = &shop.states[held.machine];
        json!({
            "machine": state.name, "task": state.build.tasks[held.task].name, "why": held_words(held, round.agenda.today),
        })
    });
    let bound = round.bound();
    json!({
        "from": round.agenda.today.to_string(), "days": round.agenda.problem.days, "currency": shop.currency,
        "assumed": shop.assumed, "plan": spent(plan), "bound": bound.map(|bound| bound.0),
        "gap": bound.map(|bound| bound.1), "on_due_days": spent(&round.on_due_days), "at_once": spent(&round.at_once),
        "not_to_be_run": forbidden.collect::<Vec<_>>(),
        "visits": plan.visits.iter().map(|visit| visit_shape(shop, round, visit)).collect::<Vec<_>>(),
        "unplaced": unplaced.chain(held).collect::<Vec<_>>(), "told": told,
    })
}

fn visit_shape(shop: &Assembled, round: &Round, visit: &Placed) -> Value {
    let machine = &round.agenda.problem.machines[visit.machine];
    let jobs = visit.jobs.iter().map(|&index| {
        let job = &machine.jobs[index];
        let tasks = round.agenda.tasks[visit.machine][index].iter().map(|&task| {
            json!({
                "task": shop.states[visit.machine].build.tasks[task].name,
                "used": round.agenda.ahead[visit.machine].shares[task][visit.day],
            })
        });
        let on = |day: usize| round.agenda.cost_on(visit.machine, index, day).money;
        json!({
            "tasks": tasks.collect::<Vec<_>>(), "urgent": job.is_urgent, "cost_today": on(0), "cost_a_day_later": on(1),
            "cost_a_week_later": on(7), "cost": on(visit.day),
        })
    });
    json!({
        "day": round.date(visit.day).to_string(), "keeper": round.agenda.problem.keepers[visit.keeper].name,
        "machine": machine.name, "minutes": round.minutes(shop, visit), "jobs": jobs.collect::<Vec<_>>(),
    })
}
