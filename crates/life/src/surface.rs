//! The log-likelihood of life data as a surface over (μ, τ), with its slopes and curvatures.
//!
//! μ and σ = exp τ are the location and spread of ln T (see [`crate::law`]). A failure at age t adds ln f(t), a life still
//! good ln S(t), one that failed between a and b ln(S(a) − S(b)); one that was first watched at age a takes ln S(a) away
//! again, since only lives that reached it could be seen (Meeker & Escobar (1998), sections 2.4 and 11.6).

use crate::bins::Bins;
use crate::data::{End, Life};
use crate::law::Standard;
use crate::special::exp;

/// Intervals narrower than this share of their end count as a failure in their middle: the difference is of the order of
/// its square, and the difference of two survivals would have no digits left.
const NARROW: f64 = 1e-6;

/// The narrowest spread that bins serve, as a share of the standard deviation of the failures' ln ages. A Weibull law's is
/// 0.78 of that if nothing is censored, and more if lives end early.
const NARROWEST: f64 = 0.5;

/// An age, with what is known at it.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Point {
    /// ln of the age, from the centre.
    y: f64,
    /// Failures at this age, by count.
    failed: f64,
    /// Lives seen good up to this age (failures, too) less lives first watched at it, by count.
    survived: f64,
}

/// A failure between two ages.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Interval {
    /// ln of the age at which it was good, from the centre; −∞ for age zero.
    from: f64,
    to: f64,
    count: f64,
}

/// Life data made ready for the likelihoods of one standard law.
#[derive(Clone, Debug)]
pub(crate) struct Sample {
    standard: Standard,
    points: Vec<Point>,
    /// The same points once more, if they are so many that it pays.
    bins: Option<Bins>,
    intervals: Vec<Interval>,
    /// Mean of the failures' ln ages, intervals by their middle; subtracted from every ln age, so that the sums keep their
    /// digits.
    pub(crate) centre: f64,
    /// Exact failures, by count, and the sum of their ln ages from the centre.
    exact: f64,
    exact_y: f64,
    /// All failures, by count.
    pub(crate) failures: f64,
    /// Σ count·ln age of exact failures, and what narrow intervals add: the part of the log-likelihood that does not know
    /// the law.
    constant: f64,
    /// Standard deviation of the failures' ln ages, intervals by their middle.
    pub(crate) width: f64,
}

/// The log-likelihood at a point (μ, τ).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Surface {
    pub(crate) value: f64,
    /// By μ and τ.
    pub(crate) slope: [f64; 2],
    /// By μμ, μτ and ττ.
    pub(crate) curve: [f64; 3],
}

impl Sample {
    /// `lives` need no order.
    pub(crate) fn new(lives: &[Life], standard: Standard) -> Sample {
        let mut sample = Sample {
            standard,
            points: Vec::with_capacity(lives.len()),
            bins: None,
            intervals: Vec::new(),
            centre: 0.0,
            exact: 0.0,
            exact_y: 0.0,
            failures: 0.0,
            constant: 0.0,
            width: 0.0,
        };
        lives.iter().for_each(|life| sample.add(life));
        sample.centre_on_failures();
        sample.gather();
        sample
    }

    fn add(&mut self, life: &Life) {
        let count = life.count();
        if life.end().is_failure() {
            self.failures += count;
        }
        self.survived(life.entry(), -count);
        match life.end() {
            End::Failed(age) => self.failed(age, count),
            End::Good(age) => self.survived(age, count),
            End::Between(from, to) if to - from < NARROW * to => {
                self.constant += count * (to - from).ln();
                self.failed(0.5 * (from + to), count);
            }
            End::Between(from, to) => {
                self.intervals.push(Interval { from: from.ln(), to: to.ln(), count });
            }
        }
    }

    fn failed(&mut self, age: f64, count: f64) {
        let y = age.ln();
        self.exact += count;
        self.constant -= count * y;
        self.points.push(Point { y, failed: count, survived: count });
    }

    fn survived(&mut self, age: f64, count: f64) {
        if 0.0 < age {
            self.points.push(Point { y: age.ln(), failed: 0.0, survived: count });
        }
    }

    /// Finds the centre and the width, and measures all ln ages from the centre.
    fn centre_on_failures(&mut self) {
        self.centre = self.mean_of_failures(|y| y);
        for point in &mut self.points {
            point.y -= self.centre;
            self.exact_y += point.failed * point.y;
        }
        for interval in &mut self.intervals {
            interval.from -= self.centre;
            interval.to -= self.centre;
        }
        self.width = self.mean_of_failures(|y| y * y).sqrt();
    }

    fn mean_of_failures(&self, of: impl Fn(f64) -> f64) -> f64 {
        let exact = self.points.iter().map(|point| point.failed * of(point.y)).sum::<f64>();
        let between = self.intervals.iter().map(|interval| interval.count * of(interval.middle())).sum::<f64>();
        (exact + between) / self.failures.max(f64::MIN_POSITIVE)
    }

    /// Puts points into bins, or if that does not help makes one of all at the same age.
    fn gather(&mut self) {
        if self.standard == Standard::SmallestExtreme {
            let weighted = self.points.iter().map(|point| (point.y, point.survived));
            self.bins = Bins::new(weighted, NARROWEST * self.width);
        }
        if self.bins.is_none() {
            self.merge();
        }
    }

    /// Makes one point of all at the same age.
    fn merge(&mut self) {
        self.points.sort_unstable_by(|a, b| a.y.total_cmp(&b.y));
        self.points.dedup_by(|next, kept| {
            let same = next.y.total_cmp(&kept.y).is_eq();
            if same {
                kept.failed += next.failed;
                kept.survived += next.survived;
            }
            same
        });
        self.points.retain(|point| point.failed != 0.0 || point.survived != 0.0);
    }

    /// The log-likelihood at location `mu`, from the centre, and spread exp(`tau`).
    pub(crate) fn at(&self, mu: f64, tau: f64) -> Surface {
        let sigma = tau.exp();
        let mut sums = match self.standard {
            Standard::SmallestExtreme => self.extreme_sums(mu, sigma),
            Standard::Normal => self.normal_sums(mu, sigma),
        };
        for interval in &self.intervals {
            sums.add_interval(self.standard, interval, mu, sigma);
        }
        sums.value += self.constant - self.exact * tau;
        sums.surface(sigma, self.exact)
    }

    /// Here ln f and ln S share the one term −exp z, which is its own derivative.
    fn extreme_sums(&self, mu: f64, sigma: f64) -> Sums {
        let binned = self.bins.as_ref().and_then(|bins| bins.sums(mu, 1.0 / sigma));
        let [e0, e1, e2] = binned.unwrap_or_else(|| self.plain_sums(mu, 1.0 / sigma));
        let failed_z = (self.exact_y - self.exact * mu) / sigma;
        let (value, d1, d1z) = (failed_z - e0, self.exact - e0, failed_z - e1);
        Sums { value, d1, d1z, d2: -e0, d2z: -e1, d2zz: -e2 }
    }

    /// Σ survived·e^z, Σ survived·z·e^z and Σ survived·z²·e^z.
    fn plain_sums(&self, mu: f64, rate: f64) -> [f64; 3] {
        let mut lanes = Lanes::default();
        let (chunks, rest) = self.points.as_chunks::<LANES>();
        chunks.iter().for_each(|chunk| lanes.add(chunk, mu, rate));
        // Points of which there are none fill up the last.
        let mut last = [Point { y: mu, failed: 0.0, survived: 0.0 }; LANES];
        last[..rest.len()].copy_from_slice(rest);
        lanes.add(&last, mu, rate);
        lanes.0.map(|lane| lane.iter().sum::<f64>())
    }

    fn normal_sums(&self, mu: f64, sigma: f64) -> Sums {
        let mut sums = Sums::default();
        for point in &self.points {
            let z = (point.y - mu) / sigma;
            if point.failed != 0.0 {
                sums.add(z, point.failed, Standard::Normal.log_density(z));
            }
            let survived = point.survived - point.failed;
            if survived != 0.0 {
                sums.add(z, survived, Standard::Normal.log_survival(z));
            }
        }
        sums
    }
}

/// Points taken at once, so that the processor can work on several.
const LANES: usize = 8;

/// Σ survived·e^z times 1, z and z², each in lanes.
#[derive(Default)]
struct Lanes([[f64; LANES]; 3]);

impl Lanes {
    #[inline]
    fn add(&mut self, points: &[Point; LANES], mu: f64, rate: f64) {
        let z: [f64; LANES] = std::array::from_fn(|lane| (points[lane].y - mu) * rate);
        let mut e = z;
        for value in &mut e {
            *value = exp(*value);
        }
        let [e0, e1, e2] = &mut self.0;
        for lane in 0..LANES {
            let term = points[lane].survived * e[lane];
            e0[lane] += term;
            e1[lane] += term * z[lane];
            e2[lane] += term * z[lane] * z[lane];
        }
    }
}

impl Interval {
    /// ln of the age in its middle.
    fn middle(&self) -> f64 {
        self.to + (0.5 + 0.5 * (self.from - self.to).exp()).ln()
    }
}

/// Sums of derivatives by z, times powers of z.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    value: f64,
    d1: f64,
    d1z: f64,
    d2: f64,
    d2z: f64,
    d2zz: f64,
}

impl Sums {
    fn add(&mut self, z: f64, count: f64, [value, first, second]: [f64; 3]) {
        let (first, second) = (count * first, count * second);
        self.value += count * value;
        self.d1 += first;
        self.d1z += first * z;
        self.d2 += second;
        self.d2z += second * z;
        self.d2zz += second * z * z;
    }

    /// ln(S(a) − S(b)) = ln S(a) + ln(1 − e^d), d = ln S(b) − ln S(a) ≤ 0.
    fn add_interval(&mut self, standard: Standard, interval: &Interval, mu: f64, sigma: f64) {
        let count = interval.count;
        let zb = (interval.to - mu) / sigma;
        let b = standard.log_survival(zb);
        let (za, a) = match interval.from.is_finite() {
            true => {
                let za = (interval.from - mu) / sigma;
                (za, standard.log_survival(za))
            }
            false => (0.0, [0.0; 3]),
        };
        let d = b[0] - a[0];
        // S(a) and S(b) as multiples of their difference.
        let (p, q) = (-1.0 / d.exp_m1(), 1.0 / (-d).exp_m1());
        let (first_a, first_b) = (p * a[1], -q * b[1]);
        let second_a = p * (a[1] * a[1] + a[2]) - first_a * first_a;
        let second_b = -q * (b[1] * b[1] + b[2]) - first_b * first_b;
        let cross = -first_a * first_b;
        self.value += count * (a[0] + (-d.exp_m1()).ln());
        self.d1 += count * (first_a + first_b);
        self.d1z += count * (first_a * za + first_b * zb);
        self.d2 += count * (second_a + 2.0 * cross + second_b);
        self.d2z += count * (second_a * za + cross * (za + zb) + second_b * zb);
        self.d2zz += count * (second_a * za * za + 2.0 * cross * za * zb + second_b * zb * zb);
    }

    /// By the chain rule: ∂z/∂μ = −1/σ, ∂z/∂τ = −z.
    fn surface(&self, sigma: f64, exact: f64) -> Surface {
        Surface {
            value: self.value,
            slope: [-self.d1 / sigma, -self.d1z - exact],
            curve: [self.d2 / (sigma * sigma), (self.d2z + self.d1) / sigma, self.d2zz + self.d1z],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The path for many lives against that for few, which the published fits check.
    #[test]
    fn many_lives_have_the_same_likelihood_in_bins_as_one_by_one() {
        let life = |i: u32| {
            let share = f64::from(i * 7919 % 20_011 + 1) / 20_012.0;
            let age = 500.0 * (-share.ln()).powf(0.6);
            let end = if i.is_multiple_of(3) { End::Good(0.7 * age) } else { End::Failed(age) };
            Life::new(end)
                .and_then(|life| life.entered_at(if i.is_multiple_of(5) { 0.3 * age } else { 0.0 }))
                .expect("a life")
        };
        let lives: Vec<Life> = (0..20_000).map(life).collect();
        let binned = Sample::new(&lives, Standard::SmallestExtreme);
        assert!(binned.bins.is_some());
        let plain = Sample { bins: None, ..binned.clone() };
        for (mu, tau) in [(0.0, -0.5), (0.5, -0.4), (-0.3, 0.5), (0.2, -0.9)] {
            let (one, other) = (binned.at(mu, tau), plain.at(mu, tau));
            let near = |one: f64, other: f64| assert!((one - other).abs() < 1e-12 * plain.failures.max(other.abs()));
            near(one.value, other.value);
            one.slope.into_iter().zip(other.slope).for_each(|(one, other)| near(one, other));
            one.curve.into_iter().zip(other.curve).for_each(|(one, other)| near(one, other));
        }
    }
}
