//! Reading a map's file, with errors that point at the line.

use std::ops::Range;

use serde::Deserialize;
use serde_spanned::Spanned;
use upkeep::BuildErrors;
use upkeep::build::BuildError;

use super::map::{EndRule, HourMeterRule, Map, ProgressRule, ReadingRule, Rule, StartRule};

const GUIDE: &str = "docs/ways/mqtt.md says what may be written";

/// A map, with the places of its rules.
#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct File {
    #[serde(default)]
    material: Vec<String>,
    #[serde(default)]
    machines: std::collections::BTreeMap<String, String>,
    #[serde(default)]
    start: Vec<Spanned<StartRule>>,
    #[serde(default)]
    progress: Vec<Spanned<ProgressRule>>,
    #[serde(default)]
    end: Vec<Spanned<EndRule>>,
    #[serde(default)]
    reading: Vec<Spanned<ReadingRule>>,
    #[serde(default)]
    hour_meter: Vec<Spanned<HourMeterRule>>,
}

/// Reads a map from its TOML text; `file` is its name in messages.
///
/// # Errors
/// What is wrong in it: the first of what is no such file, and all that makes no sense.
pub(crate) fn read(file: &str, text: &str) -> Result<Map, BuildErrors> {
    let failed = |errors: Vec<BuildError>| BuildErrors { file: file.to_owned(), errors };
    let read: File = toml::from_str(text).map_err(|error| {
        let span = error.span().unwrap_or(0..0);
        failed(vec![BuildError::at(text, &span, error.message().replace('\n', ": "), GUIDE)])
    })?;
    let mut wrong = Wrong { text, errors: Vec::new() };
    wrong.check(&read);
    match wrong.errors.is_empty() {
        true => Ok(read.into_map()),
        false => Err(failed(wrong.errors)),
    }
}

impl File {
    fn into_map(self) -> Map {
        fn plain<T>(rules: Vec<Spanned<T>>) -> Vec<T> {
            rules.into_iter().map(Spanned::into_inner).collect()
        }
        Map {
            material: self.material,
            machines: self.machines,
            start: plain(self.start),
            progress: plain(self.progress),
            end: plain(self.end),
            reading: plain(self.reading),
            hour_meter: plain(self.hour_meter),
        }
    }
}

/// What is wrong in a file.
struct Wrong<'a> {
    text: &'a str,
    errors: Vec<BuildError>,
}

impl Wrong<'_> {
    fn add(&mut self, span: &Range<usize>, found: impl Into<String>, help: &str) {
        self.errors.push(BuildError::at(self.text, span, found, help));
    }

    fn check(&mut self, file: &File) {
        self.whose(&file.start);
        self.whose(&file.progress);
        self.whose(&file.end);
        self.whose(&file.reading);
        self.whose(&file.hour_meter);
        let has_runs = !file.start.is_empty() || !file.end.is_empty();
        if has_runs && file.material.is_empty() {
            self.add(
                &(0..0),
                "it does not say what is printed",
                "write material = [\"PLA\"] above all tables, for what no message says",
            );
        }
        if file.end.is_empty() && !file.start.is_empty() {
            self.add(&file.start[0].span(), "it says how a print starts, but not how one ends", "add a table [[end]]");
        }
        if !has_runs && file.reading.is_empty() && file.hour_meter.is_empty() {
            self.add(&(0..0), "it maps no message", "add a table [[end]], [[reading]] or [[hour-meter]]");
        }
        let onlies = file.start.iter().map(|rule| (rule.span(), &rule.get_ref().only));
        let onlies = onlies.chain(file.progress.iter().map(|rule| (rule.span(), &rule.get_ref().only)));
        for (span, only) in onlies {
            if only.as_ref().is_some_and(|only| only.is.is_empty()) {
                self.add(&span, "\"only\" names no word", "write is = [\"printing\"], with the words that are meant");
            }
        }
        for rule in &file.end {
            let outcome = &rule.get_ref().outcome;
            if outcome.as_ref().is_some_and(|words| words.finished.is_empty() && words.stopped.is_empty()) {
                self.add(
                    &rule.span(),
                    "\"outcome\" names no word",
                    "write finished = [\"done\"], stopped = [\"cancelled\"]",
                );
            }
            let (hours, seconds) = (&rule.get_ref().hours, &rule.get_ref().seconds);
            self.one_of(&rule.span(), hours.is_some(), seconds.is_some(), false);
        }
        for rule in &file.hour_meter {
            let (hours, seconds) = (&rule.get_ref().hours, &rule.get_ref().seconds);
            self.one_of(&rule.span(), hours.is_some(), seconds.is_some(), true);
        }
        for rule in &file.reading {
            let ReadingRule { step, position, what, .. } = rule.get_ref();
            if step.is_some_and(|step| !(0.0 < step && step.is_finite())) {
                self.add(
                    &rule.span(),
                    "\"step\" is not above 0",
                    "leave it out, or say by how much a value must have moved",
                );
            }
            if position.trim().is_empty() || what.trim().is_empty() {
                self.add(
                    &rule.span(),
                    "\"position\" or \"what\" is empty",
                    "say what is measured, and where on the machine",
                );
            }
        }
    }

    fn one_of(&mut self, span: &Range<usize>, hours: bool, seconds: bool, is_needed: bool) {
        match (hours, seconds) {
            (true, true) => self.add(span, "both \"hours\" and \"seconds\" are said", "say one of them"),
            (false, false) if is_needed => self.add(span, "it says not where the hours stand", "add hours or seconds"),
            _ => {}
        }
    }

    /// Each rule says once whose its messages are.
    fn whose<R: Rule>(&mut self, rules: &[Spanned<R>]) {
        for rule in rules {
            let (topic, on) = (rule.get_ref().topic(), rule.get_ref().on());
            match (topic.names_a_machine(), on) {
                (true, Some(_)) => self.add(
                    &rule.span(),
                    format!("the topic {topic} names a machine, and so does \"on\""),
                    "leave \"on\" out, or write + in place of {machine}",
                ),
                (false, None) => self.add(
                    &rule.span(),
                    format!("whose messages are those on {topic}?"),
                    "write {machine} in the place of its level that names the machine, or say on = \"MACHINE\"",
                ),
                _ => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The message on a map that is wrong.
    fn wrong(text: &str) -> String {
        read("loft.toml", text).unwrap_err().to_string()
    }

    const END: &str = "material = ['PLA']\n\n[[end]]\ntopic = 'loft/{machine}'\n";

    #[test]
    fn a_map_is_read() {
        let map = read("loft.toml", END).unwrap();
        assert_eq!((map.end.len(), map.material.as_slice()), (1, ["PLA".to_owned()].as_slice()));
    }

    #[test]
    fn what_is_wrong_is_told_with_its_line_and_column() {
        for (text, place, words) in [
            ("material = ", ":1:", "docs/ways/mqtt.md"),
            (&format!("{END}labl = '/x'"), ":5:1:", "labl"),
            (&format!("{END}label = 'x'"), ":5:9:", "JSON Pointer"),
            ("material = ['PLA']\n[[end]]\ntopic = 'loft/#'", ":3:9:", "one whole level"),
            ("material = ['PLA']\n[[end]]\ntopic = 'loft'", ":2:1:", "whose messages"),
            (&format!("{END}on = 'bowline'"), ":3:1:", "names a machine"),
            ("[[end]]\ntopic = 'loft/{machine}'", ":1:1:", "what is printed"),
            (&format!("{END}hours = ''\nseconds = ''"), ":3:1:", "one of them"),
            (&format!("{END}outcome = {{ at = '' }}"), ":3:1:", "names no word"),
            ("[[hour-meter]]\ntopic = '{machine}'", ":1:1:", "hours or seconds"),
            ("", ":1:1:", "maps no message"),
            ("material = ['PLA']\n[[start]]\ntopic = '{machine}'", ":2:1:", "[[end]]"),
        ] {
            let told = wrong(text);
            assert!(told.contains(&format!("loft.toml{place}")) && told.contains(words), "{text}\n{told}");
        }
    }
}
