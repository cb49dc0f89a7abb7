//! How the figures of the due list were reached, in words.

use jiff::ZonedDateTime;
use jiff::civil::Date;
use upkeep::build::{Allowance, Limit};
use upkeep::{Grounds, Likely, SinceWhat, UseGrounds, When, amount};

use super::Row;
use crate::context::Context;
use crate::out::Dress;
use crate::trouble::Trouble;
use crate::words;

/// Explains one task of one machine.
pub(super) fn explain(context: &Context, row: &Row<'_>, now: &ZonedDateTime) -> Result<(), Trouble> {
    let today = now.date();
    let used = words::percent(row.due.used.share());
    let head = format!("{}: {}, {used}, {}", row.state.name, row.due.name, said_when(row, today));
    context.out.line(context.out.dressed(&head, Dress::Bold))?;
    let since = now.time_zone().to_datetime(row.due.used.since.at).date();
    context.out.line(format!("  counted since {} ({})", words::day(since, today), since_words(row)))?;
    for (limit, used) in row.task().limits.iter().zip(&row.due.used.limits) {
        context.out.line(format!(
            "  {:>5}  {}{}",
            words::percent(used.share()),
            words::so_far(limit, used.so_far),
            weighed(limit)
        ))?;
    }
    if let When::Likely(likely) = &row.due.when {
        context.out.line(format!("  {}", grounds_words(likely, &row.task().limits[likely.limit])))?;
    }
    Ok(())
}

fn said_when(row: &Row<'_>, today: Date) -> String {
    match &row.due.when {
        When::Likely(_) => format!("likely due {}", row.likely_due(today)),
        When::Since(_) => format!("due {}", row.likely_due(today)),
        When::Beyond => "not due within the days asked for".to_owned(),
    }
}

fn since_words(row: &Row<'_>) -> String {
    let since = &row.due.used.since;
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

fn grounds_words(likely: &Likely, limit: &Limit) -> String {
    match (&likely.grounds, limit.every) {
        (Grounds::Use(grounds), Allowance::Amount { quantity, .. }) => {
            let UseGrounds { weeks, own_share, per_week, level_spread, queued } = grounds;
            let per_week = amount::print(*per_week, quantity);
            let queued = match queued {
                0 => String::new(),
                1 => ", with 1 queued run".to_owned(),
                many => format!(", with {many} queued runs"),
            };
            format!(
                "the day: about {per_week} a week (level uncertain by {}), from {weeks} weeks of its own records \
                 weighing {}, the rest the build's expectation{queued}",
                words::percent(*level_spread),
                words::percent(*own_share)
            )
        }
        _ => "the day: by the calendar".to_owned(),
    }
}
