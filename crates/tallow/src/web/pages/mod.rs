//! The pages, one module each.

mod before;
mod builds;
mod entry;
mod labels;
mod lives;
mod machine;
mod machines;
mod money;
mod new_machine;
mod people;
mod records;
mod rounds;
mod shop;
mod sign_in;
mod stores;
mod today;
mod visit;

use std::sync::Arc;

use axum::extract::DefaultBodyLimit;
use axum::http::{StatusCode, Uri};
use axum::middleware::from_fn_with_state;
use axum::routing::{get, post};
use axum::{Extension, Router};
use ledger::Role;
use maud::html;

use super::app::App;
use super::frame::{Around, Page};
use super::guard;
use super::problem;
use super::reply::{Answer, Reply};
use super::shelf;
use super::upload::MOST_BYTES;
use crate::trouble::Trouble;

pub(super) use self::new_machine::FIRST as FIRST_MACHINE;

/// Every page, behind the role that it needs.
pub(super) fn router(app: &Arc<App>) -> Router<Arc<App>> {
    let behind = |routes: Router<Arc<App>>, role: Role| routes.route_layer(from_fn_with_state(role, guard::needs));
    let kept = lasting().route_layer(from_fn_with_state(app.clone(), shelf::keep));
    behind(looking().merge(kept), Role::Look)
        .merge(behind(recording(), Role::Record))
        .merge(behind(planning(), Role::Plan))
        .merge(behind(owning(), Role::Own))
        // How to get a role needs none.
        .route("/sign-in", get(sign_in::show).post(sign_in::sign_in))
        .route("/sign-out", post(sign_in::sign_out))
        // A calendar program can't sign in; its link holds a secret.
        .route("/calendar/{file}", get(rounds::calendar))
}

/// What shows the records and nothing else, and so is the same until something is recorded.
fn lasting() -> Router<Arc<App>> {
    Router::new()
        .route("/", get(today::show))
        .route("/machines", get(machines::show))
        .route("/machines/{name}", get(machine::show))
        .route("/machines/{name}/{position}", get(machine::position))
        .route("/rounds", get(rounds::show))
        .route("/stores", get(stores::show))
        .route("/stores/item/{item}", get(stores::item))
        .route("/records", get(records::show))
        .route("/records/{entry}", get(entry::show))
        .route("/shop", get(shop::show))
}

/// What shows something else, and what people do about themselves.
fn looking() -> Router<Arc<App>> {
    Router::new()
        .route("/before", get(before::show).post(before::weigh).layer(DefaultBodyLimit::max(MOST_BYTES)))
        .route("/labels", get(labels::show))
        .route("/visits/{visit}", get(visit::show))
        .route("/visits/{visit}/news", get(visit::news))
        .route("/visits/{visit}/sheet", get(visit::paper))
        .route("/visits/{visit}/photos/{photo}", get(visit::show_photo))
        .route("/visit-worker.js", get(visit::worker))
        .route("/rounds/price", get(rounds::price))
        .route("/rounds/plan", get(rounds::plan))
        .route("/rounds/plan/progress", get(rounds::progress))
        .route("/rounds/keepers", get(rounds::keepers))
        .route("/rounds/print", get(rounds::print))
        .route("/stores/buy", get(stores::buy))
        .route("/records.csv", get(records::csv))
        .route("/records.json", get(records::json))
        .route("/money", get(money::show))
        .route("/lives", get(lives::show))
        .route("/lives/{kind}", get(lives::kind))
        .route("/shop/verify", get(shop::verified))
        .route("/shop/builds", get(builds::show))
        .route("/shop/builds/edit", get(builds::edit))
        .route("/shop/new-machine", get(new_machine::first))
        .route("/shop/new-machine/about", get(new_machine::about))
        .route("/shop/new-machine/keeper", get(new_machine::keeper))
        .route("/shop/new-machine/first/{name}", get(new_machine::done))
        .route("/shop/demo", get(new_machine::filling))
        .route("/shop/people", get(people::show))
        .route("/shop/people/password", post(people::change_password))
        .route("/shop/people/session/{id}/end", post(people::end_session))
}

/// What records that something happened.
fn recording() -> Router<Arc<App>> {
    let photos = post(visit::add_photo).layer(DefaultBodyLimit::max(visit::LARGEST_BODY));
    Router::new()
        .route("/machines/{name}", post(machine::record))
        .route("/runs/{name}", post(machine::send_run).layer(DefaultBodyLimit::max(MOST_BYTES)))
        .route("/visits/{visit}/marks", post(visit::tick))
        .route("/visits/{visit}/photos", photos)
        .route("/visits/{visit}/finish", post(visit::finish))
        .route("/stores/new", post(stores::add))
        .route("/stores/item/{item}/{what}", post(stores::record))
        .route("/records/{entry}/correct", post(entry::correct))
        .route("/records/{entry}/withdraw", post(entry::withdraw))
}

/// What plans, and sets what plans rest on.
fn planning() -> Router<Arc<App>> {
    Router::new()
        .route("/limits/{name}", post(machine::set_limit))
        .route("/rounds/visits/{visit}/{what}", post(rounds::on_visit))
        .route("/rounds/plan", post(rounds::ask))
        .route("/rounds/plan/keep", post(rounds::keep))
        .route("/rounds/plan/leave", post(rounds::leave))
        .route("/rounds/keepers/set", post(rounds::set))
        .route("/rounds/keepers/away", post(rounds::away))
        .route("/rounds/keepers/remove", post(rounds::remove))
        .route("/rounds/keepers/calendar", post(rounds::renew))
        .route("/rounds/keepers/calendar/revoke", post(rounds::revoke))
        .route("/stores/item/{item}/terms", post(stores::terms))
        .route("/lives/{kind}/accept", post(lives::accept))
        .route("/shop/new-machine/add", post(new_machine::add))
        .route("/shop/demo", post(new_machine::fill))
        .route("/shop/age", post(shop::age))
        .route("/shop/hours", post(shop::hours))
        .route("/shop/rates", post(shop::rates))
        .route("/shop/limits", post(shop::limit))
        .route("/shop/limits/{entry}/take-back", post(shop::take_back))
        .route("/shop/materials", post(shop::material))
        .route("/shop/verify", post(shop::verify))
        .route("/shop/builds/save", post(builds::save))
}

/// What says who may.
fn owning() -> Router<Arc<App>> {
    Router::new()
        .route("/shop/people/set", post(people::set))
        .route("/shop/people/remove", post(people::remove))
        .route("/shop/people/token", post(people::new_token))
        .route("/shop/people/token/{token}/revoke", post(people::revoke))
}

/// An address at which there is nothing.
pub(super) async fn nowhere(Extension(around): Extension<Around>, uri: Uri) -> Answer {
    if guard::is_for_programs(uri.path()) {
        let trouble =
            Trouble::refused("there is nothing at that address").help("/api/openapi.json tells what there is");
        return Ok(Reply::Other(Box::new(problem::response(StatusCode::NOT_FOUND, &trouble))));
    }
    missing(&around, "no page has that address")
}

/// That something is not there.
pub(super) fn missing(around: &Around, what: &str) -> Answer {
    let body = html! {
        p { (super::form::sentence(what)) }
        p { a href="/" { "What to do today" } }
    };
    Ok(Reply::Missing(Page::apart(around, "Not found", body)))
}
