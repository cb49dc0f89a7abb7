//! Sheets and the calendar of a round, out of the visits that people were told of.

use crate::shop::Shop;

fn told() -> Shop {
    let shop = Shop::with_machine("moving-bed");
    shop.told("keeper set mate --minutes \"mon-sat 180\" --skill qualified");
    shop.told("plan --keep");
    shop
}

#[test]
fn the_code_on_a_sheet_leads_to_the_served_visit_where_an_address_is_given() {
    let shop = told();
    let number = shop.json("visit")[0]["visit"].as_i64().unwrap();
    let without = shop.told(&format!("sheet {number}"));
    assert!(without.contains(&format!("tallow visit walked {number}")), "{without}");
    let with = shop.told(&format!("sheet {number} --site http://192.0.2.7:4630/"));
    assert!(with.contains(&format!("http://192.0.2.7:4630/visits/{number}")), "{with}");
    assert!(!with.contains("tallow visit walked"), "{with}");
}

#[test]
fn a_sheet_tells_what_to_lay_out_and_every_step_in_a_safe_order_with_its_cautions() {
    let shop = told();
    let mut n_isolated = 0;
    for visit in shop.json("visit").as_array().unwrap() {
        let number = visit["visit"].as_i64().unwrap();
        let sheet = shop.told(&format!("sheet {number}"));
        let flat = sheet.split_whitespace().collect::<Vec<_>>().join(" ");
        for task in visit["tasks"].as_array().unwrap().iter().map(|task| task.as_str().unwrap()) {
            let at = flat.to_lowercase().find(task).unwrap_or_else(|| panic!("{task} is missing:\n{sheet}"));
            let steps = shop.json(&format!("steps \"{task}\" --on bowline"));
            if steps["state"] == "isolated" {
                n_isolated += 1;
                let switched = flat.find("ISOLATED").unwrap_or_else(|| panic!("nobody switches off:\n{sheet}"));
                assert!(switched < at, "{task} stands before the machine is isolated:\n{sheet}");
            }
            // The first words of every caution of the task stand on the sheet.
            for caution in steps["cautions"].as_array().unwrap() {
                let words: Vec<&str> = caution["text"].as_str().unwrap().split(' ').take(4).collect();
                assert!(flat.contains(&words.join(" ")), "{words:?} is missing:\n{sheet}");
            }
        }
        for part in ["bowline", "mate", "TEST", "The maker's manual stands above", &number.to_string()] {
            assert!(flat.contains(part), "{part} is missing:\n{sheet}");
        }
    }
    assert!(0 < n_isolated, "no visit needs the machine isolated");
    // As data the same tasks stand in the same visits.
    let visit = shop.json("visit")[0].clone();
    let sheet = shop.json(&format!("sheet {}", visit["visit"]))[0].clone();
    let stages = sheet["stages"].as_array().unwrap().iter().filter(|stage| stage["is_task"] == true).count();
    assert_eq!((&sheet["minutes"], stages), (&visit["minutes"], visit["tasks"].as_array().unwrap().len()));
}

#[test]
fn a_round_prints_a_bench_list_and_a_sheet_for_each_day_and_pages_for_paper() {
    let shop = told();
    let round = shop.told("sheet --round");
    assert!(round.contains("mate") && round.contains("lint-free wipe"), "{round}");
    shop.told("sheet --round --html round.html --paper letter");
    for file in ["round.html", "round-bench.html", "round-days.html"] {
        let page = std::fs::read_to_string(shop.path(file)).unwrap();
        assert!(page.starts_with("<!DOCTYPE html>") && page.contains("@page"), "{file}");
        assert!(!page.contains("<script") && !page.contains("http://") || page.contains("www.w3.org"), "{file}");
    }
    let parts = ["bench", "days"].map(|only| shop.told(&format!("sheet --round --only {only}")));
    assert_eq!(parts.join("\n"), round, "one of the papers alone is what it is among all");
    shop.told("sheet --round --only bench --html bench.html");
    let read = |file: &str| std::fs::read_to_string(shop.path(file)).unwrap();
    assert!(!shop.path("bench-days.html").exists() && read("bench.html").contains("lint-free wipe"));
    shop.refused("sheet 99999", &["no visit 99999", "tallow visit"]);
    shop.refused("sheet --html no/such/folder/page.html", &["can't be written"]);
    Shop::with_bowline().refused("sheet", &["nobody has been told", "tallow plan --keep"]);
}

#[test]
fn the_calendar_keeps_a_visits_name_counts_its_changes_and_tells_that_it_was_called_off() {
    let shop = told();
    let visit = shop.json("visit")[0].clone();
    let number = visit["visit"].as_i64().unwrap();
    let events = |shop: &Shop| -> Vec<String> {
        // RFC 5545, 3.1: a line break and one blank join what was folded.
        let text = shop.told("calendar").replace("\r\n ", "");
        text.split("BEGIN:VEVENT").skip(1).map(str::to_owned).collect()
    };
    let of = |shop: &Shop| {
        let name = format!("UID:visit-{number}@");
        events(shop).into_iter().find(|event| event.contains(&name)).expect("the visit is in the calendar")
    };
    assert!(of(&shop).contains("SEQUENCE:0") && of(&shop).contains("STATUS:CONFIRMED"), "{}", of(&shop));
    shop.json(&format!("visit move {number} --to \"4 Dec\""));
    let moved = of(&shop);
    assert!(moved.contains("SEQUENCE:1") && moved.contains("DTSTART;VALUE=DATE:20261204"), "{moved}");
    shop.json(&format!("visit off {number} --why \"away\""));
    assert!(of(&shop).contains("SEQUENCE:2") && of(&shop).contains("STATUS:CANCELLED"), "{}", of(&shop));
    let event = shop.json("calendar").as_array().unwrap().iter().find(|event| event["cancelled"] == true).cloned();
    assert_eq!(event.unwrap()["sequence"], 2);
    shop.told("calendar --out care.ics");
    let file = std::fs::read_to_string(shop.path("care.ics")).unwrap();
    assert!(file.starts_with("BEGIN:VCALENDAR\r\n") && file.ends_with("END:VCALENDAR\r\n"), "{file}");
    shop.refused("calendar --keeper mat", &["no keeper is called \"mat\"", "did you mean mate?"]);
    assert!(shop.told("calendar --keeper MATE").contains("BEGIN:VEVENT"));
    shop.told("keeper set cook --minutes \"daily 5\"");
    shop.refused("calendar --keeper cook", &["no visit to put into a calendar"]);
    shop.told("keeper remove mate");
    assert!(shop.told("calendar --keeper mate").contains("BEGIN:VEVENT"), "what was told stays theirs");
    Shop::with_bowline().refused("calendar", &["no visit", "tallow plan --keep"]);
}

#[test]
fn a_reading_outside_of_its_limits_is_kept_and_said_to_be_outside_wherever_it_is_shown() {
    // The build states at most 0.1 mm of play; 0.25 mm is 0.15 mm more, 0.3 mm is 0.2 mm more.
    let shop = Shop::with_bowline();
    let said =
        shop.told("reading \"x rods\" Play \"0.25 mm\" --on bowline").split_whitespace().collect::<Vec<_>>().join(" ");
    for part in
        ["play 0.25 mm", "outside of its limits: 0.15 mm above 0.1 mm, the most (common practice, no source)", "kept"]
    {
        assert!(said.contains(part), "{part} is missing: {said}");
    }
    assert!(said.contains("tallow steps \"wipe the x rods\" --on \"bowline\""), "{said}");
    shop.told("keeper set mate --minutes \"daily 180\"");
    shop.told("plan --keep");
    let visits = shop.json("visit");
    let does = |visit: &&serde_json::Value| visit["tasks"].as_array().unwrap().contains(&"wipe the x rods".into());
    let number = visits.as_array().unwrap().iter().find(does).expect("it is due within the round")["visit"].clone();
    let blank = "X rods: play: ________ mm (good: at most 0.1 mm; was 0.25 on 25 Nov, outside)";
    let sheet = shop.told(&format!("sheet {number}"));
    assert!(sheet.contains(blank), "{sheet}");
    shop.told(&format!("sheet {number} --html sheet.html"));
    let page = std::fs::read_to_string(shop.path("sheet.html")).unwrap();
    assert!(page.contains("(good: at most 0.1 mm; was 0.25 on 25 Nov, outside)"), "{page}");
    shop.refused(&format!("visit walked {number} --reading \"x rods: play = 300 um\""), &["measured in mm before"]);
    let walked = shop.json(&format!("visit walked {number} --reading \"x rods: play = 0.3 mm\""));
    let outside = &walked["outside"][0];
    assert_eq!((&outside["is"], &outside["limit"], &outside["by"]), (&"above".into(), &0.1.into(), &0.2.into()));
    assert!(shop.told("history bowline").contains("outside, 0.2 mm above 0.1 mm, the most"));
    let shown = shop.told("machine show bowline").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(shown.contains("(good: at most 0.1 mm); outside: 0.2 mm above 0.1 mm, the most"), "{shown}");
    let why = shop.told("due bowline --all --why").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(why.contains("read last: x rods: play 0.3 mm on"), "{why}");
    let last = shop.json("machine show bowline")["readings"][0].clone();
    assert_eq!((&last["value"], &last["outside"], &last["most"]), (&0.3.into(), &"above".into(), &0.1.into()));
    // Within the limits, and what no build knows, nothing is said.
    assert_eq!(shop.json("reading \"x rods\" play \"0.1 mm\" --on bowline")["outside"], serde_json::json!([]));
    assert_eq!(shop.json("reading nozzle bore \"9 mm\" --on bowline")["outside"], serde_json::json!([]));
    assert!(!shop.told("reading nozzle bore \"9 mm\" --on bowline").contains("outside"));
    assert_eq!(shop.json("machine show bowline")["readings"][1]["outside"], serde_json::Value::Null);
}

#[test]
fn the_first_reading_is_taken_in_the_unit_of_the_build() {
    let shop = Shop::with_bowline();
    shop.refused("reading \"x rods\" play \"150 um\" --on bowline", &["is read in mm, says the build", "not in um"]);
    shop.told("reading \"x rods\" \"play at the end\" \"150 um\" --on bowline");
}

#[test]
fn a_deltas_head_is_lowered_before_the_machine_is_switched_off() {
    let sheet = |build: &str| {
        let shop = Shop::with_machine(build);
        shop.told("keeper set mate --minutes \"mon-sat 180\" --skill qualified");
        shop.told("plan --keep");
        let visits = shop.json("visit");
        let numbers = visits.as_array().unwrap().iter().map(|visit| visit["visit"].to_string());
        let sheets = shop.told(&format!("sheet {}", numbers.collect::<Vec<_>>().join(" ")));
        sheets.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let delta = sheet("delta");
    let at = |words: &str| delta.find(words).unwrap_or_else(|| panic!("{words} is missing: {delta}"));
    let caution = at("CAUTION: the head falls when the motors lose their current.");
    let [lowered, off] = ["lower it onto a block of foam", "MACHINE: ISOLATED. Switch off, pull the plug"].map(at);
    assert!(caution < lowered && lowered < off, "{delta}");
    let bed = sheet("moving-bed");
    assert!(bed.contains("MACHINE: ISOLATED. Switch off") && !bed.contains("lose their current"), "{bed}");
    // What holds the head up is laid out, and comes out again before power comes on.
    let laid_out = delta[..caution].rfind("Tools: ").expect("tools are laid out");
    assert!(delta[laid_out..caution].contains("block of foam") && !bed.contains("block of foam"), "{delta}");
    let [out, on] = ["take the foam out, let the head down gently onto the bed, plug in", "plug in, switch on"].map(at);
    assert!(off < out && out < on, "{delta}");
    // Findings may keep the machine off; power and test never come without asking.
    for sheet in [&delta, &bed] {
        let asked = "Unless a finding keeps it off (then leave it unplugged, mark it, note it): MACHINE: POWERED.";
        assert_eq!(sheet.matches(asked).count(), sheet.matches("POWERED.").count(), "{sheet}");
        let asked = "TEST. Unless a finding keeps it off (then leave it unplugged, mark it, note it)";
        assert_eq!(sheet.matches(asked).count(), sheet.matches("TEST").count(), "{sheet}");
        assert!(sheet.contains("POWERED.") && sheet.contains("TEST"), "{sheet}");
    }
}

#[test]
fn what_a_task_needs_before_the_machine_is_off_is_told_once_before_that_and_a_sheet_is_printed_once() {
    let shop = told();
    // Each month the gears are brushed and the guide tube is due at the latest after six; both need the filament out.
    let tasks = ["brush out the extruder gears", "check the extruder's tension arm", "oil the z rods"];
    let visit = upkeep::shop::Visit {
        day: jiff::civil::date(2026, 11, 27),
        keeper: "mate".to_owned(),
        tasks: tasks.map(str::to_owned).to_vec(),
        minutes: 40.0,
        is_locked: false,
        took: None,
    };
    let number = crate::visits::tell(&shop, visit);
    let sheet = shop.told(&format!("sheet {number} {number}"));
    let flat = sheet.split_whitespace().collect::<Vec<_>>().join(" ");
    assert_eq!(flat.matches("The maker's manual stands above").count(), 1, "{sheet}");
    assert_eq!(flat.matches("unload the filament").count(), 1, "{sheet}");
    let at = |words: &str| flat.find(words).unwrap_or_else(|| panic!("{words} is missing: {sheet}"));
    let [unload, lift] = ["unload the filament", "drive the gantry to half height"].map(at);
    let [cool, off] = ["cool to the touch. Then", "MACHINE: ISOLATED"].map(at);
    assert!(at("Before switching off: ") < unload && unload.max(lift) < cool && cool < off, "{sheet}");
    let alone = shop.json("steps \"oil the z rods\" --on bowline");
    assert!(alone["before_off"][0].as_str().unwrap().contains("half height") && alone["before_on"].is_null());
}

#[test]
fn a_machine_that_will_be_past_its_limit_by_the_visits_day_is_said_not_to_be_so_today() {
    let shop = Shop::with_machine("moving-bed");
    shop.told("keeper set mate --minutes \"mon-sat 180\" --skill qualified");
    // The bowline joined on 1 Nov: what is due each month is past its limit from 1 Dec on, not on 25 Nov.
    let visit = upkeep::shop::Visit {
        day: jiff::civil::date(2026, 12, 3),
        keeper: "mate".to_owned(),
        tasks: vec!["oil the x rods".to_owned()],
        minutes: 20.0,
        is_locked: false,
        took: None,
    };
    let number = crate::visits::tell(&shop, visit);
    let why = shop.json(&format!("sheet {number}"))[0]["not_to_be_run"].as_str().unwrap().to_owned();
    assert!(why.starts_with("not past its limit today, but will be past its limit by then: "), "{why}");
    assert!(why.contains("oil the x rods"), "{why}");
}
