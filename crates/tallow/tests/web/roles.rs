//! What each role is shown: nobody a form that they would be refused, and the owner all of them.

use std::collections::BTreeSet;
use std::time::{Duration, Instant};

use serde_json::Value;

use crate::harness::{Server, Shop};
use crate::pages::{PAGES, faults_of};
use crate::plain::{get, send};
use crate::who::{peopled, signed_in};

/// What everybody who is signed in sends: about themselves, or to be told something.
const OF_ALL: [&str; 5] = ["/before", "/shop/people/password", "/shop/people/session/N/end", "/sign-in", "/sign-out"];

/// What whoever may record sends besides.
const OF_RECORDING: [&str; 22] = [
    "/faults/N/back",
    "/faults/N/end",
    "/faults/N/say",
    "/faults/new",
    "/machines/bowline",
    "/measure/backlash",
    "/measure/belt",
    "/measure/feed",
    "/measure/heat",
    "/measure/marks",
    "/measure/pair",
    "/measure/shake",
    "/measure/square",
    "/records/N/correct",
    "/records/N/withdraw",
    "/runs/bowline",
    "/stores/item/carbon%20filter/count",
    "/stores/item/carbon%20filter/discard",
    "/stores/item/carbon%20filter/receive",
    "/stores/new",
    "/visits/N/finish",
    "/visits/N/marks",
];

/// What whoever may plan sends besides.
const OF_PLANNING: [&str; 16] = [
    "/faults/grades",
    "/limits/bowline",
    "/rounds/keepers/away",
    "/rounds/keepers/calendar",
    "/rounds/keepers/remove",
    "/rounds/keepers/set",
    "/rounds/plan",
    "/rounds/visits/N/lock",
    "/rounds/visits/N/move",
    "/rounds/visits/N/off",
    "/shop/age",
    "/shop/builds/save",
    "/shop/hours",
    "/shop/limits",
    "/shop/new-machine/add",
    "/shop/rates",
];

/// What the owner sends besides.
const OF_OWNING: [&str; 3] = ["/shop/people/remove", "/shop/people/set", "/shop/people/token"];

/// The page as somebody sees it, once nothing on it is being reckoned any more.
fn page(server: &Server, address: &str, cookie: &str) -> String {
    let begun = Instant::now();
    loop {
        let heard = get(address).with("cookie", cookie).to(server);
        assert_eq!(heard.status, 200, "{address}");
        if !heard.body.contains("being reckoned") {
            return heard.body;
        }
        assert!(begun.elapsed() < Duration::from_secs(60), "{address} is being reckoned for a minute");
        std::thread::sleep(Duration::from_millis(200));
    }
}

/// Where the forms of a page that change something are sent.
fn actions(page: &str) -> Vec<String> {
    let tags = page.split("<form").skip(1).filter_map(|rest| rest.split('>').next());
    let sending = tags.filter(|tag| tag.contains("method=\"post\""));
    sending
        .map(|tag| tag.split("action=\"").nth(1).and_then(|rest| rest.split('"').next()).expect("an action"))
        .map(str::to_owned)
        .collect()
}

/// An address with its numbers left out.
fn without_numbers(action: &str) -> String {
    let is_number = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    action.split('/').map(|part| if is_number(part) { "N" } else { part }).collect::<Vec<_>>().join("/")
}

#[test]
fn nobody_is_shown_a_form_that_they_would_be_refused_and_the_owner_sees_them_all() {
    let shop: Shop = peopled();
    let visits: Value = serde_json::from_str(&shop.run(&["visit", "--json"])).expect("JSON");
    let visit = format!("/visits/{}?all=yes", visits[0]["visit"]);
    let faults = faults_of(&shop);
    let server = shop.serve();
    let mut expected: BTreeSet<String> = BTreeSet::new();
    for (role, more) in [("look", &OF_ALL[..]), ("record", &OF_RECORDING), ("plan", &OF_PLANNING), ("own", &OF_OWNING)]
    {
        expected.extend(more.iter().map(|action| (*action).to_owned()));
        let cookie = signed_in(&server, role);
        let mut sent: BTreeSet<String> = BTreeSet::new();
        for address in PAGES
            .iter()
            .map(|(address, _)| *address)
            .chain([visit.as_str()])
            .chain(faults.iter().map(|(address, _)| address.as_str()))
        {
            let page = page(&server, address, &cookie);
            sent.extend(actions(&page));
            let leads_to_planning = ["href=\"/rounds/plan\"", "href=\"/shop/new-machine\""];
            if matches!(role, "look" | "record") {
                assert!(!leads_to_planning.iter().any(|link| page.contains(link)), "{role} is led on by {address}");
            }
        }
        let shown: BTreeSet<String> = sent.iter().map(|action| without_numbers(action)).collect();
        let missing: Vec<_> = expected.difference(&shown).collect();
        assert!(missing.is_empty(), "{role} is not shown {missing:?}");
        if role == "look" {
            assert_eq!(shown, expected, "whoever may only look");
        }
        // What is sent is no form at all, so that nothing comes of most of them; who may is asked first.
        for action in sent.iter().filter(|action| *action != "/sign-out" && !action.contains("/session/")) {
            let heard = send(action, "text/plain", "").with("cookie", &cookie).to(&server);
            assert_ne!(heard.status, 403, "{role} is shown {action}");
            assert_ne!(heard.status, 405, "{action} is answered");
        }
    }
}

#[test]
fn where_forms_fall_away_a_line_says_which_role_they_need() {
    let shop = peopled();
    let server = shop.serve();
    let cookie = signed_in(&server, "look");
    for (address, line) in [
        ("/machines/bowline", "Recording something of this machine needs the role &quot;record&quot;."),
        ("/faults", "Beginning a fault needs the role &quot;record&quot;."),
        ("/faults/grades", "Setting a grade needs the role &quot;plan&quot;."),
        ("/measure", "Measuring needs the role &quot;record&quot;."),
        ("/stores", "Counting it in needs the role &quot;record&quot;."),
        ("/records/1", "Correcting it needs the role &quot;record&quot;."),
        ("/rounds", "Moving a visit, locking it or calling it off needs the role &quot;plan&quot;."),
        ("/rounds/plan", "Planning needs the role &quot;plan&quot;."),
        ("/shop/new-machine", "Adding a machine needs the role &quot;plan&quot;."),
    ] {
        assert!(page(&server, address, &cookie).contains(line), "{address}: {line}");
        assert!(!page(&server, address, &signed_in(&server, "own")).contains("needs the role"), "{address}");
    }
}
