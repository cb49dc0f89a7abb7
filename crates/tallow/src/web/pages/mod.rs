//! The pages, one module each.

mod machine;
mod machines;
mod today;

use std::sync::Arc;

use axum::routing::get;
use axum::{Extension, Router};
use maud::html;

use super::app::App;
use super::frame::{Around, Page};
use super::reply::{Answer, Reply};

pub(super) fn router() -> Router<Arc<App>> {
    Router::new()
        .route("/", get(today::show))
        .route("/machines", get(machines::show))
        .route("/machines/{name}", get(machine::show))
}

/// An address at which there is nothing.
pub(super) async fn nowhere(Extension(around): Extension<Around>) -> Answer {
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
