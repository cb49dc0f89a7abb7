//! Bounds of a power-law process' intensity, and mean time between failures, at the end of watching.
//!
//! Crow (1982), Proceedings of the Reliability and Maintainability Symposium: 344–350, whose tables these bounds replace:
//! - watched to a set time T: given W = Σ ln(T/t), the number of failures has the chances x^k/(k!·(k − 1)!), k ≥ 1, but for
//!   a factor, where x = W·T·intensity; the bounds are the x under which N or more, N or fewer have half of what the level
//!   leaves (conservative, since N is whole);
//! - watched to the Nth failure: the intensity over its estimate is G·H/N², G and H independent gamma variables of shapes N
//!   and N − 1.
//!
//! All other watching: ln of the intensity ± z times its standard error by the observed information.

use libm::lgamma;

use super::power_law::{Design, How, PowerLawFit};
use crate::solve::root;
use crate::special::gamma_p;
use crate::{Bounds, Level};

/// Terms smaller than this share of their sum are left out.
const NEGLIGIBLE: f64 = 1e-18;

/// Bounds at the end of watching.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EndBounds {
    /// Of one system's failures per unit of time.
    pub intensity: Bounds,
    /// Of the mean time between failures, one over the intensity.
    pub mtbf: Bounds,
    /// How they were found.
    pub how: How,
}

impl PowerLawFit {
    /// Bounds of intensity and mean time between failures at the end: exact ones where all systems were watched from 0 to
    /// the same time or one to its last failure, else by the likelihood.
    ///
    /// A single failure by a set time gives no lower bound of the intensity.
    pub fn end_bounds(&self, level: Level) -> EndBounds {
        let tail = 0.5 * (1.0 - level.get());
        let n = self.failures as f64;
        let (ratios, how) = match self.design {
            Some(Design::Timed) => (timed(n, tail).map(|x| x.map(|x| x / (n * n))), How::Exact),
            Some(Design::Ended) => (ended(n, tail).map(|x| Some(x / (n * n))), How::Exact),
            None => {
                let factor = (level.z() * self.log_intensity_error(self.end())).exp();
                ([Some(1.0 / factor), Some(factor)], How::Likelihood)
            }
        };
        let [lower, upper] = ratios.map(|ratio| ratio.map(|ratio| ratio * self.law.intensity(self.end())));
        let mtbf = Bounds { lower: upper.map(f64::recip), upper: lower.map(f64::recip) };
        EndBounds { intensity: Bounds { lower, upper }, mtbf, how }
    }

    /// The standard error of ln of the intensity at a time above 0, by the observed information of ln λ and β.
    pub fn log_intensity_error(&self, time: f64) -> f64 {
        let (n, shape) = (self.failures as f64, self.law.shape());
        let [sum, slope, curve] = self.spans.sums(shape);
        // In shares of the last end, where λ·Σ(b^β − a^β) = N.
        let (both, own) = (n * slope / sum, n / (shape * shape) + n * curve / sum);
        let by_shape = 1.0 / shape + (time / self.spans.last).ln();
        ((own - 2.0 * both * by_shape + n * by_shape * by_shape) / (n * own - both * both)).sqrt()
    }
}

/// The x under which `n` or more failures, and `n` or fewer, have the chance `tail`; one failure or more is certain.
fn timed(n: f64, tail: f64) -> [Option<f64>; 2] {
    let far = (n + 20.0 * n.sqrt() + 200.0).powi(2);
    let near = 1e-14 * n * n;
    let bound = |or_more: f64, rising: f64| root(|x| rising * (chance(n, x, or_more) - tail), near, far);
    [(1.0 < n).then(|| bound(1.0, 1.0)), Some(bound(-1.0, -1.0))]
}

/// The chance of `n` or more (`side` 1) or of `n` or fewer (−1), of chances that go as x^k/(k!·(k − 1)!).
fn chance(n: f64, x: f64, side: f64) -> f64 {
    let above = sum(n, |k| x / (k * (k + 1.0)), 1.0);
    let below = sum(n, |k| k * (k - 1.0) / x, -1.0);
    let (side, other) = if 0.0 < side { (above, below) } else { (below, above) };
    // Right where one of the sums, but never both, has left the range of numbers.
    1.0 / (1.0 + other / (1.0 + side))
}

/// The terms beyond the `from`th, as multiples of it; `ratio` of a term's number leads to the next one `step` on.
fn sum(from: f64, ratio: impl Fn(f64) -> f64, step: f64) -> f64 {
    let (mut k, mut term, mut sum) = (from, 1.0, 0.0);
    loop {
        let ratio = ratio(k);
        term *= ratio;
        sum += term;
        k += step;
        if (ratio < 1.0 && term <= NEGLIGIBLE * (1.0 + sum)) || sum.is_infinite() {
            return sum;
        }
    }
}

/// The quantiles at `tail` and 1 − `tail` of the product of two gamma variables of shapes `n` and `n` − 1.
fn ended(n: f64, tail: f64) -> [f64; 2] {
    // Trapezoidal rule over ln G: its integrand is smooth and falls to nothing at both ends.
    let width = 1.0 / n.sqrt();
    let (from, to, step) = (n.ln() - 10.0 * width - 40.0 / n, n.ln() + 10.0 * width, 0.25 * width);
    let log_factor = lgamma(n);
    let steps = ((to - from) / step) as u32;
    let nodes: Vec<(f64, f64)> = (0..=steps)
        .map(|i| {
            let log = from + f64::from(i) * step;
            (log.exp(), step * (n * log - log.exp() - log_factor).exp())
        })
        .collect();
    let below = |x: f64| nodes.iter().map(|(g, weight)| weight * gamma_p(n - 1.0, x / g)).sum::<f64>();
    let far = (n + 20.0 * n.sqrt() + 200.0).powi(2);
    [tail, 1.0 - tail].map(|chance| root(|x| below(x) - chance, 1e-14 * n * n, far))
}
