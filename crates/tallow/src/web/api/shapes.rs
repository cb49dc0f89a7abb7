//! The tables of docs/JSON.md as JSON Schema (draft 2020-12).
//!
//! A table stands below a heading that names its commands, and has a row for each key: its path, its kind, its unit, its
//! meaning. In a path `[]` is an element of a list and `{name}` any key of a map. A kind in brackets, `[use](#use)`, stands
//! for the rows of that heading's table.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use serde_json::{Value, json};

const DOCUMENT: &str = include_str!("../../../../../docs/JSON.md");

static TABLES: LazyLock<BTreeMap<String, Node>> = LazyLock::new(|| tables(DOCUMENT));

/// What may stand at a path.
#[derive(Clone, Debug, Default)]
struct Node {
    kinds: Vec<&'static str>,
    refers: Option<String>,
    meaning: String,
    keys: BTreeMap<String, Node>,
    any_key: Option<Box<Node>>,
    element: Option<Box<Node>>,
}

/// Whether the table of that name is of a list.
pub(super) fn is_list(name: &str) -> bool {
    TABLES.get(name).is_some_and(|node| node.element.is_some())
}

/// The schema of the table of that name, or of those where a command answers otherwise about one thing (`lives KIND`).
pub(super) fn schema(name: &str) -> Value {
    let is_of_one = |table: &str| {
        let word = table.strip_prefix(name).and_then(|rest| rest.strip_prefix(' '));
        word.is_some_and(|word| word.chars().all(char::is_uppercase))
    };
    let tables = TABLES.iter().filter(|(table, _)| *table == name || is_of_one(table));
    let mut schemas: Vec<Value> = tables.map(|(_, node)| node.schema()).collect();
    match schemas.len() {
        1 => schemas.remove(0),
        _ => json!({ "anyOf": schemas }),
    }
}

/// The shapes to which others refer, by name.
pub(super) fn shared() -> BTreeMap<&'static str, Value> {
    let names = TABLES.values().flat_map(Node::references);
    names.filter_map(|name| TABLES.get_key_value(name)).map(|(name, node)| (name.as_str(), node.schema())).collect()
}

fn tables(document: &'static str) -> BTreeMap<String, Node> {
    let mut tables: BTreeMap<String, Node> = BTreeMap::new();
    let mut names: Vec<String> = Vec::new();
    for line in document.lines() {
        if let Some(heading) = line.strip_prefix("## ") {
            names = heading.split(", ").map(|name| name.replace('`', "")).collect();
        } else if let Some(row) = line.strip_prefix("| `") {
            let cells: Vec<&'static str> = row.split('|').map(str::trim).collect();
            if let [path, kinds, _, meaning, ..] = cells[..] {
                names.iter().for_each(|name| {
                    tables.entry(name.clone()).or_default().put(path.trim_end_matches('`'), kinds, meaning)
                });
            }
        }
    }
    tables
}

impl Node {
    fn put(&mut self, path: &str, kinds: &'static str, meaning: &str) {
        let parted = path.replace("[]", ".[]");
        let mut node = self;
        for segment in parted.split('.').filter(|segment| !segment.is_empty()) {
            node = match segment {
                "[]" => node.element.get_or_insert_default(),
                name if name.starts_with('{') => node.any_key.get_or_insert_default(),
                name => node.keys.entry(name.to_owned()).or_default(),
            };
        }
        node.meaning = meaning.to_owned();
        for kind in kinds.split(" or ").map(str::trim) {
            match kind {
                "text" => node.kinds.push("string"),
                "number" => node.kinds.push("number"),
                "whole number" => node.kinds.push("integer"),
                "boolean" => node.kinds.push("boolean"),
                "null" => node.kinds.push("null"),
                pointer => {
                    node.refers = pointer.split_once("](#").map(|(_, name)| name.trim_end_matches(')').to_owned())
                }
            }
        }
    }

    fn schema(&self) -> Value {
        if let Some(name) = &self.refers {
            return json!({ "$ref": format!("#/components/schemas/{name}") });
        }
        let mut kinds = self.kinds.clone();
        let mut schema = serde_json::Map::new();
        if !self.keys.is_empty() || self.any_key.is_some() {
            kinds.push("object");
            let keys = self.keys.iter().map(|(name, node)| (name.clone(), node.schema()));
            schema.insert("properties".into(), Value::Object(keys.collect()));
            if let Some(any) = &self.any_key {
                schema.insert("additionalProperties".into(), any.schema());
            }
        }
        if let Some(element) = &self.element {
            kinds.push("array");
            schema.insert("items".into(), element.schema());
        }
        match kinds[..] {
            [] => {}
            [only] => drop(schema.insert("type".into(), json!(only))),
            _ => drop(schema.insert("type".into(), json!(kinds))),
        }
        if !self.meaning.is_empty() {
            schema.insert("description".into(), json!(self.meaning));
        }
        Value::Object(schema)
    }

    fn references(&self) -> Vec<&String> {
        let below = self.keys.values().chain(self.any_key.as_deref()).chain(self.element.as_deref());
        self.refers.iter().chain(below.flat_map(Node::references)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::routes::ROUTES;
    use super::*;

    #[test]
    fn every_route_has_its_table() {
        for route in ROUTES.iter().filter(|route| route.has_json()) {
            assert!(TABLES.contains_key(&route.table()), "docs/JSON.md has no table \"{}\"", route.table());
        }
        for (name, _) in shared() {
            assert!(TABLES.contains_key(name), "{name}");
        }
    }

    #[test]
    fn rows_become_types() {
        let tables = tables(
            "## `a`, `b`\n\n| key | kind | unit | meaning |\n|---|---|---|---|\n| `[].n` | whole number or null | | How many. |\n\
             | `[].map.{tool}` | text | | |\n| `[].use` | [use](#use) | | |\n",
        );
        let element = tables["b"].schema()["items"].clone();
        assert_eq!(tables["a"].schema()["type"], "array");
        assert_eq!(element["properties"]["n"], json!({ "type": ["integer", "null"], "description": "How many." }));
        assert_eq!(element["properties"]["map"]["additionalProperties"], json!({ "type": "string" }));
        assert_eq!(element["properties"]["use"], json!({ "$ref": "#/components/schemas/use" }));
    }
}
