//! What can go wrong between a keeper and the record.

use jiff::Timestamp;
use upkeep::{EntryId, RateError, ShopError, Unknown};

use crate::checklist::PhotoError;

/// Why the ledger refused. Its text says in the first line what was refused, and in the following ones what to do.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// Nothing is there to open.
    #[error("there is no shop at {place}\n  make one there first, or check the path")]
    NoShop {
        /// The path or address, without a password.
        place: String,
    },
    /// A new shop would overwrite one.
    #[error("{place} already holds the shop \"{name}\"\n  open it, or choose another place for a new one")]
    ShopExists {
        /// The path or address.
        place: String,
        /// The shop that is there.
        name: String,
    },
    /// The database belongs to something else.
    #[error("{place} is a database, but holds other tables and no shop\n  choose another place")]
    NotAShop {
        /// The path or address.
        place: String,
    },
    /// The file is of another kind.
    #[error("{place} is not a database\n  check the path, or restore the file from a copy")]
    NotADatabase {
        /// The path.
        place: String,
    },
    /// The file could not be opened or made.
    #[error("{place} can't be opened: {reason}\n  check the path or address, and that it may be read and written")]
    CannotOpen {
        /// The path or address.
        place: String,
        /// What the system said.
        reason: String,
    },
    /// The path is that of a folder.
    #[error("{place} is a folder, not a shop\n  name a file in it, for example {place}/shop.tallow")]
    Folder {
        /// The path.
        place: String,
    },
    /// A later version has been here.
    #[error(
        "{place} was written by a newer version (its shape is {found}, this version knows up to {known})\n  update this program; nothing was changed"
    )]
    Newer {
        /// The path or address.
        place: String,
        /// The shape found.
        found: i64,
        /// The newest shape that this version knows.
        known: i64,
    },
    /// The time zone's name is not known.
    #[error(
        "no time zone is called \"{zone}\"\n  give a name of the IANA database, for example Europe/Lisbon; if it is one, bring this computer's time zones up to date (tzdata)"
    )]
    NoSuchZone {
        /// The name.
        zone: String,
    },
    /// The file or its folder may not be written.
    #[error("the shop may not be written\n  check the permissions of its file and folder")]
    ReadOnly,
    /// The disk is full.
    #[error("the disk is full, so nothing of this entry was kept\n  make room and record it again")]
    DiskFull,
    /// Another program holds the shop.
    #[error("another program has locked the shop and did not let go in time\n  close it, or try again")]
    Locked,
    /// Two writers were in each other's way, and the database let the other one pass.
    #[error("somebody else wrote at the same moment, and this gave way\n  try again")]
    GaveWay,
    /// The database server cannot be reached or broke off.
    #[error("there is no answer from the database: {reason}\n  check that the server runs and the address is right")]
    Unreachable {
        /// What went wrong.
        reason: String,
    },
    /// Something kept cannot be read.
    #[error(
        "{what} can't be read back\n  sums can be made anew from the entries; entries can only be restored from a copy"
    )]
    Damaged {
        /// What it is.
        what: String,
    },
    /// A machine of that name is not in the shop.
    #[error(transparent)]
    NoSuchMachine(Unknown),
    /// The machine is there already.
    #[error("there already is a machine \"{name}\"\n  choose another name")]
    MachineExists {
        /// Its name.
        name: String,
    },
    /// A machine that still has records cannot be withdrawn.
    #[error("machine \"{name}\" has other records, the first is entry {entry}\n  withdraw those first")]
    MachineInUse {
        /// Its name.
        name: String,
        /// The first entry in the way.
        entry: EntryId,
    },
    /// A build of that name is not in the shop.
    #[error(transparent)]
    NoSuchBuild(Unknown),
    /// A build in the shop cannot be understood.
    #[error("build \"{name}\" can't be read\n{reason}")]
    BadBuild {
        /// Its name.
        name: String,
        /// Why.
        reason: String,
    },
    /// There is no such entry.
    #[error("there is no entry {id}")]
    NoSuchEntry {
        /// The number asked for.
        id: EntryId,
    },
    /// The run counts already.
    #[error("this run is already booked, as entry {0}; it counts once")]
    AlreadyBooked(EntryId),
    /// Something was added to the machine's record since it was read.
    #[error("the record of machine \"{machine}\" has moved on since it was read, so nothing was recorded\n  try again")]
    MovedOn {
        /// The machine.
        machine: String,
    },
    /// The visit was walked or called off before, perhaps in the same moment.
    #[error("visit {id} was walked or called off already, so nothing was booked")]
    VisitOver {
        /// The visit.
        id: EntryId,
    },
    /// No fault of the machine begins with that entry.
    #[error("entry {id} is no fault of machine \"{machine}\"")]
    NoSuchFault {
        /// The entry named.
        id: EntryId,
        /// The machine.
        machine: String,
    },
    /// The fault is over, perhaps since the same moment.
    #[error("fault {id} is over, so nothing was recorded\n  if it is back, record it as a new one")]
    FaultIsOver {
        /// The fault.
        id: EntryId,
    },
    /// It happened before the machine joined the shop.
    #[error(
        "{at} is before machine \"{machine}\" joined the shop ({added})\n  check the time, or correct the entry that added it"
    )]
    BeforeAdded {
        /// The machine.
        machine: String,
        /// When it is said to have happened.
        at: Timestamp,
        /// When the machine joined.
        added: Timestamp,
    },
    /// It has not happened yet.
    #[error("{at} is later than the time of recording ({recorded})\n  only what has happened can be recorded")]
    NotYet {
        /// When it is said to have happened.
        at: Timestamp,
        /// When it is written down.
        recorded: Timestamp,
    },
    /// A correction names another machine.
    #[error("entry {id} is about machine \"{machine}\", so its correction must be too")]
    OtherMachine {
        /// The entry to be corrected.
        id: EntryId,
        /// Its machine.
        machine: String,
    },
    /// A correction says something else than the entry did.
    #[error("entry {id} says \"{was}\", not \"{now}\"\n  withdraw it and record the other thing by itself")]
    OtherKind {
        /// The entry to be corrected.
        id: EntryId,
        /// What kind of event it records.
        was: String,
        /// What kind its correction would record.
        now: String,
    },
    /// A withdrawal needs an entry to withdraw.
    #[error("a withdrawal names the entry that did not happen\n  give its number")]
    NothingToWithdraw,
    /// A name is missing.
    #[error("the {what} has no name\n  give one")]
    Nameless {
        /// What needs a name.
        what: &'static str,
    },
    /// A number makes no sense.
    #[error("{what} of {value} makes no sense\n  give a number of 0 or more")]
    BadAmount {
        /// What was given.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// Rates that can't stand.
    #[error(transparent)]
    BadRates(#[from] RateError),
    /// A fact of keepers, stores or visits that can't stand.
    #[error(transparent)]
    BadFact(#[from] ShopError),
    /// A photo that is not kept.
    #[error(transparent)]
    BadPhoto(#[from] PhotoError),
    /// What is of the shop was said of a machine.
    #[error("\"{kind}\" is said of the shop, not of machine \"{machine}\"\n  record it without a machine")]
    OfTheShop {
        /// The kind of entry.
        kind: &'static str,
        /// The machine.
        machine: String,
    },
    /// A name that nobody can have.
    #[error("that is no person's name\n  give 1 to 80 letters on one line, without blanks around them")]
    BadPerson,
    /// Nobody of that name has been set up.
    #[error("nobody called \"{name}\" has been set up\n  somebody new needs a password")]
    NoSuchPerson {
        /// The name.
        name: String,
    },
    /// Nobody would be left who may say who may.
    #[error("somebody must be left whose role is own\n  give that role to another person first")]
    NoOwner,
    /// There is no such token.
    #[error("there is no token {id}\n  it may have been revoked already")]
    NoSuchToken {
        /// The number asked for.
        id: i64,
    },
    /// The run fulfils nothing that is expected.
    #[error("entry {id} is not in the queue of machine \"{machine}\"")]
    NotQueued {
        /// The entry named.
        id: EntryId,
        /// The machine.
        machine: String,
    },
    /// A shop that is to be filled has something in it.
    #[error("{place} holds the tables of a shop that was never finished\n  choose another place")]
    NotEmpty {
        /// The path or address.
        place: String,
    },
    /// What is to be read back is no backup or export, or not a whole one.
    #[error("{what} can't be taken in: {why}\n  nothing was changed; take another copy")]
    NotWhole {
        /// What was read: a file, or a line of one.
        what: String,
        /// What is wrong with it.
        why: String,
    },
    /// What was written reads back otherwise, or not as its source.
    #[error("{what} does not read back as it was written\n  nothing was kept; check the disk, and try again")]
    ReadBack {
        /// The table or file.
        what: String,
    },
    /// A file of a backup or export can't be read or written.
    #[error("{what} can't be read or written: {reason}\n  check the folder, its permissions and the room on its disk")]
    File {
        /// Which.
        what: String,
        /// What the system said.
        reason: String,
    },
    /// Anything else that the database said.
    #[error("the database refused: {0}")]
    Database(#[source] sqlx::Error),
}

impl Error {
    /// Whether the same may succeed a while later, with nothing changed.
    pub fn may_pass(&self) -> bool {
        matches!(
            self,
            Error::Unreachable { .. } | Error::Locked | Error::GaveWay | Error::MovedOn { .. } | Error::DiskFull
        )
    }
}

impl From<sqlx::Error> for Error {
    fn from(error: sqlx::Error) -> Error {
        match &error {
            sqlx::Error::Database(refusal) => from_code(refusal.code().as_deref()).unwrap_or(Error::Database(error)),
            sqlx::Error::Io(io) => Error::Unreachable { reason: io.to_string() },
            sqlx::Error::PoolTimedOut => Error::Unreachable { reason: "no connection to it came in time".to_owned() },
            sqlx::Error::Protocol(_) | sqlx::Error::WorkerCrashed => Error::Unreachable { reason: error.to_string() },
            _ => Error::Database(error),
        }
    }
}

impl Error {
    /// The same error once more where it is of the database as a whole, whatever was to be written.
    pub(crate) fn of_all(&self) -> Option<Error> {
        match self {
            Error::ReadOnly => Some(Error::ReadOnly),
            Error::DiskFull => Some(Error::DiskFull),
            Error::Locked => Some(Error::Locked),
            Error::GaveWay => Some(Error::GaveWay),
            Error::Unreachable { reason } => Some(Error::Unreachable { reason: reason.clone() }),
            _ => None,
        }
    }
}

/// The error that a database's code stands for, where the keeper can do something about it.
///
/// Codes of five characters are SQLSTATE (PostgreSQL manual, appendix A); others are SQLite's result codes, whose low
/// byte is the primary one (<https://www.sqlite.org/rescode.html>).
fn from_code(code: Option<&str>) -> Option<Error> {
    let code = code?;
    if code.len() == 5 {
        return match code {
            "53100" => Some(Error::DiskFull),
            "25006" | "42501" => Some(Error::ReadOnly),
            "55P03" => Some(Error::Locked),
            "40001" | "40P01" => Some(Error::GaveWay),
            // The connection broke (class 08); the server ends, was ended, or is not up yet.
            _ if code.starts_with("08") || code.starts_with("57P0") => {
                Some(Error::Unreachable { reason: "the server ended the connection".to_owned() })
            }
            "XX001" | "XX002" => Some(Error::Damaged { what: "the database".to_owned() }),
            _ => None,
        };
    }
    let code = code.parse::<i32>().ok()?;
    match code & 0xff {
        // A write, or the shared memory beside the file, found no room (SQLITE_IOERR_WRITE, SQLITE_IOERR_SHMSIZE).
        10 if matches!(code, 778 | 4874) => Some(Error::DiskFull),
        5 | 6 => Some(Error::Locked),
        8 => Some(Error::ReadOnly),
        11 => Some(Error::Damaged { what: "the database file".to_owned() }),
        13 => Some(Error::DiskFull),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_disk_and_a_lock_are_told_by_their_codes_on_both_engines() {
        assert!(matches!(from_code(Some("13")), Some(Error::DiskFull)));
        assert!(matches!(from_code(Some("53100")), Some(Error::DiskFull)));
        assert!(matches!(from_code(Some("517")), Some(Error::Locked)), "busy snapshot");
        assert!(matches!(from_code(Some("55P03")), Some(Error::Locked)));
        assert!(matches!(from_code(Some("40P01")), Some(Error::GaveWay)), "a circle of locks");
        assert!(from_code(Some("1")).is_none());
    }
}
