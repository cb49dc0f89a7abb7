//! Dates and times as people type them, in the shop's time zone.

use jiff::civil::{Date, Time, Weekday};
use jiff::{ToSpan, ZonedDateTime};

use crate::trouble::Trouble;

const FORMS: &str = "write a date as 2026-11-02, \"2 Nov\", today, yesterday, monday or \"3 days ago\", \
                     with a time after it if it matters: \"yesterday 14:10\"";

/// An instant at or before `now`. A day without a time means noon of that day, or `now` if that is earlier.
///
/// # Errors
/// Text that is no date, a day or time that does not exist in the zone, and an instant in the future.
pub(crate) fn past(text: &str, now: &ZonedDateTime) -> Result<ZonedDateTime, Trouble> {
    let (date, time) = day_and_time(text, now)?;
    let at = match time {
        Some(time) => on_clock(text, date, time, now)?,
        None => on_clock(text, date, Time::constant(12, 0, 0, 0), now)?,
    };
    if at <= *now {
        return Ok(at);
    }
    if time.is_none() && date == now.date() {
        return Ok(now.clone());
    }
    Err(Trouble::refused(format!("{} lies in the future; now is {}", spoken(&at), spoken(now)))
        .help("records are of what has happened; for what is still to come use `tallow queue`"))
}

/// A day, today or later.
///
/// # Errors
/// Text that is no date, and a day before today.
pub(crate) fn coming_day(text: &str, now: &ZonedDateTime) -> Result<Date, Trouble> {
    let (mut date, _) = day_and_time(text, now)?;
    if let Some(weekday) = weekday(text.trim().to_lowercase().as_str()) {
        date = now.date().nth_weekday(1, weekday).unwrap_or(date);
    }
    if date < now.date() && names_no_year(text) {
        date = date.saturating_add(1.year());
    }
    if date < now.date() {
        return Err(Trouble::refused(format!("{date} is past; today is {}", now.date()))
            .help("give the day on which it is expected, or leave it out for as soon as the machine is free"));
    }
    Ok(date)
}

/// An instant as people read it: `Wed 25 Nov 2026 14:10`.
pub(crate) fn spoken(at: &ZonedDateTime) -> String {
    at.strftime("%a %-d %b %Y %H:%M").to_string()
}

fn on_clock(text: &str, date: Date, time: Time, now: &ZonedDateTime) -> Result<ZonedDateTime, Trouble> {
    let zone = now.time_zone();
    let ambiguous = zone.to_ambiguous_zoned_datetime(date.to_datetime(time));
    if matches!(ambiguous.offset(), jiff::tz::AmbiguousOffset::Gap { .. }) {
        return Err(Trouble::refused(format!("\"{text}\" does not exist: the clocks went forward over it"))
            .help("give a time before or after the change"));
    }
    // In the hour that comes twice the first is meant, so that nothing seems to happen later than it did.
    ambiguous.compatible().map_err(|_| not_a_date(text))
}

fn not_a_date(text: &str) -> Trouble {
    Trouble::refused(format!("\"{text}\" is not a date that can be read")).help(FORMS)
}

fn day_and_time(text: &str, now: &ZonedDateTime) -> Result<(Date, Option<Time>), Trouble> {
    let lower = text.trim().to_lowercase();
    if lower == "now" {
        return Ok((now.date(), Some(now.time())));
    }
    if let Some(exact) = exact_instant(text, now).or_else(|| ago(&lower, now)) {
        return Ok((exact.date(), Some(exact.time())));
    }
    let words: Vec<&str> =
        lower.split(|c: char| c.is_whitespace() || c == ',').filter(|word| !word.is_empty()).collect();
    let (day_words, time) = match words.split_last() {
        Some((last, rest)) if last.contains(':') => (rest, Some(clock(last).ok_or_else(|| not_a_date(text))?)),
        Some(_) => (&words[..], None),
        None => return Err(not_a_date(text)),
    };
    let date = day(day_words, now).ok_or_else(|| not_a_date(text))?;
    Ok((date, time))
}

/// An instant with an offset or zone of its own: `2026-11-02T14:10Z`, or one in the shop's zone: `2026-11-02T14:10`.
fn exact_instant(text: &str, now: &ZonedDateTime) -> Option<ZonedDateTime> {
    let instant = text.trim().parse::<jiff::Timestamp>().ok()?;
    Some(instant.to_zoned_datetime(now.time_zone().clone()))
}

/// `3 days ago`, `2 hours ago`, `a week ago`.
fn ago(lower: &str, now: &ZonedDateTime) -> Option<ZonedDateTime> {
    let words: Vec<&str> = lower.split_whitespace().collect();
    let [count, unit, "ago"] = words[..] else { return None };
    let count: i64 =
        if matches!(count, "a" | "an") { 1 } else { count.parse().ok().filter(|n| (0..100_000).contains(n))? };
    let span = match unit.trim_end_matches('s') {
        "minute" => count.minutes(),
        "hour" => count.hours(),
        "day" => count.days(),
        "week" => count.weeks(),
        "month" => i32::try_from(count).ok()?.months(),
        _ => return None,
    };
    now.checked_sub(span).ok()
}

fn clock(word: &str) -> Option<Time> {
    let mut fields = word.split(':').map(|field| field.parse::<i8>().ok());
    let time = Time::new(fields.next()??, fields.next()??, fields.next().unwrap_or(Some(0))?, 0).ok()?;
    fields.next().is_none().then_some(time)
}

fn day(words: &[&str], now: &ZonedDateTime) -> Option<Date> {
    let today = now.date();
    match words {
        [] | ["today"] => Some(today),
        ["yesterday"] => today.yesterday().ok(),
        ["tomorrow"] => today.tomorrow().ok(),
        ["last", name] => today.nth_weekday(-1, weekday(name)?).ok(),
        [word] => match weekday(word) {
            Some(weekday) if weekday == today.weekday() => Some(today),
            Some(weekday) => today.nth_weekday(-1, weekday).ok(),
            None => iso_date(word),
        },
        [number, month_name] | [month_name, number] if month(month_name).is_some() => {
            last_such_day(today, month(month_name)?, number.parse().ok()?)
        }
        [number, month_name, year] => Date::new(year.parse().ok()?, month(month_name)?, number.parse().ok()?).ok(),
        _ => None,
    }
}

/// `2026-11-02`, with the separators that ISO 8601 asks for, or `2026-11-02T14:10` without the time.
fn iso_date(word: &str) -> Option<Date> {
    word.parse().ok().filter(|_| word.contains('-'))
}

/// The latest day of that name that is not in the future.
fn last_such_day(today: Date, month: i8, number: i8) -> Option<Date> {
    let this_year = Date::new(today.year(), month, number).ok()?;
    if this_year <= today { Some(this_year) } else { Date::new(today.year() - 1, month, number).ok() }
}

/// Whether a date names its month and no year: `3 December`.
fn names_no_year(text: &str) -> bool {
    let lower = text.to_lowercase();
    let words = || lower.split_whitespace();
    words().any(|word| month(word).is_some())
        && words().all(|word| word.parse::<i16>().is_ok_and(|n| n < 32) || month(word).is_some())
}

fn weekday(word: &str) -> Option<Weekday> {
    const DAYS: [(&str, Weekday); 7] = [
        ("monday", Weekday::Monday),
        ("tuesday", Weekday::Tuesday),
        ("wednesday", Weekday::Wednesday),
        ("thursday", Weekday::Thursday),
        ("friday", Weekday::Friday),
        ("saturday", Weekday::Saturday),
        ("sunday", Weekday::Sunday),
    ];
    DAYS.into_iter().find(|(name, _)| word.len() >= 3 && name.starts_with(word)).map(|(_, weekday)| weekday)
}

fn month(word: &str) -> Option<i8> {
    const MONTHS: [&str; 12] = [
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
    ];
    let found = MONTHS.iter().position(|name| word.len() >= 3 && name.starts_with(word))?;
    i8::try_from(found + 1).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Wednesday 25 November 2026, 15:30 in a zone with summer time.
    fn now() -> ZonedDateTime {
        "2026-11-25T15:30[Europe/Oslo]".parse().unwrap()
    }

    #[track_caller]
    fn check(text: &str, expected: &str) {
        let at = past(text, &now()).unwrap_or_else(|trouble| panic!("{text}: {trouble}"));
        assert_eq!(at.strftime("%Y-%m-%d %H:%M").to_string(), expected, "{text}");
    }

    #[test]
    fn days_are_read_as_people_write_them() {
        check("2026-11-02", "2026-11-02 12:00");
        check("2026-11-02 14:10", "2026-11-02 14:10");
        check("2026-11-02T14:10:00+01:00", "2026-11-02 14:10");
        check("yesterday 14:10", "2026-11-24 14:10");
        check("Yesterday", "2026-11-24 12:00");
        check("today 9:05", "2026-11-25 09:05");
        check("14:10", "2026-11-25 14:10");
        check("mon 8:00", "2026-11-23 08:00");
        check("last wednesday", "2026-11-18 12:00");
        check("2 Nov", "2026-11-02 12:00");
        check("nov 2 7:45", "2026-11-02 07:45");
        check("30 December", "2025-12-30 12:00");
        check("2 nov 2025", "2025-11-02 12:00");
        check("3 days ago", "2026-11-22 15:30");
        check("an hour ago", "2026-11-25 14:30");
        check("now", "2026-11-25 15:30");
    }

    #[test]
    fn today_without_a_time_is_never_in_the_future() {
        let morning: ZonedDateTime = "2026-11-25T08:00[Europe/Oslo]".parse().unwrap();
        assert_eq!(past("today", &morning).unwrap(), morning);
    }

    #[test]
    fn the_future_is_refused() {
        for text in ["tomorrow", "2026-11-26", "today 15:31", "2030-01-01"] {
            assert!(past(text, &now()).unwrap_err().to_string().contains("future"), "{text}");
        }
    }

    #[test]
    fn what_is_no_date_is_refused_with_the_forms_that_are() {
        for text in ["", "soon", "2026-13-01", "31 feb", "25:00", "yesterday 14:61", "-3 days ago", "14:10:20:5"] {
            assert!(past(text, &now()).unwrap_err().to_string().contains("is not a date"), "{text}");
        }
    }

    #[test]
    fn an_hour_that_the_clocks_skip_is_refused() {
        // Summer time in Oslo began on 29 March 2026 at 02:00 (EU directive 2000/84/EC: last Sunday of March).
        assert!(past("2026-03-29 02:30", &now()).unwrap_err().to_string().contains("went forward"));
    }

    #[test]
    fn a_coming_weekday_is_the_next_one() {
        assert_eq!(coming_day("friday", &now()).unwrap().to_string(), "2026-11-27");
        assert_eq!(coming_day("tomorrow", &now()).unwrap().to_string(), "2026-11-26");
        assert_eq!(coming_day("30 December", &now()).unwrap().to_string(), "2026-12-30");
        assert_eq!(coming_day("2 Jan", &now()).unwrap().to_string(), "2027-01-02");
        assert!(coming_day("yesterday", &now()).is_err());
    }
}
