//! `tallow shop backup`, `restore`, `copy`, `export`, `import`: keeping a shop safe, and free to leave.

use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};

use ledger::{Contents, Folder, Ledger};
use serde_json::{Value, json};

use super::shop::{make_folder_for, unequal};
use crate::cli;
use crate::context::Context;
use crate::sealed;
use crate::trouble::Trouble;
use crate::words::count;

/// What is said wherever secrets go along.
const SECRETS: &str =
    "It holds what is kept of passwords and tokens, and the private links of calendars: keep it to yourself.";

pub(super) async fn backup(context: &Context, args: &cli::ShopBackup) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let mut maker = sealed::Maker::new(&args.file, args.replace)?;
    let contents = ledger.backup(&mut maker, context.now).await?;
    let bytes = maker.finish()?;
    let file = args.file.display();
    if context.json {
        let more = json!({ "file": file.to_string(), "bytes": bytes });
        return context.out.json(&told(&contents, more));
    }
    let size = megabytes(bytes);
    context.out.line(format!("{} with {} entries is in {file} ({size}).", contents.shop, contents.entries))?;
    context.out.line(SECRETS)?;
    context.out.line(format!("To try it: tallow shop restore {file} --shop ANOTHER-FILE"))
}

pub(super) async fn restore(context: &Context, file: &Path) -> Result<(), Trouble> {
    let place = context.place()?;
    let input = sealed::open(file)?;
    make_folder_for(&place)?;
    let (ledger, contents, taken) = Ledger::restore(&place, input).await?;
    context.will_close(&ledger);
    let machines = proved(&ledger).await?;
    if context.json {
        let more = json!({ "place": place, "machines": machines, "taken": taken });
        return context.out.json(&told(&contents, more));
    }
    let taken = taken.to_zoned_datetime(ledger.shop().zone.clone());
    say_made(context, &contents, machines, &place)?;
    context.out.line(format!("It is as it was on {}.", taken.strftime("%Y-%m-%d at %H:%M")))
}

pub(super) async fn copy(context: &Context, place: &str) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    proved(&ledger).await?;
    make_folder_for(place)?;
    let (copy, contents) = ledger.copy_to(place).await?;
    let machines = proved(&copy).await;
    copy.close().await;
    let machines = machines?;
    let place = Ledger::shown(place);
    if context.json {
        return context.out.json(&told(&contents, json!({ "place": place, "machines": machines })));
    }
    say_made(context, &contents, machines, &place)?;
    context.out.line(SECRETS)
}

pub(super) async fn export(context: &Context, folder: &Path) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let mut disk = Disk::empty(folder)?;
    let contents = ledger.export(&mut disk, context.now).await?;
    if context.json {
        return context.out.json(&told(&contents, json!({ "folder": folder.display().to_string() })));
    }
    let folder = folder.display();
    context
        .out
        .line(format!("{} with {} entries is in {folder}, without secrets.", contents.shop, contents.entries))?;
    context.out.line(format!("{folder}/README.txt tells what is what."))
}

pub(super) async fn import(context: &Context, folder: &Path) -> Result<(), Trouble> {
    let place = context.place()?;
    if !folder.is_dir() {
        return Err(Trouble::refused(format!("{} is no folder", folder.display()))
            .help("name the folder of an export; a backup is read by: tallow shop restore FILE"));
    }
    make_folder_for(&place)?;
    let (ledger, contents) = Ledger::import_from(&place, &mut Disk(folder.to_owned())).await?;
    context.will_close(&ledger);
    let machines = proved(&ledger).await?;
    if context.json {
        return context.out.json(&told(&contents, json!({ "place": place, "machines": machines })));
    }
    say_made(context, &contents, machines, &place)?;
    if ledger.has_people().await? {
        context.out.line("Nobody can sign in yet: tallow person set NAME --new-password")?;
    }
    Ok(())
}

/// Proves that all sums equal the entries, and gives how many machines that were.
async fn proved(ledger: &Ledger) -> Result<usize, Trouble> {
    let verdict = ledger.verify().await?;
    match verdict.differences.is_empty() {
        true => Ok(verdict.machines),
        false => Err(unequal(verdict.differences.iter().map(ToString::to_string).collect())),
    }
}

fn say_made(context: &Context, contents: &Contents, machines: usize, place: &str) -> Result<(), Trouble> {
    let Contents { shop, entries, .. } = contents;
    let machines = count(machines as u64, "machines");
    context.out.line(format!("{shop} is at {}: {machines}, {entries} entries.", Ledger::shown(place)))?;
    context.out.line("Every row reads back as it was written, and all sums equal the entries.")
}

fn told(contents: &Contents, more: Value) -> Value {
    let Contents { shop, shape, entries, rows, entries_sha256 } = contents;
    let mut told = json!({
        "shop": shop, "shape": shape, "entries": entries, "rows": rows, "entries_sha256": entries_sha256,
    });
    if let (Value::Object(told), Value::Object(more)) = (&mut told, more) {
        told.extend(more);
    }
    told
}

fn megabytes(bytes: u64) -> String {
    if bytes < 1_000_000 { format!("{} kB", bytes.div_ceil(1000)) } else { format!("{} MB", bytes / 1_000_000) }
}

/// A folder on the disk.
struct Disk(PathBuf);

impl Disk {
    /// A folder with nothing in it, made where it is not there.
    fn empty(folder: &Path) -> Result<Disk, Trouble> {
        let unusable = |error: io::Error| {
            Trouble::refused(format!("the folder {} can't be used: {error}", folder.display()))
                .help("check its permissions, or name another")
        };
        fs::create_dir_all(folder).map_err(unusable)?;
        if fs::read_dir(folder).map_err(unusable)?.next().is_some() {
            return Err(Trouble::refused(format!("there is something in {} already", folder.display()))
                .help("name a folder that is empty or not there yet"));
        }
        Ok(Disk(folder.to_owned()))
    }
}

impl Folder for Disk {
    fn make(&mut self, name: &str) -> io::Result<Box<dyn Write + Send>> {
        let path = self.0.join(name);
        path.parent().map_or(Ok(()), fs::create_dir_all)?;
        Ok(Box::new(BufWriter::with_capacity(1 << 16, File::create_new(path)?)))
    }

    fn read(&mut self, name: &str) -> io::Result<Box<dyn BufRead + Send>> {
        Ok(Box::new(BufReader::with_capacity(1 << 16, File::open(self.0.join(name))?)))
    }
}
