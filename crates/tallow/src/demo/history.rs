//! Fourteen months of records of an invented shop, as events in the order in which they were written down.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Span, Timestamp};
use motion::Tool;
use upkeep::entry::{Basis, Because, Queued, Run};
use upkeep::{Build, Event, Material, Usage};

use super::calendar::Calendar;
use super::care::Keeper;
use super::random::Random;
use super::runs::{PlannedRun, Renewal, SHUT, runs, stop_text};

/// Shares of their time, in percent, at which runs of the demo stop early.
pub(crate) const STOPS: [u8; 4] = [8, 25, 55, 85];

/// What metering a program, or its first part, gave.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Metered {
    /// How long it takes, s.
    pub(crate) seconds: f64,
    /// What it asks of the machine, with the program's materials.
    pub(crate) usage: Usage,
}

/// A program as the history needs it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct ProgramInfo {
    /// Its file's name.
    pub(crate) file_name: String,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub(crate) sha256: String,
    /// What each tool prints.
    pub(crate) materials: BTreeMap<Tool, Material>,
    /// The whole run.
    pub(crate) whole: Metered,
    /// The run up to each of [`STOPS`].
    pub(crate) stopped: [Metered; STOPS.len()],
}

/// A machine of the demo.
#[derive(Clone, Debug)]
pub(crate) struct DemoMachine {
    /// Its name.
    pub(crate) name: String,
    /// Its build.
    pub(crate) build: Arc<Build>,
    /// What it runs; a machine without programs stands idle.
    pub(crate) programs: Arc<[ProgramInfo]>,
    /// Printing hours that are asked of it in an average week.
    pub(crate) hours_per_week: f64,
    /// Months after the records begin at which it joined the shop.
    pub(crate) joined_after_months: i32,
}

/// An entry to be written, before it has a number.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct DemoEvent {
    /// The machine's name.
    pub(crate) machine: String,
    /// When it happened.
    pub(crate) at: Timestamp,
    /// When it was written down; the events are in this order.
    pub(crate) recorded: Timestamp,
    /// The event that this one corrects, by its index in the same list; always an earlier one.
    pub(crate) corrects: Option<usize>,
    /// Words added by the keeper; may be empty.
    pub(crate) note: String,
    /// What happened.
    pub(crate) event: Event,
}

/// The records of the fourteen months before `today`, which has not begun. Everything is invented; the same arguments
/// give the same events.
pub(crate) fn history(seed: u64, today: Date, zone: &TimeZone, machines: &[DemoMachine]) -> Vec<DemoEvent> {
    let calendar = Calendar::new(seed, today, zone);
    let of_machines = machines.iter().enumerate();
    let mut events: Vec<DemoEvent> =
        of_machines.flat_map(|(index, machine)| machine_history(seed, &calendar, index, machine)).collect();
    // Stable, so that what one machine wrote down in one minute stays in its order.
    events.sort_by_key(|event| event.recorded);
    correct_one(&mut events, machines);
    events
}

/// A run that was over is written down this much later.
const BOOKING: SignedDuration = SignedDuration::from_mins(5);

fn machine_history(seed: u64, calendar: &Calendar, index: usize, machine: &DemoMachine) -> Vec<DemoEvent> {
    let joined = calendar.first.saturating_add(Span::new().months(machine.joined_after_months));
    let added = calendar.at(joined, 7.0 * 60.0);
    let runs = if machine.programs.is_empty() { Vec::new() } else { runs(seed, calendar, machine, joined) };
    let mut events = vec![event(machine, added, Event::Added { build: machine.build.name.clone() })];
    for run in &runs {
        events.push(booked(machine, run));
        if let Some(part) = &run.gave_out {
            events.extend(renewed(machine, run.end, part));
        }
    }
    events.extend(Keeper::new(seed, calendar, index, machine, added, &runs).work());
    events.extend(queue(seed, calendar, machine));
    events
}

/// An event written down when it happened.
pub(super) fn event(machine: &DemoMachine, at: Timestamp, event: Event) -> DemoEvent {
    DemoEvent { machine: machine.name.clone(), at, recorded: at, corrects: None, note: String::new(), event }
}

fn booked(machine: &DemoMachine, run: &PlannedRun) -> DemoEvent {
    let info = &machine.programs[run.program];
    let metered = run.stop.map_or(&info.whole, |stop| &info.stopped[stop]);
    let booked = Run {
        label: info.file_name.clone(),
        program: Some(info.sha256.clone()),
        stopped: run.stop.map(stop_text),
        materials: info.materials.clone(),
        usage: metered.usage.clone(),
        basis: Basis::Metered,
        queued: None,
    };
    DemoEvent { recorded: run.end + BOOKING, ..event(machine, run.start, Event::Run(booked)) }
}

fn renewed(machine: &DemoMachine, end: Timestamp, part: &Renewal) -> impl Iterator<Item = DemoEvent> {
    let position = || part.position.clone();
    let failed = part.failure.map(|mode| {
        let failed = event(
            machine,
            end,
            Event::Failed { position: position(), mode: mode.to_owned(), found: false, mended: false },
        );
        DemoEvent { recorded: end + BOOKING, ..failed }
    });
    let because = if part.failure.is_some() { Because::Failed } else { Because::Worn };
    let replaced = event(machine, part.mended, Event::Replaced { position: position(), because, spare: None });
    failed.into_iter().chain([replaced])
}

/// What is expected of the machine from today on, written down yesterday at closing time.
fn queue(seed: u64, calendar: &Calendar, machine: &DemoMachine) -> Vec<DemoEvent> {
    let mut random = Random::fork(seed ^ 1, &machine.name);
    let Some(yesterday) = calendar.days().last().filter(|_| !machine.programs.is_empty()) else { return Vec::new() };
    let n_queued = 1 + random.pick(&[1.0, 1.0, 1.0]);
    let weights = vec![1.0; machine.programs.len()];
    (0..n_queued)
        .map(|i| {
            let info = &machine.programs[random.pick(&weights)];
            let ahead = random.between(1.0, 7.0) as i32;
            let queued = Queued {
                label: info.file_name.clone(),
                program: Some(info.sha256.clone()),
                // The first goes on as soon as the machine is free, the others on a day.
                on: (0 < i).then(|| calendar.today.saturating_add(Span::new().days(ahead))),
                materials: info.materials.clone(),
                usage: info.whole.usage.clone(),
            };
            event(machine, calendar.at(yesterday, SHUT + i as f64), Event::Queued(queued))
        })
        .collect()
}

/// Lets the middle one of the stopped runs be booked as whole at first, and corrected on the next morning.
fn correct_one(events: &mut Vec<DemoEvent>, machines: &[DemoMachine]) {
    let stopped = |event: &DemoEvent| matches!(&event.event, Event::Run(run) if run.stopped.is_some());
    let found: Vec<usize> = (0..events.len()).filter(|&index| stopped(&events[index])).collect();
    let Some(&wrong) = found.get(found.len() / 2) else { return };
    let right = events[wrong].clone();
    let machine = machines.iter().find(|machine| machine.name == right.machine);
    let Event::Run(run) = &mut events[wrong].event else { return };
    let Some(info) = machine.and_then(|m| m.programs.iter().find(|info| run.program.as_ref() == Some(&info.sha256)))
    else {
        return;
    };
    run.stopped = None;
    run.usage = info.whole.usage.clone();
    let recorded = right.recorded + SignedDuration::from_hours(15);
    let note = "booked as whole by mistake; it had stopped".to_owned();
    let place = events.partition_point(|event| event.recorded <= recorded);
    events.insert(place, DemoEvent { recorded, corrects: Some(wrong), note, ..right });
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::super::tests::{SEED, machines, zone};
    use super::*;

    fn today() -> Date {
        date(2026, 11, 25)
    }

    fn demo() -> Vec<DemoEvent> {
        history(SEED, today(), &zone(), &machines())
    }

    fn runs_of<'a>(events: &'a [DemoEvent], machine: &str) -> Vec<(&'a DemoEvent, &'a Run)> {
        let of_machine = events.iter().filter(move |event| event.machine == machine && event.corrects.is_none());
        of_machine
            .filter_map(|event| if let Event::Run(run) = &event.event { Some((event, run)) } else { None })
            .collect()
    }

    #[test]
    fn the_same_seed_and_day_give_the_same_events_and_another_seed_others() {
        assert_eq!(demo(), demo());
        assert_ne!(demo(), history(SEED + 1, today(), &zone(), &machines()));
    }

    #[test]
    fn events_are_in_the_order_of_writing_and_over_before_today() {
        let events = demo();
        let midnight = zone().to_timestamp(today().at(0, 0, 0, 0)).unwrap();
        let first = zone().to_timestamp(date(2025, 9, 25).at(0, 0, 0, 0)).unwrap();
        assert!(events.windows(2).all(|pair| pair[0].recorded <= pair[1].recorded));
        for event in &events {
            assert!(first <= event.at && event.at <= event.recorded && event.recorded < midnight, "{event:?}");
        }
    }

    #[test]
    fn runs_of_a_machine_do_not_overlap_and_begin_while_somebody_is_there() {
        let events = demo();
        for machine in machines() {
            let mut free = Timestamp::MIN;
            for (event, run) in runs_of(&events, &machine.name) {
                let info = machine.programs.iter().find(|info| Some(&info.sha256) == run.program.as_ref()).unwrap();
                let stop = STOPS.iter().position(|stop| run.stopped == Some(format!("{stop} %")));
                let seconds = stop.map_or(info.whole.seconds, |stop| info.stopped[stop].seconds);
                // The corrected run is booked as whole, but ended earlier.
                let ended = (event.recorded - BOOKING).min(event.at + SignedDuration::from_secs(seconds as i64));
                assert!(free <= event.at, "{}: {}", machine.name, event.at);
                let clock = zone().to_datetime(event.at).time();
                assert!((7..=17).contains(&clock.hour()), "{}: {clock}", machine.name);
                free = ended;
            }
        }
    }

    #[test]
    fn nobody_prints_in_the_holidays() {
        let shut = |at: Timestamp| Calendar::new(SEED, today(), &zone()).is_shut(zone().to_datetime(at).date());
        let runs = demo().into_iter().filter(|event| matches!(event.event, Event::Run(_)));
        assert_eq!(runs.filter(|event| shut(event.at)).count(), 0);
    }

    #[test]
    fn machines_print_twenty_to_sixty_hours_in_a_week() {
        let events = demo();
        for machine in machines() {
            let runs = runs_of(&events, &machine.name);
            let hours: f64 = runs.iter().map(|(event, _)| (event.recorded - event.at).as_secs_f64() / 3600.0).sum();
            let weeks = (events[events.len() - 1].at - runs[0].0.at).as_secs_f64() / (7.0 * 86_400.0);
            assert!((15.0..60.0).contains(&(hours / weeks)), "{}: {} h in a week", machine.name, hours / weeks);
        }
    }

    #[test]
    fn every_event_names_a_task_or_position_of_its_build_and_no_machine_joins_twice() {
        let machines = machines();
        let mut n_added = 0;
        for event in demo() {
            let build = &machines.iter().find(|machine| machine.name == event.machine).unwrap().build;
            match &event.event {
                Event::Added { build: name } => {
                    n_added += 1;
                    assert_eq!(*name, build.name);
                }
                Event::Done { task, .. } => assert!(build.tasks.iter().any(|known| known.name == *task), "{task}"),
                Event::Replaced { position, .. } | Event::Failed { position, .. } | Event::Reading { position, .. } => {
                    assert!(build.positions.iter().any(|known| known.name == *position), "{position}");
                }
                _ => {}
            }
        }
        assert_eq!(n_added, machines.len());
    }

    #[test]
    fn a_failed_part_is_replaced_and_nothing_runs_until_then() {
        let events = demo();
        let failures: Vec<&DemoEvent> =
            events.iter().filter(|event| matches!(event.event, Event::Failed { .. })).collect();
        assert!((20..120).contains(&failures.len()), "{}", failures.len());
        for failure in failures {
            let Event::Failed { position, .. } = &failure.event else { unreachable!() };
            let after = events.iter().filter(|event| event.machine == failure.machine && failure.at <= event.at);
            let next = after.clone().find(|event| match &event.event {
                Event::Replaced { position: renewed, because, .. } => {
                    renewed == position && *because == Because::Failed
                }
                Event::Run(_) => failure.at < event.at,
                _ => false,
            });
            assert!(next.is_some_and(|event| matches!(event.event, Event::Replaced { .. })), "{failure:?}");
        }
    }

    #[test]
    fn one_entry_is_corrected_by_a_later_one_of_its_kind() {
        let events = demo();
        let corrections: Vec<(usize, usize)> =
            events.iter().enumerate().filter_map(|(index, event)| Some((index, event.corrects?))).collect();
        let [(right, wrong)] = corrections[..] else { panic!("{corrections:?}") };
        assert!(wrong < right);
        let (Event::Run(wrong), Event::Run(right)) = (&events[wrong].event, &events[right].event) else { panic!() };
        assert_eq!((&wrong.stopped, &wrong.program), (&None, &right.program));
        assert_ne!(right.stopped, None);
    }

    #[test]
    fn each_machine_has_a_few_runs_queued_from_today_on() {
        let events = demo();
        for machine in machines() {
            let of_machine = events.iter().filter(|event| event.machine == machine.name);
            let queued: Vec<&Queued> = of_machine
                .filter_map(|e| if let Event::Queued(queued) = &e.event { Some(queued) } else { None })
                .collect();
            assert!((1..=3).contains(&queued.len()), "{}", machine.name);
            assert!(queued.iter().filter_map(|queued| queued.on).all(|day| today() < day));
        }
    }
}
