//! What is due on a machine, and what soon will be.

use jiff::ZonedDateTime;
use jiff::civil::Date;

use crate::Materials;
use crate::forecast::passage::Left;
use crate::forecast::{Days, Grounds, Likely, Outlook, queue_by_day};
use crate::history::{History, days_after, days_between};
use crate::meter::Meter;
use crate::state::MachineState;
use crate::used::{LimitUsed, Used, due_since, meter, used};

/// How one task of a machine stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    /// The index of the task in the machine's build.
    pub task: usize,
    /// The task's name.
    pub name: String,
    /// How much of its allowance is used, and of what.
    pub used: Used,
    /// When it came due, or will.
    pub when: When,
}

impl Due {
    /// The index of the limit that makes the task due: the one that is most used or, where a day is likely, the one that
    /// will be reached first.
    pub fn limit(&self) -> usize {
        match &self.when {
            When::Likely(likely) => likely.limit,
            When::Since(_) | When::Beyond => self.used.governing(),
        }
    }

    /// The share of that limit that is used; 1 when due.
    pub fn share(&self) -> f64 {
        self.used.limits.get(self.limit()).map_or(0.0, LimitUsed::share)
    }
}

/// When a task came due, or will.
#[derive(Clone, Debug, PartialEq)]
pub enum When {
    /// It is due since this day; `None` if since before the daily records that were given begin.
    Since(Option<Date>),
    /// It will come due, with a chance of 10 % or more within the horizon asked for.
    Likely(Likely),
    /// Within the horizon asked for it comes due with a chance of less than 10 %.
    Beyond,
}

/// How each task of a machine stands at `now`, in the build's order.
///
/// Tasks that come due within `horizon_days` from today with a chance of less than 10 % are [`When::Beyond`]; a long
/// horizon costs time. The time zone of `now` is the shop's. Future use is told by `state`'s recent days and queue and
/// the build's expectation; see [`crate::forecast`].
pub fn due(state: &MachineState, materials: &Materials, now: &ZonedDateTime, horizon_days: usize) -> Vec<Due> {
    let history = History::of(state, now);
    let tasks = &state.build.tasks;
    let uses: Vec<Used> = tasks.iter().map(|task| used(state, task, materials, now)).collect();
    let mut passages = Passages::new(state, &uses, &history, materials, now);
    passages.work_out(state, &history, materials, now, horizon_days);
    let when = |(index, used): (usize, &Used)| {
        if used.is_due() {
            When::Since(due_since(&tasks[index], used, &history, &state.build, materials))
        } else {
            passages.whichever_first(index, used, history.today, horizon_days)
        }
    };
    let whens: Vec<When> = uses.iter().enumerate().map(when).collect();
    let all = tasks.iter().zip(uses).zip(whens).enumerate();
    all.map(|(index, ((task, used), when))| Due { task: index, name: task.name.clone(), used, when }).collect()
}

/// The passages of all limits by amount of the tasks that are not due, those that count the same side by side.
struct Passages<'a> {
    meters: Vec<(Meter<'a>, Vec<Pending>)>,
    found: Vec<(Pending, Days, Grounds)>,
}

#[derive(Clone, Copy)]
struct Pending {
    task: usize,
    limit: usize,
    left: Left,
}

impl<'a> Passages<'a> {
    fn new(
        state: &'a MachineState,
        uses: &[Used],
        history: &History<'_>,
        materials: &Materials,
        now: &ZonedDateTime,
    ) -> Passages<'a> {
        let mut meters: Vec<(Meter<'a>, Vec<Pending>)> = Vec::new();
        let tasks = state.build.tasks.iter().zip(uses).enumerate();
        for (task_index, (task, used)) in tasks.filter(|(_, (_, used))| !used.is_due()) {
            let since = now.time_zone().to_datetime(used.since.at).date();
            for (limit_index, (limit, limit_used)) in task.limits.iter().zip(&used.limits).enumerate() {
                let Some(meter) = meter(&state.build, task, limit) else { continue };
                let estimated = history.estimated_since(since, &meter, materials).min(limit_used.so_far);
                let left = Left { remaining: limit_used.allowed - limit_used.so_far, estimated };
                let pending = Pending { task: task_index, limit: limit_index, left };
                match meters.iter_mut().find(|(known, _)| *known == meter) {
                    Some((_, pendings)) => pendings.push(pending),
                    None => meters.push((meter, vec![pending])),
                }
            }
        }
        Passages { meters, found: Vec::new() }
    }

    /// Finds the days of all limits that may be reached within the horizon.
    fn work_out(
        &mut self,
        state: &MachineState,
        history: &History<'_>,
        materials: &Materials,
        now: &ZonedDateTime,
        horizon_days: usize,
    ) {
        let queue = queue_by_day(&state.queue, now);
        for (meter, pendings) in &self.meters {
            let outlook = Outlook::new(meter, &state.build, history, &queue, materials);
            let near = pendings.iter().filter(|pending| outlook.may_reach(pending.left, horizon_days + 1));
            let near: Vec<Pending> = near.copied().collect();
            if near.is_empty() {
                continue;
            }
            let days = outlook.days(&near.iter().map(|pending| pending.left).collect::<Vec<_>>());
            let found = near.iter().zip(days).filter_map(|(pending, days)| Some((*pending, days?)));
            self.found.extend(found.map(|(pending, days)| (pending, days, Grounds::Use(outlook.grounds))));
        }
    }

    /// The task's day: that of whichever limit comes first.
    ///
    /// All of a task's meters are driven by the same runs, so they run fast or slow together: their days are taken to
    /// rise and fall together (comonotone), and each quantile of the first is the first of the quantiles.
    fn whichever_first(&self, task: usize, used: &Used, today: Date, horizon_days: usize) -> When {
        let elapsed = used.limits.iter().enumerate().filter_map(|(limit, used)| Some((limit, used.until?)));
        let elapsed = elapsed.map(|(limit, until)| {
            let day = days_between(today, until) + 1;
            (limit, Days { early: day, median: Some(day), late: Some(day) }, &Grounds::Calendar)
        });
        let amounts = self.found.iter().filter(|(pending, ..)| pending.task == task);
        let all = elapsed.chain(amounts.map(|(pending, days, grounds)| (pending.limit, *days, grounds)));
        let first = all.reduce(|one, other| {
            let days = one.1.first(other.1);
            let (limit, _, grounds) = if later(one.1.median, other.1.median) { other } else { one };
            (limit, days, grounds)
        });
        match first {
            Some((limit, days, grounds)) if days.early <= horizon_days + 1 => {
                let date = |day: usize| days_after(today, day - 1);
                let (early, median, late) = (date(days.early), days.median.map(date), days.late.map(date));
                When::Likely(Likely { early, median, late, limit, grounds: grounds.clone() })
            }
            _ => When::Beyond,
        }
    }
}

fn later(one: Option<usize>, other: Option<usize>) -> bool {
    other.is_some_and(|other| one.is_none_or(|one| other < one))
}

impl Days {
    fn first(self, other: Days) -> Days {
        let earlier = |one: Option<usize>, other: Option<usize>| if later(one, other) { other } else { one };
        Days {
            early: self.early.min(other.early),
            median: earlier(self.median, other.median),
            late: earlier(self.late, other.late),
        }
    }
}
