//! Booking runs: what they add to the meters, and what the due list makes of it.

use std::f64::consts::PI;

use serde_json::Value;

use crate::programs::{HEAD_LINES, LAYER_FILAMENT_M, LAYER_LINES, LAYER_TRAVEL_M, gzip, ladder, reference, zstandard};
use crate::shop::{Shop, amount, limit_on, near, testdata};

/// The allowance of "wipe the x rods" in `testdata/builds/reference.toml`, m.
const WIPE_AFTER_M: f64 = 10_000.0;

/// The allowance of "grease the z screws", turns.
const GREASE_AFTER_TURNS: f64 = 20_000.0;

/// The allowance of "replace the nozzle", kg: ten spools.
const NOZZLE_AFTER_KG: f64 = 10.0;

/// Area of filament of 1.75 mm, m².
const FILAMENT_AREA_M2: f64 = PI / 4.0 * 1.75e-3 * 1.75e-3;

/// Density of PLA, kg/m³, as `tallow material list` gives it.
const PLA_KG_M3: f64 = 1240.0;

/// A shop with bowline and `part.gcode`, a ladder of 100 layers.
fn shop_with_part() -> Shop {
    let shop = Shop::with_bowline();
    shop.write("part.gcode", ladder(100));
    shop
}

#[test]
fn used_grows_by_what_the_run_did_over_the_allowance() {
    let shop = shop_with_part();
    shop.json("run part.gcode --on bowline --material PLA");
    // By hand: 100 layers of 0.4 m; 20 mm up by a screw of 8 mm lead; 100 times 20 mm of filament.
    let travel_m = 100.0 * LAYER_TRAVEL_M;
    let wipe = shop.due("wipe the x rods");
    near(&limit_on(&wipe, "travel x")["so_far"], travel_m, 1e-6);
    near(&limit_on(&wipe, "travel x")["used"], travel_m / WIPE_AFTER_M, 1e-9);
    near(&limit_on(&shop.due("grease the z screws"), "turns screw")["used"], 2.5 / GREASE_AFTER_TURNS, 1e-9);
    let mass_kg = 100.0 * LAYER_FILAMENT_M * FILAMENT_AREA_M2 * PLA_KG_M3;
    near(&limit_on(&shop.due("replace the nozzle"), "filament mass")["used"], mass_kg / NOZZLE_AFTER_KG, 1e-9);
}

#[test]
fn a_material_that_counts_twice_takes_twice_the_allowance() {
    let shop = shop_with_part();
    shop.json("run part.gcode --on bowline --material ABS");
    near(&limit_on(&shop.due("wipe the x rods"), "travel x")["used"], 2.0 * 40.0 / WIPE_AFTER_M, 1e-9);
}

#[test]
fn used_grows_by_what_meter_says_of_a_real_file() {
    let shop = Shop::with_bowline();
    let (file, build) = (testdata("toolpaths/files/a_bracket.gcode.gz"), testdata("builds/reference.toml"));
    let metered = shop.json(&format!("meter {file} --build {build}"));
    let run = shop.json(&format!("run {file} --on bowline --material PETG"));
    for (quantity, expected) in metered["duty"]["T0"].as_object().unwrap() {
        let (booked, expected) = (amount(&run["use"], quantity), expected.as_f64().unwrap());
        // Mass is not in the file's duty; the largest flow is no sum and is not booked.
        if quantity != "filament mass" && !quantity.contains("flow") {
            assert!((booked - expected).abs() <= 1e-6 * expected.max(1.0), "{quantity}: {booked}, not {expected}");
        }
    }
    let travel_m = metered["duty"]["T0"]["travel x"].as_f64().unwrap();
    near(&limit_on(&shop.due("wipe the x rods"), "travel x")["used"], travel_m / WIPE_AFTER_M, 1e-9);
    let closer = run["closer"].as_array().unwrap().iter().find(|row| row["task"] == "wipe the x rods").unwrap();
    near(&closer["used_after"], travel_m / WIPE_AFTER_M, 1e-9);
    near(&closer["used_before"], 0.0, 0.0);
}

#[test]
fn runs_add_up() {
    let shop = shop_with_part();
    for when in ["2 Nov 8:00", "3 Nov 8:00", "4 Nov 8:00"] {
        shop.json(&format!("run part.gcode --on bowline --material PLA --when \"{when}\""));
    }
    near(&limit_on(&shop.due("wipe the x rods"), "travel x")["so_far"], 120.0, 1e-6);
    near(&shop.json("machine list")[0]["filament_kg"], 300.0 * LAYER_FILAMENT_M * FILAMENT_AREA_M2 * PLA_KG_M3, 1e-8);
}

#[test]
fn a_run_without_a_start_is_taken_to_have_ended_just_now() {
    let shop = shop_with_part();
    let run = shop.json("run part.gcode --on bowline --material PLA");
    let began: jiff::Timestamp = shop.entries().last().unwrap()["at"].as_str().unwrap().parse().unwrap();
    let now: jiff::Timestamp = "2026-11-25T14:30:00Z".parse().unwrap();
    assert!((now.duration_since(began).as_secs_f64() - amount(&run["use"], "time")).abs() < 1e-3, "{began}");
}

/// The use of `part.gcode` when stopped at `point`.
fn stopped_at(point: &str) -> Value {
    let shop = shop_with_part();
    let run = shop.json(&format!("run part.gcode --on bowline --material PLA --stop \"{point}\""));
    assert_eq!(shop.entries().last().unwrap()["event"]["stopped"], point);
    run["use"].clone()
}

#[test]
fn a_run_that_stopped_at_a_layer_or_line_counts_to_there() {
    near(&amount(&stopped_at("layer 30"), "travel x").into(), 30.0 * LAYER_TRAVEL_M, 1e-6);
    let line = HEAD_LINES + 30 * LAYER_LINES;
    near(&amount(&stopped_at(&format!("line {line}")), "travel x").into(), 30.0 * LAYER_TRAVEL_M, 1e-6);
    near(&amount(&stopped_at(&format!("line {}", line - 1)), "travel x").into(), 30.0 * LAYER_TRAVEL_M - 0.2, 1e-6);
}

#[test]
fn a_run_that_stopped_at_a_share_of_its_time_counts_that_share() {
    let (whole, part) = (stopped_at("100 %"), stopped_at("40 %"));
    // Every layer takes the same time, so a share of the time is a share of the travel, to within one move of 200 mm.
    near(&amount(&part, "time").into(), 0.4 * amount(&whole, "time"), 4.0);
    near(&amount(&part, "travel x").into(), 0.4 * amount(&whole, "travel x"), 0.2);
    near(&amount(&stopped_at("40 % of bytes"), "travel x").into(), 0.4 * amount(&whole, "travel x"), 0.5);
}

#[test]
fn plain_and_packed_files_and_standard_input_book_the_same() {
    let shop = shop_with_part();
    shop.write("part.gcode.gz", gzip(&ladder(100)));
    shop.write("part.gcode.zst", zstandard(&ladder(100)));
    let files = ["part.gcode", "part.gcode.gz", "part.gcode.zst"];
    let book = |(day, file): (usize, &str)| {
        shop.json(&format!("run {file} --on bowline --material PLA --when 2026-11-{:02}", day + 2))["use"].clone()
    };
    let used: Vec<Value> = files.into_iter().enumerate().map(book).collect();
    assert!(used.iter().all(|other| *other == used[0]), "{used:#?}");
    let line = "run - --on bowline --material PLA --when 2026-11-09 --json";
    let answer = shop.ask_with_input(line, ladder(100).as_bytes());
    let piped: Value = serde_json::from_str(&answer.out).unwrap_or_else(|error| panic!("{error}\n{}", answer.err));
    assert_eq!(piped["use"], used[0]);
    let entries = shop.entries();
    let events: Vec<&Value> = entries.iter().skip(1).map(|entry| &entry["event"]).collect();
    assert!(events[..3].iter().all(|event| event["program"] == events[0]["program"] && event["label"] == "part.gcode"));
    assert_eq!(events[3]["program"], Value::Null);
}

#[test]
fn a_file_is_metered_once_and_known_by_its_content() {
    let shop = Shop::with_bowline();
    let text = reference("a_bracket");
    shop.write("a.gcode", &text);
    shop.write("b.gcode", &text);
    let first = shop.json("run a.gcode --on bowline --material PLA --when 2026-11-02");
    let again = shop.json("run b.gcode --on bowline --material PLA --when 2026-11-03");
    assert_eq!(first["use"], again["use"]);
}

#[test]
fn hours_and_grams_alone_are_an_estimate_and_say_so() {
    let shop = Shop::with_bowline();
    let run = shop.json("run --on bowline --hours 5.5 --grams 120 --material PLA --label signs");
    assert!(run["said"].as_str().unwrap().contains("estimated"), "{run}");
    near(&amount(&run["use"], "time").into(), 5.5 * 3600.0, 1e-6);
    near(&amount(&run["use"], "filament mass").into(), 0.12, 1e-9);
    // No metered run yet, so the build's own ratio: 95 m of X in an hour.
    near(&amount(&run["use"], "travel x").into(), 5.5 * 95.0, 1e-6);
    let entry = &shop.entries()[1];
    assert_eq!((&entry["event"]["basis"], &entry["event"]["label"]), (&"estimated".into(), &"signs".into()));
    let spread = entry["event"]["spread"].as_f64().unwrap();
    assert!(0.0 < spread && spread < 1.0, "{spread}");
}

#[test]
fn a_queued_run_is_counted_in_and_taken_off_the_queue_by_its_run() {
    let mut shop = shop_with_part();
    let queued = |shop: &Shop| shop.due("replace the nozzle")["due"]["grounds"]["queued"].clone();
    assert_eq!(queued(&shop), 0);
    let expected = shop.json("queue part.gcode --on bowline --material PLA --day friday");
    shop.json("queue --on bowline --hours 12 --material PLA --label \"name boards\"");
    assert_eq!(queued(&shop), 2);
    near(&limit_on(&shop.due("wipe the x rods"), "travel x")["so_far"], 0.0, 0.0);
    // A day later: a run that began before it was queued fulfils nothing.
    shop.now = "2026-11-26T15:30[Europe/Oslo]".to_owned();
    shop.json("run part.gcode --on bowline --material PLA");
    assert_eq!(queued(&shop), 1);
    let run = shop.entries().pop().unwrap();
    assert_eq!((&run["kind"], &run["event"]["queued"]), (&"run".into(), &expected["entry"]));
}

#[test]
fn each_tool_prints_its_own_material() {
    let shop = Shop::with_bowline();
    shop.write("two.gcode", "M83\nG1 X50 E5 F3000\nT1\nG1 X100 E10\n");
    let run = shop.json("run two.gcode --on bowline --material T0=PLA --material T1=PLA-CF");
    let streams = run["use"].as_array().unwrap();
    let of = |tool: u64| streams.iter().find(|stream| stream["tool"] == tool).unwrap();
    assert_eq!((&of(0)["material"], &of(1)["material"]), (&"PLA".into(), &"PLA-CF".into()));
    near(&of(1)["amounts"]["filament"], 0.01, 1e-9);
    near(&of(0)["amounts"]["travel x"], 0.05, 1e-9);
}
