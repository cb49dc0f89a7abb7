//! `tallow meter` against the reference toolpaths, whose expected values come from a meter written by other hands
//! (`testdata/toolpaths/expected.json`).

use std::fs;

use serde_json::Value;

use crate::programs::gzip;
use crate::shop::{Shop, near, testdata};

const FILES: [&str; 4] = ["a_bracket", "c_gear", "e_plate", "i_gear_arcs"];

/// Counts, which must be equal.
const COUNTS: [&str; 14] = [
    "lines",
    "bytes",
    "motion_commands",
    "g0",
    "g1",
    "g2",
    "g3",
    "g28",
    "g10",
    "g11",
    "toolchanges",
    "unknown_commands",
    "skipped_lines",
    "blocks",
];

/// Lengths, and counts among lengths: equal to 1e-6 of their size.
const LENGTHS: [&str; 7] = [
    "travel_mm",
    "corexy_motor_mm",
    "path_xy_mm",
    "reversals",
    "filament_mm",
    "filament_per_tool_mm",
    "retracted_at_end_mm",
];

/// What the reference machine's file says, with times by one corner rule.
#[track_caller]
fn metered(shop: &Shop, files: &str, corner: &str) -> Value {
    let build = testdata("builds/reference.toml");
    shop.json(&format!("meter {files} --build {build} --corner {corner}"))
}

fn file(name: &str) -> String {
    testdata(&format!("toolpaths/files/{name}.gcode.gz"))
}

/// Asserts that every number in `expected` is in `actual` at the same place, equal within `share` of its size.
#[track_caller]
fn agrees(what: &str, actual: &Value, expected: &Value, share: f64) {
    match expected {
        Value::Object(map) => {
            map.iter().for_each(|(key, expected)| agrees(&format!("{what}.{key}"), &actual[key], expected, share));
        }
        number => {
            let (number, found) = (number.as_f64().unwrap(), actual.as_f64());
            let found = found.unwrap_or_else(|| panic!("{what}: no number but {actual}"));
            assert!((found - number).abs() <= share * number.abs().max(1.0), "{what}: {found}, not {number}");
        }
    }
}

#[test]
fn reference_toolpaths_meter_as_an_independent_meter_has_them() {
    let all: Value = serde_json::from_str(&fs::read_to_string(testdata("toolpaths/expected.json")).unwrap()).unwrap();
    let shop = Shop::folder();
    let files = FILES.map(file).join(" ");
    for (corner, time) in [("jerk", "time_jerk"), ("deviation", "time_jd")] {
        let metered = metered(&shop, &files, corner);
        for (name, actual) in FILES.iter().zip(metered.as_array().unwrap()) {
            let expected = &all[name]["independent_meter"];
            for key in COUNTS {
                assert_eq!(actual[key], expected[key], "{name}: {key}");
            }
            for key in LENGTHS {
                agrees(&format!("{name}: {key}"), &actual[key], &expected[key], 1e-6);
            }
            agrees(&format!("{name}: dwell_s"), &actual["dwell_s"], &expected["dwell_s"], 1e-6);
            agrees(&format!("{name}: {time}"), &actual["time"], &expected[time], 0.005);
            assert_eq!(actual["time"]["corner"], corner, "{name}");
            assert_eq!(actual["warnings"], serde_json::json!([]), "{name}");
        }
    }
}

#[test]
fn duty_in_si_units_is_what_the_report_says_in_mm() {
    let metered = metered(&Shop::folder(), &file("a_bracket"), "jerk");
    let (duty, units) = (&metered["duty"]["T0"], &metered["units"]);
    for (quantity, unit, expected) in [
        ("travel x", "m", &metered["travel_mm"]["X"]),
        ("belt travel a", "m", &metered["corexy_motor_mm"]["A"]),
        ("filament", "m", &metered["filament_mm"]["net"]),
    ] {
        near(&duty[quantity], expected.as_f64().unwrap() / 1e3, 1e-6);
        assert_eq!(units[quantity], unit);
    }
    near(&duty["time"], metered["time"]["total_s"].as_f64().unwrap(), 1e-3);
    // Two millimetres pitch, twenty teeth: 40 mm of belt to a turn.
    near(&duty["turns a"], metered["corexy_motor_mm"]["A"].as_f64().unwrap() / 40.0, 1e-3);
}

#[test]
fn one_file_gives_an_object_and_several_give_a_list_in_their_order() {
    let shop = Shop::folder();
    shop.write("one.gcode", "G1 X10 F600\n");
    shop.write("two.gcode", "G1 X20 F600\n");
    assert_eq!(metered(&shop, "one.gcode", "jerk")["file"], "one.gcode");
    let two = metered(&shop, "two.gcode one.gcode", "jerk");
    assert_eq!((&two[0]["file"], &two[1]["file"]), (&"two.gcode".into(), &"one.gcode".into()));
}

#[test]
fn a_bad_file_among_good_ones_is_named_and_the_good_ones_are_metered() {
    let shop = Shop::folder();
    shop.write("good.gcode", "G1 X10 F600\n");
    shop.write("empty.gcode", "");
    let line = format!("meter good.gcode empty.gcode absent.gcode --build {}", testdata("builds/reference.toml"));
    let answer = shop.ask(&format!("{line} --json"));
    assert_eq!(answer.code, Some(1), "{}", answer.err);
    let list: Value = serde_json::from_str(&answer.out).unwrap();
    crate::shapes::check("meter", &list);
    near(&list[0]["travel_mm"]["X"], 10.0, 1e-9);
    assert!(list[1]["error"].as_str().unwrap().contains("empty.gcode"), "{list:#}");
    assert!(list[2]["error"].as_str().unwrap().contains("absent.gcode"), "{list:#}");
    let answer = shop.ask(&line);
    assert_eq!(answer.code, Some(1));
    assert!(answer.out.contains("good.gcode"), "{}", answer.out);
    answer.mentions(&["empty.gcode", "absent.gcode", "2 of 3 files"]);
}

#[test]
fn metering_needs_no_shop_and_leaves_none() {
    let shop = Shop::folder();
    shop.write("one.gcode", "G1 X10 F600\n");
    shop.told("meter one.gcode --build delta");
    assert_eq!(fs::read_dir(shop.path(".")).unwrap().count(), 1);
}

#[test]
fn a_meter_stopped_short_says_where() {
    let shop = Shop::folder();
    shop.write("one.gcode", "G1 X10 F600\nG1 X20\nG1 X30\n");
    let build = testdata("builds/reference.toml");
    let stopped = shop.json(&format!("meter one.gcode --build {build} --stop \"line 2\""));
    near(&stopped["travel_mm"]["X"], 20.0, 1e-9);
    assert_eq!(stopped["stopped"], serde_json::json!({ "line": 3, "byte": 19 }));
}

#[test]
fn what_the_meter_does_not_know_is_counted_and_named() {
    let shop = Shop::folder();
    shop.write("odd.gcode", "G1 X10 F600\nM999 P1\nM999 P2\nG1 X\n");
    let line = format!("odd.gcode --build {}", testdata("builds/reference.toml"));
    let metered = shop.json(&format!("meter {line}"));
    assert_eq!((&metered["unknown"]["M999"], &metered["unknown_commands"]), (&2.into(), &2.into()));
    assert_eq!((&metered["skipped_lines"], &metered["warnings_total"]), (&1.into(), &1.into()));
    assert_eq!((&metered["warnings"][0]["line"], &metered["warnings"][0]["column"]), (&4.into(), &4.into()));
    let text = shop.told(&format!("meter {line}"));
    assert!(text.contains("M999 (2)") && text.contains("line 4, column 4"), "{text}");
}

#[test]
fn a_file_that_neither_moves_nor_takes_time_is_refused() {
    let shop = Shop::folder();
    shop.write("still.gcode", "G28\nM104 S200\nG1 X0 F600\n");
    shop.refused("meter still.gcode --build delta", &["still.gcode", "nothing to meter"]);
    let long_line = testdata("toolpaths/nasty/08_long_line_words.gcode.gz");
    shop.refused(&format!("meter {long_line} --build delta"), &["08_long_line_words", "line 1"]);
}

#[test]
fn files_are_called_as_they_were_typed() {
    let shop = Shop::folder();
    shop.write("one.gcode", "G1 X10 F600\n");
    shop.write("one.gcode.gz", gzip("G1 X10 F600\n"));
    let text = shop.told("meter one.gcode ./one.gcode.gz --build moving-bed");
    let names: Vec<&str> = text.lines().filter_map(|line| Some(line.split_once(": ")?.0)).collect();
    assert_eq!(names, ["one.gcode", "./one.gcode.gz"], "{text}");
}

#[test]
fn moves_outside_the_builds_travel_are_told() {
    let shop = Shop::folder();
    shop.write("far.gcode", "G1 X100 F6000\nG1 X5000\nG1 X0\n");
    let line = format!("meter far.gcode --build {}", testdata("builds/reference.toml"));
    // To 5000 mm and back; the travel along X ends at a bin's border, 250 mm.
    near(&shop.json(&line)["outside_travel_mm"]["x"], 2.0 * 4750.0, 1e-6);
    let text = shop.told(&line);
    assert!(text.contains("x goes outside the build's travel: 9.5 m above 250 mm"), "{text}");
    assert!(!text.contains("y goes outside"), "{text}");
}
