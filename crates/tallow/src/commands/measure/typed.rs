//! Amounts as they are typed, with their uncertainty where one is given: `420 mm`, `420 ± 1 mm`.

use signal::Estimate;
use upkeep::amount;
use upkeep::periods::Line;

use super::refused;
use crate::trouble::Trouble;

/// Units in which something may be typed, and how many of the first each has.
type Units = &'static [(&'static str, f64)];

pub(super) const LENGTH: Units = &[("mm", 1.0), ("cm", 10.0), ("m", 1000.0)];
pub(super) const MASS: Units = &[("g", 1.0), ("mg", 1e-3), ("kg", 1e3)];
pub(super) const MASS_PER_LENGTH: Units = &[("g/m", 1.0)];

/// The standard uncertainty of what was typed without one.
#[derive(Clone, Copy, Debug)]
pub(super) enum Doubt {
    /// In the first unit.
    Of(f64),
    /// As a share of the value.
    Share(f64),
}

/// The amount of an option, in the first of its units.
///
/// # Errors
/// What is no number, has no unit or another; the option is named.
pub(super) fn amount(option: &str, text: &str, units: Units, doubt: Doubt) -> Result<Estimate, Trouble> {
    let example = format!("write a number and its unit, {}: --{option} \"8.5 {}\"", names(units), units[0].0);
    let wrong = |why: &str| Trouble::refused(format!("--{option} \"{text}\" {why}")).help(example.clone());
    let measured = |text: &str| amount::parse_measured(text).map_err(|_| wrong("is no amount"));
    let parted = text.split_once('±').or_else(|| text.split_once("+-"));
    let (value, own_doubt, unit) = match parted {
        None => {
            let (value, unit) = measured(text)?;
            (value, None, unit)
        }
        Some((value, doubt)) => {
            let ((value, own), (doubt, unit)) = (measured(value)?, measured(doubt)?);
            if !own.is_empty() && own != unit {
                return Err(wrong("has two units"));
            }
            (value, Some(doubt), unit)
        }
    };
    if unit.is_empty() {
        return Err(wrong("has no unit"));
    }
    let size = units.iter().find(|(name, _)| *name == unit).map(|(_, size)| *size);
    let size = size.ok_or_else(|| wrong(&format!("is in \"{unit}\", which does not fit")))?;
    let value = value * size;
    let uncertainty = match (own_doubt, doubt) {
        (Some(own), _) => own * size,
        (None, Doubt::Of(doubt)) => doubt,
        (None, Doubt::Share(share)) => share * value.abs(),
    };
    Estimate::new(value, uncertainty).map_err(|error| refused(&error).help(example.clone()))
}

fn names(units: Units) -> String {
    let names: Vec<&str> = units.iter().map(|(name, _)| *name).collect();
    names.join(" or ")
}

/// A line's cross-section: `0.45 x 0.2 mm`.
///
/// # Errors
/// What is no such thing, or no line that can be.
pub(super) fn line(text: &str) -> Result<Line, Trouble> {
    let example = "write its width and height: --line \"0.45 x 0.2 mm\"";
    let wrong = || Trouble::refused(format!("--line \"{text}\" is no width and height")).help(example);
    let (width, height) = text.split_once(['x', '×']).ok_or_else(wrong)?;
    let (width, width_unit) = amount::parse_measured(width).map_err(|_| wrong())?;
    let (height, unit) = amount::parse_measured(height).map_err(|_| wrong())?;
    if unit != "mm" || !(width_unit.is_empty() || width_unit == "mm") {
        return Err(Trouble::refused(format!("--line \"{text}\" is not in mm")).help(example));
    }
    Line::new(width, height).map_err(|error| Trouble::from_text(&error.to_string()))
}

/// The two figures of an option.
///
/// # Errors
/// Fewer or more than two.
pub(super) fn two(option: &str, values: &[f64], example: &str) -> Result<[f64; 2], Trouble> {
    values.try_into().map_err(|_| {
        Trouble::refused(format!("--{option} has {} values, but needs two", values.len()))
            .help(format!("part them by a comma: --{option} {example}"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_amount_has_its_unit_and_its_own_uncertainty_or_the_usual_one() {
        let read = |text: &str| amount("span", text, LENGTH, Doubt::Of(2.0)).map(|e| (e.value, e.uncertainty));
        assert_eq!(read("420 mm"), Ok((420.0, 2.0)));
        for text in ["420 ± 1 mm", "42 ± 0.1 cm", "420 mm +- 1 mm", "420±1mm"] {
            assert_eq!(read(text), Ok((420.0, 1.0)), "{text}");
        }
        let share = amount("mass", "8 g/m", MASS_PER_LENGTH, Doubt::Share(0.02)).unwrap();
        assert!((share.uncertainty - 0.16).abs() < 1e-12);
        for wrong in ["420", "420 Hz", "long", "", "±", "420 ± mm", "420 cm ± 1 mm", "420 ± -1 mm", "4e2 mm"] {
            let trouble = read(wrong).unwrap_err();
            assert!(trouble.to_string().contains("mm"), "{trouble}");
        }
    }

    #[test]
    fn a_line_has_a_width_and_a_height() {
        for text in ["0.45 x 0.2 mm", "0.45x0.2mm", "0.45 mm × 0.2 mm"] {
            assert_eq!(line(text), Ok(Line::new(0.45, 0.2).unwrap()), "{text}");
        }
        for text in ["0.45", "0.45 x 0.2", "0.2 x 0.45 mm", "0.45 x 0.2 cm", "x", "0.45 in x 0.2 mm"] {
            assert!(line(text).is_err(), "{text}");
        }
    }
}
