//! Sheets as text for a terminal or a plain printer.

use upkeep::build::Caution;

use super::carry::Carry;
use super::laid_out::head_words;
use super::time_words;
use super::{ABOVE, Blank, Change, SheetError, Stage, TaskStage, VisitSheet, capital, cautions_before, day_words};

/// The sheet of a visit in lines of at most `width` letters (at least 40).
///
/// # Errors
/// What [`VisitSheet::check`] refuses.
pub(crate) fn text(sheet: &VisitSheet, width: usize) -> Result<String, SheetError> {
    sheet.check()?;
    let mut plain = Plain::new(width);
    plain.says("", &format!("{}, {}, {}", sheet.machine, day_words(sheet.day), sheet.keeper));
    plain.says("", &format!("{} · {}", sheet.shop, sheet.build));
    plain.says("", &time_words(sheet));
    if let Some(why) = &sheet.not_to_be_run {
        plain.says("DO NOT RUN THIS MACHINE: ", why);
    }
    plain.carry(&Carry::of(&[sheet]));
    let mut number = 0;
    for stage in &sheet.stages {
        match stage {
            Stage::Change(change) => plain.change(change),
            Stage::Task(stage) => {
                number += 1;
                plain.task(number, stage);
            }
        }
    }
    plain.sign_off(sheet);
    Ok(plain.out)
}

/// Lines of at most so many letters.
pub(super) struct Plain {
    width: usize,
    pub(super) out: String,
}

/// Narrower lines hold no sentence behind a signal word.
const NARROWEST: usize = 40;

/// A box to tick.
pub(super) const TICK: &str = "[ ] ";

impl Plain {
    pub(super) fn new(width: usize) -> Plain {
        Plain { width: width.max(NARROWEST), out: String::new() }
    }

    pub(super) fn blank(&mut self) {
        self.out.push('\n');
    }

    /// Adds running text behind a lead; the lines after the first stand under the lead's end.
    pub(super) fn says(&mut self, lead: &str, text: &str) {
        let indent = lead.chars().count().min(self.width / 2);
        let mut line = lead.to_owned();
        let mut used = lead.chars().count();
        let mut is_first = true;
        for word in text.split_whitespace() {
            let letters = word.chars().count();
            if !is_first && self.width < used + 1 + letters {
                self.line(&line);
                line = " ".repeat(indent);
                used = indent;
                is_first = true;
            }
            if !is_first {
                line.push(' ');
                used += 1;
            }
            line.push_str(word);
            used += letters;
            is_first = false;
        }
        self.line(&line);
    }

    fn line(&mut self, line: &str) {
        self.out.push_str(line.trim_end());
        self.out.push('\n');
    }

    /// Adds what to lay out.
    pub(super) fn carry(&mut self, carry: &Carry) {
        for (heading, items) in carry.lists() {
            self.says(&format!("{heading}: "), &items.join("; "));
        }
    }

    fn change(&mut self, change: &Change) {
        self.blank();
        let minutes = change.minutes_words();
        let minutes = if minutes.is_empty() { minutes } else { format!(" ({minutes})") };
        self.says(TICK, &format!("{}{minutes}", change.what.words()));
    }

    fn task(&mut self, number: usize, stage: &TaskStage) {
        self.blank();
        let head = format!("{} · {}", capital(&stage.task.name), head_words(stage));
        self.says(&format!("{number}  "), &head);
        for (index, step) in stage.task.steps.iter().enumerate() {
            cautions_before(&stage.task, index).for_each(|caution| self.caution(caution));
            self.says(&format!("   {TICK}{}. ", index + 1), step);
        }
        stage.readings.iter().for_each(|blank| self.reading(blank));
        self.says("   ", "[ ] done  [ ] skipped, because ________________");
    }

    fn caution(&mut self, caution: &Caution) {
        self.says(&format!("   [! {}] ", caution.word.name().to_uppercase()), &caution.text);
    }

    fn reading(&mut self, blank: &Blank) {
        self.says("   ", &format!("{}: ________ {} {}", capital(&blank.what()), blank.unit, blank.hint()));
    }

    fn sign_off(&mut self, sheet: &VisitSheet) {
        self.blank();
        self.says("", "Found, and what is to be seen to: ________________");
        self.says("", "Begun at ______ ended at ______ signed ________________");
        if let Some(number) = sheet.number {
            self.says("", &format!("Visit {number}"));
        }
        if let Some(code) = &sheet.code {
            self.says("", code);
        }
        self.blank();
        self.says("", ABOVE);
    }
}
