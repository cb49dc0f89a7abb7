//! Life-data statistics: laws of the age at which something happens.
//!
//! Ages have no unit here: hours, kilometres or days is the caller's word. So far there are the laws of first passage,
//! that is of the time at which a quantity that grows or wanders first reaches a barrier.

pub mod passage;
mod special;

pub use passage::{Gamma, InverseGaussian};

/// What can be wrong with the parameters of a law.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum Error {
    /// A parameter that must be positive and finite is not.
    #[error("{what} is {got}, but must be positive and finite")]
    NotPositive {
        /// The parameter.
        what: &'static str,
        /// Its value.
        got: f64,
    },
    /// A chance that must lie between 0 and 1 does not.
    #[error("a quantile was asked for a chance of {got}, but a chance lies between 0 and 1, both left out")]
    NotAChance {
        /// Its value.
        got: f64,
    },
}

/// Passes on `got` if it is positive and finite; NaN is neither.
fn positive(what: &'static str, got: f64) -> Result<f64, Error> {
    if 0.0 < got && got < f64::INFINITY { Ok(got) } else { Err(Error::NotPositive { what, got }) }
}
