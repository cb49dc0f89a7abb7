//! The only module that prints. Answers go to standard output, troubles and progress to standard error.

use std::io::{self, IsTerminal, Write};

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

/// Standard output, in colour only on a terminal that wants it (NO_COLOR is honoured).
#[derive(Clone, Copy, Debug)]
pub(crate) struct Out {
    colour: bool,
}

impl Out {
    /// The process' standard output.
    pub(crate) fn standard() -> Out {
        let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        Out { colour: io::stdout().is_terminal() && !refused }
    }

    /// Prints a line.
    pub(crate) fn line(self, text: impl AsRef<str>) -> Result<(), Trouble> {
        self.write(&format!("{}\n", text.as_ref()))
    }

    /// Prints a value as JSON, over several lines.
    pub(crate) fn json(self, value: &Value) -> Result<(), Trouble> {
        self.write(&format!("{value:#}\n"))
    }

    /// Prints a table.
    pub(crate) fn table(self, table: &Table) -> Result<(), Trouble> {
        self.write(&table.render(self))
    }

    /// Dresses text if the output shows colour.
    pub(crate) fn dressed(self, text: &str, dress: Dress) -> String {
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

    fn write(self, text: &str) -> Result<(), Trouble> {
        match io::stdout().lock().write_all(text.as_bytes()) {
            // The reader of a pipe has seen enough; nothing is wrong.
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            result => result.map_err(|error| Trouble::refused(format!("the answer could not be written: {error}"))),
        }
    }
}

/// Prints a trouble on standard error.
pub(crate) fn trouble(trouble: &Trouble, json: bool) {
    let text = if json {
        format!("{}\n", serde_json::json!({ "error": trouble.what(), "help": trouble.help_lines() }))
    } else {
        format!("error: {trouble}\n")
    };
    // OK to ignore: when standard error is gone there is nowhere left to say so; the exit code still tells.
    let _ = io::stderr().lock().write_all(text.as_bytes());
}

/// Prints a remark on standard error.
pub(crate) fn remark(text: &str) {
    // OK to ignore, as above.
    let _ = io::stderr().lock().write_all(format!("{text}\n").as_bytes());
}

/// Where a column's text stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Align {
    /// Words.
    Left,
    /// Figures.
    Right,
}

/// A table of plain columns, two blanks apart.
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
        self.rows.push((cells.to_vec(), dress));
    }

    fn render(&self, out: Out) -> String {
        let widths: Vec<usize> = (0..self.columns.len()).map(|index| self.width(index)).collect();
        let heading: Vec<String> = self.columns.iter().map(|(name, _)| name.clone()).collect();
        let mut text = self.laid_out(&heading, &widths);
        for (cells, dress) in &self.rows {
            let line = self.laid_out(cells, &widths);
            text.push_str(&out.dressed(line.trim_end_matches('\n'), *dress));
            text.push('\n');
        }
        text
    }

    fn width(&self, index: usize) -> usize {
        let heading = self.columns[index].0.chars().count();
        self.rows.iter().map(|(cells, _)| cells[index].chars().count()).max().unwrap_or(0).max(heading)
    }

    fn laid_out(&self, cells: &[String], widths: &[usize]) -> String {
        let mut line = String::new();
        for ((cell, width), (_, align)) in cells.iter().zip(widths).zip(&self.columns) {
            match align {
                Align::Left => line.push_str(&format!("{cell:<width$}  ")),
                Align::Right => line.push_str(&format!("{cell:>width$}  ")),
            }
        }
        format!("{}\n", line.trim_end())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up_and_no_line_ends_in_blanks() {
        let mut table = Table::new([("machine", Align::Left), ("used", Align::Right), ("by", Align::Left)]);
        table.row(["bowline".into(), "96 %".into(), "1 month".into()], Dress::Bold);
        table.row(["sheet bend".into(), "131 %".into(), String::new()], Dress::Plain);
        let expected = "machine      used  by\nbowline      96 %  1 month\nsheet bend  131 %\n";
        assert_eq!(table.render(Out { colour: false }), expected);
    }
}
