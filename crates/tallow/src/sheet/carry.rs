//! What is laid out and carried: every tool and every piece of gear once, supplies and spares summed.

use std::collections::BTreeMap;

use upkeep::build::{Supply, Task};

use super::VisitSheet;

/// A part to take along.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Spare {
    /// Its name in the stores.
    pub(crate) name: String,
    /// How many.
    pub(crate) count: u32,
}

/// What to lay out for one visit or for several.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Carry {
    /// Protective gear, each once.
    pub(crate) gear: Vec<String>,
    /// Tools, each once.
    pub(crate) tools: Vec<String>,
    /// Supplies with their sums: `lint-free wipe, 7`, `NLGI 2 lithium grease, 1.5 g`.
    pub(crate) supplies: Vec<String>,
    /// Supplies that are used only where a step finds them needed, with their sums.
    pub(crate) if_needed: Vec<String>,
    /// Parts with their sums: `brass nozzle 0.4, 2`.
    pub(crate) spares: Vec<String>,
    /// What the stores lack.
    pub(crate) missing: Vec<String>,
}

impl Carry {
    /// What the visits need together.
    pub(crate) fn of(sheets: &[&VisitSheet]) -> Carry {
        let tasks: Vec<&Task> = sheets.iter().flat_map(|sheet| sheet.tasks()).map(|stage| &stage.task).collect();
        Carry {
            gear: once(tasks.iter().flat_map(|task| &task.gear)),
            tools: once(
                tasks
                    .iter()
                    .flat_map(|task| &task.tools)
                    .chain(&sheets.iter().flat_map(|sheet| sheet.supports()).collect::<Vec<_>>()),
            ),
            supplies: summed(tasks.iter().flat_map(|task| &task.uses).map(amount)),
            if_needed: summed(tasks.iter().flat_map(|task| &task.may_use).map(amount)),
            spares: summed(
                sheets
                    .iter()
                    .flat_map(|sheet| &sheet.spares)
                    .map(|spare| ((spare.name.as_str(), ""), f64::from(spare.count))),
            ),
            missing: once(sheets.iter().flat_map(|sheet| &sheet.missing)),
        }
    }

    /// The lists that hold anything, each with its heading, in the order in which they are read.
    pub(crate) fn lists(&self) -> impl Iterator<Item = (&'static str, &[String])> {
        let all = [
            ("Lacking", &self.missing),
            ("Wear", &self.gear),
            ("Tools", &self.tools),
            ("Supplies", &self.supplies),
            ("If needed", &self.if_needed),
            ("Spares", &self.spares),
        ];
        all.into_iter().map(|(heading, items)| (heading, items.as_slice())).filter(|(_, items)| !items.is_empty())
    }
}

/// Each once, by name.
fn once<'a>(items: impl Iterator<Item = &'a String>) -> Vec<String> {
    let mut items: Vec<String> = items.cloned().collect();
    items.sort();
    items.dedup();
    items
}

fn amount(supply: &Supply) -> ((&str, &str), f64) {
    ((supply.name.as_str(), supply.unit.as_str()), supply.amount)
}

/// The sum of each name and unit, in words.
fn summed<'a>(items: impl Iterator<Item = ((&'a str, &'a str), f64)>) -> Vec<String> {
    let mut sums: BTreeMap<(&str, &str), f64> = BTreeMap::new();
    for (key, amount) in items {
        *sums.entry(key).or_default() += amount;
    }
    sums.into_iter().map(|((name, unit), amount)| amount_words(name, amount, unit)).collect()
}

/// A thing with its amount: to a thousandth, which is finer than anything is measured out at a bench.
fn amount_words(name: &str, amount: f64, unit: &str) -> String {
    let amount = (amount * 1000.0).round() / 1000.0;
    format!("{name}, {amount} {unit}").trim_end().to_owned()
}
