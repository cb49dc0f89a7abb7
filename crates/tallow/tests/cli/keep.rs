//! Backups, copies and exports through the real program.

use std::fs;

use crate::postgres;
use crate::programs::ladder;
use crate::shop::Shop;

/// A shop with a run, a correction and something of its own.
fn shop() -> Shop {
    let shop = Shop::with_bowline();
    shop.write("part.gcode", ladder(100));
    shop.told("run part.gcode --on bowline --material PLA --when \"2 Nov 8:00\"");
    shop.told("done \"wipe the x rods\" --on bowline --note \"a \"");
    shop.told("correct 2 --when \"2 Nov 9:00\"");
    shop.told("rates --labour 32");
    shop
}

/// Asserts that two shops show the same.
#[track_caller]
fn same(shop: &Shop, other: &str) {
    for line in ["history bowline", "history", "due --all", "machine list", "shop verify"] {
        assert_eq!(shop.json(line), shop.json(&format!("{line} --shop {other}")), "{line}");
    }
}

#[test]
fn a_backup_restores_to_the_same_shop_and_says_what_it_is() {
    let shop = shop();
    let taken = shop.json("shop backup bench.backup");
    assert_eq!((&taken["shop"], &taken["entries"]), (&"Test bench".into(), &5.into()));
    assert_eq!(taken["bytes"], fs::metadata(shop.path("bench.backup")).unwrap().len());
    let restored = shop.json("shop restore bench.backup --shop other/bench.tallow");
    for key in ["shop", "shape", "entries", "rows", "entries_sha256"] {
        assert_eq!(restored[key], taken[key], "{key}");
    }
    assert_eq!((&restored["machines"], &restored["taken"]), (&1.into(), &"2026-11-25T14:30:00Z".into()));
    same(&shop, "other/bench.tallow");
    shop.told("run part.gcode --on bowline --material PLA --when \"3 Nov 8:00\" --shop other/bench.tallow");
    let said = shop.told("shop backup again.backup");
    assert!(said.contains("Test bench with 5 entries is in again.backup") && said.contains("passwords"), "{said}");
    let said = shop.told("shop restore again.backup --shop again.tallow");
    assert!(said.contains("1 machine, 5 entries") && said.contains("2026-11-25 at 15:30"), "{said}");
}

#[test]
fn nothing_is_overwritten_unless_it_is_said() {
    let shop = shop();
    shop.told("shop backup bench.backup");
    let before = fs::read(shop.path("bench.backup")).unwrap();
    shop.told("rates --labour 33");
    shop.refused("shop backup bench.backup", &["bench.backup is there already", "--replace"]);
    assert_eq!(fs::read(shop.path("bench.backup")).unwrap(), before);
    assert_eq!(shop.json("shop backup bench.backup --replace")["entries"], 6);
    for line in ["shop restore bench.backup", "shop copy shop.tallow"] {
        shop.refused(line, &["shop.tallow already holds the shop \"Test bench\""]);
    }
    shop.told("shop export records");
    shop.refused("shop export records", &["there is something in records already"]);
    shop.refused("shop import records", &["shop.tallow already holds the shop"]);
    assert_eq!(shop.json("history bowline").as_array().unwrap().len(), 4);
}

#[test]
fn a_backup_that_is_cut_off_changed_or_no_backup_makes_no_shop() {
    let shop = shop();
    shop.told("shop backup bench.backup");
    let bytes = fs::read(shop.path("bench.backup")).unwrap();
    for end in [0, 10, 39, bytes.len() / 2, bytes.len() - 40, bytes.len() - 1] {
        shop.write("bad.backup", &bytes[..end]);
        shop.refused("shop restore bad.backup --shop bad.tallow", &["bad.backup is no backup", "nothing was changed"]);
    }
    for place in [0, 5, bytes.len() / 2, bytes.len() - 41, bytes.len() - 1] {
        let mut spoilt = bytes.clone();
        spoilt[place] ^= 1;
        shop.write("bad.backup", spoilt);
        shop.refused("shop restore bad.backup --shop bad.tallow", &["bad.backup is damaged", "checksum"]);
    }
    shop.refused("shop restore part.gcode --shop bad.tallow", &["part.gcode is no backup"]);
    shop.refused("shop restore absent.backup --shop bad.tallow", &["absent.backup can't be read"]);
    shop.told("shop export records");
    shop.refused("shop restore records --shop bad.tallow", &["records is a folder", "tallow shop import"]);
    shop.refused("shop import bench.backup --shop bad.tallow", &["bench.backup is no folder", "tallow shop restore"]);
    fs::create_dir(shop.path("empty")).unwrap();
    shop.refused("shop import empty --shop bad.tallow", &["no export, or one that was not finished"]);
    assert!(!shop.path("bad.tallow").exists());
}

#[test]
fn a_place_that_can_not_be_written_is_named() {
    let shop = shop();
    shop.refused("shop backup absent/bench.backup", &["absent/bench.backup can't be written"]);
    shop.refused("shop export part.gcode", &["the folder part.gcode can't be used"]);
}

#[test]
fn backups_taken_while_others_record_are_whole() {
    let shop = shop();
    std::thread::scope(|scope| {
        let writer = scope.spawn(|| {
            for day in 3..11 {
                shop.told(&format!("run part.gcode --on bowline --material PLA --when \"{day} Nov 8:00\""));
            }
        });
        let mut taken = 0;
        while taken < 2 || !writer.is_finished() {
            shop.told(&format!("shop backup {taken}.backup"));
            taken += 1;
        }
        for number in [0, taken - 1] {
            shop.told(&format!("shop restore {number}.backup --shop {number}.tallow"));
            assert_eq!(shop.json(&format!("shop verify --shop {number}.tallow"))["differences"], serde_json::json!([]));
        }
    });
}

#[test]
fn an_export_holds_the_shop_for_other_programs_and_for_this_one() {
    let shop = shop();
    let exported = shop.json("shop export records");
    let entries = fs::read_to_string(shop.path("records/entries.jsonl")).unwrap();
    assert_eq!(exported["entries"], entries.lines().count());
    assert!(fs::read_to_string(shop.path("records/README.txt")).unwrap().contains("Test bench"));
    let mut rows = csv::Reader::from_path(shop.path("records/entries.csv")).unwrap();
    assert_eq!(rows.records().map(Result::unwrap).filter(|row| &row[2] == "run").count(), 2);
    let read = shop.json("shop import records --shop read.tallow");
    assert_eq!((&read["entries_sha256"], &read["entries"]), (&exported["entries_sha256"], &exported["entries"]));
    same(&shop, "read.tallow");
    let spoilt = entries.replacen("PLA", "ABS", 1);
    shop.write("records/entries.jsonl", spoilt);
    shop.refused("shop import records --shop bad.tallow", &["entries.jsonl can't be taken in"]);
    assert!(!shop.path("bad.tallow").exists());
}

#[test]
fn a_shop_moves_to_postgresql_and_back() {
    let shop = shop();
    let server = postgres::Server::shared();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let (there, also) = runtime.block_on(async { (server.new_database().await, server.new_database().await) });
    let went = shop.json(&format!("shop copy {there}"));
    same(&shop, &there);
    let back = shop.json(&format!("shop copy back.tallow --shop {there}"));
    assert_eq!((&went["entries_sha256"], &went["rows"]), (&back["entries_sha256"], &back["rows"]));
    same(&shop, "back.tallow");
    shop.told(&format!("shop backup hall.backup --shop {there}"));
    shop.told(&format!("shop restore hall.backup --shop {also}"));
    same(&shop, &also);
    shop.refused(&format!("shop copy {there}"), &["already holds the shop \"Test bench\""]);
    for place in [there.as_str(), "back.tallow", &also] {
        shop.told(&format!("run part.gcode --on bowline --material PLA --when \"3 Nov 8:00\" --shop {place}"));
        assert_eq!(shop.json(&format!("shop verify --shop {place}"))["differences"], serde_json::json!([]));
    }
}
