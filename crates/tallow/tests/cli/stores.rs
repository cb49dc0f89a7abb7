//! Keepers, stores, and visits that people have been told of.

use serde_json::{Value, json};

use crate::shop::{Shop, near};
use crate::visits::{tell, wiping};

#[track_caller]
fn number(answer: &Value) -> i64 {
    answer["entry"].as_i64().unwrap()
}

/// The stores' row of an item.
#[track_caller]
fn item(shop: &Shop, name: &str) -> Value {
    let rows = shop.json("stores");
    let row = rows.as_array().unwrap().iter().find(|row| row["item"] == name);
    row.unwrap_or_else(|| panic!("no {name} in {rows:#}")).clone()
}

#[test]
fn a_shop_has_no_keepers_before_it_names_them() {
    let shop = Shop::new();
    assert_eq!(shop.json("keeper"), json!([]));
    assert!(shop.told("keeper").contains("tallow keeper set"));
    shop.refused("keeper away mate --from friday", &["no keeper is called \"mate\"", "tallow keeper set"]);
    shop.refused("keeper set mate --skill qualified", &["\"mate\" is new", "--minutes"]);
}

#[test]
fn what_a_new_word_on_a_keeper_leaves_out_stays_as_it_was() {
    let shop = Shop::new();
    shop.told("keeper set mate --minutes \"mon-fri 60, sat 30\" --skill Qualified --skill lathe");
    shop.told("keeper set MATE --minutes \"daily 20\"");
    let mate = shop.json("keeper")[0].clone();
    assert_eq!((&mate["keeper"], &mate["minutes"]), (&"mate".into(), &json!([20, 20, 20, 20, 20, 20, 20])));
    assert_eq!(mate["skills"], json!(["qualified", "lathe"]));
    shop.told("keeper set mate --no-skills");
    assert_eq!(shop.json("keeper")[0]["skills"], json!([]));
    let newest = shop.json("keeper")[0]["entry"].clone();
    shop.json(&format!("correct {newest} --withdraw"));
    assert_eq!(shop.json("keeper")[0]["skills"], json!(["qualified", "lathe"]), "the word before holds again");
}

#[test]
fn a_skill_near_the_one_that_builds_ask_for_is_kept_with_a_hint() {
    let shop = Shop::new();
    let near = shop.ask("keeper set mate --minutes \"mon,wed 60\" --skill qualfied");
    assert_eq!(near.code, Some(0));
    near.mentions(&["Did you mean qualified?"]);
    let mate = shop.json("keeper")[0].clone();
    assert_eq!((&mate["skills"], &mate["minutes"]), (&json!(["qualfied"]), &json!([60, 0, 60, 0, 0, 0, 0])));
    for skill in ["qualified", "lathe"] {
        assert_eq!(shop.ask(&format!("keeper set mate --skill {skill}")).err, "", "{skill}");
    }
}

#[test]
fn days_off_ahead_are_listed_and_can_be_taken_back() {
    let shop = Shop::new();
    shop.told("keeper set mate --minutes \"daily 20\"");
    let off = shop.json("keeper away mate --from \"24 Dec\" --to \"2 Jan\" --why \"at sea\"");
    shop.told("keeper away mate --from today");
    let away = shop.json("keeper")[0]["away"].clone();
    assert_eq!((&away[0]["from"], &away[0]["to"]), (&"2026-11-25".into(), &"2026-11-25".into()));
    assert_eq!((&away[1]["from"], &away[1]["to"]), (&"2026-12-24".into(), &"2027-01-02".into()));
    assert!(shop.told("history").contains("mate is away 24 Dec–2 Jan 2027, at sea"));
    shop.json(&format!("correct {} --withdraw", number(&off)));
    assert_eq!(shop.json("keeper")[0]["away"].as_array().unwrap().len(), 1);
    shop.told("keeper remove mate");
    assert_eq!(shop.json("keeper"), json!([]));
    assert!(shop.told("history").contains("looks after machines no more"));
    shop.json("shop verify");
}

#[test]
fn facts_of_keepers_that_can_not_be_are_refused() {
    let shop = Shop::new();
    shop.told("keeper set mate --minutes \"daily 20\"");
    shop.refused("keeper set cook --minutes \"mon 1441\"", &["1441 minutes", "at most 1440"]);
    shop.refused("keeper set cook --minutes sometimes", &["\"sometimes\"", "mon-fri 60"]);
    shop.refused("keeper set cook --minutes \"mon-fri 60, tue 5\"", &["Tue is named twice"]);
    shop.refused("keeper set \" \" --minutes \"mon 5\"", &["name is not said"]);
    let long = "o".repeat(61);
    for name in [&long, "ma\nte", "ma\tte"] {
        let line = format!("keeper set \"{name}\" --minutes \"mon 5\"");
        shop.refused(&line, &[if name == long { "1 to 60 letters" } else { "a line break" }]);
    }
    shop.refused("keeper away mate --from friday --why \"at\nsea\"", &["why somebody is away has a line break"]);
    shop.refused("keeper set cook --minutes \"mon,wed\"", &["\"mon,wed\"", "mon-fri 60"]);
    shop.refused("keeper remove mat", &["\"mat\"", "did you mean mate?"]);
    shop.refused("keeper away mate --from \"26 Dec\" --to \"24 Dec\"", &["end before they begin"]);
    shop.refused("keeper away mate --from yesterday", &["2026-11-24 is past"]);
    shop.refused("keeper away mate --from soon", &["\"soon\" is not a date"]);
    assert_eq!(shop.json("keeper")[0]["away"], json!([]));
}

#[test]
fn stock_is_what_came_less_what_care_used_and_what_was_thrown_away() {
    let shop = Shop::with_bowline();
    shop.told("rates --currency EUR");
    assert!(shop.told("stores").contains("tallow stores receive"));
    let told = shop.told("stores receive \"lint-free WIPE\" 50 --price 10 --when \"2 Nov\"");
    assert!(told.contains("received: 50 of lint-free wipe for 10") && told.contains("50 in stock"), "{told}");
    // The task uses one wipe by its build, and 5 ml of alcohol of which the stores know nothing.
    shop.told("done \"wipe the x rods\" --on bowline --when \"3 Nov\"");
    let used = shop.json("done \"wipe the x rods\" --on bowline --when \"4 Nov\" --used \"lint-free wipe=4\"");
    shop.told("stores discard \"lint-free wipe\" 5 --why \"fell into oil\" --when \"5 Nov\"");
    let wipes = item(&shop, "lint-free wipe");
    near(&wipes["stock"], 40.0, 1e-9);
    near(&wipes["value"], 8.0, 1e-9);
    assert_eq!(wipes["wants_count"], false);
    assert!(shop.told("stores").contains("What is there cost 8 EUR."));
    shop.json(&format!("correct {} --withdraw", number(&used)));
    near(&item(&shop, "lint-free wipe")["stock"], 44.0, 1e-9);
    shop.told("stores count \"lint-free wipe\" 30 --when \"6 Nov\"");
    near(&item(&shop, "lint-free wipe")["stock"], 30.0, 1e-9);
    assert_eq!(shop.json("stores").as_array().unwrap().len(), 1, "alcohol is none of the stores'");
    shop.json("shop verify");
}

#[test]
fn a_spare_that_is_put_in_leaves_the_stores() {
    let shop = Shop::with_bowline();
    shop.refused("replace nozzle --on bowline --because worn --spare \"brass nozzle 0.4\"", &["stores", "receive"]);
    shop.told("stores receive \"brass nozzle 0.4\" 1 --when \"2 Nov\"");
    shop.told("stores receive \"brass nozzle 0.6\" 1 --when \"2 Nov\"");
    shop.told("replace nozzle --on bowline --because worn --spare \"Brass nozzle 0.4\"");
    assert_eq!(shop.entries().pop().unwrap()["event"]["spare"], "brass nozzle 0.4");
    assert!(shop.told("history bowline").contains("by a brass nozzle 0.4"));
    let second = shop.json("replace nozzle --on bowline --because worn --spare \"brass nozzle 0.4\"");
    let nozzles = item(&shop, "brass nozzle 0.4");
    assert_eq!((&nozzles["stock"], &nozzles["wants_count"]), (&json!(-1.0), &json!(true)));
    let text = shop.told("stores");
    assert!(text.contains("-1") && text.contains("count it: more was used than came"), "{text}");
    shop.json(&format!("correct {} --spare \"brass nozzle 0.6\"", number(&second)));
    assert_eq!(item(&shop, "brass nozzle 0.4")["stock"], 0.0);
    assert_eq!(item(&shop, "brass nozzle 0.6")["stock"], 0.0);
    shop.told("stores receive \"braided sleeve\" \"2 m\"");
    let sleeve = "replace nozzle --on bowline --because worn --spare \"braided sleeve\"";
    shop.refused(sleeve, &["is counted in m", "--used"]);
}

#[test]
fn what_expires_first_stands_first_and_what_has_expired_is_told() {
    let shop = Shop::new();
    shop.told("stores receive acetone \"1 l\" --expires 2028-01 --when \"2 Nov\"");
    let old = shop.ask("stores receive acetone \"200 ml\" --expires 2026-10 --when \"3 Nov\"");
    assert_eq!(old.code, Some(0));
    old.mentions(&["was good to 2026-10-31 only"]);
    let acetone = item(&shop, "acetone");
    assert_eq!(acetone["batches"][0]["expires"], "2026-10-31");
    near(&acetone["expired"], 200.0, 1e-9);
    assert!(shop.told("stores").contains("200 ml no longer good"));
    shop.told("stores discard acetone \"200 ml\" --why \"too old\"");
    assert_eq!(
        (&item(&shop, "acetone")["expires"], &item(&shop, "acetone")["stock"]),
        (&"2028-01-31".into(), &json!(1000.0))
    );
}

#[test]
fn moves_in_the_stores_that_can_not_be_are_refused() {
    let shop = Shop::new();
    shop.told("stores receive \"brass nozzle 0.4\" 5");
    shop.refused("stores receive \"brass nozle 0.4\" 5", &["did you mean brass nozzle 0.4?", "--new"]);
    shop.refused("stores receive acetone 5", &["acetone is counted in ml, not in pieces"]);
    shop.refused("stores receive \"brass nozzle 0.4\" \"5 ml\"", &["is counted in pieces, not in ml"]);
    shop.refused("stores receive acetone \"some\"", &["does not begin with a number", "100 ml"]);
    for (amount, part) in [("0", "more than 0"), ("-3", "more than 0")] {
        shop.refused(&format!("stores receive \"brass nozzle 0.4\" {amount}"), &["makes no sense", part]);
    }
    shop.refused("stores count \"brass nozzle 0.4\" -1", &["makes no sense", "0 or more"]);
    shop.refused("stores receive acetone \"5 ml\" --price -1", &["a price of -1"]);
    shop.refused("stores receive acetone \"5 ml\" --expires someday", &["no month or day", "2028-01"]);
    shop.refused("stores receive acetone \"5 ml\" --expires 2208-01", &["2208-01-31", "check the year"]);
    shop.refused("stores receive acetone \"5 ml\" --when tomorrow", &["future"]);
    shop.refused("stores discard \"lint-free wipe\" 5 --why dirty", &["no item of the stores is called"]);
    shop.refused("stores discard \"brass nozzle 0.4\" 5 --why \" \"", &["why it was thrown away is not said"]);
    shop.refused("stores terms acetone --price 3", &["how acetone is bought", "--lead"]);
    shop.refused("stores terms acetone --lead \"1 month\" --pack \"1 l\"", &["1 month", "days or weeks"]);
    let sure = "stores terms acetone --lead \"1 week\" --pack \"1 l\" --service 1";
    shop.refused(sure, &["a level of service of 1", "below 1"]);
    assert_eq!(shop.json("stores").as_array().unwrap().len(), 1);
    shop.told("stores receive \"brass nozle 0.4\" 5 --new");
}

#[test]
fn what_is_counted_is_known_and_whole_and_no_more_is_thrown_away_than_is_there() {
    let shop = Shop::new();
    shop.refused("stores count \"hardened nozle\" 2", &["no item of the stores", "--new"]);
    shop.told("stores count \"hardened nozzle\" 2 --new");
    shop.refused("stores count \"hardened nozzles 0.4\" 2", &["did you mean hardened nozzle?", "--new"]);
    for move_of in ["receive", "count"] {
        shop.refused(&format!("stores {move_of} \"hardened nozzle\" 2.5"), &["a whole number of pieces"]);
    }
    let none = shop.told("stores count \"hardened nozzle\" -0");
    assert!(none.contains("counted: 0 of") && none.contains("0 in stock") && !none.contains("-0"), "{none}");
    shop.refused(
        "stores discard \"hardened nozzle\" 1 --why worn",
        &["can't be thrown away: 0 is there", "stores count"],
    );
    shop.told("stores count acetone \"0.3 l\" --when \"20 Nov\"");
    shop.refused(
        "stores discard acetone \"301 ml\" --why dirty",
        &["300 ml is there", "stores count \"acetone\" AMOUNT"],
    );
    shop.refused("stores discard acetone \"1 ml\" --why \"dir\nty\"", &["why it was thrown away has a line break"]);
    shop.told("stores discard acetone \"1 l\" --why dirty --when \"19 Nov\"");
    shop.told("stores discard acetone \"300 ml\" --why dirty");
    assert_eq!(item(&shop, "acetone")["stock"], 0.0);
    // Of what was never counted nobody knows how much there is.
    shop.told("stores terms \"lint-free wipe\" --lead \"1 week\" --pack 10");
    shop.told("stores discard \"lint-free wipe\" 3 --why dirty");
    let future = shop.ask("stores receive acetone \"5 ml\" --when tomorrow");
    assert!(future.err.contains("future") && !future.err.contains("queue"), "{}", future.err);
}

#[test]
fn terms_keep_what_a_later_word_leaves_out() {
    let shop = Shop::new();
    shop.told("stores terms acetone --lead \"2 weeks\" --pack \"1 l\" --supplier chandler --service \"99 %\"");
    shop.told("stores terms acetone --price 7.25");
    let acetone = item(&shop, "acetone");
    let terms = json!({ "item": "acetone", "supplier": "chandler", "lead_days": 14, "pack": "1 l", "price": 7.25,
                        "service": 0.99 });
    assert_eq!((&acetone["terms"], &acetone["stock"]), (&terms, &Value::Null));
    assert!(shop.told("stores").contains("not known"));
}

#[test]
fn what_was_moved_in_the_stores_can_be_corrected() {
    let shop = Shop::new();
    let came = shop.json("stores receive acetone \"100 ml\" --when \"2 Nov\"");
    let id = number(&came);
    shop.refused(&format!("correct {id} --value 3"), &["is counted in ml"]);
    shop.refused(&format!("correct {id} --value \"0 ml\""), &["makes no sense"]);
    shop.json(&format!("correct {id} --value \"1 l\" --when \"3 Nov\""));
    let acetone = item(&shop, "acetone");
    near(&acetone["stock"], 1000.0, 1e-9);
    assert_eq!(acetone["batches"][0]["at"], "2026-11-03T11:00:00Z");
    shop.refused(&format!("correct {id} --because worn"), &["--because is for a part replaced"]);
    let terms = shop.json("stores terms acetone --lead \"2 weeks\" --pack \"1 l\"");
    shop.refused(&format!("correct {} --when yesterday", number(&terms)), &["set anew", "tallow stores terms"]);
    shop.json(&format!("correct {id} --withdraw"));
    assert_eq!(item(&shop, "acetone")["stock"], Value::Null);
    shop.json("shop verify");
}

#[test]
fn a_thrown_away_amount_is_corrected_to_what_can_be() {
    let shop = Shop::new();
    shop.told("stores count acetone \"100 ml\" --when \"2 Nov\"");
    let id = number(&shop.json("stores discard acetone \"20 ml\" --why dirty --when \"3 Nov\""));
    shop.told("stores receive acetone \"1 l\" --when \"4 Nov\"");
    let correct = |value: &str| format!("correct {id} --value \"{value}\"");
    shop.refused(&correct("-5 ml"), &["thrown away of \"-5 ml\" makes no sense", "more than 0"]);
    shop.refused(&correct("0 ml"), &["makes no sense"]);
    shop.refused(&correct("3"), &["acetone is counted in ml, not in pieces"]);
    // A hundred were there on the third; what came later was not.
    shop.refused(&correct("101 ml"), &["101 ml of acetone can't be thrown away: 100 ml was there then", "count first"]);
    shop.refused(&correct("2 l"), &["1100 ml is there"]);
    assert_eq!(item(&shop, "acetone")["stock"], 1080.0);
    shop.json(&correct("100 ml"));
    assert_eq!(item(&shop, "acetone")["stock"], 1000.0);
    shop.refused("stores discard acetone \"1 ml\" --why dirty --when \"3 Nov\"", &["0 ml was there then"]);
}

#[test]
fn what_was_ordered_is_on_its_way_until_it_comes() {
    let shop = Shop::new();
    let told = shop.told("stores order acetone \"0.5 l\" --by \"4 Dec\" --supplier chandler --when \"20 Nov\"");
    assert!(told.contains("ordered: 0.5 l of acetone from chandler, to come by 4 Dec"), "{told}");
    assert!(told.contains("; 500 ml on its way"), "{told}");
    shop.told("stores terms acetone --lead \"10 days\" --pack \"1 l\" --supplier \"the grocer\"");
    let second = number(&shop.json("stores order acetone \"1 l\""));
    let acetone = item(&shop, "acetone");
    let first = json!({ "entry": 1, "amount": 500.0, "by": "2026-12-04", "supplier": "chandler", "late": false });
    let by_terms =
        json!({ "entry": second, "amount": 1000.0, "by": "2026-12-05", "supplier": "the grocer", "late": false });
    assert_eq!((&acetone["coming"], &acetone["stock"]), (&json!([first, by_terms]), &Value::Null));
    let table = shop.told("stores");
    assert!(table.contains("on its way") && table.contains("500 ml by 4 Dec; 1000 ml by 5 Dec"), "{table}");
    let came = shop.json("stores receive acetone \"600 ml\"");
    let left = || item(&shop, "acetone")["coming"].clone();
    assert_eq!((left().as_array().unwrap().len(), &left()[0]["amount"]), (1, &json!(900.0)));
    shop.json(&format!("correct {} --withdraw", number(&came)));
    assert_eq!(left().as_array().unwrap().len(), 2, "what did not come is on its way again");
    shop.json(&format!("correct {second} --value \"2 l\""));
    assert_eq!(left()[1]["amount"], 2000.0);
    shop.json(&format!("correct {second} --withdraw"));
    assert_eq!(left().as_array().unwrap().len(), 1, "the order was taken back");
    let event = json!({ "item": "acetone", "amount": "0.5 l", "by": "2026-12-04", "supplier": "chandler" });
    let history = shop.json("history");
    assert!(history.as_array().unwrap().iter().any(|entry| entry["kind"] == "ordered" && entry["event"] == event));
    shop.json("shop verify");
}

#[test]
fn an_order_that_is_late_is_told_so() {
    let shop = Shop::new();
    shop.told("stores order \"brass nozzle 0.4\" 5 --by \"20 Nov 2026\" --when \"10 Nov\"");
    let nozzle = item(&shop, "brass nozzle 0.4");
    assert_eq!((&nozzle["coming"][0]["late"], &nozzle["stock"]), (&true.into(), &Value::Null));
    let table = shop.told("stores");
    assert!(table.contains("What is there cost 0."), "{table}");
    assert!(table.contains("5 late since 20 Nov (entry 1)") && !table.contains("on its way"), "{table}");
}

#[test]
fn orders_that_can_not_be_are_refused() {
    let shop = Shop::new();
    shop.refused(
        "stores order acetone \"1 l\"",
        &["not said when acetone will come", "--by DAY", "stores terms \"acetone\""],
    );
    shop.refused("stores order acetone \"1 l\" --by yesterday", &["2026-11-24 is past"]);
    shop.refused("stores order acetone \"1 l\" --by soon", &["\"soon\" is not a date"]);
    shop.refused("stores order acetone \"1 l\" --by 2036-12-04", &["more than 2 years after", "check the year"]);
    shop.refused("stores order acetone 5 --by friday", &["acetone is counted in ml, not in pieces"]);
    shop.refused("stores order acetone \"0 l\" --by friday", &["an order of \"0 l\" makes no sense"]);
    shop.refused("stores order acetnoe \"1 l\" --by friday", &["did you mean acetone?", "--new"]);
    shop.refused("stores order acetone \"1 l\" --by friday --when tomorrow", &["future"]);
    assert_eq!(shop.json("stores"), json!([]));
}

#[test]
fn a_skipped_task_stands_in_history_and_stays_as_due_as_it_was() {
    let shop = Shop::with_bowline();
    let before = shop.due("wipe the x rods");
    let told = shop.told("skip bowline \"wipe the x rods\" --why \"no wipes left\"");
    assert!(told.contains("skipped, because no wipes left"), "{told}");
    assert_eq!(shop.due("wipe the x rods"), before);
    let event = shop.entries().pop().unwrap()["event"].clone();
    assert_eq!(event, json!({ "task": "wipe the x rods", "reason": "no wipes left" }));
    assert!(shop.told("history bowline").contains("skipped: wipe the x rods, because no wipes left"));
    shop.refused("skip bowline \"wipe the x rod\" --why tired", &["did you mean wipe the x rods?"]);
    shop.refused("skip bowline \"wipe the x rods\" --why \" \"", &["why it was skipped is not said"]);
    shop.refused("skip bowline \"wipe the x rods\" --why \"no\nwipes\"", &["why it was skipped has a line break"]);
    let future = shop.ask("skip bowline \"wipe the x rods\" --why tired --when tomorrow");
    assert!(future.err.contains("future") && !future.err.contains("queue"), "{}", future.err);
}

#[test]
fn a_visit_stands_in_history_and_is_called_off_by_withdrawing_it() {
    let shop = Shop::with_bowline();
    shop.told("keeper set mate --minutes \"daily 60\"");
    let id = tell(&shop, wiping("mate", jiff::civil::date(2026, 11, 27), true));
    let event = shop.entries().pop().unwrap()["event"].clone();
    assert_eq!(
        (&event["day"], &event["keeper"], &event["locked"]),
        (&"2026-11-27".into(), &"mate".into(), &true.into())
    );
    assert_eq!((&event["tasks"], &event["minutes"]), (&json!(["wipe the x rods"]), &json!(24.5)));
    let text = shop.told("history bowline");
    assert!(text.contains("visit on 27 Nov by mate, 25 min, not to be moved: wipe the x rods"), "{text}");
    shop.refused(&format!("correct {id} --when yesterday"), &["can't be changed", "planning"]);
    assert!(shop.told("keeper remove mate").contains("1 visit told to them, still to come"));
    shop.json(&format!("correct {id} --withdraw"));
    shop.json("shop verify");
}
