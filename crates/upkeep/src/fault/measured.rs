//! What a measurement says of the checks that it answers.
//!
//! # Formula
//! The chance that what was measured lies beyond the limit: Φ((limit − value)/s) below it and Φ((value − limit)/s) above it,
//! s² = u² + (0.1 · limit)². Limits are common practice and hold for no machine exactly, so that each has a standard
//! uncertainty of a tenth of itself; and since something else may have been measured than was meant, no answer is surer than
//! [`SUREST`]. Both are judgement, no source.

use life::normal_cdf;

use super::Faults;

/// The standard uncertainty of a limit, as a share of it. Judgement, no source.
const OF_LIMIT: f64 = 0.1;

/// The surest that a measurement makes an answer; the least sure is 1 less that. Judgement, no source.
pub const SUREST: f64 = 0.98;

/// What can be measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// The force in a belt's free span.
    BeltTension,
    /// The tone of a belt's free span.
    BeltTone,
    /// How far the belts of a pair differ in tension, of their mean.
    BeltDifference,
    /// The difference of a place reached from both sides.
    Backlash,
    /// How far two axes are from a right angle, whichever way.
    OutOfSquare,
    /// How much less filament came than was asked for.
    Shortfall,
    /// How fast that grows with the flow: its slope in the slope's standard uncertainties.
    ShortfallGrowth,
    /// How far the spacing of marks is from the position's own period, in standard uncertainties.
    MarkMisfit,
    /// How far a held temperature is from what was asked for, whichever way.
    SteadyError,
    /// The amplitude of a temperature that swings.
    TemperatureSwing,
    /// How much longer heating takes than it did.
    SlowerHeating,
    /// How often a temperature jumped faster than it can change.
    TemperatureJumps,
    /// How often a heater was cut off.
    HeaterCutOuts,
    /// How far a resonance moved since the last log, whichever way.
    ResonanceMoved,
}

impl What {
    /// Everything that can be measured.
    pub const ALL: [What; 14] = [
        What::BeltTension,
        What::BeltTone,
        What::BeltDifference,
        What::Backlash,
        What::OutOfSquare,
        What::Shortfall,
        What::ShortfallGrowth,
        What::MarkMisfit,
        What::SteadyError,
        What::TemperatureSwing,
        What::SlowerHeating,
        What::TemperatureJumps,
        What::HeaterCutOuts,
        What::ResonanceMoved,
    ];

    /// The words that files and screens use.
    pub const fn name(self) -> &'static str {
        self.words().0
    }

    /// The unit in which it is told.
    pub const fn unit(self) -> &'static str {
        self.words().1
    }

    const fn words(self) -> (&'static str, &'static str) {
        match self {
            What::BeltTension => ("belt tension", "N"),
            What::BeltTone => ("belt tone", "Hz"),
            What::BeltDifference => ("difference between belts", "%"),
            What::Backlash => ("backlash", "mm"),
            What::OutOfSquare => ("out of square", "degrees"),
            What::Shortfall => ("filament shortfall", "%"),
            What::ShortfallGrowth => ("shortfall growing with flow", "standard deviations"),
            What::MarkMisfit => ("mark misfit", "standard deviations"),
            What::SteadyError => ("steady error", "degC"),
            What::TemperatureSwing => ("temperature swing", "degC"),
            What::SlowerHeating => ("heat-up slower than before", "%"),
            What::TemperatureJumps => ("temperature jumps", "count"),
            What::HeaterCutOuts => ("heater cut-outs", "count"),
            What::ResonanceMoved => ("resonance moved", "%"),
        }
    }
}

/// Where a measurement answers a check with yes: below one limit, above the other, or both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// What is measured.
    pub what: What,
    /// Yes below this, in the unit of `what`.
    pub below: Option<f64>,
    /// Yes above this, in the unit of `what`.
    pub above: Option<f64>,
}

impl Limits {
    /// The chance that a value with this standard uncertainty means yes.
    pub fn chance(&self, value: f64, uncertainty: f64) -> f64 {
        let beyond = |limit: f64, by: f64| normal_cdf(by / uncertainty.hypot(OF_LIMIT * limit));
        let below = self.below.map_or(0.0, |limit| beyond(limit, limit - value));
        let above = self.above.map_or(0.0, |limit| beyond(limit, value - limit));
        (below + above).clamp(1.0 - SUREST, SUREST)
    }
}

/// Something that was measured.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// What.
    pub what: What,
    /// The position at which it was measured; `None` for the whole machine.
    pub at: Option<String>,
    /// The value, finite, in the unit of `what`.
    pub value: f64,
    /// Its standard uncertainty, finite and not negative, in the same unit.
    pub uncertainty: f64,
}

/// The checks that it answers, by their place, and with what chance the answer is yes
/// ([`Answer::Likely`](super::Answer::Likely)): those at its position, and those that are made on the whole machine.
pub fn answers(faults: &Faults, measured: &Measured) -> Vec<(usize, f64)> {
    let answered = |check: &super::Check| {
        let limits = check.measured.filter(|limits| limits.what == measured.what)?;
        let is_here = check.at.is_none() || check.at == measured.at;
        is_here.then(|| limits.chance(measured.value, measured.uncertainty))
    };
    faults.checks.iter().enumerate().filter_map(|(place, check)| Some((place, answered(check)?))).collect()
}

#[cfg(test)]
mod tests {
    use super::{Limits, What};

    #[track_caller]
    fn check(below: Option<f64>, above: Option<f64>, value: f64, uncertainty: f64, expected: f64) {
        let got = Limits { what: What::BeltTension, below, above }.chance(value, uncertainty);
        assert!((got - expected).abs() < 5e-5, "{got} for {expected}");
    }

    // Φ(0) = 0.5, Φ(1) = 0.8413, Φ(2) = 0.9772, Φ(−1) = 0.1587: printed tables of the normal law.

    #[test]
    fn a_value_at_its_limit_says_nothing() {
        check(Some(30.0), None, 30.0, 0.0, 0.5);
        check(None, Some(30.0), 30.0, 7.0, 0.5);
    }

    #[test]
    fn the_limits_own_doubt_counts_beside_that_of_the_value() {
        // s is 3 N from the limit alone, and 5 N with 4 N of the value's.
        check(Some(30.0), None, 27.0, 0.0, 0.8413);
        check(Some(30.0), None, 25.0, 4.0, 0.8413);
        check(Some(30.0), None, 20.0, 4.0, 0.9772);
        check(None, Some(30.0), 25.0, 4.0, 0.1587);
    }

    #[test]
    fn no_measurement_makes_sure() {
        check(Some(30.0), None, 0.0, 0.0, 0.98);
        check(Some(30.0), None, 300.0, 0.0, 0.02);
    }

    #[test]
    fn of_two_limits_either_side_means_yes() {
        check(Some(30.0), Some(60.0), 27.0, 0.0, 0.8413);
        check(Some(30.0), Some(60.0), 66.0, 0.0, 0.8413);
        check(Some(30.0), Some(60.0), 42.0, 0.0, 0.02);
    }
}
