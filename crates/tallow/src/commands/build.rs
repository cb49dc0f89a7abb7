//! `tallow build`: machine types.

use serde_json::json;
use upkeep::{Build, build::shipped};

use crate::builds;
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

pub(crate) fn build(context: &Context, args: &cli::Build) -> Result<(), Trouble> {
    match args {
        cli::Build::List => list(context),
        cli::Build::Check { files } => files.iter().try_for_each(|file| {
            let read = builds::from_file(file)?;
            said_good(context, &file.display().to_string(), &read.build)
        }),
        cli::Build::Print { name } => context.out.line(builds::named(name)?.text.trim_end()),
    }
}

fn list(context: &Context) -> Result<(), Trouble> {
    let builds: Vec<(&str, Build)> = shipped()
        .into_iter()
        .map(|(short, text)| Ok((short, Build::parse(short, text)?)))
        .collect::<Result<_, Trouble>>()?;
    if context.json {
        let rows = builds.iter().map(|(short, build)| {
            json!({ "build": short, "name": build.name, "about": build.about.trim(),
                    "positions": build.positions.len(), "tasks": build.tasks.len() })
        });
        return context.out.json(&rows.collect());
    }
    let columns = [("build", Align::Left), ("tasks", Align::Right), ("is", Align::Left)];
    let mut table = Table::new(columns);
    for (short, build) in &builds {
        table.row([(*short).to_owned(), build.tasks.len().to_string(), build.name.clone()], Dress::Plain);
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
    context.out.line(format!("{file}: \"{}\" is in order: {positions} positions, {tasks} tasks", build.name))
}
