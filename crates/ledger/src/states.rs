//! What the due list needs, of one machine or of a hall, fast: per machine a row of totals, one of standings, and one for
//! each recent month.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::civil::Date;
use jiff::tz::TimeZone;
use sqlx::{AnyConnection, Row};
use upkeep::{Build, DayUse, Entry, Event, HourReading, MachineState, QueuedUse, Unknown};

use crate::codec::{self, Garbled};
use crate::names::Names;
use crate::read::present;
use crate::standing::Standings;
use crate::tables::{self, MachineRow, readable};
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
        let mut states =
            read(&mut snapshot, &machines, history_from, &builds, &self.quantities, &self.shop().zone).await?;
        // OK because one machine was asked for, and `present` has found it.
        Ok(states.remove(0))
    }

    /// The states of these machines, by name, with their use per day from `history_from` on; those that are not in the shop
    /// left out.
    ///
    /// # Errors
    /// [`Error::BadBuild`].
    pub async fn states_of(&self, machines: &[&str], history_from: Date) -> Result<Vec<MachineState>, Error> {
        let mut snapshot = self.snapshot().await?;
        let machines = tables::machines_named(&mut snapshot, machines).await?;
        let builds = catalogue::builds(&mut snapshot, &wanted(&machines), &self.parsed).await?;
        let mut states =
            read(&mut snapshot, &machines, history_from, &builds, &self.quantities, &self.shop().zone).await?;
        states.sort_by(|a, b| a.name.cmp(&b.name));
        Ok(states)
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
pub(crate) fn wanted(machines: &[MachineRow]) -> BTreeSet<&str> {
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
        states.extend(read(&mut snapshot, go, from, &builds, &ledger.quantities, &ledger.shop().zone).await?);
        snapshot.commit().await?;
    }
    Ok(states)
}

/// Reads the states of those of `machines` that are in the shop.
async fn read(
    connection: &mut AnyConnection,
    machines: &[MachineRow],
    from: Date,
    builds: &BTreeMap<String, Arc<Build>>,
    quantities: &Names,
    zone: &TimeZone,
) -> Result<Vec<MachineState>, Error> {
    let ids: Vec<i64> = machines.iter().map(|machine| machine.id).collect();
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let names = tables::names(connection, quantities).await?;
    let mut totals = tables::totals(connection, &ids, &names).await?;
    let mut standings = standings(connection, &ids, &names).await?;
    let mut days = days(connection, &ids, from, &names).await?;
    let mut queues = tables::queues(connection, &ids, &names).await?;
    let mut own = own_builds(connection, machines, builds, &names).await?;
    let mut readings = tables::hour_meters(connection, &ids, time::beginning(from, zone), &names).await?;
    let mut states = Vec::with_capacity(machines.len());
    for machine in machines {
        let Some((joined, build)) = machine.joined.as_ref().zip(own.remove(&machine.id)) else { continue };
        states.push(MachineState {
            name: machine.name.clone(),
            build,
            added: joined.at,
            total: totals.remove(&machine.id).unwrap_or_default(),
            standings: standings.remove(&machine.id).unwrap_or_default().into_map(),
            history_from: from,
            days: days.remove(&machine.id).unwrap_or_default(),
            readings: read_hours(&readings.remove(&machine.id).unwrap_or_default(), zone),
            queue: expected(queues.remove(&machine.id).unwrap_or_default()),
        });
    }
    Ok(states)
}

/// The builds of those of `machines` that are in the shop, each with the machine's own limits, by the machine's number. There must
/// be some machine.
pub(crate) async fn own_builds(
    connection: &mut AnyConnection,
    machines: &[MachineRow],
    builds: &BTreeMap<String, Arc<Build>>,
    names: &Names,
) -> Result<BTreeMap<i64, Arc<Build>>, Error> {
    let ids: Vec<i64> = machines.iter().map(|machine| machine.id).collect();
    let limits = tables::limits(connection, &ids, names).await?;
    let mut own = BTreeMap::new();
    for machine in machines {
        let Some(joined) = &machine.joined else { continue };
        let missing = || Error::NoSuchBuild(Unknown::new("build", &joined.build, builds.keys().cloned().collect()));
        let build = builds.get(&joined.build).ok_or_else(missing)?;
        own.insert(machine.id, with_limits(build, limits.get(&machine.id)));
    }
    Ok(own)
}

/// The build with a machine's own limits; one of a task or a meter that the build has no more counts no more.
fn with_limits(build: &Arc<Build>, limits: Option<&Vec<Entry>>) -> Arc<Build> {
    let Some(limits) = limits else { return build.clone() };
    let mut own = Build::clone(build);
    for entry in limits {
        if let Event::Limit(limit) = &entry.event {
            // Nothing to do with the error: the build was changed since, and `build change` said what that takes away.
            let _ = own.set_limit(limit);
        }
    }
    Arc::new(own)
}

/// The readings of an hour meter that entries record.
fn read_hours(entries: &[Entry], zone: &TimeZone) -> Vec<HourReading> {
    entries.iter().filter_map(|entry| HourReading::of(entry, zone)).collect()
}

/// The use of the runs that entries say are expected.
fn expected(entries: Vec<Entry>) -> Vec<QueuedUse> {
    let used = |entry: Entry| match entry.event {
        Event::Queued(queued) => Some(QueuedUse { on: queued.on, usage: queued.usage }),
        _ => None,
    };
    entries.into_iter().filter_map(used).collect()
}

async fn standings(
    connection: &mut AnyConnection,
    machines: &[i64],
    names: &Names,
) -> Result<BTreeMap<i64, Standings>, Error> {
    let query = "select machine, marks from standing where machine in";
    let rows = tables::of_machines(connection, query, machines).await?;
    tables::by_machine(&rows, "standings", |bytes| codec::standings_from_bytes(bytes, names))
}

async fn days(
    connection: &mut AnyConnection,
    machines: &[i64],
    from: Date,
    names: &Names,
) -> Result<BTreeMap<i64, Vec<DayUse>>, Error> {
    // A month is a whole number and no text: it can stand in the statement, of which there are then few.
    let query = format!("select machine, month, days from daily where month >= {} and machine in", time::month(from));
    let mut rows = Vec::new();
    for row in tables::of_machines(connection, &query, machines).await? {
        rows.push((row.try_get::<i64, _>(0)?, row.try_get::<i64, _>(1)?, row));
    }
    rows.sort_by_key(|(machine, month, _)| (*machine, *month));
    let mut days: BTreeMap<i64, Vec<DayUse>> = BTreeMap::new();
    for (machine, month, row) in &rows {
        let list = days.entry(*machine).or_default();
        let read = add_month(list, *month, row.try_get(2)?, from, names);
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
