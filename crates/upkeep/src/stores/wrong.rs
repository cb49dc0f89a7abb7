//! Why a figure of the stores can't be worked out.

use super::demand::MOST_STEPS;

/// Why a figure of the stores can't be worked out. The first line of its text says what was found, the second what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum StoresError {
    /// Something that may be nothing, but not less, is less or no number.
    #[error("{what} of {got} makes no sense\n  give a number of 0 or more")]
    Negative {
        /// What it is.
        what: &'static str,
        /// Its value.
        got: f64,
    },
    /// Something that must be more than nothing is not.
    #[error("{what} of {got} makes no sense\n  give more than 0")]
    NotPositive {
        /// What it is.
        what: &'static str,
        /// Its value.
        got: f64,
    },
    /// A level of service is no share between 0 and 1.
    #[error("a level of service of {got} makes no sense\n  give a share above 0 and below 1: 0.95")]
    Service {
        /// The level.
        got: f64,
    },
    /// A chance is none.
    #[error("a chance of {got} makes no sense\n  give a number from 0 to 1")]
    Chance {
        /// The chance.
        got: f64,
    },
    /// A demand would have to be told in too many steps.
    #[error("a demand in {steps} steps is more than can be told\n  take a larger step: {MOST_STEPS} are the most")]
    TooFine {
        /// How many steps there would be.
        steps: f64,
    },
    /// Something is wrong with one item.
    #[error("{item}: {wrong}")]
    Of {
        /// The item.
        item: String,
        /// What is wrong with it.
        wrong: Box<StoresError>,
    },
}

impl StoresError {
    /// The same, said of an item.
    pub(super) fn of(self, item: &str) -> StoresError {
        StoresError::Of { item: item.to_owned(), wrong: Box::new(self) }
    }
}

/// Passes on `got` if it is 0 or more and finite; NaN is neither.
pub(super) fn not_negative(what: &'static str, got: f64) -> Result<f64, StoresError> {
    if (0.0..f64::INFINITY).contains(&got) { Ok(got) } else { Err(StoresError::Negative { what, got }) }
}

/// Passes on `got` if it is more than 0 and finite.
pub(super) fn positive(what: &'static str, got: f64) -> Result<f64, StoresError> {
    if 0.0 < got && got < f64::INFINITY { Ok(got) } else { Err(StoresError::NotPositive { what, got }) }
}

/// Passes on `got` if it is a level of service.
pub(super) fn service(got: f64) -> Result<f64, StoresError> {
    if 0.0 < got && got < 1.0 { Ok(got) } else { Err(StoresError::Service { got }) }
}
