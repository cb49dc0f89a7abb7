//! What the user is told when something can't be done: what, where, and what to do.

use std::fmt;

/// A command that could not be carried out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Trouble {
    what: String,
    help: Vec<String>,
}

impl Trouble {
    /// Says what was refused and why, in lower case and without a full stop.
    pub(crate) fn refused(what: impl Into<String>) -> Trouble {
        Trouble { what: what.into(), help: Vec::new() }
    }

    /// Adds a line on what to do.
    pub(crate) fn help(mut self, line: impl Into<String>) -> Trouble {
        self.help.push(line.into());
        self
    }

    /// What was refused and why.
    pub(crate) fn what(&self) -> &str {
        &self.what
    }

    /// What to do.
    pub(crate) fn help_lines(&self) -> &[String] {
        &self.help
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)?;
        self.help.iter().try_for_each(|line| write!(f, "\n  {line}"))
    }
}
