//! Several servers of one shop, of which a balancer may pick any: what was begun at one goes on at the other.

use std::time::{Duration, Instant};

use serde_json::Value;

use crate::harness::{Server, Shop};
use crate::plain::{Heard, get, post};
use crate::who::{PASSWORD, set, try_in};

const PATIENCE: Duration = Duration::from_secs(120);

fn ask(server: &Server, seconds: &str) -> Heard {
    post("/rounds/plan", &[("days", "14"), ("seconds", seconds)]).to(server)
}

/// The page on which plans are asked for, once it shows these words.
#[track_caller]
fn until_shown(server: &Server, words: &str) -> String {
    let until = Instant::now() + PATIENCE;
    loop {
        let page = get("/rounds/plan").to(server).body;
        if page.contains(words) {
            return page;
        }
        assert!(Instant::now() < until, "{words}: {page}");
        std::thread::sleep(Duration::from_millis(200));
    }
}

/// The number that a plan is told by.
#[track_caller]
fn number(page: &str) -> &str {
    let rest = page.split_once("name=\"plan\" value=\"").expect("a plan to tell people of").1;
    rest.split_once('"').expect("a value").0
}

#[tokio::test]
async fn a_plan_that_one_server_makes_is_shown_and_told_by_the_other_and_one_that_died_is_asked_for_again() {
    let shop = Shop::demo_on_a_server().await;
    let visits = || -> Value { serde_json::from_str(&shop.run(&["visit", "--json"])).expect("JSON") };
    let off = visits()[0]["visit"].to_string();
    shop.run(&["visit", "off", &off, "--why", "the machine was away"]);
    let (one, other) = (shop.serve(), shop.serve());
    assert_eq!(ask(&one, "3").status, 303);
    assert_eq!(ask(&other, "7").status, 303, "who asks while one is being made waits for that one");
    assert!(get("/rounds/plan/progress").to(&other).body.contains("for about 3 s"));
    let page = until_shown(&other, "Tell people");
    assert!(page.contains("within 3 s"), "{page}");
    assert_eq!(number(&page), number(&get("/rounds/plan").to(&one).body), "one plan, at both");
    // The round is drawn before people are told, and must not be handed out again when they are.
    assert!(get("/rounds").to(&one).body.contains("Last planned"));
    let (before, told) = (visits(), [("plan", number(&page))]);
    assert_eq!(post("/rounds/plan/keep", &told).to(&other).status, 303);
    assert_ne!(visits(), before, "the visit that was called off is told anew");
    let again = post("/rounds/plan/keep", &told).to(&one);
    assert_eq!(again.status, 422);
    assert!(again.body.contains("not there to tell people of any more"), "{}", again.body);

    assert_eq!(ask(&one, "60").status, 303);
    until_shown(&other, "for about 60 s");
    drop(one);
    until_shown(&other, "ended before it was done");
    assert_eq!(ask(&other, "1").status, 303);
    until_shown(&other, "Tell people");
    assert_eq!(post("/rounds/plan/leave", &[]).to(&other).status, 303);
    assert!(!get("/rounds/plan").to(&other).body.contains("Tell people"));
}

#[tokio::test]
async fn wrong_passwords_at_one_server_make_the_other_wait() {
    let shop = Shop::demo_on_a_server().await;
    for name in ["own", "look"] {
        set(&shop, name, "own");
    }
    let (one, other) = (shop.serve(), shop.serve());
    let until = Instant::now() + PATIENCE;
    let waits = |heard: &Heard| heard.header("retry-after").map_or(0, |text| text.parse::<u32>().expect("seconds"));
    // Until the wait is so long that it can't be over by the next request.
    while waits(&try_in(&one, "own", "not the password")) < 3 {
        assert!(Instant::now() < until, "no wait grows");
        std::thread::sleep(Duration::from_millis(100));
    }
    let heard = try_in(&other, "own", PASSWORD);
    assert_eq!(heard.status, 429, "{}", heard.body);
    // Another name, but the same address.
    let mut heard = try_in(&other, "look", PASSWORD);
    while heard.status == 429 {
        assert!(Instant::now() < until, "{}", heard.body);
        std::thread::sleep(Duration::from_millis(200));
        heard = try_in(&other, "look", PASSWORD);
    }
    assert_eq!(heard.status, 303, "the wait is over");
}
