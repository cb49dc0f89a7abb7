//! Amounts as people write them: `250 km`, `10 spools`, `1 month`, `5 ml`.
//!
//! Inside, an amount is a plain number in the SI unit of its quantity. These functions are the edge.

use std::fmt;

use motion::{Quantity, Unit};

use crate::nearest;

/// The largest amount that can be written, in the quantity's SI unit. Keeps sums of whole grains far from overflow.
const LARGEST: f64 = 1e9;

/// Why a text is not an amount.
#[derive(Clone, Debug, PartialEq)]
pub enum AmountError {
    /// It does not begin with a plain decimal number.
    NotANumber {
        /// The text.
        found: String,
    },
    /// The number is larger than any that makes sense.
    TooLarge {
        /// The text.
        found: String,
    },
    /// No unit follows the number.
    NoUnit {
        /// The text.
        found: String,
        /// Units that would fit.
        allowed: Vec<&'static str>,
    },
    /// The unit is not known, or does not fit.
    WrongUnit {
        /// The unit found.
        found: String,
        /// What was to be measured.
        of: String,
        /// Units that would fit.
        allowed: Vec<&'static str>,
    },
    /// A span of the calendar is not whole.
    NotWhole {
        /// The text.
        found: String,
    },
}

impl AmountError {
    /// What was found.
    pub fn found(&self) -> String {
        match self {
            AmountError::NotANumber { found } => format!("\"{found}\" does not begin with a number"),
            AmountError::TooLarge { found } => format!("\"{found}\" is too large"),
            AmountError::NoUnit { found, .. } => format!("\"{found}\" has no unit"),
            AmountError::WrongUnit { found, of, .. } => format!("\"{found}\" is not a unit of {of}"),
            AmountError::NotWhole { found } => {
                format!("\"{found}\" is not a whole number of days, weeks, months or years")
            }
        }
    }

    /// What is allowed.
    pub fn help(&self) -> String {
        match self {
            AmountError::NotANumber { .. } => {
                "write a decimal number with a point and then the unit, for example 2.5 km".to_owned()
            }
            AmountError::TooLarge { .. } => {
                format!("the largest amount is {LARGEST:.0} in SI units, the longest span a century")
            }
            AmountError::NoUnit { allowed, .. } | AmountError::WrongUnit { allowed, .. } => {
                format!("allowed here: {}", allowed.join(", "))
            }
            AmountError::NotWhole { .. } => "write it in a smaller unit, for example 10 days".to_owned(),
        }
    }

    /// The unit that was probably meant.
    pub fn nearest(&self) -> Option<&'static str> {
        match self {
            AmountError::WrongUnit { found, allowed, .. } => nearest(found, allowed.iter().copied()),
            _ => None,
        }
    }
}

impl fmt::Display for AmountError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.found(), self.help())
    }
}

impl std::error::Error for AmountError {}

/// A unit as written, and its size in the SI unit.
type Written = (&'static str, f64);

/// The units in which `unit` may be written, from small to large; those of [`print`] come from the same list.
fn written(unit: Unit) -> &'static [Written] {
    match unit {
        Unit::Metre => &[("mm", 1e-3), ("m", 1.0), ("km", 1e3)],
        Unit::Second => &[("s", 1.0), ("min", 60.0), ("h", 3600.0)],
        Unit::Kilogram => &[("mg", 1e-6), ("g", 1e-3), ("kg", 1.0)],
        Unit::CubicMetre => &[("mm3", 1e-9), ("cm3", 1e-6)],
        Unit::CubicMetrePerSecond => &[("mm3/s", 1e-9)],
        Unit::Turn => &[("turns", 1.0)],
        Unit::Count => &[("times", 1.0)],
    }
}

/// A spool by convention, kg.
const SPOOL: Written = ("spools", 1.0);

/// The units in which `quantity` may be written.
fn units_of(quantity: Quantity) -> Vec<Written> {
    let mut units = written(quantity.unit()).to_vec();
    if quantity == Quantity::FilamentMass {
        units.push(SPOOL);
    }
    units
}

/// Parses an amount of `quantity`: a decimal number and a unit. Answers in the quantity's SI unit; may be negative.
/// A count needs no unit.
///
/// # Errors
/// If the text has no number, no unit, or one that does not fit the quantity.
///
/// # Example
/// ```
/// use motion::Quantity;
/// assert_eq!(upkeep::amount::parse("2.5 km", Quantity::TravelX), Ok(2500.0));
/// assert_eq!(upkeep::amount::parse("3 spools", Quantity::FilamentMass), Ok(3.0));
/// assert!(upkeep::amount::parse("2.5 h", Quantity::TravelX).is_err());
/// ```
pub fn parse(text: &str, quantity: Quantity) -> Result<f64, AmountError> {
    let (number, unit) = split(text)?;
    let units = units_of(quantity);
    let allowed = || units.iter().map(|(name, _)| *name).collect();
    let size = match unit {
        "" if quantity.unit() == Unit::Count => 1.0,
        "" => return Err(AmountError::NoUnit { found: text.to_owned(), allowed: allowed() }),
        unit => units.iter().find(|(name, _)| says(unit, name)).map(|(_, size)| *size).ok_or_else(|| {
            AmountError::WrongUnit { found: unit.to_owned(), of: format!("\"{quantity}\""), allowed: allowed() }
        })?,
    };
    bounded(text, number * size)
}

/// Whether `text` counts spools.
pub fn is_spools(text: &str) -> bool {
    split(text).is_ok_and(|(_, unit)| says(unit, SPOOL.0))
}

/// A span of the calendar, as `1 month`, `2 weeks`, `10 days`, `1 year`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// Calendar months.
    pub months: u16,
    /// Days on top.
    pub days: u16,
}

/// Units of the calendar, with their months and days.
const CALENDAR: [(&str, u16, u16); 4] = [("days", 0, 1), ("weeks", 0, 7), ("months", 1, 0), ("years", 12, 0)];

/// Whether `text` names a unit of the calendar after its number.
pub fn is_span(text: &str) -> bool {
    split(text).is_ok_and(|(_, unit)| CALENDAR.iter().any(|(name, ..)| says(unit, name)))
}

/// Parses a span of the calendar.
///
/// # Errors
/// If it is not a whole number of days, weeks, months or years, or more than a century.
pub fn parse_span(text: &str) -> Result<Span, AmountError> {
    let (number, unit) = split(text)?;
    let found = || text.to_owned();
    let allowed = || CALENDAR.map(|(name, ..)| name).to_vec();
    let &(_, months, days) = CALENDAR.iter().find(|(name, ..)| says(unit, name)).ok_or_else(|| match unit {
        "" => AmountError::NoUnit { found: found(), allowed: allowed() },
        unit => AmountError::WrongUnit { found: unit.to_owned(), of: "calendar time".to_owned(), allowed: allowed() },
    })?;
    if number < 0.0 || number.fract() != 0.0 {
        return Err(AmountError::NotWhole { found: found() });
    }
    let scaled = |each: u16, most: f64| Some(number * f64::from(each)).filter(|all| *all <= most).map(|all| all as u16);
    match (scaled(months, 1200.0), scaled(days, 36_525.0)) {
        (Some(months), Some(days)) => Ok(Span { months, days }),
        _ => Err(AmountError::TooLarge { found: found() }),
    }
}

/// Parses an amount of a supply that is counted in `unit`: `ml`, `g`, or empty for pieces.
///
/// # Errors
/// If the text has no number, or a unit other than `unit`.
pub fn parse_supply(text: &str, unit: &str) -> Result<f64, AmountError> {
    let (number, found) = split(text)?;
    let allowed = || match unit {
        "ml" => vec!["ml"],
        "g" => vec!["g"],
        _ => vec!["pieces"],
    };
    if found == unit || (unit.is_empty() && says(found, "pieces")) {
        bounded(text, number)
    } else if found.is_empty() {
        Err(AmountError::NoUnit { found: text.to_owned(), allowed: allowed() })
    } else {
        Err(AmountError::WrongUnit { found: found.to_owned(), of: "this supply".to_owned(), allowed: allowed() })
    }
}

/// Parses a measured value with the unit in which it was read, whatever that is: `110 Hz`, `0.15 mm`, `3`. Answers the
/// number as written, and the unit, which may be empty.
///
/// # Errors
/// If the text has no number, or the number goes on with an exponent or in another base.
///
/// # Example
/// ```
/// assert_eq!(upkeep::amount::parse_measured("110 Hz"), Ok((110.0, "Hz".to_owned())));
/// assert!(upkeep::amount::parse_measured("1e5 mm").is_err());
/// ```
pub fn parse_measured(text: &str) -> Result<(f64, String), AmountError> {
    let (number, unit) = split(text)?;
    let goes_on = unit
        .strip_prefix(['e', 'E', 'x', 'X'])
        .is_some_and(|rest| rest.starts_with(|c: char| "+-0123456789".contains(c)));
    if goes_on {
        return Err(AmountError::NotANumber { found: text.to_owned() });
    }
    Ok((bounded(text, number)?, unit.trim_end().to_owned()))
}

/// Whether `unit` is the unit called `name`, in the plural or the singular.
fn says(unit: &str, name: &str) -> bool {
    unit == name || (name.len() > 2 && name.strip_suffix('s') == Some(unit))
}

/// Splits the number from the unit. The number has digits, at most one point and perhaps a sign: no exponents, no
/// infinities.
fn split(text: &str) -> Result<(f64, &str), AmountError> {
    let trimmed = text.trim();
    let end = trimmed.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+'))).unwrap_or(trimmed.len());
    let (number, unit) = trimmed.split_at(end);
    if unit.starts_with(',') {
        return Err(AmountError::NotANumber { found: text.to_owned() });
    }
    match number.parse::<f64>() {
        Ok(number) => Ok((number, unit.trim_start())),
        Err(_) => Err(AmountError::NotANumber { found: text.to_owned() }),
    }
}

/// Refuses what is beyond [`LARGEST`].
fn bounded(text: &str, amount: f64) -> Result<f64, AmountError> {
    if amount.abs() <= LARGEST { Ok(amount) } else { Err(AmountError::TooLarge { found: text.to_owned() }) }
}

/// Prints an amount of `quantity` in the unit that reads best, to three significant digits; counts whole.
///
/// # Example
/// ```
/// use motion::Quantity;
/// assert_eq!(upkeep::amount::print(95_000.0, Quantity::TravelX), "95 km");
/// assert_eq!(upkeep::amount::print(44_640.0, Quantity::TimeHot), "12.4 h");
/// assert_eq!(upkeep::amount::print(0.022, Quantity::FilamentMass), "22 g");
/// ```
pub fn print(amount: f64, quantity: Quantity) -> String {
    let units = written(quantity.unit());
    if quantity.unit() == Unit::Count {
        return with_unit(whole(amount), units[0].0);
    }
    let reads = |size: f64| three_digits(amount / size).abs() >= 1.0;
    let &(name, size) = units.iter().rev().find(|(_, size)| reads(*size)).unwrap_or(&units[0]);
    with_unit(digits(amount / size), name)
}

/// Prints how much of an allowance is used, in the unit in which `allowance` is written; a count needs none.
///
/// # Example
/// ```
/// use motion::Quantity;
/// assert_eq!(upkeep::amount::print_out_of(24_140.0, Quantity::TravelX, "25 km"), "24.1 of 25 km");
/// assert_eq!(upkeep::amount::print_out_of(9.0, Quantity::HeatCyclesBed, "15 times"), "9 of 15");
/// ```
pub fn print_out_of(so_far: f64, quantity: Quantity, allowance: &str) -> String {
    let written = split(allowance).ok().and_then(|(number, unit)| {
        let size = units_of(quantity).into_iter().find(|(name, _)| says(unit, name))?.1;
        Some((number, unit, size))
    });
    match written {
        Some((number, _, _)) if quantity.unit() == Unit::Count => format!("{} of {number}", whole(so_far)),
        Some((number, unit, size)) => format!("{} of {number} {unit}", digits(so_far / size)),
        None => format!("{} of {allowance}", print(so_far, quantity)),
    }
}

/// A printed number with its unit, in the singular for one.
fn with_unit(number: String, unit: &str) -> String {
    match unit.strip_suffix('s') {
        Some(singular) if number == "1" && unit.len() > 2 => format!("{number} {singular}"),
        _ => format!("{number} {unit}"),
    }
}

/// A number rounded to three significant digits; whole from 1000 on. Nought has no sign.
fn three_digits(number: f64) -> f64 {
    let places = places(number);
    (number * 10f64.powi(places)).round() / 10f64.powi(places) + 0.0
}

/// A count as text; nought has no sign.
fn whole(count: f64) -> String {
    (count.round() + 0.0).to_string()
}

/// Decimal places that give three significant digits, never fewer than none.
fn places(number: f64) -> i32 {
    if number == 0.0 { 0 } else { (2 - number.abs().log10().floor() as i32).clamp(0, 12) }
}

/// Three significant digits as text, without idle noughts.
fn digits(number: f64) -> String {
    three_digits(number).to_string()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn units_are_read_in_the_singular_too() {
        assert_eq!(parse("1 spool", Quantity::FilamentMass), Ok(1.0));
        assert_eq!(parse_span("1 month"), Ok(Span { months: 1, days: 0 }));
        assert_eq!(parse("1 time", Quantity::Retractions), Ok(1.0));
    }

    #[test]
    fn an_hour_is_not_a_length() {
        let error = parse("3 h", Quantity::TravelX).unwrap_err();
        assert_eq!(error.to_string(), "\"h\" is not a unit of \"travel x\" (allowed here: mm, m, km)");
    }

    #[test]
    fn exponents_infinities_and_decimal_commas_are_refused() {
        for text in ["1e3 km", "inf km", "NaN km", "2,5 km", "", "km", "--1 m", "1.2.3 m"] {
            assert!(parse(text, Quantity::TravelX).is_err(), "{text}");
        }
    }

    #[test]
    fn an_amount_beyond_any_machine_is_refused() {
        let nines = "9".repeat(400);
        for text in [format!("{nines} km"), "1000001 km".to_owned()] {
            assert!(matches!(parse(&text, Quantity::TravelX), Err(AmountError::TooLarge { .. })), "{text}");
        }
    }

    #[test]
    fn rounding_that_carries_over_changes_the_unit() {
        assert_eq!(print(999.7, Quantity::TravelX), "1 km");
        assert_eq!(print(59.99, Quantity::TimeHot), "1 min");
    }

    #[test]
    fn weeks_are_days_and_years_are_months() {
        let spans = [("1 day", 0, 1), ("2 weeks", 0, 14), ("5 months", 5, 0), ("2 years", 24, 0)];
        for (text, months, days) in spans {
            assert_eq!(parse_span(text), Ok(Span { months, days }));
        }
    }

    #[test]
    fn half_a_month_and_two_centuries_are_refused() {
        assert!(matches!(parse_span("0.5 months"), Err(AmountError::NotWhole { .. })));
        assert!(matches!(parse_span("200 years"), Err(AmountError::TooLarge { .. })));
    }

    #[test]
    fn nought_is_printed_without_a_sign() {
        for (so_far, expected) in [(-0.0, "0 of 1000"), (-0.2, "0 of 1000")] {
            assert_eq!(print_out_of(so_far, Quantity::Retractions, "1000 times"), expected);
        }
        assert_eq!(print_out_of(-0.0, Quantity::TravelX, "25 km"), "0 of 25 km");
        assert_eq!(print(-0.0, Quantity::Retractions), "0 times");
        assert_eq!(print(-0.0, Quantity::TravelX), "0 mm");
        assert_eq!(print(-1e-30, Quantity::TravelX), "0 mm");
    }

    proptest! {
        #[test]
        fn what_is_printed_is_read_back_to_half_of_its_last_digit(
            index in 0..Quantity::COUNT, exponent in -3.0..6.0f64,
        ) {
            let quantity = Quantity::ALL[index];
            let smallest = written(quantity.unit())[0].1;
            let amount = 10f64.powf(exponent) * smallest;
            let read = parse(&print(amount, quantity), quantity).unwrap();
            let slack = match quantity.unit() {
                Unit::Count => 0.5,
                _ => amount * 0.005,
            };
            prop_assert!((read - amount).abs() <= slack * (1.0 + 1e-9), "{amount} {}", print(amount, quantity));
        }

        #[test]
        fn no_text_makes_parsing_panic(text in ".{0,40}") {
            let _ = parse(&text, Quantity::TravelX);
            let _ = parse_span(&text);
            let _ = parse_supply(&text, "ml");
        }
    }
}
