//! A file that is whole or is not there: packed, sealed by a checksum over everything before it, and named only once it is on
//! the disk.
//!
//! ```text
//! file = one Zstandard frame (RFC 8878), seal
//! seal = skippable frame (RFC 8878, 3.1.2) of 32 bytes: the SHA-256 of all bytes before the seal
//! ```
//! So any program for Zstandard unpacks it.

use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, BufWriter, Read, Seek, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};
use tempfile::NamedTempFile;

use crate::trouble::Trouble;

/// How the seal begins: the number of a skippable frame, and its length.
const SEAL: [u8; 8] = [0x5e, 0x2a, 0x4d, 0x18, 32, 0, 0, 0];

/// Bytes of the whole seal.
const SEAL_LENGTH: u64 = 40;

/// How hard to pack: the library's own middle.
const LEVEL: i32 = 3;

/// A sealed file being made. Whoever drops it unfinished leaves nothing behind.
pub(crate) struct Maker {
    path: PathBuf,
    replaces: bool,
    packer: zstd::Encoder<'static, BufWriter<Hashing>>,
}

/// A file and the hash of what went into it.
struct Hashing {
    file: NamedTempFile,
    hash: Sha256,
}

impl Write for Hashing {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.file.write(bytes)?;
        self.hash.update(&bytes[..count]);
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

impl Maker {
    /// Begins a file, beside where it will be and readable for its owner alone.
    ///
    /// # Errors
    /// A folder that can't be written; a file that is there already, unless it is to be replaced.
    pub(crate) fn new(path: &Path, replaces: bool) -> Result<Maker, Trouble> {
        if path.is_dir() {
            return Err(Trouble::refused(format!("{} is a folder", path.display())).help("name a file in it"));
        }
        if !replaces && path.exists() {
            return Err(taken(path));
        }
        let unwritten = |error| unwritten(path, &error);
        let file = tempfile::Builder::new().prefix(".unfinished-").tempfile_in(folder_of(path)).map_err(unwritten)?;
        let hashing = BufWriter::new(Hashing { file, hash: Sha256::new() });
        let packer = zstd::Encoder::new(hashing, LEVEL).map_err(unwritten)?;
        Ok(Maker { path: path.to_owned(), replaces, packer })
    }

    /// Seals the file, waits until it is on the disk and gives it its name. Gives its length in bytes.
    ///
    /// # Errors
    /// A disk that is full; a file of that name that somebody has made meanwhile.
    pub(crate) fn finish(self) -> Result<u64, Trouble> {
        let Maker { path, replaces, packer } = self;
        let unwritten = |error: io::Error| unwritten(&path, &error);
        let hashing = packer.finish().and_then(|buffer| buffer.into_inner().map_err(|error| error.into_error()));
        let Hashing { mut file, hash } = hashing.map_err(unwritten)?;
        file.write_all(&SEAL).and_then(|()| file.write_all(&hash.finalize())).map_err(unwritten)?;
        file.as_file().sync_all().map_err(unwritten)?;
        let length = file.as_file().metadata().map_err(unwritten)?.len();
        let named = if replaces { file.persist(&path) } else { file.persist_noclobber(&path) };
        named.map_err(|error| match error.error.kind() {
            io::ErrorKind::AlreadyExists => taken(&path),
            _ => unwritten(error.error),
        })?;
        // The name is lost with the power until the folder is on the disk too.
        #[cfg(unix)]
        File::open(folder_of(&path)).and_then(|folder| folder.sync_all()).map_err(unwritten)?;
        Ok(length)
    }
}

impl Write for Maker {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.packer.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.packer.flush()
    }
}

/// Opens a sealed file, once it has proved to be whole.
///
/// # Errors
/// A file that can't be read, is cut off, or has any byte other than it was made with.
pub(crate) fn open(path: &Path) -> Result<impl BufRead + Send + use<>, Trouble> {
    let unread = |error: io::Error| Trouble::refused(format!("{} can't be read: {error}", path.display()));
    let damaged = |why: &str| {
        Trouble::refused(format!("{} {why}", path.display())).help("nothing was changed; take another copy")
    };
    if path.is_dir() {
        return Err(damaged("is a folder, not a backup").help("an export is read by: tallow shop import FOLDER"));
    }
    let mut file = File::open(path).map_err(unread)?;
    let length = fs::metadata(path).map_err(unread)?.len().checked_sub(SEAL_LENGTH);
    let length = length.ok_or_else(|| damaged("is no backup, or only the beginning of one"))?;
    let mut hash = Sha256::new();
    io::copy(&mut (&mut file).take(length), &mut HashWriter(&mut hash)).map_err(unread)?;
    let mut seal = [0; SEAL_LENGTH as usize];
    file.read_exact(&mut seal).map_err(unread)?;
    let (begins, checksum) = seal.split_at(SEAL.len());
    if begins != SEAL {
        return Err(damaged("is no backup, or one that was cut off"));
    }
    if checksum != hash.finalize().as_slice() {
        return Err(damaged("is damaged: its checksum is not that of what it holds"));
    }
    file.rewind().map_err(unread)?;
    let unpacker = zstd::Decoder::new(file.take(length)).map_err(unread)?;
    Ok(BufReader::with_capacity(1 << 16, unpacker))
}

struct HashWriter<'a>(&'a mut Sha256);

impl Write for HashWriter<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

fn folder_of(path: &Path) -> &Path {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

fn taken(path: &Path) -> Trouble {
    Trouble::refused(format!("{} is there already", path.display()))
        .help("choose another name, or put the new one in its place: --replace")
}

fn unwritten(path: &Path, error: &io::Error) -> Trouble {
    Trouble::refused(format!("{} can't be written: {error}", path.display()))
        .help("check the folder, its permissions and the room on its disk")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn made(folder: &Path) -> PathBuf {
        let path = folder.join("one");
        let mut maker = Maker::new(&path, false).unwrap();
        for number in 0..2000 {
            writeln!(maker, "line {number}").unwrap();
        }
        assert_eq!(maker.finish().unwrap(), fs::metadata(&path).unwrap().len());
        path
    }

    #[test]
    fn what_was_put_in_comes_out_by_any_program_for_zstandard_too() {
        let folder = tempfile::tempdir().unwrap();
        let path = made(folder.path());
        let mut text = String::new();
        open(&path).unwrap().read_to_string(&mut text).unwrap();
        assert!(text.starts_with("line 0\nline 1\n") && text.ends_with("line 1999\n"));
        assert_eq!(zstd::decode_all(File::open(&path).unwrap()).unwrap(), text.into_bytes());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing is left beside it");
    }

    #[test]
    fn a_file_cut_off_anywhere_or_with_any_byte_changed_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let path = made(folder.path());
        let bytes = fs::read(&path).unwrap();
        for end in 0..bytes.len() {
            fs::write(&path, &bytes[..end]).unwrap();
            assert!(open(&path).is_err(), "cut off after {end} bytes");
        }
        for place in 0..bytes.len() {
            let mut spoilt = bytes.clone();
            spoilt[place] ^= 0x10;
            fs::write(&path, &spoilt).unwrap();
            assert!(open(&path).is_err(), "byte {place}");
        }
        fs::write(&path, [&bytes[..], b"more"].concat()).unwrap();
        assert!(open(&path).is_err());
    }

    #[cfg(unix)]
    #[test]
    fn only_its_owner_may_read_it() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let mode = fs::metadata(made(folder.path())).unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
    }

    #[test]
    fn an_unfinished_file_leaves_nothing_and_a_finished_one_is_not_overwritten() {
        let folder = tempfile::tempdir().unwrap();
        let path = made(folder.path());
        let before = fs::read(&path).unwrap();
        assert!(Maker::new(&path, false).is_err());
        drop(Maker::new(&path, true).unwrap());
        assert_eq!(fs::read(&path).unwrap(), before);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        // Somebody makes the file while another is being made.
        let late = folder.path().join("late");
        let maker = Maker::new(&late, false).unwrap();
        fs::write(&late, "mine").unwrap();
        assert!(maker.finish().is_err());
        assert_eq!(fs::read(&late).unwrap(), b"mine");
    }
}
