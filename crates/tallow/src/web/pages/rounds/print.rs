//! The round on paper: what to lay out, a sheet for each keeper's day, and the visits.

use std::sync::Arc;

use axum::extract::{Query, State};
use maud::{Markup, html};

use super::super::super::act::here;
use super::super::super::app::App;
use super::super::super::form::Typed;
use super::super::super::print::printed;
use super::super::super::reply::{Answer, Reply};
use super::Pairs;
use crate::cli::{self, PaperSize, Papers};
use crate::commands::sheet::{page, sheets};
use crate::sheet::Paper;

pub(in super::super::super) async fn print(State(app): State<Arc<App>>, Query(query): Query<Pairs>) -> Answer {
    let typed = Typed::new(query);
    let (paper, size) = match typed.text("paper").as_str() {
        "letter" => (Paper::Letter, PaperSize::Letter),
        _ => (Paper::A4, PaperSize::A4),
    };
    let what = match typed.text("what").as_str() {
        "bench" => Papers::Bench,
        "days" => Papers::Days,
        _ => Papers::Visits,
    };
    let asked = cli::Sheet { visits: Vec::new(), round: true, only: None, html: None, paper: size, site: None };
    let sheets = here(sheets(&app.context(), &app.ledger, &asked))?;
    Ok(Reply::Other(Box::new(printed(page(&sheets, what, paper)?))))
}

/// What can be printed, and the paper.
pub(super) fn section() -> Markup {
    let what = [
        ("bench", "What to lay out for all of it"),
        ("days", "A sheet for each keeper's day"),
        ("visits", "The sheets of all visits"),
    ];
    html! {
        section aria-labelledby="paper" {
            h2 #paper { "On paper" }
            form method="get" action="/rounds/print" {
                div.row {
                    p.field {
                        label for="print-what" { "Print" }
                        select #print-what name="what" { @for (value, words) in what { option value=(value) { (words) } } }
                    }
                    p.field {
                        label for="print-paper" { "Paper" }
                        select #print-paper name="paper" { option value="a4" { "A4" } option value="letter" { "US letter" } }
                    }
                    button.quiet { "Open it to print" }
                }
            }
            p { "Calendars: each keeper's visits as a private link, under " a href="/rounds/keepers" { "Keepers" } "." }
        }
    }
}
