//! Filling an empty place with a shop: in one transaction, read back before it is kept, so that there is a whole shop or none.

use std::path::{Path, PathBuf};

use sqlx::query::Query;
use sqlx::{Any, AnyConnection, AssertSqlSafe, Connection};

use super::rows::{Cell, Holds, Row, Table};
use super::walk::{Sink, Sums, Tally, walk};
use crate::ledger::{connect, look, refuse_folder};
use crate::place::{Engine, Place};
use crate::schema::{self, Shape};
use crate::{Error, Ledger};

/// Values in one statement: fewer cost more statements, more cost both engines time to find their places.
const VALUES: usize = 2000;

/// Bytes that wait to be written.
const WAITING: usize = 4 << 20;

/// Where the rows come from.
pub(crate) trait Source: Send {
    /// The shape of the rows.
    fn shape(&self, engine: Engine) -> i64;

    /// Hands every row to `into`.
    fn pour(&mut self, into: &mut Loader<'_>) -> impl Future<Output = Result<(), Error>> + Send;

    /// Does what is left to be done once all rows are there, in the same transaction.
    fn complete(
        &mut self,
        ledger: &Ledger,
        connection: &mut AnyConnection,
    ) -> impl Future<Output = Result<(), Error>> + Send;
}

/// Makes a shop of `source` at an empty place.
///
/// # Errors
/// Where something is there already, the source is not whole, or what was written reads back otherwise; the place is then as
/// it was.
pub(crate) async fn fill(at: &str, source: &mut impl Source) -> Result<(Ledger, Sums), Error> {
    let place = Place::parse(at);
    refuse_folder(&place)?;
    let made = place.file().filter(|file| matches!(file.try_exists(), Ok(false))).map(Path::to_owned);
    let mut connection = connect(&place, true).await?;
    let filled = filled(&mut connection, &place, source).await;
    let closed = connection.close().await;
    match filled {
        Ok(filled) => {
            closed?;
            Ok(filled)
        }
        Err(error) => {
            made.map_or(Ok(()), |file| forget(&file))?;
            Err(error)
        }
    }
}

async fn filled(
    connection: &mut AnyConnection,
    place: &Place,
    source: &mut impl Source,
) -> Result<(Ledger, Sums), Error> {
    let shape = look(connection, place).await?;
    schema::check(place, shape)?;
    if let Shape::Version(_) = shape {
        return Err(match crate::ledger::shop(connection).await? {
            Some(shop) => Error::ShopExists { place: place.shown.clone(), name: shop.name },
            None => Error::NotEmpty { place: place.shown.clone() },
        });
    }
    place.settle(connection).await?;
    let mut transaction = connection.begin().await?;
    schema::migrate_to(&mut transaction, place.engine, source.shape(place.engine)).await?;
    let mut loader = Loader::new(&mut transaction);
    source.pour(&mut loader).await?;
    let (tables, written) = loader.finish().await?;
    let mut tally = Tally::default();
    walk(&mut transaction, place.engine, &tables, &mut tally).await?;
    same(&written, &tally.sums())?;
    if place.engine == Engine::Postgres {
        number_on(&mut transaction, &tables).await?;
    }
    schema::migrate(&mut transaction, place, Shape::Version(source.shape(place.engine))).await?;
    let ledger = Ledger::behind(&mut transaction, place).await?;
    source.complete(&ledger, &mut transaction).await?;
    transaction.commit().await?;
    Ok((ledger, written))
}

/// Refuses rows that are not what they should be.
pub(crate) fn same(right: &Sums, found: &Sums) -> Result<(), Error> {
    let mut names = right.keys().chain(found.keys());
    match names.find(|&name| right.get(name) != found.get(name)) {
        Some(name) => Err(Error::ReadBack { what: format!("table {name}") }),
        None => Ok(()),
    }
}

/// Lets PostgreSQL number what comes next after what is there. (SQLite counts on by itself.)
async fn number_on(connection: &mut AnyConnection, tables: &[Table]) -> Result<(), Error> {
    for Table { name, .. } in tables.iter().filter(|table| table.columns[0].0 == "id") {
        // A table that is not numbered has no sequence, and setting none does nothing.
        let text = format!(
            "select setval(pg_get_serial_sequence('{name}', 'id'), coalesce(max(id), 0) + 1, false) from \"{name}\""
        );
        sqlx::query(AssertSqlSafe(text)).execute(&mut *connection).await?;
    }
    Ok(())
}

/// Removes a file that was made in vain, with what the engine keeps beside it.
fn forget(file: &Path) -> Result<(), Error> {
    for end in ["-wal", "-shm", ""] {
        let mut name = file.as_os_str().to_owned();
        name.push(end);
        match std::fs::remove_file(PathBuf::from(&name)) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                let what = PathBuf::from(name).display().to_string();
                return Err(Error::File { what, reason: error.to_string() });
            }
            _ => {}
        }
    }
    Ok(())
}

/// Writes rows, many to a statement.
pub(crate) struct Loader<'c> {
    connection: &'c mut AnyConnection,
    tables: Vec<Table>,
    waiting: Vec<Row>,
    weight: usize,
    /// The statement for as many rows as go into one.
    full: String,
    tally: Tally,
}

impl<'c> Loader<'c> {
    fn new(connection: &'c mut AnyConnection) -> Loader<'c> {
        Loader {
            connection,
            tables: Vec::new(),
            waiting: Vec::new(),
            weight: 0,
            full: String::new(),
            tally: Tally::default(),
        }
    }

    async fn finish(mut self) -> Result<(Vec<Table>, Sums), Error> {
        self.write().await?;
        Ok((self.tables, self.tally.sums()))
    }

    async fn write(&mut self) -> Result<(), Error> {
        let Some(table) = self.tables.last().filter(|_| !self.waiting.is_empty()) else { return Ok(()) };
        let rows = self.waiting.len();
        let text = if rows == rows_at_once(table) { self.full.clone() } else { table.insert(rows) };
        let mut query = sqlx::query(AssertSqlSafe(text));
        for row in self.waiting.drain(..) {
            for (cell, (_, holds)) in row.0.into_iter().zip(&table.columns) {
                query = bound(query, cell, *holds);
            }
        }
        query.execute(&mut *self.connection).await?;
        self.weight = 0;
        Ok(())
    }
}

impl Sink for Loader<'_> {
    async fn table(&mut self, table: &Table) -> Result<(), Error> {
        self.write().await?;
        // What comes with the shape itself is in the source too.
        sqlx::query(AssertSqlSafe(format!("delete from \"{}\"", table.name))).execute(&mut *self.connection).await?;
        self.full = table.insert(rows_at_once(table));
        self.tally.begin(&table.name);
        self.tables.push(table.clone());
        Ok(())
    }

    async fn row(&mut self, row: Row) -> Result<(), Error> {
        self.tally.line(&row.line()?);
        self.weight += row.weight();
        self.waiting.push(row);
        let is_full = self.tables.last().is_some_and(|table| rows_at_once(table) <= self.waiting.len());
        if is_full || WAITING <= self.weight { self.write().await } else { Ok(()) }
    }
}

fn rows_at_once(table: &Table) -> usize {
    VALUES / table.columns.len()
}

fn bound<'q>(
    query: Query<'q, Any, <Any as sqlx::Database>::Arguments>,
    cell: Option<Cell>,
    holds: Holds,
) -> Query<'q, Any, <Any as sqlx::Database>::Arguments> {
    match (cell, holds) {
        (Some(Cell::Int(number)), _) => query.bind(number),
        (Some(Cell::Real(number)), _) => query.bind(number),
        (Some(Cell::Text(text)), _) => query.bind(text),
        (Some(Cell::Bytes(bytes)), _) => query.bind(bytes),
        (None, Holds::Int) => query.bind(None::<i64>),
        (None, Holds::Real) => query.bind(None::<f64>),
        (None, Holds::Text) => query.bind(None::<String>),
        (None, Holds::Bytes) => query.bind(None::<Vec<u8>>),
    }
}
