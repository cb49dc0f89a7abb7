//! What programs send: parameters in the query or as JSON, files as whole bodies.

use std::fs::File;
use std::io::Write;
use std::sync::Arc;

use axum::body::Body;
use axum::http::{StatusCode, Uri};
use serde_json::Value;
use tokio_stream::StreamExt;

use super::routes::{Route, Text};
use super::{Given, Refused, arguments};
use crate::input::Sent;
use crate::trouble::Trouble;
use crate::web::reply::decoded;

/// The parameters in an address' query.
///
/// # Errors
/// Percent signs that spell no UTF-8 text.
pub(super) fn query(uri: &Uri) -> Result<Given, Refused> {
    let pairs = uri.query().unwrap_or_default().split('&').filter(|pair| !pair.is_empty());
    let text = |part: &str| {
        decoded(&part.replace('+', " ")).ok_or_else(|| {
            let help = "write text in UTF-8, and what is no letter or digit by percent signs: %C3%B8";
            Refused(
                StatusCode::BAD_REQUEST,
                Trouble::refused(format!("\"{part}\" in the address is no text")).help(help),
            )
        })
    };
    pairs
        .map(|pair| {
            let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
            Ok((text(name)?, text(value)?))
        })
        .collect()
}

/// The members of a JSON object, as parameters; an empty body says nothing.
///
/// # Errors
/// A body that is no such object, is too large or did not arrive whole.
pub(super) async fn members(route: &Route, body: Body, most: usize) -> Result<Given, Refused> {
    let mut bytes = Vec::new();
    each_chunk(body, most, |chunk| {
        bytes.extend_from_slice(chunk);
        Ok(())
    })
    .await?;
    object(route, &bytes)
}

/// The members of a JSON object, as parameters; no bytes say nothing.
///
/// # Errors
/// What is no such object.
pub(super) fn object(route: &Route, bytes: &[u8]) -> Result<Given, Refused> {
    if bytes.is_empty() {
        return Ok(Given::new());
    }
    match serde_json::from_slice(bytes) {
        Ok(Value::Object(members)) => Ok(arguments::given(route, members)?),
        Ok(_) => Err(malformed("what was sent is no JSON object")),
        Err(error) => Err(malformed(&format!("what was sent is no JSON: {error}"))),
    }
}

/// Takes a whole body as a file without a name on this system.
///
/// # Errors
/// As [`members`], and a disk that is full.
pub(super) async fn file(body: Body, most: usize, name: String) -> Result<Sent, Refused> {
    let mut file = tempfile::tempfile().map_err(|error| full(&error))?;
    let bytes = each_chunk(body, most, |chunk| file.write_all(chunk).map_err(|error| full(&error))).await?;
    match bytes {
        0 => Err(Trouble::refused("no file was sent").help("send it as the request's body, or JSON without it").into()),
        _ => Ok(Sent { name, file: Arc::new(file) }),
    }
}

/// What a build's text is called that was sent as a parameter, in messages and on the command line.
const TEXT: &str = "text";

/// Takes a build's text out of the parameters, as a file that came along; where a build's name may stand, it stands for that.
///
/// # Errors
/// A text and a name; a disk that is full.
pub(super) fn text(route: &Route, given: &mut Given) -> Result<Option<Sent>, Refused> {
    let Some(place) = given.iter().position(|(name, _)| route.text != Text::None && name == TEXT) else {
        return Ok(None);
    };
    let (_, text) = given.remove(place);
    if let Text::InsteadOf(name) = route.text {
        if given.iter().any(|(other, _)| other == name) {
            let both = Trouble::refused(format!("both \"{name}\" and \"{TEXT}\" were given"));
            return Err(both.help("give the name of a known build, or a build's text").into());
        }
        given.push((name.to_owned(), TEXT.to_owned()));
    }
    let mut file: File = tempfile::tempfile().map_err(|error| full(&error))?;
    file.write_all(text.as_bytes()).map_err(|error| full(&error))?;
    Ok(Some(Sent { name: TEXT.to_owned(), file: Arc::new(file) }))
}

/// Hands a body on in pieces, and tells how many bytes there were.
async fn each_chunk(
    body: Body,
    most: usize,
    mut take: impl FnMut(&[u8]) -> Result<(), Refused>,
) -> Result<usize, Refused> {
    let mut chunks = body.into_data_stream();
    let mut bytes = 0;
    while let Some(chunk) = chunks.next().await {
        let chunk = chunk.map_err(|_| {
            let broken = Trouble::refused("what was sent did not arrive whole").help("send it again");
            Refused(StatusCode::BAD_REQUEST, broken)
        })?;
        bytes += chunk.len();
        if most < bytes {
            let trouble =
                Trouble::refused("that is more than is read").help(format!("at most {} KiB are", most / 1024));
            return Err(Refused(StatusCode::PAYLOAD_TOO_LARGE, trouble));
        }
        take(&chunk)?;
    }
    Ok(bytes)
}

fn full(error: &std::io::Error) -> Refused {
    let trouble = Trouble::refused(format!("the file could not be taken in: {error}"));
    Refused(StatusCode::INSUFFICIENT_STORAGE, trouble.help("make room on the server's disk"))
}

fn malformed(what: &str) -> Refused {
    let help = "send an object whose members are the command's parameters; /api/openapi.json tells them";
    Refused(StatusCode::BAD_REQUEST, Trouble::refused(what).help(help))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_query_is_text_or_refused_and_never_guessed() {
        let read = |text: &str| query(&text.parse().unwrap()).ok();
        let pair = |name: &str, value: &str| (name.to_owned(), value.to_owned());
        assert_eq!(read("/api/due"), Some(vec![]));
        assert_eq!(
            read("/api/due?machine=clove%20hitch&days=7&all&why="),
            Some(vec![pair("machine", "clove hitch"), pair("days", "7"), pair("all", ""), pair("why", "")])
        );
        assert_eq!(read("/api/due?machine=a+b%2Bc"), Some(vec![pair("machine", "a b+c")]));
        for wrong in ["/api/due?machine=%FF", "/api/due?machine=%", "/api/due?%zz=1", "/api/due?x=%C3%28"] {
            assert_eq!(read(wrong), None, "{wrong}");
        }
    }
}
