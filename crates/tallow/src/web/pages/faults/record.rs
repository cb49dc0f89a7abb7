//! What the page of a fault records, each by the command that the command line has for it.

use std::sync::Arc;

use axum::extract::State;
use axum::{Extension, Form};
use clap::ValueEnum;
use upkeep::EntryId;
use upkeep::fault::Measured;
use upkeep::fault::measured::What;

use super::super::super::act::{act, here, said};
use super::super::super::app::App;
use super::super::super::asked::Path;
use super::super::super::form::{Refusal, Typed};
use super::super::super::frame::Around;
use super::super::super::reply::{Answer, Reply};
use super::super::entry::withdrawal;
use super::super::machine::{reason, supplies};
use super::search;
use crate::cli::{AnswerWord, Command, Fault, FaultEnd, FaultSay, FaultWas, FaultWord, Mending};
use crate::commands::fault::End;
use crate::commands::measure::evidence;
use crate::trouble::Trouble;

/// Records an answer.
pub(in crate::web) async fn say(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(fault): Path<i64>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let command = answer(fault, &typed);
    recorded(&app, &around, fault, command, typed).await
}

/// Takes what was measured as an answer.
pub(in crate::web) async fn measured(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(fault): Path<i64>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let told = match found(&typed) {
        Ok(found) => here(evidence::record(&app.context(), fault, &found, &typed.text("note"))),
        Err(trouble) => Err(trouble),
    };
    match told {
        Ok(told) => Ok(Reply::Done { to: format!("/faults/{fault}"), said: told.join("; ") }),
        Err(trouble) => search::page(&app, &around, fault, &Refusal::new("measured", trouble, typed)).await,
    }
}

/// What a form says was measured: of several figures each field has as many values.
fn found(typed: &Typed) -> Result<Vec<Measured>, Trouble> {
    let broken = || Trouble::refused("what was measured can't be read").help("measure again, and send it from there");
    let number = |name: &str, place: usize| {
        let number = typed.all(name).get(place)?.trim().parse::<f64>().ok();
        number.filter(|number| number.is_finite())
    };
    let of_place = |(place, name): (usize, &String)| {
        let what = What::ALL.into_iter().find(|what| what.name() == name)?;
        let at = typed.all("at").get(place).filter(|at| !at.is_empty()).cloned();
        let uncertainty = number("uncertainty", place).filter(|uncertainty| 0.0 <= *uncertainty)?;
        Some(Measured { what, at, value: number("value", place)?, uncertainty })
    };
    let found: Option<Vec<Measured>> = typed.all("what").iter().enumerate().map(of_place).collect();
    found.filter(|found| !found.is_empty()).ok_or_else(broken)
}

/// Closes a fault.
pub(in crate::web) async fn end(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(fault): Path<i64>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let command = ending(fault, &typed);
    recorded(&app, &around, fault, command, typed).await
}

/// Takes an answer back, or the end: it is withdrawn, and the question is open again.
pub(in crate::web) async fn take_back(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(fault): Path<i64>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let command = withdrawing(&app, fault, &typed).await;
    recorded(&app, &around, fault, command, typed).await
}

async fn recorded(app: &App, around: &Around, fault: i64, command: Result<Command, Trouble>, typed: Typed) -> Answer {
    let done = match command {
        Ok(command) => act(app, &command).await,
        Err(trouble) => Err(trouble),
    };
    match done {
        Ok(answer) => Ok(Reply::Done { to: format!("/faults/{fault}"), said: said(&answer) }),
        Err(trouble) => search::page(app, around, fault, &Refusal::new(&typed.text("form"), trouble, typed)).await,
    }
}

fn answer(fault: i64, typed: &Typed) -> Result<Command, Trouble> {
    let none = || Trouble::refused("nothing was pressed").help("press one of the answers");
    let answer = AnswerWord::from_str(&typed.text("answer"), false).map_err(|_| none())?;
    let of = typed.some("of");
    let of = of.ok_or_else(|| Trouble::refused("nothing was chosen that shows").help("choose a symptom"))?;
    let say = FaultSay { fault, answer, of: Some(of), cause: typed.some("cause"), mending: mending(typed)? };
    Ok(Command::Fault(Fault { what: Some(FaultWord::Say(say)) }))
}

fn ending(fault: i64, typed: &Typed) -> Result<Command, Trouble> {
    let none = FaultWas { cause: None, other: None, unknown: None };
    let was = match typed.text("form").as_str() {
        "cause" => {
            let cause = typed.some("cause");
            let cause = cause.ok_or_else(|| Trouble::refused("no cause was chosen").help("choose what it was"))?;
            FaultWas { cause: Some(cause), ..none }
        }
        "other" => FaultWas { other: Some(typed.text("words")), ..none },
        _ => FaultWas { unknown: Some(typed.text("words")), ..none },
    };
    let end = FaultEnd { fault, was, mending: mending(typed)? };
    Ok(Command::Fault(Fault { what: Some(FaultWord::End(end)) }))
}

/// How it was mended.
fn mending(typed: &Typed) -> Result<Mending, Trouble> {
    let because = typed.some("because").map(|word| reason(&word)).transpose()?;
    let (used, spare, note) = (supplies(typed), typed.some("spare"), typed.text("note"));
    Ok(Mending { used, new: typed.is_ticked("new"), spare, because, note })
}

/// The command that withdraws an answer of a fault, or its end, and nothing else.
async fn withdrawing(app: &App, fault: i64, typed: &Typed) -> Result<Command, Trouble> {
    let entry = typed.text("entry").parse().ok().map(EntryId);
    let glance = app.glance().await?;
    let of_fault = |entry: &EntryId| {
        let mut of_number = glance.faults.iter().filter(|case| case.id == EntryId(fault));
        of_number.any(|case| {
            let is_end = |end: &End| end.entry == *entry;
            case.answers.iter().any(|said| said.entry == *entry) || case.end.as_ref().is_some_and(is_end)
        })
    };
    let none = || Trouble::refused("that was taken back already, or is no answer of this fault");
    let entry = entry.filter(of_fault).ok_or_else(none)?;
    Ok(withdrawal(app.ledger.newest(entry).await?.id, typed.text("note")))
}
