//! A server without a shop: its one page makes one.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::Router;
use axum::extract::{Request, State};
use axum::http::{HeaderValue, StatusCode, Uri, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::post;
use jiff::tz::TimeZone;
use ledger::Ledger;
use maud::html;
use tokio::net::TcpListener;
use tokio::sync::Notify;

use super::act::here;
use super::asked::Form;
use super::form::{Field, Refusal, Typed};
use super::frame::{Around, Page};
use super::guard::{self, Door};
use super::pages::FIRST_MACHINE;
use super::reply::{Denied, Reply, local, see};
use super::{assets, listen};
use crate::commands::shop;

/// How long it takes at most until the port belongs to the server of the shop.
const HANDOVER: Duration = Duration::from_millis(200);

/// What the page needs, and what comes of it.
struct Founding {
    place: String,
    door: Door,
    made: Mutex<Option<Ledger>>,
    is_made: Notify,
}

/// Serves the page until somebody has made a shop at `place`; `None` where the process is told to end before.
pub(super) async fn found(listener: TcpListener, place: String, door: &Door) -> Option<Ledger> {
    let founding = Arc::new(Founding { place, door: door.clone(), made: Mutex::default(), is_made: Notify::new() });
    let router = Router::new()
        .route("/found", post(make))
        .method_not_allowed_fallback(ask)
        .merge(assets::router())
        .fallback(ask)
        .layer(middleware::from_fn_with_state(founding.clone(), let_in))
        .with_state(founding.clone());
    let ended = async {
        tokio::select! {
            () = founding.is_made.notified() => {}
            // OK to ignore: where the signal can't be heard the process ends by it.
            _ = tokio::signal::ctrl_c() => {}
        }
    };
    listen::serve(listener, None, router, ended).await;
    founding.made.lock().unwrap_or_else(PoisonError::into_inner).take()
}

/// As at any shop's door: from its own pages alone, and by its own name.
async fn let_in(State(founding): State<Arc<Founding>>, request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let mut response = match founding.door.refuses(request.method(), request.headers()) {
        Some(trouble) => Denied::Elsewhere(trouble).response(&path, &Around::default()),
        None => next.run(request).await,
    };
    guard::dress(&mut response, &founding.door);
    response
}

async fn ask(State(founding): State<Arc<Founding>>, uri: Uri) -> Response {
    if founding.made.lock().unwrap_or_else(PoisonError::into_inner).is_none() {
        return page(&Refusal::default()).into_response();
    }
    // The shop is made, and who follows from there on the same connection is sent to the server that has it by now.
    tokio::time::sleep(HANDOVER).await;
    let path = uri.path_and_query().map_or("/", |path| path.as_str());
    let mut response = see(local(path));
    response.headers_mut().insert(header::CONNECTION, HeaderValue::from_static("close"));
    response
}

fn page(refusal: &Refusal) -> Page {
    let zone = TimeZone::system().iana_name().unwrap_or("UTC").to_owned();
    let body = html! {
        p { "There is no shop here yet. A shop is where machines, their care and their records belong." }
        form method="post" action="/found" {
            (refusal.shown("found"))
            (Field { required: true, hint: "as people here call it: Pattern loft", ..Field::text("found", "name", "Name") }.show(refusal))
            (Field { required: true, value: &zone, hint: "whose days it keeps, for good: Europe/Oslo", ..Field::text("found", "zone", "Time zone") }.show(refusal))
            p { button type="submit" { "Make the shop" } }
        }
        p.small { "Its records stand in one file on this machine." }
    };
    Page::apart(&Around::default(), "A new shop", body)
}

async fn make(State(founding): State<Arc<Founding>>, Form(pairs): Form<Vec<(String, String)>>) -> Response {
    let typed = Typed::new(pairs);
    match here(shop::make(&founding.place, &typed.text("name"), typed.some("zone").as_deref())) {
        Ok(ledger) => {
            let said = format!("the shop \"{}\" is made", ledger.shop().name);
            *founding.made.lock().unwrap_or_else(PoisonError::into_inner) = Some(ledger);
            founding.is_made.notify_one();
            Reply::Done { to: FIRST_MACHINE.to_owned(), said }.into_response()
        }
        Err(why) => (StatusCode::UNPROCESSABLE_ENTITY, page(&Refusal::new("found", why, typed))).into_response(),
    }
}
