//! The standard normal law's loss function.

use life::{normal_cdf, normal_density};

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
    if k < 0.0 { loss(-k) - k } else { (normal_density(k) - k * above(k)).max(0.0) }
}

/// The chance Q(z) of more than z.
pub(super) fn above(z: f64) -> f64 {
    normal_cdf(-z)
}
