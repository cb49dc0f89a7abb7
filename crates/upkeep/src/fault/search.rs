//! Symptoms by the words that a keeper has for them.

use super::{Faults, Symptom};

/// Words that tell nothing of a symptom.
const IDLE: [&str; 32] = [
    "a", "an", "and", "are", "at", "but", "does", "from", "has", "i", "in", "is", "it", "its", "machine", "my", "of",
    "on", "or", "out", "print", "printer", "prints", "that", "the", "there", "to", "when", "while", "will", "with",
    "won't",
];

/// The least mean likeness at which a symptom is named. Judgement, no source.
const LEAST: f64 = 0.5;

/// By how much less like than the first a symptom may be to be named beside it. Judgement, no source.
const MUCH: f64 = 0.3;

/// Endings of words that tell nothing.
const ENDINGS: [&str; 4] = ["ing", "ed", "es", "s"];

/// The symptoms that `words` may mean, by their place, the likeliest first.
///
/// Each word of the keeper is held against each word of a symptom's name, or of one of its aliases, both without their endings:
/// 1 for the same word, 0.9 where one begins the other, less for letters that are wrong (Damerau and Levenshtein). A symptom is as
/// like as the mean of its best wording; one that is named in full comes first. Those much less like than the first are left out.
pub fn search(faults: &Faults, words: &str) -> Vec<usize> {
    let asked = telling(words);
    let mut found: Vec<(usize, f64)> = faults
        .symptoms
        .iter()
        .enumerate()
        .map(|(place, symptom)| (place, likeness(symptom, words, &asked)))
        .filter(|(_, likeness)| LEAST <= *likeness)
        .collect();
    found.sort_by(|one, other| other.1.total_cmp(&one.1));
    let first = found.first().map_or(0.0, |(_, likeness)| likeness.min(1.0));
    found.retain(|(_, likeness)| first - MUCH < *likeness);
    found.into_iter().map(|(place, _)| place).collect()
}

fn likeness(symptom: &Symptom, words: &str, asked: &[String]) -> f64 {
    let wordings = std::iter::once(&symptom.name).chain(&symptom.aliases);
    wordings.map(|wording| of_wording(wording, words, asked)).fold(0.0, f64::max)
}

fn of_wording(wording: &str, words: &str, asked: &[String]) -> f64 {
    if wording.eq_ignore_ascii_case(words.trim()) {
        return 2.0;
    }
    if asked.is_empty() {
        return 0.0;
    }
    let known = telling(wording);
    let best = |word: &String| known.iter().map(|other| of_word(word, other)).fold(0.0, f64::max);
    let met: f64 = asked.iter().map(best).sum::<f64>() / asked.len() as f64;
    // Of two that hold every word, the shorter one is meant.
    met - 0.01 * known.len().abs_diff(asked.len()) as f64
}

/// How like two words are, from 0 to 1.
fn of_word(one: &str, other: &str) -> f64 {
    if one == other {
        return 1.0;
    }
    let (short, long) = if one.len() < other.len() { (one, other) } else { (other, one) };
    if 4 <= short.chars().count() && long.starts_with(short) {
        return 0.9;
    }
    let likeness = strsim::normalized_damerau_levenshtein(one, other);
    if 0.6 < likeness { likeness } else { 0.0 }
}

/// The words of a text that tell something, in lower case.
fn telling(text: &str) -> Vec<String> {
    let words = text.split(|letter: char| !letter.is_alphanumeric() && letter != '\'').map(str::to_lowercase);
    let telling = words.filter(|word| !word.is_empty() && !IDLE.contains(&word.as_str()));
    telling.map(|word| stem(&word).to_owned()).collect()
}

/// A word without its ending.
fn stem(word: &str) -> &str {
    let without = ENDINGS.iter().find_map(|ending| word.strip_suffix(ending));
    without.filter(|stem| 4 <= stem.chars().count()).unwrap_or(word)
}

#[cfg(test)]
mod tests {
    use super::search;
    use crate::fault::Faults;
    use crate::fault::{Grade, Symptom};

    fn faults() -> Faults {
        let symptom = |name: &str, aliases: &[&str]| Symptom {
            name: name.to_owned(),
            aliases: aliases.iter().map(|alias| (*alias).to_owned()).collect(),
            about: String::new(),
            leak: Grade::HardlyEver,
            stop: None,
        };
        let symptoms = vec![
            symptom("squeal while moving", &["squeak", "chirping"]),
            symptom("layer shift", &["steps in the wall", "shifted layers"]),
            symptom("first layer does not stick", &["no adhesion", "comes off the bed"]),
        ];
        Faults { symptoms, causes: Vec::new(), checks: Vec::new() }
    }

    #[track_caller]
    fn check(words: &str, first: Option<&str>) {
        let faults = faults();
        let found = search(&faults, words).first().map(|place| faults.symptoms[*place].name.clone());
        assert_eq!(found.as_deref(), first, "{words}");
    }

    #[test]
    fn plain_words_find_a_symptom_by_name_or_alias_with_slips_and_endings() {
        check("it squeals", Some("squeal while moving"));
        check("my printer is squeeking", Some("squeal while moving"));
        check("chirp", Some("squeal while moving"));
        check("layers shifted", Some("layer shift"));
        check("first layer won't stick", Some("first layer does not stick"));
        check("First Layer does not stick", Some("first layer does not stick"));
    }

    #[test]
    fn words_that_mean_none_find_none() {
        check("my printer", None);
        check("the cat is hungry", None);
        check("", None);
    }
}
