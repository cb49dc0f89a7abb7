//! Holds JSON answers against the tables of docs/JSON.md, key by key and kind by kind.
//!
//! A table stands below a heading that names its commands, and has a row for each key: its path, its kind, its unit, its
//! meaning. In a path `[]` is an element of a list and `{name}` any key of a map. A kind in brackets, `[use](#use)`,
//! stands for the rows of that heading's table.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use serde_json::Value;

const DOCUMENT: &str = include_str!("../../../../docs/JSON.md");

static TABLES: LazyLock<BTreeMap<String, Vec<Row>>> = LazyLock::new(|| {
    let raw = tables(DOCUMENT);
    raw.iter().map(|(name, rows)| (name.clone(), rows.iter().flat_map(|row| expanded(row, &raw)).collect())).collect()
});

/// A documented key.
#[derive(Clone, Debug)]
struct Row {
    path: Vec<String>,
    kinds: Vec<String>,
}

/// Panics unless docs/JSON.md tells of every key in what `line` answered. Returns the documented paths that occurred.
#[track_caller]
pub(crate) fn check(line: &str, answer: &Value) -> BTreeSet<String> {
    let (name, rows) = table_of(line);
    // Several files are metered into a list of what one gives.
    let listed = if name == "meter" { answer.as_array() } else { None };
    let mut met = BTreeSet::new();
    let each = listed.map_or_else(|| leaves(answer), |list| list.iter().flat_map(leaves).collect());
    for (path, value) in each {
        let row = rows.iter().find(|row| row.tells_of(&path, value));
        let row = row.unwrap_or_else(|| panic!("docs/JSON.md, {name}: nothing on {} ({value})", path.join(".")));
        met.insert(row.path.join("."));
    }
    met
}

/// The name of the table of a command line, and the paths that it documents.
#[track_caller]
pub(crate) fn documented(line: &str) -> (String, BTreeSet<String>) {
    let (name, rows) = table_of(line);
    (name, rows.iter().map(|row| row.path.join(".")).collect())
}

#[track_caller]
fn table_of(line: &str) -> (String, &'static [Row]) {
    let mut words = line.split(' ');
    let first = words.next().unwrap();
    let second = words.next().unwrap_or_default();
    // What follows `lives` is a name, and so is a move, which is quoted; a machine alone lists its moves.
    let second = match first {
        "lives" if !second.is_empty() => "kind",
        "moves" if second == "name" || line.contains('"') => "name",
        "moves" => "",
        _ => second,
    };
    let two = format!("{first} {second}");
    let name = [two, first.to_owned()].into_iter().find(|name| TABLES.contains_key(name));
    let name = name.unwrap_or_else(|| panic!("docs/JSON.md has no table for tallow {line}"));
    let rows = &TABLES[&name];
    (name, rows)
}

/// The tables by the name of their command, or of the shape that several share.
fn tables(document: &str) -> BTreeMap<String, Vec<Row>> {
    let mut tables: BTreeMap<String, Vec<Row>> = BTreeMap::new();
    let mut names: Vec<String> = Vec::new();
    for line in document.lines() {
        if let Some(heading) = line.strip_prefix("## ") {
            names = heading.split(", ").map(|name| name.replace('`', "").to_lowercase()).collect();
        } else if let Some(rows) = line.strip_prefix("| `") {
            let cells: Vec<&str> = rows.split('|').collect();
            let row = Row { path: segments(cells[0].trim().trim_end_matches('`')), kinds: kinds(cells[1]) };
            names.iter().for_each(|name| tables.entry(name.clone()).or_default().push(row.clone()));
        }
    }
    tables
}

fn kinds(cell: &str) -> Vec<String> {
    cell.split(" or ").map(|kind| kind.trim().to_owned()).collect()
}

/// `limits[].of` as `limits`, `[]`, `of`.
fn segments(path: &str) -> Vec<String> {
    let parted = path.replace("[]", ".[]");
    parted.split('.').filter(|segment| !segment.is_empty()).map(str::to_owned).collect()
}

/// The row itself, and the rows of the shape to which it points.
fn expanded(row: &Row, tables: &BTreeMap<String, Vec<Row>>) -> Vec<Row> {
    let pointer = row.kinds.iter().find_map(|kind| Some(kind.split_once("](#")?.1.trim_end_matches(')')));
    let Some(shape) = pointer else { return vec![row.clone()] };
    let below = |shared: &Row| Row { path: [&row.path[..], &shared.path].concat(), kinds: shared.kinds.clone() };
    tables[shape].iter().map(below).collect()
}

impl Row {
    /// Whether it tells of a value at `path`. Of a list or map with nothing in it, any row below tells.
    fn tells_of(&self, path: &[String], value: &Value) -> bool {
        let fits = |(segment, key): (&String, &String)| {
            if segment.starts_with('{') { key != "[]" } else { segment == key }
        };
        let empty = value.is_array() || value.is_object();
        let long_enough = if empty { path.len() < self.path.len() } else { path.len() == self.path.len() };
        long_enough && self.path.iter().zip(path).all(fits) && (empty || self.kinds.iter().any(|kind| is(kind, value)))
    }
}

fn is(kind: &str, value: &Value) -> bool {
    match kind {
        "text" => value.is_string(),
        "number" => value.is_number(),
        "whole number" => value.is_u64() || value.is_i64(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        other => panic!("docs/JSON.md knows no kind \"{other}\""),
    }
}

/// Everything in a value that holds nothing else, with its path.
fn leaves(value: &Value) -> Vec<(Vec<String>, &Value)> {
    let below = |key: &str, value| {
        let longer = |(path, leaf)| ([vec![key.to_owned()], path].concat(), leaf);
        leaves(value).into_iter().map(longer).collect::<Vec<_>>()
    };
    match value {
        Value::Object(map) if !map.is_empty() => map.iter().flat_map(|(key, value)| below(key, value)).collect(),
        Value::Array(list) if !list.is_empty() => list.iter().flat_map(|value| below("[]", value)).collect(),
        leaf => vec![(Vec::new(), leaf)],
    }
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};
    use std::fs::File;
    use std::time::{Duration, UNIX_EPOCH};

    use super::{check, documented};
    use crate::programs::ladder;
    use crate::shop::{Shop, testdata};

    /// Command lines that between them print every key, in an order in which each works. `wall.gcode` is the meter's
    /// every key at once; `part.gcode` a ladder.
    fn lines(build: &str) -> Vec<String> {
        let lines = [
            "shop new \"Test bench\" --zone Europe/Oslo",
            "shop show",
            "build list",
            "build check BUILD",
            "material list",
            "material add PLA-STONE --density 1.4 --class abrasive",
            "quantities",
            "meter wall.gcode --build BUILD",
            "meter wall.gcode --build BUILD --stop \"line 12\"",
            "machine add bowline --build BUILD --when \"1 Sep\"",
            "machine list",
            "run part.gcode --on bowline --material PLA --when \"2 Nov 8:00\"",
            "run wall.gcode --on bowline --material PLA --material T1=ASA --when \"3 Nov 8:00\" --stop \"line 12\"",
            "run --on bowline --hours 20 --material PLA --when \"4 Nov 8:00\"",
            "queue part.gcode --on bowline --material PLA",
            "queue part.gcode --on bowline --material PLA --day friday",
            "before wall.gcode --material PLA --material T1=ASA",
            "before --hours 200 --material PLA",
            "moves",
            "moves bowline \"sweep x\"",
            "moves bowline \"sweep x\" --out sweep.gcode",
            "due --all",
            "steps \"replace the nozzle\" --on bowline",
            "steps \"wipe the x rods\" --on bowline",
            "done \"wipe the x rods\" --on bowline --used \"lint-free wipe=2\"",
            "due --all",
            "replace nozzle --on bowline --because worn",
            "failure nozzle \"prints too thin\" --on bowline --found",
            "reading \"x rods\" play \"0.15 mm\" --on bowline",
            "measure marks --positions 0,8.01,16,24.01",
            "measure marks --positions 0,8.01,16,24.01 --machine bowline --along z --at \"z screws\" --keep",
            "hour-meter 10 --on bowline --when \"5 Nov\"",
            "hour-meter 90 --on bowline --when \"12 Nov\"",
            "run --on bowline --hours 20 --material PLA --when \"15 Nov 8:00\" --label twice",
            "correct 14 --withdraw",
            "limit \"wipe the x rods\" --every \"340 km\" --reason \"clean here\"",
            "age bowline nozzle \"3 spools\"",
            "age bowline \"8 months\"",
            "rates --labour 32 --damage 180",
            "rates",
            "keeper set mate --minutes \"mon-fri 60, sat 30\" --skill qualified",
            "keeper away mate --from \"24 Dec\" --to \"26 Dec\" --why \"at sea\"",
            "keeper",
            "keeper remove mate",
            "stores order \"lint-free wipe\" 100 --by \"4 Dec\" --supplier chandler",
            "stores receive \"lint-free wipe\" 50 --price 9.50 --expires 2028-01 --supplier chandler",
            "stores receive \"brass nozzle 0.4\" 2",
            "stores count \"brass nozzle 0.4\" 3",
            "stores discard \"lint-free wipe\" 1 --why dirty",
            "stores terms \"lint-free wipe\" --lead \"10 days\" --pack 100 --price 12 --supplier chandler",
            "stores terms acetone --lead \"2 weeks\" --pack \"500 ml\"",
            "stores",
            "stores buy",
            "stores count \"NLGI 2 lithium grease\" \"1 g\"",
            "stores terms \"NLGI 2 lithium grease\" --lead \"2 weeks\" --pack \"50 g\" --price 6 --supplier chandler",
            "stores terms \"isopropyl alcohol, 90 % or more\" --lead \"2 days\" --pack \"500 ml\"",
            "stores buy",
            "replace nozzle --on bowline --because worn --spare \"brass nozzle 0.4\"",
            "skip bowline \"wipe the x rods\" --why \"no wipes left\"",
            "history",
            "machine show bowline",
            "history bowline",
            "lives",
            "lives nozzle",
            "token new bowline --label \"its computer\"",
            "token",
            "token revoke 1",
            "shop verify",
            "shop backup bench.backup",
            "shop restore bench.backup --shop restored.tallow",
            "shop copy copied.tallow",
            "shop export records",
            "shop import records --shop imported.tallow",
            "replay",
            "rhythm",
            "money",
            "fault symptoms",
            "fault symptoms smoke",
            "fault new bowline squeal --note \"since the cold snap\"",
            "fault",
            "fault show 35",
            "fault say 35 cannot-tell",
            "fault say 35 yes --of \"layer shift\"",
            "fault show 35",
            "fault new bowline smoke",
            "fault say 38 yes",
            "fault show 38",
            "fault new bowline \"nothing comes out\" \"temperature unsteady\"",
            "fault new bowline \"layer shift\"",
            "fault end 35 --other \"a pin on the bed\"",
            "fault grade",
            "fault grade \"dirty carbon rod\" \"squeal while moving\" seldom --why \"ours are quiet\"",
            "history",
            "history bowline",
            "way folder bench prints --on bowline --material PLA --time start",
            "way",
            "watch --until-idle",
            "way remove bench",
            "way table bench --on bowline --material PLA --start Start --end End",
            "import history.csv",
            "run part.gcode --on bowline --material PLA --when \"1 Nov 8:00\" --later",
            "job",
            "doctor --whole",
            "manual man",
        ];
        lines.iter().map(|line| line.replace("BUILD", build)).collect()
    }

    /// The same for `tallow life`, on the tables of [`life_tables`].
    const LIFE: [&str; 21] = [
        "life fit lives.csv --at 200 --quantile 0.01",
        "life fit lives.csv --model lognormal",
        "life fit lives.csv --model exponential --at 200 --quantile 0.01",
        "life fit lives.csv --shape 2",
        "life fit good.csv --shape 2 --at 200 --quantile 0.01",
        "life believe lives.csv --at 200",
        "life believe good.csv --life-from 300 --life-to 900",
        "life curve lives.csv",
        "life curve looks.csv",
        "life mtbf --time 1000 --failures 2",
        "life repairs repairs.csv",
        "life drift bores.csv --limit 9",
        "life remain lives.csv --age 100 --within 10",
        "life remain lives.csv --model lognormal --age 100",
        "life replace lives.csv --planned-cost 1 --failure-cost 5 --block --minimal-repair 2",
        "life replace --shape 0.9 --scale 10 --planned-cost 1 --failure-cost 5 --block --minimal-repair 2",
        "life look --delay 40",
        "life look --delay 40 --signs 0.002 --look-cost 2 --planned-cost 20 --failure-cost 200",
        "life hidden --shape 2 --scale 100 --look-cost 1 --undetected-cost 1 --repair-cost 1",
        "life bearing --rating 5 --load 1 --speed 100",
        "life bearing --rating 5 --load 1 --linear-per 50 --stroke 0.2 --strokes 30",
    ];

    fn life_tables(shop: &Shop) {
        shop.write("lives.csv", "time,event\n150,1\n320,1\n400,1\n500,0\n");
        shop.write("good.csv", "time,event\n150,0\n320,0\n");
        shop.write("looks.csv", "time,event,upper\n0,1,100\n100,1,200\n150,0,\n");
        shop.write("repairs.csv", "system,end,time\n1,100,20\n1,100,90\n2,80,50\n2,80,70\n");
        shop.write("bores.csv", "unit,age,value\n1,0,4\n1,1,5\n1,2,5.5\n2,0,4\n2,1,4.5\n2,2,5.5\n");
    }

    const WALL: &str = "M104 S200\nM140 S60\nM106 S128\nM83\nM999\nG1 X1 Y1 Z0.2 E1 F3000\nG1 X10 E1\nG1 Y10 E1\nG1 E-1\nT1\n\
                        G1 X20 E1\nG1 Xten\nG4 S1\n";

    /// Keys that only long records, very large files, plans or messages print; other tests meet them.
    const ELSEWHERE: [&str; 46] = [
        "doctor: checks.[].findings.[].what",
        "doctor: checks.[].findings.[].to_do.[]",
        "doctor: checks.[].findings.[].must",
        "measure marks: others.[].what",
        "measure marks: others.[].at",
        "measure marks: others.[].value",
        "measure marks: others.[].uncertainty",
        "measure marks: others.[].unit",
        "measure marks: kept.outside.[].position",
        "measure marks: kept.outside.[].what",
        "measure marks: kept.outside.[].value",
        "measure marks: kept.outside.[].unit",
        "measure marks: kept.outside.[].is",
        "measure marks: kept.outside.[].limit",
        "measure marks: kept.outside.[].by",
        "measure marks: kept.outside.[].source",
        "measure marks: kept.outside.[].task",
        "rhythm: machines.[].habit",
        "fault new: next.cautions.[].before",
        "fault new: next.cautions.[].text",
        "fault show: next.cautions.[].before",
        "fault show: next.cautions.[].text",
        "fault say: next.cautions.[].before",
        "fault say: next.cautions.[].text",
        "fault end: next.cautions.[].before",
        "fault end: next.cautions.[].text",
        "steps: if_needed.[].amount",
        "steps: if_needed.[].unit",
        "before: [].machines.[].not_to_be_run_before.[]",
        "lives kind: [].limits.[].task",
        "lives kind: [].limits.[].of",
        "lives kind: [].limits.[].every",
        "lives kind: [].limits.[].carried",
        "history: [].event.tasks.[]",
        "history: [].event.took",
        "history: [].event.day",
        "history: [].event.minutes",
        "history: [].event.locked",
        "shop verify: differences.[]",
        "replay: quantities.[].limit_on",
        "replay: quantities.[].before",
        "replay: quantities.[].within",
        "replay: quantities.[].after",
        "replay: quantities.[].held",
        "watch: way",
        "watch: machine",
    ];

    /// Commands that answer by one shape, of which each prints what it can: a key is met where one of them prints it.
    const OF_ONE_SHAPE: [&str; 4] = ["fault new", "fault show", "fault say", "fault end"];

    #[test]
    fn every_documented_key_is_printed_by_its_command() {
        let shop = Shop::folder();
        shop.write("part.gcode", ladder(100));
        shop.write("wall.gcode", WALL);
        shop.write(
            "history.csv",
            "Start,End\n2026-11-02 8:00,\n2026-11-02 9:00,2026-11-02 8:00\n2020-01-02 8:00,2020-01-02 9:00\n",
        );
        std::fs::create_dir(shop.path("prints")).unwrap();
        shop.write("prints/part.gcode", ladder(100));
        let october = UNIX_EPOCH + Duration::from_secs(1_791_100_000);
        File::options().write(true).open(shop.path("prints/part.gcode")).unwrap().set_modified(october).unwrap();
        let mut met: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        life_tables(&shop);
        let life = LIFE.map(str::to_owned);
        for line in lines(&testdata("builds/reference.toml")).into_iter().chain(life) {
            let (name, _) = documented(&line);
            met.entry(name).or_default().extend(check(&line, &shop.json(&line)));
        }
        let mixed = shop.ask("meter wall.gcode absent.gcode --build delta --json");
        met.get_mut("meter").unwrap().extend(check("meter", &serde_json::from_str(&mixed.out).unwrap()));
        let together: BTreeSet<String> = OF_ONE_SHAPE.iter().flat_map(|name| met[*name].clone()).collect();
        OF_ONE_SHAPE.iter().for_each(|name| met.get_mut(*name).unwrap().extend(together.clone()));
        let unmet: Vec<String> = met
            .iter()
            .flat_map(|(name, met)| {
                let (_, all) = documented(name);
                all.into_iter()
                    .filter(|path| !met.contains(path))
                    .map(|path| format!("{name}: {path}"))
                    .collect::<Vec<_>>()
            })
            .filter(|unmet| !ELSEWHERE.contains(&unmet.as_str()))
            .collect();
        assert!(unmet.is_empty(), "docs/JSON.md tells of keys that nothing printed:\n{}", unmet.join("\n"));
    }

    #[test]
    #[should_panic(expected = "nothing on surprise")]
    fn a_key_that_is_not_documented_is_found() {
        check("shop new", &serde_json::json!({ "shop": "x", "zone": "UTC", "place": "y", "surprise": 1 }));
    }

    #[test]
    #[should_panic(expected = "nothing on shop")]
    fn a_key_of_another_kind_than_documented_is_found() {
        check("shop new", &serde_json::json!({ "shop": 1, "zone": "UTC", "place": "y" }));
    }
}
