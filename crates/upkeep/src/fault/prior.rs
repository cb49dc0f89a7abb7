//! How likely each cause is on this machine today, before anything was looked at.
//!
//! # Formula
//! P(cause) = (1 − exp(−H)) · weight / Σ weights, where H is the failures expected since the position's tasks were done
//! ([`Risk::by`]), the mean over its tasks, and the weights are those of the causes at the position. A position without tasks is taken to stand at half an allowance. Judgement, no source.

use std::fmt;

use jiff::ZonedDateTime;

use super::Faults;
use crate::build::Build;
use crate::used::used;
use crate::{MachineState, Materials, Risk};

/// The share of an allowance at which a position stands that no task cares for. Judgement, no source.
const UNCARED_SHARE: f64 = 0.5;

/// The chance of a cause, and what it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Prior {
    /// The chance.
    pub chance: f64,
    /// Why.
    pub reason: Reason,
}

/// What a prior rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Reason {
    /// The position.
    pub at: String,
    /// The task of the position that is most used; `None` where it has none.
    pub task: Option<String>,
    /// How much of that task's allowance is used; 1 when due.
    pub share: f64,
    /// Failures of the shop's own that it rests on.
    pub failures: f64,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Reason { at, task, share, failures } = self;
        match task {
            None => write!(f, "{at}: no task cares for it, so nothing is known of its age")?,
            Some(task) if 2.0 <= *share => write!(f, "{at}: \"{task}\" is at {share:.1} times its allowance")?,
            Some(task) => write!(f, "{at}: \"{task}\" has used {:.0} % of its allowance", 100.0 * share)?,
        }
        if 0.0 < *failures { write!(f, "; it has failed here before") } else { Ok(()) }
    }
}

/// The prior of each cause on a machine at `now`; `risks` are those of its build's tasks ([`crate::risks`]).
pub fn today(
    faults: &Faults,
    state: &MachineState,
    materials: &Materials,
    risks: &[Risk],
    now: &ZonedDateTime,
) -> Vec<Prior> {
    let shares: Vec<f64> = state.build.tasks.iter().map(|task| used(state, task, materials, now).share()).collect();
    priors(faults, &state.build, &shares, risks)
}

/// The prior of each cause, from the share of each task's allowance that is used and the risk of each task.
pub fn priors(faults: &Faults, build: &Build, shares: &[f64], risks: &[Risk]) -> Vec<Prior> {
    faults
        .causes
        .iter()
        .map(|cause| {
            let here = faults.causes.iter().filter(|other| other.at == cause.at);
            let part = cause.weight.chance() / here.map(|other| other.weight.chance()).sum::<f64>();
            let (failed, reason) = position(build, &cause.at, shares, risks);
            Prior { chance: failed * part, reason }
        })
        .collect()
}

/// The chance that a position has failed since it was cared for.
fn position(build: &Build, at: &str, shares: &[f64], risks: &[Risk]) -> (f64, Reason) {
    let tasks: Vec<usize> = (0..build.tasks.len()).filter(|&task| build.tasks[task].at == at).collect();
    let worst = tasks.iter().copied().max_by(|&one, &other| shares[one].total_cmp(&shares[other]));
    let expected = match worst {
        Some(_) => tasks.iter().map(|&task| risks[task].by(shares[task])).sum::<f64>() / tasks.len() as f64,
        None => Risk::believed().by(UNCARED_SHARE),
    };
    let reason = Reason {
        at: at.to_owned(),
        task: worst.map(|task| build.tasks[task].name.clone()),
        share: worst.map_or(UNCARED_SHARE, |task| shares[task]),
        failures: tasks.iter().map(|&task| risks[task].failures).sum(),
    };
    (-(-expected).exp_m1(), reason)
}
