//! *Machines*: all of them, a page at a time, with what is most used on each.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use jiff::civil::Date;
use maud::{Markup, html};
use upkeep::{Foreseen, When};

use super::super::app::App;
use super::super::asked::Paged;
use super::super::form::{Field, Refusal, Typed, choice};
use super::super::frame::{self, Around, Page, Place};
use super::super::reply::{Answer, Reply, encoded};
use crate::words;

/// Machines on a page.
const MOST: usize = 100;

/// By what the list can be ordered.
const ORDERS: [(&str, &str); 3] = [("name", "name"), ("used", "most used"), ("due", "most due")];

pub(crate) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Paged(asked, page): Paged,
) -> Answer {
    let glance = app.glance().await?;
    let today = glance.now.date();
    let mut machines = filtered(&glance.machines, &asked.text("q"));
    order(&mut machines, &asked.text("by"));
    let (shown, turn) = pages(&machines, &asked, page, MOST, "/machines");
    let body = html! {
        (frame::hatches())
        @if glance.machines.is_empty() { p { "The shop has no machine yet." } } @else {
            (finding(&asked))
            @if shown.is_empty() { p { "No machine has such a name." } }
            table.stacks {
                thead { tr { th scope="col" { "Machine" } th scope="col" { "Build" } th.figure scope="col" { "Due" } th scope="col" { "Most used" } th scope="col" { "Care" } th scope="col" { "Likely due" } } }
                tbody {
                    @for machine in shown {
                        @let most = machine.most_used();
                        tr {
                            th scope="row" { a href=(address(&machine.name)) { (machine.name) } }
                            td data-name="Build" { (machine.build.name) }
                            td.figure data-name="Due" { (machine.due_now().count()) }
                            td data-name="Most used" { @if let Some(due) = most { (frame::used(due.share())) } }
                            td data-name="Care" { @if let Some(due) = most { (due.name) } }
                            td data-name="Likely due" { @if let Some(due) = most { (likely_due(&due.when, today)) } }
                        }
                    }
                }
            }
            (turn)
        }
    };
    Ok(Reply::Page(Page::new(&around, Place::Machines, "/machines", "Machines", body)))
}

/// The form that finds and orders machines.
fn finding(asked: &Typed) -> Markup {
    let none = Refusal::default();
    let orders = ORDERS.map(|(value, words)| (value.to_owned(), words.to_owned()));
    html! {
        form.row method="get" action="/machines" role="search" {
            (Field { value: &asked.text("q"), ..Field::text("find", "q", "Name holds") }.show(&none))
            (choice(&none, "find", "by", "In order of", &asked.text("by"), &orders))
            button.quiet { "Show" }
        }
    }
}

/// The machines whose name holds a text, whatever its case.
pub(super) fn filtered<'a>(machines: &'a [Arc<Foreseen>], text: &str) -> Vec<&'a Foreseen> {
    let text = text.to_lowercase();
    machines.iter().map(Arc::as_ref).filter(|machine| machine.name.to_lowercase().contains(&text)).collect()
}

/// Puts machines in an order of [`ORDERS`]; by name they are.
fn order(machines: &mut [&Foreseen], by: &str) {
    let share = |machine: &Foreseen| machine.most_used().map_or(0.0, upkeep::Due::share);
    match by {
        "used" => machines.sort_by(|one, other| share(other).total_cmp(&share(one))),
        "due" => machines.sort_by_key(|machine| std::cmp::Reverse(machine.due_now().count())),
        _ => {}
    }
}

/// The page that is asked for of some machines, and links to those before and after it.
pub(super) fn pages<'a, 'b>(
    machines: &'b [&'a Foreseen],
    asked: &Typed,
    page: usize,
    most: usize,
    path: &str,
) -> (&'b [&'a Foreseen], Markup) {
    let last = machines.len().div_ceil(most).max(1);
    let page = page.min(last);
    let from = (page - 1) * most;
    let to = (from + most).min(machines.len());
    let kept = ["q", "by", "size", "paper"]
        .into_iter()
        .filter_map(|name| Some(format!("{name}={}&", encoded(&asked.some(name)?))));
    let kept: String = kept.collect();
    let link = |page: usize| format!("{path}?{kept}page={page}");
    let turn = html! {
        @if 1 < last {
            nav.pages aria-label="Pages" {
                @if 1 < page { a rel="prev" href=(link(page - 1)) { "Before" } " " }
                (from + 1) "–" (to) " of " (machines.len())
                @if page < last { " " a rel="next" href=(link(page + 1)) { "Next" } }
            }
        }
    };
    (&machines[from..to], turn)
}

/// Where a machine's page is.
pub(super) fn address(machine: &str) -> String {
    format!("/machines/{}", encoded(machine))
}

/// `since 18 Nov`, `26 Nov (25–30 Nov)`, empty where it is far off.
pub(super) fn likely_due(when: &When, today: Date) -> String {
    match when {
        When::Since(Some(day)) if *day == today => "today".to_owned(),
        When::Since(Some(day)) => format!("since {}", words::day(*day, today)),
        When::Since(None) => "since over half a year".to_owned(),
        When::Likely(likely) => {
            let range = words::days(likely.early, likely.late, today);
            match likely.median {
                Some(median) if likely.late == Some(likely.early) => words::near_day(median, today),
                Some(median) => format!("{} ({range})", words::near_day(median, today)),
                None => format!("beyond two years ({range})"),
            }
        }
        When::Beyond => String::new(),
    }
}
