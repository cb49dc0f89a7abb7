//! How good the forecasts have been: a machine's past, forecast again from what was known then.
//!
//! At the start of each month each limit by amount gets its range of days as it would have been told that morning, and
//! the use that really came says whether the limit was then reached within it. A task that was done in between would
//! have hidden the answer, so the limit is followed as if nobody had touched it. Only ranges that end by the last
//! recorded day are scored: whether one is can be said on its first day, so the choice does not favour any outcome.

use std::collections::BTreeMap;

use jiff::civil::Date;
use motion::Quantity;

use crate::build::{Allowance, Task};
use crate::forecast::Outlook;
use crate::forecast::passage::Left;
use crate::history::{History, days_after, days_before, days_between};
use crate::meter::Meter;
use crate::state::{Care, DayUse, HourReading};
use crate::used::meter;
use crate::{Build, Materials};

/// A machine's past.
#[derive(Clone, Copy, Debug)]
pub struct Past<'a> {
    /// Its build.
    pub build: &'a Build,
    /// The day on which it joined the shop.
    pub added: Date,
    /// The last day that the records cover.
    pub last: Date,
    /// Its daily use from then on, oldest first.
    pub days: &'a [DayUse],
    /// The readings of its hour meter from then on, oldest first. What they told counts evenly on the days since the reading
    /// before.
    pub readings: &'a [HourReading],
    /// What was done to it on which day.
    pub cared: &'a [(Care, Date)],
}

/// One forecast and what came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Scored {
    /// The task.
    pub task: String,
    /// What its limit meters.
    pub quantity: Quantity,
    /// The day on which the forecast was made.
    pub made: Date,
    /// Its early day.
    pub early: Date,
    /// Its late day.
    pub late: Date,
    /// The day on which the limit was reached; `None` if not by the last recorded day.
    pub reached: Option<Date>,
}

/// How many of a number of forecasts came true.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Calibration {
    /// Limits reached before the early day.
    pub before: usize,
    /// Limits reached within the range, its first and last day included.
    pub within: usize,
    /// Limits reached after the late day.
    pub after: usize,
}

impl Calibration {
    /// The share that came within the range, `None` without a forecast. Meant to be 0.8.
    pub fn share_within(&self) -> Option<f64> {
        let all = self.before + self.within + self.after;
        (all != 0).then(|| self.within as f64 / all as f64)
    }
}

/// Forecasts of `past` made at the start of each month, scored.
pub fn replay(past: &Past<'_>, materials: &Materials) -> Vec<Scored> {
    let mut scored = Vec::new();
    let mut made = past.added.last_of_month().saturating_add(jiff::Span::new().days(1));
    while made <= past.last {
        replay_day(past, materials, made, &mut scored);
        made = made.saturating_add(jiff::Span::new().months(1));
    }
    scored
}

/// How many of the forecasts came true, by what their limits meter.
pub fn calibration(scored: &[Scored]) -> BTreeMap<Quantity, Calibration> {
    let mut by_quantity = BTreeMap::<Quantity, Calibration>::new();
    for scored in scored {
        let calibration = by_quantity.entry(scored.quantity).or_default();
        match scored.reached {
            Some(reached) if reached < scored.early => calibration.before += 1,
            Some(reached) if reached <= scored.late => calibration.within += 1,
            _ => calibration.after += 1,
        }
    }
    by_quantity
}

fn replay_day(past: &Past<'_>, materials: &Materials, made: Date, scored: &mut Vec<Scored>) {
    let before = &past.days[..past.days.partition_point(|day| day.date < made)];
    let readings = &past.readings[..past.readings.partition_point(|reading| reading.date < made)];
    let history = History::new(past.added, made, before, readings);
    let whole = History::new(past.added, past.last, past.days, past.readings);
    for task in &past.build.tasks {
        for limit in &task.limits {
            let (Some(meter), Allowance::Amount { quantity, amount: allowed }) =
                (meter(past.build, task, limit), limit.every)
            else {
                continue;
            };
            let since = past.since(task, made);
            let so_far = sum(&meter, before.iter().filter(|day| since <= day.date), materials);
            if allowed <= so_far {
                continue;
            }
            let estimated = history.estimated_since(since, &meter, materials).min(so_far);
            let left = Left { remaining: allowed - so_far, estimated };
            let outlook = Outlook::new(&meter, past.build, &history, &[], materials);
            let Some((early, Some(late))) = outlook.days(&[left])[0].map(|days| (days.early, days.late)) else {
                continue;
            };
            let late = days_after(made, late - 1);
            if late <= whole.told_until() {
                let early = days_after(made, early - 1);
                let first = days_before(made, history.unread_days());
                let reached = reached(&whole, first, &meter, left.remaining, materials).map(|day| day.max(made));
                scored.push(Scored { task: task.name.clone(), quantity, made, early, late, reached });
            }
        }
    }
}

impl Past<'_> {
    /// The day from which `task` counts, as known on the morning of `made`.
    fn since(&self, task: &Task, made: Date) -> Date {
        let resets = |care: &Care| match care {
            Care::Task(name) => *name == task.name,
            Care::Position(name) => *name == task.at,
        };
        let days = self.cared.iter().filter(|(care, day)| *day < made && resets(care)).map(|(_, day)| *day);
        days.max().unwrap_or(self.added)
    }
}

fn sum<'a>(meter: &Meter<'_>, days: impl Iterator<Item = &'a DayUse>, materials: &Materials) -> f64 {
    days.map(|day| meter.amount(&day.usage, materials)).sum()
}

/// The first day, from `first` on, by whose end `remaining` is reached.
fn reached(whole: &History<'_>, first: Date, meter: &Meter<'_>, remaining: f64, materials: &Materials) -> Option<Date> {
    let daily = whole.daily(meter, materials);
    let n_days = days_between(first, whole.today) + 1;
    let mut sum = 0.0;
    let passing = daily[daily.len().saturating_sub(n_days)..].iter().position(|amount| {
        sum += amount;
        remaining <= sum
    });
    passing.map(|day| days_after(first, day))
}
