//! How often, in words that a keeper can judge.
//!
//! The numbers are common practice, no source: people who judge chances in words do so coarsely, and which fault comes
//! first depends little on the second digit.

use std::fmt;

/// How often something shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// Next to never; for what shows without any of the causes that are listed.
    HardlyEver,
    /// Now and then.
    Seldom,
    /// About every other time.
    Often,
    /// With few exceptions.
    NearlyAlways,
}

impl Grade {
    /// Every grade, rising.
    pub const ALL: [Grade; 4] = [Grade::HardlyEver, Grade::Seldom, Grade::Often, Grade::NearlyAlways];

    /// The word that files and screens use.
    pub const fn name(self) -> &'static str {
        match self {
            Grade::HardlyEver => "hardly ever",
            Grade::Seldom => "seldom",
            Grade::Often => "often",
            Grade::NearlyAlways => "nearly always",
        }
    }

    /// The chance that it stands for. Common practice, no source.
    pub const fn chance(self) -> f64 {
        match self {
            Grade::HardlyEver => 0.02,
            Grade::Seldom => 0.1,
            Grade::Often => 0.5,
            Grade::NearlyAlways => 0.9,
        }
    }
}

impl fmt::Display for Grade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}
