//! When the yard works: weekdays, holidays, and weeks that are busier than others.

use jiff::civil::{Date, DateTime, Weekday};
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};

use super::random::Random;

/// The months that the demo's records go back.
const MONTHS: i32 = 14;

/// Spread of the weeks' order books: the standard deviation of the logarithm of a week's level, of the yard's share and
/// of each machine's. Orders come in bursts, so weeks differ more than chance alone would have it.
const BURSTS: f64 = 0.25;

/// Spread of the months, of the yard's share and of each machine's: busy and slack spells outlast a week.
const SPELLS: f64 = 0.12;

/// The yard's working days, from the first day of the records up to, not including, today.
#[derive(Clone, Debug)]
pub(super) struct Calendar {
    /// The first day.
    pub(super) first: Date,
    /// Today; nothing has happened yet.
    pub(super) today: Date,
    /// The shop's time zone.
    pub(super) zone: TimeZone,
    seed: u64,
}

impl Calendar {
    /// The calendar of the fourteen months before `today`.
    pub(super) fn new(seed: u64, today: Date, zone: &TimeZone) -> Calendar {
        let first = today.saturating_sub(Span::new().months(MONTHS));
        Calendar { first, today, zone: zone.clone(), seed }
    }

    /// Every day of the records, oldest first.
    pub(super) fn days(&self) -> impl Iterator<Item = Date> + '_ {
        self.first.series(Span::new().days(1)).take_while(|day| *day < self.today)
    }

    /// How busy a machine is in the week of `day`, 1 on average. It goes by the date alone, so that a demo made tomorrow
    /// tells of the same weeks as one made today.
    pub(super) fn level(&self, machine: &str, day: Date) -> f64 {
        let monday = monday(day);
        let burst = |whose: &str| Random::fork(self.seed, &format!("{whose} {monday}")).level(BURSTS);
        let spell =
            |whose: &str| Random::fork(self.seed, &format!("{whose} {}", monday.strftime("%Y-%m"))).level(SPELLS);
        burst("order book") * burst(machine) * spell("season") * spell(machine)
    }

    /// Whether the yard is shut: Sundays, the first two weeks of August, and from Christmas to the new year.
    pub(super) fn is_shut(&self, day: Date) -> bool {
        let summer = day.month() == 8 && day.day() <= 14;
        let winter = (day.month() == 12 && 24 <= day.day()) || (day.month() == 1 && day.day() <= 2);
        day.weekday() == Weekday::Sunday || summer || winter
    }

    /// The instant of `minutes` past midnight on `day`, by the shop's clock.
    pub(super) fn at(&self, day: Date, minutes: f64) -> Timestamp {
        let start = DateTime::from_parts(day, jiff::civil::Time::midnight());
        let clock = start.saturating_add(Span::new().seconds((minutes * 60.0).round() as i64));
        // OK because a day of the demo lies within jiff's range: `today` is a day on which somebody runs it.
        self.zone.to_timestamp(clock).expect("a day of our time is an instant")
    }

    /// Minutes past midnight on `day` of the instant `at`; beyond 1440 if it lies on a later day.
    pub(super) fn minutes(&self, day: Date, at: Timestamp) -> f64 {
        at.duration_since(self.at(day, 0.0)).as_secs_f64() / 60.0
    }
}

/// The Monday of the week of `day`.
pub(super) fn monday(day: Date) -> Date {
    day.saturating_sub(Span::new().days(i32::from(day.weekday().to_monday_zero_offset())))
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn calendar() -> Calendar {
        Calendar::new(1, date(2026, 11, 25), &TimeZone::UTC)
    }

    #[test]
    fn the_records_go_back_fourteen_months_and_end_before_today() {
        let days: Vec<Date> = calendar().days().collect();
        assert_eq!(days.first(), Some(&date(2025, 9, 25)));
        assert_eq!(days.last(), Some(&date(2026, 11, 24)));
    }

    #[test]
    fn the_yard_is_shut_in_early_august_and_around_the_new_year() {
        let calendar = calendar();
        for day in [date(2026, 8, 5), date(2025, 12, 29), date(2026, 1, 2), date(2026, 11, 22)] {
            assert!(calendar.is_shut(day), "{day}");
        }
        assert!(!calendar.is_shut(date(2026, 11, 24)));
    }

    #[test]
    fn weeks_differ_more_than_chance_alone_would_have_it() {
        // Some thirty runs a week by chance alone (Poisson) would spread by 1/√30 = 0.18.
        let calendar = calendar();
        let weeks = calendar.days().step_by(7);
        let levels: Vec<f64> = weeks.take(60).map(|day| calendar.level("bowline", day)).collect();
        let mean = levels.iter().sum::<f64>() / 60.0;
        let spread = (levels.iter().map(|level| (level / mean - 1.0).powi(2)).sum::<f64>() / 59.0).sqrt();
        assert!(0.2 < spread, "{spread}");
    }

    #[test]
    fn a_week_is_as_busy_whatever_the_day_on_which_the_demo_is_made() {
        let later = Calendar::new(1, date(2026, 12, 24), &TimeZone::UTC);
        let day = date(2026, 3, 4);
        assert_eq!(calendar().level("bowline", day).to_bits(), later.level("bowline", date(2026, 3, 2)).to_bits());
        assert_ne!(calendar().level("bowline", day).to_bits(), calendar().level("sheet bend", day).to_bits());
    }
}
