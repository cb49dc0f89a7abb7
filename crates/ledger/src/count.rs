//! Adds the use of new entries to the rows derived from them: each machine's total, its days, and its standings.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use jiff::tz::TimeZone;
use sqlx::{AnyConnection, AssertSqlSafe, Row};
use upkeep::Usage;

use crate::names::Names;
use crate::rows::{padded, pieces, places};
use crate::tables::{self, readable};
use crate::time::{self, DaysOfMonth};
use crate::{Error, codec};

/// Use that began at an instant, on the machine of that number.
pub(crate) type Counted<'a> = (i64, Timestamp, &'a Usage);

/// Adds every one of `uses` to the derived rows of its machine; each row is read once and written once.
pub(crate) async fn count(
    connection: &mut AnyConnection,
    uses: &[Counted<'_>],
    zone: &TimeZone,
    names: &Names,
) -> Result<(), Error> {
    let uses: Vec<&Counted<'_>> = uses.iter().filter(|(_, _, usage)| !usage.is_empty()).collect();
    if uses.is_empty() {
        return Ok(());
    }
    let machines: Vec<i64> = uses.iter().map(|(machine, ..)| *machine).collect::<BTreeSet<_>>().into_iter().collect();
    count_totals(connection, &machines, &uses, names).await?;
    count_days(connection, &uses, zone, names).await?;
    count_standings(connection, &machines, &uses, names).await
}

async fn count_totals(
    connection: &mut AnyConnection,
    machines: &[i64],
    uses: &[&Counted<'_>],
    names: &Names,
) -> Result<(), Error> {
    let mut totals = tables::totals(connection, machines, names).await?;
    for (machine, _, usage) in uses {
        totals.entry(*machine).or_default().add(usage);
    }
    let totals: Vec<(i64, Usage)> = totals.into_iter().collect();
    for piece in pieces(&totals) {
        let text = format!(
            "insert into total (machine, usage) values {} on conflict (machine) do update set usage = excluded.usage",
            places(piece.len(), 2)
        );
        let bind = |query: tables::Statement, (machine, total): &(i64, Usage)| {
            query.bind(*machine).bind(codec::usage_to_bytes(total, names))
        };
        piece.iter().fold(sqlx::query(AssertSqlSafe(text)), bind).execute(&mut *connection).await?;
    }
    Ok(())
}

async fn count_days(
    connection: &mut AnyConnection,
    uses: &[&Counted<'_>],
    zone: &TimeZone,
    names: &Names,
) -> Result<(), Error> {
    let mut months: BTreeMap<(i64, i64), DaysOfMonth> = BTreeMap::new();
    for (machine, at, _) in uses {
        months.entry((time::month(time::day(*at, zone)), *machine)).or_default();
    }
    let wanted = padded(months.keys().copied().collect());
    let text = format!(
        "with wanted (month, machine) as (values {}) \
         select d.month, d.machine, d.days from wanted w join daily d on d.month = w.month and d.machine = w.machine",
        places(wanted.len(), 2)
    );
    let bind = |query: tables::Statement, (month, machine): (i64, i64)| query.bind(month).bind(machine);
    let query = wanted.into_iter().fold(sqlx::query(AssertSqlSafe(text)), bind);
    for row in query.fetch_all(&mut *connection).await? {
        let (month, machine): (i64, i64) = (row.try_get(0)?, row.try_get(1)?);
        let days = months.entry((month, machine)).or_default();
        let read = codec::for_each_day(row.try_get(2)?, names, |day, usage| drop(days.insert(day, usage)));
        readable(read, || format!("month {month} of machine {machine}"))?;
    }
    for (machine, at, usage) in uses {
        let day = time::day(*at, zone);
        let days = months.entry((time::month(day), *machine)).or_default();
        let sum = days.entry(time::day_of_month(day)).or_default();
        sum.add(usage);
        if sum.is_empty() {
            days.remove(&time::day_of_month(day));
        }
    }
    let (empty, full): (Vec<_>, Vec<_>) = months.into_iter().partition(|(_, days)| days.is_empty());
    for ((month, machine), days) in empty {
        tables::put_month(connection, machine, month, &days, names).await?;
    }
    for piece in pieces(&full) {
        let text = format!(
            "insert into daily (month, machine, days) values {} \
             on conflict (month, machine) do update set days = excluded.days",
            places(piece.len(), 3)
        );
        let bind = |query: tables::Statement, ((month, machine), days): &((i64, i64), DaysOfMonth)| {
            query.bind(*month).bind(*machine).bind(codec::days_to_bytes(days, names))
        };
        piece.iter().fold(sqlx::query(AssertSqlSafe(text)), bind).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Only a run that began before something was last cared for changes standings; few do.
async fn count_standings(
    connection: &mut AnyConnection,
    machines: &[i64],
    uses: &[&Counted<'_>],
    names: &Names,
) -> Result<(), Error> {
    let newest = "select machine, newest from standing where machine in";
    for row in tables::of_machines(connection, newest, machines).await? {
        let (machine, newest): (i64, i64) = (row.try_get(0)?, row.try_get(1)?);
        let is_before = |(of, at, _): &&&Counted<'_>| *of == machine && time::to_micros(*at) < newest;
        let before: Vec<_> = uses.iter().filter(is_before).collect();
        if before.is_empty() {
            continue;
        }
        let mut standings = tables::standings(connection, machine, names).await?;
        before.into_iter().for_each(|(_, at, usage)| standings.book(*at, usage));
        tables::put_standings(connection, machine, &standings, names).await?;
    }
    Ok(())
}
