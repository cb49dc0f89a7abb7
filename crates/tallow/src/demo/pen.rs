//! Writes G-code (RS-274) words for one nozzle's moves: keeps the place, the feed rate and the filament, and leaves out
//! what has not changed.

use std::f64::consts::PI;
use std::fmt::Write;

use super::geometry::{Point, point};

/// How filament is held back on a travel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Retraction {
    /// The file pulls it back, mm at mm/s.
    Length(f64, f64),
    /// The machine does (G10, G11).
    Firmware,
}

/// How the pen writes; fixed for a file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Style {
    /// Filament positions count from the start (M82) and not from the last (M83).
    pub(super) absolute_e: bool,
    /// How filament is held back.
    pub(super) retraction: Retraction,
    /// How far the nozzle lifts on a travel, mm.
    pub(super) hop: f64,
    /// Speed of travels, mm/s.
    pub(super) travel_speed: f64,
    /// Filament diameter, mm.
    pub(super) filament_diameter: f64,
}

/// Travels shorter than this keep the filament where it is, mm: it has no time to ooze.
const SHORT_TRAVEL: f64 = 5.0;

/// Speed of lifts, mm/s; screws are slow.
const LIFT_SPEED: f64 = 10.0;

/// A file being written.
#[derive(Clone, Debug)]
pub(super) struct Pen {
    out: String,
    style: Style,
    at: Point,
    /// Filament fed since the last G92, mm.
    fed: f64,
    feed: i64,
    acceleration: i64,
}

impl Pen {
    /// An empty file.
    pub(super) fn new(style: Style) -> Pen {
        Pen { out: String::new(), style, at: point(0.0, 0.0), fed: 0.0, feed: 0, acceleration: 0 }
    }

    /// The file so far.
    pub(super) fn into_text(self) -> String {
        self.out
    }

    /// Writes a line as it stands.
    pub(super) fn line(&mut self, line: &str) {
        self.out.push_str(line);
        self.out.push('\n');
    }

    /// Sets the acceleration of printing moves, mm/s², if it is not in force.
    pub(super) fn accelerate(&mut self, acceleration: f64) {
        let rounded = acceleration.round() as i64;
        if self.acceleration != rounded {
            self.acceleration = rounded;
            self.line(&format!("M204 P{rounded}"));
        }
    }

    /// Starts counting filament from zero, which keeps absolute positions short.
    pub(super) fn zero_filament(&mut self) {
        if self.style.absolute_e {
            self.fed = 0.0;
            self.line("G92 E0");
        }
    }

    /// Lifts or lowers the nozzle to `z`.
    pub(super) fn height(&mut self, z: f64) {
        self.out.push_str("G1");
        word(&mut self.out, 'Z', z, 3);
        self.feed_word(LIFT_SPEED);
        self.out.push('\n');
    }

    /// Moves to `to` without printing, at height `z`: short hops as they are, long ones with the filament held back and
    /// the nozzle lifted.
    pub(super) fn travel(&mut self, to: Point, z: f64) {
        let distance = self.at.distance(to);
        if distance < 0.001 {
            return;
        }
        if distance < SHORT_TRAVEL {
            return self.go(to);
        }
        self.hold_back();
        self.height(z + self.style.hop);
        self.go(to);
        self.height(z);
        self.give_back();
    }

    fn go(&mut self, to: Point) {
        self.out.push_str("G0");
        self.target(to);
        self.feed_word(self.style.travel_speed);
        self.out.push('\n');
    }

    /// Prints a straight line to `to`, with `section` mm² of material, at `speed` mm/s.
    pub(super) fn print(&mut self, to: Point, section: f64, speed: f64) {
        let length = self.at.distance(to);
        self.out.push_str("G1");
        self.target(to);
        self.finish_print(length * section, speed);
    }

    /// Prints a full circle around `centre`, as two half circles (G2, G3).
    pub(super) fn print_circle(&mut self, centre: Point, clockwise: bool, section: f64, speed: f64) {
        for _ in 0..2 {
            let i = point(centre.x - self.at.x, centre.y - self.at.y);
            let length = PI * self.at.distance(centre);
            self.out.push_str(if clockwise { "G2" } else { "G3" });
            self.target(centre.plus(i));
            word(&mut self.out, 'I', i.x, 3);
            word(&mut self.out, 'J', i.y, 3);
            self.finish_print(length * section, speed);
        }
    }

    fn target(&mut self, to: Point) {
        word(&mut self.out, 'X', to.x, 3);
        word(&mut self.out, 'Y', to.y, 3);
        self.at = to;
    }

    fn finish_print(&mut self, volume: f64, speed: f64) {
        let filament = volume / (PI / 4.0 * self.style.filament_diameter.powi(2));
        self.filament_word(filament);
        self.feed_word(speed);
        self.out.push('\n');
    }

    /// Pulls the filament back.
    pub(super) fn hold_back(&mut self) {
        match self.style.retraction {
            Retraction::Length(length, speed) => self.filament(-length, speed),
            Retraction::Firmware => self.line("G10"),
        }
    }

    /// Pushes the filament forward again.
    pub(super) fn give_back(&mut self) {
        match self.style.retraction {
            Retraction::Length(length, speed) => self.filament(length, speed),
            Retraction::Firmware => self.line("G11"),
        }
    }

    fn filament(&mut self, length: f64, speed: f64) {
        self.out.push_str("G1");
        self.filament_word(length);
        self.feed_word(speed);
        self.out.push('\n');
    }

    fn filament_word(&mut self, length: f64) {
        self.fed += length;
        let value = if self.style.absolute_e { self.fed } else { length };
        word(&mut self.out, 'E', value, 5);
    }

    /// The feed rate, which G-code gives in mm per minute.
    fn feed_word(&mut self, speed: f64) {
        let feed = (speed * 60.0).round() as i64;
        if self.feed != feed {
            self.feed = feed;
            write!(self.out, " F{feed}").expect("writing to a string can't fail");
        }
    }
}

/// Appends ` X12.34`: a letter and a number without needless zeros. Written by hand because a file holds a hundred
/// thousand of them.
fn word(out: &mut String, letter: char, value: f64, decimals: u32) {
    let scale = 10_i64.pow(decimals);
    let scaled = (value * scale as f64).round() as i64;
    let sign = if scaled < 0 { "-" } else { "" };
    let (whole, fraction) = (scaled.abs() / scale, scaled.abs() % scale);
    write!(out, " {letter}{sign}{whole}").expect("writing to a string can't fail");
    if fraction != 0 {
        write!(out, ".{fraction:0width$}", width = decimals as usize).expect("writing to a string can't fail");
        out.truncate(out.trim_end_matches('0').len());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(value: f64, expected: &str) {
        let mut out = String::new();
        word(&mut out, 'X', value, 3);
        assert_eq!(out, format!(" X{expected}"));
    }

    #[test]
    fn numbers_are_rounded_and_bare() {
        check(12.0, "12");
        check(-0.05, "-0.05");
        check(100.0, "100");
        check(1.234_56, "1.235");
        check(-0.000_4, "0");
    }

    fn pen(absolute_e: bool, retraction: Retraction) -> Pen {
        Pen::new(Style { absolute_e, retraction, hop: 0.2, travel_speed: 200.0, filament_diameter: 1.75 })
    }

    #[test]
    fn relative_and_absolute_filament_say_the_same() {
        let words = |absolute_e| {
            let mut pen = pen(absolute_e, Retraction::Length(0.8, 35.0));
            pen.print(point(10.0, 0.0), 0.09, 80.0);
            pen.print(point(20.0, 0.0), 0.09, 80.0);
            pen.into_text()
        };
        // 10 mm × 0.09 mm² / (π/4 × 1.75² mm²) = 0.37418 mm.
        assert_eq!(words(false), "G1 X10 Y0 E0.37418 F4800\nG1 X20 Y0 E0.37418\n");
        assert_eq!(words(true), "G1 X10 Y0 E0.37418 F4800\nG1 X20 Y0 E0.74835\n");
    }

    #[test]
    fn a_long_travel_holds_the_filament_back_and_lifts() {
        let mut pen = pen(false, Retraction::Firmware);
        pen.travel(point(3.0, 0.0), 0.4);
        pen.travel(point(30.0, 0.0), 0.4);
        assert_eq!(pen.into_text(), "G0 X3 Y0 F12000\nG10\nG1 Z0.6 F600\nG0 X30 Y0 F12000\nG1 Z0.4 F600\nG11\n");
    }

    #[test]
    fn a_circle_comes_back_to_its_start_with_the_filament_of_its_length() {
        let mut pen = pen(false, Retraction::Firmware);
        pen.travel(point(4.0, 0.0), 0.2);
        pen.print_circle(point(0.0, 0.0), false, 0.1, 50.0);
        // Half the circle: π · 4 mm · 0.1 mm² / (π/4 × 1.75² mm²) = 0.52245 mm.
        assert!(pen.into_text().contains("G3 X-4 Y0 I-4 J0 E0.52245 F3000\nG3 X4 Y0 I4 J0 E0.52245\n"));
    }
}
