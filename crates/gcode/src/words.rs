//! The words of one line.

/// The bit of `letter` (`A` to `Z`) in a set of letters.
pub const fn bit(letter: u8) -> u32 {
    1 << (letter - b'A')
}

/// The words of one line by letter. A word given twice holds its last value.
#[derive(Clone, Debug, Default)]
pub struct Words {
    /// 32 rather than 26, so that an index of five bits needs no check.
    values: [f64; 32],
    valued: u32,
    named: u32,
}

impl Words {
    /// The number of word `letter`, if the line gives it one.
    #[inline]
    pub fn get(&self, letter: u8) -> Option<f64> {
        let index = letter.wrapping_sub(b'A') & 31;
        (self.valued >> index & 1 == 1).then(|| self.values[index as usize])
    }

    /// The number of word `letter`, or `otherwise`.
    #[inline]
    pub fn get_or(&self, letter: u8, otherwise: f64) -> f64 {
        let index = letter.wrapping_sub(b'A') & 31;
        if self.valued >> index & 1 == 1 { self.values[index as usize] } else { otherwise }
    }

    /// Whether the line names `letter`, with a number or without (`G28 X`).
    pub fn names(&self, letter: u8) -> bool {
        self.named & bit(letter) != 0
    }

    /// Whether the line has no word but the command itself.
    pub fn is_empty(&self) -> bool {
        self.named == 0
    }

    /// The set of letters that have a number, as [`bit`]s.
    #[inline]
    pub fn valued(&self) -> u32 {
        self.valued
    }

    #[inline]
    pub(crate) fn clear(&mut self) {
        (self.valued, self.named) = (0, 0);
    }

    /// Stores the number of the letter with this index; [`Words::only`] must follow.
    #[inline(always)]
    pub(crate) fn put(&mut self, index: u8, value: f64) {
        self.values[usize::from(index & 31)] = value;
    }

    /// Says that the line has these letters, each with a number.
    #[inline(always)]
    pub(crate) fn only(&mut self, letters: u32) {
        (self.valued, self.named) = (letters, letters);
    }

    #[inline]
    pub(crate) fn set(&mut self, letter: u8, value: f64) {
        let index = letter.wrapping_sub(b'A') & 31;
        self.values[index as usize] = value;
        self.valued |= 1 << index;
        self.named |= 1 << index;
    }

    pub(crate) fn name(&mut self, letter: u8) {
        self.named |= bit(letter);
    }

    /// Drops the number of `letter` but remembers that it was named.
    pub(crate) fn spoil(&mut self, letter: u8) {
        self.valued &= !bit(letter);
        self.named |= bit(letter);
    }
}
