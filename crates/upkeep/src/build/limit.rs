//! The tables `[[task.limit]]`: what makes a task due.

use motion::{AddsUp, Kinematics, Quantity};

use super::expected::quantity;
use super::raw::{Entry, Section, Value, all};
use super::task::Known;
use super::{Allowance, Limit};
use crate::amount::{self, AmountError};
use crate::material::{MaterialClass, Materials};

/// The keys of the table.
pub(super) const KEYS: &[&str] = &["every", "of", "counts", "source"];

/// Reads one limit.
pub(super) fn read(section: &Section<'_>, known: &Known) -> Option<Limit> {
    let every = section.need("every");
    let text = every.as_ref().and_then(Value::name);
    let allowance = every.as_ref().zip(text.as_ref()).and_then(|(value, text)| allowance(section, value, text, known));
    let counts = section.get("counts").map_or(Some(Vec::new()), |value| counts(&value));
    let source = section.need("source").and_then(|value| value.prose());
    Some(Limit { every: allowance?, text: text?, counts: counts?, source: source? })
}

fn allowance(section: &Section<'_>, every: &Value<'_>, text: &str, known: &Known) -> Option<Allowance> {
    if amount::is_span(text) { elapsed(section, every, text) } else { metered(section, every, text, known) }
}

fn elapsed(section: &Section<'_>, every: &Value<'_>, text: &str) -> Option<Allowance> {
    for value in ["of", "counts"].into_iter().filter_map(|key| section.get(key)) {
        let found = format!("{} does not go with calendar time", value.label);
        value.refuse(found, "take it out, or give an amount of use in \"every\", for example \"100 h\"");
    }
    match amount::parse_span(text) {
        Ok(span) if 0 < span.months || 0 < span.days => {
            Some(Allowance::Elapsed { months: span.months, days: span.days })
        }
        Ok(_) => not_positive(every, text),
        Err(_) if text.starts_with('-') => not_positive(every, text),
        Err(error) => {
            every.report.add_amount(&every.span, &error);
            None
        }
    }
}

fn metered(section: &Section<'_>, every: &Value<'_>, text: &str, known: &Known) -> Option<Allowance> {
    let (quantity, at) = match section.get("of") {
        Some(of) => (quantity(of.text()?, &of.span, &of)?, of),
        None if amount::is_spools(text) => (Quantity::FilamentMass, every.clone()),
        None => return no_quantity(every, text),
    };
    can_be_metered(quantity, &at, known)?;
    match amount::parse(text, quantity) {
        Ok(amount) if 0.0 < amount => Some(Allowance::Amount { quantity, amount }),
        Ok(_) => not_positive(every, text),
        Err(error) => {
            every.report.add_amount(&every.span, &error);
            None
        }
    }
}

fn not_positive(every: &Value<'_>, text: &str) -> Option<Allowance> {
    every.refuse(format!("a limit of \"{text}\" is always due"), "write more than 0");
    None
}

fn no_quantity(every: &Value<'_>, text: &str) -> Option<Allowance> {
    match amount::parse_span(text) {
        Err(error) if error.nearest().is_some() || matches!(error, AmountError::NotANumber { .. }) => {
            every.report.add_amount(&every.span, &error);
        }
        _ => every.refuse(
            format!("\"{text}\" of what?"),
            "add the line \"of = …\" with a quantity, for example \"travel x\"; only calendar time and spools need none",
        ),
    }
    None
}

/// Whether the machine has what `quantity` counts, and the build says how much of it an hour brings.
fn can_be_metered(quantity: Quantity, at: &Value<'_>, known: &Known) -> Option<()> {
    if quantity.adds_up() == AddsUp::Largest {
        at.refuse(
            format!("\"{quantity}\" never adds up: it is the largest amount of any move"),
            "choose another quantity",
        );
        return None;
    }
    if let Some(lacks) = lacking(quantity, known) {
        at.refuse(
            format!("\"{quantity}\" stays 0 on this machine: {lacks}"),
            "choose another quantity, or correct [motion]",
        );
        return None;
    }
    let expected = known.expected.as_ref().is_none_or(|all| all.contains(&quantity));
    if !expected {
        let help = format!("add a line \"{quantity}\" = \"…\" to [expected.per_hour]: what one printing hour brings");
        at.refuse(format!("\"{quantity}\" is metered, but not expected"), help);
    }
    expected.then_some(())
}

/// What the machine lacks that `quantity` needs.
fn lacking(quantity: Quantity, known: &Known) -> Option<String> {
    use Quantity::{BeltC, ReversalsC, TurnsC, TurnsScrew};
    use Quantity::{TimeFan0, TimeFan1, TimeFan2, TimeFan3, WeightedFan0, WeightedFan1, WeightedFan2, WeightedFan3};
    let motion = known.motion.as_ref()?;
    let delta = matches!(motion.machine.kinematics, Kinematics::Delta { .. });
    let fan = match quantity {
        TimeFan0 | WeightedFan0 => Some(0),
        TimeFan1 | WeightedFan1 => Some(1),
        TimeFan2 | WeightedFan2 => Some(2),
        TimeFan3 | WeightedFan3 => Some(3),
        _ => None,
    };
    match (quantity, fan) {
        (BeltC | ReversalsC | TurnsC, _) if !delta => Some("only a delta has a motor c".to_owned()),
        (TurnsScrew, _) if motion.machine.drive.screw_lead.is_none() => Some("it has no screw_lead_mm".to_owned()),
        (_, Some(fan)) if motion.fans.len() <= fan => Some(format!("\"fans\" has no fan {fan}")),
        _ => None,
    }
}

fn counts(value: &Value<'_>) -> Option<Vec<(String, f64)>> {
    all(value.entries()?.iter().map(|(key, value)| count(key, value)))
}

fn count(key: &Entry<'_>, value: &Value<'_>) -> Option<(String, f64)> {
    let weight = value.positive();
    if MaterialClass::from_name(key.name).is_none() && Materials::built_in().get(key.name).is_none() {
        let classes = MaterialClass::ALL.iter().map(|class| class.name());
        let names: Vec<&str> = classes.chain(Materials::built_in().iter().map(|info| info.name.as_str())).collect();
        let found = format!("there is no material or class of material \"{}\"", key.name);
        value.report.add_unknown(&key.span, found, key.name, names);
        return None;
    }
    Some((key.name.to_owned(), weight?))
}
