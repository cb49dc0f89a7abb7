//! Print files: plain, gzip, zstd, or standard input, as one stream of plain bytes.

use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use sha2::{Digest, Sha256};

use crate::progress::{Progress, Unit, Watched};
use crate::trouble::Trouble;

const GZIP: [u8; 2] = [0x1f, 0x8b];
const ZSTD: [u8; 4] = [0x28, 0xb5, 0x2f, 0xfd];
const BUFFER: usize = 256 * 1024;

/// Where a print file comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Source {
    /// A file on disk.
    File(PathBuf),
    /// Standard input, written `-`.
    Standard,
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
            Source::Standard => "standard input".to_owned(),
        }
    }

    /// The file's own name, without folders and without an ending that only says how it is packed.
    pub(crate) fn label(&self) -> String {
        let Source::File(path) = self else { return self.name() };
        let name = path.file_name().map_or_else(|| self.name(), |name| name.to_string_lossy().into_owned());
        name.strip_suffix(".gz").or_else(|| name.strip_suffix(".zst")).unwrap_or(&name).to_owned()
    }

    /// Opens it for reading plain bytes, whatever it is packed in. `progress` is told of the bytes as they are packed.
    ///
    /// # Errors
    /// A file that can't be opened, or a folder; [`Source::trouble`] puts it into words.
    pub(crate) fn open(&self, progress: &Arc<Progress>) -> io::Result<Plain> {
        let raw: Box<dyn Read + Send> = match self {
            Source::Standard => Box::new(io::stdin()),
            Source::File(path) if path.is_dir() => return Err(io::ErrorKind::IsADirectory.into()),
            Source::File(path) => Box::new(File::open(path)?),
        };
        plain(Box::new(Watched::new(raw, progress.clone())))
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

/// The SHA-256 of `bytes`, lower-case hexadecimal.
pub(crate) fn sha256(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
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
    fn the_hash_is_of_the_plain_bytes() {
        let mut hashed = Hashed::new(&b"abc"[..]);
        io::copy(&mut hashed, &mut io::sink()).unwrap();
        // FIPS 180-4, example of SHA-256 for the message "abc".
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(hashed.finish(), (expected.to_owned(), 3));
    }
}
