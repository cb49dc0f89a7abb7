//! The one walk over a shop's tables, which backups, copies, exports and proofs share. It holds one row at a time.

use std::collections::BTreeMap;

use futures_util::TryStreamExt;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use sqlx::{AnyConnection, AssertSqlSafe};

use super::rows::{Row, Table};
use crate::Error;
use crate::place::Engine;

/// Something that takes tables in, row by row.
pub(crate) trait Sink: Send {
    /// A table begins.
    fn table(&mut self, table: &Table) -> impl Future<Output = Result<(), Error>> + Send;

    /// The next row of it.
    fn row(&mut self, row: Row) -> impl Future<Output = Result<(), Error>> + Send;
}

/// Hands every row of `tables` to `sink`, in the order of their keys.
pub(crate) async fn walk(
    connection: &mut AnyConnection,
    engine: Engine,
    tables: &[Table],
    sink: &mut impl Sink,
) -> Result<(), Error> {
    for table in tables {
        sink.table(table).await?;
        // OK because a table's words are literals, or `Table::is_sound` has seen them.
        let mut rows = sqlx::query(AssertSqlSafe(table.select(engine))).fetch(&mut *connection);
        while let Some(row) = rows.try_next().await? {
            sink.row(table.read(&row)?).await?;
        }
    }
    Ok(())
}

/// What a table or file holds, in short.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Sum {
    /// How many rows or lines.
    pub rows: u64,
    /// SHA-256 of all of them as lines, in hexadecimal.
    pub sha256: String,
}

/// Adds lines up to a [`Sum`].
#[derive(Clone, Default)]
pub(crate) struct Summed {
    rows: u64,
    sha256: Sha256,
}

impl Summed {
    /// Takes a line in, without its end.
    pub(crate) fn line(&mut self, line: &[u8]) {
        self.rows += 1;
        self.sha256.update(line);
        self.sha256.update(b"\n");
    }

    pub(crate) fn sum(self) -> Sum {
        Sum { rows: self.rows, sha256: hexadecimal(&self.sha256.finalize()) }
    }
}

/// Sums by table.
pub(crate) type Sums = BTreeMap<String, Sum>;

/// Adds up every table that passes.
#[derive(Default)]
pub(crate) struct Tally {
    done: Sums,
    open: Option<(String, Summed)>,
}

impl Tally {
    pub(crate) fn begin(&mut self, table: &str) {
        self.end_table();
        self.open = Some((table.to_owned(), Summed::default()));
    }

    pub(crate) fn line(&mut self, line: &[u8]) {
        if let Some((_, summed)) = &mut self.open {
            summed.line(line);
        }
    }

    pub(crate) fn sums(mut self) -> Sums {
        self.end_table();
        self.done
    }

    fn end_table(&mut self) {
        self.done.extend(self.open.take().map(|(table, summed)| (table, summed.sum())));
    }
}

impl Sink for Tally {
    async fn table(&mut self, table: &Table) -> Result<(), Error> {
        self.begin(&table.name);
        Ok(())
    }

    async fn row(&mut self, row: Row) -> Result<(), Error> {
        self.line(&row.line()?);
        Ok(())
    }
}

/// Bytes as lower-case hexadecimal digits, as hashes are written.
pub fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
