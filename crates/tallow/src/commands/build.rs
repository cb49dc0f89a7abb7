//! `tallow build`: machine types.

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
        cli::Build::Check { files } => files.iter().try_for_each(|file| {
            let read = builds::from_file(file)?;
            said_good(context, &file.display().to_string(), &read.build)
        }),
        cli::Build::Print { name } => {
            let ledger = context.open_if_there().await?;
            let text = build_of(ledger.as_ref(), name).await?.text;
            context.out.verbatim(&format!("{}\n", text.trim_end()))
        }
    }
}

/// The build that is named: one that the shop keeps, one that comes with tallow, or a file.
///
/// # Errors
/// As [`builds::named`], and a shop that can't be read.
pub(super) async fn build_of(ledger: Option<&Ledger>, name: &str) -> Result<Read, Trouble> {
    let kept = match ledger {
        Some(ledger) => ledger.builds().await?.into_iter().find(|kept| kept.name == name),
        None => None,
    };
    match kept {
        Some(kept) => Ok(Read { build: Build::parse(&kept.name, &kept.text)?, text: kept.text }),
        None => builds::named(name),
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

fn said_good(context: &Context, file: &str, build: &Build) -> Result<(), Trouble> {
    let (positions, tasks) = (build.positions.len(), build.tasks.len());
    if context.json {
        return context.out.json(&json!({ "file": file, "name": build.name, "positions": positions, "tasks": tasks }));
    }
    let counts = [words::count(positions as u64, "positions"), words::count(tasks as u64, "tasks")].join(", ");
    context.out.line(format!("{file}: \"{}\" is in order: {counts}", build.name))
}
