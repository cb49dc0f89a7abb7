//! What the program hands on: moves, and what happens between them, in batches.
//!
//! In a batch the same small loop runs over hundreds of moves at a time, which a processor does in a third of the time
//! that one long pass per move takes; and a batch can be worked on by another core while the next one is read.

use crate::arc::Arc;
use crate::duty::Tool;
use crate::machine::Limits;

/// What happens between straight moves.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Event {
    /// An arc or helix; of the move itself only Z, E, the end, speed and line are looked at.
    Arc(Move, Arc),
    /// Standing still for some seconds; the line that says so.
    Dwell(f64, u64),
    /// Motion comes to rest.
    Stop,
    /// Something is switched.
    Change(Change),
    /// Other limits from here on.
    Limits(Limits),
}

/// A straight move, or one of the extruder alone.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Move {
    /// X, Y, Z and E, mm.
    pub(crate) delta: [f64; 4],
    /// Where it ends in machine coordinates, mm.
    pub(crate) to: [f64; 3],
    /// Commanded speed, mm/s.
    pub(crate) speed: f64,
    /// The line, counted from 1.
    pub(crate) line: u64,
}

impl Move {
    /// Where it starts in machine coordinates, mm.
    pub(crate) fn from(&self) -> [f64; 3] {
        std::array::from_fn(|axis| self.to[axis] - self.delta[axis])
    }
}

/// Moves and events in the program's order.
#[derive(Clone, Debug)]
pub(crate) struct Batch {
    /// The straight moves.
    pub(crate) moves: Vec<Move>,
    /// What happens between them, each with the number of moves before it.
    pub(crate) events: Vec<(usize, Event)>,
    /// How many of either make it full.
    size: usize,
}

impl Batch {
    pub(crate) fn new(size: usize) -> Batch {
        Batch { moves: Vec::with_capacity(size), events: Vec::new(), size }
    }

    /// Notes that something happens after the moves so far.
    pub(crate) fn tell(&mut self, event: Event) {
        self.events.push((self.moves.len(), event));
    }

    #[inline(always)]
    pub(crate) fn is_full(&self) -> bool {
        self.size <= self.moves.len() || self.size <= self.events.len()
    }

    pub(crate) fn clear(&mut self) {
        self.moves.clear();
        self.events.clear();
    }
}

/// Takes batches.
pub(crate) trait Work {
    /// Takes what the batch holds, and leaves it empty.
    fn take(&mut self, batch: &mut Batch);
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
