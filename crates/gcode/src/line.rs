//! One line, read with care.

use crate::note::{Fault, Note, Notes};
use crate::number::decimal;
use crate::words::Words;

/// The command of a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Code {
    /// A G command.
    G(u16),
    /// An M command.
    M(u16),
    /// A tool change; `None` without a number, or with a negative or broken one.
    T(Option<u16>),
    /// No command: a line that starts with an axis word.
    Modal,
}

/// One command, borrowed from the bytes that were pushed.
#[derive(Debug)]
pub struct Command<'a> {
    /// The line, counted from 1.
    pub line: u64,
    /// Where the line starts in the file, in bytes.
    pub offset: u64,
    /// The command.
    pub code: Code,
    /// The other words.
    pub words: &'a Words,
    /// The line's bytes, without its end.
    pub raw: &'a [u8],
    /// What is wrong with it.
    pub notes: &'a Notes,
}

/// What a line holds. Lines without anything but comment are not reported.
#[derive(Debug)]
pub enum Line<'a> {
    /// A command.
    Command(Command<'a>),
    /// Something that is no G, M or T command with a whole number, such as `G29.1` or a name in letters; or, with a
    /// note, something that is no command at all.
    Unknown {
        /// The line, counted from 1.
        line: u64,
        /// Where the line starts in the file, in bytes.
        offset: u64,
        /// The command's name, shortened.
        name: &'a [u8],
        /// The line's bytes.
        raw: &'a [u8],
        /// What else is wrong with it.
        notes: &'a Notes,
    },
    /// A line that can't be read at all.
    Skipped {
        /// The line, counted from 1.
        line: u64,
        /// Where the line starts in the file, in bytes.
        offset: u64,
        /// The line's bytes.
        raw: &'a [u8],
        /// Why.
        note: Note,
    },
}

/// What [`parse`] found; words and notes are in its arguments.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Parsed {
    Nothing,
    Command(Code),
    Unknown { from: usize, to: usize },
    Skipped(Note),
}

/// The longest name of an unknown command that is reported, in bytes.
const MAX_NAME: usize = 32;

/// Commands whose line goes on as text, not as words: messages, file names and identities.
pub(crate) const TEXT: [u16; 9] = [16, 23, 28, 30, 32, 115, 117, 118, 928];

/// Letters that, at the start of a line, repeat the last motion command.
const MODAL: &[u8] = b"XYZEFIJR";

/// Reads one line without its end.
pub(crate) fn parse(line: &[u8], words: &mut Words, notes: &mut Notes) -> Parsed {
    words.clear();
    notes.clear();
    let start = skip_line_number(line);
    if line.trim_ascii_start().first() == Some(&b'%') {
        return Parsed::Nothing;
    }
    let Some((letter, behind)) = letter_at(line, start) else {
        return no_letter(line, start, notes);
    };
    if let Some(code) = text_command(line, letter, behind) {
        return Parsed::Command(code);
    }
    let code_end = match code_part(line, notes) {
        Ok(code_end) => code_end,
        Err(note) => return Parsed::Skipped(note),
    };
    if is_name(line, start) {
        return Parsed::Unknown { from: start, to: name_end(line, start, code_end) };
    }
    let mut reader = WordReader { line: &line[..code_end], code: None, words, notes };
    match reader.read(start) {
        Some(other) => other,
        None => match reader.code {
            Some(code) => Parsed::Command(code),
            None if MODAL.contains(&letter) => Parsed::Command(Code::Modal),
            None => Parsed::Unknown { from: start, to: name_end(line, start, code_end) },
        },
    }
}

/// The command, if the word at `behind` makes the rest of the line text.
fn text_command(line: &[u8], letter: u8, behind: usize) -> Option<Code> {
    let number = whole_number(decimal(&line[behind..])?.0)?;
    (letter == b'M' && TEXT.contains(&number)).then_some(Code::M(number))
}

/// Nothing, or something that does not begin with a letter.
fn no_letter(line: &[u8], start: usize, notes: &mut Notes) -> Parsed {
    match code_part(line, notes) {
        Err(note) => Parsed::Skipped(note),
        Ok(code_end) if code_end <= start => Parsed::Nothing,
        Ok(code_end) => {
            notes.add(Note { fault: Fault::Unreadable, from: start, to: code_end });
            Parsed::Unknown { from: start, to: name_end(line, start, code_end) }
        }
    }
}

fn whole_number(number: f64) -> Option<u16> {
    (0.0 <= number && number <= f64::from(u16::MAX) && number.fract() == 0.0).then_some(number as u16)
}

/// The first byte from `at` on that is neither blank nor in a `(` comment.
fn skip_blanks(line: &[u8], mut at: usize) -> usize {
    loop {
        match line.get(at) {
            Some(b' ' | b'\t') => at += 1,
            Some(b'(') => at = paren_end(line, at),
            _ => return at,
        }
    }
}

/// One past the `(` comment that begins at `at`; comments do not nest.
fn paren_end(line: &[u8], at: usize) -> usize {
    memchr::memchr(b')', &line[at..]).map_or(line.len(), |close| at + close + 1)
}

/// The capital letter at `at` and the place of its number.
fn letter_at(line: &[u8], at: usize) -> Option<(u8, usize)> {
    let letter = line.get(at).filter(|byte| byte.is_ascii_alphabetic())?.to_ascii_uppercase();
    Some((letter, skip_blanks(line, at + 1)))
}

/// Where the line's first word begins, behind blanks and an N word.
fn skip_line_number(line: &[u8]) -> usize {
    let start = skip_blanks(line, 0);
    match letter_at(line, start) {
        Some((b'N', behind)) => match decimal(&line[behind..]) {
            Some((_, length)) => skip_blanks(line, behind + length),
            None => start,
        },
        _ => start,
    }
}

/// Whether a name in letters stands at `at` rather than a word: a letter directly followed by another, or by `_`.
fn is_name(line: &[u8], at: usize) -> bool {
    line.get(at + 1).is_some_and(|byte| byte.is_ascii_alphabetic() || *byte == b'_')
}

fn name_end(line: &[u8], start: usize, code_end: usize) -> usize {
    let rest = &line[start..code_end.max(start).min(start + MAX_NAME)];
    start + rest.iter().position(|byte| matches!(byte, b' ' | b'\t' | b'(' | b'=')).unwrap_or(rest.len())
}

/// Where the line's code ends (at a `;`, at its checksum, or with the line), its checksum looked at.
///
/// # Errors
/// A control byte or a byte above 126 in the code.
fn code_part(line: &[u8], notes: &mut Notes) -> Result<usize, Note> {
    let mut at = 0;
    while let Some(&byte) = line.get(at) {
        match byte {
            b';' => return Ok(at),
            b'(' => {
                at = paren_end(line, at);
                continue;
            }
            b'*' => {
                check_sum(line, at, notes);
                return Ok(at);
            }
            b'\t' | b' '..=126 => {}
            _ => return Err(Note { fault: Fault::NotText, from: at, to: at + 1 }),
        }
        at += 1;
    }
    Ok(at)
}

/// Compares the number behind the `*` at `star` with the bytes before it.
fn check_sum(line: &[u8], star: usize, notes: &mut Notes) {
    let computed = line[..star].iter().fold(0, |sum, byte| sum ^ byte);
    let from = skip_blanks(line, star + 1);
    let digits = line[from..].iter().take_while(|byte| byte.is_ascii_digit()).count();
    let end = skip_blanks(line, from + digits);
    let given = std::str::from_utf8(&line[from..from + digits]).ok().and_then(|text| text.parse::<u32>().ok());
    let fault = match given {
        Some(given) if matches!(line.get(end), None | Some(b';')) => {
            if given == u32::from(computed) {
                return;
            }
            Fault::Checksum { computed }
        }
        _ => Fault::NoChecksum,
    };
    let to = line[star..].iter().position(|&byte| byte == b';').map_or(line.len(), |at| star + at);
    notes.add(Note { fault, from: star, to });
}

/// Reads the words of a line and finds its command among them.
struct WordReader<'a> {
    /// The line up to the end of its code.
    line: &'a [u8],
    code: Option<Code>,
    words: &'a mut Words,
    notes: &'a mut Notes,
}

impl WordReader<'_> {
    /// Reads from `from` on; something is returned if the line's command is none that can be carried out.
    fn read(&mut self, from: usize) -> Option<Parsed> {
        let mut at = skip_blanks(self.line, from);
        while at < self.line.len() {
            let Some((letter, behind)) = letter_at(self.line, at) else {
                let end = self.token_end(at + 1);
                self.notes.add(Note { fault: Fault::Unreadable, from: at, to: end });
                at = skip_blanks(self.line, end);
                continue;
            };
            let end = match (self.is_command(letter), self.code) {
                (false, _) => self.word(letter, at, behind),
                (true, None) => match self.command(letter, at, behind) {
                    Ok(end) => end,
                    Err(other) => return Some(other),
                },
                (true, Some(_)) => {
                    self.notes.add(Note { fault: Fault::SecondCommand, from: at, to: self.token_end(behind) });
                    return None;
                }
            };
            at = skip_blanks(self.line, end);
        }
        None
    }

    /// T is a parameter of M commands: `M104 T1 S200`.
    fn is_command(&self, letter: u8) -> bool {
        matches!(letter, b'G' | b'M') || letter == b'T' && !matches!(self.code, Some(Code::M(_)))
    }

    /// Reads the command word at `at`; returns its end.
    fn command(&mut self, letter: u8, at: usize, behind: usize) -> Result<usize, Parsed> {
        let number = decimal(&self.line[behind..]);
        let end = behind + number.map_or(0, |(_, length)| length);
        let whole = number.and_then(|(number, _)| whole_number(number));
        self.code = Some(match (letter, whole) {
            (b'T', _) => Code::T(whole),
            (b'G', Some(number)) => Code::G(number),
            (_, Some(number)) => Code::M(number),
            (_, None) => {
                if number.is_none() {
                    self.notes.add(Note { fault: Fault::NoNumber, from: at, to: at + 1 });
                }
                return Err(Parsed::Unknown { from: at, to: end.max(at + 1) });
            }
        });
        Ok(end)
    }

    /// Reads the word `letter` at `at`, its number at `behind`; returns its end.
    fn word(&mut self, letter: u8, at: usize, behind: usize) -> usize {
        let twice = self.words.names(letter);
        let (end, fault) = match decimal(&self.line[behind..]) {
            Some((value, length)) => {
                self.words.set(letter, value);
                let end = behind + length;
                let clean = self.token_end(end);
                if clean == end { (end, None) } else { (clean, Some(Fault::Unreadable)) }
            }
            None => (self.token_end(at + 1), Some(Fault::NoNumber)),
        };
        match fault {
            Some(Fault::Unreadable) => self.words.spoil(letter),
            Some(_) => self.words.name(letter),
            None => {}
        }
        for fault in fault.into_iter().chain(twice.then_some(Fault::Twice)) {
            self.notes.add(Note { fault, from: at, to: end });
        }
        end
    }

    /// Where what stands at `at` ends: at a blank, a letter or a comment.
    fn token_end(&self, at: usize) -> usize {
        let rest = self.line.get(at..).unwrap_or_default();
        let ends = |byte: &u8| matches!(byte, b' ' | b'\t' | b'(') || byte.is_ascii_alphabetic();
        at + rest.iter().position(ends).unwrap_or(rest.len())
    }
}
