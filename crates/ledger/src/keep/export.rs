//! An export: the shop as files that need no program of ours, without its secrets.

use std::collections::{BTreeMap, HashMap};
use std::io::{self, Write};

use jiff::Timestamp;
use motion::Duty;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json, json};
use sqlx::AnyConnection;
use upkeep::Usage;
use upkeep::usage::Grains;

use super::files::{self, File, Kind};
use super::rows::{ALIKE_BODY, Cell, Row, Table};
use super::walk::{Sink, Sum, Summed, Sums, walk};
use super::{Contents, Folder};
use crate::names::Names;
use crate::tables::{self, readable};
use crate::{Error, Ledger, codec, schema, time};

/// The version of the layout of exports.
pub(crate) const LAYOUT: u32 = 1;

/// The name of the file that is written last.
pub(crate) const MANIFEST: &str = "shop.json";

/// What an export says of itself.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct Manifest {
    /// [`LAYOUT`].
    pub export: u32,
    pub shop: String,
    pub zone: String,
    pub taken: Timestamp,
    /// Lines and SHA-256 of each JSON Lines file.
    pub files: Sums,
}

impl Ledger {
    /// Writes the shop as it stands at one instant into a folder, as CSV and JSON Lines with their descriptions, without
    /// anything secret; others may write meanwhile.
    ///
    /// # Errors
    /// Where the database refuses, an entry can't be read or a file can't be written.
    pub async fn export(&self, folder: &mut impl Folder, taken: Timestamp) -> Result<Contents, Error> {
        let mut snapshot = self.snapshot().await?;
        let readme = files::readme(&self.shop.name, &self.shop.zone_name);
        put(folder, "README.txt", readme.as_bytes())?;
        put(folder, "csv-metadata.json", &pretty(&files::csv_metadata())?)?;
        for file in files::ALL.iter().filter(|file| file.is_source) {
            put(folder, &format!("schema/{}.schema.json", file.name), &pretty(&file.schema())?)?;
        }
        let mut writer = Writer {
            folder: &mut *folder,
            names: Names::default(),
            machines: HashMap::new(),
            sums: Sums::new(),
            open: None,
        };
        (writer.names, writer.machines) = looked_up(&mut snapshot, &self.quantities).await?;
        walk(&mut snapshot, self.engine, &exported(), &mut writer).await?;
        writer.close()?;
        let sums = std::mem::take(&mut writer.sums);
        let contents = Contents::new(self, schema::known(self.engine), &sums, &files::ENTRIES.jsonl());
        let (shop, zone) = (self.shop.name.clone(), self.shop.zone_name.clone());
        let manifest = Manifest { export: LAYOUT, shop, zone, taken, files: sums };
        put(folder, MANIFEST, &pretty(&manifest)?)?;
        Ok(contents)
    }
}

/// The tables that an export is made of.
fn exported() -> Vec<Table> {
    let read = |table: &str| if table == "entry" { Table::whole_entries() } else { Table::named(table) };
    SHOWN.iter().map(|(table, _)| read(table)).collect()
}

/// The tables and the files that they become.
const SHOWN: [(&str, &File); 10] = [
    ("machine", &files::MACHINES),
    ("entry", &files::ENTRIES),
    ("build", &files::BUILDS),
    ("material", &files::MATERIALS),
    ("program", &files::PROGRAMS),
    ("person", &files::PEOPLE),
    ("mark", &files::MARKS),
    ("photo", &files::PHOTOS),
    ("daily", &files::DAILY),
    ("total", &files::TOTALS),
];

/// The names behind ids: of quantities and materials, and of machines.
async fn looked_up(connection: &mut AnyConnection, quantities: &Names) -> Result<(Names, HashMap<i64, String>), Error> {
    let names = tables::names(connection, quantities).await?;
    let machines = tables::machines(connection).await?;
    Ok((names, machines.into_iter().map(|machine| (machine.id, machine.name)).collect()))
}

/// The lines and SHA-256 of the entries as an export would have them.
pub(crate) async fn sum_of_entries(connection: &mut AnyConnection, ledger: &Ledger) -> Result<Sum, Error> {
    let (names, machines) = looked_up(connection, &ledger.quantities).await?;
    let table = Table::whole_entries();
    let mut sink = EntrySum { table: table.clone(), names, machines, summed: Summed::default() };
    walk(connection, ledger.engine, &[table], &mut sink).await?;
    Ok(sink.summed.sum())
}

struct EntrySum {
    table: Table,
    names: Names,
    machines: HashMap<i64, String>,
    summed: Summed,
}

impl Sink for EntrySum {
    async fn table(&mut self, _: &Table) -> Result<(), Error> {
        Ok(())
    }

    async fn row(&mut self, row: Row) -> Result<(), Error> {
        let view = View { table: &self.table, row: &row, names: &self.names, machines: &self.machines };
        self.summed.line(&line(&view.entry()?)?);
        Ok(())
    }
}

/// Writes the files of an export.
struct Writer<'f, F> {
    folder: &'f mut F,
    names: Names,
    machines: HashMap<i64, String>,
    sums: Sums,
    open: Option<OpenFile>,
}

struct OpenFile {
    table: Table,
    file: &'static File,
    jsonl: Option<(Box<dyn Write + Send>, Summed)>,
    csv: Box<dyn Write + Send>,
}

impl<F: Folder> Writer<'_, F> {
    fn close(&mut self) -> Result<(), Error> {
        let Some(mut open) = self.open.take() else { return Ok(()) };
        open.csv.flush().map_err(unwritten(&open.file.csv()))?;
        if let Some((mut out, summed)) = open.jsonl {
            out.flush().map_err(unwritten(&open.file.jsonl()))?;
            self.sums.insert(open.file.jsonl(), summed.sum());
        }
        Ok(())
    }
}

impl<F: Folder> Sink for Writer<'_, F> {
    async fn table(&mut self, table: &Table) -> Result<(), Error> {
        self.close()?;
        // OK because only tables of this list are walked.
        let (_, file) = *SHOWN.iter().find(|(name, _)| *name == table.name).expect("a table that is shown");
        let jsonl = match file.is_source {
            true => Some((make(self.folder, &file.jsonl())?, Summed::default())),
            false => None,
        };
        let mut csv = make(self.folder, &file.csv())?;
        let head: Vec<&str> = file.columns().map(|field| field.name).collect();
        csv.write_all(format!("{}\r\n", head.join(",")).as_bytes()).map_err(unwritten(&file.csv()))?;
        self.open = Some(OpenFile { table: table.clone(), file, jsonl, csv });
        Ok(())
    }

    async fn row(&mut self, row: Row) -> Result<(), Error> {
        let Some(open) = &mut self.open else { return Ok(()) };
        let view = View { table: &open.table, row: &row, names: &self.names, machines: &self.machines };
        let (csv, unwritten_csv) = (&mut open.csv, unwritten(&open.file.csv()));
        let mut write = |line: String| csv.write_all(line.as_bytes()).map_err(&unwritten_csv);
        let value = match open.table.name.as_str() {
            "daily" => return view.each_day(&mut write),
            "total" => {
                let usage = view.usage("usage")?.unwrap_or_default();
                return long(&csv_cell(&view.machine()?), &usage, &mut write);
            }
            "machine" if view.text("name")?.is_empty() => return Ok(()),
            "machine" => view.machine_line()?,
            "entry" => view.entry()?,
            "build" => {
                let name = format!("builds/{}.toml", view.int("id")?);
                put(self.folder, &name, view.text("text")?.as_bytes())?;
                json!({ "build": view.text("name")?, "recorded": view.instant("recorded")?, "file": name })
            }
            "photo" => {
                let bytes = view.bytes("bytes")?.unwrap_or_default();
                let name = format!("photos/{}.{}", view.int("id")?, view.text("kind")?);
                put(self.folder, &name, bytes)?;
                view.photo(&name)?
            }
            "material" => view.material()?,
            "program" => view.program()?,
            "person" => view.person()?,
            _ => view.mark()?,
        };
        if let Some((out, summed)) = &mut open.jsonl {
            let line = line(&value)?;
            summed.line(&line);
            out.write_all(&line).and_then(|()| out.write_all(b"\n")).map_err(unwritten(&open.file.jsonl()))?;
        }
        let cells: Vec<String> = open.file.columns().map(|field| csv_value(&value[field.name])).collect();
        write(format!("{}\r\n", cells.join(",")))
    }
}

/// A row and what its ids mean.
struct View<'a> {
    table: &'a Table,
    row: &'a Row,
    names: &'a Names,
    machines: &'a HashMap<i64, String>,
}

impl View<'_> {
    fn cell(&self, column: &str) -> Option<&Cell> {
        self.row.0[self.table.place_of(column)].as_ref()
    }

    fn damaged(&self) -> Error {
        let key: Vec<String> = self.row.0[..self.table.key].iter().map(|cell| format!("{cell:?}")).collect();
        Error::Damaged { what: format!("a row of {} ({})", self.table.name, key.join(", ")) }
    }

    fn maybe_int(&self, column: &str) -> Result<Option<i64>, Error> {
        match self.cell(column) {
            None => Ok(None),
            Some(Cell::Int(number)) => Ok(Some(*number)),
            Some(_) => Err(self.damaged()),
        }
    }

    fn int(&self, column: &str) -> Result<i64, Error> {
        self.maybe_int(column)?.ok_or_else(|| self.damaged())
    }

    fn maybe_text(&self, column: &str) -> Result<Option<&str>, Error> {
        match self.cell(column) {
            None => Ok(None),
            Some(Cell::Text(text)) => Ok(Some(text)),
            Some(_) => Err(self.damaged()),
        }
    }

    fn text(&self, column: &str) -> Result<&str, Error> {
        self.maybe_text(column)?.ok_or_else(|| self.damaged())
    }

    fn bytes(&self, column: &str) -> Result<Option<&[u8]>, Error> {
        match self.cell(column) {
            None => Ok(None),
            Some(Cell::Bytes(bytes)) => Ok(Some(bytes)),
            Some(_) => Err(self.damaged()),
        }
    }

    fn maybe_instant(&self, column: &str) -> Result<Option<String>, Error> {
        let Some(micros) = self.maybe_int(column)? else { return Ok(None) };
        let at = time::from_micros(micros).ok_or_else(|| self.damaged())?;
        Ok(Some(at.to_string()))
    }

    fn instant(&self, column: &str) -> Result<String, Error> {
        self.maybe_instant(column)?.ok_or_else(|| self.damaged())
    }

    fn json(&self, column: &str) -> Result<Json, Error> {
        serde_json::from_str(self.text(column)?).map_err(|_| self.damaged())
    }

    fn usage(&self, column: &str) -> Result<Option<Usage>, Error> {
        let read =
            |bytes| readable(codec::usage_from_bytes(bytes, self.names), || format!("the use in {}", self.table.name));
        self.bytes(column)?.map(read).transpose()
    }

    /// The name of the machine of the row.
    fn machine(&self) -> Result<String, Error> {
        self.machines.get(&self.int("machine")?).cloned().ok_or_else(|| self.damaged())
    }

    fn machine_line(&self) -> Result<Json, Error> {
        let (machine, build) = (self.text("name")?, self.maybe_text("build")?);
        Ok(json!({ "machine": machine, "build": build, "added": self.maybe_instant("added_at")? }))
    }

    fn entry(&self) -> Result<Json, Error> {
        Ok(json!({
            "entry": self.int("id")?, "machine": self.machine()?, "kind": self.text("kind")?,
            "at": self.instant("at")?, "recorded": self.instant("recorded")?, "corrects": self.maybe_int("corrects")?,
            "about": self.text("about")?, "details": self.details()?, "note": self.text("note")?,
            "by": self.maybe_text("recorded_by")?, "use": self.usage("usage")?.as_ref().map(use_to_json),
        }))
    }

    /// What an entry says besides its columns: what it says as others do, and its own.
    fn details(&self) -> Result<Json, Error> {
        let own = self.json("body")?;
        if self.maybe_text(ALIKE_BODY)?.is_none() {
            return Ok(own);
        }
        let mut whole = self.json(ALIKE_BODY)?;
        if let (Json::Object(whole), Json::Object(own)) = (&mut whole, own) {
            whole.extend(own);
        }
        Ok(whole)
    }

    fn material(&self) -> Result<Json, Error> {
        let Some(Cell::Real(density)) = self.cell("density_kg_m3") else { return Err(self.damaged()) };
        Ok(json!({
            "material": self.text("name")?, "density_kg_m3": density, "classes": self.text("classes")?,
            "recorded": self.instant("recorded")?,
        }))
    }

    fn program(&self) -> Result<Json, Error> {
        let duty = self.bytes("duty")?.unwrap_or_default();
        let duty = readable(codec::duty_from_bytes(duty, self.names), || "the duty of a program".to_owned())?;
        let wear = self.bytes("maps")?.unwrap_or_default();
        Ok(json!({
            "sha256": self.text("sha256")?, "motion": self.text("motion")?, "corner": self.text("corner")?,
            "meter": self.int("meter")?, "label": self.text("label")?, "bytes": self.int("bytes")?,
            "duty": duty_to_json(&duty), "report": self.json("report")?,
            "wear": serde_json::from_slice::<Json>(wear).map_err(|_| self.damaged())?,
        }))
    }

    fn person(&self) -> Result<Json, Error> {
        Ok(json!({ "person": self.text("name")?, "role": self.text("role")?, "since": self.instant("since")? }))
    }

    fn mark(&self) -> Result<Json, Error> {
        Ok(json!({
            "visit": self.int("visit")?, "key": self.text("key")?, "task": self.text("task")?, "kind": self.text("kind")?,
            "about": self.text("about")?, "text": self.text("text")?, "by": self.maybe_text("made_by")?,
            "at": self.instant("at")?,
        }))
    }

    fn photo(&self, file: &str) -> Result<Json, Error> {
        Ok(json!({
            "visit": self.int("visit")?, "place": self.int("place")?, "key": self.text("key")?, "task": self.text("task")?,
            "kind": self.text("kind")?, "by": self.maybe_text("made_by")?, "at": self.instant("at")?, "file": file,
        }))
    }

    /// Hands the lines of a month's row to `write`.
    fn each_day(&self, write: &mut impl FnMut(String) -> Result<(), Error>) -> Result<(), Error> {
        let (machine, month) = (csv_cell(&self.machine()?), self.int("month")?);
        let mut done = Ok(());
        let read = codec::for_each_day(self.bytes("days")?.unwrap_or_default(), self.names, |day, usage| {
            let day = time::date(month, day).map(|date| date.to_string()).unwrap_or_default();
            if done.is_ok() {
                done = long(&format!("{machine},{day}"), &usage, write);
            }
        });
        readable(read, || "the use of a month".to_owned())?;
        done
    }
}

/// Hands use to `write` as lines of CSV, one for each quantity, each after `head`.
fn long(head: &str, usage: &Usage, write: &mut impl FnMut(String) -> Result<(), Error>) -> Result<(), Error> {
    for (stream, grains) in usage.streams() {
        let material = csv_cell(stream.material.name());
        for (quantity, count) in grains.iter() {
            let unit = quantity.unit();
            let amount = decimal(count, places(unit));
            write(format!("{head},{},{material},{quantity},{amount},{}\r\n", stream.tool, unit.symbol()))?;
        }
    }
    Ok(())
}

/// Decimal places of one grain of a unit.
fn places(unit: motion::Unit) -> u8 {
    (-upkeep::usage::grain(unit).log10()).round() as u8
}

/// `count` times ten to the power of `-places`, exactly.
fn decimal(count: i64, places: u8) -> String {
    let places = usize::from(places);
    let digits = format!("{:0>width$}", count.unsigned_abs(), width = places + 1);
    let (whole, rest) = digits.split_at(digits.len() - places);
    let rest = rest.trim_end_matches('0');
    let sign = if count < 0 { "-" } else { "" };
    if rest.is_empty() { format!("{sign}{whole}") } else { format!("{sign}{whole}.{rest}") }
}

/// Use in SI units.
fn use_to_json(usage: &Usage) -> Json {
    let amounts = |grains: &Grains| -> Map<String, Json> {
        // Divided, so that the nearest number to the decimal one is had, and the grains come back from it.
        let amount = |(quantity, count): (motion::Quantity, i64)| {
            (quantity.name().to_owned(), json!(count as f64 / 10f64.powi(i32::from(places(quantity.unit())))))
        };
        grains.iter().map(amount).collect()
    };
    let stream = |(stream, grains): (&upkeep::usage::Stream, &Grains)| json!({ "tool": stream.tool, "material": stream.material.name(), "amounts": amounts(grains) });
    usage.streams().map(stream).collect()
}

fn duty_to_json(duty: &Duty) -> Json {
    let of = |amounts: &motion::Amounts| -> BTreeMap<String, f64> {
        amounts
            .iter()
            .filter(|(_, amount)| *amount != 0.0)
            .map(|(quantity, amount)| (quantity.name().to_owned(), amount))
            .collect()
    };
    duty.tools.iter().map(|(tool, amounts)| (tool.to_string(), json!(of(amounts)))).collect::<Map<_, _>>().into()
}

fn csv_value(value: &Json) -> String {
    match value {
        Json::Null => String::new(),
        Json::String(text) => csv_cell(text),
        other => csv_cell(&other.to_string()),
    }
}

/// A cell as RFC 4180 writes it.
fn csv_cell(text: &str) -> String {
    if text.contains(['"', ',', '\r', '\n']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.to_owned() }
}

fn line(value: &Json) -> Result<Vec<u8>, Error> {
    serde_json::to_vec(value).map_err(|error| Error::Damaged { what: format!("a line ({error})") })
}

fn pretty(value: &impl Serialize) -> Result<Vec<u8>, Error> {
    let mut text = serde_json::to_vec_pretty(value).map_err(|error| Error::Damaged { what: error.to_string() })?;
    text.push(b'\n');
    Ok(text)
}

fn make(folder: &mut impl Folder, name: &str) -> Result<Box<dyn Write + Send>, Error> {
    folder.make(name).map_err(unwritten(name))
}

fn put(folder: &mut impl Folder, name: &str, bytes: &[u8]) -> Result<(), Error> {
    let mut file = make(folder, name)?;
    file.write_all(bytes).and_then(|()| file.flush()).map_err(unwritten(name))
}

fn unwritten(name: &str) -> impl Fn(io::Error) -> Error + use<> {
    let what = name.to_owned();
    move |error| Error::File { what: what.clone(), reason: error.to_string() }
}

/// Whether a value is of the kind that its field should have.
pub(crate) fn fits(kind: Kind, value: &Json) -> bool {
    match kind {
        Kind::Whole => value.is_i64(),
        Kind::Number => value.is_number(),
        Kind::Text | Kind::Instant | Kind::Day => value.is_string(),
        Kind::List => value.is_array(),
        Kind::Map => value.is_object(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grains_are_written_as_exact_decimals() {
        for (count, places, expected) in [
            (0, 9, "0"),
            (1, 9, "0.000000001"),
            (-1_500_000, 6, "-1.5"),
            (7, 0, "7"),
            (i64::MIN, 9, "-9223372036.854775808"),
        ] {
            assert_eq!(decimal(count, places), expected);
        }
        assert_eq!([motion::Unit::Metre, motion::Unit::CubicMetre, motion::Unit::Count].map(places), [9, 12, 0]);
    }

    #[test]
    fn a_cell_is_quoted_as_rfc_4180_has_it() {
        assert_eq!(csv_cell("plain"), "plain");
        assert_eq!(csv_cell("a \"b\", c\n"), "\"a \"\"b\"\", c\n\"");
    }
}
