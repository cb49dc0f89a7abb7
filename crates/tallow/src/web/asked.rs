//! What a request asks for: the parts that its address leaves open, which page of a list, what a form holds. Where that can't be
//! read, a page says so.

use axum::extract::path::ErrorKind;
use axum::extract::rejection::{FormRejection, PathRejection};
use axum::extract::{FromRequest, FromRequestParts, Multipart as Parts, Path as Open, Query, Request};
use axum::http::{Extensions, StatusCode, request};
use axum::response::{IntoResponse, Response};
use maud::html;

use super::BODY_BYTES;
use super::form::{self, Typed};
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

    async fn from_request_parts(parts: &mut request::Parts, state: &S) -> Result<Path<T>, Response> {
        match Open::from_request_parts(parts, state).await {
            Ok(Open(asked)) => Ok(Path(asked)),
            Err(PathRejection::FailedToDeserializePathParams(error)) => {
                Err(no_such_address(&parts.extensions, wrong(error.into_kind())))
            }
            // OK to say no more: it is no route that takes parts of its address, and the routes are ours.
            Err(_) => Err(no_such_address(&parts.extensions, UNREADABLE.to_owned())),
        }
    }
}

/// What the address of a list asks for, and which of the list's pages, from 1; behind the last there is none.
pub(crate) struct Paged(pub(crate) Typed, pub(crate) usize);

impl<S: Send + Sync> FromRequestParts<S> for Paged {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut request::Parts, state: &S) -> Result<Paged, Response> {
        let asked = Query::<Vec<(String, String)>>::from_request_parts(parts, state).await;
        let Ok(Query(pairs)) = asked else {
            return Err(no_such_address(&parts.extensions, UNREADABLE.to_owned()));
        };
        let typed = Typed::new(pairs);
        let Some(page) = typed.some("page") else { return Ok(Paged(typed, 1)) };
        match page.parse() {
            Ok(page) if 0 < page => Ok(Paged(typed, page)),
            _ => {
                let what = format!("the address has \"{page}\" where the number of a page of the list belongs");
                Err(no_such_address(&parts.extensions, what))
            }
        }
    }
}

/// The fields of a form.
pub(crate) struct Form<T>(pub(crate) T);

impl<S: Send + Sync, T> FromRequest<S> for Form<T>
where
    axum::Form<T>: FromRequest<S, Rejection = FormRejection>,
{
    type Rejection = Response;

    async fn from_request(request: Request, state: &S) -> Result<Form<T>, Response> {
        let around = around(request.extensions());
        match axum::Form::from_request(request, state).await {
            Ok(axum::Form(form)) => Ok(Form(form)),
            Err(rejection) => Err(no_form(&around, rejection.status())),
        }
    }
}

/// A form with files.
pub(crate) struct Multipart(pub(crate) Parts);

impl<S: Send + Sync> FromRequest<S> for Multipart {
    type Rejection = Response;

    async fn from_request(request: Request, state: &S) -> Result<Multipart, Response> {
        let around = around(request.extensions());
        match Parts::from_request(request, state).await {
            Ok(parts) => Ok(Multipart(parts)),
            Err(rejection) => Err(no_form(&around, rejection.status())),
        }
    }
}

/// A page that says what can't be read, and the way on.
pub(crate) fn page(around: &Around, title: &str, trouble: &Trouble) -> Page {
    Page::apart(around, title, html! { (form::trouble(trouble)) p { a href="/" { "What to do today" } } })
}

fn around(extensions: &Extensions) -> Around {
    extensions.get().cloned().unwrap_or_default()
}

fn no_such_address(extensions: &Extensions, what: String) -> Response {
    let trouble =
        Trouble::refused(what).help("see whether the whole address was copied, or begin at one of the places");
    let page = page(&around(extensions), "No such address", &trouble);
    Reply::Unread { status: StatusCode::BAD_REQUEST, page }.into_response()
}

fn no_form(around: &Around, status: StatusCode) -> Response {
    let trouble = match status {
        StatusCode::PAYLOAD_TOO_LARGE => Trouble::refused("what was sent is more than is read of a form")
            .help(format!("shorten it: at most {} KiB are", BODY_BYTES / 1024)),
        StatusCode::UNSUPPORTED_MEDIA_TYPE => {
            Trouble::refused("what was sent is no form").help("send the form of a page of this server")
        }
        _ => Trouble::refused("what was sent can't be read as a form; it may not have arrived whole")
            .help("go back, and send it again"),
    };
    Reply::Unread { status, page: page(around, "Not read", &trouble) }.into_response()
}

const UNREADABLE: &str = "the address can't be read";

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
        _ => UNREADABLE.to_owned(),
    }
}
