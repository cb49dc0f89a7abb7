//! Duty as the ledger adds it up: whole grains, per tool and material.
//!
//! Sums of whole numbers do not depend on their order, so a roll-up kept for three years and one rebuilt from the
//! entries can be proved equal to the last grain.

use motion::{AddsUp, Amounts, Duty, Quantity, Tool, Unit};

use crate::Material;

/// The size of one grain of a unit, in that unit: 1 nm, 1 µs, 1e-3 mm³, 1 µg, a millionth of a turn, one.
pub const fn grain(unit: Unit) -> f64 {
    match unit {
        Unit::Metre | Unit::Kilogram => 1e-9,
        Unit::Second | Unit::Turn => 1e-6,
        Unit::CubicMetre | Unit::CubicMetrePerSecond => 1e-12,
        Unit::Count => 1.0,
    }
}

/// Which tool and which material an amount belongs to.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Stream {
    /// The tool that was active.
    pub tool: Tool,
    /// What it printed.
    pub material: Material,
}

/// Whole grains of every quantity that is summed; those whose largest amount counts stay zero, because they have no
/// "since".
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grains([i64; Quantity::COUNT]);

impl Default for Grains {
    fn default() -> Grains {
        Grains([0; Quantity::COUNT])
    }
}

impl Grains {
    /// Rounds amounts in the quantities' units to whole grains.
    pub fn from_amounts(amounts: &Amounts) -> Grains {
        let mut grains = Grains::default();
        for (quantity, amount) in amounts.iter() {
            if quantity.adds_up() == AddsUp::Sum {
                grains.set_amount(quantity, amount);
            }
        }
        grains
    }

    /// The grains of one quantity.
    pub fn get(&self, quantity: Quantity) -> i64 {
        self.0[quantity as usize]
    }

    /// Sets the grains of one quantity.
    pub fn set(&mut self, quantity: Quantity, grains: i64) {
        self.0[quantity as usize] = grains;
    }

    /// The amount of one quantity, in its unit.
    pub fn amount(&self, quantity: Quantity) -> f64 {
        self.get(quantity) as f64 * grain(quantity.unit())
    }

    /// Sets the amount of one quantity, in its unit, rounded to whole grains.
    pub fn set_amount(&mut self, quantity: Quantity, amount: f64) {
        self.set(quantity, (amount / grain(quantity.unit())).round() as i64);
    }

    /// The quantities that are not zero, in the list's order.
    pub fn iter(&self) -> impl Iterator<Item = (Quantity, i64)> + '_ {
        Quantity::ALL.iter().map(|&quantity| (quantity, self.get(quantity))).filter(|(_, grains)| *grains != 0)
    }
}

/// Amounts per tool and material.
///
/// A list in the order of the streams, not a map: most have one or two streams, and a due list holds hundreds of
/// thousands of them, each of which would cost a map's node of 4 kB.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Usage {
    streams: Vec<(Stream, Grains)>,
}

impl Usage {
    /// No use at all.
    pub fn new() -> Usage {
        Usage::default()
    }

    /// The use that `duty` is when each tool prints the material that `material_of` names.
    pub fn from_duty(duty: &Duty, material_of: impl Fn(Tool) -> Material) -> Usage {
        let mut usage = Usage::new();
        for (&tool, amounts) in &duty.tools {
            usage.add_stream(Stream { tool, material: material_of(tool) }, &Grains::from_amounts(amounts), 1);
        }
        usage
    }

    /// The streams and their grains.
    pub fn streams(&self) -> impl Iterator<Item = (&Stream, &Grains)> {
        self.streams.iter().map(|(stream, grains)| (stream, grains))
    }

    /// Whether nothing was used.
    pub fn is_empty(&self) -> bool {
        self.streams.is_empty()
    }

    /// Adds `other`.
    pub fn add(&mut self, other: &Usage) {
        for (stream, grains) in &other.streams {
            self.add_stream(stream.clone(), grains, 1);
        }
    }

    /// Takes `other` away.
    pub fn subtract(&mut self, other: &Usage) {
        for (stream, grains) in &other.streams {
            self.add_stream(stream.clone(), grains, -1);
        }
    }

    /// Adds `sign` times the grains of one stream; a stream that comes to nothing is forgotten.
    pub fn add_stream(&mut self, stream: Stream, grains: &Grains, sign: i64) {
        let index = self.streams.binary_search_by(|(known, _)| known.cmp(&stream)).unwrap_or_else(|place| {
            self.streams.reserve_exact(1);
            self.streams.insert(place, (stream, Grains::default()));
            place
        });
        let sum = &mut self.streams[index].1;
        for (mine, more) in sum.0.iter_mut().zip(&grains.0) {
            *mine += sign * more;
        }
        if *sum == Grains::default() {
            self.streams.remove(index);
        }
    }

    /// The amount of one quantity over all streams, in its unit.
    pub fn amount(&self, quantity: Quantity) -> f64 {
        let grains: i64 = self.streams.iter().map(|(_, grains)| grains.get(quantity)).sum();
        grains as f64 * grain(quantity.unit())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_added_and_taken_away_again_leaves_nothing_behind() {
        let mut duty = Duty::default();
        duty.tools.entry(1).or_default()[Quantity::TravelX] = 12.345_678_9;
        let run = Usage::from_duty(&duty, |_| Material::new("ASA"));
        assert!((run.amount(Quantity::TravelX) - 12.345_678_9).abs() < 1e-9);
        let mut total = run.clone();
        total.add(&run);
        total.subtract(&run);
        assert_eq!(total, run);
        total.subtract(&run);
        assert!(total.is_empty());
    }
}
