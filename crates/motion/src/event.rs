//! What the program's moves tell the clock.

use crate::duty::Tool;
use crate::machine::Limits;

/// One event, in the program's order.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Event {
    /// An arc or helix.
    Arc(Move, Bend),
    /// Standing still for some seconds; the line that says so.
    Dwell(f64, u64),
    /// Motion comes to rest.
    Stop,
    /// Something is switched.
    Change(Change),
    /// Other limits from here on.
    Limits(Limits),
}

/// A straight move, one of the extruder alone, or what an arc has in common with them.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Move {
    /// X, Y, Z and E, mm. Of an arc only Z and E are looked at.
    pub(crate) delta: [f64; 4],
    /// Length of the path, or of the filament if nothing else moves, mm.
    pub(crate) length: f64,
    /// Whether X, Y or Z moves.
    pub(crate) travels: bool,
    /// Commanded speed, mm/s.
    pub(crate) speed: f64,
    /// The line, counted from 1.
    pub(crate) line: u64,
}

/// What an arc adds to a move.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bend {
    /// Radius, mm.
    pub(crate) radius: f64,
    /// Length in the XY plane, mm.
    pub(crate) flat: f64,
    /// Direction in the XY plane at the start.
    pub(crate) leaves: [f64; 2],
    /// Direction in the XY plane at the end.
    pub(crate) arrives: [f64; 2],
}

/// A change of what is on, which acts exactly between the moves before and after it.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Change {
    /// Another tool is active.
    Tool(Tool),
    /// A nozzle's target, °C.
    Nozzle(Tool, f64),
    /// The bed's target, °C.
    Bed(f64),
    /// The chamber's target, °C.
    Chamber(f64),
    /// A fan's duty, 0 to 1.
    Fan(u8, f64),
}

impl Change {
    /// Whether a later `other` makes this one void if nothing moved in between.
    pub(crate) fn is_overruled_by(&self, other: &Change) -> bool {
        match (self, other) {
            (Change::Nozzle(a, _), Change::Nozzle(b, _)) | (Change::Fan(a, _), Change::Fan(b, _)) => a == b,
            _ => std::mem::discriminant(self) == std::mem::discriminant(other),
        }
    }
}
