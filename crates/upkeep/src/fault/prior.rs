//! How likely each cause is on this machine today, before anything was looked at.
//!
//! # Formula
//! P(cause) = (1 − exp(−H)) · weight / Σ weights, where the weights are those of the causes at the position and H is the
//! failures expected since the position was last cared for:
//!
//! - for a cause that a task mends, those expected since that task was done ([`Risk::by`]);
//! - for one that a new part mends, where the life of such parts is known, their hazard at the part's age times the days
//!   since the position was last cared for;
//! - for any other the mean of the first over the position's tasks.
//!
//! A task's risk and a part's life are learnt from the same failures, told by two clocks. No failure counts twice, since each
//! cause is told by one of them, and the weights share out a position's failures among its causes. A position without tasks is
//! taken to stand at half an allowance. Judgement, no source.

use std::fmt;
use std::sync::LazyLock;

use jiff::{Timestamp, ZonedDateTime};
use motion::Quantity;

use super::{Cause, Faults, RemedyKind};
use crate::build::{Allowance, Build, Task, Work};
use crate::lives::{Ending, KindLives};
use crate::used::used;
use crate::{Care, LimitUsed, MachineState, Materials, Risk, Since, SinceWhat, Used, amount};

/// The share of an allowance at which a position stands that no task cares for. Judgement, no source.
const UNCARED_SHARE: f64 = 0.5;

/// The failures expected at a position that no task cares for; kept, since the belief takes a while to work out.
static UNCARED: LazyLock<f64> = LazyLock::new(|| Risk::believed().by(UNCARED_SHARE));

/// Over so many days to come a part's hazard is taken, days.
const HAZARD_OVER: f64 = 28.0;

const DAYS_PER_YEAR: f64 = 365.25;

/// The chance of a cause, and what it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Prior {
    /// The chance.
    pub chance: f64,
    /// Why.
    pub reason: Reason,
}

/// What a prior rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Reason {
    /// The position.
    pub at: String,
    /// The task that would mend the cause, else the position's task that is most used; `None` where it has none.
    pub care: Option<CareUse>,
    /// How long ago the part was put in, days; `None` where it was there from the beginning of the records.
    pub age_days: Option<f64>,
    /// How many such parts fail in a day at this age, where their life tells the chance.
    pub per_day: Option<f64>,
    /// Failures of the shop's own that it rests on.
    pub failures: f64,
}

/// How much was used since a task was done.
#[derive(Clone, Debug, PartialEq)]
pub struct CareUse {
    /// The task.
    pub task: String,
    /// What kind of work it is.
    pub work: Work,
    /// What happened when it began to count.
    pub since: SinceWhat,
    /// What was used since of the limit that is most used: in the quantity's unit, or days.
    pub amount: f64,
    /// The quantity; `None` for days.
    pub of: Option<Quantity>,
    /// How much of the allowance that is; 1 when due.
    pub share: f64,
}

/// The part at a position.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// The position.
    pub at: String,
    /// When it was put in; `None` where it was there from the beginning of the records.
    pub since: Option<Timestamp>,
    /// How many such parts fail in a day at its age; `None` where nothing is known of their life.
    pub per_day: Option<f64>,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Reason { at, care, age_days, per_day, failures } = self;
        match care {
            Some(care) => write!(f, "{at}: {care}")?,
            None => write!(f, "{at}: no task cares for it")?,
        }
        if let Some(days) = age_days {
            write!(f, "; the part is {} old", span(*days))?;
        }
        if let Some(per_day) = per_day {
            write!(f, "; of such parts one fails in about {} at this age", span(1.0 / per_day))?;
        }
        if 0.0 < *failures { write!(f, "; it has failed here before") } else { Ok(()) }
    }
}

impl fmt::Display for CareUse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let amount = self.of.map_or_else(|| span(self.amount), |quantity| amount::print(self.amount, quantity));
        let since = match (self.since, self.work) {
            (SinceWhat::Added, _) => "the machine joined",
            (SinceWhat::Replaced, _) => "the part was replaced",
            (SinceWhat::Done, Work::Clean) => "it was cleaned",
            (SinceWhat::Done, Work::Look) => "it was looked at",
            (SinceWhat::Done, Work::Replace) => "it was renewed",
            (SinceWhat::Done, Work::Adjust) => "it was adjusted",
            (SinceWhat::Done, Work::Lubricate) => "it was lubricated",
            (SinceWhat::Done, Work::Calibrate) => "it was calibrated",
            (SinceWhat::Done, Work::Test) => "it was tested",
        };
        write!(f, "{amount} since {since}, {} the allowance", share(self.share))
    }
}

/// A share of an allowance, to stand before it.
fn share(share: f64) -> String {
    match share {
        _ if share < 0.05 => "hardly any of".to_owned(),
        _ if (0.45..0.55).contains(&share) => "half".to_owned(),
        _ if (0.95..1.05).contains(&share) => "all of".to_owned(),
        _ if share < 1.0 => format!("{:.0} % of", 100.0 * share),
        _ if (1.45..1.55).contains(&share) => "one and a half times".to_owned(),
        _ if (1.9..2.1).contains(&share) => "twice".to_owned(),
        _ => format!("{share:.1} times"),
    }
}

/// A time in words.
fn span(days: f64) -> String {
    let [months, years] = [12.0 * days / DAYS_PER_YEAR, days / DAYS_PER_YEAR];
    match days.round() {
        1.0 => "1 day".to_owned(),
        whole if whole < 60.0 => format!("{whole} days"),
        _ if months < 24.0 => format!("{months:.0} months"),
        _ => format!("{years:.0} years"),
    }
}

/// The prior of each cause on a machine at `now`; `risks` are those of its build's tasks ([`crate::risks`]), `lives` those of
/// its parts as far as they are known.
pub fn today(
    faults: &Faults,
    state: &MachineState,
    materials: &Materials,
    risks: &[Risk],
    lives: &[KindLives],
    now: &ZonedDateTime,
) -> Vec<Prior> {
    let used: Vec<Used> = state.build.tasks.iter().map(|task| used(state, task, materials, now)).collect();
    priors(faults, &state.build, &used, risks, &parts(state, lives, materials), now.timestamp())
}

/// The parts of a machine, with the hazard that `lives` tell.
fn parts(state: &MachineState, lives: &[KindLives], materials: &Materials) -> Vec<Part> {
    let per_day = |at: &str| {
        lives.iter().find_map(|lives| {
            let here = |stay: &&crate::lives::Stay| {
                stay.end == Ending::StillThere && stay.machine == state.name && stay.position == at
            };
            let failing = lives.fails_within(lives.stays.iter().find(here)?, HAZARD_OVER, materials)?;
            Some(-(-failing).ln_1p() / HAZARD_OVER).filter(|per_day| 0.0 < *per_day)
        })
    };
    let part = |at: &String| {
        let standing = state.standings.get(&Care::Position(at.clone()));
        Part { at: at.clone(), since: standing.map(|standing| standing.at), per_day: per_day(at) }
    };
    state.build.positions.iter().map(|position| part(&position.name)).collect()
}

/// The prior of each cause at `now`, from how each task stands, the risk of each task, and the parts as far as they are known.
pub fn priors(
    faults: &Faults,
    build: &Build,
    used: &[Used],
    risks: &[Risk],
    parts: &[Part],
    now: Timestamp,
) -> Vec<Prior> {
    let standing = Standing { build, used, risks, parts, now };
    let prior = |cause: &Cause| {
        let here = faults.causes.iter().filter(|other| other.at == cause.at);
        let part = cause.weight.chance() / here.map(|other| other.weight.chance()).sum::<f64>();
        let (expected, reason) = standing.expected(cause);
        Prior { chance: -(-expected).exp_m1() * part, reason }
    };
    faults.causes.iter().map(prior).collect()
}

/// How a machine stands.
struct Standing<'a> {
    build: &'a Build,
    used: &'a [Used],
    risks: &'a [Risk],
    parts: &'a [Part],
    now: Timestamp,
}

impl Standing<'_> {
    /// The failures expected of a cause's position since it was cared for, in the manner of the cause, and why.
    fn expected(&self, cause: &Cause) -> (f64, Reason) {
        let tasks: Vec<usize> = (0..self.used.len()).filter(|&task| self.build.tasks[task].at == cause.at).collect();
        let part = self.parts.iter().find(|part| part.at == cause.at);
        let mending = match &cause.remedy.kind {
            RemedyKind::Task(name) => self.build.tasks.iter().position(|task| task.name == *name),
            RemedyKind::Replace | RemedyKind::Setting => None,
        };
        let per_day = part.and_then(|part| part.per_day).filter(|_| cause.remedy.kind == RemedyKind::Replace);
        let since_done = |task: usize| self.risks[task].by(self.used[task].share());
        let expected = match (mending, per_day) {
            (Some(task), _) => since_done(task),
            (None, Some(per_day)) => per_day * self.days_since_care(&tasks),
            (None, None) if tasks.is_empty() => *UNCARED,
            (None, None) => tasks.iter().map(|&task| since_done(task)).sum::<f64>() / tasks.len() as f64,
        };
        let worst = || {
            let by_share =
                |one: &&usize, other: &&usize| self.used[**one].share().total_cmp(&self.used[**other].share());
            tasks.iter().max_by(by_share).copied()
        };
        let reason = Reason {
            at: cause.at.clone(),
            care: mending.or_else(worst).map(|task| care(&self.build.tasks[task], &self.used[task])),
            age_days: part.and_then(|part| part.since).map(|since| self.days_since(since)),
            per_day,
            failures: tasks.iter().map(|&task| self.risks[task].failures).sum(),
        };
        (expected, reason)
    }

    /// Days since any of the tasks began to count; a year's without tasks. Judgement, no source.
    fn days_since_care(&self, tasks: &[usize]) -> f64 {
        let days = tasks.iter().map(|&task| self.days_since(self.used[task].since.at));
        days.reduce(f64::min).unwrap_or(DAYS_PER_YEAR)
    }

    fn days_since(&self, then: Timestamp) -> f64 {
        (self.now.duration_since(then).as_secs_f64() / 86_400.0).max(0.0)
    }
}

fn care(task: &Task, used: &Used) -> CareUse {
    let governing = used.governing();
    let of = task.limits.get(governing).and_then(|limit| match limit.every {
        Allowance::Amount { quantity, .. } => Some(quantity),
        Allowance::Elapsed { .. } => None,
    });
    CareUse {
        task: task.name.clone(),
        work: task.work,
        since: used.since.what,
        amount: used.limits.get(governing).map_or(0.0, |limit| limit.so_far),
        of,
        share: used.share(),
    }
}

/// How a task stands that was done at `since` and of whose every limit a share is used: for machines that are made up.
pub fn at_share(task: &Task, share: f64, since: Timestamp) -> Used {
    let limit = |limit: &crate::build::Limit| {
        let allowed = match limit.every {
            Allowance::Amount { amount, .. } => amount,
            Allowance::Elapsed { months, days } => f64::from(months) * DAYS_PER_YEAR / 12.0 + f64::from(days),
        };
        LimitUsed { so_far: share * allowed, allowed, until: None }
    };
    Used {
        since: Since { at: since, what: SinceWhat::Done, entry: None },
        limits: task.limits.iter().map(limit).collect(),
    }
}
