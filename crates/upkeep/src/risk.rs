//! What waiting with a task risks: how failures of its position followed the last time it was done.
//!
//! Each time from one doing of a task to the next is a life on the axis of the task's own allowance, on which 1 is due. It
//! ends good where the task was done or the part replaced, and failed where the position failed. Where several tasks care for
//! a position, each takes an equal share of its failures, since nobody knows which of them would have prevented one.
//!
//! What is believed beforehand is read out of the limit itself: somebody chose it so that few fail before it. One in twenty
//! is taken to have failed when the allowance is used up, within a factor of three of the allowance with a chance of 90 %, and
//! with the shape of parts that wear ([`Prior::common_shape`]). Judgement, no source; a shop's records soon outweigh it.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use life::bayes::{Belief, LifeBelief, Posterior, Prior};
use life::{End, Level, Life};

use crate::build::{Allowance, Build, Task};
use crate::lives::as_limited_today;
use crate::meter::Meter;
use crate::used::{elapsed, meter};
use crate::{Entry, Event, Materials};

/// The share that has failed when the allowance is used up, as believed beforehand.
const FAILED_AT_LIMIT: f64 = 0.05;

/// The factor of the allowance within which that is believed, with a chance of 90 %.
const BELIEVED_WITHIN: f64 = 3.0;

/// Shares of the allowance are counted in steps of this, so that many lives become few.
const STEP: f64 = 1.0 / 32.0;

/// The knots of the tabulated hazard: from 1/8 of the allowance, each √2 times the one before.
const KNOTS: usize = 13;
const FIRST_KNOT: f64 = 0.125;

/// How failures follow a task's last doing.
#[derive(Clone, Debug, PartialEq)]
pub struct Risk {
    /// The logarithm of the cumulative hazard at each knot.
    log_hazard: [f64; KNOTS],
    /// Failures that it rests on; a task's share of a position's failures need not be whole.
    pub failures: f64,
    /// How often the task was followed from one doing to the next; the time since the last one is not over and not counted.
    pub followed: f64,
}

impl Risk {
    /// What is believed where nothing is recorded.
    pub fn believed() -> Risk {
        Risk::from_lives(&[], 0.0)
    }

    fn from_lives(lives: &[Life], followed: f64) -> Risk {
        let failed = lives.iter().filter(|life| life.end().is_failure()).map(Life::count).sum();
        let posterior = Posterior::new(lives, prior()).or_else(|_| Posterior::new(&[], prior()));
        let log_hazard = |knot: usize| match &posterior {
            Ok(posterior) => (-(-posterior.failed_by(share_of(knot))).ln_1p()).ln(),
            // A proper prior has a posterior whatever the lives; without one, the belief's middle.
            Err(_) => (FAILED_AT_LIMIT * share_of(knot).powf(Prior::common_shape().median())).ln(),
        };
        Risk { log_hazard: std::array::from_fn(log_hazard), failures: failed, followed }
    }

    /// How many failures are expected by a share of the allowance, for one that was good when the task was done: −ln of the
    /// chance to have none, between knots by a power law.
    pub fn by(&self, share: f64) -> f64 {
        if share <= 0.0 {
            return 0.0;
        }
        let place = 2.0 * (share / FIRST_KNOT).log2();
        let knot = (place.floor().max(0.0) as usize).min(KNOTS - 2);
        let [low, high] = [self.log_hazard[knot], self.log_hazard[knot + 1]];
        (low + (high - low) * (place - knot as f64)).exp()
    }

    /// How many failures are expected while the share of the allowance goes from `from` to `to`.
    pub fn between(&self, from: f64, to: f64) -> f64 {
        (self.by(to) - self.by(from)).max(0.0)
    }
}

fn share_of(knot: usize) -> f64 {
    FIRST_KNOT * (knot as f64 / 2.0).exp2()
}

fn prior() -> Prior {
    // OK because the constants are positive and rising, and the level and the share lie between 0 and 1.
    let level = Level::new(0.9).expect("a level");
    let belief = Belief::between(1.0 / BELIEVED_WITHIN, BELIEVED_WITHIN, level).expect("a belief");
    let life = LifeBelief::Quantile { failed: FAILED_AT_LIMIT, belief };
    Prior::new(Prior::common_shape(), life).expect("a prior")
}

/// The risk of each task of a build, in its order, out of the effective entries of machines that have it, oldest first, until
/// the end of the records. The time zone is the shop's.
pub fn risks(
    build: &Build,
    machines: &[&[Entry]],
    materials: &Materials,
    zone: &TimeZone,
    until: Timestamp,
) -> Vec<Risk> {
    let mut tallies = vec![Tally::default(); build.tasks.len()];
    for machine in machines {
        // Today's limits stand for those of the past, so that an allowance means the same all along.
        let today = as_limited_today(build, machine);
        Walk::new(&today, materials, zone).along(machine, until, &mut tallies);
    }
    tallies.iter().map(|tally| Risk::from_lives(&tally.lives(), tally.followed)).collect()
}

/// What was seen of one task.
#[derive(Clone, Debug, Default)]
struct Tally {
    /// Lives by where watching began, where they ended (in steps) and whether failed.
    lives: BTreeMap<(u32, u32, bool), f64>,
    /// Times from one doing to the next that are over.
    followed: f64,
}

impl Tally {
    fn add(&mut self, entry: f64, end: f64, failed: bool, count: f64) {
        let step = |share: f64| (share / STEP).round().clamp(0.0, 1e6) as u32;
        let (entry, end) = (step(entry), step(end));
        let end = if failed { end.max(entry + 1) } else { end };
        if entry < end && 0.0 < count {
            *self.lives.entry((entry, end, failed)).or_default() += count;
        }
    }

    fn lives(&self) -> Vec<Life> {
        let life = |(&(entry, end, failed), &count): (&(u32, u32, bool), &f64)| {
            let [entry, end] = [entry, end].map(|steps| f64::from(steps) * STEP);
            let life = Life::new(if failed { End::Failed(end) } else { End::Good(end) }).ok()?.times(count).ok()?;
            if 0.0 < entry { life.entered_at(entry).ok() } else { Some(life) }
        };
        self.lives.iter().filter_map(life).collect()
    }
}

/// A walk along one machine's entries.
struct Walk<'a> {
    build: &'a Build,
    materials: &'a Materials,
    zone: &'a TimeZone,
    /// What each meter of the build has counted so far.
    meters: Vec<(Meter<'a>, f64)>,
    /// How each task stands.
    tasks: Vec<Standing>,
    /// How many tasks care for the position of each task.
    sharing: Vec<f64>,
}

struct Standing {
    since: Timestamp,
    /// For each limit its meter and what that had counted at `since`; `None` for elapsed time.
    bases: Vec<Option<(usize, f64)>>,
    /// The share of the allowance from which on the task is watched: 0, or that of a failure that was lived through.
    entry: f64,
}

impl<'a> Walk<'a> {
    fn new(build: &'a Build, materials: &'a Materials, zone: &'a TimeZone) -> Walk<'a> {
        let mut meters: Vec<(Meter<'a>, f64)> = Vec::new();
        let mut tasks = Vec::new();
        for task in &build.tasks {
            let of_limit = |limit| {
                let meter = meter(build, task, limit)?;
                let place = meters.iter().position(|(known, _)| *known == meter).unwrap_or_else(|| {
                    meters.push((meter, 0.0));
                    meters.len() - 1
                });
                Some((place, 0.0))
            };
            let bases = task.limits.iter().map(of_limit).collect();
            tasks.push(Standing { since: Timestamp::MIN, bases, entry: 0.0 });
        }
        let sharing = |task: &Task| build.tasks.iter().filter(|other| other.at == task.at).count() as f64;
        Walk { build, materials, zone, meters, sharing: build.tasks.iter().map(sharing).collect(), tasks }
    }

    fn along(mut self, entries: &[Entry], until: Timestamp, tallies: &mut [Tally]) {
        for entry in entries.iter().filter(|entry| entry.at <= until) {
            if let Some(usage) = entry.event.usage() {
                for (meter, sum) in &mut self.meters {
                    *sum += meter.amount(usage, self.materials);
                }
            }
            match &entry.event {
                Event::Added { .. } => self.tasks.iter_mut().for_each(|task| task.since = entry.at),
                Event::Done { task, .. } => self.again(entry.at, tallies, |other| other.name == *task),
                Event::Replaced { position, .. } => self.again(entry.at, tallies, |task| task.at == *position),
                Event::Failed { position, .. } => self.fail(entry.at, position, tallies),
                _ => {}
            }
        }
        self.end(until, tallies, |_| true);
    }

    /// The tasks that `is_meant` names, with their indices.
    fn meant(&self, is_meant: impl Fn(&Task) -> bool) -> Vec<usize> {
        (0..self.tasks.len()).filter(|&index| is_meant(&self.build.tasks[index])).collect()
    }

    /// The tasks that `is_meant` names were done, or their part replaced: a time from one doing to the next is over.
    fn again(&mut self, at: Timestamp, tallies: &mut [Tally], is_meant: impl Fn(&Task) -> bool) {
        self.meant(&is_meant).into_iter().for_each(|index| tallies[index].followed += 1.0);
        self.end(at, tallies, is_meant);
    }

    fn end(&mut self, at: Timestamp, tallies: &mut [Tally], is_meant: impl Fn(&Task) -> bool) {
        for index in self.meant(is_meant) {
            let share = self.share(index, at);
            tallies[index].add(self.tasks[index].entry, share, false, 1.0);
            let standing = &mut self.tasks[index];
            (standing.since, standing.entry) = (at, 0.0);
            for (meter, base) in standing.bases.iter_mut().flatten() {
                *base = self.meters[*meter].1;
            }
        }
    }

    fn fail(&mut self, at: Timestamp, position: &str, tallies: &mut [Tally]) {
        for index in self.meant(|task| task.at == position) {
            let share = self.share(index, at);
            let (entry, part) = (self.tasks[index].entry, 1.0 / self.sharing[index]);
            tallies[index].add(entry, share, true, part);
            tallies[index].add(entry, share, false, 1.0 - part);
            self.tasks[index].entry = share.max(entry);
        }
    }

    /// How much of a task's allowance is used at an instant.
    fn share(&self, index: usize, at: Timestamp) -> f64 {
        let standing = &self.tasks[index];
        let limits = self.build.tasks[index].limits.iter().zip(&standing.bases);
        let share = |(limit, base): (&crate::build::Limit, &Option<(usize, f64)>)| match (limit.every, base) {
            (Allowance::Amount { amount, .. }, Some((meter, base))) => (self.meters[*meter].1 - base) / amount,
            (Allowance::Elapsed { months, days }, _) => {
                let now = at.to_zoned_datetime(self.zone.clone());
                elapsed(standing.since, months, days, &now).share()
            }
            (Allowance::Amount { .. }, None) => 0.0,
        };
        limits.map(share).fold(0.0, f64::max)
    }
}
