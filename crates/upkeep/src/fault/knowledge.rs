//! What is known of a build's faults: symptoms, causes with their remedies, and checks.
//!
//! Files write a cause or a check once for all positions of a kind; here each position has its own.

use super::{Finding, Grade, Network, Prior, measured::Limits, read};
use crate::build::{Build, BuildErrors, Caution, State};

/// The fault knowledge of a build.
#[derive(Clone, Debug, PartialEq)]
pub struct Faults {
    /// What a keeper may see, hear, smell or measure without a check.
    pub symptoms: Vec<Symptom>,
    /// What may be wrong.
    pub causes: Vec<Cause>,
    /// What a keeper may check.
    pub checks: Vec<Check>,
}

/// What a keeper sees, hears, smells or measures.
#[derive(Clone, Debug, PartialEq)]
pub struct Symptom {
    /// Its name, unique in the build.
    pub name: String,
    /// Words that people use for it.
    pub aliases: Vec<String>,
    /// What it is, in a sentence or two.
    pub about: String,
    /// How often it shows without any cause that is listed.
    pub leak: Grade,
    /// What to do before all else, where it may hurt somebody.
    pub stop: Option<String>,
}

/// What may be wrong at a position.
#[derive(Clone, Debug, PartialEq)]
pub struct Cause {
    /// Its name in the file, the same for all positions of a kind.
    pub name: String,
    /// The position.
    pub at: String,
    /// The manner in which the part fails (failure mode, ISO 14224).
    pub mode: String,
    /// How much of the position's troubles it is.
    pub weight: Grade,
    /// The symptoms that it shows, by their place, and how often.
    pub shows: Vec<(usize, Grade)>,
    /// What mends it.
    pub remedy: Remedy,
}

impl Cause {
    /// The cause with its position: `belts: slack belt`.
    pub fn title(&self) -> String {
        format!("{}: {}", self.at, self.name)
    }
}

/// What a step asks of a keeper and of the machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Work {
    /// What to do, in order.
    pub steps: Vec<String>,
    /// Hands-on time, min.
    pub minutes: f64,
    /// What it costs in supplies and parts, in the shop's currency.
    pub money: f64,
    /// The state that the machine must be in.
    pub state: State,
    /// Whether only a qualified person may do it.
    pub qualified: bool,
    /// Cautions; each stands before the step it belongs to.
    pub cautions: Vec<Caution>,
}

/// What mends a cause.
#[derive(Clone, Debug, PartialEq)]
pub struct Remedy {
    /// Of which kind it is.
    pub kind: RemedyKind,
    /// What it asks.
    pub work: Work,
}

/// A kind of remedy.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RemedyKind {
    /// The build's task of that name.
    Task(String),
    /// A new part at the position.
    Replace,
    /// Something is set, or put right.
    Setting,
}

/// A symptom that one has to pay for.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// Its name in the file.
    pub name: String,
    /// The position; `None` where it is made on the whole machine.
    pub at: Option<String>,
    /// What it asks.
    pub work: Work,
    /// The causes that it tells, by their place: how often it answers yes if the cause is there.
    pub tells: Vec<(usize, Grade)>,
    /// How often it answers yes without any of them.
    pub otherwise: Grade,
    /// The measurement that answers it, where one does.
    pub measured: Option<Limits>,
}

impl Check {
    /// The check with its position, where it has one.
    pub fn title(&self) -> String {
        self.at.as_ref().map_or(self.name.clone(), |at| format!("{at}: {}", self.name))
    }
}

impl Faults {
    /// Reads and checks the faults of `build`. `file` is the name to put into messages.
    ///
    /// # Errors
    /// Everything that is wrong, each with its place in the text and what to do.
    pub fn parse(file: &str, text: &str, build: &Build) -> Result<Faults, BuildErrors> {
        read::faults(file, text, build)
    }

    /// The network of these faults: its findings are the symptoms and after them the checks.
    pub fn network(&self, priors: &[Prior]) -> Network {
        let mut findings: Vec<Finding> =
            self.symptoms.iter().map(|symptom| Finding { leak: symptom.leak.chance(), links: Vec::new() }).collect();
        for (place, cause) in self.causes.iter().enumerate() {
            for (symptom, grade) in &cause.shows {
                findings[*symptom].links.push((place, grade.chance()));
            }
        }
        let checks = self.checks.iter().map(|check| Finding {
            leak: check.otherwise.chance(),
            links: check.tells.iter().map(|(cause, grade)| (*cause, grade.chance())).collect(),
        });
        findings.extend(checks);
        Network { priors: priors.iter().map(|prior| prior.chance).collect(), findings }
    }

    /// The name of a finding of [`Faults::network`].
    pub fn finding(&self, place: usize) -> String {
        match self.symptoms.get(place) {
            Some(symptom) => symptom.name.clone(),
            None => self.checks[place - self.symptoms.len()].title(),
        }
    }
}
