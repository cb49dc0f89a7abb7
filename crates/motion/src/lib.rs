//! Kinematics and planner: G-code in, duty out.
//!
//! [`Meter`] is the way in. A file's bytes go through these stages, each in its module:
//!
//! 1. the `gcode` crate finds commands;
//! 2. `program` keeps positions, units and feeds, and makes batches of moves (`event`);
//! 3. `tally` counts travel, reversals, filament and wear over them (`track`, `feed`, `arc`, `towers`, `wear`);
//! 4. the `clock` makes each move a `block`, finds speeds by `lookahead`, and books seconds to what was on;
//! 5. `meter` puts together a [`Duty`] for this machine, and a [`Report`] by fixed conventions.

pub mod duty;
pub mod machine;
pub mod quantity;
pub mod report;

mod arc;
mod block;
mod clock;
mod event;
mod feed;
mod lookahead;
mod meter;
mod order;
mod program;
mod tally;
mod towers;
mod track;
mod wear;

pub use duty::{Amounts, Duty, Tool};
pub use machine::{Corner, Drive, Kinematics, Limits, Machine, PerAxis};
pub use meter::{
    Meter, MeterError, Metered, Options, Stop, Stopped, meter_reader, meter_reader_on_two_cores, meter_to_time_share,
};
pub use quantity::{AddsUp, Quantity, Unit};
pub use report::{Report, Warning};
pub use track::DEAD_BAND_MM;
pub use wear::{WearMap, WearMaps};
