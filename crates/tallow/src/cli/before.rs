//! The words of `tallow before` and `tallow moves`.

use std::path::PathBuf;

use clap::Args;

use super::number;

#[derive(Args, Debug)]
pub(crate) struct Before {
    /// The print files; left out when only hours are known
    pub(crate) files: Vec<PathBuf>,
    /// What will be printed: a material for every tool, or T0=MATERIAL once per tool
    #[arg(long = "material", value_name = "[Tn=]MATERIAL", required = true)]
    pub(crate) materials: Vec<String>,
    /// Hours to print, where there is no file; what it asks is then an estimate
    #[arg(long, conflicts_with = "files", allow_hyphen_values = true, value_parser = number)]
    pub(crate) hours: Option<f64>,
    /// Filament that it takes, g, where there is no file
    #[arg(long, conflicts_with = "files", allow_hyphen_values = true, value_parser = number)]
    pub(crate) grams: Option<f64>,
    /// List what it would use up of every allowance
    #[arg(long)]
    pub(crate) why: bool,
}

#[derive(Args, Debug)]
pub(crate) struct Moves {
    /// The machine; not with --build
    #[arg(value_name = "MACHINE")]
    pub(crate) first: Option<String>,
    /// The move; lists them if left out
    #[arg(value_name = "NAME")]
    pub(crate) second: Option<String>,
    /// A known build, or a file of your own, in place of a machine
    #[arg(long, value_name = "BUILD")]
    pub(crate) build: Option<String>,
    /// Write the program into this new file
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}
