//! What one run asked of the machine: plain amounts, per tool, in SI units.

use std::collections::BTreeMap;
use std::ops::{Index, IndexMut};

use crate::quantity::{AddsUp, Quantity};

/// Amounts of every quantity, in the quantity's own unit (SI).
#[derive(Clone, Debug, PartialEq)]
pub struct Amounts([f64; Quantity::COUNT]);

impl Default for Amounts {
    fn default() -> Amounts {
        Amounts([0.0; Quantity::COUNT])
    }
}

impl Index<Quantity> for Amounts {
    type Output = f64;
    fn index(&self, quantity: Quantity) -> &f64 {
        &self.0[quantity as usize]
    }
}

impl IndexMut<Quantity> for Amounts {
    fn index_mut(&mut self, quantity: Quantity) -> &mut f64 {
        &mut self.0[quantity as usize]
    }
}

impl Amounts {
    /// Adds `other`, each quantity as it adds up.
    pub fn add(&mut self, other: &Amounts) {
        for &quantity in Quantity::ALL {
            let (mine, more) = (&mut self[quantity], other[quantity]);
            match quantity.adds_up() {
                AddsUp::Sum => *mine += more,
                AddsUp::Largest => *mine = mine.max(more),
            }
        }
    }

    /// The quantities that are not zero, in the list's order.
    pub fn iter(&self) -> impl Iterator<Item = (Quantity, f64)> + '_ {
        Quantity::ALL.iter().map(|&quantity| (quantity, self[quantity])).filter(|(_, amount)| *amount != 0.0)
    }
}

/// The number of a tool, as in `T0`.
pub type Tool = u8;

/// What a run asked of the machine, told apart by the tool that was active (a heater's time by its own tool), so that
/// each tool's share can be charged to the material it printed and to the parts that only it wears.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Duty {
    /// Amounts per tool.
    pub tools: BTreeMap<Tool, Amounts>,
}

impl Duty {
    /// All tools together.
    pub fn total(&self) -> Amounts {
        let mut total = Amounts::default();
        for amounts in self.tools.values() {
            total.add(amounts);
        }
        total
    }
}
