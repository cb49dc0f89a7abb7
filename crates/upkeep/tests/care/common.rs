//! A small machine for tests: one position, tasks as each test needs them.

use motion::{Amounts, Duty, Quantity};
use upkeep::build::{Allowance, Limit, shipped};
use upkeep::{Build, Material, Usage};

/// A build with one task, `care`, at one position, `part`, with these limits.
pub(crate) fn build(limits: Vec<Limit>) -> Build {
    let (file, text) = shipped()[0];
    let mut build = Build::parse(file, text).expect("a shipped build is valid");
    build.tasks.truncate(1);
    build.positions.truncate(1);
    "part".clone_into(&mut build.positions[0].name);
    build.positions[0].tool = None;
    let task = &mut build.tasks[0];
    "care".clone_into(&mut task.name);
    "part".clone_into(&mut task.at);
    task.limits = limits;
    build
}

/// A limit by amount, in the quantity's unit.
pub(crate) fn amount(quantity: Quantity, amount: f64, counts: &[(&str, f64)]) -> Limit {
    let counts = counts.iter().map(|(name, weight)| ((*name).to_owned(), *weight)).collect();
    Limit { every: Allowance::Amount { quantity, amount }, text: String::new(), counts, source: String::new() }
}

/// So much of one quantity, with tool 0 in `material`.
pub(crate) fn usage(quantity: Quantity, amount: f64, material: &str) -> Usage {
    let mut amounts = Amounts::default();
    amounts[quantity] = amount;
    Usage::from_duty(&Duty { tools: [(0, amounts)].into() }, |_| Material::new(material))
}
