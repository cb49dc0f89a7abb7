//! Answers: pages, redirections after something was recorded, and troubles. The only place that knows HTTP's status codes.

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use ledger::Role;
use maud::html;

use super::form;
use super::frame::{Around, Page};
use super::guard;
use super::problem;
use crate::trouble::Trouble;

/// What a request ends in.
pub(crate) enum Reply {
    /// A page.
    Page(Page),
    /// A page that could not do what was asked; it says so beside the form, and keeps what was typed.
    Refused(Page),
    /// Something was recorded: look there, where these words stand at the head.
    Done { to: String, said: String },
    /// Not before so many seconds are over.
    Wait { page: Page, seconds: u64 },
    /// There is no such page; what there is instead.
    Missing(Page),
    /// What was asked or sent can't be read; why. The status says what is wrong with it.
    Unread { status: StatusCode, page: Page },
    /// Anything else: a picture, a file.
    Other(Box<Response>),
}

/// A page that failed as a whole.
pub(crate) struct Failed(pub(crate) Trouble);

impl<T: Into<Trouble>> From<T> for Failed {
    fn from(trouble: T) -> Failed {
        Failed(trouble.into())
    }
}

/// What page functions answer with.
pub(crate) type Answer = Result<Reply, Failed>;

impl IntoResponse for Reply {
    fn into_response(self) -> Response {
        match self {
            Reply::Page(page) => page.into_response(),
            Reply::Refused(page) => (StatusCode::UNPROCESSABLE_ENTITY, page).into_response(),
            Reply::Missing(page) => (StatusCode::NOT_FOUND, page).into_response(),
            Reply::Unread { status, page } => (status, page).into_response(),
            Reply::Other(response) => *response,
            Reply::Wait { page, seconds } => {
                (StatusCode::TOO_MANY_REQUESTS, [(header::RETRY_AFTER, seconds.to_string())], page).into_response()
            }
            Reply::Done { to, said } => done(&to, &said),
        }
    }
}

/// Why a request is not let in.
pub(crate) enum Denied {
    /// It comes from elsewhere.
    Elsewhere(Trouble),
    /// Nobody is signed in; where they wanted to go.
    Stranger { to: String },
    /// It needs that role.
    Role(Role),
    /// It is more than a machine's token opens.
    Machine,
}

impl Denied {
    /// The answer: data for programs, a page for people, and for strangers the way to sign in.
    pub(crate) fn response(self, path: &str, around: &Around) -> Response {
        let (status, trouble) = match self {
            Denied::Elsewhere(trouble) => (StatusCode::FORBIDDEN, trouble),
            Denied::Stranger { to } if !guard::is_for_programs(path) => {
                return see(&format!("/sign-in?to={}", encoded(&to)));
            }
            Denied::Stranger { .. } => (
                StatusCode::UNAUTHORIZED,
                Trouble::refused("nobody is signed in, and there is no token that is known")
                    .help("send the machine's token: Authorization: Bearer TOKEN"),
            ),
            Denied::Role(role) => (
                StatusCode::FORBIDDEN,
                Trouble::refused(format!("this needs the role \"{}\"", role.word()))
                    .help("somebody whose role is \"own\" can give it"),
            ),
            Denied::Machine => (
                StatusCode::FORBIDDEN,
                Trouble::refused("a machine's token is for booking its own runs alone").help("sign in as a person"),
            ),
        };
        if guard::is_for_programs(path) {
            return problem::response(status, &trouble);
        }
        let body = html! { (form::trouble(&trouble)) p { a href="/" { "What to do today" } } };
        (status, Page::apart(around, "Refused", body)).into_response()
    }
}

/// That an answer took longer than anybody waits for it.
pub(crate) fn late(path: &str) -> Response {
    let (status, trouble) = (
        StatusCode::SERVICE_UNAVAILABLE,
        Trouble::refused("the answer takes too long").help("try again later, or ask for less at once"),
    );
    if guard::is_for_programs(path) {
        return problem::response(status, &trouble);
    }
    (status, Page::of_trouble("Not in time", &trouble)).into_response()
}

/// Leads to a page of this server.
pub(crate) fn see(to: &str) -> Response {
    // OK to fall back: a place that can't stand in a header is none of ours.
    let to = HeaderValue::from_str(to).unwrap_or(HeaderValue::from_static("/"));
    (StatusCode::SEE_OTHER, [(header::LOCATION, to)]).into_response()
}

/// `to` if it is a place of this server, else the first page: nobody is led elsewhere by a link to here.
pub(crate) fn local(to: &str) -> &str {
    let is_plain = to.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    if to.starts_with('/') && !to.starts_with("//") && is_plain { to } else { "/" }
}

/// Leads to a page; what was said goes along in a cookie that this page uses up.
fn done(to: &str, said: &str) -> Response {
    let cookie = format!("said={}; Path=/; HttpOnly; SameSite=Strict; Max-Age=60", encoded(said));
    let mut response = see(to);
    if let Ok(cookie) = HeaderValue::from_str(&cookie) {
        response.headers_mut().append(header::SET_COOKIE, cookie);
    }
    response
}

impl IntoResponse for Failed {
    fn into_response(self) -> Response {
        let Failed(trouble) = self;
        let status = problem::status_of(&trouble, StatusCode::INTERNAL_SERVER_ERROR);
        (status, Page::of_trouble("This page can't be shown", &trouble)).into_response()
    }
}

/// Text as it may stand in a cookie or in a part of an address: all but letters, digits, `-`, `.`, `_` and `~` by
/// percent signs (RFC 3986, section 2).
pub(crate) fn encoded(text: &str) -> String {
    let mut encoded = String::with_capacity(text.len());
    for byte in text.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => encoded.push(char::from(byte)),
            byte => encoded.push_str(&format!("%{byte:02X}")),
        }
    }
    encoded
}

/// The text that [`encoded`] made; `None` for what it can't have made.
pub(crate) fn decoded(text: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let Some((&first, after)) = rest.split_first() {
        rest = after;
        if first == b'%' {
            let (digits, after) = rest.split_at_checked(2)?;
            bytes.push(u8::from_str_radix(std::str::from_utf8(digits).ok()?, 16).ok()?);
            rest = after;
        } else {
            bytes.push(first);
        }
    }
    String::from_utf8(bytes).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_led_elsewhere() {
        for to in ["/", "/machines/clove%20hitch?days=7#x", "/records"] {
            assert_eq!(local(to), to);
        }
        let elsewhere = [
            "//example.org",
            "/\\example.org",
            "\\\\example.org",
            "https://example.org",
            "javascript:alert(1)",
            "",
            "example.org",
            "/\t/example.org",
            "/a\r\nSet-Cookie: x=y",
            " /machines",
            "/ø",
        ];
        for to in elsewhere {
            assert_eq!(local(to), "/", "{to:?}");
        }
    }

    #[test]
    fn an_answer_that_takes_too_long_is_told_to_programs_and_to_people() {
        for (path, kind) in [("/api/before", problem::KIND), ("/before", "text/html; charset=utf-8")] {
            let response = late(path);
            assert_eq!(response.status(), StatusCode::SERVICE_UNAVAILABLE);
            assert_eq!(response.headers()[header::CONTENT_TYPE], kind, "{path}");
        }
    }

    #[test]
    fn any_text_survives_the_way_through_a_cookie_and_holds_nothing_that_ends_one() {
        for text in ["plain", "ö; x=1\r\nSet-Cookie: a=b", "100 % done", ""] {
            let cookie = encoded(text);
            assert!(!cookie.contains([';', '\r', '\n', ' ', '=']), "{cookie}");
            assert_eq!(decoded(&cookie).as_deref(), Some(text));
        }
        assert_eq!([decoded("%"), decoded("%zz"), decoded("%ff")], [None, None, None]);
    }
}
