//! Supplies by kind and grade, the substances in them, and the kinds of part that they may or may not touch.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::build::Ban;
use crate::{Unknown, nearest};

/// Why a supply asks for a caution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
pub enum Hazard {
    /// It, or its vapour, burns.
    #[serde(rename = "flammable")]
    Flammable,
    /// It irritates skin, eyes or airways.
    #[serde(rename = "irritant")]
    Irritant,
    /// It throws dust into eyes.
    #[serde(rename = "compressed air")]
    CompressedAir,
}

impl Hazard {
    /// What to write of it: `is flammable`.
    pub fn says(self) -> &'static str {
        match self {
            Hazard::Flammable => "is flammable",
            Hazard::Irritant => "is an irritant",
            Hazard::CompressedAir => "throws dust into eyes",
        }
    }
}

/// A class of substance that rules speak of.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Substance {
    /// Its name: `grease`, `oil`, `acetone` …
    pub name: String,
    /// Other words by which it is known in what a keeper types.
    #[serde(default)]
    pub words: Vec<String>,
    /// What whoever handles it wears.
    #[serde(default)]
    pub gear: Vec<String>,
}

/// A consumable by kind and grade.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SupplyInfo {
    /// Its name, for example `NLGI 2 lithium grease`.
    pub name: String,
    /// The substances that it is.
    pub classes: Vec<String>,
    /// In what it is counted: `ml`, `g`, or empty for pieces.
    pub unit: String,
    /// Why it asks for a caution.
    #[serde(default)]
    pub caution: Option<Hazard>,
}

/// Every supply and substance that the rules know.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Supplies {
    #[serde(rename = "substance")]
    substances: Vec<Substance>,
    #[serde(rename = "supply")]
    supplies: Vec<SupplyInfo>,
}

impl Supplies {
    /// The built-in list.
    pub fn built_in() -> &'static Supplies {
        static BUILT_IN: LazyLock<Supplies> = LazyLock::new(|| {
            // OK because the text is part of the program and a test reads it.
            toml::from_str(include_str!("../data/supplies.toml")).expect("the built-in list is valid")
        });
        &BUILT_IN
    }

    /// The supply of that name, whatever its case.
    pub fn get(&self, name: &str) -> Option<&SupplyInfo> {
        self.supplies.iter().find(|supply| supply.name.eq_ignore_ascii_case(name.trim()))
    }

    /// Why what a keeper calls `name` asks for a caution: as the list says, or else as a listed supply of the same
    /// substance does.
    pub fn hazard(&self, name: &str) -> Option<Hazard> {
        if let Some(supply) = self.get(name) {
            return supply.caution;
        }
        let told = self.substances_in(name);
        let same = |supply: &&SupplyInfo| told.iter().any(|substance| supply.classes.contains(&substance.name));
        self.supplies.iter().filter(same).find_map(|supply| supply.caution)
    }

    /// All supplies.
    pub fn iter(&self) -> impl Iterator<Item = &SupplyInfo> {
        self.supplies.iter()
    }

    /// The substance of that name.
    pub fn substance(&self, name: &str) -> Option<&Substance> {
        self.substances.iter().find(|substance| substance.name == name)
    }

    /// All substances.
    pub fn substances(&self) -> impl Iterator<Item = &Substance> {
        self.substances.iter()
    }

    /// What a keeper calls `name`, in the list's words where the list has it.
    ///
    /// # Errors
    /// Where neither the list nor the words of the name tell what it is, so that no rule could judge it: it may be a
    /// slip of the pen for something that is forbidden.
    pub fn named(&self, name: &str) -> Result<String, Unknown> {
        match self.get(name) {
            Some(listed) => Ok(listed.name.clone()),
            None if self.substances_in(name).is_empty() => {
                let mut unknown =
                    Unknown::new("supply", name, self.supplies.iter().map(|supply| supply.name.clone()).collect());
                unknown.nearest = unknown.nearest.or_else(|| self.substance_near(name));
                Err(unknown)
            }
            None => Ok(name.trim().to_owned()),
        }
    }

    /// The substance that a word of `name` is nearest to.
    fn substance_near(&self, name: &str) -> Option<String> {
        let known =
            || self.substances.iter().flat_map(|substance| [&substance.name].into_iter().chain(&substance.words));
        spaced_words(name)
            .split_whitespace()
            .filter(|word| 4 <= word.len())
            .find_map(|word| nearest(word, known().map(String::as_str)).map(str::to_owned))
    }

    /// The substances in what a keeper calls `name`: those of the listed supply, or else those that its words tell, so
    /// that "white lithium grease" is grease although no list has it.
    pub fn substances_in(&self, name: &str) -> Vec<&Substance> {
        match self.get(name) {
            Some(supply) => supply.classes.iter().filter_map(|class| self.substance(class)).collect(),
            None => {
                let typed = spaced_words(name);
                self.substances.iter().filter(|substance| substance.is_told_by(&typed)).collect()
            }
        }
    }
}

impl Substance {
    /// Whether `typed`, as [`spaced_words`] gives it, has this substance's name or one of its words.
    fn is_told_by(&self, typed: &str) -> bool {
        let told = |word: &String| typed.contains(&format!(" {word} "));
        told(&self.name) || self.words.iter().any(told)
    }
}

/// The words of `text` in lower case, one space around each.
pub(crate) fn spaced_words(text: &str) -> String {
    let lower = text.to_lowercase();
    let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    format!(" {} ", words.join(" "))
}

/// A kind of thing that sits at a position.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Kind {
    /// Its name, for example `toothed belt`.
    pub name: String,
    /// What it is, in one sentence.
    pub about: String,
    /// What must never touch it.
    #[serde(default)]
    pub never: Vec<Ban>,
    /// Whether it carries mains voltage.
    #[serde(default)]
    pub mains: bool,
}

impl Kind {
    /// Every kind that the rules know.
    pub fn all() -> &'static [Kind] {
        static ALL: LazyLock<Vec<Kind>> = LazyLock::new(|| {
            // OK because the text is part of the program and a test reads it.
            let file: KindFile =
                toml::from_str(include_str!("../data/kinds.toml")).expect("the built-in list is valid");
            file.kind
        });
        &ALL
    }

    /// The kind of that name.
    pub fn from_name(name: &str) -> Option<&'static Kind> {
        Kind::all().iter().find(|kind| kind.name == name)
    }
}

/// The shape of the file of kinds.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct KindFile {
    kind: Vec<Kind>,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(name: &str) -> Vec<&str> {
        Supplies::built_in().substances_in(name).into_iter().map(|substance| substance.name.as_str()).collect()
    }

    #[test]
    fn a_supply_that_no_list_has_is_told_by_its_words() {
        assert_eq!(told("White lithium GREASE, tube"), ["grease"]);
        assert_eq!(told("IPA 99%"), ["alcohol"]);
        assert_eq!(told("can of compressed air"), ["compressed air"]);
        assert_eq!(told("greaseproof paper"), [] as [&str; 0]);
    }

    #[test]
    fn a_supply_that_nothing_tells_is_refused_with_the_one_that_was_meant() {
        let named = |name| Supplies::built_in().named(name);
        assert_eq!(named("nlgi 2 LITHIUM grease ").unwrap(), "NLGI 2 lithium grease");
        assert_eq!(named("white lithium grease").unwrap(), "white lithium grease");
        assert_eq!(named("cheese").unwrap_err().nearest, None);
        assert_eq!(named("white greese").unwrap_err().nearest.as_deref(), Some("grease"));
        assert_eq!(named("NLGI 2 lithium greese").unwrap_err().nearest.as_deref(), Some("NLGI 2 lithium grease"));
    }

    #[test]
    fn a_listed_supply_is_what_the_list_says() {
        assert_eq!(told("thermal paste"), [] as [&str; 0]);
        assert_eq!(told("nlgi 2 lithium grease"), ["grease"]);
    }

    #[test]
    fn every_class_and_every_ban_names_a_known_substance() {
        let supplies = Supplies::built_in();
        for class in supplies.iter().flat_map(|supply| &supply.classes) {
            assert!(supplies.substance(class).is_some(), "{class}");
        }
        for ban in Kind::all().iter().flat_map(|kind| &kind.never) {
            assert!(supplies.substance(&ban.substance).is_some(), "{}", ban.substance);
            assert!(!ban.reason.is_empty());
        }
    }

    #[test]
    fn names_are_unique_and_units_are_known() {
        let supplies = Supplies::built_in();
        for supply in supplies.iter() {
            assert_eq!(supplies.iter().filter(|other| other.name == supply.name).count(), 1, "{}", supply.name);
            assert!(["", "ml", "g"].contains(&supply.unit.as_str()), "{}", supply.name);
        }
        for kind in Kind::all() {
            assert_eq!(Kind::all().iter().filter(|other| other.name == kind.name).count(), 1, "{}", kind.name);
        }
    }
}
