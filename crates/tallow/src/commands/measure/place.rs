//! Of which machine something is measured, and at which of its positions.

use std::sync::Arc;

use upkeep::Build;
use upkeep::build::Position;

use crate::cli;
use crate::context::{self, Context, OnMachine};
use crate::trouble::Trouble;

/// A machine, and a position of it where that is known.
#[derive(Clone, Debug)]
pub(crate) struct Place {
    /// The machine's name.
    pub(crate) machine: String,
    pub(crate) build: Arc<Build>,
    /// The position's name.
    pub(crate) at: Option<String>,
}

impl Place {
    /// What a command names. Where no position is named, the only one of these kinds.
    ///
    /// # Errors
    /// A machine or position that there is not, and one of another kind where `kinds` are all that it can be.
    pub(super) async fn of(
        context: &Context,
        whose: &cli::Whose,
        kinds: &[&str],
        only_these: bool,
    ) -> Result<Option<Place>, Trouble> {
        let Some(name) = &whose.machine else { return Ok(None) };
        let ledger = context.open().await?;
        let on = context::machine(&ledger, name).await?;
        let at = match &whose.at {
            Some(at) => Some(of_kind(on.position(at)?, kinds, only_these)?),
            None => only(&on, kinds),
        };
        Ok(Some(Place { machine: on.info.name, build: on.build, at }))
    }

    /// The position, where one is known.
    pub(super) fn position(&self) -> Option<&Position> {
        self.build.positions.iter().find(|position| Some(&position.name) == self.at.as_ref())
    }

    /// `belts of bowline`, or `bowline`.
    pub(super) fn words(&self) -> String {
        self.at.as_ref().map_or_else(|| self.machine.clone(), |at| format!("{at} of {}", self.machine))
    }

    /// What the build says of looking after a position, as a command: its tasks that there are, at most two.
    pub(super) fn tasks(&self, at: &str) -> Vec<String> {
        let tasks = self.build.tasks.iter().filter(|task| task.at == at && !task.renews);
        tasks.take(2).map(|task| format!("tallow steps \"{}\" --on \"{}\"", task.name, self.machine)).collect()
    }
}

fn of_kind(position: &Position, kinds: &[&str], only_these: bool) -> Result<String, Trouble> {
    let fits = !only_these || kinds.contains(&position.kind.as_str());
    if fits {
        return Ok(position.name.clone());
    }
    let what = format!("\"{}\" is a {}, not a {}", position.name, position.kind, kinds.join(" or "));
    Err(Trouble::refused(what).help("name the position that was measured: --at POSITION"))
}

/// The machine's only position of these kinds.
fn only(on: &OnMachine, kinds: &[&str]) -> Option<String> {
    let mut fitting = on.build.positions.iter().filter(|position| kinds.contains(&position.kind.as_str()));
    match (fitting.next(), fitting.next()) {
        (Some(one), None) => Some(one.name.clone()),
        _ => None,
    }
}
