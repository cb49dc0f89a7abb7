//! Tests of a trend in the failures of repaired systems: do they come ever faster, or ever slower?
//!
//! Laplace's test: Cox & Lewis (1966), The Statistical Analysis of Series of Events, section 3.3. The chi-square test of
//! MIL-HDBK-189 (1981). Both against failures that keep a steady rate in each system, from system to system another one
//! (pooled: Ascher & Feingold (1984), section 5B). Without a trend the times of failure are spread evenly over the span of
//! watching, which is why a failure that itself ended the watching is left out.
//!
//! The reversals of the spans between failures: Mann (1945), "Nonparametric tests against trend", Econometrica 13:
//! 245–259; NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.3.4. Against spans of which no order is likelier than
//! another, whatever law they have.

use super::System;
use crate::special::{gamma_p, gamma_q, normal_cdf};

/// A trend can't be told from so few failures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "no failure lies inside the spans of watching (a last one that ended the watching not counted): no trend can be told"
)]
pub struct TooFewFailures;

/// Laplace's test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LaplaceTest {
    /// U: above 0 failures come ever faster, below 0 ever slower. Normal without a trend, near enough from four failures.
    pub score: f64,
    /// The chance of a score as far from 0 or further, if there is no trend.
    pub two_sided: f64,
}

/// Laplace's test over all systems.
///
/// # Formula
/// U = Σ (t − m)/√(Σ w²/12), both over all failures, m the middle and w the width of the span in which it was watched.
///
/// # Errors
/// No failure that is free to lie anywhere.
pub fn laplace_test(systems: &[System]) -> Result<LaplaceTest, TooFewFailures> {
    let (mut off, mut variance) = (0.0, 0.0);
    for system in systems {
        let (middle, width) = (0.5 * (system.start + system.end), system.end - system.start);
        off += system.free_times().iter().map(|time| time - middle).sum::<f64>();
        variance += system.free_times().len() as f64 * width * width / 12.0;
    }
    if variance <= 0.0 {
        return Err(TooFewFailures);
    }
    let score = off / variance.sqrt();
    Ok(LaplaceTest { score, two_sided: 2.0 * normal_cdf(-score.abs()) })
}

/// The chi-square test of MIL-HDBK-189.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChiSquareTest {
    /// χ²: small where failures come ever faster, large where ever slower.
    pub statistic: f64,
    /// Degrees of freedom.
    pub freedom: usize,
    /// The chance of a statistic as small or smaller, if there is no trend.
    pub lower_tail: f64,
    /// The chance of one as large or larger.
    pub upper_tail: f64,
}

impl ChiSquareTest {
    /// The chance of a statistic as far out or further on either side, if there is no trend.
    pub fn two_sided(&self) -> f64 {
        (2.0 * self.lower_tail.min(self.upper_tail)).min(1.0)
    }
}

/// The chi-square test of MIL-HDBK-189 over all systems; exact for any number of failures.
///
/// # Formula
/// χ² = 2·Σ ln((b − a)/(t − a)) over all failures, a and b the start and the end of watching: chi-square with two degrees
/// of freedom each.
///
/// # Errors
/// No failure that is free to lie anywhere.
pub fn chi_square_test(systems: &[System]) -> Result<ChiSquareTest, TooFewFailures> {
    let of = |system: &System| {
        let (start, width) = (system.start, system.end - system.start);
        system.free_times().iter().map(|time| (width / (time - start)).ln()).sum::<f64>()
    };
    let failures: usize = systems.iter().map(|system| system.free_times().len()).sum();
    if failures == 0 {
        return Err(TooFewFailures);
    }
    let half: f64 = systems.iter().map(of).sum();
    let n = failures as f64;
    let (lower_tail, upper_tail) = (gamma_p(n, half), gamma_q(n, half));
    Ok(ChiSquareTest { statistic: 2.0 * half, freedom: 2 * failures, lower_tail, upper_tail })
}

/// The test by reversals: pairs of spans between failures of which the later is the longer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReversalTest {
    /// Spans: one for each failure, the first from the start of watching. The last, without a failure, is none.
    pub spans: usize,
    /// Reversals; spans as long as each other make none.
    pub reversals: usize,
    /// The chance of as many or more, if there is no trend: small where failures come ever slower.
    pub as_many_or_more: f64,
    /// The chance of as many or fewer: small where they come ever faster.
    pub as_many_or_fewer: f64,
}

impl ReversalTest {
    /// The mean number of reversals if there is no trend: half of all pairs.
    pub fn expected(&self) -> f64 {
        0.5 * pairs(self.spans)
    }

    /// The chance of a number as far out or further on either side, if there is no trend.
    pub fn two_sided(&self) -> f64 {
        (2.0 * self.as_many_or_more.min(self.as_many_or_fewer)).min(1.0)
    }
}

/// Up to so many spans the orders are counted; beyond, the number of reversals is taken as normal, which is then good to
/// a thousandth.
const COUNTED: usize = 60;

/// The test by reversals of one system; `None` with fewer than two failures, which make no pair.
///
/// Where watching began at an age, the first span is not a whole one; it may stand with the others if the failures keep a
/// steady rate.
///
/// # Formula
/// Of all orders of n spans, with reversals counted; beyond [`COUNTED`] spans a normal law with mean n(n − 1)/4 and
/// variance n(n − 1)(2n + 5)/72, and half a reversal as correction for continuity.
pub fn reversal_test(system: &System) -> Option<ReversalTest> {
    let starts = std::iter::once(&system.start).chain(&system.times);
    let spans: Vec<f64> = system.times.iter().zip(starts).map(|(end, start)| end - start).collect();
    if spans.len() < 2 {
        return None;
    }
    let longer_after = |(place, span): (usize, &f64)| spans[place..].iter().filter(|later| span < later).count();
    let reversals = spans.iter().enumerate().map(longer_after).sum();
    let [as_many_or_fewer, as_many_or_more] =
        if spans.len() <= COUNTED { counted(spans.len(), reversals) } else { normal(spans.len(), reversals) };
    Some(ReversalTest { spans: spans.len(), reversals, as_many_or_more, as_many_or_fewer })
}

fn pairs(spans: usize) -> f64 {
    let n = spans as f64;
    0.5 * n * (n - 1.0)
}

/// The chances of at most, and of at least, so many reversals, over all orders.
fn counted(spans: usize, reversals: usize) -> [f64; 2] {
    // The nth span makes 0 to n − 1 reversals with those before it, each as likely, whatever their order.
    let mut chances = vec![1.0];
    for n in 2..=spans {
        let shares = |total: usize| &chances[(total + 1).saturating_sub(n)..chances.len().min(total + 1)];
        chances = (0..chances.len() + n - 1).map(|total| shares(total).iter().sum::<f64>() / n as f64).collect();
    }
    [chances[..=reversals].iter().sum(), chances[reversals..].iter().sum()]
}

fn normal(spans: usize, reversals: usize) -> [f64; 2] {
    let (n, pairs) = (spans as f64, pairs(spans));
    let off = reversals as f64 - 0.5 * pairs;
    let width = (pairs * (2.0 * n + 5.0) / 36.0).sqrt();
    [normal_cdf((off + 0.5) / width), normal_cdf((0.5 - off) / width)]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn system(start: f64, end: f64, times: &[f64]) -> System {
        System::new(start, end, times.to_vec()).unwrap()
    }

    #[test]
    fn a_failure_that_ended_the_watching_tells_no_trend() {
        assert_eq!(laplace_test(&[system(0.0, 5.0, &[5.0])]), Err(TooFewFailures));
        assert_eq!(chi_square_test(&[system(0.0, 5.0, &[5.0])]), Err(TooFewFailures));
        assert_eq!(laplace_test(&[]), Err(TooFewFailures));
        // The others lie in (0, 8) as they do if it ended at a time.
        let (ended, timed) = (system(0.0, 8.0, &[1.0, 5.0, 8.0]), system(0.0, 8.0, &[1.0, 5.0]));
        assert_eq!(laplace_test(&[ended]), laplace_test(&[timed]));
    }

    #[test]
    fn a_late_start_moves_the_span_only() {
        let (late, early) = (system(100.0, 110.0, &[103.0, 104.0]), system(0.0, 10.0, &[3.0, 4.0]));
        let (late, early) = (chi_square_test(&[late]).unwrap(), chi_square_test(&[early]).unwrap());
        assert!((late.statistic - early.statistic).abs() < 1e-12);
    }

    #[test]
    fn systems_are_pooled() {
        // By hand: two failures, each 1 above the middle of a span 6 wide: 2/√(2·36/12).
        let systems = [system(0.0, 6.0, &[4.0]), system(10.0, 16.0, &[14.0])];
        assert!((laplace_test(&systems).unwrap().score - 2.0 / 6.0_f64.sqrt()).abs() < 1e-15);
        // 2·2·ln(6/4).
        let test = chi_square_test(&systems).unwrap();
        assert!((test.statistic - 4.0 * 1.5_f64.ln()).abs() < 1e-15 && test.freedom == 4);
        assert!((test.two_sided() - 2.0 * test.lower_tail.min(test.upper_tail)).abs() < 1e-15);
    }

    #[test]
    fn all_orders_of_three_spans_are_counted() {
        // By hand: 0, 1, 1, 2, 2 and 3 reversals.
        for (reversals, fewer, more) in [(0, 1.0, 6.0), (1, 3.0, 5.0), (2, 5.0, 3.0), (3, 6.0, 1.0)] {
            let found = counted(3, reversals);
            assert!((found[0] - fewer / 6.0).abs() < 1e-15 && (found[1] - more / 6.0).abs() < 1e-15, "{found:?}");
        }
    }

    /// SciPy 1.17's exact law of Kendall's τ, whose concordant pairs are reversals.
    #[test]
    fn chances_of_reversals_are_those_of_kendalls_rank_correlation() {
        for (spans, reversals, fewer, more) in [
            (7, 3, 0.01507936507936508, 0.9946428571428572),
            (12, 46, 0.9685654265037946, 0.0431585572991823),
            (40, 500, 0.995299568857829, 0.005042836592384406),
        ] {
            let found = counted(spans, reversals);
            assert!((found[0] - fewer).abs() < 1e-13 && (found[1] - more).abs() < 1e-13, "{found:?}");
        }
        let found = normal(100, 2700);
        assert!((found[0] - 0.910_150_380).abs() < 1e-3 && (found[1] - 0.090_821_618).abs() < 1e-3, "{found:?}");
    }

    #[test]
    fn many_failures_that_come_ever_slower_are_told_beyond_what_is_counted() {
        let squares: Vec<f64> = (1..=80).map(|i| f64::from(i * i)).collect();
        let test = reversal_test(&system(0.0, 7000.0, &squares)).unwrap();
        assert_eq!((test.spans, test.reversals), (80, 80 * 79 / 2));
        assert!(test.as_many_or_more < 1e-30 && test.two_sided() < 1e-30 && 0.999 < test.as_many_or_fewer, "{test:?}");
    }

    #[test]
    fn a_single_failure_makes_no_pair() {
        assert_eq!(reversal_test(&system(0.0, 5.0, &[2.0])), None);
        assert_eq!(reversal_test(&system(0.0, 5.0, &[])), None);
    }
}
