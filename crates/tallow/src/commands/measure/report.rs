//! What a measurement tells, as plain data: figures with their uncertainty, what they mean and what to do next.

use signal::Estimate;
use upkeep::build::SignalWord;
use upkeep::fault::{Measured, measured::What};

use crate::chart::Chart;

/// A figure.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Figure {
    /// What was measured.
    pub(crate) what: String,
    /// The position of which it tells, where that is known.
    pub(crate) at: Option<String>,
    pub(crate) value: f64,
    /// Its standard uncertainty, in the same unit; 0 for what was counted.
    pub(crate) uncertainty: f64,
    pub(crate) unit: &'static str,
}

/// A period of the build that a spacing agrees with.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Fit {
    /// What comes back as often: `belt tooth`.
    pub(crate) what: &'static str,
    /// Its position, where the build has one.
    pub(crate) at: Option<String>,
    /// The period, mm.
    pub(crate) period_mm: f64,
    /// Which of its harmonics: 1 for the period itself.
    pub(crate) harmonic: u32,
    /// How far the spacing is off, in standard uncertainties.
    pub(crate) off: f64,
}

/// What a measurement tells.
#[derive(Clone, Debug)]
pub(crate) struct Report {
    pub(crate) title: String,
    /// The result, which is what is recorded.
    pub(crate) result: Figure,
    /// What else was found.
    pub(crate) others: Vec<Figure>,
    /// What of it may answer checks of a fault.
    pub(crate) measured: Vec<Measured>,
    /// Only of marks: the periods that fit, the nearest first.
    pub(crate) fits: Vec<Fit>,
    /// What can hurt; stands before what to do next.
    pub(crate) cautions: Vec<(SignalWord, &'static str)>,
    /// What the figures mean, in sentences.
    pub(crate) means: Vec<String>,
    /// What to do next, in sentences.
    pub(crate) next: Vec<String>,
    pub(crate) chart: Option<Chart>,
}

impl Figure {
    pub(crate) fn new(what: impl Into<String>, at: Option<&str>, found: Estimate, unit: &'static str) -> Figure {
        let Estimate { value, uncertainty, .. } = found;
        Figure { what: what.into(), at: at.map(str::to_owned), value, uncertainty, unit }
    }

    /// `29.9 ± 1.3 N`.
    pub(crate) fn words(&self) -> String {
        words(self.value, self.uncertainty, self.unit)
    }
}

/// A figure as faults weigh it.
pub(crate) fn found_by(what: What, at: Option<&str>, found: Estimate) -> Measured {
    Measured { what, at: at.map(str::to_owned), value: found.value, uncertainty: found.uncertainty }
}

/// An estimate without its sign: of what has a size and no direction.
pub(crate) fn size(found: Estimate) -> Estimate {
    Estimate { value: found.value.abs(), ..found }
}

/// An estimate in another unit.
pub(crate) fn times(found: Estimate, factor: f64) -> Estimate {
    Estimate { value: factor * found.value, uncertainty: factor.abs() * found.uncertainty, ..found }
}

/// What was counted.
pub(crate) fn counted(count: usize) -> Estimate {
    Estimate { value: count as f64, uncertainty: 0.0, degrees_of_freedom: f64::INFINITY }
}

/// A figure in words with its uncertainty and unit: `29.9 ± 1.3 N`.
pub(crate) fn words(value: f64, uncertainty: f64, unit: &str) -> String {
    let (value, doubt) = digits(value, uncertainty);
    let doubt = doubt.map_or_else(String::new, |doubt| format!(" ± {doubt}"));
    format!("{value}{doubt} {unit}").trim_end().to_owned()
}

/// A value and its uncertainty with the digits that they deserve: two of the uncertainty, or of the value where there is none
/// five (GUM 7.2.6).
pub(crate) fn digits(value: f64, uncertainty: f64) -> (String, Option<String>) {
    let deserved = |of: f64, digits: i32| (digits - 1 - of.abs().log10().floor() as i32).clamp(0, 9) as usize;
    let fixed = |places: usize| {
        let text = format!("{value:.places$}");
        // Rounding may leave a sign before nought.
        if text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.')) {
            text.trim_start_matches('-').to_owned()
        } else {
            text
        }
    };
    if 0.0 < uncertainty {
        let places = deserved(uncertainty, 2);
        return (fixed(places), Some(format!("{uncertainty:.places$}")));
    }
    if value.fract().abs() <= 0.0 { (fixed(0), None) } else { (fixed(deserved(value, 5)), None) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_has_no_more_digits_than_its_uncertainty_deserves() {
        // GUM 7.2.6: two digits of the uncertainty, the value to the same place.
        for (value, uncertainty, told) in [
            (29.873, 1.274, "29.9 ± 1.3 N"),
            (81.2973, 0.00841, "81.2973 ± 0.0084 N"),
            (1234.6, 128.0, "1235 ± 128 N"),
            (-0.0004, 0.02, "0.000 ± 0.020 N"),
            (3.0, 0.0, "3 N"),
            (2.345_678, 0.0, "2.3457 N"),
        ] {
            assert_eq!(words(value, uncertainty, "N"), told);
        }
        assert_eq!(words(2.0, 0.0, ""), "2");
    }
}
