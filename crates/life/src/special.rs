//! Special functions of the normal law that keep their digits in the tail.
//!
//! `erfc` comes from libm, good to one unit of the last place; that of statrs 0.19 is good to 1e-10 only.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use libm::erfc;

/// The standard normal distribution function Φ.
pub(crate) fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z * FRAC_1_SQRT_2)
}

/// From here on the fraction converges quickly; below, exp(x²)·erfc(x) keeps its digits.
const FRACTION_FROM: f64 = 2.0;

/// Terms of the continued fraction: what n leave out is of the order exp(−2x√(2n)), at x = 2 and n = 60 1e-19.
const FRACTION_TERMS: u32 = 60;

/// The scaled complementary error function exp(x²)·erfc(x) for x ≥ 0, which never overflows.
///
/// # Formula
/// For large x Laplace's continued fraction, Abramowitz & Stegun (1964), 7.1.14:
/// √π·erfcx(x) = 1/(x + (1/2)/(x + 1/(x + (3/2)/(x + 2/(x + …))))).
pub(crate) fn erfcx(x: f64) -> f64 {
    if x < FRACTION_FROM {
        return (x * x).exp() * erfc(x);
    }
    let tail = (1..=FRACTION_TERMS).rev().fold(x, |tail, term| x + f64::from(term) / 2.0 / tail);
    1.0 / (PI.sqrt() * tail)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_two_ways_of_working_out_erfcx_meet_where_one_takes_over_from_the_other() {
        let below = erfcx(FRACTION_FROM - 1e-12);
        let above = erfcx(FRACTION_FROM);
        // The slope there is −0.1, so the step itself moves it by 1e-13.
        assert!((below - above).abs() < 3e-13, "{below} {above}");
    }

    #[test]
    fn erfcx_has_the_digits_of_the_tables() {
        // exp(x²)·erfc(x) worked out from the C library's erfc, good to one unit of the last place: 1e-13 is 25 of them
        // from exp(x²) and some.
        for (x, expected) in [
            (0.0, 1.0),
            (0.5, 0.6156903441929259),
            (1.0, 0.427583576155807),
            (1.9, 0.2665093736616727),
            (2.0, 0.2553956763105057),
            (3.0, 0.17900115118138993),
            (5.0, 0.11070463773306866),
        ] {
            assert!((erfcx(x) - expected).abs() < 1e-13 * expected, "{x}: {} not {expected}", erfcx(x));
        }
    }

    #[test]
    fn erfcx_approaches_its_first_term_far_out() {
        // Abramowitz & Stegun 7.1.23: √π·x·erfcx(x) = 1 − 1/(2x²) + …; the next term, 3/(4x⁴), is 7.5e-13 at 1000.
        let x = 1000.0;
        assert!((PI.sqrt() * x * erfcx(x) - (1.0 - 0.5 / (x * x))).abs() < 1e-12);
    }
}
