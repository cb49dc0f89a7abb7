//! The meter against known answers, hostile files and laws.

mod common;
mod laws;
mod nasty;
mod stops;
mod textbook;
mod toolpaths;
