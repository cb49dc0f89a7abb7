//! Why a fact of the shop can't stand.

use jiff::civil::Date;

use crate::amount::AmountError;
use crate::build::is_unusual;

/// Why a fact of the shop can't stand. The first line of its text says what was found, the others what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ShopError {
    /// Words are missing.
    #[error("{what} is not said\n  say it in a few words")]
    Missing {
        /// What should be said.
        what: &'static str,
    },
    /// Words that would break the line they stand in.
    #[error("{what} has a line break or a sign that can't be seen\n  say it in one line of letters, figures and signs")]
    NotOneLine {
        /// What should be one line.
        what: &'static str,
    },
    /// A name that is too long, or would be taken for an option.
    #[error(
        "\"{found}\" can't be {what}\n  give 1 to {LONGEST_NAME} letters, figures and spaces that do not begin with -"
    )]
    Name {
        /// What it should name.
        what: &'static str,
        /// The name.
        found: String,
    },
    /// A day has no more minutes than that.
    #[error("{minutes} minutes are more than a day has\n  give at most {}", super::week::MOST_MINUTES)]
    Minutes {
        /// Minutes of one day.
        minutes: u16,
    },
    /// Minutes by weekday can't be read.
    #[error(
        "\"{found}\" does not say minutes by weekday\n  write days and minutes: \"mon-fri 60, sat 30\", or \"daily 20\""
    )]
    Week {
        /// The piece that can't be read.
        found: String,
    },
    /// A weekday is named twice.
    #[error("{day} is named twice\n  name each weekday once; days that are left out have no minutes")]
    TwiceADay {
        /// The weekday.
        day: &'static str,
    },
    /// Days off end before they begin.
    #[error(
        "days off from {from} to {to} end before they begin\n  give the first day with --from and the last with --to"
    )]
    Reversed {
        /// The first day.
        from: Date,
        /// The last.
        to: Date,
    },
    /// What should be a chance is none.
    #[error("a chance of {found} makes no sense\n  give more than 0 and less than 1")]
    Chance {
        /// The number.
        found: f64,
    },
    /// An amount can't be read.
    #[error("{}\n  write a number and its unit: \"100 ml\", \"5 pieces\"", .0.found())]
    Amount(#[from] AmountError),
    /// An amount is nothing or less.
    #[error("{what} of \"{found}\" makes no sense\n  give {}", if *.may_be_none { "0 or more" } else { "more than 0" })]
    TooLittle {
        /// Of what.
        what: &'static str,
        /// The amount as typed.
        found: String,
        /// Whether 0 would do.
        may_be_none: bool,
    },
    /// Pieces are whole.
    #[error("{what} of \"{found}\" makes no sense\n  give a whole number of pieces")]
    Broken {
        /// Of what.
        what: &'static str,
        /// The amount as typed.
        found: String,
    },
    /// An amount is in another unit than before.
    #[error("{item} is counted in {kept}, not in {found}\n  give the amount in {kept}")]
    OtherUnit {
        /// The item.
        item: String,
        /// The unit in which it is counted.
        kept: String,
        /// The unit of the amount.
        found: String,
    },
    /// Money makes no sense.
    #[error("a price of {value} makes no sense\n  give a number of 0 or more")]
    Price {
        /// The price.
        value: f64,
    },
    /// A level of service is no share below 1.
    #[error(
        "a level of service of {value} makes no sense\n  give the share of orders' waits in which nothing may run out, above 0 and below 1: 0.95"
    )]
    Service {
        /// The level.
        value: f64,
    },
    /// A visit does nothing.
    #[error("a visit without a task is none\n  name at least one task")]
    NoTasks,
    /// A visit takes no time, or more than a day.
    #[error("a visit of {value} minutes makes no sense\n  give more than 0, and at most {}", super::week::MOST_MINUTES)]
    VisitMinutes {
        /// Its minutes.
        value: f64,
    },
}

/// The most letters of a name: as many as a machine's may have.
const LONGEST_NAME: usize = 60;

/// Refuses text without a word in it, or of more than one line.
///
/// # Errors
/// [`ShopError::Missing`], [`ShopError::NotOneLine`].
pub fn said(what: &'static str, text: &str) -> Result<(), ShopError> {
    if text.trim().is_empty() { Err(ShopError::Missing { what }) } else { one_line(what, text) }
}

/// Refuses line breaks, control characters, and what can't be seen or turns the direction of writing.
pub(super) fn one_line(what: &'static str, text: &str) -> Result<(), ShopError> {
    if text.contains(is_unusual) { Err(ShopError::NotOneLine { what }) } else { Ok(()) }
}

/// Refuses what can't be a name.
pub(super) fn named(what: &'static str, name: &str) -> Result<(), ShopError> {
    said(what, name)?;
    match LONGEST_NAME < name.trim().chars().count() || name.trim_start().starts_with('-') {
        true => Err(ShopError::Name { what, found: name.trim().to_owned() }),
        false => Ok(()),
    }
}

/// Refuses a price that is negative or no number.
pub(super) fn price(value: Option<f64>) -> Result<(), ShopError> {
    match value {
        Some(value) if !(0.0..f64::INFINITY).contains(&value) => Err(ShopError::Price { value }),
        _ => Ok(()),
    }
}
