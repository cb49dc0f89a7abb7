//! The tables of a shop, row by row, as backups and copies carry them: every table, and every column of it.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use serde::{Deserialize, Serialize, Serializer};
use serde_json::Value as Json;
use sqlx::Row as _;
use sqlx::any::AnyRow;

use crate::Error;
use crate::place::Engine;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Holds {
    /// A whole number.
    Int,
    /// A binary64 number.
    Real,
    /// Text.
    Text,
    /// Bytes; base64 in a line.
    Bytes,
}
use Holds::{Bytes, Int, Real, Text};

/// A table, its columns from those of its primary key on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Table {
    #[serde(rename = "table")]
    pub name: String,
    /// How many columns are the key.
    pub key: usize,
    pub columns: Vec<(String, Holds)>,
}

type Listed = (&'static str, usize, &'static [(&'static str, Holds)]);

/// Every table, those that are pointed to before those that point to them. `tests/keep.rs` holds it against the database.
///
/// An export holds what `files.rs` lists and so, of the tables from `session` on, `mark` and `photo` alone: sessions, tokens and links
/// are secret, and `way`, `way_mark`, `job`, `proposal` and `sign_in_try` are what servers and workers note for each other.
const TABLES: &[Listed] = &[
    ("shop", 1, &[("id", Int), ("name", Text), ("zone", Text)]),
    ("quantity", 1, &[("id", Int), ("name", Text), ("unit", Text)]),
    ("material_name", 1, &[("id", Int), ("name", Text)]),
    ("build", 1, &[("id", Int), ("name", Text), ("text", Text), ("recorded", Int)]),
    ("material", 1, &[("id", Int), ("name", Text), ("density_kg_m3", Real), ("classes", Text), ("recorded", Int)]),
    (
        "machine",
        1,
        &[
            ("id", Int),
            ("name", Text),
            ("revision", Int),
            ("build", Text),
            ("added_at", Int),
            ("added_entry", Int),
            ("besides_runs", Int),
        ],
    ),
    ("alike", 1, &[("id", Int), ("hash", Int), ("body", Text), ("usage", Bytes)]),
    (
        "entry",
        1,
        &[
            ("id", Int),
            ("machine", Int),
            ("kind", Text),
            ("at", Int),
            ("recorded", Int),
            ("corrects", Int),
            ("about", Text),
            ("body", Text),
            ("note", Text),
            ("usage", Bytes),
            ("recorded_by", Text),
            ("alike", Int),
        ],
    ),
    (
        "program",
        4,
        &[
            ("sha256", Text),
            ("motion", Text),
            ("corner", Text),
            ("meter", Int),
            ("label", Text),
            ("bytes", Int),
            ("duty", Bytes),
            ("report", Text),
            ("maps", Bytes),
        ],
    ),
    ("queued", 1, &[("entry", Int), ("machine", Int)]),
    ("daily", 2, &[("month", Int), ("machine", Int), ("days", Bytes)]),
    ("standing", 1, &[("machine", Int), ("newest", Int), ("marks", Bytes)]),
    ("total", 1, &[("machine", Int), ("usage", Bytes)]),
    ("own_limit", 1, &[("entry", Int), ("machine", Int)]),
    (
        "forecast",
        1,
        &[("machine", Int), ("day", Int), ("revision", Int), ("descriptions", Int), ("made_by", Text), ("body", Bytes)],
    ),
    ("person", 1, &[("id", Int), ("name", Text), ("role", Text), ("password", Text), ("since", Int)]),
    (
        "session",
        1,
        &[
            ("id", Int),
            ("person", Int),
            ("token", Text),
            ("former", Text),
            ("device", Text),
            ("started", Int),
            ("renewed", Int),
            ("seen", Int),
        ],
    ),
    (
        "machine_token",
        1,
        &[("id", Int), ("machine", Int), ("token", Text), ("label", Text), ("made", Int), ("used", Int)],
    ),
    (
        "mark",
        1,
        &[
            ("id", Int),
            ("visit", Int),
            ("key", Text),
            ("task", Text),
            ("kind", Text),
            ("about", Text),
            ("text", Text),
            ("made_by", Text),
            ("at", Int),
        ],
    ),
    (
        "photo",
        1,
        &[
            ("id", Int),
            ("visit", Int),
            ("place", Int),
            ("key", Text),
            ("task", Text),
            ("kind", Text),
            ("bytes", Bytes),
            ("made_by", Text),
            ("at", Int),
        ],
    ),
    ("feed", 1, &[("keeper", Text), ("secret", Text), ("made", Int)]),
    ("way", 1, &[("name", Text), ("kind", Text), ("settings", Text), ("made", Int)]),
    ("way_mark", 2, &[("way", Text), ("key", Text), ("mark", Text), ("at", Int)]),
    (
        "job",
        1,
        &[
            ("id", Int),
            ("kind", Text),
            ("key", Text),
            ("body", Text),
            ("made_by", Text),
            ("made", Int),
            ("due", Int),
            ("tries", Int),
            ("held_by", Text),
            ("held_until", Int),
            ("done", Int),
            ("said", Text),
            ("failed", Int),
        ],
    ),
    (
        "proposal",
        1,
        &[
            ("id", Int),
            ("number", Int),
            ("days", Int),
            ("seconds", Int),
            ("asked", Int),
            ("asked_by", Text),
            ("stands", Text),
            ("held_until", Int),
            ("said", Text),
            ("made", Int),
            ("body", Text),
        ],
    ),
    ("sign_in_try", 1, &[("who", Text), ("failed", Int), ("tried", Int)]),
];

/// The column of [`Table::whole_entries`] that holds what an entry says as others do.
pub(crate) const ALIKE_BODY: &str = "alike_body";

impl Table {
    /// Every table of this version's shape.
    pub(crate) fn all() -> Vec<Table> {
        TABLES.iter().map(Table::listed).collect()
    }

    /// The table of that name in this version's shape.
    ///
    /// # Panics
    /// Where there is none: names are literals here.
    pub(crate) fn named(name: &str) -> Table {
        let found = TABLES.iter().find(|(listed, ..)| *listed == name);
        Table::listed(found.expect("a table of the list"))
    }

    /// The entries, each with all that it says: what it says as others do is kept apart.
    pub(crate) fn whole_entries() -> Table {
        let mut table = Table::named("entry");
        table.columns.push((ALIKE_BODY.to_owned(), Text));
        table
    }

    fn listed((name, key, columns): &Listed) -> Table {
        let columns = columns.iter().map(|(name, holds)| ((*name).to_owned(), *holds)).collect();
        Table { name: (*name).to_owned(), key: *key, columns }
    }

    /// Whether its words can stand in a statement: those of a table in a file come from outside.
    pub(crate) fn is_sound(&self) -> bool {
        let word = |word: &str| {
            word.starts_with(|letter: char| letter.is_ascii_lowercase())
                && word.chars().all(|letter| matches!(letter, 'a'..='z' | '0'..='9' | '_'))
        };
        word(&self.name)
            && self.columns.iter().all(|(name, _)| word(name))
            && (1..=self.columns.len()).contains(&self.key)
            && self.columns.len() <= 100
    }

    /// The statement that reads every row, in an order that is the same on both engines.
    pub(crate) fn select(&self, engine: Engine) -> String {
        let order: Vec<String> = self.columns[..self.key]
            .iter()
            .map(|(name, holds)| match (engine, holds) {
                (Engine::Postgres, Text) => format!("\"{name}\" collate \"C\""),
                _ => format!("\"{name}\""),
            })
            .collect();
        let is_whole = self.columns.iter().any(|(name, _)| name == ALIKE_BODY);
        let read = |(name, _): &(String, Holds)| match (is_whole, name.as_str()) {
            (true, "usage") => "coalesce(usage, (select a.usage from alike a where a.id = entry.alike))".to_owned(),
            (true, ALIKE_BODY) => "(select a.body from alike a where a.id = entry.alike)".to_owned(),
            _ => format!("\"{name}\""),
        };
        let columns: Vec<String> = self.columns.iter().map(read).collect();
        format!("select {} from \"{}\" order by {}", columns.join(", "), self.name, order.join(", "))
    }

    /// The statement that writes `rows` rows.
    pub(crate) fn insert(&self, rows: usize) -> String {
        let mut text = format!("insert into \"{}\" ({}) values ", self.name, self.column_list());
        let width = self.columns.len();
        for row in 0..rows {
            text.push_str(if row == 0 { "(" } else { "), (" });
            for column in 0..width {
                text.push_str(if column == 0 { "$" } else { ", $" });
                text.push_str(&(row * width + column + 1).to_string());
            }
        }
        text.push(')');
        text
    }

    fn column_list(&self) -> String {
        let names: Vec<String> = self.columns.iter().map(|(name, _)| format!("\"{name}\"")).collect();
        names.join(", ")
    }

    /// The place of a column.
    ///
    /// # Panics
    /// As [`Table::named`].
    pub(crate) fn place_of(&self, column: &str) -> usize {
        self.columns.iter().position(|(name, _)| name == column).expect("a column of the list")
    }

    /// The row that the database gave.
    pub(crate) fn read(&self, row: &AnyRow) -> Result<Row, Error> {
        let mut cells = Vec::with_capacity(self.columns.len());
        for (place, (_, holds)) in self.columns.iter().enumerate() {
            cells.push(match holds {
                Int => row.try_get::<Option<i64>, _>(place)?.map(Cell::Int),
                Real => row.try_get::<Option<f64>, _>(place)?.map(Cell::Real),
                Text => row.try_get::<Option<String>, _>(place)?.map(Cell::Text),
                Bytes => row.try_get::<Option<Vec<u8>>, _>(place)?.map(Cell::Bytes),
            });
        }
        Ok(Row(cells))
    }

    /// The row that a line holds; `None` where it is none of this table.
    pub(crate) fn parse(&self, line: &str) -> Option<Row> {
        let values: Vec<Json> = serde_json::from_str(line).ok()?;
        if values.len() != self.columns.len() {
            return None;
        }
        let cell = |(value, (_, holds)): (Json, &(String, Holds))| match (holds, value) {
            (_, Json::Null) => Some(None),
            (Int, Json::Number(number)) => Some(Some(Cell::Int(number.as_i64()?))),
            (Real, Json::Number(number)) => Some(Some(Cell::Real(number.as_f64()?))),
            (Text, Json::String(text)) => Some(Some(Cell::Text(text))),
            (Bytes, Json::String(text)) => Some(Some(Cell::Bytes(BASE64.decode(text).ok()?))),
            _ => None,
        };
        values.into_iter().zip(&self.columns).map(cell).collect::<Option<_>>().map(Row)
    }
}

/// What a column holds in one row.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Cell {
    Int(i64),
    Real(f64),
    Text(String),
    Bytes(Vec<u8>),
}

/// A row, in the order of its table's columns.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub(crate) struct Row(pub(crate) Vec<Option<Cell>>);

impl Row {
    /// About how many bytes it takes.
    pub(crate) fn weight(&self) -> usize {
        let of = |cell: &Option<Cell>| match cell {
            Some(Cell::Text(text)) => text.len(),
            Some(Cell::Bytes(bytes)) => bytes.len(),
            _ => 8,
        };
        self.0.iter().map(of).sum()
    }

    /// The row as a line, without its end.
    pub(crate) fn line(&self) -> Result<Vec<u8>, Error> {
        serde_json::to_vec(self).map_err(|error| Error::Damaged { what: format!("a row ({error})") })
    }
}

impl Serialize for Cell {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Cell::Int(number) => serializer.serialize_i64(*number),
            Cell::Real(number) => serializer.serialize_f64(*number),
            Cell::Text(text) => serializer.serialize_str(text),
            Cell::Bytes(bytes) => serializer.serialize_str(&BASE64.encode(bytes)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_comes_back_from_its_line() {
        let table = Table::named("material");
        let cells = vec![
            Some(Cell::Int(i64::MIN)),
            Some(Cell::Text("a \"b\"\n\u{1f529}".to_owned())),
            Some(Cell::Real(1_240.000_000_000_000_2)),
            None,
            Some(Cell::Int(i64::MAX)),
        ];
        let line = String::from_utf8(Row(cells.clone()).line().unwrap()).unwrap();
        assert_eq!(table.parse(&line), Some(Row(cells)));
        let table = Table::named("total");
        let row = Row(vec![Some(Cell::Int(1)), Some(Cell::Bytes((0..=255).collect()))]);
        assert_eq!(table.parse(std::str::from_utf8(&row.line().unwrap()).unwrap()), Some(row));
    }

    #[test]
    fn words_from_a_file_that_are_no_names_are_refused() {
        let mut table = Table::named("feed");
        assert!(table.is_sound());
        for name in ["", "a\"b", "_sqlx_migrations", "a;b", "A"] {
            table.name = name.to_owned();
            assert!(!table.is_sound(), "{name}");
        }
        let mut table = Table::named("feed");
        table.key = 4;
        assert!(!table.is_sound());
    }
}
