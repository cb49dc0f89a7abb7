//! The answer in words: what the command prints, and what a page shows.

use jiff::ZonedDateTime;
use jiff::civil::Date;
use motion::Quantity;
use upkeep::stake::forbids_running;
use upkeep::stores::Supplied;
use upkeep::{Takes, amount};

use super::{Could, Ranked};
use crate::commands::plan::Assembled;
use crate::commands::stores::told as amount_told;
use crate::words;

/// How many tasks are named that fall due in one print.
const NAMED: usize = 3;

/// What some programs would use up.
pub(crate) struct Answer {
    /// Each program.
    pub(crate) programs: Vec<Told>,
    /// Which prices are assumed; `None` where none matters.
    pub(crate) assumed: Option<String>,
}

/// What a program would be on each machine.
pub(crate) struct Told {
    /// What it is called, with the doubt of an estimate.
    pub(crate) label: String,
    /// In which order the machines stand, where there are several.
    pub(crate) order: Option<&'static str>,
    /// The machines that could run it: the cheapest first, those that are not to be run last.
    pub(crate) machines: Vec<ToldMachine>,
    /// The others, each with the reason.
    pub(crate) can_not: Vec<(String, String)>,
}

/// What a program would be on one machine.
pub(crate) struct ToldMachine {
    /// Its name.
    pub(crate) name: String,
    /// That it is not to be run before something is done.
    pub(crate) not_before: Option<String>,
    /// What it costs, how long it takes, what falls due in it, from when on the machine is free.
    pub(crate) says: String,
    /// What must be done first because the machine is not to be run beyond it.
    pub(crate) stopping: Option<String>,
    /// What of the supplies is there, lacking, and not counted.
    pub(crate) supplies: Vec<String>,
    /// What it takes of each allowance, the most used first.
    pub(crate) tasks: Vec<ToldTask>,
    /// What it costs by wear and by risk.
    pub(crate) worth: String,
}

/// What a program takes of one allowance.
pub(crate) struct ToldTask {
    /// The task.
    pub(crate) name: String,
    /// The share that is used before it.
    pub(crate) from: f64,
    /// And after it.
    pub(crate) to: f64,
    /// What that is worth.
    pub(crate) worth: String,
}

pub(super) fn told(shop: &Assembled, ranked: &[Ranked<'_>]) -> Answer {
    let is_silent = shop.assumed.is_empty() || ranked.iter().all(|ranked| ranked.could.is_empty());
    Answer {
        programs: ranked.iter().map(|ranked| program(shop, ranked)).collect(),
        assumed: (!is_silent).then(|| words::assumed(&shop.assumed)),
    }
}

fn program(shop: &Assembled, ranked: &Ranked<'_>) -> Told {
    let spread = ranked.could.iter().find_map(|could| could.spread);
    let doubt =
        spread.map_or_else(String::new, |spread| format!(", estimated, give or take {}", words::percent(spread)));
    Told {
        label: format!("{}{doubt}", ranked.label),
        order: order(ranked),
        machines: ranked.could.iter().map(|could| machine(shop, could)).collect(),
        can_not: ranked.can_not.iter().map(|(machine, why)| ((*machine).to_owned(), why.clone())).collect(),
    }
}

fn machine(shop: &Assembled, could: &Could<'_>) -> ToldMachine {
    let name = &could.state.name;
    let not_before = could.is_not_to_be_run().then(|| {
        let tasks: Vec<&str> = could.takes.forbidding.iter().map(|&task| could.task(task).name.as_str()).collect();
        format!("{name} is not to be run until this is done: {}.", tasks.join("; "))
    });
    let money = |amount: f64| words::money(amount, &shop.currency);
    let takes = amount::print(could.seconds, Quantity::Time);
    let (cost, free) = (money(could.takes.cost()), free_words(&could.free, &shop.now));
    let mut tasks: Vec<&Takes> = could.takes.tasks.iter().collect();
    tasks.sort_by(|one, other| other.to.total_cmp(&one.to));
    let task = |takes: &Takes| ToldTask {
        name: could.task(takes.task).name.clone(),
        from: takes.from,
        to: takes.to,
        worth: money(takes.wear),
    };
    let [wear, risk] = [could.takes.wear, could.takes.risk].map(money);
    ToldMachine {
        name: name.clone(),
        not_before,
        says: format!("{cost} of wear and risk in {takes}; {}; {free}", falling(could)),
        stopping: stopping(could),
        supplies: supply_words(&could.supplies, shop.now.date()),
        tasks: tasks.into_iter().map(task).collect(),
        worth: format!("of work used up {wear}, of failures to be expected {risk}"),
    }
}

/// In which order the machines stand, where there are several.
fn order(ranked: &Ranked<'_>) -> Option<&'static str> {
    match (&ranked.could[..], ranked.could.iter().any(Could::is_not_to_be_run)) {
        ([] | [_], _) => None,
        (_, true) => Some("The cheapest first; what is not to be run, last."),
        (_, false) => Some("The cheapest first."),
    }
}

/// What falls due in it, and what is due already.
fn falling(could: &Could<'_>) -> String {
    let falling = could.takes.falling_due();
    let said = falling.iter().take(NAMED).map(|takes| {
        let after = amount::print(takes.due_at.unwrap_or(1.0) * could.seconds, Quantity::Time);
        format!("\"{}\" falls due after {after}", could.task(takes.task).name)
    });
    let more = falling.len().saturating_sub(NAMED);
    let more = (0 < more).then(|| format!("{more} more later"));
    let due =
        could.takes.tasks.iter().filter(|takes| 1.0 <= takes.from && !could.takes.forbidding.contains(&takes.task));
    let due: Vec<&str> = due.map(|takes| could.task(takes.task).name.as_str()).collect();
    let due = (!due.is_empty()).then(|| format!("due already: {}", few(&due)));
    let nothing = falling.is_empty().then(|| "nothing falls due in it".to_owned());
    let all: Vec<String> = nothing.into_iter().chain(said).chain(more).chain(due).collect();
    all.join("; ")
}

/// The first names, and how many more there are.
fn few(names: &[&str]) -> String {
    let first = names[..names.len().min(NAMED)].join(", ");
    match names.len().saturating_sub(NAMED) {
        0 => first,
        more => format!("{first} and {more} more"),
    }
}

/// What is to be done first because the machine is not to be run beyond it.
fn stopping(could: &Could<'_>) -> Option<String> {
    let stopping =
        could.takes.falling_due().into_iter().filter(|takes| forbids_running(could.task(takes.task), takes.to));
    let names: Vec<&str> = stopping.map(|takes| could.task(takes.task).name.as_str()).collect();
    (!names.is_empty())
        .then(|| format!("{} is not to be run beyond that: first do this: {}.", could.state.name, names.join("; ")))
}

/// What of the supplies for what falls due is there, lacking, and not counted.
fn supply_words(supplies: &[Supplied], today: Date) -> Vec<String> {
    let is_lacking = |one: &Supplied| 0.0 < one.lacking();
    let lacking = supplies.iter().filter(|one| is_lacking(one)).map(|one| {
        let there = amount_told(one.there.unwrap_or(0.0), &one.unit);
        let from = one.earliest.map_or_else(String::new, |day| format!(", enough from {}", words::weekday(day, today)));
        format!("{} ({} needed, {there} there{from})", one.item, amount_told(one.needed, &one.unit))
    });
    let uncounted = supplies.iter().filter(|one| one.there.is_none()).map(|one| one.item.clone());
    let there = supplies.iter().filter(|one| one.there.is_some() && !is_lacking(one)).map(|one| one.item.clone());
    let line = |what: &str, names: Vec<String>| (!names.is_empty()).then(|| format!("{what}: {}", names.join("; ")));
    [
        line("lacking for it", lacking.collect()),
        line("for it, not counted in the stores", uncounted.collect()),
        line("for it, in the stores", there.collect()),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// `free now`, `free from this evening`, `free from tomorrow morning`, `free from Sun 29 Nov, afternoon`.
fn free_words(free: &ZonedDateTime, now: &ZonedDateTime) -> String {
    if free <= now {
        return "free now".to_owned();
    }
    let part = match free.hour() {
        0..6 => "night",
        6..12 => "morning",
        12..18 => "afternoon",
        _ => "evening",
    };
    let (day, today) = (free.date(), now.date());
    match (words::near_day(day, today).as_str(), part) {
        ("today", "night") => "free from early today".to_owned(),
        ("today", part) => format!("free from this {part}"),
        ("tomorrow", "night") => "free from early tomorrow".to_owned(),
        ("tomorrow", part) => format!("free from tomorrow {part}"),
        (_, part) => format!("free from {}, {part}", words::weekday(day, today)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_of_being_free_is_said_as_exactly_as_it_is_known() {
        let at = |text: &str| format!("{text}[UTC]").parse::<ZonedDateTime>().unwrap();
        let now = at("2026-11-25T15:30");
        let said = |text| free_words(&at(text), &now);
        assert_eq!(said("2026-11-25T15:30"), "free now");
        assert_eq!(said("2026-11-25T17:59"), "free from this afternoon");
        assert_eq!(said("2026-11-25T18:00"), "free from this evening");
        assert_eq!(said("2026-11-26T05:59"), "free from early tomorrow");
        assert_eq!(said("2026-11-26T06:00"), "free from tomorrow morning");
        assert_eq!(said("2026-11-29T12:00"), "free from Sun 29 Nov, afternoon");
    }
}
