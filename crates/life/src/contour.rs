//! The contour of the likelihood: laws that the lives only just do not contradict.
//!
//! All laws whose log-likelihood lies at most half a chi-square quantile of one degree of freedom below the best make up a
//! region; the least and the greatest value of any one quantity in it are that quantity's profile bounds (Meeker &
//! Escobar (1998), section 8.3 and appendix B.6.6). Where the quantity has no extreme inside, they lie on the contour,
//! which is walked here at [`DIRECTIONS`] points.

use std::f64::consts::TAU as TURN;

use crate::Level;
use crate::fit::{Fit, TAU};
use crate::law::Law;
use crate::special::chi_square_quantile;

/// Points on a contour. The extreme of a smooth quantity is missed by at most (π/72)²/2, a thousandth of its distance from
/// the middle.
const DIRECTIONS: u32 = 72;

impl Fit {
    /// Laws all around the contour of `level`; two where only the location was fitted.
    ///
    /// Where the likelihood does not fall far enough, the point is the last one of a sensible spread.
    pub(crate) fn contour(&self, level: Level) -> Vec<Law> {
        let drop = 0.5 * chi_square_quantile(level.get(), 1.0);
        let [a, b, c] = self.covariance;
        // A root of the covariance: the contour of a normal likelihood is a circle in its coordinates.
        let l11 = a.sqrt();
        let l21 = b / l11;
        let l22 = (c - l21 * l21).max(0.0).sqrt();
        let directions = if c == 0.0 { 2 } else { DIRECTIONS };
        (0..directions)
            .map(|step| TURN * f64::from(step) / f64::from(directions))
            .map(|angle| [l11 * angle.cos(), if c == 0.0 { 0.0 } else { l21 * angle.cos() + l22 * angle.sin() }])
            .map(|direction| self.at_drop(direction, drop))
            .collect()
    }

    /// The law in that direction at which the log-likelihood lies `drop` below the best.
    fn at_drop(&self, direction: [f64; 2], drop: f64) -> Law {
        let top = self.log_likelihood();
        let point = |radius: f64| [self.at[0] + radius * direction[0], self.at[1] + radius * direction[1]];
        let is_inside = |radius: f64| {
            let [mu, tau] = point(radius);
            // False for what is not a number, which lies beyond what numbers hold.
            (TAU[0]..=TAU[1]).contains(&tau) && top - drop <= self.sample.at(mu, tau).value
        };
        let (mut inside, mut outside) = (0.0, (2.0 * drop).sqrt());
        while is_inside(outside) && outside < 1e6 {
            (inside, outside) = (outside, 2.0 * outside);
        }
        while 1e-9 * outside < outside - inside {
            let middle = 0.5 * (inside + outside);
            if is_inside(middle) { inside = middle } else { outside = middle }
        }
        self.law_at(point(inside))
    }

    fn law_at(&self, [mu, tau]: [f64; 2]) -> Law {
        Law::of(self.family, mu + self.sample.centre, tau.exp())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{End, Family, Life, Of};

    #[test]
    fn the_extremes_of_the_contour_are_the_profile_bounds() {
        let lives: Vec<Life> =
            [3.0, 5.0, 8.0, 13.0].iter().map(|&age| Life::new(End::Failed(age)).expect("a life")).collect();
        let level = Level::new(0.9).expect("a level");
        for family in [Family::Weibull, Family::Lognormal] {
            let fit = Fit::new(&lives, family).expect("a fit");
            let spreads: Vec<f64> = fit.contour(level).iter().map(|law| law.spread().ln()).collect();
            let bounds = fit.profile(Of::Spread, level).expect("bounds");
            let (low, high) = (bounds.lower.expect("a bound").ln(), bounds.upper.expect("a bound").ln());
            let least = spreads.iter().copied().fold(f64::INFINITY, f64::min);
            let greatest = spreads.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            assert!((least - low).abs() < 2e-3 * (high - low), "{family:?}: {least} not {low}");
            assert!((greatest - high).abs() < 2e-3 * (high - low), "{family:?}: {greatest} not {high}");
        }
    }
}
