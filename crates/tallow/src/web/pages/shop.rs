//! *Shop*: what is true of the shop as a whole: its machines and keepers, what things cost, limits of its own, and whether its
//! records are whole.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use ledger::{Filter, Kind, Listed, Verdict};
use maud::{Markup, html};
use motion::Quantity;
use tokio::runtime::Handle;
use upkeep::shop::week;
use upkeep::{Event, MaterialClass, Prices, Rates, amount};

use super::super::act::act;
use super::super::app::App;
use super::super::asked::{Form, Path};
use super::super::form::{Field, Refusal, Typed, trouble};
use super::super::frame::{Around, Page, Place};
use super::super::glance::Glance;
use super::super::guard::May;
use super::super::reply::{Answer, Reply};
use super::super::sending::{Sending, may_send, role_wanted};
use super::records::entry_address;
use super::{machines, new_machine};
use crate::cli::{self, Command};
use crate::trouble::Trouble;
use crate::{when, words};

/// Machines in the table; more stand under *Machines*.
const MOST_MACHINES: usize = 30;

/// Own limits in the table; more stand in the history.
const MOST_LIMITS: u32 = 30;

/// The name under which the proof is made beside the requests.
const PROOF: &str = "proof";

pub(crate) async fn show(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    page(&app, &around, &Refusal::default()).await
}

async fn page(app: &App, around: &Around, refusal: &Refusal) -> Answer {
    let glance = app.glance().await?;
    let shop = app.ledger.shop();
    let filter = Filter { kind: Some(Kind::Limit), ..Filter::default() };
    let limits = app.ledger.entries(&filter, MOST_LIMITS).await?;
    let builds = app.ledger.builds().await?.len();
    let may = &around.visitor.may;
    let body = html! {
        dl.facts {
            dt { "Name" } dd { (shop.name) }
            dt { "Its days are those of" } dd { (shop.zone_name) }
            dt { "Machines" } dd { (glance.machines.len()) }
            dt { "Builds" } dd { (builds) " kept: " a href="/shop/builds" { "see them" } }
        }
        (machine_list(&glance, refusal, may))
        (keepers(&glance))
        (prices(&glance.rates, refusal, may))
        (own_limits(&glance, &limits, refusal, may))
        (materials(&glance, refusal, may))
        section aria-labelledby="proof" {
            h2 #proof { "Are the records whole?" }
            p { "Every sum that is kept can be made again from the entries alone, and must be equal to the last grain." }
            (Sending::to("/shop/verify").show(may, html! { button.quiet type="submit" { "Prove it now" } }))
            (role_wanted(may, "/shop/verify", "Proving it now"))
        }
    };
    let page = Page::new(around, Place::Records, "/shop", "Shop", body);
    Ok(if refusal.trouble.is_some() { Reply::Refused(page) } else { Reply::Page(page) })
}

fn machine_list(glance: &Glance, refusal: &Refusal, may: &May) -> Markup {
    let more = glance.machines.len().saturating_sub(MOST_MACHINES);
    let today = glance.now.date();
    html! {
        section aria-labelledby="machines" {
            h2 #machines { "Machines" }
            @if may_send(may, new_machine::ADD) { p { a.button href=(new_machine::FIRST) { "Add a machine" } } }
            @if !glance.machines.is_empty() {
                table.stacks {
                    thead { tr { th { "Machine" } th { "Build" } th { "Here since" } th.figure { "Has run" } } }
                    tbody {
                        @for machine in glance.machines.iter().take(MOST_MACHINES) {
                            tr {
                                th scope="row" { a href=(machines::address(&machine.name)) { (machine.name) } }
                                td data-name="Build" { (machine.build.name) }
                                td data-name="Here since" { (words::day(glance.now.time_zone().to_datetime(machine.added).date(), today)) }
                                td.figure data-name="Has run" { (amount::print(machine.seconds(), Quantity::Time)) }
                            }
                        }
                    }
                }
                @if 0 < more { p { a href="/machines" { "All " (glance.machines.len()) " machines" } } }
                div #age { (Sending::to("/shop/age").folded(may, "Say how old a machine was when it came", refusal.is_of("age"), html! {
                    (refusal.shown("age"))
                    (machine_field(glance, "age", refusal))
                    (Field { hint: "empty: every part that was there", ..Field::text("age", "position", "Part") }.show(refusal))
                    (Field { hint: "8 months, or 1200 h", required: true, ..Field::text("age", "amount", "Age") }.show(refusal))
                    (Field { hint: "time, travel x …; empty where it is clear", ..Field::text("age", "of", "Measured by") }.show(refusal))
                    p { button type="submit" { "Record the age" } }
                })) }
                (Sending::to("/shop/hours").folded(may, "Read a machine's own hour meter", refusal.is_of("hours"), html! {
                    (refusal.shown("hours"))
                    (machine_field(glance, "hours", refusal))
                    (Field { kind: "number", required: true, ..Field::text("hours", "hours", "Hours shown") }.show(refusal))
                    (Field { hint: "what was printed in hours that nobody booked; empty: its usual", ..Field::text("hours", "material", "Material") }.show(refusal))
                    p { button type="submit" { "Record the hours" } }
                }))
            }
        }
    }
}

/// A field for a machine's name, with the names to choose from.
fn machine_field(glance: &Glance, form: &str, refusal: &Refusal) -> Markup {
    let names: Vec<(String, String)> =
        glance.machines.iter().map(|machine| (machine.name.clone(), machine.name.clone())).collect();
    super::super::form::choice(refusal, form, "machine", "Machine", "", &names)
}

fn keepers(glance: &Glance) -> Markup {
    html! {
        section aria-labelledby="keepers" {
            h2 #keepers { "Keepers" }
            @if glance.keepers.is_empty() { p { "Nobody is named who looks after machines." } }
            ul { @for rostered in &glance.keepers { li { (rostered.keeper.name) ": " (week::print(&rostered.keeper.minutes)) } } }
            p { a href="/rounds" { "Their minutes and days off stand with the rounds" } }
        }
    }
}

/// The fields of the prices, by the order of [`Rates::amounts`].
const PRICES: [(&str, &str); 5] = [
    ("labour", "An hour of a keeper's work"),
    ("standing", "An hour in which a machine with work stands still"),
    ("nuisance", "A nuisance, beyond the repair"),
    ("failed_print", "A failed print, beyond the repair"),
    ("damage", "Damage to a machine, beyond the repair"),
];

fn prices(rates: &Rates, refusal: &Refusal, may: &May) -> Markup {
    const TO: &str = "/shop/rates";
    let (assumed, _) = Prices::from_rates(rates);
    let assumed =
        [assumed.labour_per_hour, assumed.standing_per_hour, assumed.nuisance, assumed.failed_print, assumed.damage];
    html! {
        section aria-labelledby="prices" {
            h2 #prices { "Prices" }
            p { "What plans and advice reckon with. An injury has no price: no money is weighed against it." }
            (Sending::to(TO).show(may, html! {
                (refusal.shown("rates"))
                (Field { value: &rates.currency, hint: "1 to 8 letters or signs", ..Field::text("rates", "currency", "The money") }.show(refusal))
                @for (((name, label), (_, set)), assumed) in PRICES.iter().zip(rates.amounts()).zip(assumed) {
                    @let value = set.map_or_else(String::new, |amount| amount.to_string());
                    @let hint = if set.is_some() { String::new() } else { format!("not set; {assumed} is assumed") };
                    (Field { value: &value, kind: "number", hint: &hint, ..Field::text("rates", name, label) }.show(refusal))
                }
                (Field::text("rates", "note", "Note").show(refusal))
                p { button type="submit" { "Set the prices" } }
            }))
            @if !may_send(may, TO) {
                dl.facts {
                    @for (((_, label), (_, set)), assumed) in PRICES.iter().zip(rates.amounts()).zip(assumed) {
                        dt { (label) }
                        dd { (words::money(set.unwrap_or(assumed), &rates.currency)) @if set.is_none() { ", assumed" } }
                    }
                }
                (role_wanted(may, TO, "Setting them"))
            }
        }
    }
}

fn own_limits(glance: &Glance, limits: &[Listed], refusal: &Refusal, may: &May) -> Markup {
    html! {
        section aria-labelledby="limits" {
            h2 #limits { "Limits of the shop's own" }
            @if limits.is_empty() { p { "Every task goes by its build's limits." } } @else {
                table.stacks {
                    thead { tr { th { "Machine" } th { "Task" } th { "Every" } th { "Why" } th { "Since" } th { "" } } }
                    tbody {
                        @for Listed { entry, replaced_by, .. } in limits {
                            @if let Event::Limit(own) = &entry.event {
                                tr {
                                    th scope="row" { a href=(machines::address(&entry.machine)) { (entry.machine) } }
                                    td data-name="Task" { (own.task) }
                                    td data-name="Every" { (own.every) @if let Some(of) = &own.of { " of " (of) } }
                                    td data-name="Why" { (own.reason) }
                                    td data-name="Since" { a href=(entry_address(entry.id)) { (when::spoken(&entry.at.to_zoned_datetime(glance.now.time_zone().clone()))) } }
                                    td {
                                        @match replaced_by {
                                            Some(by) => { "no longer holds, see " a href=(entry_address(*by)) { (by) } },
                                            None => (Sending::to(&format!("/shop/limits/{}/take-back", entry.id)).show(may, html! {
                                                button.quiet type="submit" aria-label=(format!("Take back: {} on {}", own.task, entry.machine)) { "Take back" }
                                            })),
                                        }
                                    }
                                }
                            }
                        }
                    }
                }
                p { a href="/records?kind=limit" { "All of them" } }
            }
            @if !glance.machines.is_empty() {
                (Sending::to("/shop/limits").folded(may, "Set a limit by hand", refusal.is_of("limit"), html! {
                    (refusal.shown("limit"))
                    (Field { required: true, ..Field::text("limit", "task", "Task") }.show(refusal))
                    (Field { required: true, hint: "300 km, 25 spools, 6 weeks", ..Field::text("limit", "every", "Every") }.show(refusal))
                    (Field { hint: "travel x …; empty where it is clear", ..Field::text("limit", "of", "Measured by") }.show(refusal))
                    (Field { hint: "empty: all that have the task", ..Field::text("limit", "on", "Machine") }.show(refusal))
                    (Field { required: true, ..Field::text("limit", "reason", "Why") }.show(refusal))
                    p { button type="submit" { "Set the limit" } }
                }))
            }
        }
    }
}

const CLASSES: [(MaterialClass, &str); 4] = [
    (MaterialClass::Abrasive, "abrasive"),
    (MaterialClass::Fumes, "fumes"),
    (MaterialClass::Hygroscopic, "hygroscopic"),
    (MaterialClass::Soft, "soft"),
];

fn materials(glance: &Glance, refusal: &Refusal, may: &May) -> Markup {
    html! {
        section aria-labelledby="materials" {
            h2 #materials { "Materials" }
            details open[refusal.is_of("material")] {
                summary { "Those that are known" @if may_send(may, "/shop/materials") { ", and one of your own" } }
                table {
                    thead { tr { th scope="col" { "Material" } th.figure scope="col" { "Density, g/cm³" } th scope="col" { "What it does to a machine" } } }
                    tbody {
                        @for info in glance.materials.iter() {
                            tr {
                                th scope="row" { (info.name) }
                                td.figure { (info.density_kg_m3 / 1000.0) }
                                td { (CLASSES.iter().filter(|(class, _)| info.classes.contains(class)).map(|(_, word)| *word).collect::<Vec<_>>().join(", ")) }
                            }
                        }
                    }
                }
                (Sending::to("/shop/materials").show(may, html! {
                    (refusal.shown("material"))
                    (Field { required: true, ..Field::text("material", "name", "Name") }.show(refusal))
                    (Field { required: true, kind: "number", ..Field::text("material", "density", "Density, g/cm³") }.show(refusal))
                    fieldset {
                        legend { "What it does to a machine" }
                        @for (_, word) in CLASSES {
                            label.tick { input type="checkbox" name="class" value=(word) checked[refusal.is_of("material") && refusal.typed.all("class").iter().any(|typed| typed == word)]; " " (word) }
                        }
                    }
                    p { button type="submit" { "Add the material" } }
                }))
            }
        }
    }
}

/// Carries out what a form of the page asks for.
async fn recorded(
    app: &App,
    around: &Around,
    form: &str,
    typed: Typed,
    command: Result<(Command, String), Trouble>,
) -> Answer {
    let done = match command {
        Ok((command, said)) => {
            act(app, &command).await.map(|answer| answer["said"].as_str().map_or(said, str::to_owned))
        }
        Err(why) => Err(why),
    };
    match done {
        Ok(said) => Ok(Reply::Done { to: "/shop".to_owned(), said }),
        Err(why) => page(app, around, &Refusal::new(form, why, typed)).await,
    }
}

/// A number that may not be left out.
fn needed(typed: &Typed, name: &str, label: &str) -> Result<f64, Trouble> {
    typed.number(name, label)?.ok_or_else(|| Trouble::refused(format!("{label}: nothing is given")))
}

type Pairs = Form<Vec<(String, String)>>;

pub(crate) async fn age(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Pairs,
) -> Answer {
    let typed = Typed::new(pairs);
    let (first, second) = match typed.some("position") {
        Some(position) => (position, Some(typed.text("amount"))),
        None => (typed.text("amount"), None),
    };
    let args = cli::Age { machine: typed.text("machine"), first, second, of: typed.some("of"), note: String::new() };
    recorded(&app, &around, "age", typed, Ok((Command::Age(args), "the age is recorded".to_owned()))).await
}

pub(crate) async fn hours(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Pairs,
) -> Answer {
    let typed = Typed::new(pairs);
    let occasion = cli::Occasion { on: typed.text("machine"), when: "now".to_owned(), note: String::new() };
    let command = needed(&typed, "hours", "Hours shown").map(|hours| {
        let args = cli::HourMeter { hours, occasion, material: typed.text("material") };
        (Command::HourMeter(args), "the hours are recorded".to_owned())
    });
    recorded(&app, &around, "hours", typed, command).await
}

pub(crate) async fn rates(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Pairs,
) -> Answer {
    let typed = Typed::new(pairs);
    let old = app.ledger.rates().await?;
    let command = new_rates(&typed, &old).map(|args| (Command::Rates(args), "the prices are set".to_owned()));
    recorded(&app, &around, "rates", typed, command).await
}

/// What was typed that differs from what is set.
fn new_rates(typed: &Typed, old: &Rates) -> Result<cli::Rates, Trouble> {
    let mut new = [None; 5];
    for ((place, (name, label)), (_, set)) in new.iter_mut().zip(PRICES).zip(old.amounts()) {
        let amount = typed.number(name, label)?;
        if amount.is_none() && set.is_some() {
            return Err(Trouble::refused(format!("{label}: what is set can't be emptied"))
                .help("give a figure, or withdraw the entry that set it, under History"));
        }
        *place = amount.filter(|amount| set != Some(*amount));
    }
    let currency = typed.some("currency").filter(|name| *name != old.currency);
    let [labour, standing, nuisance, failed_print, damage] = new;
    if currency.is_none() && new.iter().all(Option::is_none) {
        return Err(Trouble::refused("these prices are set already").help("change one of them"));
    }
    Ok(cli::Rates { currency, labour, standing, nuisance, failed_print, damage, note: typed.text("note") })
}

pub(crate) async fn limit(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Pairs,
) -> Answer {
    let typed = Typed::new(pairs);
    let (task, every) = (typed.text("task"), typed.text("every"));
    let said = format!("{task}: every {every} from now on");
    let args = cli::Limit { task, every, of: typed.some("of"), on: typed.some("on"), reason: typed.text("reason") };
    recorded(&app, &around, "limit", typed, Ok((Command::Limit(args), said))).await
}

/// Takes a limit of the shop's own back.
pub(crate) async fn take_back(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(entry): Path<i64>,
) -> Answer {
    let args = cli::Correct {
        entry,
        withdraw: true,
        when: None,
        materials: Vec::new(),
        file: None,
        because: None,
        spare: None,
        value: None,
        note: "taken back".to_owned(),
    };
    recorded(&app, &around, "limit", Typed::default(), Ok((Command::Correct(args), "taken back".to_owned()))).await
}

pub(crate) async fn material(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Pairs,
) -> Answer {
    let typed = Typed::new(pairs);
    let command = needed(&typed, "density", "Density").map(|density| {
        let (name, classes) = (typed.text("name"), typed.all("class").to_vec());
        let said = format!("{name} is known from now on");
        (Command::Material(cli::Material::Add { name, density, classes }), said)
    });
    recorded(&app, &around, "material", typed, command).await
}

/// Begins to prove the records.
pub(crate) async fn verify(State(app): State<Arc<App>>) -> Answer {
    let of = app.of().await?;
    let (ledger, on) = (app.ledger.clone(), Handle::current());
    let prove = move || Ok(on.block_on(ledger.verify())?);
    app.later.proof.begin(PROOF, of, prove);
    Ok(Reply::Done { to: "/shop/verify".to_owned(), said: "the records are being proved".to_owned() })
}

/// What the proof found.
fn proved(Verdict { machines, entries, differences }: &Verdict) -> Markup {
    html! {
        @if differences.is_empty() {
            p role="status" {
                "The sums of " (words::count(*machines as u64, "machines")) " equal the " (entries) " entries that hold, to the last grain."
            }
        } @else {
            div.trouble role="alert" {
                p { strong { (words::count(differences.len() as u64, "sums")) " found that the entries do not give." } " Nothing that was recorded is lost: whoever keeps the server can make the sums anew from the entries." }
                ul { @for difference in differences.iter().take(20) { li { (difference) } } }
            }
        }
    }
}

/// What came of the proof.
pub(crate) async fn verified(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    let found = app.later.proof.found(PROOF);
    let is_waiting = found.is_none() && app.later.proof.is_under_way(PROOF);
    let body = html! {
        @match &found {
            None if is_waiting => p role="status" { "Each machine's sums are made again from its entries; this page looks again by itself." },
            None => p { "Nothing was proved yet." },
            Some(Err(why)) => (trouble(why)),
            Some(Ok(verdict)) => (proved(verdict)),
        }
        p { a href="/shop" { "Shop" } }
    };
    let page = Page::new(&around, Place::Records, "/shop", "Are the records whole?", body);
    Ok(if is_waiting { new_machine::waiting(page) } else { Reply::Page(page) })
}

#[cfg(test)]
mod tests {
    use ledger::Difference;

    use super::*;

    #[test]
    fn sums_that_are_not_equal_are_told_without_a_word_of_the_terminal() {
        let difference = Difference {
            machine: "bowline".to_owned(),
            what: "total, time".to_owned(),
            kept: "2".to_owned(),
            entries_say: "3".to_owned(),
        };
        let found = proved(&Verdict { machines: 1, entries: 7, differences: vec![difference] }).into_string();
        assert!(
            found.contains("1 sum found that") && found.contains("total, time: kept 2, the entries say 3"),
            "{found}"
        );
        assert!(!found.contains("tallow ") && !found.contains("--"), "{found}");
    }
}
