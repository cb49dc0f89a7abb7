//! The visit's sheet for a printer. Its style stands in the page itself, so the answer names that style's hash to the browser
//! (CSP Level 3, 2.3.1): nothing else on the page may style or do anything.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::response::IntoResponse;

use super::super::super::app::App;
use super::super::super::form::Typed;
use super::super::super::frame::Around;
use super::super::super::reply::{Answer, Reply};
use super::{Scene, missing};
use crate::input;
use crate::sheet::{self, Paper};
use crate::trouble::Trouble;

pub(in super::super) async fn paper(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(number): Path<i64>,
    Query(asked): Query<Vec<(String, String)>>,
    headers: HeaderMap,
) -> Answer {
    let Some(scene) = Scene::read(&app, number).await? else { return missing(&around, number) };
    if !scene.told.stands() {
        return super::super::missing(
            &around,
            &format!("visit {number} is not to be walked any more, and has no sheet"),
        );
    }
    let paper = match Typed::new(asked).text("paper").as_str() {
        "letter" => Paper::Letter,
        _ => Paper::A4,
    };
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok());
    let scheme = if app.door.is_encrypted() { "https" } else { "http" };
    let site = host.map(|host| format!("{scheme}://{host}"));
    let one = scene.sheet(&app, site.as_deref()).await?;
    let page = sheet::html(&[one], paper).map_err(|error| Trouble::refused(error.to_string()))?;
    let policy = policy(&sheet::style(paper));
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8")),
        // OK to fall back: base 64 always stands in a header, and without it the page has no style.
        (
            header::CONTENT_SECURITY_POLICY,
            HeaderValue::from_str(&policy).unwrap_or(HeaderValue::from_static("default-src 'none'")),
        ),
    ];
    Ok(Reply::Other(Box::new((headers, page).into_response())))
}

/// What a page with that style in it may do.
fn policy(style: &str) -> String {
    let hash = base64(&input::sha256_bytes(style.as_bytes()));
    format!(
        "default-src 'none'; style-src 'sha256-{hash}'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
    )
}

/// Base 64 (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let of_three = |three: &[u8]| {
        let bits = three.iter().fold(0u32, |bits, byte| bits << 8 | u32::from(*byte)) << (8 * (3 - three.len()));
        let letter = |place: usize| char::from(ALPHABET[(bits >> (18 - 6 * place)) as usize & 63]);
        [0, 1, 2, 3].map(|place| if place <= three.len() { letter(place) } else { '=' })
    };
    bytes.chunks(3).flat_map(of_three).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base_64_is_that_of_the_standard() {
        // RFC 4648, section 10.
        let vectors =
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("foobar", "Zm9vYmFy")];
        for (text, expected) in vectors {
            assert_eq!(base64(text.as_bytes()), expected, "{text}");
        }
    }
}
