//! The visit's sheet for a printer, with a code that leads back to the visit on this server.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, header};

use super::super::super::app::App;
use super::super::super::form::Typed;
use super::super::super::frame::Around;
use super::super::super::print::printed;
use super::super::super::reply::{Answer, Reply};
use super::{Scene, missing};
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
    Ok(Reply::Other(Box::new(printed(page))))
}
