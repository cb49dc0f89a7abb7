//! Wear maps added up over runs, and drawn in a line of text.

use std::collections::BTreeMap;

use motion::{Kinematics, Quantity};
use serde_json::{Value, json};
use upkeep::build::Axis;
use upkeep::{Build, amount};

/// Width of a bin, mm, as the meter makes them.
pub(crate) const BIN_MM: f64 = 10.0;

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

    /// Where each bin within an axis' reach begins and the travel in it, mm; those without travel among them.
    pub(crate) fn within(&self, reach: Reach) -> Vec<(f64, f64)> {
        let (first, last) = reach.bins();
        (first..=last).map(|bin| (bin as f64 * BIN_MM, self.0.get(&bin).copied().unwrap_or(0.0))).collect()
    }

    /// Whether nothing moved.
    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// What of it lies outside an axis' reach.
    pub(crate) fn outside(&self, reach: Reach) -> Outside {
        Outside::of(self.0.iter().map(|(bin, travel)| (*bin as f64 * BIN_MM, *travel)), reach)
    }

    /// As JSON: the coordinate at which each bin begins and the travel in it, mm.
    pub(crate) fn shape(&self) -> Value {
        let bins: Vec<Value> = self.0.iter().map(|(bin, travel)| json!([*bin as f64 * BIN_MM, travel])).collect();
        json!({ "bin": BIN_MM, "bins": bins })
    }
}

/// Where a machine can go along an axis, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Reach {
    from: f64,
    to: f64,
}

impl Reach {
    /// The numbers of its first and last bin.
    fn bins(self) -> (i64, i64) {
        ((self.from / BIN_MM).floor() as i64, (self.to / BIN_MM).ceil() as i64 - 1)
    }
}

/// How far a build's machine reaches along an axis: its travel from 0 on, but X and Y of a delta about the centre.
pub(crate) fn reach(build: &Build, axis: Axis) -> Reach {
    let travel = build.travel[axis as usize];
    match (build.machine.kinematics, axis) {
        (Kinematics::Delta { .. }, Axis::X | Axis::Y) => Reach { from: -travel / 2.0, to: travel / 2.0 },
        _ => Reach { from: 0.0, to: travel },
    }
}

/// Travel in the bins that lie wholly outside an axis' reach, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Outside {
    below: f64,
    above: f64,
    reach: Reach,
}

impl Outside {
    /// What of a map lies outside: the coordinate at which each bin begins and the travel in it, mm.
    pub(crate) fn of(bins: impl IntoIterator<Item = (f64, f64)>, reach: Reach) -> Outside {
        let mut outside = Outside { below: 0.0, above: 0.0, reach };
        for (start, travel) in bins {
            if start + BIN_MM <= reach.from {
                outside.below += travel;
            } else if reach.to <= start {
                outside.above += travel;
            }
        }
        outside
    }

    /// On both sides, mm.
    pub(crate) fn travel_mm(self) -> f64 {
        self.below + self.above
    }

    /// `80 mm below 0 mm and 10 m above 250 mm`; `None` where nothing lies outside.
    pub(crate) fn words(self) -> Option<String> {
        let side = |travel_mm: f64, side: &str, end: f64| {
            let travel = amount::print(travel_mm / 1e3, Quantity::TravelX);
            (0.0 < travel_mm).then(|| format!("{travel} {side} {end} mm"))
        };
        let sides = [side(self.below, "below", self.reach.from), side(self.above, "above", self.reach.to)];
        Some(sides.into_iter().flatten().collect::<Vec<_>>().join(" and ")).filter(|words| !words.is_empty())
    }
}

/// The map as a line of bars over the axis' reach, with its scale below. What lies outside is a bar on either side of the
/// frame, and said in words.
pub(crate) fn picture(bins: &Bins, reach: Reach) -> String {
    const BARS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let (first, last) = reach.bins();
    let inside: Vec<f64> = bins.within(reach).into_iter().map(|(_, travel)| travel).collect();
    let outside = bins.outside(reach);
    let most = inside.iter().copied().fold(0.0, f64::max);
    let bar = |travel: f64| if 0.0 < travel { BARS[((travel / most * 8.0).ceil() as usize).min(8)] } else { ' ' };
    let line: String = inside.iter().copied().map(bar).collect();
    let bars = format!(" {}|{line}|{}", bar(outside.below), bar(outside.above));
    let (left, right) = (format!("{}", first as f64 * BIN_MM), format!("{}", (last + 1) as f64 * BIN_MM));
    let width = inside.len().saturating_sub(left.chars().count());
    let tallest = amount::print(most / 1e3, Quantity::TravelX);
    let scale = format!("{left}{right:>width$} mm\n   travel per {BIN_MM} mm; the tallest bar is {tallest}");
    let beyond = outside.words().map_or_else(String::new, |words| format!("\n   outside its travel: {words}"));
    format!("{}\n   {scale}{beyond}", bars.trim_end())
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
        let expected = "  | █▄ |\n   0 40 mm\n   travel per 10 mm; the tallest bar is 1 m";
        assert_eq!(picture(&bins, Reach { from: 0.0, to: 40.0 }), expected);
    }

    #[test]
    fn what_lies_outside_the_travel_is_one_bar_on_its_side_and_words() {
        let bins = Bins(BTreeMap::from([(-3, 250.0), (1, 1000.0), (4, 500.0), (400, 9000.0), (3000, 1000.0)]));
        let expected = " ▂| █  ▄|█\n   0  50 mm\n   travel per 10 mm; the tallest bar is 1 m\n   \
                        outside its travel: 250 mm below 0 mm and 10 m above 45 mm";
        assert_eq!(picture(&bins, Reach { from: 0.0, to: 45.0 }), expected);
        let only_outside = Bins(BTreeMap::from([(400, 9000.0)]));
        assert!(picture(&only_outside, Reach { from: 0.0, to: 45.0 }).starts_with("  |     |█\n"));
    }

    #[test]
    fn a_delta_reaches_to_both_sides_of_its_centre() {
        let build = |name: &str| {
            let (short, text) = upkeep::build::shipped().into_iter().find(|(short, _)| *short == name).unwrap();
            Build::parse(short, text).unwrap()
        };
        let (delta, bed) = (build("delta"), build("moving-bed"));
        let half = delta.travel[0] / 2.0;
        assert_eq!(
            [reach(&delta, Axis::X), reach(&delta, Axis::Z)],
            [Reach { from: -half, to: half }, Reach { from: 0.0, to: delta.travel[2] }]
        );
        assert_eq!(reach(&bed, Axis::Y), Reach { from: 0.0, to: bed.travel[1] });
    }
}
