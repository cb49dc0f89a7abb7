//! Positions of failures on probability paper, and the paper's axes.
//!
//! Meeker & Escobar (1998), section 6.4: a failure stands in the middle of the step of the curve at its age. Median ranks:
//! Johnson (1964), The Statistical Treatment of Fatigue Experiments, for the ranks among suspended lives; their medians by
//! Benard & Bos-Levenbach (1953), Statistica Neerlandica 7: 163–173.

use crate::curve::{NoCurve, steps};
use crate::data::{Life, total};
use crate::law::Family;
use crate::special::normal_quantile;
use crate::{Error, positive};

/// A failure, or several at one age, on probability paper.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlotPosition {
    /// The age.
    pub time: f64,
    /// The share that is taken to have failed by it.
    pub failed: f64,
}

/// Positions in the middle of the steps of the Kaplan–Meier curve: without censoring and ties (i − ½)/n.
///
/// # Errors
/// No lives; a life that ended between two looks.
pub fn plot_positions(lives: &[Life]) -> Result<Vec<PlotPosition>, NoCurve> {
    let mut survival = 1.0;
    let position = |step: &crate::curve::Step| {
        let before = survival;
        survival *= 1.0 - step.share();
        PlotPosition { time: step.time, failed: 1.0 - 0.5 * (before + survival) }
    };
    Ok(steps(lives)?.iter().map(position).collect())
}

/// Positions at median ranks: (A − 0.3)/(n + 0.4), where A is the failure's rank adjusted for lives suspended before it;
/// several at one age stand at the mean of their ranks.
///
/// # Formula
/// Each failure among r at risk, itself counted, takes A up by (n + 1 − A)/(r + 1).
///
/// # Errors
/// No lives; a life that ended between two looks, or was first watched late.
pub fn median_ranks(lives: &[Life]) -> Result<Vec<PlotPosition>, NoCurve> {
    if let Some(life) = lives.iter().find(|life| 0.0 < life.entry()) {
        return Err(NoCurve::LateEntry { entry: life.entry() });
    }
    let (n, mut rank) = (total(lives), 0.0);
    let position = |step: &crate::curve::Step| {
        let each = (n + 1.0 - rank) / (step.at_risk + 1.0);
        let middle = rank + each * 0.5 * (step.failures + 1.0);
        rank += each * step.failures;
        PlotPosition { time: step.time, failed: (middle - 0.3) / (n + 0.4) }
    };
    Ok(steps(lives)?.iter().map(position).collect())
}

impl Family {
    /// Where a share `failed` by `age` stands on this family's probability paper, on which its laws are straight lines.
    ///
    /// # Formula
    /// Weibull: ln t and ln(−ln(1 − F)), slope β; lognormal: ln t and Φ⁻¹(F), slope 1/σ; exponential: t and −ln(1 − F),
    /// through the origin with slope 1/mean (Meeker & Escobar (1998), section 6.2).
    ///
    /// # Errors
    /// An age that is not positive and finite; a share that does not lie between 0 and 1.
    pub fn on_paper(self, age: f64, failed: f64) -> Result<[f64; 2], Error> {
        let age = positive("the age", age)?;
        if !(0.0 < failed && failed < 1.0) {
            return Err(Error::NotAChance { got: failed });
        }
        let hazard = -(-failed).ln_1p();
        Ok(match self {
            Family::Weibull => [age.ln(), hazard.ln()],
            Family::Exponential => [age, hazard],
            Family::Lognormal => [age.ln(), normal_quantile(failed)],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::data::End;
    use crate::law::Law;

    #[track_caller]
    fn near(found: f64, expected: f64, tolerance: f64) {
        assert!((found - expected).abs() <= tolerance, "{found} not {expected}");
    }

    fn failed(ages: &[f64]) -> Vec<Life> {
        ages.iter().map(|&age| Life::new(End::Failed(age)).unwrap()).collect()
    }

    #[test]
    fn whole_data_stand_at_i_less_a_half_over_n() {
        let positions = plot_positions(&failed(&[3.0, 1.0, 7.0, 5.0])).unwrap();
        for (position, expected) in positions.iter().zip([0.125, 0.375, 0.625, 0.875]) {
            near(position.failed, expected, 1e-15);
        }
    }

    #[test]
    fn ranks_move_up_after_suspended_lives() {
        // A worked example in common teaching, from memory; each rank checked by hand: the first is (8 + 1)/(7 + 1), the
        // last 5.0625 + (9 − 5.0625)/3.
        let mut lives = failed(&[30.0, 49.0, 82.0, 90.0, 96.0]);
        lives.extend([10.0, 45.0, 100.0].map(|age| Life::new(End::Good(age)).unwrap()));
        let positions = median_ranks(&lives).unwrap();
        let expected = [1.125, 2.4375, 3.75, 5.0625, 6.375].map(|rank| (rank - 0.3) / 8.4);
        assert_eq!(positions.len(), expected.len());
        for (position, expected) in positions.iter().zip(expected) {
            near(position.failed, expected, 1e-15);
        }
    }

    #[test]
    fn equal_ages_stand_at_the_mean_of_their_ranks() {
        let positions = median_ranks(&failed(&[4.0, 4.0, 4.0, 9.0])).unwrap();
        near(positions[0].failed, (2.0 - 0.3) / 4.4, 1e-15);
        near(positions[1].failed, (4.0 - 0.3) / 4.4, 1e-15);
    }

    #[test]
    fn a_life_watched_late_has_no_rank() {
        let late = failed(&[4.0])[0].entered_at(1.0).unwrap();
        assert_eq!(median_ranks(&[late]), Err(NoCurve::LateEntry { entry: 1.0 }));
    }

    #[test]
    fn laws_are_straight_on_their_own_paper() {
        let laws = [
            (Law::weibull(2.5, 40.0).unwrap(), 2.5),
            (Law::exponential(40.0).unwrap(), 1.0 / 40.0),
            (Law::lognormal(3.0, 0.5).unwrap(), 2.0),
        ];
        for (law, slope) in laws {
            let at = |age: f64| law.family().on_paper(age, law.failed_by(age)).unwrap();
            for pair in [5.0, 12.0, 30.0, 55.0].windows(2) {
                let (one, other) = (at(pair[0]), at(pair[1]));
                near((other[1] - one[1]) / (other[0] - one[0]), slope, 1e-9);
            }
        }
    }

    #[test]
    fn what_has_no_place_on_paper_is_refused() {
        assert!(matches!(Family::Weibull.on_paper(0.0, 0.5), Err(Error::NotPositive { .. })));
        assert!(matches!(Family::Weibull.on_paper(4.0, 1.0), Err(Error::NotAChance { .. })));
    }
}
