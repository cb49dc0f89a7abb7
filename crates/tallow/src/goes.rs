//! The machines of a shop a few at a time: the records of a hall would fill the memory.

use jiff::civil::Date;
use ledger::Ledger;
use upkeep::MachineState;

use crate::trouble::Trouble;

/// Machines read in one go; their records are dropped before the next go's are read.
const GO: usize = 32;

/// Hands the machines' states to `work`, by name within each go, with their use by day from `from` on. While one go is worked
/// on, the next is read.
///
/// # Errors
/// Where a machine can't be read.
pub(crate) async fn each_go(
    ledger: &Ledger,
    names: &[&str],
    from: Date,
    mut work: impl FnMut(Vec<MachineState>),
) -> Result<(), Trouble> {
    let read = |go: &[&str]| {
        let (ledger, go) = (ledger.clone(), go.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>());
        tokio::spawn(async move {
            let go: Vec<&str> = go.iter().map(String::as_str).collect();
            ledger.states_of(&go, from).await
        })
    };
    let mut goes = names.chunks(GO);
    let mut coming = goes.next().map(read);
    while let Some(reading) = coming {
        // OK because a reader is never aborted, and a panic in one is a panic here.
        let states = reading.await.expect("a reader ends by itself")?;
        coming = goes.next().map(read);
        work(states);
    }
    Ok(())
}
