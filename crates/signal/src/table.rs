//! Tables of numbers as loggers write them: CSV, with or without a header; columns parted by commas, or by semicolons or tabs,
//! and then decimal commas are read too.

use csv::{ReaderBuilder, StringRecord, Trim};

use crate::SignalError;
use crate::error::at_least;

/// A table's numbers, each row with its line in the file.
pub(crate) struct Table {
    /// The header's names in lower case, if there is one.
    pub(crate) header: Option<Vec<String>>,
    /// Line, and as many numbers as were asked for.
    pub(crate) rows: Vec<(u64, Vec<f64>)>,
}

/// What spreadsheets write before UTF-8 text.
const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// Reads the first `columns` numbers of each line; a first line that does not begin with a number is a header.
pub(crate) fn read(bytes: &[u8], columns: usize) -> Result<Table, SignalError> {
    let bytes = bytes.strip_prefix(BYTE_ORDER_MARK).unwrap_or(bytes);
    let separator = separator(bytes);
    let mut reader = ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .trim(Trim::All)
        .comment(Some(b'#'))
        .from_reader(bytes);
    let mut table = Table { header: None, rows: Vec::new() };
    let mut previous_line = 0;
    for record in reader.records() {
        let record = record.map_err(|why| SignalError::Line {
            line: why.position().map_or(previous_line + 1, csv::Position::line),
            why: format!("can't be read ({why}); save the table as CSV in UTF-8"),
        })?;
        let line = record.position().map_or(previous_line + 1, csv::Position::line);
        let first = table.rows.is_empty() && table.header.is_none();
        previous_line = line;
        if first && record.get(0).is_some_and(|field| number(field, separator).is_none()) {
            table.header = Some(record.iter().map(str::to_lowercase).collect());
        } else {
            table.rows.push((line, numbers(&record, line, columns, separator)?));
        }
    }
    at_least("rows in the table", table.rows.len(), 1)?;
    Ok(table)
}

/// What parts the columns: a semicolon or a tab where the first line has one, else a comma.
fn separator(bytes: &[u8]) -> u8 {
    let is_empty = |line: &&[u8]| line.trim_ascii().is_empty() || line.starts_with(b"#");
    let first = bytes.split(|&byte| byte == b'\n').find(|line| !is_empty(line)).unwrap_or_default();
    [b';', b'\t'].into_iter().find(|mark| first.contains(mark)).unwrap_or(b',')
}

/// A finite number; where a comma parts no columns it is a decimal comma.
fn number(field: &str, separator: u8) -> Option<f64> {
    let number = if separator == b',' { field.parse() } else { field.replace(',', ".").parse() };
    number.ok().filter(|value: &f64| value.is_finite())
}

fn numbers(record: &StringRecord, line: u64, columns: usize, separator: u8) -> Result<Vec<f64>, SignalError> {
    if record.len() < columns {
        let why = format!(
            "has {} values, but {columns} are needed; put commas between them, or semicolons or tabs in every line",
            record.len()
        );
        return Err(SignalError::Line { line, why });
    }
    record
        .iter()
        .take(columns)
        .enumerate()
        .map(|(i, field)| {
            number(field, separator).ok_or_else(|| {
                let why = format!("column {} is \"{field}\"; it must be a number such as 1.25", i + 1);
                SignalError::Line { line, why }
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_parted_by_commas_semicolons_or_tabs_and_then_decimals_have_commas() {
        let expected = [vec![0.5, 200.0, 21.25], vec![1.0, 200.0, 22.5]];
        for text in [
            "time,target,measured\n0.5,200,21.25\n1,200,22.5\n",
            "0,5;200;21,25\n1;200;22,5\n",
            "# a log\n\u{feff}time\ttarget\tmeasured\n0,5\t200\t21,25\n1.0\t200\t22,5\n",
            "\u{feff}0.5,200,21.25\n1,200,22.5",
        ] {
            let rows: Vec<Vec<f64>> = read(text.as_bytes(), 3).unwrap().rows.into_iter().map(|(_, row)| row).collect();
            assert_eq!(rows, expected, "{text}");
        }
        assert!(matches!(read(b"0;200;21\n1,200,22\n", 3), Err(SignalError::Line { line: 2, .. })));
    }
}
