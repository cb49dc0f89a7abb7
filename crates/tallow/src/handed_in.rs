//! What is read of what strangers hand in, as functions of plain bytes, for those who try it with bytes of all kinds
//! (docs/FUZZING.md). They are the ways that the commands and the interface for programs go.

mod ways;

use std::io::{self, Cursor};

use life::Life;

pub use self::ways::{Follows, History, Listener, Row, Run};
use crate::commands::life::lives_in;
use crate::input;
use crate::web::command_line_of;

/// How many plain bytes stand in a file that somebody sent, packed or not.
///
/// # Errors
/// Packed data that can't be unpacked, and such as are far larger than they were packed.
pub fn unpacked(bytes: &[u8]) -> io::Result<u64> {
    let raw = Box::new(Cursor::new(bytes.to_vec()));
    io::copy(&mut input::sent_plain(raw, bytes.len() as u64)?, &mut io::sink())
}

/// The lives in a table.
///
/// # Errors
/// What is wrong with it, and what to do, in words.
pub fn lives(bytes: &[u8]) -> Result<Vec<Life>, String> {
    lives_in("table", bytes).map_err(|trouble| trouble.to_string())
}

/// The options of a command line that hold for every command, as a program's request makes one: none of them is a program's to
/// give.
#[derive(Debug)]
pub struct General {
    /// The shop's place.
    pub shop: Option<String>,
    /// The present.
    pub now: Option<String>,
    /// Whether to answer as JSON.
    pub json: bool,
}

/// The command line that a JSON body makes at one of the addresses under `/api`; numbers beyond the last address go round.
///
/// # Errors
/// Why the body is refused, in words.
pub fn command_line(address: usize, body: &[u8]) -> Result<General, String> {
    let cli = command_line_of(address, body).map_err(|trouble| trouble.to_string())?;
    Ok(General { shop: cli.shop, now: cli.now, json: cli.json })
}
