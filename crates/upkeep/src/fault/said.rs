//! What people record of a fault, in names, so that it can be read whatever becomes of the knowledge.

use super::{Answer, Grade};
use crate::EntryId;
use crate::shop::{self, ShopError};

/// A machine shows a fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    /// The names of the symptoms, the one that was told first in front.
    pub symptoms: Vec<String>,
}

impl Shown {
    /// Refuses a fault without a symptom.
    ///
    /// # Errors
    /// [`ShopError`] where none is named.
    pub fn check(&self) -> Result<(), ShopError> {
        shop::said("what the machine shows", self.symptoms.first().map_or("", String::as_str))
    }
}

/// What was asked, by name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Asked {
    /// Whether a symptom shows.
    Symptom(String),
    /// A check.
    Check(String),
    /// Whether a remedy mended it.
    Remedy(String),
    /// To do what a symptom orders before all else.
    Stop(String),
}

impl Asked {
    /// The name.
    pub fn name(&self) -> &str {
        match self {
            Asked::Symptom(name) | Asked::Check(name) | Asked::Remedy(name) | Asked::Stop(name) => name,
        }
    }
}

/// An answer in finding a fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Answered {
    /// The entry that the fault began with.
    pub fault: EntryId,
    /// What was asked.
    pub asked: Asked,
    /// The answer.
    pub answer: Answer,
}

impl Answered {
    /// Refuses an answer to nothing, and a chance that is none.
    ///
    /// # Errors
    /// [`ShopError`] for either.
    pub fn check(&self) -> Result<(), ShopError> {
        shop::said("what was asked", self.asked.name())?;
        match self.answer {
            Answer::Likely(found) if !(0.0 < found && found < 1.0) => Err(ShopError::Chance { found }),
            _ => Ok(()),
        }
    }
}

/// How a fault ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Over {
    /// The entry that the fault began with.
    pub fault: EntryId,
    /// What it was.
    pub was: Was,
}

/// What a fault was.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Was {
    /// This cause, by its title.
    Cause(String),
    /// Something that is not listed, in the keeper's words.
    Unlisted(String),
    /// Nobody knows: why the search was given up.
    Unknown(String),
}

impl Was {
    /// The words.
    pub fn words(&self) -> &str {
        match self {
            Was::Cause(words) | Was::Unlisted(words) | Was::Unknown(words) => words,
        }
    }
}

impl Over {
    /// Refuses an end without words.
    ///
    /// # Errors
    /// [`ShopError`] where there are none.
    pub fn check(&self) -> Result<(), ShopError> {
        shop::said("what it was", self.was.words())
    }
}

/// How often a cause shows a symptom or is told by a check, by the shop's own judgement, in place of the knowledge's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OwnGrade {
    /// The cause's name, without a position: it holds wherever the cause may sit.
    pub cause: String,
    /// The symptom's or check's name, without a position.
    pub finding: String,
    /// How often.
    pub grade: Grade,
    /// Why.
    pub reason: String,
}

impl OwnGrade {
    /// Refuses one without names or reason.
    ///
    /// # Errors
    /// [`ShopError`] where one is missing.
    pub fn check(&self) -> Result<(), ShopError> {
        shop::said("the cause", &self.cause)?;
        shop::said("what shows it", &self.finding)?;
        shop::said("why", &self.reason)
    }
}
