//! What is looked at in a PNG before it is decoded, because the decoder takes it for granted.
//!
//! Chunks and palettes as in Portable Network Graphics (PNG) Specification, third edition (W3C 2025), sections 5.3 and 11.2.2.

const SIGNATURE: [u8; 8] = [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a];

/// Why a PNG's palette can't be, if it can't: it must be of whole colours. `None` too for what is no PNG.
pub(crate) fn bad_palette(bytes: &[u8]) -> Option<String> {
    let mut rest = bytes.strip_prefix(&SIGNATURE)?;
    while let Some((length, behind)) = rest.split_first_chunk() {
        let length = u32::from_be_bytes(*length) as usize;
        if behind.starts_with(b"PLTE") && !length.is_multiple_of(3) {
            return Some(format!("its palette has {length} bytes, not 3 for each colour"));
        }
        // Behind the length a type of four bytes, the data, and a check of four.
        rest = behind.get(length.checked_add(8)?..)?;
    }
    None
}
