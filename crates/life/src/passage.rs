//! Laws of first passage: when a quantity that grows at random first reaches a barrier.
//!
//! Chhikara & Folks (1989), The Inverse Gaussian Distribution; van Noortwijk (2009), "A survey of the application of
//! gamma processes in maintenance", Reliability Engineering & System Safety 94: 2–21.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use statrs::function::gamma::gamma_ur;

use crate::special::{erfcx, normal_cdf};
use crate::{Error, positive};

/// The inverse Gaussian law: the first passage of a Brownian motion with drift.
///
/// # Example
/// ```
/// # fn main() -> Result<(), life::Error> {
/// // A reading drifts by 0.5 a day and wanders with 2 per root day; the limit is 100 away.
/// let due = life::InverseGaussian::of_passage(100.0, 0.5, 2.0)?;
/// assert!((due.mean() - 200.0).abs() < 1e-9);
/// assert!(0.55 < due.cdf(200.0)); // more likely than not before the mean: the law leans to the left
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InverseGaussian {
    mean: f64,
    shape: f64,
}

impl InverseGaussian {
    /// The law with mean μ and shape λ.
    ///
    /// # Errors
    /// If either is not positive and finite.
    pub fn new(mean: f64, shape: f64) -> Result<InverseGaussian, Error> {
        Ok(InverseGaussian { mean: positive("the mean", mean)?, shape: positive("the shape", shape)? })
    }

    /// The law of the first passage of a barrier at distance `barrier` by a motion with drift `drift` per unit of time and
    /// standard deviation `sigma` per root unit of time.
    ///
    /// # Formula
    /// μ = D/v, λ = D²/σ².
    ///
    /// # Errors
    /// If any of them is not positive and finite: without drift the barrier may never be reached.
    pub fn of_passage(barrier: f64, drift: f64, sigma: f64) -> Result<InverseGaussian, Error> {
        let (barrier, drift, sigma) =
            (positive("the barrier", barrier)?, positive("the drift", drift)?, positive("sigma", sigma)?);
        InverseGaussian::new(barrier / drift, (barrier / sigma).powi(2))
    }

    /// The mean μ.
    pub fn mean(&self) -> f64 {
        self.mean
    }

    /// The shape λ.
    pub fn shape(&self) -> f64 {
        self.shape
    }

    /// The standard deviation √(μ³/λ).
    pub fn std_dev(&self) -> f64 {
        (self.mean.powi(3) / self.shape).sqrt()
    }

    /// The most likely time: μ(√(1 + r²) − r), r = 3μ/(2λ).
    pub fn mode(&self) -> f64 {
        let r = 1.5 * self.mean / self.shape;
        self.mean * ((1.0 + r * r).sqrt() - r)
    }

    /// The density at `t`; 0 for t ≤ 0.
    ///
    /// # Formula
    /// √(λ/(2πt³))·exp(−λ(t − μ)²/(2μ²t))
    pub fn pdf(&self, t: f64) -> f64 {
        if t <= 0.0 {
            return 0.0;
        }
        let a = self.standardised(t);
        (self.shape / (2.0 * PI * t.powi(3))).sqrt() * (-a * a / 2.0).exp()
    }

    /// The chance of passage by `t`; 0 for t ≤ 0.
    ///
    /// # Formula
    /// Φ(a) + exp(2λ/μ)·Φ(−b) with a, b = √(λ/t)·(t/μ ∓ 1). The factor overflows where the spread is small; since
    /// 2λ/μ − b²/2 = −a²/2 the second term is ½·exp(−a²/2)·erfcx(b/√2), of which nothing can overflow or cancel.
    pub fn cdf(&self, t: f64) -> f64 {
        if t <= 0.0 {
            return 0.0;
        }
        let a = self.standardised(t);
        let b = (self.shape / t).sqrt() * (t / self.mean + 1.0);
        normal_cdf(a) + 0.5 * (-a * a / 2.0).exp() * erfcx(b * FRAC_1_SQRT_2)
    }

    /// The time by which passage has the chance `chance`.
    ///
    /// # Errors
    /// If `chance` does not lie between 0 and 1.
    pub fn quantile(&self, chance: f64) -> Result<f64, Error> {
        quantile(|t| self.cdf(t), self.mean, chance)
    }

    fn standardised(&self, t: f64) -> f64 {
        (self.shape / t).sqrt() * (t / self.mean - 1.0)
    }
}

/// The first passage of a gamma process: a quantity that only grows, by gamma-distributed amounts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gamma {
    rate: f64,
    ratio: f64,
    mean: f64,
}

impl Gamma {
    /// The law of the first passage of `barrier` by a process that in a time t grows by a gamma-distributed amount of
    /// shape `rate`·t and scale `scale`.
    ///
    /// # Errors
    /// If any of them is not positive and finite.
    pub fn of_passage(barrier: f64, rate: f64, scale: f64) -> Result<Gamma, Error> {
        let (barrier, rate, scale) =
            (positive("the barrier", barrier)?, positive("the rate", rate)?, positive("the scale", scale)?);
        Ok(Gamma { rate, ratio: barrier / scale, mean: barrier / (rate * scale) })
    }

    /// The chance of passage by `t`; 0 for t ≤ 0.
    ///
    /// # Formula
    /// Q(a·t, D/b), the upper regularised incomplete gamma function (van Noortwijk 2009).
    pub fn cdf(&self, t: f64) -> f64 {
        if t <= 0.0 { 0.0 } else { gamma_ur(self.rate * t, self.ratio) }
    }

    /// The time by which passage has the chance `chance`.
    ///
    /// # Errors
    /// If `chance` does not lie between 0 and 1.
    pub fn quantile(&self, chance: f64) -> Result<f64, Error> {
        quantile(|t| self.cdf(t), self.mean, chance)
    }
}

/// Halvings after which neighbouring floating point numbers are reached from any bracket.
const HALVINGS: u32 = 200;

/// Where the rising function `cdf` of positive times reaches `chance`, by bisection from a bracket around `guess`.
fn quantile(cdf: impl Fn(f64) -> f64, guess: f64, chance: f64) -> Result<f64, Error> {
    if !(0.0 < chance && chance < 1.0) {
        return Err(Error::NotAChance { got: chance });
    }
    let (mut low, mut high) = (guess, guess);
    while 0.0 < low && chance <= cdf(low) {
        low /= 2.0;
    }
    while high < f64::MAX && cdf(high) < chance {
        high *= 2.0;
    }
    for _ in 0..HALVINGS {
        let middle = low + (high - low) / 2.0;
        if cdf(middle) < chance { low = middle } else { high = middle }
    }
    Ok(high)
}
