//! Inside a visit: in which order its tasks are done, and when the machine is switched, heated and cooled.
//!
//! - [`heat`]: how long heating and cooling take;
//! - `before`: which task comes before which;
//! - `search`: the stays in each condition, with the least waiting;
//! - `order`: the stages, one after another;
//! - `sinks`: what comes down by itself when the machine is switched off.

mod before;
pub mod heat;
mod order;
mod search;
mod sinks;

pub use order::{AGAIN_MINUTES, Order, Stage, What, minutes, order};
pub use sinks::Sinks;

/// How the machine is met.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Start {
    /// Powered and cold.
    #[default]
    Cold,
    /// Powered, with nozzle and bed at the temperatures of hot work: a print has just ended.
    Hot,
}
