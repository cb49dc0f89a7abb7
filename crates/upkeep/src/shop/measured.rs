//! Amounts of what lies in stores: `100 ml`, `0.5 l`, `5 pieces`, `5`, `2 m`.

use super::ShopError;
use crate::amount;

/// How much of an item, in the unit in which such things are counted.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// How much.
    pub amount: f64,
    /// `ml`, `g`, empty for pieces, or another unit as typed.
    pub unit: String,
}

/// Units that are told in smaller ones, with how many of those they are.
const SMALLER: [(&str, &str, f64); 8] = [
    ("ml", "ml", 1.0),
    ("cl", "ml", 10.0),
    ("l", "ml", 1000.0),
    ("mg", "g", 0.001),
    ("g", "g", 1.0),
    ("kg", "g", 1000.0),
    ("piece", "", 1.0),
    ("pieces", "", 1.0),
];

impl Measured {
    /// Reads an amount; it may be negative.
    ///
    /// # Errors
    /// [`ShopError::Amount`] where the text begins with no number.
    ///
    /// # Example
    /// ```
    /// use upkeep::shop::Measured;
    /// let half_a_litre = Measured::parse("0.5 l").unwrap();
    /// assert_eq!((half_a_litre.amount, half_a_litre.unit.as_str()), (500.0, "ml"));
    /// ```
    pub fn parse(text: &str) -> Result<Measured, ShopError> {
        let (number, unit) = amount::parse_measured(text)?;
        let lower = unit.to_lowercase();
        match SMALLER.iter().find(|(name, ..)| *name == lower) {
            // Nought has no sign.
            Some((_, unit, each)) => Ok(Measured { amount: number * each + 0.0, unit: (*unit).to_owned() }),
            None => Ok(Measured { amount: number + 0.0, unit }),
        }
    }

    /// The amount, if it is told in `unit`.
    ///
    /// # Errors
    /// [`ShopError::OtherUnit`], which names the item.
    pub fn of(&self, item: &str, unit: &str) -> Result<f64, ShopError> {
        if self.unit == unit {
            return Ok(self.amount);
        }
        let named = |unit: &str| if unit.is_empty() { "pieces".to_owned() } else { unit.to_owned() };
        Err(ShopError::OtherUnit { item: item.to_owned(), kept: named(unit), found: named(&self.unit) })
    }
}

/// Reads an amount that must be more than 0, or at least 0 where it `may_be_none`; pieces must be whole.
pub(super) fn sensible(what: &'static str, text: &str, may_be_none: bool) -> Result<Measured, ShopError> {
    let read = Measured::parse(text)?;
    if read.unit.is_empty() && read.amount.fract() != 0.0 {
        return Err(ShopError::Broken { what, found: text.trim().to_owned() });
    }
    if 0.0 < read.amount || (may_be_none && read.amount == 0.0) {
        Ok(read)
    } else {
        Err(ShopError::TooLittle { what, found: text.trim().to_owned(), may_be_none })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, amount: f64, unit: &str) {
        let read = Measured::parse(text).unwrap();
        assert!((read.amount - amount).abs() < 1e-9 && read.unit == unit, "{text}: {read:?}");
    }

    #[test]
    fn litres_and_kilograms_are_told_in_what_tasks_use() {
        check("100 ml", 100.0, "ml");
        check("2.5 L", 2500.0, "ml");
        check("70cl", 700.0, "ml");
        check("0.4 kg", 400.0, "g");
        check("500 mg", 0.5, "g");
        check("5", 5.0, "");
        check("1 piece", 1.0, "");
        check("2 m", 2.0, "m");
        check("-3 ml", -3.0, "ml");
    }

    #[test]
    fn amounts_that_are_none_are_refused_and_a_count_may_be_nought() {
        for text in ["", "some", "1e3 ml", "2,5 ml"] {
            assert!(matches!(Measured::parse(text), Err(ShopError::Amount(_))), "{text}");
        }
        assert!(sensible("a count", "0", true).is_ok());
        assert!(sensible("a count", "-0", true).unwrap().amount.is_sign_positive());
        assert!(matches!(sensible("a count", "0.5 pieces", true), Err(ShopError::Broken { .. })));
        for (text, may_be_none) in [("0 ml", false), ("-1 ml", true)] {
            let error = sensible("a count", text, may_be_none).unwrap_err();
            assert!(matches!(error, ShopError::TooLittle { .. }), "{error}");
        }
    }

    #[test]
    fn another_unit_is_refused_with_the_right_one() {
        let error = Measured::parse("3 ml").unwrap().of("wipe", "").unwrap_err();
        assert_eq!(error.to_string(), "wipe is counted in pieces, not in ml\n  give the amount in pieces");
    }
}
