//! What is wrong with a line, and where.

/// What is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Something that is neither a word nor a comment.
    Unreadable,
    /// A letter without a number.
    NoNumber,
    /// A word given twice; the last counts.
    Twice,
    /// A second command on the line; it and what follows is ignored.
    SecondCommand,
    /// The checksum does not match the line.
    Checksum {
        /// The exclusive or of the bytes before the `*`.
        computed: u8,
    },
    /// A `*` without a readable checksum.
    NoChecksum,
    /// A control byte, or a byte above 126, outside comments.
    NotText,
    /// More than [`MAX_LINE`](crate::MAX_LINE) bytes of code.
    TooLong,
}

impl Fault {
    /// Whether a word of the line is lost.
    pub fn spoils_words(self) -> bool {
        matches!(self, Fault::Unreadable | Fault::NoNumber)
    }
}

/// A fault and the bytes of the line that it concerns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Note {
    /// What is wrong.
    pub fault: Fault,
    /// First byte in the line, from 0.
    pub from: usize,
    /// One past the last byte in the line.
    pub to: usize,
}

/// The most bytes of a line that a message quotes.
const QUOTED: usize = 24;

impl Note {
    /// The column, counted in bytes from 1.
    pub fn column(&self) -> u32 {
        u32::try_from(self.from + 1).unwrap_or(u32::MAX)
    }

    /// What was found in `line` and what was expected, in words.
    pub fn describe(&self, line: &[u8]) -> String {
        let found = quote(line.get(self.from..self.to.min(line.len())).unwrap_or_default());
        match self.fault {
            Fault::Unreadable => format!("can't read {found}: expected a word such as X12.5"),
            Fault::NoNumber => format!("no number in {found}: expected a number such as 12.5"),
            Fault::Twice => format!("{found} gives a word a second time: the last counts"),
            Fault::SecondCommand => format!("a second command, {found}: only the first of a line is carried out"),
            Fault::Checksum { computed } => format!("checksum {found} does not match the line: expected *{computed}"),
            Fault::NoChecksum => format!("can't read the checksum {found}: expected a number such as *71"),
            Fault::NotText => format!("{found} is not text: expected printable ASCII outside comments"),
            Fault::TooLong => format!("the line is longer than {} bytes: expected a command", crate::MAX_LINE),
        }
    }
}

/// `bytes` in quotation marks, shortened, with what can't be printed as `\x..`.
fn quote(bytes: &[u8]) -> String {
    let shown = &bytes[..bytes.len().min(QUOTED)];
    let dots = if shown.len() < bytes.len() { "..." } else { "" };
    format!("\"{}{dots}\"", shown.escape_ascii())
}

/// The notes on one line: at most one of each kind, the first.
#[derive(Clone, Debug, Default)]
pub struct Notes(Vec<Note>);

impl Notes {
    pub(crate) fn clear(&mut self) {
        self.0.clear();
    }

    pub(crate) fn add(&mut self, note: Note) {
        let same = |old: &Note| std::mem::discriminant(&old.fault) == std::mem::discriminant(&note.fault);
        if !self.0.iter().any(same) {
            self.0.push(note);
        }
    }

    /// The notes in the order in which they were made.
    pub fn iter(&self) -> impl Iterator<Item = &Note> {
        self.0.iter()
    }

    /// Whether there are none.
    #[inline]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
