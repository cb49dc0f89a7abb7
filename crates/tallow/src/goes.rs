//! The machines of a shop a few at a time: the records of a hall would fill the memory.

use jiff::civil::Date;
use ledger::Ledger;
use upkeep::MachineState;

use crate::trouble::Trouble;

/// Machines read in one go; their records are dropped before the next go's are read.
const GO: usize = 32;

/// Hands the machines' states to `work`, in the order of `names`, with their use by day from `from` on.
///
/// # Errors
/// Where a machine can't be read.
pub(crate) async fn each_go(
    ledger: &Ledger,
    names: &[&str],
    from: Date,
    mut work: impl FnMut(&[MachineState]),
) -> Result<(), Trouble> {
    for go in names.chunks(GO) {
        let mut states = Vec::with_capacity(go.len());
        for name in go {
            states.push(ledger.machine_state(name, from).await?);
        }
        work(&states);
    }
    Ok(())
}
