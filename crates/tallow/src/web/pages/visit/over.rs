//! A visit that is over: what was booked, what was typed and is not, and where to go next.

use ledger::{Filter, Told};
use maud::{Markup, html};
use upkeep::{Entry, Event};

use super::super::super::app::App;
use super::super::super::form::{Refusal, sentence};
use super::super::super::reply::Failed;
use super::super::{machines, today};
use super::{FINISH, Scene, show};
use crate::words;

/// Among how many of a machine's latest entries what the visit booked is looked for.
const LATEST: u32 = 400;

/// What was booked with a visit that was walked: the entries that were written in one go right before the one by which it is
/// over; those of a machine follow one another in their numbers.
///
/// # Errors
/// Where the shop can't be read.
pub(super) async fn booked(app: &App, told: &Told) -> Result<Vec<Entry>, Failed> {
    if told.visit.took.is_none() {
        return Ok(Vec::new());
    }
    let over = app.ledger.newest(told.id).await?;
    let filter = Filter { machine: Some(told.machine.clone()), ..Filter::default() };
    let mut entries: Vec<Entry> =
        app.ledger.entries(&filter, LATEST).await?.into_iter().map(|listed| listed.entry).collect();
    entries.sort_by_key(|entry| std::cmp::Reverse(entry.id));
    let is_of_visit = |entry: &Entry| {
        let is_care = matches!(entry.event, Event::Done { .. } | Event::Skipped { .. } | Event::Reading { .. });
        is_care && entry.recorded == over.recorded
    };
    let mut booked: Vec<Entry> =
        entries.into_iter().skip_while(|entry| over.id <= entry.id).take_while(is_of_visit).collect();
    booked.reverse();
    Ok(booked)
}

/// The page below its heading.
pub(super) fn body(scene: &Scene, booked: &[Entry], refusal: &Refusal) -> Markup {
    let Told { id, visit, is_cancelled, .. } = &scene.told;
    let day = scene.glance.now.date();
    html! {
        div #visit data-visit=(id) data-over="yes" data-size=(scene.size) data-news=(format!("/visits/{id}/news")) {
            p { "Visit " (id) " · " (words::weekday(visit.day, day)) " · " (visit.keeper) }
            @if let Some(trouble) = &refusal.trouble {
                (super::super::super::form::trouble(trouble))
                (typed(refusal))
            }
            @match visit.took {
                _ if *is_cancelled => p { strong { "Called off." } " Nobody has to walk it." },
                Some(took) => p #booked { strong { "Finished" } ", in " (took) " min." },
                None => {},
            }
            @if !booked.is_empty() {
                h2 { "What was booked" }
                ul { @for entry in booked { li { (words_of(entry)) } } }
                @if let Some(note) = booked.iter().map(|entry| &entry.note).find(|note| !note.is_empty()) { p { "Note: " (note) } }
            }
            (show::photos(scene, None))
            (next(scene))
            p { a href=(machines::address(&scene.told.machine)) { (sentence(&scene.told.machine)) } }
            p #unsent hidden {}
        }
        (show::script())
    }
}

fn words_of(entry: &Entry) -> String {
    match &entry.event {
        Event::Done { task, supplies } if supplies.is_empty() => format!("{task}: done"),
        Event::Done { task, supplies } => {
            let used: Vec<String> = supplies.iter().map(|(supply, amount)| format!("{supply} {amount}")).collect();
            format!("{task}: done, used {}", used.join(", "))
        }
        Event::Skipped { task, reason } => format!("{task}: skipped, {reason}"),
        Event::Reading { position, what, value, unit } => {
            format!("{position}: {what} {value} {unit}").trim_end().to_owned()
        }
        _ => String::new(),
    }
}

/// What somebody typed who came too late: to be read, and to be recorded where it belongs.
fn typed(refusal: &Refusal) -> Markup {
    let is_own = |name: &str| !matches!(name, "key" | "view" | "ago" | "do" | "photo");
    let fields: Vec<(&str, String)> = refusal.typed.beginning("").filter(|(name, _)| is_own(name)).collect();
    html! {
        @if !fields.is_empty() {
            h2 { @if refusal.is_of(FINISH) { "What you typed at the finish" } @else { "What you typed" } }
            dl.facts { @for (name, value) in fields { dt { (name) } dd { (value) } } }
        }
    }
}

/// The next visit of the day: of the same keeper first.
fn next(scene: &Scene) -> Markup {
    let today = scene.glance.now.date();
    let open =
        || scene.glance.told.iter().filter(|told| told.stands() && told.id != scene.told.id && told.visit.day <= today);
    let is_same_keepers = |told: &&Told| told.visit.keeper == scene.told.visit.keeper;
    html! {
        @match open().find(is_same_keepers).or_else(|| open().next()) {
            Some(told) => p { a.button href=(today::visit_address(told)) { "Next: " (told.machine) ", " (told.visit.minutes) " min" } },
            None => p { "No other visit is left today. " a href="/" { "What to do today" } },
        }
    }
}
