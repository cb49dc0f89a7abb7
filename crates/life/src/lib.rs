//! Life-data statistics: lives in; laws, their bounds, and the ages at which it pays to act out.
//!
//! Ages have no unit here: hours, kilometres or days is the caller's word. The main path: [`Life`]s say what is known,
//! [`Fit`] finds the [`Law`] that suits them best, and [`AgeReplacement`] what follows for money.

pub mod bayes;
pub mod bearing;
mod bins;
mod bounds;
pub mod compare;
mod contour;
mod curve;
mod data;
mod degrade;
mod fit;
mod growth;
mod inspect;
mod law;
mod matrix;
pub mod mtbf;
pub mod passage;
mod plot_positions;
mod quadrature;
mod renewal;
pub mod repair;
mod replace;
mod solve;
mod special;
mod surface;
mod turnbull;

pub use bounds::{Bounds, Of};
pub use curve::{CurvePoint, NoCurve, curve, median};
pub use data::{DataError, End, Life, failures, total};
pub use degrade::{Crossing, Direction, Drift, DriftError, Reading};
pub use fit::{Fit, NoFit};
pub use growth::GammaProcess;
pub use inspect::{Delay, HiddenFailure, LookCosts, Looks};
pub use law::{Family, Law};
pub use passage::{Gamma, InverseGaussian};
pub use plot_positions::{PlotPosition, median_ranks, plot_positions};
pub use renewal::{BlockReplacement, Renewals};
pub use replace::{AgeReplacement, Band, Best, MinimalRepair};
pub use special::{normal_cdf, normal_density, normal_quantile};
pub use turnbull::{Fall, median_between, turnbull};

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
    /// A value lies outside what is possible.
    #[error("{what} is {got}, but must lie between {from} and {to}")]
    OutOfRange {
        /// What it is.
        what: &'static str,
        /// Its value.
        got: f64,
        /// The least.
        from: f64,
        /// The greatest.
        to: f64,
    },
    /// A level of confidence that must lie between 0 and 1 does not.
    #[error("a level of {got} can't be: it lies between 0 and 1, both left out, such as 0.95")]
    NotALevel {
        /// Its value.
        got: f64,
    },
}

/// The level of a two-sided band: the chance that it holds what it is said to hold, between 0 and 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level(f64);

impl Level {
    /// A level such as 0.95.
    ///
    /// # Errors
    /// If it does not lie between 0 and 1.
    pub fn new(level: f64) -> Result<Level, Error> {
        if 0.0 < level && level < 1.0 { Ok(Level(level)) } else { Err(Error::NotALevel { got: level }) }
    }

    /// Its value.
    pub fn get(self) -> f64 {
        self.0
    }
}

/// Passes on `got` if it is positive and finite; NaN is neither.
fn positive(what: &'static str, got: f64) -> Result<f64, Error> {
    if 0.0 < got && got < f64::INFINITY { Ok(got) } else { Err(Error::NotPositive { what, got }) }
}

/// Passes on `got` if it is a chance between 0 and 1, both left out.
fn chance(got: f64) -> Result<f64, Error> {
    if 0.0 < got && got < 1.0 { Ok(got) } else { Err(Error::NotAChance { got }) }
}
