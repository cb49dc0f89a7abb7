//! `tallow fault`: from what a machine shows to its cause, and to the record of the fix.

mod begin;
mod drawing;
mod end;
mod grades;
mod known;
mod say;
mod screen;
mod search;
pub(crate) mod shape;
mod sought;
mod walk;
pub(crate) mod words;

use ledger::Ledger;
use upkeep::EntryId;
pub(crate) use upkeep::fault::case::End;
use upkeep::fault::{Case, cases};

pub(crate) use self::begin::any;
pub(crate) use self::grades::{Link, links};
pub(crate) use self::known::{Known, known_faults};
pub(crate) use self::search::{Ask, Next, Ranked, Search};
pub(crate) use self::sought::Sought;
use crate::cli::{self, FaultWord};
use crate::context::Context;
use crate::trouble::Trouble;

pub(crate) async fn fault(context: &Context, args: &cli::Fault) -> Result<(), Trouble> {
    match &args.what {
        None => screen::list(context).await,
        Some(FaultWord::Symptoms(args)) => begin::symptoms(context, args).await,
        Some(FaultWord::New(args)) => begin::begin(context, args).await,
        Some(FaultWord::Show(args)) => screen::show(context, args).await,
        Some(FaultWord::Say(args)) => say::say(context, args).await,
        Some(FaultWord::Walk(args)) => walk::walk(context, args).await,
        Some(FaultWord::End(args)) => end::end(context, args).await,
        Some(FaultWord::Grade(args)) => grades::grade(context, args).await,
    }
}

/// All faults of the shop, oldest first.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn all(ledger: &Ledger) -> Result<Vec<Case>, Trouble> {
    Ok(cases(&ledger.faults().await?))
}

/// The fault of that number.
///
/// # Errors
/// Where there is none.
pub(crate) fn of_number(cases: &[Case], fault: i64) -> Result<&Case, Trouble> {
    cases.iter().find(|case| case.id == EntryId(fault)).ok_or_else(|| {
        let open: Vec<String> =
            cases.iter().filter(|case| case.end.is_none()).map(|case| case.id.to_string()).collect();
        let trouble = Trouble::refused(format!("there is no fault {fault}"));
        match open.is_empty() {
            true => trouble.help("no fault is open; begin one: tallow fault new MACHINE \"squeal\""),
            false => trouble.help(format!("open are: {}", open.join(", "))),
        }
    })
}

/// The fault of that number, which is open.
///
/// # Errors
/// Where there is none, or it is over.
pub(crate) fn open_of_number(cases: &[Case], fault: i64) -> Result<&Case, Trouble> {
    let case = of_number(cases, fault)?;
    match &case.end {
        None => Ok(case),
        Some(end) => Err(Trouble::refused(format!("fault {fault} is over: {}", words::was(&end.was)))
            .help(format!("if that was wrong: tallow correct {} --withdraw", end.entry))
            .help(format!("if it is back: tallow fault new \"{}\" \"{}\"", case.machine, case.symptoms.join("\" \"")))),
    }
}
