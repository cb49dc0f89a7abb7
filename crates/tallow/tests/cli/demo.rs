//! `tallow demo`: the invented shop, made once for all tests here.

use std::fs;
use std::sync::LazyLock;
use std::time::{Duration, Instant};

use crate::shop::Shop;

/// The demo, and how long its making took.
static MADE: LazyLock<(Vec<u8>, Duration)> = LazyLock::new(|| {
    let shop = Shop::folder();
    let began = Instant::now();
    let answer = shop.ask("demo --no-serve");
    assert_eq!(answer.code, Some(0), "{}", answer.err);
    assert!(answer.out.contains("invented"), "{}", answer.out);
    answer.mentions(&["Making the demo"]);
    (fs::read(shop.place()).unwrap(), began.elapsed())
});

/// A folder with the demo in it.
fn demo() -> Shop {
    let shop = Shop::folder();
    shop.write("shop.tallow", &MADE.0);
    shop
}

#[test]
fn the_demo_is_a_shop_with_care_due_and_coming() {
    let shop = demo();
    let due = shop.json("due --days 14");
    let count = |is: &str| due.as_array().unwrap().iter().filter(|row| row["due"]["is"] == is).count();
    assert!(1 <= count("due") && 10 <= count("likely"), "{} due, {} likely", count("due"), count("likely"));
    assert_eq!(shop.json("machine list").as_array().unwrap().len(), 6);
    assert_eq!(shop.json("shop verify")["differences"], serde_json::json!([]));
}

#[test]
fn a_second_start_opens_the_same_demo_at_once() {
    let shop = demo();
    let before = shop.json("shop verify");
    let began = Instant::now();
    let answer = shop.ask("demo --json");
    let took = began.elapsed();
    assert_eq!((answer.code, answer.err.as_str()), (Some(0), ""), "nothing is made");
    crate::shapes::check("demo", &serde_json::from_str(&answer.out).unwrap());
    assert!(took * 4 < MADE.1, "{took:?}, but {:?} to make it", MADE.1);
    assert_eq!(shop.json("shop verify"), before);
}

#[test]
fn the_demo_is_made_anew_only_when_asked() {
    let shop = demo();
    shop.json("failure nozzle \"an entry of mine\" --on bowline");
    let entries = |shop: &Shop| shop.json("shop verify")["entries"].as_u64().unwrap();
    let mine = entries(&shop);
    shop.told("demo --no-serve");
    assert_eq!(entries(&shop), mine);
    shop.told("demo --anew --no-serve");
    assert_eq!(entries(&shop), mine - 1);
    let left: Vec<_> = fs::read_dir(shop.path(".")).unwrap().map(|file| file.unwrap().file_name()).collect();
    assert!(!left.iter().any(|name| name.to_string_lossy().contains("unfinished")), "{left:?}");
}

/// The squeal is the same; the machines' histories are not.
#[test]
fn the_same_squeal_on_two_machines_leads_to_two_first_checks_each_with_its_reason() {
    let shop = demo();
    let firsts =
        ["bowline", "clove hitch", "sheet bend", "reef knot", "rolling hitch", "figure eight"].map(|machine| {
            let begun = shop.json(&format!("fault new \"{machine}\" squeal"));
            let likeliest = &begun["causes"][0];
            assert!(
                likeliest["history"].as_str().unwrap().contains(likeliest["position"].as_str().unwrap()),
                "{begun:#}"
            );
            begun["next"]["name"].as_str().unwrap().to_owned()
        });
    // The first two are of one build.
    assert_ne!(firsts[0], firsts[1], "{firsts:?}");
}

#[test]
fn the_demo_is_not_made_over_another_shop() {
    let shop = Shop::new();
    for line in ["demo", "demo --anew"] {
        shop.refused(line, &["\"Test bench\"", "not the demo", "leave --shop and TALLOW_SHOP out"]);
    }
    assert_eq!(shop.json("shop show")["shop"], "Test bench");
}

#[test]
fn the_demos_forecasts_held_about_as_often_as_they_are_meant_to() {
    let replay = demo().json("replay");
    let all = &replay["all"];
    let sum = |key: &str| all[key].as_u64().unwrap();
    let (within, forecasts) = (sum("within"), sum("before") + sum("within") + sum("after"));
    assert!(500 <= forecasts, "{forecasts} forecasts");
    let held = within as f64 / forecasts as f64;
    // Meant to be 80 %; the demo's one invented past may stray from that by a few parts in a hundred.
    assert!((0.74..=0.86).contains(&held), "the range held {:.1} % of {forecasts} forecasts", held * 100.0);
}

#[test]
fn two_tools_and_corrections_of_the_demo_can_be_looked_at() {
    let shop = demo();
    for machine in shop.json("machine list").as_array().unwrap() {
        let name = machine["machine"].as_str().unwrap();
        shop.json(&format!("machine show \"{name}\""));
        shop.json(&format!("history \"{name}\" --most 200"));
        shop.told(&format!("due \"{name}\" --all --why"));
    }
}
