//! *Before a print*: what it would use up of each machine that could run it, the cheapest first.

use std::path::PathBuf;
use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};

use super::super::act::here;
use super::super::app::App;
use super::super::asked::Multipart;
use super::super::form::{Refusal, Typed};
use super::super::frame::{self, Around, Page, Place};
use super::super::glance::Glance;
use super::super::picture;
use super::super::reply::{Answer, Reply};
use super::super::upload::{Received, received};
use super::machine::program_fields;
use super::machines::address;
use crate::cli::Before;
use crate::commands::before::{self, Told, ToldMachine, ToldTask, answer};
use crate::input::Sent;
use crate::trouble::Trouble;

/// Machines of which the answer tells all; of the others it tells a line.
const WHOLE: usize = 12;

/// Tasks that are drawn for each machine: those that the print brings closest to being due.
const DRAWN: usize = 6;

/// The form alone.
pub(crate) async fn show(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    let glance = app.glance().await?;
    Ok(Reply::Page(page(&around, &glance, &Refusal::default(), None)))
}

/// Weighs what was sent. Nothing is recorded.
pub(crate) async fn weigh(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Multipart(form): Multipart,
) -> Answer {
    let (typed, weighed) = match received(form).await {
        Ok(Received { typed, files }) => {
            let weighed = weighed(&app, &typed, files);
            (typed, weighed)
        }
        Err((typed, trouble)) => (typed, Err(trouble)),
    };
    let glance = app.glance().await?;
    Ok(match weighed {
        // What was typed stays, for the next try.
        Ok(answer) => {
            Reply::Page(page(&around, &glance, &Refusal { form: "before".into(), trouble: None, typed }, Some(&answer)))
        }
        Err(trouble) => Reply::Refused(page(&around, &glance, &Refusal::new("before", trouble, typed), None)),
    })
}

fn weighed(app: &App, typed: &Typed, files: Vec<Sent>) -> Result<before::Answer, Trouble> {
    let args = Before {
        files: files.iter().map(|file| PathBuf::from(&file.name)).collect(),
        materials: materials(typed),
        hours: typed.number("hours", "Hours")?.filter(|_| files.is_empty()),
        grams: typed.number("grams", "Grams")?.filter(|_| files.is_empty()),
        why: true,
    };
    here(answer(&app.context().with_files(files), &args))
}

/// The words of `--material`: several by tool where they are typed, else the one that is chosen.
pub(super) fn materials(typed: &Typed) -> Vec<String> {
    let several = typed.text("materials");
    let several: Vec<String> =
        several.split([',', '\n']).map(|word| word.trim().to_owned()).filter(|word| !word.is_empty()).collect();
    if several.is_empty() { typed.some("material").into_iter().collect() } else { several }
}

fn page(around: &Around, glance: &Glance, refusal: &Refusal, answer: Option<&before::Answer>) -> Page {
    let body = html! {
        (frame::hatches())
        @if let Some(answer) = answer { (answered(answer)) h2 { "Another print" } }
        form.drop method="post" enctype="multipart/form-data" action="/before" {
            p { "Choose or drop a print file, or say how long it takes. Nothing is recorded." }
            (program_fields(glance, refusal, "before"))
            (refusal.shown("before"))
            button { "Weigh it" }
        }
    };
    Page::new(around, Place::Machines, "/before", "Before a print", body)
}

fn answered(answer: &before::Answer) -> Markup {
    html! {
        @for told in &answer.programs { (program(told)) }
        @if let Some(assumed) = &answer.assumed { p { (assumed) } }
    }
}

fn program(told: &Told) -> Markup {
    let rest = told.machines.get(WHOLE..).unwrap_or_default();
    html! {
        section {
            h2 { (told.label) }
            @if let Some(order) = told.order { p { (order) } }
            @if told.machines.is_empty() { p { "No machine of the shop could run it." } }
            @for of in told.machines.iter().take(WHOLE) { (machine(of)) }
            @if !rest.is_empty() {
                details {
                    summary { "The other " (rest.len()) " that could run it" }
                    ul { @for of in rest { li { a href=(address(&of.name)) { (of.name) } ": " (of.says) } } }
                }
            }
            @if !told.can_not.is_empty() {
                h3 { "Could not run it" }
                ul { @for (name, why) in &told.can_not { li { a href=(address(name)) { (name) } ": " (why) } } }
            }
        }
    }
}

fn machine(told: &ToldMachine) -> Markup {
    let mut moved: Vec<&ToldTask> = told.tasks.iter().filter(|task| task.from < task.to).collect();
    moved.sort_by(|one, other| other.to.total_cmp(&one.to));
    let (drawn, rest) = moved.split_at(moved.len().min(DRAWN));
    html! {
        section.block {
            h3 { a href=(address(&told.name)) { (told.name) } }
            @for caution in told.not_before.iter().chain(&told.stopping) {
                div.caution.warning role="note" { span.word { "WARNING" } span.text { (caution) } }
            }
            p { (told.says) "." }
            @if !told.supplies.is_empty() { ul { @for line in &told.supplies { li { (line) } } } }
            @if !drawn.is_empty() { (takes(drawn)) }
            @if !rest.is_empty() { details { summary { "The other " (rest.len()) " tasks that it brings closer" } (takes(rest)) } }
            p.hint { (told.worth) "." }
        }
    }
}

/// What it takes of each allowance: hatched as it is used before, solid what the print adds.
fn takes(tasks: &[&ToldTask]) -> Markup {
    html! {
        table.stacks {
            thead { tr { th scope="col" { "Care" } th scope="col" { "Used, and what the print adds" } th.figure scope="col" { "Before" } th.figure scope="col" { "Then" } th.figure scope="col" { "Worth" } } }
            tbody {
                @for task in tasks {
                    tr {
                        th scope="row" { (task.name) }
                        td { (picture::taken(task.from, task.to)) }
                        td.figure data-name="Before" { (share(task.from)) }
                        td.figure data-name="Then" { @if 1.0 <= task.to { strong { (share(task.to)) } } @else { (share(task.to)) } }
                        td.figure data-name="Worth" { (task.worth) }
                    }
                }
            }
        }
    }
}

/// A share with one decimal place, since one print uses little.
fn share(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn several_materials_stand_above_the_one_that_is_chosen() {
        let typed =
            |several: &str| Typed::new(vec![("material".into(), "PLA".into()), ("materials".into(), several.into())]);
        assert_eq!(materials(&typed("")), ["PLA"]);
        assert_eq!(materials(&typed(" T0=PLA, T1=PLA-CF ,")), ["T0=PLA", "T1=PLA-CF"]);
        assert_eq!(materials(&Typed::default()), Vec::<String>::new());
    }
}
