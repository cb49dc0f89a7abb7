//! Files that a form brings: into a file without a name, so that nothing that a user calls a place is ever opened.

use std::fs::File;
use std::io::Write;
use std::sync::Arc;

use axum::extract::Multipart;
use axum::extract::multipart::{Field, MultipartError};

use super::form::Typed;
use crate::input::Sent;
use crate::trouble::Trouble;

/// The largest form with files, bytes, as packed: print files of a week are smaller.
pub(crate) const MOST_BYTES: usize = 256 * 1024 * 1024;

/// The longest text in a field, bytes.
const MOST_TEXT: usize = 16 * 1024;

/// A form with what was typed, and the files that came along.
pub(crate) struct Received {
    /// What was typed.
    pub(crate) typed: Typed,
    /// The files in which something stands.
    pub(crate) files: Vec<Sent>,
}

/// Receives a form with files. Where it breaks off, what was typed until then comes with the trouble.
///
/// # Errors
/// A form that is cut off or too large, and a disk that is full.
pub(crate) async fn received(mut form: Multipart) -> Result<Received, (Typed, Trouble)> {
    let (mut pairs, mut files) = (Vec::new(), Vec::new());
    loop {
        let field = match form.next_field().await {
            Ok(Some(field)) => field,
            Ok(None) => return Ok(Received { typed: Typed::new(pairs), files }),
            Err(error) => return Err((Typed::new(pairs), broken(&error))),
        };
        let name = field.name().unwrap_or_default().to_owned();
        let taken = match field.file_name().map(plain) {
            Some(file_name) => file(field, file_name).await.map(|file| files.extend(file)),
            None => text(field).await.map(|text| pairs.push((name, text))),
        };
        if let Err(trouble) = taken {
            return Err((Typed::new(pairs), trouble));
        }
    }
}

/// A file; `None` where the form's field was left empty.
async fn file(mut field: Field<'_>, name: String) -> Result<Option<Sent>, Trouble> {
    let mut into = tempfile::tempfile().map_err(|error| full(&error))?;
    let mut bytes = 0;
    while let Some(chunk) = field.chunk().await.map_err(|error| broken(&error))? {
        bytes += chunk.len();
        into.write_all(&chunk).map_err(|error| full(&error))?;
    }
    let file: Arc<File> = Arc::new(into);
    Ok((!name.is_empty() && 0 < bytes).then_some(Sent { name, file }))
}

async fn text(mut field: Field<'_>) -> Result<String, Trouble> {
    let mut text = Vec::new();
    while let Some(chunk) = field.chunk().await.map_err(|error| broken(&error))? {
        text.extend_from_slice(&chunk);
        if MOST_TEXT < text.len() {
            return Err(Trouble::refused("a field holds more text than is read").help("shorten it"));
        }
    }
    Ok(String::from_utf8_lossy(&text).into_owned())
}

/// What a browser calls a file, without folders and control characters: it is shown and kept as a label.
fn plain(name: &str) -> String {
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    last.chars().filter(|letter| !letter.is_control()).take(200).collect()
}

fn broken(error: &MultipartError) -> Trouble {
    if error.status() == axum::http::StatusCode::PAYLOAD_TOO_LARGE {
        let most = MOST_BYTES / 1024 / 1024;
        return Trouble::refused(format!("the file is larger than {most} MiB"))
            .help("pack it with gzip or zstd; packed files can be read");
    }
    Trouble::refused("the file did not arrive whole").help("send it again")
}

fn full(error: &std::io::Error) -> Trouble {
    Trouble::refused(format!("the file could not be taken in: {error}")).help("make room on the server's disk")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_file_is_called_is_no_place() {
        for (sent, called) in [
            ("rib.gcode", "rib.gcode"),
            ("../../etc/passwd", "passwd"),
            ("C:\\x\\rib.gcode", "rib.gcode"),
            ("a\u{0}\nb", "ab"),
            ("", ""),
        ] {
            assert_eq!(plain(sent), called);
        }
    }
}
