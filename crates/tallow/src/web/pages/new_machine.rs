//! *A new machine*, step by step: what it looks like, what it is called and how old it is, who keeps it; then its first due
//! list. What was typed goes along from page to page.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use axum::http::{HeaderValue, header};
use axum::response::IntoResponse;
use jiff::ZonedDateTime;
use ledger::Ledger;
use maud::{Markup, html};
use tokio::runtime::Handle;
use upkeep::shop::week;
use upkeep::{Build, build::shipped};

use super::super::act::act;
use super::super::app::{App, Of};
use super::super::asked::{Form, Path};
use super::super::form::{Field, Refusal, Typed, trouble};
use super::super::frame::{self, Around, Page, Place};
use super::super::picture;
use super::super::reply::{Answer, Reply, encoded};
use super::super::sending::{Sending, may_send, role_wanted};
use super::machines;
use crate::cli::{Age, Command, Keeper, KeeperSet, KeeperWord, Machine};
use crate::commands::demo;
use crate::commands::machine::sensible;
use crate::trouble::Trouble;
use crate::when;

/// Where the first step is.
pub(crate) const FIRST: &str = "/shop/new-machine";
const ABOUT: &str = "/shop/new-machine/about";
const KEEPER: &str = "/shop/new-machine/keeper";
/// Where the last step is sent.
pub(super) const ADD: &str = "/shop/new-machine/add";

/// What is typed along the way.
const FIELDS: [&str; 8] = ["build", "name", "months", "hours", "cared", "keeper", "minutes", "qualified"];

/// The name under which the invented shop is made beside the requests.
const DEMO: &str = "demo";

/// Step 1: what it looks like.
pub(crate) async fn first(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Answer {
    let (typed, may) = (Typed::new(pairs), &around.visitor.may);
    if !may_send(may, ADD) {
        return Ok(only_told(&around));
    }
    let builds = choices(&app.ledger).await?;
    let is_empty = is_empty(&app.ledger).await?;
    let body = html! {
        p { "Step 1 of 3. Choose the one that is built like yours; what differs can be changed later." }
        @if app.later.filling.is_under_way(DEMO) { p { "The shop is being filled with invented records. " a href="/shop/demo" { "See how far" } "." } }
        ul.choices {
            @for Choice { word, build, is_own } in &builds {
                li {
                    (picture::outline(build))
                    div {
                        h2 { (build.name) @if *is_own { " (the shop's own)" } }
                        p { (first_sentence(&build.about)) }
                        p { (build.positions.len()) " parts, " (build.tasks.len()) " tasks" }
                        a.button href=(step(ABOUT, &typed, Some(("build", word)))) { "Mine is like this" }
                    }
                }
            }
        }
        p { "None is like yours? " a href="/shop/builds" { "Write a build of your own" } ", beginning with the nearest." }
        @if is_empty {
            section.block aria-labelledby="look" {
                h2 #look { "Only want to look around?" }
                p { "Fill this shop with an invented one instead: a pattern loft with six machines and fourteen months of records. It takes some seconds, and only an empty shop can be filled." }
                (Sending::to("/shop/demo").show(may, html! { button.quiet type="submit" { "Fill it with invented records" } }))
            }
        }
    };
    Ok(page(&around, "A new machine", body, false))
}

/// Step 2: what it is called, and how old it is.
pub(crate) async fn about(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Answer {
    match may_send(&around.visitor.may, ADD) {
        true => about_page(&app, &around, &Typed::new(pairs), None).await,
        false => Ok(only_told(&around)),
    }
}

async fn about_page(app: &App, around: &Around, typed: &Typed, why: Option<&Trouble>) -> Answer {
    let builds = choices(&app.ledger).await?;
    let Some(chosen) = builds.iter().find(|choice| choice.word == typed.text("build")) else {
        return Ok(Reply::Done { to: FIRST.to_owned(), said: "choose what it looks like first".to_owned() });
    };
    let field = |name: &'static str, label: &'static str, hint: &'static str, kind: &'static str| {
        let value = typed.text(name);
        Field { hint, kind, value: &value, required: name == "name", ..Field::text("about", name, label) }
            .show(&Refusal::default())
    };
    let body = html! {
        p { "Step 2 of 3: " strong { (chosen.build.name) } ". " a href=(step(FIRST, typed, None)) { "Choose another" } }
        form method="get" action=(KEEPER) {
            (hidden(typed, &["name", "months", "hours", "cared"]))
            @if let Some(why) = why { (trouble(why)) }
            (field("name", "Name", "what people here call it", "text"))
            (field("months", "Age, months", "empty or 0: new", "number"))
            (field("hours", "Hours run so far", "what its own hour meter shows; empty: not known", "number"))
            (field("cared", "Day of its last thorough care", "its meters and calendar begin there; empty: today", "date"))
            p.small { "The age tells how long its parts have lasted; what is due counts from the day of its last care." }
            p { button type="submit" { "Next" } }
        }
    };
    Ok(page(around, "A new machine", body, why.is_some()))
}

/// Step 3: who keeps it.
pub(crate) async fn keeper(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Answer {
    if !may_send(&around.visitor.may, ADD) {
        return Ok(only_told(&around));
    }
    let typed = Typed::new(pairs);
    let names: Vec<String> = app.ledger.machines().await?.into_iter().map(|machine| machine.name).collect();
    if let Err(why) = Wanted::read(&typed, &names, &app.now()) {
        return about_page(&app, &around, &typed, Some(&why)).await;
    }
    keeper_page(&app, &around, &typed, None).await
}

async fn keeper_page(app: &App, around: &Around, typed: &Typed, why: Option<&Trouble>) -> Answer {
    let (keepers, may) = (app.ledger.keepers().await?, &around.visitor.may);
    let (name, minutes) = (typed.text("keeper"), typed.some("minutes").unwrap_or_else(|| "mon-fri 30".to_owned()));
    let body = html! {
        p { "Step 3 of 3: who keeps " strong { (typed.text("name")) } ". " a href=(step(ABOUT, typed, None)) { "Back" } }
        @if !keepers.is_empty() {
            p { "The shop has keepers already, who keep all its machines:" }
            ul { @for rostered in &keepers { li { (rostered.keeper.name) ": " (week::print(&rostered.keeper.minutes)) } } }
        }
        (Sending::to(ADD).show(may, html! {
            (hidden(typed, &["keeper", "minutes", "qualified"]))
            @if let Some(why) = why { (trouble(why)) }
            (Field { value: &name, hint: if keepers.is_empty() { "empty: nobody is named yet" } else { "somebody else; empty: nobody else" }, ..Field::text("keeper", "keeper", "Keeper") }.show(&Refusal::default()))
            (Field { value: &minutes, hint: "minutes for care by weekday: mon-fri 30, sat 10", ..Field::text("keeper", "minutes", "Minutes") }.show(&Refusal::default()))
            p { label { input type="checkbox" name="qualified" value="yes" checked[typed.is_ticked("qualified")]; " is qualified for work on mains parts" } }
            p { button type="submit" { "Add " (typed.text("name")) } }
        }))
    };
    Ok(page(around, "A new machine", body, why.is_some()))
}

/// Records all of it: the keeper, the machine, its age.
pub(crate) async fn add(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let names: Vec<String> = app.ledger.machines().await?.into_iter().map(|machine| machine.name).collect();
    let wanted = match Wanted::read(&typed, &names, &app.now()) {
        Ok(wanted) => wanted,
        Err(why) => return about_page(&app, &around, &typed, Some(&why)).await,
    };
    match wanted.record(&app).await {
        Ok(said) => Ok(Reply::Done { to: format!("{FIRST}/first/{}", encoded(&wanted.name)), said }),
        Err(why) => keeper_page(&app, &around, &typed, Some(&why)).await,
    }
}

/// The first due list of a machine.
pub(crate) async fn done(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(name): Path<String>,
) -> Answer {
    let glance = app.glance().await?;
    let Some(machine) = glance.machine(&name) else {
        return super::missing(&around, &format!("no machine is called \"{name}\""));
    };
    let today = glance.now.date();
    let mut dues: Vec<_> = machine.dues.iter().collect();
    dues.sort_by(|one, other| other.share().total_cmp(&one.share()));
    let body = html! {
        (frame::hatches())
        p { "This is what it will need. Book what it prints, and the days become its own." }
        table.stacks {
            thead { tr { th { "Care" } th { "Used" } th { "Likely due" } } }
            tbody {
                @for due in dues.iter().take(12) {
                    tr {
                        th scope="row" { (due.name) }
                        td data-name="Used" { (frame::used(due.share())) }
                        td data-name="Likely due" { (machines::likely_due(&due.when, today)) }
                    }
                }
            }
        }
        p.row {
            a.button href=(machines::address(&name)) { "To " (name) }
            @if may_send(&around.visitor.may, ADD) { a.button.quiet href=(FIRST) { "Add another machine" } }
            a.button.quiet href="/" { "Today" }
        }
    };
    Ok(page(&around, &format!("{name}: first due list"), body, false))
}

/// What was typed, read.
struct Wanted {
    name: String,
    build: String,
    ages: Vec<(String, Option<&'static str>)>,
    cared: Option<String>,
    keeper: Option<KeeperSet>,
}

impl Wanted {
    /// Reads what was typed, so that nothing is refused after the first of its entries.
    fn read(typed: &Typed, names: &[String], now: &ZonedDateTime) -> Result<Wanted, Trouble> {
        let name = sensible(&typed.text("name"))?.to_owned();
        if let Some(same) = names.iter().find(|other| other.to_lowercase() == name.to_lowercase()) {
            return Err(Trouble::refused(format!("the shop has a machine called \"{same}\" already"))
                .help("give it a name of its own"));
        }
        let mut ages = Vec::new();
        for (field, label, unit, of) in
            [("months", "Age, months", "months", None), ("hours", "Hours run so far", "h", Some("time"))]
        {
            let Some(number) = typed.number(field, label)?.filter(|number| *number != 0.0) else { continue };
            let amount = format!("{number} {unit}");
            if number < 0.0 {
                return Err(
                    Trouble::refused(format!("{label}: {number} can't be")).help("give 0 or more, or leave it empty")
                );
            }
            upkeep::measure::read(of, &amount).map_err(|error| Trouble::from_text(&format!("{label}: {error}")))?;
            ages.push((amount, of));
        }
        if let Some(day) = typed.some("cared") {
            when::since(&day, now)?;
        }
        let minutes = typed.text("minutes");
        let keeper = match typed.some("keeper") {
            Some(name) => {
                week::parse(&minutes).map_err(|error| Trouble::from_text(&error.to_string()))?;
                let skills = typed.is_ticked("qualified").then(|| upkeep::shop::QUALIFIED.to_owned());
                let note = String::new();
                Some(KeeperSet { name, minutes: Some(minutes), skills: Vec::from_iter(skills), no_skills: false, note })
            }
            None => None,
        };
        Ok(Wanted { name, build: typed.text("build"), ages, cared: typed.some("cared"), keeper })
    }

    async fn record(&self, app: &App) -> Result<String, Trouble> {
        // The keeper first: setting one again changes nothing, should the machine be refused.
        if let Some(KeeperSet { name, minutes, skills, .. }) = &self.keeper {
            let (name, minutes, skills) = (name.clone(), minutes.clone(), skills.clone());
            let set = KeeperSet { name, minutes, skills, no_skills: false, note: String::new() };
            act(app, &Command::Keeper(Keeper { what: Some(KeeperWord::Set(set)) })).await?;
        }
        let (name, build, when, note) = (self.name.clone(), self.build.clone(), self.cared.clone(), String::new());
        let answer = act(app, &Command::Machine(Machine::Add { name, build, when, note })).await?;
        for (amount, of) in &self.ages {
            let age = Age {
                machine: self.name.clone(),
                first: amount.clone(),
                second: None,
                of: of.map(str::to_owned),
                note: "as said when it was added".to_owned(),
            };
            act(app, &Command::Age(age)).await?;
        }
        Ok(super::super::act::said(&answer))
    }
}

/// Fills an empty shop with the invented one, beside the requests.
pub(crate) async fn fill(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    if !is_empty(&app.ledger).await? && !app.later.filling.is_under_way(DEMO) {
        let why = Trouble::refused("the shop has machines, so it is not filled with invented ones");
        return Ok(page(&around, "Not filled", trouble(&why), true));
    }
    let (context, ledger, on) = (app.context(), app.ledger.clone(), Handle::current());
    app.later.filling.begin(DEMO, Of::default(), move || on.block_on(demo::fill(&context, &ledger)));
    Ok(Reply::Done { to: "/shop/demo".to_owned(), said: "the shop is being filled".to_owned() })
}

/// Waits until the shop is filled.
pub(crate) async fn filling(State(app): State<Arc<App>>, Extension(around): Extension<Around>) -> Answer {
    match app.later.filling.found(DEMO) {
        Some(Ok(_)) => Ok(Reply::Done { to: "/".to_owned(), said: "filled with an invented pattern loft".to_owned() }),
        Some(Err(why)) => Ok(page(&around, "Not filled", trouble(&why), true)),
        None if app.later.filling.is_under_way(DEMO) => {
            let body = html! { p role="status" { "Toolpaths are made and metered, and fourteen months booked. It takes some seconds; this page looks again by itself." } };
            Ok(waiting(Page::new(&around, Place::Records, "/shop", "Filling the shop", body)))
        }
        None => Ok(Reply::Done { to: FIRST.to_owned(), said: "nothing is being filled".to_owned() }),
    }
}

/// A page that looks again by itself until what it waits for is there.
pub(super) fn waiting(page: Page) -> Reply {
    let mut response = page.into_response();
    response.headers_mut().insert(header::REFRESH, HeaderValue::from_static("1"));
    Reply::Other(Box::new(response))
}

/// Whether nothing was recorded yet that an invented past would mix with.
async fn is_empty(ledger: &Ledger) -> Result<bool, Trouble> {
    Ok(ledger.machines().await?.is_empty())
}

/// A build that can be chosen.
struct Choice {
    /// What `--build` takes.
    word: String,
    build: Build,
    is_own: bool,
}

async fn choices(ledger: &Ledger) -> Result<Vec<Choice>, Trouble> {
    let mut choices = Vec::new();
    for (word, text) in shipped() {
        choices.push(Choice { word: word.to_owned(), build: Build::parse(word, text)?, is_own: false });
    }
    for kept in ledger.builds().await? {
        if choices.iter().all(|choice| choice.build.name != kept.name) {
            let build = Build::parse(&kept.name, &kept.text)?;
            choices.push(Choice { word: kept.name, build, is_own: true });
        }
    }
    Ok(choices)
}

fn first_sentence(about: &str) -> String {
    let about = about.trim();
    about.split_once(". ").map_or_else(|| about.to_owned(), |(first, _)| format!("{first}."))
}

/// The address of a step, with what was typed so far.
fn step(path: &str, typed: &Typed, with: Option<(&str, &str)>) -> String {
    let kept = FIELDS.iter().filter(|name| with.is_none_or(|(new, _)| new != **name));
    let kept = kept.filter_map(|name| Some(format!("{name}={}", encoded(&typed.some(name)?))));
    let query: Vec<String> =
        with.map(|(name, value)| format!("{name}={}", encoded(value))).into_iter().chain(kept).collect();
    if query.is_empty() { path.to_owned() } else { format!("{path}?{}", query.join("&")) }
}

/// What was typed on other pages, but for the fields of this one.
fn hidden(typed: &Typed, but: &[&str]) -> Markup {
    html! {
        @for name in FIELDS.iter().filter(|name| !but.contains(name)) {
            @if let Some(value) = typed.some(name) { input type="hidden" name=(name) value=(value); }
        }
    }
}

/// For whoever may not add a machine: no steps that end in a refusal.
fn only_told(around: &Around) -> Reply {
    let body = html! {
        (role_wanted(&around.visitor.may, ADD, "Adding a machine"))
        p { a href="/machines" { "Machines" } }
    };
    page(around, "A new machine", body, false)
}

fn page(around: &Around, title: &str, body: Markup, is_refused: bool) -> Reply {
    let page = Page::new(around, Place::Records, "/shop", title, body);
    if is_refused { Reply::Refused(page) } else { Reply::Page(page) }
}
