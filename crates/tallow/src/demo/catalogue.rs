//! What the loft prints on each kind of machine: parts, materials and settings. Invented, in the range of common
//! practice.

use std::collections::BTreeMap;

use motion::{Kinematics, Tool};
use upkeep::{Build, Material};

use super::geometry::{Point, point};
use super::part::Part;
use super::pen::Retraction;
use super::toolpath::{Bed, Piece, Settings, gcode};

/// A program of the demo.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct DemoProgram {
    /// A name for its file.
    pub(crate) file_name: String,
    /// Its text.
    pub(crate) gcode: String,
    /// What each tool prints.
    pub(crate) materials: BTreeMap<Tool, Material>,
}

/// The programs that the loft runs on machines of the shipped build `key`; `build` is that build, read.
///
/// A build that the loft has no machine of has no programs.
pub(crate) fn programs(key: &str, build: &Build) -> Vec<DemoProgram> {
    let Some(stock) = STOCKS.iter().find(|stock| stock.key == key) else { return Vec::new() };
    let bed = bed(build);
    stock.orders.iter().map(|order| program(stock, order, &bed)).collect()
}

/// What the loft keeps for one kind of machine.
struct Stock {
    key: &'static str,
    settings: Settings,
    filaments: &'static [Filament],
    orders: &'static [Order],
}

/// A filament as loaded.
struct Filament {
    tool: Tool,
    name: &'static str,
    nozzle: u16,
    bed: u16,
    chamber: Option<u16>,
    fan: f64,
    filter_fan: f64,
}

/// One file's worth: some copies of a part, `height` mm high, in the filament of that index.
struct Order {
    part: Part,
    n_copies: u8,
    height: f64,
    filament: usize,
    /// The filament of the letters in a name board.
    letters: Option<usize>,
}

const fn order(n_copies: u8, part: Part, height: f64, filament: usize) -> Order {
    Order { part, n_copies, height, filament, letters: None }
}

const fn filament(tool: Tool, name: &'static str, nozzle: u16, bed: u16, fan: f64) -> Filament {
    Filament { tool, name, nozzle, bed, chamber: None, fan, filter_fan: 0.0 }
}

const fn fuming(tool: Tool, name: &'static str, nozzle: u16, bed: u16, chamber: Option<u16>) -> Filament {
    Filament { tool, name, nozzle, bed, chamber, fan: 0.25, filter_fan: 0.4 }
}

/// Settings that the kinds of machine share; temperatures and fans come from the filament.
const COMMON: Settings = Settings {
    layer: 0.3,
    line: 0.48,
    walls: 3,
    solid_layers: 3,
    infill: 0.15,
    wall_speed: 60.0,
    fill_speed: 90.0,
    travel_speed: 180.0,
    wall_acceleration: 1500.0,
    fill_acceleration: 2500.0,
    nozzle: 0,
    bed: 0,
    chamber: None,
    fan: 0.0,
    filter_fan: 0.0,
    retraction: Retraction::Length(0.8, 35.0),
    hop: 0.2,
    absolute_e: false,
    arcs: false,
};

const STOCKS: [Stock; 4] = [
    Stock {
        key: "enclosed-corexy",
        settings: Settings {
            wall_speed: 40.0,
            fill_speed: 65.0,
            travel_speed: 200.0,
            fill_acceleration: 3000.0,
            arcs: true,
            ..COMMON
        },
        filaments: &[
            fuming(0, "ASA", 260, 105, None),
            fuming(1, "ABS", 250, 105, None),
            filament(2, "PA-CF", 285, 100, 0.1),
            fuming(3, "ASA", 260, 105, None),
        ],
        orders: &[
            order(1, Part::HullRib, 27.9, 0),
            order(2, Part::Cleat, 19.5, 0),
            order(1, Part::Fairlead, 21.0, 0),
            order(4, Part::OarCollar, 16.8, 1),
            order(3, Part::BlockCheek, 8.4, 2),
            order(2, Part::RudderPintle, 14.1, 2),
            order(4, Part::TillerKnob, 47.7, 1),
            Order { letters: Some(3), ..order(1, Part::NameBoard, 3.3, 0) },
            order(1, Part::GlandTemplate, 8.4, 1),
            order(1, Part::DeckPlate, 8.4, 2),
            order(1, Part::MastStep, 42.0, 0),
            order(1, Part::HalfModel, 42.0, 1),
        ],
    },
    Stock {
        key: "moving-bed",
        settings: Settings {
            wall_speed: 28.0,
            fill_speed: 42.0,
            travel_speed: 120.0,
            wall_acceleration: 700.0,
            fill_acceleration: 1000.0,
            absolute_e: true,
            ..COMMON
        },
        filaments: &[filament(0, "PLA", 212, 58, 1.0), filament(0, "PETG", 238, 78, 0.5)],
        orders: &[
            order(1, Part::HullRib, 16.8, 0),
            order(1, Part::HalfModel, 36.3, 0),
            order(1, Part::NameBoard, 5.7, 0),
            order(1, Part::ChineTemplate, 6.9, 0),
            order(1, Part::Bollard, 69.9, 1),
            order(1, Part::Fairlead, 18.3, 1),
            order(1, Part::OarCollar, 16.8, 1),
            order(2, Part::TholePin, 56.1, 1),
            order(1, Part::HawsePipe, 42.0, 1),
            order(1, Part::MastStep, 27.9, 0),
            order(1, Part::Cleat, 19.5, 0),
        ],
    },
    Stock {
        key: "rail-corexy",
        settings: Settings {
            wall_speed: 38.0,
            fill_speed: 56.0,
            travel_speed: 300.0,
            wall_acceleration: 2500.0,
            fill_acceleration: 4000.0,
            retraction: Retraction::Firmware,
            arcs: true,
            ..COMMON
        },
        filaments: &[
            Filament { filter_fan: 0.2, ..filament(0, "PETG", 240, 80, 0.5) },
            fuming(0, "ASA", 262, 108, Some(60)),
            Filament { chamber: Some(55), filter_fan: 0.3, ..filament(1, "PA-CF", 288, 100, 0.1) },
            Filament { filter_fan: 0.2, ..filament(1, "PETG-CF", 252, 82, 0.4) },
        ],
        orders: &[
            order(1, Part::HullRib, 42.0, 0),
            order(1, Part::HalfModel, 56.1, 1),
            Order { letters: Some(3), ..order(1, Part::NameBoard, 3.3, 0) },
            order(2, Part::RudderPintle, 14.1, 2),
            order(4, Part::BlockCheek, 8.4, 2),
            order(3, Part::DeckPlate, 8.4, 1),
            order(2, Part::GlandTemplate, 14.1, 0),
            order(4, Part::Bollard, 69.9, 0),
            order(3, Part::Cleat, 19.5, 3),
            order(4, Part::OarCollar, 16.8, 1),
            order(2, Part::ChineTemplate, 8.4, 3),
        ],
    },
    Stock {
        key: "delta",
        settings: Settings {
            wall_speed: 32.0,
            fill_speed: 50.0,
            travel_speed: 150.0,
            fill_acceleration: 2000.0,
            retraction: Retraction::Length(4.5, 40.0),
            hop: 0.4,
            absolute_e: true,
            arcs: true,
            ..COMMON
        },
        filaments: &[filament(0, "PLA", 210, 58, 1.0), filament(0, "PETG", 236, 76, 0.5)],
        orders: &[
            order(3, Part::Bollard, 111.9, 0),
            order(3, Part::TillerKnob, 47.7, 0),
            order(4, Part::TholePin, 84.0, 1),
            order(1, Part::HalfModel, 36.3, 0),
            order(1, Part::HullRib, 16.8, 0),
            order(1, Part::DeckPlate, 8.4, 1),
            order(2, Part::OarCollar, 16.8, 1),
            order(1, Part::Fairlead, 19.5, 0),
            order(1, Part::GlandTemplate, 11.1, 0),
            order(2, Part::BlockCheek, 9.9, 1),
            order(1, Part::MastStep, 36.3, 0),
        ],
    },
];

fn bed(build: &Build) -> Bed {
    let [x, y, _] = build.travel;
    let centred = matches!(build.machine.kinematics, Kinematics::Delta { .. });
    let fan = |names: [&str; 2]| build.fans.iter().position(|fan| names.contains(&fan.as_str()));
    Bed {
        middle: if centred { point(0.0, 0.0) } else { point(x / 2.0, y / 2.0) },
        purge: point(-20.0, if centred { 14.0 - y / 2.0 } else { 8.0 - y / 2.0 }),
        filament_diameter: build.machine.drive.filament_diameter,
        hot_end_fan: fan(["hot end", "hot ends"]),
        filter_fan: fan(["filter", "chamber"]),
    }
}

fn program(stock: &Stock, order: &Order, bed: &Bed) -> DemoProgram {
    let filament = &stock.filaments[order.filament];
    let settings = Settings {
        nozzle: filament.nozzle,
        bed: filament.bed,
        chamber: filament.chamber,
        fan: filament.fan,
        filter_fan: filament.filter_fan,
        ..stock.settings
    };
    let mut materials = BTreeMap::from([(filament.tool, Material::new(filament.name))]);
    let mut pieces = arranged(order, filament.tool);
    if let Some(letters) = order.letters.map(|index| &stock.filaments[index]) {
        materials.insert(letters.tool, Material::new(letters.name));
        pieces.push(Piece { part: Part::Letters, tool: letters.tool, ..pieces[0] });
    }
    let title = title(order, &materials);
    let file_name = format!("{}.gcode", title.replace([' ', ','], "-").replace("--", "-").to_lowercase());
    DemoProgram { file_name, gcode: gcode(&title, &pieces, &settings, bed), materials }
}

fn title(order: &Order, materials: &BTreeMap<Tool, Material>) -> String {
    let names: Vec<&str> = materials.values().map(Material::name).collect();
    let copies = if order.n_copies == 1 { String::new() } else { format!(" {} pieces", order.n_copies) };
    format!("{}{copies}, {}", order.part.name(), names.join(" "))
}

/// Room between pieces, mm.
const GAP: f64 = 6.0;

/// The order's copies in rows and columns around the middle of the bed, in as compact a field as goes.
fn arranged(order: &Order, tool: Tool) -> Vec<Piece> {
    let (low, high) = extent(order.part);
    let (width, depth) = (high.x - low.x + GAP, high.y - low.y + GAP);
    let n = u32::from(order.n_copies);
    let side = |columns: &u32| (f64::from(*columns) * width).max(f64::from(n.div_ceil(*columns)) * depth);
    let columns = (1..=n).min_by(|a, b| side(a).total_cmp(&side(b))).unwrap_or(1);
    let rows = n.div_ceil(columns);
    let centre = |index: u32, count: u32, pitch: f64| (f64::from(index) - f64::from(count - 1) / 2.0) * pitch;
    (0..n)
        .map(|i| {
            let cell = point(centre(i % columns, columns, width), centre(i / columns, rows, depth));
            let at = point(cell.x - (low.x + high.x) / 2.0, cell.y - (low.y + high.y) / 2.0);
            Piece { part: order.part, at, height: order.height, tool }
        })
        .collect()
}

/// The lower left and upper right corner of everything that a part's sections cover.
fn extent(part: Part) -> (Point, Point) {
    let corners: Vec<Point> =
        (0..=10).flat_map(|i| part.section(f64::from(i) / 10.0)).flat_map(|contour| contour.corners()).collect();
    let fold = |start: f64, pick: fn(f64, f64) -> f64| {
        corners.iter().fold(point(start, start), |sum, p| point(pick(sum.x, p.x), pick(sum.y, p.y)))
    };
    (fold(f64::INFINITY, f64::min), fold(f64::NEG_INFINITY, f64::max))
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::super::tests::builds;
    use super::*;

    /// The numbers after `letter` in moves that print.
    fn printed(gcode: &str, letter: char) -> Vec<f64> {
        let prints = gcode.lines().filter(|line| line.starts_with('G') && line.contains(" X") && line.contains(" E"));
        prints.filter_map(|line| line.split(' ').find_map(|word| word.strip_prefix(letter)?.parse().ok())).collect()
    }

    #[test]
    fn every_printed_line_lies_within_the_travel() {
        for (key, build) in builds() {
            let [width, depth, height] = build.travel;
            for program in programs(key, &build) {
                let (xs, ys) = (printed(&program.gcode, 'X'), printed(&program.gcode, 'Y'));
                for (x, y) in xs.iter().zip(&ys) {
                    let inside = match build.machine.kinematics {
                        Kinematics::Delta { .. } => x.hypot(*y) < width / 2.0 - 3.0,
                        _ => (3.0..width - 3.0).contains(x) && (3.0..depth - 3.0).contains(y),
                    };
                    assert!(inside, "{key}, {}: {x} {y}", program.file_name);
                }
                let zs =
                    program.gcode.lines().filter_map(|line| line.strip_prefix("G1 Z")?.split(' ').next()?.parse().ok());
                assert!(zs.fold(0.0, f64::max) < height, "{key}, {}", program.file_name);
            }
        }
    }

    #[test]
    fn each_build_has_enough_programs_with_names_of_their_own_and_known_materials() {
        for (key, build) in builds() {
            let programs = programs(key, &build);
            assert!((10..=14).contains(&programs.len()), "{key}");
            let names: BTreeSet<&str> = programs.iter().map(|program| program.file_name.as_str()).collect();
            assert_eq!(names.len(), programs.len(), "{key}");
            for material in programs.iter().flat_map(|program| program.materials.values()) {
                assert!(upkeep::Materials::built_in().get(material.name()).is_some(), "{material}");
            }
        }
    }

    #[test]
    fn all_programs_together_stay_small_and_are_made_the_same_each_time() {
        let all = || builds().into_iter().flat_map(|(key, build)| programs(key, &build)).collect::<Vec<_>>();
        let first = all();
        let bytes: usize = first.iter().map(|program| program.gcode.len()).sum();
        assert!(bytes < 40_000_000, "{bytes}");
        assert_eq!(first, all());
    }

    #[test]
    fn an_unknown_build_has_no_programs() {
        let (_, build) = builds().remove(0);
        assert!(programs("no such build", &build).is_empty());
    }
}
