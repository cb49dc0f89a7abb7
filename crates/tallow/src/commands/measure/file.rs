//! Files that are measured: read whole, apart from the reckoning.

use std::io;
use std::path::Path;

use signal::SignalError;

use super::refused;
use crate::context::Context;
use crate::input::MOST_OF_A_RECORDING;
use crate::trouble::Trouble;

/// A file's bytes, and what it is called.
#[derive(Clone, Debug)]
pub(crate) struct Bytes {
    pub(crate) name: String,
    pub(crate) bytes: Vec<u8>,
}

impl Bytes {
    /// Reads the file that a command names.
    ///
    /// # Errors
    /// What can't be read, and where somebody sent it more than is read.
    pub(super) fn read(context: &Context, path: &Path) -> Result<Bytes, Trouble> {
        let source = context.source(path)?;
        let name = source.name();
        match source.bytes(MOST_OF_A_RECORDING) {
            Ok(bytes) => Ok(Bytes { name, bytes }),
            Err(error) if error.kind() == io::ErrorKind::IsADirectory => {
                Err(Trouble::refused(format!("{name} is a folder, not a file")).help("name the file in it"))
            }
            Err(error) => Err(source.trouble(&error)),
        }
    }

    /// Reads the file that a command names, if it names one.
    ///
    /// # Errors
    /// As [`Bytes::read`].
    pub(super) fn read_some(context: &Context, path: Option<&Path>) -> Result<Option<Bytes>, Trouble> {
        path.map(|path| Bytes::read(context, path)).transpose()
    }

    /// What is wrong with it.
    pub(super) fn refused(&self, error: &SignalError) -> Trouble {
        let trouble = refused(error);
        let named = Trouble::refused(format!("{}: {}", self.name, trouble.what()));
        trouble.help_lines().iter().fold(named, |named, line| named.help(line))
    }
}
