//! A machine's recent days laid out for reading: which day, which stream, how many grains.

use jiff::civil::Date;
use jiff::{SignedDuration, ZonedDateTime};
use motion::Quantity;

use crate::Materials;
use crate::meter::Meter;
use crate::state::{DayUse, HourReading, MachineState};
use crate::usage::{Grains, Stream, grain};

/// Days in a week.
const WEEK: usize = 7;

/// Readings that come every so many half days or more, in the mean, are taken by hand: twice a week. Judgement, no source.
const BY_HAND: usize = 7;

/// Recent days, oldest first.
///
/// A machine of which the hour meter told most of its hours is known by it: what it does between two readings is spread
/// evenly over the days from the first to the second, and what it did since the last is not known yet.
pub(crate) struct History<'a> {
    /// The first day covered.
    from: Date,
    /// Today: the day on which the forecast is made.
    pub(crate) today: Date,
    streams: Vec<&'a Stream>,
    rows: Vec<Row<'a>>,
    /// The hour meter's readings on these days.
    readings: &'a [HourReading],
    /// Whether the machine is known by its hour meter.
    is_read: bool,
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
    /// The days of a machine that its state covers, to the day of `now`.
    pub(crate) fn of(state: &'a MachineState, now: &ZonedDateTime) -> History<'a> {
        let added = now.time_zone().to_datetime(state.added).date();
        History::new(state.history_from.max(added), now.date(), &state.days, &state.readings)
    }

    /// Lays out those of `days` and `readings` that lie between `from` and `today`, both included.
    pub(crate) fn new(from: Date, today: Date, days: &'a [DayUse], readings: &'a [HourReading]) -> History<'a> {
        let place = |is_before: &dyn Fn(Date) -> bool| readings.partition_point(|reading| is_before(reading.date));
        let readings = &readings[place(&|date| date < from)..place(&|date| date <= today)];
        let mut history = History { from, today, streams: Vec::new(), rows: Vec::new(), readings, is_read: false };
        for day in days.iter().filter(|day| from <= day.date && day.date <= today) {
            let index = days_between(from, day.date);
            for (stream, grains) in day.usage.streams() {
                let stream = history.index_of(stream);
                history.rows.push(Row { date: day.date, day: index, stream, grains });
            }
        }
        let all: f64 = history.rows.iter().map(|row| row.grains.amount(Quantity::Time)).sum();
        let read: f64 = readings.iter().map(|reading| reading.unbooked.amount(Quantity::Time)).sum();
        history.is_read = 0.0 < read && all <= 2.0 * read;
        history
    }

    /// Whole days between the last reading and today, of which nobody has told yet; 0 where the machine is not known by its
    /// hour meter.
    ///
    /// Readings that come more often are taken by a program, which is silent where the machine is idle.
    pub(crate) fn unread_days(&self) -> usize {
        match self.readings {
            [first, .., last] if self.is_read => {
                let is_by_hand = BY_HAND * (self.readings.len() - 1) <= 2 * days_between(first.date, last.date);
                if is_by_hand { days_between(last.date, self.today).saturating_sub(1) } else { 0 }
            }
            _ => 0,
        }
    }

    /// The days of which each reading told, the latest first, down to weeks: readings that follow closer are taken together.
    /// Counted back from the last whole day of which it is told; empty where the machine is not known by its hour meter.
    pub(crate) fn days_by_reading(&self) -> Vec<usize> {
        let mut until = days_before(self.today, 1 + self.unread_days());
        let mut spans = Vec::new();
        for reading in self.readings.iter().rev().filter(|_| self.is_read) {
            let days = days_between(reading.date, until);
            if WEEK <= days {
                spans.push(days);
                until = reading.date;
            }
        }
        spans
    }

    /// The last day of which all is told.
    pub(crate) fn told_until(&self) -> Date {
        match self.readings.last() {
            Some(last) if self.is_read => last.date,
            _ => self.today,
        }
    }

    /// Relative standard uncertainty of what an hour asks, where the machine is known by its hour meter.
    pub(crate) fn doubt(&self) -> f64 {
        let told = self.readings.iter().rev().filter(|reading| self.is_read && !reading.unbooked.is_empty());
        told.map(|reading| reading.doubt).next().unwrap_or(0.0)
    }

    /// What `meter` counted after `since` by the hour meter alone.
    pub(crate) fn estimated_since(&self, since: Date, meter: &Meter<'_>, materials: &Materials) -> f64 {
        let later = self.readings.iter().filter(|reading| since < reading.date);
        later.map(|reading| meter.amount(&reading.unbooked, materials)).sum()
    }

    fn index_of(&mut self, stream: &'a Stream) -> usize {
        self.streams.iter().position(|known| *known == stream).unwrap_or_else(|| {
            self.streams.push(stream);
            self.streams.len() - 1
        })
    }

    /// What `meter` counted on each day to today, in the quantity's unit, from the first of which something is known.
    pub(crate) fn daily(&self, meter: &Meter<'_>, materials: &Materials) -> Vec<f64> {
        let weights = self.weights(meter, materials);
        let mut daily = vec![0.0; days_between(self.from, self.today) + 1];
        for row in &self.rows {
            daily[row.day] += row.grains.get(meter.quantity) as f64 * weights[row.stream];
        }
        for (before, reading) in self.readings.iter().zip(self.readings.iter().skip(1)) {
            let days = days_between(self.from, before.date) + 1..days_between(self.from, reading.date) + 1;
            let amount = meter.amount(&reading.unbooked, materials);
            if days.len() < 2 || amount <= 0.0 {
                continue;
            }
            // What is left of the day may be less than nothing by rounding.
            daily[days.end - 1] = (daily[days.end - 1] - amount).max(0.0);
            let share = amount / days.len() as f64;
            daily[days].iter_mut().for_each(|day| *day += share);
        }
        daily.split_off(self.days_unknown())
    }

    /// How many of the first days covered nothing is known of: where the machine is known by its hour meter and nothing else was
    /// booked before the first reading, those to that reading.
    fn days_unknown(&self) -> usize {
        let first = self.readings.first().filter(|_| self.is_read);
        let Some(first) = first.map(|reading| days_between(self.from, reading.date)) else { return 0 };
        // Today at least is left.
        let last = days_between(self.from, self.today);
        if self.rows.first().is_none_or(|row| first <= row.day) { (first + 1).min(last) } else { 0 }
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

/// The day that is `days` before `date`; the calendar's first day at least.
pub(crate) fn days_before(date: Date, days: usize) -> Date {
    date.saturating_sub(SignedDuration::from_hours(
        i64::try_from(days).map_or(i64::MAX, |days| days.saturating_mul(24)),
    ))
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use motion::{Amounts, Duty};

    use super::*;
    use crate::{Material, Usage};

    fn hours(hours: f64) -> Usage {
        let mut amounts = Amounts::default();
        amounts[Quantity::Time] = hours * 3600.0;
        Usage::from_duty(&Duty { tools: [(0, amounts)].into() }, |_| Material::new("PLA"))
    }

    /// Hours a day to 25 January of what was booked and read on days of January; gives the days unread, and those of readings.
    #[track_caller]
    fn check(booked: &[(i8, f64)], read: &[(i8, f64)], expected: &[f64]) -> (usize, Vec<usize>) {
        let readings: Vec<HourReading> = read
            .iter()
            .map(|(day, told)| HourReading { date: date(2026, 1, *day), unbooked: hours(*told), doubt: 0.5 })
            .collect();
        let mut days: Vec<DayUse> = booked
            .iter()
            .chain(read)
            .map(|(day, told)| DayUse { date: date(2026, 1, *day), usage: hours(*told) })
            .collect();
        days.sort_by_key(|day| day.date);
        let history = History::new(date(2026, 1, 1), date(2026, 1, 25), &days, &readings);
        let time = Meter { quantity: Quantity::Time, tool: None, counts: &[] };
        let daily: Vec<f64> = history.daily(&time, Materials::built_in()).iter().map(|s| s / 3600.0).collect();
        assert_eq!(daily.len(), expected.len());
        assert!(daily.iter().zip(expected).all(|(got, expected)| (got - expected).abs() < 1e-9), "{daily:?}");
        (history.unread_days(), history.days_by_reading())
    }

    #[test]
    fn what_a_reading_told_is_of_the_days_since_the_one_before() {
        let expected = [vec![10.0; 10], vec![0.0; 5]].concat();
        assert_eq!(check(&[], &[(10, 0.0), (20, 100.0)], &expected), (4, vec![10]), "nothing is known to the 10th");
        // A print of the 22nd is known, and two readings within a week are one.
        let expected = [vec![10.0; 10], vec![0.0, 6.0, 0.0, 0.0, 0.0]].concat();
        let found = check(&[(22, 6.0)], &[(10, 0.0), (18, 80.0), (20, 20.0)], &expected);
        assert_eq!(found, (4, vec![10]));
    }

    #[test]
    fn a_machine_whose_runs_are_booked_is_not_known_by_its_hour_meter() {
        let booked: Vec<(i8, f64)> = (1..=25).map(|day| (day, 8.0)).collect();
        let expected = [vec![8.0; 10], vec![9.0; 10], vec![8.0; 5]].concat();
        assert_eq!(check(&booked, &[(10, 0.0), (20, 10.0)], &expected), (0, vec![]));
    }

    #[test]
    fn a_meter_that_a_program_reads_is_silent_while_the_machine_is_idle() {
        let read: Vec<(i8, f64)> = (1..=15).map(|day| (day, if day == 1 { 0.0 } else { 5.0 })).collect();
        let expected = [vec![5.0; 14], vec![0.0; 10]].concat();
        assert_eq!(check(&[], &read, &expected), (0, vec![9, 7, 7]));
    }
}
