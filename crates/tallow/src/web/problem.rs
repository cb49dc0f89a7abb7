//! Refusals for programs: problem details (RFC 9457).

use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde_json::json;

use crate::trouble::Trouble;

/// The media type of problem details.
pub(crate) const KIND: &str = "application/problem+json";

/// The status of a trouble: where the shop can't be reached it is to be tried again; else as `otherwise` has it.
pub(crate) fn status_of(trouble: &Trouble, otherwise: StatusCode) -> StatusCode {
    if trouble.is_of_the_shop() { StatusCode::SERVICE_UNAVAILABLE } else { otherwise }
}

/// A trouble as problem details; `help` are its lines on what to do.
pub(crate) fn response(status: StatusCode, trouble: &Trouble) -> Response {
    let title = status.canonical_reason().unwrap_or("Refused");
    let body = json!({
        "type": "about:blank", "title": title, "status": status.as_u16(), "detail": trouble.what(),
        "help": trouble.help_lines(),
    });
    (status, [(header::CONTENT_TYPE, KIND)], body.to_string()).into_response()
}
