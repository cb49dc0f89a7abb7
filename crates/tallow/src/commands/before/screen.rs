//! The answer in words.

use jiff::ZonedDateTime;
use jiff::civil::Date;
use motion::Quantity;
use upkeep::build::SignalWord;
use upkeep::stake::forbids_running;
use upkeep::stores::Supplied;
use upkeep::{Takes, amount};

use super::{Could, Ranked};
use crate::commands::plan::Assembled;
use crate::commands::stores::told;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::words;

/// How many tasks are named that fall due in one print.
const NAMED: usize = 3;

pub(super) fn show(context: &Context, shop: &Assembled, ranked: &[Ranked<'_>], why: bool) -> Result<(), Trouble> {
    for (index, ranked) in ranked.iter().enumerate() {
        if 0 < index {
            context.out.line("")?;
        }
        Screen { context, shop }.show(ranked, why)?;
    }
    if shop.assumed.is_empty() || ranked.iter().all(|ranked| ranked.could.is_empty()) {
        return Ok(());
    }
    context.out.line("")?;
    context.out.prose("", &words::assumed(&shop.assumed))
}

struct Screen<'a> {
    context: &'a Context,
    shop: &'a Assembled,
}

impl Screen<'_> {
    fn show(&self, ranked: &Ranked<'_>, why: bool) -> Result<(), Trouble> {
        let out = &self.context.out;
        let spread = ranked.could.iter().find_map(|could| could.spread);
        let doubt =
            spread.map_or_else(String::new, |spread| format!(", estimated, give or take {}", words::percent(spread)));
        out.dressed_line(&format!("{}{doubt}", ranked.label), Dress::Bold)?;
        order(ranked).map_or(Ok(()), |order| out.prose("  ", order))?;
        for could in &ranked.could {
            self.machine(could)?;
            if why {
                self.allowances(could)?;
            }
        }
        for (machine, why) in &ranked.can_not {
            out.prose("  ", &format!("{machine} can't run it: {why}"))?;
        }
        Ok(())
    }

    fn machine(&self, could: &Could<'_>) -> Result<(), Trouble> {
        let out = &self.context.out;
        let name = &could.state.name;
        if could.is_not_to_be_run() {
            let tasks: Vec<&str> = could.takes.forbidding.iter().map(|&task| could.task(task).name.as_str()).collect();
            let text = format!("{name} is not to be run until this is done: {}.", tasks.join("; "));
            out.caution(SignalWord::Warning, &text)?;
        }
        let cost = words::money(could.takes.cost(), &self.shop.currency);
        let takes = amount::print(could.seconds, Quantity::Time);
        let text = format!(
            "{name}: {cost} of wear and risk in {takes}; {}; {}",
            falling(could),
            free_words(&could.free, &self.shop.now)
        );
        out.prose("  ", &text)?;
        if let Some(text) = stopping(could) {
            out.caution(SignalWord::Warning, &text)?;
        }
        supply_words(&could.supplies, self.shop.now.date()).into_iter().try_for_each(|line| out.prose("      ", &line))
    }

    /// What it would use up of each allowance, the most used first.
    fn allowances(&self, could: &Could<'_>) -> Result<(), Trouble> {
        let columns = [("care", Align::Left), ("used", Align::Right), ("then", Align::Right), ("worth", Align::Right)];
        let mut table = Table::new(columns);
        let mut tasks: Vec<&Takes> = could.takes.tasks.iter().collect();
        tasks.sort_by(|one, other| other.to.total_cmp(&one.to));
        for takes in tasks {
            let dress = if 1.0 <= takes.to { Dress::Bold } else { Dress::Plain };
            let worth = words::money(takes.wear, &self.shop.currency);
            let name = could.task(takes.task).name.clone();
            table.row([name, share(takes.from), share(takes.to), worth], dress);
        }
        self.context.out.table(&table)?;
        let [wear, risk] = [could.takes.wear, could.takes.risk].map(|money| words::money(money, &self.shop.currency));
        self.context.out.line(format!("of work used up {wear}, of failures to be expected {risk}\n"))
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

/// A share with one decimal place, since one print uses little.
fn share(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
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
        let there = told(one.there.unwrap_or(0.0), &one.unit);
        let from = one.earliest.map_or_else(String::new, |day| format!(", enough from {}", words::weekday(day, today)));
        format!("{} ({} needed, {there} there{from})", one.item, told(one.needed, &one.unit))
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
