//! Hour meters: no hour counts twice, and none is lost, in whatever order things are told.

use crate::shop::Shop;

/// The hours that the shop's machine is said to have run.
fn ran(shop: &Shop) -> f64 {
    shop.json("machine list")[0]["time_s"].as_f64().unwrap() / 3600.0
}

#[track_caller]
fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-6, "{found} not {expected}");
}

#[test]
fn a_reading_told_late_shares_the_hours_of_the_one_after_it() {
    let shop = Shop::with_bowline();
    shop.told("hour-meter 100 --on bowline --when \"2 Nov 8:00\"");
    shop.told("hour-meter 130 --on bowline --when \"9 Nov 8:00\"");
    near(ran(&shop), 30.0);
    shop.told("hour-meter 112 --on bowline --when \"5 Nov 8:00\"");
    near(ran(&shop), 30.0);
    shop.told("shop verify");
}

#[test]
fn a_run_told_late_takes_the_place_of_the_hours_estimated_for_it() {
    let shop = Shop::with_bowline();
    shop.told("hour-meter 100 --on bowline --when \"2 Nov 8:00\"");
    shop.told("hour-meter 130 --on bowline --when \"9 Nov 8:00\" --material ASA");
    shop.told("run --on bowline --hours 12 --material PLA --label knots --when \"4 Nov 8:00\"");
    near(ran(&shop), 30.0);
    // What is still estimated is of the material that was said.
    let reading = shop.entries().into_iter().rfind(|entry| entry["kind"] == "hour meter").unwrap();
    assert_eq!(reading["event"]["unbooked"][0]["material"], "ASA");
    // Taken back, its hours are unaccounted for again.
    let run = shop.entries().into_iter().find(|entry| entry["kind"] == "run").unwrap()["entry"].clone();
    shop.told(&format!("correct {run} --withdraw"));
    near(ran(&shop), 30.0);
}

#[test]
fn small_differences_add_up_until_they_count() {
    let shop = Shop::with_bowline();
    for day in 2..=10 {
        shop.told(&format!("hour-meter {} --on bowline --when \"{day} Nov 8:00\"", 100.0 + 0.9 * f64::from(day - 2)));
    }
    // 7.2 h in eight days; an hour at most is not told from nothing.
    let ran = ran(&shop);
    assert!((6.2..=7.2 + 1e-9).contains(&ran), "{ran}");
}

#[test]
fn a_reading_can_be_corrected_and_what_follows_from_it_is_worked_out_anew() {
    let shop = Shop::with_bowline();
    shop.told("hour-meter 100 --on bowline --when \"2 Nov 8:00\"");
    shop.told("hour-meter 190 --on bowline --when \"9 Nov 8:00\"");
    let wrong = shop.entries().pop().unwrap()["entry"].clone();
    shop.told(&format!("correct {wrong} --value \"120 h\""));
    near(ran(&shop), 20.0);
    shop.refused(&format!("correct {wrong} --value \"120 mm\""), &["shows hours, not mm"]);
}

#[test]
fn a_reading_between_two_others_must_lie_between_them() {
    let shop = Shop::with_bowline();
    shop.told("hour-meter 100 --on bowline --when \"2 Nov 8:00\"");
    shop.told("hour-meter 130 --on bowline --when \"9 Nov 8:00\"");
    shop.refused(
        "hour-meter 140 --on bowline --when \"5 Nov 8:00\"",
        &["showed 130 h", "after that", "tallow correct 3"],
    );
    shop.refused("hour-meter 110 --on bowline --when \"2 Nov 9:00\"", &["showed 100 h 1.0 h before that", "--value"]);
}
