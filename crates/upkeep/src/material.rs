//! Filament materials, by the trade's names.

use std::fmt;
use std::sync::{Arc, LazyLock};

use serde::Deserialize;

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

/// What a material does to a machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum MaterialClass {
    /// Wears nozzles, drive gears and tubes.
    Abrasive,
    /// Gives off fumes that foul filters and leave a film.
    Fumes,
    /// Draws water from the air.
    Hygroscopic,
    /// Buckles in the drive and winds round gears.
    Soft,
}

impl MaterialClass {
    /// Every class.
    pub const ALL: [MaterialClass; 4] =
        [MaterialClass::Abrasive, MaterialClass::Fumes, MaterialClass::Hygroscopic, MaterialClass::Soft];

    /// The word that builds and the shop's table use.
    pub const fn name(self) -> &'static str {
        match self {
            MaterialClass::Abrasive => "abrasive",
            MaterialClass::Fumes => "fumes",
            MaterialClass::Hygroscopic => "hygroscopic",
            MaterialClass::Soft => "soft",
        }
    }

    /// The class of that name, whatever its case.
    pub fn from_name(name: &str) -> Option<MaterialClass> {
        MaterialClass::ALL.into_iter().find(|class| class.name().eq_ignore_ascii_case(name))
    }
}

impl fmt::Display for MaterialClass {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// What is known of a material.
#[derive(Clone, Debug, PartialEq)]
pub struct MaterialInfo {
    /// Its name.
    pub name: String,
    /// Its density, kg/m³.
    pub density_kg_m3: f64,
    /// What it does to a machine.
    pub classes: Vec<MaterialClass>,
}

impl MaterialInfo {
    /// The mass of a volume of it, kg. `volume` in m³.
    pub fn mass(&self, volume: f64) -> f64 {
        volume * self.density_kg_m3
    }
}

/// The materials that a shop knows: the common ones and its own.
#[derive(Clone, Debug, PartialEq)]
pub struct Materials(Vec<MaterialInfo>);

impl Materials {
    /// The common materials alone.
    pub fn built_in() -> &'static Materials {
        static BUILT_IN: LazyLock<Materials> = LazyLock::new(|| {
            // OK because the text is part of the program and a test reads it.
            let file: File =
                toml::from_str(include_str!("../data/materials.toml")).expect("the built-in table is valid");
            Materials(file.material.into_iter().map(MaterialInfo::from).collect())
        });
        &BUILT_IN
    }

    /// The common materials and the shop's own; where both name one, the shop's stands.
    pub fn with(own: impl IntoIterator<Item = MaterialInfo>) -> Materials {
        let mut all = Materials(own.into_iter().collect());
        let others: Vec<MaterialInfo> =
            Materials::built_in().iter().filter(|info| all.get(&info.name).is_none()).cloned().collect();
        all.0.extend(others);
        all
    }

    /// The material of that name, whatever its case.
    pub fn get(&self, name: &str) -> Option<&MaterialInfo> {
        self.0.iter().find(|info| info.name.eq_ignore_ascii_case(name))
    }

    /// All of them, the shop's own first.
    pub fn iter(&self) -> impl Iterator<Item = &MaterialInfo> {
        self.0.iter()
    }

    /// How often one unit of use counts when it was done in `material`: the weight of its name, else the largest weight
    /// of its classes, else 1.
    pub fn weight(&self, material: &Material, counts: &[(String, f64)]) -> f64 {
        let weight_of = |word: &str| counts.iter().find(|(name, _)| name.eq_ignore_ascii_case(word)).map(|(_, w)| *w);
        let classes = self.get(material.name()).map_or(&[][..], |info| &info.classes);
        weight_of(material.name())
            .or_else(|| classes.iter().filter_map(|class| weight_of(class.name())).reduce(f64::max))
            .unwrap_or(1.0)
    }
}

/// The shape of the built-in table.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    material: Vec<Row>,
}

/// One row of it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    name: String,
    density_g_cm3: f64,
    classes: Vec<MaterialClass>,
}

impl From<Row> for MaterialInfo {
    fn from(row: Row) -> MaterialInfo {
        MaterialInfo { name: row.name, density_kg_m3: row.density_g_cm3 * 1e3, classes: row.classes }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn counts(pairs: &[(&str, f64)]) -> Vec<(String, f64)> {
        pairs.iter().map(|(name, weight)| ((*name).to_owned(), *weight)).collect()
    }

    #[track_caller]
    fn check_weight(material: &str, pairs: &[(&str, f64)], expected: f64) {
        let weight = Materials::built_in().weight(&Material::new(material), &counts(pairs));
        assert!((weight - expected).abs() < f64::EPSILON, "{material} counts {weight}, not {expected}");
    }

    #[test]
    fn a_metre_of_1_75_mm_pla_weighs_what_arithmetic_says() {
        // Worked by hand: π/4 · 1.75² · 1000 = 2405.281875 mm³; · 1.24 g/cm³ = 2.982549526 g, ten digits.
        let volume = std::f64::consts::FRAC_PI_4 * 1.75e-3 * 1.75e-3;
        assert!((volume * 1e9 - 2_405.281_875).abs() < 1e-6);
        let grams = Materials::built_in().get("PLA").unwrap().mass(volume) * 1e3;
        assert!((grams - 2.982_549_526).abs() < 5e-9, "{grams}");
    }

    #[test]
    fn common_densities_are_within_what_solid_polymers_weigh() {
        for info in Materials::built_in().iter() {
            let filled = info.name.contains("metal");
            assert!((880.0..=1800.0).contains(&info.density_kg_m3) || filled, "{info:?}");
        }
    }

    #[test]
    fn materials_are_found_whatever_the_case() {
        assert_eq!(Materials::built_in().get("petg").map(|info| info.name.as_str()), Some("PETG"));
    }

    #[test]
    fn no_material_is_listed_twice() {
        let mut names: Vec<String> = Materials::built_in().iter().map(|info| info.name.to_lowercase()).collect();
        names.sort();
        let all = names.len();
        names.dedup();
        assert_eq!(names.len(), all);
    }

    #[test]
    fn a_name_beats_a_class_and_the_heaviest_class_wins() {
        let both = [("abrasive", 3.0), ("fumes", 2.0)];
        check_weight("PLA", &both, 1.0);
        check_weight("ABS", &both, 2.0);
        check_weight("ABS-CF", &both, 3.0);
        check_weight("ABS-CF", &[("abrasive", 3.0), ("abs-cf", 1.5)], 1.5);
        check_weight("unheard of", &both, 1.0);
    }

    #[test]
    fn the_shops_own_figure_stands_above_the_common_one() {
        let own = MaterialInfo { name: "pla".to_owned(), density_kg_m3: 1300.0, classes: vec![] };
        let all = Materials::with([own.clone()]);
        assert_eq!(all.get("PLA"), Some(&own));
        assert_eq!(all.iter().count(), Materials::built_in().iter().count());
    }
}
