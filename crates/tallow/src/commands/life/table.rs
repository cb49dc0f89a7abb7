//! Life data as CSV (RFC 4180): a header that names the columns, and a row per life.

use std::io;
use std::path::Path;

use life::{End, Life};

use crate::context::Context;
use crate::input::MOST_OF_A_TABLE;
use crate::trouble::Trouble;

/// A table of numbers with named columns; an empty cell is `None`.
pub(crate) struct Table {
    file: String,
    columns: Vec<String>,
    /// Each row with its line in the file.
    rows: Vec<(u64, Vec<Option<f64>>)>,
}

/// Columns of words, which `tallow lives --csv` writes beside the numbers: a table holds one clock and one unit only, or
/// its ages could not be compared.
const WORDS: [&str; 3] = ["build", "clock", "unit"];

/// Larger numbers than this are slips: a thousand years are 3e10 s.
const LARGEST: f64 = 1e12;

impl Table {
    /// Reads the table that a command names; on a command line `-` is standard input.
    ///
    /// # Errors
    /// A file that can't be read, a column that is not among `known`, a cell that is no number.
    pub(crate) fn read(context: &Context, path: &Path, known: &[&str]) -> Result<Table, Trouble> {
        let source = context.source(path)?;
        let file = source.name();
        let text = source.bytes(MOST_OF_A_TABLE).map_err(|error| match error.kind() {
            io::ErrorKind::IsADirectory => {
                Trouble::refused(format!("{file} is a folder, not a table")).help("name a file")
            }
            _ => source.trouble(&error),
        })?;
        Table::of(file, &text, known)
    }

    /// Reads a table out of the text of `file`.
    fn of(file: String, text: &[u8], known: &[&str]) -> Result<Table, Trouble> {
        let separator = separator(text);
        let mut builder = csv::ReaderBuilder::new();
        let mut reader = builder.trim(csv::Trim::All).delimiter(separator).from_reader(text);
        let broken = |error: csv::Error| broken(&file, &error);
        let header = reader.headers().map_err(broken)?.clone();
        let columns: Vec<String> =
            header.iter().map(|name| name.trim_start_matches('\u{feff}').trim().to_lowercase()).collect();
        check_columns(&file, &columns, known)?;
        let mut rows = Vec::new();
        let (mut one, has_words) = (OneUnit::default(), known == LIVES);
        for record in reader.records() {
            let record = record.map_err(broken)?;
            let line = record.position().map_or(0, csv::Position::line);
            let cells = record.iter().zip(&columns).map(|(cell, column)| {
                if has_words && WORDS.contains(&column.as_str()) {
                    return one.check(&file, line, column, cell).map(|()| None);
                }
                // Where a comma separates nothing, it is a decimal comma.
                let cell = if separator == b',' { cell.to_owned() } else { cell.replace(',', ".") };
                number(&file, line, column, &cell)
            });
            rows.push((line, cells.collect::<Result<_, _>>()?));
        }
        if rows.is_empty() {
            return Err(Trouble::refused(format!("{file} has no rows")).help("write a row per life below the header"));
        }
        Ok(Table { file, columns, rows })
    }

    /// Refuses a table that lacks one of these columns, and says what they are.
    ///
    /// # Errors
    /// A column that is missing.
    pub(crate) fn needs(&self, columns: &[&str], help: &str) -> Result<(), Trouble> {
        let missing = columns.iter().find(|needed| !self.columns.iter().any(|column| column == *needed));
        match missing {
            Some(needed) => Err(Trouble::refused(format!("{} has no column \"{needed}\"", self.file)).help(help)),
            None => Ok(()),
        }
    }

    /// The rows.
    pub(crate) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|(line, cells)| Row { table: self, line: *line, cells })
    }
}

/// What the columns of words said first.
#[derive(Default)]
struct OneUnit(Vec<(String, String)>);

impl OneUnit {
    /// Refuses a clock or a unit other than that of the rows before.
    fn check(&mut self, file: &str, line: u64, column: &str, cell: &str) -> Result<(), Trouble> {
        match self.0.iter().find(|(name, _)| name == column) {
            _ if column == "build" => Ok(()),
            Some((_, before)) if before != cell => Err(Trouble::refused(format!(
                "{file}, line {line}: the {column} is \"{cell}\" here and \"{before}\" before, so the ages can't be compared"
            ))
            .help("keep the rows of one build: tallow lives KIND --build BUILD --csv")),
            Some(_) => Ok(()),
            None => {
                self.0.push((column.to_owned(), cell.to_owned()));
                Ok(())
            }
        }
    }
}

/// One row of a table.
pub(crate) struct Row<'a> {
    table: &'a Table,
    line: u64,
    cells: &'a [Option<f64>],
}

impl Row<'_> {
    /// The number in a column; `None` where the column is missing or the cell is empty.
    pub(crate) fn get(&self, column: &str) -> Option<f64> {
        let index = self.table.columns.iter().position(|name| name == column)?;
        self.cells.get(index).copied().flatten()
    }

    /// The number in a column that must have one.
    ///
    /// # Errors
    /// An empty cell.
    pub(crate) fn need(&self, column: &str) -> Result<f64, Trouble> {
        self.get(column).ok_or_else(|| self.refuse(format!("\"{column}\" is empty")))
    }

    /// Its line in the file.
    pub(crate) fn line(&self) -> u64 {
        self.line
    }

    /// An error about this row.
    pub(crate) fn refuse(&self, what: impl std::fmt::Display) -> Trouble {
        Trouble::refused(format!("{}, line {}: {what}", self.table.file, self.line))
    }
}

/// What separates columns, by the first line: a semicolon or a tab where one stands there and no comma does, as
/// spreadsheets write where a comma is for decimals.
pub(crate) fn separator(text: &[u8]) -> u8 {
    let header = text.split(|byte| *byte == b'\n').next().unwrap_or_default();
    let has = |byte| header.contains(&byte);
    [b';', b'\t'].into_iter().find(|&byte| has(byte) && !has(b',')).unwrap_or(b',')
}

fn broken(file: &str, error: &csv::Error) -> Trouble {
    match error.kind() {
        csv::ErrorKind::UnequalLengths { pos, expected_len, len } => {
            let line = pos.as_ref().map_or(0, csv::Position::line);
            Trouble::refused(format!("{file}, line {line}: {len} cells, but the header names {expected_len} columns"))
                .help("leave a cell empty where nothing is known; decimal commas need semicolons between columns")
        }
        csv::ErrorKind::Utf8 { .. } => Trouble::refused(format!("{file} is not text")),
        _ => Trouble::refused(format!("{file} is no table: {error}")),
    }
}

fn check_columns(file: &str, columns: &[String], known: &[&str]) -> Result<(), Trouble> {
    let help = format!("the first line names the columns: {}", known.join(", "));
    if columns.iter().all(|name| name.is_empty()) {
        return Err(Trouble::refused(format!("{file} is empty")).help(help));
    }
    if columns.iter().all(|name| name.parse::<f64>().is_ok()) {
        return Err(Trouble::refused(format!("{file} has no header: its first line is numbers")).help(help));
    }
    for (place, name) in columns.iter().enumerate() {
        if !known.contains(&name.as_str()) {
            return Err(Trouble::refused(format!("{file} has a column \"{name}\" that is not known here")).help(help));
        }
        if columns[..place].contains(name) {
            return Err(Trouble::refused(format!("{file} has the column \"{name}\" twice")).help(help));
        }
    }
    Ok(())
}

fn number(file: &str, line: u64, column: &str, cell: &str) -> Result<Option<f64>, Trouble> {
    if cell.is_empty() {
        return Ok(None);
    }
    let number = cell.parse::<f64>().ok().filter(|number| number.is_finite());
    if let Some(huge) = number.filter(|number| LARGEST < number.abs()) {
        let text = format!("{file}, line {line}: {huge:e} in the column \"{column}\" is beyond what is counted here");
        return Err(Trouble::refused(text).help("write at most 1e12, in a larger unit"));
    }
    number.map(Some).ok_or_else(|| {
        Trouble::refused(format!("{file}, line {line}: \"{cell}\" in the column \"{column}\" is not a number"))
            .help("write numbers with a point, and leave a cell empty where nothing is known")
    })
}

/// The columns of a table of lives.
pub(crate) const LIVES: [&str; 8] = ["time", "event", "entry", "upper", "count", "build", "clock", "unit"];

/// The lives in a table: `time` and `event` (1 failed, 0 still good), and where they are known `entry` (the age when watching
/// began), `upper` (the failure lies between time and upper), `count`.
///
/// # Errors
/// As [`Table::read`], and a row that is no life.
pub(crate) fn lives(context: &Context, path: &Path) -> Result<Vec<Life>, Trouble> {
    lives_of(&Table::read(context, path, &LIVES)?)
}

/// The lives in the text of a table that is called `file`.
///
/// # Errors
/// As [`lives`].
pub(crate) fn lives_in(file: &str, text: &[u8]) -> Result<Vec<Life>, Trouble> {
    lives_of(&Table::of(file.to_owned(), text, &LIVES)?)
}

fn lives_of(table: &Table) -> Result<Vec<Life>, Trouble> {
    table.needs(&["time", "event"], "time is the age, event is 1 for failed and 0 for still good")?;
    table.rows().map(|row| life_of(&row)).collect()
}

fn life_of(row: &Row<'_>) -> Result<Life, Trouble> {
    let time = row.need("time")?;
    let event = row.need("event")?;
    let end = match (event, row.get("upper")) {
        (1.0, Some(upper)) => End::Between(time, upper),
        (1.0, None) => End::Failed(time),
        (0.0, None) => End::Good(time),
        (0.0, Some(_)) => return Err(row.refuse("a life that is still good has no \"upper\"")),
        (other, _) => {
            return Err(row
                .refuse(format!("an event of {other} can't be: it is 1 (failed) or 0 (still good)"))
                .help("are two columns swapped? The header says which is which"));
        }
    };
    let life = Life::new(end).and_then(|life| life.entered_at(row.get("entry").unwrap_or(0.0)));
    life.and_then(|life| life.times(row.get("count").unwrap_or(1.0))).map_err(|error| row.refuse(error))
}
