//! What a limit counts: one quantity, on one tool or all, each material by its weight.

use motion::{Quantity, Tool};

use crate::usage::{Stream, grain};
use crate::{Materials, Usage};

/// What a limit counts. Limits that count the same share one forecast.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Meter<'a> {
    pub(crate) quantity: Quantity,
    /// The tool whose use alone counts; `None` where all tools do.
    pub(crate) tool: Option<Tool>,
    /// Weights by the name or class of material.
    pub(crate) counts: &'a [(String, f64)],
}

impl Meter<'_> {
    /// How much one unit of the stream's use counts: its material's weight, or nothing if it is another tool's.
    pub(crate) fn weight(&self, stream: &Stream, materials: &Materials) -> f64 {
        match self.tool {
            Some(tool) if tool != stream.tool => 0.0,
            _ => materials.weight(&stream.material, self.counts),
        }
    }

    /// Miner's sum of `usage`, in the quantity's unit: Σ weight · amount over its streams.
    pub(crate) fn amount(&self, usage: &Usage, materials: &Materials) -> f64 {
        let grains: f64 = usage
            .streams()
            .map(|(stream, grains)| (stream, grains.get(self.quantity)))
            .filter(|(_, grains)| *grains != 0)
            .map(|(stream, grains)| self.weight(stream, materials) * grains as f64)
            .sum();
        grains * grain(self.quantity.unit())
    }
}
