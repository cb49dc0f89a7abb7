//! The day on which a task will come due, as a range: 10, 50 and 90 % days.
//!
//! docs/FORECAST.md tells the method to users; [`pace`] and [`passage`] hold it.

pub(crate) mod pace;
pub(crate) mod passage;
#[cfg(test)]
mod tests;

use jiff::civil::Date;
use jiff::{Span, ZonedDateTime};
use motion::Quantity;

use crate::history::{History, days_between};
use crate::meter::Meter;
use crate::state::QueuedUse;
use crate::{Build, Materials};
use pace::{ExpectedWeek, Pace};
use passage::{Left, Passage};

/// No forecast looks further: two years and a day.
pub const MAX_DAYS: usize = 731;

/// When a task will likely come due.
#[derive(Clone, Debug, PartialEq)]
pub struct Likely {
    /// It comes due before this day with a chance of about 10 %.
    pub early: Date,
    /// As likely due by the end of this day as not; `None` if that is more than two years away.
    pub median: Option<Date>,
    /// It comes due after this day with a chance of about 10 %; `None` if that is more than two years away.
    pub late: Option<Date>,
    /// The index of the limit that is reached first in the median.
    pub limit: usize,
    /// What the days rest on.
    pub grounds: Grounds,
}

/// What a forecast rests on.
#[derive(Clone, Debug, PartialEq)]
pub enum Grounds {
    /// The calendar alone.
    Calendar,
    /// Expected use.
    Use(UseGrounds),
}

/// What a forecast by expected use rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UseGrounds {
    /// Whole weeks of the machine's own records that were drawn from.
    pub weeks: usize,
    /// Their weight, 0 to 1; the rest is the build's expectation.
    pub own_share: f64,
    /// Expected use per week, Miner's sum in the quantity's unit.
    pub per_week: f64,
    /// Relative standard deviation of the level of use in the weeks to come.
    pub level_spread: f64,
    /// Queued runs that count on this meter and are expected within two years.
    pub queued: usize,
}

/// Days of passage counted from 1 for today; `None` beyond two years.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Days {
    pub(crate) early: usize,
    pub(crate) median: Option<usize>,
    pub(crate) late: Option<usize>,
}

impl Days {
    /// Each of them changed by `change`, which keeps their order.
    fn each(self, change: impl Fn(usize) -> usize) -> Days {
        Days { early: change(self.early), median: self.median.map(&change), late: self.late.map(&change) }
    }
}

/// One meter's future.
pub(crate) struct Outlook {
    /// From today on or, where days before today have not been read off the hour meter yet, from the first of them on.
    pace: Pace,
    /// Days before today of which the hour meter has not told yet.
    unread: usize,
    /// What runs have brought on these days and today.
    counted: f64,
    pub(crate) grounds: UseGrounds,
}

impl Outlook {
    /// What `meter` will count from today on.
    pub(crate) fn new(
        meter: &Meter<'_>,
        build: &Build,
        history: &History<'_>,
        queue: &[(usize, &QueuedUse)],
        materials: &Materials,
    ) -> Outlook {
        let expected = ExpectedWeek::of(&build.expected, meter.quantity, tool_share(build, meter));
        let daily = history.daily(meter, materials);
        let unread = history.unread_days().min(daily.len() - 1);
        let (past, since) = daily.split_at(daily.len() - 1 - unread);
        // What was booked since the last reading is part of what the meter will show, as a queued run is of what will be.
        let (booked_today, booked) = if unread == 0 { (since[0], &[][..]) } else { (0.0, since) };
        let mut pace = Pace::of_weeks(past, booked_today, &history.days_by_reading(), expected);
        if meter.quantity != Quantity::Time {
            pace.ratio_doubt = history.doubt();
        }
        let queued = queue.iter().map(|(day, queued)| (day + unread, meter.amount(&queued.usage, materials)));
        let queued: Vec<(usize, f64)> = queued.filter(|(_, amount)| 0.0 < *amount).collect();
        pace.expect(&booked.iter().copied().enumerate().chain(queued.iter().copied()).collect::<Vec<_>>());
        let grounds = UseGrounds {
            weeks: pace.own_blocks,
            own_share: pace.own_chance,
            per_week: pace.block_moments().0,
            level_spread: pace.level_spread,
            queued: queued.len(),
        };
        Outlook { pace, unread, counted: booked.iter().sum(), grounds }
    }

    /// Whether what is `left` by today's records might be used within `n_days` with a chance of 10 %; false only if it surely
    /// can't.
    pub(crate) fn may_reach(&self, left: Left, n_days: usize) -> bool {
        CHANCE_EARLY <= self.pace.chance_bound(self.at_first(left), n_days + self.unread)
    }

    /// The days by which each of `lefts` is used; `None` where the early day lies beyond two years. What may have been passed
    /// without anybody knowing is due today.
    pub(crate) fn days(&self, lefts: &[Left]) -> Vec<Option<Days>> {
        let lefts: Vec<Left> = lefts.iter().map(|left| self.at_first(*left)).collect();
        let passage = Passage::new(&self.pace, &lefts, CHANCE_LATE, MAX_DAYS + self.unread);
        let from_today = |day: usize| day.saturating_sub(self.unread).max(1);
        let days = lefts.iter().map(|left| days(&passage, *left));
        days.map(|days| days.map(|days| days.each(from_today))).collect()
    }

    /// What has come, beyond what the records say, by the beginning of each of `n_days` days from today on, in the mean.
    pub(crate) fn means(&self, n_days: usize) -> Vec<f64> {
        let before: f64 = (0..self.unread).map(|day| self.pace.mean_on(day)).sum();
        let mut sum = (before - self.counted).max(0.0);
        let mut means = Vec::with_capacity(n_days);
        for day in 0..n_days {
            means.push(sum);
            sum += self.pace.mean_on(self.unread + day);
        }
        means
    }

    /// What was left when the pace begins.
    fn at_first(&self, left: Left) -> Left {
        Left { remaining: left.remaining + self.counted, ..left }
    }
}

const CHANCE_EARLY: f64 = 0.1;
const CHANCE_LATE: f64 = 0.9;

/// The days to report.
///
/// Days are whole, so no range holds exactly 80 %. Cutting outward would hold more, much more where the range is a few
/// days. The ends are rounded to the nearest instead: the early day is the one before which the chance is nearest to
/// 10 %, the late day the one by whose end it is nearest to 90 %. Over many tasks the errors cancel.
pub(crate) fn days(passage: &Passage<'_>, left: Left) -> Option<Days> {
    let early = passage.first_day(left, CHANCE_EARLY)?;
    let median = passage.first_day(left, 0.5);
    let late = passage.first_day(left, CHANCE_LATE);
    let closer = |one: usize, other: usize, chance: f64| {
        (passage.chance(left, one) - chance).abs() < (passage.chance(left, other) - chance).abs()
    };
    let early = if closer(early, early - 1, CHANCE_EARLY) { early + 1 } else { early };
    let late = late.map(|late| if closer(late - 1, late, CHANCE_LATE) { late - 1 } else { late });
    Some(Days {
        early: median.map_or(early, |median| early.min(median)),
        median,
        late: median.and_then(|median| late.map(|late| late.max(median))),
    })
}

/// The queued runs with the day on which each begins, counted from 0 for today; those further than two years are left out.
///
/// A run without a day, or whose day has passed, begins as soon as the machine is free of those like it before.
pub(crate) fn queue_by_day<'a>(queue: &'a [QueuedUse], now: &ZonedDateTime) -> Vec<(usize, &'a QueuedUse)> {
    let (today, mut free) = (now.date(), now.datetime());
    let mut by_day = Vec::new();
    for queued in queue {
        let on = match queued.on {
            Some(on) if today < on => on,
            _ => {
                let begins = free.date();
                let seconds = queued.usage.amount(Quantity::Time).min(1e8) as i64;
                free = free.saturating_add(Span::new().seconds(seconds));
                begins
            }
        };
        by_day.push((days_between(today, on), queued));
    }
    by_day.retain(|(day, _)| *day < MAX_DAYS);
    by_day
}

/// The share of the build's expected use that falls on the meter's tool: the same for each that the build names.
fn tool_share(build: &Build, meter: &Meter<'_>) -> f64 {
    let mut tools: Vec<_> = build.positions.iter().filter_map(|position| position.tool).collect();
    tools.sort_unstable();
    tools.dedup();
    if meter.tool.is_some() { 1.0 / tools.len().max(1) as f64 } else { 1.0 }
}
