//! What a page records: by the command that the command line would use, so that the two can't differ.

use ledger::Maker;
use serde_json::Value;
use tokio::runtime::Handle;

use super::app::App;
use crate::cli::{Command, Walked};
use crate::commands::{self, visit};
use crate::context::Context;
use crate::input::Sent;
use crate::trouble::Trouble;

/// Carries a command out on the open shop.
///
/// # Errors
/// What the command refuses.
pub(crate) async fn act(app: &App, command: &Command) -> Result<Value, Trouble> {
    act_with(app, command, Vec::new()).await
}

/// As [`act`], with the files that came along.
///
/// # Errors
/// What the command refuses.
pub(crate) async fn act_with(app: &App, command: &Command, files: Vec<Sent>) -> Result<Value, Trouble> {
    let context = app.context().with_files(files);
    recording(app, commands::carry_out(&context, command))?;
    answer(&context)
}

/// Does what may record something, as [`here`] does, and where it did, wakes those who wait for that.
pub(crate) fn recording<F: Future>(app: &App, of: F) -> F::Output {
    here(async {
        let before = app.ledger.recordings();
        let done = of.await;
        // What others recorded meanwhile rings once too often, which costs little.
        if app.ledger.recordings() != before {
            app.ledger.ring().await;
        }
        done
    })
}

/// Books a visit that was walked, as [`act`] would, and keeps with it the press that books it.
///
/// # Errors
/// What the command refuses.
pub(crate) async fn book(app: &App, walked: &Walked, by: &Maker<'_>) -> Result<Value, Trouble> {
    let context = app.context();
    recording(app, async { visit::book(&context, &context.open().await?, walked, Some(by)).await })?;
    answer(&context)
}

/// What a command has answered.
fn answer(context: &Context) -> Result<Value, Trouble> {
    let answer = context.out.take();
    serde_json::from_str(&answer)
        .map_err(|error| Trouble::refused(format!("the answer can't be read ({error}): {answer}")))
}

/// Reckons on this thread, which hands its other requests on: a command may take seconds and is written for one thread.
pub(crate) fn here<F: Future>(of: F) -> F::Output {
    tokio::task::block_in_place(|| Handle::current().block_on(of))
}

/// What a command said it did, for a page's head.
pub(crate) fn said(answer: &Value) -> String {
    answer.get("said").and_then(Value::as_str).unwrap_or("recorded").to_owned()
}
