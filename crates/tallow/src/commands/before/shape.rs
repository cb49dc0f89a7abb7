//! The answer as JSON; the keys are in docs/JSON.md.

use serde_json::{Value, json};
use upkeep::stake::forbids_running;
use upkeep::stores::Supplied;

use super::{Could, Ranked};
use crate::commands::plan::Assembled;

pub(super) fn shape(shop: &Assembled, ranked: &Ranked<'_>) -> Value {
    let can_not = ranked.can_not.iter().map(|(machine, why)| json!({ "machine": machine, "why": why }));
    json!({
        "program": ranked.label, "currency": shop.currency, "assumed": shop.assumed,
        "machines": ranked.could.iter().map(machine).collect::<Value>(), "can_not": can_not.collect::<Value>(),
    })
}

fn machine(could: &Could<'_>) -> Value {
    let takes = &could.takes;
    let name = |task: usize| could.task(task).name.as_str();
    let falling = takes.falling_due().into_iter().map(|one| {
        let at = one.due_at.unwrap_or(1.0);
        json!({
            "task": name(one.task), "at": at, "after_s": at * could.seconds,
            "forbids": forbids_running(could.task(one.task), one.to),
        })
    });
    let tasks = takes
        .tasks
        .iter()
        .map(|one| json!({ "task": name(one.task), "used_before": one.from, "used_after": one.to, "wear": one.wear }));
    json!({
        "machine": could.state.name, "build": could.state.build.name, "cost": takes.cost(), "wear": takes.wear,
        "risk": takes.risk, "time_s": could.seconds, "spread": could.spread, "free": could.free.timestamp().to_string(),
        "not_to_be_run_before": takes.forbidding.iter().map(|&task| name(task)).collect::<Vec<_>>(),
        "falls_due": falling.collect::<Value>(), "supplies": could.supplies.iter().map(supply).collect::<Value>(),
        "tasks": tasks.collect::<Value>(),
    })
}

fn supply(one: &Supplied) -> Value {
    json!({
        "item": one.item, "unit": one.unit, "needed": one.needed, "there": one.there, "lacking": 0.0 < one.lacking(),
        "earliest": one.earliest.map(|day| day.to_string()),
    })
}
