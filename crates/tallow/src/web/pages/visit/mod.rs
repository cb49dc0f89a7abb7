//! *Visit*: the checklist at the machine, on a phone with oily fingers. What is ticked is kept in the ledger's checklist until
//! the visit is finished, and then booked by the command that books it without a browser.

mod over;
mod paper;
mod photo;
mod show;
mod ticks;

use std::hash::{BuildHasher, RandomState};
use std::sync::Arc;

use axum::Extension;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::IntoResponse;
use jiff::{SignedDuration, ToSpan, ZonedDateTime};
use ledger::{Maker, Mark, PhotoInfo, Told};
use upkeep::{EntryId, Foreseen};

use self::show::View;
use super::super::act::{book, said};
use super::super::app::App;
use super::super::asked::{Form, Path};
use super::super::assets;
use super::super::form::{Refusal, Typed};
use super::super::frame::{Around, Page, Place};
use super::super::glance::Glance;
use super::super::reply::{Answer, Failed, Reply};
use crate::commands::{sheet, visit};
use crate::sheet::VisitSheet;
use crate::trouble::Trouble;
use crate::words::HISTORY_DAYS;

pub(super) use paper::paper;
pub(super) use photo::{LARGEST_BODY, add as add_photo, show as show_photo};

/// The form by which a visit is finished.
const FINISH: &str = "finish";

/// How far back a device may say that something was pressed, s: longer than any phone is without a connection.
const LONGEST_AGO_S: i64 = 7 * 24 * 3600;

/// A visit and what its page is made of.
struct Scene {
    glance: Arc<Glance>,
    machine: Arc<Foreseen>,
    told: Told,
    checklist: ledger::Checklist,
    photos: Vec<PhotoInfo>,
    /// What the checklist holds, as [`news`] tells it.
    size: i64,
}

impl Scene {
    /// Reads what belongs to a visit; `None` where there is no visit of that number.
    async fn read(app: &App, number: i64) -> Result<Option<Scene>, Failed> {
        let glance = app.glance().await?;
        let Some(told) = told(app, &glance, number).await? else { return Ok(None) };
        let Some(machine) = glance.machine(&told.machine).cloned() else { return Ok(None) };
        let size = size(app, &told).await?;
        let (checklist, photos) = (app.ledger.checklist(told.id).await?, app.ledger.photos(told.id).await?);
        Ok(Some(Scene { glance, machine, told, checklist, photos, size }))
    }

    /// The visit's sheet, of which only its machine is read.
    async fn sheet(&self, app: &App, site: Option<&str>) -> Result<VisitSheet, Trouble> {
        let (glance, now) = (&self.glance, &self.glance.now);
        let from = now.date().saturating_sub(HISTORY_DAYS.days());
        let state = app.ledger.machine_state(&self.told.machine, from).await?;
        let around = sheet::Around { state: &state, told: &glance.told, materials: &glance.materials, now };
        let sheet = sheet::of_one(&app.ledger, &around, &self.told, glance.items(), site).await?;
        sheet.check().map_err(|error| Trouble::refused(error.to_string()))?;
        Ok(sheet)
    }

    /// The page: the checklist while the visit is to be walked, and what came of it afterwards.
    async fn page(&self, app: &App, around: &Around, view: View, refusal: &Refusal) -> Result<Page, Failed> {
        let body = match self.told.stands() {
            true => show::checklist(self, &self.sheet(app, None).await?, view, refusal, &around.visitor.may),
            false => over::body(self, &over::booked(app, &self.told).await?, refusal),
        };
        Ok(Page::new(around, Place::Today, "", self.told.machine.clone(), body))
    }

    /// Why nothing can be added to the checklist any more.
    fn closed(&self) -> Option<Trouble> {
        let number = self.told.id;
        match (self.told.is_cancelled, self.told.visit.took) {
            (true, _) => Some(Trouble::refused(format!("visit {number} was called off, so nothing is recorded for it"))),
            (false, Some(_)) => Some(
                Trouble::refused(format!("visit {number} has been finished already, by somebody else or on another device"))
                    .help("what you typed is kept below, and is not booked; what is missing can be recorded on the machine's page"),
            ),
            (false, None) => None,
        }
    }
}

/// The visit of that number, from the glance where it is among those to come.
async fn told(app: &App, glance: &Glance, number: i64) -> Result<Option<Told>, Failed> {
    match glance.told.iter().find(|told| told.id == EntryId(number)) {
        Some(told) => Ok(Some(told.clone())),
        None => Ok(app.ledger.visit(EntryId(number)).await?),
    }
}

/// A number that changes with whatever a visit's page shows of the work on it.
async fn size(app: &App, told: &Told) -> Result<i64, Failed> {
    Ok(app.ledger.checklist_size(told.id).await? + i64::try_from(told.sequence).unwrap_or(i64::MAX))
}

fn missing(around: &Around, number: i64) -> Answer {
    super::missing(around, &format!("there is no visit {number}"))
}

pub(super) async fn show(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(number): Path<i64>,
    Query(asked): Query<Vec<(String, String)>>,
) -> Answer {
    let Some(scene) = Scene::read(&app, number).await? else { return missing(&around, number) };
    let view = View::asked(&Typed::new(asked));
    Ok(Reply::Page(scene.page(&app, &around, view, &Refusal::default()).await?))
}

/// A number that changes when the page does, so that a device need not load it to find out.
pub(super) async fn news(State(app): State<Arc<App>>, Path(number): Path<i64>) -> Answer {
    let glance = app.glance().await?;
    let size = match told(&app, &glance, number).await? {
        Some(told) => size(&app, &told).await?,
        None => 0,
    };
    Ok(Reply::Other(Box::new(([(header::CONTENT_TYPE, "text/plain")], size.to_string()).into_response())))
}

/// Takes what was pressed at one task.
pub(super) async fn tick(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(number): Path<i64>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let Some(scene) = Scene::read(&app, number).await? else { return missing(&around, number) };
    let view = View::of(&typed.text("view"));
    let task = typed.text("task");
    let pressed = match (scene.closed(), pressed(&app.now(), &typed)) {
        (Some(trouble), _) | (None, Err(trouble)) => Err(trouble),
        (None, Ok(at)) => checked(&app, &scene, &task, ticks::marks(&scene.machine.build, &scene.told, &typed))
            .await
            .map(|marks| (marks, at)),
    };
    let (marks, at) = match pressed {
        Ok(pressed) => pressed,
        Err(trouble) => {
            let refusal = Refusal::new(&show::form_of(&task), trouble, typed);
            return Ok(Reply::Refused(scene.page(&app, &around, view, &refusal).await?));
        }
    };
    let maker = Maker { by: around.visitor.name.as_deref(), at: at.timestamp(), key: &key_in(&typed) };
    app.ledger.mark(scene.told.id, &task, &marks, &maker).await?;
    let goes_on = marks.iter().any(|mark| matches!(mark, Mark::Done | Mark::Skipped(_)));
    let said = format!("{task}: {}", ticks::words(&marks));
    Ok(Reply::Done { to: format!("/visits/{number}?{}", view.after(goes_on).query()), said })
}

/// Books the visit.
pub(super) async fn finish(
    State(app): State<Arc<App>>,
    Extension(around): Extension<Around>,
    Path(number): Path<i64>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Answer {
    let typed = Typed::new(pairs);
    let Some(scene) = Scene::read(&app, number).await? else { return missing(&around, number) };
    let key = key_in(&typed);
    let to = format!("/visits/{number}");
    let walked = match (scene.closed(), pressed(&app.now(), &typed)) {
        (Some(trouble), _) | (None, Err(trouble)) => Err(trouble),
        (None, Ok(at)) => ticks::walked(&scene.told, &scene.checklist, &typed, &at),
    };
    let maker = Maker { by: around.visitor.name.as_deref(), at: app.now().timestamp(), key: &key };
    let booked = match walked {
        Ok(walked) => book(&app, &walked, &maker).await,
        Err(trouble) => Err(trouble),
    };
    match booked {
        Ok(answer) => Ok(Reply::Done { to, said: said(&answer) }),
        Err(trouble) => {
            // Somebody may have finished it meanwhile.
            let Some(scene) = Scene::read(&app, number).await? else { return missing(&around, number) };
            // The answer to the first sending was lost on its way, or is on it; what it booked stands.
            if scene.told.visit.took.is_some() && scene.checklist.finish.as_ref() == Some(&key) {
                return Ok(Reply::Done { to, said: format!("visit {number} was booked when it was sent first") });
            }
            let trouble = scene.closed().unwrap_or(trouble);
            let refusal = Refusal::new(FINISH, trouble, typed);
            let view = View::of(&refusal.typed.text("view"));
            Ok(Reply::Refused(scene.page(&app, &around, view, &refusal).await?))
        }
    }
}

/// The script that keeps visits readable without a connection. It may speak for the visits' pages alone.
pub(super) async fn worker() -> impl IntoResponse {
    let headers = [(header::CONTENT_TYPE, assets::WORKER.kind()), (header::CACHE_CONTROL, "no-cache")];
    (headers, assets::WORKER.text())
}

/// When something was pressed: a device that had no connection says how long ago, s, by its own clock, which need not be right.
fn pressed(now: &ZonedDateTime, typed: &Typed) -> Result<ZonedDateTime, Trouble> {
    let ago = typed.number("ago", "how long ago")?.unwrap_or(0.0);
    let seconds = (ago.round() as i64).clamp(0, LONGEST_AGO_S);
    now.checked_sub(SignedDuration::from_secs(seconds)).map_err(|error| Trouble::refused(error.to_string()))
}

/// The key of a press; a program that sends none gets a new one.
fn key_in(typed: &Typed) -> String {
    typed.some("key").filter(|key| key.len() <= 64).unwrap_or_else(new_key)
}

/// A key that no other press has.
fn new_key() -> String {
    let half = || RandomState::new().hash_one(0);
    format!("{:016x}{:016x}", half(), half())
}

/// Refuses marks that the booking of the visit would refuse in the end.
async fn checked(
    app: &App,
    scene: &Scene,
    task: &str,
    marks: Result<Vec<Mark>, Trouble>,
) -> Result<Vec<Mark>, Trouble> {
    let marks = marks?;
    visit::check(&app.ledger, &scene.told, &ticks::of_marks(&scene.told, task, &marks)).await?;
    Ok(marks)
}
