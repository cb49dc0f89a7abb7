//! `tallow moves`: programs for service, printed or written into a new file. Nothing is ever sent to a machine.

use std::fs::OpenOptions;
use std::io::{self, Write};
use std::path::Path;
use std::sync::Arc;

use serde_json::{Value, json};
use upkeep::Build;
use upkeep::Unknown;
use upkeep::moves::{Move, MoveError, program};

use crate::builds;
use crate::cli;
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table, remark};
use crate::trouble::Trouble;

pub(crate) async fn moves(context: &Context, args: &cli::Moves) -> Result<(), Trouble> {
    match Asked::of(context, args).await? {
        None => list(context),
        Some(asked) => {
            let wanted = named(asked.name)?;
            let build = asked.build(context).await?;
            let text = program(&build, wanted).map_err(|error| refused(&error, wanted))?;
            give(context, &build, wanted, &text, args.out.as_deref())
        }
    }
}

/// What stands for the machine, and the move.
struct Asked<'a> {
    on: On<'a>,
    name: &'a str,
}

enum On<'a> {
    Machine(&'a str),
    Build(&'a str),
}

impl<'a> Asked<'a> {
    /// What was asked for; `None` where nothing was named, and so all are listed.
    async fn of(context: &Context, args: &'a cli::Moves) -> Result<Option<Asked<'a>>, Trouble> {
        let asked = |on, name| Ok(Some(Asked { on, name }));
        match (&args.build, &args.first, &args.second) {
            (Some(build), Some(name), None) => asked(On::Build(build), name),
            (None, Some(machine), Some(name)) => asked(On::Machine(machine), name),
            (Some(_), Some(machine), Some(name)) => Err(Trouble::refused("a machine and --build are both named")
                .help(format!("for the machine: tallow moves \"{machine}\" \"{name}\""))),
            (Some(build), None, _) => Err(unnamed(&format!("--build {build}"))),
            (None, Some(word), None) => Err(half_said(context, word).await),
            (None, None, _) if args.out.is_some() => Err(unnamed("MACHINE")),
            (None, None, _) => Ok(None),
        }
    }

    async fn build(&self, context: &Context) -> Result<Arc<Build>, Trouble> {
        match self.on {
            On::Build(name) => Ok(Arc::new(builds::named(name)?.build)),
            On::Machine(name) => Ok(context::machine(&context.open().await?, name).await?.build),
        }
    }
}

/// What is wrong where one word stands alone: it should be a machine, and the move is lacking.
async fn half_said(context: &Context, word: &str) -> Trouble {
    if let Ok(wanted) = named(word) {
        return Trouble::refused("it is not said for which machine")
            .help(format!("tallow moves MACHINE \"{}\"", wanted.name()));
    }
    let machine = match context.open().await {
        Ok(ledger) => context::machine(&ledger, word).await,
        Err(trouble) => Err(trouble),
    };
    machine.map_or_else(|trouble| trouble, |machine| unnamed(&format!("\"{}\"", machine.info.name)))
}

fn unnamed(on: &str) -> Trouble {
    let trouble = Trouble::refused("it is not said which move");
    Move::ALL.iter().fold(trouble, |trouble, known| trouble.help(format!("tallow moves {on} \"{}\"", known.name())))
}

fn named(name: &str) -> Result<Move, Trouble> {
    Ok(*Unknown::find("move", name, &Move::ALL, |known| known.name())?)
}

fn refused(error: &MoveError, wanted: Move) -> Trouble {
    Trouble::refused(format!("no \"{}\" here: {error}", wanted.name())).help("all moves there are: tallow moves")
}

fn list(context: &Context) -> Result<(), Trouble> {
    if context.json {
        return context.out.json(&Move::ALL.iter().map(|known| shape(*known)).collect());
    }
    let mut table = Table::new([("move", Align::Left), ("what it is for", Align::Left)]);
    for known in Move::ALL {
        table.row([known.name().to_owned(), known.about().to_owned()], Dress::Plain);
    }
    context.out.table(&table)?;
    context
        .out
        .line("\nTo print one: tallow moves MACHINE NAME. Nothing is sent to a machine: read it, then run it yourself.")
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
    for (word, caution) in wanted.cautions() {
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
