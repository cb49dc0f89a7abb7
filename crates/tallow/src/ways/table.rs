//! A table of print history: which column says what, and a row read by that as [`Told`].
//!
//! Reading a row is a pure function that takes any bytes; what is wrong with a row is told cell by cell, and nothing is guessed.

use std::collections::BTreeMap;
use std::io::{self, Read};
use std::sync::Arc;

use clap::ValueEnum;
use csv::ByteRecord;
use jiff::Timestamp;
use jiff::civil::{Date, Time};
use jiff::tz::{AmbiguousOffset, TimeZone};
use serde::{Deserialize, Serialize};
use upkeep::{Materials, Unknown};

use crate::commands::run::Told;
use crate::commands::separator;
use crate::input::{self, Source};
use crate::printed;
use crate::progress::{Progress, Unit};
use crate::trouble::Trouble;

/// The most that is read of a table, bytes as unpacked: some half a million rows, which are held at once.
const MOST_OF_A_HISTORY: usize = 64 * 1024 * 1024;

/// Which columns of a table say what.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct TableWay {
    /// Whose runs these are.
    pub(crate) machine: Given,
    /// What was printed.
    pub(crate) material: Given,
    /// When it started.
    pub(crate) start: Option<String>,
    /// When it ended.
    pub(crate) end: Option<String>,
    /// How long it printed.
    pub(crate) duration: Option<DurationColumn>,
    /// What to call it.
    pub(crate) label: Option<String>,
    /// The SHA-256 of its file's plain bytes.
    pub(crate) sha256: Option<String>,
    /// Filament used, g.
    pub(crate) grams: Option<String>,
    /// Whether it reached its end.
    pub(crate) outcome: Option<OutcomeColumn>,
    /// Words to keep with it.
    pub(crate) note: Option<String>,
    /// What dates with slashes or points begin with.
    pub(crate) dates: Option<DateOrder>,
    /// The shop's names of the table's machines.
    pub(crate) machine_names: BTreeMap<String, String>,
    /// The shop's names of the table's materials.
    pub(crate) material_names: BTreeMap<String, String>,
}

/// What a column says of each row, or one name for all.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Given {
    /// The column.
    Column(String),
    /// For all rows.
    Always(String),
}

/// A column of durations.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct DurationColumn {
    pub(crate) column: String,
    pub(crate) unit: DurationUnit,
}

/// In what durations are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum, Serialize, Deserialize)]
pub(crate) enum DurationUnit {
    /// Hours
    #[value(name = "h")]
    #[serde(rename = "h")]
    Hours,
    /// Minutes
    #[value(name = "min")]
    #[serde(rename = "min")]
    Minutes,
    /// Seconds
    #[value(name = "s")]
    #[serde(rename = "s")]
    Seconds,
    /// Hours, minutes and seconds: 5:07:30
    #[value(name = "h:mm:ss")]
    #[serde(rename = "h:mm:ss")]
    Clock,
}

/// A column of words that say how runs ended. A word that is in neither list is refused, not guessed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct OutcomeColumn {
    pub(crate) column: String,
    pub(crate) finished: Vec<String>,
    pub(crate) stopped: Vec<String>,
}

/// What a date with slashes or points begins with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum DateOrder {
    /// 25/11/2026
    DayFirst,
    /// 11/25/2026
    MonthFirst,
}

impl TableWay {
    /// The columns that it reads, each with what it says.
    pub(crate) fn columns(&self) -> Vec<(&'static str, &str)> {
        let mut all: Vec<(&'static str, &str)> = Vec::new();
        for (what, of) in [("machine", &self.machine), ("material", &self.material)] {
            if let Given::Column(column) = of {
                all.push((what, column));
            }
        }
        let plain = [
            ("start", &self.start),
            ("end", &self.end),
            ("label", &self.label),
            ("sha256", &self.sha256),
            ("grams", &self.grams),
            ("note", &self.note),
        ];
        all.extend(plain.into_iter().filter_map(|(what, column)| Some((what, column.as_deref()?))));
        all.extend(self.duration.as_ref().map(|duration| ("duration", duration.column.as_str())));
        all.extend(self.outcome.as_ref().map(|outcome| ("outcome", outcome.column.as_str())));
        all
    }

    /// Whether all of its columns stand in a header.
    pub(crate) fn fits(&self, header: &[String]) -> bool {
        self.columns().iter().all(|(_, column)| place(header, column).is_some())
    }

    /// How it is set up, in words.
    pub(crate) fn said(&self) -> String {
        let mut said: Vec<String> =
            self.columns().iter().map(|(what, column)| format!("{what} in \"{column}\"")).collect();
        for (what, given) in [("machine", &self.machine), ("material", &self.material)] {
            if let Given::Always(name) = given {
                said.push(format!("{what} {name}"));
            }
        }
        format!("a table with {}", said.join(", "))
    }
}

/// Where a column stands in a header, whatever its case.
fn place(header: &[String], column: &str) -> Option<usize> {
    let wanted = column.trim().to_lowercase();
    header.iter().position(|name| name.to_lowercase() == wanted)
}

/// A table as it was read: a header, and rows with their line in the file.
pub(crate) struct Table {
    /// What the columns are called.
    pub(crate) header: Vec<String>,
    /// What separates them.
    pub(crate) separator: u8,
    /// The rows, as they stand.
    pub(crate) rows: Vec<(u64, ByteRecord)>,
}

impl Table {
    /// Reads a table. What is wrong with a row is told when it is read by [`Columns::row`].
    ///
    /// # Errors
    /// A file that can't be read, is too large, has no rows, or whose header is no UTF-8.
    pub(crate) fn read(source: &Source) -> Result<Table, Trouble> {
        let file = source.name();
        let progress = Arc::new(Progress::new(source.size(), Unit::Bytes));
        let mut text = Vec::new();
        let read =
            source.open(&progress).and_then(|plain| plain.take(MOST_OF_A_HISTORY as u64 + 1).read_to_end(&mut text));
        read.map_err(|error| match error.kind() {
            io::ErrorKind::IsADirectory => {
                Trouble::refused(format!("{file} is a folder, not a table")).help("name a file")
            }
            _ => source.trouble(&error),
        })?;
        if MOST_OF_A_HISTORY < text.len() {
            return Err(Trouble::refused(format!("{file} has more than {} MiB", MOST_OF_A_HISTORY / 1024 / 1024))
                .help("split it, each piece with the header line"));
        }
        Table::of(&text, &file)
    }

    /// The table that stands in a text.
    ///
    /// # Errors
    /// As [`Table::read`].
    pub(crate) fn of(text: &[u8], file: &str) -> Result<Table, Trouble> {
        let text = text.strip_prefix("\u{feff}".as_bytes()).unwrap_or(text);
        let separator = separator(text);
        let mut builder = csv::ReaderBuilder::new();
        let mut reader = builder.has_headers(false).flexible(true).delimiter(separator).from_reader(text);
        let broken = |error: csv::Error| Trouble::refused(format!("{file} is no table: {error}"));
        let mut records = reader.byte_records();
        let Some(first) = records.next().transpose().map_err(broken)? else {
            return Err(Trouble::refused(format!("{file} is empty"))
                .help("its first line names the columns; each run has a row below"));
        };
        let mut header = Vec::with_capacity(first.len());
        for name in &first {
            let name = std::str::from_utf8(name).map_err(|_| {
                Trouble::refused(format!("{file}, line 1: the header is not UTF-8")).help("save the table as UTF-8")
            })?;
            header.push(name.trim().to_owned());
        }
        let mut rows = Vec::new();
        let (mut line, mut counted) = (1, 0);
        for record in records {
            let record = record.map_err(broken)?;
            // Counted here, since the reader takes the second byte of a line's end for the next line's first.
            let at = record.position().map_or(0, csv::Position::byte) as usize;
            let ends = text[at..].iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
            line += text[counted..at + ends].iter().filter(|byte| **byte == b'\n').count() as u64;
            counted = at + ends;
            rows.push((line, record));
        }
        if rows.is_empty() {
            return Err(
                Trouble::refused(format!("{file} has a header and no rows")).help("each run has a row below it")
            );
        }
        Ok(Table { header, separator, rows })
    }

    /// Different values of a column as they come, up to `most`; empty ones and those that are no UTF-8 are left out.
    pub(crate) fn values(&self, column: usize, most: usize) -> Vec<String> {
        let mut all: Vec<String> = Vec::new();
        for (_, record) in &self.rows {
            let text = record.get(column).and_then(|cell| std::str::from_utf8(cell).ok()).unwrap_or("").trim();
            if !text.is_empty() && !all.iter().any(|there| there == text) {
                all.push(text.to_owned());
            }
            if all.len() == most {
                break;
            }
        }
        all
    }

    /// What separates its columns, in a word.
    pub(crate) fn separator_word(&self) -> &'static str {
        match self.separator {
            b';' => "semicolon",
            b'\t' => "tab",
            _ => "comma",
        }
    }

    /// Whether a comma in a number is a decimal comma: where none separates columns.
    pub(crate) fn has_decimal_commas(&self) -> bool {
        self.separator != b','
    }
}

/// What a shop knows, by which a row is read.
pub(crate) struct Knows {
    /// Its machines' names.
    pub(crate) machines: Vec<String>,
    /// Its materials.
    pub(crate) materials: Materials,
    /// Whose clock the times without an offset are.
    pub(crate) zone: TimeZone,
}

impl Knows {
    /// The machine's name as the shop has it.
    ///
    /// # Errors
    /// Where the shop has none of that name; the nearest is named.
    pub(crate) fn machine(&self, name: &str) -> Result<String, Trouble> {
        Ok(Unknown::find("machine", name, &self.machines, |machine| machine)?.clone())
    }
}

/// What is wrong with a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Flaw {
    /// The column, if it is one cell.
    pub(crate) column: Option<String>,
    /// What is wrong with it.
    pub(crate) reason: String,
    /// What to do.
    pub(crate) help: Vec<String>,
}

impl Flaw {
    fn of_row(reason: impl Into<String>) -> Flaw {
        Flaw { column: None, reason: reason.into(), help: Vec::new() }
    }

    /// What was refused of a whole row.
    pub(crate) fn refused(trouble: &Trouble) -> Flaw {
        Flaw { column: None, reason: trouble.what().to_owned(), help: trouble.help_lines().to_vec() }
    }
}

/// A table's columns, found in its header.
pub(crate) struct Columns<'a> {
    way: &'a TableWay,
    header: &'a [String],
    decimal_comma: bool,
    knows: &'a Knows,
}

impl<'a> Columns<'a> {
    /// Finds the columns that a way in reads.
    ///
    /// # Errors
    /// A column that is missing or stands twice; a machine or material for all that the shop does not know.
    pub(crate) fn find(way: &'a TableWay, table: &'a Table, knows: &'a Knows) -> Result<Columns<'a>, Trouble> {
        let header = table.header.as_slice();
        for (what, column) in way.columns() {
            let Some(at) = place(header, column) else {
                let unknown = Unknown::new("column", column, header.to_vec());
                return Err(Trouble::from(unknown).help(format!("it is to say the {what}: set the way in anew")));
            };
            if place(&header[at + 1..], column).is_some() {
                return Err(Trouble::refused(format!("two columns are called \"{column}\""))
                    .help("give them different names in the header line"));
            }
        }
        if let Given::Always(name) = &way.machine {
            knows.machine(name)?;
        }
        if let Given::Always(name) = &way.material {
            printed::known(name, &knows.materials)?;
        }
        Ok(Columns { way, header, decimal_comma: table.has_decimal_commas(), knows })
    }

    /// What a row tells.
    ///
    /// # Errors
    /// All that is wrong with it.
    pub(crate) fn row(&self, record: &ByteRecord) -> Result<Told, Vec<Flaw>> {
        if record.len() != self.header.len() {
            let quote = record.iter().any(|cell| cell.contains(&b'\n'));
            let why = if quote { "; perhaps a quote is not closed" } else { "" };
            let (cells, columns) = (record.len(), self.header.len());
            return Err(vec![Flaw::of_row(format!("{cells} cells, but the header names {columns} columns{why}"))]);
        }
        let mut cells = Cells { header: self.header, record, flaws: Vec::new() };
        let way = self.way;
        let on = self.given(&mut cells, &way.machine, &way.machine_names, |name| self.knows.machine(name));
        let material = self.given(&mut cells, &way.material, &way.material_names, |name| {
            printed::known(name, &self.knows.materials).map(|info| info.name)
        });
        let instant = |text: &str| instant(text, way.dates, &self.knows.zone);
        let number = |text: &str| number(text, self.decimal_comma);
        let start = cells.read(way.start.as_deref(), instant);
        let end = cells.read(way.end.as_deref(), instant);
        let hours = way.duration.as_ref().and_then(|duration| {
            cells.read(Some(&duration.column), |text| hours(text, duration.unit, self.decimal_comma))
        });
        let grams = cells.read(way.grams.as_deref(), number);
        let sha256 = cells
            .read(way.sha256.as_deref(), |text| input::read_sha256(text).map_err(|trouble| trouble.what().to_owned()));
        let label = cells.read(way.label.as_deref(), |text| Ok(text.to_owned()));
        let note = cells.read(way.note.as_deref(), |text| Ok(text.to_owned()));
        let is_stopped = way.outcome.as_ref().and_then(|outcome| cells.is_stopped(outcome));
        if cells.flaws.is_empty() {
            cells.flaws.extend(contradiction(start, end, hours, sha256.is_some()).map(Flaw::of_row));
        }
        match (on, material) {
            (Some(on), Some(material)) if cells.flaws.is_empty() => Ok(Told {
                on,
                materials: vec![material],
                sha256,
                start,
                end,
                hours,
                grams,
                label,
                stop: None,
                is_stopped: is_stopped.unwrap_or(false),
                note: note.unwrap_or_default(),
            }),
            _ => Err(cells.flaws),
        }
    }

    /// A name of the shop's: what a cell says, by the names that were given to it.
    fn given(
        &self,
        cells: &mut Cells<'_>,
        given: &Given,
        names: &BTreeMap<String, String>,
        known: impl Fn(&str) -> Result<String, Trouble>,
    ) -> Option<String> {
        let column = match given {
            Given::Always(name) => return known(name).ok(),
            Given::Column(column) => column,
        };
        let mut help = Vec::new();
        let before = cells.flaws.len();
        let found = cells.read(Some(column), |text| {
            known(names.get(text).map_or(text, String::as_str)).map_err(|trouble| {
                help = trouble.help_lines().to_vec();
                trouble.what().to_owned()
            })
        });
        if found.is_none() && cells.flaws.len() == before {
            cells.flaws.push(Flaw { column: Some(column.clone()), reason: "is empty".to_owned(), help: Vec::new() });
        }
        if let Some(flaw) = cells.flaws.get_mut(before) {
            flaw.help = help;
        }
        found
    }
}

/// The cells of a row, and what is wrong with them.
struct Cells<'a> {
    header: &'a [String],
    record: &'a ByteRecord,
    flaws: Vec<Flaw>,
}

impl Cells<'_> {
    /// What a cell says; `None` where it is empty or wrong, and where there is no such column.
    fn read<T>(&mut self, column: Option<&str>, parse: impl FnOnce(&str) -> Result<T, String>) -> Option<T> {
        let column = column?;
        let cell = self.record.get(place(self.header, column)?)?;
        let read = match std::str::from_utf8(cell).map(str::trim) {
            Ok("") => return None,
            Ok(text) => parse(text),
            Err(_) => Err("is not UTF-8; save the table as UTF-8".to_owned()),
        };
        read.map_err(|reason| {
            self.flaws.push(Flaw { column: Some(column.to_owned()), reason, help: Vec::new() });
        })
        .ok()
    }

    /// Whether a word says that a run stopped early.
    fn is_stopped(&mut self, outcome: &OutcomeColumn) -> Option<bool> {
        let has = |words: &[String], text: &str| words.iter().any(|word| word.to_lowercase() == text.to_lowercase());
        self.read(Some(&outcome.column), |text| {
            let is_stopped = has(&outcome.stopped, text);
            match is_stopped || has(&outcome.finished, text) {
                true => Ok(is_stopped),
                false => Err(format!("\"{text}\" is not known to mean finished or stopped")),
            }
        })
    }
}

/// What does not fit together of a row's times.
fn contradiction(
    start: Option<Timestamp>,
    end: Option<Timestamp>,
    hours: Option<f64>,
    has_program: bool,
) -> Option<String> {
    match (start, end, hours) {
        (None, None, _) => Some("neither its start nor its end is told".to_owned()),
        (Some(start), Some(end), _) if end <= start => {
            Some("it ends before it starts, or at the same instant".to_owned())
        }
        (Some(start), Some(end), Some(hours)) => {
            let between = end.duration_since(start).as_secs_f64() / 3600.0;
            // A minute: many tables tell times to the minute only.
            (between + 1.0 / 60.0 < hours).then(|| {
                format!("it took {hours:.2} h, but there are only {between:.2} h between its start and its end")
            })
        }
        (Some(_), None, None) | (None, Some(_), None) if !has_program => {
            Some("how long it took is not told: of start, end and duration two are needed".to_owned())
        }
        _ => None,
    }
}

/// A number that is not negative.
fn number(text: &str, decimal_comma: bool) -> Result<f64, String> {
    let plain = match (text.contains(','), decimal_comma) {
        (true, true) if !text.contains('.') => text.replacen(',', ".", 1),
        _ => text.to_owned(),
    };
    let is_plain = plain.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    let read = plain.parse::<f64>().ok().filter(|number| is_plain && number.is_finite());
    read.ok_or_else(|| {
        let example = if decimal_comma { "1234.5 or 1234,5" } else { "1234.5" };
        format!("\"{text}\" is no number as it is read here: write {example}, without its unit")
    })
}

/// A duration, h.
fn hours(text: &str, unit: DurationUnit, decimal_comma: bool) -> Result<f64, String> {
    let hours = match unit {
        DurationUnit::Hours => number(text, decimal_comma)?,
        DurationUnit::Minutes => number(text, decimal_comma)? / 60.0,
        DurationUnit::Seconds => number(text, decimal_comma)? / 3600.0,
        DurationUnit::Clock => {
            clock_hours(text).ok_or_else(|| format!("\"{text}\" is no duration: write h:mm:ss, for example 5:07:30"))?
        }
    };
    if hours <= 0.0 { Err(format!("\"{text}\" is no time at all")) } else { Ok(hours) }
}

fn clock_hours(text: &str) -> Option<f64> {
    let fields: Vec<u32> = text.split(':').map(whole).collect::<Option<_>>()?;
    match fields[..] {
        [hours, minutes, seconds] if minutes < 60 && seconds < 60 => {
            Some(f64::from(hours) + (f64::from(minutes) + f64::from(seconds) / 60.0) / 60.0)
        }
        _ => None,
    }
}

/// A whole number of digits alone.
fn whole(text: &str) -> Option<u32> {
    text.parse().ok().filter(|_| text.bytes().all(|byte| byte.is_ascii_digit()))
}

const FORMS: &str = "write 2026-11-25 14:10, 2026-11-25T14:10:00Z or seconds since 1970";

/// An instant: RFC 3339, a date and a time by the zone's clock, or seconds since 1970.
fn instant(text: &str, order: Option<DateOrder>, zone: &TimeZone) -> Result<Timestamp, String> {
    if let Ok(instant) = text.parse::<Timestamp>() {
        return Ok(instant);
    }
    if let Some(instant) = since_1970(text) {
        return instant;
    }
    let not_one = || format!("\"{text}\" is no instant: {FORMS}");
    let Some((day, clock)) = text.split_once([' ', 'T']) else {
        return Err(match text.len() {
            10 if text.contains(['-', '/', '.']) => format!("\"{text}\" has no time of day: {FORMS}"),
            _ => not_one(),
        });
    };
    let date = if day.contains(['/', '.']) {
        let Some(order) = order else {
            return Err(format!("\"{text}\": whether day or month comes first is not told; set --dates of the way in"));
        };
        parted(day, order)
            .ok_or_else(|| format!("\"{day}\" is no date with {} and a year of four digits", said(order)))?
    } else {
        iso_date(day).ok_or_else(not_one)?
    };
    let time = time_of_day(clock.trim()).ok_or_else(not_one)?;
    let there = zone.to_ambiguous_zoned_datetime(date.to_datetime(time));
    match there.offset() {
        AmbiguousOffset::Unambiguous { .. } => there.unambiguous().map(|at| at.timestamp()).map_err(|_| not_one()),
        AmbiguousOffset::Gap { .. } => Err(format!("\"{text}\" does not exist: the clocks went forward over it")),
        AmbiguousOffset::Fold { before, after } => Err(format!(
            "\"{text}\" exists twice, as the clocks went back: say which, {date}T{time}{} or {date}T{time}{}",
            offset(before),
            offset(after)
        )),
    }
}

/// An offset as RFC 3339 writes it.
fn offset(of: jiff::tz::Offset) -> String {
    let minutes = of.seconds() / 60;
    let sign = if minutes < 0 { '-' } else { '+' };
    format!("{sign}{:02}:{:02}", minutes.abs() / 60, minutes.abs() % 60)
}

fn said(order: DateOrder) -> &'static str {
    match order {
        DateOrder::DayFirst => "the day first",
        DateOrder::MonthFirst => "the month first",
    }
}

/// Seconds since 1970, where a text is a number alone.
fn since_1970(text: &str) -> Option<Result<Timestamp, String>> {
    let seconds: f64 = text.parse().ok().filter(|_| text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.'))?;
    // Nine or ten digits: from 1973 to 2286.
    if !(1e8..1e10).contains(&seconds) {
        return Some(Err(format!("\"{text}\" is no instant: seconds since 1970 have nine or ten digits")));
    }
    let micros = (seconds * 1e6).round();
    // OK because it is below 1e16, which an i64 holds.
    #[expect(clippy::cast_possible_truncation, reason = "whole, and below 1e16")]
    let micros = micros as i64;
    Some(Timestamp::from_microsecond(micros).map_err(|error| error.to_string()))
}

/// A date as ISO 8601 writes it.
fn iso_date(text: &str) -> Option<Date> {
    let fields: Vec<&str> = text.split('-').collect();
    match fields[..] {
        [year, month, day] if year.len() == 4 => date(year, month, day),
        _ => None,
    }
}

/// A date with slashes or points.
fn parted(text: &str, order: DateOrder) -> Option<Date> {
    let fields: Vec<&str> = text.split(['/', '.']).collect();
    match (&fields[..], order) {
        (&[day, month, year], DateOrder::DayFirst) | (&[month, day, year], DateOrder::MonthFirst)
            if year.len() == 4 =>
        {
            date(year, month, day)
        }
        _ => None,
    }
}

fn date(year: &str, month: &str, day: &str) -> Option<Date> {
    let field = |text: &str| whole(text).and_then(|number| i8::try_from(number).ok());
    Date::new(i16::try_from(whole(year)?).ok()?, field(month)?, field(day)?).ok()
}

/// A time of day, perhaps of the morning or afternoon: 14:10, 14:10:30, 2:10 PM.
fn time_of_day(text: &str) -> Option<Time> {
    let lower = text.to_ascii_lowercase();
    let half = lower.strip_suffix("am").map(|clock| (clock, 0)).or(lower.strip_suffix("pm").map(|clock| (clock, 12)));
    let clock = half.map_or(lower.as_str(), |(clock, _)| clock.trim_end());
    let fields: Vec<i8> =
        clock.split(':').map(|text| whole(text).and_then(|number| i8::try_from(number).ok())).collect::<Option<_>>()?;
    let (hour, minute, second) = match fields[..] {
        [hour, minute] => (hour, minute, 0),
        [hour, minute, second] => (hour, minute, second),
        _ => return None,
    };
    let hour = match half {
        None => hour,
        Some((_, noon)) if (1..=12).contains(&hour) => hour % 12 + noon,
        Some(_) => return None,
    };
    Time::new(hour, minute, second, 0).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn zone() -> TimeZone {
        TimeZone::get("Europe/Oslo").unwrap()
    }

    fn at(text: &str, order: Option<DateOrder>) -> Result<String, String> {
        instant(text, order, &zone()).map(|at| at.to_string())
    }

    #[test]
    fn instants_are_read_by_the_shops_clock_and_never_guessed() {
        // Oslo is an hour ahead of UTC in November.
        for text in ["2026-11-24 08:00", "2026-11-24T08:00:00", "2026-11-24T07:00:00Z", "1795503600", "1795503600.0"] {
            assert_eq!(at(text, None).as_deref(), Ok("2026-11-24T07:00:00Z"), "{text}");
        }
        assert_eq!(at("04/11/2026 8:00", Some(DateOrder::DayFirst)).as_deref(), Ok("2026-11-04T07:00:00Z"));
        assert_eq!(at("11.04.2026 8:00", Some(DateOrder::MonthFirst)).as_deref(), Ok("2026-11-04T07:00:00Z"));
        assert_eq!(at("11/4/2026 12:30 AM", Some(DateOrder::MonthFirst)).as_deref(), Ok("2026-11-03T23:30:00Z"));
        assert!(at("04/11/2026 8:00", None).unwrap_err().contains("--dates"));
        assert!(at("24/11/2026 8:00", Some(DateOrder::MonthFirst)).unwrap_err().contains("month first"));
        assert!(at("2026-11-24", None).unwrap_err().contains("no time of day"));
        // Summer time in Oslo ended on 25 October 2026 at 03:00 (EU directive 2000/84/EC: last Sunday of October).
        let twice = at("2026-10-25 02:30", None).unwrap_err();
        assert!(twice.contains("+02:00") && twice.contains("+01:00"), "{twice}");
        assert!(at("2026-03-29 02:30", None).unwrap_err().contains("went forward"));
        for text in ["soon", "2026-13-01 8:00", "2026-11-24 25:00", "26-11-24 8:00", "12", "1795503600000", "-5"] {
            assert!(at(text, None).is_err(), "{text}");
        }
    }

    #[test]
    fn durations_and_numbers_are_read_as_their_unit_and_separator_say() {
        assert_eq!(hours("1:30:00", DurationUnit::Clock, false), Ok(1.5));
        assert_eq!(hours("90", DurationUnit::Minutes, false), Ok(1.5));
        assert_eq!(hours("5400", DurationUnit::Seconds, false), Ok(1.5));
        assert_eq!(hours("1,5", DurationUnit::Hours, true), Ok(1.5));
        for (text, comma) in
            [("1,5", false), ("1.234,5", true), ("1,2,3", true), ("-1", false), ("1e3", false), ("nan", true)]
        {
            assert!(number(text, comma).is_err(), "{text}");
        }
        // Minutes and seconds, or hours and minutes? It is not said.
        assert!(hours("1:30", DurationUnit::Clock, false).is_err());
        assert!(hours("0", DurationUnit::Hours, false).is_err());
    }

    fn way() -> TableWay {
        let column = |name: &str| Some(name.to_owned());
        TableWay {
            machine: Given::Column("a".into()),
            material: Given::Column("b".into()),
            start: column("c"),
            end: column("d"),
            duration: Some(DurationColumn { column: "e".into(), unit: DurationUnit::Clock }),
            label: column("f"),
            sha256: column("g"),
            grams: column("h"),
            outcome: Some(OutcomeColumn {
                column: "i".into(),
                finished: vec!["ok".into()],
                stopped: vec!["no".into()],
            }),
            note: column("j"),
            dates: Some(DateOrder::DayFirst),
            machine_names: BTreeMap::from([("K1".into(), "bowline".into())]),
            material_names: BTreeMap::new(),
        }
    }

    fn knows() -> Knows {
        Knows { machines: vec!["bowline".into()], materials: Materials::built_in().clone(), zone: zone() }
    }

    #[test]
    fn all_that_is_wrong_with_a_row_is_told_at_once() {
        let table = Table::of(b"a,b,c,d,e,f,g,h,i,j\nK2,PLAA,x,y,1:30,f,12,1k,perhaps,\xe9\n", "t.csv").unwrap();
        let (way, knows) = (way(), knows());
        let columns = Columns::find(&way, &table, &knows).unwrap();
        let flaws = columns.row(&table.rows[0].1).unwrap_err();
        let mut named: Vec<&str> = flaws.iter().filter_map(|flaw| flaw.column.as_deref()).collect();
        named.sort_unstable();
        assert_eq!(named, ["a", "b", "c", "d", "e", "g", "h", "i", "j"]);
    }

    #[test]
    fn any_bytes_are_a_row_or_refused() {
        // Numbers by the generator of Park & Miller (1988), CACM 31: 1192-1201.
        let mut seed: u64 = 7;
        let mut next = |below: usize| {
            seed = seed * 48_271 % 2_147_483_647;
            usize::try_from(seed).unwrap() % below
        };
        let pieces: &[&[u8]] = &[
            b"K1",
            b"PLA",
            b"2026-11-24 08:00",
            b"99999999999",
            b"1795503600",
            b":",
            b"/",
            b"-",
            b".",
            b",",
            b"\"",
            b"\n",
            b"\xff\xfe",
            b"T",
            b"pm",
            b"9",
            b"0",
            "\u{e9}".as_bytes(),
            b" ",
            b"ok",
            b"e",
        ];
        let (way, knows) = (way(), knows());
        let (mut read, mut refused) = (0, 0);
        for _ in 0..2000 {
            let mut text = b"a,b,c,d,e,f,g,h,i,j\nK1,PLA,2026-11-24 08:00,".to_vec();
            let mut rest = [b"2026-11-24 09:00,,,,,,".to_vec(), Vec::new()];
            (0..next(4)).for_each(|_| rest[1].extend_from_slice(pieces[next(pieces.len())]));
            (0..next(3)).for_each(|_| {
                let at = next(rest[0].len());
                let piece = pieces[next(pieces.len())];
                rest[0].splice(at..at, piece.iter().copied());
            });
            text.extend(rest.concat());
            let table = Table::of(&text, "t.csv").unwrap();
            let columns = Columns::find(&way, &table, &knows).unwrap();
            for (_, record) in &table.rows {
                match columns.row(record) {
                    Ok(told) => {
                        assert_eq!(told.on, "bowline");
                        read += 1;
                    }
                    Err(flaws) => {
                        assert!(!flaws.is_empty());
                        refused += 1;
                    }
                }
            }
        }
        assert!(0 < read && 0 < refused, "{read} {refused}");
    }
}
