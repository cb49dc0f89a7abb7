//! `tallow skip`: a task of a visit was not done, and why.

use upkeep::Event;

use crate::cli::{self, Occasion};
use crate::commands::record::{Scene, worded};
use crate::context::Context;
use crate::trouble::Trouble;

pub(crate) async fn skip(context: &Context, args: &cli::Skip) -> Result<(), Trouble> {
    let occasion = Occasion { on: args.machine.clone(), when: args.when.clone(), note: args.note.clone() };
    let scene = Scene::open(context, &occasion).await?;
    let task = scene.machine.build.task(&args.task)?.name.clone();
    let reason = worded(&args.why, "why it was skipped", "--why \"no oil left\"")?;
    let said = format!("{task} on {}: skipped, because {reason}; it stays as due as it was", scene.name());
    scene.record(context, Event::Skipped { task, reason }, &said).await
}
