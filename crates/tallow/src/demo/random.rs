//! Chance from a fixed seed, so that the same demo is made on every machine and every day of the week.
//!
//! SplitMix64: Steele, Lea & Flood (2014), "Fast splittable pseudorandom number generators", OOPSLA '14, figure 16.

use std::f64::consts::TAU;

/// A stream of chance.
#[derive(Clone, Debug)]
pub(super) struct Random {
    state: u64,
}

impl Random {
    /// The stream that `seed` starts.
    pub(super) fn new(seed: u64) -> Random {
        Random { state: seed }
    }

    /// A stream of its own for `name`, so that one machine's history does not hang on how often another drew.
    pub(super) fn fork(seed: u64, name: &str) -> Random {
        let mixed = name.bytes().fold(seed, |state, byte| Random::new(state ^ u64::from(byte)).next());
        Random::new(mixed)
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in [0, 1).
    pub(super) fn unit(&mut self) -> f64 {
        // The upper 53 bits, one for each bit of a double's mantissa.
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Uniform in [low, high).
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with probability `p`.
    pub(super) fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// One of `0..weights.len()`, each as likely as its weight; weights must not all be zero.
    pub(super) fn pick(&mut self, weights: &[f64]) -> usize {
        let mut left = self.unit() * weights.iter().sum::<f64>();
        let last = weights.iter().rposition(|weight| *weight > 0.0).unwrap_or(0);
        for (index, weight) in weights.iter().enumerate() {
            left -= weight;
            if left < 0.0 {
                return index;
            }
        }
        last
    }

    /// Standard normal (Box & Muller 1958).
    pub(super) fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (TAU * self.unit()).cos()
    }

    /// Lognormal with mean 1 and the given standard deviation of its logarithm.
    pub(super) fn level(&mut self, sigma: f64) -> f64 {
        (sigma * self.normal() - sigma * sigma / 2.0).exp()
    }

    /// Weibull, by inversion.
    pub(super) fn weibull(&mut self, shape: f64, scale: f64) -> f64 {
        scale * (-(1.0 - self.unit()).ln()).powf(1.0 / shape)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stream_is_the_published_one() {
        // First outputs for seed 1234567, as listed with the public-domain C version of SplitMix64 (from memory).
        let mut random = Random::new(1_234_567);
        assert_eq!(random.next(), 6_457_827_717_110_365_317);
        assert_eq!(random.next(), 3_203_168_211_198_807_973);
        assert_eq!(random.next(), 9_817_491_932_198_370_423);
    }

    #[test]
    fn draws_have_the_moments_that_their_names_promise() {
        let mut random = Random::new(7);
        let n = 20_000;
        let mean = |draw: &mut dyn FnMut() -> f64| (0..n).map(|_| draw()).sum::<f64>() / f64::from(n);
        assert!((mean(&mut || random.unit()) - 0.5).abs() < 0.01);
        assert!(mean(&mut || random.normal()).abs() < 0.03);
        assert!((mean(&mut || random.normal().powi(2)) - 1.0).abs() < 0.05);
        assert!((mean(&mut || random.level(0.5)) - 1.0).abs() < 0.03);
        // Γ(1 + 1/2) = √π / 2.
        assert!((mean(&mut || random.weibull(2.0, 1.0)) - 0.886_227).abs() < 0.02);
        assert!((mean(&mut || random.pick(&[1.0, 0.0, 3.0]) as f64) - 1.5).abs() < 0.03);
    }
}
