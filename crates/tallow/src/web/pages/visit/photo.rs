//! Photos of a visit: taken in piece by piece, so that none is held that is too large, and given back as what they are.

use std::sync::Arc;

use axum::Extension;
use axum::extract::State;
use axum::extract::multipart::{Field, MultipartError};
use axum::http::{HeaderValue, header};
use axum::response::IntoResponse;
use ledger::{LARGEST_PHOTO, Maker, PhotoError, PhotoKind};
use upkeep::EntryId;

use super::super::super::app::App;
use super::super::super::asked::{Multipart, Path};
use super::super::super::form::{Refusal, Typed};
use super::super::super::frame::Around;
use super::super::super::reply::{Answer, Reply};
use super::show::{View, photo_form_of};
use super::{Scene, key_in, missing};
use crate::trouble::Trouble;

/// The most octets of a request that brings a photo. What is larger than a photo may be is still read up to here: a browser
/// hears no answer while it sends.
pub(in super::super) const LARGEST_BODY: usize = 64_000_000;

pub(in super::super) async fn add(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(number): Path<i64>,
    Multipart(form): Multipart,
) -> Answer {
    let Some(scene) = Scene::read(&app, number).await? else { return missing(&around, number) };
    let (typed, photo) = match read(form).await {
        Ok(read) => read,
        Err(error) => (Typed::default(), Err(too_long(&error))),
    };
    let (task, view) = (typed.text("task"), View::of(&typed.text("view")));
    let is_known = scene.told.visit.tasks.contains(&task);
    let key = key_in(&typed);
    // The answer to the first sending was lost on its way; the photo is there, even where the visit has been finished since.
    let is_kept = app.ledger.has_photo(scene.told.id, &key).await?;
    let kept = match (scene.closed(), photo) {
        _ if is_kept => Ok(()),
        (Some(trouble), _) | (None, Err(trouble)) => Err(trouble),
        (None, Ok(_)) if !is_known => Err(Trouble::refused(format!("\"{task}\" is no task of visit {number}"))),
        (None, Ok(bytes)) => {
            let at = app.now().timestamp();
            let maker = Maker { by: around.visitor.name.as_deref(), at, key: &key };
            app.ledger.add_photo(scene.told.id, &task, &bytes, &maker).await.map_err(Trouble::from)
        }
    };
    match kept {
        Ok(()) => {
            Ok(Reply::Done { to: format!("/visits/{number}?{}", view.query()), said: format!("{task}: photo kept") })
        }
        Err(trouble) => {
            let refusal = Refusal::new(&photo_form_of(&task), trouble, typed);
            Ok(Reply::Refused(scene.page(&app, &around, view, &refusal).await?))
        }
    }
}

/// The fields of the form, and the photo or why it is none.
async fn read(mut form: axum::extract::Multipart) -> Result<(Typed, Result<Vec<u8>, Trouble>), MultipartError> {
    let mut fields = Vec::new();
    let mut photo = Err(Trouble::refused("no photo was chosen").help("take one, or choose a file"));
    while let Some(field) = form.next_field().await? {
        let name = field.name().unwrap_or_default().to_owned();
        if name != "photo" {
            fields.push((name, field.text().await?));
            continue;
        }
        photo = match bytes(field).await? {
            Some(bytes) if bytes.is_empty() => photo,
            Some(bytes) => Ok(bytes),
            None => Err(ledger::Error::from(PhotoError::Size).into()),
        };
    }
    Ok((Typed::new(fields), photo))
}

/// What a field holds; `None` where that is more than a photo may have.
async fn bytes(mut field: Field<'_>) -> Result<Option<Vec<u8>>, MultipartError> {
    let mut bytes = Vec::new();
    let mut length = 0;
    while let Some(piece) = field.chunk().await? {
        length += piece.len();
        if length <= LARGEST_PHOTO {
            bytes.extend_from_slice(&piece);
        }
    }
    Ok((length <= LARGEST_PHOTO).then_some(bytes))
}

fn too_long(error: &MultipartError) -> Trouble {
    match error.status() {
        axum::http::StatusCode::PAYLOAD_TOO_LARGE => ledger::Error::from(PhotoError::Size).into(),
        _ => Trouble::refused("the photo did not arrive whole").help("send it again"),
    }
}

pub(in super::super) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path((number, place)): Path<(i64, i64)>,
) -> Answer {
    let Some((kind, bytes)) = app.ledger.photo(EntryId(number), place).await? else {
        return super::super::missing(&around, &format!("visit {number} has no photo {place}"));
    };
    let kind = match kind {
        PhotoKind::Jpeg => "image/jpeg",
        PhotoKind::Png => "image/png",
        PhotoKind::WebP => "image/webp",
    };
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(kind)),
        // A photo never changes; it is for whoever may see the shop, and so for this browser alone.
        (header::CACHE_CONTROL, HeaderValue::from_static("private, max-age=86400, immutable")),
        (header::CONTENT_SECURITY_POLICY, HeaderValue::from_static("default-src 'none'; sandbox")),
    ];
    Ok(Reply::Other(Box::new((headers, bytes).into_response())))
}
