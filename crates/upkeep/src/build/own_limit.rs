//! Limits of the shop's own in place of a build's.

use motion::Quantity;

use super::{Allowance, Build, Limit, Neglect};
use crate::Unknown;
use crate::entry::OwnLimit;
use crate::measure::{self, MeasureError};

/// Why a limit of the shop's own can't stand.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LimitError {
    /// The build has no such task.
    #[error(transparent)]
    NoSuchTask(#[from] Unknown),
    /// The allowance can't be read.
    #[error(transparent)]
    Unread(#[from] MeasureError),
    /// The allowance is nothing.
    #[error("a limit of \"{found}\" is always due\n  write more than 0")]
    Nothing {
        /// The allowance.
        found: String,
    },
    /// Neglect of the task may injure, and the limit would be longer than the build's.
    #[error(
        "neglect of \"{task}\" may injure somebody, so its limit of {built} may be made shorter, not longer\n  the maker's manual and qualified people stand above a shop's records here"
    )]
    MayInjure {
        /// The task.
        task: String,
        /// The build's limit.
        built: String,
    },
    /// The task is not limited by that meter.
    #[error("\"{task}\" has no limit by {}\n  a limit of the shop's own takes the place of one that the build has", of.as_deref().unwrap_or("the calendar"))]
    NoSuchLimit {
        /// The task.
        task: String,
        /// The quantity; `None` for calendar time.
        of: Option<String>,
    },
}

impl Build {
    /// Puts a limit of the shop's own in place of the task's limit by the same meter; its weights stay.
    ///
    /// # Errors
    /// [`LimitError`]: the build has no such task, the task no such limit, or the allowance can't be read.
    pub fn set_limit(&mut self, own: &OwnLimit) -> Result<(), LimitError> {
        let wanted = allowance(own)?;
        let task = self.task(&own.task)?;
        let (name, may_injure) = (task.name.clone(), task.neglect == Neglect::Injury);
        let limits = self.tasks.iter_mut().filter(|task| task.name == name).flat_map(|task| &mut task.limits);
        let same = |limit: &&mut Limit| meter(&limit.every) == meter(&wanted);
        let Some(limit) = limits.into_iter().find(same) else {
            return Err(LimitError::NoSuchLimit { task: name, of: own.of.clone() });
        };
        if may_injure && size(&limit.every) < size(&wanted) {
            return Err(LimitError::MayInjure { task: name, built: limit.text.clone() });
        }
        limit.every = wanted;
        limit.text.clone_from(&own.every);
        limit.source.clone_from(&own.reason);
        Ok(())
    }
}

/// What an allowance is measured by; `None` for calendar time.
fn meter(allowance: &Allowance) -> Option<Quantity> {
    match allowance {
        Allowance::Elapsed { .. } => None,
        Allowance::Amount { quantity, .. } => Some(*quantity),
    }
}

/// How much an allowance allows, to compare it with another of the same meter; days for calendar time.
fn size(allowance: &Allowance) -> f64 {
    match allowance {
        Allowance::Elapsed { months, days } => f64::from(*months) * 365.25 / 12.0 + f64::from(*days),
        Allowance::Amount { amount, .. } => *amount,
    }
}

fn allowance(own: &OwnLimit) -> Result<Allowance, LimitError> {
    let wanted = measure::read(own.of.as_deref(), &own.every)?;
    if 0.0 < size(&wanted) { Ok(wanted) } else { Err(LimitError::Nothing { found: own.every.clone() }) }
}
