//! What the meter says of one file: counts, lengths in mm as G-code speaks, times in s.
//!
//! These numbers follow fixed conventions (see `docs/METERING.md`) whatever the machine, so that they can be compared
//! with another meter's; what the machine's parts went through is in [`Duty`](crate::Duty).

use std::collections::BTreeMap;

use crate::duty::Tool;
use crate::machine::Corner;

/// The numbers of one file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    /// Lines; the last one counts also if it has no end.
    pub lines: u64,
    /// Bytes.
    pub bytes: u64,
    /// G0 to G3 lines carried out, also those that move nothing.
    pub motion_commands: u64,
    /// G0 lines carried out.
    pub g0: u64,
    /// G1 lines carried out.
    pub g1: u64,
    /// G2 lines carried out.
    pub g2: u64,
    /// G3 lines carried out.
    pub g3: u64,
    /// G28 lines.
    pub g28: u64,
    /// G10 lines that are retractions, carried out or not.
    pub g10: u64,
    /// G11 lines, carried out or not.
    pub g11: u64,
    /// Changes to another tool.
    pub toolchanges: u64,
    /// Lines with a command that the meter does not know.
    pub unknown_commands: u64,
    /// The commands that the meter does not know, and how often each came; of many different ones the first.
    pub unknown: BTreeMap<String, u64>,
    /// Lines that could not be read or carried out.
    pub skipped_lines: u64,
    /// Moves with any motion, firmware retractions included.
    pub blocks: u64,
    /// Arcs.
    pub arcs: u64,
    /// Travel of X, Y and Z, both ways.
    pub travel_mm: PerXyz<f64>,
    /// Travel of the two motors of a CoreXY, whatever this machine's kinematics.
    pub corexy_motor_mm: PerMotor<f64>,
    /// Length of the path seen from above.
    pub path_xy_mm: f64,
    /// How often each axis turned round.
    pub reversals: Reversals,
    /// The same for X, Y, A and B, but where the way back stays within [`DEAD_BAND_MM`](crate::DEAD_BAND_MM) it does not
    /// count.
    pub reversals_dead_band: ReversalsDeadBand,
    /// Filament of all tools.
    pub filament_mm: Filament,
    /// Filament of each tool that moved any.
    pub filament_per_tool_mm: BTreeMap<Tool, Filament>,
    /// What each tool has pulled back and not pushed forward again.
    pub retracted_at_end_mm: BTreeMap<Tool, f64>,
    /// Dwells (G4).
    pub dwell_s: f64,
    /// Times; all zero if the meter was told not to time.
    pub time: Times,
    /// How often the look-ahead was full, so that a time is an upper estimate. Zero for every real file.
    pub planned_short: u64,
    /// Whether the last line has no end: the file may have been cut.
    pub ends_mid_line: bool,
    /// What a keeper should know of, in the file's order; of very many the first.
    pub warnings: Vec<Warning>,
    /// How many warnings there were.
    pub warnings_total: u64,
}

/// A value for each of X, Y and Z.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PerXyz<T> {
    /// X.
    pub x: T,
    /// Y.
    pub y: T,
    /// Z.
    pub z: T,
}

/// A value for each motor of a CoreXY.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PerMotor<T> {
    /// x + y.
    pub a: T,
    /// x − y.
    pub b: T,
}

/// Counts of turning round.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reversals {
    /// Of X.
    pub x: u64,
    /// Of Y.
    pub y: u64,
    /// Of Z.
    pub z: u64,
    /// Of a CoreXY's motor a.
    pub a: u64,
    /// Of a CoreXY's motor b.
    pub b: u64,
    /// Of the extruders, each for itself, summed.
    pub e: u64,
}

/// Counts of turning round by more than a dead band.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ReversalsDeadBand {
    /// Of X.
    pub x: u64,
    /// Of Y.
    pub y: u64,
    /// Of a CoreXY's motor a.
    pub a: u64,
    /// Of a CoreXY's motor b.
    pub b: u64,
}

/// Filament moved.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Filament {
    /// Forward less back, mm.
    pub net: f64,
    /// Pushed forward, mm.
    pub forward: f64,
    /// Pulled back, mm.
    pub retracted: f64,
    /// Pulls; several in a row are one.
    pub retractions: u64,
    /// How often the extruder turned round.
    pub reversals: u64,
}

impl Filament {
    /// Adds another extruder's filament.
    pub(crate) fn add(&mut self, other: &Filament) {
        self.net += other.net;
        self.forward += other.forward;
        self.retracted += other.retracted;
        self.retractions += other.retractions;
        self.reversals += other.reversals;
    }
}

/// Times, s.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Times {
    /// Motion and dwells.
    pub total_s: f64,
    /// Motion.
    pub motion_s: f64,
    /// While a tool's target is at or above 180 °C.
    pub hot_s: BTreeMap<Tool, f64>,
    /// While any tool's is.
    pub any_nozzle_hot_s: f64,
    /// While the bed has a target.
    pub bed_on_s: f64,
    /// While each fan runs.
    pub fan_on_s: BTreeMap<u8, f64>,
    /// The same, each second weighted by the fan's duty.
    pub fan_duty_s: BTreeMap<u8, f64>,
    /// The corner rule by which the times were found.
    pub corner: Corner,
}

/// Something in the file that a keeper should know of.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Warning {
    /// The line, counted from 1.
    pub line: u64,
    /// The column, in bytes, counted from 1.
    pub column: u32,
    /// What was found, and what was expected or done.
    pub what: String,
}
