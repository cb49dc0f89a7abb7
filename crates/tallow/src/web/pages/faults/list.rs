//! The faults of the shop, and a form to begin one: the machine, the keeper's own words, and the symptoms that they may mean.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::{Extension, Form};
use maud::{Markup, html};
use upkeep::build::SignalWord;
use upkeep::fault::{Case, Faults, Symptom, of, search};

use super::super::super::act::{act, said};
use super::super::super::app::App;
use super::super::super::form::{Field, Refusal, Typed, choice};
use super::super::super::frame::{self, Around, Page, Place};
use super::super::super::glance::Glance;
use super::super::super::guard::May;
use super::super::super::reply::{Answer, Failed, Reply};
use super::super::super::sending::{Sending, may_send, role_wanted};
use super::super::machines;
use super::{NEW, address, day, open_table, shown};
use crate::cli::{Command, Fault, FaultNew, FaultWord};
use crate::commands::fault::{self, words};
use crate::trouble::Trouble;

/// Faults that are over, of which the page tells; the others stand in the history.
const LATELY: usize = 20;

/// The form's name.
const BEGIN: &str = "begin";

pub(in crate::web) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Query(asked): Query<Vec<(String, String)>>,
) -> Answer {
    Ok(Reply::Page(page(&app, &around, &Typed::new(asked), &Refusal::default()).await?))
}

/// Begins a fault.
pub(in crate::web) async fn begin(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let done = match command(&typed) {
        Ok(command) => act(&app, &command).await,
        Err(trouble) => Err(trouble),
    };
    match done {
        Ok(answer) => {
            let to = answer["entry"].as_i64().map_or_else(|| "/faults".to_owned(), |fault| format!("/faults/{fault}"));
            Ok(Reply::Done { to, said: said(&answer) })
        }
        Err(trouble) => {
            let refusal = Refusal::new(BEGIN, trouble, typed.clone());
            Ok(Reply::Refused(page(&app, &around, &typed, &refusal).await?))
        }
    }
}

fn command(typed: &Typed) -> Result<Command, Trouble> {
    let machine = typed.some("machine");
    let machine =
        machine.ok_or_else(|| Trouble::refused("no machine was chosen").help("choose the one that shows it"))?;
    let symptom = typed.some("symptom");
    let symptom =
        symptom.ok_or_else(|| Trouble::refused("nothing was pressed").help("press what the machine shows"))?;
    let when = typed.some("when").unwrap_or_else(|| "now".to_owned());
    let new = FaultNew { machine, symptoms: vec![symptom], when, note: typed.text("note") };
    Ok(Command::Fault(Fault { what: Some(FaultWord::New(new)) }))
}

async fn page(app: &App, around: &Around, typed: &Typed, refusal: &Refusal) -> Result<Page, Failed> {
    let glance = app.glance().await?;
    let may = &around.visitor.may;
    let open: Vec<&Case> = glance.open_faults().collect();
    let body = html! {
        section aria-labelledby="open" {
            h2 #open { "Open" }
            @if open.is_empty() { p { "No fault is open." } } @else { (open_table(&open, &glance.now, may)) }
        }
        section aria-labelledby="begin" {
            h2 #begin { "Something is wrong" }
            (role_wanted(may, NEW, "Beginning a fault"))
            @if may_send(may, NEW) { (beginning(&glance, typed, refusal, may)?) }
        }
        (lately(&glance))
        p { a href="/faults/grades" { "How often causes show what they show" } }
    };
    Ok(Page::new(around, Place::Machines, "/faults", "Faults", body))
}

fn beginning(glance: &Glance, typed: &Typed, refusal: &Refusal, may: &May) -> Result<Markup, Failed> {
    if glance.machines.is_empty() {
        return Ok(html! { p { "The shop has no machine yet." } });
    }
    let machine = typed.text("machine");
    let chosen = glance.machine(&machine);
    let faults = chosen.map_or_else(fault::any, |machine| Ok(of(&machine.build)?))?;
    let words = typed.text("q");
    let machines = machine_names(glance);
    let none = Refusal::default();
    Ok(html! {
        form.filter method="get" action="/faults#begin" role="search" {
            (choice(&none, "look", "machine", "Machine", &machine, &machines))
            (Field { value: &words, hint: "what you see, hear, smell or measure, for example: it squeaks", ..Field::text("look", "q", "In your own words") }.show(&none))
            p { button { "Look for it" } }
        }
        (results(&faults, chosen.map(|machine| machine.name.as_str()), &machines, &words, refusal, may))
    })
}

/// The machines of the shop, with none chosen at first: the wrong one is soon pressed.
fn machine_names(glance: &Glance) -> Vec<(String, String)> {
    let none = (String::new(), "choose".to_owned());
    let names = glance.machines.iter().map(|machine| (machine.name.clone(), machine.name.clone()));
    [none].into_iter().chain(names).collect()
}

/// What the words may mean, each as a button that begins the fault; all symptoms below.
fn results(
    faults: &Faults,
    chosen: Option<&str>,
    machines: &[(String, String)],
    words: &str,
    refusal: &Refusal,
    may: &May,
) -> Markup {
    let found: Vec<&Symptom> = match words {
        "" => Vec::new(),
        words => search(faults, words).into_iter().map(|place| &faults.symptoms[place]).collect(),
    };
    let is_found = |symptom: &&Symptom| found.iter().any(|other| other.name == symptom.name);
    let others: Vec<&Symptom> = faults.symptoms.iter().filter(|symptom| !is_found(symptom)).collect();
    let fields = html! {
        // What a key pressed in a field does: nothing is begun by it.
        button name="symptom" value="" hidden tabindex="-1" { "Keep" }
        input type="hidden" name="q" value=(words);
        (refusal.shown(BEGIN))
        @match chosen {
            Some(machine) => { input type="hidden" name="machine" value=(machine); p { "On " strong { (machine) } ". Press what it shows: the fault begins with it." } },
            None => (choice(refusal, BEGIN, "machine", "Machine that shows it", "", machines)),
        }
        @if !words.is_empty() && found.is_empty() {
            p { strong { "No symptom is known by these words." } " Say it otherwise, or press the nearest of the list." }
        }
        (buttons(&found))
        details open[refusal.is_of(BEGIN)] {
            summary { "Since when, a note" }
            (Field { value: "now", hint: "now, today 8:30, yesterday 14:10, monday 8:30, 2026-11-24 9:00", ..Field::text(BEGIN, "when", "Since") }.show(refusal))
            (Field { value: words, ..Field::text(BEGIN, "note", "Note") }.show(refusal))
        }
        details open[found.is_empty()] {
            summary { @if found.is_empty() { "All that is known" } @else { "None of these: all that is known" } }
            (buttons(&others))
        }
    };
    Sending::to(NEW).show(may, fields)
}

fn buttons(symptoms: &[&Symptom]) -> Markup {
    html! {
        @if !symptoms.is_empty() {
            ul.pressed {
                @for symptom in symptoms {
                    li {
                        @if let Some(stop) = &symptom.stop { (frame::caution(SignalWord::Danger, stop)) }
                        button.big name="symptom" value=(symptom.name) { (symptom.name) }
                        span.hint { (symptom.about) }
                    }
                }
            }
        }
    }
}

fn lately(glance: &Glance) -> Markup {
    let mut over: Vec<(&Case, &fault::End)> =
        glance.faults.iter().filter_map(|case| Some((case, case.end.as_ref()?))).collect();
    over.sort_by_key(|(case, end)| std::cmp::Reverse((end.at, case.id)));
    html! {
        @if !over.is_empty() {
            section aria-labelledby="lately" {
                h2 #lately { "Over" }
                table.stacks {
                    thead { tr { th scope="col" { "Machine" } th scope="col" { "Showed" } th scope="col" { "It was" } th scope="col" { "Over" } th scope="col" { "Fault" } } }
                    tbody {
                        @for (case, end) in over.iter().take(LATELY) {
                            tr {
                                th scope="row" { a href=(machines::address(&case.machine)) { (case.machine) } }
                                td data-name="Showed" { (shown(case)) }
                                td data-name="It was" { (words::was(&end.was)) }
                                td data-name="Over" { (day(end.at, &glance.now)) }
                                td { a.target href=(address(case)) { "Fault " (case.id) } }
                            }
                        }
                    }
                }
                @if LATELY < over.len() { p { "Earlier ones stand in the " a href="/records" { "history" } "." } }
            }
        }
    }
}
