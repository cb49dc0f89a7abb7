//! The files of an export and what stands in them: the one list from which they are written, described and read.

use serde_json::{Map, Value as Json, json};

/// What a field holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Whole,
    Number,
    Text,
    Instant,
    Day,
    /// More than one value; in JSON Lines alone.
    List,
    Map,
}

/// A field of a line.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Field {
    pub name: &'static str,
    pub kind: Kind,
    pub may_be_null: bool,
    pub about: &'static str,
}

/// A file of an export, `name.jsonl` and `name.csv`, or the latter alone.
#[derive(Debug)]
pub(crate) struct File {
    pub name: &'static str,
    pub about: &'static str,
    /// Whether it is read back; the others can be computed from those.
    pub is_source: bool,
    pub fields: &'static [Field],
}

const fn field(name: &'static str, kind: Kind, about: &'static str) -> Field {
    Field { name, kind, may_be_null: false, about }
}

const fn or_null(name: &'static str, kind: Kind, about: &'static str) -> Field {
    Field { name, kind, may_be_null: true, about }
}

const USE: &str = "Tool, material and the amounts of each quantity, in SI units.";
const QUANTITY: Field = field("quantity", Kind::Text, "What is counted, for example travel x.");
const AMOUNT: Field = field("amount", Kind::Number, "How much of it, exactly.");
const UNIT: Field = field("unit", Kind::Text, "In which unit: m, s, kg, m3, turns or times.");
const TOOL: Field = field("tool", Kind::Whole, "The tool, from 0.");
const MATERIAL: Field = field("material", Kind::Text, "The material; empty where nobody said.");

pub(crate) const MACHINES: File = File {
    name: "machines",
    about: "Every machine that there ever was.",
    is_source: true,
    fields: &[
        field("machine", Kind::Text, "Its name."),
        or_null("build", Kind::Text, "The name of its build; null where it was withdrawn."),
        or_null("added", Kind::Instant, "When it joined the shop; null where it was withdrawn."),
    ],
};

pub(crate) const ENTRIES: File = File {
    name: "entries",
    about: "The record: every entry as it was written, corrected ones too. Everything that is counted follows from it.",
    is_source: true,
    fields: &[
        field("entry", Kind::Whole, "Its number."),
        field("machine", Kind::Text, "The machine; empty for the shop itself."),
        field("kind", Kind::Text, "What it records: run, done, replaced, failed and so on."),
        field("at", Kind::Instant, "When it happened; a run at its start."),
        field("recorded", Kind::Instant, "When it was written down."),
        or_null("corrects", Kind::Whole, "The entry that it corrects or withdraws."),
        field("about", Kind::Text, "The task, position, print, day, keeper or item that it is about."),
        field("details", Kind::Map, "The rest of what it says, by kind."),
        field("note", Kind::Text, "Words kept with it."),
        or_null("by", Kind::Text, "Who recorded it, where that was asked."),
        or_null("use", Kind::List, USE),
    ],
};

pub(crate) const BUILDS: File = File {
    name: "builds",
    about: "Machine types, each text that the shop had; the newest of a name holds.",
    is_source: true,
    fields: &[
        field("build", Kind::Text, "Its name."),
        field("recorded", Kind::Instant, "When the shop got the text."),
        field("file", Kind::Text, "The text itself, a TOML file."),
    ],
};

pub(crate) const MATERIALS: File = File {
    name: "materials",
    about: "Materials of the shop's own; the newest of a name holds.",
    is_source: true,
    fields: &[
        field("material", Kind::Text, "Its name."),
        field("density_kg_m3", Kind::Number, "Its density, kg/m3."),
        field("classes", Kind::Text, "What it does to a machine, parted by commas."),
        field("recorded", Kind::Instant, "When it was recorded."),
    ],
};

pub(crate) const PROGRAMS: File = File {
    name: "programs",
    about: "Print files that were metered, by their content.",
    is_source: true,
    fields: &[
        field("sha256", Kind::Text, "SHA-256 of the plain file."),
        field("motion", Kind::Text, "What tells the motion of one build from that of another."),
        field("corner", Kind::Text, "The corner rule, jerk or deviation."),
        field("meter", Kind::Whole, "The version of the meter."),
        field("label", Kind::Text, "The file's name when it was first seen."),
        field("bytes", Kind::Whole, "The length of the plain file."),
        field("duty", Kind::Map, "What it asks of the machine, by tool and quantity, in SI units."),
        field("report", Kind::Map, "The meter's report; docs/JSON.md of tallow tells its keys."),
        field("wear", Kind::Map, "Travel along each axis by place, in mm."),
    ],
};

pub(crate) const PEOPLE: File = File {
    name: "people",
    about: "Who may sign in, without passwords.",
    is_source: true,
    fields: &[
        field("person", Kind::Text, "The name."),
        field("role", Kind::Text, "look, record, plan or own; each may do what those before it may."),
        field("since", Kind::Instant, "When the person was set up."),
    ],
};

pub(crate) const MARKS: File = File {
    name: "marks",
    about: "What was ticked off of visits at the machines.",
    is_source: true,
    fields: &[
        field("visit", Kind::Whole, "The entry of the visit."),
        field("key", Kind::Text, "What the device made up for this one press."),
        field("task", Kind::Text, "The task."),
        field("kind", Kind::Text, "done, skipped, open, reading, used, note or finish."),
        field("about", Kind::Text, "What was measured or used."),
        field("text", Kind::Text, "The value, amount, reason or note."),
        or_null("by", Kind::Text, "Who, where that was asked."),
        field("at", Kind::Instant, "When."),
    ],
};

pub(crate) const PHOTOS: File = File {
    name: "photos",
    about: "Photos of visits; each is a file of its own.",
    is_source: true,
    fields: &[
        field("visit", Kind::Whole, "The entry of the visit."),
        field("place", Kind::Whole, "Its number among the photos of the visit, from 1."),
        field("key", Kind::Text, "What the device made up for this one photo."),
        field("task", Kind::Text, "The task."),
        field("kind", Kind::Text, "What kind of picture it is."),
        or_null("by", Kind::Text, "Who, where that was asked."),
        field("at", Kind::Instant, "When."),
        field("file", Kind::Text, "The picture."),
    ],
};

pub(crate) const DAILY: File = File {
    name: "daily",
    about: "Use of each machine per civil day of the run's start, by tool, material and quantity.",
    is_source: false,
    fields: &[
        field("machine", Kind::Text, "The machine."),
        field("day", Kind::Day, "The day, in the shop's time zone."),
        TOOL,
        MATERIAL,
        QUANTITY,
        AMOUNT,
        UNIT,
    ],
};

pub(crate) const TOTALS: File = File {
    name: "totals",
    about: "All use of each machine, by tool, material and quantity.",
    is_source: false,
    fields: &[field("machine", Kind::Text, "The machine."), TOOL, MATERIAL, QUANTITY, AMOUNT, UNIT],
};

/// Every file, in the order in which they are read back.
pub(crate) const ALL: [&File; 10] =
    [&MACHINES, &ENTRIES, &BUILDS, &MATERIALS, &PROGRAMS, &PEOPLE, &MARKS, &PHOTOS, &DAILY, &TOTALS];

impl File {
    /// The name of its JSON Lines.
    pub(crate) fn jsonl(&self) -> String {
        format!("{}.jsonl", self.name)
    }

    /// The name of its CSV.
    pub(crate) fn csv(&self) -> String {
        format!("{}.csv", self.name)
    }

    /// The fields of its CSV.
    pub(crate) fn columns(&self) -> impl Iterator<Item = &Field> {
        self.fields.iter().filter(|field| !matches!(field.kind, Kind::List | Kind::Map))
    }

    /// The schema of a line of its JSON Lines (JSON Schema 2020-12).
    pub(crate) fn schema(&self) -> Json {
        let properties: Map<String, Json> =
            self.fields.iter().map(|field| (field.name.to_owned(), property(field))).collect();
        json!({
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": format!("a line of {}", self.jsonl()),
            "description": self.about,
            "type": "object",
            "properties": properties,
            "required": self.fields.iter().map(|field| field.name).collect::<Vec<_>>(),
            "additionalProperties": false,
        })
    }
}

fn property(field: &Field) -> Json {
    let mut property = match field.kind {
        Kind::Whole => json!({ "type": "integer" }),
        Kind::Number => json!({ "type": "number" }),
        Kind::Text => json!({ "type": "string" }),
        Kind::Instant => json!({ "type": "string", "format": "date-time" }),
        Kind::Day => json!({ "type": "string", "format": "date" }),
        Kind::Map => json!({ "type": "object" }),
        Kind::List => json!({
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "tool": { "type": "integer" },
                    "material": { "type": "string" },
                    "amounts": { "type": "object", "additionalProperties": { "type": "number" } },
                },
                "required": ["tool", "material", "amounts"],
                "additionalProperties": false,
            },
        }),
    };
    if field.may_be_null {
        property["type"] = json!([property["type"], "null"]);
    }
    property["description"] = json!(field.about);
    property
}

/// What tells programs of the CSV files (CSVW, W3C Recommendation of 17 December 2015, *Metadata Vocabulary for Tabular Data*).
pub(crate) fn csv_metadata() -> Json {
    let column = |field: &Field| {
        json!({
            "name": field.name, "titles": field.name, "dc:description": field.about, "required": !field.may_be_null,
            "datatype": match field.kind {
                Kind::Whole => "integer",
                Kind::Number => "decimal",
                Kind::Instant => "dateTime",
                Kind::Day => "date",
                Kind::Text | Kind::List | Kind::Map => "string",
            },
        })
    };
    let table = |file: &&File| {
        json!({
            "url": file.csv(), "dc:description": file.about,
            "tableSchema": { "columns": file.columns().map(column).collect::<Vec<_>>() },
        })
    };
    json!({ "@context": "http://www.w3.org/ns/csvw", "tables": ALL.iter().map(table).collect::<Vec<_>>() })
}

/// What stands in the folder for people.
pub(crate) fn readme(shop: &str, zone: &str) -> String {
    let mut text = format!(
        "The records of the shop \"{shop}\"\n\n\
         Everything here is plain text, UTF-8, and needs no program of its own. Instants are UTC as RFC 3339 writes them;\n\
         days are those of {zone}. Amounts are in SI units.\n\n\
         NAME.jsonl holds one JSON value on each line; schema/NAME.schema.json describes it (JSON Schema 2020-12).\n\
         NAME.csv holds the same for spreadsheets (RFC 4180), without what is a list or map; csv-metadata.json describes the\n\
         columns (CSVW). shop.json was written last: it has the number of lines of each JSON Lines file and the SHA-256 that\n\
         sha256sum gives; where it is missing, the export was not finished.\n\n\
         There are no passwords, tokens or private links in here.\n\n"
    );
    for file in ALL {
        let both = if file.is_source { format!("{}, {}", file.jsonl(), file.csv()) } else { file.csv() };
        text.push_str(&format!("{both}\n    {}\n", file.about));
        for field in file.fields {
            text.push_str(&format!("      {:<14} {}\n", field.name, field.about));
        }
        text.push('\n');
    }
    text.push_str("builds/*.toml\n    The texts of the builds.\nphotos/*\n    The pictures.\n");
    text
}
