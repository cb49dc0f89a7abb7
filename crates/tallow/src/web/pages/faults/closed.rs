//! A fault that is over: what it was, what that made of the record, and how to take it back.

use jiff::{ToSpan, ZonedDateTime};
use ledger::{Filter, Listed};
use maud::{Markup, html};
use upkeep::Event;
use upkeep::fault::Case;

use super::super::super::app::App;
use super::super::super::form::{Refusal, trouble};
use super::super::super::guard::May;
use super::super::super::reply::encoded;
use super::super::super::sending::Sending;
use super::super::records::entry_address;
use super::{address, day};
use crate::commands::fault::{End, words};
use crate::commands::history::said;
use crate::trouble::Trouble;

/// Entries that are looked at around each instant.
const MOST: u32 = 100;

pub(super) async fn section(
    app: &App,
    case: &Case,
    end: &End,
    now: &ZonedDateTime,
    refusal: &Refusal,
    may: &May,
) -> Result<Markup, Trouble> {
    let came = came(app, case, end).await?;
    Ok(html! {
        section aria-labelledby="was" {
            h2 #was { "It was: " (words::was(&end.was)) }
            p { "Over since " (day(end.at, now)) ", " a.target href=(entry_address(end.entry)) { "entry " (end.entry) } "." }
            @if !came.is_empty() {
                p { "That recorded:" }
                ul {
                    @for listed in &came {
                        li {
                            @if listed.replaced_by.is_some() { s { (said(&listed.entry, now)) } " (no longer holds)" } @else { (said(&listed.entry, now)) }
                            ", " a.target href=(entry_address(listed.entry.id)) { "entry " (listed.entry.id) }
                        }
                    }
                }
            }
            (refusal.trouble.as_ref().map(trouble).unwrap_or_default())
            (Sending { class: "no-print", ..Sending::to(&format!("{}/back", address(case))) }.show(may, html! {
                input type="hidden" name="form" value="back";
                input type="hidden" name="entry" value=(end.entry);
                p { button.quiet { "It was not that: look on" } }
                @if !came.is_empty() { p.hint { "What was recorded of the part stays as it is; what did not happen is withdrawn at its own entry." } }
            }))
            p.no-print { a href=(format!("/faults?machine={}#begin", encoded(&case.machine))) { "It is back, or something else is wrong" } }
        }
    })
}

/// What was recorded together with the end: a failure, when the fault began to show; a task done or a part replaced at its end.
async fn came(app: &App, case: &Case, end: &End) -> Result<Vec<Listed>, Trouble> {
    let recorded = app.ledger.entry(end.entry).await?.recorded;
    let mut came = Vec::new();
    for at in [case.since, end.at] {
        // OK to fall back: an instant at the end of time is that of no entry.
        let to = at.checked_add(1.microsecond()).unwrap_or(at);
        let filter = Filter { machine: Some(case.machine.clone()), from: Some(at), to: Some(to), ..Filter::default() };
        came.extend(app.ledger.entries(&filter, MOST).await?);
    }
    let is_of_it = |event: &Event| matches!(event, Event::Failed { .. } | Event::Done { .. } | Event::Replaced { .. });
    came.retain(|listed| listed.entry.recorded == recorded && is_of_it(&listed.entry.event));
    came.sort_by_key(|listed| listed.entry.id);
    came.dedup_by_key(|listed| listed.entry.id);
    Ok(came)
}
