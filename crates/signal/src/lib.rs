//! Measurements that decide: what a keeper can measure at a filament printer in; a figure with its uncertainty out.
//!
//! Recordings, photos and tables come as bytes or slices, and every figure is an [`Estimate`]: it knows how far to trust it,
//! and whether two of them differ beyond doubt. The main path: [`wav::read`] a recording, [`pluck::fundamental`] of the
//! belt span, and its [`pluck::tension`].

mod error;
mod estimate;
pub mod feed;
pub mod heat_log;
mod least_squares;
pub mod marks;
pub mod pluck;
mod png;
pub mod resonance;
pub mod spectrum;
pub mod square;
mod table;
pub mod wav;

pub use error::SignalError;
pub use estimate::Estimate;
pub use least_squares::Line;
