//! Small pieces of text that several screens share.

use jiff::civil::Date;
use motion::{Quantity, Unit};
use upkeep::amount;
use upkeep::build::{Allowance, Limit};

/// How many days of records a forecast draws from: half a year.
pub(crate) const HISTORY_DAYS: i64 = 26 * 7;

/// A share as a whole percentage: `131 %`.
pub(crate) fn percent(share: f64) -> String {
    // Nought has no sign.
    format!("{} %", (share * 100.0).round() + 0.0)
}

/// So many things, in the singular for one: `1 layer`, `12 layers`.
pub(crate) fn count(number: u64, things: &str) -> String {
    match things.strip_suffix('s') {
        Some(thing) if number == 1 => format!("1 {thing}"),
        _ => format!("{number} {things}"),
    }
}

/// How far ahead: `within a day`, `within a week`, `within 10 days`.
pub(crate) fn within(days: u16) -> String {
    match days {
        1 => "within a day".to_owned(),
        7 => "within a week".to_owned(),
        14 => "within a fortnight".to_owned(),
        days => format!("within {days} days"),
    }
}

/// A day as people read it: `26 Nov`, with the year when it is not this one.
pub(crate) fn day(date: Date, today: Date) -> String {
    let form = if date.year() == today.year() { "%-d %b" } else { "%-d %b %Y" };
    date.strftime(form).to_string()
}

/// A day near today by its name: `today`, `tomorrow`, else as [`day`].
pub(crate) fn near_day(date: Date, today: Date) -> String {
    match today.until(date).map(|span| span.get_days()) {
        Ok(0) => "today".to_owned(),
        Ok(1) => "tomorrow".to_owned(),
        _ => day(date, today),
    }
}

/// A range of days: `25–30 Nov`, `28 Nov–3 Dec`; an open end is said in words.
pub(crate) fn days(from: Date, to: Option<Date>, today: Date) -> String {
    let Some(to) = to else { return format!("from {}", day(from, today)) };
    if from == to {
        return day(from, today);
    }
    if (from.year(), from.month()) == (to.year(), to.month()) {
        return format!("{}–{}", from.day(), day(to, today));
    }
    format!("{}–{}", day(from, today), day(to, today))
}

/// How much of a limit is used, and of what: `24.1 of 25 km travel x`, `9 of 15 heat cycles bed`, `1 month`.
pub(crate) fn so_far(limit: &Limit, so_far: f64) -> String {
    match limit.every {
        Allowance::Elapsed { .. } => limit.text.clone(),
        Allowance::Amount { quantity, .. } => {
            let share = amount::print_out_of(so_far, quantity, &limit.text);
            if amount::is_spools(&limit.text) { share } else { with_name(&share, quantity) }
        }
    }
}

/// A printed amount with what it is of: `25 km travel x`, `15 heat cycles bed`.
pub(crate) fn with_name(printed: &str, quantity: Quantity) -> String {
    format!("{} {quantity}", bare(printed, quantity))
}

/// How much of a quantity: `travel x 256 km`, `heat cycles bed 9`.
pub(crate) fn metered(amount: f64, quantity: Quantity) -> String {
    format!("{quantity} {}", bare(&amount::print(amount, quantity), quantity))
}

/// A printed amount without a unit that the quantity's name says already.
fn bare(printed: &str, quantity: Quantity) -> &str {
    let unit: &[&str] = match quantity.unit() {
        Unit::Turn => &[" turns", " turn"],
        Unit::Count => &[" times", " time"],
        _ => &[],
    };
    unit.iter().find_map(|unit| printed.strip_suffix(unit)).unwrap_or(printed)
}

/// The weights of a limit in words: `ABS counts 2 times`; empty where all materials count alike.
pub(crate) fn weights(counts: &[(String, f64)]) -> String {
    let clauses: Vec<String> = counts.iter().map(|(class, weight)| format!("{class} counts {weight} times")).collect();
    clauses.join(", ")
}

/// How many days are planned for: `14 days`, `1 day`.
pub(crate) fn within_days(days: usize) -> String {
    count(days as u64, "days")
}

/// A day with its weekday and year: `Wednesday 25 November 2026`.
pub(crate) fn long_day(date: Date) -> String {
    date.strftime("%A %-d %B %Y").to_string()
}

/// A day with its weekday: `today`, `Thu 26 Nov`.
pub(crate) fn weekday(date: Date, today: Date) -> String {
    if date == today { "today".to_owned() } else { format!("{} {}", date.strftime("%a"), day(date, today)) }
}

/// Which prices are assumed.
pub(crate) fn assumed(prices: &[&str]) -> String {
    format!("Assumed, since the shop has not set them: {}. To set them: tallow rates.", prices.join(", "))
}

/// An amount of money, with what it is called if the shop has said so: `12.50 EUR`.
pub(crate) fn money(amount: f64, currency: &str) -> String {
    let places = if amount.abs() < 100.0 && 0.005 <= (amount - amount.round()).abs() { 2 } else { 0 };
    format!("{amount:.places$} {currency}").trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> Date {
        text.parse().unwrap()
    }

    #[test]
    fn ranges_of_days_say_the_month_once_where_it_is_one() {
        let today = date("2026-11-25");
        assert_eq!(days(date("2026-11-25"), Some(date("2026-11-30")), today), "25–30 Nov");
        assert_eq!(days(date("2026-11-28"), Some(date("2026-12-03")), today), "28 Nov–3 Dec");
        assert_eq!(days(date("2026-12-28"), Some(date("2027-01-03")), today), "28 Dec–3 Jan 2027");
        assert_eq!(days(date("2026-11-28"), Some(date("2026-11-28")), today), "28 Nov");
        assert_eq!(days(date("2026-11-28"), None, today), "from 28 Nov");
    }

    #[test]
    fn no_unit_is_said_twice() {
        let limit = |quantity, amount, text: &str| Limit {
            every: Allowance::Amount { quantity, amount },
            text: text.to_owned(),
            counts: Vec::new(),
            source: String::new(),
        };
        let turns = limit(Quantity::TurnsExtruder, 65_000.0, "65000 turns");
        assert_eq!(so_far(&turns, 7627.0), "7627 of 65000 turns extruder");
        let travel = limit(Quantity::TravelX, 25e3, "25 km");
        assert_eq!(so_far(&travel, 24_140.0), "24.1 of 25 km travel x");
        assert_eq!(metered(9.0, Quantity::HeatCyclesBed), "heat cycles bed 9");
        assert_eq!(metered(1.0, Quantity::TurnsExtruder), "turns extruder 1");
    }

    #[test]
    fn one_thing_is_said_in_the_singular_and_nought_without_a_sign() {
        assert_eq!([count(1, "layers"), count(0, "layers"), count(12, "layers")], ["1 layer", "0 layers", "12 layers"]);
        assert_eq!([within(1), within(7), within(10)], ["within a day", "within a week", "within 10 days"]);
        assert_eq!([percent(-0.0), percent(-0.001), percent(1.314)], ["0 %", "0 %", "131 %"]);
    }

    #[test]
    fn a_weight_is_said_with_its_material() {
        assert_eq!(
            weights(&[("ABS".to_owned(), 2.0), ("abrasive".to_owned(), 1.5)]),
            "ABS counts 2 times, abrasive counts 1.5 times"
        );
    }
}
