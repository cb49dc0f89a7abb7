//! Opening a shop.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicU64;

use jiff::tz::TimeZone;
use sqlx::{Any, AnyConnection, AnyPool, Connection, Transaction};

use crate::booker::Booker;
use crate::catalogue::Parsed;
use crate::names::Names;
use crate::place::{Engine, Place};
use crate::schema::{self, Shape};
use crate::{Error, tables};

/// A shop's record, open for reading and writing. Cheap to clone; clones share their connections.
#[derive(Clone, Debug)]
pub struct Ledger {
    pub(crate) pool: AnyPool,
    pub(crate) engine: Engine,
    /// The file that holds it, if it is one.
    pub(crate) file: Option<Arc<Path>>,
    pub(crate) shop: Shop,
    /// The ids of the quantities; those of materials grow and are read anew each time.
    pub(crate) quantities: Names,
    pub(crate) parsed: Parsed,
    /// Who records, where that is known.
    pub(crate) by: Option<Arc<str>>,
    /// The server's address, where there is one.
    pub(crate) address: Option<Arc<str>>,
    /// The revision that the machine's record must still have when something is added to it.
    pub(crate) read_at: Option<i64>,
    /// Where entries wait for each other.
    pub(crate) booker: Option<Booker>,
    /// How often something was recorded through this ledger and its clones.
    pub(crate) recordings: Arc<AtomicU64>,
}

/// The shop itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Shop {
    /// Its name.
    pub name: String,
    /// The time zone by whose days it counts.
    pub zone: TimeZone,
    /// That zone's name in the IANA database.
    pub zone_name: String,
}

impl Ledger {
    /// Makes a new shop at a path, or in the empty database of a server (`postgres://…`).
    ///
    /// # Errors
    /// Where there is one already, the place cannot be written, or the zone is not known.
    pub async fn create(at: &str, name: &str, zone: &str) -> Result<Ledger, Error> {
        if name.trim().is_empty() {
            return Err(Error::Nameless { what: "shop" });
        }
        zone_of(zone)?;
        let place = Place::parse(at);
        refuse_folder(&place)?;
        let mut connection = connect(&place, true).await?;
        let shape = look(&mut connection, &place).await?;
        schema::check(&place, shape)?;
        if shape == Shape::Empty {
            place.settle(&mut connection).await?;
        } else if let Some(shop) = shop(&mut connection).await? {
            return Err(Error::ShopExists { place: place.shown, name: shop.name });
        }
        schema::migrate(&mut connection, &place, shape).await?;
        let inserted = sqlx::query("insert into shop (id, name, zone) values (1, $1, $2) on conflict (id) do nothing")
            .bind(name)
            .bind(zone)
            .execute(&mut connection)
            .await?;
        let ledger = Ledger::over(connection, &place).await?;
        match inserted.rows_affected() {
            0 => Err(Error::ShopExists { place: place.shown, name: ledger.shop.name }),
            _ => Ok(ledger),
        }
    }

    /// Opens the shop at a path or a server's address. A shop of an older version is brought up to date.
    ///
    /// # Errors
    /// Where there is none, it is of a newer version, or it cannot be read or written.
    pub async fn open(at: &str) -> Result<Ledger, Error> {
        let place = Place::parse(at);
        refuse_folder(&place)?;
        if place.file().is_some_and(|file| matches!(file.try_exists(), Ok(false))) {
            return Err(Error::NoShop { place: place.shown });
        }
        let mut connection = connect(&place, false).await?;
        match look(&mut connection, &place).await? {
            Shape::Empty => return Err(Error::NoShop { place: place.shown }),
            shape => {
                schema::migrate(&mut connection, &place, shape).await?;
                place.settle(&mut connection).await?;
            }
        }
        Ledger::over(connection, &place).await
    }

    /// The ledger behind a connection to a shop that is up to date.
    async fn over(mut connection: AnyConnection, place: &Place) -> Result<Ledger, Error> {
        let ledger = Ledger::behind(&mut connection, place).await?;
        connection.close().await?;
        Ok(ledger)
    }

    /// The ledger of the shop that a connection sees, which may be one that nobody else sees yet.
    pub(crate) async fn behind(connection: &mut AnyConnection, place: &Place) -> Result<Ledger, Error> {
        let shop = shop(connection).await?.ok_or_else(|| Error::NoShop { place: place.shown.clone() })?;
        let quantities = tables::quantity_names(connection).await?;
        let pool = place.pool()?;
        let (engine, address) = (place.engine, place.address());
        let (file, parsed) = (place.file().map(Arc::from), Parsed::default());
        Ok(Ledger {
            pool,
            engine,
            file,
            shop,
            quantities,
            parsed,
            by: None,
            address,
            read_at: None,
            booker: None,
            recordings: Arc::default(),
        })
    }

    /// A path or address as messages may show it, without a password.
    pub fn shown(at: &str) -> String {
        Place::parse(at).shown
    }

    /// The shop's name and time zone.
    pub fn shop(&self) -> &Shop {
        &self.shop
    }

    /// The same ledger for one machine's record as it stood at this revision ([`Ledger::revision`]): who decided by what they read
    /// adds nothing to what has moved on since ([`Error::MovedOn`]), and reads again.
    pub fn as_read_at(&self, revision: i64) -> Ledger {
        Ledger { read_at: Some(revision), ..self.clone() }
    }

    /// The same record, whose new entries are booked in groups: those that are handed to [`Ledger::append`] while others are
    /// being written wait, and are then written together in one transaction, so that many share one wait for the disk. Each
    /// is answered for itself, and none before it has reached the disk. For a process that books for many at once.
    ///
    /// # Panics
    /// Outside a runtime of `tokio`, on which the groups are written.
    pub fn in_groups(&self) -> Ledger {
        Ledger { booker: Some(Booker::start(self)), ..self.clone() }
    }

    /// Waits until every connection is closed.
    pub async fn close(&self) {
        self.pool.close().await;
    }

    /// Starts to write; nothing is kept unless the transaction is committed.
    pub(crate) async fn begin(&self) -> Result<Transaction<'static, Any>, Error> {
        Ok(self.pool.begin().await?)
    }

    /// Keeps what a transaction has recorded.
    pub(crate) async fn record(&self, transaction: Transaction<'static, Any>) -> Result<(), Error> {
        transaction.commit().await?;
        self.note_recording();
        Ok(())
    }

    /// Starts to read the record as it stands at one instant.
    pub(crate) async fn snapshot(&self) -> Result<Transaction<'static, Any>, Error> {
        let transaction = match self.engine {
            Engine::Sqlite => self.pool.begin().await?,
            Engine::Postgres => self.pool.begin_with("begin isolation level repeatable read read only").await?,
        };
        Ok(transaction)
    }
}

fn zone_of(name: &str) -> Result<TimeZone, Error> {
    TimeZone::get(name).map_err(|_| Error::NoSuchZone { zone: name.to_owned() })
}

pub(crate) async fn connect(place: &Place, make: bool) -> Result<AnyConnection, Error> {
    sqlx::any::install_default_drivers();
    place.connect(make).await
}

pub(crate) fn refuse_folder(place: &Place) -> Result<(), Error> {
    match place.file() {
        Some(file) if file.is_dir() => Err(Error::Folder { place: place.shown.clone() }),
        _ => Ok(()),
    }
}

/// Looks at what is there; the first statement to touch a file, and so the one that finds out what kind it is.
pub(crate) async fn look(connection: &mut AnyConnection, place: &Place) -> Result<Shape, Error> {
    schema::shape(connection, place.engine).await.map_err(|error| place.cannot_open(error))
}

/// The shop in a database that has the tables of one, if it has been named.
pub(crate) async fn shop(connection: &mut AnyConnection) -> Result<Option<Shop>, Error> {
    let row: Option<(String, String)> =
        sqlx::query_as("select name, zone from shop where id = 1").fetch_optional(connection).await?;
    row.map(|(name, zone_name)| Ok(Shop { name, zone: zone_of(&zone_name)?, zone_name })).transpose()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use sqlx::Executor;
    use upkeep::build::shipped;

    use super::*;

    /// A shop with one machine, all of whose connections have been told `pragma`.
    async fn shop_told(pragma: &'static str) -> (tempfile::TempDir, Ledger) {
        let folder = tempfile::tempdir().unwrap();
        let ledger = Ledger::create(folder.path().join("s").to_str().unwrap(), "loft", "Europe/Lisbon").await.unwrap();
        let (file, text) = shipped()[0];
        let build = upkeep::Build::parse(file, text).unwrap().name;
        let joined = "2026-10-01T00:00:00Z".parse().unwrap();
        ledger.add_build(&build, text, joined).await.unwrap();
        ledger.add_machine("bowline", &build, joined, joined, "").await.unwrap();
        let mut all = Vec::new();
        for _ in 0..ledger.pool.options().get_max_connections() {
            let mut connection = ledger.pool.acquire().await.unwrap();
            connection.execute(pragma).await.unwrap();
            all.push(connection);
        }
        (folder, ledger)
    }

    async fn book(ledger: &Ledger, second: i64, note: &str) -> Result<upkeep::EntryId, Error> {
        let at = "2026-10-02T00:00:00Z".parse::<jiff::Timestamp>().unwrap() + jiff::SignedDuration::from_secs(second);
        let event = upkeep::Event::Done { task: "wipe".to_owned(), supplies: Default::default() };
        let machine = "bowline".to_owned();
        ledger.append(crate::NewEntry { machine, at, recorded: at, note: note.to_owned(), event }).await
    }

    /// SQLite gives the same code for a file that may not grow as for a disk that has no room.
    #[tokio::test]
    async fn a_full_disk_keeps_what_was_acknowledged_and_nothing_of_the_rest() {
        let (_folder, ledger) = shop_told("pragma max_page_count = 1").await; // Not less than it has now.
        let long = "x".repeat(3000);
        let mut kept = 0;
        let error = loop {
            match book(&ledger, kept, &long).await {
                Ok(_) => kept += 1,
                Err(error) => break error,
            }
            assert!(kept < 1000, "the disk never filled up");
        };
        assert!(matches!(error, Error::DiskFull), "{error:?}");
        let verdict = ledger.verify().await.unwrap();
        assert_eq!((i64::try_from(verdict.entries), verdict.differences), (Ok(kept + 1), vec![]));
    }

    #[tokio::test]
    async fn a_writer_that_waits_too_long_says_who_may_be_in_the_way() {
        let (folder, ledger) = shop_told("pragma busy_timeout = 50").await;
        let mut other = Place::parse(folder.path().join("s").to_str().unwrap()).connect(false).await.unwrap();
        other.execute("begin immediate").await.unwrap();
        let error = book(&ledger, 0, "").await.unwrap_err();
        assert!(matches!(error, Error::Locked), "{error:?}");
        // Reading goes on meanwhile.
        assert_eq!(ledger.machines().await.unwrap().len(), 1);
        other.execute("rollback").await.unwrap();
        book(&ledger, 0, "").await.unwrap();
    }

    #[tokio::test]
    async fn a_shop_that_may_not_be_written_can_still_be_read() {
        let (_folder, ledger) = shop_told("pragma query_only = 1").await;
        let error = book(&ledger, 0, "").await.unwrap_err();
        assert!(matches!(error, Error::ReadOnly), "{error:?}");
        assert_eq!(ledger.states(date(2026, 10, 1)).await.unwrap().len(), 1);
    }
}
