//! The key `reading` of tasks: what a task measures, and what is good.

use super::raw::{Section, Value, all};
use super::{Build, Task};

/// A reading that a task takes.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// What is measured: `belt frequency`. Unique at its position.
    pub name: String,
    /// The position at which it is measured.
    pub at: String,
    /// The unit in which it is read; empty for a bare number.
    pub unit: String,
    /// The least that is good, in `unit`.
    pub least: Option<f64>,
    /// The most that is good, in `unit`.
    pub most: Option<f64>,
    /// Where the limits come from, or where they are to be found.
    pub source: String,
}

/// How far a value is outside of its limits, in the unit of the reading; `by` is more than 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outside {
    /// Below the least.
    Below {
        /// The least.
        least: f64,
        /// By how much.
        by: f64,
    },
    /// Above the most.
    Above {
        /// The most.
        most: f64,
        /// By how much.
        by: f64,
    },
}

impl Reading {
    /// How far `value`, in the reading's unit, is outside of the limits; `None` where it is within, or nobody states any.
    ///
    /// # Example
    /// ```
    /// use upkeep::build::{Outside, Reading};
    /// let unit = "Hz".to_owned();
    /// let (name, at, source) = ("belt frequency".to_owned(), "x belt".to_owned(), "the maker's manual".to_owned());
    /// let reading = Reading { name, at, unit, least: Some(100.0), most: None, source };
    /// assert_eq!(reading.outside(95.0), Some(Outside::Below { least: 100.0, by: 5.0 }));
    /// assert_eq!(reading.outside(100.0), None);
    /// ```
    pub fn outside(&self, value: f64) -> Option<Outside> {
        match (self.least, self.most) {
            (Some(least), _) if value < least => Some(Outside::Below { least, by: least - value }),
            (_, Some(most)) if most < value => Some(Outside::Above { most, by: value - most }),
            _ => None,
        }
    }
}

impl Build {
    /// The reading of that name at a position, whatever its case, and the task that takes it; `None` where no task does.
    pub fn reading(&self, at: &str, name: &str) -> Option<(&Task, &Reading)> {
        let is_it = |reading: &&Reading| reading.at == at && reading.name.to_lowercase() == name.trim().to_lowercase();
        self.tasks.iter().find_map(|task| Some((task, task.readings.iter().find(is_it)?)))
    }
}

/// The keys of a reading.
const KEYS: &[&str] = &["name", "at", "unit", "least", "most", "source"];

/// The largest limit that can be stated, in any unit.
const LARGEST: f64 = 1e6;

/// Reads the list; `at` is the position of the task, where that could be read.
pub(super) fn read(value: &Value<'_>, at: Option<&str>, positions: &[String]) -> Option<Vec<Reading>> {
    all(value.sections("a reading", KEYS)?.iter().map(|section| one(section, at, positions)))
}

fn one(section: &Section<'_>, at: Option<&str>, positions: &[String]) -> Option<Reading> {
    let name = section.need("name").and_then(|value| value.name());
    let at = match section.get("at") {
        Some(value) => value.one_of("position", positions),
        None => at.map(str::to_owned),
    };
    let unit = section.get("unit").map_or(Some(String::new()), |value| value.name());
    let [least, most] = ["least", "most"]
        .map(|key| section.get(key).map(|value| value.between(0.0, LARGEST)).map_or(Some(None), |v| v.map(Some)));
    let source = section.need("source").and_then(|value| value.prose());
    let (least, most) = (least?, most?);
    if let (Some(least), Some(most)) = (least, most)
        && most < least
    {
        let found = format!("no value is both at least {least} and at most {most}");
        section.report.add(
            &section.span_of("least"),
            found,
            "\"least\" must not be above \"most\"; leave out one that nobody states",
        );
        return None;
    }
    Some(Reading { name: name?, at: at?, unit: unit?, least, most, source: source? })
}

/// Notes readings that stand in the build before, at the same position. The tasks are those of `sections`, all of which
/// could be read.
pub(super) fn check(sections: &[Section<'_>], tasks: &[Task]) {
    let mut seen: Vec<(&str, String)> = Vec::new();
    for (section, task) in sections.iter().zip(tasks) {
        let items = section.get("reading").and_then(|value| value.list()).unwrap_or_default();
        for (value, reading) in items.iter().zip(&task.readings) {
            let key = (reading.at.as_str(), reading.name.to_lowercase());
            if seen.contains(&key) {
                let found = format!("there are two readings \"{}\" at \"{}\"", reading.name, reading.at);
                value.refuse(found, "state each once, with the task that takes it, or give them names of their own");
            }
            seen.push(key);
        }
    }
}
