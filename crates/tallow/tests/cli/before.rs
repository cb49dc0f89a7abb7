//! What a print would use up of each machine, with allowances that can be worked out by hand.

use serde_json::{Value, json};

use crate::programs::ladder;
use crate::shop::{Shop, near};

/// A machine whose care goes by the hour: the brush after 20 h for six minutes of work, the oil after 10 h for twelve, and
/// neglect of the oil damages it.
fn build(name: &str, travel_x: u32) -> String {
    format!(
        r#"
name = "{name}"
about = "Made up for a test."
[motion]
kinematics = "cartesian"
travel_mm = {{ x = {travel_x}, y = 220, z = 240 }}
belt_pitch_mm = 2
pulley_teeth = 16
screw_lead_mm = 8
extruder_mm_per_turn = 33.5
filament_diameter_mm = 1.75
max_speed_mm_s = {{ x = 200, y = 200, z = 10, e = 60 }}
max_acceleration_mm_s2 = {{ x = 3000, y = 2000, z = 100, e = 5000 }}
acceleration_mm_s2 = {{ print = 1500, retract = 2000, travel = 2000 }}
jerk_mm_s = {{ x = 8, y = 8, z = 0.4, e = 5 }}
junction_deviation_mm = 0.02
corner = "jerk"
fans = ["part"]
[expected]
hours_per_week = 7
days_per_week = 7
[expected.per_hour]
"time" = "1 h"
[[position]]
name = "nozzle"
kind = "brass nozzle"
tool = 0
[[position]]
name = "x rods"
kind = "steel rod in ball bushings"
along = "x"
[[task]]
name = "brush the nozzle"
at = "nozzle"
state = "cold"
minutes = 6
neglect = "failed print"
steps = ["Brush it."]
[[task.limit]]
every = "20 h"
of = "time"
source = "a test"
[[task]]
name = "oil the x rods"
at = "x rods"
state = "isolated"
minutes = 12
neglect = "damage"
gear = ["nitrile gloves"]
uses = {{ "ISO VG 32 light oil" = "1 ml", "lint-free wipe" = "2" }}
steps = ["Wipe them.", "Oil them."]
[[task.limit]]
every = "10 h"
of = "time"
source = "a test"
"#
    )
}

/// Three machines of one build: `fresh` has done nothing, `worked` five hours, `late` twelve. Labour is one a minute.
fn shop() -> Shop {
    let shop = Shop::new();
    shop.write("hourly.toml", build("hourly", 220));
    for machine in ["late", "worked", "fresh"] {
        shop.told(&format!("machine add {machine} --build hourly.toml --when \"1 Nov 2026\""));
    }
    shop.told("rates --currency EUR --labour 60 --standing 0 --nuisance 0 --failed-print 30 --damage 0");
    shop.told("run --on worked --hours 5 --material PLA --when \"3 Nov 8:00\"");
    shop.told("run --on late --hours 12 --material PLA --when \"3 Nov 8:00\"");
    shop
}

#[track_caller]
fn machine<'a>(answer: &'a Value, name: &str) -> &'a Value {
    let machines = answer[0]["machines"].as_array().unwrap();
    machines.iter().find(|row| row["machine"] == name).unwrap_or_else(|| panic!("no {name} in {answer:#}"))
}

#[test]
fn the_cheapest_machine_stands_first_and_what_is_not_to_be_run_last() {
    let answer = shop().json("before --hours 7 --material PLA");
    let names: Vec<&Value> = answer[0]["machines"].as_array().unwrap().iter().map(|row| &row["machine"]).collect();
    assert_eq!(names, ["fresh", "worked", "late"]);
    assert_eq!(machine(&answer, "late")["not_to_be_run_before"], json!(["oil the x rods"]));
    assert_eq!(machine(&answer, "fresh")["not_to_be_run_before"], json!([]));
    assert_eq!(answer[0]["assumed"], json!([]));
    // By hand: 7 of 20 h of six minutes and 7 of 10 h of twelve, at one a minute: 2.1 + 8.4.
    for name in ["fresh", "worked"] {
        let row = machine(&answer, name);
        near(&row["wear"], 10.5, 1e-6);
        near(&row["cost"], row["wear"].as_f64().unwrap() + row["risk"].as_f64().unwrap(), 1e-9);
        assert!(0.0 < row["risk"].as_f64().unwrap(), "{row:#}");
    }
    assert!(machine(&answer, "fresh")["risk"].as_f64() < machine(&answer, "worked")["risk"].as_f64());
}

#[test]
fn what_falls_due_in_mid_print_is_told_with_its_time_and_that_it_stops_the_machine() {
    let shop = shop();
    let answer = shop.json("before --hours 7 --material PLA");
    assert_eq!(machine(&answer, "fresh")["falls_due"], json!([]));
    let falling = &machine(&answer, "worked")["falls_due"];
    // Five of ten hours are used: five of the seven are left before the oil is due.
    assert_eq!((&falling[0]["task"], &falling[0]["forbids"]), (&"oil the x rods".into(), &true.into()));
    near(&falling[0]["at"], 5.0 / 7.0, 1e-9);
    near(&falling[0]["after_s"], 5.0 * 3600.0, 1e-3);
    let said = shop.told("before --hours 7 --material PLA").replace("\n  ", " ");
    assert!(said.contains("\"oil the x rods\" falls due after 5 h"), "{said}");
    assert!(said.contains("[ WARNING ] late is not to be run until this is done: oil the x rods."), "{said}");
    assert!(said.contains("The cheapest first; what is not to be run, last."), "{said}");
    // The brush is due every 20 h: 25 h leave nothing to fall due in another print, and it must not seem done.
    shop.told("run --on fresh --hours 12 --material PLA --when \"5 Nov 8:00\"");
    shop.told("done \"oil the x rods\" --on fresh --when \"6 Nov\"");
    shop.told("run --on fresh --hours 9 --material PLA --when \"7 Nov 8:00\"");
    let due = shop.told("before --hours 0.5 --material PLA").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(due.contains("nothing falls due in it; due already: brush the nozzle"), "{due}");
    assert!(said.find("fresh").unwrap() < said.find("late").unwrap(), "{said}");
}

#[test]
fn each_allowance_is_told_before_and_after() {
    let shop = shop();
    let answer = shop.json("before --hours 7 --material PLA");
    let brush = &machine(&answer, "worked")["tasks"][0];
    assert_eq!(brush["task"], "brush the nozzle");
    near(&brush["used_before"], 0.25, 1e-9);
    near(&brush["used_after"], 0.6, 1e-9);
    near(&brush["wear"], 2.1, 1e-6);
    let table = shop.told("before --hours 7 --material PLA --why");
    assert!(table.contains("60.0 %") && table.contains("120.0 %"), "{table}");
}

#[test]
fn supplies_for_what_falls_due_are_there_lacking_or_not_counted() {
    let shop = shop();
    let supplies = |shop: &Shop| machine(&shop.json("before --hours 7 --material PLA"), "worked")["supplies"].clone();
    assert_eq!(supplies(&shop)[0]["there"], Value::Null, "a shop without stores guesses nothing");
    shop.told("stores count \"ISO VG 32 light oil\" \"0.5 ml\"");
    shop.told("stores receive \"lint-free wipe\" 50 --expires 2028-01");
    let found = supplies(&shop);
    let oil = json!({ "item": "ISO VG 32 light oil", "unit": "ml", "needed": 1.0, "there": 0.5, "lacking": true,
                      "earliest": null });
    assert_eq!(found[0], oil);
    assert_eq!((&found[1]["there"], &found[1]["lacking"]), (&json!(50.0), &false.into()));
    assert!(shop.told("before --hours 7 --material PLA").contains("lacking for it: ISO VG 32 light oil"));
    shop.told("stores order \"ISO VG 32 light oil\" \"100 ml\" --by \"27 Nov\"");
    assert_eq!(supplies(&shop)[0]["earliest"], "2026-11-27");
    let said = shop.told("before --hours 7 --material PLA").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("(1 ml needed, 0.5 ml there, enough from Fri 27 Nov)"), "{said}");
}

#[test]
fn a_machine_is_free_when_its_queue_leaves_time() {
    let shop = shop();
    shop.told("queue --on worked --hours 12 --material PLA --label boards");
    shop.told("queue --on fresh --hours 30 --material PLA --label later --day friday");
    let answer = shop.json("before --hours 7 --material PLA");
    // 15:30 in Oslo is 14:30 UTC; twelve hours later it is half past two.
    assert_eq!(machine(&answer, "worked")["free"], "2026-11-26T02:30:00Z");
    assert_eq!(machine(&answer, "fresh")["free"], "2026-11-25T14:30:00Z", "seven hours fit before Friday");
    let long = shop.json("before --hours 40 --material PLA");
    // Not 40 from Wednesday afternoon to Friday's first hour (32.5): after Friday's run, 6:00 on Saturday in Oslo.
    assert_eq!(machine(&long, "fresh")["free"], "2026-11-28T05:00:00Z");
    assert!(shop.told("before --hours 7 --material PLA").replace("\n  ", " ").contains("free from early tomorrow"));
}

#[test]
fn machines_that_can_not_run_a_file_are_named_with_the_reason() {
    let shop = shop();
    shop.write("small.toml", build("small", 150));
    shop.told("machine add short --build small.toml");
    shop.write("part.gcode", ladder(100));
    shop.write("two.gcode", "M83\nG1 X10 E1 F600\nT1\nG1 X20 E1\n");
    let answer = shop.json("before part.gcode --material PLA");
    let why = answer[0]["can_not"][0]["why"].as_str().unwrap().to_owned();
    assert_eq!(answer[0]["can_not"][0]["machine"], "short");
    // Each of 100 layers goes 50 mm beyond 150 mm and back.
    assert!(why.contains("outside its travel: x, 10 m above 150 mm"), "{why}");
    assert_eq!(answer[0]["machines"].as_array().unwrap().len(), 3);
    assert_eq!(machine(&answer, "fresh")["spread"], Value::Null);
    let two = shop.json("before part.gcode two.gcode --material PLA");
    assert_eq!(two[1]["machines"], json!([]));
    assert_eq!(two[1]["can_not"][0]["why"], "it has no tool T1");
    assert!(shop.told("before two.gcode --material PLA").contains("fresh can't run it: it has no tool T1"));
}

#[test]
fn nothing_is_booked_by_asking() {
    let shop = shop();
    shop.write("part.gcode", ladder(100));
    let before = shop.json("history fresh");
    shop.json("before part.gcode --material PLA");
    assert_eq!(shop.json("history fresh"), before);
}

#[test]
fn questions_without_an_answer_are_refused() {
    let shop = shop();
    shop.write("empty.gcode", "; nothing\n");
    shop.refused("before --material PLA", &["neither a print file nor hours", "--hours"]);
    shop.refused("before absent.gcode --material PLA", &["there is no file absent.gcode"]);
    shop.refused("before empty.gcode --material PLA", &["empty.gcode"]);
    shop.refused("before - --material PLA", &["standard input", "write it into a file"]);
    shop.refused("before --hours 0 --material PLA", &["number of hours", "above 0"]);
    shop.refused("before --hours 5 --material PLAA", &["no material is called \"PLAA\""]);
    shop.refused("before --hours 5 --material T0=PLA --material T1=PETG", &["can't be shared"]);
    assert_eq!(shop.ask("before part.gcode").code, Some(2), "a material must be named");
    Shop::new().refused("before --hours 5 --material PLA", &["no machine yet", "tallow machine add"]);
}
