//! Tables of numbers as loggers write them: CSV, with or without a header.

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

/// Reads the first `columns` numbers of each line; a first line that does not begin with a number is a header.
pub(crate) fn read(bytes: &[u8], columns: usize) -> Result<Table, SignalError> {
    let mut reader =
        ReaderBuilder::new().has_headers(false).flexible(true).trim(Trim::All).comment(Some(b'#')).from_reader(bytes);
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
        if first && record.get(0).is_some_and(|field| field.parse::<f64>().is_err()) {
            table.header = Some(record.iter().map(str::to_lowercase).collect());
        } else {
            table.rows.push((line, numbers(&record, line, columns)?));
        }
    }
    at_least("rows in the table", table.rows.len(), 1)?;
    Ok(table)
}

fn numbers(record: &StringRecord, line: u64, columns: usize) -> Result<Vec<f64>, SignalError> {
    if record.len() < columns {
        let why = format!("has {} values, but {columns} are needed, with commas between them", record.len());
        return Err(SignalError::Line { line, why });
    }
    record
        .iter()
        .take(columns)
        .enumerate()
        .map(|(i, field)| match field.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(value),
            _ => Err(SignalError::Line {
                line,
                why: format!("column {} is \"{field}\", but must be a number such as 1.25", i + 1),
            }),
        })
        .collect()
}
