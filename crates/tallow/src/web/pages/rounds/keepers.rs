//! *Keepers*: who is there, for how long on which weekday, what they may do, their days off, and a calendar of their visits.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use axum::http::HeaderMap;
use maud::{Markup, html};
use upkeep::shop::{Rostered, week};

use super::super::super::act::{act, said};
use super::super::super::app::App;
use super::super::super::asked::Form;
use super::super::super::form::{Field, Refusal, Typed, choice, sentence};
use super::super::super::frame::{Around, Page, Place};
use super::super::super::glance::Glance;
use super::super::super::guard::May;
use super::super::super::reply::{Answer, Failed, Reply};
use super::super::super::sending::{Sending, may_send, role_wanted};
use super::super::records::entry_address;
use super::{Pairs, feed};
use crate::cli::{Command, Keeper, KeeperAway, KeeperRemove, KeeperSet, KeeperWord};
use crate::words;

const ADDRESS: &str = "/rounds/keepers";
const SET: &str = "/rounds/keepers/set";
const AWAY: &str = "/rounds/keepers/away";
const REMOVE: &str = "/rounds/keepers/remove";

pub(in super::super::super) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    headers: HeaderMap,
) -> Answer {
    Ok(Reply::Page(page(&app, &around, &headers, &Refusal::default()).await?))
}

async fn page(app: &App, around: &Around, headers: &HeaderMap, refusal: &Refusal) -> Result<Page, Failed> {
    let glance = app.glance().await?;
    let may = &around.visitor.may;
    let feeds = feed::section(app, &glance, &app.door.site(headers), may).await?;
    let body = html! {
        (table(&glance))
        (role_wanted(may, SET, "Naming keepers and their days off"))
        @if may_send(may, SET) { (set_form(&glance, refusal, may)) }
        @if !glance.keepers.is_empty() {
            @if may_send(may, AWAY) { (away_form(&glance, refusal, may)) }
            (feeds)
            @if may_send(may, REMOVE) { (remove_form(&glance, refusal, may)) }
        }
    };
    Ok(Page::new(around, Place::Rounds, ADDRESS, "Keepers", body))
}

fn table(glance: &Glance) -> Markup {
    html! {
        @if glance.keepers.is_empty() {
            p { "The shop has named no keepers, so no visit can be planned." }
        } @else {
            table.stacks {
                thead {
                    tr { th scope="col" { "Keeper" } th scope="col" { "For care" } th scope="col" { "May" } th scope="col" { "Days off" } }
                }
                tbody { @for rostered in &glance.keepers { (row(rostered, glance)) } }
            }
        }
    }
}

fn row(rostered: &Rostered, glance: &Glance) -> Markup {
    let today = glance.now.date();
    let off: Vec<_> = rostered.away.iter().filter(|(_, away)| today <= away.to).collect();
    html! {
        tr {
            th scope="row" { (rostered.keeper.name) }
            td data-name="For care" { (week::print(&rostered.keeper.minutes)) }
            td data-name="May" { @if rostered.keeper.skills.is_empty() { "what everybody may" } @else { (rostered.keeper.skills.join(", ")) } }
            td data-name="Days off" {
                @if off.is_empty() { "none" }
                @for (entry, away) in off {
                    div {
                        (words::days(away.from, Some(away.to), today))
                        @if !away.why.is_empty() { ", " (away.why) }
                        " " a href=(entry_address(*entry)) { "change" }
                    }
                }
            }
        }
    }
}

fn set_form(glance: &Glance, refusal: &Refusal, may: &May) -> Markup {
    const FORM: &str = "set";
    html! {
        section aria-labelledby="setting" {
            h2 #setting { "Name a keeper, or say anew what they have" }
            datalist #keeper-names { @for one in &glance.keepers { option value=(one.keeper.name) {} } }
            (Sending::to(SET).show(may, html! {
                (Field { required: true, ..Field::text(FORM, "name", "Name") }.show(refusal))
                (Field { hint: "By weekday: mon-fri 60, sat 30. As they were if left empty.", ..Field::text(FORM, "minutes", "Minutes for care") }.show(refusal))
                (Field { hint: "\"qualified\" is what builds ask for; several with commas between. As they were if left empty.",
                         ..Field::text(FORM, "skills", "What they may do beyond what everybody may") }.show(refusal))
                p { label { input type="checkbox" name="no-skills" checked[refusal.is_of(FORM) && refusal.typed.is_ticked("no-skills")]; " No skills any more" } }
                (refusal.shown(FORM))
                button { "Keep this" }
            }))
        }
    }
}

fn names(glance: &Glance) -> Vec<(String, String)> {
    glance.keepers.iter().map(|one| (one.keeper.name.clone(), one.keeper.name.clone())).collect()
}

fn away_form(glance: &Glance, refusal: &Refusal, may: &May) -> Markup {
    const FORM: &str = "away";
    html! {
        section aria-labelledby="days-off" {
            h2 #days-off { "Days off" }
            (Sending::to(AWAY).show(may, html! {
                (choice(refusal, FORM, "name", "Who", "", &names(glance)))
                div.row {
                    (Field { kind: "date", required: true, ..Field::text(FORM, "from", "First day off") }.show(refusal))
                    (Field { kind: "date", ..Field::text(FORM, "to", "Last day off, if another") }.show(refusal))
                }
                (Field::text(FORM, "why", "Why").show(refusal))
                (refusal.shown(FORM))
                button { "Keep the days free" }
            }))
        }
    }
}

fn remove_form(glance: &Glance, refusal: &Refusal, may: &May) -> Markup {
    const FORM: &str = "remove";
    html! {
        section aria-labelledby="going" {
            h2 #going { "Somebody goes" }
            (Sending::to(REMOVE).show(may, html! {
                (choice(refusal, FORM, "name", "Who looks after machines no more", "", &names(glance)))
                (refusal.shown(FORM))
                button.quiet { "Record that they go" }
            }))
        }
    }
}

async fn record(
    app: &Arc<App>,
    around: &Around,
    headers: &HeaderMap,
    form: &str,
    typed: Typed,
    what: KeeperWord,
) -> Answer {
    match act(app, &Command::Keeper(Keeper { what: Some(what) })).await {
        Ok(answer) => Ok(Reply::Done { to: ADDRESS.to_owned(), said: sentence(&said(&answer)) }),
        Err(trouble) => Ok(Reply::Refused(page(app, around, headers, &Refusal::new(form, trouble, typed)).await?)),
    }
}

pub(in super::super::super) async fn set(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    headers: HeaderMap,
    Form(pairs): Form<Pairs>,
) -> Answer {
    let typed = Typed::new(pairs);
    let skills = typed.text("skills");
    let skills = skills.split(',').map(str::trim).filter(|skill| !skill.is_empty()).map(str::to_owned);
    let what = KeeperSet {
        name: typed.text("name"),
        minutes: typed.some("minutes"),
        skills: skills.collect(),
        no_skills: typed.is_ticked("no-skills"),
        note: String::new(),
    };
    record(&app, &around, &headers, "set", typed, KeeperWord::Set(what)).await
}

pub(in super::super::super) async fn away(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    headers: HeaderMap,
    Form(pairs): Form<Pairs>,
) -> Answer {
    let typed = Typed::new(pairs);
    let what =
        KeeperAway { name: typed.text("name"), from: typed.text("from"), to: typed.some("to"), why: typed.text("why") };
    record(&app, &around, &headers, "away", typed, KeeperWord::Away(what)).await
}

pub(in super::super::super) async fn remove(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    headers: HeaderMap,
    Form(pairs): Form<Pairs>,
) -> Answer {
    let typed = Typed::new(pairs);
    let what = KeeperRemove { name: typed.text("name"), note: String::new() };
    record(&app, &around, &headers, "remove", typed, KeeperWord::Remove(what)).await
}
