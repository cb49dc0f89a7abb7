//! Reading an export back: its JSON Lines are the record, and everything derived is made anew.

use std::io::{self, BufRead, Read};

use jiff::Timestamp;
use motion::{Amounts, Duty, Quantity, Tool};
use serde_json::Value as Json;
use sqlx::AnyConnection;
use upkeep::usage::{Grains, Stream, grain};
use upkeep::{Material, Usage};

use super::export::{LAYOUT, MANIFEST, Manifest, fits, sum_of_entries};
use super::files::{self, File};
use super::load::{Loader, Source, fill};
use super::rows::{Cell, Row, Table};
use super::walk::{Sink, Summed};
use super::{Contents, Folder};
use crate::derived::Derived;
use crate::names::Names;
use crate::place::Engine;
use crate::{Error, Kind, Ledger, codec, record, schema, tables, time};

/// Bytes of the longest line and the longest file that is held at once: a photo or a report.
const LONGEST: u64 = 64 << 20;

impl Ledger {
    /// Makes a shop of an export at an empty place. Nobody in it has a password until one is set.
    ///
    /// # Errors
    /// Where something is at the place, or the export is not whole; the place is then as it was.
    pub async fn import_from(at: &str, folder: &mut impl Folder) -> Result<(Ledger, Contents), Error> {
        let manifest = manifest(folder)?;
        let sums = manifest.files.clone();
        let (ledger, _) =
            fill(at, &mut Export { folder, manifest, names: Names::default(), materials: Vec::new() }).await?;
        let contents = Contents::new(&ledger, schema::known(ledger.engine), &sums, &files::ENTRIES.jsonl());
        Ok((ledger, contents))
    }
}

fn manifest(folder: &mut impl Folder) -> Result<Manifest, Error> {
    let mut text = String::new();
    let read = folder.read(MANIFEST).and_then(|file| file.take(LONGEST).read_to_string(&mut text));
    read.map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => {
            let why = "it is no export, or one that was not finished".to_owned();
            Error::NotWhole { what: format!("the folder without {MANIFEST}"), why }
        }
        _ => Error::File { what: MANIFEST.to_owned(), reason: error.to_string() },
    })?;
    let damaged = |why: String| Error::NotWhole { what: MANIFEST.to_owned(), why };
    let manifest: Manifest = serde_json::from_str(&text).map_err(|error| damaged(error.to_string()))?;
    match manifest.export {
        LAYOUT => Ok(manifest),
        newer => Err(damaged(format!("its layout is {newer}, this version knows up to {LAYOUT}; update this program"))),
    }
}

struct Export<'f, F> {
    folder: &'f mut F,
    manifest: Manifest,
    /// Ids of quantities and of the materials met so far.
    names: Names,
    /// Those materials, by id.
    materials: Vec<Material>,
}

impl<F: Folder> Source for Export<'_, F> {
    fn shape(&self, engine: Engine) -> i64 {
        schema::known(engine)
    }

    async fn pour(&mut self, into: &mut Loader<'_>) -> Result<(), Error> {
        into.table(&Table::named("shop")).await?;
        into.row(Row(vec![int(1), text(&self.manifest.shop), text(&self.manifest.zone)])).await?;
        into.table(&Table::named("quantity")).await?;
        for (id, &quantity) in (0..).zip(Quantity::ALL) {
            self.names.set_quantity(quantity as usize, quantity);
            let unit = format!("{:?}", quantity.unit());
            into.row(Row(vec![int(id), text(quantity.name()), text(&unit)])).await?;
        }
        self.machines_and_entries(into).await?;
        into.table(&Table::named("material_name")).await?;
        for (id, material) in (0..).zip(&self.materials) {
            into.row(Row(vec![int(id), text(material.name())])).await?;
        }
        self.rows(into, &files::BUILDS, "build", |lines, number, from| {
            let content = lines.companion(from)?;
            let content = String::from_utf8(content).map_err(|_| lines.wrong("its file is not UTF-8"))?;
            Ok(vec![int(number), text_of(from, "build"), text(&content), lines.instant(from, "recorded")?])
        })
        .await?;
        self.rows(into, &files::MATERIALS, "material", |lines, number, from| {
            let density = from["density_kg_m3"].as_f64().map(Cell::Real);
            let (name, classes) = (text_of(from, "material"), text_of(from, "classes"));
            Ok(vec![int(number), name, density, classes, lines.instant(from, "recorded")?])
        })
        .await?;
        let names = self.names.clone();
        self.rows(into, &files::PROGRAMS, "program", |lines, _, from| {
            let duty = duty_from_json(&from["duty"]).ok_or_else(|| lines.wrong("its duty can't be read"))?;
            Ok(vec![
                text_of(from, "sha256"),
                text_of(from, "motion"),
                text_of(from, "corner"),
                int_of(from, "meter"),
                text_of(from, "label"),
                int_of(from, "bytes"),
                Some(Cell::Bytes(codec::duty_to_bytes(&duty, &names))),
                text(&from["report"].to_string()),
                Some(Cell::Bytes(from["wear"].to_string().into_bytes())),
            ])
        })
        .await?;
        self.rows(into, &files::PEOPLE, "person", |lines, number, from| {
            // No password has this hash, so nobody gets in before one is set.
            let (name, role) = (text_of(from, "person"), text_of(from, "role"));
            Ok(vec![int(number), name, role, text(""), lines.instant(from, "since")?])
        })
        .await?;
        self.rows(into, &files::MARKS, "mark", |lines, number, from| {
            let mut cells = vec![int(number), int_of(from, "visit")];
            for name in ["key", "task", "kind", "about", "text", "by"] {
                cells.push(text_of(from, name));
            }
            cells.push(lines.instant(from, "at")?);
            Ok(cells)
        })
        .await?;
        self.rows(into, &files::PHOTOS, "photo", |lines, number, from| {
            let bytes = lines.companion(from)?;
            Ok(vec![
                int(number),
                int_of(from, "visit"),
                int_of(from, "place"),
                text_of(from, "key"),
                text_of(from, "task"),
                text_of(from, "kind"),
                Some(Cell::Bytes(bytes)),
                text_of(from, "by"),
                lines.instant(from, "at")?,
            ])
        })
        .await
    }

    async fn complete(&mut self, ledger: &Ledger, connection: &mut AnyConnection) -> Result<(), Error> {
        let names = tables::names(connection, &ledger.quantities).await?;
        for machine in tables::machines(connection).await?.iter().filter(|machine| !machine.is_the_shop()) {
            ledger.derive(connection, machine.id, &Derived::default(), &names).await?;
        }
        let entries = files::ENTRIES.jsonl();
        match self.manifest.files.get(&entries) {
            Some(sum) if *sum == sum_of_entries(connection, ledger).await? => Ok(()),
            _ => Err(Error::ReadBack { what: entries }),
        }
    }
}

impl<F: Folder> Export<'_, F> {
    async fn machines_and_entries(&mut self, into: &mut Loader<'_>) -> Result<(), Error> {
        let mut ids = std::collections::HashMap::from([(tables::THE_SHOP.to_owned(), 0)]);
        into.table(&Table::named("machine")).await?;
        into.row(Row(vec![int(0), text(tables::THE_SHOP), int(0), None, None, None, int(0)])).await?;
        let mut lines = Lines::open(self.folder, &self.manifest, &files::MACHINES)?;
        while let Some((number, from)) = lines.next()? {
            // What it is and when it joined is derived from its entries.
            let name = text_of(&from, "machine");
            if let Some(Cell::Text(name)) = &name {
                ids.insert(name.clone(), number);
            }
            into.row(Row(vec![int(number), name, int(0), None, None, None, int(0)])).await?;
        }
        into.table(&Table::named("entry")).await?;
        let mut lines = Lines::open(self.folder, &self.manifest, &files::ENTRIES)?;
        while let Some((_, from)) = lines.next()? {
            let machine = from["machine"].as_str().and_then(|name| ids.get(name));
            let machine = *machine.ok_or_else(|| lines.wrong("its machine is not in machines.jsonl"))?;
            let usage = use_from_json(&from["use"]).ok_or_else(|| lines.wrong("its use can't be read"))?;
            let (body, about) = (from["details"].to_string(), from["about"].as_str().unwrap_or_default());
            let kind = from["kind"].as_str().and_then(Kind::from_word);
            let event = kind.and_then(|kind| {
                record::from_columns(kind, about.to_owned(), &body, None, usage.clone().unwrap_or_default())
            });
            if event.is_none() {
                return Err(lines.wrong("what it records can't be understood"));
            }
            let usage = usage.map(|usage| {
                name_materials(&usage, &mut self.names, &mut self.materials);
                Cell::Bytes(codec::usage_to_bytes(&usage, &self.names))
            });
            into.row(Row(vec![
                int_of(&from, "entry"),
                int(machine),
                text_of(&from, "kind"),
                lines.instant(&from, "at")?,
                lines.instant(&from, "recorded")?,
                int_of(&from, "corrects"),
                text_of(&from, "about"),
                text(&body),
                text_of(&from, "note"),
                usage,
                text_of(&from, "by"),
                None,
            ]))
            .await?;
        }
        Ok(())
    }

    /// Reads a file into a table, a row from each line, which `row` makes of it and its number.
    async fn rows(
        &mut self,
        into: &mut Loader<'_>,
        file: &'static File,
        table: &str,
        row: impl Fn(&mut Lines<'_, F>, i64, &Json) -> Result<Vec<Option<Cell>>, Error> + Send,
    ) -> Result<(), Error> {
        into.table(&Table::named(table)).await?;
        let mut lines = Lines::open(self.folder, &self.manifest, file)?;
        while let Some((number, from)) = lines.next()? {
            into.row(Row(row(&mut lines, number, &from)?)).await?;
        }
        Ok(())
    }
}

/// The lines of one file, each held against the fields that it should have.
struct Lines<'f, F> {
    folder: &'f mut F,
    file: &'static File,
    input: Box<dyn BufRead + Send>,
    right: super::walk::Sum,
    summed: Summed,
    number: i64,
}

impl<'f, F: Folder> Lines<'f, F> {
    fn open(folder: &'f mut F, manifest: &Manifest, file: &'static File) -> Result<Lines<'f, F>, Error> {
        let name = file.jsonl();
        let missing = || Error::NotWhole { what: MANIFEST.to_owned(), why: format!("it does not tell of {name}") };
        let right = manifest.files.get(&name).cloned().ok_or_else(missing)?;
        let input =
            folder.read(&name).map_err(|error| Error::File { what: name.clone(), reason: error.to_string() })?;
        Ok(Lines { folder, file, input, right, summed: Summed::default(), number: 0 })
    }

    /// The next line and its number from 1. At the end the file must be the one that was written.
    fn next(&mut self) -> Result<Option<(i64, Json)>, Error> {
        let mut line = Vec::new();
        self.number += 1;
        let read = (&mut self.input).take(LONGEST).read_until(b'\n', &mut line);
        if read.map_err(|error| Error::File { what: self.file.jsonl(), reason: error.to_string() })? == 0 {
            let sum = std::mem::take(&mut self.summed).sum();
            let why = format!("it has {} lines and not the {} that were written, or others", sum.rows, self.right.rows);
            return if sum == self.right { Ok(None) } else { Err(Error::NotWhole { what: self.file.jsonl(), why }) };
        }
        if line.pop() != Some(b'\n') {
            return Err(self.wrong("it is cut off"));
        }
        self.summed.line(&line);
        let value: Json = serde_json::from_slice(&line).map_err(|error| self.wrong(&error.to_string()))?;
        for field in self.file.fields {
            let value = value.get(field.name).ok_or_else(|| self.wrong(&format!("{} is missing", field.name)))?;
            if !(fits(field.kind, value) || field.may_be_null && value.is_null()) {
                return Err(self.wrong(&format!("{} is not what it should be", field.name)));
            }
        }
        Ok(Some((self.number, value)))
    }

    fn wrong(&self, why: &str) -> Error {
        Error::NotWhole { what: format!("{}, line {}", self.file.jsonl(), self.number), why: why.to_owned() }
    }

    /// The bytes of the file that the line names.
    fn companion(&mut self, from: &Json) -> Result<Vec<u8>, Error> {
        let name = from["file"].as_str().unwrap_or_default();
        let is_plain = name.starts_with("builds/") || name.starts_with("photos/");
        if !is_plain || name.contains("..") || name.contains('\\') {
            return Err(self.wrong("its file is not one of the export"));
        }
        let mut bytes = Vec::new();
        let read = self.folder.read(name).and_then(|file| file.take(LONGEST).read_to_end(&mut bytes));
        read.map_err(|error| Error::File { what: name.to_owned(), reason: error.to_string() })?;
        Ok(bytes)
    }

    fn instant(&self, from: &Json, name: &str) -> Result<Option<Cell>, Error> {
        let at = from[name].as_str().and_then(|text| text.parse::<Timestamp>().ok());
        let at = at.ok_or_else(|| self.wrong(&format!("{name} is no instant")))?;
        Ok(Some(Cell::Int(time::to_micros(at))))
    }
}

fn text_of(from: &Json, name: &str) -> Option<Cell> {
    from[name].as_str().and_then(text)
}

fn int_of(from: &Json, name: &str) -> Option<Cell> {
    from[name].as_i64().map(Cell::Int)
}

fn int(number: i64) -> Option<Cell> {
    Some(Cell::Int(number))
}

fn text(text: &str) -> Option<Cell> {
    Some(Cell::Text(text.to_owned()))
}

/// Gives every material of `usage` an id.
fn name_materials(usage: &Usage, names: &mut Names, met: &mut Vec<Material>) {
    for (stream, _) in usage.streams() {
        if !names.knows(&stream.material) {
            names.set_material(met.len(), stream.material.clone());
            met.push(stream.material.clone());
        }
    }
}

/// The use that an export tells; `Some(None)` where it tells none, and `None` where it can't be read.
fn use_from_json(value: &Json) -> Option<Option<Usage>> {
    if value.is_null() {
        return Some(None);
    }
    let mut usage = Usage::new();
    for stream in value.as_array()? {
        let tool = Tool::try_from(stream["tool"].as_u64()?).ok()?;
        let mut grains = Grains::default();
        for (name, amount) in stream["amounts"].as_object()? {
            let quantity = Quantity::from_name(name)?;
            grains.set(quantity, (amount.as_f64()? / grain(quantity.unit())).round() as i64);
        }
        usage.add_stream(Stream { tool, material: Material::new(stream["material"].as_str()?) }, &grains, 1);
    }
    Some(Some(usage))
}

fn duty_from_json(value: &Json) -> Option<Duty> {
    let mut duty = Duty::default();
    for (tool, told) in value.as_object()? {
        let mut amounts = Amounts::default();
        for (name, amount) in told.as_object()? {
            amounts[Quantity::from_name(name)?] = amount.as_f64()?;
        }
        duty.tools.insert(tool.parse().ok()?, amounts);
    }
    Some(duty)
}
