//! Keeping a shop safe, and free to leave: backups, copies to the other engine, and exports as open formats.
//!
//! All of them are one [`walk`] over the tables of [`rows`], read as they stood at one instant. What they differ in is who takes
//! the rows: lines of a backup ([`lines`]), another database ([`load`]), or files that need no program of ours ([`export`], [`import`]).
//! Backups and copies carry every row as it is, secrets too; exports carry none ([`files`]).

mod export;
mod files;
mod import;
mod lines;
mod load;
mod rows;
mod walk;

use std::io::{self, BufRead, Write};

use jiff::Timestamp;
use sqlx::AnyConnection;

use self::lines::{Head, LineReader, LineWriter};
use self::load::{Loader, Source, fill};
use self::rows::Table;
pub use self::walk::hexadecimal;
use self::walk::{Sum, Sums, walk};
use crate::place::Engine;
use crate::{Error, Ledger, schema};

/// What a backup, copy or export holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contents {
    /// The shop's name.
    pub shop: String,
    /// The shape of its tables.
    pub shape: i64,
    /// Entries, those that were corrected included.
    pub entries: u64,
    /// Rows of all tables, or lines of all files.
    pub rows: u64,
    /// SHA-256 of all entries as lines, in hexadecimal: two shops with the same entries have the same.
    pub entries_sha256: String,
}

impl Contents {
    fn new(ledger: &Ledger, shape: i64, sums: &Sums, entries: &str) -> Contents {
        let Sum { rows, sha256 } = sums.get(entries).cloned().unwrap_or_else(|| Sum { rows: 0, sha256: String::new() });
        Contents {
            shop: ledger.shop.name.clone(),
            shape,
            entries: rows,
            rows: sums.values().map(|sum| sum.rows).sum(),
            entries_sha256: sha256,
        }
    }
}

/// A folder that an export is written into or read from; names are like `entries.jsonl` and `photos/12.jpg`.
pub trait Folder: Send {
    /// Makes a file.
    ///
    /// # Errors
    /// Where it can't be made.
    fn make(&mut self, name: &str) -> io::Result<Box<dyn Write + Send>>;

    /// Opens a file.
    ///
    /// # Errors
    /// Where it is not there or can't be read.
    fn read(&mut self, name: &str) -> io::Result<Box<dyn BufRead + Send>>;
}

impl Ledger {
    /// Writes the whole shop as it stands at one instant, with everything that is secret in it; others may write meanwhile.
    ///
    /// # Errors
    /// Where the database refuses or `out` can't be written.
    pub async fn backup(&self, out: impl Write + Send, taken: Timestamp) -> Result<Contents, Error> {
        let mut writer = LineWriter::new(out, &Head::new(self, taken))?;
        let mut snapshot = self.snapshot().await?;
        walk(&mut snapshot, self.engine, &Table::all(), &mut writer).await?;
        let sums = writer.finish()?;
        Ok(Contents::new(self, schema::known(self.engine), &sums, "entry"))
    }

    /// Makes a shop of a backup at an empty place; one of an older shape is brought up to date. Gives when it was taken, too.
    ///
    /// # Errors
    /// Where something is at the place, or the backup is not whole; the place is then as it was.
    pub async fn restore(at: &str, input: impl BufRead + Send) -> Result<(Ledger, Contents, Timestamp), Error> {
        let mut reader = LineReader::new(input)?;
        let (ledger, sums) = fill(at, &mut reader).await?;
        let contents = Contents::new(&ledger, reader.head.shape, &sums, "entry");
        Ok((ledger, contents, reader.head.taken))
    }

    /// Copies the whole shop as it stands at one instant to an empty place, on either engine: every row of every table.
    ///
    /// # Errors
    /// Where something is at the place, or a row reads back otherwise; the place is then as it was.
    pub async fn copy_to(&self, at: &str) -> Result<(Ledger, Contents), Error> {
        let (ledger, sums) = fill(at, &mut Whole { ledger: self }).await?;
        let contents = Contents::new(&ledger, schema::known(self.engine), &sums, "entry");
        Ok((ledger, contents))
    }
}

/// Every row of a shop.
struct Whole<'a> {
    ledger: &'a Ledger,
}

impl Source for Whole<'_> {
    fn shape(&self, engine: Engine) -> i64 {
        schema::known(engine)
    }

    async fn pour(&mut self, into: &mut Loader<'_>) -> Result<(), Error> {
        let mut snapshot = self.ledger.snapshot().await?;
        walk(&mut snapshot, self.ledger.engine, &Table::all(), into).await
    }

    async fn complete(&mut self, _: &Ledger, _: &mut AnyConnection) -> Result<(), Error> {
        Ok(())
    }
}
