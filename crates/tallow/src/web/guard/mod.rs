//! Who asks, from where, what they may do, and what every answer must carry.
//!
//! A page of another site must not make a browser record something here: requests that change something must come from a
//! page of this server, which browsers say in `Sec-Fetch-Site` and `Origin` (W3C Fetch Metadata; RFC 6454). The name by which
//! the server is called must be one of its own, so that no name that somebody points at it makes their page one of ours
//! (`door`). Who asks is told by a cookie or a token (`session`); each route says which role it needs ([`needs`]).

mod door;
mod public;
mod session;
pub(super) mod waits;

use std::sync::Arc;
use std::time::Duration;

use axum::Extension;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use ledger::Role;
use tokio::time::timeout;

pub(crate) use self::door::Door;
pub(crate) use self::public::PublicAddress;
pub(crate) use self::session::{forget, idle_since, start};
use super::app::{App, BY};
use super::frame::Around;
use super::problem;
use super::reply::{Denied, Failed, decoded, late};

/// Who looks.
#[derive(Clone, Debug, Default)]
pub(crate) struct Visitor {
    /// Their name; `None` where the shop asks for none, and for strangers.
    pub(crate) name: Option<String>,
    /// What they may do.
    pub(crate) may: May,
    /// The number of their session.
    pub(crate) session: Option<i64>,
}

/// What somebody may do.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash)]
pub(crate) enum May {
    /// Sign in.
    #[default]
    Nothing,
    /// What the role may.
    Role(Role),
    /// Book for this machine alone.
    Machine(String),
}

impl May {
    /// Whether they may do what needs `role`. Where a machine's token gets at all is told by [`is_for_machines`].
    pub(crate) fn do_what_needs(&self, role: Role) -> bool {
        match self {
            May::Nothing => false,
            May::Role(has) => role <= *has,
            May::Machine(_) => role <= Role::Record,
        }
    }
}

/// What every answer carries: no scripts but ours, no frames, nothing from elsewhere (CSP Level 3).
const HEADERS: [(HeaderName, &str); 6] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data: blob:; connect-src 'self'; \
         form-action 'self'; frame-ancestors 'none'; base-uri 'none'; worker-src 'self'; manifest-src 'self'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    // Our own pages hear a belt that is plucked, if whoever looks allows it.
    (HeaderName::from_static("permissions-policy"), "microphone=(self), camera=(), geolocation=()"),
];

/// How long an answer may take.
const ANSWER: Duration = Duration::from_secs(120);

/// Looks at each request before it reaches a page, and at each answer before it leaves.
pub(crate) async fn guard(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    let mut response = timeout(ANSWER, let_in(&app, request, next)).await.unwrap_or_else(|_| late(&path));
    dress(&mut response, &app.door);
    response
}

/// Puts on an answer what every answer carries.
pub(super) fn dress(response: &mut Response, door: &Door) {
    for (name, value) in HEADERS {
        response.headers_mut().entry(name).or_insert(HeaderValue::from_static(value));
    }
    if door.is_encrypted() {
        // A year (RFC 6797).
        let only_encrypted = HeaderValue::from_static("max-age=31536000");
        response.headers_mut().insert(header::STRICT_TRANSPORT_SECURITY, only_encrypted);
    }
    response.headers_mut().entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
}

async fn let_in(app: &App, mut request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    if let Some(trouble) = app.door.refuses(request.method(), request.headers()) {
        return Denied::Elsewhere(trouble).response(&path, &Around::default());
    }
    let (visitor, renewed) = match session::visitor(app, &path, request.method(), request.headers()).await {
        Ok(found) => found,
        Err(trouble) if is_for_programs(&path) => {
            return problem::response(problem::status_of(&trouble, StatusCode::INTERNAL_SERVER_ERROR), &trouble);
        }
        Err(trouble) => return Failed(trouble).into_response(),
    };
    let around = Around {
        shop: app.ledger.shop().name.clone(),
        today: Some(app.now().date()),
        said: cookie(request.headers(), "said").and_then(|text| decoded(&text)),
        visitor: visitor.clone(),
    };
    match &visitor.may {
        May::Nothing if !is_for_strangers(&path) => {
            // What was asked for by POST is no place to come back to.
            let page = request.uri().path_and_query().filter(|_| request.method() == Method::GET);
            let to = page.map_or_else(|| "/".to_owned(), ToString::to_string);
            return Denied::Stranger { to }.response(&path, &Around::default());
        }
        May::Machine(_) if !is_for_machines(&path) => return Denied::Machine.response(&path, &around),
        _ => {}
    }
    request.extensions_mut().insert(around);
    request.extensions_mut().insert(visitor.may);
    let changes = !request.method().is_safe();
    let mut response = BY.scope(visitor.name, next.run(request)).await;
    if changes {
        app.shelf.clear();
    }
    if let Some(renewed) = renewed {
        response.headers_mut().append(header::SET_COOKIE, renewed);
    }
    response
}

/// Lets on whoever has the role. Stands before each route; what has no such layer is only for those who are signed in.
pub(crate) async fn needs(
    State(role): State<Role>,
    Extension(around): Extension<Around>,
    request: Request,
    next: Next,
) -> Response {
    match around.visitor.may.do_what_needs(role) {
        true => next.run(request).await,
        false => Denied::Role(role).response(request.uri().path(), &around),
    }
}

/// What can be seen without a session: how to sign in, and how that looks.
fn is_for_strangers(path: &str) -> bool {
    // A calendar program can't sign in; its link holds a secret.
    path == "/sign-in" || path.starts_with("/assets/") || path.starts_with("/calendar/")
}

/// Where a machine's token opens.
fn is_for_machines(path: &str) -> bool {
    matches!(path, "/api/run" | "/api/queue" | "/api/hour-meter" | "/metrics")
}

/// Addresses of programs: refusals there are data, and tokens are taken.
pub(crate) fn is_for_programs(path: &str) -> bool {
    path == "/api" || path.starts_with("/api/") || path == "/metrics"
}

fn text(headers: &HeaderMap, name: HeaderName) -> Option<&str> {
    headers.get(name)?.to_str().ok()
}

/// The value of a cookie.
pub(crate) fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    let all = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|value| value.split(';')).find_map(|pair| {
        let (key, value) = pair.trim().split_once('=')?;
        (key == name && !value.is_empty()).then(|| value.to_owned())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_role_holds_those_before_it_and_strangers_hold_none() {
        for (place, has) in Role::ALL.into_iter().enumerate() {
            for (other, needed) in Role::ALL.into_iter().enumerate() {
                assert_eq!(May::Role(has).do_what_needs(needed), other <= place, "{has:?} {needed:?}");
            }
            assert!(!May::Nothing.do_what_needs(has));
        }
        assert!(!May::Machine("bowline".into()).do_what_needs(Role::Plan));
    }
}
