//! `tallow way` and `tallow watch`: ways in by which runs come by themselves.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

use ledger::Ledger;
use notify::{RecommendedWatcher, RecursiveMode, Watcher};
use serde_json::json;
use tokio::sync::mpsc;
use tokio::task::JoinSet;
use upkeep::Unknown;

use crate::cli::{self, FileTimeWord, WayWord};
use crate::commands::work::told_to_end;
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table};
use crate::printed::{self, Printed};
use crate::trouble::Trouble;
use crate::ways::folder::{FileTime, Follower, Pattern, Taken, Whose};
use crate::ways::mqtt::{self, Address, Listener, Map};
use crate::ways::table::{DurationColumn, Given, Knows, OutcomeColumn};
use crate::ways::{FolderWay, MqttWay, TableWay, Way};

/// How often a folder is looked at: on network drives nobody tells of changes. A file must be the same at two looks.
const EVERY: Duration = Duration::from_secs(2);

/// What to do with what has been set up to be followed.
const FOLLOWED: &str = "They are followed by: tallow watch";

pub(crate) async fn way(context: &Context, args: &cli::WayIn) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    match &args.what {
        None => list(context, &ledger).await,
        Some(WayWord::Folder(args)) => folder(context, &ledger, args).await,
        Some(WayWord::Mqtt(args)) => mqtt(context, &ledger, args).await,
        Some(WayWord::Table(args)) => table(context, &ledger, args).await,
        Some(WayWord::Remove(args)) => remove(context, &ledger, &args.name).await,
    }
}

async fn list(context: &Context, ledger: &Ledger) -> Result<(), Trouble> {
    let ways = Way::all(ledger).await?;
    if context.json {
        let shape = |(name, way): &(String, Way)| json!({ "way": name, "kind": way.kind(), "said": way.said() });
        return context.out.json(&ways.iter().map(shape).collect());
    }
    if ways.is_empty() {
        return context.out.line(
            "No way in has been set up: runs are booked by hand, or sent.\nA folder to be watched: tallow way folder --help\nPrint history in a table: tallow import FILE",
        );
    }
    let mut table = Table::new([("way in", Align::Left), ("kind", Align::Left), ("what", Align::Left)]);
    for (name, way) in &ways {
        table.row([name.clone(), way.kind().to_owned(), way.said()], Dress::Plain);
    }
    context.out.table(&table)?;
    context.out.line("\nFolders are followed by: tallow watch. Tables are imported by: tallow import FILE")
}

async fn folder(context: &Context, ledger: &Ledger, args: &cli::WayFolder) -> Result<(), Trouble> {
    let folder = std::path::absolute(&args.folder).unwrap_or_else(|_| args.folder.clone());
    if !folder.is_dir() {
        return Err(
            Trouble::refused(format!("there is no folder {}", folder.display())).help("make it, or check its name")
        );
    }
    let whose = match (&args.on, &args.pattern) {
        (Some(name), _) => Whose::On(context::machine(ledger, name).await?.info.name),
        (None, Some(pattern)) => Whose::Pattern(Pattern::parse(pattern)?),
        (None, None) => return Err(Trouble::refused("whose files are these?").help("say --on MACHINE, or --pattern")),
    };
    Printed::parse(&args.materials, &context::materials(ledger).await?)?;
    let time = match args.time {
        FileTimeWord::Start => FileTime::Start,
        FileTimeWord::End => FileTime::End,
    };
    let way = Way::Folder(FolderWay { folder, whose, materials: args.materials.clone(), time });
    set(context, ledger, &args.name, way, FOLLOWED).await
}

async fn mqtt(context: &Context, ledger: &Ledger, args: &cli::WayMqtt) -> Result<(), Trouble> {
    let broker = Address::parse(&args.address)?;
    let password_file = args.password_file.as_deref().map(|file| password_file(&broker, file)).transpose()?;
    let shown = args.map.display();
    let text = std::fs::read_to_string(&args.map).map_err(|error| {
        Trouble::refused(format!("{shown} can't be read: {error}")).help("write one, as docs/ways/mqtt.md tells")
    })?;
    let map = mqtt::read(&shown.to_string(), &text)?;
    fits_the_shop(ledger, &map).await.map_err(|trouble| trouble.help(format!("{shown} says so")))?;
    // Set up anew, it goes on where it was.
    let before = Way::all(ledger).await?.into_iter().find(|(name, _)| *name == args.name);
    let client = match before {
        Some((_, Way::Mqtt(way))) => way.client,
        _ => MqttWay::client_name()?,
    };
    set(context, ledger, &args.name, Way::Mqtt(Box::new(MqttWay { broker, password_file, client, map })), FOLLOWED)
        .await
}

/// Where a broker's password will be read: a name without a folder is that of a credential, and stays as it is.
fn password_file(broker: &Address, file: &Path) -> Result<PathBuf, Trouble> {
    if broker.password.is_some() {
        return Err(Trouble::refused("the address has a password, and a file of one is named")
            .help("leave the password out of the address: mqtt://USER@HOST"));
    }
    if broker.user.is_none() {
        return Err(Trouble::refused("a password belongs to a user, and the address names none")
            .help("name the user: mqtt://USER@HOST"));
    }
    let is_a_credential = file.components().count() == 1 && file.file_name().is_some();
    Ok(if is_a_credential { file.to_owned() } else { std::path::absolute(file).unwrap_or_else(|_| file.to_owned()) })
}

/// Checks that machines, materials and positions that a map names are the shop's.
async fn fits_the_shop(ledger: &Ledger, map: &Map) -> Result<(), Trouble> {
    Printed::parse(&map.material, &context::materials(ledger).await?)?;
    for name in map.machines() {
        context::machine(ledger, name).await?;
    }
    for rule in &map.reading {
        if let Some(name) = &rule.on {
            context::machine(ledger, name).await?.position(&rule.position)?;
        }
    }
    Ok(())
}

async fn table(context: &Context, ledger: &Ledger, args: &cli::WayTable) -> Result<(), Trouble> {
    let knows = knows(ledger).await?;
    let machine = |name: &str| knows.machine(name);
    let material = |name: &str| printed::known(name, &knows.materials).map(|info| info.name);
    let way = TableWay {
        machine: given("machine", args.on.as_deref(), args.machine_column.as_deref(), machine)?,
        material: given("material", args.material.as_deref(), args.material_column.as_deref(), material)?,
        start: args.start.clone(),
        end: args.end.clone(),
        duration: args.duration.clone().zip(args.unit).map(|(column, unit)| DurationColumn { column, unit }),
        label: args.label.clone(),
        sha256: args.sha256.clone(),
        grams: args.grams.clone(),
        outcome: args.outcome.clone().map(|column| OutcomeColumn {
            column,
            finished: args.finished.clone(),
            stopped: args.stopped.clone(),
        }),
        note: args.note.clone(),
        dates: args.dates,
        machine_names: names("--machine-named", &args.machine_names, machine)?,
        material_names: names("--material-named", &args.material_names, material)?,
    };
    set(context, ledger, &args.name, Way::Table(Box::new(way)), "By it: tallow import FILE").await
}

/// One name of the shop's for all rows, or a column.
fn given(
    what: &str,
    always: Option<&str>,
    column: Option<&str>,
    known: impl Fn(&str) -> Result<String, Trouble>,
) -> Result<Given, Trouble> {
    match (always, column) {
        (Some(name), _) => known(name).map(Given::Always),
        (None, Some(column)) => Ok(Given::Column(column.to_owned())),
        (None, None) => Err(Trouble::refused(format!("which {what} is it?")).help("name it, or the column that does")),
    }
}

/// What names of a table are called in the shop: `THERE=HERE`.
fn names(
    option: &str,
    words: &[String],
    known: impl Fn(&str) -> Result<String, Trouble>,
) -> Result<BTreeMap<String, String>, Trouble> {
    let pair = |word: &String| match word.rsplit_once('=') {
        Some((there, here)) => Ok((there.trim().to_owned(), known(here)?)),
        None => Err(Trouble::refused(format!("\"{word}\" does not say what is called how"))
            .help(format!("write the table's name before a =, and the shop's behind it: {option} \"K1=bowline\""))),
    };
    words.iter().map(pair).collect()
}

/// What the shop knows, by which tables are read.
///
/// # Errors
/// Where the shop can't be read.
pub(super) async fn knows(ledger: &Ledger) -> Result<Knows, Trouble> {
    Ok(Knows {
        machines: ledger.machines().await?.into_iter().map(|machine| machine.name).collect(),
        materials: context::materials(ledger).await?,
        zone: ledger.shop().zone.clone(),
    })
}

async fn set(context: &Context, ledger: &Ledger, name: &str, way: Way, next: &str) -> Result<(), Trouble> {
    way.set(ledger, name, context.now).await?;
    say(context, &format!("{name}: {}", way.said()), next)
}

async fn remove(context: &Context, ledger: &Ledger, name: &str) -> Result<(), Trouble> {
    let ways = ledger.ways().await?;
    let name = &Unknown::find("way in", name, &ways, |way| &way.name)?.name;
    ledger.drop_way(name).await?;
    say(context, &format!("{name} is taken away; what came by it stays"), "")
}

fn say(context: &Context, said: &str, next: &str) -> Result<(), Trouble> {
    if context.json {
        return context.out.json(&json!({ "said": said }));
    }
    context.out.line(said)?;
    if next.is_empty() { Ok(()) } else { context.out.line(next) }
}

pub(crate) async fn watch(context: &Context, args: &cli::Watch) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let mut ways = Way::all(&ledger).await?;
    for name in &args.names {
        Unknown::find("way in", name, &ways, |(name, _)| name)?;
    }
    ways.retain(|(name, _)| args.names.is_empty() || args.names.iter().any(|asked| asked.eq_ignore_ascii_case(name)));
    let mut folders = Vec::new();
    let mut listeners = JoinSet::new();
    for (name, way) in ways {
        match way {
            Way::Folder(way) => folders.push(Follower::new(&ledger, &name, way).await?),
            // By itself, since a large file may take a folder's thread for longer than a broker waits for a word.
            Way::Mqtt(way) => {
                listeners.spawn(Listener::new(context, &ledger, &name, *way)?.listen(args.until_idle));
            }
            Way::Table(_) if args.names.is_empty() => {}
            Way::Table(_) => {
                let trouble = Trouble::refused(format!("\"{name}\" is a table, which is read once and not watched"));
                return Err(trouble.help(format!("read one by it: tallow import FILE --by \"{name}\"")));
            }
        }
    }
    if folders.is_empty() && listeners.is_empty() {
        return Err(Trouble::refused("there is no way in to watch").help("set one up: tallow way folder --help"));
    }
    let folders = watch_folders(context, &ledger, folders, args.until_idle);
    let listeners = async {
        while let Some(done) = listeners.join_next().await {
            done.map_err(|error| Trouble::refused(format!("listening broke off: {error}")))??;
        }
        Ok::<(), Trouble>(())
    };
    tokio::select! {
        done = async { tokio::try_join!(folders, listeners) } => done.map(|_| ()),
        () = told_to_end() => Ok(()),
    }
}

/// Looks at folders for ever, or until all that is there has been taken.
async fn watch_folders(
    context: &Context,
    ledger: &Ledger,
    mut folders: Vec<Follower>,
    until_idle: bool,
) -> Result<(), Trouble> {
    if folders.is_empty() {
        return Ok(());
    }
    let (wakes, mut woken) = mpsc::unbounded_channel();
    let _watchers: Vec<RecommendedWatcher> = folders.iter().filter_map(|one| watcher(one, wakes.clone())).collect();
    loop {
        let mut waits = false;
        for follower in &mut folders {
            waits |= look(context, ledger, follower).await?;
        }
        if until_idle && !waits {
            return Ok(());
        }
        tokio::select! {
            () = tokio::time::sleep(EVERY) => {}
            _ = woken.recv(), if !waits => {
                // What was told meanwhile is seen by the same look.
                while woken.try_recv().is_ok() {}
            }
        }
    }
}

/// Wakes whoever watches when something changes in a folder. Where the system tells nothing, as of network drives, looking every
/// few seconds does.
fn watcher(follower: &Follower, wakes: mpsc::UnboundedSender<()>) -> Option<RecommendedWatcher> {
    let mut watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
        // Looking at files is itself told of.
        if event.is_ok_and(|event| !event.kind.is_access()) {
            // OK to ignore: nobody watches any more.
            let _ = wakes.send(());
        }
    })
    .ok()?;
    watcher.watch(follower.folder(), RecursiveMode::Recursive).ok()?;
    Some(watcher)
}

/// Looks at a folder and tells what came. Whether files are there that were not taken yet.
async fn look(context: &Context, ledger: &Ledger, follower: &mut Follower) -> Result<bool, Trouble> {
    match follower.look(ledger, context::now(context.fixed_now())).await {
        Ok(all) => {
            all.iter().try_for_each(|taken| tell(context, taken))?;
            Ok(follower.waits())
        }
        Err(trouble) => {
            context.out.line(format!("{trouble}"))?;
            Ok(true)
        }
    }
}

fn tell(context: &Context, taken: &Taken) -> Result<(), Trouble> {
    let Taken { path, came } = taken;
    if context.json {
        let (entry, word, said) = match came {
            Ok(came) => (Some(came.entry.0), came.how.word(), came.said.clone()),
            Err(trouble) => (None, "refused", trouble.to_string()),
        };
        return context.out.json(&json!({ "file": path, "entry": entry, "came": word, "said": said }));
    }
    match came {
        Ok(came) => context.out.line(format!("{path}: entry {}: {}", came.entry, came.said)),
        Err(trouble) => context.out.line(format!("{path}: {trouble}\n  it is kept as a job: tallow job")),
    }
}
