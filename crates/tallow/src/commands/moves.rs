//! `tallow moves`: programs for service, printed or written into a new file. Nothing is ever sent to a machine.

use std::fs::OpenOptions;
use std::io::{self, Write};
use std::path::Path;
use std::sync::Arc;

use serde_json::{Value, json};
use upkeep::Build;
use upkeep::Unknown;
use upkeep::moves::{Move, MoveError, possible, program};

use crate::cli;
use crate::commands::build::build_of;
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table, remark};
use crate::trouble::Trouble;

pub(crate) async fn moves(context: &Context, args: &cli::Moves) -> Result<(), Trouble> {
    let Asked { on, name } = Asked::of(args)?;
    match (on, name) {
        (None, _) => list(context, &Move::ALL, "MACHINE"),
        (Some(on), None) => {
            let build = on.build(context).await?;
            list(context, &possible(&build), &on.words())
        }
        (Some(on), Some(name)) => {
            let wanted = named(name)?;
            let build = on.build(context).await?;
            let text = program(&build, wanted).map_err(|error| refused(&error, wanted, &on))?;
            give(context, &build, wanted, &text, args.out.as_deref())
        }
    }
}

/// What stands for the machine, and the move; moves are listed where either was not named.
struct Asked<'a> {
    on: Option<On<'a>>,
    name: Option<&'a str>,
}

enum On<'a> {
    Machine(&'a str),
    Build(&'a str),
}

impl<'a> Asked<'a> {
    fn of(args: &'a cli::Moves) -> Result<Asked<'a>, Trouble> {
        let (on, name) = match (&args.build, &args.first, &args.second) {
            (Some(_), Some(machine), Some(name)) => {
                return Err(Trouble::refused("a machine and --build are both named")
                    .help(format!("for the machine: tallow moves \"{machine}\" \"{name}\"")));
            }
            (None, Some(word), None) if named(word).is_ok() => {
                return Err(Trouble::refused("it is not said for which machine")
                    .help(format!("tallow moves MACHINE \"{}\"", word.trim().to_lowercase())));
            }
            (Some(build), name, _) => (Some(On::Build(build)), name),
            (None, machine, name) => (machine.as_deref().map(On::Machine), name),
        };
        if name.is_none() && args.out.is_some() {
            let on = on.map_or_else(|| "MACHINE".to_owned(), |on| on.words());
            return Err(
                Trouble::refused("it is not said which move").help(format!("those there are: tallow moves {on}"))
            );
        }
        Ok(Asked { on, name: name.as_deref() })
    }
}

impl On<'_> {
    async fn build(&self, context: &Context) -> Result<Arc<Build>, Trouble> {
        match self {
            On::Build(name) => Ok(Arc::new(build_of(context, context.already_open().as_ref(), name).await?.build)),
            On::Machine(name) => Ok(context::machine(&context.open().await?, name).await?.build),
        }
    }

    /// As it is typed.
    fn words(&self) -> String {
        match self {
            On::Build(name) => format!("--build \"{name}\""),
            On::Machine(name) => format!("\"{name}\""),
        }
    }
}

fn named(name: &str) -> Result<Move, Trouble> {
    Ok(*Unknown::find("move", name, &Move::ALL, |known| known.name())?)
}

fn refused(error: &MoveError, wanted: Move, on: &On<'_>) -> Trouble {
    Trouble::refused(format!("no \"{}\" here: {error}", wanted.name()))
        .help(format!("the moves that it can make: tallow moves {}", on.words()))
}

fn list(context: &Context, moves: &[Move], on: &str) -> Result<(), Trouble> {
    if context.json {
        return context.out.json(&moves.iter().map(|known| shape(*known)).collect());
    }
    let mut table = Table::new([("move", Align::Left), ("what it is for", Align::Left)]);
    for known in moves {
        table.row([known.name().to_owned(), known.about().to_owned()], Dress::Plain);
    }
    context.out.table(&table)?;
    context.out.line(format!(
        "\nTo print one: tallow moves {on} NAME. Nothing is sent to a machine: read it, then run it yourself."
    ))
}

/// Prints the program, or writes it into a new file. Its cautions are told before it: they would be overlooked behind.
fn give(context: &Context, build: &Build, wanted: Move, text: &str, file: Option<&Path>) -> Result<(), Trouble> {
    file.map_or(Ok(()), |file| write_new(file, text))?;
    if context.json {
        let mut shape = shape(wanted);
        shape["build"] = build.name.as_str().into();
        shape["program"] = text.into();
        shape["file"] = file.map(|file| file.display().to_string()).into();
        return context.out.json(&shape);
    }
    // Whoever asks over the network reads them at the head of the program, and not on this terminal.
    for (word, caution) in wanted.cautions().iter().filter(|_| !context.is_served()) {
        remark(&format!("[ {} ] {caution}", word.name().to_uppercase()));
    }
    match file {
        None => context.out.verbatim(text),
        Some(file) => context.out.line(format!(
            "\"{}\" for {} stands in {}. Read it, then run it yourself.",
            wanted.name(),
            build.name,
            file.display()
        )),
    }
}

/// Writes a file that is not there yet.
fn write_new(file: &Path, text: &str) -> Result<(), Trouble> {
    let opened = OpenOptions::new().write(true).create_new(true).open(file);
    opened.and_then(|mut opened| opened.write_all(text.as_bytes())).map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists => Trouble::refused(format!("there is a file {} already", file.display()))
            .help("name a new one; no file is written over"),
        _ => Trouble::refused(format!("{} can't be written: {error}", file.display()))
            .help("name a file in a folder that is there and is yours"),
    })
}

fn shape(wanted: Move) -> Value {
    let cautions = wanted.cautions().iter().map(|(word, text)| json!({ "word": word.name(), "text": text }));
    json!({ "move": wanted.name(), "about": wanted.about(), "cautions": cautions.collect::<Vec<_>>() })
}
