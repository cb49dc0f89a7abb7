//! `tallow stores buy`: the shopping list.

use ledger::Ledger;

use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

pub(crate) async fn buy(_context: &Context, _ledger: &Ledger, _args: &cli::Buy) -> Result<(), Trouble> {
    Err(Trouble::refused("not yet"))
}
