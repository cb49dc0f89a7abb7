//! A backup: one stream of lines, the same whatever the engine.
//!
//! The first line says what it is. Each table is a line that names its columns, then a JSON list for each row. The last line has
//! each table's number of rows and the SHA-256 of its lines. It can be read without this program.

use std::io::{BufRead, Write};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use sqlx::AnyConnection;

use super::load::{Loader, Source, same};
use super::rows::{Row, Table};
use super::walk::{Sink, Sums, Tally};
use crate::place::Engine;
use crate::{Error, Ledger, schema};

/// The version of the layout of lines; that of the tables is `shape`.
const LAYOUT: u32 = 1;

/// The first line.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct Head {
    /// [`LAYOUT`].
    pub backup: u32,
    /// The shape of the tables.
    pub shape: i64,
    /// The shop's name.
    pub shop: String,
    /// When it was taken.
    pub taken: Timestamp,
}

impl Head {
    pub(crate) fn new(ledger: &Ledger, taken: Timestamp) -> Head {
        Head { backup: LAYOUT, shape: schema::known(ledger.engine), shop: ledger.shop.name.clone(), taken }
    }
}

#[derive(Serialize, Deserialize)]
#[serde(untagged)]
enum Mark {
    Table(Table),
    End { end: Sums },
}

/// Writes a backup.
pub(crate) struct LineWriter<W> {
    out: W,
    tally: Tally,
}

impl<W: Write + Send> LineWriter<W> {
    pub(crate) fn new(out: W, head: &Head) -> Result<LineWriter<W>, Error> {
        let mut writer = LineWriter { out, tally: Tally::default() };
        writer.say(head)?;
        Ok(writer)
    }

    pub(crate) fn finish(mut self) -> Result<Sums, Error> {
        let sums = std::mem::take(&mut self.tally).sums();
        self.say(&Mark::End { end: sums.clone() })?;
        self.out.flush().map_err(unwritten)?;
        Ok(sums)
    }

    fn say(&mut self, what: &impl Serialize) -> Result<(), Error> {
        let line = serde_json::to_vec(what).map_err(|error| unwritten(error.into()))?;
        self.line(&line)
    }

    fn line(&mut self, line: &[u8]) -> Result<(), Error> {
        self.out.write_all(line).and_then(|()| self.out.write_all(b"\n")).map_err(unwritten)
    }
}

impl<W: Write + Send> Sink for LineWriter<W> {
    async fn table(&mut self, table: &Table) -> Result<(), Error> {
        self.tally.begin(&table.name);
        self.say(&Mark::Table(table.clone()))
    }

    async fn row(&mut self, row: Row) -> Result<(), Error> {
        let line = row.line()?;
        self.tally.line(&line);
        self.line(&line)
    }
}

/// Reads a backup.
pub(crate) struct LineReader<R> {
    input: R,
    pub(crate) head: Head,
    number: u64,
    line: String,
}

impl<R: BufRead + Send> LineReader<R> {
    /// Reads what the backup says of itself.
    ///
    /// # Errors
    /// [`Error::NotWhole`] where it is none, or one of a newer version.
    pub(crate) fn new(mut input: R) -> Result<LineReader<R>, Error> {
        let mut line = String::new();
        input.read_line(&mut line).map_err(unread)?;
        let head: Head = serde_json::from_str(&line).map_err(|_| damaged(1, "it does not begin as a backup does"))?;
        let known = schema::known(Engine::Sqlite);
        if LAYOUT < head.backup || known < head.shape {
            let why = format!(
                "it is of a newer version (its shape is {}, this version knows up to {known}); update this program",
                head.shape
            );
            return Err(Error::NotWhole { what: "the backup".to_owned(), why });
        }
        Ok(LineReader { input, head, number: 1, line })
    }

    /// The next line, without its end.
    fn next(&mut self) -> Result<Option<&str>, Error> {
        self.line.clear();
        self.number += 1;
        let length = self.input.read_line(&mut self.line).map_err(unread)?;
        Ok((0 < length).then(|| self.line.trim_end_matches('\n')))
    }
}

impl<R: BufRead + Send> Source for LineReader<R> {
    fn shape(&self, _: Engine) -> i64 {
        self.head.shape
    }

    async fn pour(&mut self, into: &mut Loader<'_>) -> Result<(), Error> {
        let mut table: Option<Table> = None;
        let mut tally = Tally::default();
        loop {
            let number = self.number + 1;
            let line = self.next()?.ok_or_else(|| damaged(number, "it ends too early"))?;
            if line.starts_with('[') {
                let row = table.as_ref().and_then(|table| table.parse(line));
                let row = row.ok_or_else(|| damaged(number, "that is no row of its table"))?;
                tally.line(&row.line()?);
                into.row(row).await?;
                continue;
            }
            match serde_json::from_str(line) {
                Ok(Mark::Table(next)) if next.is_sound() => {
                    tally.begin(&next.name);
                    into.table(&next).await?;
                    table = Some(next);
                }
                Ok(Mark::End { end }) => {
                    same(&end, &tally.sums())
                        .map_err(|_| damaged(number, "its rows are not those it was made with"))?;
                    let is_over = self.next()?.is_none();
                    return if is_over { Ok(()) } else { Err(damaged(number + 1, "something follows its end")) };
                }
                _ => return Err(damaged(number, "that is neither a row nor a table")),
            }
        }
    }

    async fn complete(&mut self, _: &Ledger, _: &mut AnyConnection) -> Result<(), Error> {
        Ok(())
    }
}

fn damaged(line: u64, why: &str) -> Error {
    Error::NotWhole { what: format!("line {line} of the backup"), why: why.to_owned() }
}

fn unread(error: std::io::Error) -> Error {
    Error::NotWhole { what: "the backup".to_owned(), why: error.to_string() }
}

fn unwritten(error: std::io::Error) -> Error {
    Error::File { what: "the backup".to_owned(), reason: error.to_string() }
}
