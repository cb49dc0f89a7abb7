//! Faults of machines: what was recorded of them, and that an answer belongs to one that is open.

use sqlx::AnyConnection;
use upkeep::fault::said::{Answered, Over};
use upkeep::{Entry, EntryId, Event};

use crate::chains::Chains;
use crate::names::Names;
use crate::tables::{self, MachineRow};
use crate::{Error, Kind, Ledger};

/// What is recorded of faults on machines.
const OF_A_FAULT: [Kind; 3] = [Kind::FaultShown, Kind::FaultAnswered, Kind::FaultOver];

impl Ledger {
    /// The entries that stand and tell of faults on any machine, oldest first. A correction goes by the number of the entry
    /// that it corrects: a fault's number stays.
    ///
    /// # Errors
    /// Where the database refuses or an entry cannot be read.
    pub async fn faults(&self) -> Result<Vec<Entry>, Error> {
        let mut snapshot = self.snapshot().await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let chains = tables::all_chains(&mut snapshot).await?;
        let mut found = Vec::new();
        for kind in OF_A_FAULT {
            found.extend(tables::entries_of_kind(&mut snapshot, kind, None, &names).await?);
        }
        found.retain(|entry| chains.is_newest(entry.id));
        found.iter_mut().for_each(|entry| entry.id = chains.root(entry.id));
        found.sort_by_key(|entry| (entry.at, entry.id));
        Ok(found)
    }
}

/// Whether an event can only be recorded while a fault is open.
pub(crate) fn asks_of_a_fault(event: &Event) -> bool {
    matches!(event, Event::FaultAnswered(_) | Event::FaultOver(_))
}

/// Refuses an answer to, or an end of, what is no fault of the machine or is over.
pub(crate) async fn check_open(
    connection: &mut AnyConnection,
    machine: &MachineRow,
    event: &Event,
    names: &Names,
) -> Result<(), Error> {
    let (Event::FaultAnswered(Answered { fault, .. }) | Event::FaultOver(Over { fault, .. })) = event else {
        return Ok(());
    };
    let none = || Error::NoSuchFault { id: *fault, machine: machine.name.clone() };
    let chains = tables::chains(connection, machine.id).await?;
    let first = match tables::entry(connection, chains.newest(*fault), names).await {
        Err(Error::NoSuchEntry { .. }) => return Err(none()),
        first => first?,
    };
    if first.machine != machine.name || !matches!(first.event, Event::FaultShown(_)) || chains.root(*fault) != *fault {
        return Err(none());
    }
    match is_over(connection, *fault, &chains, names).await? {
        true => Err(Error::FaultIsOver { id: *fault }),
        false => Ok(()),
    }
}

/// Whether an end of the fault stands.
async fn is_over(
    connection: &mut AnyConnection,
    fault: EntryId,
    chains: &Chains,
    names: &Names,
) -> Result<bool, Error> {
    let about = fault.to_string();
    let ends = tables::entries_of_kind(connection, Kind::FaultOver, Some(&about), names).await?;
    Ok(ends.iter().any(|end| chains.is_newest(end.id)))
}
