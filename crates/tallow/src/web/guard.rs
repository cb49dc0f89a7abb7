//! Who asks, from where, and what every answer must carry.
//!
//! A page of another site must not make a browser record something here: requests that change something must come from a
//! page of this server, which browsers say in `Sec-Fetch-Site` and `Origin` (W3C Fetch Metadata; RFC 6454). The name by which
//! the server is called must be one of its own, so that no name that somebody points at it makes their page one of ours.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::app::App;
use super::frame::{Around, Page};
use super::reply::decoded;
use crate::trouble::Trouble;

/// Who looks.
#[derive(Clone, Debug, Default)]
pub(crate) struct Visitor {
    /// Their name; `None` where the shop asks for none.
    pub(crate) name: Option<String>,
}

/// What every answer carries: no scripts but ours, no frames, nothing from elsewhere (CSP Level 3).
const HEADERS: [(HeaderName, &str); 5] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data: blob:; connect-src 'self'; \
         form-action 'self'; frame-ancestors 'none'; base-uri 'none'; worker-src 'self'; manifest-src 'self'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
];

/// Looks at each request before it reaches a page, and at each answer before it leaves.
pub(crate) async fn guard(State(app): State<Arc<App>>, mut request: Request, next: Next) -> Response {
    let mut response = match refused(&request) {
        Some(trouble) => (StatusCode::FORBIDDEN, Page::of_trouble("Refused", &trouble)).into_response(),
        None => {
            let around = Around {
                shop: app.ledger.shop().name.clone(),
                today: Some(app.now().date()),
                visitor: Visitor::default(),
                said: cookie(request.headers(), "said").and_then(|text| decoded(&text)),
            };
            request.extensions_mut().insert(around);
            next.run(request).await
        }
    };
    for (name, value) in HEADERS {
        response.headers_mut().entry(name).or_insert(HeaderValue::from_static(value));
    }
    response.headers_mut().entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// Why a request is refused, if it is.
fn refused(request: &Request) -> Option<Trouble> {
    let headers = request.headers();
    let host = text(headers, header::HOST).unwrap_or_default();
    if !is_own_name(host) {
        return Some(
            Trouble::refused("the server does not go by that name").help("open it by the address that it printed"),
        );
    }
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    (changes && is_from_elsewhere(headers, host)).then(|| {
        Trouble::refused("a page of another site asked for this").help("do it on a page of this server")
    })
}

/// Whether a browser says that the request comes from another site's page. What is no browser says nothing, and carries no
/// cookie that somebody else could use.
fn is_from_elsewhere(headers: &HeaderMap, host: &str) -> bool {
    let site = text(headers, HeaderName::from_static("sec-fetch-site"));
    let origin = text(headers, header::ORIGIN);
    let is_own_origin = |origin: &str| origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://")) == Some(host);
    match (site, origin) {
        (Some(site), _) if site != "same-origin" && site != "none" => true,
        (_, Some(origin)) => !is_own_origin(origin),
        (Some(_) | None, None) => false,
    }
}

/// Whether the server goes by that name: the loopback's addresses and name.
fn is_own_name(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split(']').next().unwrap_or_default(),
        None => host.split(':').next().unwrap_or_default(),
    };
    name == "localhost" || name.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback())
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

    fn asked(method: &str, headers: &[(&str, &str)]) -> bool {
        let mut request = Request::builder().method(method).uri("/");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        refused(&request.body(axum::body::Body::empty()).unwrap()).is_none()
    }

    #[test]
    fn another_sites_page_records_nothing_here() {
        const HOST: (&str, &str) = ("host", "127.0.0.1:4630");
        assert!(asked("POST", &[HOST, ("sec-fetch-site", "same-origin"), ("origin", "http://127.0.0.1:4630")]));
        assert!(!asked("POST", &[HOST, ("sec-fetch-site", "cross-site"), ("origin", "http://127.0.0.1:4630")]));
        assert!(!asked("POST", &[HOST, ("origin", "http://example.org")]));
        assert!(!asked("POST", &[HOST, ("origin", "null")]));
        assert!(!asked("POST", &[HOST, ("sec-fetch-site", "same-site")]), "another port is another server");
        assert!(asked("POST", &[HOST]), "a program without a browser");
        assert!(asked("GET", &[HOST, ("sec-fetch-site", "cross-site")]), "a link from elsewhere may be followed");
    }

    #[test]
    fn a_name_that_somebody_points_at_the_server_is_none_of_its_own() {
        for own in ["localhost:1", "127.0.0.1", "[::1]:4630", "127.8.0.1:80"] {
            assert!(asked("GET", &[("host", own)]), "{own}");
        }
        for other in ["example.org", "localhost.example.org:1", "192.168.1.5:4630", "", "[::2]:1"] {
            assert!(!asked("GET", &[("host", other)]), "{other}");
        }
    }
}
