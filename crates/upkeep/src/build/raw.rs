//! Tables and values of a build file, with their places in the text.
//!
//! Reading goes by hand over the parsed document rather than by derived deserialisation, which stops at the first
//! mistake: somebody who writes a build wants to see all of them. Every function notes what is wrong in the report and
//! answers `None`.

use std::ops::Range;

use serde_spanned::Spanned;
use toml::de::{DeInteger, DeTable, DeValue};

use super::error::{Report, is_unusual};

/// The longest name, characters; longer ones break tables on screens.
const LONGEST_NAME: usize = 60;

/// The longest sentence or paragraph, characters.
const LONGEST_TEXT: usize = 2000;

/// The largest plain number, far beyond any machine.
const LARGEST_NUMBER: f64 = 1e6;

/// A table of the file, of which every key is known.
#[derive(Clone)]
pub(crate) struct Section<'a> {
    /// What the table is, for messages: `a task`.
    what: &'static str,
    /// Where it stands.
    pub(crate) span: Range<usize>,
    table: &'a DeTable<'a>,
    /// Where what is wrong goes.
    pub(crate) report: &'a Report,
}

impl<'a> Section<'a> {
    /// The table, after refusing keys that are not in `keys`.
    pub(crate) fn new(
        what: &'static str,
        span: Range<usize>,
        table: &'a DeTable<'a>,
        keys: &[&'static str],
        report: &'a Report,
    ) -> Section<'a> {
        for key in table.keys().filter(|key| !keys.contains(&key.get_ref().as_ref())) {
            let found = format!("{what} has no key \"{}\"", key.get_ref());
            report.add_unknown(&key.span(), found, key.get_ref(), keys.iter().copied());
        }
        Section { what, span, table, report }
    }

    /// The value of `key`, if it is there.
    pub(crate) fn get(&self, key: &'static str) -> Option<Value<'a>> {
        let value = self.table.get(key)?;
        Some(Value { label: quoted(key), span: value.span(), value: value.get_ref(), report: self.report })
    }

    /// The value of `key`, which must be there.
    pub(crate) fn need(&self, key: &'static str) -> Option<Value<'a>> {
        let value = self.get(key);
        if value.is_none() {
            self.report.add_missing(&self.span, self.what, key);
        }
        value
    }

    /// Where `key` stands, or the table's own place without it.
    pub(crate) fn span_of(&self, key: &'static str) -> Range<usize> {
        self.get(key).map_or(self.span.clone(), |value| value.span)
    }

    /// The texts of the list `key`; none where it is left out.
    pub(crate) fn names(&self, key: &'static str) -> Option<Vec<String>> {
        match self.get(key) {
            Some(value) => all(value.list()?.iter().map(Value::name)),
            None => Some(Vec::new()),
        }
    }
}

/// A value of the file.
#[derive(Clone)]
pub(crate) struct Value<'a> {
    /// What it is, for messages: its key in quotes, or `an item of "steps"`.
    pub(crate) label: String,
    /// Where it stands.
    pub(crate) span: Range<usize>,
    value: &'a DeValue<'a>,
    /// Where what is wrong goes.
    pub(crate) report: &'a Report,
}

impl<'a> Value<'a> {
    /// Notes what is wrong with this value.
    pub(crate) fn refuse(&self, found: impl Into<String>, help: impl Into<String>) {
        self.report.add(&self.span, found, help);
    }

    /// The text, if it is text; nothing is noted if not.
    pub(crate) fn as_str(&self) -> Option<&'a str> {
        self.value.as_str()
    }

    /// Text as written, not empty.
    pub(crate) fn text(&self) -> Option<&'a str> {
        let text = self.expect(self.value.as_str(), "text in quotes")?;
        if text.trim().is_empty() {
            self.refuse(format!("{} is empty", self.label), "write something between the quotes");
            return None;
        }
        Some(text)
    }

    /// A sentence or more: what can be printed, and not endless.
    pub(crate) fn prose(&self) -> Option<String> {
        self.printable(self.text()?, LONGEST_TEXT)
    }

    /// A name: short, on one line, without blanks at its ends.
    pub(crate) fn name(&self) -> Option<String> {
        let text = self.text()?;
        if text.trim() != text || text.contains("  ") || text.contains('\n') {
            let help = "write it on one line, with one blank between words and none at the ends";
            self.refuse(format!("{} has blanks where none belong", self.label), help);
            return None;
        }
        self.printable(text, LONGEST_NAME)
    }

    /// A name that must be one of `names`, which are those of all of `what`.
    pub(crate) fn one_of(&self, what: &str, names: &[String]) -> Option<String> {
        let name = self.name()?;
        if names.contains(&name) {
            return Some(name);
        }
        let found = format!("this build has no {what} \"{name}\"");
        self.report.add_unknown(&self.span, found, &name, names.iter().map(String::as_str));
        None
    }

    fn printable(&self, text: &str, longest: usize) -> Option<String> {
        let label = &self.label;
        if let Some(odd) = text.chars().find(|c| is_unusual(*c) && *c != '\n') {
            let found = format!("{label} has the character U+{:04X}, which cannot be seen", u32::from(odd));
            self.refuse(found, "take it out");
            return None;
        }
        let length = text.chars().count();
        if longest < length {
            self.refuse(format!("{label} is {length} characters long"), format!("at most {longest} are allowed"));
            return None;
        }
        Some(text.to_owned())
    }

    /// A number more than 0.
    pub(crate) fn positive(&self) -> Option<f64> {
        let number = self.number()?;
        if 0.0 < number && number <= LARGEST_NUMBER {
            return Some(number);
        }
        let help = format!("it must be more than 0 and at most {LARGEST_NUMBER}");
        self.refuse(format!("{} is {number}", self.label), help);
        None
    }

    /// A number from `least` to `most`.
    pub(crate) fn between(&self, least: f64, most: f64) -> Option<f64> {
        let number = self.number()?;
        if (least..=most).contains(&number) {
            return Some(number);
        }
        self.refuse(format!("{} is {number}", self.label), format!("it must be from {least} to {most}"));
        None
    }

    /// A whole number from `least` to `most`.
    pub(crate) fn whole(&self, least: u16, most: u16) -> Option<u16> {
        let number = self.between(f64::from(least), f64::from(most))?;
        if number.fract() == 0.0 {
            return Some(number as u16);
        }
        self.refuse(format!("{} is {number}", self.label), format!("it must be a whole number from {least} to {most}"));
        None
    }

    fn number(&self) -> Option<f64> {
        let number = match self.value {
            DeValue::Integer(integer) => whole_number(integer),
            DeValue::Float(float) => float.as_str().replace('_', "").parse().ok(),
            _ => None,
        };
        self.expect(number, "a number without quotes")
    }

    /// `true` or `false`.
    pub(crate) fn boolean(&self) -> Option<bool> {
        self.expect(self.value.as_bool(), "true or false")
    }

    /// One of a few words.
    pub(crate) fn choice<T>(&self, choices: impl IntoIterator<Item = (&'static str, T)>) -> Option<T> {
        let text = self.text()?;
        let mut words = Vec::new();
        for (word, choice) in choices {
            if word == text {
                return Some(choice);
            }
            words.push(word);
        }
        self.report.add_unknown(&self.span, format!("{} cannot be \"{text}\"", self.label), text, words);
        None
    }

    /// The items of a list.
    pub(crate) fn list(&self) -> Option<Vec<Value<'a>>> {
        let items = self.expect(self.value.as_array(), "a list in [ ]")?;
        Some(items.iter().map(|item| self.inner(format!("an item of {}", self.label), item)).collect())
    }

    /// A table of which the keys are known.
    pub(crate) fn section(&self, what: &'static str, keys: &[&'static str]) -> Option<Section<'a>> {
        let table = self.expect(self.value.as_table(), "a table: key = value, in { } or below a [heading]")?;
        Some(Section::new(what, self.span.clone(), table, keys, self.report))
    }

    /// Tables, each under its own `[[heading]]`.
    pub(crate) fn sections(&self, what: &'static str, keys: &[&'static str]) -> Option<Vec<Section<'a>>> {
        all(self.list()?.iter().map(|item| item.section(what, keys)))
    }

    /// The entries of a table whose keys are names: each name as a value, and its value.
    pub(crate) fn entries(&self) -> Option<Vec<(Entry<'a>, Value<'a>)>> {
        let table = self.expect(self.value.as_table(), "a table: \"name\" = value")?;
        let pair = |(key, value): (&'a Spanned<std::borrow::Cow<'a, str>>, &'a Spanned<DeValue<'a>>)| {
            let text: &'a str = key.get_ref();
            (Entry { name: text, span: key.span() }, self.inner(quoted(text), value))
        };
        Some(table.iter().map(pair).collect())
    }

    fn inner(&self, label: String, value: &'a Spanned<DeValue<'a>>) -> Value<'a> {
        Value { label, span: value.span(), value: value.get_ref(), report: self.report }
    }

    /// Notes that this value is of the wrong type where `read` is `None`.
    fn expect<T>(&self, read: Option<T>, wanted: &str) -> Option<T> {
        if read.is_none() {
            let found = format!("{} is {}", self.label, type_of(self.value));
            self.refuse(found, format!("it must be {wanted}"));
        }
        read
    }
}

/// All of them, or `None` if one is wrong; each is read before that is said, so that the report has every mistake.
pub(crate) fn all<T>(items: impl Iterator<Item = Option<T>>) -> Option<Vec<T>> {
    let read: Vec<Option<T>> = items.collect();
    read.into_iter().collect()
}

/// The name in quotes.
fn quoted(name: &str) -> String {
    format!("\"{name}\"")
}

/// A key that is a name of the user's choosing.
pub(crate) struct Entry<'a> {
    /// The name.
    pub(crate) name: &'a str,
    /// Where it stands.
    pub(crate) span: Range<usize>,
}

/// What a value is, in plain words.
fn type_of(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date or time",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// A whole number of any radix.
fn whole_number(integer: &DeInteger<'_>) -> Option<f64> {
    let digits = integer.as_str().replace('_', "");
    match integer.radix() {
        10 => digits.parse().ok(),
        radix => i64::from_str_radix(&digits, radix).ok().map(|number| number as f64),
    }
}
