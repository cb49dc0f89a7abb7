//! What care has cost, against sums made by hand: labour at 60 an hour is 1 a minute, a set-up takes 10 minutes, wiping 5, greasing 15.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::civil::{Date, date};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use motion::{Duty, Quantity};
use upkeep::build::{Allowance, Limit};
use upkeep::entry::Because;
use upkeep::shop::{Item, Terms, stores};
use upkeep::spent::{Calendar, Cause, Cost, Records, Spent, UnitPrices, Walked};
use upkeep::{Build, Entry, EntryId, Event, MachineState, Material, Materials, Prices, Usage};

const PRICES: Prices =
    Prices { labour_per_hour: 60.0, standing_per_hour: 24.0, nuisance: 1.0, failed_print: 20.0, damage: 100.0 };

const RANGE: [Date; 2] = [date(2026, 10, 1), date(2026, 11, 30)];

fn build() -> Build {
    Build::parse("reference.toml", include_str!("../../../testdata/builds/reference.toml")).unwrap()
}

fn entry(id: i64, at: &str, event: Event) -> Entry {
    let at: Timestamp = at.parse().unwrap();
    let (machine, note) = ("bowline".to_owned(), String::new());
    Entry { id: EntryId(id), machine, at, recorded: at, corrects: None, note, event }
}

fn done(task: &str) -> Event {
    Event::Done { task: task.to_owned(), supplies: BTreeMap::new() }
}

/// Wipes at 50 a hundred, alcohol at 5 for half a litre, of each by the terms of buying: 0.50 each and 0.01 a ml.
fn units() -> UnitPrices {
    let terms = |item: &str, pack: &str, price: f64| {
        let (item, supplier, pack) = (item.to_owned(), String::new(), pack.to_owned());
        entry(
            1,
            "2026-01-01T00:00:00Z",
            Event::Terms(Terms { item, supplier, lead_days: 1, pack, price: Some(price), service: 0.95 }),
        )
    };
    let said = [terms("lint-free wipe", "100", 50.0), terms("isopropyl alcohol, 90 % or more", "500 ml", 5.0)];
    let items: Vec<Item> = stores(&said, &[]);
    UnitPrices::of(&items)
}

fn spent(records: &Records) -> Spent {
    let builds = BTreeMap::from([("bowline".to_owned(), Arc::new(build()))]);
    Spent::of(records, RANGE, &builds, &PRICES, &units(), &TimeZone::UTC)
}

#[track_caller]
fn check(cost: &Cost, expected: [f64; 4]) {
    for (cause, expected) in Cause::ALL.into_iter().zip(expected) {
        assert!((cost.of(cause) - expected).abs() < 1e-9, "{}: {} not {expected}", cause.name(), cost.of(cause));
    }
}

#[test]
fn tasks_of_one_day_share_a_set_up_and_stand_in_the_way_of_what_the_machine_would_have_run() {
    let records = Records {
        care: vec![
            entry(1, "2026-11-03T09:00:00Z", done("wipe the x rods")),
            entry(2, "2026-11-03T09:20:00Z", done("grease the z screws")),
        ],
        hours: BTreeMap::from([(("bowline".to_owned(), date(2026, 11, 3)), 12.0)]),
        ..Records::default()
    };
    let spent = spent(&records);
    // 10 + 5 + 15 = 30 minutes. Three wipes and 5 ml: 1.50 + 0.05; the grease has no price. Half of the day the machine ran, so
    // half of 30 minutes at 24 an hour: 6.
    let cost = spent.total();
    check(&cost, [30.0, 1.55, 0.0, 6.0]);
    assert_eq!(cost.per_hour(), Some(37.55 / 12.0));
    let grease = &spent.unpriced["NLGI 2 lithium grease"];
    assert_eq!((grease.times, grease.amount, grease.unit.as_str()), (1, 2.0, "g"));
    assert_eq!(spent.unpriced.len(), 1);
}

#[test]
fn a_walked_visit_takes_the_minutes_it_took_on_the_day_it_was_walked_and_pays_the_set_up_of_that_day() {
    let walked = Walked {
        machine: "bowline".to_owned(),
        // Told for the next month, walked before it.
        day: date(2026, 12, 1),
        tasks: vec!["wipe the x rods".to_owned()],
        minutes: 40.0,
        recorded: "2026-11-10T10:00:00Z".parse().unwrap(),
    };
    let records = Records {
        care: vec![
            entry(1, "2026-11-10T10:00:00Z", done("wipe the x rods")),
            // Beside the visit: its own 15 minutes, but no further set-up.
            entry(2, "2026-11-10T18:00:00Z", done("grease the z screws")),
        ],
        walked: vec![walked],
        hours: BTreeMap::new(),
    };
    let cost = spent(&records).total();
    check(&cost, [55.0, 1.55, 0.0, 0.0]);
    assert_eq!(cost.per_hour(), None, "no hour was run");
}

#[test]
fn a_failure_costs_what_neglect_leads_to_and_a_part_of_which_nobody_said_what_it_was_is_counted_apart() {
    let failed = |position: &str| {
        let (position, mode) = (position.to_owned(), "worn".to_owned());
        Event::Failed { position, mode, found: false, mended: false }
    };
    let replaced = |position: &str, spare: Option<&str>| Event::Replaced {
        position: position.to_owned(),
        because: Because::Failed,
        spare: spare.map(str::to_owned),
    };
    let records = Records {
        care: vec![
            entry(1, "2026-10-12T10:00:00Z", failed("x rods")),
            entry(2, "2026-10-12T10:30:00Z", replaced("x rods", None)),
            entry(3, "2026-11-12T10:00:00Z", failed("z screws")),
            entry(4, "2026-11-12T10:30:00Z", replaced("z screws", Some("lint-free wipe"))),
            // After the range.
            entry(5, "2026-12-01T10:30:00Z", failed("z screws")),
        ],
        ..Records::default()
    };
    let spent = spent(&records);
    let months = spent.by_month();
    // No task replaces these parts: 20 minutes and a set-up each.
    check(&months[&date(2026, 10, 1)], [30.0, 0.0, 20.0, 0.0]);
    check(&months[&date(2026, 11, 1)], [30.0, 0.5, 100.0, 0.0]);
    assert_eq!(spent.unpriced["x rods"].times, 1);
    assert!(spent.total().tasks.abs() < 1e-9, "none of it is a task's");
}

#[test]
fn a_task_that_the_build_has_no_more_is_counted_and_not_guessed() {
    let records =
        Records { care: vec![entry(1, "2026-11-03T09:00:00Z", done("polish the brass"))], ..Records::default() };
    let spent = spent(&records);
    assert_eq!((spent.unknown_tasks, spent.total().total()), (1, 0.0));
}

/// `bowline` since `added`, with a wiping every ten days and a greasing every 30 hours; it ran 100 h.
fn state(added: &str) -> MachineState {
    let mut build = build();
    let limit = |every| vec![Limit { every, text: String::new(), counts: Vec::new(), source: String::new() }];
    build.tasks.truncate(2);
    build.tasks[0].limits = limit(Allowance::Elapsed { months: 0, days: 10 });
    build.tasks[1].limits = limit(Allowance::Amount { quantity: Quantity::Time, amount: 30.0 * 3600.0 });
    let mut duty = Duty::default();
    duty.tools.entry(0).or_default()[Quantity::Time] = 100.0 * 3600.0;
    MachineState {
        name: "bowline".to_owned(),
        build: Arc::new(build),
        added: added.parse().unwrap(),
        total: Usage::from_duty(&duty, |_| Material::new("PLA")),
        standings: BTreeMap::new(),
        history_from: RANGE[0],
        days: Vec::new(),
        readings: Vec::new(),
        queue: Vec::new(),
    }
}

/// A hundred days in which it ran an hour on each, with so many wipings of a day each.
fn hundred_days(wipings: i64) -> (Records, [Date; 2]) {
    let first = date(2026, 8, 1);
    let hours = (0..100).map(|day| (("bowline".to_owned(), first + day.days()), 1.0)).collect();
    let wiping = |day: i64| entry(day, &format!("2026-08-{:02}T09:00:00Z", 2 * day), done("wipe the x rods"));
    (Records { care: (1..=wipings).map(wiping).collect(), walked: Vec::new(), hours }, [first, first + 99.days()])
}

fn compared(wipings: i64, added: &str) -> Calendar {
    let ((records, range), state) = (hundred_days(wipings), state(added));
    let builds = BTreeMap::from([("bowline".to_owned(), state.build.clone())]);
    let spent = Spent::of(&records, range, &builds, &PRICES, &units(), &TimeZone::UTC);
    Calendar::of(&spent, &[state], range, Materials::built_in(), &PRICES, &units(), &TimeZone::UTC)
}

#[test]
fn a_calendar_does_each_task_every_so_many_days_and_those_of_one_day_in_one_visit() {
    let calendar = compared(5, "2026-01-01T00:00:00Z");
    assert_eq!((calendar.machines, calendar.left_out), (1, 0));
    // Really: five wipings, each with its set-up: 5 · (15 + 0.55).
    assert!((calendar.really - 77.75).abs() < 1e-9, "{calendar:?}");
    // By the calendar: wiping every 10 days, 10 times; greasing every 30 days, 100/30 times, always on a day of wiping: 10 visits.
    // 10 · 5 + 100/30 · 15 + 10 · 10 = 200 minutes; 10 · 0.55 + 100/30 · 2 wipes at 0.50 = 8.8333 of supplies.
    assert!((calendar.by_calendar - (200.0 + 5.5 + 10.0 / 3.0)).abs() < 1e-9, "{calendar:?}");
}

#[test]
fn where_little_is_recorded_nothing_is_compared() {
    for (wipings, added) in [(4, "2026-01-01T00:00:00Z"), (5, "2026-09-01T00:00:00Z")] {
        let calendar = compared(wipings, added);
        assert_eq!((calendar.machines, calendar.left_out), (0, 1), "{wipings} since {added}");
    }
}
