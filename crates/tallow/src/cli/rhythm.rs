//! The words of `tallow rhythm`.

use clap::Args;

#[derive(Args, Debug)]
pub(crate) struct Rhythm {
    /// Only this machine
    pub(crate) machine: Option<String>,
}
