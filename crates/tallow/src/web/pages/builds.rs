//! *Builds*: the machine types that the shop knows, and an editor for those of its own.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use maud::{Markup, html};
use upkeep::build::shipped;
use upkeep::{Build, BuildErrors};

use super::super::app::App;
use super::super::asked::Form;
use super::super::form::{Typed, trouble};
use super::super::frame::{Around, Page, Place};
use super::super::reply::{Answer, Reply, encoded};
use super::super::sending::{Sending, may_send, role_wanted};
use crate::builds::Read;
use crate::commands::build::{Changes, Effect, build_of, keep};
use crate::trouble::Trouble;

const BUILDS: &str = "/shop/builds";
const SAVE: &str = "/shop/builds/save";

/// The list.
pub(crate) async fn show(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    let machines = app.ledger.machines().await?;
    let mut rows = Vec::new();
    for (word, text) in shipped() {
        rows.push((word.to_owned(), Build::parse(word, text)?, false));
    }
    for kept in app.ledger.builds().await? {
        let build = Build::parse(&kept.name, &kept.text)?;
        match rows.iter_mut().find(|(_, known, _)| known.name == build.name) {
            // What the shop keeps of a build that comes with tallow is what its machines have.
            Some(known) => *known = (build.name.clone(), build, false),
            None => rows.push((kept.name, build, true)),
        }
    }
    let see = if may_send(&around.visitor.may, SAVE) { "See and change" } else { "See" };
    let body = html! {
        p { "A build tells of a machine type what it is made of, what its parts need, and after how much use." }
        table.stacks {
            thead { tr { th { "Build" } th.figure { "Parts" } th.figure { "Tasks" } th.figure { "Machines" } th { "Its file" } } }
            tbody {
                @for (word, build, is_own) in &rows {
                    tr {
                        th scope="row" { (build.name) @if *is_own { " (the shop's own)" } }
                        td.figure data-name="Parts" { (build.positions.len()) }
                        td.figure data-name="Tasks" { (build.tasks.len()) }
                        td.figure data-name="Machines" { (machines.iter().filter(|machine| machine.build == build.name).count()) }
                        td { a.button.quiet href=(editor_address(word)) aria-label=(format!("{see} {}", build.name)) { (see) } }
                    }
                }
            }
        }
        p { a href="/shop" { "Shop" } }
    };
    Ok(Reply::Page(Page::new(&around, Place::Records, "/shop", "Builds", body)))
}

/// Where a build can be changed.
pub(super) fn editor_address(build: &str) -> String {
    format!("{BUILDS}/edit?build={}", encoded(build))
}

/// The editor with the text of the build that was asked for.
pub(crate) async fn edit(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Answer {
    let name = Typed::new(pairs).text("build");
    match known(&app, &name).await? {
        Some(read) => Ok(editor(&around, &read.text, html! {}, false)),
        None => super::missing(&around, &format!("no build is called \"{name}\"")),
    }
}

/// A build that the shop keeps or that comes with tallow. No file: those are the server's.
async fn known(app: &App, name: &str) -> Result<Option<Read>, Trouble> {
    let ledger = &app.ledger;
    let is_known =
        shipped().iter().any(|(word, _)| *word == name) || ledger.builds().await?.iter().any(|kept| kept.name == name);
    if is_known { build_of(&app.context(), Some(ledger), name).await.map(Some) } else { Ok(None) }
}

/// Checks the text; keeps it where that was pressed.
pub(crate) async fn save(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let text = typed.all("text").first().cloned().unwrap_or_default();
    let build = match Build::parse("line", &text) {
        Ok(build) => build,
        Err(errors) => return Ok(editor(&around, &text, wrong(&errors), true)),
    };
    let read = Read { build, text };
    let effect = Effect::of(&app.ledger, &read).await?;
    if typed.text("do") != "save" {
        return Ok(editor(&around, &read.text, right(&read, &effect), false));
    }
    match keep(&app.context(), &app.ledger, &read).await {
        Ok(true) => {
            let machines = if effect.machines.is_empty() {
                String::new()
            } else {
                format!(", which {} have now", effect.machines.join(", "))
            };
            Ok(Reply::Done {
                to: BUILDS.to_owned(),
                said: format!("the build \"{}\" is kept{machines}", read.build.name),
            })
        }
        Ok(false) => {
            Ok(Reply::Done { to: BUILDS.to_owned(), said: format!("\"{}\" already had that text", read.build.name) })
        }
        Err(why) => Ok(editor(&around, &read.text, trouble(&why), true)),
    }
}

/// The text of a build, which whoever may can change.
fn editor(around: &Around, text: &str, findings: Markup, is_refused: bool) -> Reply {
    let may = &around.visitor.may;
    let body = html! {
        @if may_send(may, SAVE) {
            p {
                "Change the text and check it; nothing is kept before you save. To make a build of your own, give it a name of its own in its first lines. "
                "A build whose name machines have already changes for them; what was recorded stays."
            }
            (Sending { class: "editor", ..Sending::to(SAVE) }.show(may, html! {
                (findings)
                p.field.whole {
                    label for="build-text" { "The build's text" }
                    textarea #build-text name="text" rows="32" cols="100" spellcheck="false" autocapitalize="off" wrap="off" { "\n" (text) }
                }
                p.row {
                    button.quiet type="submit" name="do" value="check" { "Check" }
                    button type="submit" name="do" value="save" { "Save" }
                }
            }))
        } @else {
            (role_wanted(may, SAVE, "Changing it"))
            div.wide tabindex="0" role="region" aria-label="The build's text" { pre { code { (text) } } }
        }
        p { a href=(BUILDS) { "Builds" } }
    };
    let page = Page::new(around, Place::Records, "/shop", "A build", body);
    if is_refused { Reply::Refused(page) } else { Reply::Page(page) }
}

/// What is wrong, each with its line and what to do.
fn wrong(errors: &BuildErrors) -> Markup {
    let count = errors.errors.len();
    html! {
        div.trouble role="alert" tabindex="-1" {
            p { strong { (crate::words::count(count as u64, "errors")) ". Nothing was kept; what you typed is still there." } }
            ol.errors {
                @for error in &errors.errors {
                    li {
                        a href="#build-text" data-line=(error.line) { "Line " (error.line) } ": " (error.found)
                        pre { code { (error.text.trim()) } }
                        p { (error.help) @if let Some(near) = &error.nearest { " Did you mean " strong { (near) } "?" } }
                    }
                }
            }
        }
    }
}

/// That the text is in order, and what keeping it would change.
fn right(read: &Read, effect: &Effect) -> Markup {
    let (positions, tasks) = (read.build.positions.len() as u64, read.build.tasks.len() as u64);
    html! {
        div.trouble role="status" tabindex="-1" {
            p { strong { "\"" (read.build.name) "\" is in order: " (crate::words::count(positions, "parts")) ", " (crate::words::count(tasks, "tasks")) "." } }
            @if effect.machines.is_empty() {
                p { "No machine has it yet." }
            } @else {
                p { "Saving changes it for " (effect.machines.join(", ")) "." }
                (changes("Tasks", &effect.tasks))
                (changes("Parts", &effect.positions))
            }
        }
    }
}

fn changes(what: &str, changes: &Changes) -> Markup {
    html! {
        @if !changes.gone.is_empty() { p { (what) " that go: " (changes.gone.join("; ")) ". What was recorded of them stays, and counts no more." } }
        @if !changes.new.is_empty() { p { (what) " that are new: " (changes.new.join("; ")) "." } }
    }
}
