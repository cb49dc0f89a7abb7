//! The word that somebody probably meant.

use std::fmt;

/// The candidate nearest to `word`, or `None` if none is near enough to be worth naming.
///
/// Distance is that of Damerau and Levenshtein on lower-case text: one step for a letter too many, too few or wrong, or
/// for two that changed places. Up to a third of the word's letters may be wrong; of equals the first wins. Where none
/// is that near, a longer one that begins with the word is.
///
/// # Example
/// ```
/// assert_eq!(upkeep::nearest("bowlin", ["clove hitch", "bowline"]), Some("bowline"));
/// assert_eq!(upkeep::nearest("clove", ["clove hitch", "bowline"]), Some("clove hitch"));
/// assert_eq!(upkeep::nearest("anchor", ["clove hitch", "bowline"]), None);
/// ```
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase();
    let candidates: Vec<(&str, String)> = candidates.into_iter().map(|name| (name, name.to_lowercase())).collect();
    let distance = |lower: &str| strsim::damerau_levenshtein(&word, lower);
    let near =
        candidates.iter().map(|(name, lower)| (distance(lower), *name)).filter(|(steps, _)| *steps <= slack(&word));
    let begun = || candidates.iter().find(|(_, lower)| begins(lower, &word)).map(|(name, _)| *name);
    near.min_by_key(|(steps, _)| *steps).map(|(_, name)| name).or_else(begun)
}

/// How many letters of `word` may be wrong.
fn slack(word: &str) -> usize {
    match word.chars().count() {
        0 | 1 => 0,
        letters => letters.div_ceil(3),
    }
}

/// Whether `longer` begins with `word`, singular or plural.
fn begins(longer: &str, word: &str) -> bool {
    let stem = word.strip_suffix('s').unwrap_or(word);
    3 <= stem.len() && longer.starts_with(stem)
}

/// The known name that `name` is a slip of the pen for, or a shorter form of: `belt freq` of `belt frequency`. `None` where
/// it is known itself, or near to none; names that differ in their figures alone are told apart.
///
/// # Example
/// ```
/// assert_eq!(upkeep::slip_of("belt freq", ["play", "belt frequency"]), Some("belt frequency"));
/// assert_eq!(upkeep::slip_of("Play", ["play", "play at the end"]), None);
/// ```
pub fn slip_of<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let name = name.trim().to_lowercase();
    let known: Vec<(&str, String)> = known.into_iter().map(|other| (other, other.to_lowercase())).collect();
    if known.iter().any(|(_, lower)| *lower == name) {
        return None;
    }
    known.into_iter().find(|(_, lower)| is_slip(&name, lower) || shortens(&name, lower)).map(|(other, _)| other)
}

/// Whether one name is the other but for a slip of the pen: `brass nozle 0.4`, but not `brass nozzle 0.6`.
pub(crate) fn is_slip(one: &str, other: &str) -> bool {
    let letters = |name: &str| name.chars().filter(|letter| letter.is_alphabetic()).collect::<String>();
    letters(one) != letters(other) && strsim::damerau_levenshtein(one, other) <= 2
}

/// Whether each word of `short` begins the word of `long` that stands in its place; a letter or two begin too many.
fn shortens(short: &str, long: &str) -> bool {
    let words = || short.split_whitespace().zip(long.split_whitespace());
    3 <= short.len()
        && words().count() == short.split_whitespace().count()
        && words().all(|(begun, whole)| whole.starts_with(begun))
}

/// A name that nothing has.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unknown {
    /// What was looked for: `task`, `position`, `machine`.
    pub what: &'static str,
    /// The name.
    pub found: String,
    /// The names there are.
    pub has: Vec<String>,
    /// The one that was probably meant.
    pub nearest: Option<String>,
}

impl Unknown {
    /// Says that none of the names `has` is `name`.
    pub fn new(what: &'static str, name: &str, has: Vec<String>) -> Unknown {
        let nearest = nearest(name, has.iter().map(String::as_str)).map(str::to_owned);
        Unknown { what, found: name.to_owned(), has, nearest }
    }

    /// The one of `all` whose name is `name`, whatever its case.
    ///
    /// # Errors
    /// If none has that name; the error lists those there are.
    pub fn find<'a, T>(
        what: &'static str,
        name: &str,
        all: &'a [T],
        name_of: impl Fn(&T) -> &str,
    ) -> Result<&'a T, Unknown> {
        let wanted = name.trim().to_lowercase();
        all.iter()
            .find(|one| name_of(one).to_lowercase() == wanted)
            .ok_or_else(|| Unknown::new(what, name, all.iter().map(|one| name_of(one).to_owned()).collect()))
    }

    /// Whether there are more names than are listed.
    pub fn has_more(&self) -> bool {
        LISTED < self.has.len()
    }
}

/// At most this many names are listed; a hall has a thousand machines.
const LISTED: usize = 8;

impl fmt::Display for Unknown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Unknown { what, found, has, nearest } = self;
        write!(f, "no {what} is called \"{found}\"\n  ")?;
        match has.as_slice() {
            [] => write!(f, "there is none yet")?,
            [only] => write!(f, "there is only {only}")?,
            all if !self.has_more() => write!(f, "there are: {}", listing(all))?,
            all => write!(f, "there are {}, among them: {}", all.len(), listing(&all[..LISTED]))?,
        }
        match nearest {
            Some(nearest) => write!(f, "\n  did you mean {nearest}?"),
            None => Ok(()),
        }
    }
}

/// Names one after another, told apart where a name has a comma of its own.
fn listing(names: &[String]) -> String {
    names.join(if names.iter().any(|name| name.contains(',')) { "; " } else { ", " })
}

impl std::error::Error for Unknown {}

#[cfg(test)]
mod tests {
    use super::{Unknown, nearest, slip_of};

    #[test]
    fn a_shorter_form_or_a_slip_is_told_and_what_is_more_or_another_figure_is_not() {
        let known = ["isopropyl alcohol, 90 % or more", "belt frequency a", "brass nozzle 0.4"];
        for (name, meant) in [
            ("isopropyl", Some(known[0])),
            ("Belt freq a", Some(known[1])),
            ("belt freqency a", Some(known[1])),
            ("belt frequency a, warm", None),
            ("brass nozzle 0.6", None),
            ("IPA", None),
            ("BELT frequency A", None),
        ] {
            assert_eq!(slip_of(name, known), meant, "{name}");
        }
    }

    #[test]
    fn a_word_typed_in_capitals_is_found() {
        assert_eq!(nearest("PETG", ["pla", "petg"]), Some("petg"));
    }

    #[test]
    fn two_letters_that_changed_places_are_one_mistake() {
        assert_eq!(nearest("nmae", ["name"]), Some("name"));
    }

    #[test]
    fn a_single_letter_is_not_a_slip_of_another() {
        assert_eq!(nearest("m", ["mg", "g"]), None);
    }

    #[test]
    fn an_empty_word_is_near_to_nothing() {
        assert_eq!(nearest("", ["a"]), None);
    }

    #[test]
    fn a_hall_of_machines_is_not_listed_whole() {
        let has: Vec<String> = (0..1000).map(|number| format!("m{number:03}")).collect();
        let text = Unknown::new("machine", "bowline", has.clone()).to_string();
        assert!(text.contains("there are 1000, among them: m000, ") && text.ends_with("m007"), "{text}");
        let text = Unknown::new("machine", "m0999", has).to_string();
        assert!(text.contains("m007\n") && text.ends_with("did you mean m099?"), "{text}");
    }

    #[test]
    fn an_empty_shop_says_so() {
        let text = Unknown::new("machine", "bowline", vec![]).to_string();
        assert_eq!(text, "no machine is called \"bowline\"\n  there is none yet");
    }
}
