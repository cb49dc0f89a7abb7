//! How many replacements a span takes on average, and replacing in blocks.
//!
//! The renewal function M(t) solves M(t) = F(t) + ∫ M(t − u) dF(u) from 0 to t. It is worked out by the midpoint sum of the
//! Riemann–Stieltjes integral (Xie (1989), "On the solution of renewal-type integral equations", Communications in
//! Statistics B 18: 281–293), which needs F alone. Its error shrinks as the square of the step where F is smooth, which
//! Richardson's extrapolation takes away; the steps are halved until two extrapolated values in a row agree, and their
//! difference is given as the error. Block replacement: Barlow & Proschan (1965), chapter 4, section 2.2.

use crate::replace::Best;
use crate::solve::global_minimum;
use crate::{Error, Law, positive};

/// Steps of the first two sums.
const FEWEST: usize = 64;

/// Steps of the last sum: it takes 8 million products.
const MOST: usize = 4096;

/// Two values that differ by no more than this share agree.
const AGREE: f64 = 1e-9;

/// A value of the renewal function.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Renewals {
    /// The mean number of failures in the span, each replaced at once by a new part.
    pub expected: f64,
    /// About how far off it may be.
    pub error: f64,
}

impl Renewals {
    /// M(`span`) for parts of that law, new at the start.
    ///
    /// # Errors
    /// A span that is not positive and finite.
    ///
    /// # Example
    /// ```
    /// # fn main() -> Result<(), life::Error> {
    /// let pads = life::Law::exponential(100.0)?;
    /// let used = life::Renewals::over(&pads, 250.0)?;
    /// assert!((used.expected - 2.5).abs() < 1e-8);
    /// # Ok(())
    /// # }
    /// ```
    pub fn over(law: &Law, span: f64) -> Result<Renewals, Error> {
        Ok(renewals(|age| law.failed_by(age), positive("the span", span)?, MOST))
    }
}

/// M(`span`) for the distribution function `cdf`, by at most `most` steps.
fn renewals(cdf: impl Fn(f64) -> f64, span: f64, most: usize) -> Renewals {
    let mut steps = 2 * FEWEST;
    let mut sum = midpoint(&cdf, span, steps);
    let mut last = extrapolated(midpoint(&cdf, span, FEWEST), sum);
    loop {
        steps *= 2;
        let finer = midpoint(&cdf, span, steps);
        let next = extrapolated(sum, finer);
        let error = (next - last).abs();
        if error <= AGREE * next || most <= steps {
            return Renewals { expected: next, error };
        }
        (sum, last) = (finer, next);
    }
}

fn extrapolated(coarse: f64, fine: f64) -> f64 {
    fine + (fine - coarse) / 3.0
}

/// Xie's sum with `steps` steps of size h: M(i) = (F(ih) + Σ F((i−j+½)h)·(M(j) − M(j−1)) − F(½h)·M(i−1)) / (1 − F(½h)), the
/// sum over j < i.
fn midpoint(cdf: impl Fn(f64) -> f64, span: f64, steps: usize) -> f64 {
    let h = span / steps as f64;
    let halves: Vec<f64> = (0..steps).map(|step| cdf((step as f64 + 0.5) * h)).collect();
    // Rises of M so far, the latest last.
    let mut rises: Vec<f64> = Vec::with_capacity(steps);
    let mut last = 0.0;
    for i in 1..=steps {
        let sum: f64 = halves[1..i].iter().rev().zip(&rises).map(|(half, rise)| half * rise).sum();
        // 1 where all have failed within half a step: a span of that many lives is too long for the steps.
        let left = (1.0 - halves[0]).max(f64::EPSILON);
        let next = (cdf(i as f64 * h) + sum - halves[0] * last) / left;
        rises.push(next - last);
        last = next;
    }
    last
}

/// Steps at most while searching.
const SEARCHING: usize = 256;

/// Beyond this many mean lives M is a straight line to all digits that matter, for laws that gain from replacement.
const HORIZON: f64 = 8.0;

/// A saving of less than this share is none; it is above the error of the search.
const NO_GAIN: f64 = 1e-5;

/// Block replacement: parts go at fixed times whatever their age, and at each failure between.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BlockReplacement {
    law: Law,
    planned_cost: f64,
    failure_cost: f64,
}

impl BlockReplacement {
    /// Parts of that law, at these costs of a planned replacement (a part's share of a block) and of a failure.
    ///
    /// # Errors
    /// A cost that is not positive and finite.
    pub fn new(law: Law, planned_cost: f64, failure_cost: f64) -> Result<BlockReplacement, Error> {
        let planned_cost = positive("the cost of a planned replacement", planned_cost)?;
        Ok(BlockReplacement { law, planned_cost, failure_cost: positive("the cost of a failure", failure_cost)? })
    }

    /// The costs of one part per unit of time when blocks are `span` apart: (cp + cf·M(t))/t.
    ///
    /// # Errors
    /// A span that is not positive and finite.
    pub fn cost_rate(&self, span: f64) -> Result<f64, Error> {
        Ok(self.rate(positive("the span", span)?, MOST))
    }

    /// The best span between blocks, or `None` if running to failure is best or as good to a hundred thousandth.
    ///
    /// # Formula
    /// Since C(t) ≥ cp/t, a span that beats running to failure, cf/μ, is longer than μ·cp/cf; since M(t) ≥ t/μ − 1, there
    /// is none unless cp < cf. Between there and [`HORIZON`] mean lives all of the curve is searched, as M wavers about its
    /// line for parts whose lives differ little.
    pub fn best(&self) -> Option<Best> {
        let mean = self.law.mean();
        if self.failure_cost <= self.planned_cost {
            return None;
        }
        let rate = |span| self.rate(span, SEARCHING);
        let age =
            global_minimum(rate, mean * self.planned_cost / self.failure_cost, HORIZON * mean, self.law.grid_ratio());
        let cost_rate = self.rate(age, MOST);
        let saving = 1.0 - cost_rate * mean / self.failure_cost;
        (NO_GAIN < saving && age < 0.999 * HORIZON * mean).then_some(Best { age, cost_rate, saving })
    }

    fn rate(&self, span: f64, most: usize) -> f64 {
        let failures = renewals(|age| self.law.failed_by(age), span, most).expected;
        (self.planned_cost + self.failure_cost * failures) / span
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// M(t) = t/2 − 1/4 + exp(−2t)/4 for two exponential stages of mean 1 (closed form of any text on renewals).
    #[test]
    fn two_exponential_stages_have_the_renewals_of_the_closed_form() {
        let erlang = |t: f64| -(-t).exp_m1() - t * (-t).exp();
        for (span, expected) in
            [(0.5, 0.091_969_860_29), (1.0, 0.283_833_820_8), (2.0, 0.754_578_909_7), (5.0, 2.250_011_35)]
        {
            let found = renewals(erlang, span, MOST).expected;
            assert!((found - expected).abs() < 1e-8 * expected, "{span}: {found} not {expected}");
        }
    }

    #[test]
    fn the_error_given_is_not_less_than_the_error_made() {
        // A falling hazard has an infinite density at 0, so that the extrapolation loses its order. The truth: the same
        // sum with steps far finer.
        let law = Law::weibull(0.7, 1.0).expect("a law");
        let truth = renewals(|age| law.failed_by(age), 1.0, 4 * MOST).expected;
        let coarse = renewals(|age| law.failed_by(age), 1.0, SEARCHING);
        assert!((coarse.expected - truth).abs() < coarse.error, "{coarse:?} {truth}");
        assert!(coarse.error < 1e-5);
    }
}
