//! What the due list needs, of one machine or of a hall, fast: per machine a row of totals, one of standings, and one for
//! each recent month.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::civil::Date;
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use upkeep::entry::OwnLimit;
use upkeep::{Build, DayUse, Event, MachineState, QueuedUse, Unknown, Usage};

use crate::codec::{self, Garbled};
use crate::names::Names;
use crate::read::present;
use crate::standing::Standings;
use crate::tables::{self, MachineRow, entry_columns, readable};
use crate::{Error, Ledger, catalogue, time};

/// Machines read in one go: few enough that the rows of one go stay in the processor's cache, many enough that the
/// statements cost nothing.
const GO: usize = 16;

/// Connections that read at once. More gain little: the disk's cache serves them all.
const READERS: usize = 2;

impl Ledger {
    /// The state of one machine, with its use per day from `history_from` on.
    ///
    /// # Errors
    /// [`Error::NoSuchMachine`], [`Error::BadBuild`].
    pub async fn machine_state(&self, machine: &str, history_from: Date) -> Result<MachineState, Error> {
        let mut snapshot = self.snapshot().await?;
        let machine = present(&mut snapshot, machine).await?;
        let machines = [machine];
        let builds = catalogue::builds(&mut snapshot, &wanted(&machines), &self.parsed).await?;
        let mut states = read(&mut snapshot, &machines, history_from, &builds, &self.quantities).await?;
        // OK because one machine was asked for, and `present` has found it.
        Ok(states.remove(0))
    }

    /// The states of all machines, by name, with their use per day from `history_from` on. Uses two threads of a runtime
    /// that has them.
    ///
    /// # Errors
    /// [`Error::BadBuild`].
    pub async fn states(&self, history_from: Date) -> Result<Vec<MachineState>, Error> {
        let mut connection = self.pool.acquire().await?;
        let mut machines = tables::machines(&mut connection).await?;
        machines.retain(|machine| machine.joined.is_some());
        let builds = Arc::new(catalogue::builds(&mut connection, &wanted(&machines), &self.parsed).await?);
        drop(connection);
        machines.sort_by_key(|machine| machine.id);
        let share = machines.len().div_ceil(READERS).max(1);
        let readers: Vec<_> = machines
            .chunks(share)
            .map(|share| tokio::spawn(read_share(self.clone(), share.to_vec(), history_from, builds.clone())))
            .collect();
        let mut states = Vec::with_capacity(machines.len());
        for reader in readers {
            // OK because a reader is never aborted, and a panic in one is a panic here.
            states.extend(reader.await.expect("a reader ends by itself")?);
        }
        states.sort_by(|a, b| a.name.cmp(&b.name));
        Ok(states)
    }
}

/// The names of the machines' builds.
fn wanted(machines: &[MachineRow]) -> BTreeSet<&str> {
    machines.iter().filter_map(|machine| machine.joined.as_ref()).map(|joined| joined.build.as_str()).collect()
}

/// Reads the states of some machines over a connection of its own.
async fn read_share(
    ledger: Ledger,
    machines: Vec<MachineRow>,
    from: Date,
    builds: Arc<BTreeMap<String, Arc<Build>>>,
) -> Result<Vec<MachineState>, Error> {
    let mut states = Vec::with_capacity(machines.len());
    for go in machines.chunks(GO) {
        let mut snapshot = ledger.snapshot().await?;
        states.extend(read(&mut snapshot, go, from, &builds, &ledger.quantities).await?);
        snapshot.commit().await?;
    }
    Ok(states)
}

/// Reads the states of `machines`, which are in the order of their ids.
async fn read(
    connection: &mut AnyConnection,
    machines: &[MachineRow],
    from: Date,
    builds: &BTreeMap<String, Arc<Build>>,
    quantities: &Names,
) -> Result<Vec<MachineState>, Error> {
    let (Some(first), Some(last)) = (machines.first(), machines.last()) else { return Ok(Vec::new()) };
    let ids = (first.id, last.id);
    let names = tables::names(connection, quantities).await?;
    let mut totals = totals(connection, ids, &names).await?;
    let mut standings = standings(connection, ids, &names).await?;
    let mut days = days(connection, ids, from, &names).await?;
    let mut queues = queues(connection, ids, &names).await?;
    let limits = limits(connection, ids, &names).await?;
    let mut states = Vec::with_capacity(machines.len());
    for machine in machines {
        let Some(joined) = &machine.joined else { continue };
        let missing = || Error::NoSuchBuild(Unknown::new("build", &joined.build, builds.keys().cloned().collect()));
        states.push(MachineState {
            name: machine.name.clone(),
            build: with_limits(builds.get(&joined.build).ok_or_else(missing)?, limits.get(&machine.id)),
            added: joined.at,
            total: totals.remove(&machine.id).unwrap_or_default(),
            standings: standings.remove(&machine.id).unwrap_or_default().into_map(),
            history_from: from,
            days: days.remove(&machine.id).unwrap_or_default(),
            queue: queues.remove(&machine.id).unwrap_or_default(),
        });
    }
    Ok(states)
}

/// The build with a machine's own limits; one of a task or a meter that the build has no more counts no more.
fn with_limits(build: &Arc<Build>, limits: Option<&Vec<OwnLimit>>) -> Arc<Build> {
    let Some(limits) = limits else { return build.clone() };
    let mut own = Build::clone(build);
    for limit in limits {
        // Nothing to do with the error: the build was changed since, and `build change` said what that takes away.
        let _ = own.set_limit(limit);
    }
    Arc::new(own)
}

/// The limits of the shop's own, in the order in which they were given.
async fn limits(
    connection: &mut AnyConnection,
    ids: (i64, i64),
    names: &Names,
) -> Result<BTreeMap<i64, Vec<OwnLimit>>, Error> {
    const LISTED: &str = concat!(
        "select ",
        entry_columns!(),
        ", l.machine from own_limit l join entry e on e.id = l.entry join machine m on m.id = l.machine \
          where l.machine between $1 and $2 order by e.at, e.id"
    );
    listed(connection, LISTED, ids, names, |event| match event {
        Event::Limit(own) => Some(own),
        _ => None,
    })
    .await
}

/// What `pick` takes of the entries that a derived table lists, by machine. The query gives an entry's columns, and behind
/// them the machine's number.
async fn listed<T>(
    connection: &mut AnyConnection,
    query: &'static str,
    (first, last): (i64, i64),
    names: &Names,
    pick: impl Fn(Event) -> Option<T>,
) -> Result<BTreeMap<i64, Vec<T>>, Error> {
    let rows = sqlx::query(query).bind(first).bind(last).fetch_all(connection).await?;
    let mut picked: BTreeMap<i64, Vec<T>> = BTreeMap::new();
    for row in &rows {
        if let Some(one) = pick(tables::entry_from_row(row, names)?.event) {
            picked.entry(row.try_get("machine")?).or_default().push(one);
        }
    }
    Ok(picked)
}

async fn totals(
    connection: &mut AnyConnection,
    (first, last): (i64, i64),
    names: &Names,
) -> Result<BTreeMap<i64, Usage>, Error> {
    let query = sqlx::query("select machine, usage from total where machine between $1 and $2");
    let rows = query.bind(first).bind(last).fetch_all(connection).await?;
    by_machine(&rows, "total", |bytes| codec::usage_from_bytes(bytes, names))
}

async fn standings(
    connection: &mut AnyConnection,
    (first, last): (i64, i64),
    names: &Names,
) -> Result<BTreeMap<i64, Standings>, Error> {
    let query = sqlx::query("select machine, marks from standing where machine between $1 and $2");
    let rows = query.bind(first).bind(last).fetch_all(connection).await?;
    by_machine(&rows, "standings", |bytes| codec::standings_from_bytes(bytes, names))
}

/// Reads rows of a machine's number and the bytes of its `what`.
fn by_machine<T>(
    rows: &[AnyRow],
    what: &str,
    read: impl Fn(&[u8]) -> Result<T, Garbled>,
) -> Result<BTreeMap<i64, T>, Error> {
    let read = |row: &AnyRow| {
        let machine: i64 = row.try_get(0)?;
        Ok((machine, readable(read(row.try_get(1)?), || format!("the {what} of machine {machine}"))?))
    };
    rows.iter().map(read).collect()
}

async fn days(
    connection: &mut AnyConnection,
    (first, last): (i64, i64),
    from: Date,
    names: &Names,
) -> Result<BTreeMap<i64, Vec<DayUse>>, Error> {
    let rows = sqlx::query(
        "select machine, month, days from daily where machine between $1 and $2 and month >= $3 order by machine, month",
    )
    .bind(first)
    .bind(last)
    .bind(time::month(from))
    .fetch_all(connection)
    .await?;
    let mut days: BTreeMap<i64, Vec<DayUse>> = BTreeMap::new();
    for row in &rows {
        let (machine, month): (i64, i64) = (row.try_get(0)?, row.try_get(1)?);
        let list = days.entry(machine).or_default();
        let read = add_month(list, month, row.try_get(2)?, from, names);
        readable(read, || format!("month {month} of machine {machine}"))?;
    }
    Ok(days)
}

/// Adds the days of one month to `list`, those before `from` left out.
fn add_month(list: &mut Vec<DayUse>, month: i64, bytes: &[u8], from: Date, names: &Names) -> Result<(), Garbled> {
    let mut possible = true;
    codec::for_each_day(bytes, names, |day, usage| match time::date(month, day) {
        Some(date) if from <= date => list.push(DayUse { date, usage }),
        Some(_) => {}
        None => possible = false,
    })?;
    if possible { Ok(()) } else { Err(Garbled) }
}

async fn queues(
    connection: &mut AnyConnection,
    ids: (i64, i64),
    names: &Names,
) -> Result<BTreeMap<i64, Vec<QueuedUse>>, Error> {
    const LISTED: &str = concat!(
        "select ",
        entry_columns!(),
        ", q.machine from queued q join entry e on e.id = q.entry join machine m on m.id = q.machine \
          where q.machine between $1 and $2 order by e.at, e.id"
    );
    listed(connection, LISTED, ids, names, |event| match event {
        Event::Queued(queued) => Some(QueuedUse { on: queued.on, usage: queued.usage }),
        _ => None,
    })
    .await
}
