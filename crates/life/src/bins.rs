//! Σ w·e^z over very many ages, in the time that a few hundred take.
//!
//! The Weibull likelihood knows the ages through Σ w·e^z, Σ w·z·e^z and Σ w·z²·e^z alone, z = (y − μ)/σ, y = ln t. In a
//! narrow bin around c, y = c + u·h with |u| ≤ 1, and e^z = e^((c − μ)/σ)·e^(x·u) with x = h/σ small: Taylor's series in
//! x·u needs of the bin only its moments Σ w·u^j, which are summed once for all μ and σ. It is the expansion on which fast
//! Gauss transforms rest (Greengard & Strain (1991), SIAM J. Sci. Stat. Comput. 12: 79–94).
//!
//! With [`TERMS`] moments, and x at most [`FARTHEST`], what is left out is at most x^8·e^x/6! < 2e-15 of Σ |w|·e^z, of the
//! order of the rounding of a plain sum.

use crate::special::exp;

/// Moments of a bin.
const TERMS: usize = 8;

/// Half a bin's width, in spreads, to which the series holds its digits.
const FARTHEST: f64 = 1.0 / 32.0;

/// Bins pay if there are so many times as many ages.
const CROWD: usize = 8;

/// Weighted ages, sorted into bins of ln age.
#[derive(Clone, Debug)]
pub(crate) struct Bins {
    /// The middle of the first.
    first: f64,
    /// Half the width of each.
    half: f64,
    moments: Vec<[f64; TERMS]>,
}

impl Bins {
    /// Bins of (y, w) that serve spreads down to `narrowest`; `None` if there are too few for their range.
    pub(crate) fn new(weighted: impl ExactSizeIterator<Item = (f64, f64)> + Clone, narrowest: f64) -> Option<Bins> {
        let range = weighted.clone().fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], (y, _)| {
            [if y < low { y } else { low }, if high < y { y } else { high }]
        });
        let half = FARTHEST * narrowest;
        let count = ((range[1] - range[0]) / (2.0 * half)).floor() + 1.0;
        // False where there are no ages, and so no range, or no spread, and so no width.
        let pays = (1.0..=(weighted.len() / CROWD) as f64).contains(&count);
        pays.then(|| {
            let mut bins = Bins { first: range[0] + half, half, moments: vec![[0.0; TERMS]; count as usize] };
            weighted.for_each(|(y, weight)| bins.add(y, weight));
            bins
        })
    }

    fn add(&mut self, y: f64, weight: f64) {
        let from_first = (y - self.first) / self.half;
        // OK because no age lies below the first bin's lower end; rounding could put the highest one bin too far.
        let bin = ((0.5 * from_first + 0.5) as usize).min(self.moments.len() - 1);
        let u = from_first - 2.0 * bin as f64;
        let mut term = weight;
        for moment in &mut self.moments[bin] {
            *moment += term;
            term *= u;
        }
    }

    /// Σ w·e^z, Σ w·z·e^z and Σ w·z²·e^z with z = (y − `mu`)·`rate`; `None` if the bins are too wide for that rate.
    pub(crate) fn sums(&self, mu: f64, rate: f64) -> Option<[f64; 3]> {
        let x = self.half * rate;
        if FARTHEST < x {
            return None;
        }
        let mut sums = [0.0; 3];
        for (bin, moments) in self.moments.iter().enumerate() {
            let z = (self.first + 2.0 * self.half * bin as f64 - mu) * rate;
            let e = exp(z);
            // Of e^(x·u), x·u·e^(x·u) and (x·u)²·e^(x·u), weighted and summed over the bin.
            let [a, b, c] = [0, 1, 2].map(|power| x.powi(power) * series(&moments[power as usize..], x));
            sums[0] += e * a;
            sums[1] += e * (z * a + b);
            sums[2] += e * (z * z * a + 2.0 * z * b + c);
        }
        Some(sums)
    }
}

/// Σ m(j)·x^j/j!.
fn series(moments: &[f64], x: f64) -> f64 {
    (1..moments.len()).rev().fold(0.0, |sum, term| (moments[term] + sum) * x / term as f64) + moments[0]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ages across fifteen spreads, a few of them taken away again as late entries are.
    fn weighted() -> Vec<(f64, f64)> {
        (0..20_000_u32)
            .map(|i| (f64::from(i * 7919 % 20_011) / 20_011.0, i))
            .map(|(share, i)| (-12.0 + 15.0 * share, if i.is_multiple_of(10) { -0.3 } else { 1.0 }))
            .collect()
    }

    #[test]
    fn binned_sums_are_the_plain_sums() {
        let weighted = weighted();
        let bins = Bins::new(weighted.iter().copied(), 0.7).expect("a crowd");
        for (mu, rate) in [(0.0, 1.0), (2.0, 1.0 / 0.7), (-1.0, 0.2)] {
            let (mut plain, mut size) = ([0.0; 3], [0.0; 3]);
            for &(y, weight) in &weighted {
                let z: f64 = (y - mu) * rate;
                for (power, term) in [1.0, z, z * z].map(|power| weight * power * z.exp()).into_iter().enumerate() {
                    plain[power] += term;
                    size[power] += term.abs();
                }
            }
            let binned = bins.sums(mu, rate).expect("wide enough");
            for power in 0..3 {
                let off = (binned[power] - plain[power]).abs();
                assert!(off < 2e-14 * size[power], "{mu} {rate} {power}: {off} of {}", size[power]);
            }
        }
    }

    #[test]
    fn bins_say_where_they_do_not_serve() {
        let weighted = weighted();
        assert!(Bins::new(weighted.iter().copied(), 0.7).expect("a crowd").sums(0.0, 2.0).is_none());
        assert!(Bins::new(weighted[..500].iter().copied(), 0.7).is_none());
        assert!(Bins::new(weighted.iter().copied(), 0.0).is_none());
        assert!(Bins::new([].into_iter(), 0.7).is_none());
    }
}
