//! The Kaplan–Meier and Nelson–Aalen curves: what lives say without a law, with late entry and ties.
//!
//! Kaplan & Meier (1958), JASA 53: 457–481; variance by Greenwood (1926); cumulative hazard by Nelson (1972),
//! Technometrics 14: 945–966, and Aalen (1978), Annals of Statistics 6: 701–726, ties not smoothed; late entry and bounds
//! by ln(−ln S) as in Klein & Moeschberger (2003), sections 4.2, 4.3 and 4.6.

use crate::Level;
use crate::data::{End, Life};

/// Failures that leave less than this share of those at risk leave none: the rest is rounding of counts.
const NONE_LEFT: f64 = 1e-12;

/// The curves just after an age at which something failed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// The age.
    pub time: f64,
    /// Lives at risk there, by count: entered before it, and over at it or later.
    pub at_risk: f64,
    /// Failures at it, by count.
    pub failures: f64,
    /// Ŝ, the share that is still good after it.
    pub survival: f64,
    /// The standard error of Ŝ (Greenwood); `None` where none is left, since the lives say nothing of it there.
    pub std_error: Option<f64>,
    /// The lower bound of S by ln(−ln Ŝ), pointwise.
    pub lower: Option<f64>,
    /// The upper bound of S by ln(−ln Ŝ), pointwise.
    pub upper: Option<f64>,
    /// Ĥ, the cumulative hazard (Nelson–Aalen).
    pub cumulative_hazard: f64,
    /// The standard error of Ĥ.
    pub cumulative_hazard_std_error: f64,
}

impl CurvePoint {
    /// The plain bounds Ŝ ± z·se, cut off at 0 and 1; worse than those by ln(−ln Ŝ) where failures are few.
    pub fn plain_bounds(&self, level: Level) -> Option<[f64; 2]> {
        let width = level.z() * self.std_error?;
        Some([(self.survival - width).max(0.0), (self.survival + width).min(1.0)])
    }
}

/// Why no curve could be drawn.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoCurve {
    /// There are no lives.
    #[error("there are no lives, so there is no curve")]
    NoLives,
    /// A life ended between two looks.
    #[error(
        "a life that failed between {from} and {to} has no age of failure: draw its curve with `turnbull`, or give the \
         age at which it failed"
    )]
    BetweenLooks {
        /// The last age at which it was good.
        from: f64,
        /// The age at which it was found failed.
        to: f64,
    },
    /// Ranks are told for lives watched from age zero only.
    #[error("a life first watched at age {entry} has no rank among the others: use the curve's own positions")]
    LateEntry {
        /// When watching began.
        entry: f64,
    },
    /// The search for the curve of lives that ended between looks stopped short of its end.
    #[error("the curve was not found in {rounds} rounds: a share of {gap:.1e} of the lives is still unsettled")]
    NotSettled {
        /// Rounds done.
        rounds: u32,
        /// How far the conditions of the best curve are from being met, as a share of all lives.
        gap: f64,
    },
}

/// The Kaplan–Meier and Nelson–Aalen curves, a point for each age of failure; none if nothing failed.
///
/// Lives that end unfailed at an age are still at risk at it. Where the first lives entered late, Ŝ is conditional on
/// having reached the smallest age of entry; and if all that are at risk fail while others have yet to enter, Ŝ stays at
/// 0 from there on, though Ĥ goes on.
///
/// # Formula
/// With d failures among n at risk: Ŝ = Π (1 − d/n), var Ŝ = Ŝ²·Σ d/(n(n − d)); Ĥ = Σ d/n, var Ĥ = Σ d/n². Bounds:
/// Ŝ^exp(±z·√(Σ d/(n(n − d)))/ln Ŝ).
///
/// # Errors
/// No lives; a life that ended between two looks.
///
/// # Example
/// ```
/// use life::{End, Level, Life, curve, median};
/// let lives = [End::Failed(6.0), End::Good(9.0), End::Failed(13.0)].map(|end| Life::new(end).unwrap());
/// let points = curve(&lives, Level::new(0.95).unwrap()).unwrap();
/// assert!((points[0].survival - 2.0 / 3.0).abs() < 1e-12);
/// assert_eq!(median(&points), Some(13.0));
/// ```
pub fn curve(lives: &[Life], level: Level) -> Result<Vec<CurvePoint>, NoCurve> {
    let mut sums = Sums { survival: 1.0, greenwood: 0.0, hazard: 0.0, hazard_variance: 0.0 };
    Ok(steps(lives)?.iter().map(|step| sums.after(step, level)).collect())
}

/// The first age at which half or fewer are still good; `None` while more are.
pub fn median(points: &[CurvePoint]) -> Option<f64> {
    // Half of a product of shares is not half to its last digit.
    points.iter().find(|point| point.survival <= 0.5 + 1e-12).map(|point| point.time)
}

/// An age of failure with those at risk.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Step {
    pub(crate) time: f64,
    pub(crate) at_risk: f64,
    pub(crate) failures: f64,
}

impl Step {
    /// The share of those at risk that failed.
    pub(crate) fn share(&self) -> f64 {
        if self.at_risk - self.failures <= NONE_LEFT * self.at_risk { 1.0 } else { self.failures / self.at_risk }
    }
}

/// The ages of failure, rising.
pub(crate) fn steps(lives: &[Life]) -> Result<Vec<Step>, NoCurve> {
    if lives.is_empty() {
        return Err(NoCurve::NoLives);
    }
    let mut exits: Vec<(f64, f64, f64)> = lives.iter().map(exit).collect::<Result<_, _>>()?;
    let mut entries: Vec<(f64, f64)> = lives.iter().map(|life| (life.entry(), life.count())).collect();
    exits.sort_unstable_by(|one, other| other.0.total_cmp(&one.0));
    entries.sort_unstable_by(|one, other| other.0.total_cmp(&one.0));
    // From the oldest down, so that without late entry the number at risk is a plain sum of counts.
    let (mut steps, mut over, mut entered_later, mut next) = (Vec::new(), 0.0, 0.0, 0);
    for same in exits.chunk_by(|one, other| one.0.total_cmp(&other.0).is_eq()) {
        let time = same[0].0;
        over += same.iter().map(|exit| exit.1).sum::<f64>();
        let failures: f64 = same.iter().map(|exit| exit.2).sum();
        while let Some((_, count)) = entries.get(next).filter(|(entry, _)| time <= *entry) {
            entered_later += count;
            next += 1;
        }
        if 0.0 < failures {
            steps.push(Step { time, at_risk: over - entered_later, failures });
        }
    }
    steps.reverse();
    Ok(steps)
}

/// Age at the end, count, and count if it failed there.
fn exit(life: &Life) -> Result<(f64, f64, f64), NoCurve> {
    match life.end() {
        End::Failed(age) => Ok((age, life.count(), life.count())),
        End::Good(age) => Ok((age, life.count(), 0.0)),
        End::Between(from, to) => Err(NoCurve::BetweenLooks { from, to }),
    }
}

struct Sums {
    survival: f64,
    greenwood: f64,
    hazard: f64,
    hazard_variance: f64,
}

impl Sums {
    fn after(&mut self, step: &Step, level: Level) -> CurvePoint {
        let share = step.share();
        self.survival *= 1.0 - share;
        self.greenwood += share / (step.at_risk - step.failures);
        self.hazard += share;
        self.hazard_variance += share / step.at_risk;
        let alive = 0.0 < self.survival;
        let [lower, upper] = if alive { self.log_log(level).map(Some) } else { [None, None] };
        CurvePoint {
            time: step.time,
            at_risk: step.at_risk,
            failures: step.failures,
            survival: self.survival,
            std_error: alive.then(|| self.survival * self.greenwood.sqrt()),
            lower,
            upper,
            cumulative_hazard: self.hazard,
            cumulative_hazard_std_error: self.hazard_variance.sqrt(),
        }
    }

    /// OK because Ŝ lies strictly between 0 and 1 here: something has failed, and not all.
    fn log_log(&self, level: Level) -> [f64; 2] {
        let log = self.survival.ln();
        let factor = (level.z() * self.greenwood.sqrt() / -log).exp();
        [(log * factor).exp(), (log / factor).exp()]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lives(ends: &[End]) -> Vec<Life> {
        ends.iter().map(|&end| Life::new(end).unwrap()).collect()
    }

    fn points(lives: &[Life]) -> Vec<CurvePoint> {
        curve(lives, Level::new(0.95).unwrap()).unwrap()
    }

    #[test]
    fn without_failures_there_is_no_step_and_no_median() {
        let points = points(&lives(&[End::Good(5.0), End::Good(8.0)]));
        assert!(points.is_empty());
        assert_eq!(median(&points), None);
    }

    #[test]
    fn without_lives_or_without_an_age_of_failure_there_is_no_curve() {
        let level = Level::new(0.9).unwrap();
        assert_eq!(curve(&[], level), Err(NoCurve::NoLives));
        let between = lives(&[End::Between(3.0, 5.0)]);
        assert_eq!(curve(&between, level), Err(NoCurve::BetweenLooks { from: 3.0, to: 5.0 }));
    }

    #[test]
    fn a_count_of_three_is_three_lives() {
        let one = Life::new(End::Failed(4.0)).unwrap();
        let other = Life::new(End::Good(7.0)).unwrap();
        assert_eq!(points(&[one.times(3.0).unwrap(), other]), points(&[one, one, one, other]));
    }

    #[test]
    fn where_none_is_left_there_is_no_error_even_with_broken_counts() {
        let life = |age, count| Life::new(End::Failed(age)).unwrap().times(count).unwrap();
        let points = points(&[life(1.0, 0.1), life(2.0, 0.2), life(3.0, 0.3)]);
        assert!(points[2].survival == 0.0 && points[2].std_error.is_none() && points[2].upper.is_none());
        assert!(points[1].std_error.is_some());
    }

    #[test]
    fn a_curve_that_has_come_down_to_nothing_stays_there() {
        let early = Life::new(End::Failed(2.0)).unwrap();
        let late = Life::new(End::Failed(9.0)).unwrap().entered_at(5.0).unwrap();
        let points = points(&[early, late]);
        assert!(points[0].survival == 0.0 && points[1].survival == 0.0);
        assert!((points[1].cumulative_hazard - 2.0).abs() < 1e-15);
    }
}
