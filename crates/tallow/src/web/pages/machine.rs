//! *Machine*: one of them, drawn from its build; what is due on it, its parts, its runs, its history, and the forms that
//! record something of it.

mod drawn;
mod past;
mod position;
mod record;
mod runs;
mod tasks;

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use jiff::ZonedDateTime;
use maud::{Markup, html};
use motion::Quantity;
use upkeep::fault::Case;
use upkeep::{Foreseen, amount};

use super::super::app::App;
use super::super::asked::Path;
use super::super::form::{Refusal, Typed};
use super::super::frame::{self, Around, Page, Place};
use super::super::glance::Glance;
use super::super::guard::May;
use super::super::reply::{Answer, Reply, encoded};
use super::super::sending::may_send;
use super::measure;
use crate::words;

pub(in crate::web) use position::show as position;
pub(super) use record::{REASONS, lines, reason, spares, supplies};
pub(in crate::web) use record::{record, set_limit};
pub(super) use runs::program_fields;
pub(in crate::web) use runs::send as send_run;

pub(crate) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(name): Path<String>,
    Query(asked): Query<Vec<(String, String)>>,
) -> Answer {
    match page(&app, &around, &name, &Typed::new(asked), &Refusal::default()).await? {
        Some(page) => Ok(Reply::Page(page)),
        None => nobody(&around, &name),
    }
}

/// That there is no machine of that name.
fn nobody(around: &Around, name: &str) -> Answer {
    super::missing(around, &format!("no machine is called \"{name}\""))
}

/// The page with the form that was refused, if one was; `None` where there is no such machine.
async fn page(
    app: &App,
    around: &Around,
    name: &str,
    asked: &Typed,
    refusal: &Refusal,
) -> Result<Option<Page>, super::super::reply::Failed> {
    let glance = app.glance().await?;
    let Some(machine) = glance.machine(name) else { return Ok(None) };
    let now = app.now();
    // Of the days nothing is asked here, only of the sums.
    let state = app.ledger.machine_state(name, now.date()).await?;
    let past = past::Past::read(&app.ledger, name, asked.some("before").as_deref()).await?;
    let queue = app.ledger.queue(name).await?;
    let may = &around.visitor.may;
    let suspects = super::faults::suspects(app, &glance, name);
    let has_faults = open_faults(&glance, machine).next().is_some();
    let body = html! {
        (frame::hatches())
        (head(machine, &glance, &now, may))
        (drawn::figure(&around.shop, machine, &suspects, &now))
        (tasks::section(machine, &now, asked.is_ticked("why")))
        (drawn::parts(machine, &state, &now))
        (record::section(machine, &glance, refusal, may))
        (runs::section(machine, &glance, &queue, &now, refusal, may))
        (past.section(name, &now))
    };
    // What its drawing marks changes when the search for a cause is reckoned, and not with the records alone.
    Ok(Some(Page::new(around, Place::Machines, "", machine.name.clone(), body).passing_if(has_faults)))
}

/// What forbids to run the machine, and what it is.
fn head(machine: &Foreseen, glance: &Glance, now: &ZonedDateTime, may: &May) -> Markup {
    let forbidding: Vec<&str> = machine.forbidding().map(|due| due.name.as_str()).collect();
    let since = words::day(now.time_zone().to_datetime(machine.added).date(), now.date());
    html! {
        @if !forbidding.is_empty() {
            div.caution.warning role="note" {
                span.word { "WARNING" }
                span.text { "Not to be run until this is done: " (forbidding.join("; ")) "." }
            }
        }
        @for case in open_faults(glance, machine) {
            p.fault-line { strong { "Open fault: " } (case.symptoms.join("; ")) ". " a.target href=(super::faults::address(case)) { "Fault " (case.id) } }
        }
        p { (machine.build.name) ", in the shop since " (since) ". It has run " (ran(machine)) "." }
        p {
            @if may_send(may, &super::machines::address(&machine.name)) {
                a href="#record" { "Record something" } " · " a href="#runs" { "Book or queue a run" } " · "
            }
            a href="#history" { "History" }
        }
        @if may_send(may, super::faults::NEW) {
            p.no-print.row {
                a.button.quiet href=(format!("/faults?machine={}#begin", encoded(&machine.name))) { "Something is wrong" }
                a.button.quiet href=(measure::address(&machine.name)) { "Measure" }
            }
        }
    }
}

/// Its faults that are open, oldest first.
fn open_faults<'a>(glance: &'a Glance, machine: &'a Foreseen) -> impl Iterator<Item = &'a Case> {
    glance.open_faults().filter(|case| case.machine == machine.name)
}

/// How long a machine has run.
fn ran(machine: &Foreseen) -> String {
    amount::print(machine.seconds(), Quantity::Time)
}

/// The machine's tasks at a position, in the build's order, with how they stand.
fn dues_at<'a>(machine: &'a Foreseen, position: &'a str) -> impl Iterator<Item = &'a upkeep::Due> {
    machine.dues.iter().filter(move |due| machine.task(due).at == position)
}

/// The share of the task that is most used at a position; `None` where it has no task.
fn used_at(machine: &Foreseen, position: &str) -> Option<f64> {
    dues_at(machine, position).map(upkeep::Due::share).reduce(f64::max)
}

/// Where a position's page is.
fn position_address(machine: &str, position: &str) -> String {
    format!("{}/{}", super::machines::address(machine), encoded(position))
}

/// What a form's lists of names begin with where nothing need be chosen.
fn named(names: impl IntoIterator<Item = String>) -> Vec<(String, String)> {
    names.into_iter().map(|name| (name.clone(), name)).collect()
}

/// The names of the materials that the shop knows.
fn material_names(glance: &Glance) -> Vec<(String, String)> {
    named(glance.materials.iter().map(|info| info.name.clone()))
}
