//! The power-law process: failures of a repaired thing whose intensity rises or falls as a power of its time.
//!
//! Crow (1975), AMSAA TR-138; MIL-HDBK-189 (1981), appendix C; NIST/SEMATECH e-Handbook, 8.4.5.2 (which calls 1 − shape the
//! improvement slope). Given how many failures there were, their times are the only thing that tells the shape; the
//! logarithm of that likelihood, N·ln β + (β − 1)·Σ ln t − N·ln Σ(b^β − a^β) over spans of watching from a to b, is concave
//! in β, so that its top is found surely.

use super::System;
use crate::solve::root;
use crate::special::chi_square_quantile;
use crate::{Bounds, Error, Level, positive};

/// Shapes outside are not looked for.
const SHAPES: [f64; 2] = [1e-3, 1e4];

/// A power-law process: (t/η)^β failures are to be expected by time t.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerLaw {
    shape: f64,
    /// ln η: λ = η^−β may leave the range of numbers.
    log_scale: f64,
}

impl PowerLaw {
    /// The process with shape β and scale η, the time by which one failure is to be expected.
    ///
    /// # Errors
    /// If either is not positive and finite.
    pub fn new(shape: f64, scale: f64) -> Result<PowerLaw, Error> {
        Ok(PowerLaw { shape: positive("the shape", shape)?, log_scale: positive("the scale", scale)?.ln() })
    }

    /// The process by which `failures` are to be expected by `time`.
    fn through(shape: f64, time: f64, failures: f64) -> PowerLaw {
        PowerLaw { shape, log_scale: time.ln() - failures.ln() / shape }
    }

    /// Fits the process to numbers of failures between looks at `ends`, the first from time 0, over one system or summed
    /// over several (then it is the process of all together).
    ///
    /// # Formula
    /// β is the root of Σ n·((b^β·ln b − a^β·ln a)/(b^β − a^β) − ln T), a and b the ends of each interval, T the last end;
    /// λ = N/T^β.
    ///
    /// # Errors
    /// As many counts as ends are needed, ends that rise from above 0, and failures both in the first and in a later
    /// interval or in two later ones.
    pub fn from_counts(ends: &[f64], counts: &[u32]) -> Result<PowerLaw, NoPowerLaw> {
        if ends.len() != counts.len() {
            return Err(NoPowerLaw::CountsAndEnds { ends: ends.len(), counts: counts.len() });
        }
        let starts = || std::iter::once(0.0).chain(ends.iter().copied());
        if let Some((_, end)) = starts().zip(ends).find(|(start, end)| !(start < *end && **end < f64::INFINITY)) {
            return Err(NoPowerLaw::EndsDoNotRise { at: *end });
        }
        let failures: u32 = counts.iter().sum();
        let Some(&last) = ends.last().filter(|_| 0 < failures) else {
            return Err(NoPowerLaw::NoFailures);
        };
        let score = |shape: f64| {
            let part =
                |((start, end), count): ((f64, &f64), &u32)| f64::from(*count) * mean_log(start, *end, last, shape);
            starts().zip(ends).zip(counts).map(part).sum::<f64>()
        };
        let shape = shape_where_it_turns(score)?;
        Ok(PowerLaw::through(shape, last, f64::from(failures)))
    }

    /// β: above 1 failures come ever faster, below 1 ever slower.
    pub fn shape(&self) -> f64 {
        self.shape
    }

    /// η, the time by which one failure is to be expected.
    pub fn scale(&self) -> f64 {
        self.log_scale.exp()
    }

    /// λ = η^−β.
    pub fn rate(&self) -> f64 {
        (-self.shape * self.log_scale).exp()
    }

    /// Failures to be expected by `time`, of one system: (t/η)^β.
    pub fn expected_by(&self, time: f64) -> f64 {
        if time <= 0.0 { 0.0 } else { (self.shape * (time.ln() - self.log_scale)).exp() }
    }

    /// Failures to be expected after `from` and by `to`, of one system.
    pub fn expected(&self, from: f64, to: f64) -> f64 {
        self.expected_by(to) - self.expected_by(from)
    }

    /// Failures per unit of time at `time` above 0: β/t·(t/η)^β.
    pub fn intensity(&self, time: f64) -> f64 {
        self.shape / time * self.expected_by(time)
    }

    /// The mean time between failures at `time`, above 0, if it went on as it is then: one over the intensity.
    pub fn mtbf(&self, time: f64) -> f64 {
        1.0 / self.intensity(time)
    }
}

/// The mean of ln(t/last) between `start` and `end`, less what the shape adds to it.
fn mean_log(start: f64, end: f64, last: f64, shape: f64) -> f64 {
    if start <= 0.0 {
        return (end / last).ln();
    }
    let width = (end / start).ln();
    (start / last).ln() - width / (-shape * width).exp_m1()
}

/// Why no power-law process could be fitted.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoPowerLaw {
    /// There are no failures.
    #[error("there is no failure, so that there is no process to fit")]
    NoFailures,
    /// The failures crowd at the end, and the likelihood grows without end with the shape.
    #[error(
        "the failures lie at the end of watching or so close to it that the shape could be of any size from {at_least:.0} up"
    )]
    ShapeUnbounded {
        /// The largest shape that was tried.
        at_least: f64,
    },
    /// The failures crowd at the start, more than any power law has them.
    #[error("the failures thin out faster than under a power law of any shape, down to {at_most}")]
    ShapeVanishes {
        /// The smallest shape that was tried.
        at_most: f64,
    },
    /// A count for each look is needed.
    #[error("{counts} counts were given for {ends} looks: give one for each, 0 where nothing failed")]
    CountsAndEnds {
        /// How many looks.
        ends: usize,
        /// How many counts.
        counts: usize,
    },
    /// Looks must follow one another.
    #[error("the look at {at} does not come after the one before it: looks are after 0, finite, and in rising order")]
    EndsDoNotRise {
        /// The look.
        at: f64,
    },
}

/// The root of a falling score.
fn shape_where_it_turns(score: impl Fn(f64) -> f64) -> Result<f64, NoPowerLaw> {
    let [low, high] = SHAPES;
    if score(low) <= 0.0 {
        Err(NoPowerLaw::ShapeVanishes { at_most: low })
    } else if 0.0 <= score(high) {
        Err(NoPowerLaw::ShapeUnbounded { at_least: high })
    } else {
        Ok(root(|shape| -score(shape), low, high))
    }
}

/// How bounds were found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// From the exact law of the estimate.
    Exact,
    /// From the likelihood: near enough when failures are many.
    Likelihood,
}

/// Watching of which the estimates' laws are known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Design {
    /// All systems were watched from 0 to the same time.
    Timed,
    /// One system was watched from 0 to its last failure.
    Ended,
}

/// A power-law process fitted to systems alike.
#[derive(Clone, Debug)]
pub struct PowerLawFit {
    pub(super) law: PowerLaw,
    pub(super) failures: usize,
    pub(super) spans: Spans,
    /// Σ ln(t/T), T the last end.
    log_sum: f64,
    pub(super) design: Option<Design>,
    cramer_von_mises: Option<f64>,
}

impl PowerLawFit {
    /// Fits one process to all systems by maximum likelihood.
    ///
    /// # Formula
    /// N/β + Σ ln t = N·Σ(b^β·ln b − a^β·ln a)/Σ(b^β − a^β), λ = N/Σ(b^β − a^β).
    ///
    /// # Errors
    /// No failures; all of them at the very end, as a single one is that itself ended the watching; or thinning out faster
    /// than under any power law.
    ///
    /// # Example
    /// ```
    /// use life::repair::{PowerLawFit, System};
    /// let system = System::new(0.0, 1500.0, vec![5.0, 40.0, 43.0, 175.0, 389.0, 712.0, 747.0, 795.0, 1299.0, 1478.0]).unwrap();
    /// let fit = PowerLawFit::new(&[system]).unwrap();
    /// assert!((fit.law().shape() - 0.537228866).abs() < 1e-8);
    /// ```
    pub fn new(systems: &[System]) -> Result<PowerLawFit, NoPowerLaw> {
        let failures: usize = systems.iter().map(|system| system.times.len()).sum();
        if failures == 0 {
            return Err(NoPowerLaw::NoFailures);
        }
        let spans = Spans::of(systems);
        let log_sum: f64 = systems.iter().flat_map(System::times).map(|time| (time / spans.last).ln()).sum();
        let n = failures as f64;
        let shape = shape_where_it_turns(|shape| {
            let [sum, slope, _] = spans.sums(shape);
            n / shape + log_sum - n * slope / sum
        })?;
        let law = PowerLaw::through(shape, spans.last, n / spans.sums(shape)[0]);
        let cramer_von_mises = cramer_von_mises(systems);
        Ok(PowerLawFit { law, failures, log_sum, design: design(systems), spans, cramer_von_mises })
    }

    /// The process.
    pub fn law(&self) -> PowerLaw {
        self.law
    }

    /// Failures of all systems.
    pub fn failures(&self) -> usize {
        self.failures
    }

    /// The latest end of watching.
    pub fn end(&self) -> f64 {
        self.spans.last
    }

    /// The process with the unbiased shape (the modified estimate), through as many failures at the end; `None` where it is
    /// not known, or failures are too few for it.
    ///
    /// # Formula
    /// β·(N − 1)/N where watching ended at a time, the same for all systems, β·(N − 2)/N where at a single system's failure.
    pub fn unbiased(&self) -> Option<PowerLaw> {
        let lost = match self.design? {
            Design::Timed => 1,
            Design::Ended => 2,
        };
        let kept = self.failures.checked_sub(lost).filter(|kept| 0 < *kept)?;
        let shape = self.law.shape * kept as f64 / self.failures as f64;
        Some(PowerLaw::through(shape, self.spans.last, self.law.expected_by(self.spans.last)))
    }

    /// Bounds of the shape: exact ones by chi-square where all systems were watched from 0 to the same time or one to its
    /// last failure, else by the profile likelihood.
    ///
    /// # Formula
    /// 2N·β/β̂ is chi-square with 2N degrees of freedom given N, or 2(N − 1) if it ended at a failure.
    pub fn shape_bounds(&self, level: Level) -> (Bounds, How) {
        let Some(design) = self.design else { return (self.profile(level), How::Likelihood) };
        let n = self.failures as f64;
        let freedom = 2.0 * if design == Design::Timed { n } else { n - 1.0 };
        let tail = 0.5 * (1.0 - level.get());
        let at = |chance| Some(self.law.shape * chi_square_quantile(chance, freedom) / (2.0 * n));
        (Bounds { lower: at(tail), upper: at(1.0 - tail) }, How::Exact)
    }

    fn profile(&self, level: Level) -> Bounds {
        let target = self.log_likelihood(self.law.shape) - 0.5 * chi_square_quantile(level.get(), 1.0);
        let ([low, high], best) = (SHAPES, self.law.shape);
        let above = |shape| self.log_likelihood(shape) - target;
        Bounds {
            lower: (above(low) < 0.0).then(|| root(above, low, best)),
            upper: (above(high) < 0.0).then(|| root(|shape| -above(shape), best, high)),
        }
    }

    /// Of the shape, given the number of failures; but for a constant.
    fn log_likelihood(&self, shape: f64) -> f64 {
        let n = self.failures as f64;
        n * shape.ln() + shape * self.log_sum - n * self.spans.sums(shape)[0].ln()
    }

    /// The Cramér–von Mises statistic C² of the fit, with the unbiased shape: the larger, the worse it fits. `None` where a
    /// system was not watched from 0, or with fewer than two failures that did not end the watching.
    ///
    /// # Formula
    /// 1/(12M) + Σ ((t/b)^β̄ − (2i − 1)/(2M))² over the M free failures of all systems in rising order of t/b, b the end of
    /// watching, β̄ = (M − 1)/Σ ln(b/t) (MIL-HDBK-189 (1981), appendix C).
    pub fn cramer_von_mises(&self) -> Option<f64> {
        self.cramer_von_mises
    }
}

fn design(systems: &[System]) -> Option<Design> {
    if systems.iter().any(|system| 0.0 < system.start) {
        return None;
    }
    let first = systems.first()?;
    if systems.iter().all(|system| !system.is_failure_truncated() && system.end.total_cmp(&first.end).is_eq()) {
        return Some(Design::Timed);
    }
    // OK because it is truncated by its failure: alone, it shares its end with itself.
    (systems.len() == 1).then_some(Design::Ended)
}

fn cramer_von_mises(systems: &[System]) -> Option<f64> {
    if systems.iter().any(|system| 0.0 < system.start) {
        return None;
    }
    let shares = |system: &System| system.free_times().iter().map(|time| time / system.end).collect::<Vec<_>>();
    let mut shares: Vec<f64> = systems.iter().flat_map(shares).collect();
    if shares.len() < 2 {
        return None;
    }
    shares.sort_unstable_by(f64::total_cmp);
    let m = shares.len() as f64;
    let shape = (1.0 - m) / shares.iter().map(|share| share.ln()).sum::<f64>();
    let off = |(i, share): (usize, &f64)| (share.powf(shape) - (i as f64 + 0.5) / m).powi(2);
    Some(1.0 / (12.0 * m) + shares.iter().enumerate().map(off).sum::<f64>())
}

/// The spans of watching, as logarithms of shares of the last end.
#[derive(Clone, Debug)]
pub(super) struct Spans {
    pub(super) last: f64,
    /// ln a/T, −∞ for a start at 0, and ln b/T.
    logs: Vec<[f64; 2]>,
}

impl Spans {
    fn of(systems: &[System]) -> Spans {
        let last = systems.iter().map(System::end).fold(0.0, f64::max);
        Spans { last, logs: systems.iter().map(|system| [system.start, system.end].map(|t| (t / last).ln())).collect() }
    }

    /// Σ (b^β − a^β) in shares of the last end, and its first two derivatives by β.
    pub(super) fn sums(&self, shape: f64) -> [f64; 3] {
        let mut sums = [0.0; 3];
        for &[start, end] in &self.logs {
            let (mut opened, mut closed) = ((shape * start).exp(), (shape * end).exp());
            for (power, sum) in sums.iter_mut().enumerate() {
                if 0 < power {
                    closed *= end;
                    // a^β·ln a is 0 at a = 0.
                    opened = if opened == 0.0 { 0.0 } else { opened * start };
                }
                *sum += closed - opened;
            }
        }
        sums
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn system(start: f64, end: f64, times: &[f64]) -> System {
        System::new(start, end, times.to_vec()).unwrap()
    }

    #[test]
    fn a_shape_that_nothing_tells_is_refused() {
        let refused = |systems: &[System]| PowerLawFit::new(systems).unwrap_err();
        assert_eq!(refused(&[]), NoPowerLaw::NoFailures);
        assert_eq!(refused(&[system(0.0, 5.0, &[])]), NoPowerLaw::NoFailures);
        assert!(matches!(refused(&[system(0.0, 5.0, &[5.0])]), NoPowerLaw::ShapeUnbounded { .. }));
        let crowded = system(0.0, 5.0, &[5.0 - 1e-6]);
        assert!(matches!(refused(&[crowded]), NoPowerLaw::ShapeUnbounded { .. }));
        let thinning = system(1.0, 1e6, &[1.1, 1.2, 1.3]);
        assert!(matches!(refused(&[thinning]), NoPowerLaw::ShapeVanishes { .. }));
    }

    #[test]
    fn counts_that_tell_nothing_or_do_not_fit_their_looks_are_refused() {
        let refused = |ends: &[f64], counts: &[u32]| PowerLaw::from_counts(ends, counts).unwrap_err();
        assert_eq!(refused(&[1.0, 2.0], &[1]), NoPowerLaw::CountsAndEnds { ends: 2, counts: 1 });
        assert_eq!(refused(&[2.0, 2.0], &[1, 1]), NoPowerLaw::EndsDoNotRise { at: 2.0 });
        assert!(matches!(refused(&[2.0, f64::NAN], &[1, 1]), NoPowerLaw::EndsDoNotRise { .. }));
        assert_eq!(refused(&[1.0, 2.0], &[0, 0]), NoPowerLaw::NoFailures);
        assert_eq!(refused(&[], &[]), NoPowerLaw::NoFailures);
        assert!(matches!(refused(&[1.0, 2.0], &[3, 0]), NoPowerLaw::ShapeVanishes { .. }));
        assert!(matches!(refused(&[1.0, 2.0], &[0, 3]), NoPowerLaw::ShapeUnbounded { .. }));
    }

    #[test]
    fn the_sums_derivatives_are_the_slopes_of_its_values() {
        let spans = Spans::of(&[system(0.0, 8.0, &[]), system(2.0, 5.0, &[])]);
        let h = 1e-5;
        for shape in [0.3, 1.0, 4.0] {
            let (here, below, above) = (spans.sums(shape), spans.sums(shape - h), spans.sums(shape + h));
            for power in [0, 1] {
                let slope = (above[power] - below[power]) / (2.0 * h);
                assert!((here[power + 1] - slope).abs() < 1e-8, "{shape} {power}");
            }
        }
    }

    #[test]
    fn intensity_is_the_slope_of_what_is_to_be_expected() {
        let law = PowerLaw::new(1.7, 40.0).unwrap();
        assert!((law.expected_by(40.0) - 1.0).abs() < 1e-15);
        assert!((law.expected(99.999, 100.001) / 0.002 - law.intensity(100.0)).abs() < 1e-9);
        assert!((law.mtbf(100.0) * law.intensity(100.0) - 1.0).abs() < 1e-15);
        assert!((law.rate() * 100.0_f64.powf(1.7) - law.expected_by(100.0)).abs() < 1e-13);
    }

    #[test]
    fn the_unbiased_shape_is_told_only_where_it_is_known() {
        let unbiased = |systems: &[System]| PowerLawFit::new(systems).unwrap().unbiased();
        assert!(unbiased(&[system(0.0, 9.0, &[2.0, 5.0])]).is_some());
        assert!(unbiased(&[system(0.0, 9.0, &[2.0]), system(0.0, 9.0, &[5.0])]).is_some());
        assert_eq!(unbiased(&[system(0.0, 9.0, &[2.0])]), None);
        assert_eq!(unbiased(&[system(0.0, 9.0, &[2.0, 9.0])]), None);
        assert_eq!(unbiased(&[system(0.0, 9.0, &[2.0, 5.0]), system(0.0, 8.0, &[])]), None);
        assert_eq!(unbiased(&[system(1.0, 9.0, &[2.0, 5.0, 6.0, 8.0])]), None);
    }
}
