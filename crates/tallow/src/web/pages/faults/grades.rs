//! How often causes show what they show: as the knowledge has it, as the shop judges, and as its own cases have moved it.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::{Extension, Form};
use clap::ValueEnum;
use maud::{Markup, html};
use tokio::runtime::Handle;
use upkeep::fault::said::Was;
use upkeep::fault::{Case, Grade};

use super::super::super::act::{act, said};
use super::super::super::app::App;
use super::super::super::form::{Field, Refusal, Typed, choice, trouble};
use super::super::super::frame::{Around, Page, Place};
use super::super::super::glance::Glance;
use super::super::super::guard::May;
use super::super::super::reply::{Answer, Reply};
use super::super::super::sending::{Sending, may_send, role_wanted};
use super::super::new_machine;
use super::super::records::entry_address;
use super::{address, shown};
use crate::cli::{Command, Fault, FaultGrade, FaultWord, GradeWord};
use crate::commands::fault::{End, Link, links, words};
use crate::trouble::Trouble;
use crate::words::percent;

/// Where a grade is sent, and the form's name.
const GRADES: &str = "/faults/grades";
const FORM: &str = "grade";

pub(in crate::web) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Query(asked): Query<Vec<(String, String)>>,
) -> Answer {
    page(&app, &around, &Typed::new(asked), &Refusal::default()).await
}

/// Sets a grade of the shop's own.
pub(in crate::web) async fn grade(
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
        Ok(answer) => Ok(Reply::Done { to: GRADES.to_owned(), said: said(&answer) }),
        Err(trouble) => page(&app, &around, &typed, &Refusal::new(FORM, trouble, typed.clone())).await,
    }
}

fn command(typed: &Typed) -> Result<Command, Trouble> {
    let grade = GradeWord::from_str(&typed.text("grade"), false)
        .map_err(|_| Trouble::refused("no grade was chosen").help("choose how often"))?;
    let own = FaultGrade {
        cause: Some(typed.text("cause")),
        finding: Some(typed.text("finding")),
        grade: Some(grade),
        why: Some(typed.text("why")),
    };
    Ok(Command::Fault(Fault { what: Some(FaultWord::Grade(own)) }))
}

async fn page(app: &App, around: &Around, typed: &Typed, refusal: &Refusal) -> Answer {
    let glance = app.glance().await?;
    let (ledger, on, of) = (app.ledger.clone(), Handle::current(), app.of().await?);
    let reckon = move || on.block_on(links(&ledger));
    let found = app.later.links.get("links", of, reckon).await;
    let body = match &found {
        Ok(None) => {
            let body = html! { p role="status" { "What cases have taught is being reckoned; this page looks again by itself." } };
            let around = Around { said: None, ..around.clone() };
            return Ok(new_machine::waiting(drawn(&around, body)));
        }
        Err(why) => trouble(why),
        Ok(Some(links)) => html! {
            p { "Each cause shows what it shows with a chance. It begins as ten cases of its grade, and each fault that is closed with its cause moves it." }
            (moved(links, &glance))
            (own(links, typed, refusal, &around.visitor.may))
            @if !links.is_empty() {
                details { summary { "All " (links.len()) " links" } (table(&links.iter().collect::<Vec<_>>())) }
            }
        },
    };
    let page = drawn(around, html! { (body) p { a href="/faults" { "All faults" } } });
    Ok(if refusal.trouble.is_some() { Reply::Refused(page) } else { Reply::Page(page) })
}

fn drawn(around: &Around, body: Markup) -> Page {
    Page::new(around, Place::Machines, "", "How often causes show", body)
}

/// What the shop has moved, and by what.
fn moved(links: &[Link], glance: &Glance) -> Markup {
    let moved: Vec<&Link> = links.iter().filter(|link| link.is_moved()).collect();
    let confirmed: Vec<(&Case, &End)> = glance
        .faults
        .iter()
        .filter_map(|case| Some((case, case.end.as_ref()?)))
        .filter(|(_, end)| matches!(end.was, Was::Cause(_)))
        .collect();
    html! {
        section aria-labelledby="moved" {
            h2 #moved { "What this shop has moved" }
            @if moved.is_empty() { p { "No grade of the shop\u{2019}s own yet, and no confirmed case." } } @else { (table(&moved)) }
            @if !confirmed.is_empty() {
                details {
                    summary { "The cases, and how to take one back" }
                    ul {
                        @for (case, end) in confirmed.iter().rev() {
                            li {
                                a.target href=(address(case)) { "Fault " (case.id) } " on " (case.machine) ": " (shown(case)) "; it was " (words::was(&end.was))
                                ". If it was not: " a.target href=(entry_address(end.entry)) { "entry " (end.entry) } "."
                            }
                        }
                    }
                }
            }
        }
    }
}

fn table(links: &[&Link]) -> Markup {
    html! {
        table.stacks {
            thead { tr { th scope="col" { "Cause" } th scope="col" { "Shows" } th scope="col" { "Known as" } th scope="col" { "Own grade" } th.figure scope="col" { "Cases" } th.figure scope="col" { "Counts as" } } }
            tbody {
                @for link in links {
                    tr {
                        th scope="row" { (link.cause) }
                        td data-name="Shows" { (link.finding) }
                        td data-name="Known as" { (link.shipped) }
                        td data-name="Own grade" {
                            @if let Some((grade, entry)) = link.own { (grade) ", " a.target href=(entry_address(entry)) { "entry " (entry) } } @else { "–" }
                        }
                        td.figure data-name="Cases" { (link.cases) }
                        td.figure data-name="Counts as" { (percent(link.chance)) }
                    }
                }
            }
        }
    }
}

/// The form that sets a grade: first the cause, then what it shows.
fn own(links: &[Link], typed: &Typed, refusal: &Refusal, may: &May) -> Markup {
    let none = Refusal::default();
    let cause = typed.text("cause");
    let mut causes: Vec<&str> = links.iter().map(|link| link.cause.as_str()).collect();
    causes.dedup();
    let pair = |name: &str| (name.to_owned(), name.to_owned());
    let choose = || (String::new(), "choose".to_owned());
    let shows: Vec<&Link> = links.iter().filter(|link| link.cause == cause).collect();
    let findings: Vec<(String, String)> = [choose()]
        .into_iter()
        .chain(shows.iter().map(|link| (link.finding.clone(), format!("{} ({})", link.finding, link.shipped))))
        .collect();
    let causes: Vec<(String, String)> = [choose()].into_iter().chain(causes.into_iter().map(pair)).collect();
    let grades = Grade::ALL.map(|grade| (grade.name().replace(' ', "-"), grade.name().to_owned()));
    html! {
        section aria-labelledby="own" {
            h2 #own { "A grade of your own" }
            (role_wanted(may, GRADES, "Setting a grade"))
            @if may_send(may, GRADES) {
                form.row method="get" action=(format!("{GRADES}#own")) {
                    (choice(&none, "of", "cause", "Cause", &cause, &causes))
                    button.quiet { "Choose what it shows" }
                }
                @if shows.is_empty() { (refusal.shown(FORM)) }
            }
            @if !shows.is_empty() {
                (Sending::to(GRADES).show(may, html! {
                    input type="hidden" name="cause" value=(cause);
                    (choice(refusal, FORM, "finding", "What it shows, or the check that tells it", "", &findings))
                    (choice(refusal, FORM, "grade", "How often it does", "often", &grades))
                    (Field { required: true, hint: "for example: ours sing before they stick", ..Field::text(FORM, "why", "Why you think so") }.show(refusal))
                    (refusal.shown(FORM))
                    p { button { "Set it" } }
                }))
            }
        }
    }
}
