//! What a machine printed, when it stopped, and which parts gave out.

use jiff::civil::{Date, Weekday};
use jiff::{SignedDuration, Timestamp};
use upkeep::build::Position;

use super::calendar::{Calendar, monday};
use super::history::{DemoMachine, ProgramInfo, STOPS};
use super::random::Random;

/// A run as the simulation has it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct PlannedRun {
    pub(super) start: Timestamp,
    pub(super) end: Timestamp,
    /// Index of the program.
    pub(super) program: usize,
    /// Index into [`STOPS`] if it stopped early.
    pub(super) stop: Option<usize>,
    /// The position whose part gave out in this run.
    pub(super) gave_out: Option<Renewal>,
}

impl PlannedRun {
    /// How long it ran, h.
    pub(super) fn hours(&self) -> f64 {
        self.end.duration_since(self.start).as_secs_f64() / 3600.0
    }

    /// When the machine can be used again: after the run, or after the part that gave out was replaced.
    pub(super) fn over(&self) -> Timestamp {
        self.gave_out.as_ref().map_or(self.end, |part| part.mended)
    }
}

/// A part's end.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Renewal {
    /// Its position.
    pub(super) position: String,
    /// How the failure showed; `None` if the part was seen to be worn and replaced in time.
    pub(super) failure: Option<&'static str>,
    /// When the new part was in.
    pub(super) mended: Timestamp,
}

/// The yard's day, minutes past midnight: somebody is there to start a run between these.
pub(super) const OPEN: f64 = 7.5 * 60.0;
pub(super) const SHUT: f64 = 17.5 * 60.0;

/// Share of runs that stop early for no lasting cause: a lifted corner, a tangle, a wrong file.
const STOP_SHARE: f64 = 0.035;

/// The machine's runs from `from` on, oldest first. No two overlap.
pub(super) fn runs(seed: u64, calendar: &Calendar, machine: &DemoMachine, from: Date) -> Vec<PlannedRun> {
    let mut loft = Loft::new(seed, calendar, machine);
    for day in calendar.days().filter(|day| from <= *day && !calendar.is_shut(*day)) {
        loft.work(day);
    }
    loft.runs
}

/// A machine at work.
struct Loft<'a> {
    seed: u64,
    /// The chance of the day; begins anew each day, so that days go by their date and not by what was before.
    random: Random,
    calendar: &'a Calendar,
    machine: &'a DemoMachine,
    /// How often each program is asked for.
    demand: Vec<f64>,
    lives: Vec<Life<'a>>,
    /// When the machine is free again.
    free: Timestamp,
    runs: Vec<PlannedRun>,
}

impl<'a> Loft<'a> {
    fn new(seed: u64, calendar: &'a Calendar, machine: &'a DemoMachine) -> Loft<'a> {
        let mut random = Random::fork(seed, &machine.name);
        let demand = machine.programs.iter().map(|_| random.level(0.8)).collect();
        let lives = machine.build.positions.iter().filter_map(|position| Life::new(position, &mut random)).collect();
        Loft { seed, random, calendar, machine, demand, lives, free: Timestamp::MIN, runs: Vec::new() }
    }

    /// One day: runs follow each other until the day's share of the week is done or the yard shuts.
    fn work(&mut self, day: Date) {
        self.random = Random::fork(self.seed, &format!("{} on {day}", self.machine.name));
        let hours = self.hours_asked(day);
        let mut booked = 0.0;
        let mut clock = OPEN + self.random.between(0.0, 70.0);
        loop {
            clock = clock.max(self.calendar.minutes(day, self.free));
            if SHUT <= clock || hours <= booked {
                return;
            }
            let run = self.run(self.calendar.at(day, clock), SHUT - 120.0 < clock);
            if self.calendar.at(self.calendar.today, 0.0) <= run.over() {
                return;
            }
            booked += run.hours();
            self.free = run.over() + self.pause();
            self.runs.push(run);
        }
    }

    /// Printing hours that the order book asks of this machine on `day`.
    fn hours_asked(&mut self, day: Date) -> f64 {
        let share = match day.weekday() {
            Weekday::Saturday if self.random.chance(0.7) => 0.0,
            Weekday::Saturday => 0.12,
            Weekday::Monday => 0.22,
            Weekday::Friday => 0.16,
            _ => 0.2,
        };
        let week = self.calendar.level(&self.machine.name, day);
        self.machine.hours_per_week * week * share * self.random.level(0.25)
    }

    /// The time it takes somebody to notice, take the part off and start the next.
    fn pause(&mut self) -> SignedDuration {
        SignedDuration::from_secs(self.random.between(20.0 * 60.0, 70.0 * 60.0) as i64)
    }

    fn run(&mut self, start: Timestamp, overnight: bool) -> PlannedRun {
        let program = self.choose(start, overnight);
        let info = &self.machine.programs[program];
        let worn_out = self.wear(info);
        let failed = worn_out.is_some_and(|index| self.lives[index].failure.is_some());
        let stop = (failed || self.random.chance(STOP_SHARE)).then(|| self.random.pick(&[0.4, 0.3, 0.2, 0.1]));
        let seconds = stop.map_or(info.whole.seconds, |stop| info.stopped[stop].seconds);
        let end = start + SignedDuration::from_secs(seconds.ceil() as i64);
        let gave_out = worn_out.map(|index| self.renew(index, end));
        PlannedRun { start, end, program, stop, gave_out }
    }

    /// A program: the week's favourite more often than others, and the long ones for the night.
    fn choose(&mut self, start: Timestamp, overnight: bool) -> usize {
        let favourite = self.favourite(self.calendar.zone.to_datetime(start).date());
        let weight = |(index, demand): (usize, &f64)| {
            let hours = self.machine.programs[index].whole.seconds / 3600.0;
            let burst = if index == favourite { 4.0 } else { 1.0 };
            demand * burst * if overnight { hours.min(12.0).powi(2) } else { 1.0 }
        };
        let weights: Vec<f64> = self.demand.iter().enumerate().map(weight).collect();
        self.random.pick(&weights)
    }

    /// The program that is most asked for in the week of `day`.
    fn favourite(&self, day: Date) -> usize {
        let week = Random::fork(self.seed, &format!("{} likes {}", self.machine.name, monday(day))).unit();
        ((week * self.demand.len() as f64) as usize).min(self.demand.len() - 1)
    }

    /// Ages the parts by a run of `info`; the first that reaches its end, if any.
    fn wear(&mut self, info: &ProgramInfo) -> Option<usize> {
        let hours = info.whole.seconds / 3600.0;
        for life in &mut self.lives {
            if life.position.tool.is_none_or(|tool| info.materials.contains_key(&tool)) {
                life.left -= hours;
            }
        }
        self.lives.iter().position(|life| life.left < 0.0)
    }

    /// Puts a new part in after `end`: soon, or on the next morning when it must be fetched.
    fn renew(&mut self, index: usize, end: Timestamp) -> Renewal {
        let failure = self.lives[index].failure;
        let position = self.lives[index].position;
        let day = self.calendar.zone.to_datetime(end).date();
        let clock = self.calendar.minutes(day, end);
        let at_hand = failure.is_none() || self.random.chance(0.6);
        let mended = if at_hand && (OPEN..SHUT).contains(&clock) && !self.calendar.is_shut(day) {
            self.calendar.at(day, clock + self.random.between(25.0, 75.0))
        } else {
            let next = day.series(jiff::Span::new().days(1)).skip(1).find(|day| !self.calendar.is_shut(*day));
            self.calendar.at(next.unwrap_or(day), 9.0 * 60.0 + self.random.between(0.0, 90.0))
        };
        if let Some(life) = Life::new(position, &mut self.random) {
            self.lives[index] = life;
        }
        Renewal { position: position.name.clone(), failure, mended }
    }
}

/// The rest of a part's life.
struct Life<'a> {
    position: &'a Position,
    /// Printing hours left.
    left: f64,
    /// How its failure will show; `None` if it will be seen in time.
    failure: Option<&'static str>,
}

/// Lives by kind of part: kind, Weibull shape, Weibull scale in printing hours, how a failure shows. Invented, so that
/// fourteen months hold a few ends of each.
const LIVES: [(&str, f64, f64, &str); 12] = [
    ("brass nozzle", 2.6, 480.0, "walls thin and the first line wide: bore worn"),
    ("hardened nozzle", 2.4, 1500.0, "clogged and could not be cleared"),
    ("feed tube", 2.8, 320.0, "filament drags: bore scored"),
    ("hot end liner", 2.0, 700.0, "jams after each heating: liner scorched"),
    ("fan", 1.6, 1900.0, "bearing grinds"),
    ("sealed idler", 1.8, 2600.0, "squeals and runs rough"),
    ("toothed belt", 3.2, 2600.0, "teeth cracked at the clamp"),
    ("extruder gear", 2.5, 2300.0, "teeth worn, filament slips"),
    ("filament cutter", 2.0, 1300.0, "cuts no longer through"),
    ("smooth film-coated plate", 1.8, 900.0, "corners lift: coating gone"),
    ("textured powder-coated plate", 1.8, 1700.0, "coating torn off with a part"),
    ("hot end", 1.1, 3000.0, "heater open circuit"),
];

/// Share of ends that the keeper sees coming.
const SEEN_IN_TIME: f64 = 0.35;

impl<'a> Life<'a> {
    /// A new part's life at `position`; `None` for kinds that outlast the demo.
    fn new(position: &'a Position, random: &mut Random) -> Option<Life<'a>> {
        let (_, shape, scale, failure) = LIVES.iter().find(|(kind, ..)| *kind == position.kind)?;
        let seen = random.chance(SEEN_IN_TIME);
        let left = random.weibull(*shape, *scale) * if seen { 0.9 } else { 1.0 };
        Some(Life { position, left, failure: (!seen).then_some(failure) })
    }
}

/// How the keeper types where a run stopped.
pub(super) fn stop_text(stop: usize) -> String {
    format!("{} %", STOPS[stop])
}
