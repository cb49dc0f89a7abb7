//! tallow: keeps filament printers running. The program itself, as a library, so that what strangers hand in to it can be tried
//! ([`handed_in`]).

mod builds;
mod calendar;
mod chart;
mod cli;
mod commands;
mod context;
mod demo;
mod files;
mod foreseeing;
mod goes;
pub mod handed_in;
mod input;
mod metering;
mod out;
mod parallel;
mod printed;
mod programs;
mod progress;
mod report;
mod sealed;
mod secret;
mod sheet;
mod stop;
mod trouble;
mod ways;
mod wear;
mod web;
mod when;
mod words;

use std::process::ExitCode;

use clap::Parser;

use crate::cli::Cli;
use crate::context::Context;
use crate::trouble::Trouble;

/// Carries out the command line that this process was started with.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    match run(&cli) {
        Ok(()) => ExitCode::SUCCESS,
        Err(trouble) => {
            out::trouble(&trouble, cli.json);
            ExitCode::FAILURE
        }
    }
}

fn run(cli: &Cli) -> Result<(), Trouble> {
    let context = Context::new(cli)?;
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    let runtime = runtime.map_err(|error| Trouble::refused(format!("threads could not be started: {error}")))?;
    runtime.block_on(async {
        let done = commands::carry_out(&context, &cli.command).await;
        context.close().await;
        done
    })
}
