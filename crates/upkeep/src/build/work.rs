//! What kind of work a task is, and whether it may be done while the machine cools.
//!
//! Common practice, no source: dirt is taken off before oil goes on, and what was done is tried last.

use super::{Position, State, Supply};
use crate::supply::{Hazard, Supplies, spaced_words};

/// The kind of work that a task is, in the order in which work at one place is best done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Work {
    /// Dirt comes off.
    Clean,
    /// Something is looked at, felt or measured.
    Look,
    /// A new part or a fresh filling goes in.
    Replace,
    /// Something is set, tightened or aligned.
    Adjust,
    /// Oil or grease goes on.
    Lubricate,
    /// The whole machine is measured and set by what is measured: its level, its first layer.
    Calibrate,
    /// The machine shows that it works.
    Test,
}

/// Substances that make a task one of lubrication.
const LUBRICANTS: [&str; 3] = ["grease", "oil", "dry lubricant"];

/// Substances that make a task one of cleaning.
const CLEANERS: [&str; 6] = ["alcohol", "acetone", "water", "soap", "ammonia", "compressed air"];

/// Supplies, by a word of their name, that make a task one of cleaning unless its own name says otherwise.
const CLOTHS: [&str; 4] = ["wipe", "swab", "towel", "cloth"];

/// What the first word of a task's name says.
const FIRST_WORDS: [(&str, Work); 34] = [
    ("wipe", Work::Clean),
    ("clean", Work::Clean),
    ("wash", Work::Clean),
    ("brush", Work::Clean),
    ("blow", Work::Clean),
    ("clear", Work::Clean),
    ("dust", Work::Clean),
    ("look", Work::Look),
    ("check", Work::Look),
    ("feel", Work::Look),
    ("read", Work::Look),
    ("measure", Work::Look),
    ("gauge", Work::Look),
    ("watch", Work::Look),
    ("judge", Work::Look),
    ("replace", Work::Replace),
    ("change", Work::Replace),
    ("renew", Work::Replace),
    ("fit", Work::Replace),
    ("set", Work::Adjust),
    ("adjust", Work::Adjust),
    ("tighten", Work::Adjust),
    ("align", Work::Adjust),
    ("calibrate", Work::Calibrate),
    ("tram", Work::Adjust),
    ("level", Work::Adjust),
    ("trim", Work::Adjust),
    ("oil", Work::Lubricate),
    ("grease", Work::Lubricate),
    ("relubricate", Work::Lubricate),
    ("repack", Work::Lubricate),
    ("test", Work::Test),
    ("prove", Work::Test),
    ("press", Work::Test),
];

impl Work {
    /// The kind of work of a task that does not state it. In this order: a task that renews a part replaces it;
    /// lubricants, then cleaners among its supplies tell; then the first word of its name; then a cloth. What nothing
    /// tells is a look.
    pub(super) fn derived(name: &str, uses: &[Supply], renews: bool) -> Work {
        if renews {
            return Work::Replace;
        }
        if uses_lubricant(uses) {
            return Work::Lubricate;
        }
        if uses_any(uses, &CLEANERS) {
            return Work::Clean;
        }
        let words = spaced_words(name);
        let first = words.split_whitespace().next().unwrap_or_default();
        match FIRST_WORDS.iter().find(|(word, _)| *word == first) {
            Some((_, work)) => *work,
            None if uses.iter().any(|supply| has_word(&supply.name, &CLOTHS)) => Work::Clean,
            None => Work::Look,
        }
    }
}

/// Whether any of the supplies is oil, grease or a dry lubricant.
pub(crate) fn uses_lubricant<'a>(uses: impl IntoIterator<Item = &'a Supply>) -> bool {
    uses_any(uses, &LUBRICANTS)
}

fn uses_any<'a>(uses: impl IntoIterator<Item = &'a Supply>, substances: &[&str]) -> bool {
    let in_supply = |supply: &'a Supply| Supplies::built_in().substances_in(&supply.name);
    uses.into_iter().flat_map(in_supply).any(|substance| substances.contains(&substance.name.as_str()))
}

fn has_word(name: &str, words: &[&str]) -> bool {
    spaced_words(name).split_whitespace().any(|word| words.contains(&word))
}

/// Kinds of part that stay at the room's temperature and out of reach of hot ones.
const AWAY_FROM_HEAT: [&str; 5] = ["control board", "dry box", "fire extinguisher", "smoke alarm", "spool holder"];

/// Whether a task that does not state it may be done while the machine, under power and with its heaters off, cools.
pub(super) fn while_cooling(state: State, uses: &[Supply], position: &Position) -> bool {
    state == State::Cold && !uses.iter().any(burns) && AWAY_FROM_HEAT.contains(&position.kind.as_str())
}

/// Whether a supply burns.
pub(super) fn burns(supply: &Supply) -> bool {
    Supplies::built_in().hazard(&supply.name) == Some(Hazard::Flammable)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(name: &str, supply: &str, expected: Work) {
        let supply = Supply { name: supply.to_owned(), amount: 1.0, unit: String::new() };
        assert_eq!(Work::derived(name, &[supply], false), expected, "{name}");
    }

    #[test]
    fn oil_beside_a_wipe_makes_it_lubrication() {
        check("wipe the x rail and look at its raceways", "ISO VG 32 light oil", Work::Lubricate);
    }

    #[test]
    fn a_solvent_makes_a_check_a_cleaning() {
        check("check the door seals", "washing-up liquid, unscented", Work::Clean);
    }

    #[test]
    fn a_wipe_leaves_a_look_a_look_but_tells_what_no_word_does() {
        check("look into feed tube 1", "lint-free wipe", Work::Look);
        check("freshen the lens", "microfibre cloth", Work::Clean);
        check("freshen the lens", "masking tape", Work::Look);
    }

    #[test]
    fn a_new_part_makes_it_a_replacement_whatever_else_is_used() {
        assert_eq!(Work::derived("grease the filter", &[], true), Work::Replace);
    }

    #[test]
    fn every_kind_that_is_away_from_heat_is_a_kind() {
        for kind in AWAY_FROM_HEAT {
            assert!(crate::Kind::from_name(kind).is_some(), "{kind}");
        }
    }

    #[test]
    fn every_substance_that_tells_the_work_is_a_substance() {
        for name in LUBRICANTS.iter().chain(&CLEANERS) {
            assert!(Supplies::built_in().substance(name).is_some(), "{name}");
        }
    }
}
