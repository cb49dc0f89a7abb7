//! How much of something, as people write it with or without a quantity: `340 km` of travel, or `6 weeks`.

use motion::{AddsUp, Quantity};

use crate::Unknown;
use crate::amount::{self, AmountError};
use crate::build::Allowance;

/// Why a text does not say how much.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MeasureError {
    /// Nothing is metered by that name.
    #[error(transparent)]
    NoSuchQuantity(#[from] Unknown),
    /// The quantity has no sum.
    #[error("\"{quantity}\" never adds up: it is the largest amount of any move\n  choose another quantity")]
    NeverAddsUp {
        /// The quantity.
        quantity: Quantity,
    },
    /// The amount can't be read.
    #[error("{}\n  {}", .0.found(), .0.help())]
    Amount(#[from] AmountError),
}

/// Reads an amount of the quantity called `of`, or without one a span of the calendar.
///
/// # Errors
/// [`MeasureError`]: there is no such quantity, it has no sum, or the text is no amount of it. An amount may be negative.
///
/// # Example
/// ```
/// use motion::Quantity;
/// use upkeep::build::Allowance;
/// let travel = Allowance::Amount { quantity: Quantity::TravelX, amount: 340e3 };
/// assert_eq!(upkeep::measure::read(Some("travel x"), "340 km"), Ok(travel));
/// assert_eq!(upkeep::measure::read(None, "6 weeks"), Ok(Allowance::Elapsed { months: 0, days: 42 }));
/// assert!(upkeep::measure::read(Some("travel"), "340 km").is_err());
/// ```
pub fn read(of: Option<&str>, text: &str) -> Result<Allowance, MeasureError> {
    let Some(name) = of else {
        let amount::Span { months, days } = amount::parse_span(text)?;
        return Ok(Allowance::Elapsed { months, days });
    };
    let quantity = *Unknown::find("quantity", name, Quantity::ALL, |quantity| quantity.name())?;
    if quantity.adds_up() == AddsUp::Largest {
        return Err(MeasureError::NeverAddsUp { quantity });
    }
    Ok(Allowance::Amount { quantity, amount: amount::parse(text, quantity)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn refused(of: Option<&str>, text: &str, part: &str) {
        let error = read(of, text).expect_err("this can't be read").to_string();
        assert!(error.contains(part), "{error}");
    }

    #[test]
    fn what_is_no_amount_of_a_quantity_is_refused_with_what_would_be() {
        refused(Some("travle x"), "3 km", "did you mean travel x?");
        refused(Some("travel x"), "3 h", "mm, m, km");
        refused(Some("peak flow"), "3 mm3/s", "never adds up");
        refused(None, "3 km", "days, weeks, months, years");
        refused(None, "half a year", "does not begin with a number");
    }
}
