//! *Machines*: all of them, with what is most used on each.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use jiff::civil::Date;
use maud::html;
use upkeep::When;

use super::super::app::App;
use super::super::frame::{self, Around, Page, Place};
use super::super::reply::{Answer, Reply, encoded};
use crate::words;

pub(crate) async fn show(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    let glance = app.glance().await?;
    let today = glance.now.date();
    let body = html! {
        (frame::hatches())
        @if glance.machines.is_empty() { p { "The shop has no machine yet." } } @else {
            table.stacks {
                thead { tr { th { "Machine" } th { "Build" } th.figure { "Due" } th { "Most used" } th { "Care" } th { "Likely due" } } }
                tbody {
                    @for machine in &glance.machines {
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
        }
    };
    Ok(Reply::Page(Page::new(&around, Place::Machines, "/machines", "Machines", body)))
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
