//! Reading: entries as they were written, and what stands.

use jiff::Timestamp;
use jiff::civil::Date;
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};
use upkeep::entry::Basis;
use upkeep::{DayUse, Entry, EntryId, Event, Rates};

use crate::append::no_such_machine;
use crate::chains::Chains;
use crate::names::Names;
use crate::tables::{self, MachineRow, entry_columns};
use crate::{Error, Kind, Ledger, record, time};

/// A machine as the shop knows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MachineInfo {
    /// Its name.
    pub name: String,
    /// The name of its build.
    pub build: String,
    /// When it joined the shop.
    pub added: Timestamp,
    /// The entry that says so.
    pub entry: EntryId,
}

/// Which entries to list.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    /// Of this machine only; the empty name is the shop itself.
    pub machine: Option<String>,
    /// Of this kind only.
    pub kind: Option<Kind>,
    /// Only those about this build, label, task, position, day, keeper or item.
    pub about: Option<String>,
    /// Only those before this one in the list: the instant and number of the last entry of the page before.
    pub before: Option<(Timestamp, EntryId)>,
    /// Only those that happened at this instant or later.
    pub from: Option<Timestamp>,
    /// Only those that happened before this instant.
    pub to: Option<Timestamp>,
}

impl Filter {
    /// The place in the list before which all that is asked for lies: an instant, µs, and an entry.
    fn end(&self) -> (i64, i64) {
        let before = self.before.map_or((i64::MAX, i64::MAX), |(at, id)| (time::to_micros(at), id.0));
        self.to.map_or(before, |to| before.min((time::to_micros(to), i64::MIN)))
    }
}

/// By what a list is found; each has an index that serves it, but for what is about something on any machine and of any kind,
/// which is looked for along the time.
enum Index {
    Machine,
    Kind,
    KindAbout,
    All,
}

impl Index {
    fn of(filter: &Filter) -> Index {
        match (&filter.machine, filter.kind, &filter.about) {
            (Some(_), ..) => Index::Machine,
            (None, Some(kind), Some(_)) if kind != Kind::Run => Index::KindAbout,
            (None, Some(kind), None) if kind != Kind::Run => Index::Kind,
            _ => Index::All,
        }
    }

    fn text(&self) -> &'static str {
        match self {
            Index::Machine => concat!(
                "select ",
                entry_columns!(),
                " from entry e join machine m on m.id = e.machine where e.machine = $6 and (e.at, e.id) < ($1, $2) \
                  and $8 <= e.at and ($3 = '' or e.kind = $3) and ($4 = 0 or e.about = $5) \
                  order by e.at desc, e.id desc limit $7"
            ),
            Index::Kind => concat!(
                "select ",
                entry_columns!(),
                " from entry e join machine m on m.id = e.machine where e.kind = $3 and e.kind <> 'run' and $4 = 0 and $5 = '' \
                  and $6 = 0 and (e.at, e.id) < ($1, $2) and $8 <= e.at order by e.at desc, e.id desc limit $7"
            ),
            Index::KindAbout => concat!(
                "select ",
                entry_columns!(),
                " from entry e join machine m on m.id = e.machine where e.kind = $3 and e.kind <> 'run' and e.about = $5 \
                  and $4 = 1 and $6 = 0 and (e.at, e.id) < ($1, $2) and $8 <= e.at order by e.at desc, e.id desc limit $7"
            ),
            Index::All => concat!(
                "select ",
                entry_columns!(),
                " from entry e join machine m on m.id = e.machine where (e.at, e.id) < ($1, $2) and $8 <= e.at \
                  and ($3 = '' or e.kind = $3) and ($4 = 0 or e.about = $5) and $6 = 0 \
                  order by e.at desc, e.id desc limit $7"
            ),
        }
    }
}

/// An entry in a list.
#[derive(Clone, Debug, PartialEq)]
pub struct Listed {
    /// The entry as it was written.
    pub entry: Entry,
    /// The newest correction that replaces or withdraws it.
    pub replaced_by: Option<EntryId>,
    /// Who recorded it; `None` where nobody had been asked.
    pub by: Option<String>,
}

impl Ledger {
    /// The machines in the shop, by name.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn machines(&self) -> Result<Vec<MachineInfo>, Error> {
        let mut connection = self.pool.acquire().await?;
        let rows = tables::machines(&mut connection).await?;
        let info = |row: MachineRow| {
            row.joined.map(|joined| MachineInfo {
                name: row.name,
                build: joined.build,
                added: joined.at,
                entry: joined.entry,
            })
        };
        Ok(rows.into_iter().filter_map(info).collect())
    }

    /// One entry as it was written.
    ///
    /// # Errors
    /// [`Error::NoSuchEntry`].
    pub async fn entry(&self, id: EntryId) -> Result<Entry, Error> {
        let mut connection = self.pool.acquire().await?;
        let names = tables::names(&mut connection, &self.quantities).await?;
        tables::entry(&mut connection, id, &names).await
    }

    /// What holds now of entry `id`: its newest correction, or itself.
    ///
    /// # Errors
    /// [`Error::NoSuchEntry`].
    pub async fn newest(&self, id: EntryId) -> Result<Entry, Error> {
        let machine = self.entry(id).await?.machine;
        let mut snapshot = self.snapshot().await?;
        let machine = holder(&mut snapshot, &machine).await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let chains = tables::chains(&mut snapshot, machine.id).await?;
        tables::entry(&mut snapshot, chains.newest(id), &names).await
    }

    /// Up to `limit` entries as they were written, the latest to happen first.
    ///
    /// # Errors
    /// [`Error::NoSuchMachine`].
    pub async fn entries(&self, filter: &Filter, limit: u32) -> Result<Vec<Listed>, Error> {
        let mut snapshot = self.snapshot().await?;
        let machine = match &filter.machine {
            Some(name) => Some(holder(&mut snapshot, name).await?.id),
            None => None,
        };
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let (at, id) = filter.end();
        let rows = sqlx::query(Index::of(filter).text())
            .bind(at)
            .bind(id)
            .bind(filter.kind.map_or("", Kind::word))
            .bind(i64::from(filter.about.is_some()))
            .bind(filter.about.clone().unwrap_or_default())
            .bind(machine.unwrap_or(0))
            .bind(i64::from(limit))
            .bind(filter.from.map_or(i64::MIN, time::to_micros))
            .fetch_all(&mut *snapshot)
            .await?;
        let chains = match machine {
            Some(machine) => tables::chains(&mut snapshot, machine).await?,
            None => tables::all_chains(&mut snapshot).await?,
        };
        rows.iter().map(|row| listed(row, &names, &chains)).collect()
    }

    /// The runs of a machine, as they were written and the latest first, of the program of that SHA-256 of which the use was
    /// estimated because its file was not there.
    ///
    /// # Errors
    /// [`Error::NoSuchMachine`].
    pub async fn estimated_runs(&self, machine: &str, program: &str) -> Result<Vec<Listed>, Error> {
        let mut snapshot = self.snapshot().await?;
        let machine = present(&mut snapshot, machine).await?.id;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let rows = sqlx::query(concat!(
            "select ",
            entry_columns!(),
            " from entry e join machine m on m.id = e.machine where e.machine = $1 and e.kind = 'run' and e.alike is null \
             and e.body like $2 order by e.at desc, e.id desc"
        ))
        .bind(machine)
        .bind(format!("%{}%", record::of_program(program)))
        .fetch_all(&mut *snapshot)
        .await?;
        let chains = tables::chains(&mut snapshot, machine).await?;
        let all = rows.iter().map(|row| listed(row, &names, &chains)).collect::<Result<Vec<Listed>, Error>>()?;
        let is_estimated = |listed: &Listed| match &listed.entry.event {
            Event::Run(run) => run.basis != Basis::Metered && run.program.as_deref() == Some(program),
            _ => false,
        };
        Ok(all.into_iter().filter(is_estimated).collect())
    }

    /// The entries of a machine that stand, oldest first: corrected ones as corrected, withdrawn ones left out.
    ///
    /// # Errors
    /// [`Error::NoSuchMachine`].
    pub async fn effective(&self, machine: &str) -> Result<Vec<Entry>, Error> {
        let mut snapshot = self.snapshot().await?;
        let machine = present(&mut snapshot, machine).await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        Ok(tables::effective(&mut snapshot, machine.id, &names).await?.0)
    }

    /// What things cost in the shop's money, by all that was said of it and stands.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn rates(&self) -> Result<Rates, Error> {
        let entries = self.of_the_shop().await?;
        let said = entries.iter().filter_map(|entry| match &entry.event {
            Event::Rates(rates) => Some(rates),
            _ => None,
        });
        Ok(said.fold(Rates::default(), Rates::with))
    }

    /// The runs that a machine expects, oldest first.
    ///
    /// # Errors
    /// [`Error::NoSuchMachine`].
    pub async fn queue(&self, machine: &str) -> Result<Vec<Entry>, Error> {
        let mut snapshot = self.snapshot().await?;
        let machine = present(&mut snapshot, machine).await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        tables::queue(&mut snapshot, machine.id, &names).await
    }

    /// Use per day of a machine from `from` on (`None`: from the first day), days without use left out.
    ///
    /// # Errors
    /// [`Error::NoSuchMachine`].
    pub async fn days(&self, machine: &str, from: Option<Date>) -> Result<Vec<DayUse>, Error> {
        let mut snapshot = self.snapshot().await?;
        let machine = present(&mut snapshot, machine).await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let days = tables::days(&mut snapshot, machine.id, from.map_or(i64::MIN, time::month), &names).await?;
        let covered = |date: &Date| from.is_none_or(|from| from <= *date);
        Ok(days.into_iter().filter(|(date, _)| covered(date)).map(|(date, usage)| DayUse { date, usage }).collect())
    }
}

/// The row that holds the entries of a machine that is in the shop now, or of the shop itself.
async fn holder(connection: &mut AnyConnection, name: &str) -> Result<MachineRow, Error> {
    match tables::machine(connection, name).await? {
        Some(row) if row.is_the_shop() => Ok(row),
        _ => present(connection, name).await,
    }
}

/// The machine of that name, if it is in the shop now.
pub(crate) async fn present(connection: &mut AnyConnection, name: &str) -> Result<MachineRow, Error> {
    match tables::machine(connection, name).await? {
        Some(row) if row.joined.is_some() => Ok(row),
        _ => Err(no_such_machine(connection, name).await?),
    }
}

fn listed(row: &AnyRow, names: &Names, chains: &Chains) -> Result<Listed, Error> {
    let entry = tables::entry_from_row(row, names)?;
    let newest = chains.newest(entry.id);
    Ok(Listed { replaced_by: (newest != entry.id).then_some(newest), by: row.try_get("recorded_by")?, entry })
}
