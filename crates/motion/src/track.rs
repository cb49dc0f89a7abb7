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

/// X, Y and the two motors of a CoreXY.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Tracks {
    /// X and Y, and the motors.
    pairs: [Pair; 2],
}

/// Two things side by side, so that the processor can do both at once. Nothing here branches: on real files no direction
/// is like the last, and a wrong guess costs more than all the sums.
///
/// The dead band is that of a backlash: a part that is carried along by X, say, with play. It stays put while X turns
/// and crosses the play, and turns when X pushes it the other way.
#[derive(Clone, Copy, Debug, Default)]
struct Pair {
    travel: [f64; 2],
    turns: Turns,
    /// How far each is ahead of the part that it carries, 0 to the dead band, mm.
    play: [f64; 2],
    carried: Turns,
}

/// Reversals of two things.
#[derive(Clone, Copy, Debug, Default)]
struct Turns {
    count: [u64; 2],
    /// The last deltas that were not nothing.
    last: [f64; 2],
}

impl Turns {
    /// Takes a delta, and whether it is not nothing.
    #[inline(always)]
    fn push(&mut self, which: usize, delta: f64, moved: bool) {
        self.count[which] += u64::from(delta * self.last[which] < 0.0);
        self.last[which] = if moved { delta } else { self.last[which] };
    }
}

impl Pair {
    fn push_all(&mut self, deltas: impl Iterator<Item = [f64; 2]>) {
        // A copy, which the processor can keep in its registers.
        let mut pair = *self;
        for delta in deltas {
            pair.push(0, delta[0]);
            pair.push(1, delta[1]);
        }
        *self = pair;
    }

    #[inline(always)]
    fn push(&mut self, which: usize, delta: f64) {
        let moved = NOTHING < delta.abs();
        let delta = if moved { delta } else { 0.0 };
        self.turns.push(which, delta, moved);
        self.travel[which] += delta.abs();
        let ahead = self.play[which] + delta;
        self.play[which] = larger(smaller(ahead, DEAD_BAND_MM), 0.0);
        // A way back of the whole play leaves a residue of rounding, which is no turn.
        let carried = ahead - self.play[which];
        let pushed = NOTHING < carried.abs();
        self.carried.push(which, if pushed { carried } else { 0.0 }, pushed);
    }
}

impl Tracks {
    /// Adds moves, given by their deltas.
    pub(crate) fn push_all(&mut self, moves: impl Iterator<Item = [f64; 4]> + Clone) {
        let [plane, motors] = &mut self.pairs;
        plane.push_all(moves.clone().map(|[dx, dy, ..]| [dx, dy]));
        motors.push_all(moves.map(|[dx, dy, ..]| [dx + dy, dx - dy]));
    }

    /// Adds a move of one of the four alone.
    pub(crate) fn push_one(&mut self, axis: usize, delta: f64) {
        self.pairs[axis / 2].push(axis % 2, delta);
    }

    /// What one of the four did.
    pub(crate) fn track(&self, axis: usize) -> Track {
        let (Pair { travel, turns, .. }, which) = (&self.pairs[axis / 2], axis % 2);
        Track { travel: travel[which], reversals: turns.count[which], last: turns.last[which] }
    }

    /// How often one of the four turned by more than the dead band.
    pub(crate) fn turns(&self, axis: usize) -> u64 {
        self.pairs[axis / 2].carried.count[axis % 2]
    }
}
