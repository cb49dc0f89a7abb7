//! *Stores*: what is there, what came and went, how it is bought, and what to buy by when.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use jiff::ToSpan;
use jiff::civil::Date;
use maud::{Markup, html};
use upkeep::Event;
use upkeep::shop::Item;
use upkeep::stores::Line;

use super::super::act::{act, said};
use super::super::app::App;
use super::super::asked::{Form, Paged, Path};
use super::super::desk::{self, Found, USUAL_REVIEW_DAYS};
use super::super::form::{Field, Refusal, Typed, sentence};
use super::super::frame::{Around, Page, Place};
use super::super::glance::Glance;
use super::super::guard::May;
use super::super::reply::{Answer, Failed, Reply, encoded};
use super::super::sending::{Sending, role_wanted};
use super::records::entry_address;
use crate::cli::{self, Command, StoresWord};
use crate::commands::buy::List;
use crate::commands::stores::{amount_coming, ordered_words, received_words, remarks, terms_words, told};
use crate::trouble::Trouble;
use crate::words;

/// Items on one page.
const ROWS: usize = 100;
/// Movements that an item's page shows.
const MOVEMENTS: usize = 20;
/// Uses are shown of so many days: twelve weeks.
const USED_DAYS: i64 = 84;

type Pairs = Vec<(String, String)>;

pub(in super::super) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Paged(typed, page): Paged,
) -> Answer {
    Ok(Reply::Page(list(&app, &around, &typed, page, &Refusal::default()).await?))
}

async fn list(app: &Arc<App>, around: &Around, typed: &Typed, page: usize, refusal: &Refusal) -> Result<Page, Failed> {
    let glance = app.glance().await?;
    let shopping = desk::shopping(app).await?;
    let body = html! {
        (lacking(&glance)?)
        (table(&glance, &shopping, typed, page))
        (new_forms(refusal, &around.visitor.may))
    };
    Ok(Page::new(around, Place::Stores, "/stores", "Stores", body).passing_if(shopping.is_being_made()))
}

/// Items of which the visits that people have been told of need more than there is.
fn lacking(glance: &Glance) -> Result<Markup, Failed> {
    let lacks = glance.lacks()?;
    Ok(html! {
        @if !lacks.is_empty() {
            section aria-labelledby="lacking" {
                h2 #lacking { "Lacking for the visits to come" }
                table.stacks {
                    thead {
                        tr {
                            th scope="col" { "Item" } th.figure scope="col" { "Needed" } th.figure scope="col" { "There" }
                            th scope="col" { "First visit that lacks it" } th scope="col" { "Enough by" }
                        }
                    }
                    tbody {
                        @for (told, lack) in &lacks {
                            tr {
                                th scope="row" { (item_link(&lack.item)) }
                                td.figure data-name="Needed" { (self::told(lack.needed, &lack.unit)) }
                                td.figure data-name="There" { (self::told(lack.there.unwrap_or(0.0), &lack.unit)) }
                                td data-name="First visit that lacks it" {
                                    a href={ "/visits/" (told.id) } { (told.machine) ", " (words::weekday(told.visit.day, glance.now.date())) }
                                }
                                td data-name="Enough by" {
                                    @match lack.earliest {
                                        Some(day) => (words::weekday(day, glance.now.date())),
                                        None => "not on its way, and nobody said how it is bought",
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    })
}

fn table(glance: &Glance, shopping: &Found<List>, typed: &Typed, page: usize) -> Markup {
    let today = glance.now.date();
    let wanted = typed.text("find").to_lowercase();
    let only_to_buy = typed.is_ticked("to-buy");
    let line =
        |item: &Item| shopping.any().and_then(|list| list.shopping.lines.iter().find(|line| line.item == item.name));
    let is_known = |item: &&Item| item.stock.is_some() || item.terms.is_some();
    let supplier = |item: &Item| item.terms.as_ref().map_or(String::new(), |terms| terms.supplier.clone());
    let fits = |item: &&Item| {
        (item.name.to_lowercase().contains(&wanted) || supplier(item).to_lowercase().contains(&wanted))
            && (!only_to_buy || line(item).is_some())
    };
    let items: Vec<&Item> = glance.items().iter().filter(is_known).filter(fits).collect();
    let n_pages = items.len().div_ceil(ROWS).max(1);
    let page = page.min(n_pages);
    let address = |page: usize| {
        let to_buy = if only_to_buy { "&to-buy=on" } else { "" };
        format!("/stores?find={}&page={page}{to_buy}", encoded(&typed.text("find")))
    };
    html! {
        section aria-labelledby="there" {
            h2 #there { "What is there" }
            form.row method="get" action="/stores" {
                p.field {
                    label for="find" { "Item or supplier" }
                    input #find name="find" type="search" value=(typed.text("find"));
                }
                p { label { input type="checkbox" name="to-buy" checked[only_to_buy]; " Only what to buy" } }
                button.quiet { "Show" }
            }
            @match shopping {
                Found::Fresh(_) => {},
                Found::Old(_) | Found::Reckoning => p.hint { "What to buy is being reckoned; look again in a moment." },
                Found::Failed(trouble) => p.hint { (sentence(trouble.what())) },
            }
            @if items.is_empty() { p { "Nothing here. What came, or was counted, is recorded below." } } @else {
                table.stacks {
                    caption { (words::count(items.len() as u64, "items")) }
                    thead {
                        tr {
                            th scope="col" { "Item" } th.figure scope="col" { "There" } th scope="col" { "Good to" }
                            th.figure scope="col" { "On its way" } th.figure scope="col" { "Reorder at" } th scope="col" { "Order by" } th scope="col" { "Supplier" }
                            th scope="col" { "To be seen to" }
                        }
                    }
                    tbody {
                        @for item in items.iter().skip((page - 1) * ROWS).take(ROWS) {
                            @let line = line(item);
                            tr {
                                th scope="row" { (item_link(&item.name)) }
                                td.figure data-name="There" { (stock(item)) }
                                td data-name="Good to" { @if let Some(day) = item.expires() { (words::day(day, today)) } }
                                td.figure data-name="On its way" { @if let Some(coming) = amount_coming(item, today) { (coming) } }
                                td.figure data-name="Reorder at" { (point(shopping, item)) }
                                td data-name="Order by" { @if let Some(line) = line { strong { (words::weekday(line.order_by, today)) } } }
                                td data-name="Supplier" { (supplier(item)) }
                                td data-name="To be seen to" { (remarks(item, today)) }
                            }
                        }
                    }
                }
            }
            @if 1 < n_pages {
                nav.row.middle aria-label="Items" {
                    span { "Page " (page) " of " (n_pages) }
                    @if 1 < page { a.step href=(address(page - 1)) { "← before" } }
                    @if page < n_pages { a.step href=(address(page + 1)) { "next →" } }
                }
            }
        }
    }
}

fn stock(item: &Item) -> String {
    item.stock.map_or_else(|| "not known".to_owned(), |stock| told(stock, &item.unit))
}

fn point(shopping: &Found<List>, item: &Item) -> String {
    let point = shopping.any().and_then(|list| list.shopping.points.get(&item.name));
    point.map_or_else(String::new, |point| told(*point, &item.unit))
}

fn item_link(name: &str) -> Markup {
    html! { a href=(item_address(name)) { (name) } }
}

fn item_address(name: &str) -> String {
    format!("/stores/item/{}", encoded(name))
}

/// What is not in the list yet.
fn new_forms(refusal: &Refusal, may: &May) -> Markup {
    const FORM: &str = "new";
    const TO: &str = "/stores/new";
    html! {
        section aria-labelledby="new" {
            h2 #new { "Something that is not in the list" }
            (Sending::to(TO).show(may, html! {
                (Field { required: true, ..Field::text(FORM, "item", "Supply or spare") }.show(refusal))
                (Field { required: true, hint: "With its unit: 100 ml, 0.5 kg, 5.", ..Field::text(FORM, "amount", "How much is there") }.show(refusal))
                p { label { input type="checkbox" name="new" checked[refusal.is_of(FORM) && refusal.typed.is_ticked("new")]; " It is a thing of its own, however near its name is to another" } }
                (refusal.shown(FORM))
                button { "Record the count" }
            }))
            (role_wanted(may, TO, "Counting it in"))
        }
    }
}

// One item ------------------------------------------------------------------------------------------------------------

pub(in super::super) async fn item(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(name): Path<String>,
) -> Answer {
    item_page(&app, &around, &name, &Refusal::default()).await
}

async fn item_page(app: &Arc<App>, around: &Around, name: &str, refusal: &Refusal) -> Answer {
    let now = app.now();
    let today = now.date();
    let from = today.saturating_sub(USED_DAYS.days()).to_zoned_datetime(now.time_zone().clone()).ok();
    let items = app.ledger.stores(from.map(|from| from.timestamp())).await?;
    let Some(item) = items.iter().find(|item| item.name.to_lowercase() == name.to_lowercase()) else {
        return super::missing(around, &format!("the stores have nothing called \"{name}\""));
    };
    let currency = app.ledger.rates().await?.currency;
    let shopping = desk::shopping(app).await?;
    let said = app.ledger.of_the_shop().await?;
    let body = html! {
        p { a href="/stores" { "All items" } }
        (facts(item, &shopping, today, &currency))
        (batches(item, today, &currency, app))
        (recording(item, refusal, &around.visitor.may))
        (movements(item, &said, app))
    };
    let page = Page::new(around, Place::Stores, "", item.name.clone(), body).passing_if(shopping.is_being_made());
    Ok(if refusal.trouble.is_some() { Reply::Refused(page) } else { Reply::Page(page) })
}

fn facts(item: &Item, shopping: &Found<List>, today: Date, currency: &str) -> Markup {
    let remarks = remarks(item, today);
    let line =
        shopping.any().and_then(|list| Some((list, list.shopping.lines.iter().find(|line| line.item == item.name)?)));
    html! {
        dl.facts {
            dt { "There" } dd { (stock(item)) @if 0.0 < item.value() { ", cost " (words::money(item.value(), currency)) } }
            @for order in item.coming.iter().filter(|order| !order.is_late(today)) {
                dt { "On its way" }
                dd {
                    a href=(entry_address(order.entry)) { (told(order.amount, &item.unit)) }
                    @if !order.supplier.is_empty() { " from " (order.supplier) }
                    ", to come by " (words::day(order.by, today))
                }
            }
            @if !remarks.is_empty() { dt { "To be seen to" } dd { (sentence(&remarks)) } }
            @if let Some(terms) = &item.terms { dt { "Bought" } dd { (sentence(terms_words(terms).trim_start_matches("bought: "))) } }
            @else { dt { "Bought" } dd { "Nobody has said how." } }
            @if let Some((list, line)) = line {
                dt { "To buy" }
                dd { (list.packs(line)) " by " (words::weekday(line.order_by, today)) ": " (sentence(&list.why(line))) }
            }
        }
    }
}

fn batches(item: &Item, today: Date, currency: &str, app: &App) -> Markup {
    html! {
        @if !item.batches.is_empty() {
            section aria-labelledby="batches" {
                h2 #batches { "Batches, first out first" }
                table.stacks {
                    thead {
                        tr {
                            th scope="col" { "Came" } th.figure scope="col" { "Left" } th scope="col" { "Good to" } th.figure scope="col" { "Cost of what is left" }
                        }
                    }
                    tbody {
                        @for batch in &item.batches {
                            tr {
                                th scope="row" { a href=(entry_address(batch.entry)) { (day_of(batch.at, app, today)) } }
                                td.figure data-name="Left" { (told(batch.amount, &item.unit)) }
                                td data-name="Good to" {
                                    @match batch.expires {
                                        Some(day) if day < today => strong { (words::day(day, today)) ", no longer good" },
                                        Some(day) => (words::day(day, today)),
                                        None => "not said",
                                    }
                                }
                                td.figure data-name="Cost of what is left" {
                                    @if let Some(each) = batch.price_each { (words::money(each * batch.amount, currency)) } @else { "not said" }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn day_of(at: jiff::Timestamp, app: &App, today: Date) -> String {
    words::day(app.ledger.shop().zone.to_datetime(at).date(), today)
}

/// The last entries about an item and the days on which care used it, the newest first.
fn movements(item: &Item, entries: &[upkeep::Entry], app: &App) -> Markup {
    let today = app.now().date();
    let zone = &app.ledger.shop().zone;
    let is_it = |name: &str| name.to_lowercase() == item.name.to_lowercase();
    let entry = |entry: &upkeep::Entry| {
        let words = match &entry.event {
            Event::Ordered(ordered) if is_it(&ordered.item) => ordered_words(ordered, today),
            Event::Received(received) if is_it(&received.item) => received_words(received, today),
            Event::Counted(counted) if is_it(&counted.item) => format!("counted: {}", counted.amount),
            Event::ThrownAway(thrown) if is_it(&thrown.item) => {
                format!("thrown away: {}, {}", thrown.amount, thrown.why)
            }
            Event::Terms(terms) if is_it(&terms.item) => terms_words(terms),
            _ => return None,
        };
        Some((zone.to_datetime(entry.at).date(), words, Some(entry.id)))
    };
    let used = item.used.iter().map(|(day, amount)| (*day, format!("used: {}", told(*amount, &item.unit)), None));
    let mut all: Vec<_> = entries.iter().filter_map(entry).chain(used).collect();
    all.sort_by_key(|(day, _, entry)| std::cmp::Reverse((*day, *entry)));
    html! {
        section aria-labelledby="movements" {
            h2 #movements { "What came and went" }
            p.hint { "Uses are of the last twelve weeks, a line for each day." }
            @if all.is_empty() { p { "Nothing yet." } } @else {
                table.stacks {
                    thead { tr { th scope="col" { "Day" } th scope="col" { "What" } } }
                    tbody {
                        @for (day, words, entry) in all.iter().take(MOVEMENTS) {
                            tr {
                                th scope="row" { @match entry { Some(entry) => { a href=(entry_address(*entry)) { (words::day(*day, today)) } }, None => (words::day(*day, today)) } }
                                td { (sentence(words)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The forms that record what happens to an item, and how it is bought.
fn recording(item: &Item, refusal: &Refusal, may: &May) -> Markup {
    let action = |what: &str| format!("{}/{what}", item_address(&item.name));
    let unit = if item.unit.is_empty() { "In pieces.".to_owned() } else { format!("With its unit, as {}.", item.unit) };
    let amount = |form: &'static str, label: &'static str| {
        Field { required: true, hint: &unit, ..Field::text(form, "amount", label) }.show(refusal)
    };
    let form = |name: &str, title: &str, press: &str, fields: Markup| {
        let fields = html! {
            (fields)
            (refusal.shown(name))
            button { (press) }
        };
        Sending::to(&action(name)).folded(may, title, refusal.is_of(name), fields)
    };
    let terms = item.terms.as_ref();
    let usual = |text: Option<String>| text.unwrap_or_default();
    let (supplier, lead, pack, price, service) = (
        usual(terms.map(|terms| terms.supplier.clone())),
        usual(terms.map(|terms| words::count(terms.lead_days.into(), "days"))),
        usual(terms.map(|terms| terms.pack.clone())),
        usual(terms.and_then(|terms| terms.price).map(|price| price.to_string())),
        usual(terms.map(|terms| words::percent(terms.service))),
    );
    let by_hint = match terms {
        Some(_) => "A day: friday, 12 Dec. Empty: as long from today as it usually takes.",
        None => "A day: friday, 12 Dec.",
    };
    html! {
        section aria-labelledby="record" {
            h2 #record { "Record" }
            (form("order", "Something was ordered", "Record the order", html! {
                (amount("order", "How much was ordered"))
                (Field { hint: by_hint, ..Field::text("order", "by", "To come by") }.show(refusal))
                (Field { value: &supplier, ..Field::text("order", "supplier", "From") }.show(refusal))
                (Field::text("order", "note", "Note").show(refusal))
            }))
            (form("receive", "Something came", "Record that it came", html! {
                (amount("receive", "How much came"))
                (Field { kind: "number", ..Field::text("receive", "price", "What all of it cost") }.show(refusal))
                (Field { hint: "A month or a day: 2028-01, 2028-01-15.", ..Field::text("receive", "expires", "Good to") }.show(refusal))
                (Field { value: &supplier, ..Field::text("receive", "supplier", "From") }.show(refusal))
                (Field::text("receive", "note", "Note").show(refusal))
            }))
            (form("count", "A count", "Record the count", html! {
                (amount("count", "How much is there"))
                (Field::text("count", "note", "Note").show(refusal))
            }))
            (form("discard", "Something is thrown away", "Record that it goes", html! {
                (amount("discard", "How much"))
                (Field { required: true, ..Field::text("discard", "why", "Why") }.show(refusal))
            }))
            (form("terms", "How it is bought", "Keep this", html! {
                (Field { value: &supplier, ..Field::text("terms", "supplier", "Supplier") }.show(refusal))
                (Field { value: &lead, hint: "10 days, 2 weeks.", ..Field::text("terms", "lead", "From order to shelf") }.show(refusal))
                (Field { value: &pack, hint: &unit, ..Field::text("terms", "pack", "How much a pack holds") }.show(refusal))
                (Field { value: &price, kind: "number", ..Field::text("terms", "price", "What a pack costs") }.show(refusal))
                (Field { value: &service, hint: "The share of waits for an order in which it may not run out.",
                         ..Field::text("terms", "service", "At hand in") }.show(refusal))
            }))
            (role_wanted(may, &action("count"), "Recording what was ordered, came, went or was counted"))
        }
    }
}

fn moved(item: &str, typed: &Typed) -> cli::Move {
    cli::Move { item: item.to_owned(), amount: typed.text("amount"), when: "now".to_owned(), note: typed.text("note") }
}

/// Records what happened to an item, in the words of the command line.
pub(in super::super) async fn record(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path((name, what)): Path<(String, String)>,
    Form(pairs): Form<Pairs>,
) -> Answer {
    let typed = Typed::new(pairs);
    let word = match what.as_str() {
        "order" => Ok(StoresWord::Order(cli::Order {
            moved: moved(&name, &typed),
            by: typed.some("by"),
            supplier: typed.some("supplier"),
            new: false,
        })),
        "receive" => typed.number("price", "What all of it cost").map(|price| {
            StoresWord::Receive(cli::Receive {
                moved: moved(&name, &typed),
                price,
                expires: typed.some("expires"),
                supplier: typed.text("supplier"),
                new: false,
            })
        }),
        "count" => Ok(StoresWord::Count(cli::Count { moved: moved(&name, &typed), new: false })),
        "discard" => Ok(StoresWord::Discard(cli::Discard { moved: moved(&name, &typed), why: typed.text("why") })),
        _ => return super::missing(&around, "no page has that address"),
    };
    carry_out(&app, &around, &name, &what, typed, word).await
}

/// Says how an item is bought.
pub(in super::super) async fn terms(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(name): Path<String>,
    Form(pairs): Form<Pairs>,
) -> Answer {
    let typed = Typed::new(pairs);
    let share = typed
        .some("service")
        .map(|text| {
            cli::share(&text)
                .map_err(|why| Trouble::refused(format!("at hand in: {why}")).help("write it as 95 % or 0.95"))
        })
        .transpose();
    let word = typed.number("price", "What a pack costs").and_then(|price| {
        Ok(StoresWord::Terms(cli::Terms {
            item: name.clone(),
            supplier: Some(typed.text("supplier")),
            lead: typed.some("lead"),
            pack: typed.some("pack"),
            price,
            service: share?,
            new: false,
            note: String::new(),
        }))
    });
    carry_out(&app, &around, &name, "terms", typed, word).await
}

async fn carry_out(
    app: &Arc<App>,
    around: &Around,
    name: &str,
    form: &str,
    typed: Typed,
    word: Result<StoresWord, Trouble>,
) -> Answer {
    let done = match word {
        Ok(word) => act(app, &Command::Stores(cli::Stores { what: Some(word) })).await,
        Err(trouble) => Err(trouble),
    };
    match done {
        Ok(answer) => {
            // Who orders a whole list goes on with the list.
            let to = if typed.is_ticked("from-list") { "/stores/buy".to_owned() } else { item_address(name) };
            Ok(Reply::Done { to, said: sentence(&said(&answer)) })
        }
        Err(trouble) => item_page(app, around, name, &Refusal::new(form, trouble, typed)).await,
    }
}

/// Counts something that is not in the list yet.
pub(in super::super) async fn add(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Form<Pairs>,
) -> Answer {
    let typed = Typed::new(pairs);
    let name = typed.text("item");
    let word = StoresWord::Count(cli::Count { moved: moved(&name, &typed), new: typed.is_ticked("new") });
    match act(&app, &Command::Stores(cli::Stores { what: Some(word) })).await {
        Ok(answer) => Ok(Reply::Done { to: item_address(&name), said: sentence(&said(&answer)) }),
        Err(trouble) => {
            let refusal = Refusal::new("new", trouble, typed);
            Ok(Reply::Refused(list(&app, &around, &Typed::default(), 1, &refusal).await?))
        }
    }
}

// What to buy ---------------------------------------------------------------------------------------------------------

pub(in super::super) async fn buy(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    let glance = app.glance().await?;
    let today = glance.now.date();
    let found = desk::shopping(&app).await?;
    let body = html! {
        @match &found {
            Found::Fresh(list) => (shopping_list(list, today, &around.visitor.may)),
            Found::Old(list) => { p.said role="status" { "Something was recorded since; the list is being reckoned anew." } (shopping_list(list, today, &around.visitor.may)) }
            Found::Reckoning => p.said role="status" { "What to buy is being reckoned; this page shows it when it is there." },
            Found::Failed(trouble) => (super::super::form::trouble(trouble)),
        }
    };
    let page = Page::new(&around, Place::Stores, "/stores/buy", "To buy", body);
    Ok(Reply::Page(if found.is_being_made() { page.looking_again() } else { page }))
}

/// A form of one press that records that so much of an item was ordered.
fn ordering(amount: &str, item: &str, may: &May) -> Markup {
    let form = html! {
        input type="hidden" name="amount" value=(amount);
        input type="hidden" name="from-list" value="on";
        button.quiet aria-label={ "Record that " (amount) " of " (item) " was ordered" } { "It is ordered" }
    };
    Sending::to(&format!("{}/order", item_address(item))).show(may, form)
}

fn shopping_list(list: &List, today: Date, may: &May) -> Markup {
    let mut by_supplier: BTreeMap<&str, Vec<&Line>> = BTreeMap::new();
    for line in &list.shopping.lines {
        by_supplier.entry(&line.supplier).or_default().push(line);
    }
    html! {
        p {
            "What can't wait until the shop orders again, " (words::within(USUAL_REVIEW_DAYS)) ". "
            @if list.shopping.lines.is_empty() { strong { "Nothing must be ordered." } } @else {
                "In all " strong { (words::money(list.sum(), &list.currency)) }
                @if list.shopping.lines.iter().any(|line| line.cost.is_none()) { ", as far as prices were told" } "."
            }
        }
        @for (supplier, lines) in &by_supplier {
            section.supplier {
                h2 { @if supplier.is_empty() { "Supplier not said" } @else { (supplier) } }
                table.stacks {
                    thead {
                        tr {
                            th scope="col" { "Item" } th scope="col" { "Order by" } th.figure scope="col" { "Packs" }
                            th.figure scope="col" { "Cost" } th scope="col" { "Why" }
                            th.no-print scope="col" { "Ordered" }
                        }
                    }
                    tbody {
                        @for line in lines {
                            tr {
                                th scope="row" { (item_link(&line.item)) }
                                td data-name="Order by" { (words::weekday(line.order_by, today)) }
                                td.figure data-name="Packs" { (list.packs(line)) }
                                td.figure data-name="Cost" { @if let Some(cost) = line.cost { (words::money(cost, &list.currency)) } @else { "not said" } }
                                td data-name="Why" { (sentence(&list.why(line))) }
                                td.no-print { (ordering(&list.amount(line), &line.item, may)) }
                            }
                        }
                    }
                }
            }
        }
        @if !list.shopping.uncounted.is_empty() {
            p { "Taken to be none, since they were never counted: " (list.shopping.uncounted.join(", ")) "." }
        }
        @if !list.shopping.unsaid.is_empty() {
            section aria-labelledby="unsaid" {
                h2 #unsaid { "Nobody has said how these are bought" }
                p { "Count it first, 0 if there is none, under " a href="/stores#new" { "Items" } "; its own page then takes how it is bought." }
                table.stacks {
                    thead {
                        tr { th scope="col" { "Item" } th.figure scope="col" { "Needed" } th scope="col" { "From" } th.figure scope="col" { "There" } }
                    }
                    tbody {
                        @for unsaid in &list.shopping.unsaid {
                            tr {
                                th scope="row" { (unsaid.item) }
                                td.figure data-name="Needed" { @if unsaid.first.is_some() { (told(unsaid.needed, &unsaid.unit)) } }
                                td data-name="From" { @if let Some(first) = unsaid.first { (words::weekday(first, today)) } }
                                td.figure data-name="There" {
                                    @match unsaid.there { Some(there) => (told(there, &unsaid.unit)), None => "not known" }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
