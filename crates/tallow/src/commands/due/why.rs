//! How the figures of the due list were reached, in words.

use jiff::ZonedDateTime;
use jiff::civil::Date;
use motion::Quantity;
use upkeep::build::{Allowance, Limit, Task};
use upkeep::{Ahead, Due, Grounds, Likely, SinceWhat, Stake, UseGrounds, When, amount};

use super::Row;
use crate::commands::life::chance;
use crate::commands::lives::Stakes;
use crate::commands::readings::Taken;
use crate::context::Context;
use crate::out::Dress;
use crate::trouble::Trouble;
use crate::words;

/// Explains one task of one machine.
pub(super) fn explain(context: &Context, row: &Row<'_>, now: &ZonedDateTime) -> Result<(), Trouble> {
    let today = now.date();
    let used = words::percent(row.due.share());
    let head = format!("{}: {}, {used}, {}", row.state.name, row.due.name, said_when(row, today));
    if context.out.fits(head.chars().count()) {
        context.out.dressed_line(&head, Dress::Bold)?;
    } else {
        context.out.prose("", &head)?;
    }
    let explained = explained(row.task(), row.due, now);
    context.out.line(format!("  counted {}", explained.since))?;
    for (share, words) in &explained.limits {
        context.out.prose(&format!("  {:>5}  ", words::percent(*share)), words)?;
    }
    explained.day.map_or(Ok(()), |day| context.out.prose("  the day: ", &day))
}

/// How a task's figures were reached.
pub(crate) struct Explained {
    /// From when on it counts: `since 3 Oct (it was done, entry 12)`.
    pub(crate) since: String,
    /// The share of each limit, and how it came about.
    pub(crate) limits: Vec<(f64, String)>,
    /// What its likely day rests on; `None` where none is likely.
    pub(crate) day: Option<String>,
}

/// How the figures of `due`, which is of `task`, were reached.
pub(crate) fn explained(task: &Task, due: &Due, now: &ZonedDateTime) -> Explained {
    let today = now.date();
    let since = now.time_zone().to_datetime(due.used.since.at).date();
    let limits = task.limits.iter().zip(&due.used.limits);
    let likely = match &due.when {
        When::Likely(likely) => Some(likely),
        When::Since(_) | When::Beyond => None,
    };
    Explained {
        since: format!("since {} ({})", words::day(since, today), since_words(due)),
        limits: limits
            .map(|(limit, used)| (used.share(), format!("{}{}", words::so_far(limit, used.so_far), weighed(limit))))
            .collect(),
        day: likely.map(|likely| grounds_words(task, due, likely, today)),
    }
}

/// Tells what the task's readings were last, those outside of their limits marked.
pub(super) fn read_last(context: &Context, row: &Row<'_>, taken: &[Taken], now: &ZonedDateTime) -> Result<(), Trouble> {
    let of_task = |last: &&Taken| row.task().readings.iter().any(|reading| last.is(reading));
    let mut of_task = taken.iter().filter(of_task);
    of_task.try_for_each(|last| context.out.prose("  read last: ", &last.words(&row.state.build, now)))
}

/// Tells what is at stake in waiting, and the part's chance to fail.
pub(super) fn at_stake(context: &Context, row: &Row<'_>, stakes: &Stakes, ahead: &Ahead) -> Result<(), Trouble> {
    let task = row.due.task;
    if let Some(part) = stakes.parts.iter().find(|part| part.position == row.task().at) {
        context.out.prose("  the part: ", &part.words())?;
    }
    let (Some(risk), [today, .., week]) = (stakes.risks.get(task), &ahead.shares[task][..]) else { return Ok(()) };
    let stake = Stake::new(row.task(), 0.0, &stakes.prices, risk);
    let money = |amount: f64| words::money(amount, &stakes.currency);
    let chance = chance(-(-risk.between(*today, *week)).exp_m1());
    let waiting = match stake.waiting(*today, *week) {
        Some(cost) => format!("{chance}, worth {}{}", money(cost), at_assumed(stakes)),
        None => format!("{chance}; somebody may be injured, so it is not weighed in money"),
    };
    let early = match stake.early(*today) {
        0.0 => String::new(),
        wasted => format!("; done today, {} of its work{} is thrown away", money(wasted), at_assumed(stakes)),
    };
    let rests = match risk.followed.round() as u64 {
        0 => "not yet done twice here: its limit alone tells".to_owned(),
        times => format!(
            "{} of its part in {}",
            failures(risk.failures),
            match times {
                1 => "one completed time from one doing to the next".to_owned(),
                times => format!("{times} completed times from one doing to the next"),
            }
        ),
    };
    context.out.prose("  waiting a week: ", &format!("chance of a failure {waiting}{early} ({rests})"))
}

/// A number of failures; a share of one where several tasks care for the part.
fn failures(number: f64) -> String {
    match (number * 10.0).round() as u64 {
        0 => "no failure".to_owned(),
        10 => "1 failure".to_owned(),
        tenths => format!("{} failures", tenths as f64 / 10.0),
    }
}

/// That an amount rests on prices which the shop has not set.
fn at_assumed(stakes: &Stakes) -> &'static str {
    if stakes.assumed.is_empty() { "" } else { " at assumed prices" }
}

fn said_when(row: &Row<'_>, today: Date) -> String {
    match &row.due.when {
        When::Likely(_) => format!("likely due {}", row.likely_due(today)),
        When::Since(_) => format!("due {}", row.likely_due(today)),
        When::Beyond => "not due within the days asked for".to_owned(),
    }
}

fn since_words(due: &Due) -> String {
    let since = &due.used.since;
    let what = match since.what {
        SinceWhat::Added => "the machine joined the shop",
        SinceWhat::Done => "it was done",
        SinceWhat::Replaced => "the part was replaced",
    };
    since.entry.map_or(what.to_owned(), |entry| format!("{what}, entry {entry}"))
}

fn weighed(limit: &Limit) -> String {
    let weights = words::weights(&limit.counts);
    if weights.is_empty() { format!(" [{}]", limit.source) } else { format!("; {weights} [{}]", limit.source) }
}

/// What the likely day rests on, and what else bounds its range.
fn grounds_words(task: &Task, due: &Due, likely: &Likely, today: Date) -> String {
    match (&likely.grounds, task.limits[likely.limit].every) {
        (Grounds::Use(grounds), Allowance::Amount { quantity, .. }) => {
            format!("{}{}", use_words(grounds, quantity), calendar_end(due, likely, today))
        }
        _ if likely.median == Some(likely.early) => "by the calendar".to_owned(),
        _ => format!(
            "by the calendar; from {} on, use may come first: {}",
            words::day(likely.early, today),
            by_use(task)
        ),
    }
}

fn use_words(grounds: &UseGrounds, quantity: Quantity) -> String {
    let UseGrounds { weeks, own_share, per_week, level_spread, queued } = grounds;
    let per_week = amount::print(*per_week, quantity);
    let queued = match *queued as u64 {
        0 => String::new(),
        queued => format!(", with {}", words::count(queued, "queued runs")),
    };
    format!(
        "about {per_week} a week (level uncertain by {}), from {} of its own records weighing {}, the rest the build's \
         expectation{queued}",
        words::percent(*level_spread),
        words::count(*weeks as u64, "weeks"),
        words::percent(*own_share)
    )
}

/// The calendar's last day, where that and not use ends the range.
fn calendar_end(due: &Due, likely: &Likely, today: Date) -> String {
    let last = due.used.limits.iter().filter_map(|used| used.until).min();
    match last {
        Some(last) if likely.late == Some(last) => {
            format!("; on {} at the latest, by the calendar", words::day(last, today))
        }
        _ => String::new(),
    }
}

/// The limits of a task that use may reach: `45 h time hot or 4 spools`.
fn by_use(task: &Task) -> String {
    let limits = task.limits.iter().filter_map(|limit| match limit.every {
        Allowance::Amount { .. } if amount::is_spools(&limit.text) => Some(limit.text.clone()),
        Allowance::Amount { quantity, .. } => Some(words::with_name(&limit.text, quantity)),
        Allowance::Elapsed { .. } => None,
    });
    limits.collect::<Vec<_>>().join(" or ")
}
