//! The gamma process: readings that only ever grow, by amounts of chance.
//!
//! In a time t it grows by a gamma-distributed amount of shape a·t and scale b. Moments: Çinlar, Bažant & Osman (1977),
//! Journal of the Engineering Mechanics Division ASCE 103: 953–970; both estimates in van Noortwijk (2009), Reliability
//! Engineering & System Safety 94: 2–21, section 3, for a linear mean. Increments of several units are pooled. What the
//! estimates' own error adds to the crossing law is left out.

use statrs::function::gamma::digamma;

use crate::degrade::{Direction, DriftError, Reading, checked};
use crate::solve::root;
use crate::{Error, Gamma, positive};

/// A gamma process.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GammaProcess {
    rate: f64,
    scale: f64,
}

/// From one reading of a unit to the next.
#[derive(Clone, Copy, Debug)]
struct Increment {
    unit_index: usize,
    /// The age at its end.
    age: f64,
    span: f64,
    growth: f64,
}

impl GammaProcess {
    /// The process that in a time t grows by a gamma-distributed amount of shape `rate`·t and scale `scale`.
    ///
    /// # Errors
    /// If either is not positive and finite.
    pub fn new(rate: f64, scale: f64) -> Result<GammaProcess, Error> {
        Ok(GammaProcess { rate: positive("the shape rate", rate)?, scale: positive("the scale", scale)? })
    }

    /// By the method of moments.
    ///
    /// # Formula
    /// With steps of length wᵢ and growth δᵢ and r = Σδ/Σw: b = Σ(δᵢ − r·wᵢ)²/(Σδ·(1 − Σw²/(Σw)²)), a = r/b.
    ///
    /// # Errors
    /// Readings that run back; fewer than two steps, or all of one rate.
    pub fn by_moments(readings: &[Reading], direction: Direction) -> Result<GammaProcess, DriftError> {
        let steps = increments(readings, direction)?;
        let (span, growth) = totals(&steps);
        let ratio = growth / span;
        let squares: f64 = steps.iter().map(|step| (step.growth - ratio * step.span).powi(2)).sum();
        let spans: f64 = steps.iter().map(|step| step.span * step.span).sum();
        let scale = squares / (growth * (1.0 - spans / (span * span)));
        GammaProcess::new(ratio / scale, scale).map_err(|_| DriftError::NoSpread { steps: steps.len() })
    }

    /// By maximum likelihood.
    ///
    /// # Formula
    /// The root a of Σ wᵢ·(ψ(a·wᵢ) − ln δᵢ) = Σw·ln(a·Σw/Σδ), whose left side less the right rises from −∞; b = Σδ/(a·Σw).
    ///
    /// # Errors
    /// Readings that run back or stand still; fewer than two steps, or all of one rate.
    pub fn by_likelihood(readings: &[Reading], direction: Direction) -> Result<GammaProcess, DriftError> {
        let steps = increments(readings, direction)?;
        if let Some(&Increment { unit_index, age, .. }) = steps.iter().find(|step| step.growth <= 0.0) {
            return Err(DriftError::StoodStill { unit_index, age });
        }
        let (span, growth) = totals(&steps);
        // In spans of the mean step, whose shape is about (mean/sd)² of it.
        let unit = span / steps.len() as f64;
        let score = |rate: f64| -> f64 {
            let sum = |step: &Increment| step.span / unit * (digamma(rate * step.span / unit) - step.growth.ln());
            steps.iter().map(sum).sum::<f64>() - span / unit * (rate * span / (unit * growth)).ln()
        };
        let no_spread = || DriftError::NoSpread { steps: steps.len() };
        let (low, high) = bracket(score).ok_or_else(no_spread)?;
        let rate = root(score, low, high) / unit;
        GammaProcess::new(rate, growth / (rate * span)).map_err(|_| no_spread())
    }

    /// The shape gained per unit of time, a.
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// The scale b.
    pub fn scale(&self) -> f64 {
        self.scale
    }

    /// The mean growth per unit of time, a·b.
    pub fn mean_growth(&self) -> f64 {
        self.rate * self.scale
    }

    /// The law of the time from the last reading, `value`, until `limit` is reached. The process has no memory, so that the
    /// readings before do not matter.
    ///
    /// # Errors
    /// A value at or past the limit; one that is not finite.
    pub fn remaining(&self, value: f64, direction: Direction, limit: f64) -> Result<Gamma, DriftError> {
        for (what, got) in [("the last reading", value), ("the limit", limit)] {
            if !got.is_finite() {
                return Err(DriftError::NotFinite { what, got });
            }
        }
        let barrier = direction.sign() * (limit - value);
        if barrier <= 0.0 {
            return Err(DriftError::PastLimit { value, limit });
        }
        Ok(Gamma::of_passage(barrier, self.rate, self.scale)?)
    }
}

fn totals(steps: &[Increment]) -> (f64, f64) {
    (steps.iter().map(|step| step.span).sum(), steps.iter().map(|step| step.growth).sum())
}

/// Where the score is negative and where it is not; `None` if it stays negative to where nothing of chance is left.
fn bracket(score: impl Fn(f64) -> f64) -> Option<(f64, f64)> {
    const STEADIEST: f64 = 1e9;
    let (mut low, mut high) = (1.0, 1.0);
    while 0.0 <= score(low) && 1e-12 < low {
        low *= 0.5;
    }
    while score(high) < 0.0 {
        high *= 2.0;
        if STEADIEST < high {
            return None;
        }
    }
    Some((low, high))
}

/// The steps of all units, each by age.
fn increments(readings: &[Reading], direction: Direction) -> Result<Vec<Increment>, DriftError> {
    checked(readings)?;
    let mut sorted = readings.to_vec();
    sorted.sort_by(|a, b| a.unit_index.cmp(&b.unit_index).then(a.age.total_cmp(&b.age)));
    let of_one_unit = sorted.windows(2).filter(|pair| pair[0].unit_index == pair[1].unit_index);
    let steps = of_one_unit.map(|pair| increment(pair[0], pair[1], direction)).collect::<Result<Vec<_>, _>>()?;
    if steps.len() < 2 { Err(DriftError::NoSpread { steps: steps.len() }) } else { Ok(steps) }
}

fn increment(before: Reading, after: Reading, direction: Direction) -> Result<Increment, DriftError> {
    let Reading { unit_index, age, value } = after;
    let (span, growth) = (age - before.age, direction.sign() * (value - before.value));
    if span <= 0.0 {
        return Err(DriftError::SameAge { unit_index, age });
    }
    if growth < 0.0 {
        return Err(DriftError::RunsBack { unit_index, age, from: before.value, to: value });
    }
    Ok(Increment { unit_index, age, span, growth })
}
