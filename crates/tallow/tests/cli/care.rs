//! Care: what is done, replaced, failed and measured, and what the due list makes of it.

use serde_json::Value;

use crate::programs::ladder;
use crate::shop::{Shop, amount, limit_on, near};

/// A shop with bowline, on which a ladder of 100 layers (40 m along X) ran on 3 November.
fn worked_shop() -> Shop {
    let shop = Shop::with_bowline();
    shop.write("part.gcode", ladder(100));
    shop.json("run part.gcode --on bowline --material PLA --when \"3 Nov 9:00\"");
    shop
}

#[test]
fn calendar_time_is_used_day_by_day_and_comes_due_on_the_day_of_the_next_month() {
    let mut shop = Shop::with_bowline();
    let calendar = |shop: &Shop| shop.due("wipe the x rods")["limits"][0]["used"].clone();
    // It joined with the beginning of 1 November, a month of 30 days.
    shop.now = "2026-11-16T00:00[Europe/Oslo]".to_owned();
    near(&calendar(&shop), 15.0 / 30.0, 1e-9);
    assert_eq!(shop.due("wipe the x rods")["due"]["median"], "2026-12-01");
    shop.now = "2026-12-03T12:00[Europe/Oslo]".to_owned();
    let row = shop.due("wipe the x rods");
    assert_eq!(row["due"], serde_json::json!({ "is": "due", "since": "2026-12-01" }));
    assert!(1.0 < calendar(&shop).as_f64().unwrap());
}

#[test]
fn use_beyond_the_allowance_makes_a_task_due_since_that_day() {
    let shop = Shop::with_bowline();
    // 95 m of X in an hour, by the build: 60 h are 5.7 km, so the second such run passes 10 km, or 5 with ABS.
    shop.json("run --on bowline --hours 60 --material PLA --when \"4 Nov 8:00\" --label one");
    assert_eq!(shop.due("wipe the x rods")["due"]["is"], "likely");
    shop.json("run --on bowline --hours 60 --material PLA --when \"10 Nov 8:00\" --label two");
    let row = shop.due("wipe the x rods");
    assert_eq!(row["due"], serde_json::json!({ "is": "due", "since": "2026-11-10" }));
    near(&row["used"], 2.0 * 60.0 * 95.0 / 10_000.0, 1e-6);
    assert_eq!(row["limits"][row["limit"].as_u64().unwrap() as usize]["of"], "travel x");
}

#[test]
fn a_task_done_starts_again_from_nothing() {
    let shop = worked_shop();
    let done = shop.json("done \"wipe the x rods\" --on bowline --when \"yesterday 8:30\"");
    let row = shop.due("wipe the x rods");
    near(&limit_on(&row, "travel x")["so_far"], 0.0, 0.0);
    assert_eq!((&row["since"]["what"], &row["since"]["entry"]), (&"done".into(), &done["entry"]));
    assert_eq!(row["since"]["at"], "2026-11-24T07:30:00Z");
    shop.json("run part.gcode --on bowline --material PLA --when \"today 8:00\"");
    near(&limit_on(&shop.due("wipe the x rods"), "travel x")["so_far"], 40.0, 1e-6);
    near(&limit_on(&shop.due("grease the z screws"), "turns screw")["so_far"], 5.0, 1e-6);
}

#[test]
fn a_task_recorded_late_counts_from_when_it_was_done() {
    let shop = worked_shop();
    shop.json("run part.gcode --on bowline --material PLA --when \"10 Nov 9:00\"");
    shop.json("done \"wipe the x rods\" --on bowline --when \"5 Nov 8:00\"");
    near(&limit_on(&shop.due("wipe the x rods"), "travel x")["so_far"], 40.0, 1e-6);
}

/// The part at a position of bowline.
#[track_caller]
fn part(shop: &Shop, position: &str) -> Value {
    let machine = shop.json("machine show bowline");
    let parts = machine["parts"].as_array().unwrap();
    parts.iter().find(|part| part["position"] == position).unwrap_or_else(|| panic!("{machine:#}")).clone()
}

#[test]
fn a_part_replaced_starts_its_meters_and_its_tasks_again() {
    let shop = worked_shop();
    near(&amount(&part(&shop, "x rods")["use"], "travel x").into(), 40.0, 1e-6);
    let replaced = shop.json("replace \"x rods\" --on bowline --because worn --when \"20 Nov\"");
    assert_eq!(part(&shop, "x rods")["entry"], replaced["entry"]);
    near(&amount(&part(&shop, "x rods")["use"], "travel x").into(), 0.0, 0.0);
    near(&amount(&part(&shop, "nozzle")["use"], "travel x").into(), 40.0, 1e-6);
    let row = shop.due("wipe the x rods");
    near(&limit_on(&row, "travel x")["so_far"], 0.0, 0.0);
    assert_eq!(row["since"]["what"], "replaced");
    near(&amount(&shop.json("machine show bowline")["total"], "travel x").into(), 40.0, 1e-6);
}

#[test]
fn the_wear_map_shows_where_the_axis_travelled_since_the_part_was_put_in() {
    let shop = worked_shop();
    let map = part(&shop, "x rods")["wear_mm"].clone();
    let bins: Vec<(f64, f64)> = map["bins"]
        .as_array()
        .unwrap()
        .iter()
        .map(|bin| (bin[0].as_f64().unwrap(), bin[1].as_f64().unwrap()))
        .collect();
    let width = map["bin"].as_f64().unwrap();
    // 200 passes over each place between 0 and 200 mm.
    near(&(bins.len() as f64 * width).into(), 200.0, 0.0);
    assert!(bins.iter().all(|(_, travel)| (travel - 200.0 * width).abs() < 1e-6), "{bins:?}");
    assert_eq!(part(&shop, "nozzle")["wear_mm"], Value::Null);
    shop.json("replace \"x rods\" --on bowline --because good");
    assert_eq!(part(&shop, "x rods")["wear_mm"], Value::Null);
}

#[test]
fn moves_far_outside_the_travel_leave_the_wear_map_its_width() {
    let shop = Shop::with_bowline();
    shop.write("far.gcode", "G1 X100 F6000\nG1 X5000\nG1 X-80\n");
    shop.json("run far.gcode --on bowline --material PLA --when \"3 Nov 9:00\"");
    let text = shop.told("machine show bowline");
    let map = text.split_once("Travel along x over the x rods since 1 Nov:\n").unwrap_or_else(|| panic!("{text}")).1;
    assert!(map.lines().all(|line| line.chars().count() <= 100), "{map}");
    assert!(map.contains("outside its travel: 80 mm below 0 mm and "), "{map}");
}

#[test]
fn a_part_is_shown_by_the_meters_that_its_own_tasks_go_by() {
    let shop = worked_shop();
    let text = shop.told("machine show bowline");
    let of = |position: &str| text.lines().find(|line| line.starts_with(position)).unwrap_or_else(|| panic!("{text}"));
    assert!(of("x rods").contains("travel x 40 m") && !of("x rods").contains("filament"), "{text}");
    // 100 layers of 0.2 mm on screws of 8 mm lead.
    assert!(of("z screws").contains("turns screw 2.5 "), "{text}");
}

#[test]
fn a_machine_that_never_ran_has_used_nothing_of_its_allowances() {
    let shop = Shop::with_machine("delta");
    for line in ["due bowline --all", "due bowline --all --why", "due bowline --all --json", "machine show bowline"] {
        let text = shop.told(line);
        assert!(!text.contains("-0 ") && !text.contains("-0.0"), "{line}\n{text}");
    }
}

#[test]
fn a_failure_is_kept_and_resets_nothing() {
    let shop = worked_shop();
    let before = shop.due("replace the nozzle");
    shop.json("failure nozzle \"prints too thin\" --on bowline --note \"after the third part\"");
    assert_eq!(shop.due("replace the nozzle"), before);
    let entry = shop.entries().pop().unwrap();
    let expected =
        serde_json::json!({ "position": "nozzle", "mode": "prints too thin", "found": false, "mended": false });
    assert_eq!(entry["event"], expected);
    assert_eq!((&entry["kind"], &entry["note"]), (&"failed".into(), &"after the third part".into()));
}

#[test]
fn a_reading_keeps_its_value_and_unit() {
    let shop = worked_shop();
    for (what, value, number, unit) in
        [("play", "0.15 mm", 0.15, "mm"), ("note", "110Hz", 110.0, "Hz"), ("marks", "3", 3.0, "")]
    {
        shop.json(&format!("reading \"x rods\" {what} \"{value}\" --on bowline"));
        let event = shop.entries().pop().unwrap()["event"].clone();
        near(&event["value"], number, 0.0);
        assert_eq!((&event["what"], &event["unit"]), (&what.into(), &unit.into()));
    }
}

#[test]
fn an_hour_meter_that_agrees_with_the_runs_adds_nothing() {
    let shop = Shop::with_bowline();
    shop.json("hour-meter 1500 --on bowline --when \"2 Nov 8:00\"");
    shop.json("run --on bowline --hours 20 --material PLA --when \"4 Nov 8:00\"");
    let before = shop.due("wipe the x rods");
    let said = shop.json("hour-meter 1520.5 --on bowline");
    assert!(said["said"].as_str().unwrap().contains("agrees"), "{said}");
    assert_eq!(shop.entries().pop().unwrap()["event"]["unbooked"], serde_json::json!([]));
    assert_eq!(shop.due("wipe the x rods"), before);
}

#[test]
fn hours_that_no_run_accounts_for_are_added_as_an_estimate() {
    let shop = Shop::with_bowline();
    shop.json("hour-meter 1500 --on bowline --when \"2 Nov 8:00\"");
    shop.json("run --on bowline --hours 20 --material PLA --when \"4 Nov 8:00\"");
    let said = shop.json("hour-meter 1550 --on bowline --material PLA");
    assert!(said["said"].as_str().unwrap().contains("estimate"), "{said}");
    let event = shop.entries().pop().unwrap()["event"].clone();
    // 50 h ran, 20 h are booked; 95 m of X in an hour, by the build.
    near(&amount(&event["unbooked"], "time").into(), 30.0 * 3600.0, 1e-6);
    near(&limit_on(&shop.due("wipe the x rods"), "travel x")["so_far"], 50.0 * 95.0, 1e-3);
    assert_eq!(event["unbooked"][0]["material"], "PLA");
}

#[test]
fn every_caution_stands_before_the_step_that_it_belongs_to() {
    let shop = Shop::with_bowline();
    let text = shop.told("steps \"replace the nozzle\" --on bowline");
    let place = |what: &str| text.find(what).unwrap_or_else(|| panic!("no {what} in\n{text}"));
    let expected = [
        "POWERED, HOT",
        "heat-proof gloves",
        "1. Heat the nozzle",
        "WARNING",
        "Nozzle and block burn",
        "NOTICE",
        "2. Hold the block",
        "The maker's manual stands above",
    ];
    let places: Vec<usize> = expected.iter().map(|what| place(what)).collect();
    assert!(places.is_sorted(), "{places:?}\n{text}");
    let sheet = shop.json("steps \"replace the nozzle\" --on bowline");
    let befores: Vec<u64> =
        sheet["cautions"].as_array().unwrap().iter().map(|caution| caution["before"].as_u64().unwrap()).collect();
    assert_eq!(befores, [2, 2]);
}

/// Text without the breaks of its lines.
fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_sheet_fits_a_terminal_of_eighty_columns() {
    let shop = Shop::with_machine("delta");
    for row in shop.json("due bowline --all").as_array().unwrap() {
        let text = shop.told(&format!("steps \"{}\" --on bowline", row["task"].as_str().unwrap()));
        let long = text.lines().filter(|line| 80 < line.chars().count() && !line.starts_with("When done: "));
        assert_eq!(long.collect::<Vec<_>>(), Vec::<&str>::new());
    }
}

#[test]
fn no_sheet_of_any_known_build_lacks_its_cautions() {
    for build in ["enclosed-corexy", "moving-bed", "rail-corexy", "delta"] {
        let shop = Shop::with_machine(build);
        for row in shop.json("due bowline --all").as_array().unwrap() {
            let task = row["task"].as_str().unwrap();
            let (sheet, text) = (
                shop.json(&format!("steps \"{task}\" --on bowline")),
                shop.told(&format!("steps \"{task}\" --on bowline")),
            );
            for caution in sheet["cautions"].as_array().unwrap() {
                let word = caution["word"].as_str().unwrap().to_uppercase();
                let sentence = in_one_line(caution["text"].as_str().unwrap());
                assert!(text.contains(&word) && in_one_line(&text).contains(&sentence), "{task}\n{text}");
            }
            if sheet["state"] == "hot" {
                assert_ne!(sheet["cautions"], serde_json::json!([]), "{build}: {task}");
            }
        }
    }
}

#[test]
fn supplies_said_to_be_used_are_kept() {
    let shop = Shop::with_bowline();
    shop.json(
        "done \"grease the z screws\" --on bowline --used \"NLGI 2 lithium grease=3 g\" --used \"lint-free wipe\"",
    );
    let supplies = shop.entries().pop().unwrap()["event"]["supplies"].clone();
    assert_eq!(supplies, serde_json::json!({ "NLGI 2 lithium grease": "3 g", "lint-free wipe": "" }));
}
