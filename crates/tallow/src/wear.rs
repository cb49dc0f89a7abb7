//! Wear maps added up over runs, and drawn in a line of text.

use std::collections::BTreeMap;

use motion::Quantity;
use serde_json::{Value, json};
use upkeep::amount;
use upkeep::build::Axis;

/// Width of a bin, mm, as the meter makes them.
const BIN_MM: f64 = 10.0;

/// Travel in each bin along an axis, by the bin's number; mm.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Bins(BTreeMap<i64, f64>);

impl Bins {
    /// Adds a share of a program's map, kept as JSON (see docs/JSON.md, `wear_mm`). What can't be read adds nothing.
    pub(crate) fn add(&mut self, maps: &[u8], axis: Axis, share: f64) {
        let Ok(maps) = serde_json::from_slice::<Value>(maps) else { return };
        let bins = maps[axis.name()]["bins"].as_array().into_iter().flatten();
        for (start, travel) in bins.filter_map(|bin| Some((bin[0].as_f64()?, bin[1].as_f64()?))) {
            *self.0.entry((start / BIN_MM).round() as i64).or_default() += travel * share;
        }
    }

    /// Whether nothing moved.
    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// As JSON: the coordinate at which each bin begins and the travel in it, mm.
    pub(crate) fn shape(&self) -> Value {
        let bins: Vec<Value> = self.0.iter().map(|(bin, travel)| json!([*bin as f64 * BIN_MM, travel])).collect();
        json!({ "bin": BIN_MM, "bins": bins })
    }
}

/// The map as a line of bars over the axis' travel, with its scale below.
pub(crate) fn picture(bins: &Bins, travel_mm: f64) -> String {
    const BARS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let first = bins.0.keys().next().copied().unwrap_or(0).min(0);
    let last = bins.0.keys().last().copied().unwrap_or(0).max((travel_mm / BIN_MM).ceil() as i64 - 1);
    let most = bins.0.values().copied().fold(0.0, f64::max);
    let bar = |bin| {
        let share = bins.0.get(&bin).copied().unwrap_or(0.0) / most;
        BARS[((share * 8.0).ceil() as usize).min(8)]
    };
    let line: String = (first..=last).map(bar).collect();
    let (from, to) = (first as f64 * BIN_MM, (last + 1) as f64 * BIN_MM);
    let width = line.chars().count().saturating_sub(format!("{from}").len());
    let tallest = amount::print(most / 1e3, Quantity::TravelX);
    format!("  |{line}|\n   {from}{to:>width$} mm   (travel per {BIN_MM} mm; the tallest bar is {tallest})")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn maps_add_up_by_their_shares() {
        let mut bins = Bins::default();
        let maps = br#"{"x":{"bin":10,"bins":[[0,100],[10,50]]}}"#;
        bins.add(maps, Axis::X, 1.0);
        bins.add(maps, Axis::X, 0.5);
        bins.add(maps, Axis::Y, 1.0);
        bins.add(b"not json", Axis::X, 1.0);
        assert_eq!(bins.shape(), json!({ "bin": 10.0, "bins": [[0.0, 150.0], [10.0, 75.0]] }));
    }

    #[test]
    fn the_tallest_bar_is_the_most_worn_bin() {
        let bins = Bins(BTreeMap::from([(1, 1000.0), (2, 500.0)]));
        let expected = "  | █▄ |\n   0 40 mm   (travel per 10 mm; the tallest bar is 1 m)";
        assert_eq!(picture(&bins, 40.0), expected);
    }
}
