//! The table `[expected]`: use before there are records.

use motion::{AddsUp, Quantity};

use super::Expected;
use super::raw::{Entry, Section, Value};
use crate::amount;

/// The keys of the table.
pub(super) const KEYS: &[&str] = &["hours_per_week", "days_per_week", "per_hour"];

/// Reads the table.
pub(super) fn read(section: &Section<'_>) -> Option<Expected> {
    let hours = section.need("hours_per_week");
    let days_per_week = section.need("days_per_week").and_then(|value| value.between(1.0, 7.0));
    let per_hour = section.need("per_hour").map(|value| per_hour(&value));
    let hours_per_week = hours.as_ref().and_then(Value::positive);
    if let (Some(value), Some(hours), Some(days)) = (&hours, hours_per_week, days_per_week)
        && days * 24.0 < hours
    {
        value.refuse(
            format!("{hours} hours do not fit into {days} days"),
            "lower hours_per_week or raise days_per_week",
        );
        return None;
    }
    Some(Expected { hours_per_week: hours_per_week?, days_per_week: days_per_week?, per_hour: per_hour? })
}

/// The quantities, also those whose amount is wrong: a limit on one of them need not complain again.
fn per_hour(value: &Value<'_>) -> Vec<(Quantity, f64)> {
    let read = |(key, value): &(Entry<'_>, Value<'_>)| {
        let quantity = summed(key, value)?;
        Some((quantity, amount(quantity, value).unwrap_or(0.0)))
    };
    value.entries().unwrap_or_default().iter().filter_map(read).collect()
}

fn summed(key: &Entry<'_>, value: &Value<'_>) -> Option<Quantity> {
    let quantity = quantity(key.name, &key.span, value)?;
    if quantity.adds_up() == AddsUp::Sum {
        return Some(quantity);
    }
    value.report.add(&key.span, format!("\"{quantity}\" does not add up over hours"), "take the line out");
    None
}

fn amount(quantity: Quantity, value: &Value<'_>) -> Option<f64> {
    match amount::parse(value.text()?, quantity) {
        Ok(amount) if 0.0 <= amount => Some(amount),
        Ok(_) => {
            value.refuse(format!("\"{quantity}\" is less than 0"), "write 0 or more");
            None
        }
        Err(error) => {
            value.report.add_amount(&value.span, &error);
            None
        }
    }
}

/// The quantity called `name`, which stands at `span`.
pub(super) fn quantity(name: &str, span: &std::ops::Range<usize>, value: &Value<'_>) -> Option<Quantity> {
    let quantity = Quantity::from_name(name);
    if quantity.is_none() {
        let names = Quantity::ALL.iter().map(|quantity| quantity.name());
        value.report.add_unknown(span, format!("there is no quantity \"{name}\""), name, names);
    }
    quantity
}
