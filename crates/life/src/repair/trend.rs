//! Tests of a trend in the failures of repaired systems: do they come ever faster, or ever slower?
//!
//! Laplace's test: Cox & Lewis (1966), The Statistical Analysis of Series of Events, section 3.3. The chi-square test of
//! MIL-HDBK-189 (1981). Both against failures that keep a steady rate in each system, from system to system another one
//! (pooled: Ascher & Feingold (1984), section 5B). Without a trend the times of failure are spread evenly over the span of
//! watching, which is why a failure that itself ended the watching is left out.

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
}
