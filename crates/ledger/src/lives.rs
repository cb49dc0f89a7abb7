//! What lives of parts are told by, without reading every run: how parts ended, and the use up to each end.

use std::collections::{BTreeMap, BTreeSet};

use upkeep::lives::Place;
use upkeep::{Entry, Usage};

use crate::names::Names;
use crate::read::present;
use crate::tables::{self, MachineRow};
use crate::{Error, Kind, Ledger, time};

/// Connections that read at once. More gain little: the disk's cache serves them all.
const READERS: usize = 2;

/// What tells of lives, besides the tasks that look at parts.
const TELLING: [Kind; 5] = [Kind::Added, Kind::Age, Kind::Failed, Kind::Limit, Kind::Replaced];

impl Ledger {
    /// The entries that stand and say how machines joined, how old their parts were, which limits are the shop's own,
    /// and how parts failed or were replaced; and those by which one of the tasks `looks` was done. Oldest first, by machine.
    ///
    /// # Errors
    /// Where the database refuses or an entry cannot be read.
    pub async fn ends(&self, looks: &BTreeSet<&str>) -> Result<BTreeMap<String, Vec<Entry>>, Error> {
        let mut snapshot = self.snapshot().await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let chains = tables::all_chains(&mut snapshot).await?;
        let mut found = Vec::new();
        for kind in TELLING {
            found.extend(tables::entries_of_kind(&mut snapshot, kind, None, &names).await?);
        }
        for look in looks {
            found.extend(tables::entries_of_kind(&mut snapshot, Kind::Done, Some(look), &names).await?);
        }
        let mut ends: BTreeMap<String, Vec<Entry>> = BTreeMap::new();
        for entry in found.into_iter().filter(|entry| chains.is_newest(entry.id)) {
            ends.entry(entry.machine.clone()).or_default().push(entry);
        }
        ends.values_mut().for_each(|entries| entries.sort_by_key(|entry| (entry.at, entry.id)));
        Ok(ends)
    }

    /// The use of each of these machines before each of its marks. Runs before a machine's first mark are not read, so a
    /// machine that is asked only of its whole use costs nearly nothing. Uses two threads of a runtime that has them.
    ///
    /// # Errors
    /// [`Error::NoSuchMachine`]; where the database refuses or an entry cannot be read.
    pub async fn used_before(
        &self,
        marks: &BTreeMap<String, BTreeSet<Place>>,
    ) -> Result<BTreeMap<String, BTreeMap<Place, Usage>>, Error> {
        let all: Vec<(String, BTreeSet<Place>)> =
            marks.iter().map(|(machine, marks)| (machine.clone(), marks.clone())).collect();
        let share = all.len().div_ceil(READERS).max(1);
        let readers: Vec<_> =
            all.chunks(share).map(|share| tokio::spawn(read_share(self.clone(), share.to_vec()))).collect();
        let mut used = BTreeMap::new();
        for reader in readers {
            // OK because a reader is never aborted, and a panic in one is a panic here.
            used.extend(reader.await.expect("a reader ends by itself")?);
        }
        Ok(used)
    }
}

/// Reads the use of some machines over a connection of its own.
async fn read_share(
    ledger: Ledger,
    share: Vec<(String, BTreeSet<Place>)>,
) -> Result<Vec<(String, BTreeMap<Place, Usage>)>, Error> {
    let mut connection = ledger.pool.acquire().await?;
    let names = tables::names(&mut connection, &ledger.quantities).await?;
    drop(connection);
    let mut used = Vec::with_capacity(share.len());
    for (name, marks) in share {
        // Of one instant, so that the total is that of the runs.
        let mut snapshot = ledger.snapshot().await?;
        let machine = present(&mut snapshot, &name).await?;
        used.push((name, at_marks(&mut snapshot, &machine, marks, &names).await?));
        snapshot.commit().await?;
    }
    Ok(used)
}

/// The machine's use before each mark: all of it, less what came since.
async fn at_marks(
    connection: &mut sqlx::AnyConnection,
    machine: &MachineRow,
    marks: BTreeSet<Place>,
    names: &Names,
) -> Result<BTreeMap<Place, Usage>, Error> {
    let mut before = BTreeMap::new();
    let Some((first, _)) = marks.first() else { return Ok(before) };
    let mut later = tables::uses_from(connection, machine.id, time::to_micros(*first), names).await?;
    let mut left = tables::total(connection, machine.id, names).await?;
    for mark in marks.into_iter().rev() {
        while let Some((_, usage)) = later.pop_if(|(place, _)| mark <= *place) {
            left.subtract(&usage);
        }
        before.insert(mark, left.clone());
    }
    Ok(before)
}
