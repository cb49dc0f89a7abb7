//! From parts to G-code: walls, line infill, solid bottom and top, travels, heating up and cooling down.
//!
//! General geometry and nothing clever: a layer is the part's section; walls are insets of its contours by half a line,
//! one and a half, and so on; what is left inside is filled with parallel lines. A line `w` wide in a layer `h` high
//! carries `w · h` mm² of material, so the filament used can be checked against areas.

use super::geometry::{Contour, Point, hatch, point, to_and_fro};
use super::part::Part;
use super::pen::{Pen, Retraction, Style};

/// A part placed on the bed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    /// What it is.
    pub(super) part: Part,
    /// Where its middle stands, from the middle of the bed, mm.
    pub(super) at: Point,
    /// Its height, mm.
    pub(super) height: f64,
    /// The tool that prints it.
    pub(super) tool: u8,
}

/// How a material is printed on a machine. Lengths in mm, speeds in mm/s, accelerations in mm/s², temperatures in °C.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Settings {
    /// Layer height.
    pub(super) layer: f64,
    /// Line width.
    pub(super) line: f64,
    /// Number of walls.
    pub(super) walls: u8,
    /// Number of solid layers at the bottom and at the top.
    pub(super) solid_layers: u32,
    /// Share of the inside that is filled elsewhere.
    pub(super) infill: f64,
    /// Speed of walls.
    pub(super) wall_speed: f64,
    /// Speed of infill.
    pub(super) fill_speed: f64,
    /// Speed of travels.
    pub(super) travel_speed: f64,
    /// Acceleration of walls.
    pub(super) wall_acceleration: f64,
    /// Acceleration of infill.
    pub(super) fill_acceleration: f64,
    /// Nozzle temperature.
    pub(super) nozzle: u16,
    /// Bed temperature.
    pub(super) bed: u16,
    /// Chamber temperature, where the machine heats its chamber.
    pub(super) chamber: Option<u16>,
    /// Duty of the part fan from the second layer, 0 to 1.
    pub(super) fan: f64,
    /// Duty of the filter's fan while printing, 0 to 1.
    pub(super) filter_fan: f64,
    /// How filament is held back.
    pub(super) retraction: Retraction,
    /// Lift on travels.
    pub(super) hop: f64,
    /// Absolute filament positions.
    pub(super) absolute_e: bool,
    /// Round contours as arcs.
    pub(super) arcs: bool,
}

/// What the toolpath must know of the machine. Lengths in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bed {
    /// The middle of the bed in machine coordinates.
    pub(super) middle: Point,
    /// Where purge lines begin, from the middle.
    pub(super) purge: Point,
    /// Filament diameter.
    pub(super) filament_diameter: f64,
    /// The fan that cools the hot end, if it has a number.
    pub(super) hot_end_fan: Option<usize>,
    /// The fan that draws the chamber's air through the filter, if there is one.
    pub(super) filter_fan: Option<usize>,
}

/// Length of a purge line, mm.
const PURGE_LENGTH: f64 = 40.0;

/// The G-code that prints `pieces`. `title` is the comment at the top.
pub(super) fn gcode(title: &str, pieces: &[Piece], settings: &Settings, bed: &Bed) -> String {
    let mut job = Job::new(pieces, settings, bed);
    job.start(title);
    let tallest = pieces.iter().map(|piece| job.layers(piece)).max().unwrap_or(0);
    for layer in 0..tallest {
        job.layer(layer);
    }
    job.finish(f64::from(tallest) * settings.layer);
    job.pen.into_text()
}

/// One file being made.
struct Job<'a> {
    pen: Pen,
    pieces: &'a [Piece],
    settings: &'a Settings,
    bed: &'a Bed,
    tools: Vec<u8>,
    tool: u8,
    n_purges: u32,
}

impl<'a> Job<'a> {
    fn new(pieces: &'a [Piece], settings: &'a Settings, bed: &'a Bed) -> Job<'a> {
        let pen = Pen::new(Style {
            absolute_e: settings.absolute_e,
            retraction: settings.retraction,
            hop: settings.hop,
            travel_speed: settings.travel_speed,
            filament_diameter: bed.filament_diameter,
        });
        let mut tools: Vec<u8> = pieces.iter().map(|piece| piece.tool).collect();
        tools.sort_unstable();
        tools.dedup();
        let tool = tools.first().copied().unwrap_or(0);
        Job { pen, pieces, settings, bed, tools, tool, n_purges: 0 }
    }

    fn layers(&self, piece: &Piece) -> u32 {
        (piece.height / self.settings.layer).round() as u32
    }

    /// Heats up, homes, purges.
    fn start(&mut self, title: &str) {
        let Settings { nozzle, bed, chamber, absolute_e, .. } = *self.settings;
        self.pen.line(&format!("; {title}"));
        self.pen.line("; invented part, generated toolpath");
        self.pen.line("G21\nG90");
        self.pen.line(if absolute_e { "M82" } else { "M83" });
        self.pen.line(&format!("T{}", self.tool));
        self.pen.line(&format!("M140 S{bed}\nG28\nM190 S{bed}"));
        if let Some(chamber) = chamber {
            // Soak the chamber for ten minutes before the nozzle is heated.
            self.pen.line(&format!("M141 S{chamber}\nG4 S600"));
        }
        self.fan(self.bed.hot_end_fan, 1.0);
        for tool in self.tools.clone().into_iter().rev() {
            self.pen.line(&format!("T{tool}\nM109 S{nozzle}"));
        }
        self.pen.line(&format!("M204 T{}", self.settings.fill_acceleration.round()));
        self.pen.zero_filament();
        self.pen.height(5.0);
        self.purge(5.0);
        self.fan(self.bed.filter_fan, self.settings.filter_fan);
    }

    fn fan(&mut self, fan: Option<usize>, duty: f64) {
        if let Some(fan) = fan {
            self.pen.line(&format!("M106 P{fan} S{}", (duty * 255.0).round()));
        }
    }

    /// Puts a line down at the front of the bed, where nothing stands; each purge has a lane of its own. At height
    /// `clear` the nozzle passes above everything printed so far.
    fn purge(&mut self, clear: f64) {
        let lane = 1.5 * f64::from(self.n_purges);
        let from = self.bed.middle.plus(self.bed.purge).plus(point(0.0, lane));
        let z = self.settings.layer.max(0.25);
        self.pen.travel(from, clear);
        self.pen.height(z);
        self.pen.print(from.plus(point(PURGE_LENGTH, 0.0)), 0.8 * z, 20.0);
        self.pen.height(clear);
        self.n_purges += 1;
    }

    fn layer(&mut self, layer: u32) {
        let z = f64::from(layer + 1) * self.settings.layer;
        self.pen.zero_filament();
        if layer == 1 {
            self.fan(Some(0), self.settings.fan);
        }
        self.pen.height(z);
        // The tool in use goes first, so that each layer changes tools once at most per further tool.
        let mut tools = self.tools.clone();
        tools.sort_by_key(|tool| *tool != self.tool);
        for tool in tools {
            let due: Vec<Piece> =
                self.pieces.iter().filter(|p| p.tool == tool && layer < self.layers(p)).copied().collect();
            if !due.is_empty() {
                self.change_to(tool, z);
            }
            for piece in due {
                self.piece(&piece, layer, z);
            }
        }
    }

    fn change_to(&mut self, tool: u8, z: f64) {
        if tool == self.tool {
            return;
        }
        self.tool = tool;
        self.pen.hold_back();
        self.pen.height(z + 5.0);
        self.pen.line(&format!("T{tool}"));
        self.pen.give_back();
        self.purge(z + 5.0);
        self.pen.height(z);
    }

    fn piece(&mut self, piece: &Piece, layer: u32, z: f64) {
        let n_layers = self.layers(piece);
        let at = self.bed.middle.plus(piece.at);
        let share = f64::from(layer) / f64::from(n_layers.max(2) - 1);
        let section: Vec<Contour> = piece.part.section(share).iter().map(|contour| contour.moved(at)).collect();
        let slow = if layer == 0 { 0.5 } else { 1.0 };
        self.pen.accelerate(self.settings.wall_acceleration);
        for contour in &section {
            self.walls(contour, z, slow * self.settings.wall_speed);
        }
        let solid = layer < self.settings.solid_layers || n_layers <= layer + self.settings.solid_layers;
        let angle = std::f64::consts::FRAC_PI_4 * if layer.is_multiple_of(2) { 1.0 } else { 3.0 };
        self.pen.accelerate(self.settings.fill_acceleration);
        self.fill(&section, if solid { 1.0 } else { self.settings.infill }, angle, z, slow * self.settings.fill_speed);
    }

    /// The walls of one contour, from the inside out, so that the outermost rests against the others.
    fn walls(&mut self, contour: &Contour, z: f64, speed: f64) {
        let Settings { line, layer, walls, arcs, .. } = *self.settings;
        for wall in (0..walls).rev() {
            let path = contour.inset((f64::from(wall) + 0.5) * line);
            match path {
                Contour::Circle { centre, radius, hole } if arcs => {
                    self.pen.travel(centre.plus(point(radius, 0.0)), z);
                    self.pen.print_circle(centre, hole, line * layer, speed);
                }
                _ => self.closed(&path.corners(), z, speed),
            }
        }
    }

    fn closed(&mut self, corners: &[Point], z: f64, speed: f64) {
        let section = self.settings.line * self.settings.layer;
        self.pen.travel(corners[0], z);
        for corner in corners.iter().skip(1).chain(&corners[..1]) {
            self.pen.print(*corner, section, speed);
        }
    }

    fn fill(&mut self, section: &[Contour], share: f64, angle: f64, z: f64, speed: f64) {
        let Settings { line, layer, walls, .. } = *self.settings;
        let inside: Vec<Contour> = section.iter().map(|contour| contour.inset(f64::from(walls) * line)).collect();
        let spacing = line / share;
        for segment in to_and_fro(hatch(&inside, angle, spacing), 3.0 * spacing) {
            self.pen.travel(segment.from, z);
            self.pen.print(segment.to, line * layer, speed);
        }
    }

    /// Clears the part, parks, switches everything off and lets the fans run on.
    fn finish(&mut self, top: f64) {
        self.pen.hold_back();
        self.pen.height(top + 10.0);
        for tool in self.tools.clone() {
            self.pen.line(&format!("M104 T{tool} S0"));
        }
        self.pen.line("M140 S0");
        if self.settings.chamber.is_some() {
            self.pen.line("M141 S0");
        }
        self.pen.line("G28 X0 Y0\nG4 S120\nM107");
        self.fan(self.bed.hot_end_fan, 0.0);
        self.fan(self.bed.filter_fan, 0.0);
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use motion::{Machine, Options, Quantity, meter_reader};

    use super::*;

    fn settings() -> Settings {
        Settings {
            layer: 0.2,
            line: 0.45,
            walls: 3,
            solid_layers: 4,
            infill: 0.2,
            wall_speed: 60.0,
            fill_speed: 100.0,
            travel_speed: 200.0,
            wall_acceleration: 1500.0,
            fill_acceleration: 3000.0,
            nozzle: 215,
            bed: 60,
            chamber: None,
            fan: 1.0,
            filter_fan: 0.0,
            retraction: Retraction::Length(0.8, 35.0),
            hop: 0.2,
            absolute_e: false,
            arcs: false,
        }
    }

    fn bed() -> Bed {
        Bed {
            middle: point(125.0, 125.0),
            purge: point(-20.0, -115.0),
            filament_diameter: 1.75,
            hot_end_fan: Some(1),
            filter_fan: None,
        }
    }

    /// Volume that a piece should take, mm³: area × height, the inside at its share of infill.
    fn expected_volume(piece: &Piece, settings: &Settings) -> f64 {
        let n_layers = (piece.height / settings.layer).round() as u32;
        let depth = f64::from(settings.walls) * settings.line;
        (0..n_layers)
            .map(|layer| {
                let section = piece.part.section(f64::from(layer) / f64::from(n_layers - 1));
                let area: f64 = section.iter().map(Contour::area).sum();
                let inside: f64 = section.iter().map(|contour| contour.inset(depth).area()).sum();
                let solid = layer < settings.solid_layers || n_layers <= layer + settings.solid_layers;
                settings.layer * (area - inside + inside * if solid { 1.0 } else { settings.infill })
            })
            .sum()
    }

    /// The volume of filament that a file uses, mm³.
    fn metered_volume(text: &str) -> f64 {
        let metered = meter_reader(text.as_bytes(), &Machine::default(), Options::default()).expect("it prints");
        assert_eq!((metered.report.warnings_total, metered.report.unknown.len()), (0, 0), "{:?}", metered.report);
        metered.duty.total()[Quantity::FilamentVolume] * 1e9
    }

    #[test]
    fn filament_used_is_area_by_height_by_infill_for_every_part() {
        for (part, arcs) in Part::ALL.iter().flat_map(|part| [(*part, false), (*part, true)]) {
            let piece = Piece { part, at: point(0.0, 0.0), height: 8.0, tool: 0 };
            let settings = Settings { arcs, ..settings() };
            let purge = PURGE_LENGTH * 0.8 * 0.25;
            let volume = metered_volume(&gcode("part", &[piece], &settings, &bed())) - purge;
            let expected = expected_volume(&piece, &settings);
            // Sparse lines over an area few lines wide: up to half a line too much or too little per layer.
            assert!((volume / expected - 1.0).abs() < 0.03, "{}: {volume} of {expected} mm³", part.name());
        }
    }

    #[test]
    fn a_file_heats_before_it_prints_and_is_cold_at_its_end() {
        let piece = Piece { part: Part::OarCollar, at: point(0.0, 0.0), height: 2.0, tool: 0 };
        let text = gcode("collar", &[piece], &settings(), &bed());
        let line = |what: &str| text.lines().position(|line| line.starts_with(what)).expect(what);
        assert!(line("M109 S215") < line("G1 X"));
        assert!(line("G28") < line("G1 X"));
        let last_print = text.lines().count() - text.lines().rev().position(|line| line.starts_with("G1 X")).unwrap();
        assert!(last_print < line("M104 T0 S0") && last_print < line("M140 S0"));
    }

    #[test]
    fn two_tools_change_once_a_layer_and_each_purge_has_its_lane() {
        let board = Piece { part: Part::NameBoard, at: point(0.0, 0.0), height: 2.0, tool: 0 };
        let letters = Piece { part: Part::Letters, tool: 1, ..board };
        let text = gcode("board", &[board, letters], &settings(), &bed());
        // T0 to begin with, T1 and T0 to heat, then one change in each of ten layers.
        let changes = text.lines().filter(|line| line.starts_with('T')).count();
        assert_eq!(changes, 3 + 10);
        let lanes: BTreeSet<&str> = text.lines().filter(|line| line.starts_with("G1 X145 Y")).collect();
        assert_eq!(lanes.len(), 1 + 10);
    }
}
