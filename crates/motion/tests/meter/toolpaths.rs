//! Toolpaths with known answers: real ones metered by an independent program (`testdata/toolpaths/expected.json`), small
//! ones with closed forms (`tiny/expected.json`).

use crate::common::{core_xy, meter_with, toolpath, with_corner};
use motion::{Corner, Meter, Options, Report, meter_reader_on_two_cores};
use serde_json::Value;

/// The number that `report` gives for a key of the expected values.
fn number(report: &Report, key: &str) -> f64 {
    let r = report;
    match key.strip_prefix("time_jerk.").or(key.strip_prefix("time_jd.")).unwrap_or(key) {
        "lines" => r.lines as f64,
        "bytes" => r.bytes as f64,
        "motion_commands" => r.motion_commands as f64,
        "g0" => r.g0 as f64,
        "g1" => r.g1 as f64,
        "g2" => r.g2 as f64,
        "g3" => r.g3 as f64,
        "g28" => r.g28 as f64,
        "g10" => r.g10 as f64,
        "g11" => r.g11 as f64,
        "toolchanges" => r.toolchanges as f64,
        "unknown_commands" => r.unknown_commands as f64,
        "skipped_lines" => r.skipped_lines as f64,
        "blocks" => r.blocks as f64,
        "arcs" => r.arcs as f64,
        "warnings" => r.warnings_total as f64,
        "travel_mm.X" => r.travel_mm.x,
        "travel_mm.Y" => r.travel_mm.y,
        "travel_mm.Z" => r.travel_mm.z,
        "corexy_motor_mm.A" => r.corexy_motor_mm.a,
        "corexy_motor_mm.B" => r.corexy_motor_mm.b,
        "path_xy_mm" => r.path_xy_mm,
        "reversals.X" => r.reversals.x as f64,
        "reversals.Y" => r.reversals.y as f64,
        "reversals.Z" => r.reversals.z as f64,
        "reversals.A" => r.reversals.a as f64,
        "reversals.B" => r.reversals.b as f64,
        "reversals.E" => r.reversals.e as f64,
        "filament_mm.net" => r.filament_mm.net,
        "filament_mm.forward" => r.filament_mm.forward,
        "filament_mm.retracted" => r.filament_mm.retracted,
        "filament_mm.retractions" => r.filament_mm.retractions as f64,
        "filament_per_tool_mm.T0.net" => r.filament_per_tool_mm[&0].net,
        "filament_per_tool_mm.T1.net" => r.filament_per_tool_mm[&1].net,
        "filament_per_tool_mm.T0.forward" => r.filament_per_tool_mm[&0].forward,
        "filament_per_tool_mm.T0.retracted" => r.filament_per_tool_mm[&0].retracted,
        "filament_per_tool_mm.T0.retractions" => r.filament_per_tool_mm[&0].retractions as f64,
        "filament_per_tool_mm.T0.reversals" => r.filament_per_tool_mm[&0].reversals as f64,
        "retracted_at_end_mm.T0" => r.retracted_at_end_mm[&0],
        "dwell_s" => r.dwell_s,
        "total_s" => r.time.total_s,
        "motion_s" => r.time.motion_s,
        "hot_s.T0" => r.time.hot_s[&0],
        "any_nozzle_hot_s" => r.time.any_nozzle_hot_s,
        "bed_on_s" => r.time.bed_on_s,
        "fan_on_s.P0" => r.time.fan_on_s[&0],
        "fan_duty_s.P0" => r.time.fan_duty_s[&0],
        other => panic!("no such key: {other}"),
    }
}

/// The numbers below `value`, by their keys joined with points.
fn numbers(value: &Value, key: &str, into: &mut Vec<(String, f64)>) {
    match value {
        Value::Object(fields) => {
            for (name, field) in fields {
                numbers(field, &if key.is_empty() { name.clone() } else { format!("{key}.{name}") }, into);
            }
        }
        Value::Number(number) => into.push((key.to_owned(), number.as_f64().unwrap())),
        _ => {}
    }
}

/// Compares the file with the expected values that hold for `corner`: counts exactly, the rest to `tolerance`.
#[track_caller]
fn check(file: &str, expected: &Value, corner: Corner, tolerance: f64) {
    let report = meter_with(&core_xy(), with_corner(corner), &toolpath(file)).unwrap().report;
    let other_rule = if corner == Corner::Jerk { "time_jd" } else { "time_jerk" };
    let mut expected_numbers = Vec::new();
    numbers(expected, "", &mut expected_numbers);
    let mut compared = 0;
    for (key, expected) in &expected_numbers {
        // Not in the report: words that are no tool change, moves of no length.
        if key.starts_with(other_rule) || ["t_words", "zero_moves"].contains(&key.as_str()) {
            continue;
        }
        let found = number(&report, key);
        let allowed = if expected.fract() == 0.0 && tolerance < 1e-8 { 1e-12 * expected } else { tolerance * expected };
        assert!((found - expected).abs() <= allowed.abs().max(1e-9), "{file}, {key}: {found}, expected {expected}");
        compared += 1;
    }
    assert!(0 < compared);
    assert_eq!(report.planned_short, 0);
}

fn expected(file: &str) -> Value {
    serde_json::from_slice(&toolpath(file)).unwrap()
}

#[test]
fn real_files_agree_with_an_independent_meter_by_both_corner_rules() {
    let Value::Object(files) = expected("expected.json") else { panic!("an object of files") };
    for (name, values) in files {
        for corner in [Corner::Jerk, Corner::Deviation] {
            check(&format!("files/{name}.gcode"), &values["independent_meter"], corner, 1e-9);
        }
    }
}

#[test]
fn real_files_agree_with_their_generators_estimates() {
    let Value::Object(files) = expected("expected.json") else { panic!("an object of files") };
    for (name, values) in files {
        let report = meter_with(&core_xy(), with_corner(Corner::Jerk), &toolpath(&format!("files/{name}.gcode")))
            .unwrap()
            .report;
        let estimate = &values["generator_estimate"];
        // The generator counts no firmware retractions, and rounds to seconds: 0.7 % is what the collection states.
        let seconds = estimate["time_s"].as_f64().unwrap();
        assert!((report.time.total_s / seconds - 1.0).abs() < 0.007, "{name}: {} s", report.time.total_s);
        // Its filament is what was fed, less what was pulled, before the last retraction; it agrees to 0.001 %.
        let filament = estimate["filament_mm"][0].as_f64().unwrap();
        let fed = report.filament_mm.net + report.retracted_at_end_mm[&0];
        assert!((fed / filament - 1.0).abs() < 1e-5, "{name}: {fed} mm");
    }
}

#[test]
fn tiny_files_have_their_closed_forms() {
    let Value::Object(files) = expected("tiny/expected.json") else { panic!("an object of files") };
    for (name, values) in files {
        for corner in [Corner::Jerk, Corner::Deviation] {
            check(&format!("tiny/{name}.gcode"), &values, corner, 1e-9);
        }
    }
}

#[test]
fn real_files_meter_alike_on_two_cores_and_in_pieces_of_any_size() {
    for name in ["a_bracket", "i_gear_arcs"] {
        let file = toolpath(&format!("files/{name}.gcode"));
        let whole = meter_with(&core_xy(), Options::default(), &file).unwrap();
        let two = meter_reader_on_two_cores(file.as_slice(), &core_xy(), Options::default()).unwrap();
        assert_eq!((&two.report, &two.duty), (&whole.report, &whole.duty));
        let mut meter = Meter::new(&core_xy(), Options::default());
        file.chunks(997).for_each(|piece| meter.push(piece).unwrap());
        assert_eq!(meter.finish().unwrap().report, whole.report);
    }
}

#[test]
fn what_is_refused_is_refused_on_two_cores() {
    for name in ["31_binary", "32_empty", "33_only_comments"] {
        let file = toolpath(&format!("nasty/{name}.gcode"));
        let one = meter_with(&core_xy(), Options::default(), &file).unwrap_err();
        let two = meter_reader_on_two_cores(file.as_slice(), &core_xy(), Options::default()).unwrap_err();
        assert_eq!(one.to_string(), two.to_string());
    }
}
