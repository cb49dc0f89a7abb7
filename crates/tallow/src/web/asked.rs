//! What an address asks for: the parts that its route leaves open. Where they can't be read, a page says so.

use axum::extract::path::ErrorKind;
use axum::extract::rejection::PathRejection;
use axum::extract::{FromRequestParts, Path as Open};
use axum::http::request::Parts;
use axum::response::{IntoResponse, Response};
use maud::html;

use super::form;
use super::frame::{Around, Page};
use super::reply::Reply;
use crate::trouble::Trouble;

/// The open parts of an address, in their order.
pub(crate) struct Path<T>(pub(crate) T);

impl<S: Send + Sync, T> FromRequestParts<S> for Path<T>
where
    Open<T>: FromRequestParts<S, Rejection = PathRejection>,
{
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Path<T>, Response> {
        match Open::from_request_parts(parts, state).await {
            Ok(Open(asked)) => Ok(Path(asked)),
            Err(rejection) => Err(malformed(parts, rejection).into_response()),
        }
    }
}

/// What is wrong with an address, and the way on.
fn malformed(parts: &Parts, rejection: PathRejection) -> Reply {
    let what = match rejection {
        PathRejection::FailedToDeserializePathParams(error) => wrong(error.into_kind()),
        // OK to say no more: it is no route that takes parts of its address, and the routes are ours.
        _ => "the address can't be read".to_owned(),
    };
    let trouble =
        Trouble::refused(what).help("see whether the whole address was copied, or begin at one of the places");
    let around = parts.extensions.get::<Around>().cloned().unwrap_or_default();
    let body = html! { (form::trouble(&trouble)) p { a href="/" { "What to do today" } } };
    Reply::Malformed(Page::apart(&around, "No such address", body))
}

fn wrong(kind: ErrorKind) -> String {
    match kind {
        // Whatever is read as something else than text here is a number.
        ErrorKind::ParseErrorAtKey { value, .. }
        | ErrorKind::ParseErrorAtIndex { value, .. }
        | ErrorKind::ParseError { value, .. }
        | ErrorKind::DeserializeError { value, .. } => {
            format!("the address has \"{value}\" where the number of something belongs")
        }
        ErrorKind::InvalidUtf8InPathParam { .. } => {
            "the address has bytes behind its percent signs that are no text (UTF-8)".to_owned()
        }
        _ => "the address can't be read".to_owned(),
    }
}
