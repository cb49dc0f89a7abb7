//! One entry: all that it says, what corrected it, and how to correct it.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use jiff::ZonedDateTime;
use ledger::{Kind, Ledger};
use maud::{Markup, html};
use motion::Quantity;
use upkeep::entry::{Basis, Run};
use upkeep::fault::said::{Answered, Over};
use upkeep::{Entry, EntryId, Event, Usage, amount};

use super::super::act::{act, said as answered};
use super::super::app::App;
use super::super::asked::{Form, Path};
use super::super::form::{Field, Refusal, Typed, choice};
use super::super::frame::{Around, Page, Place};
use super::super::guard::May;
use super::super::reply::{Answer, Reply};
use super::super::sending::{Sending, role_wanted};
use super::machines;
use super::records::entry_address;
use crate::cli::{Command, Correct, Reason};
use crate::commands::history::{because_word, said};
use crate::trouble::Trouble;
use crate::when;

pub(crate) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(id): Path<String>,
) -> Answer {
    page(&app, &around, &id, &Refusal::default()).await
}

/// Corrects what the entry says: of what is typed, that which differs from what holds.
pub(crate) async fn correct(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(id): Path<String>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let done = match standing(&app.ledger, &id).await {
        Some((_, holds)) => act(&app, &Command::Correct(changes(holds.id, &fields(&holds, &app.now()), &typed))).await,
        None => return super::missing(&around, &format!("there is no entry \"{id}\" that can be corrected")),
    };
    match done {
        Ok(answer) => {
            let to = answer["entry"].as_i64().map_or_else(|| "/records".to_owned(), |id| entry_address(EntryId(id)));
            Ok(Reply::Done { to, said: answered(&answer) })
        }
        Err(trouble) => page(&app, &around, &id, &Refusal::new("correct", trouble, typed)).await,
    }
}

/// Says that what the entry tells did not happen.
pub(crate) async fn withdraw(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(id): Path<String>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let Some((entry, holds)) = standing(&app.ledger, &id).await else {
        return super::missing(&around, &format!("there is no entry \"{id}\" that can be withdrawn"));
    };
    match act(&app, &withdrawal(holds.id, typed.text("note"))).await {
        Ok(answer) => Ok(Reply::Done { to: entry_address(entry.id), said: answered(&answer) }),
        Err(trouble) => page(&app, &around, &id, &Refusal::new("withdraw", trouble, typed)).await,
    }
}

/// An entry, and what holds of it now; `None` where there is none, or its machine is gone.
async fn standing(ledger: &Ledger, id: &str) -> Option<(Entry, Entry)> {
    let id = EntryId(id.parse().ok()?);
    Some((ledger.entry(id).await.ok()?, ledger.newest(id).await.ok()?))
}

async fn page(app: &App, around: &Around, id: &str, refusal: &Refusal) -> Answer {
    let number = id.parse().ok().map(EntryId);
    let entry = match number {
        Some(id) => app.ledger.entry(id).await.ok(),
        None => None,
    };
    let Some(entry) = entry else { return super::missing(around, &format!("no entry has the number \"{id}\"")) };
    let holds = app.ledger.newest(entry.id).await.ok();
    let now = app.now();
    let body = html! {
        p { strong { (said(&entry, &now)) } }
        dl.facts {
            dt { "Machine" }
            dd { @if entry.machine.is_empty() { "the shop itself" } @else { a href=(machines::address(&entry.machine)) { (entry.machine) } } }
            dt { "Happened" } dd { (spoken(&entry, &now)) }
            dt { "Written down" } dd { (when::spoken(&entry.recorded.to_zoned_datetime(now.time_zone().clone()))) }
            @if !entry.note.is_empty() { dt { "Note" } dd { (entry.note) } }
            @if let Some(old) = entry.corrects { dt { "Corrects" } dd { a href=(entry_address(old)) { "entry " (old) } } }
            (facts(&entry))
        }
        (corrections(&app.ledger, &entry, holds.as_ref(), &now).await?)
        @if let Some(usage) = used(&entry.event) { (usage_table(usage)) }
        @match &holds {
            Some(holds) if holds.event != Event::Withdrawn => (correcting(&entry, holds, refusal, &now, &around.visitor.may)),
            Some(_) => {},
            None => p { "Its machine is no longer in the shop, so that it can't be corrected." },
        }
        p { a href="/records" { "History" } }
    };
    let page = Page::new(around, Place::Records, "", format!("Entry {}", entry.id), body);
    Ok(if refusal.trouble.is_some() { Reply::Refused(page) } else { Reply::Page(page) })
}

fn spoken(entry: &Entry, now: &ZonedDateTime) -> String {
    when::spoken(&entry.at.to_zoned_datetime(now.time_zone().clone()))
}

/// What corrected the entry, the newest last.
async fn corrections(
    ledger: &Ledger,
    entry: &Entry,
    holds: Option<&Entry>,
    now: &ZonedDateTime,
) -> Result<Markup, Trouble> {
    let mut chain: Vec<Entry> = Vec::new();
    let mut next = holds.filter(|holds| holds.id != entry.id).cloned();
    while let Some(newer) = next {
        let older = newer.corrects.filter(|older| *older != entry.id);
        chain.push(newer);
        next = match older {
            Some(older) => Some(ledger.entry(older).await?),
            None => None,
        };
    }
    Ok(html! {
        @if !chain.is_empty() {
            p { "This no longer holds. What was said of it since:" }
            ol {
                @for newer in chain.iter().rev() {
                    li { a href=(entry_address(newer.id)) { "entry " (newer.id) } ": " (said(newer, now)) ", " (spoken(newer, now)) }
                }
            }
        }
    })
}

/// What the sentence at the head leaves out.
fn facts(entry: &Entry) -> Markup {
    html! {
        dt { "Kind" } dd { (Kind::of(&entry.event).word()) }
        @match &entry.event {
            Event::Run(run) => (run_facts(run)),
            Event::Queued(queued) => {
                @for (tool, material) in &queued.materials { dt { "T" (tool) } dd { (material.name()) } }
            },
            Event::FaultShown(_) => { dt { "Fault" } dd { a href=(format!("/faults/{}", entry.id)) { "how it stands" } } },
            Event::FaultAnswered(Answered { fault, .. }) | Event::FaultOver(Over { fault, .. }) => {
                dt { "Fault" } dd { a href=(format!("/faults/{fault}")) { (fault) } }
            },
            Event::Visit(visit) => {
                dt { "Tasks" } dd { ul { @for task in &visit.tasks { li { (task) } } } }
            },
            _ => {},
        }
    }
}

fn run_facts(run: &Run) -> Markup {
    html! {
        @for (tool, material) in &run.materials { dt { "T" (tool) } dd { (material.name()) } }
        dt { "Use" }
        dd {
            @match run.basis {
                Basis::Metered => "metered from its file",
                Basis::Estimated { spread } => { "estimated, give or take " (crate::words::percent(spread)) },
            }
        }
        @if let Some(sha256) = &run.program { dt { "File" } dd.long { "SHA-256 " (sha256) } }
        @if let Some(queued) = run.queued { dt { "Was expected" } dd { a href=(entry_address(queued)) { "entry " (queued) } } }
    }
}

fn used(event: &Event) -> Option<&Usage> {
    match event {
        Event::Queued(queued) => Some(&queued.usage),
        event => event.usage(),
    }
}

/// What it asked of the machine, by quantity.
fn usage_table(usage: &Usage) -> Markup {
    let amounts: Vec<(Quantity, f64)> = Quantity::ALL
        .iter()
        .copied()
        .map(|quantity| (quantity, usage.amount(quantity)))
        .filter(|(_, amount)| 0.0 < *amount)
        .collect();
    html! {
        @if !amounts.is_empty() {
            details {
                summary { "What it asked of the machine" }
                table {
                    thead { tr { th scope="col" { "Quantity" } th.figure scope="col" { "Amount" } } }
                    tbody {
                        @for (quantity, amount) in amounts {
                            tr { th scope="row" { (quantity) } td.figure { (amount::print(amount, quantity)) } }
                        }
                    }
                }
            }
        }
    }
}

/// A field that corrects something: its name, label and what holds now.
struct Change {
    name: String,
    label: String,
    holds: String,
    hint: &'static str,
}

/// What can be corrected of an entry; empty where it is set anew instead.
fn fields(holds: &Entry, now: &ZonedDateTime) -> Vec<Change> {
    let change = |name: &str, label: &str, holds: String, hint| Change {
        name: name.to_owned(),
        label: label.to_owned(),
        holds,
        hint,
    };
    let at = holds.at.to_zoned_datetime(now.time_zone().clone()).strftime("%Y-%m-%d %H:%M").to_string();
    let mut fields = vec![change("when", "When", at, "a day with its time: 2026-11-02 14:10, or: yesterday 14:10")];
    match &holds.event {
        Event::Rates(_) | Event::Keeper(_) | Event::Away(_) | Event::Terms(_) | Event::Visit(_) => return Vec::new(),
        Event::Run(run) => {
            for (tool, material) in &run.materials {
                fields.push(change(
                    &format!("T{tool}"),
                    &format!("Material of T{tool}"),
                    material.name().to_owned(),
                    "",
                ));
            }
        }
        Event::Replaced { because, spare, .. } => {
            fields.push(change("because", "The old part", because_word(*because).to_owned(), ""));
            fields.push(change(
                "spare",
                "The spare put in",
                spare.clone().unwrap_or_default(),
                "an item of the stores",
            ));
        }
        Event::Reading { value, unit, .. } => {
            fields.push(change("value", "Value", format!("{value} {unit}").trim().to_owned(), "with its unit"));
        }
        Event::HourMeter { hours, .. } => fields.push(change("value", "Hours shown", hours.to_string(), "")),
        Event::Received(received) => fields.push(change("value", "Amount", received.amount.clone(), "with its unit")),
        Event::Counted(counted) => fields.push(change("value", "Amount", counted.amount.clone(), "with its unit")),
        Event::ThrownAway(thrown) => fields.push(change("value", "Amount", thrown.amount.clone(), "with its unit")),
        _ => {}
    }
    fields
}

/// The command that withdraws what an entry tells.
pub(super) fn withdrawal(entry: EntryId, note: String) -> Command {
    Command::Correct(Correct { withdraw: true, note, ..unchanged(entry) })
}

fn unchanged(entry: EntryId) -> Correct {
    Correct {
        entry: entry.0,
        withdraw: false,
        when: None,
        materials: Vec::new(),
        file: None,
        because: None,
        spare: None,
        value: None,
        note: String::new(),
    }
}

/// What was typed that differs from what holds.
fn changes(entry: EntryId, fields: &[Change], typed: &Typed) -> Correct {
    let mut args = Correct { note: typed.text("note"), ..unchanged(entry) };
    for Change { name, holds, .. } in fields {
        let Some(new) = typed.some(name).filter(|new| new != holds) else { continue };
        match name.as_str() {
            "when" => args.when = Some(new),
            "because" => args.because = reason(&new),
            "spare" => args.spare = Some(new),
            "value" => args.value = Some(new),
            tool => args.materials.push(format!("{tool}={new}")),
        }
    }
    args
}

const REASONS: [(&str, Reason, &str); 3] = [
    ("failed", Reason::Failed, "had failed"),
    ("worn", Reason::Worn, "was worn, but worked"),
    ("good", Reason::Good, "was good"),
];

fn reason(word: &str) -> Option<Reason> {
    REASONS.iter().find(|(known, ..)| *known == word).map(|(_, reason, _)| *reason)
}

/// The forms that correct and withdraw an entry.
fn correcting(entry: &Entry, holds: &Entry, refusal: &Refusal, now: &ZonedDateTime, may: &May) -> Markup {
    let [correct, withdraw] = ["correct", "withdraw"].map(|what| format!("{}/{what}", entry_address(entry.id)));
    let fields = fields(holds, now);
    let note = |form| Field { hint: "why, in a few words", ..Field::text(form, "note", "Note") }.show(refusal);
    let reasons: Vec<(String, String)> =
        REASONS.iter().map(|(word, _, says)| ((*word).to_owned(), (*says).to_owned())).collect();
    html! {
        section.block aria-labelledby="correcting" {
            h2 #correcting { "Correct it" }
            p { "Nothing that was recorded is ever changed or lost: a correction is a new entry that names this one." }
            @if fields.is_empty() {
                p { "What it says is set anew where it is set: " (set_anew(&holds.event)) "." }
            } @else {
                (Sending::to(&correct).show(may, html! {
                    (refusal.shown("correct"))
                    @for Change { name, label, holds, hint } in &fields {
                        @if name == "because" {
                            (choice(refusal, "correct", name, label, holds, &reasons))
                        } @else {
                            (Field { value: holds, hint, ..Field::text("correct", name, label) }.show(refusal))
                        }
                    }
                    (note("correct"))
                    p { button type="submit" { "Correct" } }
                }))
            }
            (role_wanted(may, &correct, "Correcting it"))
            (Sending::to(&withdraw).folded(may, "It did not happen: withdraw it", refusal.is_of("withdraw"), html! {
                (refusal.shown("withdraw"))
                (note("withdraw"))
                p { button.quiet type="submit" { "Withdraw" } }
            }))
        }
    }
}

/// Where what an entry says is set anew.
fn set_anew(event: &Event) -> Markup {
    let (address, words) = match event {
        Event::Rates(_) => ("/shop", "the shop's prices"),
        Event::Terms(_) => ("/stores", "the stores"),
        _ => ("/rounds", "the rounds"),
    };
    html! { a href=(address) { (words) } }
}
