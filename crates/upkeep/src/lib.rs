//! The domain of tallow, as pure functions over plain data: builds, meters, what is due, forecasts.
//!
//! No I/O and no clock: the day is an argument, so that a list made last March can be made again and compared.

pub mod build;
pub mod entry;
pub mod material;
pub mod usage;

pub use build::Build;
pub use entry::{Entry, EntryId, Event};
pub use material::Material;
pub use usage::Usage;
