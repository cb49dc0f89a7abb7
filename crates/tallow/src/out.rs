//! The only module that prints. Answers go to standard output (or are kept for whoever asked over the network), troubles and
//! progress to standard error.
//!
//! Text may hold whatever somebody typed or a file held. What a terminal would obey (control characters) is shown by its
//! number instead, so that no note clears a screen or breaks a table.

use std::borrow::Cow;
use std::fs;
use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

use serde_json::Value;
use upkeep::build::SignalWord;

use crate::trouble::Trouble;

/// How to dress text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Dress {
    /// As it is.
    Plain,
    /// The one thing that matters on a line.
    Bold,
    /// A signal word, in its safety colour (ANSI Z535.1).
    Signal(SignalWord),
}

/// Where an answer goes: standard output, in colour only on a terminal that wants it (NO_COLOR is honoured), or into memory.
#[derive(Clone, Debug)]
pub(crate) struct Out {
    colour: bool,
    /// Columns of the terminal; `None` where the answer goes elsewhere.
    columns: Option<usize>,
    /// What was answered so far, where it is not printed.
    kept: Option<Arc<Mutex<String>>>,
}

/// How wide a terminal is taken to be that does not say, and text that goes elsewhere.
const COLUMNS: usize = 80;

/// Wider lines of running text are hard to read.
const LONGEST_LINE: usize = 100;

/// Writes an answer into a file that the user has named.
///
/// # Errors
/// A file that can't be written.
pub(crate) fn file(path: &Path, text: &str) -> Result<(), Trouble> {
    fs::write(path, text).map_err(|error| {
        Trouble::refused(format!("{} can't be written: {error}", path.display()))
            .help("check the folder and its permissions")
    })
}

impl Out {
    /// The process' standard output.
    pub(crate) fn standard() -> Out {
        let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        Out { colour: io::stdout().is_terminal() && !refused, columns: columns(), kept: None }
    }

    /// Keeps answers instead of printing them.
    pub(crate) fn kept() -> Out {
        Out { colour: false, columns: None, kept: Some(Arc::default()) }
    }

    /// Takes what was kept.
    pub(crate) fn take(&self) -> String {
        let lock = self.kept.as_ref().map(|kept| kept.lock().unwrap_or_else(PoisonError::into_inner));
        lock.map(|mut kept| std::mem::take(&mut *kept)).unwrap_or_default()
    }

    /// Whether so many columns fit beside each other.
    pub(crate) fn fits(&self, width: usize) -> bool {
        self.columns.is_none_or(|columns| width <= columns)
    }

    /// Prints a line, or several.
    pub(crate) fn line(&self, text: impl AsRef<str>) -> Result<(), Trouble> {
        self.write(&format!("{}\n", harmless(text.as_ref())))
    }

    /// Prints a line in a dress.
    pub(crate) fn dressed_line(&self, text: &str, dress: Dress) -> Result<(), Trouble> {
        self.write(&format!("{}\n", self.dressed(&harmless(text), dress)))
    }

    /// How many columns a drawing may take.
    pub(crate) fn width(&self) -> usize {
        self.columns.unwrap_or(COLUMNS)
    }

    /// Prints running text, broken into lines that the terminal holds; the lines after the first stand under `lead`'s
    /// end.
    pub(crate) fn prose(&self, lead: &str, text: &str) -> Result<(), Trouble> {
        self.prose_after(&harmless(lead), lead.chars().count(), text)
    }

    /// Prints running text behind a signal word.
    pub(crate) fn caution(&self, word: SignalWord, text: &str) -> Result<(), Trouble> {
        let name = format!(" {} ", word.name().to_uppercase());
        let lead = format!("[{}] ", self.dressed(&name, Dress::Signal(word)));
        self.prose_after(&lead, name.len() + 3, text)
    }

    fn prose_after(&self, lead: &str, indent: usize, text: &str) -> Result<(), Trouble> {
        let width = self.columns.unwrap_or(COLUMNS).min(LONGEST_LINE).saturating_sub(indent);
        let text = harmless(text).replace('\n', " ");
        let lines = wrapped(&text, width).join(&format!("\n{:indent$}", ""));
        self.write(&format!("{lead}{lines}\n"))
    }

    /// Prints a file's text as it is.
    pub(crate) fn verbatim(&self, text: &str) -> Result<(), Trouble> {
        self.write(text)
    }

    /// Prints a value as JSON, over several lines.
    pub(crate) fn json(&self, value: &Value) -> Result<(), Trouble> {
        self.write(&format!("{value:#}\n"))
    }

    /// Prints a table.
    pub(crate) fn table(&self, table: &Table) -> Result<(), Trouble> {
        self.write(&table.render(self))
    }

    /// Dresses harmless text if the output shows colour.
    fn dressed(&self, text: &str, dress: Dress) -> String {
        let code = match dress {
            Dress::Plain => return text.to_owned(),
            Dress::Bold => "1",
            Dress::Signal(SignalWord::Danger) => "97;41",
            Dress::Signal(SignalWord::Warning) => "30;48;5;208",
            Dress::Signal(SignalWord::Caution) => "30;43",
            Dress::Signal(SignalWord::Notice) => "97;44",
        };
        if self.colour { format!("\x1b[{code}m{text}\x1b[0m") } else { text.to_owned() }
    }

    fn write(&self, text: &str) -> Result<(), Trouble> {
        if let Some(kept) = &self.kept {
            kept.lock().unwrap_or_else(PoisonError::into_inner).push_str(text);
            return Ok(());
        }
        match io::stdout().lock().write_all(text.as_bytes()) {
            // The reader of a pipe has seen enough; nothing is wrong.
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            result => result.map_err(|error| Trouble::refused(format!("the answer could not be written: {error}"))),
        }
    }
}

/// The width to keep to: COLUMNS if that is set, else the terminal's.
fn columns() -> Option<usize> {
    let named = std::env::var("COLUMNS").ok().and_then(|text| text.parse().ok()).filter(|columns| 0 < *columns);
    let shown = || terminal_size::terminal_size_of(io::stdout()).map_or(COLUMNS, |(width, _)| usize::from(width.0));
    named.or_else(|| io::stdout().is_terminal().then(shown))
}

/// Prints a trouble on standard error.
pub(crate) fn trouble(trouble: &Trouble, json: bool) {
    let text = if json {
        format!("{}\n", serde_json::json!({ "error": trouble.what(), "help": trouble.help_lines() }))
    } else {
        format!("error: {}\n", harmless(&trouble.to_string()))
    };
    // OK to ignore: when standard error is gone there is nowhere left to say so; the exit code still tells.
    let _ = io::stderr().lock().write_all(text.as_bytes());
}

/// Prints a remark on standard error.
pub(crate) fn remark(text: &str) {
    // OK to ignore, as above.
    let _ = io::stderr().lock().write_all(format!("{}\n", harmless(text)).as_bytes());
}

/// Text in which all that a terminal would obey, but the ends of lines, is shown by its number: `\u{1b}`.
fn harmless(text: &str) -> Cow<'_, str> {
    shown_by_number(text, |letter| letter != '\n' && is_obeyed(letter))
}

/// As [`harmless`], the ends of lines too.
fn in_one_line(text: &str) -> Cow<'_, str> {
    shown_by_number(text, is_obeyed)
}

/// Control characters, separators of lines, and those that turn the direction of writing.
fn is_obeyed(letter: char) -> bool {
    letter.is_control() || matches!(letter, '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

fn shown_by_number(text: &str, which: impl Fn(char) -> bool) -> Cow<'_, str> {
    if !text.contains(&which) {
        return Cow::Borrowed(text);
    }
    let shown = |letter: char| if which(letter) { letter.escape_unicode().to_string() } else { letter.to_string() };
    Cow::Owned(text.chars().map(shown).collect())
}

/// Breaks text between words into lines of at most `width` characters; a longer word is broken within. At least one line.
fn wrapped(text: &str, width: usize) -> Vec<String> {
    if text.chars().count() <= width {
        return vec![text.to_owned()];
    }
    let width = width.max(1);
    let mut lines = vec![String::new()];
    let mut used = 0;
    for word in text.split(' ') {
        let letters: Vec<char> = word.chars().collect();
        for (index, piece) in letters.chunks(width).enumerate() {
            let blank = usize::from(index == 0 && 0 < used);
            if width < used + blank + piece.len() {
                lines.push(String::new());
                used = 0;
            } else if blank == 1 {
                lines.last_mut().expect("there is one line").push(' ');
                used += 1;
            }
            lines.last_mut().expect("there is one line").extend(piece);
            used += piece.len();
        }
    }
    lines
}

/// Where a column's text stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Align {
    /// Words.
    Left,
    /// Figures.
    Right,
}

/// A longer cell is cut: whoever wants all of a long text asks for JSON.
const LONGEST_CELL: usize = 200;

/// No column of words is made narrower than this to fit a terminal.
const NARROWEST: usize = 16;

/// A table of plain columns, two blanks apart. On a terminal that is too narrow for it the widest columns of words are
/// broken over several lines.
#[derive(Clone, Debug)]
pub(crate) struct Table {
    columns: Vec<(String, Align)>,
    rows: Vec<(Vec<String>, Dress)>,
}

impl Table {
    /// A table with these headings.
    pub(crate) fn new<const N: usize>(columns: [(&str, Align); N]) -> Table {
        Table { columns: columns.map(|(name, align)| (name.to_owned(), align)).to_vec(), rows: Vec::new() }
    }

    /// Adds a row.
    pub(crate) fn row<const N: usize>(&mut self, cells: [String; N], dress: Dress) {
        debug_assert_eq!(N, self.columns.len());
        self.rows.push((cells.iter().map(|cell| shortened(&in_one_line(cell))).collect(), dress));
    }

    /// Leaves the column out that has this heading.
    pub(crate) fn without(mut self, heading: &str) -> Table {
        if let Some(index) = self.columns.iter().position(|(name, _)| name == heading) {
            self.columns.remove(index);
            self.rows.iter_mut().for_each(|(cells, _)| drop(cells.remove(index)));
        }
        self
    }

    /// How many columns of a terminal it takes.
    pub(crate) fn width(&self) -> usize {
        total(&self.widths())
    }

    fn render(&self, out: &Out) -> String {
        let widths = self.fitted(out);
        let heading: Vec<String> = self.columns.iter().map(|(name, _)| name.clone()).collect();
        let mut text = String::new();
        for (cells, dress) in std::iter::once(&(heading, Dress::Plain)).chain(&self.rows) {
            for line in self.laid_out(cells, &widths) {
                text.push_str(&out.dressed(&line, *dress));
                text.push('\n');
            }
        }
        text
    }

    fn widths(&self) -> Vec<usize> {
        let widest = |index: usize, heading: &str| {
            let cells = self.rows.iter().map(|(cells, _)| cells[index].chars().count());
            cells.max().unwrap_or(0).max(heading.chars().count())
        };
        self.columns.iter().enumerate().map(|(index, (heading, _))| widest(index, heading)).collect()
    }

    /// The columns' widths, those of words lowered until the table fits or can't be lowered more.
    fn fitted(&self, out: &Out) -> Vec<usize> {
        let mut widths = self.widths();
        while !out.fits(total(&widths)) {
            let words = widths.iter_mut().zip(&self.columns).filter(|(_, (_, align))| *align == Align::Left);
            match words.map(|(width, _)| width).max() {
                Some(width) if NARROWEST < *width => *width -= 1,
                _ => break,
            }
        }
        widths
    }

    /// A row's lines; it has more than one where a cell is wider than its column.
    fn laid_out(&self, cells: &[String], widths: &[usize]) -> Vec<String> {
        let broken: Vec<Vec<String>> = cells.iter().zip(widths).map(|(cell, width)| wrapped(cell, *width)).collect();
        let height = broken.iter().map(Vec::len).max().unwrap_or(0);
        let line = |index: usize| {
            let mut line = String::new();
            for ((cell, &width), (_, align)) in broken.iter().zip(widths).zip(&self.columns) {
                let text = cell.get(index).map_or("", String::as_str);
                match align {
                    Align::Left => line.push_str(&format!("{text:<width$}  ")),
                    Align::Right => line.push_str(&format!("{text:>width$}  ")),
                }
            }
            line.trim_end().to_owned()
        };
        (0..height).map(line).collect()
    }
}

/// What columns of these widths take, with the blanks between them.
fn total(widths: &[usize]) -> usize {
    widths.iter().sum::<usize>() + 2 * widths.len().saturating_sub(1)
}

fn shortened(text: &str) -> String {
    match text.char_indices().nth(LONGEST_CELL) {
        None => text.to_owned(),
        Some(_) => text.chars().take(LONGEST_CELL - 1).chain(['…']).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PIPE: Out = Out { colour: false, columns: None, kept: None };

    #[test]
    fn columns_line_up_and_no_line_ends_in_blanks() {
        let mut table = Table::new([("machine", Align::Left), ("used", Align::Right), ("by", Align::Left)]);
        table.row(["bowline".into(), "96 %".into(), "1 month".into()], Dress::Bold);
        table.row(["sheet bend".into(), "131 %".into(), String::new()], Dress::Plain);
        let expected = "machine      used  by\nbowline      96 %  1 month\nsheet bend  131 %\n";
        assert_eq!(table.render(&PIPE), expected);
    }

    #[test]
    fn a_cell_of_any_length_is_cut_and_breaks_nothing() {
        let mut table = Table::new([("note", Align::Left), ("entry", Align::Right)]);
        table.row(["ö".repeat(100_000), "1".into()], Dress::Plain);
        let shown = table.render(&PIPE);
        let line = shown.lines().nth(1).unwrap();
        assert!(line.contains("öö…") && line.ends_with('1'), "{line}");
        assert_eq!(line.chars().count(), LONGEST_CELL + 2 + "entry".len());
    }

    #[test]
    fn what_a_terminal_would_obey_is_shown_by_its_number() {
        assert_eq!(harmless("a\x1b[2J\x07\tb\nc\u{9b}\u{202e}"), "a\\u{1b}[2J\\u{7}\\u{9}b\nc\\u{9b}\\u{202e}");
        let mut table = Table::new([("note", Align::Left), ("", Align::Left)]);
        table.row(["one\ntwo\r".into(), "x".into()], Dress::Plain);
        assert_eq!(table.render(&PIPE), format!("note\n{}\n", "one\\u{a}two\\u{d}  x"));
        assert_eq!(harmless("plain – ö…"), "plain – ö…");
    }

    #[test]
    fn running_text_is_broken_between_words_and_keeps_them_all() {
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
        assert_eq!(wrapped("abcdefgh ij", 3), ["abc", "def", "gh", "ij"]);
        assert_eq!(wrapped("", 5), [""]);
    }

    #[test]
    fn a_table_too_wide_for_the_terminal_is_broken_in_its_words_only() {
        let mut table = Table::new([("care", Align::Left), ("used", Align::Right)]);
        table.row(["look over the whole hot end".into(), "96 %".into()], Dress::Plain);
        let narrow = Out { columns: Some(24), ..PIPE };
        assert_eq!(table.render(&narrow), "care                used\nlook over the       96 %\nwhole hot end\n");
        let far_too_narrow = Out { columns: Some(3), ..PIPE };
        assert!(table.render(&far_too_narrow).lines().count() > 1, "an impossible width ends well");
    }
}
