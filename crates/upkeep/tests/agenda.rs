//! What is open in a shop, and what a print would use up, on machines whose figures can be worked out by hand.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::ZonedDateTime;
use jiff::civil::{Date, date};
use motion::{Duty, Quantity};
use upkeep::agenda::{Agenda, Held, Shop, past_before};
use upkeep::build::Neglect;
use upkeep::rounds::{Broken, Effort, Placed, Plan, check, plan};
use upkeep::shop::{Away, Keeper, Rostered, Visit};
use upkeep::stores::{Lot, Shelf, Source};
use upkeep::{
    Asked, Build, Care, EntryId, MachineState, Material, Materials, Prices, QueuedUse, Rates, Risk, Standing, Usage,
    Worth, before,
};

/// A machine that is expected to print seven hours a week, one each day, with four tasks and nothing else.
const BUILD: &str = concat!(
    include_str!("bench/machine.toml"),
    r#"[expected]
hours_per_week = 7
days_per_week = 7
[expected.per_hour]
"time" = "1 h"
[visit]
minutes = 10
[[position]]
name = "nozzle"
kind = "brass nozzle"
[[position]]
name = "frame"
kind = "frame"
[[task]]
name = "brush the nozzle"
at = "nozzle"
state = "cold"
minutes = 6
neglect = "failed print"
steps = ["Brush it."]
[[task.limit]]
every = "20 h"
of = "time"
source = "a test"
[[task]]
name = "measure the nozzle"
at = "nozzle"
state = "cold"
minutes = 4
neglect = "failed print"
with = ["brush the nozzle"]
steps = ["Measure it."]
[[task.limit]]
every = "1000 h"
of = "time"
source = "a test"
[[task]]
name = "look at the frame"
at = "frame"
state = "isolated"
minutes = 3
neglect = "injury"
uses = { "lint-free wipe" = "3" }
steps = ["Look at it."]
[[task.limit]]
every = "10 days"
source = "a test"
[[task]]
name = "tighten the frame"
at = "frame"
state = "isolated"
minutes = 12
neglect = "damage"
after = ["look at the frame"]
steps = ["Tighten it."]
[[task.limit]]
every = "1 year"
source = "a test"
"#
);

fn now() -> ZonedDateTime {
    "2026-03-02T08:00[Europe/Oslo]".parse().unwrap()
}

/// The machine `days` after it joined, all its tasks done then but for those that `done` says how many days ago.
fn state(build: &Arc<Build>, days: i64, done: &[(&str, i64)]) -> MachineState {
    let ago = |days: i64| (&now() - jiff::Span::new().days(days)).timestamp();
    let standing = |days: i64| Standing { at: ago(days), entry: EntryId(1), base: Usage::new() };
    MachineState {
        name: "bench".to_owned(),
        build: build.clone(),
        added: ago(days),
        total: Usage::new(),
        standings: done.iter().map(|(task, days)| (Care::Task((*task).to_owned()), standing(*days))).collect(),
        history_from: Date::MIN,
        days: Vec::new(),
        readings: Vec::new(),
        queue: Vec::new(),
    }
}

fn build() -> Arc<Build> {
    Arc::new(Build::parse("bench.toml", BUILD).unwrap_or_else(|errors| panic!("{errors}")))
}

fn usage(hours: f64) -> Usage {
    let mut duty = Duty::default();
    duty.tools.entry(0).or_default()[Quantity::Time] = hours * 3600.0;
    Usage::from_duty(&duty, |_| Material::new("PLA"))
}

fn prices() -> Prices {
    let rates = Rates { labour_per_hour: Some(60.0), standing_per_hour: Some(6.0), ..Rates::default() };
    Prices::from_rates(&rates).0
}

fn keepers() -> Vec<Rostered> {
    let keeper =
        Keeper { name: "Mate".to_owned(), minutes: [30, 30, 30, 30, 30, 0, 0], skills: Vec::new(), is_gone: false };
    let away = Away { keeper: "mate".to_owned(), from: date(2026, 3, 4), to: date(2026, 3, 4), why: String::new() };
    vec![Rostered { keeper, entry: EntryId(1), away: vec![(EntryId(2), away)] }]
}

fn agenda(state: &MachineState, told: &[(String, Visit)]) -> Agenda {
    agenda_with(state, told, &BTreeMap::new())
}

fn agenda_with(state: &MachineState, told: &[(String, Visit)], stock: &BTreeMap<String, Source>) -> Agenda {
    let risks = vec![Risk::believed(); state.build.tasks.len()];
    let none = BTreeMap::new();
    let shop = Shop {
        keepers: &keepers(),
        stock,
        unit_prices: &none,
        told,
        prices: &prices(),
        materials: Materials::built_in(),
        now: &now(),
    };
    Agenda::of(&shop, [(state, risks.as_slice())], 7)
}

#[test]
fn what_will_be_half_used_is_open_with_what_goes_with_it_and_the_rest_is_not() {
    let build = build();
    let agenda = agenda(&state(&build, 4, &[]), &[]);
    let machine = &agenda.problem.machines[0];
    let names: Vec<&str> = machine.jobs.iter().map(|job| job.name.as_str()).collect();
    // In seven days: 7 of 20 hours of the brush's allowance, 11 of 10 days for the look, 11 of 365 for the frame.
    assert_eq!(names, ["look at the frame"]);
    let later = self::agenda(&state(&build, 4, &[("brush the nozzle", 4)]), &[]);
    assert_eq!(later.problem.machines[0].jobs.len(), 1);
}

#[test]
fn costs_are_wasted_work_before_the_limit_and_no_saving_outweighs_an_injury_after_it() {
    let build = build();
    let agenda = agenda(&state(&build, 4, &[]), &[]);
    let job = &agenda.problem.machines[0].jobs[0];
    // Three minutes at one a minute; four days of ten are used today, and one more each day.
    for (day, left) in [(0, 0.6), (1, 0.5), (5, 0.1)] {
        assert!((job.costs[day] - 3.0 * left).abs() < 1e-9, "{day}: {:?}", job.costs);
    }
    assert!(1000.0 < job.costs[7] && job.is_due_within && !job.is_urgent, "{job:?}");
}

/// A shipped build's machine of which everything is open.
fn worn_out(file: &str, text: &str) -> MachineState {
    let build = Arc::new(Build::parse(file, text).unwrap());
    let mut duty = Duty::default();
    for quantity in Quantity::ALL {
        duty.tools.entry(0).or_default()[*quantity] = 1e6;
    }
    MachineState { total: Usage::from_duty(&duty, |_| Material::new("PLA")), ..state(&build, 4000, &[]) }
}

#[test]
fn a_visit_is_planned_for_no_less_than_its_order_takes_and_a_lone_task_for_just_that() {
    for (file, text) in upkeep::build::shipped() {
        let machine = worn_out(file, text);
        let agenda = agenda(&machine, &[]);
        let (work, tasks) = (&agenda.problem.machines[0], &machine.build.tasks);
        assert!(10 < work.jobs.len(), "{file}: {}", work.jobs.len());
        let sheet = |jobs: &[usize]| {
            let of_visit = jobs.iter().flat_map(|&job| &agenda.tasks[0][job]).map(|&task| &tasks[task]);
            upkeep::visit::minutes(&machine.build, &of_visit.collect::<Vec<_>>())
        };
        let planned = |jobs: &[usize]| {
            let plan = |minutes: f64| Plan {
                visits: vec![Placed { machine: 0, day: 0, keeper: 0, jobs: jobs.to_vec(), minutes }],
                ..Plan::default()
            };
            // The minutes of a visit are in no public function; what the check does not object to is right.
            let wrong = |minutes: f64| check(&agenda.problem, &plan(minutes)).contains(&Broken::Minutes(0));
            let accesses = jobs.iter().filter_map(|&job| work.jobs[job].access).collect::<BTreeSet<_>>();
            let waits = work.waits.iter().filter(|(pair, _)| pair.iter().all(|job| jobs.contains(job)));
            let minutes = work.setup_minutes
                + accesses.iter().map(|&access| work.accesses[access]).sum::<f64>()
                + jobs.iter().map(|&job| work.jobs[job].minutes).sum::<f64>()
                + waits.map(|(_, minutes)| *minutes).fold(0.0, f64::max);
            assert!(!wrong(minutes), "{file}: {jobs:?}");
            minutes
        };
        for job in 0..work.jobs.len() {
            assert!((planned(&[job]) - sheet(&[job])).abs() < 1e-6, "{file}: {}", work.jobs[job].name);
        }
        let mut random = 1_u64;
        for round in 0..2000 {
            let mut jobs: Vec<usize> = (0..work.jobs.len()).collect();
            jobs.retain(|_| {
                random = random.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                (random >> 33).is_multiple_of(2 + round % 6)
            });
            if jobs.is_empty() {
                continue;
            }
            let (planned, sheet) = (planned(&jobs), sheet(&jobs));
            let names = || jobs.iter().map(|&job| work.jobs[job].name.as_str()).collect::<Vec<_>>().join(", ");
            assert!(sheet <= planned + 1e-6, "{file}: {planned} for {sheet}: {}", names());
        }
    }
}

#[test]
fn a_machine_past_a_limit_that_may_injure_or_damage_is_not_to_be_run_and_its_queue_waits() {
    let build = build();
    let mut machine = state(&build, 12, &[]);
    machine.queue.push(QueuedUse { on: Some(date(2026, 3, 3)), usage: usage(20.0) });
    let late = agenda(&machine, &[]);
    assert_eq!(late.forbidden, [vec![2]]);
    let jobs = &late.problem.machines[0].jobs;
    // The queue brings the brush to its limit, and what always goes with it is done, too.
    let told: Vec<(&str, bool)> = jobs.iter().map(|job| (job.name.as_str(), job.is_urgent)).collect();
    assert_eq!(told, [("brush the nozzle; measure the nozzle", false), ("look at the frame", true)]);
    assert!(late.problem.machines[0].window.iter().all(|window| (*window - 1440.0).abs() < 1e-9));
    assert_eq!(build.tasks[2].neglect, Neglect::Injury);
}

#[test]
fn queued_runs_keep_the_machine_and_make_standing_still_cost_something() {
    let build = build();
    let mut machine = state(&build, 4, &[]);
    machine.queue.push(QueuedUse { on: None, usage: usage(30.0) });
    machine.queue.push(QueuedUse { on: Some(date(2026, 3, 6)), usage: usage(2.0) });
    let agenda = agenda(&machine, &[]);
    let work = &agenda.problem.machines[0];
    // Thirty hours from today on, and two on the fifth day.
    let free: Vec<f64> = work.window.iter().map(|minutes| minutes.round()).collect();
    assert_eq!(free, [0.0, 1080.0, 1440.0, 1440.0, 1320.0, 1440.0, 1440.0]);
    // Ten minutes of labour at one, and on days with queued work ten minutes of standing still at a tenth.
    let setup: Vec<f64> = work.setup_cost.iter().map(|cost| (cost * 10.0).round() / 10.0).collect();
    assert_eq!(setup, [11.0, 11.0, 10.0, 10.0, 11.0, 10.0, 10.0, 10.0]);
}

#[test]
fn work_for_which_the_stores_do_not_reach_does_not_draw_the_rest_of_its_machine_behind_it() {
    let build = build();
    let machine = state(&build, 4, &[]);
    let lot = |amount, from| Lot { amount, from, expires: None };
    let with = |lots: &[Lot]| {
        let source = Source { shelf: Shelf::new(lots.to_vec()).unwrap(), lead_days: None };
        let stock = BTreeMap::from([("lint-free wipe".to_owned(), source)]);
        let problem = agenda_with(&machine, &[], &stock).problem;
        let job = problem.machines[0].jobs[0].clone();
        (job.uses, job.is_due_within, problem.stocks[0].by_day.clone())
    };
    // The look uses three; it is due within the seven days either way.
    assert_eq!(with(&[lot(3.0, None)]), (vec![(0, 3.0)], true, vec![3.0; 7]));
    assert_eq!(with(&[lot(2.0, None)]), (vec![(0, 3.0)], false, vec![2.0; 7]));
    // One more is on its way, and there from the fifth day on.
    let fifth = now().date().saturating_add(jiff::ToSpan::days(4));
    let by_day = vec![2.0, 2.0, 2.0, 2.0, 3.0, 3.0, 3.0];
    assert_eq!(with(&[lot(2.0, None), lot(1.0, Some(fifth))]), (vec![(0, 3.0)], true, by_day));
}

#[test]
fn a_task_that_a_locked_visit_after_the_days_will_do_is_not_planned_before() {
    let build = build();
    let machine = state(&build, 4, &[]);
    let visit = |keeper: &str, is_locked| Visit {
        day: date(2026, 3, 20),
        keeper: keeper.to_owned(),
        tasks: vec!["look at the frame".to_owned()],
        minutes: 13.0,
        is_locked,
        took: None,
    };
    let n_open = |visit: Visit| agenda(&machine, &[("bench".to_owned(), visit)]).problem.machines[0].jobs.len();
    assert_eq!(n_open(visit("mate", true)), 0);
    // One that may be moved, or of somebody who is gone, promises nothing.
    assert_eq!((n_open(visit("mate", false)), n_open(visit("gone", true))), (1, 1));
}

#[test]
fn what_a_locked_visit_leaves_past_its_limit_is_named_and_its_waiting_is_charged_whatever_its_day() {
    let build = build();
    let machine = state(&build, 4, &[]);
    let visit = |day: i64, is_locked| Visit {
        day: now().date().saturating_add(jiff::ToSpan::days(day)),
        keeper: "mate".to_owned(),
        tasks: vec!["look at the frame".to_owned()],
        minutes: 13.0,
        is_locked,
        took: None,
    };
    let on = |day: i64, is_locked| agenda(&machine, &[("bench".to_owned(), visit(day, is_locked))]);
    let spent = |agenda: &Agenda| {
        let effort = Effort { rounds: 20, steps: 20, ..Effort::new() };
        let spent = agenda.spent(&plan(&agenda.problem, &effort));
        (spent.days_late, (spent.money * 1e6).round() / 1e6)
    };
    // Four days of ten are used: at the beginning of the seventh day from now it is past its limit.
    assert_eq!((on(3, true).held.len(), on(18, false).held.len()), (0, 0));
    let far = on(18, true);
    let held =
        Held { machine: 0, task: 2, past_from: date(2026, 3, 8), day: date(2026, 3, 20), keeper: "mate".to_owned() };
    assert_eq!(far.held, [held]);
    // From the sixth day on to the eighteenth: thirteen days. The visit itself costs its ten minutes of labour still.
    assert_eq!(spent(&far), (13, 10.0));
    assert_eq!(spent(&on(4, true)).0, 0);
    let past = past_before(&machine, Materials::built_in(), &now(), &visit(18, true).tasks, date(2026, 3, 20));
    assert_eq!(past, [(2, date(2026, 3, 8))]);
}

#[test]
fn a_queue_that_waits_for_the_release_runs_after_it_and_keeps_other_visits_off() {
    let build = build();
    let mut machine = state(&build, 12, &[]);
    machine.queue.push(QueuedUse { on: Some(date(2026, 3, 3)), usage: usage(30.0) });
    let mut agenda = agenda(&machine, &[]);
    let release = |agenda: &mut Agenda, day: usize| {
        let job = agenda.problem.machines[0].jobs.iter().position(|job| job.is_urgent).unwrap();
        let visits = vec![Placed { machine: 0, day, keeper: 0, jobs: vec![job], minutes: 13.0 }];
        let is_changed = agenda.release(&[&machine], &Plan { visits, ..Plan::default() });
        (is_changed, agenda.problem.machines[0].window.clone())
    };
    // Thirty hours from the fourth day on, begun on its morning or in the night after it.
    let free = |minutes: [f64; 7]| minutes.to_vec();
    let after = free([1440.0, 1440.0, 1440.0, 1440.0, 0.0, 1080.0, 1440.0]);
    assert_eq!(release(&mut agenda, 3), (true, after.clone()));
    assert_eq!(release(&mut agenda, 3), (false, after));
    // Nothing releases it: it stands free.
    let mut left = self::agenda(&machine, &[]);
    assert!(!left.release(&[&machine], &Plan::default()));
}

#[test]
fn what_visits_took_that_were_walked_today_is_gone_from_the_day() {
    let build = build();
    let walked = |day: Date, took| Visit {
        day,
        keeper: "MATE".to_owned(),
        tasks: vec!["look at the frame".to_owned()],
        minutes: 13.0,
        is_locked: false,
        took,
    };
    let today = now().date();
    let left = |visit: Visit| {
        agenda(&state(&build, 4, &[]), &[("bench".to_owned(), visit)]).problem.keepers[0].minutes[..2].to_vec()
    };
    assert_eq!(left(walked(today, Some(21.0))), [9.0, 30.0]);
    assert_eq!(left(walked(today, Some(45.0))), [0.0, 30.0]);
    assert_eq!(left(walked(today, None)), [30.0, 30.0]);
}

#[test]
fn keepers_have_their_minutes_by_weekday_less_their_days_off() {
    let build = build();
    let agenda = agenda(&state(&build, 4, &[]), &[]);
    // The second of March 2026 is a Monday; Wednesday is off.
    assert_eq!(agenda.problem.keepers[0].minutes, [30.0, 30.0, 0.0, 30.0, 30.0, 0.0, 0.0]);
}

#[test]
fn told_visits_are_known_by_their_machine_day_keeper_and_tasks() {
    let build = build();
    let visit = Visit {
        day: date(2026, 3, 5),
        keeper: "MATE".to_owned(),
        tasks: vec!["look at the frame".to_owned(), "no such task".to_owned()],
        minutes: 13.0,
        is_locked: true,
        took: None,
    };
    let gone = Visit { keeper: "nobody".to_owned(), ..visit.clone() };
    let told = [("bench".to_owned(), visit), ("bench".to_owned(), gone)];
    let agenda = agenda(&state(&build, 4, &[]), &told);
    let [told] = &agenda.problem.told[..] else { panic!("{:?}", agenda.problem.told) };
    assert_eq!((told.machine, told.day, told.keeper, &told.jobs[..], told.is_locked), (0, 3, 0, &[0][..], true));
}

#[test]
fn a_visit_put_elsewhere_costs_what_its_new_day_costs_more_and_tells_what_it_breaks() {
    let build = build();
    let mut machine = state(&build, 4, &[]);
    machine.queue.push(QueuedUse { on: Some(date(2026, 3, 6)), usage: usage(2.0) });
    let visit = Visit {
        day: date(2026, 3, 5),
        keeper: "mate".to_owned(),
        tasks: vec!["look at the frame".to_owned()],
        minutes: 13.0,
        is_locked: true,
        took: None,
    };
    let gone = ("bench".to_owned(), Visit { keeper: "nobody".to_owned(), ..visit.clone() });
    let agenda = agenda(&machine, &[gone, ("bench".to_owned(), visit)]);
    assert_eq!(agenda.told, [1]);
    // Ten minutes of setting up at one, and three tenths of three minutes' work thrown away.
    assert!((agenda.spent(&agenda.as_told()).money - 10.9).abs() < 1e-9);
    let check = |day: usize, money: f64, days_late: i64, broken: &[Broken]| {
        let moved = agenda.moved(0, day, 0);
        assert!((moved.money - money).abs() < 1e-9 && moved.days_late == days_late, "{day}: {moved:?}");
        assert_eq!(moved.broken, broken);
    };
    check(3, 0.0, 0, &[]);
    // A tenth of the work less is thrown away, and thirteen minutes of a day with queued work cost a tenth each.
    check(4, 1.0, 0, &[]);
    // Wednesday is off, and a tenth more is thrown away.
    check(2, 0.3, 0, &[Broken::KeeperMinutes(0, 2)]);
    // By Sunday the ten days are over.
    check(6, -0.9, 1, &[Broken::KeeperMinutes(0, 6)]);
}

#[test]
fn a_print_uses_up_allowances_and_tells_what_falls_due_in_it() {
    let build = build();
    let machine = state(&build, 4, &[]);
    let risks = vec![Risk::believed(); 4];
    let prices = prices();
    let worth = Worth { risks: &risks, supplies: &[2.0, 0.0, 0.0, 0.0], prices: &prices };
    let usage = usage(25.0);
    let answer =
        before(&machine, Asked { usage: &usage, seconds: 25.0 * 3600.0 }, worth, Materials::built_in(), &now());
    let brush = &answer.tasks[0];
    // 25 of 20 hours: due at four fifths of the print, and 1.25 times six minutes and two for supplies are used up.
    assert!((brush.to - 1.25).abs() < 1e-9 && (brush.due_at.unwrap() - 0.8).abs() < 1e-9, "{brush:?}");
    assert!((brush.wear - 1.25 * 8.0).abs() < 1e-9);
    assert_eq!(answer.falling_due().len(), 1);
    assert!(answer.forbidding.is_empty() && 0.0 < answer.risk);
    assert!((answer.cost() - answer.wear - answer.risk).abs() < 1e-12);
}
