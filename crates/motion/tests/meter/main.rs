//! The meter against known answers, hostile files and laws.

#![expect(
    clippy::float_cmp,
    reason = "values that a double holds exactly, and computations that must be the same to the bit"
)]

mod common;
mod laws;
mod nasty;
mod stops;
mod textbook;
mod toolpaths;
