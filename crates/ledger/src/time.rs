//! Instants and days as the database keeps them.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};
use sqlx::Row;
use sqlx::any::AnyRow;
use upkeep::Usage;

use crate::Error;

/// The use of each day of one month, by day of the month.
pub(crate) type DaysOfMonth = BTreeMap<u8, Usage>;

/// Microseconds since 1970-01-01T00:00:00Z.
pub(crate) fn to_micros(at: Timestamp) -> i64 {
    at.as_microsecond()
}

/// The instant that many microseconds after 1970-01-01T00:00:00Z; `None` where the calendar does not reach.
pub(crate) fn from_micros(micros: i64) -> Option<Timestamp> {
    Timestamp::from_microsecond(micros).ok()
}

/// The instant that a column holds of something.
pub(crate) fn instant(row: &AnyRow, column: usize, what: &str) -> Result<Timestamp, Error> {
    let damaged = || Error::Damaged { what: format!("an instant of {what}") };
    from_micros(row.try_get(column)?).ok_or_else(damaged)
}

/// `at` without what is finer than a microsecond, as it will be read back.
pub(crate) fn to_the_microsecond(at: Timestamp) -> Timestamp {
    // OK because the number came from an instant that the calendar reaches.
    from_micros(to_micros(at)).unwrap_or(at)
}

/// The civil day of `at` in the shop's zone.
pub(crate) fn day(at: Timestamp, zone: &TimeZone) -> Date {
    zone.to_datetime(at).date()
}

/// The instant at which a civil day begins in the shop's zone, µs; the first there is, where the calendar has none such.
pub(crate) fn beginning(day: Date, zone: &TimeZone) -> i64 {
    day.to_zoned_datetime(zone.clone()).map_or(i64::MIN, |begins| to_micros(begins.timestamp()))
}

/// The number of the month that `date` lies in: year × 12 + month − 1.
pub(crate) fn month(date: Date) -> i64 {
    i64::from(date.year()) * 12 + i64::from(date.month()) - 1
}

/// Days since 1970-01-01.
pub(crate) fn day_number(date: Date) -> i64 {
    (date - FIRST_DAY).get_days().into()
}

/// The date that many days after 1970-01-01; `None` where the calendar does not reach.
pub(crate) fn numbered_day(number: i64) -> Option<Date> {
    FIRST_DAY.checked_add(Span::new().try_days(number).ok()?).ok()
}

const FIRST_DAY: Date = jiff::civil::date(1970, 1, 1);

/// The day of the month as a row keeps it.
pub(crate) fn day_of_month(date: Date) -> u8 {
    date.day().unsigned_abs()
}

/// The date of a day in a numbered month; `None` where the calendar has no such day.
pub(crate) fn date(month: i64, day: u8) -> Option<Date> {
    let year = i16::try_from(month.div_euclid(12)).ok()?;
    let of_year = i8::try_from(month.rem_euclid(12) + 1).ok()?;
    Date::new(year, of_year, i8::try_from(day).ok()?).ok()
}
