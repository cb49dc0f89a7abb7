//! The best age at which to replace a part before it fails.
//!
//! Barlow & Hunter (1960), "Optimum preventive maintenance policies", Operations Research 8: 90–100 (policies I and II);
//! Barlow & Proschan (1965), Mathematical Theory of Reliability, chapter 4. Costs have no unit here, nor have ages: a cost
//! rate is costs per unit of age.

use crate::law::Standard;
use crate::solve::root;
use crate::{Bounds, Error, Family, Fit, Law, Level, positive};

/// A saving of less than this share of the cost of running to failure is none.
const NO_GAIN: f64 = 1e-6;

/// Where this much hazard has added up, one part in 1e17 is still good, and no policy differs from running to failure.
const ALL_FAILED: f64 = 40.0;

/// Age replacement: a part goes at a planned age at the latest, and at its failure if that comes first (policy I).
///
/// # Example
/// ```
/// # fn main() -> Result<(), life::Error> {
/// let belt = life::Law::weibull(2.5, 1000.0)?;
/// let policy = life::AgeReplacement::new(belt, 1.0, 5.0)?;
/// let best = policy.best().expect("its hazard rises and failure costs more");
/// assert!((best.age - 493.0).abs() < 0.1);
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AgeReplacement {
    law: Law,
    planned_cost: f64,
    failure_cost: f64,
}

/// The age with the lowest cost rate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Best {
    /// The age.
    pub age: f64,
    /// Costs per unit of age when parts are replaced at it.
    pub cost_rate: f64,
    /// The share of the cost rate of running to failure that is saved, 0 to 1.
    pub saving: f64,
}

/// What the lives leave open of the best age and its saving: the profile bounds of both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Of the best age; `None` above if some of the laws that the lives allow have no best age: never is not excluded.
    pub age: Bounds,
    /// Of the saving, with 0 for laws without a best age.
    pub saving: [f64; 2],
    /// The share of the laws on the edge of what the lives allow that have a best age. Not a chance.
    pub with_best: f64,
}

impl AgeReplacement {
    /// Parts of that law, at these costs of a planned replacement and of a failure with its replacement.
    ///
    /// # Errors
    /// A cost that is not positive and finite.
    pub fn new(law: Law, planned_cost: f64, failure_cost: f64) -> Result<AgeReplacement, Error> {
        let (planned_cost, failure_cost) = costs(planned_cost, failure_cost)?;
        Ok(AgeReplacement { law, planned_cost, failure_cost })
    }

    /// The costs per unit of age when parts are replaced at `age`.
    ///
    /// # Formula
    /// C(t) = (cp·S(t) + cf·F(t)) / ∫ S(u) du from 0 to t.
    ///
    /// # Errors
    /// An age that is not positive and finite.
    pub fn cost_rate(&self, age: f64) -> Result<f64, Error> {
        Ok(self.rate(positive("the age", age)?))
    }

    /// The costs per unit of age when parts run to failure: cf/MTTF.
    pub fn cost_rate_to_failure(&self) -> f64 {
        self.failure_cost / self.law.mean()
    }

    /// The best age, or `None` if running to failure is best: if the hazard does not rise, a failure costs no more than a
    /// planned replacement, or nothing worth a millionth is saved.
    ///
    /// # Formula
    /// C falls while h(t)·∫S − F(t) < cp/(cf − cp) and rises after. For a rising hazard the left side rises, too, so that
    /// its root is the only minimum. The lognormal hazard rises to a peak and falls: the root before the peak is the only
    /// minimum but for t → ∞, which it is compared with.
    pub fn best(&self) -> Option<Best> {
        let peak = self.peak()?;
        if self.imbalance(peak) <= 0.0 {
            return None;
        }
        let age = root(|age| self.imbalance(age), self.halved_until(peak, |age| self.imbalance(age) < 0.0), peak);
        let cost_rate = self.rate(age);
        let saving = 1.0 - cost_rate / self.cost_rate_to_failure();
        (NO_GAIN < saving).then_some(Best { age, cost_rate, saving })
    }

    /// The ages around the best whose cost rate is at most `share` above the best: 0.05 for 5 %. The upper end is `None`
    /// if even running to failure costs no more; the whole is `None` if there is no best age.
    ///
    /// # Errors
    /// A share that is not positive and finite.
    pub fn within(&self, share: f64) -> Result<Option<Bounds>, Error> {
        let share = positive("the share", share)?;
        Ok(self.best().map(|best| self.around(best, best.cost_rate * (1.0 + share))))
    }

    /// Points (age, cost rate) of the cost curve at `points` equally spaced ages up to `age`.
    ///
    /// # Errors
    /// An age that is not positive and finite.
    pub fn curve(&self, age: f64, points: u32) -> Result<Vec<(f64, f64)>, Error> {
        let step = positive("the age", age)? / f64::from(points);
        Ok((1..=points).map(|point| step * f64::from(point)).map(|age| (age, self.rate(age))).collect())
    }

    /// The band of the best age and its saving that the lives behind `fit` leave open at that level: the extremes over the
    /// contour of the likelihood, that is the profile bounds.
    ///
    /// # Errors
    /// A cost that is not positive and finite.
    pub fn band(fit: &Fit, planned_cost: f64, failure_cost: f64, level: Level) -> Result<Band, Error> {
        let (planned_cost, failure_cost) = costs(planned_cost, failure_cost)?;
        let best_of = |law| AgeReplacement { law, planned_cost, failure_cost }.best();
        let edge: Vec<Option<Best>> = fit.contour(level).into_iter().map(best_of).collect();
        let all = edge.iter().copied().chain([best_of(fit.law())]);
        let found: Vec<Best> = all.clone().flatten().collect();
        let savings = all.map(|best| best.map_or(0.0, |best| best.saving));
        let ages = || found.iter().map(|best| best.age);
        let n_found = edge.iter().flatten().count();
        Ok(Band {
            age: Bounds {
                lower: ages().reduce(f64::min),
                upper: ages().reduce(f64::max).filter(|_| n_found == edge.len()),
            },
            saving: [savings.clone().fold(f64::INFINITY, f64::min), savings.fold(0.0, f64::max)],
            with_best: n_found as f64 / edge.len() as f64,
        })
    }

    fn rate(&self, age: f64) -> f64 {
        let costs = self.planned_cost * self.law.survival(age) + self.failure_cost * self.law.failed_by(age);
        costs / self.law.mean_up_to(age)
    }

    /// Negative where C falls, positive where it rises.
    fn imbalance(&self, age: f64) -> f64 {
        let target = self.planned_cost / (self.failure_cost - self.planned_cost);
        self.law.hazard(age) * self.law.mean_up_to(age) - self.law.failed_by(age) - target
    }

    /// The age up to which the hazard rises, or by which all have failed; `None` if replacing early can't pay.
    fn peak(&self) -> Option<f64> {
        if self.failure_cost <= self.planned_cost {
            return None;
        }
        match self.law.family() {
            Family::Exponential => None,
            Family::Weibull if self.law.shape() <= 1.0 => None,
            Family::Weibull => Some(all_failed(&self.law)),
            Family::Lognormal => Some(lognormal_peak(&self.law)),
        }
    }

    fn halved_until(&self, mut age: f64, is_there: impl Fn(f64) -> bool) -> f64 {
        while !is_there(age) && f64::MIN_POSITIVE < age {
            age *= 0.5;
        }
        age
    }

    /// Where the cost rate passes `limit` on both sides of the best.
    fn around(&self, best: Best, limit: f64) -> Bounds {
        let start = self.halved_until(best.age, |age| limit < self.rate(age));
        let lower = root(|age| limit - self.rate(age), start, best.age);
        let crest = self.crest(best.age);
        let upper = (limit < self.rate(crest)).then(|| root(|age| self.rate(age) - limit, best.age, crest));
        Bounds { lower: Some(lower), upper }
    }

    /// The age up to which the cost rate rises after the best.
    fn crest(&self, best: f64) -> f64 {
        if self.law.family() != Family::Lognormal {
            return all_failed(&self.law);
        }
        let peak = lognormal_peak(&self.law);
        let mut beyond = peak.max(best);
        // It ends, since h·∫S − F falls to −1 as the hazard falls to nothing.
        while 0.0 <= self.imbalance(beyond) {
            beyond *= 2.0;
        }
        root(|age| -self.imbalance(age), peak.max(best), beyond)
    }
}

fn costs(planned: f64, failure: f64) -> Result<(f64, f64), Error> {
    Ok((positive("the cost of a planned replacement", planned)?, positive("the cost of a failure", failure)?))
}

fn all_failed(weibull: &Law) -> f64 {
    weibull.scale() * ALL_FAILED.powf(weibull.spread())
}

/// The age of the greatest hazard r(z)/(σt): there r(z) − z = σ, and the left side, r the normal hazard, falls all along
/// from above −z to below 1/z.
fn lognormal_peak(law: &Law) -> f64 {
    let sigma = law.spread();
    let excess = |z: f64| -Standard::Normal.log_survival(z)[1] - z - sigma;
    let (mut low, mut high) = (-sigma, 1.0 / sigma);
    for _ in 0..100 {
        let z = 0.5 * (low + high);
        if 0.0 < excess(z) { low = z } else { high = z }
    }
    (law.location() + sigma * low).exp()
}

/// Periodic replacement with minimal repair: a part goes at a planned age, and a failure before is repaired in a way that
/// leaves its hazard as it was (policy II).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MinimalRepair {
    law: Law,
    planned_cost: f64,
    repair_cost: f64,
}

impl MinimalRepair {
    /// Parts whose first failure has that law, at these costs of a planned replacement and of a minimal repair.
    ///
    /// # Errors
    /// A cost that is not positive and finite.
    pub fn new(law: Law, planned_cost: f64, repair_cost: f64) -> Result<MinimalRepair, Error> {
        let planned_cost = positive("the cost of a planned replacement", planned_cost)?;
        Ok(MinimalRepair { law, planned_cost, repair_cost: positive("the cost of a repair", repair_cost)? })
    }

    /// The costs per unit of age when parts are replaced at `age`: (cp + cm·H(t))/t.
    ///
    /// # Errors
    /// An age that is not positive and finite.
    pub fn cost_rate(&self, age: f64) -> Result<f64, Error> {
        Ok(self.rate(positive("the age", age)?))
    }

    /// The best age with its cost rate, or `None` if it is best to go on repairing for ever: where the hazard does not
    /// rise without end, H(t)/t falls in the long run to what no planned age can beat.
    ///
    /// # Formula
    /// Weibull with β > 1: t* = η·(cp/(cm·(β − 1)))^(1/β).
    pub fn best(&self) -> Option<(f64, f64)> {
        let shape = self.law.shape();
        if self.law.family() != Family::Weibull || shape <= 1.0 {
            return None;
        }
        let age = self.law.scale() * (self.planned_cost / (self.repair_cost * (shape - 1.0))).powf(1.0 / shape);
        // With a shape next to 1 it may lie beyond what numbers hold.
        (0.0 < age && age < f64::INFINITY).then(|| (age, self.rate(age)))
    }

    fn rate(&self, age: f64) -> f64 {
        (self.planned_cost + self.repair_cost * self.law.cumulative_hazard(age)) / age
    }
}
