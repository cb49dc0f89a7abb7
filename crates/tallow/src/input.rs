//! Print files: plain, gzip, zstd, sent over the network, or standard input, as one stream of plain bytes.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use ledger::hexadecimal;
use sha2::{Digest, Sha256};

use crate::progress::{Progress, Unit, Watched};
use crate::trouble::Trouble;

const GZIP: [u8; 2] = [0x1f, 0x8b];
const ZSTD: [u8; 4] = [0x28, 0xb5, 0x2f, 0xfd];
const BUFFER: usize = 256 * 1024;

/// The most that is read of a table that somebody sent, bytes as unpacked: four thousand lives that failed between two looks take
/// about a second without a law (`tallow life curve`), and twice as many four times as long.
pub(crate) const MOST_OF_A_TABLE: usize = 64 * 1024;

/// The most that is read of a build that somebody sent, bytes as unpacked. Those that come with tallow have 60 KiB.
pub(crate) const MOST_OF_A_BUILD: usize = 512 * 1024;

/// The most that is read of a recording, photo or log that somebody sent, bytes as unpacked: two minutes of sound, or ten of
/// accelerations a thousand times a second.
pub(crate) const MOST_OF_A_RECORDING: usize = 16 * 1024 * 1024;

/// Where a print file comes from.
#[derive(Clone, Debug)]
pub(crate) enum Source {
    /// A file on disk.
    File(PathBuf),
    /// A file that somebody sent.
    Sent(Sent),
    /// Standard input, written `-`.
    Standard,
}

/// A file that somebody sent over the network: open, and of no name on this system. It is read by one reader at a time.
#[derive(Clone, Debug)]
pub(crate) struct Sent {
    /// What its sender calls it. Words for people: never a place to open.
    pub(crate) name: String,
    /// Its content.
    pub(crate) file: Arc<File>,
}

impl Source {
    /// The source that a command line names.
    pub(crate) fn named(name: &Path) -> Source {
        if name == Path::new("-") { Source::Standard } else { Source::File(name.to_owned()) }
    }

    /// How messages call it.
    pub(crate) fn name(&self) -> String {
        match self {
            Source::File(path) => path.display().to_string(),
            Source::Sent(sent) => sent.name.clone(),
            Source::Standard => "standard input".to_owned(),
        }
    }

    /// The file's own name, without folders and without an ending that only says how it is packed.
    pub(crate) fn label(&self) -> String {
        let name = match self {
            Source::File(path) => path.file_name().map(|name| name.to_string_lossy().into_owned()),
            Source::Sent(_) | Source::Standard => None,
        };
        let name = name.unwrap_or_else(|| self.name());
        name.strip_suffix(".gz").or_else(|| name.strip_suffix(".zst")).unwrap_or(&name).to_owned()
    }

    /// Opens it for reading plain bytes, whatever it is packed in. `progress` is told of the bytes as they are packed.
    ///
    /// # Errors
    /// A file that can't be opened, or a folder; [`Source::trouble`] puts it into words.
    pub(crate) fn open(&self, progress: &Arc<Progress>) -> io::Result<Plain> {
        let raw: Box<dyn Read + Send> = match self {
            Source::Standard => Box::new(io::stdin()),
            Source::Sent(sent) => {
                let mut file = sent.file.try_clone()?;
                file.seek(SeekFrom::Start(0))?;
                Box::new(file)
            }
            Source::File(path) if path.is_dir() => return Err(io::ErrorKind::IsADirectory.into()),
            Source::File(path) => Box::new(File::open(path)?),
        };
        let watched = Box::new(Watched::new(raw, progress.clone()));
        match self {
            Source::Sent(_) => sent_plain(watched, self.size().unwrap_or(0)),
            Source::File(_) | Source::Standard => plain(watched),
        }
    }

    /// All its plain bytes: for tables and builds, which are small.
    ///
    /// # Errors
    /// As [`Source::open`], what can't be read or unpacked, and where somebody sent it more than `most_sent`.
    pub(crate) fn bytes(&self, most_sent: usize) -> io::Result<Vec<u8>> {
        let plain = self.open(&Arc::new(Progress::new(self.size(), Unit::Bytes)))?;
        let most = if matches!(self, Source::Sent(_)) { most_sent } else { usize::MAX };
        let mut bytes = Vec::new();
        if most < plain.take((most as u64).saturating_add(1)).read_to_end(&mut bytes)? {
            return Err(io::Error::new(io::ErrorKind::InvalidData, format!("it has more than {} KiB", most / 1024)));
        }
        Ok(bytes)
    }

    /// The SHA-256 of its plain bytes, lower-case hexadecimal, and how many there are.
    ///
    /// # Errors
    /// A file that can't be opened, read or unpacked.
    pub(crate) fn digest(&self) -> Result<(String, u64), Trouble> {
        let progress = Arc::new(Progress::new(self.size(), Unit::Bytes));
        let read = self.open(&progress).and_then(|plain| {
            let mut hashed = Hashed::new(plain);
            io::copy(&mut hashed, &mut io::sink())?;
            Ok(hashed.finish())
        });
        read.map_err(|error| self.trouble(&error))
    }

    /// Its size on disk, if it has one.
    pub(crate) fn size(&self) -> Option<u64> {
        match self {
            Source::File(path) => path.metadata().ok().map(|metadata| metadata.len()),
            Source::Sent(sent) => sent.file.metadata().ok().map(|metadata| metadata.len()),
            Source::Standard => None,
        }
    }

    /// A reading error in the user's words.
    pub(crate) fn trouble(&self, error: &io::Error) -> Trouble {
        let name = self.name();
        match error.kind() {
            io::ErrorKind::NotFound => {
                Trouble::refused(format!("there is no file {name}")).help("check the name and the folder")
            }
            io::ErrorKind::IsADirectory => Trouble::refused(format!("{name} is a folder, not a print file"))
                .help("name the files, for example with a pattern: tallow meter folder/*.gcode"),
            io::ErrorKind::PermissionDenied => {
                Trouble::refused(format!("{name} may not be read")).help("ask its owner for leave to read it")
            }
            io::ErrorKind::UnexpectedEof => {
                Trouble::refused(format!("{name} is not whole: the packed data are cut off, or something else stands behind them; nothing was counted"))
                    .help("copy the file again from where it was made")
            }
            io::ErrorKind::InvalidInput | io::ErrorKind::InvalidData => {
                Trouble::refused(format!("{name} can't be unpacked: {error}; nothing was counted"))
                    .help("copy the file again from where it was made")
            }
            _ => Trouble::refused(format!("{name} could not be read: {error}")),
        }
    }
}

/// Plain bytes out of a source.
pub(crate) type Plain = Box<dyn Read + Send>;

fn plain(mut raw: Box<dyn Read + Send>) -> io::Result<Plain> {
    let mut head = Vec::with_capacity(ZSTD.len());
    raw.by_ref().take(ZSTD.len() as u64).read_to_end(&mut head)?;
    let (gzip, zstd) = (head.starts_with(&GZIP), head == ZSTD);
    let whole = io::Cursor::new(head).chain(raw);
    Ok(if gzip {
        Box::new(flate2::read::MultiGzDecoder::new(BufReader::with_capacity(BUFFER, whole)))
    } else if zstd {
        Box::new(zstd::stream::read::Decoder::new(whole)?)
    } else {
        Box::new(whole)
    })
}

/// The plain bytes of what somebody sent, `packed` bytes as it came.
///
/// # Errors
/// What can't be unpacked; where it is read, also what unpacks to more than any print file does.
pub(crate) fn sent_plain(raw: Box<dyn Read + Send>, packed: u64) -> io::Result<Plain> {
    Ok(Box::new(Bounded::new(plain(raw)?, packed)))
}

/// A reader of what somebody sent, which breaks off where it unpacks to more than any print file does.
struct Bounded {
    reader: Plain,
    left: u64,
}

/// Bytes that anything may unpack to, and how many times its packed size beyond them. Print files pack to a third or a tenth;
/// bytes that are all alike, to a thousandth. Judgement, no source.
const UNPACKED: (u64, u64) = (16 * 1024 * 1024, 100);

impl Bounded {
    fn new(reader: Plain, packed: u64) -> Bounded {
        let (floor, ratio) = UNPACKED;
        Bounded { reader, left: packed.saturating_mul(ratio).saturating_add(floor) }
    }
}

impl Read for Bounded {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.reader.read(buffer)?;
        let left = self.left.checked_sub(count as u64);
        self.left =
            left.ok_or_else(|| io::Error::new(io::ErrorKind::InvalidData, "it is far larger than it was packed"))?;
        Ok(count)
    }
}

/// The SHA-256 of `bytes`, lower-case hexadecimal.
pub(crate) fn sha256(bytes: &[u8]) -> String {
    hexadecimal(&sha256_bytes(bytes))
}

/// The SHA-256 of `bytes`.
pub(crate) fn sha256_bytes(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}

/// Reads a SHA-256 as people and programs write it.
///
/// # Errors
/// What is none.
pub(crate) fn read_sha256(text: &str) -> Result<String, Trouble> {
    let text = text.trim().to_ascii_lowercase();
    match text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
        true => Ok(text),
        false => Err(Trouble::refused(format!("\"{text}\" is no SHA-256"))
            .help("give 64 hexadecimal digits, of the file's plain bytes: sha256sum FILE")),
    }
}

/// A reader that hashes what passes.
pub(crate) struct Hashed<R> {
    reader: R,
    hash: Sha256,
    bytes: u64,
}

impl<R: Read> Hashed<R> {
    /// Hashes what is read from `reader`.
    pub(crate) fn new(reader: R) -> Hashed<R> {
        Hashed { reader, hash: Sha256::new(), bytes: 0 }
    }

    /// The SHA-256 of all bytes that passed, lower-case hexadecimal, and how many there were.
    pub(crate) fn finish(self) -> (String, u64) {
        (hexadecimal(&self.hash.finalize()), self.bytes)
    }
}

impl<R: Read> Read for Hashed<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.reader.read(buffer)?;
        self.hash.update(&buffer[..count]);
        self.bytes += count as u64;
        Ok(count)
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;

    const TEXT: &[u8] = b"G1 X10 F600\nG1 X0\n";

    #[track_caller]
    fn open_bytes(bytes: &[u8]) -> io::Result<Vec<u8>> {
        let mut found = Vec::new();
        plain(Box::new(io::Cursor::new(bytes.to_vec())))?.read_to_end(&mut found)?;
        Ok(found)
    }

    fn gzip() -> Vec<u8> {
        let mut encoder = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
        encoder.write_all(TEXT).unwrap();
        encoder.finish().unwrap()
    }

    #[test]
    fn packed_and_plain_files_give_the_same_bytes() {
        let zstd = zstd::stream::encode_all(TEXT, 3).unwrap();
        for bytes in [TEXT.to_vec(), gzip(), zstd] {
            assert_eq!(open_bytes(&bytes).unwrap(), TEXT);
        }
        assert_eq!(open_bytes(b"").unwrap(), b"");
        assert_eq!(open_bytes(b"M").unwrap(), b"M");
    }

    #[test]
    fn frames_one_after_another_are_all_read() {
        let frame = zstd::stream::encode_all(TEXT, 3).unwrap();
        for twice in [[gzip(), gzip()].concat(), [frame.clone(), frame].concat()] {
            assert_eq!(open_bytes(&twice).unwrap(), [TEXT, TEXT].concat());
        }
    }

    #[test]
    fn packed_data_that_are_cut_off_are_an_error_and_not_a_short_file() {
        let zstd = zstd::stream::encode_all(TEXT, 3).unwrap();
        for whole in [gzip(), zstd] {
            for length in 5..whole.len() {
                assert!(open_bytes(&whole[..length]).is_err(), "{length} of {} bytes", whole.len());
            }
        }
    }

    #[test]
    fn what_was_sent_can_not_unpack_without_end() {
        let sent = |plain: &[u8]| {
            let mut file = tempfile::tempfile().unwrap();
            file.write_all(&zstd::stream::encode_all(plain, 3).unwrap()).unwrap();
            let source = Source::Sent(Sent { name: "sent".into(), file: Arc::new(file) });
            source.digest().map(|(_, bytes)| bytes).map_err(|trouble| trouble.to_string())
        };
        assert_eq!(sent(&TEXT.repeat(100_000)), Ok(100_000 * TEXT.len() as u64), "2 MB of the same lines");
        let bomb = sent(&vec![b'\n'; 64 * 1024 * 1024]).unwrap_err();
        assert!(bomb.contains("far larger than it was packed"), "{bomb}");
    }

    #[test]
    fn a_table_that_was_sent_is_small_however_it_is_packed() {
        let most = MOST_OF_A_TABLE;
        let read = |bytes: &[u8]| {
            let mut file = tempfile::tempfile().unwrap();
            file.write_all(bytes).unwrap();
            Source::Sent(Sent { name: "table".into(), file: Arc::new(file) }).bytes(most).map(|bytes| bytes.len())
        };
        let packed = |length: usize| zstd::stream::encode_all(&vec![b'1'; length][..], 3).unwrap();
        assert_eq!([read(&vec![b'1'; most]).unwrap(), read(&packed(most)).unwrap()], [most; 2]);
        assert!(read(&vec![b'1'; most + 1]).is_err() && read(&packed(most + 1)).is_err());
    }

    #[test]
    fn the_hash_is_of_the_plain_bytes() {
        let mut hashed = Hashed::new(&b"abc"[..]);
        io::copy(&mut hashed, &mut io::sink()).unwrap();
        // FIPS 180-4, example of SHA-256 for the message "abc".
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(hashed.finish(), (expected.to_owned(), 3));
    }
}
