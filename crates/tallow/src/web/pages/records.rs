//! *History*: what was recorded of all machines and of the shop, newest first; and the list as a file.

use std::sync::Arc;

use axum::Extension;
use axum::body::Body;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use futures_util::stream;
use jiff::ToSpan;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use ledger::{Filter, Kind, Ledger, Listed};
use maud::{Markup, html};
use upkeep::EntryId;

use super::super::app::App;
use super::super::form::{Field, Refusal, Typed, choice};
use super::super::frame::{Around, Page, Place};
use super::super::reply::{Answer, Reply, encoded};
use super::machines;
use crate::commands::history::{said, shape};
use crate::trouble::Trouble;
use crate::when;

/// Entries on a page.
const PAGE: u32 = 50;

/// Entries read at once into a file.
const GO: u32 = 2000;

/// With more machines than this their names are typed and not chosen.
const MOST_CHOSEN: usize = 100;

/// What a filter calls the shop itself; no machine's name begins so.
const THE_SHOP: &str = "-";

const FIELDS: [&str; 5] = ["machine", "kind", "about", "from", "to"];

pub(crate) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let listed = match filter(&app.ledger, &typed).await {
        Ok(filter) => app.ledger.entries(&filter, PAGE + 1).await.map_err(Trouble::from),
        Err(trouble) => Err(trouble),
    };
    let (refusal, listed) = match listed {
        Ok(listed) => (Refusal { typed: typed.clone(), ..Refusal::default() }, listed),
        Err(trouble) => (Refusal::new("filter", trouble, typed.clone()), Vec::new()),
    };
    let glance = app.glance().await?;
    let names: Vec<&str> = glance.machines.iter().map(|machine| machine.name.as_str()).collect();
    let now = app.now();
    let (shown, more) = listed.split_at(listed.len().min(PAGE as usize));
    let body = html! {
        (fields(&refusal, &typed, &names))
        @if shown.is_empty() && !refusal.is_of("filter") {
            p { @if asked(&typed).is_empty() { "Nothing was recorded yet." } @else { "Nothing that was recorded is so." } }
        }
        @if !shown.is_empty() {
            table.stacks {
                thead { tr { th { "When" } th { "Machine" } th { "What" } th { "Entry" } } }
                tbody { @for listed in shown { (row(listed, &now)) } }
            }
            nav.row aria-label="Pages" {
                @if typed.some("before").is_some() { a.button.quiet href=(address("/records", &asked(&typed), None)) { "The newest" } }
                @if let Some(last) = shown.last().filter(|_| !more.is_empty()) {
                    a.button.quiet rel="next" href=(address("/records", &asked(&typed), Some(last.entry.id))) { "Earlier" }
                }
            }
            p {
                "All of this list as a file: "
                a href=(address("/records.csv", &asked(&typed), None)) download { "CSV" } ", "
                a href=(address("/records.json", &asked(&typed), None)) download { "JSON" } "."
            }
        }
    };
    let refused = refusal.is_of("filter");
    let page = Page::new(&around, Place::Records, "/records", "History", body);
    Ok(if refused { Reply::Refused(page) } else { Reply::Page(page) })
}

fn row(listed: &Listed, now: &jiff::ZonedDateTime) -> Markup {
    let entry = &listed.entry;
    html! {
        tr {
            td data-name="When" { (when::spoken(&entry.at.to_zoned_datetime(now.time_zone().clone()))) }
            td data-name="Machine" {
                @if entry.machine.is_empty() { "the shop" } @else { a href=(machines::address(&entry.machine)) { (entry.machine) } }
            }
            td data-name="What" {
                @if listed.replaced_by.is_some() { del { (said(entry, now)) } } @else { (said(entry, now)) }
                @if let Some(by) = listed.replaced_by { " (no longer holds, see " a href=(entry_address(by)) { (by) } ")" }
                @if let Some(old) = entry.corrects { " (corrects " a href=(entry_address(old)) { (old) } ")" }
                @if !entry.note.is_empty() { br; span.small { (entry.note) } }
            }
            td data-name="Entry" { a.target href=(entry_address(entry.id)) aria-label=(format!("Entry {}", entry.id)) { (entry.id) } }
        }
    }
}

/// Where an entry's page is.
pub(super) fn entry_address(id: EntryId) -> String {
    format!("/records/{id}")
}

fn fields(refusal: &Refusal, typed: &Typed, names: &[&str]) -> Markup {
    let mut machines =
        vec![(String::new(), "all, and the shop".to_owned()), (THE_SHOP.to_owned(), "the shop itself".to_owned())];
    machines.extend(names.iter().map(|&name| (name.to_owned(), name.to_owned())));
    let mut kinds = vec![(String::new(), "all".to_owned())];
    kinds.extend(Kind::ALL.map(|kind| (kind.word().to_owned(), words(kind).to_owned())));
    let text = |name: &str| typed.text(name);
    let (about, from, to, machine) = (text("about"), text("from"), text("to"), text("machine"));
    let day = |name: &'static str, label: &'static str, value| {
        Field { value, kind: "date", ..Field::text("filter", name, label) }.show(refusal)
    };
    html! {
        form.filter action="/records" method="get" {
            (refusal.shown("filter"))
            div.row {
                @if names.len() <= MOST_CHOSEN {
                    (choice(refusal, "filter", "machine", "Machine", &machine, &machines))
                } @else {
                    (Field { value: &machine, ..Field::text("filter", "machine", "Machine") }.show(refusal))
                }
                (choice(refusal, "filter", "kind", "Kind", &text("kind"), &kinds))
                (Field { value: &about, ..Field::text("filter", "about", "About (task, position, label, item)") }.show(refusal))
                (day("from", "From", &from))
                (day("to", "To", &to))
                p.field { button type="submit" { "Show" } }
            }
        }
    }
}

/// What a kind of entry is called on the page.
fn words(kind: Kind) -> &'static str {
    match kind {
        Kind::Added => "machine joined",
        Kind::Run => "run",
        Kind::Queued => "run expected",
        Kind::Done => "task done",
        Kind::Replaced => "part replaced",
        Kind::Failed => "failure",
        Kind::Reading => "reading",
        Kind::HourMeter => "hour meter",
        Kind::Limit => "own limit",
        Kind::Age => "age",
        Kind::Rates => "rates",
        Kind::Visit => "visit",
        Kind::Skipped => "task skipped",
        Kind::Keeper => "keeper",
        Kind::Away => "days off",
        Kind::Received => "received",
        Kind::Ordered => "ordered",
        Kind::Counted => "counted",
        Kind::ThrownAway => "thrown away",
        Kind::Terms => "terms",
        Kind::FaultShown => "fault",
        Kind::FaultAnswered => "answer to a fault",
        Kind::FaultOver => "end of a fault",
        Kind::FaultGrade => "own grade of a fault",
        Kind::Withdrawn => "withdrawal",
    }
}

/// The fields of the filter that say something, as a query.
fn asked(typed: &Typed) -> String {
    let said = FIELDS.iter().filter_map(|name| Some(format!("{name}={}", encoded(&typed.some(name)?))));
    said.collect::<Vec<_>>().join("&")
}

fn address(path: &str, asked: &str, before: Option<EntryId>) -> String {
    let before = before.map(|id| format!("before={id}"));
    let query: Vec<String> =
        Some(asked.to_owned()).filter(|asked| !asked.is_empty()).into_iter().chain(before).collect();
    if query.is_empty() { path.to_owned() } else { format!("{path}?{}", query.join("&")) }
}

/// The filter that was typed.
async fn filter(ledger: &Ledger, typed: &Typed) -> Result<Filter, Trouble> {
    let zone = &ledger.shop().zone;
    let kind = match typed.some("kind") {
        Some(word) => Some(
            Kind::from_word(&word).ok_or_else(|| Trouble::refused(format!("no kind of entry is called \"{word}\"")))?,
        ),
        None => None,
    };
    let before = match typed.some("before") {
        Some(text) => {
            let id = text.parse().map_err(|_| Trouble::refused(format!("\"{text}\" is no entry's number")))?;
            Some((ledger.entry(EntryId(id)).await?.at, EntryId(id)))
        }
        None => None,
    };
    Ok(Filter {
        machine: typed.some("machine").map(|name| if name == THE_SHOP { String::new() } else { name }),
        kind,
        about: typed.some("about"),
        before,
        from: day(typed, "from")?.map(|day| begin(day, zone)).transpose()?,
        to: day(typed, "to")?.map(|day| begin(day.saturating_add(1.day()), zone)).transpose()?,
    })
}

fn day(typed: &Typed, name: &str) -> Result<Option<Date>, Trouble> {
    let read = |text: String| {
        text.parse().map_err(|_| Trouble::refused(format!("\"{text}\" is no day")).help("write it as 2026-11-02"))
    };
    typed.some(name).map(read).transpose()
}

/// The instant at which a day begins in a zone.
fn begin(day: Date, zone: &TimeZone) -> Result<jiff::Timestamp, Trouble> {
    let begin = zone.to_zoned_datetime(day.at(0, 0, 0, 0));
    begin.map(|begin| begin.timestamp()).map_err(|_| Trouble::refused(format!("{day} can't be looked for")))
}

/// The list as a table for other programs.
pub(crate) async fn csv(State(app): State<Arc<App>>, Query(pairs): Query<Vec<(String, String)>>) -> Answer {
    const HEAD: &str = "entry,machine,kind,at,recorded,by,what,note,corrects,replaced_by\n";
    let zone = app.ledger.shop().zone.clone();
    let now = app.now();
    let rows = move |listed: &[Listed], _: bool| {
        let mut writer = csv::Writer::from_writer(Vec::new());
        for Listed { entry, replaced_by, by } in listed {
            let number = |id: Option<EntryId>| id.map_or_else(String::new, |id| id.to_string());
            let local =
                |at: jiff::Timestamp| at.to_zoned_datetime(zone.clone()).strftime("%Y-%m-%dT%H:%M:%S%:z").to_string();
            let cells = [
                entry.id.to_string(),
                entry.machine.clone(),
                Kind::of(&entry.event).word().to_owned(),
                local(entry.at),
                local(entry.recorded),
                by.clone().unwrap_or_default(),
                said(entry, &now),
                entry.note.clone(),
                number(entry.corrects),
                number(*replaced_by),
            ];
            // OK because a row in memory can always be written.
            writer.write_record(cells).expect("a row in memory");
        }
        writer.into_inner().unwrap_or_default()
    };
    export(app, Typed::new(pairs), "records.csv", "text/csv; charset=utf-8", [HEAD, ""], rows).await
}

/// The list as JSON, in the shape of the command's own.
pub(crate) async fn json(State(app): State<Arc<App>>, Query(pairs): Query<Vec<(String, String)>>) -> Answer {
    let rows = |listed: &[Listed], is_first: bool| {
        let texts: Vec<String> = listed.iter().map(|listed| shape(listed).to_string()).collect();
        let comma = if is_first || texts.is_empty() { "" } else { ",\n" };
        format!("{comma}{}", texts.join(",\n")).into_bytes()
    };
    export(app, Typed::new(pairs), "records.json", "application/json", ["[\n", "\n]\n"], rows).await
}

/// Where an export stands.
enum At {
    Head(Filter),
    Rows(Filter, bool),
    Over,
}

/// Sends the whole list as a file, read piece by piece, so that a long one needs no more memory than a short one.
async fn export(
    app: Arc<App>,
    typed: Typed,
    name: &'static str,
    kind: &'static str,
    [head, foot]: [&'static str; 2],
    rows: impl Fn(&[Listed], bool) -> Vec<u8> + Clone + Send + 'static,
) -> Answer {
    let start = filter(&app.ledger, &typed).await?;
    // What is wrong with the filter is told now, not in the middle of the file.
    app.ledger.entries(&start, 1).await?;
    let pieces = stream::try_unfold(At::Head(start), move |at| {
        let (app, rows) = (app.clone(), rows.clone());
        async move {
            Ok::<_, ledger::Error>(match at {
                At::Head(filter) => Some((head.as_bytes().to_vec(), At::Rows(filter, true))),
                At::Rows(mut filter, is_first) => {
                    let listed = app.ledger.entries(&filter, GO).await?;
                    match listed.last().map(|last| (last.entry.at, last.entry.id)) {
                        Some(last) => {
                            filter.before = Some(last);
                            Some((rows(&listed, is_first), At::Rows(filter, false)))
                        }
                        None => Some((foot.as_bytes().to_vec(), At::Over)),
                    }
                }
                At::Over => None,
            })
        }
    });
    let headers = [
        (header::CONTENT_TYPE, kind.to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
    ];
    let response: Response = (headers, Body::from_stream(pieces)).into_response();
    Ok(Reply::Other(Box::new(response)))
}
