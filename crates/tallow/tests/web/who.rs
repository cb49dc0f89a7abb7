//! Who may: signing in, being refused by role, sessions that end, machines that book by themselves.

use std::io::Write;
use std::process::Stdio;

use crate::harness::{Browser, PHONE, Server, Shop, tallow};
use crate::plain::{Heard, get, post};

/// The password of everybody here.
pub(crate) const PASSWORD: &str = "nine knots of wind";

/// Sets somebody up.
pub(crate) fn set(shop: &Shop, name: &str, role: &str) {
    let mut child = tallow(&shop.place())
        .args(["person", "set", name, "--role", role, "--password-stdin"])
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .expect("tallow starts");
    child.stdin.take().expect("a pipe").write_all(PASSWORD.as_bytes()).expect("the password is taken");
    assert!(child.wait().expect("it ends").success(), "{name} is set up");
}

/// A shop with somebody of each role, called as the role.
pub(crate) fn peopled() -> Shop {
    let shop = Shop::demo();
    for role in ["own", "plan", "record", "look"] {
        set(&shop, role, role);
    }
    shop
}

/// Tries to sign in.
pub(crate) fn try_in(server: &Server, name: &str, password: &str) -> Heard {
    post("/sign-in", &[("name", name), ("password", password), ("to", "/")]).to(server)
}

/// The cookie of somebody who has signed in.
#[track_caller]
pub(crate) fn signed_in(server: &Server, name: &str) -> String {
    let heard = try_in(server, name, PASSWORD);
    assert_eq!(heard.status, 303, "{}", heard.body);
    heard.cookie().expect("a session")
}

#[tokio::test]
async fn a_keeper_signs_in_on_a_phone_comes_to_where_they_wanted_and_is_refused_what_needs_more() {
    let shop = peopled();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/machines")).await;
    browser.shows("Sign in to Pattern loft").await;
    browser.photograph("sign-in").await;
    browser.fill("Name", "look").await;
    browser.fill("Password", "not the password").await;
    browser.press("Sign in").await;
    browser.shows("The name or the password is not right.").await;
    browser.fill("Password", PASSWORD).await;
    browser.press("Sign in").await;
    browser.shows("bowline").await;
    browser.go(&server.page("/shop/people")).await;
    browser.shows("Your password").await;
    browser.hides("Set somebody up").await;
    browser.photograph("people-look").await;
    browser.press("Sign out").await;
    browser.shows("Sign in to").await;
    browser.fill("Name", "own").await;
    browser.fill("Password", PASSWORD).await;
    browser.press("Sign in").await;
    browser.shows("own").await;
    browser.shows("Sign out").await;
    browser.go(&server.page("/shop/people")).await;
    browser.shows("Machines that book by themselves").await;
    browser.photograph("people-own").await;
    browser.close().await;
}

#[tokio::test]
async fn the_first_person_is_set_up_in_a_browser_at_home_and_is_signed_in_by_it() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/shop/people")).await;
    browser.photograph("people-first").await;
    browser.fill("Name", "bosun").await;
    browser.fill("Password", PASSWORD).await;
    browser.press("Set up").await;
    browser.shows("bosun can sign in").await;
    browser.shows("Signed in").await;
    assert_eq!(get("/").to(&server).status, 303, "from now on everybody signs in");
    browser.close().await;
}

#[test]
fn each_route_is_refused_to_roles_below_its_own_with_the_role_it_needs() {
    let shop = peopled();
    let server = shop.serve();
    // A page or form of each group. What is sent is nonsense: who may is asked first.
    let needs = [
        ("look", get("/machines")),
        ("record", post("/records/999999/correct", &[])),
        ("own", post("/shop/people/set", &[])),
    ];
    let roles = ["look", "record", "plan", "own"];
    for (has, role) in roles.iter().enumerate() {
        let cookie = signed_in(&server, role);
        for (needed, ask) in &needs {
            let heard = ask.clone().with("cookie", &cookie).to(&server);
            let may = roles.iter().position(|role| role == needed).expect("a role") <= has;
            assert_eq!(heard.status != 403, may, "{role} at what needs {needed}: {}", heard.status);
            assert!(may || heard.body.contains(&format!("needs the role &quot;{needed}&quot;")), "{}", heard.body);
        }
    }
}

#[test]
fn without_a_session_nothing_is_told_and_every_page_leads_to_signing_in() {
    let shop = peopled();
    let server = shop.serve();
    for path in ["/", "/machines", "/machines/bowline", "/nowhere", "/shop/people"] {
        let heard = get(path).to(&server);
        assert_eq!((heard.status, heard.body.as_str()), (303, ""), "{path}");
        assert!(heard.header("location").expect("a place").starts_with("/sign-in?to="), "{path}");
    }
    let heard = post("/shop/people/set", &[("name", "x"), ("role", "own"), ("password", PASSWORD)]).to(&server);
    assert_eq!((heard.status, heard.header("location")), (303, Some("/sign-in?to=%2F")));
    assert_eq!(get("/sign-in").to(&server).status, 200);
}

#[test]
fn a_session_ends_by_signing_out_by_a_new_role_and_by_its_end_elsewhere() {
    let shop = peopled();
    let server = shop.serve();
    let is_in = |cookie: &str| get("/machines").with("cookie", cookie).to(&server).status == 200;
    let cookie = signed_in(&server, "look");
    assert!(is_in(&cookie));
    assert_eq!(get("/sign-out").with("cookie", &cookie).to(&server).status, 405, "a link signs nobody out");
    post("/sign-out", &[]).with("cookie", &cookie).to(&server);
    assert!(!is_in(&cookie));
    let cookie = signed_in(&server, "look");
    shop.run(&["person", "set", "look", "--role", "record"]);
    assert!(!is_in(&cookie));
    let (mine, owners) = (signed_in(&server, "look"), signed_in(&server, "own"));
    let page = get("/shop/people").with("cookie", &owners).to(&server).body;
    assert!(page.matches("/end\"").count() >= 2, "an owner sees everybody's sessions");
    let theirs = get("/shop/people").with("cookie", &mine).to(&server).body;
    assert_eq!(theirs.matches("/end\"").count(), 1, "others see their own alone");
    let numbers = |page: &str| -> Vec<String> {
        page.split("/session/").skip(1).filter_map(|rest| Some(rest.split_once("/end")?.0.to_owned())).collect()
    };
    let own = numbers(&theirs)[0].clone();
    let another = numbers(&page).into_iter().find(|number| *number != own).expect("the owner's");
    let end = |number: &str, cookie: &str| {
        post(&format!("/shop/people/session/{number}/end"), &[]).with("cookie", cookie).to(&server).status
    };
    assert_eq!(end(&another, &mine), 403, "nobody ends another's session");
    assert!(is_in(&owners));
    assert_eq!(end(&own, &owners), 303);
    assert!(!is_in(&mine) && is_in(&owners));
}

#[test]
fn a_sessions_token_is_replaced_daily_and_ends_after_a_fortnight_without_use() {
    let shop = peopled();
    let cookie = signed_in(&shop.serve(), "look");
    let asked = |now: &str, cookie: &str| {
        let server = shop.serve_with(&["--now", &format!("{now}[Europe/Lisbon]")]);
        get("/machines").with("cookie", cookie).to(&server)
    };
    let same_day = asked("2026-11-25T20:00", &cookie);
    assert_eq!((same_day.status, same_day.cookie()), (200, None));
    let next_day = asked("2026-11-26T09:00", &cookie);
    let renewed = next_day.cookie().expect("a new token");
    assert_ne!(renewed, cookie);
    assert_eq!(asked("2026-11-26T09:05", &cookie).status, 303, "the old token is of no use any more");
    assert_eq!(asked("2026-11-26T09:05", &renewed).status, 200);
    assert_eq!(asked("2026-12-10T09:10", &renewed).status, 303, "14 days and 5 minutes after it was last seen");
}

#[test]
fn what_somebody_records_bears_their_name() {
    let shop = peopled();
    let server = shop.serve();
    let cookie = signed_in(&server, "record");
    let history = shop.run(&["history", "bowline", "--most", "1", "--json"]);
    let entry = serde_json::from_str::<serde_json::Value>(&history).expect("JSON")[0]["entry"].clone();
    let heard = post(&format!("/records/{entry}/withdraw"), &[("note", "twice")]).with("cookie", &cookie).to(&server);
    assert_eq!(heard.status, 303, "{}", heard.body);
    let all = shop.run(&["history", "bowline", "--most", "1000", "--json"]);
    let all: serde_json::Value = serde_json::from_str(&all).expect("JSON");
    let withdrawal =
        all.as_array().expect("a list").iter().find(|listed| listed["corrects"] == entry).expect("it is there");
    assert_eq!(withdrawal["by"], "record");
}

#[test]
fn an_owner_can_not_leave_the_shop_without_one() {
    let shop = peopled();
    let server = shop.serve();
    let cookie = signed_in(&server, "own");
    let sent = [("form", "person-1"), ("name", "own"), ("role", "look"), ("password", "")];
    let heard = post("/shop/people/set", &sent).with("cookie", &cookie).to(&server);
    assert_eq!(heard.status, 422);
    assert!(heard.body.contains("Somebody must be left whose role is own."), "{}", heard.body);
    assert_eq!(get("/").with("cookie", &cookie).to(&server).status, 200, "the refusal signed nobody out");
}
