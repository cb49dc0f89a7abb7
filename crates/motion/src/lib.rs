//! Kinematics and planner: G-code in, duty out.

pub mod duty;
pub mod machine;
pub mod quantity;

pub use duty::{Amounts, Duty, Tool};
pub use machine::{Corner, Drive, Kinematics, Limits, Machine, PerAxis};
pub use quantity::{AddsUp, Quantity, Unit};
