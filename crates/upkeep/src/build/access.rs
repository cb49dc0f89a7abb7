//! The tables `[visit]` and `[[access]]`: what a visit takes besides its tasks.

use super::raw::Section;

/// A way of getting at parts, needed once in a visit for all tasks behind it: panels off, bed out.
#[derive(Clone, Debug, PartialEq)]
pub struct Access {
    /// Its name, unique in the build.
    pub name: String,
    /// Opening and closing together, min.
    pub minutes: f64,
}

/// What a visit takes besides its tasks where the build does not say, min. Judgement, no source.
const VISIT_MINUTES: f64 = 10.0;

/// The longest, min: a day.
const LONGEST_MINUTES: f64 = 1440.0;

/// The keys of a table `[[access]]`.
pub(super) const KEYS: &[&str] = &["name", "minutes"];

/// Reads one table `[[access]]`.
pub(super) fn read(section: &Section<'_>) -> Option<Access> {
    let name = section.need("name").and_then(|value| value.name());
    let minutes = section.need("minutes").and_then(|value| value.between(0.0, LONGEST_MINUTES));
    Some(Access { name: name?, minutes: minutes? })
}

/// The minutes of the table `[visit]`, which may be missing.
pub(super) fn visit_minutes(top: &Section<'_>) -> Option<f64> {
    let Some(value) = top.get("visit") else { return Some(VISIT_MINUTES) };
    match value.section("[visit]", &["minutes"])?.get("minutes") {
        Some(minutes) => minutes.between(0.0, LONGEST_MINUTES),
        None => Some(VISIT_MINUTES),
    }
}
