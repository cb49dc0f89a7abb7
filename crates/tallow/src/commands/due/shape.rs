//! The due list as JSON; the keys are in docs/JSON.md.

use serde_json::{Value, json};
use upkeep::build::{Allowance, Limit};
use upkeep::{Grounds, SinceWhat, UseGrounds, When};

use super::Row;
use crate::commands::symbol;

/// One task of one machine.
pub(super) fn shape(row: &Row<'_>) -> Value {
    let task = row.task();
    let limits = task.limits.iter().zip(&row.due.used.limits).map(|(limit, used)| {
        json!({ "every": limit.text, "of": quantity_name(limit), "unit": unit(limit), "so_far": used.so_far,
                "allowed": used.allowed, "used": used.share(), "counts": counts(limit), "source": limit.source })
    });
    json!({
        "machine": row.state.name, "task": task.name, "position": task.at,
        "used": row.due.share(), "limit": row.due.limit(), "limits": limits.collect::<Vec<_>>(),
        "since": { "at": row.due.used.since.at.to_string(), "what": since_word(row.due.used.since.what),
                   "entry": row.due.used.since.entry.map(|entry| entry.0) },
        "due": when_shape(&row.due.when),
        "state": task.state.name(), "minutes": task.minutes, "neglect": task.neglect.name(),
    })
}

fn since_word(what: SinceWhat) -> &'static str {
    match what {
        SinceWhat::Added => "added",
        SinceWhat::Done => "done",
        SinceWhat::Replaced => "replaced",
    }
}

fn when_shape(when: &When) -> Value {
    match when {
        When::Since(since) => json!({ "is": "due", "since": since.map(|date| date.to_string()) }),
        When::Beyond => json!({ "is": "beyond" }),
        When::Likely(likely) => json!({
            "is": "likely", "early": likely.early.to_string(), "median": likely.median.map(|date| date.to_string()),
            "late": likely.late.map(|date| date.to_string()), "grounds": grounds_shape(&likely.grounds),
        }),
    }
}

fn grounds_shape(grounds: &Grounds) -> Value {
    match grounds {
        Grounds::Calendar => json!({ "by": "calendar" }),
        Grounds::Use(UseGrounds { weeks, own_share, per_week, level_spread, queued }) => json!({
            "by": "use", "weeks": weeks, "own_share": own_share, "per_week": per_week, "level_spread": level_spread,
            "queued": queued,
        }),
    }
}

fn quantity_name(limit: &Limit) -> Option<&'static str> {
    match limit.every {
        Allowance::Amount { quantity, .. } => Some(quantity.name()),
        Allowance::Elapsed { .. } => None,
    }
}

fn unit(limit: &Limit) -> &'static str {
    match limit.every {
        Allowance::Amount { quantity, .. } => symbol(quantity.unit()),
        Allowance::Elapsed { .. } => "days",
    }
}

fn counts(limit: &Limit) -> Value {
    limit.counts.iter().map(|(class, weight)| (class.clone(), json!(weight))).collect::<serde_json::Map<_, _>>().into()
}
