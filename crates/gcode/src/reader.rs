//! Pieces of a file in, lines out.

use std::fmt;
use std::ops::ControlFlow;

use crate::line::{Command, Line, Parsed, parse};
use crate::note::{Fault, Note, Notes};
use crate::pending::{MAX_LINE, Pending};
use crate::quick::quick_line;
use crate::words::Words;

/// Takes what the reader finds.
pub trait Sink {
    /// Takes one line; `Break` ends the reading.
    fn line(&mut self, line: Line<'_>) -> ControlFlow<()>;
}

/// How much was read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Read {
    /// Lines, the last one also if it has no end.
    pub lines: u64,
    /// Bytes.
    pub bytes: u64,
    /// Commands, known or not.
    pub commands: u64,
    /// Whether bytes follow the last line end.
    pub ends_mid_line: bool,
}

/// Why a file was not read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// It has no bytes.
    Empty,
    /// It is not text: an image, an archive, a compressed toolpath.
    NotGcode {
        /// The line at which that was clear.
        line: u64,
    },
    /// It is text, but holds no command.
    NoCommands,
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Refused::Empty => f.write_str("the file is empty"),
            Refused::NotGcode { line } => {
                write!(f, "not G-code: the first {line} lines are not text (a compressed or binary file?)")
            }
            Refused::NoCommands => f.write_str("the file holds no command, only comments or blank lines"),
        }
    }
}

impl std::error::Error for Refused {}

/// A file is refused once so many lines are not text …
const NOT_TEXT: u64 = 16;
/// … and are so many times more than its commands.
const NOT_TEXT_PER_COMMAND: u64 = 4;

/// Reads a file that arrives in pieces of any size. See the [crate] for an example.
#[derive(Clone, Debug)]
pub struct Reader {
    read: Read,
    not_text: u64,
    /// The line that the last piece left unfinished, and where it starts.
    pending: Pending,
    pending_offset: u64,
    /// Where the next piece starts in the file.
    base: u64,
    /// Whether the last piece ended in CR, so that an LF to come belongs to it.
    after_cr: bool,
    words: Words,
    notes: Notes,
    /// For the lines that are read the quick way.
    no_notes: Notes,
}

impl Default for Reader {
    fn default() -> Reader {
        Reader::new()
    }
}

impl Reader {
    /// A reader at the start of a file.
    pub fn new() -> Reader {
        Reader {
            read: Read::default(),
            not_text: 0,
            pending: Pending::new(),
            pending_offset: 0,
            base: 0,
            after_cr: false,
            words: Words::default(),
            notes: Notes::default(),
            no_notes: Notes::default(),
        }
    }

    /// How much was read so far. An unfinished line is not counted before [`Reader::finish`].
    pub fn read(&self) -> Read {
        self.read
    }

    /// Reads the next piece. `Break` if the sink ended the reading.
    ///
    /// # Errors
    /// [`Refused::NotGcode`] as soon as that is clear.
    pub fn push<S: Sink>(&mut self, bytes: &[u8], sink: &mut S) -> Result<ControlFlow<()>, Refused> {
        let Some(&first) = bytes.first() else { return Ok(ControlFlow::Continue(())) };
        let mut start = usize::from(self.after_cr && first == b'\n');
        self.after_cr = false;
        if !self.pending.is_empty() {
            let Some(length) = memchr::memchr2(b'\n', b'\r', &bytes[start..]) else {
                self.pending.push(&bytes[start..]);
                self.base += bytes.len() as u64;
                return Ok(ControlFlow::Continue(()));
            };
            self.pending.push(&bytes[start..start + length]);
            start = self.behind_line_end(bytes, start + length);
            if self.pending_line(self.base + start as u64, sink)?.is_break() {
                return Ok(ControlFlow::Break(()));
            }
        }
        let flow = self.whole_lines(bytes, start, sink)?;
        self.base += bytes.len() as u64;
        Ok(flow)
    }

    /// Reads what is left, and says how much there was.
    ///
    /// # Errors
    /// The file is empty, is not G-code, or holds no command.
    pub fn finish<S: Sink>(&mut self, sink: &mut S) -> Result<Read, Refused> {
        if !self.pending.is_empty() {
            self.read.ends_mid_line = true;
            // The file is over: what the sink says no longer matters.
            let _ = self.pending_line(self.base, sink)?;
        }
        self.read.bytes = self.base;
        match self.read {
            Read { bytes: 0, .. } => Err(Refused::Empty),
            Read { commands: 0, lines, .. } if 0 < self.not_text => Err(Refused::NotGcode { line: lines }),
            Read { commands: 0, .. } => Err(Refused::NoCommands),
            read => Ok(read),
        }
    }

    /// Reads the lines that end within `bytes` from `start` on, and keeps the rest.
    fn whole_lines<S: Sink>(
        &mut self,
        bytes: &[u8],
        mut start: usize,
        sink: &mut S,
    ) -> Result<ControlFlow<()>, Refused> {
        while start < bytes.len() {
            let (next, flow) = match quick_line(bytes, start, &mut self.words) {
                Some(quick) => {
                    self.read.lines += 1;
                    self.read.commands += 1;
                    let command = Command {
                        line: self.read.lines,
                        offset: self.base + start as u64,
                        code: quick.code,
                        words: &self.words,
                        raw: &bytes[start..quick.end],
                        notes: &self.no_notes,
                    };
                    (quick.next, sink.line(Line::Command(command)))
                }
                None => {
                    let Some(length) = memchr::memchr2(b'\n', b'\r', &bytes[start..]) else {
                        self.pending_offset = self.base + start as u64;
                        self.pending.push(&bytes[start..]);
                        break;
                    };
                    let next = self.behind_line_end(bytes, start + length);
                    (next, self.careful_line(&bytes[start..start + length], self.base + start as u64, sink)?)
                }
            };
            start = next;
            if flow.is_break() {
                self.read.bytes = self.base + start as u64;
                return Ok(flow);
            }
        }
        self.read.bytes = self.base + start.min(bytes.len()) as u64;
        Ok(ControlFlow::Continue(()))
    }

    /// One past the line end at `at`: LF, CR LF or CR.
    fn behind_line_end(&mut self, bytes: &[u8], at: usize) -> usize {
        match (bytes[at], bytes.get(at + 1)) {
            (b'\r', Some(b'\n')) => at + 2,
            (b'\r', None) => {
                self.after_cr = true;
                at + 1
            }
            _ => at + 1,
        }
    }

    /// Reads the pending line, of which the last byte has now come; `end` is where the next line starts.
    fn pending_line<S: Sink>(&mut self, end: u64, sink: &mut S) -> Result<ControlFlow<()>, Refused> {
        let mut pending = std::mem::replace(&mut self.pending, Pending::new());
        let flow = self.unbroken_line(&pending, self.pending_offset, sink);
        pending.clear();
        self.pending = pending;
        self.read.bytes = end;
        flow
    }

    fn careful_line<S: Sink>(&mut self, raw: &[u8], offset: u64, sink: &mut S) -> Result<ControlFlow<()>, Refused> {
        if raw.len() <= MAX_LINE {
            return self.one_line(raw, offset, sink);
        }
        let mut pending = Pending::new();
        pending.push(raw);
        self.unbroken_line(&pending, offset, sink)
    }

    fn unbroken_line<S: Sink>(
        &mut self,
        line: &Pending,
        offset: u64,
        sink: &mut S,
    ) -> Result<ControlFlow<()>, Refused> {
        if line.is_whole() {
            return self.one_line(line.head(), offset, sink);
        }
        self.read.lines += 1;
        let note = Note { fault: Fault::TooLong, from: 0, to: line.head().len() };
        self.skipped(line.head(), offset, note, sink)
    }

    fn one_line<S: Sink>(&mut self, raw: &[u8], offset: u64, sink: &mut S) -> Result<ControlFlow<()>, Refused> {
        self.read.lines += 1;
        let line = self.read.lines;
        let raw = if line == 1 { raw.strip_prefix(b"\xef\xbb\xbf").unwrap_or(raw) } else { raw };
        let found = match parse(raw, &mut self.words, &mut self.notes) {
            Parsed::Nothing => return Ok(ControlFlow::Continue(())),
            Parsed::Skipped(note) => return self.skipped(raw, offset, note, sink),
            Parsed::Unknown { from, to } => {
                Line::Unknown { line, offset, name: &raw[from..to], raw, notes: &self.notes }
            }
            Parsed::Command(code) => {
                Line::Command(Command { line, offset, code, words: &self.words, raw, notes: &self.notes })
            }
        };
        self.read.commands += 1;
        Ok(sink.line(found))
    }

    fn skipped<S: Sink>(
        &mut self,
        raw: &[u8],
        offset: u64,
        note: Note,
        sink: &mut S,
    ) -> Result<ControlFlow<()>, Refused> {
        self.not_text += u64::from(matches!(note.fault, Fault::NotText | Fault::TooLong));
        let line = self.read.lines;
        if NOT_TEXT <= self.not_text && NOT_TEXT_PER_COMMAND * self.read.commands < self.not_text {
            return Err(Refused::NotGcode { line });
        }
        Ok(sink.line(Line::Skipped { line, offset, raw, note }))
    }
}
