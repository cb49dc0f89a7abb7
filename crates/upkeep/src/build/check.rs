//! From text to a [`Build`].

use std::collections::BTreeSet;

use toml::de::DeTable;

use super::error::Report;
use super::raw::Section;
use super::task::Known;
use super::{Access, Build, Heat, Position, Task, access, expected, heat, motion, position, reading, task, ties};

/// The longest file, bytes: several times the longest shipped build, far below what could stall a screen.
const LONGEST_FILE: usize = 256 * 1024;

/// Reads the text of a build; notes everything wrong in `report`.
pub(super) fn build(text: &str, report: &Report) -> Option<Build> {
    if LONGEST_FILE < text.len() {
        let found = format!("the file has {} bytes", text.len());
        report.add(&(0..0), found, format!("a build has at most {LONGEST_FILE}; is this the right file?"));
        return None;
    }
    document_of(&parse(text, report)?, report)
}

/// The tables of a text; what is no TOML is noted in `report`.
pub(crate) fn parse<'a>(text: &'a str, report: &Report) -> Option<serde_spanned::Spanned<DeTable<'a>>> {
    let (document, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        let span = error.span().unwrap_or(0..0);
        match error.message() {
            "duplicate key" => report.add(&span, "this key stands here for the second time", "keep one of the two"),
            other => report.add(&span, other, "the file must be TOML: key = value, text in \" \", lists in [ ]"),
        }
    }
    // What the parser made of broken text would only lead to complaints about things that nobody wrote.
    errors.is_empty().then_some(document)
}

fn document_of(document: &serde_spanned::Spanned<DeTable<'_>>, report: &Report) -> Option<Build> {
    let keys = ["name", "about", "motion", "expected", "visit", "heat", "access", "position", "task"];
    let top = Section::new("a build", 0..0, document.get_ref(), &keys, report);
    let name = top.need("name").and_then(|value| value.name());
    let about = top.need("about").and_then(|value| value.prose());
    let motion = top.need("motion").and_then(|value| value.section("[motion]", motion::KEYS));
    let motion = motion.and_then(|section| motion::read(&section));
    let expected = top.need("expected").and_then(|value| value.section("[expected]", expected::KEYS));
    let expected = expected.and_then(|section| expected::read(&section));
    let metered = expected.as_ref().map(|expected| expected.per_hour.iter().map(|(quantity, _)| *quantity).collect());
    let visit_minutes = access::visit_minutes(&top);
    let heat = match top.get("heat") {
        Some(value) => value.section("[heat]", heat::KEYS).and_then(|section| heat::read(&section)),
        None => Some(Heat::default()),
    };
    let (access_names, accesses) = accesses(&top);
    let (names, positions) = positions(&top);
    let sections = top.need("task").and_then(|value| value.sections("a task", task::KEYS)).unwrap_or_default();
    let task_names = self::names(&sections, "task");
    let known = Known { motion, expected: metered, positions, names, access_names, task_names };
    let tasks = tasks(&sections, &known);
    let motion = known.motion?;
    Some(Build {
        name: name?,
        about: about?,
        machine: motion.machine,
        travel: motion.travel,
        belt_pitch_mm: motion.belt_pitch,
        fans: motion.fans,
        expected: expected?,
        visit_minutes: visit_minutes?,
        heat: heat?,
        accesses,
        positions: known.positions,
        tasks,
    })
}

/// The names of all positions, and those that could be read.
fn positions(top: &Section<'_>) -> (Vec<String>, Vec<Position>) {
    let sections =
        top.need("position").and_then(|value| value.sections("a position", position::KEYS)).unwrap_or_default();
    let names = names(&sections, "position");
    (names, sections.iter().filter_map(position::read).collect())
}

/// The names of all ways of access, and those that could be read.
fn accesses(top: &Section<'_>) -> (Vec<String>, Vec<Access>) {
    let sections = top.get("access").and_then(|value| value.sections("an access", access::KEYS)).unwrap_or_default();
    (names(&sections, "access name"), sections.iter().filter_map(access::read).collect())
}

fn tasks(sections: &[Section<'_>], known: &Known) -> Vec<Task> {
    let tasks: Vec<Task> = sections.iter().filter_map(|section| task::read(section, known)).collect();
    // What could not be read has been told; what it says of other tasks would be told for the second time.
    if tasks.len() == sections.len() {
        ties::check(sections, &known.task_names);
        reading::check(sections, &tasks);
    }
    tasks
}

/// The names of the sections; notes those that were given before.
pub(crate) fn names(sections: &[Section<'_>], what: &str) -> Vec<String> {
    let mut seen = BTreeSet::new();
    let mut names = Vec::new();
    for value in sections.iter().filter_map(|section| section.get("name")) {
        let Some(name) = value.as_str() else { continue };
        if !seen.insert(name.to_lowercase()) {
            value.refuse(
                format!("there are two {what}s \"{name}\""),
                "give each a name of its own; case does not count",
            );
        }
        names.push(name.to_owned());
    }
    names
}
