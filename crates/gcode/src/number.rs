//! Numbers as RS-274 writes them: `[+-]? (digits [. digits] | . digits)`, no exponents, correctly rounded.
//!
//! A number whose digits form an integer m below 2^53, with f of them behind the point, is m / 10^f, and for f up to 22
//! both are exact doubles, so that one division rounds it correctly (Clinger 1990, "How to read floating point numbers
//! accurately"). What is longer goes to the standard library.

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

/// As [`decimal`] for a number that ends within the eight bytes behind its sign, all of which must be there; `None`
/// says only that the slow way must be tried.
///
/// The eight bytes are worked on at once as one integer, its lowest byte the first digit.
#[inline]
pub(crate) fn short_decimal(bytes: &[u8]) -> Option<(f64, usize)> {
    let negative = *bytes.first()? == b'-';
    let signed = usize::from(negative);
    let eight: [u8; 8] = bytes.get(signed..signed + 8)?.try_into().ok()?;
    let digits = u64::from_le_bytes(eight) ^ ZEROS;
    // The high bit of each byte that is no digit. A carry can only spoil bytes behind the first that is no ASCII, which
    // ends the number anyhow.
    let others = (digits.wrapping_add(0x7676_7676_7676_7676) | digits) & HIGH_BITS;
    if others == 0 {
        return None;
    }
    let first = others.trailing_zeros() / 8;
    let (packed, count, decimals, length) = if eight[first as usize] == b'.' {
        let behind = others & (others - 1);
        if behind == 0 {
            return None;
        }
        let end = behind.trailing_zeros() / 8;
        let before = (1u64 << (8 * first)) - 1;
        (digits & before | (digits >> 8) & !before, end - 1, end - first - 1, end)
    } else {
        (digits, first, 0, first)
    };
    if count == 0 {
        return None;
    }
    let mantissa = eight_digits(packed << (64 - 8 * count)) as f64;
    let size = mantissa / POWERS_OF_TEN[decimals as usize];
    Some((if negative { -size } else { size }, signed + length as usize))
}

/// The value of eight decimal digits, the lowest byte the most significant: neighbours are joined to pairs, pairs to
/// fours, fours to eight.
#[inline]
fn eight_digits(digits: u64) -> u64 {
    let pairs = digits.wrapping_mul(10 * 256 + 1) >> 8 & 0x00ff_00ff_00ff_00ff;
    let fours = pairs.wrapping_mul(100 * 65536 + 1) >> 16 & 0x0000_ffff_0000_ffff;
    fours.wrapping_mul(10_000 * (1 << 32) + 1) >> 32
}
