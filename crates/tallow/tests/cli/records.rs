//! The records themselves: history, corrections, proof, builds and materials of the shop's own, replay.

use std::fs;

use serde_json::Value;

use crate::programs::ladder;
use crate::shop::{Shop, amount, limit_on, near, testdata};

/// A shop with bowline and `part.gcode`, a ladder of 100 layers: 40 m along X.
fn shop_with_part() -> Shop {
    let shop = Shop::with_bowline();
    shop.write("part.gcode", ladder(100));
    shop
}

#[track_caller]
fn travel_so_far(shop: &Shop) -> Value {
    limit_on(&shop.due("wipe the x rods"), "travel x")["so_far"].clone()
}

#[track_caller]
fn number(entry: &Value) -> i64 {
    entry["entry"].as_i64().unwrap()
}

#[test]
fn history_is_told_newest_first_and_page_by_page() {
    let shop = shop_with_part();
    for day in [5, 3, 9] {
        shop.json(&format!("run part.gcode --on bowline --material PLA --when \"{day} Nov 9:00\""));
    }
    let days = |listed: &Value| -> Vec<String> {
        listed.as_array().unwrap().iter().map(|entry| entry["at"].as_str().unwrap()[8..10].to_owned()).collect()
    };
    let listed = shop.json("history bowline --most 2");
    assert_eq!(days(&listed), ["09", "05"]);
    let rest = shop.json(&format!("history bowline --before {}", number(&listed[1])));
    assert_eq!(days(&rest), ["03", "31"], "bowline joined at midnight of 1 November, by the shop's clock");
    assert!(shop.told("history bowline --most 2").contains(&format!("--before {}", number(&listed[1]))));
}

#[test]
fn a_withdrawn_run_counts_no_more_and_stays_in_the_history() {
    let shop = shop_with_part();
    let run = shop.json("run part.gcode --on bowline --material PLA");
    let correction = shop.json(&format!("correct {} --withdraw --note \"booked twice\"", number(&run)));
    near(&travel_so_far(&shop), 0.0, 0.0);
    let entries = shop.entries();
    assert_eq!(entries[1]["replaced_by"], correction["entry"]);
    assert_eq!((&entries[2]["corrects"], &entries[2]["kind"]), (&run["entry"], &"withdrawn".into()));
    shop.refused(&format!("correct {} --withdraw", number(&run)), &["withdrawn"]);
}

#[test]
fn a_run_can_be_moved_to_when_it_was() {
    let shop = shop_with_part();
    let run = shop.json("run part.gcode --on bowline --material PLA --when \"3 Nov 9:00\"");
    shop.json("done \"wipe the x rods\" --on bowline --when \"5 Nov 8:00\"");
    near(&travel_so_far(&shop), 0.0, 0.0);
    shop.json(&format!("correct {} --when \"6 Nov 9:00\"", number(&run)));
    near(&travel_so_far(&shop), 40.0, 1e-6);
}

#[test]
fn a_run_can_be_given_the_material_that_it_had() {
    let shop = shop_with_part();
    let run = shop.json("run part.gcode --on bowline --material PLA");
    shop.json(&format!("correct {} --material ABS", number(&run)));
    near(&travel_so_far(&shop), 80.0, 1e-6);
    shop.json(&format!("correct {} --material T0=PLA", number(&run)));
    near(&travel_so_far(&shop), 40.0, 1e-6);
}

#[test]
fn a_reading_and_a_reason_can_be_put_right() {
    let shop = Shop::with_bowline();
    let reading = shop.json("reading \"x rods\" play \"0.51 mm\" --on bowline");
    shop.json(&format!("correct {} --value \"0.15 mm\"", number(&reading)));
    near(&shop.entries().pop().unwrap()["event"]["value"], 0.15, 0.0);
    let replaced = shop.json("replace nozzle --on bowline --because worn");
    shop.json(&format!("correct {} --because failed", number(&replaced)));
    assert!(shop.entries().pop().unwrap()["event"]["because"].as_str().unwrap().contains("failed"));
    shop.refused(&format!("correct {} --value \"1 mm\"", number(&replaced)), &["--value", "a reading", "--withdraw"]);
    shop.refused(&format!("correct {}", number(&reading)), &["already says that", "--when"]);
    shop.refused("correct 999 --withdraw", &["999"]);
}

#[test]
fn the_sums_equal_the_entries_after_all_that_can_be_done() {
    let shop = shop_with_part();
    let run = shop.json("run part.gcode --on bowline --material ABS --when \"3 Nov 9:00\"");
    shop.json("run --on bowline --hours 5 --material PLA --when \"4 Nov 9:00\"");
    shop.json("done \"wipe the x rods\" --on bowline --when \"5 Nov\"");
    shop.json("replace nozzle --on bowline --because worn --when \"6 Nov\"");
    shop.json("hour-meter 10 --on bowline --when \"7 Nov\"");
    shop.json("hour-meter 90 --on bowline --when \"12 Nov\"");
    shop.json(&format!("correct {} --when \"9 Nov 9:00\" --material PLA", number(&run)));
    let entries = shop.entries().iter().filter(|entry| entry["replaced_by"].is_null()).count();
    for line in ["shop verify", "shop verify --rebuild"] {
        let verdict = shop.json(line);
        assert_eq!(verdict, serde_json::json!({ "machines": 1, "entries": entries, "differences": [] }), "{line}");
    }
}

#[test]
fn a_build_of_ones_own_is_checked_added_and_used() {
    let shop = Shop::new();
    let printed = shop.told("build print moving-bed");
    assert!(printed.contains("name = \"open moving-bed machine, ball-bearing rods\""));
    let own = printed.replace("open moving-bed machine, ball-bearing rods", "the one by the window");
    // Where a month's travel is allowed, ten metres are.
    shop.write("mine.toml", own.replace("every = \"14 km\"\nof = \"travel x\"", "every = \"10 m\"\nof = \"travel x\""));
    assert_eq!(shop.json("build check mine.toml")["name"], "the one by the window");
    shop.told("machine add bowline --build mine.toml --when \"1 Nov\"");
    shop.write("part.gcode", ladder(100));
    shop.json("run part.gcode --on bowline --material PLA");
    let row = shop.due("oil the x rods");
    near(&limit_on(&row, "travel x")["used"], 4.0, 1e-9);
    assert_eq!(row["due"]["is"], "due");
    fs::remove_file(shop.path("mine.toml")).unwrap();
    assert_eq!(shop.due("oil the x rods"), row, "the shop keeps its own copy");
    shop.told("machine add second --build \"the one by the window\"");
}

#[test]
fn a_build_in_use_changes_only_when_it_is_asked_to_and_says_what_changes() {
    let shop = Shop::with_bowline();
    let text = fs::read_to_string(testdata("builds/reference.toml")).unwrap();
    let renamed = text.replace("name = \"wipe the x rods\"", "name = \"clean the x rods\"");
    assert_ne!(renamed, text);
    shop.write("mine.toml", &renamed);
    let parts = ["would change the build", "that bowline has already", "a name of its own", "tallow build change"];
    shop.refused("machine add reef --build mine.toml", &parts);
    shop.due("wipe the x rods");
    let changed = shop.json("build change mine.toml");
    assert_eq!(changed["machines"], serde_json::json!(["bowline"]));
    assert_eq!(changed["tasks_gone"], serde_json::json!(["wipe the x rods"]));
    assert_eq!(changed["tasks_new"], serde_json::json!(["clean the x rods"]));
    assert_eq!(changed["positions_gone"], serde_json::json!([]));
    shop.due("clean the x rods");
    assert_eq!(shop.json("build change mine.toml")["changed"], false);
    shop.told("machine add reef --build mine.toml");
    shop.refused("build change delta", &["no machine of the shop has the build", "machine add"]);
}

#[test]
fn every_known_build_prints_a_file_that_is_in_order() {
    let shop = Shop::folder();
    let builds = shop.json("build list");
    for build in builds.as_array().unwrap() {
        let short = build["build"].as_str().unwrap();
        shop.write("copy.toml", shop.told(&format!("build print {short}")));
        let checked = shop.json("build check copy.toml");
        for key in ["name", "positions", "tasks"] {
            assert_eq!(checked[key], build[key], "{short}");
        }
    }
    assert_eq!(builds.as_array().unwrap().len(), 4);
}

#[test]
fn a_material_of_ones_own_weighs_as_its_classes_do() {
    let shop = shop_with_part();
    shop.json("material add PLA-STONE --density 1.4 --class abrasive");
    let listed = shop.json("material list");
    let own = listed.as_array().unwrap().iter().find(|material| material["name"] == "PLA-STONE").unwrap();
    assert_eq!(own["classes"], serde_json::json!(["abrasive"]));
    let run = shop.json("run part.gcode --on bowline --material pla-stone");
    let mass_kg = amount(&run["use"], "filament mass");
    // By hand: 2 m of 1.75 mm at 1400 kg/m3; abrasive counts five times.
    near(&mass_kg.into(), 2.0 * 2.405_281_875e-6 * 1400.0, 1e-8);
    near(&limit_on(&shop.due("replace the nozzle"), "filament mass")["so_far"], 5.0 * mass_kg, 1e-8);
}

#[test]
fn machines_are_listed_with_what_they_did() {
    let shop = shop_with_part();
    shop.told(&format!("machine add \"clove hitch\" --build {}", testdata("builds/reference.toml")));
    let run = shop.json("run part.gcode --on BOWLINE --material PLA");
    let machines = shop.json("machine list");
    let names: Vec<&str> =
        machines.as_array().unwrap().iter().map(|machine| machine["machine"].as_str().unwrap()).collect();
    assert_eq!(names, ["bowline", "clove hitch"]);
    near(&machines[0]["time_s"], amount(&run["use"], "time"), 1e-6);
    near(&machines[1]["time_s"], 0.0, 0.0);
    assert_eq!(machines[0]["added"], "2026-10-31T23:00:00Z");
}

#[test]
fn a_shop_of_a_few_days_has_no_forecast_to_judge() {
    let shop = shop_with_part();
    shop.json("run part.gcode --on bowline --material PLA");
    assert_eq!(shop.json("replay")["all"]["held"], Value::Null);
    assert!(shop.told("replay").contains("too short"));
}

#[test]
fn the_shops_own_builds_are_listed_and_printed() {
    let shop = Shop::with_bowline();
    let own = |builds: serde_json::Value| {
        let builds = builds.as_array().unwrap().clone();
        builds.into_iter().filter(|build| build["own"] == true).collect::<Vec<_>>()
    };
    let listed = own(shop.json("build list"));
    assert_eq!(listed.len(), 1, "{listed:#?}");
    let name = listed[0]["build"].as_str().unwrap();
    let text = std::fs::read_to_string(testdata("builds/reference.toml")).unwrap();
    assert_eq!(shop.told(&format!("build print \"{name}\"")).trim_end(), text.trim_end());
    assert!(shop.told("build list").lines().any(|line| line.starts_with(name) && line.contains("own")));
    let bare = Shop::folder();
    assert_eq!(own(bare.json("build list")), Vec::<serde_json::Value>::new());
    assert!(!bare.place().exists(), "looking makes no shop");
}
