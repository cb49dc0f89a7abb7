//! Roots and minima of functions of a positive number, by methods that can't be led astray.

use crate::Law;

/// Halvings after which neighbouring numbers are reached from any bracket that occurs here.
const HALVINGS: u32 = 200;

/// Where `rising` turns from negative to positive between two positive numbers, by halving their ratio.
pub(crate) fn root(rising: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    for _ in 0..HALVINGS {
        // Not the root of the product, which may leave the range of numbers.
        let middle = low.sqrt() * high.sqrt();
        if middle <= low || high <= middle {
            break;
        }
        if rising(middle) < 0.0 { low = middle } else { high = middle }
    }
    high
}

/// Where `f` has its minimum between two positive numbers, if there is but one: golden section of the logarithm.
///
/// Good to about the root of a number's digits, 1e-8, as any search that compares values is.
pub(crate) fn minimum(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let (mut a, mut b) = (low.ln(), high.ln());
    let (mut c, mut d) = (b - GOLDEN * (b - a), a + GOLDEN * (b - a));
    let (mut at_c, mut at_d) = (f(c.exp()), f(d.exp()));
    while 1e-9 < b - a {
        if at_c <= at_d {
            (b, d, at_d) = (d, c, at_c);
            c = b - GOLDEN * (b - a);
            at_c = f(c.exp());
        } else {
            (a, c, at_c) = (c, d, at_d);
            d = a + GOLDEN * (b - a);
            at_d = f(d.exp());
        }
    }
    (0.5 * (a + b)).exp()
}

/// Where `f` is lowest between two positive numbers: every dip of a grid of numbers, each `ratio` times the one before, is
/// followed to its bottom. A dip much narrower than `ratio` may be missed.
pub(crate) fn global_minimum(f: impl Fn(f64) -> f64, low: f64, high: f64, ratio: f64) -> f64 {
    let ages: Vec<f64> =
        std::iter::successors(Some(low), |&age| (age < high).then(|| (age * ratio).min(high))).collect();
    let grid: Vec<(f64, f64)> = ages.into_iter().map(|age| (age, f(age))).collect();
    let dips = grid.windows(3).filter(|three| three[1].1 <= three[0].1 && three[1].1 <= three[2].1);
    let bottoms = dips.map(|three| minimum(&f, three[0].0, three[2].0)).map(|age| (age, f(age)));
    let ends = [low, high].map(|age| (age, f(age)));
    // OK because there are two ends at least.
    bottoms.chain(ends).min_by(|one, other| one.1.total_cmp(&other.1)).expect("two ends").0
}

impl Law {
    /// The ratio between neighbours of a grid of spans on which costs of these lives are searched: lives that differ little
    /// make dips as narrow as their spread, where a whole number of spans comes just before or after them.
    pub(crate) fn grid_ratio(&self) -> f64 {
        1.0 + (0.5 * self.spread()).clamp(0.002, 0.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roots_and_minima_of_functions_whose_are_known() {
        assert!((root(|x| x * x - 2.0, 1e-200, 1e200) - 2.0_f64.sqrt()).abs() < 1e-15);
        // x − ln x is least at 1; the waves of the other are lowest at x = exp(3π/2 + 2π).
        assert!((minimum(|x| x - x.ln(), 1e-3, 1e3) - 1.0).abs() < 1e-7);
        let waves = |x: f64| x.ln().sin() - 1e-3 * x.ln();
        assert!((global_minimum(waves, 1.0, 1e5, 1.1).ln() - 3.5 * std::f64::consts::PI).abs() < 2e-3);
    }
}
