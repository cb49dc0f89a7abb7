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

/// Counts a reversal only once the way back is longer than the dead band, so that the micron moves of rounded diagonals
/// do not count.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct DeadBand {
    /// Reversals.
    pub(crate) reversals: u64,
    /// +1 or −1 once it has moved.
    direction: f64,
    /// How far it has come back from its furthest point in the direction, mm.
    back: f64,
}

impl DeadBand {
    #[inline]
    pub(crate) fn push(&mut self, delta: f64, band: f64) {
        self.back -= delta * self.direction;
        if self.back <= 0.0 && self.direction != 0.0 {
            self.back = 0.0;
        } else if band < self.back {
            self.reversals += 1;
            self.direction = -self.direction;
            self.back = 0.0;
        } else if self.direction == 0.0 && NOTHING < delta.abs() {
            self.direction = delta.signum();
        }
    }
}
