//! How much of an allowance is used, since when, and on which day a task comes due.

use std::sync::Arc;

use jiff::civil::{Date, DateTime, date};
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp, ZonedDateTime};
use motion::Quantity;
use proptest::prelude::*;
use upkeep::build::{Allowance, Limit};
use upkeep::{
    Care, DayUse, Due, EntryId, Grounds, MachineState, Materials, QueuedUse, SinceWhat, Standing, Usage, When, due,
    used,
};

const ZONE: &str = "Europe/Berlin";

fn zone() -> TimeZone {
    TimeZone::get(ZONE).expect("the time zone is bundled or on the system")
}

fn at(datetime: DateTime) -> ZonedDateTime {
    datetime.to_zoned_datetime(zone()).expect("a time of that day")
}

fn instant(datetime: DateTime) -> Timestamp {
    at(datetime).timestamp()
}

/// A machine with one task with these limits, added on the midnight before `added`.
fn machine(limits: Vec<Limit>, added: Date) -> MachineState {
    MachineState {
        name: "bowline".to_owned(),
        build: Arc::new(crate::common::build(limits)),
        added: instant(added.at(0, 0, 0, 0)),
        total: Usage::new(),
        standings: [].into(),
        history_from: added,
        days: Vec::new(),
        readings: Vec::new(),
        queue: Vec::new(),
    }
}

/// Books `hours` of printing on a day.
fn run(state: &mut MachineState, date: Date, hours: f64) {
    let usage = crate::common::usage(Quantity::Time, hours * 3600.0, "PLA");
    state.total.add(&usage);
    state.days.push(DayUse { date, usage });
}

fn done(state: &mut MachineState, care: Care, when: DateTime) {
    let standing = Standing { at: instant(when), entry: EntryId(7), base: state.total.clone() };
    state.standings.insert(care, standing);
}

fn share(state: &MachineState, now: DateTime) -> f64 {
    used(state, &state.build.tasks[0], Materials::built_in(), &at(now)).share()
}

fn only_due(state: &MachineState, now: DateTime) -> Due {
    due(state, Materials::built_in(), &at(now), 731).remove(0)
}

fn hours(hours: f64) -> Limit {
    crate::common::amount(Quantity::Time, hours * 3600.0, &[])
}

fn elapsed(months: u16, days: u16) -> Limit {
    Limit { every: Allowance::Elapsed { months, days }, ..hours(1.0) }
}

#[track_caller]
fn check(got: f64, expected: f64) {
    // Grains are whole, 1 µs of 1 h: shares of the limits here are exact to 1e-9.
    assert!((got - expected).abs() < 1e-9, "{got}, not {expected}");
}

#[test]
fn uses_of_different_severity_share_one_allowance_by_miners_sum() {
    // Miner (1945): cycles to failure 1e5, 4e5, 2e6; applied 2e4, 1e5, 8e5: D = 0.2 + 0.25 + 0.4 = 0.85, and 1/0.85 =
    // 1.176470588 repeats to D = 1 (arithmetic). As weights against the mildest: 20, 5, 1.
    let limit = crate::common::amount(Quantity::Retractions, 2e6, &[("PA-CF", 20.0), ("ABS", 5.0)]);
    let mut state = machine(vec![limit], date(2026, 1, 1));
    for (material, cycles) in [("PA-CF", 2e4), ("ABS", 1e5), ("PLA", 8e5)] {
        state.total.add(&crate::common::usage(Quantity::Retractions, cycles, material));
    }
    let share = share(&state, date(2026, 2, 1).at(0, 0, 0, 0));
    check(share, 0.85);
    check(1.0 / share, 1.0 / 0.85);
}

#[track_caller]
fn check_last_day(done_on: Date, limit: Limit, expected: Date) {
    let state = machine(vec![limit], done_on);
    let due = only_due(&state, done_on.at(12, 0, 0, 0));
    let When::Likely(likely) = &due.when else { panic!("{due:?}") };
    assert_eq!((likely.early, likely.median, likely.late), (expected, Some(expected), Some(expected)));
    assert_eq!(likely.grounds, Grounds::Calendar);
    check(share(&state, expected.at(0, 0, 0, 0)), 1.0);
}

#[test]
fn a_month_from_the_31st_ends_on_the_last_day_of_a_shorter_one() {
    check_last_day(date(2026, 1, 31), elapsed(1, 0), date(2026, 2, 28));
    check_last_day(date(2028, 1, 31), elapsed(1, 0), date(2028, 2, 29));
}

#[test]
fn a_year_from_a_leap_day_ends_on_28_february() {
    check_last_day(date(2028, 2, 29), elapsed(12, 0), date(2029, 2, 28));
}

#[test]
fn a_day_on_which_clocks_change_counts_as_one_day() {
    // Clocks went forward on 29 March 2026 in Berlin: 23 h by the sun, one day by the calendar.
    let state = machine(vec![elapsed(0, 2)], date(2026, 3, 28));
    check(share(&state, date(2026, 3, 29).at(0, 0, 0, 0)), 0.5);
    check(share(&state, date(2026, 3, 29).at(12, 0, 0, 0)), 0.75);
    check(share(&state, date(2026, 3, 30).at(0, 0, 0, 0)), 1.0);
}

#[test]
fn the_later_of_done_and_replaced_counts() {
    let mut state = machine(vec![hours(10.0)], date(2026, 1, 1));
    let since = |state: &MachineState| {
        used(state, &state.build.tasks[0], Materials::built_in(), &at(date(2026, 3, 1).at(0, 0, 0, 0))).since.what
    };
    assert_eq!(since(&state), SinceWhat::Added);
    run(&mut state, date(2026, 1, 5), 4.0);
    done(&mut state, Care::Task("care".to_owned()), date(2026, 1, 6).at(9, 0, 0, 0));
    run(&mut state, date(2026, 1, 7), 3.0);
    assert_eq!(since(&state), SinceWhat::Done);
    check(share(&state, date(2026, 3, 1).at(0, 0, 0, 0)), 0.3);
    done(&mut state, Care::Position("part".to_owned()), date(2026, 1, 8).at(9, 0, 0, 0));
    run(&mut state, date(2026, 1, 9), 2.0);
    assert_eq!(since(&state), SinceWhat::Replaced);
    check(share(&state, date(2026, 3, 1).at(0, 0, 0, 0)), 0.2);
}

#[test]
fn whichever_limit_comes_first_governs() {
    let mut state = machine(vec![elapsed(1, 0), hours(10.0)], date(2026, 1, 1));
    run(&mut state, date(2026, 1, 2), 9.0);
    let used = used(&state, &state.build.tasks[0], Materials::built_in(), &at(date(2026, 1, 3).at(0, 0, 0, 0)));
    assert_eq!(used.governing(), 1);
    check(used.share(), 0.9);
    check(used.limits[1].so_far, 9.0 * 3600.0);
}

#[test]
fn the_share_that_is_told_is_that_of_the_limit_that_is_told() {
    let mut state = machine(vec![elapsed(1, 0), hours(100.0)], date(2026, 1, 1));
    run(&mut state, date(2026, 1, 2), 20.0);
    let queued = crate::common::usage(Quantity::Time, 90.0 * 3600.0, "PLA");
    state.queue.push(QueuedUse { on: Some(date(2026, 1, 17)), usage: queued });
    // The calendar has used 15 of 31 days, the hours 20 of 100; but the queued run ends the hours first.
    let due = only_due(&state, date(2026, 1, 16).at(0, 0, 0, 0));
    assert_eq!(due.limit(), 1, "{due:?}");
    check(due.share(), 0.2);
    check(due.used.share(), 15.0 / 31.0);
}

#[test]
fn nothing_used_is_nought_without_a_sign() {
    let state = machine(vec![hours(10.0)], date(2026, 1, 1));
    let used = used(&state, &state.build.tasks[0], Materials::built_in(), &at(date(2026, 1, 2).at(0, 0, 0, 0)));
    assert!(used.limits[0].so_far.is_sign_positive() && used.limits[0].share().is_sign_positive(), "{used:?}");
}

#[test]
fn a_task_that_is_due_says_since_when() {
    let mut state = machine(vec![elapsed(1, 0), hours(10.0)], date(2026, 1, 1));
    for day in 2..=6 {
        run(&mut state, date(2026, 1, day), 3.0);
    }
    // 3, 6, 9 and on the fifth of January 12 h.
    assert_eq!(only_due(&state, date(2026, 1, 20).at(0, 0, 0, 0)).when, When::Since(Some(date(2026, 1, 5))));
    state.history_from = date(2026, 1, 6);
    assert_eq!(only_due(&state, date(2026, 1, 20).at(0, 0, 0, 0)).when, When::Since(None));
}

#[test]
fn a_limit_used_up_to_the_grain_is_due_since_the_run_that_did_it() {
    let mut state = machine(vec![hours(6.0)], date(2026, 1, 1));
    run(&mut state, date(2026, 1, 2), 3.0);
    run(&mut state, date(2026, 1, 4), 3.0);
    assert_eq!(only_due(&state, date(2026, 1, 5).at(0, 0, 0, 0)).when, When::Since(Some(date(2026, 1, 4))));
}

#[test]
fn without_records_the_build_s_expectation_gives_a_wide_range() {
    let state = machine(vec![hours(200.0)], date(2026, 1, 1));
    let When::Likely(likely) = only_due(&state, date(2026, 1, 1).at(8, 0, 0, 0)).when else { panic!("no forecast") };
    let Grounds::Use(grounds) = likely.grounds else { panic!("not by use") };
    let per_week = state.build.expected.hours_per_week;
    check(grounds.per_week / 3600.0, per_week);
    assert_eq!((grounds.weeks, grounds.queued), (0, 0));
    // Four shops out of five within a factor of two of the expectation: the range must span a factor of three at least.
    let days = |date: Date| date.duration_since(self::date(2026, 1, 1)).as_hours() / 24;
    assert!(3 * days(likely.early) < days(likely.late.expect("within two years")), "{likely:?}");
}

#[test]
fn a_queued_run_brings_the_day_forward() {
    let mut state = machine(vec![hours(100.0)], date(2026, 1, 5));
    for day in 0..28 {
        run(&mut state, date(2026, 1, 5).saturating_add(Span::new().days(day)), 3.0);
    }
    let now = date(2026, 2, 2).at(8, 0, 0, 0);
    let When::Likely(without) = only_due(&state, now).when else { panic!("no forecast") };
    // 16 h are left. Queued: 20 h for Wednesday, so it is certain by then.
    state.queue.push(QueuedUse {
        on: Some(date(2026, 2, 4)),
        usage: crate::common::usage(Quantity::Time, 20.0 * 3600.0, "PLA"),
    });
    let When::Likely(with) = only_due(&state, now).when else { panic!("no forecast") };
    assert!(with.median < without.median, "{with:?} {without:?}");
    assert_eq!(with.late, Some(date(2026, 2, 4)));
}

#[test]
fn a_short_horizon_leaves_out_what_is_far_and_changes_nothing_else() {
    let mut state = machine(vec![hours(100.0)], date(2026, 1, 5));
    for day in 0..28 {
        run(&mut state, date(2026, 1, 5).saturating_add(Span::new().days(day)), 3.0);
    }
    let now = at(date(2026, 2, 2).at(8, 0, 0, 0));
    let with_horizon = |days| due(&state, Materials::built_in(), &now, days).remove(0).when;
    let When::Likely(likely) = with_horizon(731) else { panic!("no forecast") };
    let early = (likely.early.duration_since(date(2026, 2, 2)).as_hours() / 24) as usize;
    assert_eq!(with_horizon(early), When::Likely(likely));
    assert_eq!(with_horizon(early - 1), When::Beyond);
}

proptest! {
    #[test]
    fn used_never_falls_as_runs_are_added_and_only_doing_the_task_resets_it(
        runs in prop::collection::vec(0.0..20.0_f64, 1..40)
    ) {
        let mut state = machine(vec![elapsed(2, 0), hours(50.0)], date(2026, 1, 1));
        let (mut before, mut day) = (0.0, date(2026, 1, 1));
        for hours in runs {
            run(&mut state, day, hours);
            day = day.tomorrow().expect("a day in 2026");
            let now = share(&state, day.at(0, 0, 0, 0));
            prop_assert!(before <= now);
            before = now;
        }
        done(&mut state, Care::Task("care".to_owned()), day.at(0, 0, 0, 0));
        check(share(&state, day.at(0, 0, 0, 0)), 0.0);
    }
}
