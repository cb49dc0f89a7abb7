//! `tallow stores`: what is there, what was ordered, what came, what was counted and thrown away, and how it is bought.

use jiff::civil::Date;
use jiff::{Timestamp, ToSpan, ZonedDateTime};
use ledger::{Ledger, NewEntry};
use serde_json::{Value, json};
use upkeep::amount;
use upkeep::shop::{self, Batch, Coming, Counted, Item, Kept, Measured, Ordered, Received, Terms, ThrownAway};
use upkeep::{EntryId, Event, Unknown};

use crate::cli::{self, StoresWord};
use crate::commands::buy;
use crate::commands::keeper::refused;
use crate::commands::record::say_recorded;
use crate::context::Context;
use crate::out::{Align, Dress, Table, remark};
use crate::trouble::Trouble;
use crate::{when, words};

pub(crate) async fn stores(context: &Context, args: &cli::Stores) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    match &args.what {
        None => list(context, &ledger).await,
        Some(StoresWord::Order(args)) => order(context, &ledger, args).await,
        Some(StoresWord::Receive(args)) => receive(context, &ledger, args).await,
        Some(StoresWord::Count(args)) => count(context, &ledger, args).await,
        Some(StoresWord::Discard(args)) => discard(context, &ledger, args).await,
        Some(StoresWord::Terms(args)) => terms(context, &ledger, args).await,
        Some(StoresWord::Buy(args)) => buy::buy(context, &ledger, args).await,
    }
}

// Showing -------------------------------------------------------------------------------------------------------------

async fn list(context: &Context, ledger: &Ledger) -> Result<(), Trouble> {
    let mut items = ledger.stores(None).await?;
    // What care uses and the stores know nothing of is for whoever plans purchases.
    items.retain(|item| item.stock.is_some() || item.terms.is_some() || !item.coming.is_empty());
    let today = context.now_in(ledger).date();
    if context.json {
        return context.out.json(&items.iter().map(|item| shape(item, today)).collect());
    }
    if items.is_empty() {
        return context.out.prose("", NOTHING);
    }
    let columns = [
        ("item", Align::Left),
        ("in stock", Align::Right),
        ("good to", Align::Left),
        ("counted", Align::Left),
        ("on its way", Align::Left),
        ("", Align::Left),
    ];
    let mut table = Table::new(columns);
    for item in &items {
        let counted = item.counted.map(|at| ledger.shop().zone.to_datetime(at).date());
        let day = |day: Option<Date>| day.map_or_else(String::new, |day| words::day(day, today));
        let stock = item.stock.map_or_else(|| "not known".to_owned(), |stock| told(stock, &item.unit));
        let coming = on_its_way(item, today);
        let cells = [item.name.clone(), stock, day(item.expires()), day(counted), coming, remarks(item, today)];
        table.row(cells, Dress::Plain);
    }
    let nothing = items.iter().all(|item| item.on_its_way(today) == 0.0);
    let table = if nothing { table.without("on its way") } else { table };
    context.out.table(&table)?;
    let currency = ledger.rates().await?.currency;
    // The sum of nothing is −0; 0 + −0 is 0.
    let value = 0.0 + items.iter().map(Item::value).sum::<f64>();
    let all = match items.iter().any(|item| 0.0 < item.unpriced()) {
        true => ", as far as prices were told",
        false => "",
    };
    context.out.line(format!("\nWhat is there cost {}{all}.", words::money(value, &currency)))
}

const NOTHING: &str = "Nothing is known of the stores yet. To begin, count: tallow stores count \"lint-free wipe\" 40; or say \
                       what came: tallow stores receive \"ISO VG 32 light oil\" \"100 ml\" --price 9.50";

/// What is to come by when: `100 ml by 4 Dec; 50 ml by 12 Dec`. What is late is a remark.
fn on_its_way(item: &Item, today: Date) -> String {
    let coming = item.coming.iter().filter(|order| !order.is_late(today));
    let words = |order: &Coming| format!("{} by {}", told(order.amount, &item.unit), words::near_day(order.by, today));
    coming.map(words).collect::<Vec<_>>().join("; ")
}

/// What should have come: `100 ml late since 20 Nov (entry 12)`.
pub(crate) fn late_words(item: &Item, today: Date) -> Vec<String> {
    let late = item.coming.iter().filter(|order| order.is_late(today));
    let words = |order: &Coming| {
        let amount = told(order.amount, &item.unit);
        format!("{amount} late since {} (entry {})", words::day(order.by, today), order.entry)
    };
    late.map(words).collect()
}

/// What is to be seen to.
pub(crate) fn remarks(item: &Item, today: Date) -> String {
    let expired = item.expired(today);
    [
        item.fell_short.then(|| "count it: more was used than came".to_owned()),
        (0 < item.unclear)
            .then(|| format!("count it: {} of no known amount", words::count(item.unclear.into(), "uses"))),
        (0.0 < expired).then(|| format!("{} no longer good", told(expired, &item.unit))),
    ]
    .into_iter()
    .flatten()
    .chain(late_words(item, today))
    .collect::<Vec<_>>()
    .join("; ")
}

/// An amount with its unit, to a hundredth: `124.5 ml`, `5`.
pub(crate) fn told(amount: f64, unit: &str) -> String {
    // Nought has no sign.
    format!("{} {unit}", (amount * 100.0).round() / 100.0 + 0.0).trim_end().to_owned()
}

fn shape(item: &Item, today: Date) -> Value {
    let batch = |batch: &Batch| {
        json!({
            "entry": batch.entry.0, "at": batch.at.to_string(), "amount": batch.amount,
            "expires": batch.expires.map(|day| day.to_string()), "price_each": batch.price_each,
        })
    };
    let coming = |order: &Coming| {
        json!({
            "entry": order.entry.0, "amount": order.amount, "by": order.by.to_string(), "supplier": order.supplier,
            "late": order.is_late(today),
        })
    };
    json!({
        "item": item.name, "unit": item.unit, "stock": item.stock, "wants_count": item.wants_count(),
        "unclear_uses": item.unclear, "counted": item.counted.map(|at| at.to_string()), "value": item.value(),
        "unpriced": item.unpriced(), "expired": item.expired(today), "expires": item.expires().map(|day| day.to_string()),
        "batches": item.batches.iter().map(batch).collect::<Value>(),
        "coming": item.coming.iter().map(coming).collect::<Value>(), "terms": item.terms.as_ref().map(terms_shape),
    })
}

/// Terms as JSON.
pub(crate) fn terms_shape(terms: &Terms) -> Value {
    json!({
        "item": terms.item, "supplier": terms.supplier, "lead_days": terms.lead_days, "pack": terms.pack,
        "price": terms.price, "service": terms.service,
    })
}

/// What an entry says of an order: `ordered: 100 ml of light oil from chandler, to come by 4 Dec`.
pub(crate) fn ordered_words(ordered: &Ordered, today: Date) -> String {
    let Ordered { item, amount, by, supplier } = ordered;
    format!("ordered: {amount} of {item}{}, to come by {}", from_words(supplier), words::day(*by, today))
}

/// ` from chandler`; nothing where nobody is named.
fn from_words(supplier: &str) -> String {
    if supplier.is_empty() { String::new() } else { format!(" from {supplier}") }
}

/// What an entry says of a delivery: `received: 100 ml of light oil for 9.50, good to 31 Jan 2028`.
pub(crate) fn received_words(received: &Received, today: Date) -> String {
    let price = received.price.map(|price| format!(" for {}", words::money(price, "")));
    let expires = received.expires.map(|day| format!(", good to {}", words::day(day, today)));
    let more: String = [price, expires].into_iter().flatten().collect();
    format!("received: {} of {}{}{more}", received.amount, received.item, from_words(&received.supplier))
}

/// What an entry says of how something is bought.
pub(crate) fn terms_words(terms: &Terms) -> String {
    let supplier = from_words(&terms.supplier);
    let price = terms.price.map_or_else(String::new, |price| format!(" for {}", words::money(price, "")));
    let days = words::count(terms.lead_days.into(), "days");
    format!("bought: {}{supplier}, {days} after it is ordered, {} a pack{price}", terms.item, terms.pack)
        + &format!(", at hand in {} of waits", words::percent(terms.service))
}

// Recording -----------------------------------------------------------------------------------------------------------

async fn order(context: &Context, ledger: &Ledger, args: &cli::Order) -> Result<(), Trouble> {
    let item = known(ledger, &args.moved.item, args.new).await?;
    let at = when::past(&args.moved.when, &context.now_in(ledger))?;
    let terms = terms_of(ledger, &item.name).await?;
    let by = match (&args.by, &terms) {
        (Some(text), _) => to_come(text, &at)?,
        (None, Some(terms)) => at.date().saturating_add(i32::from(terms.lead_days).days()),
        (None, None) => {
            return Err(Trouble::refused(format!("it is not said when {} will come", item.name))
                .help("add --by DAY")
                .help(format!(
                    "or say how it is bought: tallow stores terms \"{}\" --lead \"10 days\" --pack AMOUNT",
                    item.name
                )));
        }
    };
    let supplier = args.supplier.as_ref().map(|supplier| supplier.trim().to_owned());
    let supplier = supplier.or(terms.map(|terms| terms.supplier)).unwrap_or_default();
    let ordered = Ordered { amount: amount_of(&item, &args.moved.amount)?, item: item.name, by, supplier };
    ordered.check().map_err(|error| refused(&error))?;
    let said = ordered_words(&ordered, at.date());
    record(context, ledger, &args.moved, Event::Ordered(ordered), &said).await
}

/// How an item is bought, where somebody said so.
async fn terms_of(ledger: &Ledger, name: &str) -> Result<Option<Terms>, Trouble> {
    Ok(ledger.stores(None).await?.into_iter().find(|item| item.name == name).and_then(|item| item.terms))
}

/// The longest that one waits for an order, in years. Judgement, no source; it catches slips of the finger.
const LONGEST_WAIT: i32 = 2;

/// The day by which an order of `at` is to come.
fn to_come(text: &str, at: &ZonedDateTime) -> Result<Date, Trouble> {
    let by = when::coming_day(text, at)?;
    match at.date().saturating_add(LONGEST_WAIT.years()) < by {
        true => Err(Trouble::refused(format!("{by} is more than {LONGEST_WAIT} years after it was ordered"))
            .help("check the year")),
        false => Ok(by),
    }
}

async fn receive(context: &Context, ledger: &Ledger, args: &cli::Receive) -> Result<(), Trouble> {
    let now = context.now_in(ledger);
    let item = known(ledger, &args.moved.item, args.new).await?;
    let expires = args.expires.as_ref().map(|text| good_to(text, now.date())).transpose()?;
    let supplier = args.supplier.trim().to_owned();
    let received = Received {
        amount: amount_of(&item, &args.moved.amount)?,
        item: item.name,
        price: args.price,
        expires,
        supplier,
    };
    received.check().map_err(|error| refused(&error))?;
    if let Some(day) = expires.filter(|day| *day < now.date()) {
        remark(&format!("{} was good to {day} only; look before you use it", received.item));
    }
    let said = received_words(&received, now.date());
    record(context, ledger, &args.moved, Event::Received(received), &said).await
}

async fn count(context: &Context, ledger: &Ledger, args: &cli::Count) -> Result<(), Trouble> {
    let item = known(ledger, &args.moved.item, args.new).await?;
    if item.unit.is_none() && !args.new {
        return Err(unheard_of(ledger, &item.name).await?);
    }
    let counted = Counted { amount: amount_of(&item, &args.moved.amount)?, item: item.name };
    let said = format!("counted: {} of {}", counted.amount, counted.item);
    record(context, ledger, &args.moved, Event::Counted(counted), &said).await
}

/// What was counted, but never came and is in no list.
async fn unheard_of(ledger: &Ledger, name: &str) -> Result<Trouble, Trouble> {
    let names = shop::kept(&ledger.of_the_shop().await?).into_iter().map(|kept| kept.name).collect();
    Ok(Trouble::from(Unknown::new("item of the stores", name, names))
        .help("if it is a thing of its own, say so: --new"))
}

async fn discard(context: &Context, ledger: &Ledger, args: &cli::Discard) -> Result<(), Trouble> {
    let item = there(ledger, &args.moved.item).await?;
    let why = args.why.trim().to_owned();
    let thrown = ThrownAway { amount: amount_of(&item, &args.moved.amount)?, item: item.name, why };
    thrown.check().map_err(|error| refused(&error))?;
    enough(ledger, &thrown, when::past(&args.moved.when, &context.now_in(ledger))?.timestamp(), None).await?;
    let said = format!("thrown away: {} of {}", thrown.amount, thrown.item);
    record(context, ledger, &args.moved, Event::ThrownAway(thrown), &said).await
}

/// Refuses to throw away more than there was then, or is now if it has not been counted since: a count tells nothing of what
/// was there before. Where nothing was counted nobody knows. `instead_of` is the entry that it stands in the place of.
pub(crate) async fn enough(
    ledger: &Ledger,
    thrown: &ThrownAway,
    at: Timestamp,
    instead_of: Option<EntryId>,
) -> Result<(), Trouble> {
    for (moment, is) in [(Timestamp::MAX, "is there"), (at, "was there then")] {
        let items = ledger.stores_at(moment, instead_of).await?;
        let item = items.iter().find(|item| item.name == thrown.item);
        let Some((item, stock)) = item.and_then(|item| Some((item, item.stock?))) else { continue };
        let amount = Measured::parse(&thrown.amount).and_then(|measured| measured.of(&item.name, &item.unit));
        let amount = amount.map_err(|error| refused(&error))?;
        if stock + SLACK < amount && item.counted.is_none_or(|counted| counted <= at) {
            let there = told(stock.max(0.0), &item.unit);
            let text = format!("{} of {} can't be thrown away: {there} {is}", thrown.amount, item.name);
            let help = format!("if there was more, count first: tallow stores count \"{}\" AMOUNT", item.name);
            return Err(Trouble::refused(text).help(help));
        }
    }
    Ok(())
}

/// By how much sums of amounts may be off, in any unit.
const SLACK: f64 = 1e-9;

async fn terms(context: &Context, ledger: &Ledger, args: &cli::Terms) -> Result<(), Trouble> {
    let item = known(ledger, &args.item, args.new).await?;
    let before = terms_of(ledger, &item.name).await?;
    let pack = args.pack.as_ref().map(|text| amount_of(&item, text)).transpose()?;
    let lead = args.lead.as_ref().map(|text| lead_days(text)).transpose()?;
    let unsaid = |option: &str| {
        Trouble::refused(format!("it is not said how {} is bought", item.name)).help(format!("add {option}"))
    };
    let kept = before.as_ref();
    let terms = Terms {
        supplier: args.supplier.clone().or(kept.map(|terms| terms.supplier.clone())).unwrap_or_default(),
        lead_days: lead.or(kept.map(|terms| terms.lead_days)).ok_or_else(|| unsaid("--lead \"10 days\""))?,
        pack: pack.or(kept.map(|terms| terms.pack.clone())).ok_or_else(|| unsaid("--pack \"100 ml\""))?,
        price: args.price.or(kept.and_then(|terms| terms.price)),
        service: args.service.or(kept.map(|terms| terms.service)).unwrap_or(shop::USUAL_SERVICE),
        item: item.name,
    };
    let said = terms_words(&terms);
    let (machine, note) = (String::new(), args.note.clone());
    let new = NewEntry { machine, at: context.now, recorded: context.now, note, event: Event::Terms(terms) };
    let entry = ledger.append(new).await?;
    say_recorded(context, entry, context.now, &said)
}

/// Writes an entry of the stores, and says what is there now.
async fn record(
    context: &Context,
    ledger: &Ledger,
    moved: &cli::Move,
    event: Event,
    said: &str,
) -> Result<(), Trouble> {
    let at: ZonedDateTime = when::past(&moved.when, &context.now_in(ledger))?;
    let name = match &event {
        Event::Ordered(ordered) => ordered.item.clone(),
        Event::Received(received) => received.item.clone(),
        Event::Counted(counted) => counted.item.clone(),
        Event::ThrownAway(thrown) => thrown.item.clone(),
        _ => String::new(),
    };
    let (machine, note) = (String::new(), moved.note.clone());
    let new = NewEntry { machine, at: at.timestamp(), recorded: context.now, note, event };
    let entry = ledger.append(new).await?;
    let items = ledger.stores(None).await?;
    let there = items.iter().find(|item| item.name == name);
    let there = there.map_or_else(String::new, |item| there_words(item, context.now_in(ledger).date()));
    say_recorded(context, entry, at.timestamp(), &format!("{said}, {}{there}", when::spoken(&at)))
}

/// `; 40 ml in stock, 100 ml on its way`.
fn there_words(item: &Item, today: Date) -> String {
    let stock = item.stock.map(|stock| format!("{} in stock", told(stock, &item.unit)));
    let coming = amount_coming(item, today).map(|coming| format!("{coming} on its way"));
    let words = [stock, coming].into_iter().flatten().collect::<Vec<_>>().join(", ");
    if words.is_empty() { words } else { format!("; {words}") }
}

/// What is on its way of an item; `None` where nothing is.
pub(crate) fn amount_coming(item: &Item, today: Date) -> Option<String> {
    let coming = item.on_its_way(today);
    (0.0 < coming).then(|| told(coming, &item.unit))
}

/// The item that is meant, with its unit; a new one is counted in what the first amount has.
struct Meant {
    name: String,
    unit: Option<String>,
}

/// An item of the stores, a supply of the list, or a new thing.
async fn known(ledger: &Ledger, name: &str, is_new: bool) -> Result<Meant, Trouble> {
    let kept = shop::kept(&ledger.of_the_shop().await?);
    let (name, unit) = shop::item_named(name, &kept, is_new)
        .map_err(|unknown| Trouble::from(unknown).help("if it is a thing of its own, say so: --new"))?;
    Ok(Meant { name, unit })
}

/// An item that the stores have.
async fn there(ledger: &Ledger, name: &str) -> Result<Meant, Trouble> {
    let Kept { name, unit } = kept(ledger, name).await?;
    Ok(Meant { name, unit: Some(unit) })
}

/// What the stores' entries name so.
///
/// # Errors
/// Where they name nothing of that name; the nearest is named.
pub(crate) async fn kept(ledger: &Ledger, name: &str) -> Result<Kept, Trouble> {
    let all = shop::kept(&ledger.of_the_shop().await?);
    let found = Unknown::find("item of the stores", name, &all, |kept| &kept.name).cloned();
    found
        .map_err(|unknown| Trouble::from(unknown).help("what came is recorded with: tallow stores receive ITEM AMOUNT"))
}

/// An amount as typed, if it is one of that item's unit.
fn amount_of(item: &Meant, text: &str) -> Result<String, Trouble> {
    let measured = Measured::parse(text).map_err(|error| refused(&error))?;
    let unit = item.unit.as_ref().unwrap_or(&measured.unit);
    measured.of(&item.name, unit).map_err(|error| refused(&error))?;
    // Nought has no sign.
    let text = if measured.amount == 0.0 { text.trim().trim_start_matches('-') } else { text.trim() };
    Ok(text.to_owned())
}

/// An amount as typed, if it is one of what the stores' entries call `item`.
///
/// # Errors
/// Another unit, or no amount.
pub(crate) async fn amount_in_unit(ledger: &Ledger, item: &str, text: &str) -> Result<String, Trouble> {
    amount_of(&there(ledger, item).await?, text)
}

/// The furthest that something can be good, in years. Judgement, no source; it catches slips of the finger.
const LONGEST_GOOD: i32 = 50;

fn good_to(text: &str, today: Date) -> Result<Date, Trouble> {
    let day = shop::expiry(text).ok_or_else(|| {
        Trouble::refused(format!("\"{text}\" is no month or day")).help("write it as 2028-01 or 2028-01-15")
    })?;
    match today.saturating_add(LONGEST_GOOD.years()) < day {
        true => Err(Trouble::refused(format!("{day} is more than {LONGEST_GOOD} years ahead")).help("check the year")),
        false => Ok(day),
    }
}

fn lead_days(text: &str) -> Result<u16, Trouble> {
    let span = amount::parse_span(text)
        .map_err(|error| Trouble::refused(error.found()).help("write it as \"10 days\" or \"2 weeks\""))?;
    match span.months {
        0 => Ok(span.days),
        _ => Err(Trouble::refused(format!("\"{text}\" are not so many days")).help("write it in days or weeks")),
    }
}
