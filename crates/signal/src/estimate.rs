//! A figure with its standard uncertainty.
//!
//! JCGM 100:2008 (Guide to the expression of uncertainty in measurement, GUM): means of readings 4.2, propagation 5.1.2,
//! effective degrees of freedom G.4 (Welch–Satterthwaite).

use statrs::function::beta::beta_reg;

use crate::SignalError;
use crate::error::{at_least, finite};

/// The chance of calling two equal figures different: one in a hundred (judgement).
const DOUBT: f64 = 0.01;

/// A figure with its standard uncertainty, both in the unit that its name or its maker tells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The best value.
    pub value: f64,
    /// The standard uncertainty: one standard deviation.
    pub uncertainty: f64,
    /// How many degrees of freedom the uncertainty itself rests on; infinite where it is taken as known.
    pub degrees_of_freedom: f64,
}

impl Estimate {
    /// A value whose standard uncertainty is known.
    ///
    /// # Errors
    /// If either is not finite, or the uncertainty is negative.
    pub fn new(value: f64, uncertainty: f64) -> Result<Estimate, SignalError> {
        finite("the value", value)?;
        if !(0.0..f64::INFINITY).contains(&uncertainty) {
            return Err(SignalError::OutOfRange { what: "the uncertainty", got: uncertainty, from: 0.0, to: f64::MAX });
        }
        Ok(Estimate { value, uncertainty, degrees_of_freedom: f64::INFINITY })
    }

    /// The mean of readings, with its standard error.
    ///
    /// # Formula
    /// u = s / √n, with n − 1 degrees of freedom (GUM 4.2.3).
    ///
    /// # Errors
    /// If there are fewer than two, or one is not finite.
    pub fn mean(what: &'static str, readings: &[f64]) -> Result<Estimate, SignalError> {
        at_least(what, readings.len(), 2)?;
        for &reading in readings {
            finite(what, reading)?;
        }
        let n = readings.len() as f64;
        let value = readings.iter().sum::<f64>() / n;
        let variance = readings.iter().map(|reading| (reading - value).powi(2)).sum::<f64>() / (n - 1.0);
        Ok(Estimate { value, uncertainty: (variance / n).sqrt(), degrees_of_freedom: n - 1.0 })
    }

    /// The value as a share of itself that is in doubt; `None` at zero.
    pub fn relative(&self) -> Option<f64> {
        (self.value.abs() > 0.0).then(|| self.uncertainty / self.value.abs())
    }

    /// `self` less `other`; the two are independent.
    pub fn less(&self, other: &Estimate) -> Estimate {
        propagate(self.value - other.value, &[(1.0, *self), (-1.0, *other)])
    }

    /// The two-sided chance of a value as far from zero as this, were the truth zero (Student's t).
    ///
    /// # Formula
    /// p = I_x(ν/2, 1/2) with x = ν / (ν + t²); Abramowitz & Stegun (1964), 26.7.1.
    pub fn chance_of_nothing(&self) -> f64 {
        if self.value.abs() <= 0.0 {
            return 1.0;
        }
        if self.uncertainty <= 0.0 {
            return 0.0;
        }
        // Beyond a million degrees of freedom, Student's law is the normal one to six digits.
        let freedom = self.degrees_of_freedom.clamp(1.0, 1e6);
        let t = self.value / self.uncertainty;
        let x = freedom / (freedom + t * t);
        if x <= 0.0 { 0.0 } else { beta_reg(freedom / 2.0, 0.5, x.min(1.0)) }
    }

    /// Whether the value differs from zero beyond doubt: at a level of 1 %.
    pub fn beyond_doubt(&self) -> bool {
        self.chance_of_nothing() < DOUBT
    }
}

/// `value` with the uncertainties of independent inputs, each with its sensitivity ∂value/∂input.
pub(crate) fn propagate(value: f64, inputs: &[(f64, Estimate)]) -> Estimate {
    let variance: f64 = inputs.iter().map(|(slope, input)| (slope * input.uncertainty).powi(2)).sum();
    let fourth: f64 =
        inputs.iter().map(|(slope, input)| (slope * input.uncertainty).powi(4) / input.degrees_of_freedom).sum();
    let degrees_of_freedom = if 0.0 < fourth { variance * variance / fourth } else { f64::INFINITY };
    Estimate { value, uncertainty: variance.sqrt(), degrees_of_freedom }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chances_are_those_of_students_table() {
        // Abramowitz & Stegun (1964), table 26.10: two-sided 5 % at 4 and 1 % at 10 degrees of freedom; three decimals.
        for (t, degrees_of_freedom, chance) in [(2.776, 4.0, 0.05), (3.169, 10.0, 0.01), (1.960, f64::INFINITY, 0.05)] {
            let got = Estimate { value: t, uncertainty: 1.0, degrees_of_freedom }.chance_of_nothing();
            assert!((got - chance).abs() < 1e-4, "{t} {degrees_of_freedom}: {got}");
        }
    }

    #[test]
    fn a_mean_of_readings_knows_its_doubt() {
        let mean = Estimate::mean("readings", &[1.0, 2.0, 3.0, 4.0]).unwrap();
        assert!((mean.value - 2.5).abs() < 1e-15);
        assert!((mean.uncertainty - (5.0_f64 / 12.0).sqrt()).abs() < 1e-15);
        assert!(Estimate::mean("readings", &[1.0]).is_err());
        assert!(Estimate::mean("readings", &[1.0, f64::NAN]).is_err());
    }
}
