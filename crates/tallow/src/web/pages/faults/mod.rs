//! *Faults*: what machines show that they should not, and the way to its cause, one question at a time.

mod closed;
mod grades;
mod list;
mod record;
mod search;
mod step;

use jiff::Timestamp;
use jiff::ZonedDateTime;
use maud::{Markup, html};
use upkeep::fault::Case;

pub(in crate::web) use self::grades::{grade, show as grades};
pub(in crate::web) use self::list::{begin, show};
pub(in crate::web) use self::record::{end, measured, say, take_back};
pub(in crate::web) use self::search::show as one;
pub(super) use self::search::suspects;
use super::super::guard::May;
use super::super::sending::may_send;
use super::machines;
use crate::words;

/// Where the form is sent that begins a fault.
pub(super) const NEW: &str = "/faults/new";

/// Where a fault's page is.
pub(super) fn address(case: &Case) -> String {
    format!("/faults/{}", case.id)
}

/// What a machine shows, in a line.
fn shown(case: &Case) -> String {
    case.symptoms.join("; ")
}

/// What the link to a fault is called: whoever may not answer there reads it.
fn link_words(case: &Case, may: &May) -> &'static str {
    if may_send(may, &format!("{}/say", address(case))) { "Go on" } else { "See it" }
}

/// A day as people read it.
fn day(at: Timestamp, now: &ZonedDateTime) -> String {
    words::near_day(at.to_zoned_datetime(now.time_zone().clone()).date(), now.date())
}

/// Faults that are open, each with the way to go on.
pub(super) fn open_table(open: &[&Case], now: &ZonedDateTime, may: &May) -> Markup {
    html! {
        table.stacks {
            thead { tr { th scope="col" { "Machine" } th scope="col" { "Shows" } th scope="col" { "Since" } th.figure scope="col" { "Answers" } th scope="col" { "Fault" } } }
            tbody {
                @for case in open {
                    tr {
                        th scope="row" { a href=(machines::address(&case.machine)) { (case.machine) } }
                        td data-name="Shows" { (shown(case)) }
                        td data-name="Since" { (day(case.since, now)) }
                        td.figure data-name="Answers" { (case.answers.len()) }
                        td { a.button href=(address(case)) { (link_words(case, may)) " " (case.id) } }
                    }
                }
            }
        }
    }
}
