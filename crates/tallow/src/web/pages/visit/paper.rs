//! The visit's sheet for a printer, with a code that leads back to the visit on this server.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use axum::http::HeaderMap;

use super::super::super::app::App;
use super::super::super::asked::Path;
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
    let one = scene.sheet(&app, Some(&app.door.site(&headers))).await?;
    let page = sheet::html(&[one], paper).map_err(|error| Trouble::refused(error.to_string()))?;
    Ok(Reply::Other(Box::new(printed(page))))
}
