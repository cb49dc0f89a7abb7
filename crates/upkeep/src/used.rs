//! How much of each task's allowance is used up.
//!
//! Uses of different severity share one allowance by the linear damage sum of Palmgren (1924) and Miner (1945), "Cumulative
//! damage in fatigue", J. Appl. Mech. 12: A159–A164: used = Σ amountᵢ / allowanceᵢ. A weight w on a material is an
//! allowance of allowance / w for it.

use jiff::civil::{Date, DateTime};
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp, ZonedDateTime};
use motion::Tool;

use crate::build::{Allowance, Limit, Task};
use crate::history::History;
use crate::meter::Meter;
use crate::state::{Care, MachineState, Standing};
use crate::{Build, EntryId, Materials, Usage};

/// How much of a task's allowance is used: 0 when just done, 1 when due.
#[derive(Clone, Debug, PartialEq)]
pub struct Used {
    /// From when it counts.
    pub since: Since,
    /// Each of the task's limits, in the build's order.
    pub limits: Vec<LimitUsed>,
}

/// From when a task's use counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Since {
    /// The instant.
    pub at: Timestamp,
    /// What happened then.
    pub what: SinceWhat,
    /// The entry that records it; `None` for the machine's joining.
    pub entry: Option<EntryId>,
}

/// What sets a task's use back to nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SinceWhat {
    /// The machine joined the shop.
    Added,
    /// The task was done.
    Done,
    /// The part that it cares for was replaced.
    Replaced,
}

/// How much of one limit's allowance is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimitUsed {
    /// What counts so far: Miner's sum in the quantity's unit, or civil days (24 h each) for elapsed time.
    pub so_far: f64,
    /// What is allowed, in the same unit.
    pub allowed: f64,
    /// The last day of an elapsed limit; `None` for an amount.
    pub until: Option<Date>,
}

impl LimitUsed {
    /// The share that is used; 1 when due.
    pub fn share(&self) -> f64 {
        self.so_far / self.allowed
    }
}

impl Used {
    /// The largest share of its limits.
    pub fn share(&self) -> f64 {
        self.limits.iter().map(LimitUsed::share).fold(0.0, f64::max)
    }

    /// The index of the limit with the largest share.
    pub fn governing(&self) -> usize {
        let shares = || self.limits.iter().map(LimitUsed::share).enumerate();
        shares().fold((0, 0.0), |best, (index, share)| if best.1 < share { (index, share) } else { best }).0
    }

    /// Whether the task is due.
    pub fn is_due(&self) -> bool {
        1.0 <= self.share()
    }
}

/// How much of `task`'s allowance is used on `state` at `now`.
///
/// The time zone of `now` is the shop's: elapsed limits go by its calendar.
pub fn used(state: &MachineState, task: &Task, materials: &Materials, now: &ZonedDateTime) -> Used {
    let (since, base) = since(state, task);
    let limits = task
        .limits
        .iter()
        .map(|limit| match limit.every {
            Allowance::Elapsed { months, days } => elapsed(since.at, months, days, now),
            Allowance::Amount { amount: allowed, .. } => {
                let counted =
                    |usage| meter(&state.build, task, limit).map_or(0.0, |meter| meter.amount(usage, materials));
                // The sum of nothing is −0; 0 + −0 is 0.
                let so_far = 0.0 + counted(&state.total) - base.map_or(0.0, counted);
                LimitUsed { so_far, allowed, until: None }
            }
        })
        .collect();
    Used { since, limits }
}

/// The use of the part at each position since it was replaced, or since the machine joined: `(position, since, use)`.
///
/// Only the use of the position's own tool counts where it has one.
pub fn part_meters(state: &MachineState) -> Vec<(&str, Since, Usage)> {
    let positions = state.build.positions.iter();
    positions
        .map(|position| {
            let standing = state.standings.get(&Care::Position(position.name.clone()));
            let (since, base) = later(state, standing.map(|standing| (SinceWhat::Replaced, standing)), None);
            let mut usage = state.total.clone();
            if let Some(base) = base {
                usage.subtract(base);
            }
            (position.name.as_str(), since, only_tool(usage, position.tool))
        })
        .collect()
}

/// The day on which a task that is due became so: the first day by whose end some limit was used up, for as far back as
/// the daily records go. `None` if it is not due, or became due before they begin.
pub(crate) fn due_since(
    task: &Task,
    used: &Used,
    history: &History<'_>,
    build: &Build,
    materials: &Materials,
) -> Option<Date> {
    let spent = task.limits.iter().zip(&used.limits).filter(|(_, used)| 1.0 <= used.share());
    spent
        .map(|(limit, used)| match (used.until, meter(build, task, limit)) {
            (Some(until), _) => Some(until),
            (None, Some(meter)) => history.day_of_crossing(&meter, materials, used.so_far - used.allowed),
            (None, None) => None,
        })
        // A limit that was used up before the records begin came before all others.
        .reduce(|first, next| Some(first?.min(next?)))
        .flatten()
}

/// What `limit` counts; `None` for elapsed time.
pub(crate) fn meter<'a>(build: &Build, task: &Task, limit: &'a Limit) -> Option<Meter<'a>> {
    match limit.every {
        Allowance::Elapsed { .. } => None,
        Allowance::Amount { quantity, .. } => {
            let tool =
                build.positions.iter().find(|position| position.name == task.at).and_then(|position| position.tool);
            Some(Meter { quantity, tool, counts: &limit.counts })
        }
    }
}

/// From when `task` counts and the machine's total before: the later of done and replaced, else the machine's joining.
fn since<'a>(state: &'a MachineState, task: &Task) -> (Since, Option<&'a Usage>) {
    let done = state.standings.get(&Care::Task(task.name.clone())).map(|standing| (SinceWhat::Done, standing));
    let replaced =
        state.standings.get(&Care::Position(task.at.clone())).map(|standing| (SinceWhat::Replaced, standing));
    later(state, done, replaced)
}

fn later<'a>(
    state: &'a MachineState,
    one: Option<(SinceWhat, &'a Standing)>,
    other: Option<(SinceWhat, &'a Standing)>,
) -> (Since, Option<&'a Usage>) {
    match one.into_iter().chain(other).max_by_key(|(_, standing)| (standing.at, standing.entry)) {
        Some((what, standing)) if state.added <= standing.at => {
            (Since { at: standing.at, what, entry: Some(standing.entry) }, Some(&standing.base))
        }
        _ => (Since { at: state.added, what: SinceWhat::Added, entry: None }, None),
    }
}

/// Elapsed time by the calendar: from the civil instant `since` to the same clock time `months` and `days` later, the
/// day cut to the length of a shorter month. Each civil day counts 24 h, so a day on which clocks change counts as one.
pub(crate) fn elapsed(since: Timestamp, months: u16, days: u16, now: &ZonedDateTime) -> LimitUsed {
    let start = civil(since, now.time_zone());
    let end = start.saturating_add(Span::new().months(months).days(days));
    let days = |from: DateTime, to: DateTime| to.duration_since(from).as_secs_f64() / 86_400.0;
    LimitUsed { so_far: days(start, now.datetime()).max(0.0), allowed: days(start, end), until: Some(end.date()) }
}

fn civil(at: Timestamp, zone: &TimeZone) -> DateTime {
    zone.to_datetime(at)
}

fn only_tool(usage: Usage, tool: Option<Tool>) -> Usage {
    let Some(tool) = tool else { return usage };
    let mut own = Usage::new();
    for (stream, grains) in usage.streams().filter(|(stream, _)| stream.tool == tool) {
        own.add_stream(stream.clone(), grains, 1);
    }
    own
}
