//! Bounds by the profile of the likelihood: all values of a quantity that the lives do not contradict.
//!
//! A value is inside if the best likelihood with the quantity held there lies less than half a chi-square quantile of one
//! degree of freedom below the best of all (Meeker & Escobar (1998), section 8.3). The ends are found by Newton's method
//! on that equation and the profile's own at once (Venzon & Moolgavkar (1988), Applied Statistics 37: 87–94), and where
//! that leads astray by steps outward and halving.

use crate::fit::{Fit, TAU};
use crate::special::chi_square_quantile;
use crate::surface::Surface;
use crate::{Error, Level};

/// A band; an end is `None` where the likelihood never falls far enough, so that the lives set no bound on that side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// The lower end.
    pub lower: Option<f64>,
    /// The upper end.
    pub upper: Option<f64>,
}

/// What is to be bounded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Of {
    /// The spread σ = 1/β.
    Spread,
    /// The shape β.
    Shape,
    /// The location μ = ln η.
    Location,
    /// The scale η.
    Scale,
    /// The age by which this share has failed: 0.1 for B10.
    Quantile(f64),
    /// The chance to be good at this age.
    Survival(f64),
}

impl Fit {
    /// Bounds by the profile likelihood.
    ///
    /// # Errors
    /// A quantile's chance outside 0 to 1; an age that is not positive and finite.
    pub fn profile(&self, of: Of, level: Level) -> Result<Bounds, Error> {
        let [mu, tau] = self.at;
        let target = self.sample.at(mu, tau).value - 0.5 * chi_square_quantile(level.get(), 1.0);
        let profile = |line| Profile { fit: self, line, target };
        let bounds = match of {
            Of::Spread => profile(Line::Spread).ends(tau).map_with(f64::exp),
            Of::Shape => profile(Line::Spread).ends(tau).map_with(|tau| (-tau).exp()).flipped(),
            Of::Location => profile(Line::Location).ends(mu).map_with(|mu| mu + self.sample.centre),
            Of::Scale => profile(Line::Location).ends(mu).map_with(|mu| (mu + self.sample.centre).exp()),
            Of::Quantile(failed) => {
                self.law().quantile(failed)?;
                let q = self.family.standard().quantile_of_survival(1.0 - failed);
                let ends = profile(Line::Quantile { q }).ends(mu + tau.exp() * q);
                ends.map_with(|log| (log + self.sample.centre).exp())
            }
            Of::Survival(age) => {
                let y = crate::positive("the age", age)?.ln() - self.sample.centre;
                let survival = |z: f64| self.family.standard().log_survival(z)[0].exp();
                profile(Line::Age { y }).ends((y - mu) / tau.exp()).map_with(survival).flipped()
            }
        };
        Ok(bounds)
    }
}

impl Bounds {
    fn map_with(self, to: impl Fn(f64) -> f64) -> Bounds {
        Bounds { lower: self.lower.map(&to), upper: self.upper.map(&to) }
    }

    /// For a quantity that falls where the other rises.
    fn flipped(self) -> Bounds {
        Bounds { lower: self.upper, upper: self.lower }
    }
}

/// Which quantity ψ is held; the other parameter s is free.
#[derive(Clone, Copy, Debug)]
enum Line {
    /// ψ = τ, s = μ.
    Spread,
    /// ψ = μ, s = τ.
    Location,
    /// ψ = μ + σ·q, s = τ.
    Quantile { q: f64 },
    /// ψ = (y − μ)/σ, s = τ.
    Age { y: f64 },
}

impl Line {
    /// (μ, τ) at (ψ, s).
    fn point(self, psi: f64, s: f64) -> [f64; 2] {
        match self {
            Line::Spread => [s, psi],
            Line::Location => [psi, s],
            Line::Quantile { q } => [psi - s.exp() * q, s],
            Line::Age { y } => [y - s.exp() * psi, s],
        }
    }

    /// Whether ψ lies where laws are fitted at all.
    fn is_sensible(self, psi: f64) -> bool {
        !matches!(self, Line::Spread) || (TAU[0]..=TAU[1]).contains(&psi)
    }

    /// s at (μ, τ).
    fn free(self, [mu, tau]: [f64; 2]) -> f64 {
        if let Line::Spread = self { mu } else { tau }
    }

    /// The surface with its derivatives by ψ and s in place of μ and τ.
    fn turned(self, psi: f64, s: f64, surface: &Surface) -> Surface {
        let [by_mu, by_tau] = surface.slope;
        let [mm, mt, tt] = surface.curve;
        let value = surface.value;
        let sigma = s.exp();
        // How μ moves with ψ and s, and the second derivative of μ by both and by s twice.
        let (psi_1, s_1, psi_s, s_s) = match self {
            Line::Spread => return Surface { value, slope: [by_tau, by_mu], curve: [tt, mt, mm] },
            Line::Location => return *surface,
            Line::Quantile { q } => (1.0, -sigma * q, 0.0, -sigma * q),
            Line::Age { .. } => (-sigma, -sigma * psi, -sigma, -sigma * psi),
        };
        Surface {
            value,
            slope: [by_mu * psi_1, by_mu * s_1 + by_tau],
            curve: [
                mm * psi_1 * psi_1,
                mm * psi_1 * s_1 + mt * psi_1 + by_mu * psi_s,
                mm * s_1 * s_1 + 2.0 * mt * s_1 + tt + by_mu * s_s,
            ],
        }
    }
}

/// The best log-likelihood along lines of constant ψ, less a target.
struct Profile<'a> {
    fit: &'a Fit,
    line: Line,
    target: f64,
}

/// How far out a side is followed before it is taken to be without bound: a factor of e^15 is none.
const FARTHEST: f64 = 15.0;

impl Profile<'_> {
    fn ends(&self, psi: f64) -> Bounds {
        Bounds { lower: self.end(psi, -1.0), upper: self.end(psi, 1.0) }
    }

    fn surface(&self, psi: f64, s: f64) -> Surface {
        let [mu, tau] = self.line.point(psi, s);
        self.line.turned(psi, s, &self.fit.sample.at(mu, tau))
    }

    /// Whether the spread is not fitted, so that nothing is free.
    fn is_straight(&self) -> bool {
        self.fit.covariance[2] == 0.0
    }

    /// The end on one side: `side` is −1 or 1.
    fn end(&self, psi: f64, side: f64) -> Option<f64> {
        if self.is_straight() && matches!(self.line, Line::Spread) {
            return None;
        }
        let s = self.line.free(self.fit.at);
        let top = self.surface(psi, s);
        let [a, b, c] = top.curve;
        // The curvature of the profile itself, and how s follows ψ along it.
        let (arch, follow) = if self.is_straight() { (a, 0.0) } else { (a - b * b / c, -b / c) };
        let width = (2.0 * (top.value - self.target) / -arch).sqrt();
        if !(0.0 < width && width < f64::INFINITY) {
            return None;
        }
        let start = side * width;
        self.newton(psi, psi + start, s + follow * start, side).or_else(|| self.walk(psi, s, start))
    }

    /// Newton's method on: the value is the target's, the slope along s is nothing.
    fn newton(&self, top: f64, mut psi: f64, mut s: f64, side: f64) -> Option<f64> {
        let size = (psi - top).abs();
        for _ in 0..30 {
            let here = self.surface(psi, s);
            let off = here.value - self.target;
            let [by_psi, by_s] = here.slope;
            let [_, both, ss] = here.curve;
            if !off.is_finite() || (!self.is_straight() && 0.0 <= ss) {
                return None;
            }
            let (step, step_s) = if self.is_straight() {
                (-off / by_psi, 0.0)
            } else {
                let scale = by_psi * ss - by_s * both;
                ((-off * ss + by_s * by_s) / scale, (off * both - by_s * by_psi) / scale)
            };
            let longest = 2.0 * size;
            if !step.is_finite() || longest < step.abs() || 2.0 < step_s.abs() && !matches!(self.line, Line::Spread) {
                return None;
            }
            (psi, s) = (psi + step, s + step_s);
            if (psi - top) * side <= 0.0 {
                return None;
            }
            let near = off.abs() < 1e-9 * (1.0 + here.value.abs()) && step_s.abs() < 1e-6 * self.unit(psi);
            // Millions of lives leave no digits for a shorter step: what is off is then rounding.
            let is_rounding = off.abs() < 1e-13 * here.value.abs();
            if near && (is_rounding || step.abs() < 1e-11 * size.max(psi.abs() * 1e-3)) {
                return Some(psi);
            }
        }
        None
    }

    /// What a step along s is measured by: the spread for a location, 1 for a logarithm.
    fn unit(&self, psi: f64) -> f64 {
        if let Line::Spread = self.line { psi.exp() } else { 1.0 }
    }

    /// The profile at ψ, and the s at which it is reached, from a guess.
    fn best(&self, psi: f64, guess: f64) -> (f64, f64) {
        if self.is_straight() {
            return (self.surface(psi, guess).value, guess);
        }
        let unit = self.unit(psi);
        let mut s = guess;
        let mut here = self.surface(psi, s);
        for _ in 0..100 {
            let arched = here.curve[2] < 0.0;
            let step = if arched { -here.slope[1] / here.curve[2] } else { unit * here.slope[1].signum() };
            let mut step = step.clamp(-3.0 * unit, 3.0 * unit);
            let mut there = self.surface(psi, s + step);
            while there.value < here.value - 1e-14 * here.value.abs() || there.value.is_nan() {
                step *= 0.5;
                if step.is_nan() || step.abs() < 1e-13 * unit {
                    return (here.value, s);
                }
                there = self.surface(psi, s + step);
            }
            s += step;
            here = there;
            if arched && step.abs() < 1e-8 * unit {
                break;
            }
        }
        (here.value, s)
    }

    /// Steps outward until the profile lies below the target, then halves.
    fn walk(&self, top: f64, s: f64, start: f64) -> Option<f64> {
        let (mut inside, mut s) = (top, s);
        let mut step = 0.5 * start;
        while (inside - top).abs() < FARTHEST && self.line.is_sensible(inside) {
            let outside = inside + step;
            let (value, free) = self.best(outside, s);
            // Not a number: beyond what numbers hold, and so far outside.
            if value.is_nan() || value < self.target {
                return Some(self.halve(inside, outside, s));
            }
            (inside, s) = (outside, free);
            step *= 1.5;
        }
        None
    }

    fn halve(&self, mut inside: f64, mut outside: f64, mut s: f64) -> f64 {
        for _ in 0..200 {
            let middle = 0.5 * (inside + outside);
            let (value, free) = self.best(middle, s);
            if value < self.target || value.is_nan() {
                outside = middle;
            } else {
                (inside, s) = (middle, free);
            }
            if (outside - inside).abs() < 1e-12 * (1.0 + inside.abs()) {
                break;
            }
        }
        0.5 * (inside + outside)
    }
}

impl Bounds {
    /// Whether it holds `value`.
    pub fn holds(&self, value: f64) -> bool {
        self.lower.is_none_or(|lower| lower <= value) && self.upper.is_none_or(|upper| value <= upper)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{End, Family, Life};

    /// Each line's derivatives against differences of its values.
    #[test]
    fn a_turned_surface_has_the_slopes_and_curvatures_of_its_values() {
        let lives: Vec<Life> = [3.0, 5.0, 8.0].iter().map(|&age| Life::new(End::Failed(age)).unwrap()).collect();
        let fit = Fit::new(&lives, Family::Weibull).unwrap();
        for line in [Line::Spread, Line::Location, Line::Quantile { q: -2.25 }, Line::Age { y: 0.3 }] {
            let profile = Profile { fit: &fit, line, target: 0.0 };
            let (psi, s, h) = (0.2, -0.4, 1e-5);
            let here = profile.surface(psi, s);
            let by_psi = [profile.surface(psi + h, s), profile.surface(psi - h, s)];
            let by_s = [profile.surface(psi, s + h), profile.surface(psi, s - h)];
            let near = |found: f64, expected: f64| {
                assert!((found - expected).abs() < 1e-6 * (1.0 + expected.abs()), "{line:?}")
            };
            near(here.slope[0], (by_psi[0].value - by_psi[1].value) / (2.0 * h));
            near(here.slope[1], (by_s[0].value - by_s[1].value) / (2.0 * h));
            near(here.curve[0], (by_psi[0].slope[0] - by_psi[1].slope[0]) / (2.0 * h));
            near(here.curve[1], (by_s[0].slope[0] - by_s[1].slope[0]) / (2.0 * h));
            near(here.curve[2], (by_s[0].slope[1] - by_s[1].slope[1]) / (2.0 * h));
        }
    }
}
