//! The tables `[[task]]`: what to do.

use super::motion::Motion;
use super::raw::{Entry, Section, Value, all};
use super::{
    Allowance, Caution, Limit, Neglect, Position, SignalWord, State, Supply, Task, Work, limit, reading, safety, work,
};
use crate::amount;
use crate::supply::Supplies;
use motion::Quantity;

/// The keys of the table.
pub(super) const KEYS: &[&str] = &[
    "name",
    "at",
    "state",
    "minutes",
    "neglect",
    "qualified",
    "renews",
    "gear",
    "tools",
    "uses",
    "steps",
    "caution",
    "limit",
    "work",
    "while_cooling",
    "access",
    "after",
    "apart",
    "with",
    "may_use",
    "before_off",
    "reading",
];

/// The keys that hold supplies.
pub(super) const SUPPLIES: [&str; 2] = ["uses", "may_use"];

/// What the rest of the build says; `None` or missing where that was wrong, so that nothing is complained of twice.
pub(super) struct Known {
    pub(super) motion: Option<Motion>,
    pub(super) expected: Option<Vec<Quantity>>,
    pub(super) positions: Vec<Position>,
    /// The names of all positions, also of those that could not be read.
    pub(super) names: Vec<String>,
    /// The names of all ways of access.
    pub(super) access_names: Vec<String>,
    /// The names of all tasks.
    pub(super) task_names: Vec<String>,
}

/// Reads one task.
pub(super) fn read(section: &Section<'_>, known: &Known) -> Option<Task> {
    let name = section.need("name").and_then(|value| value.name());
    let at = section.need("at").and_then(|value| value.one_of("position", &known.names));
    let state = section.need("state").and_then(|value| value.choice(State::ALL.map(|state| (state.name(), state))));
    let minutes = section.need("minutes").and_then(|value| value.positive());
    let neglect = section.need("neglect").and_then(|value| value.choice(Neglect::ALL.map(|n| (n.name(), n))));
    let qualified = section.get("qualified").map_or(Some(false), |value| value.boolean());
    let renews = section.get("renews").map_or(Some(false), |value| value.boolean());
    let work = section.get("work").map(|value| value.choice(Work::ALL.map(|work| (work.name(), work))));
    let while_cooling = section.get("while_cooling").map(|value| value.boolean());
    let access = section.get("access").map(|value| value.one_of("access", &known.access_names));
    let [after, apart, with] = ["after", "apart", "with"].map(|key| others(section, key, &known.task_names));
    let [uses, may_use] = SUPPLIES.map(|key| section.get(key).map_or(Some(Vec::new()), |value| supplies(&value)));
    let steps = section.need("steps").and_then(|value| steps(&value));
    let cautions = section.get("caution").map_or(Some(Vec::new()), |value| cautions(&value, steps.as_deref()));
    let readings = match section.get("reading") {
        Some(value) => reading::read(&value, at.as_deref(), &known.names),
        None => Some(Vec::new()),
    };
    let limits = section.need("limit").and_then(|value| limits(&value, known));
    let [gear, tools, before_off] = ["gear", "tools", "before_off"].map(|key| section.names(key));
    let (name, at, state, uses, renews) = (name?, at?, state?, uses?, renews?);
    let position = known.positions.iter().find(|position| position.name == at);
    let derived = position.is_some_and(|position| work::while_cooling(state, &uses, position));
    let task = Task {
        work: work.unwrap_or_else(|| Some(Work::derived(&name, &uses, renews)))?,
        while_cooling: while_cooling.unwrap_or(Some(derived))?,
        access: access.map_or(Some(None), |access| access.map(Some))?,
        after: after?,
        apart: apart?,
        with: with?,
        name,
        at,
        state,
        minutes: minutes?,
        neglect: neglect?,
        qualified: qualified?,
        renews,
        gear: gear?,
        tools: tools?,
        uses,
        may_use: may_use?,
        before_off: before_off?,
        steps: steps?,
        cautions: cautions?,
        readings: readings?,
        limits: limits?,
    };
    safety::check(section, &task, position);
    Some(task)
}

/// The names of other tasks in the list `key`; none where it is left out.
fn others(section: &Section<'_>, key: &'static str, names: &[String]) -> Option<Vec<String>> {
    match section.get(key) {
        Some(value) => all(value.list()?.iter().map(|item| item.one_of("task", names))),
        None => Some(Vec::new()),
    }
}

fn supplies(value: &Value<'_>) -> Option<Vec<Supply>> {
    all(value.entries()?.iter().map(|(key, value)| supply(key, value)))
}

fn supply(key: &Entry<'_>, value: &Value<'_>) -> Option<Supply> {
    let known = Supplies::built_in();
    let Some(info) = known.iter().find(|supply| supply.name == key.name) else {
        let names: Vec<&str> = known.iter().map(|supply| supply.name.as_str()).collect();
        value.report.add_unknown(&key.span, format!("there is no supply \"{}\"", key.name), key.name, names);
        return None;
    };
    match amount::parse_supply(value.text()?, &info.unit) {
        Ok(amount) if 0.0 < amount => Some(Supply { name: info.name.clone(), amount, unit: info.unit.clone() }),
        Ok(_) => {
            value.refuse(format!("\"{}\" is used by nothing", info.name), "write more than 0, or take it out");
            None
        }
        Err(error) => {
            value.report.add_amount(&value.span, &error);
            None
        }
    }
}

pub(crate) fn steps(value: &Value<'_>) -> Option<Vec<String>> {
    let items = value.list()?;
    if items.is_empty() {
        value.refuse("\"steps\" is empty", "say what to do, one sentence or two for each step");
        return None;
    }
    all(items.iter().map(Value::prose))
}

pub(crate) fn cautions(value: &Value<'_>, steps: Option<&[String]>) -> Option<Vec<Caution>> {
    all(value.sections("a caution", &["word", "text", "before"])?.iter().map(|one| caution(one, steps)))
}

fn caution(section: &Section<'_>, steps: Option<&[String]>) -> Option<Caution> {
    let word = section.need("word").and_then(|value| value.choice(SignalWord::ALL.map(|word| (word.name(), word))));
    let text = section.need("text").and_then(|value| value.prose());
    let before = section.get("before").map_or(Some(0), |value| before(&value, steps));
    Some(Caution { word: word?, text: text?, before: before? })
}

/// The step before which a caution stands: from 1 in the file, from 0 here.
fn before(value: &Value<'_>, steps: Option<&[String]>) -> Option<usize> {
    let step = usize::from(value.whole(0, u16::MAX)?);
    match steps {
        Some(steps) if !(1..=steps.len()).contains(&step) => {
            let help = format!("steps are counted from 1; this task's last is step {}", steps.len());
            value.refuse(format!("there is no step {step}"), help);
            None
        }
        _ => Some(step.saturating_sub(1)),
    }
}

fn limits(value: &Value<'_>, known: &Known) -> Option<Vec<Limit>> {
    let sections = value.sections("a limit", limit::KEYS)?;
    if sections.is_empty() {
        value.refuse("a task without a limit is never due", "add a table [[task.limit]]");
        return None;
    }
    let limits = all(sections.iter().map(|section| limit::read(section, known)))?;
    for (index, (section, limit)) in sections.iter().zip(&limits).enumerate() {
        if limits[..index].iter().any(|earlier| same_meter(earlier, limit)) {
            let help = "keep the one that comes first; weights for materials go into \"counts\"";
            section.report.add(&section.span_of("every"), "this task has two limits on the same meter", help);
        }
    }
    Some(limits)
}

/// Whether two limits count the same, so that one of them can never come first.
fn same_meter(one: &Limit, other: &Limit) -> bool {
    match (one.every, other.every) {
        (Allowance::Elapsed { .. }, Allowance::Elapsed { .. }) => true,
        (Allowance::Amount { quantity: a, .. }, Allowance::Amount { quantity: b, .. }) => {
            a == b && one.counts == other.counts
        }
        _ => false,
    }
}
