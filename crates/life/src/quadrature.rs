//! Densities known by their logarithm and its first two derivatives at even steps.
//!
//! Between the steps the logarithm is the fifth-degree polynomial that has both ends' value, slope and curvature
//! (Hermite's), and shares of the mass are integrals over it by Gauss and Legendre's rule with five points (Abramowitz &
//! Stegun (1964), 25.4.29 and table 25.4).

use crate::law::Jet;

/// Nodes and weights on −1 to 1; from memory, checked by the test that a polynomial of ninth degree is exact.
const GAUSS: [(f64, f64); 5] = [
    (-0.906_179_845_938_664, 0.236_926_885_056_189_08),
    (-0.538_469_310_105_683_1, 0.478_628_670_499_366_47),
    (0.0, 0.568_888_888_888_888_9),
    (0.538_469_310_105_683_1, 0.478_628_670_499_366_47),
    (0.906_179_845_938_664, 0.236_926_885_056_189_08),
];

/// A density over a line, from its first node to its last; nothing lies outside.
#[derive(Clone, Debug)]
pub(crate) struct Density {
    from: f64,
    step: f64,
    /// The logarithm, its slope and its curvature at each node.
    jets: Vec<Jet>,
    /// The mass before each node, of 1 in all.
    before: Vec<f64>,
    /// What the densities are multiplied by so that all of it has mass 1.
    factor: f64,
}

impl Density {
    /// A density from its logarithm, which need not be normed, at `from`, `from + step` and so on.
    pub(crate) fn new(from: f64, step: f64, jets: Vec<Jet>) -> Density {
        let top = jets.iter().map(|jet| jet[0]).fold(f64::NEG_INFINITY, f64::max);
        let jets: Vec<Jet> = jets.into_iter().map(|[value, slope, curve]| [value - top, slope, curve]).collect();
        let mut density = Density { from, step, before: Vec::with_capacity(jets.len()), jets, factor: 1.0 };
        let mut sum = 0.0;
        for cell in 0..density.jets.len() {
            density.before.push(sum);
            sum += density.mass(cell, 1.0);
        }
        density.factor = 1.0 / sum;
        density.before.iter_mut().for_each(|mass| *mass /= sum);
        density
    }

    /// The first and the last node.
    pub(crate) fn ends(&self) -> [f64; 2] {
        [self.from, self.node(self.jets.len() - 1)]
    }

    fn node(&self, index: usize) -> f64 {
        self.from + self.step * index as f64
    }

    /// Nodes and their weights by the trapezoidal rule, of 1 in all: for a smooth density that falls to nothing at both
    /// ends its error falls as an exponential of the number of nodes (Trefethen & Weideman (2014), SIAM Review 56).
    pub(crate) fn weighted(&self) -> Vec<(f64, f64)> {
        let sum: f64 = self.jets.iter().map(|jet| jet[0].exp()).sum();
        self.jets.iter().enumerate().map(|(index, jet)| (self.node(index), jet[0].exp() / sum)).collect()
    }

    /// The share of the mass below `x`.
    pub(crate) fn below(&self, x: f64) -> f64 {
        let cells = (x - self.from) / self.step;
        if cells <= 0.0 {
            return 0.0;
        }
        let cell = cells as usize;
        if self.jets.len() - 1 <= cell {
            return 1.0;
        }
        self.before[cell] + self.mass(cell, cells - cell as f64)
    }

    /// The x below which the share `chance` lies.
    pub(crate) fn quantile(&self, chance: f64) -> f64 {
        let cell = self.before.partition_point(|&before| before <= chance).clamp(1, self.jets.len() - 1) - 1;
        crossing(|x| self.below(x) - chance, self.node(cell), self.node(cell + 1))
    }

    /// The mass of the first `share` of a cell; nothing for the last node, after which there is none.
    fn mass(&self, cell: usize, share: f64) -> f64 {
        let Some(end) = self.jets.get(cell + 1) else { return 0.0 };
        let log = |u: f64| between(&self.jets[cell], end, self.step, u);
        let sum: f64 = GAUSS.iter().map(|&(x, weight)| weight * log(0.5 * share * (1.0 + x)).exp()).sum();
        0.5 * share * sum * self.factor
    }
}

/// Hermite's polynomial of fifth degree at the share `u` of a step.
fn between(a: &Jet, b: &Jet, step: f64, u: f64) -> f64 {
    let half = |jet: &Jet, u: f64, step: f64| {
        let rest = (1.0 - u).powi(3);
        let bend = 0.5 * u * u * jet[2] * step * step;
        rest * (jet[0] * (1.0 + 3.0 * u + 6.0 * u * u) + jet[1] * step * u * (1.0 + 3.0 * u) + bend)
    };
    half(a, u, step) + half(b, 1.0 - u, -step)
}

/// Where a function that is not above 0 at one end and not below at the other crosses 0: false position with the end that
/// stays weighed down by half (the Illinois method; Dowell & Jarratt (1971), BIT 11: 168–174).
pub(crate) fn crossing(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let (mut a, mut b) = ((low, f(low)), (high, f(high)));
    if b.1 == 0.0 {
        return b.0;
    }
    for _ in 0..200 {
        let middle = (a.0 * b.1 - b.0 * a.1) / (b.1 - a.1);
        let at = if a.0.min(b.0) < middle && middle < a.0.max(b.0) { middle } else { 0.5 * (a.0 + b.0) };
        let here = (at, f(at));
        if here.1 * b.1 < 0.0 {
            a = b;
        } else {
            a.1 *= 0.5;
        }
        b = here;
        if here.1 == 0.0 || (b.0 - a.0).abs() < 1e-14 * (1.0 + b.0.abs()) {
            break;
        }
    }
    b.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::special::normal_cdf;

    #[test]
    fn the_rule_is_exact_for_a_polynomial_of_ninth_degree() {
        // ∫ x⁸ from −1 to 1 is 2/9, and odd powers vanish.
        let sum: f64 = GAUSS.iter().map(|&(x, weight)| weight * (x.powi(8) + x.powi(9))).sum();
        assert!((sum - 2.0 / 9.0).abs() < 1e-15, "{sum}");
    }

    #[test]
    fn a_normal_density_has_the_shares_and_quantiles_of_the_normal_law() {
        let jets = (0..=70).map(|index| -10.5 + 0.3 * f64::from(index)).map(|z: f64| [-0.5 * z * z, -z, -1.0]);
        let density = Density::new(-10.5, 0.3, jets.collect());
        for z in [-6.0, -1.234, 0.0, 0.1, 2.5] {
            assert!((density.below(z) - normal_cdf(z)).abs() < 1e-9 * normal_cdf(z), "{z}");
            assert!((density.quantile(normal_cdf(z)) - z).abs() < 1e-8, "{z}");
        }
        let square: f64 = density.weighted().iter().map(|(z, weight)| z * z * weight).sum();
        assert!((square - 1.0).abs() < 1e-13, "{square}");
    }

    #[test]
    fn a_crossing_is_found_from_either_side_and_at_an_end() {
        for (low, high) in [(0.0, 3.0), (3.0, 0.0), (2.0_f64.cbrt(), 9.0)] {
            assert!((crossing(|x| x.powi(3) - 2.0, low, high) - 2.0_f64.cbrt()).abs() < 1e-12);
        }
    }
}
