//! Pages as they were drawn last, packed: they are handed out again until something is recorded, or a new day begins.

use std::collections::HashMap;
use std::io::{Read, Write};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use axum::Extension;
use axum::body::{self, Body};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use ledger::Asked;
use tokio::sync::OnceCell;

use super::app::{App, Of};
use super::frame::Around;
use super::guard::May;
use super::pages;

/// Packed pages that are held, bytes; with more than that the shelf is cleared and begun anew.
const MOST_BYTES: usize = 32 * 1024 * 1024;

/// How hard pages are packed: beyond this they take far longer and become hardly smaller.
const PACKING: Compression = Compression::new(5);

/// Marks a page on which something is still being made, so that it must not be handed out again.
#[derive(Clone, Copy)]
pub(crate) struct Passing;

/// What was drawn for whom: the same address shows other forms to another role, and each sees their own name.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
struct Key {
    address: String,
    name: Option<String>,
    may: May,
    /// The plan that was asked for last, and how it stands, where the page tells of it: that is no part of the records.
    plan: Option<Asked>,
}

/// A page, packed by gzip.
type Packed = Vec<u8>;

/// One place on the shelf. Who comes while its page is being drawn waits for that and does not draw it again.
type Spot = Arc<OnceCell<Packed>>;

/// The pages, and the state of the records and the day that they show.
#[derive(Default)]
pub(crate) struct Shelf(Mutex<Held>);

#[derive(Default)]
struct Held {
    of: Option<Of>,
    spots: HashMap<Key, Spot>,
    bytes: usize,
}

impl Shelf {
    /// The place of a page that shows the records as of `of`.
    fn spot(&self, of: Of, key: Key) -> Spot {
        let mut held = self.held();
        if held.of != Some(of) || MOST_BYTES < held.bytes {
            *held = Held { of: Some(of), ..Held::default() };
        }
        held.spots.entry(key).or_default().clone()
    }

    fn counts(&self, bytes: usize) {
        self.held().bytes += bytes;
    }

    /// Forgets all pages.
    pub(crate) fn clear(&self) {
        *self.held() = Held::default();
    }

    fn held(&self) -> MutexGuard<'_, Held> {
        // OK to go on: each change is whole, and a lost page is drawn again.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Hands out a page that is there, else has it drawn and keeps it. Stands before routes whose pages depend on nothing but the
/// records, the day, the address and who looks.
pub(crate) async fn keep(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    request: Request,
    next: Next,
) -> Response {
    // What was just recorded stands on one page, once.
    if request.method() != Method::GET || around.said.is_some() {
        return next.run(request).await;
    }
    // The page will show this state of the records or a newer one. Where it can't be read, the page tells why.
    let Ok(of) = app.of().await else { return next.run(request).await };
    let plan = match request.uri().path() {
        pages::ROUND => app.ledger.plan_asked_for().await.ok().flatten(),
        _ => None,
    };
    let takes_packed = takes_gzip(request.headers());
    let (name, may) = (around.visitor.name.clone(), around.visitor.may.clone());
    let key = Key { address: request.uri().to_string(), name, may, plan };
    let spot = app.shelf.spot(of, key);
    let drawn = spot.get_or_try_init(|| async {
        let packed = packed(next.run(request).await).await?;
        app.shelf.counts(packed.len());
        Ok(packed)
    });
    match drawn.await {
        Ok(packed) => handed_out(packed, takes_packed),
        Err(response) => response,
    }
}

/// A page that may be kept, packed; what may not be kept is the error.
async fn packed(response: Response) -> Result<Packed, Response> {
    let headers = response.headers();
    let is_page = headers.get(header::CONTENT_TYPE).is_some_and(|kind| kind == PAGE);
    let lasts = response.extensions().get::<Passing>().is_none() && !headers.contains_key(header::SET_COOKIE);
    if response.status() != StatusCode::OK || !is_page || !lasts {
        return Err(response);
    }
    let (parts, body) = response.into_parts();
    // OK because a page that was drawn is in memory: reading it can't fail, and it is as large as it is.
    let bytes = body::to_bytes(body, usize::MAX).await.unwrap_or_default();
    let mut encoder = GzEncoder::new(Vec::new(), PACKING);
    match encoder.write_all(&bytes).and_then(|()| encoder.finish()) {
        Ok(packed) => Ok(packed),
        Err(_) => Err(Response::from_parts(parts, Body::from(bytes))),
    }
}

const PAGE: HeaderValue = HeaderValue::from_static("text/html; charset=utf-8");

fn handed_out(packed: &Packed, takes_packed: bool) -> Response {
    let mut headers = HeaderMap::new();
    headers.insert(header::CONTENT_TYPE, PAGE);
    headers.insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    if takes_packed {
        headers.insert(header::CONTENT_ENCODING, HeaderValue::from_static("gzip"));
        return (headers, packed.clone()).into_response();
    }
    let mut page = Vec::new();
    match GzDecoder::new(packed.as_slice()).read_to_end(&mut page) {
        Ok(_) => (headers, page).into_response(),
        Err(_) => StatusCode::INTERNAL_SERVER_ERROR.into_response(),
    }
}

/// Whether a client takes what gzip packed (RFC 9110, 12.5.3); one that says nothing gets the page as it is.
fn takes_gzip(headers: &HeaderMap) -> bool {
    let accepted = headers.get_all(header::ACCEPT_ENCODING).iter().filter_map(|value| value.to_str().ok());
    accepted.flat_map(|value| value.split(',')).any(|coding| {
        let (name, weight) = coding.split_once(';').unwrap_or((coding, ""));
        let refuses = weight.trim().strip_prefix("q=").is_some_and(|q| q.parse() == Ok(0.0));
        name.trim().eq_ignore_ascii_case("gzip") && !refuses
    })
}

#[cfg(test)]
mod tests {
    use ledger::{News, Role};

    use super::*;

    fn accepting(value: &'static str) -> HeaderMap {
        HeaderMap::from_iter([(header::ACCEPT_ENCODING, HeaderValue::from_static(value))])
    }

    #[test]
    fn only_who_takes_gzip_gets_it() {
        for value in ["gzip", "br, gzip", "gzip;q=0.5", "deflate, GZIP ; q=1"] {
            assert!(takes_gzip(&accepting(value)), "{value}");
        }
        for value in ["", "br", "gzip;q=0", "gzip;q=0.0", "identity"] {
            assert!(!takes_gzip(&accepting(value)), "{value}");
        }
        assert!(!takes_gzip(&HeaderMap::new()));
    }

    fn key(name: &str) -> Key {
        Key { address: "/".to_owned(), name: Some(name.to_owned()), may: May::Role(Role::Look), plan: None }
    }

    #[test]
    fn a_page_is_kept_for_one_role() {
        let shelf = Shelf::default();
        let of = (News { revisions: 1, descriptions: 1 }, jiff::civil::date(2026, 11, 25));
        shelf.spot(of, key("one")).set(vec![1]).expect("an empty spot");
        assert!(shelf.spot(of, key("one")).initialized());
        for role in [Role::Record, Role::Plan, Role::Own] {
            let other = Key { may: May::Role(role), ..key("one") };
            assert!(!shelf.spot(of, other).initialized(), "{role:?}");
        }
    }

    #[test]
    fn a_page_is_kept_for_one_person_until_something_is_recorded_or_the_day_ends() {
        let shelf = Shelf::default();
        let news = News { revisions: 1, descriptions: 1 };
        let today = jiff::civil::date(2026, 11, 25);
        let there = |of, name: &str| shelf.spot(of, key(name)).initialized();
        shelf.spot((news, today), key("one")).set(vec![1]).expect("an empty spot");
        assert!(there((news, today), "one"));
        assert!(!there((news, today), "other"));
        assert!(!there((news, today.tomorrow().expect("a day")), "one"));
        shelf.spot((news, today), key("one")).set(vec![1]).expect("an empty spot");
        assert!(!there((News { revisions: 2, ..news }, today), "one"));
        shelf.spot((news, today), key("one")).set(vec![1]).expect("an empty spot");
        shelf.clear();
        assert!(!there((news, today), "one"));
    }

    #[test]
    fn a_full_shelf_is_begun_anew() {
        let shelf = Shelf::default();
        let of = (News { revisions: 1, descriptions: 1 }, jiff::civil::date(2026, 11, 25));
        shelf.spot(of, key("one")).set(vec![1]).expect("an empty spot");
        shelf.counts(MOST_BYTES + 1);
        assert!(!shelf.spot(of, key("one")).initialized());
        assert_eq!(shelf.held().bytes, 0);
    }
}
