//! Filament materials, by the trade's names.

use std::fmt;
use std::sync::Arc;

/// A material's name as the shop writes it, in capitals where the trade does: `PLA`, `ASA`, `PA-CF`.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Material(Arc<str>);

impl Material {
    /// The material called `name`; an empty name means that nobody said.
    pub fn new(name: &str) -> Material {
        Material(Arc::from(name))
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Material {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
