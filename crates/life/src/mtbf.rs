//! Mean time between failures where the hazard does not know age: from total time and the number of failures.
//!
//! Epstein (1960), Technometrics 2: 435–446; NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.1: 2T/θ is a
//! chi-square variable when watching stops at a failure, and lies between two of them when it stops at a time.

use crate::special::chi_square_quantile;
use crate::{Bounds, Error, Level, positive};

/// What ended the watching.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stopped {
    /// A time set beforehand.
    AtTime,
    /// The last failure counted.
    AtFailure,
}

/// Total time in service and the failures in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mtbf {
    total_time: f64,
    failures: u32,
    stopped: Stopped,
}

/// What is wrong with total time and failures.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoMtbf {
    /// The total time is not positive and finite.
    #[error(transparent)]
    Time(#[from] Error),
    /// Watching can't have stopped at a failure if there was none.
    #[error("watching stopped at a failure, but no failure is counted: count it, or say that it stopped at a time")]
    StoppedAtNoFailure,
}

impl Mtbf {
    /// `failures` in `total_time`, summed over all that were in service.
    ///
    /// # Errors
    /// A total time that is not positive and finite; watching stopped at a failure without one.
    ///
    /// # Example
    /// ```
    /// use life::{Level, mtbf::{Mtbf, Stopped}};
    /// let quiet = Mtbf::new(1000.0, 0, Stopped::AtTime).unwrap();
    /// assert_eq!(quiet.mean(), None);
    /// assert!((quiet.lower(Level::new(0.9).unwrap()) - 434.2944819).abs() < 1e-6);
    /// ```
    pub fn new(total_time: f64, failures: u32, stopped: Stopped) -> Result<Mtbf, NoMtbf> {
        let total_time = positive("the total time", total_time)?;
        match (failures, stopped) {
            (0, Stopped::AtFailure) => Err(NoMtbf::StoppedAtNoFailure),
            _ => Ok(Mtbf { total_time, failures, stopped }),
        }
    }

    /// T/r, the most likely mean; `None` without failures.
    pub fn mean(&self) -> Option<f64> {
        (0 < self.failures).then(|| self.total_time / f64::from(self.failures))
    }

    /// Two-sided bounds of the mean; no upper one without failures.
    ///
    /// # Formula
    /// 2T/χ²(1 − α/2; 2(r + 1)) and 2T/χ²(α/2; 2r); stopped at a failure, 2r in both. Exact where it stopped at a failure,
    /// on the safe side where at a time.
    pub fn bounds(&self, level: Level) -> Bounds {
        let tail = 0.5 * (1.0 - level.get());
        let upper = (0 < self.failures).then(|| self.at(tail, f64::from(self.failures)));
        Bounds { lower: Some(self.at(1.0 - tail, self.lower_failures())), upper }
    }

    /// The one-sided lower bound: the mean is above it with this level of confidence. It needs no failure.
    pub fn lower(&self, level: Level) -> f64 {
        self.at(level.get(), self.lower_failures())
    }

    /// Half the degrees of freedom of a lower bound.
    fn lower_failures(&self) -> f64 {
        match self.stopped {
            Stopped::AtTime => f64::from(self.failures) + 1.0,
            Stopped::AtFailure => f64::from(self.failures),
        }
    }

    fn at(&self, chance: f64, failures: f64) -> f64 {
        2.0 * self.total_time / chi_square_quantile(chance, 2.0 * failures)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn near(found: f64, expected: f64) {
        assert!((found - expected).abs() <= 1e-8 * expected, "{found} not {expected}");
    }

    fn level(level: f64) -> Level {
        Level::new(level).unwrap()
    }

    #[test]
    fn two_failures_in_a_set_time() {
        // NIST/SEMATECH e-Handbook, 8.4.5.1, its script apr451; printed there: 127.0690 and 2251.229. To ten digits by
        // SciPy's chi2.
        let mtbf = Mtbf::new(800.0, 2, Stopped::AtTime).unwrap();
        near(mtbf.mean().unwrap(), 400.0);
        let bounds = mtbf.bounds(level(0.9));
        near(bounds.lower.unwrap(), 127.0689683);
        near(bounds.upper.unwrap(), 2251.228611);
    }

    #[test]
    fn no_failure_gives_a_lower_bound_and_nothing_else() {
        // NIST/SEMATECH e-Handbook, 8.4.5.1: T/(−ln α), in closed form.
        let mtbf = Mtbf::new(1000.0, 0, Stopped::AtTime).unwrap();
        for (confidence, expected) in [(0.6, 1091.356668), (0.9, 434.2944819), (0.95, 333.8082007)] {
            near(mtbf.lower(level(confidence)), expected);
        }
        assert_eq!((mtbf.mean(), mtbf.bounds(level(0.9)).upper), (None, None));
    }

    #[test]
    fn a_test_that_stopped_at_its_failure_has_the_same_freedom_on_both_sides() {
        // One failure: 2T/θ is chi-square with 2 degrees of freedom, an exponential variable; closed form by hand.
        let bounds = Mtbf::new(100.0, 1, Stopped::AtFailure).unwrap().bounds(level(0.9));
        near(bounds.lower.unwrap(), -100.0 / 0.05_f64.ln());
        near(bounds.upper.unwrap(), -100.0 / 0.95_f64.ln());
    }

    #[test]
    fn what_cannot_be_is_refused() {
        assert_eq!(Mtbf::new(100.0, 0, Stopped::AtFailure), Err(NoMtbf::StoppedAtNoFailure));
        assert!(matches!(Mtbf::new(f64::NAN, 1, Stopped::AtTime), Err(NoMtbf::Time(_))));
    }
}
