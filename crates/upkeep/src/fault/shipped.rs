//! The faults that come with the program.

use super::Faults;
use crate::Build;
use crate::build::{self, BuildErrors};

/// What is known of any build: the causes and checks by the kinds of its parts.
const BY_KIND: &str = "take = [\"symptoms\", \"motion\", \"filament\", \"bed\", \"electric\"]";

/// What is known of the faults of `build`: for a shipped one its own file, for a shop's own what its kinds of parts have.
///
/// # Errors
/// Everything that does not fit the build, each with its place: a shop may have changed a build and kept its name.
pub fn of(build: &Build) -> Result<Faults, BuildErrors> {
    let is_of = |(_, text): &(&str, &str)| name_of(text) == Some(build.name.as_str());
    let own = shipped().into_iter().zip(build::shipped()).find(|(_, build)| is_of(build));
    let (file, text) = own.map_or(("the faults by kind of part", BY_KIND), |(own, _)| own);
    Faults::parse(file, text, build).or_else(|_| Faults::parse("the faults by kind of part", BY_KIND, build))
}

/// The name that a shipped build's text begins with, without reading the rest.
fn name_of(text: &str) -> Option<&str> {
    text.lines().find_map(|line| line.strip_prefix("name = \"")?.strip_suffix('"'))
}

/// Names and texts of the faults of the shipped builds, in the order of [`crate::build::shipped`], each to be read by
/// [`super::Faults::parse`].
pub fn shipped() -> [(&'static str, &'static str); 4] {
    [
        ("enclosed-corexy", include_str!("../../faults/enclosed-corexy.toml")),
        ("moving-bed", include_str!("../../faults/moving-bed.toml")),
        ("rail-corexy", include_str!("../../faults/rail-corexy.toml")),
        ("delta", include_str!("../../faults/delta.toml")),
    ]
}

/// Files by kind of position that the files of builds take from.
pub(super) const SHARED: [(&str, &str); 5] = [
    ("symptoms", include_str!("../../faults/shared/symptoms.toml")),
    ("motion", include_str!("../../faults/shared/motion.toml")),
    ("filament", include_str!("../../faults/shared/filament.toml")),
    ("bed", include_str!("../../faults/shared/bed.toml")),
    ("electric", include_str!("../../faults/shared/electric.toml")),
];

#[cfg(test)]
mod tests {
    use super::{build, name_of};
    use crate::Build;

    #[test]
    fn a_shipped_build_is_known_by_the_name_in_its_text() {
        for (file, text) in build::shipped() {
            assert_eq!(name_of(text), Some(Build::parse(file, text).unwrap().name.as_str()));
        }
    }
}
