//! Travel and reversals of anything that moves to and fro.

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

/// X, Y and the two motors of a CoreXY, side by side so that the processor can do them at once. Nothing here branches:
/// on real files no direction is like the last, and a wrong guess costs more than all the sums.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Tracks {
    travel: [f64; 4],
    /// Whole numbers, which a double holds exactly up to 2^53.
    reversals: [f64; 4],
    last: [f64; 4],
    /// Reversals by more than the dead band.
    band_reversals: [f64; 4],
    /// +1 or −1; 0 before the first motion.
    direction: [f64; 4],
    /// How far each has come back from its furthest point in its direction, mm.
    back: [f64; 4],
}

impl Tracks {
    /// Adds a move: of X, Y, x + y and x − y.
    #[inline]
    pub(crate) fn push(&mut self, deltas: [f64; 4]) {
        for (axis, delta) in deltas.into_iter().enumerate() {
            self.push_one(axis, delta);
        }
    }

    /// Adds a move of one of the four alone.
    #[inline]
    pub(crate) fn push_one(&mut self, axis: usize, delta: f64) {
        let moved = NOTHING < delta.abs();
        let delta = if moved { delta } else { 0.0 };
        self.travel[axis] += delta.abs();
        self.reversals[axis] += if delta * self.last[axis] < 0.0 { 1.0 } else { 0.0 };
        self.last[axis] = if moved { delta } else { self.last[axis] };

        let direction = self.direction[axis];
        let back = (self.back[axis] - delta * direction).max(0.0);
        let turned = DEAD_BAND_MM < back;
        let first = if moved { 1f64.copysign(delta) } else { 0.0 };
        self.band_reversals[axis] += if turned { 1.0 } else { 0.0 };
        self.direction[axis] = if direction == 0.0 {
            first
        } else if turned {
            -direction
        } else {
            direction
        };
        self.back[axis] = if turned { 0.0 } else { back };
    }

    /// What one of the four did.
    pub(crate) fn track(&self, axis: usize) -> Track {
        Track { travel: self.travel[axis], reversals: self.reversals[axis] as u64, last: self.last[axis] }
    }

    /// How often one of the four turned by more than the dead band.
    pub(crate) fn turns(&self, axis: usize) -> u64 {
        self.band_reversals[axis] as u64
    }
}
