//! The statements behind everything else, one small function each. The same text runs on both engines.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::civil::Date;
use motion::Quantity;
use sqlx::any::{AnyArguments, AnyRow};
use sqlx::query::Query;
use sqlx::{Any, AnyConnection, AssertSqlSafe, Row};
use upkeep::{Entry, EntryId, Event, Material, Usage};

use crate::chains::Chains;
use crate::codec::{self, Garbled};
use crate::derived::{Derived, Joined, RunKey, run_name};
use crate::names::Names;
use crate::place::Engine;
use crate::record;
use crate::rows::{padded, places};
use crate::standing::Standings;
use crate::time::{self, DaysOfMonth};
use crate::{Error, Kind};
use upkeep::lives::Place;

/// A statement that its values are being bound to.
pub(crate) type Statement = Query<'static, Any, AnyArguments>;

/// A row of the table of machines.
#[derive(Clone, Debug)]
pub(crate) struct MachineRow {
    pub id: i64,
    pub name: String,
    pub joined: Option<Joined>,
}

impl MachineRow {
    /// Whether it holds the entries of the shop itself: it has no name, as no machine may, and never joins.
    pub(crate) fn is_the_shop(&self) -> bool {
        self.name == THE_SHOP
    }
}

/// The name of the row that holds the entries of the shop itself.
pub(crate) const THE_SHOP: &str = "";

/// Turns bytes that cannot be understood into an error that says which.
pub(crate) fn readable<T>(value: Result<T, Garbled>, what: impl FnOnce() -> String) -> Result<T, Error> {
    value.map_err(|Garbled| Error::Damaged { what: what() })
}

// Names ---------------------------------------------------------------------------------------------------------------

/// Gives every quantity of this version its id, and reads all ids.
pub(crate) async fn quantity_names(connection: &mut AnyConnection) -> Result<Names, Error> {
    let mut names = read_quantities(connection).await?;
    let missing: Vec<Quantity> = Quantity::ALL
        .iter()
        .copied()
        .filter(|quantity| names.quantities().all(|(_, known)| known != *quantity))
        .collect();
    if missing.is_empty() {
        return Ok(names);
    }
    for quantity in missing {
        sqlx::query(
            "insert into quantity (id, name, unit) select coalesce(max(id) + 1, 0), $1, $2 from quantity where true \
             on conflict (name) do nothing",
        )
        .bind(quantity.name())
        .bind(format!("{:?}", quantity.unit()))
        .execute(&mut *connection)
        .await?;
    }
    names = read_quantities(connection).await?;
    Ok(names)
}

async fn read_quantities(connection: &mut AnyConnection) -> Result<Names, Error> {
    let mut names = Names::default();
    for row in sqlx::query("select id, name from quantity").fetch_all(connection).await? {
        let (id, name): (i64, String) = (row.try_get(0)?, row.try_get(1)?);
        let damaged = || Error::Damaged { what: format!("the quantity \"{name}\", which this version does not know,") };
        let quantity = Quantity::from_name(&name).ok_or_else(damaged)?;
        names.set_quantity(usize::try_from(id).map_err(|_| damaged())?, quantity);
    }
    Ok(names)
}

/// `quantities` and the materials that have been named so far.
pub(crate) async fn names(connection: &mut AnyConnection, quantities: &Names) -> Result<Names, Error> {
    let mut names = quantities.clone();
    for row in sqlx::query("select id, name from material_name").fetch_all(connection).await? {
        let (id, name): (i64, String) = (row.try_get(0)?, row.try_get(1)?);
        let id = usize::try_from(id).map_err(|_| Error::Damaged { what: format!("the id of material \"{name}\"") })?;
        names.set_material(id, Material::new(&name));
    }
    Ok(names)
}

/// The same, after giving ids to the materials of `usage` that have none.
pub(crate) async fn names_for<'a>(
    connection: &mut AnyConnection,
    quantities: &Names,
    usages: impl IntoIterator<Item = &'a Usage>,
) -> Result<Names, Error> {
    let known = names(connection, quantities).await?;
    let used = usages.into_iter().flat_map(Usage::streams).map(|(stream, _)| &stream.material);
    let missing: BTreeSet<&Material> = used.filter(|material| !known.knows(material)).collect();
    if missing.is_empty() {
        return Ok(known);
    }
    for material in missing {
        sqlx::query("insert into material_name (name) values ($1) on conflict (name) do nothing")
            .bind(material.name())
            .execute(&mut *connection)
            .await?;
    }
    names(connection, quantities).await
}

// Machines ------------------------------------------------------------------------------------------------------------

fn machine_row(row: &AnyRow) -> Result<MachineRow, Error> {
    let name: String = row.try_get(1)?;
    let build: Option<String> = row.try_get(2)?;
    let (at, entry): (Option<i64>, Option<i64>) = (row.try_get(3)?, row.try_get(4)?);
    let joined = match (build, at.and_then(time::from_micros), entry) {
        (Some(build), Some(at), Some(entry)) => Some(Joined { build, at, entry: EntryId(entry) }),
        _ => None,
    };
    Ok(MachineRow { id: row.try_get(0)?, name, joined })
}

/// Locks the machine of that name against other writers until the transaction ends; `None` where there never was one.
///
/// Must be the first statement of its transaction, so that SQLite takes its lock before it looks at anything.
pub(crate) async fn lock(connection: &mut AnyConnection, name: &str) -> Result<Option<MachineRow>, Error> {
    let row = sqlx::query(
        "update machine set revision = revision + 1 where name = $1 returning id, name, build, added_at, added_entry",
    )
    .bind(name)
    .fetch_optional(connection)
    .await?;
    row.as_ref().map(machine_row).transpose()
}

/// As [`lock`], for many machines in one statement, by their names. On a server their rows are locked in the order of their
/// numbers, so that two writers of several machines never wait for each other in a circle.
pub(crate) async fn lock_all(
    connection: &mut AnyConnection,
    engine: Engine,
    names: &BTreeSet<&str>,
) -> Result<BTreeMap<String, MachineRow>, Error> {
    let names = padded(names.iter().copied().collect());
    let list = places(1, names.len());
    let named = |text: String| names.iter().fold(sqlx::query(AssertSqlSafe(text)), |query, name| query.bind(*name));
    if engine == Engine::Postgres && 1 < names.len() {
        let text = format!("select id from machine where name in {list} order by id for update");
        named(text).execute(&mut *connection).await?;
    }
    let text = format!(
        "update machine set revision = revision + 1 where name in {list} returning id, name, build, added_at, added_entry"
    );
    let rows = named(text).fetch_all(connection).await?;
    rows.iter().map(|row| machine_row(row).map(|machine| (machine.name.clone(), machine))).collect()
}

/// Whether the record of a machine was at a revision before it was locked, which raised it by one.
pub(crate) async fn was_at(connection: &mut AnyConnection, machine: i64, revision: i64) -> Result<bool, Error> {
    let found: Option<i64> = sqlx::query_scalar("select id from machine where id = $1 and revision = $2")
        .bind(machine)
        .bind(revision + 1)
        .fetch_optional(connection)
        .await?;
    Ok(found.is_some())
}

/// Makes the row of a machine that has no entry yet, or locks the one that is there.
pub(crate) async fn make_machine(connection: &mut AnyConnection, name: &str) -> Result<MachineRow, Error> {
    let row = sqlx::query(
        "insert into machine (name) values ($1) on conflict (name) do update set revision = machine.revision + 1 \
         returning id, name, build, added_at, added_entry",
    )
    .bind(name)
    .fetch_one(connection)
    .await?;
    machine_row(&row)
}

/// Notes that something other than a run was written down for a machine.
pub(crate) async fn note_besides_runs(connection: &mut AnyConnection, id: i64) -> Result<(), Error> {
    sqlx::query("update machine set besides_runs = besides_runs + 1 where id = $1")
        .bind(id)
        .execute(connection)
        .await?;
    Ok(())
}

/// Every machine that there ever was, by name, and the row that stands for the shop itself.
pub(crate) async fn machines(connection: &mut AnyConnection) -> Result<Vec<MachineRow>, Error> {
    let rows = sqlx::query("select id, name, build, added_at, added_entry from machine order by name")
        .fetch_all(connection)
        .await?;
    rows.iter().map(machine_row).collect()
}

/// The machines of these names, of which none need be there.
pub(crate) async fn machines_named(connection: &mut AnyConnection, names: &[&str]) -> Result<Vec<MachineRow>, Error> {
    if names.is_empty() {
        return Ok(Vec::new());
    }
    let names = padded(names.to_vec());
    let text =
        format!("select id, name, build, added_at, added_entry from machine where name in {}", places(1, names.len()));
    let query = names.into_iter().fold(sqlx::query(AssertSqlSafe(text)), |query, name| query.bind(name));
    query.fetch_all(connection).await?.iter().map(machine_row).collect()
}

/// The machine of that name; `None` where there never was one.
pub(crate) async fn machine(connection: &mut AnyConnection, name: &str) -> Result<Option<MachineRow>, Error> {
    let row = sqlx::query("select id, name, build, added_at, added_entry from machine where name = $1")
        .bind(name)
        .fetch_optional(connection)
        .await?;
    row.as_ref().map(machine_row).transpose()
}

/// Notes how the machine joined.
pub(crate) async fn put_joined(connection: &mut AnyConnection, id: i64, joined: Option<&Joined>) -> Result<(), Error> {
    sqlx::query("update machine set build = $2, added_at = $3, added_entry = $4 where id = $1")
        .bind(id)
        .bind(joined.map(|joined| joined.build.clone()))
        .bind(joined.map(|joined| time::to_micros(joined.at)))
        .bind(joined.map(|joined| joined.entry.0))
        .execute(connection)
        .await?;
    Ok(())
}

// Entries -------------------------------------------------------------------------------------------------------------

/// The columns that [`entry_from_row`] reads, of `entry e join machine m`.
macro_rules! entry_columns {
    () => {
        "e.id, m.name, e.kind, e.at, e.recorded, e.corrects, e.about, e.body, e.note, \
         coalesce(e.usage, (select a.usage from alike a where a.id = e.alike)), e.recorded_by, \
         (select a.body from alike a where a.id = e.alike)"
    };
}
pub(crate) use entry_columns;

/// The entry that a row of [`entry_columns`] holds.
pub(crate) fn entry_from_row(row: &AnyRow, names: &Names) -> Result<Entry, Error> {
    let id = EntryId(row.try_get(0)?);
    let damaged = || Error::Damaged { what: format!("entry {id}") };
    let usage: Option<&[u8]> = row.try_get(9)?;
    let usage = usage.map_or(Ok(Usage::new()), |bytes| codec::usage_from_bytes(bytes, names));
    let kind = Kind::from_word(row.try_get(2)?).ok_or_else(damaged)?;
    let usage = usage.map_err(|Garbled| damaged())?;
    let event = record::from_columns(kind, row.try_get(6)?, row.try_get(7)?, row.try_get(11)?, usage);
    Ok(Entry {
        id,
        machine: row.try_get(1)?,
        at: time::from_micros(row.try_get(3)?).ok_or_else(damaged)?,
        recorded: time::from_micros(row.try_get(4)?).ok_or_else(damaged)?,
        corrects: row.try_get::<Option<i64>, _>(5)?.map(EntryId),
        note: row.try_get(8)?,
        event: event.ok_or_else(damaged)?,
    })
}

/// One entry.
pub(crate) async fn entry(connection: &mut AnyConnection, id: EntryId, names: &Names) -> Result<Entry, Error> {
    let row = sqlx::query(concat!(
        "select ",
        entry_columns!(),
        " from entry e join machine m on m.id = e.machine where e.id = $1"
    ))
    .bind(id.0)
    .fetch_optional(connection)
    .await?;
    entry_from_row(&row.ok_or(Error::NoSuchEntry { id })?, names)
}

/// The chains of corrections of one machine.
pub(crate) async fn chains(connection: &mut AnyConnection, machine: i64) -> Result<Chains, Error> {
    let rows = sqlx::query("select id, corrects from entry where machine = $1 and corrects is not null")
        .bind(machine)
        .fetch_all(connection)
        .await?;
    pairs(&rows)
}

/// The chains of corrections of the whole shop.
pub(crate) async fn all_chains(connection: &mut AnyConnection) -> Result<Chains, Error> {
    // Ordered below: an order asked for here would be had by reading every entry.
    let rows = sqlx::query("select id, corrects from entry where corrects is not null").fetch_all(connection).await?;
    pairs(&rows)
}

fn pairs(rows: &[AnyRow]) -> Result<Chains, Error> {
    let mut pairs = Vec::with_capacity(rows.len());
    for row in rows {
        pairs.push((EntryId(row.try_get(0)?), EntryId(row.try_get(1)?)));
    }
    pairs.sort_unstable();
    Ok(Chains::new(pairs))
}

/// The entries of a machine that stand, oldest first, and the chains by which the others fell.
pub(crate) async fn effective(
    connection: &mut AnyConnection,
    machine: i64,
    names: &Names,
) -> Result<(Vec<Entry>, Chains), Error> {
    let chains = chains(connection, machine).await?;
    let rows = sqlx::query(concat!(
        "select ",
        entry_columns!(),
        " from entry e join machine m on m.id = e.machine where e.machine = $1 order by e.at, e.id"
    ))
    .bind(machine)
    .fetch_all(connection)
    .await?;
    let mut entries = Vec::with_capacity(rows.len());
    for row in &rows {
        if chains.is_newest(EntryId(row.try_get(0)?)) && row.try_get::<&str, _>(2)? != Kind::Withdrawn.word() {
            entries.push(entry_from_row(row, names)?);
        }
    }
    Ok((entries, chains))
}

/// The entries of one kind of the whole shop, in no order; those about `about` alone if that is given. Not for runs, which
/// are too many to be looked for by their kind.
pub(crate) async fn entries_of_kind(
    connection: &mut AnyConnection,
    kind: Kind,
    about: Option<&str>,
    names: &Names,
) -> Result<Vec<Entry>, Error> {
    let query = sqlx::query(match about {
        None => concat!(
            "select ",
            entry_columns!(),
            " from entry e join machine m on m.id = e.machine where e.kind <> 'run' and e.kind = $1"
        ),
        Some(_) => concat!(
            "select ",
            entry_columns!(),
            " from entry e join machine m on m.id = e.machine where e.kind <> 'run' and e.kind = $1 and e.about = $2"
        ),
    });
    let query = query.bind(kind.word());
    let query = match about {
        None => query,
        Some(about) => query.bind(about),
    };
    query.fetch_all(connection).await?.iter().map(|row| entry_from_row(row, names)).collect()
}

/// Entries that [`each_care`] holds at once.
const CARE_GO: u16 = 4096;

/// Hands the tasks done and parts replaced in the whole shop at or after `at`, in µs, corrected ones too, to `work`, some at a
/// time, as they followed one another: a hall's are too many to be held at once.
pub(crate) async fn each_care(
    connection: &mut AnyConnection,
    at: i64,
    names: &Names,
    mut work: impl FnMut(Vec<Entry>),
) -> Result<(), Error> {
    let mut last = (at, i64::MIN);
    loop {
        let query = sqlx::query(concat!(
            "select ",
            entry_columns!(),
            " from entry e join machine m on m.id = e.machine where e.kind in ('done', 'replaced') and e.at >= $1 \
             and (e.at, e.id) > ($1, $2) order by e.at, e.id limit $3"
        ));
        let rows = query.bind(last.0).bind(last.1).bind(i64::from(CARE_GO)).fetch_all(&mut *connection).await?;
        let care = rows.iter().map(|row| entry_from_row(row, names)).collect::<Result<Vec<Entry>, Error>>()?;
        let is_over = care.len() < usize::from(CARE_GO);
        if let Some(entry) = care.last() {
            last = (time::to_micros(entry.at), entry.id.0);
        }
        work(care);
        if is_over {
            return Ok(());
        }
    }
}

/// The same of one machine, all at once.
pub(crate) async fn care_of(
    connection: &mut AnyConnection,
    machine: i64,
    at: i64,
    names: &Names,
) -> Result<Vec<Entry>, Error> {
    let query = sqlx::query(concat!(
        "select ",
        entry_columns!(),
        " from entry e join machine m on m.id = e.machine where e.machine = $1 and e.at >= $2 \
         and e.kind in ('done', 'replaced') order by e.at, e.id"
    ));
    query.bind(machine).bind(at).fetch_all(connection).await?.iter().map(|row| entry_from_row(row, names)).collect()
}

/// The entries that tell of a visit on `from` or later, corrected ones too; in no order.
pub(crate) async fn visits_from(
    connection: &mut AnyConnection,
    from: Date,
    names: &Names,
) -> Result<Vec<Entry>, Error> {
    // Days are compared as text: those of four-digit years sort as they follow one another.
    let query = sqlx::query(concat!(
        "select ",
        entry_columns!(),
        " from entry e join machine m on m.id = e.machine \
         where e.kind <> 'run' and e.kind = 'visit' and e.about >= $1"
    ));
    query.bind(from.to_string()).fetch_all(connection).await?.iter().map(|row| entry_from_row(row, names)).collect()
}

/// The use of the machine's effective entries at or after `at`, in µs.
pub(crate) async fn usage_from(
    connection: &mut AnyConnection,
    machine: i64,
    at: i64,
    names: &Names,
) -> Result<Usage, Error> {
    let mut sum = Usage::new();
    for (_, usage) in uses_from(connection, machine, at, names).await? {
        sum.add(&usage);
    }
    Ok(sum)
}

/// The use of each of the machine's effective entries at or after `at`, in µs, oldest first.
pub(crate) async fn uses_from(
    connection: &mut AnyConnection,
    machine: i64,
    at: i64,
    names: &Names,
) -> Result<Vec<(Place, Usage)>, Error> {
    let rows = sqlx::query(
        "select e.id, e.at, coalesce(e.usage, (select a.usage from alike a where a.id = e.alike)) from entry e \
         where e.machine = $1 and e.at >= $2 and e.kind in ('run', 'hour meter') \
         and (e.usage is not null or e.alike is not null) order by e.at, e.id",
    )
    .bind(machine)
    .bind(at)
    .fetch_all(&mut *connection)
    .await?;
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let chains = chains(connection, machine).await?;
    let mut uses = Vec::with_capacity(rows.len());
    for row in &rows {
        let id = EntryId(row.try_get(0)?);
        if chains.is_newest(id) {
            let damaged = || format!("the use of entry {id}");
            let at = time::from_micros(row.try_get(1)?).ok_or_else(|| Error::Damaged { what: damaged() })?;
            uses.push(((at, id), readable(codec::usage_from_bytes(row.try_get(2)?, names), damaged)?));
        }
    }
    Ok(uses)
}

// Derived rows --------------------------------------------------------------------------------------------------------

/// All use of a machine.
pub(crate) async fn total(connection: &mut AnyConnection, machine: i64, names: &Names) -> Result<Usage, Error> {
    Ok(totals(connection, &[machine], names).await?.remove(&machine).unwrap_or_default())
}

/// All use of each of these machines; those without use left out.
pub(crate) async fn totals(
    connection: &mut AnyConnection,
    machines: &[i64],
    names: &Names,
) -> Result<BTreeMap<i64, Usage>, Error> {
    let rows = of_machines(connection, "select machine, usage from total where machine in", machines).await?;
    by_machine(&rows, "total", |bytes| codec::usage_from_bytes(bytes, names))
}

/// The rows that a query finds which ends in `in` and takes the numbers of `machines`, of which there must be some.
pub(crate) async fn of_machines(
    connection: &mut AnyConnection,
    query: &str,
    machines: &[i64],
) -> Result<Vec<AnyRow>, Error> {
    let machines = padded(machines.to_vec());
    let text = format!("{query} {}", places(1, machines.len()));
    let query = machines.into_iter().fold(sqlx::query(AssertSqlSafe(text)), |query, machine| query.bind(machine));
    Ok(query.fetch_all(connection).await?)
}

/// Reads rows of a machine's number and the bytes of its `what`.
pub(crate) fn by_machine<T>(
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

/// Keeps all use of a machine.
pub(crate) async fn put_total(
    connection: &mut AnyConnection,
    machine: i64,
    total: &Usage,
    names: &Names,
) -> Result<(), Error> {
    sqlx::query(
        "insert into total (machine, usage) values ($1, $2) on conflict (machine) do update set usage = excluded.usage",
    )
    .bind(machine)
    .bind(codec::usage_to_bytes(total, names))
    .execute(connection)
    .await?;
    Ok(())
}

/// Keeps the days with use of one month of a machine; a month without use has no row.
pub(crate) async fn put_month(
    connection: &mut AnyConnection,
    machine: i64,
    month: i64,
    days: &DaysOfMonth,
    names: &Names,
) -> Result<(), Error> {
    let query = if days.is_empty() {
        sqlx::query("delete from daily where month = $1 and machine = $2").bind(month).bind(machine)
    } else {
        sqlx::query(
            "insert into daily (month, machine, days) values ($1, $2, $3) \
             on conflict (month, machine) do update set days = excluded.days",
        )
        .bind(month)
        .bind(machine)
        .bind(codec::days_to_bytes(days, names))
    };
    query.execute(connection).await?;
    Ok(())
}

/// The days with use of a machine from month `from` on.
pub(crate) async fn days(
    connection: &mut AnyConnection,
    machine: i64,
    from: i64,
    names: &Names,
) -> Result<BTreeMap<Date, Usage>, Error> {
    let rows = sqlx::query("select month, days from daily where machine = $1 and month >= $2 order by month")
        .bind(machine)
        .bind(from)
        .fetch_all(connection)
        .await?;
    let mut days = BTreeMap::new();
    for row in &rows {
        let month: i64 = row.try_get(0)?;
        let mut impossible = false;
        let read = codec::for_each_day(row.try_get(1)?, names, |day, usage| match time::date(month, day) {
            Some(date) => drop(days.insert(date, usage)),
            None => impossible = true,
        });
        let read = if impossible { Err(Garbled) } else { read };
        readable(read, || format!("month {month} of machine {machine}"))?;
    }
    Ok(days)
}

/// How much of one quantity each machine did on each day from one to another, days without use left out.
pub(crate) async fn amounts_by_day(
    connection: &mut AnyConnection,
    [from, to]: [Date; 2],
    quantity: Quantity,
    names: &Names,
) -> Result<BTreeMap<(String, Date), f64>, Error> {
    let rows = sqlx::query(
        "select m.name, d.month, d.days from daily d join machine m on m.id = d.machine \
         where d.month >= $1 and d.month <= $2",
    )
    .bind(time::month(from))
    .bind(time::month(to))
    .fetch_all(connection)
    .await?;
    let mut amounts = BTreeMap::new();
    for row in &rows {
        let (name, month): (String, i64) = (row.try_get(0)?, row.try_get(1)?);
        let read = codec::for_each_day(row.try_get(2)?, names, |day, usage| {
            if let Some(date) = time::date(month, day).filter(|date| (from..=to).contains(date)) {
                amounts.insert((name.clone(), date), usage.amount(quantity));
            }
        });
        readable(read, || format!("month {month} of machine {name}"))?;
    }
    Ok(amounts)
}

/// When each care of a machine was last given.
pub(crate) async fn standings(connection: &mut AnyConnection, machine: i64, names: &Names) -> Result<Standings, Error> {
    let row =
        sqlx::query("select marks from standing where machine = $1").bind(machine).fetch_optional(connection).await?;
    let Some(row) = row else { return Ok(Standings::default()) };
    readable(codec::standings_from_bytes(row.try_get(0)?, names), || format!("the standings of machine {machine}"))
}

/// Keeps when each care of a machine was last given.
pub(crate) async fn put_standings(
    connection: &mut AnyConnection,
    machine: i64,
    standings: &Standings,
    names: &Names,
) -> Result<(), Error> {
    let query = match standings.newest() {
        None => sqlx::query("delete from standing where machine = $1").bind(machine),
        Some(newest) => sqlx::query(
            "insert into standing (machine, newest, marks) values ($1, $2, $3) \
             on conflict (machine) do update set newest = excluded.newest, marks = excluded.marks",
        )
        .bind(machine)
        .bind(time::to_micros(newest))
        .bind(codec::standings_to_bytes(standings, names)),
    };
    query.execute(connection).await?;
    Ok(())
}

/// The runs that stand and began on these machines at these instants, in µs.
pub(crate) async fn runs_at(
    connection: &mut AnyConnection,
    starts: impl IntoIterator<Item = (i64, i64)>,
    names: &Names,
) -> Result<HashMap<(i64, RunKey), EntryId>, Error> {
    let starts: BTreeSet<(i64, i64)> = starts.into_iter().collect();
    if starts.is_empty() {
        return Ok(HashMap::new());
    }
    let mut found: BTreeMap<i64, Vec<Entry>> = BTreeMap::new();
    for piece in starts.into_iter().collect::<Vec<_>>().chunks(MOST_STARTS) {
        let starts = padded(piece.to_vec());
        let text = format!(
            "with wanted (machine, at) as (values {}) select {}, e.machine from wanted w \
             join entry e on e.machine = w.machine and e.at = w.at join machine m on m.id = e.machine \
             where e.kind = 'run'",
            places(starts.len(), 2),
            entry_columns!()
        );
        let bind = |query: Statement, (machine, at): (i64, i64)| query.bind(machine).bind(at);
        for row in starts.into_iter().fold(sqlx::query(AssertSqlSafe(text)), bind).fetch_all(&mut *connection).await? {
            found.entry(row.try_get(12)?).or_default().push(entry_from_row(&row, names)?);
        }
    }
    let mut runs = HashMap::new();
    for (machine, entries) in found {
        let chains = chains(connection, machine).await?;
        for entry in entries.into_iter().filter(|entry| chains.is_newest(entry.id)) {
            if let Event::Run(run) = &entry.event {
                runs.insert((machine, (entry.at, run_name(run))), entry.id);
            }
        }
    }
    Ok(runs)
}

/// Starts that one statement looks for.
const MOST_STARTS: usize = 512;

/// Notes that a run is expected.
pub(crate) async fn put_queued(connection: &mut AnyConnection, machine: i64, entry: EntryId) -> Result<(), Error> {
    sqlx::query("insert into queued (entry, machine) values ($1, $2)")
        .bind(entry.0)
        .bind(machine)
        .execute(connection)
        .await?;
    Ok(())
}

/// Notes that a run is no longer expected.
pub(crate) async fn drop_queued(connection: &mut AnyConnection, entry: EntryId) -> Result<(), Error> {
    sqlx::query("delete from queued where entry = $1").bind(entry.0).execute(connection).await?;
    Ok(())
}

/// Notes that a limit of the shop's own stands.
pub(crate) async fn put_limit(connection: &mut AnyConnection, machine: i64, entry: EntryId) -> Result<(), Error> {
    sqlx::query("insert into own_limit (entry, machine) values ($1, $2)")
        .bind(entry.0)
        .bind(machine)
        .execute(connection)
        .await?;
    Ok(())
}

/// Notes that a limit of the shop's own stands no more.
async fn drop_limit(connection: &mut AnyConnection, entry: EntryId) -> Result<(), Error> {
    sqlx::query("delete from own_limit where entry = $1").bind(entry.0).execute(connection).await?;
    Ok(())
}

/// The entries of the runs that a machine expects, oldest first.
pub(crate) async fn queue(connection: &mut AnyConnection, machine: i64, names: &Names) -> Result<Vec<Entry>, Error> {
    Ok(queues(connection, &[machine], names).await?.remove(&machine).unwrap_or_default())
}

/// The entries of the runs that each of these machines expects, oldest first; those that expect none left out.
pub(crate) async fn queues(
    connection: &mut AnyConnection,
    machines: &[i64],
    names: &Names,
) -> Result<BTreeMap<i64, Vec<Entry>>, Error> {
    const LISTED: &str = concat!(
        "select ",
        entry_columns!(),
        ", q.machine from queued q join entry e on e.id = q.entry join machine m on m.id = q.machine where q.machine in"
    );
    listed(connection, LISTED, machines, names).await
}

/// The entries of the limits of the shop's own that stand, of each of these machines, in the order in which they were given.
pub(crate) async fn limits(
    connection: &mut AnyConnection,
    machines: &[i64],
    names: &Names,
) -> Result<BTreeMap<i64, Vec<Entry>>, Error> {
    const LISTED: &str = concat!(
        "select ",
        entry_columns!(),
        ", l.machine from own_limit l join entry e on e.id = l.entry join machine m on m.id = l.machine where l.machine in"
    );
    listed(connection, LISTED, machines, names).await
}

/// The readings of hour meters at or after `at`, in µs, that stand, of each of these machines, oldest first.
pub(crate) async fn hour_meters(
    connection: &mut AnyConnection,
    machines: &[i64],
    at: i64,
    names: &Names,
) -> Result<BTreeMap<i64, Vec<Entry>>, Error> {
    // An instant is a whole number and no text: it can stand in the statement.
    let query = format!(
        concat!(
            "select ",
            entry_columns!(),
            ", e.machine from entry e join machine m on m.id = e.machine \
             where e.kind = 'hour meter' and e.at >= {} and e.machine in"
        ),
        at
    );
    let mut readings = listed(connection, &query, machines, names).await?;
    let read: Vec<i64> = readings.keys().copied().collect();
    if !read.is_empty() {
        let query = "select id, corrects from entry where corrects is not null and machine in";
        let chains = pairs(&of_machines(connection, query, &read).await?)?;
        readings.values_mut().for_each(|entries| entries.retain(|entry| chains.is_newest(entry.id)));
    }
    Ok(readings)
}

/// The entries that a list has, by machine, the oldest first. The query is as for [`of_machines`] and gives an
/// entry's columns, and behind them the machine's number.
async fn listed(
    connection: &mut AnyConnection,
    query: &str,
    machines: &[i64],
    names: &Names,
) -> Result<BTreeMap<i64, Vec<Entry>>, Error> {
    let mut listed: BTreeMap<i64, Vec<Entry>> = BTreeMap::new();
    for row in of_machines(connection, query, machines).await? {
        listed.entry(row.try_get(12)?).or_default().push(entry_from_row(&row, names)?);
    }
    listed.values_mut().for_each(|entries| entries.sort_by_key(|entry| (entry.at, entry.id)));
    Ok(listed)
}

/// All derived rows of a machine as they are kept.
pub(crate) async fn derived(
    connection: &mut AnyConnection,
    machine: &MachineRow,
    names: &Names,
) -> Result<Derived, Error> {
    let id = machine.id;
    let queue: Vec<i64> =
        sqlx::query_scalar("select entry from queued where machine = $1").bind(id).fetch_all(&mut *connection).await?;
    let limits: Vec<i64> = sqlx::query_scalar("select entry from own_limit where machine = $1")
        .bind(id)
        .fetch_all(&mut *connection)
        .await?;
    Ok(Derived {
        joined: machine.joined.clone(),
        total: total(connection, id, names).await?,
        days: days(connection, id, i64::MIN, names).await?,
        standings: standings(connection, id, names).await?,
        queue: queue.into_iter().map(EntryId).collect(),
        limits: limits.into_iter().map(EntryId).collect(),
    })
}

/// Throws all derived rows of a machine away.
pub(crate) async fn clear_derived(connection: &mut AnyConnection, machine: i64) -> Result<(), Error> {
    for statement in [
        "delete from daily where machine = $1",
        "delete from standing where machine = $1",
        "delete from total where machine = $1",
        "delete from queued where machine = $1",
        "delete from own_limit where machine = $1",
        "update machine set build = null, added_at = null, added_entry = null where id = $1",
    ] {
        sqlx::query(statement).bind(machine).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Turns the rows that hold `old` into rows that hold `new`, touching only what differs.
pub(crate) async fn put_derived(
    connection: &mut AnyConnection,
    machine: i64,
    old: &Derived,
    new: &Derived,
    names: &Names,
) -> Result<(), Error> {
    if old.joined != new.joined {
        put_joined(connection, machine, new.joined.as_ref()).await?;
    }
    if old.total != new.total {
        put_total(connection, machine, &new.total, names).await?;
    }
    if old.standings != new.standings {
        put_standings(connection, machine, &new.standings, names).await?;
    }
    let (old_months, new_months) = (by_month(&old.days), by_month(&new.days));
    let none = DaysOfMonth::new();
    let months: BTreeSet<i64> = old_months.keys().chain(new_months.keys()).copied().collect();
    for month in months {
        let days = new_months.get(&month).unwrap_or(&none);
        if old_months.get(&month) != Some(days) {
            put_month(connection, machine, month, days, names).await?;
        }
    }
    for id in old.queue.difference(&new.queue) {
        drop_queued(connection, *id).await?;
    }
    for id in new.queue.difference(&old.queue) {
        put_queued(connection, machine, *id).await?;
    }
    for id in old.limits.difference(&new.limits) {
        drop_limit(connection, *id).await?;
    }
    for id in new.limits.difference(&old.limits) {
        put_limit(connection, machine, *id).await?;
    }
    Ok(())
}

fn by_month(days: &BTreeMap<Date, Usage>) -> BTreeMap<i64, DaysOfMonth> {
    let mut months: BTreeMap<i64, DaysOfMonth> = BTreeMap::new();
    for (date, usage) in days {
        months.entry(time::month(*date)).or_default().insert(time::day_of_month(*date), usage.clone());
    }
    months
}
