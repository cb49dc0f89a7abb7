//! `tallow build`: machine types.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use ledger::Ledger;
use serde_json::json;
use upkeep::{Build, build::shipped};

use crate::builds::{self, Read};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::words;

pub(crate) async fn build(context: &Context, args: &cli::Build) -> Result<(), Trouble> {
    match args {
        cli::Build::List => list(context).await,
        cli::Build::Check { files } => check(context, files),
        cli::Build::Print { name } => {
            let ledger = context.open_if_there().await?;
            let text = build_of(context, ledger.as_ref(), name).await?.text;
            context.out.verbatim(&format!("{}\n", text.trim_end()))
        }
        cli::Build::Change { build } => change(context, build).await,
    }
}

/// Gives the machines of a build its new text.
async fn change(context: &Context, build: &str) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let read = builds::named(context, build)?;
    let name = &read.build.name;
    let machines = machines_of(&ledger, name).await?;
    if machines.is_empty() {
        return Err(Trouble::refused(format!(
            "no machine of the shop has the build \"{name}\", so there is none to change"
        ))
        .help(format!("add one: tallow machine add NAME --build \"{build}\"")));
    }
    let effect = Effect::of(&ledger, &read).await?;
    let changed = ledger.add_build(name, &read.text, context.now).await?;
    let Effect { tasks, positions, .. } = effect;
    if context.json {
        return context.out.json(&json!({
            "build": name, "changed": changed, "machines": machines,
            "tasks_gone": tasks.gone, "tasks_new": tasks.new,
            "positions_gone": positions.gone, "positions_new": positions.new,
        }));
    }
    if !changed {
        return context.out.line(format!("\"{name}\" already has that text; nothing was changed"));
    }
    context.out.line(format!("\"{name}\" is changed for {}", machines.join(", ")))?;
    for (what, changes) in [("tasks", tasks), ("positions", positions)] {
        for (how, names) in [("gone", changes.gone), ("new", changes.new)] {
            if !names.is_empty() {
                context.out.line(format!("{what} {how}: {}", names.join("; ")))?;
            }
        }
    }
    context.out.line("What was recorded of tasks and positions that are gone stays in the history, and counts no more.")
}

/// The machines of the shop that have the build of that name.
pub(super) async fn machines_of(ledger: &Ledger, build: &str) -> Result<Vec<String>, Trouble> {
    let machines = ledger.machines().await?.into_iter().filter(|machine| machine.build == build);
    Ok(machines.map(|machine| machine.name).collect())
}

/// What keeping a build changes.
pub(crate) struct Effect {
    /// The machines that have a build of its name.
    pub(crate) machines: Vec<String>,
    /// Their tasks.
    pub(crate) tasks: Changes,
    /// Their positions.
    pub(crate) positions: Changes,
}

impl Effect {
    /// What keeping the build would change for the machines that have one of its name.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(crate) async fn of(ledger: &Ledger, read: &Read) -> Result<Effect, Trouble> {
        let machines = machines_of(ledger, &read.build.name).await?;
        let old =
            if machines.is_empty() { Arc::new(read.build.clone()) } else { ledger.build(&read.build.name).await? };
        let tasks = Changes::of(&old.tasks, &read.build.tasks, |task| &task.name);
        let positions = Changes::of(&old.positions, &read.build.positions, |position| &position.name);
        Ok(Effect { machines, tasks, positions })
    }
}

/// Keeps a build as the shop's own; machines that have one of its name have the new one from then on. Says whether its text
/// is new.
///
/// # Errors
/// A name that comes with tallow, unless a machine has that build and so may have its own text of it.
pub(crate) async fn keep(context: &Context, ledger: &Ledger, read: &Read) -> Result<bool, Trouble> {
    let name = &read.build.name;
    let is_shipped = builds::known(name)?.is_some_and(|known| known.text != read.text);
    if is_shipped && machines_of(ledger, name).await?.is_empty() {
        return Err(Trouble::refused(format!("\"{name}\" is the name of a build that comes with tallow"))
            .help("give it a name of its own: name = \"…\" in its first lines"));
    }
    Ok(ledger.add_build(name, &read.text, context.now).await?)
}

/// Names that one list has and the other has not.
pub(crate) struct Changes {
    /// What only the old has.
    pub(crate) gone: Vec<String>,
    /// What only the new has.
    pub(crate) new: Vec<String>,
}

impl Changes {
    fn of<T>(old: &[T], new: &[T], name: impl Fn(&T) -> &String) -> Changes {
        let lacks = |all: &[T], one: &T| all.iter().all(|other| name(other) != name(one));
        let only = |these: &[T], those: &[T]| -> Vec<String> {
            these.iter().filter(|one| lacks(those, one)).map(|one| name(one).clone()).collect()
        };
        Changes { gone: only(old, new), new: only(new, old) }
    }
}

/// The build that is named: one that the shop keeps, one that comes with tallow, or a file.
///
/// # Errors
/// As [`builds::named`], and a shop that can't be read.
pub(crate) async fn build_of(context: &Context, ledger: Option<&Ledger>, name: &str) -> Result<Read, Trouble> {
    let kept = match ledger.filter(|_| !context.came_along(Path::new(name))) {
        Some(ledger) => ledger.builds().await?.into_iter().find(|kept| kept.name == name),
        None => None,
    };
    match kept {
        Some(kept) => Ok(Read { build: Build::parse(&kept.name, &kept.text)?, text: kept.text }),
        None => builds::named(context, name),
    }
}

/// A build that can be named.
struct Listed {
    /// What `--build` takes.
    word: String,
    build: Build,
    /// Whether it is the shop's own, and does not come with tallow.
    own: bool,
}

/// The builds that come with tallow, then the shop's own.
async fn all(context: &Context) -> Result<Vec<Listed>, Trouble> {
    let mut listed = Vec::new();
    for (short, text) in shipped() {
        listed.push(Listed { word: short.to_owned(), build: Build::parse(short, text)?, own: false });
    }
    if let Some(ledger) = context.open_if_there().await? {
        for kept in ledger.builds().await? {
            if listed.iter().all(|known| known.build.name != kept.name) {
                let build = Build::parse(&kept.name, &kept.text)?;
                listed.push(Listed { word: kept.name, build, own: true });
            }
        }
    }
    Ok(listed)
}

async fn list(context: &Context) -> Result<(), Trouble> {
    let builds = all(context).await?;
    if context.json {
        let rows = builds.iter().map(|Listed { word, build, own }| {
            json!({ "build": word, "name": build.name, "about": build.about.trim(), "own": own,
                    "positions": build.positions.len(), "tasks": build.tasks.len() })
        });
        return context.out.json(&rows.collect());
    }
    let columns = [("build", Align::Left), ("tasks", Align::Right), ("is", Align::Left)];
    let mut table = Table::new(columns);
    for Listed { word, build, own } in &builds {
        let is = if *own { "the shop's own".to_owned() } else { build.name.clone() };
        table.row([word.clone(), build.tasks.len().to_string(), is], Dress::Plain);
    }
    context.out.table(&table)?;
    context.out.line("\nNext: tallow machine add NAME --build BUILD")?;
    context.out.line("One of your own: tallow build print moving-bed > mine.toml; docs/BUILDS.md explains the keys")
}

/// Says of each file that it is in order; the first that is not ends it.
fn check(context: &Context, files: &[PathBuf]) -> Result<(), Trouble> {
    let mut rows = Vec::new();
    for file in files {
        let build = builds::from_file(context, file)?.build;
        let (name, positions, tasks) = (build.name, build.positions.len(), build.tasks.len());
        if context.json {
            rows.push(
                json!({ "file": file.display().to_string(), "name": name, "positions": positions, "tasks": tasks }),
            );
        } else {
            let counts = [words::count(positions as u64, "positions"), words::count(tasks as u64, "tasks")].join(", ");
            context.out.line(format!("{}: \"{name}\" is in order: {counts}", file.display()))?;
        }
    }
    match rows.len() {
        0 => Ok(()),
        1 => context.out.json(&rows[0]),
        _ => context.out.json(&rows.into()),
    }
}
