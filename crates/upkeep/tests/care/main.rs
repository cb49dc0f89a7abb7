//! What is due, when, and how good that was.

mod common;
mod due;
mod estimate;
mod hour_meter;
mod replay;
