//! What is wrong in a build file, as data and as text.

use std::cell::RefCell;
use std::fmt;
use std::ops::Range;

use crate::nearest;

/// One thing that is wrong in a build file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BuildError {
    /// The line, from 1.
    pub line: usize,
    /// The column of its first character, from 1.
    pub column: usize,
    /// How many characters of the line it spans, at least 1.
    pub width: usize,
    /// The line's text; what cannot be printed is replaced, character by character.
    pub text: String,
    /// What was found.
    pub found: String,
    /// What is allowed, or what to do.
    pub help: String,
    /// The word that was probably meant.
    pub nearest: Option<String>,
}

/// Everything that is wrong in a build file, in the order of its lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BuildErrors {
    /// The file's name, as given.
    pub file: String,
    /// At least one.
    pub errors: Vec<BuildError>,
}

/// How many errors are printed; the rest are counted.
const SHOWN: usize = 20;

/// The longest piece of a line that is printed, characters.
const LINE_SHOWN: usize = 110;

impl fmt::Display for BuildErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for error in self.errors.iter().take(SHOWN) {
            error.render(&self.file, f)?;
            writeln!(f)?;
        }
        match self.errors.len() {
            1 => write!(f, "1 error in {}", self.file),
            all if all <= SHOWN => write!(f, "{all} errors in {}", self.file),
            all => write!(f, "{all} errors in {}, of which the first {SHOWN} stand here", self.file),
        }
    }
}

impl std::error::Error for BuildErrors {}

impl BuildError {
    /// That `found` is wrong at the bytes `span` of a file's text.
    pub fn at(text: &str, span: &Range<usize>, found: impl Into<String>, help: impl Into<String>) -> BuildError {
        Problem { span: span.clone(), found: found.into(), help: help.into(), nearest: None }.locate(text)
    }

    /// Writes the place, what was found, the line, carets under it, and what to do.
    fn render(&self, file: &str, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let BuildError { line, column, found, help, .. } = self;
        let (text, before) = self.piece();
        let margin = " ".repeat(line.to_string().len());
        let carets = "^".repeat(self.width.min(text.chars().count().saturating_sub(before)).max(1));
        writeln!(f, "{file}:{line}:{column}: {found}")?;
        writeln!(f, "{line} | {text}")?;
        writeln!(f, "{margin} | {}{carets}", " ".repeat(before))?;
        writeln!(f, "{margin}   {help}")?;
        match &self.nearest {
            Some(nearest) => writeln!(f, "{margin}   did you mean {nearest}?"),
            None => Ok(()),
        }
    }

    /// The piece of the line to print, and how many of its characters stand before the carets.
    fn piece(&self) -> (String, usize) {
        let before = self.column - 1;
        if self.text.chars().count() <= LINE_SHOWN {
            return (self.text.clone(), before);
        }
        let skipped = before.saturating_sub(LINE_SHOWN / 2);
        let piece: String = self.text.chars().skip(skipped).take(LINE_SHOWN).collect();
        if skipped == 0 { (format!("{piece}…"), before) } else { (format!("…{piece}…"), before - skipped + 1) }
    }
}

/// Collects what is wrong while a build is read.
pub(crate) struct Report {
    /// The page that tells what may be written.
    guide: &'static str,
    problems: RefCell<Vec<Problem>>,
    missing: RefCell<Vec<Missing>>,
}

/// A table that lacks keys.
struct Missing {
    span: Range<usize>,
    what: &'static str,
    keys: Vec<&'static str>,
}

/// Something wrong at a place in the text.
struct Problem {
    span: Range<usize>,
    found: String,
    help: String,
    nearest: Option<String>,
}

impl Report {
    /// An empty report on a file of which the page `guide` tells what may be written in it.
    pub(crate) fn new(guide: &'static str) -> Report {
        Report { guide, problems: RefCell::default(), missing: RefCell::default() }
    }

    /// Notes that `found` is wrong at `span`.
    pub(crate) fn add(&self, span: &Range<usize>, found: impl Into<String>, help: impl Into<String>) {
        self.push(span, found.into(), help.into(), None);
    }

    /// Notes that `word` is none of `allowed`, and which of them is nearest.
    pub(crate) fn add_unknown<'a>(
        &self,
        span: &Range<usize>,
        found: impl Into<String>,
        word: &str,
        allowed: impl IntoIterator<Item = &'a str> + Clone,
    ) {
        let list: Vec<&str> = allowed.clone().into_iter().collect();
        let near = nearest(word, allowed).map(|near| format!("\"{near}\""));
        self.push(span, found.into(), self.allowed_here(&list), near);
    }

    /// Notes that the table `what` at `span` lacks `key`. All that one table lacks is told together.
    pub(crate) fn add_missing(&self, span: &Range<usize>, what: &'static str, key: &'static str) {
        let mut missing = self.missing.borrow_mut();
        match missing.iter_mut().find(|table| table.span == *span && table.what == what) {
            Some(table) => table.keys.push(key),
            None => missing.push(Missing { span: span.clone(), what, keys: vec![key] }),
        }
    }

    /// Notes that a text is not an amount.
    pub(crate) fn add_amount(&self, span: &Range<usize>, error: &crate::amount::AmountError) {
        self.push(span, error.found(), error.help(), error.nearest().map(str::to_owned));
    }

    /// `allowed here: a, b, c`, cut short where there are very many.
    fn allowed_here(&self, list: &[&str]) -> String {
        const NAMED: usize = 12;
        let between = if list.iter().any(|name| name.contains(',')) { "; " } else { ", " };
        let named = list.iter().take(NAMED).copied().collect::<Vec<_>>().join(between);
        match list.len() {
            0 => "nothing is allowed here".to_owned(),
            all if all <= NAMED => format!("allowed here: {named}"),
            _ => format!("allowed here: {named} and more; {} lists them", self.guide),
        }
    }

    fn push(&self, span: &Range<usize>, found: String, help: String, nearest: Option<String>) {
        self.problems.borrow_mut().push(Problem { span: span.clone(), found, help, nearest });
    }

    /// What was wrong in `text`, in its order; `None` if nothing was.
    pub(crate) fn finish(self, file: &str, text: &str) -> Option<BuildErrors> {
        let guide = self.guide;
        let missing = self.missing.into_inner().into_iter().map(|missing| missing.problem(guide));
        let mut problems: Vec<Problem> = missing.chain(self.problems.into_inner()).collect();
        problems.sort_by_key(|problem| problem.span.start);
        let errors: Vec<BuildError> = problems.into_iter().map(|problem| problem.locate(text)).collect();
        Some(BuildErrors { file: printable(file), errors }).filter(|all| !all.errors.is_empty())
    }
}

impl Missing {
    /// What to say of all the keys together.
    fn problem(self, guide: &str) -> Problem {
        let (noun, line) = if self.keys.len() == 1 { ("key", "it") } else { ("keys", "each") };
        let keys = self.keys.iter().map(|key| format!("\"{key}\"")).collect::<Vec<_>>().join(", ");
        Problem {
            span: self.span,
            found: format!("{} needs the {noun} {keys}", self.what),
            help: format!("add a line for {line}; {guide} says what to write"),
            nearest: None,
        }
    }
}

impl Problem {
    /// Finds line and column of the span, and copies the line.
    fn locate(self, text: &str) -> BuildError {
        let start = floor(text, self.span.start);
        let end = floor(text, self.span.end).max(start);
        let line_start = text[..start].rfind('\n').map_or(0, |at| at + 1);
        let line_end = text[start..].find('\n').map_or(text.len(), |at| start + at);
        BuildError {
            line: text[..line_start].matches('\n').count() + 1,
            column: text[line_start..start].chars().count() + 1,
            width: text[start..end.min(line_end)].chars().count().max(1),
            text: printable(text[line_start..line_end].trim_end()),
            found: printable(&self.found),
            help: self.help,
            nearest: self.nearest,
        }
    }
}

/// The nearest character boundary at or below `at`.
fn floor(text: &str, at: usize) -> usize {
    (0..=at.min(text.len())).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0)
}

/// The text with a space for each tab, and a mark for each character that would upset a terminal.
fn printable(text: &str) -> String {
    let shown = |c: char| match c {
        '\t' => ' ',
        c if is_unusual(c) => '\u{fffd}',
        c => c,
    };
    text.chars().map(shown).collect()
}

/// Whether a character controls the terminal or the direction of writing, or cannot be seen.
pub(crate) fn is_unusual(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
}
