//! What a task must say before anybody is sent to do it.
//!
//! Signal words: ANSI Z535.6, ISO 3864-2. The rules themselves: common practice, no source.

use super::raw::Section;
use super::task::SUPPLIES;
use super::{Position, SignalWord, State, Supply, Task, work};
use crate::rules;
use crate::supply::{Hazard, Kind, Supplies, spaced_words};

/// Notes in the section's report what is unsafe in `task`; `position` is `None` where it could not be read.
pub(super) fn check(section: &Section<'_>, task: &Task, position: Option<&Position>) {
    heat_needs_a_hot_machine(section, task);
    nothing_burns_on_a_hot_machine(section, task);
    nothing_hot_is_near(section, task);
    only_an_isolated_machine_is_switched_off(section, task);
    dangers_carry_a_caution(section, task);
    gear_is_laid_out(section, task);
    if let Some(position) = position {
        mains_is_for_the_qualified(section, task, position);
        supplies_may_touch(section, task, position);
    }
}

/// What a step says when it needs heat, as [`spaced_words`] has it.
const HEATS: [&str; 7] =
    [" heat the ", " heat it ", " heat up ", " heat both ", " preheat ", " while hot ", " while it is hot "];

/// What a step says when it does not need heat after all.
const NOT_HEATS: [&str; 3] = [" not heat ", " never heat ", " oven "];

fn heat_needs_a_hot_machine(section: &Section<'_>, task: &Task) {
    if task.state == State::Hot {
        return;
    }
    let steps = section.get("steps").and_then(|value| value.list()).unwrap_or_default();
    for (value, step) in steps.iter().zip(&task.steps).filter(|(_, step)| needs_heat(step)) {
        let found = format!("this step needs heat, but the task's state is \"{}\"", task.state);
        let cold_words = step.split_whitespace().take(5).collect::<Vec<_>>().join(" ");
        value.refuse(found, format!("write state = \"hot\", or move \"{cold_words} …\" to a task of its own"));
    }
}

fn needs_heat(step: &str) -> bool {
    let words = spaced_words(step);
    HEATS.iter().any(|phrase| words.contains(phrase)) && !NOT_HEATS.iter().any(|phrase| words.contains(phrase))
}

fn nothing_burns_on_a_hot_machine(section: &Section<'_>, task: &Task) {
    let names = supplies(task).map(|supply| supply.name.as_str());
    if let Some(name) = rules::burns(task.state, names, Supplies::built_in()) {
        let found = format!("\"{name}\" {}, but the task's state is \"hot\"", Hazard::Flammable.says());
        section.report.add(
            &section.span_of(key_of(task, name)),
            found,
            "use it in a task of its own, on an isolated machine",
        );
    }
}

/// While a machine cools, its parts are hot and its power is on.
fn nothing_hot_is_near(section: &Section<'_>, task: &Task) {
    if task.while_cooling && (task.state != State::Cold || supplies(task).any(work::burns)) {
        let found = "\"while_cooling\" is true, but this task cannot be done on a powered machine with hot parts";
        let help = "take the line out: only a task whose state is \"cold\", with no supply that burns, may say so";
        section.report.add(&section.span_of("while_cooling"), found, help);
    }
}

/// A powered task is not begun by switching off, so nobody would do what stands before that.
fn only_an_isolated_machine_is_switched_off(section: &Section<'_>, task: &Task) {
    if task.state != State::Isolated && !task.before_off.is_empty() {
        let found = format!("nothing is switched off for this task, whose state is \"{}\"", task.state);
        section.report.add(&section.span_of("before_off"), found, "write it as the task's first step");
    }
}

/// All supplies of a task, those included that it uses only if needed.
fn supplies(task: &Task) -> impl Iterator<Item = &Supply> {
    task.uses.iter().chain(&task.may_use)
}

/// The key that holds a supply of the task.
fn key_of(task: &Task, name: &str) -> &'static str {
    let [uses, may_use] = SUPPLIES;
    if task.uses.iter().any(|supply| supply.name == name) { uses } else { may_use }
}

/// The task's supplies that ask for a caution.
fn hazards(task: &Task) -> impl Iterator<Item = (&str, Hazard)> {
    let hazard_of = |name| Supplies::built_in().hazard(name);
    supplies(task).filter_map(move |supply| Some((supply.name.as_str(), hazard_of(&supply.name)?)))
}

fn dangers_carry_a_caution(section: &Section<'_>, task: &Task) {
    if task.cautions.iter().any(|caution| caution.word < SignalWord::Notice) {
        return;
    }
    let hot = (task.state == State::Hot).then(|| "the machine is hot".to_owned());
    let Some(danger) =
        hot.or_else(|| hazards(task).map(|(name, hazard)| format!("\"{name}\" {}", hazard.says())).next())
    else {
        return;
    };
    let help = "add caution = [{ word = \"warning\", text = \"…\" }]: what can happen, and how to avoid it";
    section.report.add(&section.span_of("name"), format!("this task must carry a caution: {danger}"), help);
}

fn gear_is_laid_out(section: &Section<'_>, task: &Task) {
    let known = Supplies::built_in();
    for supply in supplies(task) {
        let needed = known.substances_in(&supply.name).into_iter().flat_map(|substance| &substance.gear);
        for gear in needed.filter(|gear| !wears(task, gear)) {
            let found = format!("\"{}\" asks for {gear}, which \"gear\" does not list", supply.name);
            let help = format!("add an item with the words \"{gear}\" to gear = [ ]");
            section.report.add(&section.span_of("gear"), found, help);
        }
    }
}

fn wears(task: &Task, gear: &str) -> bool {
    task.gear.iter().any(|item| spaced_words(item).contains(&format!(" {gear} ")))
}

fn mains_is_for_the_qualified(section: &Section<'_>, task: &Task, position: &Position) {
    if !Kind::from_name(&position.kind).is_some_and(|kind| kind.mains) {
        return;
    }
    if !task.qualified {
        let found = format!("\"{}\" carries mains voltage, but the task is not for qualified people", position.name);
        let help = "add qualified = true: without that, a keeper may only look";
        section.report.add(&section.span_of("at"), found, help);
    }
    if !task.cautions.iter().any(|caution| caution.word <= SignalWord::Warning) {
        let found = format!("this task must carry a caution: \"{}\" carries mains voltage", position.name);
        let help =
            "add a caution whose word is \"danger\" or \"warning\"; leave opening and repair to qualified people";
        section.report.add(&section.span_of("name"), found, help);
    }
}

fn supplies_may_touch(section: &Section<'_>, task: &Task, position: &Position) {
    let lists = SUPPLIES.into_iter().filter_map(|key| section.get(key)?.entries());
    for (key, _) in lists.flatten() {
        if let Some(refusal) = rules::refusal(position, [key.name], Supplies::built_in()) {
            let found = format!("\"{}\" must not touch \"{}\": {}", refusal.supply, refusal.position, refusal.reason);
            let help =
                format!("\"{}\" is forbidden there; take it out of the task \"{}\"", refusal.substance, task.name);
            section.report.add(&key.span, found, help);
        }
    }
}
