//! Numbers as RS-274 writes them: `[+-]? (digits [. digits] | . digits)`, no exponents, correctly rounded.
//!
//! A number whose digits form an integer m below 2^53, with f of them behind the point, is m / 10^f, and for f up to 22
//! both are exact doubles, so that one division rounds it correctly (Clinger 1990, "How to read floating point numbers
//! accurately"). What is longer goes to the standard library.

use std::num::NonZero;

/// The longest number that is read, in bytes; a longer one is unreadable.
pub const MAX_NUMBER: usize = 1024;

const POWERS_OF_TEN: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20,
    1e21, 1e22,
];

/// The number at the start of `bytes` and its length in bytes; `None` if there is none. A number too large for a double
/// is infinite.
pub fn decimal(bytes: &[u8]) -> Option<(f64, usize)> {
    let signed = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let mut end = signed;
    let (mut mantissa, mut digits, mut point) = (0u64, 0usize, None);
    while let Some(&byte) = bytes.get(end) {
        match byte {
            b'0'..=b'9' => {
                mantissa = mantissa.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
                digits += 1;
            }
            b'.' if point.is_none() => point = Some(digits),
            _ => break,
        }
        end += 1;
    }
    if digits == 0 || MAX_NUMBER < end {
        return None;
    }
    let decimals = point.map_or(0, |before| digits - before);
    // 19 digits fit in 64 bits without wrapping.
    let value = if digits <= 19 && mantissa < 1 << 53 && decimals < POWERS_OF_TEN.len() {
        let size = mantissa as f64 / POWERS_OF_TEN[decimals];
        if bytes[0] == b'-' { -size } else { size }
    } else {
        // OK because only ASCII digits, a point and a sign were passed over, which is what `f64` parses.
        std::str::from_utf8(&bytes[..end]).ok()?.parse().ok()?
    };
    Some((value, end))
}

const ZEROS: u64 = 0x3030_3030_3030_3030;
const HIGH_BITS: u64 = 0x8080_8080_8080_8080;

/// The number without a sign at the start of `bytes`, if it ends within them, and its length; `None` says only that the
/// slow way must be tried.
///
/// The eight bytes are worked on at once as one integer, its lowest byte the first. In a set of bytes, the high bit of
/// each byte in it is set.
#[inline(always)]
pub(crate) fn short_decimal(bytes: &[u8; 8]) -> Option<(f64, usize)> {
    let eight = u64::from_le_bytes(*bytes);
    let digits = eight ^ ZEROS;
    let others = not_digits(digits);
    let first = NonZero::new(others)?.trailing_zeros();
    let (end, whole, digits, count) = if (eight >> (first & 56)) as u8 == b'.' {
        let behind = others & (others - 1);
        let end = NonZero::new(behind)?.trailing_zeros();
        (end, first + 8, without_point(digits, others ^ behind), end / 8 - 1)
    } else {
        (first, first, digits, first / 8)
    };
    if count == 0 {
        return None;
    }
    let mantissa = eight_digits(digits << (64 - 8 * count)) as f64;
    let decimals = (end - whole) / 8 % 8;
    Some((mantissa / POWERS_OF_TEN[decimals as usize], end as usize / 8))
}

/// As [`short_decimal`] for a number with a point in the first eight bytes and its end in the eight behind them.
pub(crate) fn longer_decimal(bytes: &[u8; 16]) -> Option<(f64, usize)> {
    let both = u128::from_le_bytes(*bytes);
    let (first, second) = (both as u64 ^ ZEROS, (both >> 64) as u64 ^ ZEROS);
    let point = not_digits(first);
    let before = NonZero::new(point)?.trailing_zeros() / 8;
    let more = NonZero::new(not_digits(second))?.trailing_zeros() / 8;
    if point & (point - 1) != 0 || bytes[before as usize] != b'.' {
        return None;
    }
    let head = eight_digits(without_point(first, point) << 8);
    let tail = eight_digits((second << 8) << (56 - 8 * more));
    let mantissa = head * 10u64.pow(more) + tail;
    Some((mantissa as f64 / POWERS_OF_TEN[(7 - before + more) as usize], 8 + more as usize))
}

/// The set of bytes above 9. A carry can only spoil bytes behind the first that is no ASCII, which ends the number anyhow.
#[inline(always)]
fn not_digits(digits: u64) -> u64 {
    (digits.wrapping_add(0x7676_7676_7676_7676) | digits) & HIGH_BITS
}

/// The bytes of `digits` without the one where the point is, if any.
#[inline(always)]
fn without_point(digits: u64, point: u64) -> u64 {
    let before = (point >> 7).wrapping_sub(1);
    digits & before | (digits >> 8) & !before
}

/// The value of eight decimal digits, the lowest byte the most significant: neighbours are joined to pairs, pairs to
/// fours, fours to eight.
#[inline(always)]
fn eight_digits(digits: u64) -> u64 {
    let pairs = digits.wrapping_mul(10 * 256 + 1) >> 8 & 0x00ff_00ff_00ff_00ff;
    let fours = pairs.wrapping_mul(100 * 65536 + 1) >> 16 & 0x0000_ffff_0000_ffff;
    fours.wrapping_mul(10_000 * (1 << 32) + 1) >> 32
}
