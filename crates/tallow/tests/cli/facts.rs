//! Facts that no file tells: what things cost, how old parts were when records began, what was found by looking.

use serde_json::{Value, json};

use crate::shop::Shop;

#[track_caller]
fn number(answer: &Value) -> i64 {
    answer["entry"].as_i64().unwrap()
}

/// All rates of a shop, none of them set.
fn no_rates() -> Value {
    json!({ "currency": "", "labour_per_hour": null, "standing_per_hour": null, "nuisance": null, "failed_print": null,
            "damage": null, "entry": null })
}

#[test]
fn a_rate_is_not_known_before_it_is_set_and_setting_one_leaves_the_others() {
    let shop = Shop::new();
    assert_eq!(shop.json("rates"), no_rates());
    shop.json("rates --currency EUR --labour 32 --damage 180");
    let second = shop.json("rates --labour 35.5 --nuisance 0 --note \"new contract\"");
    let mut expected = no_rates();
    expected["currency"] = "EUR".into();
    expected["labour_per_hour"] = 35.5.into();
    expected["damage"] = 180.0.into();
    expected["nuisance"] = 0.0.into();
    assert_eq!(shop.json("rates"), expected);
    expected["entry"] = second["entry"].clone();
    assert_eq!(second, expected, "setting tells all rates, and the entry");
}

#[test]
fn the_shops_own_history_tells_its_rates_and_a_withdrawn_one_brings_the_one_before_back() {
    let shop = Shop::with_bowline();
    assert!(shop.told("history").contains("nothing of itself"));
    shop.json("rates --labour 32");
    let second = shop.json("rates --labour 35 --note \"new contract\"");
    let history = shop.json("history");
    assert_eq!(history.as_array().unwrap().len(), 2, "none of bowline's: {history:#}");
    assert_eq!((&history[0]["machine"], &history[0]["kind"]), (&"".into(), &"rates".into()));
    assert_eq!(history[0]["event"]["labour_per_hour"], 35.0);
    let text = shop.told("history");
    assert!(text.contains("rates: an hour of labour 35") && text.contains("new contract"), "{text}");
    assert!(shop.told("history --most 1").contains(&format!("tallow history --before {}", number(&second))));
    shop.json(&format!("correct {} --withdraw", number(&second)));
    assert_eq!(shop.json("rates")["labour_per_hour"], 32.0);
    assert_eq!(shop.entries().len(), 1, "bowline's history has nothing of it");
    assert_eq!(shop.json("shop verify")["machines"], 1);
}

#[test]
fn rates_that_can_not_be_are_refused() {
    let shop = Shop::new();
    shop.refused("rates --labour -1", &["an hour of labour of -1 makes no sense", "0 to 1000000000"]);
    shop.refused("rates --damage 10000000000", &["damage of 10000000000 makes no sense", "0 to 1000000000"]);
    shop.refused("rates --currency \"gold coins\"", &["gold coins", "1 to 8 letters or signs"]);
    shop.refused("rates --currency 5", &["\"5\" can't be what the money is called", "without figures"]);
    shop.refused("rates --currency \" \"", &["no name", "--currency EUR"]);
    shop.refused("rates --note why", &["no rate is given"]);
    let rates = shop.json("rates --labour 32");
    let when = format!("correct {} --when yesterday", number(&rates));
    shop.refused(&when, &["is set anew", "tallow rates --labour", "--withdraw"]);
    assert_eq!(shop.ask("rates --labour much").code, Some(2));
}

#[test]
fn what_is_not_set_is_said_to_be_unknown_and_an_injury_to_have_no_price() {
    let shop = Shop::new();
    let text = shop.told("rates");
    for part in ["not set; assumed 30", "Where something is not set", "An injury has no price"] {
        assert!(text.contains(part), "{part}: {text}");
    }
    let all = "rates --currency EUR --labour 32 --standing 4 --nuisance 5 --failed-print 25 --damage 180";
    let text = shop.told(all);
    assert!(text.contains("EUR") && !text.contains("not set"), "{text}");
}

/// What the newest entry of bowline says of an age.
#[track_caller]
fn age(shop: &Shop) -> Value {
    let newest = shop.entries().pop().unwrap();
    assert_eq!(newest["kind"], "age");
    newest["event"].clone()
}

#[test]
fn parts_may_have_an_age_when_their_machine_joins() {
    let shop = Shop::with_bowline();
    let told = shop.told("age bowline \"8 months\" --reason \"bought in March\"");
    assert!(told.contains("every part on bowline: 8 months when it joined, Sun 1 Nov"), "{told}");
    assert_eq!(age(&shop), json!({ "position": null, "of": null, "amount": "8 months" }));
    shop.told("age bowline --of Time \"1200 h\"");
    assert_eq!(age(&shop), json!({ "position": null, "of": "time", "amount": "1200 h" }));
    // The nozzle has one limit that is told in spools.
    let nozzle = shop.json("age bowline NOZZLE \"3 spools\"");
    assert_eq!(age(&shop), json!({ "position": "nozzle", "of": "filament mass", "amount": "3 spools" }));
    assert!(shop.told("history bowline").contains("age of nozzle when records began: 3 spools of filament mass"));
    shop.json(&format!("correct {} --withdraw", number(&nozzle)));
    shop.json("shop verify");
}

#[test]
fn an_age_that_can_not_be_told_is_refused_with_what_could() {
    let shop = Shop::with_bowline();
    shop.refused("age bowline nozle \"3 spools\"", &["\"nozle\"", "did you mean nozzle?"]);
    shop.refused("age bowlin \"8 months\"", &["\"bowlin\"", "did you mean bowline?"]);
    shop.refused("age bowline \"1 km\" --of \"travle x\"", &["\"travle x\"", "did you mean travel x?"]);
    shop.refused("age bowline \"1 km\" --of time", &["\"km\" is not a unit", "s, min, h"]);
    shop.refused("age bowline nozzle \"1 km\"", &["what 1 km is an amount of", "--of", "8 months"]);
    shop.refused("age bowline old", &["\"old\" does not begin with a number", "8 months"]);
    let negative = shop.ask("age bowline -- \"-3 h\"");
    assert_eq!(negative.code, Some(1));
    negative.mentions(&["an age of -3 h", "negative", "give 0"]);
    shop.refused("age bowline \"3 parsecs\"", &["3 parsecs"]);
    shop.refused("age bowline \"half a year\"", &["does not begin with a number"]);
    shop.refused("age bowline \"1.5 years\"", &["is not a whole number"]);
    assert_eq!(shop.entries().len(), 1);
    assert_eq!(shop.ask("age bowline").code, Some(2));
}

#[test]
fn a_failure_may_be_found_by_looking() {
    let shop = Shop::with_bowline();
    let found = |shop: &Shop| shop.entries().pop().unwrap()["event"]["found"].clone();
    shop.told("failure nozzle \"prints too thin\" --on bowline");
    assert_eq!(found(&shop), false);
    assert!(shop.told("failure nozzle \"a crack\" --on bowline --found").contains("found by looking"));
    assert_eq!(found(&shop), true);
    assert!(shop.told("history bowline").contains("found failed: nozzle, a crack"));
}
