//! Numbers that look random and are the same each time.

/// A xorshift generator (Marsaglia 2003, Journal of Statistical Software 8, issue 14; the multiplier from memory).
#[derive(Clone, Debug)]
pub(crate) struct Random(u64);

impl Random {
    /// Starts from a seed.
    pub(crate) fn new(seed: u64) -> Random {
        Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    /// A number from 0 up to and without 1.
    pub(crate) fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A place below `count`, which is not 0.
    pub(crate) fn below(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }

    /// Puts things in another order.
    pub(crate) fn shuffle<T>(&mut self, things: &mut [T]) {
        for last in (1..things.len()).rev() {
            things.swap(last, self.below(last + 1));
        }
    }
}
