//! Machines of which an hour meter alone tells, read about once a month: the forecast's ranges against what then came.

use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};
use motion::Quantity;
use upkeep::estimate::Ratios;
use upkeep::{Build, Care, DayUse, EntryId, HourReading, Likely, MachineState, Materials, Standing, Usage, When, due};

use crate::replay::{FIRST, LAST, Shop, Xorshift, hours};

/// A machine as it is, and what is known of it.
struct Machine {
    build: Build,
    /// Hours on each day from [`FIRST`] to [`LAST`].
    hours: Vec<f64>,
    /// What an hour asks of the limit's quantity, against what it is taken to ask.
    ratio: f64,
    /// The days on which the meter is read, in the evening.
    read: Vec<usize>,
}

fn day(date: Date) -> usize {
    usize::try_from(date.duration_since(FIRST).as_hours() / 24).expect("a day since the first")
}

fn date_of(day: usize) -> Date {
    FIRST.saturating_add(Span::new().days(i64::try_from(day).expect("a day")))
}

fn evening(day: usize) -> Timestamp {
    date_of(day).at(20, 0, 0, 0).to_zoned_datetime(TimeZone::UTC).expect("a time").timestamp()
}

impl Machine {
    /// One whose meter is read every four to five weeks.
    fn new(build: Build, shop: &Shop, index: u64, ratio: f64) -> Machine {
        let mut hours_of = vec![0.0; day(LAST) + 1];
        for DayUse { date, usage } in hours(shop, index) {
            hours_of[day(date)] = usage.amount(Quantity::Time) / 3600.0;
        }
        let mut random = Xorshift((index + 11).wrapping_mul(0x9E37_79B9_7F4A_7C15));
        let mut read = vec![3 + (20.0 * random.uniform()) as usize];
        while read[read.len() - 1] + 40 < hours_of.len() {
            read.push(read[read.len() - 1] + 28 + (8.0 * random.uniform()) as usize);
        }
        Machine { build, hours: hours_of, ratio, read }
    }

    /// What is known on the morning of `made`, the task done when the meter was read for the last time but `ago`.
    fn known(&self, made: usize, ago: usize) -> Option<(MachineState, usize)> {
        let ratios = Ratios::new(&self.build, []);
        let read: Vec<usize> = self.read.iter().copied().filter(|read| *read < made).collect();
        let done = *read.get(read.len().checked_sub(1 + ago)?)?;
        let unbooked = |from: usize, to: usize| {
            let hours: f64 = self.hours[from + 1..=to].iter().sum();
            ratios.estimate(hours, None, 0, &upkeep::Material::new("PLA")).map_or(Usage::new(), |found| found.usage)
        };
        let mut state = MachineState {
            name: "bowline".to_owned(),
            build: Arc::new(self.build.clone()),
            added: evening(0),
            total: Usage::new(),
            standings: [].into(),
            history_from: date_of(made).saturating_sub(Span::new().weeks(26)),
            days: Vec::new(),
            readings: Vec::new(),
            queue: Vec::new(),
        };
        for (index, &reading) in read.iter().enumerate() {
            let unbooked = if index == 0 { Usage::new() } else { unbooked(read[index - 1], reading) };
            state.total.add(&unbooked);
            if reading == done {
                let standing = Standing { at: evening(done), entry: EntryId(7), base: state.total.clone() };
                state.standings.insert(Care::Task("care".to_owned()), standing);
            }
            if state.history_from <= date_of(reading) {
                state.days.push(DayUse { date: date_of(reading), usage: unbooked.clone() });
                state.readings.push(HourReading { date: date_of(reading), unbooked, doubt: ratios.doubt() });
            }
        }
        state.days.retain(|day| !day.usage.is_empty());
        Some((state, done))
    }

    /// The day by whose end `allowed`, in hours as they are taken, has been used since the evening of `done`.
    fn reached(&self, done: usize, allowed: f64) -> Option<usize> {
        let mut sum = 0.0;
        (done + 1..self.hours.len()).find(|day| {
            sum += self.ratio * self.hours[*day];
            allowed <= sum
        })
    }
}

fn likely(state: &MachineState, made: usize) -> Option<Likely> {
    let now = date_of(made).at(8, 0, 0, 0).to_zoned_datetime(TimeZone::UTC).expect("a time");
    match due(state, Materials::built_in(), &now, 731).remove(0).when {
        When::Likely(likely) => Some(likely),
        When::Since(_) | When::Beyond => None,
    }
}

/// How many ranges held, of how many: for a task on `quantity`, forecast from the fourth month on at any time between readings.
/// Only ranges that end by the last day are scored, which is known when the forecast is made.
fn score(shop: &Shop, n_machines: u64, quantity: Quantity, ratio: impl Fn(&mut Xorshift) -> f64) -> (usize, usize) {
    let (mut held, mut all) = (0, 0);
    let mut random = Xorshift(0x2545_F491_4F6C_DD1D);
    for index in 0..n_machines {
        let limit_hours = [60.0, 120.0, 250.0, 400.0][usize::try_from(index % 4).expect("small")];
        let mut build = crate::common::build(Vec::new());
        let per_hour = build.expected.per_hour.iter().find(|(known, _)| *known == quantity).map_or(3600.0, |(_, a)| *a);
        build.tasks[0].limits = vec![crate::common::amount(quantity, limit_hours * per_hour, &[])];
        let machine = Machine::new(build, shop, index, ratio(&mut random));
        for month in 4..12 {
            let made = 30 * month + (30.0 * random.uniform()) as usize;
            let Some((state, done)) = machine.known(made, usize::try_from(index / 4 % 3).expect("small")) else {
                continue;
            };
            let Some(Likely { early, late: Some(late), .. }) = likely(&state, made) else { continue };
            if LAST < late {
                continue;
            }
            all += 1;
            let reached = machine.reached(done, limit_hours).map(|reached| date_of(reached.max(made)));
            held += usize::from(reached.is_some_and(|reached| early <= reached && reached <= late));
        }
    }
    (held, all)
}

/// As in `replay`: 74 to 86 % is about three standard errors.
#[track_caller]
fn check(scored: (usize, usize)) {
    check_up_to(0.86, scored);
}

#[track_caller]
fn check_up_to(most: f64, (held, all): (usize, usize)) {
    let share = held as f64 / all as f64;
    assert!(300 <= all && (0.74..=most).contains(&share), "{held} of {all}: {:.1} %", share * 100.0);
}

const STEADY: Shop = Shop { idle: 0.3, weekend: 0.2, swing: 0.0, memory: 0.0, holidays: false };
const BUSY_WEEKS: Shop = Shop { swing: 0.5, ..STEADY };
const SPELLS: Shop = Shop { idle: 0.2, weekend: 0.5, memory: 0.6, ..BUSY_WEEKS };

#[test]
fn the_likely_day_does_not_wait_for_the_next_reading() {
    // 4 h every day, read every 30 days: 400 h after a reading are 100 days.
    let mut build = crate::common::build(vec![crate::common::amount(Quantity::Time, 400.0 * 3600.0, &[])]);
    build.expected.hours_per_week = 28.0;
    let machine = Machine { build, hours: vec![4.0; 400], ratio: 1.0, read: (0..13).map(|n| 30 * n).collect() };
    for since in [1, 10, 29] {
        let (state, done) = machine.known(240 + since, 0).expect("eight readings");
        let median = likely(&state, 240 + since).and_then(|likely| likely.median).expect("within two years");
        // The level is not known, and its law leans: the median of a lognormal of spread 0.25 lies 3 % from the mean.
        assert!(
            day(median).abs_diff(done + 100) <= 5,
            "{since} days after a reading: {median}, not day {}",
            done + 100
        );
    }
}

#[test]
fn ranges_hold_where_the_meter_is_read_monthly() {
    // That its level never swings, monthly readings can't tell: its ranges are somewhat wider than they need be.
    check_up_to(0.9, score(&STEADY, 96, Quantity::Time, |_| 1.0));
}

#[test]
fn ranges_hold_where_busy_weeks_come_and_go_between_readings() {
    check(score(&BUSY_WEEKS, 96, Quantity::Time, |_| 1.0));
}

#[test]
fn ranges_hold_where_busy_spells_last_for_weeks_between_readings() {
    check(score(&SPELLS, 96, Quantity::Time, |_| 1.0));
}

#[test]
fn ranges_of_filament_hold_while_the_build_alone_tells_what_an_hour_asks() {
    // Ratios of machines of a build, lognormal with mean 1 and relative standard deviation 0.5, as `EXPECTED_SPREAD` has it.
    let sigma = 1.25_f64.ln().sqrt();
    check(score(&BUSY_WEEKS, 160, Quantity::Filament, |random| (sigma * random.normal() - sigma * sigma / 2.0).exp()));
}
