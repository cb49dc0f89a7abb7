//! The pages, one module each.

mod before;
mod builds;
mod entry;
mod faults;
mod labels;
mod lives;
mod machine;
mod machines;
mod measure;
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

use std::sync::{Arc, LazyLock};

use axum::extract::DefaultBodyLimit;
use axum::http::{Method, StatusCode, Uri};
use axum::middleware::from_fn_with_state;
use axum::routing::{MethodRouter, get, post};
use axum::{Extension, Router};
use ledger::Role;
use maud::html;

use super::app::App;
use super::asked;
use super::frame::{Around, Page};
use super::guard;
use super::problem;
use super::reply::{Answer, Reply};
use super::shelf;
use super::upload::MOST_BYTES;
use crate::trouble::Trouble;

pub(super) use self::new_machine::FIRST as FIRST_MACHINE;
pub(super) use self::rounds::ROUND;

/// Addresses, each with what answers there.
type Routes = Vec<(&'static str, MethodRouter<Arc<App>>)>;

/// Every page, behind the role that it needs.
pub(super) fn router(app: &Arc<App>) -> Router<Arc<App>> {
    let behind = |routes: Router<Arc<App>>, role: Role| routes.route_layer(from_fn_with_state(role, guard::needs));
    let kept = lasting().route_layer(from_fn_with_state(app.clone(), shelf::keep));
    let pages = behind(looking().merge(kept), Role::Look)
        // How to get a role needs none.
        .route("/sign-in", get(sign_in::show).post(sign_in::sign_in))
        .route("/sign-out", post(sign_in::sign_out))
        // A calendar program can't sign in; its link holds a secret.
        .route("/calendar/{file}", get(rounds::calendar));
    sent().into_iter().fold(pages, |pages, (role, routes)| {
        let routes = routes.into_iter().fold(Router::new(), |all, (path, answer)| all.route(path, answer));
        pages.merge(behind(routes, role))
    })
}

/// What is sent to change something, by the role that it needs; what people send about themselves needs none but to look.
fn sent() -> [(Role, Routes); 3] {
    [(Role::Record, recording()), (Role::Plan, planning()), (Role::Own, owning())]
}

/// The role that sending something to an address needs: that of the route which answers there.
pub(super) fn needed(address: &str) -> Role {
    static NEEDED: LazyLock<Vec<(&str, Role)>> = LazyLock::new(|| {
        let of_role = |(role, routes): (Role, Routes)| routes.into_iter().map(move |(path, _)| (path, role));
        sent().into_iter().flat_map(of_role).collect()
    });
    let fitting = NEEDED.iter().filter(|(route, _)| leads_to(route, address));
    // As the router has it: a part that is named goes before one that is open.
    fitting.min_by_key(|(route, _)| route.matches('{').count()).map_or(Role::Look, |(_, role)| *role)
}

/// Whether a route answers at an address: of each of its parts the same, or one that is open.
fn leads_to(route: &str, address: &str) -> bool {
    let (route, address): (Vec<&str>, Vec<&str>) = (route.split('/').collect(), address.split('/').collect());
    let fits = |(part, of): (&&str, &&str)| part.starts_with('{') || part == of;
    route.len() == address.len() && route.iter().zip(&address).all(fits)
}

/// What shows the records and nothing else, and so is the same until something is recorded.
fn lasting() -> Router<Arc<App>> {
    Router::new()
        .route("/", get(today::show))
        .route("/machines", get(machines::show))
        .route("/machines/{name}", get(machine::show))
        .route("/machines/{name}/{position}", get(machine::position))
        .route("/faults", get(faults::show))
        .route(ROUND, get(rounds::show))
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
        .route("/measure", get(measure::show))
        .route("/faults/grades", get(faults::grades))
        .route("/faults/{fault}", get(faults::one))
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
fn recording() -> Routes {
    let photos = post(visit::add_photo).layer(DefaultBodyLimit::max(visit::LARGEST_BODY));
    let measured = post(measure::send).layer(DefaultBodyLimit::max(measure::LARGEST_BODY));
    vec![
        ("/measure/{what}", measured),
        ("/machines/{name}", post(machine::record)),
        ("/runs/{name}", post(machine::send_run).layer(DefaultBodyLimit::max(MOST_BYTES))),
        ("/faults/new", post(faults::begin)),
        ("/faults/{fault}/say", post(faults::say)),
        ("/faults/{fault}/measured", post(faults::measured)),
        ("/faults/{fault}/back", post(faults::take_back)),
        ("/faults/{fault}/end", post(faults::end)),
        ("/visits/{visit}/marks", post(visit::tick)),
        ("/visits/{visit}/photos", photos),
        ("/visits/{visit}/finish", post(visit::finish)),
        ("/stores/new", post(stores::add)),
        ("/stores/item/{item}/{what}", post(stores::record)),
        ("/records/{entry}/correct", post(entry::correct)),
        ("/records/{entry}/withdraw", post(entry::withdraw)),
    ]
}

/// What plans, and sets what plans rest on.
fn planning() -> Routes {
    vec![
        ("/limits/{name}", post(machine::set_limit)),
        ("/faults/grades", post(faults::grade)),
        ("/rounds/visits/{visit}/{what}", post(rounds::on_visit)),
        ("/rounds/plan", post(rounds::ask)),
        ("/rounds/plan/keep", post(rounds::keep)),
        ("/rounds/plan/leave", post(rounds::leave)),
        ("/rounds/keepers/set", post(rounds::set)),
        ("/rounds/keepers/away", post(rounds::away)),
        ("/rounds/keepers/remove", post(rounds::remove)),
        ("/rounds/keepers/calendar", post(rounds::renew)),
        ("/rounds/keepers/calendar/revoke", post(rounds::revoke)),
        ("/stores/item/{item}/terms", post(stores::terms)),
        ("/lives/{kind}/accept", post(lives::accept)),
        ("/shop/new-machine/add", post(new_machine::add)),
        ("/shop/demo", post(new_machine::fill)),
        ("/shop/age", post(shop::age)),
        ("/shop/hours", post(shop::hours)),
        ("/shop/rates", post(shop::rates)),
        ("/shop/limits", post(shop::limit)),
        ("/shop/limits/{entry}/take-back", post(shop::take_back)),
        ("/shop/materials", post(shop::material)),
        ("/shop/verify", post(shop::verify)),
        ("/shop/builds/save", post(builds::save)),
    ]
}

/// What says who may.
fn owning() -> Routes {
    vec![
        ("/shop/people/set", post(people::set)),
        ("/shop/people/remove", post(people::remove)),
        ("/shop/people/token", post(people::new_token)),
        ("/shop/people/token/{token}/revoke", post(people::revoke)),
    ]
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

/// An address that takes another method.
pub(super) async fn not_so(Extension(around): Extension<Around>, method: Method, uri: Uri) -> Answer {
    if guard::is_for_programs(uri.path()) {
        let trouble = Trouble::refused(format!("this address does not take {method}"))
            .help("/api/openapi.json tells what each address takes");
        return Ok(Reply::Other(Box::new(problem::response(StatusCode::METHOD_NOT_ALLOWED, &trouble))));
    }
    let what = match method.is_safe() {
        true => "this address takes what a form sends, and shows nothing by itself",
        false => "this address shows something, and takes nothing",
    };
    let trouble = Trouble::refused(what).help("begin at one of the places");
    Ok(Reply::Unread { status: StatusCode::METHOD_NOT_ALLOWED, page: asked::page(&around, "Not so", &trouble) })
}

/// That something is not there.
pub(super) fn missing(around: &Around, what: &str) -> Answer {
    let body = html! {
        p { (super::form::sentence(what)) }
        p { a href="/" { "What to do today" } }
    };
    Ok(Reply::Missing(Page::apart(around, "Not found", body)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_needs_the_role_of_the_route_that_answers_there() {
        for (address, role) in [
            ("/machines/clove%20hitch", Role::Record),
            ("/stores/item/light%20oil/count", Role::Record),
            ("/stores/item/light%20oil/terms", Role::Plan),
            ("/shop/limits/7/take-back", Role::Plan),
            ("/shop/people/token/3/revoke", Role::Own),
            ("/shop/people/password", Role::Look),
            ("/before", Role::Look),
        ] {
            assert_eq!(needed(address), role, "{address}");
        }
    }
}
