//! `tallow before`: what a print would use up of each machine that could run it.

use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

pub(crate) async fn before(_context: &Context, _args: &cli::Before) -> Result<(), Trouble> {
    Err(Trouble::refused("not yet"))
}
