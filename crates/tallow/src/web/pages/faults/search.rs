//! One fault: what was told, what comes next, the causes by how likely they are, the trail, and the ways to its end.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};
use tokio::runtime::Handle;
use upkeep::EntryId;
use upkeep::fault::said::Asked;
use upkeep::fault::{Answer as Given, Case};

use super::super::super::app::App;
use super::super::super::asked::Path;
use super::super::super::form::{Field, Refusal, choice, trouble};
use super::super::super::frame::{self, Around, Page, Place};
use super::super::super::glance::Glance;
use super::super::super::guard::May;
use super::super::super::reply::{Answer, Reply};
use super::super::super::sending::{Sending, role_wanted};
use super::super::records::entry_address;
use super::super::{machines, measure, new_machine};
use super::{address, closed, day, shown, step};
use crate::commands::fault::{Ranked, Sought, words};
use crate::trouble::Trouble;
use crate::when;
use crate::words::percent;

/// Causes that stand open; those less likely are folded below.
const FEW: usize = 6;

pub(in crate::web) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(fault): Path<i64>,
) -> Answer {
    page(&app, &around, fault, &Refusal::default()).await
}

/// Where the search stands; `None` while it is being reckoned.
async fn sought(app: &App, fault: EntryId) -> Result<Option<Arc<Sought>>, Trouble> {
    let (context, ledger, on, of) = (app.context(), app.ledger.clone(), Handle::current(), app.of().await?);
    let reckon = move || on.block_on(Sought::of(&context, &ledger, fault.0));
    app.later.faults.get(&fault.to_string(), of, reckon).await
}

/// The positions of a machine at which the likeliest causes of its open faults sit, by what was last reckoned.
pub(in super::super) fn suspects(app: &App, glance: &Glance, machine: &str) -> Vec<(String, String)> {
    let open = glance.open_faults().filter(|case| case.machine == machine);
    let kept = open.filter_map(|case| app.later.faults.found(&case.id.to_string())?.ok());
    let likeliest = kept.flat_map(|sought| {
        let of_fault = sought.search.ranked.iter().take(SUSPECTS).filter(|ranked| LEAST <= ranked.chance);
        of_fault
            .map(|ranked| (ranked.at.clone(), format!("{}, {}", ranked.title, percent(ranked.chance))))
            .collect::<Vec<_>>()
    });
    likeliest.collect()
}

/// Causes that are marked in the machine's drawing at most, and how likely they must be.
const SUSPECTS: usize = 3;
const LEAST: f64 = 0.1;

/// The page, with the form that was refused, if one was.
pub(super) async fn page(app: &App, around: &Around, fault: i64, refusal: &Refusal) -> Answer {
    let glance = app.glance().await?;
    let Some(case) = glance.faults.iter().find(|case| case.id == EntryId(fault)) else {
        return super::super::missing(around, &format!("there is no fault {fault}"));
    };
    let title = format!("{}: {}", case.machine, shown(case));
    let may = &around.visitor.may;
    let drawn = Drawn { case, glance: &glance, refusal, may };
    let body = match &case.end {
        Some(end) => html! {
            (told(case, &glance))
            (closed::section(app, case, end, &glance.now, refusal, may).await?)
            (drawn.trail())
        },
        None => match drawn.settled(app).await {
            Ok(None) => {
                let body = html! {
                    (told(case, &glance))
                    p role="status" { "The causes are being reckoned from the records; this page looks again by itself." }
                };
                // What was just recorded is said on the page to come.
                let around = Around { said: None, ..around.clone() };
                return Ok(new_machine::waiting(Page::new(&around, Place::Machines, "", title, body)));
            }
            Err(why) => html! { (told(case, &glance)) (trouble(&why)) (drawn.trail()) },
            Ok(Some(sought)) => html! {
                (told(case, &glance))
                (role_wanted(may, &format!("{}/say", address(case)), "Answering"))
                @if !drawn.has_place() { (refusal.trouble.as_ref().map(trouble).unwrap_or_default()) }
                (step::section(&sought, &drawn))
                (causes(&sought))
                (drawn.trail())
                (drawn.more(&sought))
                p.no-print { a href=(measure::address(&case.machine)) { "Measure something on " (case.machine) } }
                (drawn.ends(&sought))
            },
        },
    };
    let body = html! { (body) p.no-print { a href="/faults" { "All faults" } } };
    let page = Page::new(around, Place::Machines, "", title, body);
    Ok(if refusal.trouble.is_some() { Reply::Refused(page) } else { Reply::Page(page) })
}

/// What was told.
fn told(case: &Case, glance: &Glance) -> Markup {
    let since = when::spoken(&case.since.to_zoned_datetime(glance.now.time_zone().clone()));
    html! {
        p {
            a.target href=(entry_address(case.id)) { "Fault " (case.id) } " on " a.target href=(machines::address(&case.machine)) { (case.machine) }
            ", since " (since) "."
            @if !case.note.is_empty() { " " q { (case.note) } }
        }
    }
}

/// The causes as bars, each with its reasons; a table for those who listen to it.
fn causes(sought: &Sought) -> Markup {
    let search = &sought.search;
    let (few, rest) = search.ranked.split_at(search.ranked.len().min(FEW));
    html! {
        @if !search.ranked.is_empty() {
            section aria-labelledby="causes" {
                h2 #causes { "How likely each cause is" }
                (ranked(few, Some(search.unlisted).filter(|chance| 0.005 <= *chance)))
                @if !rest.is_empty() {
                    details.no-print { summary { (rest.len()) " that are less likely" } (ranked(rest, None)) }
                }
                @if !search.unknown.is_empty() {
                    p { "This machine's build knows no more of: " (search.unknown.join("; ")) ". It counts for nothing." }
                }
            }
        }
    }
}

fn ranked(ranked: &[Ranked], unlisted: Option<f64>) -> Markup {
    html! {
        table.stacks {
            thead { tr { th scope="col" { "Cause" } th scope="col" { "How likely" } th scope="col" { "Why" } } }
            tbody {
                @for ranked in ranked {
                    tr {
                        th scope="row" { (ranked.title) }
                        td { (frame::likely(ranked.chance)) }
                        td { (why(ranked)) }
                    }
                }
                @if let Some(chance) = unlisted {
                    tr { th scope="row" { "Something that is not listed" } td { (frame::likely(chance)) } td {} }
                }
            }
        }
    }
}

fn why(ranked: &Ranked) -> String {
    ranked.speaks.iter().map(String::as_str).chain([ranked.history.as_str()]).collect::<Vec<_>>().join("; ")
}

/// The names of the forms that tell what else shows, and of those that end a fault.
const MORE: &str = "more";
const ENDS: [&str; 3] = ["cause", "other", "unknown"];

/// What the parts of the page are drawn from.
pub(super) struct Drawn<'a> {
    pub(super) case: &'a Case,
    pub(super) glance: &'a Glance,
    pub(super) refusal: &'a Refusal,
    pub(super) may: &'a May,
}

impl Drawn<'_> {
    /// Where the search stands; `None` while it is being reckoned. Where a form was refused that is waited for: what was typed is
    /// lost if the page has to be asked for again.
    async fn settled(&self, app: &App) -> Result<Option<Arc<Sought>>, Trouble> {
        loop {
            let sought = sought(app, self.case.id).await?;
            if sought.is_some() || self.refusal.trouble.is_none() {
                return Ok(sought);
            }
        }
    }

    /// Where a form of the page is sent.
    pub(super) fn to(&self, what: &str) -> String {
        format!("{}/{what}", address(self.case))
    }

    /// Whether what was refused is said at one of the page's forms.
    fn has_place(&self) -> bool {
        self.refusal.trouble.is_none() || [MORE, step::FORM].iter().chain(&ENDS).any(|form| self.refusal.is_of(form))
    }

    /// What was told and answered so far, each with a way to take it back.
    fn trail(&self) -> Markup {
        let case = self.case;
        let holding = case.holding();
        let is_said_since = |name: &String| holding.iter().any(|said| said.asked == Asked::Symptom(name.clone()));
        let first: Vec<&String> = case.symptoms.iter().filter(|name| !is_said_since(name)).collect();
        let is_open = case.end.is_none();
        html! {
            section aria-labelledby="trail" {
                h2 #trail { "What was told and answered" }
                table.stacks {
                    thead { tr { th scope="col" { "What" } th scope="col" { "Answer" } th scope="col" { "When" } @if is_open { th scope="col" { "If wrong" } } } }
                    tbody {
                        @for name in first {
                            tr {
                                th scope="row" { (name) }
                                td data-name="Answer" { "it shows" }
                                td data-name="When" { (day(case.since, &self.glance.now)) }
                                @if is_open {
                                    td {
                                        (Sending::to(&self.to("say")).show(self.may, html! {
                                            input type="hidden" name="form" value="trail";
                                            input type="hidden" name="of" value=(name);
                                            button.quiet name="answer" value="cannot-tell" { "Take back" span.unseen { ": " (name) } }
                                        }))
                                    }
                                }
                            }
                        }
                        @for said in holding {
                            tr {
                                th scope="row" { (words::asked(&said.asked)) }
                                td data-name="Answer" { (answered(&said.asked, said.answer)) @if !said.note.is_empty() { " (" (said.note) ")" } }
                                td data-name="When" { (day(said.at, &self.glance.now)) ", " a.target href=(entry_address(said.entry)) { "entry " (said.entry) } }
                                @if is_open {
                                    td {
                                        (Sending::to(&self.to("back")).show(self.may, html! {
                                            input type="hidden" name="form" value="trail";
                                            input type="hidden" name="entry" value=(said.entry);
                                            button.quiet { "Take back" span.unseen { ": " (words::asked(&said.asked)) } }
                                        }))
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }

    /// The form that says what else shows.
    fn more(&self, sought: &Sought) -> Markup {
        let is_told = |name: &&String| {
            self.case.symptoms.contains(*name)
                || self.case.holding().iter().any(|said| said.asked == Asked::Symptom((*name).clone()))
        };
        let none = (String::new(), "choose".to_owned());
        let others = sought.symptoms.iter().filter(|name| !is_told(name)).map(|name| (name.clone(), name.clone()));
        let others: Vec<(String, String)> = [none].into_iter().chain(others).collect();
        Sending::to(&self.to("say")).folded(
            self.may,
            "Say what else shows",
            self.refusal.is_of(MORE),
            html! {
                button name="answer" value="" hidden tabindex="-1" { "Keep" }
                input type="hidden" name="form" value=(MORE);
                (choice(self.refusal, MORE, "of", "What you see, hear, smell or measure", "", &others))
                (Field::text(MORE, "note", "Note").show(self.refusal))
                (self.refusal.shown(MORE))
                div.answers {
                    button.big name="answer" value="yes" { "It shows this too" }
                    button.big.quiet name="answer" value="no" { "It does not show this" }
                }
            },
        )
    }

    /// The forms that close the fault.
    fn ends(&self, sought: &Sought) -> Markup {
        let to = self.to("end");
        let none = (String::new(), "choose".to_owned());
        let likely = sought.search.ranked.iter().map(|ranked| &ranked.title);
        let is_likely = |title: &&String| sought.search.ranked.iter().any(|ranked| ranked.title == **title);
        let titles = likely.chain(sought.causes.iter().filter(|title| !is_likely(title)));
        let titles: Vec<(String, String)> =
            [none].into_iter().chain(titles.map(|title| (title.clone(), title.clone()))).collect();
        let form = |name: &'static str, title: &str, fields: Markup, press: &str| {
            Sending::to(&to).folded(
                self.may,
                title,
                self.refusal.is_of(name),
                html! {
                    input type="hidden" name="form" value=(name);
                    (fields)
                    (self.refusal.shown(name))
                    p { button { (press) } }
                },
            )
        };
        let words = |form: &'static str, label: &str| {
            html! {
                (Field { required: true, ..Field::text(form, "words", label) }.show(self.refusal))
                (Field::text(form, "note", "Note").show(self.refusal))
            }
        };
        html! {
            section.no-print aria-labelledby="close" {
                h2 #close { "Close it" }
                (role_wanted(self.may, &to, "Closing it"))
                (form("cause", "Its cause was found and mended", html! {
                    (choice(self.refusal, "cause", "cause", "It was", "", &titles))
                    (step::mending(self, "cause", None))
                }, "It was this, and it is mended"))
                (form("other", "It was something that is not listed", words("other", "What it was"), "It was this"))
                (form("unknown", "Nobody looks for it any more", words("unknown", "Why"), "Give it up"))
            }
        }
    }
}

/// An answer in words; a remedy that did not help was done all the same.
fn answered(asked: &Asked, answer: Given) -> String {
    match (asked, answer) {
        (Asked::Remedy(_), Given::No) => "did not help".to_owned(),
        (Asked::Stop(_), _) => "done".to_owned(),
        (_, answer) => words::answer(answer),
    }
}
