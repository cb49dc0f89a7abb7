//! From duty to use: what was printed gives the duty its mass and its material.

use std::collections::BTreeMap;

use motion::{Duty, Quantity, Tool};

use crate::usage::Stream;
use crate::{Material, MaterialInfo, Usage};

/// A tool that used filament, of which nobody said what it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unsaid {
    /// The tool.
    pub tool: Tool,
    /// The filament that it used, m.
    pub filament: f64,
}

/// The use that `duty` is when each tool printed what `printed` says. Mass is volume × density.
///
/// # Errors
/// A tool that used filament is not in `printed`. Tools that used none need not be.
pub fn booked(duty: &Duty, printed: &BTreeMap<Tool, MaterialInfo>) -> Result<Usage, Unsaid> {
    let mut duty = duty.clone();
    for (&tool, amounts) in &mut duty.tools {
        match printed.get(&tool) {
            Some(info) => amounts[Quantity::FilamentMass] = info.mass(amounts[Quantity::FilamentVolume]).max(0.0),
            None if 0.0 < amounts[Quantity::FilamentFed] => {
                return Err(Unsaid { tool, filament: amounts[Quantity::FilamentFed] });
            }
            None => {}
        }
    }
    let name = |tool: Tool| printed.get(&tool).map_or("", |info| info.name.as_str());
    Ok(Usage::from_duty(&duty, |tool| Material::new(name(tool))))
}

/// The use of a run that turns out to have printed other materials: `changed` says which, by tool.
///
/// Mass goes by the new density where the volume is known; a mass that was weighed without one stays.
pub fn reprinted(usage: &Usage, changed: &BTreeMap<Tool, MaterialInfo>) -> Usage {
    let mut reprinted = Usage::new();
    for (stream, grains) in usage.streams() {
        let Some(info) = changed.get(&stream.tool) else {
            reprinted.add_stream(stream.clone(), grains, 1);
            continue;
        };
        let mut grains = grains.clone();
        let volume = grains.amount(Quantity::FilamentVolume);
        if 0.0 < volume {
            grains.set_amount(Quantity::FilamentMass, info.mass(volume));
        }
        reprinted.add_stream(Stream { tool: stream.tool, material: Material::new(&info.name) }, &grains, 1);
    }
    reprinted
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Materials;

    fn a_metre_on(tool: Tool) -> Duty {
        let mut duty = Duty::default();
        let amounts = duty.tools.entry(tool).or_default();
        amounts[Quantity::FilamentFed] = 1.0;
        amounts[Quantity::FilamentVolume] = 2405.281875e-9;
        duty
    }

    #[test]
    fn a_metre_of_pla_weighs_what_arithmetic_says() {
        // Worked by hand: π/4 · 1.75² · 1000 mm³ at 1.24 g/cm³ = 2.982 549 525 g.
        let printed = BTreeMap::from([(0, Materials::built_in().get("PLA").unwrap().clone())]);
        let usage = booked(&a_metre_on(0), &printed).unwrap();
        assert!((usage.amount(Quantity::FilamentMass) - 2.982_549_525e-3).abs() < 1e-9);
    }

    #[test]
    fn a_tool_that_printed_must_be_named() {
        assert_eq!(booked(&a_metre_on(1), &BTreeMap::new()), Err(Unsaid { tool: 1, filament: 1.0 }));
        let mut idle = Duty::default();
        idle.tools.entry(1).or_default()[Quantity::TimeHot] = 60.0;
        assert!(booked(&idle, &BTreeMap::new()).is_ok());
    }

    #[test]
    fn a_run_that_was_of_another_material_weighs_by_that_ones_density() {
        let info = |name| Materials::built_in().get(name).unwrap().clone();
        let as_pla = booked(&a_metre_on(0), &BTreeMap::from([(0, info("PLA"))])).unwrap();
        let as_asa = booked(&a_metre_on(0), &BTreeMap::from([(0, info("ASA"))])).unwrap();
        assert_eq!(reprinted(&as_pla, &BTreeMap::from([(0, info("ASA"))])), as_asa);
        assert_eq!(reprinted(&as_pla, &BTreeMap::from([(1, info("ASA"))])), as_pla);
    }
}
