//! The keeper of the demo: does tasks near their time, some late, forgets one now and then, and takes readings.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp};
use upkeep::build::{Position, Task};
use upkeep::entry::Because;
use upkeep::{Care, EntryId, Event, MachineState, Materials, Standing, Usage, used};

use super::calendar::Calendar;
use super::history::{DemoEvent, DemoMachine, event};
use super::random::Random;
use super::runs::{OPEN, PlannedRun, SHUT};

/// Tasks whose last time is set so that today shows something of everything: machine, words in the task's name, how
/// much of its allowance is used today.
const LEFT: [(&str, &str, f64); 5] = [
    ("bowline", "oil the y rods", 1.31),
    ("bowline", "feed tube 2", 0.96),
    ("sheet bend", "grease the z screws", 0.88),
    ("rolling hitch", "relubricate the x carriage", 1.12),
    ("figure eight", "joints", 1.05),
];

/// Chance that a care day falls through because there is too much else to do.
const CARE_DAY_LOST: f64 = 0.1;

/// Chance that a task is forgotten for a while after it was done.
const FORGOTTEN: f64 = 0.03;

/// Chance of a second look on another day of the week.
const SECOND_LOOK: f64 = 0.2;

/// The least idle time in which the keeper begins, min.
const LEAST_GAP: f64 = 15.0;

/// One machine in the keeper's hands.
pub(super) struct Keeper<'a> {
    seed: u64,
    /// The chance of the day.
    random: Random,
    calendar: &'a Calendar,
    machine: &'a DemoMachine,
    /// The day of the week on which the keeper looks after this machine, from 0 for Monday.
    care_day: i8,
    runs: &'a [PlannedRun],
    /// The machine as its records have it at the moment.
    state: MachineState,
    /// Runs that are already in the state.
    n_counted: usize,
    /// Printing hours so far, and at each position's last replacement.
    hours: f64,
    hours_at_renewal: BTreeMap<String, f64>,
    /// How much of each task's allowance the keeper will let go by.
    patience: BTreeMap<&'a str, f64>,
    /// For tasks of [`LEFT`]: when they were done for the last time.
    last_times: BTreeMap<&'a str, Timestamp>,
    months_read: BTreeSet<(i16, i8)>,
    events: Vec<DemoEvent>,
}

impl<'a> Keeper<'a> {
    pub(super) fn new(
        seed: u64,
        calendar: &'a Calendar,
        index: usize,
        machine: &'a DemoMachine,
        added: Timestamp,
        runs: &'a [PlannedRun],
    ) -> Keeper<'a> {
        let state = MachineState {
            name: machine.name.clone(),
            build: machine.build.clone(),
            added,
            total: Usage::new(),
            standings: BTreeMap::new(),
            history_from: calendar.first,
            days: Vec::new(),
            readings: Vec::new(),
            queue: Vec::new(),
        };
        Keeper {
            seed,
            random: Random::new(seed),
            calendar,
            machine,
            care_day: (index % 5) as i8,
            runs,
            state,
            n_counted: 0,
            hours: 0.0,
            hours_at_renewal: BTreeMap::new(),
            patience: BTreeMap::new(),
            last_times: BTreeMap::new(),
            months_read: BTreeSet::new(),
            events: Vec::new(),
        }
    }

    /// Everything that the keeper wrote down, oldest first.
    pub(super) fn work(mut self) -> Vec<DemoEvent> {
        let mut visits = self.visits();
        self.last_times = self.find_last_times();
        visits.extend(self.last_times.values());
        visits.sort_unstable();
        visits.dedup();
        for at in visits {
            self.random = self.chance_of(self.calendar.zone.to_datetime(at).date(), "care");
            self.count_runs(at);
            self.visit(at);
        }
        self.events
    }

    /// The chance of a day, which goes by its date and not by what was before.
    fn chance_of(&self, day: Date, what: &str) -> Random {
        Random::fork(self.seed, &format!("{} {what} {day}", self.machine.name))
    }

    /// When the keeper comes: on the care day of the week or the first day after it with an idle quarter of an hour, and
    /// now and then for a second look.
    fn visits(&self) -> Vec<Timestamp> {
        let mut visits = Vec::new();
        let mut owed = false;
        for (day, idle) in self.idle_days() {
            let care_day = day.weekday().to_monday_zero_offset() == self.care_day;
            let chance = if care_day { 1.0 - CARE_DAY_LOST } else { SECOND_LOOK };
            owed = owed || self.chance_of(day, "visit").chance(chance);
            if let Some(at) = idle.filter(|_| owed) {
                visits.push(at);
                owed = false;
            }
        }
        visits
    }

    /// The days on which somebody is there, from the one after the machine joined, with the machine's first idle time.
    fn idle_days(&self) -> Vec<(Date, Option<Timestamp>)> {
        let added = self.calendar.zone.to_datetime(self.state.added).date();
        let days = self.calendar.days().filter(|day| added < *day && !self.calendar.is_shut(*day));
        days.map(|day| (day, self.idle(day))).collect()
    }

    /// The first idle time on `day`.
    fn idle(&self, day: Date) -> Option<Timestamp> {
        let minutes = |at: Timestamp| self.calendar.minutes(day, at);
        let first = self.runs.partition_point(|run| minutes(run.over()) < OPEN);
        let mut clock = OPEN;
        for run in &self.runs[first..] {
            if SHUT <= clock || clock + LEAST_GAP <= minutes(run.start) {
                break;
            }
            clock = clock.max(minutes(run.over()) + 1.0);
        }
        (clock < SHUT).then(|| self.calendar.at(day, clock))
    }

    /// For tasks of [`LEFT`] the latest idle time after which as much is used today as stands there.
    fn find_last_times(&self) -> BTreeMap<&'a str, Timestamp> {
        let opening = self.calendar.at(self.calendar.today, OPEN).to_zoned_datetime(self.calendar.zone.clone());
        let idle: Vec<Timestamp> = self.idle_days().into_iter().filter_map(|(_, idle)| idle).collect();
        let mut full = self.state.clone();
        self.runs.iter().for_each(|run| full.total.add(self.usage(run)));
        let mut last_times = BTreeMap::new();
        for (task, share) in self.tasks_left() {
            let mut probe = full.clone();
            let mut base = full.total.clone();
            let mut runs = self.runs.iter().rev().peekable();
            for &at in idle.iter().rev() {
                while let Some(run) = runs.next_if(|run| at <= run.start) {
                    base.subtract(self.usage(run));
                }
                let standing = Standing { at, entry: EntryId(0), base: base.clone() };
                probe.standings.insert(Care::Task(task.name.clone()), standing);
                if share <= used(&probe, task, Materials::built_in(), &opening).share() {
                    last_times.insert(task.name.as_str(), at);
                    break;
                }
            }
        }
        last_times
    }

    fn tasks_left(&self) -> impl Iterator<Item = (&'a Task, f64)> + use<'a> {
        let (machine, tasks) = (self.machine, &self.machine.build.tasks);
        let of_machine = LEFT.iter().filter(|(name, ..)| *name == machine.name);
        of_machine.filter_map(|(_, words, share)| Some((tasks.iter().find(|task| task.name.contains(words))?, *share)))
    }

    fn usage(&self, run: &PlannedRun) -> &'a Usage {
        let info = &self.machine.programs[run.program];
        &run.stop.map_or(&info.whole, |stop| &info.stopped[stop]).usage
    }

    /// Books into the state what has happened before `at`.
    fn count_runs(&mut self, at: Timestamp) {
        while let Some(run) = self.runs.get(self.n_counted).filter(|run| run.start < at) {
            self.state.total.add(self.usage(run));
            self.hours += run.hours();
            if let Some(part) = &run.gave_out {
                self.renew(&part.position, part.mended);
            }
            self.n_counted += 1;
        }
    }

    fn renew(&mut self, position: &str, at: Timestamp) {
        self.stand(Care::Position(position.to_owned()), at);
        self.hours_at_renewal.insert(position.to_owned(), self.hours);
    }

    fn stand(&mut self, care: Care, at: Timestamp) {
        let standing = Standing { at, entry: EntryId(0), base: self.state.total.clone() };
        self.state.standings.insert(care, standing);
    }

    /// Does what is due, each task a little after the one before, then takes the month's readings.
    fn visit(&mut self, at: Timestamp) {
        let now = at.to_zoned_datetime(self.calendar.zone.clone());
        let build = &self.machine.build;
        let mut clock = at;
        for task in &build.tasks {
            let share = used(&self.state, task, Materials::built_in(), &now).share();
            if self.is_time(task, share, at) {
                clock += SignedDuration::from_secs(30);
                self.do_task(task, share, clock);
            }
        }
        if self.months_read.insert((now.year(), now.month())) {
            self.read(clock + SignedDuration::from_secs(30));
        }
    }

    fn is_time(&mut self, task: &'a Task, share: f64, at: Timestamp) -> bool {
        match self.last_times.get(task.name.as_str()) {
            Some(last) if *last <= at => *last == at,
            _ => self.patience(task) <= share,
        }
    }

    /// Mostly a little before the allowance is used up, because the keeper comes once a week and looks ahead.
    fn patience(&mut self, task: &'a Task) -> f64 {
        let random = &mut self.random;
        *self.patience.entry(&task.name).or_insert_with(|| {
            let usual = (0.84 + 0.1 * random.normal()).clamp(0.55, 1.1);
            if random.chance(FORGOTTEN) { usual + random.between(0.3, 0.7) } else { usual }
        })
    }

    fn do_task(&mut self, task: &'a Task, share: f64, at: Timestamp) {
        self.patience.remove(task.name.as_str());
        let done = Event::Done { task: task.name.clone(), supplies: BTreeMap::new() };
        let note = if 1.5 < share { "late" } else { "" };
        self.events.push(DemoEvent { note: note.to_owned(), ..event(self.machine, at, done) });
        self.stand(Care::Task(task.name.clone()), at);
        if task.renews {
            let replaced = Event::Replaced { position: task.at.clone(), because: Because::Good, spare: None };
            self.events.push(event(self.machine, at, replaced));
            self.renew(&task.at, at);
        }
    }

    /// The month's readings: tone of belts, bores of tubes and nozzles, and the hour meter.
    fn read(&mut self, at: Timestamp) {
        for position in &self.machine.build.positions {
            let hours = self.hours - self.hours_at_renewal.get(&position.name).copied().unwrap_or(0.0);
            let Some((what, value, unit)) = reading(position, hours, &mut self.random) else { continue };
            let position = position.name.clone();
            let reading = Event::Reading { position, what: what.to_owned(), value, unit: unit.to_owned() };
            self.events.push(event(self.machine, at, reading));
        }
        let hours = (self.hours * 10.0).round() / 10.0;
        self.events.push(event(self.machine, at, Event::HourMeter { hours, unbooked: Usage::new(), doubt: 0.0 }));
    }
}

/// What the keeper reads at a position whose part has worked for `hours`: drifts are invented.
fn reading(position: &Position, hours: f64, random: &mut Random) -> Option<(&'static str, f64, &'static str)> {
    let rounded = |value: f64, per_unit: f64| (value * per_unit).round() / per_unit;
    match position.kind.as_str() {
        // A belt loses tone as it beds in and as its clamps give; it is brought back when it is read low.
        "toothed belt" => {
            Some(("belt frequency", rounded(108.0 - 12.0 * (hours / 600.0).fract() + random.normal(), 2.0), "Hz"))
        }
        "feed tube" => Some(("bore", rounded(2.0 + 0.2 * hours / 1000.0 + 0.01 * random.normal(), 100.0), "mm")),
        "brass nozzle" => Some(("bore", rounded(0.4 + 0.08 * hours / 500.0 + 0.004 * random.normal(), 100.0), "mm")),
        _ => None,
    }
}
