//! What is due on a machine, and why.

use std::cmp::Reverse;

use jiff::ZonedDateTime;
use jiff::civil::Date;
use maud::{Markup, html};
use upkeep::{Due, Foreseen, When};

use super::super::super::frame;
use super::super::machines::{address, likely_due};
use super::position_address;
use crate::commands::due::explained;
use crate::words;

/// How far ahead tasks are shown without being asked for, days: what the next round would see to.
const AHEAD: i32 = 14;

/// All tasks: what is due first, the worst neglect and the most used before others; then by likely day; then by use. What comes
/// later than a round is folded, unless the reasons are asked for.
pub(super) fn section(machine: &Foreseen, now: &ZonedDateTime, with_why: bool) -> Markup {
    let mut dues: Vec<&Due> = machine.dues.iter().collect();
    dues.sort_by_key(|due| order(machine, due));
    let (near, later): (Vec<&Due>, Vec<&Due>) = dues.into_iter().partition(|due| is_near(&due.when, now.date()));
    let whole = if with_why { address(&machine.name) } else { format!("{}?why", address(&machine.name)) };
    html! {
        section aria-labelledby="due" {
            h2 #due { "What is due" }
            @if machine.dues.is_empty() { p { "The build has no task." } } @else {
                p { a href=(format!("{whole}#due")) { @if with_why { "Without the reasons" } @else { "Why each day" } } }
                @if near.is_empty() { p { "Nothing is due, nor likely to be within two weeks." } } @else { (table(machine, &near, now, with_why)) }
                @if !later.is_empty() {
                    details open[with_why] {
                        summary { "Later: " (words::count(later.len() as u64, "tasks")) (first_of(&later, now.date())) }
                        (table(machine, &later, now, with_why))
                    }
                }
            }
        }
    }
}

/// Whether a task is due, or likely to be before a round is over.
fn is_near(when: &When, today: Date) -> bool {
    match when {
        When::Since(_) => true,
        When::Likely(likely) => likely.median.is_some_and(|day| (day - today).get_days() < AHEAD),
        When::Beyond => false,
    }
}

/// The day of the first of tasks in order, where it has one.
fn first_of(dues: &[&Due], today: Date) -> String {
    match dues.first().map(|due| &due.when) {
        Some(When::Likely(likely)) => {
            likely.median.map_or_else(String::new, |day| format!(", from {} on", words::near_day(day, today)))
        }
        _ => String::new(),
    }
}

type Order = (u8, Reverse<u8>, Option<Date>, Reverse<u64>);

fn order(machine: &Foreseen, due: &Due) -> Order {
    let used = Reverse((due.share() * 1e6) as u64);
    match &due.when {
        When::Since(_) => (0, Reverse(machine.task(due).neglect as u8), None, used),
        When::Likely(likely) => (1, Reverse(0), Some(likely.median.unwrap_or(Date::MAX)), used),
        When::Beyond => (2, Reverse(0), None, used),
    }
}

/// A table of tasks; with the reasons below each.
pub(super) fn table(machine: &Foreseen, dues: &[&Due], now: &ZonedDateTime, with_why: bool) -> Markup {
    html! {
        table.stacks.brief {
            thead { tr { th scope="col" { "Care" } th scope="col" { "Used" } th scope="col" { "Likely due" } th scope="col" { "Part" } th.figure scope="col" { "Takes" } } }
            tbody {
                @for due in dues {
                    @let task = machine.task(due);
                    tr id=(format!("t{}", due.task)) {
                        th scope="row" {
                            (due.name)
                            @if with_why { (why(machine, due, now)) }
                        }
                        td data-name="Used" { (frame::used(due.share())) }
                        td data-name="Likely due" {
                            (likely_due(&due.when, now.date()))
                            @if !with_why { " " a.why href=(format!("{}?why#t{}", address(&machine.name), due.task)) aria-label=(format!("Why: {}", due.name)) { "why" } }
                        }
                        td data-name="Part" { a href=(position_address(&machine.name, &task.at)) { (task.at) } }
                        td.figure data-name="Takes" { (task.minutes) " min" }
                    }
                }
            }
        }
    }
}

/// How a task's figures were reached.
fn why(machine: &Foreseen, due: &Due, now: &ZonedDateTime) -> Markup {
    let explained = explained(machine.task(due), due, now);
    html! {
        ul.why {
            li { "counted " (explained.since) }
            @for (share, limit) in explained.limits { li { (words::percent(share)) ": " (limit) } }
            @if let Some(day) = explained.day { li { "the day: " (day) } }
        }
    }
}
