//! What the user is told when something can't be done: what, where, and what to do.

use std::fmt;

/// A command that could not be carried out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Trouble {
    what: String,
    help: Vec<String>,
    passes: Option<Passes>,
}

/// When a trouble may pass, with nothing changed by whoever meets it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Passes {
    /// When what was told of is over.
    InTime,
    /// When the shop can be reached and written again.
    WithTheShop,
}

impl Trouble {
    /// Says what was refused and why, in lower case and without a full stop.
    pub(crate) fn refused(what: impl Into<String>) -> Trouble {
        Trouble { what: what.into(), help: Vec::new(), passes: None }
    }

    /// The same, of what is refused because it is not over yet.
    pub(crate) fn until_it_is_over(self) -> Trouble {
        Trouble { passes: Some(Passes::InTime), ..self }
    }

    /// Takes the first line as what was refused and the rest as help.
    pub(crate) fn from_text(text: &str) -> Trouble {
        let mut lines = text.lines();
        let what = lines.next().unwrap_or_default().to_owned();
        let help = lines.map(|line| line.strip_prefix("  ").unwrap_or(line).to_owned()).collect();
        Trouble { what, help, passes: None }
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

    /// Whether the same may succeed a while later, with nothing changed.
    pub(crate) fn may_pass(&self) -> bool {
        self.passes.is_some()
    }

    /// Whether the shop can't be reached or written just now.
    pub(crate) fn is_of_the_shop(&self) -> bool {
        self.passes == Some(Passes::WithTheShop)
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

impl From<ledger::Error> for Trouble {
    fn from(error: ledger::Error) -> Trouble {
        let passes = error.may_pass().then_some(Passes::WithTheShop);
        let trouble = Trouble { passes, ..Trouble::from_text(&error.to_string()) };
        match error {
            ledger::Error::NoSuchMachine(unknown) | ledger::Error::NoSuchBuild(unknown) => unknown.into(),
            ledger::Error::NoSuchEntry { .. } => {
                trouble.help("a machine's history tells the numbers: tallow history MACHINE")
            }
            _ => trouble,
        }
    }
}

impl From<upkeep::BuildErrors> for Trouble {
    fn from(errors: upkeep::BuildErrors) -> Trouble {
        Trouble::refused(errors.to_string())
    }
}

impl From<upkeep::Unknown> for Trouble {
    fn from(unknown: upkeep::Unknown) -> Trouble {
        let trouble = Trouble::from_text(&unknown.to_string());
        match all_of(unknown.what) {
            Some(command) if unknown.has_more() => trouble.help(format!("all of them: {command}")),
            _ => trouble,
        }
    }
}

/// The command that lists everything of a kind.
fn all_of(what: &str) -> Option<&'static str> {
    Some(match what {
        "machine" => "tallow machine list",
        "build" => "tallow build list",
        "task" => "tallow due MACHINE --all",
        "position" => "tallow machine show MACHINE",
        "quantity" => "tallow quantities",
        "item of the stores" => "tallow stores",
        "keeper" => "tallow keeper",
        _ => return None,
    })
}
