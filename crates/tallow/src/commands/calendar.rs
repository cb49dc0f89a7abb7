//! `tallow calendar`: the visits as a file for any program that keeps a calendar.

use std::collections::BTreeSet;

use jiff::ToSpan;
use jiff::civil::Date;
use ledger::{Ledger, Told};
use serde_json::{Value, json};
use upkeep::Unknown;

use crate::calendar::{Calendar, CalendarEvent, uid};
use crate::cli;
use crate::commands::keeper::is_of;
use crate::context::Context;
use crate::trouble::Trouble;
use crate::words;

/// For how long visits that were walked or called off stay in the file, days: long enough for every reader to have seen it.
const KEPT: i64 = 30;

pub(crate) async fn calendar(context: &Context, args: &cli::Calendar) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let today = context.now_in(&ledger).date();
    let keeper = match &args.keeper {
        Some(name) => Some(known(&ledger, &told(&ledger, today).await?, name).await?),
        None => None,
    };
    let shop = &ledger.shop().name;
    let events = events(&ledger, today, keeper.as_deref()).await?;
    if events.is_empty() {
        return Err(Trouble::refused("there is no visit to put into a calendar")
            .help("plan some, and tell people: tallow plan --keep"));
    }
    if context.json && args.out.is_none() {
        return context.out.json(&events.iter().map(shape).collect());
    }
    let n_events = events.len() as u64;
    let text = Calendar { name: format!("{shop}: care"), now: context.now, events }.text();
    let Some(path) = &args.out else { return context.out.verbatim(&text) };
    context.write(path, text)?;
    context.out.line(format!("{}: {}", path.display(), words::count(n_events, "visits")))
}

/// Visits from a while ago on: of everybody, or of one keeper.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn events(ledger: &Ledger, today: Date, keeper: Option<&str>) -> Result<Vec<CalendarEvent>, Trouble> {
    let told = told(ledger, today).await?;
    let is_meant = |told: &&Told| keeper.is_none_or(|keeper| is_of(told, keeper));
    Ok(told.iter().filter(is_meant).map(|told| event(told, &ledger.shop().name)).collect())
}

async fn told(ledger: &Ledger, today: Date) -> Result<Vec<Told>, Trouble> {
    Ok(ledger.visits(today.saturating_sub(KEPT.days())).await?)
}

/// A keeper, or somebody who was one when a visit was told.
async fn known(ledger: &Ledger, told: &[Told], name: &str) -> Result<String, Trouble> {
    let keepers = ledger.keepers().await?;
    let names = keepers.iter().map(|one| &one.keeper.name).chain(told.iter().map(|told| &told.visit.keeper));
    let names: Vec<&String> = names.collect::<BTreeSet<_>>().into_iter().collect();
    Ok(Unknown::find("keeper", name, &names, |name| name.as_str())?.to_string())
}

fn shape(event: &CalendarEvent) -> Value {
    json!({
        "uid": event.uid, "sequence": event.sequence, "cancelled": event.is_cancelled, "day": event.day.to_string(),
        "summary": event.summary, "description": event.description, "keeper": event.keeper,
    })
}

fn event(told: &Told, shop: &str) -> CalendarEvent {
    let tasks = told.visit.tasks.iter().map(|task| format!("- {task}"));
    let last = match told.visit.took {
        Some(took) => format!("Walked in {took} min."),
        None => format!("When walked: tallow visit walked {}", told.id),
    };
    CalendarEvent {
        uid: uid(told.id.0, shop),
        sequence: u32::try_from(told.sequence).unwrap_or(u32::MAX),
        is_cancelled: told.is_cancelled,
        day: told.visit.day,
        summary: format!("{}: care, {:.0} min", told.machine, told.visit.minutes),
        description: tasks.chain([String::new(), last]).collect::<Vec<_>>().join("\n"),
        location: shop.to_owned(),
        keeper: told.visit.keeper.clone(),
    }
}
