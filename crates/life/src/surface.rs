//! The log-likelihood of life data as a surface over (μ, τ), with its slopes and curvatures.
//!
//! μ and σ = exp τ are the location and spread of ln T (see [`crate::law`]). A failure at age t adds ln f(t), a life still
//! good ln S(t), one that failed between a and b ln(S(a) − S(b)); one that was first watched at age a takes ln S(a) away
//! again, since only lives that reached it could be seen (Meeker & Escobar (1998), sections 2.4 and 11.6).

use crate::data::{End, Life};
use crate::law::Standard;
use crate::special::exp;

/// Intervals narrower than this share of their end count as a failure in their middle: the difference is of the order of
/// its square, and the difference of two survivals would have no digits left.
const NARROW: f64 = 1e-6;

/// Ages, each once, with what is known at it.
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

/// Life data made ready for likelihoods.
#[derive(Clone, Debug)]
pub(crate) struct Sample {
    points: Vec<Point>,
    intervals: Vec<Interval>,
    /// Subtracted from every ln age, so that the sums keep their digits.
    pub(crate) centre: f64,
    /// Exact failures, by count.
    exact: f64,
    /// All failures, by count.
    pub(crate) failures: f64,
    /// Σ count·ln age of exact failures, and what narrow intervals add: the part of the log-likelihood that does not know
    /// the law.
    constant: f64,
    /// Mean and standard deviation of the failures' ln ages from the centre, intervals by their middle.
    pub(crate) middle: f64,
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
    /// Sorts and merges; `lives` need no order.
    pub(crate) fn new(lives: &[Life]) -> Sample {
        let failures = crate::data::failures(lives);
        let middles = || lives.iter().filter(|life| life.end().is_failure()).map(|life| (middle(life), life.count()));
        let centre = middles().map(|(y, count)| y * count).sum::<f64>() / failures.max(f64::MIN_POSITIVE);
        let spread = middles().map(|(y, count)| (y - centre).powi(2) * count).sum::<f64>() / failures;
        let mut sample = Sample {
            points: Vec::with_capacity(lives.len()),
            intervals: Vec::new(),
            centre,
            exact: 0.0,
            failures,
            constant: 0.0,
            middle: 0.0,
            width: spread.sqrt(),
        };
        lives.iter().for_each(|life| sample.add(life));
        sample.merge();
        sample
    }

    fn add(&mut self, life: &Life) {
        let count = life.count();
        self.survived(life.entry(), -count);
        match life.end() {
            End::Failed(age) => self.failed(age, count),
            End::Good(age) => self.survived(age, count),
            End::Between(from, to) if to - from < NARROW * to => {
                self.constant += count * (to - from).ln();
                self.failed(0.5 * (from + to), count);
            }
            End::Between(from, to) => {
                let (from, to) = (from.ln() - self.centre, to.ln() - self.centre);
                self.intervals.push(Interval { from, to, count });
            }
        }
    }

    fn failed(&mut self, age: f64, count: f64) {
        let log = age.ln();
        self.exact += count;
        self.constant -= count * log;
        self.points.push(Point { y: log - self.centre, failed: count, survived: count });
    }

    fn survived(&mut self, age: f64, count: f64) {
        if 0.0 < age {
            self.points.push(Point { y: age.ln() - self.centre, failed: 0.0, survived: count });
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
    pub(crate) fn at(&self, standard: Standard, mu: f64, tau: f64) -> Surface {
        let sigma = tau.exp();
        let mut sums = match standard {
            Standard::SmallestExtreme => self.extreme_sums(mu, sigma),
            Standard::Normal => self.normal_sums(mu, sigma),
        };
        for interval in &self.intervals {
            sums.add_interval(standard, interval, mu, sigma);
        }
        sums.value += self.constant - self.exact * tau;
        sums.surface(sigma, self.exact)
    }

    /// Here ln f and ln S share the one term −exp z, which is its own derivative.
    fn extreme_sums(&self, mu: f64, sigma: f64) -> Sums {
        let mut lanes = Lanes::default();
        let (chunks, rest) = self.points.as_chunks::<LANES>();
        chunks.iter().for_each(|chunk| lanes.add(chunk, mu, 1.0 / sigma));
        // Points of which there are none fill up the last.
        let mut last = [Point { y: mu, failed: 0.0, survived: 0.0 }; LANES];
        last[..rest.len()].copy_from_slice(rest);
        lanes.add(&last, mu, 1.0 / sigma);
        let [failed_z, e0, e1, e2] = lanes.0.map(|lane| lane.iter().sum::<f64>());
        let (value, d1, d1z) = (failed_z - e0, self.exact - e0, failed_z - e1);
        Sums { value, d1, d1z, d2: -e0, d2z: -e1, d2zz: -e2 }
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

/// Σ failed·z, and Σ survived·e^z times 1, z and z², each in lanes.
#[derive(Default)]
struct Lanes([[f64; LANES]; 4]);

impl Lanes {
    #[inline]
    fn add(&mut self, points: &[Point; LANES], mu: f64, rate: f64) {
        let z: [f64; LANES] = std::array::from_fn(|lane| (points[lane].y - mu) * rate);
        let mut e = z;
        for value in &mut e {
            *value = exp(*value);
        }
        let [failed_z, e0, e1, e2] = &mut self.0;
        for lane in 0..LANES {
            let term = points[lane].survived * e[lane];
            failed_z[lane] += points[lane].failed * z[lane];
            e0[lane] += term;
            e1[lane] += term * z[lane];
            e2[lane] += term * z[lane] * z[lane];
        }
    }
}

/// The middle of what is known of a failure's ln age.
fn middle(life: &Life) -> f64 {
    match life.end() {
        End::Between(from, to) => (0.5 * (from + to)).ln(),
        end => end.last().ln(),
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
