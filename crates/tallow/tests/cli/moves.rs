//! Programs for service: printed, written into new files, never over others.

use std::fs;

use crate::shop::{Shop, testdata};

#[test]
fn moves_are_listed_without_a_shop() {
    let shop = Shop::folder();
    let list = shop.json("moves");
    let names: Vec<&str> = list.as_array().unwrap().iter().map(|one| one["move"].as_str().unwrap()).collect();
    assert_eq!(names, ["spread grease", "sweep x", "sweep y", "sweep z", "run belts", "warm up"]);
    assert!(shop.told("moves").contains("tallow moves MACHINE NAME"));
}

#[test]
fn a_machine_is_offered_only_the_moves_that_it_can_make() {
    let shop = Shop::with_bowline();
    assert!(shop.told("moves bowline").contains("spread grease"), "screws move its Z");
    // No screw moves a delta.
    let list = shop.json("moves --build delta");
    let names: Vec<&str> = list.as_array().unwrap().iter().map(|one| one["move"].as_str().unwrap()).collect();
    assert_eq!(names, ["sweep x", "sweep y", "sweep z", "run belts", "warm up"]);
    shop.refused("moves --build delta \"spread grease\"", &["no screw moves Z", "tallow moves --build \"delta\""]);
}

#[test]
fn cautions_come_on_standard_error_and_only_the_program_on_standard_output() {
    let shop = Shop::with_bowline();
    let answer = shop.ask("moves Bowline \"sweep x\"");
    assert_eq!(answer.code, Some(0), "{}", answer.err);
    assert!(answer.err.starts_with("[ WARNING ] "), "{}", answer.err);
    let is_code = |line: &str| [";", "G", "M"].iter().any(|start| line.starts_with(start));
    assert!(answer.out.lines().all(is_code) && answer.out.contains("\nG28 "), "{}", answer.out);
    let told = shop.json("moves bowline \"sweep x\"");
    assert_eq!((told["program"].as_str(), told["file"].is_null()), (Some(answer.out.as_str()), true));
    assert_eq!(told["cautions"][0]["word"], "warning");
}

#[test]
fn what_is_printed_is_what_the_meter_reads_within_the_travel() {
    let shop = Shop::folder();
    shop.told("moves --build delta \"sweep z\" --out sweep.gcode");
    let metered = shop.json("meter sweep.gcode --build delta");
    for axis in ["x", "y", "z"] {
        assert_eq!(metered["outside_travel_mm"][axis], 0.0, "{axis}");
    }
    assert_eq!(metered["warnings_total"], 0);
}

#[test]
fn no_file_is_written_over() {
    let shop = Shop::with_bowline();
    shop.write("mine.gcode", "G28\n");
    shop.refused("moves bowline \"run belts\" --out mine.gcode", &["there is a file mine.gcode already", "a new one"]);
    assert_eq!(fs::read_to_string(shop.path("mine.gcode")).unwrap(), "G28\n");
    let answer = shop.ask("moves bowline \"run belts\" --out new.gcode");
    assert!(answer.out.contains("stands in new.gcode") && answer.err.contains("[ WARNING ]"), "{answer:?}");
    assert!(fs::read_to_string(shop.path("new.gcode")).unwrap().contains("G28"));
    shop.refused("moves bowline \"run belts\" --out absent/new.gcode", &["can't be written"]);
}

#[test]
fn moves_that_can_not_be_made_are_refused() {
    let shop = Shop::with_bowline();
    shop.refused("moves bowline --out x.gcode", &["not said which move", "tallow moves \"bowline\""]);
    shop.refused("moves bowlin", &["no machine is called \"bowlin\"", "did you mean bowline?"]);
    shop.refused("moves \"sweep x\"", &["for which machine", "tallow moves MACHINE \"sweep x\""]);
    shop.refused("moves bowline \"sweep w\"", &["no move is called \"sweep w\"", "did you mean sweep"]);
    shop.refused("moves bowlin \"sweep x\"", &["no machine is called \"bowlin\"", "did you mean bowline?"]);
    shop.refused("moves --build delt \"sweep x\"", &["no build is called \"delt\"", "did you mean delta?"]);
    shop.refused("moves bowline \"sweep x\" --build delta", &["both named"]);
    shop.refused("moves --out x.gcode", &["not said which move"]);
    let text = fs::read_to_string(testdata("builds/reference.toml")).unwrap();
    shop.write("short.toml", text.replace("x = 250, y = 250", "x = 8, y = 250"));
    shop.refused("moves --build short.toml \"sweep x\"", &["x travels 8 mm, too little"]);
}
