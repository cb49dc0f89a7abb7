//! The word that somebody probably meant.

/// The candidate nearest to `word`, or `None` if none is near enough to be worth naming.
///
/// Distance is that of Damerau and Levenshtein on lower-case text: one step for a letter too many, too few or wrong, or
/// for two that changed places. Up to a third of the word's letters may be wrong; of equals the first wins.
///
/// # Example
/// ```
/// assert_eq!(upkeep::nearest("bowlin", ["clove hitch", "bowline"]), Some("bowline"));
/// assert_eq!(upkeep::nearest("anchor", ["clove hitch", "bowline"]), None);
/// ```
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase();
    let allowed = word.chars().count().div_ceil(3);
    candidates
        .into_iter()
        .map(|candidate| (strsim::damerau_levenshtein(&word, &candidate.to_lowercase()), candidate))
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn a_word_typed_in_capitals_is_found() {
        assert_eq!(nearest("PETG", ["pla", "petg"]), Some("petg"));
    }

    #[test]
    fn two_letters_that_changed_places_are_one_mistake() {
        assert_eq!(nearest("nmae", ["name"]), Some("name"));
    }

    #[test]
    fn an_empty_word_is_near_to_nothing() {
        assert_eq!(nearest("", ["a"]), None);
    }
}
