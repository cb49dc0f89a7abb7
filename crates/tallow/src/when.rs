//! Dates and times as people type them, in the shop's time zone.

use jiff::civil::{Date, DateTime, Time, Weekday};
use jiff::{ToSpan, ZonedDateTime};

use crate::trouble::Trouble;

const FORMS: &str = "write a date as 2026-11-02, \"2 Nov\", today, yesterday, monday or \"3 days ago\", \
                     with a time after it if it matters: \"yesterday 14:10\"";

/// The first year of which anything is recorded: there were no filament printers before.
const FIRST_YEAR: i16 = 1980;

/// Noon: what a day without a time means.
const NOON: Time = Time::constant(12, 0, 0, 0);

/// What to do about an instant in the future.
const NOT_YET: &str = "records are of what has happened: give a time up to now";

/// An instant at or before `now`. A day without a time means noon of that day, or `now` if that is earlier.
///
/// # Errors
/// Text that is no date, a day or time that does not exist in the zone, and an instant in the future.
pub(crate) fn past(text: &str, now: &ZonedDateTime) -> Result<ZonedDateTime, Trouble> {
    past_or(text, NOON, now, NOT_YET)
}

/// As [`past`], of a run, which can be queued where it is still to come.
///
/// # Errors
/// As [`past`].
pub(crate) fn past_run(text: &str, now: &ZonedDateTime) -> Result<ZonedDateTime, Trouble> {
    past_or(text, NOON, now, "records are of what has happened; for what is still to come use `tallow queue`")
}

/// As [`past`], but a day without a time means its beginning: the instant from which something counts.
///
/// # Errors
/// As [`past`].
pub(crate) fn since(text: &str, now: &ZonedDateTime) -> Result<ZonedDateTime, Trouble> {
    past_or(text, Time::midnight(), now, NOT_YET)
}

fn past_or(text: &str, usual: Time, now: &ZonedDateTime, not_yet: &str) -> Result<ZonedDateTime, Trouble> {
    let (date, time) = day_and_time(text, now)?;
    let at = on_clock(text, date, time.unwrap_or(usual), now)?;
    if at.year() < FIRST_YEAR {
        return Err(Trouble::refused(format!("\"{text}\" lies before {FIRST_YEAR}, when there were no such machines"))
            .help("check the year"));
    }
    if at <= *now {
        return Ok(at);
    }
    if time.is_none() && date == now.date() {
        return Ok(now.clone());
    }
    Err(Trouble::refused(format!("{} lies in the future; now is {}", spoken(&at), spoken(now))).help(not_yet))
}

/// A day, today or later.
///
/// # Errors
/// Text that is no date, and a day before today.
pub(crate) fn coming_day(text: &str, now: &ZonedDateTime) -> Result<Date, Trouble> {
    let lower = text.trim().to_lowercase();
    let words: Vec<&str> = lower.split_whitespace().collect();
    let (mut date, _) = match words[..] {
        ["in", count, unit] => ahead(count, unit, now).map(|date| (date, None)).ok_or_else(|| not_a_date(text))?,
        _ => day_and_time(text, now)?,
    };
    if let Some(weekday) = words.first().and_then(|word| weekday(word)) {
        date = now.date().nth_weekday(1, weekday).unwrap_or(date);
    }
    if date < now.date() && names_no_year(text) {
        date = date.saturating_add(1.year());
    }
    if date < now.date() {
        return Err(
            Trouble::refused(format!("{date} is past; today is {}", now.date())).help("give today or a later day")
        );
    }
    Ok(date)
}

/// An instant as people read it: `Wed 25 Nov 2026 14:10`.
pub(crate) fn spoken(at: &ZonedDateTime) -> String {
    at.strftime("%a %-d %b %Y %H:%M").to_string()
}

/// A day as people read it: `Wed 25 Nov 2026`.
pub(crate) fn spoken_day(at: &ZonedDateTime) -> String {
    at.strftime("%a %-d %b %Y").to_string()
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
    let trouble = Trouble::refused(format!("\"{text}\" is not a date that can be read")).help(FORMS);
    match too_late_in_month(text) {
        Some(month) => trouble.help(month),
        None => trouble,
    }
}

/// What to say of `2026-02-30`.
fn too_late_in_month(text: &str) -> Option<String> {
    let (before, day) = text.split_whitespace().next()?.rsplit_once('-')?;
    let first: Date = format!("{before}-01").parse().ok()?;
    let day: i8 = day.parse().ok().filter(|day| (28..32).contains(day))?;
    Some(format!("{} {} has {} days, not {day}", first.strftime("%B"), first.year(), first.days_in_month()))
}

fn day_and_time(text: &str, now: &ZonedDateTime) -> Result<(Date, Option<Time>), Trouble> {
    let lower = text.trim().to_lowercase();
    if lower == "now" {
        return Ok((now.date(), Some(now.time())));
    }
    if let Some(exact) = exact_instant(text, now).or_else(|| ago(&lower, now)) {
        return Ok((exact.date(), Some(exact.time())));
    }
    if let Ok(there) = text.trim().parse::<DateTime>()
        && text.contains('T')
    {
        return Ok((there.date(), Some(there.time())));
    }
    let words: Vec<&str> =
        lower.split(|c: char| c.is_whitespace() || c == ',').filter(|word| !word.is_empty()).collect();
    let (day_words, time) = match words[..] {
        [] => return Err(not_a_date(text)),
        [ref rest @ .., hour, half @ ("am" | "pm")] => {
            (rest, Some(half_day(hour, half).ok_or_else(|| not_a_date(text))?))
        }
        [ref rest @ .., last] if half_day_of(last).is_some() => (rest, half_day_of(last)),
        [ref rest @ .., last] if last.contains(':') => (rest, Some(clock(last).ok_or_else(|| not_a_date(text))?)),
        ref all => (all, None),
    };
    let date = day(day_words, now).ok_or_else(|| not_a_date(text))?;
    Ok((date, time))
}

/// An instant with an offset of its own: `2026-11-02T14:10Z`.
fn exact_instant(text: &str, now: &ZonedDateTime) -> Option<ZonedDateTime> {
    let instant = text.trim().parse::<jiff::Timestamp>().ok()?;
    Some(instant.to_zoned_datetime(now.time_zone().clone()))
}

/// `in 3 days`, `in a week`.
fn ahead(count: &str, unit: &str, now: &ZonedDateTime) -> Option<Date> {
    let count: i64 = if count == "a" { 1 } else { count.parse().ok().filter(|n| (0..10_000).contains(n))? };
    let days = match unit.trim_end_matches('s') {
        "day" => count,
        "week" => 7 * count,
        _ => return None,
    };
    now.date().checked_add(days.days()).ok()
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

/// `9am`, `9:30pm`.
fn half_day_of(word: &str) -> Option<Time> {
    let (hour, half) = word.split_at_checked(word.len().checked_sub(2)?)?;
    half_day(hour, half)
}

/// An hour of the morning or the afternoon: `9` `am`, `12:30` `pm`.
fn half_day(hour: &str, half: &str) -> Option<Time> {
    let time = if hour.contains(':') { clock(hour)? } else { Time::new(hour.parse().ok()?, 0, 0, 0).ok()? };
    let noon = match half {
        "am" => 0,
        "pm" => 12,
        _ => return None,
    };
    if !(1..=12).contains(&time.hour()) {
        return None;
    }
    Time::new(time.hour() % 12 + noon, time.minute(), time.second(), 0).ok()
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
        check("2026-11-02T14:10", "2026-11-02 14:10");
        check("yesterday 9 am", "2026-11-24 09:00");
        check("yesterday 9:30pm", "2026-11-24 21:30");
        check("12 am", "2026-11-25 00:00");
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
        for text in
            ["", "soon", "2026-13-01", "31 feb", "25:00", "yesterday 14:61", "-3 days ago", "14:10:20:5", "13 pm"]
        {
            assert!(past(text, &now()).unwrap_err().to_string().contains("is not a date"), "{text}");
        }
    }

    #[test]
    fn a_day_that_its_month_has_not_is_told_how_many_it_has() {
        assert!(past("2026-02-30 9:00", &now()).unwrap_err().to_string().contains("February 2026 has 28 days"));
        assert!(past("0001-01-01", &now()).unwrap_err().to_string().contains("check the year"));
    }

    #[test]
    fn what_counts_from_a_day_counts_from_its_beginning() {
        assert_eq!(since("monday", &now()).unwrap().strftime("%Y-%m-%d %H:%M").to_string(), "2026-11-23 00:00");
    }

    #[test]
    fn an_hour_that_the_clocks_skip_is_refused() {
        // Summer time in Oslo began on 29 March 2026 at 02:00 (EU directive 2000/84/EC: last Sunday of March).
        assert!(past("2026-03-29 02:30", &now()).unwrap_err().to_string().contains("went forward"));
    }

    #[test]
    fn a_coming_weekday_is_the_next_one() {
        assert_eq!(coming_day("friday", &now()).unwrap().to_string(), "2026-11-27");
        assert_eq!(coming_day("friday 9:00", &now()).unwrap().to_string(), "2026-11-27");
        assert_eq!(coming_day("in 3 days", &now()).unwrap().to_string(), "2026-11-28");
        assert_eq!(coming_day("tomorrow", &now()).unwrap().to_string(), "2026-11-26");
        assert_eq!(coming_day("30 December", &now()).unwrap().to_string(), "2026-12-30");
        assert_eq!(coming_day("2 Jan", &now()).unwrap().to_string(), "2027-01-02");
        assert!(coming_day("yesterday", &now()).is_err());
    }
}
