//! *Today*: the one page that a keeper opens in the morning. What must not be run, the faults that are open, the visits of the day by keeper, what is
//! due and in no visit yet, what the stores lack.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use jiff::civil::Date;
use ledger::Told;
use maud::{Markup, html};
use upkeep::When;
use upkeep::fault::Case;

use super::super::app::App;
use super::super::frame::{self, Around, Page, Place};
use super::super::glance::Glance;
use super::super::guard::May;
use super::super::reply::{Answer, Failed, Reply};
use super::super::sending::may_send;
use super::{faults as fault_pages, machines};
use crate::commands::stores::told as amount;
use crate::words;

/// Machines that must not be run of which the page tells why; of more it gives the names alone.
const MOST_FORBIDDEN: usize = 40;

/// Open faults that the page tells of; of more it leads to their page.
const MOST_FAULTS: usize = 20;

/// Machines of which the page tells what is due beyond the visits; more stand under *Machines*.
const MOST_SOON: usize = 12;

pub(crate) async fn show(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    let glance = app.glance().await?;
    let today = glance.now.date();
    let body = html! {
        (frame::hatches())
        (forbidden(&glance, today))
        (faults(&glance, &around.visitor.may))
        (visits(&glance, today, &around.visitor.may))
        (lacking(&glance, today)?)
        (soon(&glance, today))
    };
    Ok(Reply::Page(Page::new(&around, Place::Today, "/", "Today", body)))
}

fn forbidden(glance: &Glance, today: Date) -> Markup {
    let machines: Vec<_> = glance.machines.iter().filter(|machine| machine.forbidding().next().is_some()).collect();
    let dangers = dangers(glance);
    html! {
        @if !machines.is_empty() || !dangers.is_empty() {
            section aria-labelledby="forbidden" {
                h2 #forbidden { "Do not run" }
                p { "Until what is named is done, running these may injure somebody or damage the machine." }
                table.stacks {
                    thead { tr { th { "Machine" } th { "To be done first" } th { "Since" } } }
                    tbody {
                        @for (case, danger) in &dangers {
                            tr {
                                th scope="row" { a href=(machines::address(&case.machine)) { (case.machine) } }
                                td data-name="First" { a href={ "/faults/" (case.id) } { (danger) ", and whatever is behind it" } }
                                td data-name="Since" { (words::near_day(case.since.to_zoned_datetime(glance.now.time_zone().clone()).date(), today)) }
                            }
                        }
                        @for machine in machines.iter().take(MOST_FORBIDDEN) {
                            @for due in machine.forbidding() {
                                tr {
                                    th scope="row" { a href=(machines::address(&machine.name)) { (machine.name) } }
                                    td data-name="First" { (due.name) }
                                    td data-name="Since" { (since(&due.when, today)) }
                                }
                            }
                        }
                    }
                }
                @if MOST_FORBIDDEN < machines.len() {
                    p {
                        "Nor these, each of which says why: "
                        @for machine in machines.iter().skip(MOST_FORBIDDEN) {
                            a href=(machines::address(&machine.name)) { (machine.name) } " "
                        }
                    }
                }
            }
        }
    }
}

/// Open faults that show what may hurt somebody, with the names of that.
fn dangers(glance: &Glance) -> Vec<(&Case, String)> {
    let of_case = |case: &'_ Case| {
        // What a build's faults are was tested; of a machine that is gone nothing can be run.
        let known = upkeep::fault::of(&glance.machine(&case.machine)?.build).ok()?;
        let names: Vec<&str> = case.dangers(&known).into_iter().map(|symptom| symptom.name.as_str()).collect();
        Some(names.join("; ")).filter(|names| !names.is_empty())
    };
    glance.open_faults().filter_map(|case| Some((case, of_case(case)?))).collect()
}

fn since(when: &When, today: Date) -> String {
    match when {
        When::Since(Some(day)) => words::near_day(*day, today),
        When::Since(None) => "over half a year".to_owned(),
        When::Likely(_) | When::Beyond => String::new(),
    }
}

/// Faults whose causes are being looked for.
fn faults(glance: &Glance, may: &May) -> Markup {
    let open: Vec<_> = glance.open_faults().collect();
    html! {
        @if !open.is_empty() {
            section aria-labelledby="faults" {
                h2 #faults { "Open faults" }
                (fault_pages::open_table(&open[..open.len().min(MOST_FAULTS)], &glance.now, may))
                @if MOST_FAULTS < open.len() { p { a href="/faults" { "All " (open.len()) " open faults" } } }
            }
        }
    }
}

/// Today's visits by keeper; where there are none, when the next is.
fn visits(glance: &Glance, today: Date, may: &May) -> Markup {
    let mut by_keeper: BTreeMap<&str, Vec<&Told>> = BTreeMap::new();
    for told in glance.told.iter().filter(|told| told.stands() && told.visit.day <= today) {
        by_keeper.entry(&told.visit.keeper).or_default().push(told);
    }
    let next = glance.told.iter().find(|told| told.stands());
    html! {
        section aria-labelledby="visits" {
            h2 #visits { "Visits" }
            @if by_keeper.is_empty() {
                @match next {
                    Some(told) => p {
                        "None today. The next is at " (told.machine) " on " (words::weekday(told.visit.day, today)) ": "
                        a href=(visit_address(told)) { (words::count(told.visit.tasks.len() as u64, "tasks")) ", " (told.visit.minutes) " min" }
                        "."
                    },
                    None => p { "Nobody has been told of a visit. " @if may_send(may, "/rounds/plan") { a href="/rounds" { "Plan a round" } "." } },
                }
            }
            @for (keeper, told) in &by_keeper {
                h3 { (keeper) ", " (told.iter().map(|told| told.visit.minutes).sum::<f64>()) " min" }
                table.stacks {
                    thead { tr { th { "Machine" } th.figure { "Time" } th { "Tasks" } th { "Visit" } } }
                    tbody {
                        @for told in told {
                            tr {
                                th scope="row" { a href=(machines::address(&told.machine)) { (told.machine) } }
                                td.figure data-name="Time" { (told.visit.minutes) " min" }
                                td data-name="Tasks" { (told.visit.tasks.join(" · ")) }
                                td { a.button href=(visit_address(told)) { (visit_words(told, may)) " " (told.id) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// Where a visit is walked.
pub(super) fn visit_address(told: &Told) -> String {
    format!("/visits/{}", told.id)
}

/// What its link is called: whoever may not tick anything there reads it.
pub(super) fn visit_words(told: &Told, may: &May) -> &'static str {
    if may_send(may, &format!("{}/marks", visit_address(told))) { "Start visit" } else { "See visit" }
}

/// Items of which the visits that people have been told of need more than there is.
fn lacking(glance: &Glance, today: Date) -> Result<Markup, Failed> {
    let lacks = glance.lacks()?;
    Ok(html! {
        @if !lacks.is_empty() {
            section aria-labelledby="lacking" {
                h2 #lacking { "Lacking for the visits to come" }
                ul {
                    @for (told, lack) in &lacks {
                        li {
                            (lack.item) ": " (amount(lack.lacking(), &lack.unit)) " too little for "
                            (told.machine) " on " (words::weekday(told.visit.day, today))
                        }
                    }
                }
                p { a href="/stores" { "The stores, and what to buy" } }
            }
        }
    })
}

/// The machines that are most used, drawn small.
fn soon(glance: &Glance, today: Date) -> Markup {
    let mut machines: Vec<_> =
        glance.machines.iter().filter_map(|machine| Some((machine, machine.most_used()?))).collect();
    machines.sort_by(|(_, one), (_, other)| other.share().total_cmp(&one.share()));
    let more = machines.len().saturating_sub(MOST_SOON);
    html! {
        section aria-labelledby="soon" {
            h2 #soon { "Most used" }
            @if machines.is_empty() { p { "The shop has no machine yet." } } @else {
                table.stacks {
                    thead { tr { th { "Machine" } th { "Used" } th { "Care" } th { "Likely due" } } }
                    tbody {
                        @for (machine, due) in machines.iter().take(MOST_SOON) {
                            tr {
                                th scope="row" { a href=(machines::address(&machine.name)) { (machine.name) } }
                                td data-name="Used" { (frame::used(due.share())) }
                                td data-name="Care" { (due.name) }
                                td data-name="Likely due" { (machines::likely_due(&due.when, today)) }
                            }
                        }
                    }
                }
                @if 0 < more { p { a href="/machines" { "All " (machines.len()) " machines" } } }
            }
        }
    }
}
