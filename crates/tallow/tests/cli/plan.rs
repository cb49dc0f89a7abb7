//! A round, from the plan over the visits that people are told of to what was done, and the plan after that.

use std::collections::BTreeSet;
use std::fs;

use serde_json::Value;

use crate::shop::{Shop, testdata};

/// Two machines that joined on 1 November, and somebody with three hours on every day of the week but Sunday.
fn shop() -> Shop {
    let shop = Shop::with_machine("moving-bed");
    shop.told("machine add \"reef knot\" --build delta --when \"10 Nov 2026\"");
    shop.told("keeper set mate --minutes \"mon-sat 180\" --skill qualified");
    shop
}

/// Machine, day and tasks of each visit of a plan.
fn visits(plan: &Value) -> Vec<(String, String, Vec<String>)> {
    let tasks = |visit: &Value| {
        let jobs = visit["jobs"].as_array().unwrap().iter();
        let tasks = jobs.flat_map(|job| job["tasks"].as_array().unwrap());
        tasks.map(|task| task["task"].as_str().unwrap().to_owned()).collect()
    };
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let all = plan["visits"].as_array().unwrap().iter();
    all.map(|visit| (text(&visit["machine"]), text(&visit["day"]), tasks(visit))).collect()
}

#[test]
fn a_plan_keeps_to_peoples_minutes_costs_no_less_than_its_bound_and_beats_two_simple_rules() {
    let shop = shop();
    let plan = shop.json("plan");
    assert!(!visits(&plan).is_empty() && plan["unplaced"] == serde_json::json!([]), "{plan:#}");
    for visit in plan["visits"].as_array().unwrap() {
        assert!(visit["minutes"].as_f64().unwrap() <= 180.0, "{visit:#}");
        assert_ne!(visit["day"], "2026-11-29", "nobody works on Sunday");
    }
    let (bound, cost) = (plan["bound"].as_f64().unwrap(), plan["plan"]["cost"].as_f64().unwrap());
    assert!(bound <= cost + 1e-9 && plan["plan"]["days_late"] == 0, "{plan:#}");
    for rule in ["on_due_days", "at_once"] {
        assert!(cost <= plan[rule]["cost"].as_f64().unwrap() + 1e-9, "{rule}: {plan:#}");
    }
    assert_eq!(shop.json("plan"), plan, "the same shop has the same plan");
    let once: Vec<(String, String)> = visits(&plan)
        .into_iter()
        .flat_map(|(machine, _, tasks)| tasks.into_iter().map(move |task| (machine.clone(), task)))
        .collect();
    assert_eq!(once.iter().collect::<BTreeSet<_>>().len(), once.len(), "no task is planned twice");
    let text = shop.told("plan --why");
    for part in ["mate: bowline", "used by then", "a week later", "No plan can cost less than", "tallow plan --keep"] {
        assert!(text.contains(part), "{part} is missing:\n{text}");
    }
}

#[test]
fn visits_are_told_kept_moved_and_walked_and_the_next_plan_goes_on_from_there() {
    let mut shop = shop();
    let plan = shop.json("plan --keep");
    let told = shop.json("visit");
    assert_eq!(plan["told"]["new"].as_u64().unwrap() as usize, told.as_array().unwrap().len());
    let again = shop.json("plan --keep");
    assert_eq!((&again["told"]["same"], &again["told"]["new"]), (&plan["told"]["new"], &0.into()), "nothing changed");
    // Moving one by hand holds when planning anew.
    let last = told.as_array().unwrap().last().unwrap().clone();
    let number = last["visit"].as_i64().unwrap();
    shop.json(&format!("visit move {number} --to \"9 Dec\""));
    shop.told("plan --keep");
    let moved = shop.json("visit");
    let moved = moved.as_array().unwrap().iter().find(|visit| visit["visit"] == number).unwrap().clone();
    assert_eq!((&moved["day"], &moved["locked"]), (&"2026-12-09".into(), &true.into()));
    // The first is walked: one task skipped, a supply named, a reading taken.
    let first = shop.json("visit")[0].clone();
    let number = first["visit"].as_i64().unwrap();
    let machine = first["machine"].as_str().unwrap();
    let tasks: Vec<&str> = first["tasks"].as_array().unwrap().iter().map(|task| task.as_str().unwrap()).collect();
    shop.now = format!("{}T16:00[Europe/Oslo]", first["day"].as_str().unwrap().max("2026-11-26"));
    let position = shop.json(&format!("machine show \"{machine}\""))["parts"][0]["position"].clone();
    let position = position.as_str().unwrap();
    let said = shop.told(&format!(
        "visit walked {number} --skip \"{}: no time left\" --reading \"{position}: play = 0.1 mm\" --took 41",
        tasks[0]
    ));
    assert!(
        said.contains("walked in 41 min") && said.contains("1 skipped") && said.contains("1 reading taken"),
        "{said}"
    );
    let history = shop.told(&format!("history \"{machine}\""));
    assert!(history.contains("no time left") && history.contains("play"), "{history}");
    for task in &tasks[1..] {
        let due = shop.json(&format!("due \"{machine}\" --all"));
        let row = due.as_array().unwrap().iter().find(|row| row["task"] == **task).unwrap();
        assert_eq!(row["since"]["what"], "done", "{task}");
    }
    let next = shop.json("plan");
    let planned: BTreeSet<String> =
        visits(&next).into_iter().filter(|(other, ..)| other == machine).flat_map(|(.., tasks)| tasks).collect();
    for task in &tasks[1..] {
        let soon = shop.json(&format!("due \"{machine}\" --all"));
        let row = soon.as_array().unwrap().iter().find(|row| row["task"] == **task).unwrap();
        assert!(row["used"].as_f64().unwrap() < 0.1 || planned.contains(*task), "{task}");
    }
    shop.refused(&format!("visit walked {number}"), &["walked already", "tallow visit"]);
    shop.refused(&format!("visit move {number} --to friday"), &["walked already"]);
}

#[test]
fn visits_are_called_off_with_a_reason_and_locked_and_freed() {
    let shop = shop();
    shop.told("plan --keep");
    let number = shop.json("visit")[0]["visit"].as_i64().unwrap();
    shop.json(&format!("visit lock {number}"));
    assert_eq!(shop.json("visit")[0]["locked"], true);
    shop.json(&format!("visit free {number}"));
    assert_eq!(shop.json("visit")[0]["locked"], false);
    shop.refused(&format!("visit off {number} --why \" \""), &["why it is called off"]);
    shop.json(&format!("visit off {number} --why \"the machine is away\""));
    assert!(shop.json("visit").as_array().unwrap().iter().all(|visit| visit["visit"] != number));
    shop.refused(&format!("visit off {number} --why x"), &["was called off"]);
    let said = shop.told("plan --keep").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("was called off before, and is told anew"), "{said}");
}

#[test]
fn days_off_name_the_visits_that_fall_in_them_and_a_keeper_is_not_set_to_nothing() {
    let shop = shop();
    shop.told("plan --keep");
    let day = shop.json("visit")[0]["day"].as_str().unwrap().to_owned();
    let n_told = shop.json("visit").as_array().unwrap().iter().filter(|visit| visit["day"] == day.as_str()).count();
    let said = shop.told(&format!("keeper away mate --from {day}"));
    assert!(said.contains(&format!("{n_told} visit")) && said.contains("told to them"), "{said}");
    shop.refused("keeper set mate", &["nothing is said of mate", "--minutes"]);
}

#[test]
fn what_a_visit_moved_far_off_by_hand_leaves_past_its_limit_is_named_and_costs_no_less() {
    // Of ten days five are used on 6 November.
    let mut shop = shop_with_one_task("10 days", "injury");
    shop.now = "2026-11-06T00:00[Europe/Oslo]".to_owned();
    shop.told("plan --keep");
    let before = shop.json("plan");
    let number = shop.json("visit")[0]["visit"].as_i64().unwrap();
    shop.told(&format!("visit move {number} --to \"20 Dec 2026\""));
    let after = shop.json("plan");
    assert_eq!(after["unplaced"][0]["task"], "wipe the x rods", "{after:#}");
    // Past its limit from 11 November to 20 December.
    assert_eq!((&before["plan"]["days_late"], &after["plan"]["days_late"]), (&0.into(), &40.into()));
    let text = shop.told("plan").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        text.contains("Left past its limit") && text.contains("wipe the x rods, past its limit from Wed 11 Nov on"),
        "{text}"
    );
}

#[test]
fn what_a_visit_can_not_be_told_is_refused_and_nothing_of_it_is_booked() {
    let shop = shop();
    shop.told("plan --keep");
    let visit = shop.json("visit")[0].clone();
    let number = visit["visit"].as_i64().unwrap();
    let before = shop.json("history --most 500");
    let task = visit["tasks"][0].as_str().unwrap();
    let refused = |words: &str, parts: &[&str]| shop.refused(&format!("visit walked {number} {words}"), parts);
    refused("--skip \"no such task: why\"", &["no such task"]);
    refused(&format!("--skip \"{task}\""), &["does not say why", "no oil left"]);
    refused("--reading \"belts 104 Hz\"", &["is not a reading", "belt frequency = 104 Hz"]);
    refused("--used \"acetone=2 ml\"", &["for which task"]);
    refused("--took -5", &["-5 minutes"]);
    refused("--when tomorrow", &["lies in the future"]);
    shop.refused("visit walked 99999", &["there is no visit 99999"]);
    shop.refused("visit move 99999 --to friday", &["there is no visit 99999"]);
    shop.refused(&format!("visit move {number} --to friday --keeper nobody"), &["nobody", "mate"]);
    assert_eq!(shop.json("history --most 500"), before);
}

#[test]
fn without_keepers_or_skills_the_plan_says_so_and_covers_the_rest() {
    let shop = Shop::with_machine("moving-bed");
    let text = shop.told("plan");
    assert!(text.contains("the shop has no keeper") && text.contains("tallow keeper set"), "{text}");
    assert_eq!(text.matches("the shop has no keeper").count(), 1, "it is said once:\n{text}");
    shop.told("keeper set mate --minutes \"daily 5\"");
    let text = shop.told("plan").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("no keeper who may do it has more than 5 min"), "{text}");
    shop.told("keeper set mate --minutes \"daily 90\"");
    let plan = shop.json("plan");
    assert!(!visits(&plan).is_empty());
    Shop::new().refused("plan", &["no machine yet"]);
}

#[test]
fn a_machine_past_a_limit_that_may_injure_is_marked_and_comes_first() {
    let mut shop = shop();
    shop.now = "2027-01-20T08:00[Europe/Oslo]".to_owned();
    let plan = shop.json("plan");
    let marked: Vec<&str> =
        plan["not_to_be_run"].as_array().unwrap().iter().map(|one| one["machine"].as_str().unwrap()).collect();
    assert_eq!(marked, ["bowline", "reef knot"]);
    assert!(shop.told("plan").contains("is not to be run until this is done"));
    let urgent = |visit: &Value| visit["jobs"].as_array().unwrap().iter().any(|job| job["urgent"] == true);
    let first = plan["visits"][0].clone();
    assert!(urgent(&first), "{first:#}");
}

/// A shop with labour at 40 an hour and one machine since 1 November, of a build with a single task: an hour by the calendar,
/// without supplies.
fn shop_with_one_task(every: &str, neglect: &str) -> Shop {
    let shop = Shop::new();
    let reference = fs::read_to_string(testdata("builds/reference.toml")).unwrap();
    let (first, _) = reference.split_once("[[task.limit]]").unwrap();
    let build = first
        .replace("minutes = 5", "minutes = 60")
        .replace("neglect = \"failed print\"", &format!("neglect = \"{neglect}\""))
        .replace("uses = { \"isopropyl alcohol, 90 % or more\" = \"5 ml\", \"lint-free wipe\" = \"1\" }\n", "");
    let limit = format!("[[task.limit]]\nevery = \"{every}\"\nsource = \"common practice, no source\"\n");
    shop.write("one.toml", build + &limit);
    shop.told("machine add bowline --build one.toml --when \"1 Nov 2026\"");
    shop.told("rates --currency EUR --labour 40");
    shop.told("keeper set mate --minutes \"daily 180\"");
    shop
}

#[test]
fn the_plan_prints_what_a_task_costs_today_a_day_later_and_a_week_later() {
    // By hand: of 36 days 24 are used on 25 November, so 12/36, 11/36 and 5/36 of an hour at 40 EUR are thrown away.
    let mut shop = shop_with_one_task("36 days", "nuisance");
    shop.now = "2026-11-25T00:00[Europe/Oslo]".to_owned();
    let text = shop.told("plan --why").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("today 13.33 EUR, a day later 12.22 EUR, a week later 5.56 EUR; on this day"), "{text}");
    let plan = shop.json("plan");
    let job = &plan["visits"][0]["jobs"][0];
    for (key, days_left) in [("cost_today", 12.0), ("cost_a_day_later", 11.0), ("cost_a_week_later", 5.0)] {
        let cost = job[key].as_f64().unwrap();
        assert!((cost - 40.0 * days_left / 36.0).abs() < 1e-6, "{key}: {cost}");
    }
}

#[test]
fn a_machine_with_an_overdue_task_that_may_injure_is_not_to_be_run_says_the_plan_and_every_sheet() {
    let shop = shop_with_one_task("10 days", "injury");
    let text = shop.told("plan --why").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("bowline is not to be run until this is done: wipe the x rods."), "{text}");
    // An injury has no price; each day of waiting is told as danger instead.
    let waits = "today 0 EUR, a day later 0 EUR and danger, a week later 0 EUR and danger; on this day 0 EUR";
    assert!(text.contains(&format!("before all else, for neglect of it may injure or damage; {waits}")), "{text}");
    shop.told("plan --keep");
    let number = shop.json("visit")[0]["visit"].as_i64().unwrap();
    let why = "past its limit: wipe the x rods";
    assert_eq!(shop.json(&format!("sheet {number}"))[0]["not_to_be_run"], why);
    assert!(shop.told(&format!("sheet {number}")).contains(&format!("DO NOT RUN THIS MACHINE: {why}")));
    assert!(shop.told("sheet --round").contains(&format!("DO NOT RUN: {why}")));
    shop.told("sheet --round --html round.html");
    for (file, words) in [("round.html", "DO NOT RUN THIS MACHINE"), ("round-days.html", "DO NOT RUN: ")] {
        let page = fs::read_to_string(shop.path(file)).unwrap();
        assert!(page.contains(words) && page.contains(why), "{file}");
    }
    shop.told(&format!("visit walked {number}"));
    assert!(!shop.told("plan").contains("not to be run"), "it is done");
}
