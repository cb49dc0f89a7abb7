//! Runs: book one, queue one, what is queued.

use std::path::PathBuf;
use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use jiff::ZonedDateTime;
use maud::{Markup, html};
use upkeep::{Entry, Event, Foreseen};

use super::super::super::act::{act_with, said};
use super::super::super::app::App;
use super::super::super::asked::{Multipart, Path};
use super::super::super::form::{Field, Refusal, Typed, choice};
use super::super::super::frame::Around;
use super::super::super::glance::Glance;
use super::super::super::guard::May;
use super::super::super::reply::{Answer, Reply, encoded};
use super::super::super::sending::{Sending, role_wanted};
use super::super::super::upload::{Received, received};
use super::super::before::materials;
use super::super::machines::address;
use super::super::records::entry_address;
use super::{material_names, nobody, page};
use crate::cli::{Command, Outcome, Program, Queue, Run};
use crate::commands::history::said as entry_said;
use crate::input::Sent;
use crate::trouble::Trouble;

/// Books or queues what a form says, with the print file that came along.
pub(in crate::web) async fn send(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(name): Path<String>,
    Multipart(form): Multipart,
) -> Answer {
    let (typed, done) = match received(form).await {
        Ok(Received { typed, files }) => {
            let done = match command(&name, &typed, files.first()) {
                Ok(command) => act_with(&app, &command, files).await,
                Err(trouble) => Err(trouble),
            };
            (typed, done)
        }
        Err((typed, trouble)) => (typed, Err(trouble)),
    };
    match done {
        Ok(answer) => Ok(Reply::Done { to: address(&name), said: said(&answer) }),
        Err(trouble) => {
            let form = typed.text("form");
            let refusal = Refusal::new(if form == "queue" { "queue" } else { "run" }, trouble, typed);
            match page(&app, &around, &name, &Typed::default(), &refusal).await? {
                Some(page) => Ok(Reply::Refused(page)),
                None => nobody(&around, &name),
            }
        }
    }
}

fn command(machine: &str, typed: &Typed, file: Option<&Sent>) -> Result<Command, Trouble> {
    let program = Program {
        file: file.map(|file| PathBuf::from(&file.name)),
        on: machine.to_owned(),
        materials: materials(typed),
        // Of a file the hours are metered; what was typed beside it is not asked.
        hours: typed.number("hours", "Hours")?.filter(|_| file.is_none()),
        grams: typed.number("grams", "Grams")?.filter(|_| file.is_none()),
        label: typed.some("label"),
        note: typed.text("note"),
    };
    Ok(match typed.text("form").as_str() {
        "queue" => Command::Queue(Queue { program, day: typed.some("day") }),
        _ => Command::Run(Run {
            program,
            when: typed.some("when"),
            ended: None,
            stop: typed.some("stop"),
            outcome: Outcome::Finished,
            sha256: None,
            once: false,
            later: false,
        }),
    })
}

/// The section: what is queued, and the two forms. Runs that were booked stand in the history.
pub(super) fn section(
    machine: &Foreseen,
    glance: &Glance,
    queue: &[Entry],
    now: &ZonedDateTime,
    refusal: &Refusal,
    may: &May,
) -> Markup {
    let form = |name: &str, title: &str, more: Markup| form(machine, glance, refusal, may, name, title, &more);
    html! {
        section aria-labelledby="runs" {
            h2 #runs { "Runs" }
            p { a href="/before" { "What a print would use up, before it starts" } }
            (form("run", "Book a run", html! {
                (Field { hint: "empty: it has just ended; else yesterday 14:10", ..Field::text("run", "when", "When it started") }.show(refusal))
                (Field { hint: "empty: it ran to its end; else 40 %, layer 12, line 300", ..Field::text("run", "stop", "Where it stopped") }.show(refusal))
            }))
            (form("queue", "Queue a run", html! {
                (Field { hint: "empty: as soon as the machine is free; else friday, 28 Nov", ..Field::text("queue", "day", "Day") }.show(refusal))
            }))
            (role_wanted(may, &send_address(machine), "Booking or queueing a run"))
            (queued(queue, now))
        }
    }
}

fn queued(queue: &[Entry], now: &ZonedDateTime) -> Markup {
    html! {
        h3 { "Queue" }
        @if queue.is_empty() { p { "Nothing is queued." } } @else {
            ol {
                @for entry in queue.iter().filter(|entry| matches!(entry.event, Event::Queued(_))) {
                    li { (entry_said(entry, now)) " " a href=(entry_address(entry.id)) aria-label=(format!("Entry {}: look, correct or withdraw", entry.id)) { "entry " (entry.id) } }
                }
            }
        }
    }
}

fn send_address(machine: &Foreseen) -> String {
    format!("/runs/{}", encoded(&machine.name))
}

fn form(
    machine: &Foreseen,
    glance: &Glance,
    refusal: &Refusal,
    may: &May,
    name: &str,
    title: &str,
    more: &Markup,
) -> Markup {
    let fields = html! {
        input type="hidden" name="form" value=(name);
        (program_fields(glance, refusal, name))
        (more)
        (Field { hint: "the file's name if left empty", ..Field::text(name, "label", "Called") }.show(refusal))
        (Field::text(name, "note", "Note").show(refusal))
        (refusal.shown(name))
        button { (title) }
    };
    let to = send_address(machine);
    Sending { brings_files: true, ..Sending::to(&to) }.folded(may, title, refusal.is_of(name), fields)
}

/// The fields that say what is printed: a file, or hours and grams; and of what.
pub(in crate::web::pages) fn program_fields(glance: &Glance, refusal: &Refusal, form: &str) -> Markup {
    let id = format!("{form}-file");
    html! {
        p.field {
            label for=(id) { "Print file" }
            input id=(id) name="file" type="file" accept=".gcode,.gco,.g,.gz,.zst" aria-describedby=(format!("{id}-hint")) data-drop;
            span.hint id=(format!("{id}-hint")) { "G-code, also packed as .gz or .zst. It is metered and not kept." }
        }
        div.row {
            (Field { kind: "number", hint: "where there is no file", ..Field::text(form, "hours", "Hours") }.show(refusal))
            (Field { kind: "number", hint: "where there is no file", ..Field::text(form, "grams", "Grams") }.show(refusal))
        }
        (choice(refusal, form, "material", "Material", "", &material_names(glance)))
        (Field { hint: "one for each tool in place of that: T0=PLA, T1=PLA-CF", ..Field::text(form, "materials", "Several materials") }.show(refusal))
    }
}
