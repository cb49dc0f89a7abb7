//! The larger and the smaller of two numbers, neither of which is NaN.
//!
//! `f64::max` and `f64::min` guard against NaN, at six instructions instead of one; the planner takes some thirty of
//! them per move, of values that were checked when they were read.

#[inline(always)]
pub(crate) fn larger(a: f64, b: f64) -> f64 {
    if a < b { b } else { a }
}

#[inline(always)]
pub(crate) fn smaller(a: f64, b: f64) -> f64 {
    if b < a { b } else { a }
}
