//! The visits that people have been told of, those called off among them.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use sqlx::AnyConnection;
use upkeep::shop::Visit;
use upkeep::{Entry, EntryId, Event};

use crate::names::Names;
use crate::tables;
use crate::{Error, Ledger};

/// A visit that people have been told of, as it stands now.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// The number of its first entry: its own, however often it is moved.
    pub id: EntryId,
    /// How often it was changed since, being called off included.
    pub sequence: usize,
    /// The machine.
    pub machine: String,
    /// What was told last; of one called off, what was told before.
    pub visit: Visit,
    /// Whether it was called off.
    pub is_cancelled: bool,
}

impl Told {
    /// Whether it is still to be walked: neither called off nor walked.
    pub fn stands(&self) -> bool {
        !self.is_cancelled && self.visit.took.is_none()
    }
}

impl Ledger {
    /// The visits that lie on `from` or later as told last, by day and number, those called off among them. One that was
    /// moved to an earlier day is left out.
    ///
    /// # Errors
    /// Where the database refuses or an entry cannot be read.
    pub async fn visits(&self, from: Date) -> Result<Vec<Told>, Error> {
        let mut snapshot = self.snapshot().await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let chains = tables::all_chains(&mut snapshot).await?;
        let versions = tables::visits_from(&mut snapshot, from, &names).await?;
        let by_id: BTreeMap<EntryId, &Entry> = versions.iter().map(|entry| (entry.id, entry)).collect();
        let roots: BTreeSet<EntryId> = by_id.keys().map(|id| chains.root(*id)).collect();
        let mut told = Vec::with_capacity(roots.len());
        for root in roots {
            let (newest, sequence) = (chains.newest(root), chains.corrections(root).len());
            let last = match by_id.contains_key(&newest) {
                true => newest,
                false => last_told(&mut snapshot, root, chains.corrections(root), &names).await?,
            };
            // Where it is missing, what was told last lies on an earlier day.
            if let Some(Entry { machine, event: Event::Visit(visit), .. }) = by_id.get(&last) {
                let (machine, visit) = (machine.clone(), visit.clone());
                told.push(Told { id: root, sequence, machine, visit, is_cancelled: last != newest });
            }
        }
        told.sort_by_key(|told| (told.visit.day, told.id));
        Ok(told)
    }

    /// The visit of that number, on whatever day; `None` where no visit has it.
    ///
    /// # Errors
    /// Where the database refuses or an entry cannot be read.
    pub async fn visit(&self, id: EntryId) -> Result<Option<Told>, Error> {
        let mut snapshot = self.snapshot().await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let first = match tables::entry(&mut snapshot, id, &names).await {
            Err(Error::NoSuchEntry { .. }) => return Ok(None),
            first => first?,
        };
        if !matches!(first, Entry { event: Event::Visit(_), corrects: None, .. }) {
            return Ok(None);
        }
        let Some(machine) = tables::machine(&mut snapshot, &first.machine).await? else { return Ok(None) };
        let chains = tables::chains(&mut snapshot, machine.id).await?;
        let (newest, sequence) = (chains.newest(id), chains.corrections(id).len());
        let last = last_told(&mut snapshot, id, chains.corrections(id), &names).await?;
        let told = tables::entry(&mut snapshot, last, &names).await?;
        let Event::Visit(visit) = told.event else { return Err(Error::Damaged { what: format!("visit {id}") }) };
        Ok(Some(Told { id, sequence, machine: told.machine, visit, is_cancelled: last != newest }))
    }
}

/// The newest entry of a chain that does not withdraw it.
async fn last_told(
    connection: &mut AnyConnection,
    root: EntryId,
    corrections: &[EntryId],
    names: &Names,
) -> Result<EntryId, Error> {
    for &id in corrections.iter().rev() {
        if tables::entry(connection, id, names).await?.event != Event::Withdrawn {
            return Ok(id);
        }
    }
    Ok(root)
}
