//! What the shop says of itself: keepers, and stores with the care that takes out of them.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::Timestamp;
use sqlx::AnyConnection;
use upkeep::shop::{self, Book, Item, Rostered, Use};
use upkeep::{Build, Entry, EntryId};

use crate::names::Names;
use crate::tables;
use crate::{Error, Ledger, catalogue, time};

impl Ledger {
    /// The entries of the shop itself that stand, oldest first.
    ///
    /// # Errors
    /// Where the database refuses or an entry cannot be read.
    pub async fn of_the_shop(&self) -> Result<Vec<Entry>, Error> {
        let mut snapshot = self.snapshot().await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        said(&mut snapshot, &names).await
    }

    /// The keepers of the shop and their days off, by name.
    ///
    /// # Errors
    /// As [`Ledger::of_the_shop`].
    pub async fn keepers(&self) -> Result<Vec<Rostered>, Error> {
        Ok(shop::keepers(&self.of_the_shop().await?))
    }

    /// Everything in the stores, by name, and what care used besides. Use is read from `used_from` on, where that is
    /// earlier than what the stocks need: no more is known of [`Item::used`] than that.
    ///
    /// # Errors
    /// [`Error::BadBuild`]; where the database refuses or an entry cannot be read.
    pub async fn stores(&self, used_from: Option<Timestamp>) -> Result<Vec<Item>, Error> {
        self.stores_by(used_from, Timestamp::MAX, None).await
    }

    /// Everything in the stores as it was once all had happened that happened by `until`, as if entry `without` had never
    /// been made.
    ///
    /// # Errors
    /// As [`Ledger::stores`].
    pub async fn stores_at(&self, until: Timestamp, without: Option<EntryId>) -> Result<Vec<Item>, Error> {
        self.stores_by(None, until, without).await
    }

    /// What is in the stores, without how much was used on which day. Where `last` is there, the care of its `changed` machines alone
    /// is read: nothing but runs may have been recorded of others since, and no build been described anew.
    ///
    /// # Errors
    /// As [`Ledger::stores`].
    pub async fn stock(&self, last: Option<(&Stock, &[&str])>) -> Result<Stock, Error> {
        let mut snapshot = self.snapshot().await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let book = Book::new(said(&mut snapshot, &names).await?);
        let Some(from) = book.used_from() else { return Ok(Stock::of(book, BTreeMap::new())) };
        let Some((last, changed)) = last.filter(|(last, _)| last.book == book) else {
            let mut drawn: BTreeMap<String, Vec<Use>> = BTreeMap::new();
            for one in self.uses(&mut snapshot, from, &names).await? {
                drawn.entry(one.machine.clone()).or_default().push(one);
            }
            let drawn = drawn.into_iter().map(|(machine, uses)| (machine, book.sum(&uses).into())).collect();
            return Ok(Stock::of(book, drawn));
        };
        let chains = tables::all_chains(&mut snapshot).await?;
        let builds = self.builds_by_machine(&mut snapshot).await?;
        let mut drawn = last.drawn.clone();
        for machine in tables::machines_named(&mut snapshot, changed).await? {
            let mut care = tables::care_of(&mut snapshot, machine.id, time::to_micros(from), &names).await?;
            care.retain(|entry| chains.is_newest(entry.id));
            let uses = shop::uses(&care, |machine| builds.get(machine).map(Arc::as_ref), &self.shop.zone);
            drawn.insert(machine.name, book.sum(&uses).into());
        }
        Ok(Stock::of(book, drawn))
    }

    async fn stores_by(
        &self,
        used_from: Option<Timestamp>,
        until: Timestamp,
        without: Option<EntryId>,
    ) -> Result<Vec<Item>, Error> {
        let mut snapshot = self.snapshot().await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let mut said = said(&mut snapshot, &names).await?;
        said.retain(|entry| entry.at <= until && Some(entry.id) != without);
        let from = used_from.into_iter().chain(shop::used_from(&said)).min();
        let mut uses = match from {
            Some(from) => self.uses(&mut snapshot, from, &names).await?,
            None => Vec::new(),
        };
        uses.retain(|one| one.at <= until);
        Ok(shop::stores(&said, &uses))
    }

    /// What care used at or after `from`.
    async fn uses(&self, connection: &mut AnyConnection, from: Timestamp, names: &Names) -> Result<Vec<Use>, Error> {
        let chains = tables::all_chains(connection).await?;
        let builds = self.builds_by_machine(connection).await?;
        let mut uses = Vec::new();
        tables::each_care(connection, time::to_micros(from), names, |mut care| {
            care.retain(|entry| chains.is_newest(entry.id));
            uses.extend(shop::uses(&care, |machine| builds.get(machine).map(Arc::as_ref), &self.shop.zone));
        })
        .await?;
        Ok(uses)
    }

    /// The build of every machine in the shop, by the machine's name.
    async fn builds_by_machine(&self, connection: &mut AnyConnection) -> Result<BTreeMap<String, Arc<Build>>, Error> {
        let machines = tables::machines(connection).await?;
        let joined = || machines.iter().filter_map(|machine| Some((machine, machine.joined.as_ref()?)));
        let wanted: BTreeSet<&str> = joined().map(|(_, joined)| joined.build.as_str()).collect();
        let builds = catalogue::builds(connection, &wanted, &self.parsed).await?;
        let build_of = |build: &str| builds.get(build).cloned();
        Ok(joined().filter_map(|(machine, joined)| Some((machine.name.clone(), build_of(&joined.build)?))).collect())
    }
}

/// What is in the stores, and of what that was told.
#[derive(Clone, Debug)]
pub struct Stock {
    book: Book,
    /// What the care of each machine used, summed.
    drawn: BTreeMap<String, Arc<[Use]>>,
    items: Vec<Item>,
}

impl Stock {
    fn of(book: Book, drawn: BTreeMap<String, Arc<[Use]>>) -> Stock {
        let items = book.items(&book.sum(drawn.values().flat_map(|uses| uses.iter())));
        Stock { book, drawn, items }
    }

    /// The items, by name.
    pub fn items(&self) -> &[Item] {
        &self.items
    }
}

async fn said(connection: &mut AnyConnection, names: &Names) -> Result<Vec<Entry>, Error> {
    // OK because the row of the shop itself comes with the shape of every database.
    let shop = tables::machine(connection, tables::THE_SHOP).await?;
    let shop = shop.ok_or_else(|| Error::Damaged { what: "the row of the shop itself".to_owned() })?;
    Ok(tables::effective(connection, shop.id, names).await?.0)
}
