//! Fault finding end to end: from a squeal in a keeper's own words to its cause, and to a record that knows of the fix.

use serde_json::Value;

use crate::shop::{Shop, testdata};

/// A shop whose `bowline` has printed for weeks since its rods were cared for.
fn worn() -> Shop {
    let shop = Shop::with_machine(&testdata("../crates/upkeep/builds/enclosed-corexy.toml"));
    for day in ["2 Nov", "9 Nov", "16 Nov"] {
        shop.told(&format!("run --on bowline --hours 120 --material PLA --when \"{day} 6:00\""));
    }
    shop
}

fn begin(shop: &Shop, line: &str) -> i64 {
    shop.json(line)["fault"].as_i64().unwrap()
}

fn next(shop: &Shop, fault: i64) -> Value {
    shop.json(&format!("fault show {fault}"))["next"].clone()
}

#[test]
fn a_squeal_in_plain_words_leads_to_the_fix_and_the_record_knows_of_it() {
    let shop = worn();
    shop.told("stores receive \"ISO VG 32 light oil\" \"100 ml\"");
    let fault = begin(&shop, "fault new bowline \"it squeaks\"");
    let shown = shop.json(&format!("fault show {fault}"));
    assert_eq!(shown["symptoms"], serde_json::json!(["squeal while moving"]));
    let causes = shown["causes"].as_array().unwrap();
    assert!(causes.iter().all(|cause| !cause["history"].as_str().unwrap().is_empty()), "each says why: {causes:#?}");
    let chances: Vec<f64> = causes.iter().map(|cause| cause["chance"].as_f64().unwrap()).collect();
    assert!(chances.windows(2).all(|two| two[1] <= two[0]), "the likeliest first: {chances:?}");
    // Whatever is asked, the rods turn out to be dry.
    let oil = "oil the y rods";
    let before = shop.due(oil)["used"].as_f64().unwrap();
    let stock = |shop: &Shop| {
        let stores = shop.json("stores");
        let oil = stores.as_array().unwrap().iter().find(|item| item["item"] == "ISO VG 32 light oil").unwrap().clone();
        oil["stock"].as_f64().unwrap()
    };
    let had = stock(&shop);
    let said = shop.told(&format!("fault say {fault} fixed --of \"{oil}\""));
    assert!(said.contains("over: y rods: dry rod"), "{said}");
    assert!(shop.due(oil)["used"].as_f64().unwrap() < 0.01, "it was at {before}, and is done now");
    assert!(stock(&shop) < had, "what the task takes was taken");
    let entries = shop.entries();
    let failed = entries.iter().find(|entry| entry["kind"] == "failed").expect("a failure is recorded");
    assert_eq!(failed["event"]["mended"], true);
    assert!(shop.told("fault").contains("No fault is open"));
    let over = shop.ask(&format!("fault say {fault} yes"));
    over.mentions(&["is over", "--withdraw", "fault new"]);
}

#[test]
fn a_part_that_had_failed_ends_its_life_and_the_next_begins() {
    let shop = worn();
    let fault = begin(&shop, "fault new bowline \"nothing comes out\" --when \"24 Nov 9:00\"");
    let causes = shop.json(&format!("fault show {fault} --most 40"))["causes"].as_array().unwrap().clone();
    let worn = "nozzle: worn nozzle";
    let title = causes.iter().map(|cause| cause["cause"].as_str().unwrap()).find(|title| title.starts_with("nozzle: "));
    let title = title.unwrap_or(worn).to_owned();
    shop.told(&format!("fault end {fault} --cause \"{title}\""));
    let entries = shop.entries();
    let failed = entries.iter().find(|entry| entry["kind"] == "failed").unwrap();
    assert_eq!(failed["at"], "2026-11-24T08:00:00Z", "it failed when it began to show");
    let over = entries.iter().find(|entry| entry["kind"] == "fault over").unwrap();
    assert_eq!(over["event"]["words"], title);
}

#[test]
fn a_search_is_left_and_gone_on_with_question_by_question() {
    let shop = worn();
    let fault = begin(&shop, "fault new bowline squeal");
    let first = next(&shop, fault);
    let walked = shop.ask_with_input(&format!("fault walk {fault}"), b"perhaps\nno\n\n");
    assert_eq!(walked.code, Some(0), "{}", walked.err);
    assert!(walked.out.contains("\"perhaps\" is none of these"), "{}", walked.out);
    assert!(walked.out.contains(&format!("Stopped here; go on with: tallow fault walk {fault}")), "{}", walked.out);
    let shown = shop.json(&format!("fault show {fault}"));
    assert_eq!(shown["answers"][0]["name"], first["name"]);
    assert_ne!(shown["next"]["name"], first["name"], "what was answered is not asked again");
    // Another time, the same answers stand.
    let again = shop.ask_with_input(&format!("fault walk {fault}"), b"");
    assert!(again.out.contains(&format!("{}: no", first["name"].as_str().unwrap())), "{}", again.out);
    let asked = shop.ask(&format!("fault walk {fault} --json"));
    assert_eq!(asked.code, Some(1));
    asked.mentions(&["asks people", "fault say"]);
}

#[test]
fn a_remedy_that_did_not_help_was_done_all_the_same() {
    let shop = worn();
    let fault = begin(&shop, "fault new bowline squeal");
    let oil = "oil the y rods";
    shop.told(&format!("fault say {fault} no --of \"{oil}\" --used \"ISO VG 32 light oil=1 ml\""));
    assert!(shop.due(oil)["used"].as_f64().unwrap() < 0.01);
    assert!(shop.entries().iter().all(|entry| entry["kind"] != "failed"), "nothing had failed there");
    let causes = shop.json(&format!("fault show {fault} --most 60"))["causes"].as_array().unwrap().clone();
    assert!(causes.iter().all(|cause| cause["cause"] != "y rods: dry rod"), "{causes:#?}");
    shop.refused(&format!("fault say {fault} no --of \"{oil}\" --used \"PTFE grease\""), &["nothing was recorded"]);
}

#[test]
fn smoke_stops_the_machine_before_anything_is_asked() {
    let shop = worn();
    let fault = begin(&shop, "fault new bowline smoke");
    let stop = next(&shop, fault);
    assert_eq!(stop["does"], "stop");
    assert!(shop.told(&format!("fault show {fault}")).contains("[ DANGER ]"));
    shop.json(&format!("fault say {fault} yes"));
    assert_ne!(next(&shop, fault)["does"], "stop");
}

#[test]
fn words_that_mean_no_symptom_or_several_are_refused_with_a_way_on() {
    let shop = worn();
    shop.refused("fault new bowline \"the cat is hungry\"", &["no symptom is known by", "tallow fault symptoms"]);
    shop.refused("fault new bowlin squeal", &["no machine is called \"bowlin\"", "did you mean bowline?"]);
    shop.refused("fault new bowline layer", &["may mean several symptoms", "layer shift", "first layer"]);
    shop.refused("fault show 999", &["there is no fault 999", "fault new"]);
    let fault = begin(&shop, "fault new bowline squeal");
    shop.refused("fault new bowline chirping", &["is open and shows that already", &format!("fault show {fault}")]);
    shop.refused(&format!("fault say {fault} yes --of \"pluk the belt\""), &["no symptom, check or remedy is called"]);
    shop.refused(&format!("fault say {fault} fixed --of \"ringing\""), &["mends nothing", "fault end"]);
    shop.refused(&format!("fault end {fault} --other \" \""), &["what it was is not said"]);
    let found = shop.json("fault symptoms it squeaks");
    assert_eq!(found[0]["symptom"], "squeal while moving");
    assert_eq!(shop.json("fault symptoms").as_array().unwrap().len(), 36);
}

#[test]
fn a_confirmed_case_and_a_grade_of_ones_own_are_seen_and_taken_back() {
    let shop = worn();
    assert!(shop.told("fault grade").contains("go by the knowledge"));
    let link = |shop: &Shop| {
        let links = shop.json("fault grade");
        let of = |link: &&Value| link["cause"] == "dry rod" && link["finding"] == "squeal while moving";
        links.as_array().unwrap().iter().find(of).unwrap().clone()
    };
    let shipped = link(&shop);
    assert_eq!((&shipped["own_grade"], &shipped["cases"]), (&Value::Null, &Value::from(0)));
    let fault = begin(&shop, "fault new bowline squeal");
    shop.told(&format!("fault end {fault} --cause \"y rods: dry rod\""));
    let moved = link(&shop);
    assert_eq!(moved["cases"], 1);
    assert!(shipped["chance"].as_f64() < moved["chance"].as_f64());
    let end = shop.entries().iter().find(|entry| entry["kind"] == "fault over").unwrap()["entry"].clone();
    shop.told(&format!("correct {end} --withdraw"));
    assert_eq!(link(&shop), shipped, "a case that is taken back leaves no trace");
    let own = shop.json("fault grade \"dry rod\" \"squeal while moving\" nearly-always --why \"ours sing\"");
    assert_eq!(link(&shop)["own_grade"], "nearly always");
    shop.told(&format!("correct {} --withdraw", own["entry"]));
    assert_eq!(link(&shop), shipped);
    shop.refused("fault grade \"dry rod\" \"no such thing\" often --why x", &["no symptom or check of that cause"]);
}

#[test]
fn the_causes_are_drawn_with_their_figures() {
    let shop = worn();
    let fault = begin(&shop, "fault new bowline squeal");
    let shown = shop.json(&format!("fault show {fault} --most 3 --svg causes.svg"));
    let drawing = std::fs::read_to_string(shop.path("causes.svg")).unwrap();
    for cause in shown["causes"].as_array().unwrap().iter().take(3) {
        assert!(drawing.contains(cause["cause"].as_str().unwrap()), "{drawing}");
    }
    assert_eq!(drawing.matches("<rect x=").count(), 4, "three causes and what is not listed");
}
