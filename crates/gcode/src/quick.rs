//! The quick way through the lines that make up nearly all of a toolpath: `G1 X10.5 Y2 E.03`.

use crate::number::{decimal, short_decimal};
use crate::words::{Words, bit};

/// A line read the quick way.
pub(crate) struct Quick {
    /// The number of its G word, 0 to 3.
    pub(crate) number: u8,
    /// Where its text ends, without the line end and comment.
    pub(crate) end: usize,
    /// Where the next line starts.
    pub(crate) next: usize,
}

/// Letters that make a line one for the careful way: a second command, or a line number.
const CAREFUL: u32 = bit(b'G') | bit(b'M') | bit(b'T') | bit(b'N');

/// Reads the line at `start` into `words` if it is a plain move: `G0` to `G3`, words in capitals each given once with a
/// readable number, no checksum, and an end within `bytes`. `None` for every other line, which says nothing about it.
#[inline]
pub(crate) fn quick_line(bytes: &[u8], start: usize, words: &mut Words) -> Option<Quick> {
    let head: [u8; 3] = bytes.get(start..start + 3)?.try_into().ok()?;
    let number = head[1].wrapping_sub(b'0');
    if head[0] != b'G' || 3 < number || head[2].is_ascii_digit() || head[2] == b'.' {
        return None;
    }
    words.clear();
    let mut at = start + 2;
    loop {
        let mut byte = *bytes.get(at)?;
        if byte == b' ' {
            at += 1;
            byte = *bytes.get(at)?;
        }
        let index = byte.wrapping_sub(b'A');
        if index < 26 {
            if (CAREFUL | words.valued()) >> index & 1 == 1 {
                return None;
            }
            let rest = bytes.get(at + 1..)?;
            let (value, length) = match short_decimal(rest) {
                Some(found) => found,
                None => decimal(rest)?,
            };
            words.set(byte, value);
            at += 1 + length;
            // A second point, a sign or a quotation mark is for the careful way to describe.
            continue;
        }
        let next = match byte {
            b'\n' => at + 1,
            b'\r' if *bytes.get(at + 1)? == b'\n' => at + 2,
            b';' => comment_end(bytes, at)?,
            _ => return None,
        };
        return Some(Quick { number, end: at, next });
    }
}

/// The start of the line after the one whose comment begins at `at`.
fn comment_end(bytes: &[u8], at: usize) -> Option<usize> {
    let end = at + memchr::memchr2(b'\n', b'\r', &bytes[at..])?;
    if bytes[end] == b'\n' {
        return Some(end + 1);
    }
    (*bytes.get(end + 1)? == b'\n').then_some(end + 2)
}
