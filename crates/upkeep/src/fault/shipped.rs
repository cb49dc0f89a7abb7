//! The faults that come with the program.

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
