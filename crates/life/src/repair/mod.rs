//! Things that are repaired and go on: their failures over time, trends in them, and the power-law process.
//!
//! Ascher & Feingold (1984), Repairable Systems Reliability; Meeker & Escobar (1998), chapter 16; MIL-HDBK-189 (1981).

mod end;
mod mean;
mod power_law;
mod trend;

pub use end::EndBounds;
pub use mean::{MeanPoint, mean_failures};
pub use power_law::{How, NoPowerLaw, PowerLaw, PowerLawFit};
pub use trend::{
    ChiSquareTest, LaplaceTest, ReversalTest, TooFewFailures, chi_square_test, laplace_test, reversal_test,
};

/// A thing that is repaired when it fails, watched over a span of its own time.
#[derive(Clone, Debug, PartialEq)]
pub struct System {
    start: f64,
    end: f64,
    times: Vec<f64>,
}

/// What is wrong with a system's history.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum SystemError {
    /// A time that is negative or not finite.
    #[error("{what} is {got}: times are 0 or more, and finite")]
    NotATime {
        /// Which time.
        what: &'static str,
        /// Its value.
        got: f64,
    },
    /// A span that ends before it starts.
    #[error("watching from {start} to {end} holds no time: its end must lie after its start")]
    EmptySpan {
        /// When watching began.
        start: f64,
        /// When it ended.
        end: f64,
    },
    /// A failure outside the span.
    #[error("the failure at {time} was not watched: failures lie after {start} and not after {end}")]
    Outside {
        /// The failure.
        time: f64,
        /// When watching began.
        start: f64,
        /// When it ended.
        end: f64,
    },
}

impl System {
    /// A system watched after `start`, to `end` and including it, that failed at `times` (in any order).
    ///
    /// If its last failure is at its end it is taken to have been watched up to that failure and no longer
    /// (failure-truncated); otherwise up to a time that its failures did not set (time-truncated).
    ///
    /// # Errors
    /// Times that are negative or not finite; an empty span; a failure outside it.
    pub fn new(start: f64, end: f64, times: Vec<f64>) -> Result<System, SystemError> {
        let named = [("the start", start), ("the end", end)];
        for (what, got) in named.into_iter().chain(times.iter().map(|&time| ("a failure", time))) {
            if !(0.0..f64::INFINITY).contains(&got) {
                return Err(SystemError::NotATime { what, got });
            }
        }
        if end <= start {
            return Err(SystemError::EmptySpan { start, end });
        }
        if let Some(&time) = times.iter().find(|&&time| time <= start || end < time) {
            return Err(SystemError::Outside { time, start, end });
        }
        let mut times = times;
        times.sort_unstable_by(f64::total_cmp);
        Ok(System { start, end, times })
    }

    /// When watching began.
    pub fn start(&self) -> f64 {
        self.start
    }

    /// When watching ended.
    pub fn end(&self) -> f64 {
        self.end
    }

    /// Its failures, rising.
    pub fn times(&self) -> &[f64] {
        &self.times
    }

    /// Whether watching ended at its last failure.
    pub fn is_failure_truncated(&self) -> bool {
        self.times.last().is_some_and(|last| self.end <= *last)
    }

    /// The failures whose times are free to lie anywhere in the span: all, but for a last one that set its end.
    fn free_times(&self) -> &[f64] {
        &self.times[..self.times.len() - usize::from(self.is_failure_truncated())]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_a_history_is_refused_with_the_reason() {
        let refused = |start, end, times: &[f64]| System::new(start, end, times.to_vec()).unwrap_err();
        assert_eq!(refused(-1.0, 5.0, &[]), SystemError::NotATime { what: "the start", got: -1.0 });
        assert!(matches!(refused(0.0, f64::NAN, &[]), SystemError::NotATime { what: "the end", .. }));
        assert!(matches!(refused(0.0, 5.0, &[1.0, f64::NAN]), SystemError::NotATime { what: "a failure", .. }));
        assert_eq!(refused(5.0, 5.0, &[]), SystemError::EmptySpan { start: 5.0, end: 5.0 });
        assert_eq!(refused(2.0, 5.0, &[2.0]), SystemError::Outside { time: 2.0, start: 2.0, end: 5.0 });
        assert_eq!(refused(2.0, 5.0, &[6.0]), SystemError::Outside { time: 6.0, start: 2.0, end: 5.0 });
    }

    #[test]
    fn a_system_watched_up_to_its_last_failure_is_failure_truncated() {
        let system = System::new(0.0, 5.0, vec![5.0, 1.0]).unwrap();
        assert!(system.is_failure_truncated());
        assert_eq!((system.times(), system.free_times()), (&[1.0, 5.0][..], &[1.0][..]));
        assert!(!System::new(0.0, 5.0, vec![]).unwrap().is_failure_truncated());
    }
}
