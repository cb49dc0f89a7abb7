//! Visits in people's hands: moved, locked, booked, and handed on when a keeper goes.

use jiff::civil::{Date, date};
use ledger::{Ledger, NewEntry};
use serde_json::json;
use upkeep::Event;
use upkeep::shop::Visit;

use crate::shop::{Shop, testdata};

/// A visit to `bowline` that wipes its rods in 25 minutes.
pub(crate) fn wiping(keeper: &str, day: Date, is_locked: bool) -> Visit {
    let tasks = vec!["wipe the x rods".to_owned()];
    Visit { day, keeper: keeper.to_owned(), tasks, minutes: 24.5, is_locked, took: None }
}

/// Writes a visit down, as planning does.
pub(crate) fn tell(shop: &Shop, visit: Visit) -> i64 {
    let place = shop.place().display().to_string();
    let at = "2026-11-25T08:00:30Z".parse().unwrap();
    let machine = "bowline".to_owned();
    let new = NewEntry { machine, at, recorded: at, note: String::new(), event: Event::Visit(visit) };
    let append = async {
        let ledger = Ledger::open(&place).await.unwrap();
        let id = ledger.append(new).await.unwrap();
        ledger.close().await;
        id.0
    };
    tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap().block_on(append)
}

/// `bowline`, and `mate` with 45 minutes on every day but Sunday.
fn shop() -> Shop {
    let shop = Shop::with_bowline();
    shop.told("keeper set mate --minutes \"mon-sat 45\"");
    shop
}

const FRIDAY: Date = date(2026, 11, 27);

#[test]
fn moving_a_visit_tells_what_speaks_against_the_day_and_moves_it_all_the_same() {
    let shop = shop();
    let id = tell(&shop, wiping("mate", FRIDAY, false));
    tell(&shop, wiping("Mate", date(2026, 12, 1), false));
    shop.told("keeper away mate --from \"30 Nov\"");
    shop.told("keeper set cook --minutes \"mon-sat 10\"");
    for (words, said) in [
        ("--to \"28 Nov\"", None),
        ("--to \"29 Nov\"", Some("mate has no minutes for care on a Sunday")),
        ("--to \"30 Nov\"", Some("mate is away that day")),
        ("--to \"1 Dec\"", Some("it takes 25 min, mate has 45 min that day, and other visits take 25 of them")),
        ("--to \"2 Dec\" --keeper cook", Some("it takes 25 min, cook has 10 min that day")),
    ] {
        let text = shop.told(&format!("visit move {id} {words}"));
        assert!(text.contains("moved to"), "{text}");
        match said {
            Some(said) => assert!(text.contains(&format!("But {said}")), "{words}: {text}"),
            None => assert!(!text.contains("But"), "{words}: {text}"),
        }
    }
    let moved = shop.json("visit");
    let moved = moved.as_array().unwrap().iter().find(|visit| visit["visit"] == id).unwrap();
    assert_eq!((&moved["day"], &moved["keeper"]), (&"2026-12-02".into(), &"cook".into()));
    let past = shop.ask(&format!("visit move {id} --to yesterday"));
    assert_eq!(past.code, Some(1));
    past.mentions(&["2026-11-24 is past", "today or a later day"]);
    assert!(!past.err.contains("machine is free"), "a visit waits in no queue: {}", past.err);
}

#[test]
fn moving_a_visit_far_ahead_names_what_may_harm_until_then_and_nothing_else() {
    let shop = shop();
    let all = shop.json("due bowline --all");
    let named = |neglect: &str| {
        let is_by_calendar = |limit: &serde_json::Value| limit["of"].is_null();
        let mut tasks = all.as_array().unwrap().iter().filter(|row| row["neglect"] == neglect);
        let task = tasks.find(|row| row["limits"].as_array().unwrap().iter().any(is_by_calendar)).unwrap();
        task["task"].as_str().unwrap().to_owned()
    };
    let (harms, annoys) = (named("damage"), named("failed print"));
    let visit = Visit { tasks: vec![annoys.clone(), harms.clone()], ..wiping("mate", FRIDAY, false) };
    let id = tell(&shop, visit);
    // No limit by the calendar is longer than a year.
    let text = shop.told(&format!("visit move {id} --to 2028-01-03"));
    assert!(text.contains(&format!("\"{harms}\" is past its limit from")), "{text}");
    assert!(!text.contains(&annoys), "{text}");
    let text = shop.told(&format!("visit move {id} --to \"27 Nov\""));
    assert!(!text.contains("past its limit"), "nothing is left waiting by an earlier day: {text}");
}

#[test]
fn nobody_is_sent_to_a_task_for_the_qualified_without_being_so() {
    let shop = Shop::new();
    let text = std::fs::read_to_string(testdata("builds/reference.toml")).unwrap();
    let name = "name = \"wipe the x rods\"\n";
    shop.write("careful.toml", text.replace(name, &format!("{name}qualified = true\n")));
    shop.told("machine add bowline --build careful.toml --when \"1 Nov 2026\"");
    shop.told("keeper set mate --minutes \"daily 60\" --skill qualified");
    shop.told("keeper set cook --minutes \"daily 60\"");
    let id = tell(&shop, wiping("mate", FRIDAY, false));
    let to_cook = format!("visit move {id} --to \"30 Nov\" --keeper cook");
    shop.refused(&to_cook, &["\"wipe the x rods\" is for somebody qualified, and cook is not", "who is: mate"]);
    shop.told("keeper set mate --no-skills");
    shop.refused(&format!("visit move {id} --to \"30 Nov\""), &["mate is not", "--skill qualified"]);
    assert_eq!(shop.json("visit")[0]["day"], "2026-11-27");
    shop.told("keeper set cook --skill Qualified");
    shop.told(&to_cook);
}

#[test]
fn locking_what_is_locked_says_so_and_writes_nothing() {
    let shop = shop();
    let id = tell(&shop, wiping("mate", FRIDAY, true));
    let again = shop.json(&format!("visit lock {id}"));
    assert_eq!(again["entry"], json!(null));
    assert!(again["said"].as_str().unwrap().ends_with("it was already"), "{again}");
    assert!(shop.json(&format!("visit free {id}"))["entry"].is_i64());
    assert!(shop.told(&format!("visit free {id}")).contains("it was already"));
}

#[test]
fn a_visit_is_booked_no_earlier_than_it_was_told_of_and_its_day_is_said() {
    // It is told of on 25 Nov 2026 at 8:00 UTC, for 27 Nov; now is later on 25 Nov.
    let mut shop = shop();
    let id = tell(&shop, wiping("mate", FRIDAY, false));
    let before = shop.entries();
    // A day to come without its year is read as that of last year.
    for when in ["27 Nov", "3 days ago", "2026-11-25 0:30"] {
        let parts = [format!("visit {id} was told of on Wed 25 Nov 2026"), "can't have been walked on".to_owned()];
        let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
        shop.refused(&format!("visit walked {id} --when \"{when}\""), &parts);
    }
    shop.refused(&format!("visit walked {id} --when \"27 Nov\""), &["Thu 27 Nov 2025", "with its year"]);
    assert_eq!(shop.entries(), before, "nothing is booked");
    "2026-11-26T10:00[Europe/Oslo]".clone_into(&mut shop.now);
    let said = shop.told(&format!("visit walked {id} --when yesterday"));
    assert!(said.contains("walked on Wed 25 Nov 2026 in"), "a day before today's is said: {said}");
}

#[test]
fn a_visit_may_be_walked_in_the_minute_in_which_it_was_told_of() {
    // Told of at half past a minute, which times of day don't tell.
    let shop = shop();
    let id = tell(&shop, wiping("mate", FRIDAY, false));
    shop.refused(&format!("visit walked {id} --when \"2026-11-25 8:59\""), &["can't have been walked on"]);
    shop.told(&format!("visit walked {id} --when \"2026-11-25 9:00\""));
}

#[test]
fn near_names_of_supplies_and_readings_are_refused_unless_they_are_said_to_be_new() {
    let shop = shop();
    let id = tell(&shop, wiping("mate", FRIDAY, false));
    let used = "--used \"wipe the x rods: isopropyl\"";
    let full = "isopropyl alcohol, 90 % or more";
    shop.refused(&format!("visit walked {id} {used}"), &["near to the supply", full, "--new"]);
    shop.refused("done \"wipe the x rods\" --on bowline --used isopropyl=3", &["near to the supply", full, "--new"]);
    // The build names the play of the x rods; nobody has measured yet.
    shop.refused("reading \"x rods\" pla \"0.1 mm\" --on bowline", &["near to the reading \"play\"", "--new"]);
    shop.told("reading nozzle \"bore at the tip\" \"0.4 mm\" --on bowline");
    let walked = format!("visit walked {id} --reading \"nozzle: bore = 0.4 mm\"");
    shop.refused(&walked, &["\"bore\" is near to the reading \"bore at the tip\"", "nothing was recorded"]);
    shop.told("reading nozzle bore \"0.4 mm\" --on bowline --new");
    shop.told("reading nozzle length \"4 mm\" --on bowline");
    // What has been said to be new is known from then on.
    shop.told(&walked);
    shop.refused("reading nozle bore \"0.4 mm\" --on Bowline", &["tallow machine show \"bowline\""]);
}

#[test]
fn a_visit_is_booked_with_each_task_once() {
    let shop = shop();
    let id = tell(&shop, wiping("mate", FRIDAY, false));
    let before = shop.entries();
    let refused = |words: &str, parts: &[&str]| shop.refused(&format!("visit walked {id} {words}"), parts);
    refused("--also \"wipe the x rods\"", &["is a task of visit", "already", "--also"]);
    let other = "--also \"grease the z screws\"";
    refused(&format!("{other} {other}"), &["\"grease the z screws\" is named twice"]);
    let skip = "--skip \"wipe the x rods: no wipes left\"";
    refused(&format!("{skip} {skip}"), &["\"wipe the x rods\" is skipped twice"]);
    let used = "--used \"wipe the x rods: lint-free wipe=2\"";
    refused(&format!("{skip} {used}"), &["was skipped, so nothing was used for it"]);
    refused("--skip \"wipe the x rods: no\nwipes\"", &["why it was skipped has a line break"]);
    shop.refused(&format!("visit off {id} --why \"a\tb\""), &["why it is called off has a line break"]);
    assert_eq!(shop.entries(), before);
    let future = shop.ask(&format!("visit walked {id} --when tomorrow"));
    future.mentions(&["future", "up to now"]);
    assert!(!future.err.contains("queue"), "{}", future.err);
    shop.told(&format!("visit walked {id} {used} {other}"));
}

#[test]
fn whoever_goes_is_told_what_was_theirs_and_the_next_plan_hands_it_on() {
    let shop = shop();
    shop.told("keeper set cook --minutes \"daily 60\"");
    let free = tell(&shop, wiping("mate", FRIDAY, false));
    let locked = tell(&shop, wiping("mate", date(2026, 11, 28), true));
    let walked = tell(&shop, wiping("mate", date(2026, 11, 26), false));
    tell(&shop, wiping("cook", date(2026, 12, 4), false));
    shop.told(&format!("visit walked {walked}"));
    let said = shop.told("keeper remove MATE");
    assert!(said.contains("2 visits told to them, still to come"), "what was walked is not: {said}");
    assert!(said.contains("tallow plan --keep") && said.contains(&format!("tallow visit move {locked}")), "{said}");
    shop.refused(&format!("visit move {free} --to \"30 Nov\""), &["no keeper is called \"mate\"", "--keeper NAME"]);
    let plan = shop.json("plan --keep");
    let undecided = json!([{ "visit": locked, "machine": "bowline", "day": "2026-11-28", "keeper": "mate" }]);
    assert_eq!(plan["told"]["undecided"], undecided);
    let left = shop.json("visit");
    let theirs = left.as_array().unwrap().iter().filter(|visit| visit["keeper"] == "mate" && visit["took"].is_null());
    assert_eq!(theirs.map(|visit| &visit["visit"]).collect::<Vec<_>>(), [&json!(locked)], "{left:#}");
    let text = shop.told("plan --keep");
    assert!(text.contains(&format!("Visit {locked} to bowline on 2026-11-28 is locked, but mate")), "{text}");
    shop.told(&format!("visit move {locked} --to \"28 Nov\" --keeper cook"));
    assert_eq!(shop.json("plan --keep")["told"]["undecided"], json!([]));
    // Where nobody is left, what can be called off is.
    let shop = Shop::with_bowline();
    shop.told("keeper set mate --minutes \"daily 60\"");
    tell(&shop, wiping("mate", FRIDAY, false));
    shop.told("keeper remove mate");
    assert_eq!(shop.json("plan --keep")["told"]["called_off"], 1);
    assert_eq!(shop.json("visit"), json!([]));
}
