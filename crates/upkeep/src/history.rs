//! A machine's recent days laid out for reading: which day, which stream, how many grains.

use jiff::SignedDuration;
use jiff::civil::Date;

use crate::Materials;
use crate::meter::Meter;
use crate::state::DayUse;
use crate::usage::{Grains, Stream, grain};

/// Recent days, oldest first.
pub(crate) struct History<'a> {
    /// The first day covered.
    from: Date,
    /// Today: the day on which the forecast is made.
    pub(crate) today: Date,
    streams: Vec<&'a Stream>,
    rows: Vec<Row<'a>>,
}

struct Row<'a> {
    date: Date,
    /// Days since `from`.
    day: usize,
    /// Index into the streams.
    stream: usize,
    grains: &'a Grains,
}

impl<'a> History<'a> {
    /// Lays out those of `days` that lie between `from` and `today`, both included.
    pub(crate) fn new(from: Date, today: Date, days: &'a [DayUse]) -> History<'a> {
        let mut history = History { from, today, streams: Vec::new(), rows: Vec::new() };
        for day in days.iter().filter(|day| from <= day.date && day.date <= today) {
            let index = days_between(from, day.date);
            for (stream, grains) in day.usage.streams() {
                let stream = history.index_of(stream);
                history.rows.push(Row { date: day.date, day: index, stream, grains });
            }
        }
        history
    }

    fn index_of(&mut self, stream: &'a Stream) -> usize {
        self.streams.iter().position(|known| *known == stream).unwrap_or_else(|| {
            self.streams.push(stream);
            self.streams.len() - 1
        })
    }

    /// What `meter` counted on each day from the first covered to today, in the quantity's unit.
    pub(crate) fn daily(&self, meter: &Meter<'_>, materials: &Materials) -> Vec<f64> {
        let weights = self.weights(meter, materials);
        let mut daily = vec![0.0; days_between(self.from, self.today) + 1];
        for row in &self.rows {
            daily[row.day] += row.grains.get(meter.quantity) as f64 * weights[row.stream];
        }
        daily
    }

    /// The day by whose end all but the last `over` of what was counted had been counted; `None` if that was before the
    /// first day covered.
    pub(crate) fn day_of_crossing(&self, meter: &Meter<'_>, materials: &Materials, mut over: f64) -> Option<Date> {
        let weights = self.weights(meter, materials);
        // A grain's rounding must not push the day back beyond the run that used the limit up.
        let slack = grain(meter.quantity.unit()) / 2.0;
        for row in self.rows.iter().rev() {
            over -= row.grains.get(meter.quantity) as f64 * weights[row.stream];
            if over < -slack {
                return Some(row.date);
            }
        }
        None
    }

    /// What a grain of each stream counts, in the quantity's unit.
    fn weights(&self, meter: &Meter<'_>, materials: &Materials) -> Vec<f64> {
        let grain = grain(meter.quantity.unit());
        self.streams.iter().map(|stream| meter.weight(stream, materials) * grain).collect()
    }
}

/// Whole days from `from` to `to`; 0 if `to` is not later.
pub(crate) fn days_between(from: Date, to: Date) -> usize {
    usize::try_from(to.duration_since(from).as_hours() / 24).unwrap_or(0)
}

/// The day that is `days` after `date`; the calendar's last day at most.
pub fn days_after(date: Date, days: usize) -> Date {
    date.saturating_add(SignedDuration::from_hours(
        i64::try_from(days).map_or(i64::MAX, |days| days.saturating_mul(24)),
    ))
}
