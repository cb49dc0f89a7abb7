//! The faults that come with the program.

use std::sync::LazyLock;

use super::Faults;
use crate::Build;
use crate::build::{self, BuildErrors};

/// What is known of any build: the causes and checks by the kinds of its parts.
const BY_KIND: &str = "take = [\"symptoms\", \"motion\", \"filament\", \"bed\", \"electric\"]";

/// The names of the shipped builds, in the order of [`shipped`].
static BUILDS: LazyLock<Vec<String>> = LazyLock::new(|| {
    let names = build::shipped().map(|(file, text)| Build::parse(file, text).map(|build| build.name));
    names.into_iter().map(Result::unwrap_or_default).collect()
});

/// What is known of the faults of `build`: for a shipped one its own file, for a shop's own what its kinds of parts have.
///
/// # Errors
/// Everything that does not fit the build, each with its place: a shop may have changed a build and kept its name.
pub fn of(build: &Build) -> Result<Faults, BuildErrors> {
    let own = shipped().into_iter().zip(BUILDS.iter()).find(|(_, name)| **name == build.name);
    let (file, text) = own.map_or(("the faults by kind of part", BY_KIND), |(own, _)| own);
    Faults::parse(file, text, build).or_else(|_| Faults::parse("the faults by kind of part", BY_KIND, build))
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
