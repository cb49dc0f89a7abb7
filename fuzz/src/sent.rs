//! What comes over the network: files, packed or not, and JSON.

use tallow::handed_in::{command_line, unpacked};

use super::signals::says_something;

/// Unpacks a file: to a bounded size, or it is told why not.
pub fn packed(bytes: &[u8]) {
    match unpacked(bytes) {
        Ok(count) => assert!(count <= 100 * bytes.len() as u64 + (16 << 20), "{} became {count}", bytes.len()),
        Err(error) => says_something(&error),
    }
}

/// Takes a JSON body at one of the addresses, which the first two bytes choose: no value in it becomes an option that is not a
/// program's to give.
pub fn json(bytes: &[u8]) {
    let Some((address, body)) = bytes.split_first_chunk() else { return };
    match command_line(usize::from(u16::from_le_bytes(*address)), body) {
        Ok(general) => {
            assert_eq!(general.shop, std::env::var("TALLOW_SHOP").ok());
            assert_eq!(general.now, std::env::var("TALLOW_NOW").ok());
            assert!(!general.json);
        }
        Err(error) => says_something(&error),
    }
}
