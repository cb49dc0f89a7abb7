//! Special functions that keep their digits in the tails.
//!
//! `erfc` comes from libm, good to one unit of the last place; that of statrs 0.19 is good to 1e-10 only. The incomplete
//! gamma functions of statrs are good to 1e-14; its quantiles are not, and are polished here by Newton's method.

use std::f64::consts::{FRAC_1_SQRT_2, PI, SQRT_2};

use libm::{erfc, lgamma};
use statrs::distribution::{ChiSquared, ContinuousCDF};
use statrs::function::erf::erfc_inv;
use statrs::function::gamma::{gamma_lr, gamma_ur};

/// The standard normal distribution function Φ.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * erfc(-z * FRAC_1_SQRT_2)
}

/// The standard normal density φ.
pub fn normal_density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// The z with Φ(z) = `chance`, 0 < chance < 1.
pub fn normal_quantile(chance: f64) -> f64 {
    if 0.5 < chance {
        return -normal_quantile(1.0 - chance);
    }
    let mut z = -SQRT_2 * erfc_inv(2.0 * chance);
    // Halley's step: the error of the start, 1e-10, is cubed; the second step is for the far tail.
    for _ in 0..2 {
        let off = (normal_cdf(z) - chance) / normal_density(z);
        z -= off / (1.0 + 0.5 * z * off);
    }
    z
}

/// P(a, x), the regularised lower incomplete gamma function.
pub(crate) fn gamma_p(a: f64, x: f64) -> f64 {
    if x <= 0.0 { 0.0 } else { gamma_lr(a, x) }
}

/// Q(a, x) = 1 − P(a, x), the regularised upper incomplete gamma function.
pub(crate) fn gamma_q(a: f64, x: f64) -> f64 {
    if x <= 0.0 { 1.0 } else { gamma_ur(a, x) }
}

/// The value below which a chi-square variable with `freedom` degrees of freedom lies with this chance.
pub(crate) fn chi_square_quantile(chance: f64, freedom: f64) -> f64 {
    // OK because every caller's degrees of freedom are positive.
    let law = ChiSquared::new(freedom).expect("positive degrees of freedom");
    let half = 0.5 * freedom;
    let mut x = law.inverse_cdf(chance).max(f64::MIN_POSITIVE);
    for _ in 0..3 {
        let log_density = (half - 1.0) * (0.5 * x).ln() - 0.5 * x - lgamma(half);
        let step = (gamma_p(half, 0.5 * x) - chance) / (0.5 * log_density.exp());
        x = (x - step).max(0.5 * x);
    }
    x
}

/// eˣ without a branch, so that the compiler can work out several at once; nothing below −708 and infinite above 709.
///
/// # Formula
/// eˣ = 2ᵏ·eʳ with k the whole number nearest to x/ln 2 and |r| ≤ ln 2/2, where Taylor's polynomial of 13th degree leaves
/// out less than 1e-17. Good to two units of the last place.
#[inline]
pub(crate) fn exp(x: f64) -> f64 {
    // 1.5·2⁵²: what is added to it is rounded to a whole number, which then stands in its last bits.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    // ln 2 in two parts, the first with so few bits that its product with k is exact.
    const LN_2_HIGH: f64 = 0.693_147_180_369_123_8;
    const LN_2_LOW: f64 = 1.908_214_929_270_587_7e-10;
    let within = if x < -708.0 { -708.0 } else { x };
    let within = if 709.0 < within { 709.0 } else { within };
    let rounded = within * std::f64::consts::LOG2_E + ROUND;
    let whole = rounded - ROUND;
    let rest = (within - whole * LN_2_HIGH) - whole * LN_2_LOW;
    // Estrin's order: pairs, pairs of pairs and so on, which need not wait for each other.
    let (r2, r4) = (rest * rest, rest * rest * (rest * rest));
    let low = (1.0 + rest) + (1.0 / 2.0 + rest * (1.0 / 6.0)) * r2;
    let middle = (1.0 / 24.0 + rest * (1.0 / 120.0)) + (1.0 / 720.0 + rest * (1.0 / 5040.0)) * r2;
    let high = (1.0 / 40_320.0 + rest * (1.0 / 362_880.0)) + (1.0 / 3_628_800.0 + rest * (1.0 / 39_916_800.0)) * r2;
    let top = 1.0 / 479_001_600.0 + rest * (1.0 / 6_227_020_800.0);
    let sum = (low + middle * r4) + (high + top * r4) * (r4 * r4);
    let power = f64::from_bits((rounded.to_bits().wrapping_add(1023)) << 52);
    let value = sum * power;
    let value = if x < -708.0 { 0.0 } else { value };
    if 709.0 < x { f64::INFINITY } else { value }
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

    const NORMAL: [(f64, f64); 5] = [
        (0.975, 1.9599639845400538),
        (0.9, 1.2815515655446006),
        (1e-10, -6.361340902404057),
        (0.5, 0.0),
        (1e-200, -30.20559417957964),
    ];
    const CHI_SQUARE: [(f64, f64, f64); 7] = [
        (0.95, 1.0, 3.8414588206941245),
        (0.975, 7.0, 16.012764274629323),
        (0.05, 4.0, 0.7107230213973241),
        (0.95, 6.0, 12.591587243743977),
        (0.1, 0.5, 0.00013500124771267935),
        (0.999, 200.0, 267.5405278227572),
        (0.0001, 2.0, 0.00020001000066671669),
    ];

    #[test]
    fn exp_has_the_digits_of_the_standard_librarys() {
        for step in -70_000..=70_000 {
            let x = f64::from(step) * 0.0101;
            let expected = x.exp();
            assert!((exp(x) - expected).abs() <= 5e-16 * expected, "{x}: {} not {expected}", exp(x));
        }
        for (x, expected) in
            [(-1000.0, 0.0_f64), (f64::NEG_INFINITY, 0.0), (710.0, f64::INFINITY), (f64::INFINITY, f64::INFINITY)]
        {
            assert!(exp(x).total_cmp(&expected).is_eq(), "{x}");
        }
        assert!(exp(f64::NAN).is_nan());
    }

    #[test]
    fn the_two_ways_of_working_out_erfcx_meet_where_one_takes_over_from_the_other() {
        let below = erfcx(FRACTION_FROM - 1e-12);
        let above = erfcx(FRACTION_FROM);
        // The slope there is −0.1, so the step itself moves it by 1e-13.
        assert!((below - above).abs() < 3e-13, "{below} {above}");
    }

    #[test]
    fn quantiles_have_the_digits_of_the_tables() {
        // mpmath 1.3 at 40 digits: √2·erfinv(2p − 1), and the root of gammainc(k/2, 0, x/2, regularized=True) = p.
        for (chance, expected) in NORMAL {
            assert!((normal_quantile(chance) - expected).abs() < 1e-14 * (1.0 + expected.abs()), "{chance}");
        }
        for (chance, freedom, expected) in CHI_SQUARE {
            let found = chi_square_quantile(chance, freedom);
            assert!((found - expected).abs() < 1e-13 * expected, "{chance} {freedom}: {found} not {expected}");
        }
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
