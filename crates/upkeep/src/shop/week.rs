//! Minutes by weekday, as people write them: `mon-fri 60, sat 30`.

use jiff::civil::Date;

use super::ShopError;

/// The minutes of a day.
pub const MOST_MINUTES: u16 = 24 * 60;

/// The weekdays, Monday first (ISO 8601).
pub const DAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];

const LONG: [&str; 7] = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"];

/// The minutes of each weekday, Monday first.
pub type Week = [u16; 7];

/// The minutes that a week has on the weekday of `day`.
pub fn on(week: &Week, day: Date) -> u16 {
    week[usize::from(day.weekday().to_monday_zero_offset().unsigned_abs())]
}

/// Reads minutes by weekday: days or ranges of days, each with its minutes, parted by commas. Days without minutes have those
/// of the next that has some: `mon, wed 60`. Days that are left out have none.
///
/// # Errors
/// [`ShopError::Week`], [`ShopError::TwiceADay`], [`ShopError::Minutes`].
///
/// # Example
/// ```
/// use upkeep::shop::week;
/// assert_eq!(week::parse("mon-fri 60, sat 30"), Ok([60, 60, 60, 60, 60, 30, 0]));
/// assert_eq!(week::parse("daily 20"), Ok([20; 7]));
/// assert!(week::parse("mon 60, mon-fri 30").is_err());
/// ```
pub fn parse(text: &str) -> Result<Week, ShopError> {
    let mut week: [Option<u16>; 7] = [None; 7];
    let mut waiting: Vec<usize> = Vec::new();
    for piece in text.split([',', ';']) {
        let (days, minutes) = read(piece).ok_or_else(|| ShopError::Week { found: piece.trim().to_owned() })?;
        waiting.extend(days);
        let Some(minutes) = minutes else { continue };
        for day in waiting.drain(..) {
            if week[day].replace(minutes).is_some() {
                return Err(ShopError::TwiceADay { day: DAYS[day] });
            }
        }
    }
    if !waiting.is_empty() {
        return Err(ShopError::Week { found: text.trim().to_owned() });
    }
    let week = week.map(Option::unwrap_or_default);
    check(&week)?;
    Ok(week)
}

/// Refuses more minutes than a day has.
///
/// # Errors
/// [`ShopError::Minutes`].
pub fn check(week: &Week) -> Result<(), ShopError> {
    match week.iter().find(|minutes| MOST_MINUTES < **minutes) {
        Some(&minutes) => Err(ShopError::Minutes { minutes }),
        None => Ok(()),
    }
}

/// Minutes by weekday in words, weekdays without any left out: `Mon–Fri 60, Sat 30 min`.
///
/// # Example
/// ```
/// assert_eq!(upkeep::shop::week::print(&[60, 60, 60, 60, 60, 30, 0]), "Mon–Fri 60, Sat 30 min");
/// assert_eq!(upkeep::shop::week::print(&[0; 7]), "no minutes");
/// ```
pub fn print(week: &Week) -> String {
    let mut pieces = Vec::new();
    let mut first = 0;
    while first < week.len() {
        let alike = week[first..].iter().take_while(|minutes| **minutes == week[first]).count();
        let last = first + alike - 1;
        if 0 < week[first] {
            let days = if first == last { DAYS[first].to_owned() } else { format!("{}–{}", DAYS[first], DAYS[last]) };
            pieces.push(format!("{days} {}", week[first]));
        }
        first = last + 1;
    }
    if pieces.is_empty() { "no minutes".to_owned() } else { format!("{} min", pieces.join(", ")) }
}

/// The weekdays of a piece, from 0 for Monday, and their minutes where it names some.
fn read(piece: &str) -> Option<(Vec<usize>, Option<u16>)> {
    let lower = piece.to_lowercase().replace('–', "-").replace(" - ", "-");
    let words: Vec<&str> = lower.split_whitespace().collect();
    let (days, minutes) = match words[..] {
        [days] => return Some((span(days)?, None)),
        [days, minutes] | [days, minutes, "min" | "minutes"] => (days, minutes),
        _ => return None,
    };
    Some((span(days)?, Some(minutes.parse().ok()?)))
}

/// `mon-fri`, `sat`, `daily`; a range may go over the week's end.
fn span(days: &str) -> Option<Vec<usize>> {
    if days == "daily" {
        return Some((0..7).collect());
    }
    let (first, last) = match days.split_once('-') {
        Some((first, last)) => (weekday(first)?, weekday(last)?),
        None => (weekday(days)?, weekday(days)?),
    };
    Some((0..=(last + 7 - first) % 7).map(|later| (first + later) % 7).collect())
}

fn weekday(word: &str) -> Option<usize> {
    LONG.iter().position(|name| 3 <= word.len() && name.starts_with(word))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn weekdays_may_be_written_out_and_ranges_go_over_the_weeks_end() {
        assert_eq!(parse("Monday - Thursday 45 min; FRI 30"), Ok([45, 45, 45, 45, 30, 0, 0]));
        assert_eq!(parse("sat–mon 15"), Ok([15, 0, 0, 0, 0, 15, 15]));
        assert_eq!(parse("mon,wed 60"), Ok([60, 0, 60, 0, 0, 0, 0]));
        assert_eq!(parse("mon, wed-thu, sat 60; sun 5"), Ok([60, 0, 60, 60, 0, 60, 5]));
        assert_eq!(parse("sun 1440"), Ok([0, 0, 0, 0, 0, 0, 1440]));
    }

    #[test]
    fn what_says_no_minutes_is_refused() {
        for text in [
            "",
            "mon",
            "60",
            "mo 60",
            "noonday 60",
            "mon-fri sixty",
            "mon -5",
            "mon 60 sat 30",
            "mon 70000",
            "mon 60, tue",
            "mon,",
        ] {
            assert!(matches!(parse(text), Err(ShopError::Week { .. })), "{text}");
        }
        assert_eq!(parse("mon 1441"), Err(ShopError::Minutes { minutes: 1441 }));
        assert_eq!(parse("mon, mon 5"), Err(ShopError::TwiceADay { day: "Mon" }));
        assert_eq!(parse("mon-wed 10, tue 5"), Err(ShopError::TwiceADay { day: "Tue" }));
    }

    #[test]
    fn a_day_has_the_minutes_of_its_weekday() {
        // 25 November 2026 is a Wednesday (worked by hand from 1 January 2026, a Thursday).
        assert_eq!(on(&[1, 2, 3, 4, 5, 6, 7], jiff::civil::date(2026, 11, 25)), 3);
    }

    proptest! {
        #[test]
        fn what_is_printed_is_read_back(week in prop::array::uniform7(prop::sample::select(vec![0u16, 30, 60]))) {
            prop_assume!(week.iter().any(|minutes| 0 < *minutes));
            prop_assert_eq!(parse(&print(&week)), Ok(week));
        }
    }
}
