//! The forecast's ranges against what then came, in invented shops.

use jiff::civil::{Date, Weekday, date};
use motion::Quantity;
use upkeep::{Calibration, Care, DayUse, Materials, Past, calibration, replay};

/// Marsaglia (2003), "Xorshift RNGs", Journal of Statistical Software 8(14); fixed seeds, so every run is the same.
pub(crate) struct Xorshift(pub(crate) u64);

impl Xorshift {
    pub(crate) fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        ((self.0 >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    fn exponential(&mut self) -> f64 {
        -self.uniform().ln()
    }

    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}

/// How a shop works.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shop {
    /// Chance that a working day is idle.
    pub(crate) idle: f64,
    /// Use of a Saturday or Sunday against another day.
    pub(crate) weekend: f64,
    /// Standard deviation of the logarithm of a week's level.
    pub(crate) swing: f64,
    /// Correlation of that from week to week.
    pub(crate) memory: f64,
    /// Whether nothing runs for a fortnight in August and at the turn of the year.
    pub(crate) holidays: bool,
}

pub(crate) const FIRST: Date = date(2025, 9, 15);
pub(crate) const LAST: Date = date(2026, 11, 15);

/// Fourteen months of hours on `shop`'s machine number `index`.
pub(crate) fn hours(shop: &Shop, index: u64) -> Vec<DayUse> {
    let mut random = Xorshift((index + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15));
    let (mut days, mut day, mut level) = (Vec::new(), FIRST, 0.0);
    let mean = 2.0 + 6.0 * random.uniform();
    while day <= LAST {
        if day.weekday() == Weekday::Monday {
            let news = (1.0 - shop.memory * shop.memory).sqrt() * shop.swing;
            level = shop.memory * level + news * random.normal();
        }
        let weekend = matches!(day.weekday(), Weekday::Saturday | Weekday::Sunday);
        let mean = mean * f64::exp(level) * if weekend { shop.weekend } else { 1.0 };
        let hours = if random.uniform() < shop.idle { 0.0 } else { (mean * random.exponential()).min(24.0) };
        if 0.0 < hours && !(shop.holidays && is_holiday(day)) {
            days.push(DayUse { date: day, usage: crate::common::usage(Quantity::Time, hours * 3600.0, "PLA") });
        }
        day = day.tomorrow().expect("a day in 2026");
    }
    days
}

fn is_holiday(day: Date) -> bool {
    (date(2025, 12, 21)..date(2026, 1, 4)).contains(&day) || (date(2026, 8, 3)..date(2026, 8, 17)).contains(&day)
}

/// All of a shop's forecasts: `n_machines` machines, limits from two days' to ten weeks' use, each care done a few times.
fn score(shop: &Shop, n_machines: u64) -> Calibration {
    let mut sum = Calibration::default();
    for index in 0..n_machines {
        let days = hours(shop, index);
        for limit_hours in [30.0, 60.0, 120.0, 250.0] {
            let build = crate::common::build(vec![crate::common::amount(Quantity::Time, limit_hours * 3600.0, &[])]);
            let cared: Vec<(Care, Date)> = (1..14)
                .map(|month| (Care::Task("care".to_owned()), FIRST.saturating_add(jiff::Span::new().months(month))))
                .collect();
            let past = Past { build: &build, added: FIRST, last: LAST, days: &days, readings: &[], cared: &cared };
            for calibration in calibration(&replay(&past, Materials::built_in())).values() {
                sum.before += calibration.before;
                sum.within += calibration.within;
                sum.after += calibration.after;
            }
        }
    }
    sum
}

/// The share within must be near 80 %. With some hundreds of forecasts, of which those of a machine share its weeks, the
/// standard error is about 2 %: 74 to 86 % is three of them.
#[track_caller]
fn check(shop: &Shop) {
    let sum = score(shop, 24);
    let share = sum.share_within().expect("some forecasts are scored");
    assert!((0.74..=0.86).contains(&share), "{:.1} % within: {sum:?}, {shop:?}", share * 100.0);
}

#[test]
fn ranges_hold_in_a_shop_with_idle_days_and_weekends() {
    check(&Shop { idle: 0.3, weekend: 0.2, swing: 0.0, memory: 0.0, holidays: false });
}

#[test]
fn ranges_hold_where_busy_weeks_come_and_go() {
    check(&Shop { idle: 0.3, weekend: 0.2, swing: 0.5, memory: 0.0, holidays: false });
}

#[test]
fn ranges_hold_where_busy_spells_last_for_weeks() {
    check(&Shop { idle: 0.2, weekend: 0.5, swing: 0.5, memory: 0.6, holidays: false });
}

#[test]
fn ranges_hold_with_a_holiday_fortnight() {
    check(&Shop { idle: 0.3, weekend: 0.0, swing: 0.3, memory: 0.3, holidays: true });
}
