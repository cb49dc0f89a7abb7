//! A fixed habit for a machine whose figures can be worked out by hand.

use std::sync::Arc;

use jiff::ZonedDateTime;
use jiff::civil::Date;
use upkeep::rounds::rhythm::NoRhythm;
use upkeep::{Build, Habit, MachineState, Materials, Prices, Rates, Risk, Usage, Worth};

/// A machine that is expected to print an hour on each day, and of which going there takes ten minutes.
const BUILD: &str = concat!(
    include_str!("bench/machine.toml"),
    r#"[expected]
hours_per_week = 7
days_per_week = 7
[expected.per_hour]
"time" = "1 h"
"travel x" = "0 km"
[visit]
minutes = 10
[[position]]
name = "nozzle"
kind = "brass nozzle"
[[position]]
name = "frame"
kind = "frame"
"#
);

/// A task on the frame whose neglect may injure: no failure of it has a price, and its limit is all that counts.
fn task(name: &str, minutes: u32, every: &str, more: &str) -> String {
    let of = if every.ends_with('h') { "of = \"time\"\n" } else { "" };
    format!(
        "[[task]]\nname = \"{name}\"\nat = \"frame\"\nstate = \"isolated\"\nminutes = {minutes}\nneglect = \"injury\"\n{more}\n\
         steps = [\"Do it.\"]\n[[task.limit]]\nevery = \"{every}\"\n{of}source = \"a test\"\n"
    )
}

/// The habit where an hour of work costs `labour`.
fn habit_at(tasks: &[String], labour: f64) -> Result<Option<Habit>, NoRhythm> {
    let text = format!("{BUILD}{}", tasks.concat());
    let build = Build::parse("bench.toml", &text).unwrap_or_else(|errors| panic!("{errors}"));
    let now: ZonedDateTime = "2026-03-02T08:00[Europe/Oslo]".parse().unwrap();
    let n_tasks = build.tasks.len();
    let state = MachineState {
        name: "bench".to_owned(),
        build: Arc::new(build),
        added: now.timestamp(),
        total: Usage::new(),
        standings: Vec::new().into_iter().collect(),
        history_from: Date::MIN,
        days: Vec::new(),
        readings: Vec::new(),
        queue: Vec::new(),
    };
    let rates = Rates { labour_per_hour: Some(labour), failed_print: Some(25.0), ..Rates::default() };
    let (prices, _) = Prices::from_rates(&rates);
    let worth = Worth { risks: &vec![Risk::believed(); n_tasks], supplies: &vec![0.0; n_tasks], prices: &prices };
    Habit::of(&state, worth, Materials::built_in(), &now)
}

/// The habit where a minute of work costs 1.
fn habit(tasks: &[String]) -> Habit {
    habit_at(tasks, 60.0).unwrap().unwrap()
}

#[track_caller]
fn close(got: f64, expected: f64) {
    assert!((got - expected).abs() < 1e-6 * expected, "{got} is not {expected}");
}

/// By hand: each 10 days cost 10 + 3, and each 20 days 12, for a third turn would be past the second limit: 1.9 a day. No other
/// whole interval up to 10 is as cheap (9 days: 13/9 + 12/18 = 2.11; 8 days: 13/8 + 12/24 = 2.13). Apart: 13/10 + 22/25 a day. The
/// bound has the second task done on its last day in a visit that is there anyhow: 13/10 + 12/25.
#[test]
fn a_habit_is_as_rare_as_limits_allow_where_nothing_else_counts() {
    let habit = habit(&[task("look", 3, "10 days", ""), task("tighten", 12, "25 days", "")]);
    assert_eq!((habit.interval, habit.turns.iter().map(|turn| turn.every).collect::<Vec<_>>()), (10, vec![1, 2]));
    close(habit.cost, 365.0 * 1.9);
    close(habit.separately, 365.0 * 2.18);
    close(habit.bound, 365.0 * 1.78);
}

/// At an hour a day 20 h are used up in 20 days. What goes together has the nearest limit. Failures make it no rarer.
#[test]
fn use_is_time_at_the_mean_pace_and_failures_shorten_no_limit() {
    let failing = task("brush", 6, "20 h", "").replace("injury", "failed print");
    let habit = habit(&[failing, task("measure", 4, "1000 h", "with = [\"brush\"]")]);
    let [turn] = &habit.turns[..] else { panic!("{habit:?}") };
    assert_eq!(turn.tasks, [0, 1]);
    close(turn.limit, 20.0);
    assert!(
        habit.interval * turn.every <= 20 && habit.bound <= habit.cost && habit.cost < habit.separately * (1.0 + 1e-9)
    );
}

#[test]
fn what_comes_due_within_a_day_or_never_has_no_turn_and_is_named() {
    let tasks = [
        task("look", 3, "10 days", "apart = [\"tighten\"]"),
        task("wipe", 1, "0.5 h", ""),
        task("tighten", 5, "30 days", ""),
    ];
    let habit = habit(&tasks);
    assert_eq!((habit.too_often, habit.apart), (vec![1], vec![[0, 2]]));
    assert_eq!(habit.turns.iter().map(|turn| turn.tasks.clone()).collect::<Vec<_>>(), [[0], [2]]);
    let unmet = task("oil", 3, "20 h", "").replace("of = \"time\"", "of = \"travel x\"").replace("20 h", "20 km");
    assert_eq!(habit_at(std::slice::from_ref(&unmet), 60.0), Ok(None), "nothing tells that the machine moves");
    assert_eq!(self::habit(&[task("look", 3, "10 days", ""), unmet]).unused, [1]);
}

#[test]
fn where_going_there_is_free_there_is_no_best_habit() {
    assert_eq!(habit_at(&[task("look", 3, "10 days", "")], 0.0), Err(NoRhythm::Setup { setup: 0.0 }));
}
