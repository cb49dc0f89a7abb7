//! *Part*: what sits at one position of a machine: since when, what it went through, where it is worn, its tasks, its
//! readings, its chance to fail, its history.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use jiff::ZonedDateTime;
use jiff::civil::Date;
use ledger::{Filter, Kind, Ledger, Listed};
use maud::{Markup, html};
use motion::Quantity;
use upkeep::build::{Axis, Position};
use upkeep::{Build, Event, Foreseen, Since, part_meters};

use super::super::super::act::here;
use super::super::super::app::App;
use super::super::super::asked::Path;
use super::super::super::form::Typed;
use super::super::super::frame::{self, Around, Page, Place};
use super::super::super::picture;
use super::super::super::reply::{Answer, Reply};
use super::super::machines::address;
use super::drawn::since_words;
use super::past::Past;
use super::{dues_at, nobody, position_address, tasks};
use crate::commands::lives::Stakes;
use crate::commands::machine::{WornLately, worn_lately};
use crate::context::{self, OnMachine};
use crate::trouble::Trouble;
use crate::wear;
use crate::words;

/// How many of the latest runs tell where a part is worn: more take longer than a page should.
const RUNS: u32 = 500;

/// How many of the latest readings are shown.
const READINGS: u32 = 200;

pub(in crate::web) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path((name, position)): Path<(String, String)>,
    Query(asked): Query<Vec<(String, String)>>,
) -> Answer {
    let asked = Typed::new(asked);
    let glance = app.glance().await?;
    let Some(machine) = glance.machine(&name) else { return nobody(&around, &name) };
    let Some(index) = machine.build.positions.iter().position(|of| of.name == position) else {
        return super::super::missing(&around, &format!("{name} has no part at \"{position}\""));
    };
    let now = app.now();
    let of = &machine.build.positions[index];
    let state = app.ledger.machine_state(&name, now.date()).await?;
    let on = context::machine(&app.ledger, &name).await?;
    let meters = part_meters(&state);
    let (_, since, usage) = &meters[index];
    let worn = match of.along {
        Some(axis) => Some((axis, worn_lately(&app.ledger, &on, axis, since.at, RUNS).await?)),
        None => None,
    };
    let readings = readings(&app.ledger, &name, &position, &now).await?;
    let replaced = replaced(&app.ledger, &name, &position, &now).await?;
    let dues: Vec<_> = dues_at(machine, &position).collect();
    let names: Vec<&str> = [position.as_str()].into_iter().chain(dues.iter().map(|due| due.name.as_str())).collect();
    let past = Past::about(&app.ledger, &name, &names).await?;
    let chance = match asked.is_ticked("life") {
        true => Some(here(Stakes::of(&app.ledger, &name, now.timestamp()))?.chance_of(&position)),
        false => None,
    };
    let body = html! {
        (frame::hatches())
        (facts(of, since, &now, &usage_words(usage)))
        @if let Some((axis, worn)) = &worn { (wear_section(&on, *axis, worn, since, &now)) }
        section aria-labelledby="due" {
            h2 #due { "Care" }
            @if dues.is_empty() { p { "The build has no task here." } } @else { (tasks::table(machine, &dues, &now, true)) }
        }
        (readings_section(&machine.build, of, &readings, &replaced))
        (life_section(machine, of, chance))
        section aria-labelledby="history" { h2 #history { "History" } (past.table(&now)) }
        p { a href=(address(&name)) { "All of " (name) } }
    };
    Ok(Reply::Page(Page::new(&around, Place::Machines, "", format!("{position}, {name}"), body)))
}

fn facts(of: &Position, since: &Since, now: &ZonedDateTime, usage: &[(Quantity, String)]) -> Markup {
    html! {
        dl.facts {
            dt { "Kind" } dd { (of.kind) }
            dt { "In service since" } dd { (since_words(since, now)) }
            @for ban in &of.never { dt { "Never" } dd { (ban.substance) ": " (ban.reason) } }
        }
        details {
            summary { "All that it went through since" }
            table {
                thead { tr { th scope="col" { "Quantity" } th.figure scope="col" { "Amount" } } }
                tbody { @for (quantity, amount) in usage { tr { th scope="row" { (quantity.name()) } td.figure { (amount) } } } }
            }
        }
    }
}

/// What a part went through, in all quantities that are not nought.
fn usage_words(usage: &upkeep::Usage) -> Vec<(Quantity, String)> {
    let amounts = Quantity::ALL.iter().map(|&quantity| (quantity, usage.amount(quantity)));
    amounts
        .filter(|(_, amount)| 0.0 < *amount)
        .map(|(quantity, amount)| (quantity, upkeep::amount::print(amount, quantity)))
        .collect()
}

fn wear_section(on: &OnMachine, axis: Axis, worn: &WornLately, since: &Since, now: &ZonedDateTime) -> Markup {
    let reach = wear::reach(&on.build, axis);
    let bins = worn.bins.within(reach);
    let day = words::day(now.time_zone().to_datetime(since.at).date(), now.date());
    let runs = words::count(worn.runs as u64, "runs");
    let told = format!("Travel along {} in each {} mm", axis.name(), wear::BIN_MM);
    let says = match worn.is_cut {
        true => format!("{told}, by the latest {runs}; earlier ones are left out, for they are many."),
        false => format!("{told} since {day}, by {runs} of which the file was metered."),
    };
    html! {
        section aria-labelledby="worn" {
            h2 #worn { "Where it is worn" }
            @if worn.bins.is_empty() { p { "No run of which the file was metered tells." } } @else {
                p { (says) }
                figure { (picture::wear(&picture::Wear { axis: axis.name(), bins: &bins, bin: wear::BIN_MM, says: &says })) }
                @if let Some(outside) = worn.bins.outside(reach).words() { p { "Outside its travel: " (outside) "." } }
                details {
                    summary { "The same as a table" }
                    table {
                        thead { tr { th scope="col" { "From, mm" } th.figure scope="col" { "Travel" } } }
                        tbody { @for (start, travel) in &bins { tr { th scope="row" { (start) } td.figure { (upkeep::amount::print(travel / 1e3, Quantity::TravelX)) } } } }
                    }
                }
            }
        }
    }
}

/// Readings at a position by what was measured, with its unit.
type ByWhat = BTreeMap<(String, String), Vec<(Date, f64)>>;

async fn readings(ledger: &Ledger, machine: &str, position: &str, now: &ZonedDateTime) -> Result<ByWhat, Trouble> {
    let mut by_what = ByWhat::new();
    for Listed { entry, .. } in standing(ledger, machine, position, Kind::Reading).await?.into_iter().rev() {
        if let Event::Reading { what, value, unit, .. } = entry.event {
            let day = now.time_zone().to_datetime(entry.at).date();
            by_what.entry((what, unit)).or_default().push((day, value));
        }
    }
    Ok(by_what)
}

async fn replaced(ledger: &Ledger, machine: &str, position: &str, now: &ZonedDateTime) -> Result<Vec<Date>, Trouble> {
    let listed = standing(ledger, machine, position, Kind::Replaced).await?;
    Ok(listed.iter().map(|listed| now.time_zone().to_datetime(listed.entry.at).date()).collect())
}

/// What stands of the latest entries of a kind about a position, the latest first.
async fn standing(ledger: &Ledger, machine: &str, position: &str, kind: Kind) -> Result<Vec<Listed>, Trouble> {
    let (machine, about) = (Some(machine.to_owned()), Some(position.to_owned()));
    let filter = Filter { machine, kind: Some(kind), about, ..Filter::default() };
    let mut listed = ledger.entries(&filter, READINGS).await?;
    listed.retain(|listed| listed.replaced_by.is_none());
    Ok(listed)
}

/// The least that is good and the most, as the build states them in the unit of the readings.
fn good(build: &Build, of: &Position, what: &str, unit: &str) -> [Option<f64>; 2] {
    let stated = build.reading(&of.name, what).filter(|(_, reading)| reading.unit == unit);
    stated.map_or([None; 2], |(_, reading)| [reading.least, reading.most])
}

fn readings_section(build: &Build, of: &Position, readings: &ByWhat, replaced: &[Date]) -> Markup {
    html! {
        @if !readings.is_empty() {
            section aria-labelledby="readings" {
                h2 #readings { "Readings" }
                @if !replaced.is_empty() { p { "A chain line stands where the part was replaced." } }
                @for ((what, unit), values) in readings {
                    @let good = good(build, of, what, unit);
                    h3 { (what) @if !unit.is_empty() { ", " (unit) } }
                    figure { (picture::readings(&picture::Readings { what, unit, values, replaced, good })) }
                    @match good {
                        [Some(least), Some(most)] => p { "Good: " (least) " to " (most) " " (unit) ", by the build; the dashed lines." },
                        [Some(least), None] => p { "Good: at least " (least) " " (unit) ", by the build; the dashed line." },
                        [None, Some(most)] => p { "Good: at most " (most) " " (unit) ", by the build; the dashed line." },
                        [None, None] => {},
                    }
                    details {
                        summary { "The same as a table" }
                        table {
                            thead { tr { th scope="col" { "Day" } th.figure scope="col" { "Value" } } }
                            tbody { @for (day, value) in values { tr { th scope="row" { (day.strftime("%-d %b %Y").to_string()) } td.figure { (value) " " (unit) } } } }
                        }
                    }
                }
            }
        }
    }
}

/// What is believed of its life, and on demand its chance to fail: the records of machines like it are read for that.
fn life_section(machine: &Foreseen, of: &Position, chance: Option<Option<String>>) -> Markup {
    html! {
        section aria-labelledby="life" {
            h2 #life { "Its life" }
            @match &of.life {
                Some(life) => p { "The build believes that one in ten has failed by " (upkeep::amount::print(life.tenth, life.of)) " of " (life.of.name()) " (" (life.source) ")." },
                None => p { "The build believes nothing of its life." },
            }
            @match chance {
                Some(Some(words)) => p { (words) "." },
                Some(None) => p { "Neither the records nor the build tell its chance to fail." },
                None => p { a href=(format!("{}?life#life", position_address(&machine.name, &of.name))) { "Its chance to fail soon, by the records of machines like this" } },
            }
        }
    }
}
