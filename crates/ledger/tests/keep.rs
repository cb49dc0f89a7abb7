//! Backups, copies and exports, on both engines: everything is in them, they are of one instant, and what is not whole is refused.

mod support;

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, BufRead, Cursor, Write};
use std::sync::{Arc, Mutex};

use jiff::civil::date;
use ledger::{Error, Folder, Ledger, Maker, Mark, Program, ProgramKey, Role, Tries, WayIn};
use motion::{Duty, Quantity};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use sqlx::{AssertSqlSafe, Row, TypeInfo, ValueRef};
use support::*;
use upkeep::{Event, MaterialClass, MaterialInfo, Rates};

/// A photo by its first bytes (ISO/IEC 15948, 5.2).
const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\x00\xff";

/// What must not leave the shop in an export.
const SECRETS: [&str; 5] = ["$argon2id$hash-of-mate", "session-token", "former-token", "machine-token", "feed-secret"];

/// A shop with a row in every table.
async fn full_shop(ground: Ground) -> TestShop {
    let shop = TestShop::new(ground).await;
    let ledger = shop.ledger.recorded_by("mate, \"the\" first\r\nline");
    shop.append("2026-10-05T08:00:00Z", queued("a1", 5.0)).await.unwrap();
    shop.append("2026-10-05T09:00:00Z", run("a1", 5.000_000_001)).await.unwrap();
    let late = shop.append("2026-10-06T09:00:00Z", run_by_label("cleats", 2.5)).await.unwrap();
    shop.append("2026-10-06T12:00:00Z", done("wipe")).await.unwrap();
    shop.append("2026-10-07T12:00:00Z", queued("b2", 1.0)).await.unwrap();
    ledger.append(entry("bowline", "2026-10-07T13:00:00Z", replaced("nozzle"))).await.unwrap();
    let own = upkeep::entry::OwnLimit {
        task: "wipe".to_owned(),
        of: None,
        every: "3 days".to_owned(),
        reason: "øl, \"x\"\n=1+1".to_owned(),
    };
    shop.append("2026-10-08T08:00:00Z", Event::Limit(own)).await.unwrap();
    ledger.correct(late, entry("bowline", "2026-10-06T09:30:00Z", run_by_label("cleats", 2.25))).await.unwrap();
    let gone = shop.append("2026-10-09T09:00:00Z", run("c3", 7.0)).await.unwrap();
    ledger.withdraw(gone, at(RECORDED), "never ran").await.unwrap();
    shop.join("clove hitch").await.unwrap();
    ledger.set_rates(Rates { damage: Some(180.25), ..Rates::default() }, at(RECORDED), "").await.unwrap();
    let material = MaterialInfo {
        name: "PLA-flax".to_owned(),
        density_kg_m3: 1_180.000_000_000_000_2,
        classes: vec![MaterialClass::Abrasive, MaterialClass::Hygroscopic],
    };
    ledger.put_material(&material, at(RECORDED)).await.unwrap();
    let mut duty = Duty::default();
    duty.tools.entry(1).or_default()[Quantity::TravelX] = 0.1 + 0.2;
    let key = ProgramKey { sha256: "a1".repeat(32), motion: "m".to_owned(), corner: "jerk".to_owned(), meter: 2 };
    let (report, maps) = (json!({ "lines": 3 }).to_string(), json!({ "x": {} }).to_string().into_bytes());
    let program = Program { label: "a1.gcode".to_owned(), bytes: 12, duty, report, maps };
    ledger.put_program(&key, &program).await.unwrap();
    ledger.set_person("mate", Role::Own, Some(SECRETS[0]), at(RECORDED)).await.unwrap();
    ledger.start_session("mate", SECRETS[2], "a browser", at(RECORDED)).await.unwrap();
    ledger.renew_session(SECRETS[2], SECRETS[1], at(RECORDED)).await.unwrap();
    ledger.add_token("bowline", SECRETS[3], "by the door", at(RECORDED)).await.unwrap();
    ledger.set_feed("first keeper", SECRETS[4], at(RECORDED)).await.unwrap();
    let visit = shop.append("2026-10-10T08:00:00Z", visit(date(2026, 10, 11))).await.unwrap();
    let press = Maker { by: Some("mate"), at: at(RECORDED), key: "k" };
    ledger
        .mark(visit, "wipe", &[Mark::Reading("belts: tone".into(), "104 Hz".into()), Mark::Done], &press)
        .await
        .unwrap();
    ledger.add_photo(visit, "wipe", PNG, &press).await.unwrap();
    let way = WayIn { name: "bench".into(), kind: "folder".into(), settings: "{}".into() };
    ledger.set_way(&way, at(RECORDED)).await.unwrap();
    ledger.put_way_mark("bench", "part.gcode", Some("taken"), at(RECORDED)).await.unwrap();
    ledger.post_job("run", "a run", "{}", at(RECORDED)).await.unwrap();
    let (state, now) = (shop.state().await, at(RECORDED).to_zoned_datetime(jiff::tz::TimeZone::UTC));
    let foreseen = upkeep::Foreseen::of(&state, upkeep::Materials::built_in(), &now);
    let of = ledger::OfDay { day: now.date(), descriptions: ledger.news().await.unwrap().descriptions };
    ledger.keep_forecasts(&[(1, Arc::new(foreseen))], of).await.unwrap();
    let times = (at(RECORDED), at(RECORDED));
    let plan = ledger.ask_for_plan(14, 10, at(RECORDED), times).await.unwrap().unwrap();
    assert!(ledger.put_plan(plan, "{}", at(RECORDED)).await.unwrap());
    let tries = Tries { failed: 1, last: at(RECORDED) };
    assert!(ledger.count_try("name mate", None, tries).await.unwrap());
    shop
}

/// The files of an export, by name.
type Files = BTreeMap<String, Vec<u8>>;

type Dump = BTreeMap<String, Vec<Vec<String>>>;

/// The columns of every table, as SQLite itself tells them.
async fn columns(sqlite: &Ground) -> BTreeMap<String, Vec<String>> {
    let mut raw = sqlite.raw().await;
    let rows = sqlx::query(
        "select m.name, c.name from sqlite_master m join pragma_table_info(m.name) c \
         where m.type = 'table' and m.name not like 'sqlite_%' and m.name <> '_sqlx_migrations' order by m.name, c.cid",
    );
    let mut columns: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for row in rows.fetch_all(&mut raw).await.unwrap() {
        columns.entry(row.get(0)).or_default().push(row.get(1));
    }
    columns
}

/// Every row of every table, to the last byte, past the ledger.
async fn dump(ground: &Ground, columns: &BTreeMap<String, Vec<String>>) -> Dump {
    let mut raw = ground.raw().await;
    let mut dump = Dump::new();
    for (table, columns) in columns {
        let list = columns.iter().map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(", ");
        let rows = sqlx::query(AssertSqlSafe(format!("select {list} from \"{table}\"")));
        let rows = rows.fetch_all(&mut raw).await.unwrap();
        let mut told: Vec<Vec<String>> =
            rows.iter().map(|row| (0..columns.len()).map(|at| cell(row, at)).collect()).collect();
        told.sort();
        dump.insert(table.clone(), told);
    }
    dump
}

fn cell(row: &sqlx::any::AnyRow, at: usize) -> String {
    if row.try_get_raw(at).unwrap().is_null() {
        return "null".to_owned();
    }
    let kind = row.try_get_raw(at).unwrap().type_info().name().to_owned();
    match kind.as_str() {
        "TEXT" => format!("{:?}", row.get::<String, _>(at)),
        "BLOB" => format!("{:?}", row.get::<Vec<u8>, _>(at)),
        "DOUBLE" | "REAL" => format!("{:x}", row.get::<f64, _>(at).to_bits()),
        _ => format!("{}", row.get::<i64, _>(at)),
    }
}

async fn backup_of(ledger: &Ledger) -> Vec<u8> {
    let mut bytes = Vec::new();
    ledger.backup(&mut bytes, at(RECORDED)).await.unwrap();
    bytes
}

/// Whoever adds a table or a column adds it to the list in src/keep/rows.rs, and says in src/keep/export.rs whether exports show it.
#[tokio::test]
async fn every_table_and_column_of_the_database_is_in_a_backup_on_both_engines() {
    let sqlite = full_shop(Ground::sqlite()).await;
    let known = columns(&sqlite.ground).await;
    let postgres = Ground::postgres().await;
    let (copy, _) = sqlite.ledger.copy_to(&postgres.at).await.unwrap();
    for ledger in [&sqlite.ledger, &copy] {
        let mut told: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        for line in backup_of(ledger).await.lines() {
            let line: Value = serde_json::from_str(&line.unwrap()).unwrap();
            if let Some(table) = line["table"].as_str() {
                let names =
                    line["columns"].as_array().unwrap().iter().map(|column| column[0].as_str().unwrap().to_owned());
                told.insert(table.to_owned(), names.collect());
            }
        }
        let expected: BTreeMap<_, BTreeSet<_>> =
            known.iter().map(|(table, columns)| (table.clone(), columns.iter().cloned().collect())).collect();
        assert_eq!(told, expected);
    }
    let mut raw = postgres.raw().await;
    let rows = sqlx::query(
        "select cast(table_name as text), cast(column_name as text) from information_schema.columns \
         where table_schema = current_schema() and table_name <> '_sqlx_migrations' order by table_name, ordinal_position",
    );
    let mut there: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for row in rows.fetch_all(&mut raw).await.unwrap() {
        there.entry(row.get(0)).or_default().push(row.get(1));
    }
    assert_eq!(there, known, "both engines have the same tables");
}

/// What the copies count must go on behind what was copied.
async fn goes_on(ledger: &Ledger) {
    let before = ledger.news().await.unwrap();
    let last = ledger.append(entry("bowline", "2026-10-20T08:00:00Z", run("d4", 1.0))).await.unwrap();
    let next = ledger.append(entry("bowline", "2026-10-21T08:00:00Z", run("d4", 1.0))).await.unwrap();
    assert_eq!(next.0, last.0 + 1);
    assert_ne!(ledger.news().await.unwrap(), before);
    ledger.set_person("bosun", Role::Own, Some("hash"), at(RECORDED)).await.unwrap();
    ledger.add_token("bowline", "another", "", at(RECORDED)).await.unwrap();
    ledger
        .add_machine("reef knot", &ledger.builds().await.unwrap()[0].name, at(JOINED), at(RECORDED), "")
        .await
        .unwrap();
    assert_eq!(ledger.verify().await.unwrap().differences, vec![]);
}

#[tokio::test]
async fn a_shop_goes_to_postgresql_and_back_to_the_last_byte_and_each_goes_on() {
    let first = full_shop(Ground::sqlite()).await;
    let columns = columns(&first.ground).await;
    let (postgres, again, other) = (Ground::postgres().await, Ground::sqlite(), Ground::postgres().await);
    let (second, there) = first.ledger.copy_to(&postgres.at).await.unwrap();
    let (third, back) = second.copy_to(&again.at).await.unwrap();
    let (fourth, _) = second.copy_to(&other.at).await.unwrap();
    assert_eq!(there, back);
    let whole = dump(&first.ground, &columns).await;
    let empty: Vec<&String> = whole.iter().filter(|(_, rows)| rows.is_empty()).map(|(table, _)| table).collect();
    assert!(empty.is_empty(), "nothing in {empty:?}, so nothing of it was tried");
    for ground in [&postgres, &again, &other] {
        assert_eq!(dump(ground, &columns).await, whole);
    }
    for ledger in [&first.ledger, &second, &third, &fourth] {
        assert_eq!(ledger.verify().await.unwrap().differences, vec![]);
        goes_on(ledger).await;
    }
}

#[tokio::test]
async fn a_backup_is_the_same_from_both_engines_and_restores_into_each() {
    let first = full_shop(Ground::sqlite()).await;
    let columns = columns(&first.ground).await;
    let postgres = Ground::postgres().await;
    let (second, _) = first.ledger.copy_to(&postgres.at).await.unwrap();
    let bytes = backup_of(&first.ledger).await;
    assert!(bytes == backup_of(&second).await, "the engine shows in a backup");
    let whole = dump(&first.ground, &columns).await;
    for ground in [Ground::sqlite(), Ground::postgres().await] {
        let (restored, contents, taken) = Ledger::restore(&ground.at, &bytes[..]).await.unwrap();
        assert_eq!((taken, contents.shop.as_str()), (at(RECORDED), "pattern loft"));
        assert_eq!(contents.entries as usize, whole["entry"].len());
        assert_eq!(dump(&ground, &columns).await, whole);
        goes_on(&restored).await;
    }
}

/// `backup` as a program of an older shape would have written it.
fn of_shape(backup: &[u8], shape: i64) -> Vec<u8> {
    let later = |table: &str| match table {
        "proposal" | "sign_in_try" => 12,
        "forecast" => 11,
        "alike" => 10,
        "feed" => 7,
        "mark" | "photo" => 6,
        "person" | "session" | "machine_token" => 5,
        "own_limit" => 2,
        "shop" | "quantity" | "material_name" | "build" | "material" | "machine" | "entry" | "program" | "queued"
        | "daily" | "standing" | "total" => 1,
        _ => 9,
    };
    let mut out: Vec<u8> = Vec::new();
    let mut sums: BTreeMap<String, (u64, Sha256)> = BTreeMap::new();
    let mut table = String::new();
    // What entries say alike, by its number, stood in the entries themselves before.
    let mut alike: BTreeMap<i64, (Value, Value)> = BTreeMap::new();
    let shorten = |table: &str, columns: &mut Vec<Value>| {
        if (table == "entry" || table == "machine") && shape < 10 {
            columns.pop();
        }
        if table == "entry" && shape < 5 {
            columns.pop();
        }
    };
    let say = |out: &mut Vec<u8>, line: &Value| writeln!(out, "{line}").unwrap();
    for line in backup.lines() {
        let mut line: Value = serde_json::from_str(&line.unwrap()).unwrap();
        if line["backup"] == 1 {
            line["shape"] = json!(shape);
            say(&mut out, &line);
        } else if let Some(name) = line["table"].as_str() {
            table = name.to_owned();
            if later(&table) <= shape {
                sums.insert(table.clone(), (0, Sha256::new()));
                shorten(&table, line["columns"].as_array_mut().unwrap());
                say(&mut out, &line);
            }
        } else if let Some(row) = line.as_array_mut() {
            if table == "alike" {
                alike.insert(row[0].as_i64().unwrap(), (row[2].clone(), row[3].clone()));
            }
            if table == "entry"
                && shape < 10
                && let Some((body, usage)) = row[11].as_i64().and_then(|id| alike.get(&id))
            {
                let object =
                    |text: &Value| serde_json::from_str::<serde_json::Map<_, _>>(text.as_str().unwrap()).unwrap();
                let mut whole = object(body);
                whole.extend(object(&row[7]));
                (row[7], row[9]) = (Value::Object(whole).to_string().into(), usage.clone());
            }
            if later(&table) <= shape {
                shorten(&table, row);
                let (rows, sha256) = sums.get_mut(&table).unwrap();
                *rows += 1;
                sha256.update(format!("{line}\n"));
                say(&mut out, &line);
            }
        }
    }
    let hexadecimal = |sha256: Sha256| sha256.finalize().iter().map(|byte| format!("{byte:02x}")).collect::<String>();
    let end: BTreeMap<_, _> = sums
        .into_iter()
        .map(|(table, (rows, sha256))| (table, json!({ "rows": rows, "sha256": hexadecimal(sha256) })))
        .collect();
    say(&mut out, &json!({ "end": end }));
    out
}

#[tokio::test]
async fn a_backup_of_an_older_shape_is_brought_up_to_date() {
    let shop = full_shop(Ground::sqlite()).await;
    let bytes = backup_of(&shop.ledger).await;
    let values = |bytes: &[u8]| -> Vec<Value> {
        bytes.lines().map(|line| serde_json::from_str(&line.unwrap()).unwrap()).collect()
    };
    let newest = values(&bytes)[0]["shape"].as_i64().unwrap();
    assert!(values(&of_shape(&bytes, newest)) == values(&bytes), "only what is later is left out");
    for (shape, ground) in [(4, Ground::sqlite()), (4, Ground::postgres().await), (6, Ground::sqlite())] {
        let (restored, contents, _) = Ledger::restore(&ground.at, &of_shape(&bytes, shape)[..]).await.unwrap();
        assert_eq!(contents.shape, shape);
        assert_eq!(restored.people().await.unwrap().len(), usize::from(5 <= shape));
        goes_on(&restored).await;
    }
}

#[tokio::test]
async fn a_newer_backup_asks_for_an_update_and_anything_else_is_refused() {
    let shop = TestShop::new(Ground::sqlite()).await;
    let bytes = backup_of(&shop.ledger).await;
    let text = String::from_utf8(bytes).unwrap();
    let refused = async |text: &str| {
        let ground = Ground::sqlite();
        let error = Ledger::restore(&ground.at, text.as_bytes()).await.unwrap_err();
        assert!(matches!(error, Error::NotWhole { .. }), "{error:?}");
        assert!(!std::path::Path::new(&ground.at).exists(), "nothing is left behind");
        error.to_string()
    };
    let newer = refused(std::str::from_utf8(&of_shape(text.as_bytes(), 9999)).unwrap()).await;
    assert!(newer.contains("its shape is 9999") && newer.contains("update this program"), "{newer}");
    for other in ["", "G1 X10\n", "{}\n", "\u{0}"] {
        assert!(refused(other).await.contains("line 1"));
    }
    let lines: Vec<&str> = text.lines().collect();
    let spoilt = |at: usize, line: &str| {
        let mut lines = lines.clone();
        lines[at] = line;
        lines.join("\n") + "\n"
    };
    let row = lines.iter().position(|line| line.starts_with("[1,\"pattern loft\"")).unwrap();
    assert!(
        refused(&spoilt(row, "[1,\"pattern shop\",\"Europe/Lisbon\"]")).await.contains("not those it was made with")
    );
    assert!(refused(&spoilt(row, "[1]")).await.contains(&format!("line {}", row + 1)));
    assert!(
        refused(&spoilt(row - 1, "{\"table\":\"shop\\\" --\",\"key\":1,\"columns\":[[\"id\",\"int\"]]}"))
            .await
            .contains("neither")
    );
    assert!(refused(&lines[..lines.len() - 1].join("\n")).await.contains("ends too early"));
    assert!(refused(&format!("{text}[1]\n")).await.contains("follows its end"));
}

#[tokio::test]
async fn nothing_is_put_over_a_shop_or_into_anything_else() {
    let shop = TestShop::new(Ground::sqlite()).await;
    let bytes = backup_of(&shop.ledger).await;
    let other = TestShop::new(Ground::postgres().await).await;
    for at in [&shop.ground.at, &other.ground.at] {
        for error in [Ledger::restore(at, &bytes[..]).await.unwrap_err(), shop.ledger.copy_to(at).await.unwrap_err()] {
            assert!(matches!(&error, Error::ShopExists { name, .. } if name == "pattern loft"), "{error}");
        }
    }
    let foreign = Ground::postgres().await;
    foreign.spoil("create table recipes (id bigint)").await;
    assert!(matches!(shop.ledger.copy_to(&foreign.at).await.unwrap_err(), Error::NotAShop { .. }));
    let half = Ground::sqlite();
    Ledger::create(&half.at, "loft", ZONE).await.unwrap().close().await;
    half.spoil("delete from shop").await;
    assert!(matches!(shop.ledger.copy_to(&half.at).await.unwrap_err(), Error::NotEmpty { .. }));
}

async fn is_of_one_instant(ground: Ground) {
    let shop = TestShop::new(ground).await;
    let writer = shop.ledger.clone();
    let writing = tokio::spawn(async move {
        for minute in 0..60 {
            let when = format!("2026-10-05T08:{minute:02}:00Z");
            writer.append(entry("bowline", &when, run("a1", 1.0))).await.unwrap();
        }
    });
    let mut backups = Vec::new();
    while backups.len() < 3 || !writing.is_finished() && backups.len() < 20 {
        backups.push(backup_of(&shop.ledger).await);
    }
    writing.await.unwrap();
    for bytes in backups {
        let ground = Ground::sqlite();
        let (restored, ..) = Ledger::restore(&ground.at, &bytes[..]).await.unwrap();
        assert_eq!(restored.verify().await.unwrap().differences, vec![]);
    }
}

#[tokio::test]
async fn a_backup_taken_while_others_write_is_of_one_instant() {
    is_of_one_instant(Ground::sqlite()).await;
    is_of_one_instant(Ground::postgres().await).await;
}

/// A folder in memory.
#[derive(Clone, Default)]
struct Memory(Arc<Mutex<BTreeMap<String, Vec<u8>>>>);

struct InMemory {
    folder: Memory,
    name: String,
}

impl Write for InMemory {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.folder.0.lock().unwrap().get_mut(&self.name).unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Folder for Memory {
    fn make(&mut self, name: &str) -> io::Result<Box<dyn Write + Send>> {
        assert!(self.0.lock().unwrap().insert(name.to_owned(), Vec::new()).is_none(), "{name} is made twice");
        Ok(Box::new(InMemory { folder: self.clone(), name: name.to_owned() }))
    }

    fn read(&mut self, name: &str) -> io::Result<Box<dyn BufRead + Send>> {
        let bytes = self.0.lock().unwrap().get(name).cloned();
        Ok(Box::new(Cursor::new(bytes.ok_or(io::ErrorKind::NotFound)?)))
    }
}

impl Memory {
    fn text(&self, name: &str) -> String {
        String::from_utf8(self.0.lock().unwrap()[name].clone()).unwrap()
    }

    fn lines(&self, name: &str) -> Vec<Value> {
        self.text(name).lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }
}

async fn exported(ledger: &Ledger) -> Memory {
    let mut folder = Memory::default();
    ledger.export(&mut folder, at(RECORDED)).await.unwrap();
    folder
}

#[tokio::test]
async fn an_export_reads_back_into_both_engines_and_exports_the_same_again() {
    let shop = full_shop(Ground::sqlite()).await;
    let first = exported(&shop.ledger).await;
    for ground in [Ground::sqlite(), Ground::postgres().await] {
        let (read, contents) = Ledger::import_from(&ground.at, &mut first.clone()).await.unwrap();
        assert_eq!(contents.shop, "pattern loft");
        assert_eq!(read.verify().await.unwrap(), shop.ledger.verify().await.unwrap());
        let again = exported(&read).await;
        let (was, now) = (first.0.lock().unwrap().clone(), again.0.lock().unwrap().clone());
        assert_eq!(was.keys().collect::<Vec<_>>(), now.keys().collect::<Vec<_>>());
        for (name, bytes) in &was {
            assert_eq!(String::from_utf8_lossy(&now[name]), String::from_utf8_lossy(bytes), "{name}");
        }
        assert_eq!(read.password_of("mate").await.unwrap().as_deref(), Some(""), "nobody's password");
        goes_on(&read).await;
    }
}

#[tokio::test]
async fn an_export_holds_no_secret_and_a_backup_holds_them_all() {
    let shop = full_shop(Ground::sqlite()).await;
    let folder = exported(&shop.ledger).await;
    let backup = String::from_utf8(backup_of(&shop.ledger).await).unwrap();
    for secret in SECRETS {
        assert!(backup.contains(secret), "{secret}");
        for (name, bytes) in folder.0.lock().unwrap().iter() {
            assert!(!String::from_utf8_lossy(bytes).contains(secret), "{secret} in {name}");
        }
    }
}

#[tokio::test]
async fn an_export_is_what_its_descriptions_say() {
    let shop = full_shop(Ground::sqlite()).await;
    let folder = exported(&shop.ledger).await;
    let metadata: Value = serde_json::from_str(&folder.text("csv-metadata.json")).unwrap();
    for table in metadata["tables"].as_array().unwrap() {
        let url = table["url"].as_str().unwrap();
        let text = folder.text(url);
        let columns = table["tableSchema"]["columns"].as_array().unwrap();
        let names: Vec<&str> = columns.iter().map(|column| column["name"].as_str().unwrap()).collect();
        assert_eq!(text.split("\r\n").next().unwrap(), names.join(","), "{url}");
        assert!(text.matches("\r\n").count() > 1, "nothing in {url}, so nothing of it was tried");
    }
    let manifest: Value = serde_json::from_str(&folder.text("shop.json")).unwrap();
    for (name, told) in manifest["files"].as_object().unwrap() {
        let text = folder.text(name);
        let sha256: String = Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(told["sha256"], sha256, "what sha256sum gives for {name}");
        assert_eq!(told["rows"], text.lines().count());
        let schema = format!("schema/{}.schema.json", name.trim_end_matches(".jsonl"));
        let schema: Value = serde_json::from_str(&folder.text(&schema)).unwrap();
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
        let properties = schema["properties"].as_object().unwrap();
        for line in folder.lines(name) {
            let keys: BTreeSet<&String> = line.as_object().unwrap().keys().collect();
            assert_eq!(keys, properties.keys().collect(), "{name}");
            for (key, value) in line.as_object().unwrap() {
                let kinds = &properties[key]["type"];
                let is = |kind: &str| match kind {
                    "integer" => value.is_i64(),
                    "number" => value.is_number(),
                    "string" => value.is_string(),
                    "array" => value.is_array(),
                    "object" => value.is_object(),
                    "null" => value.is_null(),
                    other => panic!("{other}"),
                };
                let fits = kinds.as_str().is_some_and(is)
                    || kinds.as_array().is_some_and(|kinds| kinds.iter().any(|kind| is(kind.as_str().unwrap())));
                assert!(fits, "{name}: {key} is {value}");
            }
        }
    }
    // 5.000000001 m and 2.25 m (corrected) along X, in grains of 1 nm.
    let daily = folder.text("daily.csv");
    assert!(daily.contains("bowline,2026-10-05,0,PLA,travel x,5.000000001,m\r\n"), "{daily}");
    assert!(daily.contains("bowline,2026-10-06,0,,travel x,2.25,m\r\n"), "{daily}");
    assert!(folder.text("totals.csv").contains("bowline,0,PLA,travel x,5.000000001,m\r\n"));
    assert_eq!(folder.0.lock().unwrap()["photos/1.png"], PNG);
}

#[tokio::test]
async fn an_export_that_is_not_whole_is_refused_with_the_place() {
    let shop = full_shop(Ground::sqlite()).await;
    let whole = exported(&shop.ledger).await;
    let refused = async |spoil: &dyn Fn(&mut Files)| {
        let mut files = whole.0.lock().unwrap().clone();
        spoil(&mut files);
        let ground = Ground::sqlite();
        let error = Ledger::import_from(&ground.at, &mut Memory(Arc::new(Mutex::new(files)))).await.unwrap_err();
        assert!(!std::path::Path::new(&ground.at).exists(), "nothing is left behind");
        error.to_string()
    };
    assert!(refused(&|files| drop(files.remove("shop.json"))).await.contains("not finished"));
    assert!(refused(&|files| drop(files.remove("photos/1.png"))).await.contains("photos/1.png"));
    assert!(refused(&|files| drop(files.remove("people.jsonl"))).await.contains("people.jsonl"));
    let in_entries = |from: &'static str, to: &'static str| {
        move |files: &mut BTreeMap<String, Vec<u8>>| {
            let text = String::from_utf8(files["entries.jsonl"].clone()).unwrap();
            assert!(text.contains(from));
            files.insert("entries.jsonl".to_owned(), text.replacen(from, to, 1).into_bytes());
        }
    };
    assert!(refused(&in_entries("never ran", "never run")).await.contains("entries.jsonl can't be taken in"));
    assert!(
        refused(&in_entries("\"machine\":\"bowline\"", "\"machine\":\"nowhere\""))
            .await
            .contains("entries.jsonl, line 1")
    );
    assert!(refused(&in_entries("\"kind\":\"added\"", "\"kind\":\"sung\"")).await.contains("can't be understood"));
    assert!(refused(&in_entries("\"note\"", "\"nota\"")).await.contains("note is missing"));
    let cut = refused(&|files| {
        let entries = files.get_mut("entries.jsonl").unwrap();
        entries.truncate(entries.len() - 5);
    });
    assert!(cut.await.contains("cut off"));
    assert!(
        refused(&|files| {
            let text = String::from_utf8(files["builds.jsonl"].clone()).unwrap();
            files.insert("builds.jsonl".to_owned(), text.replace("builds/1.toml", "builds/../x").into_bytes());
        })
        .await
        .contains("not one of the export")
    );
    let newer = |files: &mut BTreeMap<String, Vec<u8>>| {
        let text = String::from_utf8(files["shop.json"].clone()).unwrap();
        files.insert("shop.json".to_owned(), text.replace("\"export\": 1", "\"export\": 9").into_bytes());
    };
    assert!(refused(&newer).await.contains("update this program"));
}

/// Fails when it is full, as a disk does.
struct Full(usize);

impl Write for Full {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.0 < bytes.len() {
            return Err(io::ErrorKind::StorageFull.into());
        }
        self.0 -= bytes.len();
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[tokio::test]
async fn a_disk_that_fills_up_is_told_of() {
    let shop = TestShop::new(Ground::sqlite()).await;
    let room = backup_of(&shop.ledger).await.len();
    for bytes in [0, 100, room - 1] {
        let error = shop.ledger.backup(Full(bytes), at(RECORDED)).await.unwrap_err();
        assert!(matches!(error, Error::File { .. }), "{error}");
    }
    shop.ledger.backup(Full(room), at(RECORDED)).await.unwrap();
}
