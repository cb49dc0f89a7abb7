//! A measurement as an answer in a fault that is looked for.

use ledger::NewEntry;
use upkeep::Event;
use upkeep::fault::measured::answers;
use upkeep::fault::said::{Answered, Asked};
use upkeep::fault::{Answer, Measured};

use super::report::Report;
use crate::cli;
use crate::commands::fault::{all, known_faults, open_of_number, words};
use crate::context::{self, Context};
use crate::trouble::Trouble;

/// The machine that a measurement is of: the one named, or that of the fault that it answers in.
///
/// # Errors
/// Where there is no such fault, it is over, or it is of another machine than the one named.
pub(super) async fn machine(context: &Context, whose: &cli::Whose) -> Result<Option<String>, Trouble> {
    let Some(fault) = whose.fault else {
        return match (&whose.machine, whose.keep || whose.at.is_some()) {
            (None, true) => Err(Trouble::refused("it is not said of which machine that was measured")
                .help("name it: --machine MACHINE")),
            _ => Ok(whose.machine.clone()),
        };
    };
    let ledger = context.open().await?;
    let machine = open_of_number(&all(&ledger).await?, fault)?.machine.clone();
    match &whose.machine {
        Some(named) if context::machine(&ledger, named).await?.info.name != machine => {
            Err(Trouble::refused(format!("fault {fault} is of {machine}, not of {named}")).help("leave --machine out"))
        }
        _ => Ok(Some(machine)),
    }
}

/// Records what a measurement says of the checks that it answers; in words, a line each.
///
/// # Errors
/// As [`machine`]; a measurement that answers none of the checks of the machine.
pub(super) async fn tell(context: &Context, report: &Report, whose: &cli::Whose) -> Result<Vec<String>, Trouble> {
    let Some(fault) = whose.fault else { return Ok(Vec::new()) };
    let note = format!("{}: {}", report.result.what, report.result.words());
    record(context, fault, &report.measured, &note).await
}

/// Records what was measured as answers in a fault; in words, a line each.
///
/// # Errors
/// Where there is no such fault, or it is over; a measurement that answers none of the checks of its machine.
pub(crate) async fn record(
    context: &Context,
    fault: i64,
    measured: &[Measured],
    note: &str,
) -> Result<Vec<String>, Trouble> {
    let ledger = context.open().await?;
    let cases = all(&ledger).await?;
    let case = open_of_number(&cases, fault)?;
    let faults = known_faults(&ledger, &context::machine(&ledger, &case.machine).await?.build).await?;
    let answers: Vec<Answered> = measured
        .iter()
        .flat_map(|found| answers(&faults, found))
        .map(|(check, chance)| Answered {
            fault: case.id,
            asked: Asked::Check(faults.checks[check].title()),
            answer: Answer::Likely(chance),
        })
        .collect();
    if answers.is_empty() {
        return Err(Trouble::refused(format!("no check of {} asks for that measurement there", case.machine))
            .help("leave --fault out; or name the position that was measured: --at POSITION"));
    }
    let told = answers.iter().map(words::answered).collect();
    let entries = answers.into_iter().map(|answered| NewEntry {
        machine: case.machine.clone(),
        at: context.now,
        recorded: context.now,
        note: note.to_owned(),
        event: Event::FaultAnswered(answered),
    });
    ledger.import(&case.machine, entries.collect()).await?;
    Ok(told)
}
