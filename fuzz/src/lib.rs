//! What is tried with bytes of all kinds: for each kind of input a function that takes any bytes, and panics where something
//! that must hold does not.
//!
//! The fuzz targets hand these functions millions of inputs; a test of the main workspace hands them every input that once
//! failed (docs/FUZZING.md).

mod gcode;
mod sent;
mod signals;
mod tables;
mod ways;

pub use self::gcode::{gcode, meter};
pub use self::sent::{json, packed};
pub use self::signals::{photo, wav};
pub use self::tables::{builds, lives, readings};
pub use self::ways::{mqtt, table};
