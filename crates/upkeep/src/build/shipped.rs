//! The builds that come with the program.

/// Names and texts of the shipped builds, each to be read by [`super::Build::parse`].
pub fn shipped() -> [(&'static str, &'static str); 4] {
    [
        ("enclosed-corexy", include_str!("../../builds/enclosed-corexy.toml")),
        ("moving-bed", include_str!("../../builds/moving-bed.toml")),
        ("rail-corexy", include_str!("../../builds/rail-corexy.toml")),
        ("delta", include_str!("../../builds/delta.toml")),
    ]
}
