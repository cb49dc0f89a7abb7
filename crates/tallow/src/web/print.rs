//! Answers that go to a printer: whole texts with a style of their own, which the browser is told by its hash.

use axum::http::{HeaderName, HeaderValue, header};
use axum::response::{IntoResponse, Response};

use crate::input;
use crate::sheet::{self, Paper};

/// A sheet as an answer. Nothing is allowed on it but the styles of sheets (CSP Level 3, 2.3.1: hashes of sources).
pub(crate) fn printed(html: String) -> Response {
    let hash = |paper: Paper| base64(&input::sha256_bytes(sheet::style(paper).as_bytes()));
    let styles = [Paper::A4, Paper::Letter].map(|paper| format!("'sha256-{}'", hash(paper))).join(" ");
    let policy = format!(
        "default-src 'none'; style-src {styles}; img-src data:; form-action 'none'; frame-ancestors 'none'; base-uri 'none'"
    );
    let mut response = ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], html).into_response();
    // OK because base64 has no letter that a header may not hold.
    let policy = HeaderValue::from_str(&policy).expect("a policy of plain letters");
    response.headers_mut().insert(HeaderName::from_static("content-security-policy"), policy);
    response
}

/// Bytes in base64 (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let bits = (0..3).fold(0_u32, |bits, place| bits << 8 | u32::from(group.get(place).copied().unwrap_or(0)));
        for place in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * place) & 63) as usize];
            text.push(if place <= group.len() { char::from(letter) } else { '=' });
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_is_that_of_the_standard() {
        // RFC 4648, section 10.
        for (plain, coded) in
            [("", ""), ("f", "Zg=="), ("fo", "Zm8="), ("foo", "Zm9v"), ("foob", "Zm9vYg=="), ("foobar", "Zm9vYmFy")]
        {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn a_sheets_own_style_is_allowed_and_no_other() {
        let answer = printed(String::new());
        let policy = answer.headers()["content-security-policy"].to_str().unwrap();
        for paper in [Paper::A4, Paper::Letter] {
            let hash = base64(&input::sha256_bytes(sheet::style(paper).as_bytes()));
            assert!(policy.contains(&hash), "{policy}");
        }
        assert!(policy.contains("style-src 'sha256-") && !policy.contains("unsafe"), "{policy}");
    }
}
