//! The faults that come with the program.

use super::Faults;
use crate::Build;
use crate::build::BuildErrors;

/// What is known of any build: the causes and checks by the kinds of its parts.
const BY_KIND: &str = "take = [\"symptoms\", \"motion\", \"filament\", \"bed\", \"electric\"]";

/// What is known of the faults of `build`, which may be a shop's own.
///
/// # Errors
/// Never for what was tested; what is wrong, each with its place.
pub fn of(build: &Build) -> Result<Faults, BuildErrors> {
    Faults::parse("what is known of faults", BY_KIND, build)
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
