//! The record of a shop: append-only entries, and rows derived from them so that nobody has to wait.
//!
//! An entry is never edited or deleted; a correction is a new entry that names the one it corrects. Each booking is one
//! transaction that writes the entry and everything that follows from it, so a kill at any instant leaves the record
//! whole. [`Ledger::rebuild`] computes the derived rows from the entries alone, and [`Ledger::verify`] proves that what
//! is kept is equal to that, to the last grain.
//!
//! This is the only crate that speaks SQL. One SQL text runs on SQLite, embedded in a file, and on PostgreSQL. It reads
//! no clock: the instant of recording is part of each entry.

mod alike;
mod append;
mod bell;
mod booker;
mod catalogue;
mod chains;
mod checklist;
mod codec;
mod condition;
mod count;
mod derived;
mod error;
mod faults;
mod feeds;
mod forecasts;
mod group;
mod jobs;
mod keep;
mod kind;
mod ledger;
mod lives;
mod names;
mod news;
mod outlay;
mod people;
mod place;
mod proof;
mod proposal;
mod read;
mod record;
mod rows;
mod schema;
mod shop;
mod standing;
mod states;
mod tables;
mod time;
mod tries;
mod visits;
mod ways;
mod written;

pub use append::{Imported, NewEntry};
pub use bell::Ear;
pub use catalogue::{BuildText, Program, ProgramKey};
pub use checklist::{
    Checklist, LARGEST_PHOTO, MOST_PHOTOS, Maker, Mark, Outcome, PhotoError, PhotoInfo, PhotoKind, Ticked,
};
pub use condition::Condition;
pub use error::Error;
pub use forecasts::OfDay;
pub use jobs::{Job, JobCounts, Stands};
pub use keep::{Contents, Folder, hexadecimal};
pub use kind::Kind;
pub use ledger::{Ledger, Shop};
pub use news::{News, Revision};
pub use people::{MachineToken, Person, Role, Session};
pub use place::is_on_a_server;
pub use proof::{Difference, Verdict};
pub use proposal::{Asked, Sought};
pub use read::{Filter, Listed, MachineInfo};
pub use shop::Stock;
pub use tries::Tries;
pub use visits::Told;
pub use ways::WayIn;
