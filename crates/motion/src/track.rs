//! Travel and reversals of anything that moves to and fro.

use crate::order::{larger, smaller};

/// Deltas up to this many mm are rounding, not motion: three decimals in a file are subtracted, and CoreXY adds two
/// such differences, so that a motor that stands still would otherwise turn by 1e-14 mm.
pub(crate) const NOTHING: f64 = 1e-9;

/// A motor or axis: how far it moved, and how often it turned round.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Track {
    /// Travel both ways, mm.
    pub(crate) travel: f64,
    /// Reversals.
    pub(crate) reversals: u64,
    /// The last delta that was not nothing; its sign is the direction.
    last: f64,
}

impl Track {
    #[inline]
    pub(crate) fn push(&mut self, delta: f64) {
        let size = delta.abs();
        if NOTHING < size {
            self.travel += size;
            self.reversals += u64::from(delta * self.last < 0.0);
            self.last = delta;
        }
    }
}

/// A way back of up to this many mm does not count in [`Tracks::turns`]: micron moves of rounded diagonals.
pub const DEAD_BAND_MM: f64 = 0.01;

/// X, Y and the two motors of a CoreXY, side by side so that the processor can do two at once. Nothing here branches: on
/// real files no direction is like the last, and a wrong guess costs more than all the sums.
///
/// The dead band is that of a backlash: a part that is carried along by X, say, with play. It stays put while X turns
/// and crosses the play, and turns when X pushes it the other way.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Tracks {
    travel: [f64; 4],
    turns: Turns,
    /// How far each is ahead of the part that it carries, 0 to the dead band, mm.
    play: [f64; 4],
    carried: Turns,
}

/// Reversals of four things.
#[derive(Clone, Copy, Debug, Default)]
struct Turns {
    /// Whole numbers, which a double holds exactly up to 2^53.
    count: [f64; 4],
    /// The last deltas that were not nothing.
    last: [f64; 4],
}

impl Turns {
    #[inline(always)]
    fn push(&mut self, axis: usize, delta: f64) {
        let turned = if delta * self.last[axis] < 0.0 { 1.0 } else { 0.0 };
        self.count[axis] += turned;
        self.last[axis] = if NOTHING < delta.abs() { delta } else { self.last[axis] };
    }
}

impl Tracks {
    /// Adds moves, given by their deltas.
    pub(crate) fn push_all(&mut self, moves: impl Iterator<Item = [f64; 4]>) {
        // A copy, which the processor can keep in its registers.
        let mut tracks = *self;
        for [dx, dy, ..] in moves {
            for (axis, delta) in [dx, dy, dx + dy, dx - dy].into_iter().enumerate() {
                tracks.push_one(axis, delta);
            }
        }
        *self = tracks;
    }

    /// Adds a move of one of the four alone.
    #[inline(always)]
    pub(crate) fn push_one(&mut self, axis: usize, delta: f64) {
        let delta = if NOTHING < delta.abs() { delta } else { 0.0 };
        self.travel[axis] += delta.abs();
        self.turns.push(axis, delta);
        let ahead = self.play[axis] + delta;
        self.play[axis] = larger(smaller(ahead, DEAD_BAND_MM), 0.0);
        self.carried.push(axis, ahead - self.play[axis]);
    }

    /// What one of the four did.
    pub(crate) fn track(&self, axis: usize) -> Track {
        Track { travel: self.travel[axis], reversals: self.turns.count[axis] as u64, last: self.turns.last[axis] }
    }

    /// How often one of the four turned by more than the dead band.
    pub(crate) fn turns(&self, axis: usize) -> u64 {
        self.carried.count[axis] as u64
    }
}
