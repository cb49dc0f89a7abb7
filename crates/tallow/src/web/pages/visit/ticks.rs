//! What a form says, as marks of the checklist; and a checklist, as the command that books it. Pure functions.

use jiff::ZonedDateTime;
use ledger::{Checklist, Mark, Told};
use upkeep::Build;

use super::super::super::form::Typed;
use crate::cli;
use crate::trouble::Trouble;

/// The marks that a task's form asks for: what was pressed, and what was typed beside it.
///
/// # Errors
/// A task that the visit has not.
pub(super) fn marks(build: &Build, told: &Told, typed: &Typed) -> Result<Vec<Mark>, Trouble> {
    let task = typed.text("task");
    if !told.visit.tasks.contains(&task) {
        return Err(Trouble::refused(format!("\"{task}\" is no task of visit {}", told.id))
            .help("the visit may have been changed: load its page again"));
    }
    let at = &build.task(&task)?.at;
    let mut marks = Vec::new();
    for (field, value) in typed.beginning("reading:") {
        let (unit, what) = field.split_once('|').unwrap_or(("", field));
        marks.push(Mark::Reading(what.to_owned(), with_unit(&value, unit)));
    }
    if let (Some(what), Some(value)) = (typed.some("reading-what"), typed.some("reading-value")) {
        marks.push(Mark::Reading(format!("{at}: {what}"), value));
    }
    for (field, amount) in typed.beginning("used:") {
        let (unit, supply) = field.split_once('|').unwrap_or(("", field));
        marks.push(Mark::Used(supply.to_owned(), with_unit(&amount, unit)));
    }
    if let Some(supply) = typed.some("used-what") {
        marks.push(Mark::Used(supply, typed.text("used-amount")));
    }
    marks.extend(typed.some("note").map(Mark::Note));
    match typed.text("do").as_str() {
        "done" => marks.push(Mark::Done),
        "skip" => marks.push(Mark::Skipped(typed.text("reason"))),
        "open" => marks.push(Mark::Open),
        _ => {}
    }
    Ok(marks)
}

/// A figure with the unit that stands beside its field; what was typed with a unit stays as it is.
fn with_unit(value: &str, unit: &str) -> String {
    let is_bare = value.chars().all(|letter| letter.is_ascii_digit() || matches!(letter, '.' | '-'));
    if is_bare { format!("{value} {unit}").trim_end().to_owned() } else { value.to_owned() }
}

/// The booking of one task's marks alone, so that what is wrong with them is said at once.
pub(super) fn of_marks(told: &Told, task: &str, marks: &[Mark]) -> cli::Walked {
    let mut walked = nothing(told);
    for mark in marks {
        match mark {
            Mark::Skipped(reason) => walked.skip.push(format!("{task}: {reason}")),
            Mark::Reading(what, value) => walked.reading.push(format!("{what} = {value}")),
            Mark::Used(supply, amount) => walked.used.push(used(task, supply, amount)),
            _ => {}
        }
    }
    if !walked.skip.is_empty() {
        walked.used.clear();
    }
    walked
}

fn nothing(told: &Told) -> cli::Walked {
    cli::Walked {
        visit: told.id.0,
        skip: Vec::new(),
        also: Vec::new(),
        used: Vec::new(),
        reading: Vec::new(),
        new: false,
        took: None,
        when: "now".to_owned(),
        note: String::new(),
    }
}

fn used(task: &str, supply: &str, amount: &str) -> String {
    format!("{task}: {supply}={amount}")
}

/// What was pressed, in words: `done`, `skipped: no oil left`, `kept`.
pub(super) fn words(marks: &[Mark]) -> String {
    let outcome = marks.iter().find_map(|mark| match mark {
        Mark::Done => Some("done".to_owned()),
        Mark::Skipped(reason) => Some(format!("skipped: {reason}")),
        Mark::Open => Some("still to be done".to_owned()),
        _ => None,
    });
    outcome.unwrap_or_else(|| "kept".to_owned())
}

/// The field of the finish in which stands why a task was not done.
pub(super) fn left_out(task: &str) -> String {
    format!("not:{task}")
}

/// The booking of a whole checklist. `at` is when the finish was pressed; a field says otherwise.
///
/// # Errors
/// Tasks that are neither ticked nor skipped, and of which nothing is said.
pub(super) fn walked(
    told: &Told,
    checklist: &Checklist,
    typed: &Typed,
    at: &ZonedDateTime,
) -> Result<cli::Walked, Trouble> {
    let mut walked = nothing(told);
    let mut open = Vec::new();
    let mut notes: Vec<String> = typed.some("note").into_iter().collect();
    for task in &told.visit.tasks {
        let ticked = checklist.tasks.get(task);
        let skipped = match ticked.and_then(|ticked| ticked.outcome.as_ref()) {
            Some(outcome) => outcome.skipped.clone(),
            None => match typed.some(&left_out(task)) {
                Some(reason) => Some(format!("not done: {reason}")),
                None => {
                    open.push(task.clone());
                    continue;
                }
            },
        };
        let is_skipped = skipped.is_some();
        walked.skip.extend(skipped.map(|reason| format!("{task}: {reason}")));
        let Some(ticked) = ticked else { continue };
        walked.reading.extend(ticked.readings.iter().map(|(what, value)| format!("{what} = {value}")));
        if !is_skipped {
            walked.used.extend(ticked.used.iter().map(|(supply, amount)| used(task, supply, amount)));
        }
        if !ticked.note.is_empty() {
            notes.push(format!("{task}: {}", ticked.note));
        }
    }
    if !open.is_empty() {
        return Err(Trouble::refused(format!("neither done nor skipped: {}", open.join("; ")))
            .help("tick what was done, or say below why it was not done"));
    }
    walked.took = match typed.number("took", "how long it took")? {
        Some(minutes) => Some(minutes),
        None => checklist.first.and_then(|first| so_far(first, at)),
    };
    walked.when = match typed.some("when").filter(|when| when != "now") {
        Some(when) => when,
        None => at.strftime("%Y-%m-%d %H:%M").to_string(),
    };
    walked.note = notes.join(" · ");
    Ok(walked)
}

/// Whole minutes since the first tick; `None` where less than one has passed.
pub(super) fn so_far(first: jiff::Timestamp, at: &ZonedDateTime) -> Option<f64> {
    let minutes = at.timestamp().duration_since(first).as_secs_f64() / 60.0;
    (1.0 <= minutes).then(|| minutes.round())
}
