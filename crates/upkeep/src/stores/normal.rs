//! The standard normal law with its digits kept in the upper tail, and its loss function.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use libm::erfc;
use statrs::distribution::{ContinuousCDF, Normal};

/// The expected excess of a standard normal variable over `k`: the unit normal loss function G(k).
///
/// # Formula
/// G(k) = φ(k) − k·Q(k), with Q the upper tail, which keeps its digits where 1 − Φ has none left; below 0 by
/// G(−k) = G(k) + k. Silver, Pyke & Thomas (2017), Inventory and Production Management in Supply Chains, appendix II.
///
/// # Example
/// ```
/// use upkeep::stores::loss;
/// assert!((loss(0.0) - 0.398_942_280_4).abs() < 1e-10);
/// ```
pub fn loss(k: f64) -> f64 {
    if k < 0.0 { loss(-k) - k } else { (density(k) - k * above(k)).max(0.0) }
}

/// The density φ.
pub(super) fn density(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// The chance Q(z) of more than z.
pub(super) fn above(z: f64) -> f64 {
    0.5 * erfc(z * FRAC_1_SQRT_2)
}

/// The z that is not exceeded with this chance, 0 < chance < 1.
pub(super) fn quantile(chance: f64) -> f64 {
    let z = Normal::standard().inverse_cdf(chance);
    // Newton's step: the library's start is good to 1e-10 or so, and the step squares that.
    z + (chance - above(-z)) / density(z)
}
