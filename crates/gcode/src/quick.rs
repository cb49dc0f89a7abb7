//! The quick way through the lines that make up nearly all of a toolpath: `G1 X10.5 Y2 E.03`.

use crate::line::{Code, TEXT};
use crate::number::{decimal, longer_decimal, short_decimal};
use crate::words::{Words, bit};

/// A line read the quick way.
pub(crate) struct Quick {
    /// Its command.
    pub(crate) code: Code,
    /// Where its text ends, without the line end.
    pub(crate) end: usize,
    /// Where the next line starts.
    pub(crate) next: usize,
}

/// Letters that make a line one for the careful way: a second command, or a line number.
const CAREFUL: u32 = bit(b'G') | bit(b'M') | bit(b'T') | bit(b'N');

/// How far into a line a word may begin, in bytes …
const LONGEST: usize = 64;
/// … and the bytes that must be there for that, so that the words need not ask.
const WINDOW: usize = LONGEST + 20;

/// Reads the line at `start` into `words` if it is plain: one G or M command and words, in capitals, each given once with
/// a readable number, no checksum, and an end within `bytes`. `None` for every other line, which says nothing about it.
#[inline(always)]
pub(crate) fn quick_line(bytes: &[u8], start: usize, words: &mut Words) -> Option<Quick> {
    let line: &[u8; WINDOW] = bytes.get(start..)?.first_chunk()?;
    let (code, mut at) = command(line)?;
    // The letters so far, or-ed and added up, which is the same as long as none comes twice.
    let (mut letters, mut sum) = (0u32, 0u32);
    while at < LONGEST {
        let mut byte = line[at];
        if byte == b' ' {
            at += 1;
            byte = line[at];
        }
        let index = byte.wrapping_sub(b'A');
        if 26 <= index {
            if letters != sum || letters & CAREFUL != 0 {
                return None;
            }
            words.only(letters);
            let (text, end) = line_end(bytes, start + at)?;
            return Some(Quick { code, end: start + at + text, next: start + at + text + end });
        }
        letters |= 1 << index;
        sum += 1 << index;
        let (value, length) = number(line, at + 1)?;
        words.put(index, value);
        at += 1 + length;
    }
    None
}

/// The command of a line that begins with a plain G or M word, and where that ends.
#[inline(always)]
fn command(line: &[u8; WINDOW]) -> Option<(Code, usize)> {
    let digit = line[1].wrapping_sub(b'0');
    if line[0] == b'G' && digit < 10 && line[2] == b' ' {
        return Some((Code::G(digit.into()), 2));
    }
    rarer_command(line)
}

#[inline(never)]
fn rarer_command(line: &[u8; WINDOW]) -> Option<(Code, usize)> {
    let digits = line[1..4].iter().take_while(|byte| byte.is_ascii_digit());
    let (number, end) = digits.fold((0, 1), |(number, end), byte| (10 * number + u16::from(byte - b'0'), end + 1));
    match line[0] {
        b'G' if 1 < end => Some((Code::G(number), end)),
        b'M' if 1 < end && !TEXT.contains(&number) => Some((Code::M(number), end)),
        _ => None,
    }
}

/// The number at `at` and its length.
#[inline(always)]
fn number(line: &[u8; WINDOW], at: usize) -> Option<(f64, usize)> {
    let negative = line[at] == b'-';
    let signed = usize::from(negative);
    match short_decimal(line[at + signed..].first_chunk()?) {
        Some((size, length)) if negative => Some((-size, 1 + length)),
        Some(found) => Some(found),
        None => rarer_number(line, at),
    }
}

#[cold]
fn rarer_number(line: &[u8; WINDOW], at: usize) -> Option<(f64, usize)> {
    longer_decimal(line[at..].first_chunk()?).or_else(|| decimal(&line[at..]))
}

/// What ends the code of a line: the lengths of a comment and of a line end.
#[inline(always)]
fn line_end(bytes: &[u8], at: usize) -> Option<(usize, usize)> {
    match bytes[at] {
        b'\n' => Some((0, 1)),
        b'\r' => (*bytes.get(at + 1)? == b'\n').then_some((0, 2)),
        b';' => comment_end(bytes, at),
        // A second point, a sign or a quotation mark is for the careful way to describe.
        _ => None,
    }
}

/// The lengths of the comment at `at` and of its line's end.
fn comment_end(bytes: &[u8], at: usize) -> Option<(usize, usize)> {
    let length = memchr::memchr2(b'\n', b'\r', &bytes[at..])?;
    if bytes[at + length] == b'\n' {
        return Some((length, 1));
    }
    (*bytes.get(at + length + 1)? == b'\n').then_some((length, 2))
}
