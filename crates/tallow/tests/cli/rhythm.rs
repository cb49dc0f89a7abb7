//! One fixed habit for a machine.

use crate::shop::Shop;

#[test]
fn a_habit_keeps_every_task_to_its_limit_and_costs_no_less_than_its_bound() {
    let shop = Shop::with_machine("enclosed-corexy");
    shop.told("machine add \"reef knot\" --build delta --when \"10 Nov 2026\"");
    let all = shop.json("rhythm");
    assert_eq!(all["machines"].as_array().unwrap().len(), 2);
    let one = shop.json("rhythm Bowline");
    let habit = &one["machines"][0]["habit"];
    assert_eq!((&one["machines"][0], one["machines"].as_array().unwrap().len()), (&all["machines"][0], 1));
    let interval = habit["interval"].as_f64().unwrap();
    assert!(1.0 <= interval && interval.fract() == 0.0, "{habit:#}");
    for turn in habit["turns"].as_array().unwrap() {
        let [every, limit] = ["every", "limit"].map(|key| turn[key].as_f64().unwrap());
        assert!(every * interval <= limit * (1.0 + 1e-9), "{turn:#}");
    }
    let [bound, cost, separately] = ["bound", "cost", "separately"].map(|key| habit[key].as_f64().unwrap());
    assert!(0.0 < bound && bound <= cost && cost < separately, "{habit:#}");
    // Every task of the build is somewhere: it has a turn, or is named as one that can't have one.
    let due = shop.json("due bowline --all");
    let text = shop.told("rhythm bowline");
    for row in due.as_array().unwrap() {
        let task = row["task"].as_str().unwrap();
        let words: Vec<&str> = text.split_whitespace().collect();
        assert!(words.join(" ").contains(task), "{task} is missing:\n{text}");
    }
    for part in ["bowline: a visit every", "every visit", "a year", "never in one visit", "tallow due", "Assumed"] {
        assert!(text.contains(part), "{part} is missing:\n{text}");
    }
}

#[test]
fn there_is_no_habit_without_a_machine_or_where_going_there_is_free() {
    let shop = Shop::new();
    shop.refused("rhythm", &["no machine yet", "tallow machine add"]);
    let shop = Shop::with_machine("moving-bed");
    shop.refused("rhythm bowlin", &["bowline"]);
    shop.told("rates --labour 0");
    shop.refused("rhythm", &["bowline has no best rhythm", "tallow rates --labour"]);
}
