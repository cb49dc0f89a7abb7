//! The mean cumulative function: failures per system up to a time, without a law.
//!
//! Nelson (1988), Journal of Quality Technology 20: 24–35; its robust variance by Lawless & Nadeau (1995), Technometrics
//! 37: 158–168, which holds whether or not a system's failures depend on one another.

use super::System;
use crate::Level;

/// The mean number of failures per system, just after a time at which something failed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanPoint {
    /// The time.
    pub time: f64,
    /// Systems watched at it; one whose watching ends at it is still among them.
    pub at_risk: usize,
    /// Failures at it.
    pub failures: usize,
    /// M̂, failures per system from the first start up to and with this time.
    pub mean: f64,
    /// Its standard error; `None` for a single system, which does not tell how systems differ. Where few are left it comes
    /// out too small.
    pub std_error: Option<f64>,
    /// The lower bound M̂·exp(−z·se/M̂), pointwise.
    pub lower: Option<f64>,
    /// The upper bound M̂·exp(z·se/M̂), pointwise.
    pub upper: Option<f64>,
}

/// The mean cumulative function of `systems`, a point for each time of failure.
///
/// # Formula
/// M̂(t) = Σ d(s)/n(s) over times s ≤ t with d failures among n systems watched; var M̂ = Σᵢ (Σ (dᵢ(s) − d(s)/n(s))/n(s))²,
/// the inner sum over those s at which system i was watched.
///
/// # Example
/// ```
/// use life::{Level, repair::{System, mean_failures}};
/// let systems = [System::new(0.0, 9.0, vec![4.0]).unwrap(), System::new(0.0, 5.0, vec![]).unwrap()];
/// let points = mean_failures(&systems, Level::new(0.95).unwrap());
/// assert_eq!(points[0].mean, 0.5);
/// ```
pub fn mean_failures(systems: &[System], level: Level) -> Vec<MeanPoint> {
    let mut sweep = Sweep::of(systems);
    let mut failures: Vec<(f64, usize)> =
        systems.iter().enumerate().flat_map(|(i, system)| system.times.iter().map(move |&time| (time, i))).collect();
    failures.sort_unstable_by(|one, other| one.0.total_cmp(&other.0));
    let at_once = failures.chunk_by(|one, other| one.0.total_cmp(&other.0).is_eq());
    at_once.map(|same| sweep.step(same).point(same[0].0, same.len(), systems.len(), level)).collect()
}

/// Passes through time once. Each system's sum in the variance is its own failures' part less what the common part C(t) =
/// Σ d/n² has grown since its start; so the sum of squares over those watched follows from Σ y and Σ y², y the own part
/// plus C at the start.
struct Sweep<'a> {
    systems: &'a [System],
    /// Indices by falling start and by falling end.
    to_start: Vec<usize>,
    to_end: Vec<usize>,
    /// y of each system.
    own: Vec<f64>,
    watched: usize,
    sum: f64,
    squares: f64,
    /// Squares of those no longer watched.
    over: f64,
    common: f64,
    mean: f64,
}

impl<'a> Sweep<'a> {
    fn of(systems: &'a [System]) -> Sweep<'a> {
        let falling = |key: fn(&System) -> f64| {
            let mut order: Vec<usize> = (0..systems.len()).collect();
            order.sort_unstable_by(|&one, &other| key(&systems[other]).total_cmp(&key(&systems[one])));
            order
        };
        Sweep {
            systems,
            to_start: falling(System::start),
            to_end: falling(System::end),
            own: vec![0.0; systems.len()],
            watched: 0,
            sum: 0.0,
            squares: 0.0,
            over: 0.0,
            common: 0.0,
            mean: 0.0,
        }
    }

    /// On to the next time, at which the systems in `failed` fail.
    fn step(&mut self, failed: &[(f64, usize)]) -> &Sweep<'a> {
        self.watch(failed[0].0);
        let (n, d) = (self.watched as f64, failed.len() as f64);
        for &(_, system) in failed {
            self.replace(system, self.own[system] + 1.0 / n);
        }
        self.common += d / (n * n);
        self.mean += d / n;
        self
    }

    /// Takes up those that started before `time`, and lets go of those that ended before it.
    fn watch(&mut self, time: f64) {
        while let Some(system) = self.to_start.pop_if(|&mut system| self.systems[system].start < time) {
            self.watched += 1;
            self.own[system] = self.common;
            self.sum += self.common;
            self.squares += self.common * self.common;
        }
        while let Some(system) = self.to_end.pop_if(|&mut system| self.systems[system].end < time) {
            self.over += (self.own[system] - self.common).powi(2);
            self.replace(system, 0.0);
            self.watched -= 1;
        }
    }

    fn replace(&mut self, system: usize, own: f64) {
        let before = std::mem::replace(&mut self.own[system], own);
        self.sum += own - before;
        self.squares += own * own - before * before;
    }

    fn variance(&self) -> f64 {
        let n = self.watched as f64;
        (self.over + self.squares - 2.0 * self.common * self.sum + n * self.common * self.common).max(0.0)
    }

    fn point(&self, time: f64, failures: usize, systems: usize, level: Level) -> MeanPoint {
        let std_error = (1 < systems).then(|| self.variance().sqrt());
        let factor = std_error.map(|error| (level.z() * error / self.mean).exp());
        MeanPoint {
            time,
            at_risk: self.watched,
            failures,
            mean: self.mean,
            std_error,
            lower: factor.map(|factor| self.mean / factor),
            upper: factor.map(|factor| self.mean * factor),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(systems: &[System]) -> Vec<MeanPoint> {
        mean_failures(systems, Level::new(0.95).unwrap())
    }

    /// The formula as it stands, in as many steps as it says.
    fn variance(systems: &[System], points: &[MeanPoint], until: f64) -> f64 {
        let part = |system: &System| {
            let seen = points.iter().filter(|at| at.time <= until && system.start < at.time && at.time <= system.end);
            seen.map(|at| {
                let own = system.times.iter().filter(|&&time| (time - at.time).abs() < 1e-12).count() as f64;
                (own - at.failures as f64 / at.at_risk as f64) / at.at_risk as f64
            })
            .sum::<f64>()
        };
        systems.iter().map(|system| part(system).powi(2)).sum()
    }

    #[test]
    fn the_sweep_says_what_the_formula_says_with_late_starts_and_early_ends() {
        let system = |start, end, times: &[f64]| System::new(start, end, times.to_vec()).unwrap();
        let systems = [
            system(0.0, 30.0, &[3.0, 8.0, 21.0]),
            system(5.0, 12.0, &[8.0, 11.0]),
            system(8.0, 40.0, &[9.0, 9.0, 33.0, 40.0]),
            system(2.0, 21.0, &[21.0]),
            system(31.0, 35.0, &[]),
        ];
        let points = points(&systems);
        assert_eq!(points.iter().map(|at| at.at_risk).collect::<Vec<_>>(), [2, 3, 4, 4, 3, 2, 1]);
        for at in &points {
            let expected = variance(&systems, &points, at.time);
            assert!((at.std_error.unwrap().powi(2) - expected).abs() < 1e-14, "{at:?} not {expected}");
        }
    }

    #[test]
    fn one_system_tells_no_error_and_none_that_failed_no_mean() {
        let one = points(&[System::new(0.0, 5.0, vec![2.0]).unwrap()]);
        assert_eq!((one[0].std_error, one[0].upper), (None, None));
        assert!(points(&[System::new(0.0, 5.0, vec![]).unwrap()]).is_empty());
    }
}
