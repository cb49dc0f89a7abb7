//! `tallow manual` and `tallow completions`: pages for man and words for shells, from the command line's own definition.

use std::fs;

use clap::CommandFactory;
use serde_json::json;

use crate::cli::{self, Cli};
use crate::context::Context;
use crate::trouble::Trouble;

pub(crate) fn manual(context: &Context, args: &cli::Manual) -> Result<(), Trouble> {
    let folder = &args.folder;
    let written = fs::create_dir_all(folder).and_then(|()| clap_mangen::generate_to(Cli::command(), folder));
    written.map_err(|error| {
        Trouble::refused(format!("the pages can't be written into {}: {error}", folder.display()))
            .help("name a folder that you may write into")
    })?;
    match context.json {
        true => context.out.json(&json!({ "folder": folder.display().to_string() })),
        false => context.out.line(format!(
            "The manual is in {}: man -l {}",
            folder.display(),
            folder.join("tallow.1").display()
        )),
    }
}

pub(crate) fn completions(context: &Context, args: &cli::Completions) -> Result<(), Trouble> {
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "tallow", &mut text);
    // OK because the names and helps that it is made of are text.
    context.out.verbatim(&String::from_utf8_lossy(&text))
}
