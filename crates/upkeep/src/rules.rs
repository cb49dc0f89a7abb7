//! What must never touch what. The rules are data (`data/kinds.toml` and the builds); here they are enforced, for
//! builds and for records alike.

use std::fmt;

use crate::build::{Position, State};
use crate::supply::{Hazard, Supplies};

/// A supply that must not touch a position.
#[derive(Clone, Debug, PartialEq)]
pub struct Refusal {
    /// The supply, as it was named.
    pub supply: String,
    /// The position.
    pub position: String,
    /// The substance that is forbidden there.
    pub substance: String,
    /// Why, in one sentence.
    pub reason: String,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Refusal { supply, position, substance, reason } = self;
        write!(f, "\"{supply}\" must not touch \"{position}\", where {substance} is forbidden: {reason}")
    }
}

impl std::error::Error for Refusal {}

/// The first of `supplies` that must not touch `position`, or `None` if all may.
///
/// A supply that `known` does not list is judged by the words of its name.
pub fn refusal<'a>(
    position: &Position,
    supplies: impl IntoIterator<Item = &'a str>,
    known: &Supplies,
) -> Option<Refusal> {
    supplies.into_iter().find_map(|supply| refused(position, supply, known))
}

/// The first of `supplies` that burns, where the machine is in a state in which it would be hot.
pub fn burns<'a>(state: State, supplies: impl IntoIterator<Item = &'a str>, known: &Supplies) -> Option<&'a str> {
    let burns = |supply: &&str| known.hazard(supply) == Some(Hazard::Flammable);
    if state == State::Hot { supplies.into_iter().find(burns) } else { None }
}

/// Whether one supply must not touch `position`.
fn refused(position: &Position, supply: &str, known: &Supplies) -> Option<Refusal> {
    let substances = known.substances_in(supply);
    let ban = position.never.iter().find(|ban| substances.iter().any(|substance| substance.name == ban.substance))?;
    Some(Refusal {
        supply: supply.to_owned(),
        position: position.name.clone(),
        substance: ban.substance.clone(),
        reason: ban.reason.clone(),
    })
}
