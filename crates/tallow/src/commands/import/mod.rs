//! `tallow import`: print history from a table. Nothing is booked before `--book` says so.

mod ask;

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, IsTerminal};
use std::path::Path;

use ledger::Ledger;
use serde_json::{Value, json};
use upkeep::Unknown;

use self::ask::Asker;
use crate::cli;
use crate::commands::run::{Fate, How, Line, arrive_all};
use crate::commands::way::knows;
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table as Shown};
use crate::trouble::Trouble;
use crate::ways::table::{Columns, Flaw, Knows, Table};
use crate::ways::{TableWay, Way};

pub(crate) async fn import(context: &Context, args: &cli::Import) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let source = context.source(&args.file)?;
    let table = Table::read(&source)?;
    let knows = knows(&ledger).await?;
    let (name, way) = chosen(context, &ledger, args, &table, &knows).await?;
    let rejected = args.rejected.as_deref().map(|path| new_file(path, &args.file)).transpose()?;
    let read = Read::of(&Columns::find(&way, &table, &knows)?, &table);
    let came = came(context, &ledger, read, args.book).await?;
    if let Some(file) = rejected {
        write_rejected(&table, &came, file)
            .map_err(|error| Trouble::refused(format!("the rows that can't be booked can't be written: {error}")))?;
    }
    say(context, args, &source.name(), &name, &table, &came)
}

/// The way in by which a table is read: the one that is named, the one that fits its header, or one that is asked for.
async fn chosen(
    context: &Context,
    ledger: &Ledger,
    args: &cli::Import,
    table: &Table,
    knows: &Knows,
) -> Result<(String, TableWay), Trouble> {
    let ways = Way::all(ledger).await?;
    let tables = ways.into_iter().filter_map(|(name, way)| match way {
        Way::Table(way) => Some((name, *way)),
        Way::Folder(_) | Way::Mqtt(_) => None,
    });
    let mut tables: Vec<(String, TableWay)> = tables.collect();
    if let Some(name) = &args.by {
        let (name, way) = Unknown::find("way in of a table", name, &tables, |(name, _)| name)
            .map_err(|unknown| Trouble::from(unknown).help("set it up: tallow way table --help"))?;
        return Ok((name.clone(), way.clone()));
    }
    tables.retain(|(_, way)| way.fits(&table.header));
    let file = args.file.display();
    match tables.as_slice() {
        [] if is_attended(context) => {
            let (name, way) = Asker::new(io::stdin().lock(), io::stderr()).ask(table, knows)?;
            Way::Table(Box::new(way.clone())).set(ledger, &name, context.now).await?;
            Ok((name, way))
        }
        [] => Err(Trouble::refused(format!(
            "no way in is known for a table with the columns {}",
            table.header.join(", ")
        ))
        .help("say which column means what: tallow way table NAME --machine-column COLUMN --start COLUMN …")
        .help("all that can be said: tallow way table --help; at a terminal it is asked for")),
        [only] => Ok(only.clone()),
        several => {
            let names: Vec<&str> = several.iter().map(|(name, _)| name.as_str()).collect();
            Err(Trouble::refused(format!("several ways in fit this table: {}", names.join(", ")))
                .help(format!("say which: tallow import {file} --by \"{}\"", names[0])))
        }
    }
}

/// Whether somebody is there who can be asked.
fn is_attended(context: &Context) -> bool {
    !context.is_served() && !context.json && io::stdin().is_terminal() && io::stderr().is_terminal()
}

/// Opens a file for what can't be booked, before anything is.
fn new_file(path: &Path, table: &Path) -> Result<File, Trouble> {
    let is_the_table = fs::canonicalize(path).ok().is_some_and(|there| fs::canonicalize(table).ok() == Some(there));
    if is_the_table {
        return Err(Trouble::refused("--rejected names the table itself").help("name another file"));
    }
    File::create(path).map_err(|error| {
        Trouble::refused(format!("{} can't be written: {error}; nothing was booked", path.display()))
            .help("check the folder and its permissions")
    })
}

/// A table's rows as they were read.
struct Read {
    /// What is told of each machine.
    by_machine: BTreeMap<String, Vec<Line>>,
    /// What is wrong, by line.
    bad: BTreeMap<u64, Vec<Flaw>>,
}

impl Read {
    fn of(columns: &Columns<'_>, table: &Table) -> Read {
        let mut read = Read { by_machine: BTreeMap::new(), bad: BTreeMap::new() };
        for (line, record) in &table.rows {
            match columns.row(record) {
                Ok(told) => read.by_machine.entry(told.on.clone()).or_default().push((*line, told)),
                Err(flaws) => {
                    read.bad.insert(*line, flaws);
                }
            }
        }
        read
    }
}

/// What became of a table's rows, or would.
#[derive(Default)]
struct Sum {
    new: usize,
    already: usize,
    refined: usize,
    bad: BTreeMap<u64, Vec<Flaw>>,
}

async fn came(context: &Context, ledger: &Ledger, read: Read, book: bool) -> Result<Sum, Trouble> {
    let now = context.now_in(ledger);
    let mut sum = Sum { bad: read.bad, ..Sum::default() };
    for (name, lines) in read.by_machine {
        let machine = context::machine(ledger, &name).await?;
        let fates = arrive_all(ledger, &machine, &lines, &now, book).await?;
        for ((line, _), fate) in lines.iter().zip(fates) {
            match fate {
                Fate::Came(How::Booked) => sum.new += 1,
                Fate::Came(How::Already) => sum.already += 1,
                Fate::Came(How::Refined) => sum.refined += 1,
                Fate::Refused(trouble) => {
                    sum.bad.insert(*line, vec![Flaw::refused(&trouble)]);
                }
            }
        }
    }
    Ok(sum)
}

/// Writes the rows that can't be booked as they stood, below the header.
fn write_rejected(table: &Table, came: &Sum, file: File) -> io::Result<()> {
    let mut builder = csv::WriterBuilder::new();
    let mut writer = builder.delimiter(table.separator).flexible(true).from_writer(file);
    writer.write_record(&table.header)?;
    for (_, record) in table.rows.iter().filter(|(line, _)| came.bad.contains_key(line)) {
        writer.write_byte_record(record)?;
    }
    writer.flush()
}

fn say(context: &Context, args: &cli::Import, file: &str, way: &str, table: &Table, came: &Sum) -> Result<(), Trouble> {
    let Sum { new, already, refined, bad } = came;
    if context.json {
        let flaws = bad.iter().flat_map(|(line, flaws)| flaws.iter().map(move |flaw| flaw_shape(*line, flaw)));
        return context.out.json(&json!({
            "file": file, "way": way, "separator": table.separator_word(), "decimal_commas": table.has_decimal_commas(),
            "is_booked": args.book, "rows": table.rows.len(), "new": new, "already": already, "refined": refined,
            "bad_rows": bad.len(), "bad": flaws.collect::<Vec<_>>(),
        }));
    }
    let commas = if table.has_decimal_commas() { ", decimal commas are read" } else { "" };
    let (separator, columns) = (table.separator_word(), table.header.len());
    context
        .out
        .line(format!("{file}: {columns} columns, parted by a {separator}{commas}; read by the way in {way}\n"))?;
    let words = match args.book {
        true => ["booked", "were there already", "corrected an estimate", "could not be booked"],
        false => ["would be booked", "are there already", "would correct an estimate", "can't be booked"],
    };
    let mut counts = Shown::new([("rows", Align::Right), ("", Align::Left)]);
    for (count, word) in [*new, *already, *refined, bad.len()].into_iter().zip(words) {
        counts.row([count.to_string(), word.to_owned()], Dress::Plain);
    }
    context.out.table(&counts)?;
    say_bad(context, bad)?;
    match (args.book, &args.rejected) {
        (false, _) => context.out.line(format!(
            "\nNothing was booked yet. To book what can be: tallow import \"{}\" --by \"{way}\" --book",
            args.file.display()
        )),
        (true, Some(path)) if !bad.is_empty() => context.out.line(format!(
            "\nWhat could not be booked is in {0}: mend it, then tallow import \"{0}\" --by \"{way}\" --book",
            path.display()
        )),
        _ => Ok(()),
    }
}

/// Lists all that is wrong, and once each what to do about it.
fn say_bad(context: &Context, bad: &BTreeMap<u64, Vec<Flaw>>) -> Result<(), Trouble> {
    if bad.is_empty() {
        return Ok(());
    }
    context.out.line("")?;
    let mut table = Shown::new([("line", Align::Right), ("column", Align::Left), ("why not", Align::Left)]);
    let mut help: Vec<&str> = Vec::new();
    for (line, flaw) in bad.iter().flat_map(|(line, flaws)| flaws.iter().map(move |flaw| (line, flaw))) {
        let column = flaw.column.clone().unwrap_or_default();
        table.row([line.to_string(), column, flaw.reason.clone()], Dress::Plain);
        help.extend(flaw.help.iter().map(String::as_str));
    }
    context.out.table(&table)?;
    help.sort_unstable();
    help.dedup();
    if help.is_empty() || HELP_SHOWN < help.len() {
        return Ok(());
    }
    context.out.line(format!("\n{}", help.join("\n")))
}

/// More help than this is not read; JSON has all of it.
const HELP_SHOWN: usize = 8;

fn flaw_shape(line: u64, flaw: &Flaw) -> Value {
    json!({ "line": line, "column": flaw.column, "reason": flaw.reason, "help": flaw.help })
}
