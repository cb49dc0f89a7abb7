//! Every page is there, at both widths, nothing on it is cut off, and nothing on it keeps somebody out.

use std::path::Path;

use fantoccini::Client;
use serde_json::{Value, json};

use crate::harness::{Browser, DESK, PHONE, Shop};
use crate::who::{PASSWORD, peopled};

/// The pages by address and name.
pub(crate) const PAGES: [(&str, &str); 28] = [
    ("/", "today"),
    ("/shop/people", "people"),
    ("/sign-in", "sign-in-home"),
    ("/machines", "machines"),
    ("/machines/bowline", "machine"),
    ("/machines/bowline?why", "machine-why"),
    ("/machines/bowline/x%20rods", "part"),
    ("/before", "before"),
    ("/labels", "labels"),
    ("/rounds", "rounds"),
    ("/rounds/plan", "plan"),
    ("/rounds/keepers", "keepers"),
    ("/stores", "stores"),
    ("/stores/buy", "buy"),
    ("/stores/item/carbon%20filter", "store-item"),
    ("/records", "records"),
    ("/records/1", "entry"),
    ("/money", "money"),
    ("/lives", "lives"),
    ("/lives/feed%20tube", "lives-kind"),
    ("/shop", "shop"),
    ("/shop/verify", "verify"),
    ("/shop/builds", "builds"),
    ("/shop/builds/edit?build=moving-bed", "build"),
    ("/shop/new-machine", "new-machine"),
    ("/shop/new-machine/about?build=moving-bed", "new-machine-about"),
    ("/shop/new-machine/keeper?build=moving-bed&name=cleat", "new-machine-keeper"),
    ("/shop/new-machine/first/bowline", "new-machine-first"),
];

#[tokio::test]
async fn every_page_fits_a_phone_and_a_desk_and_breaks_none_of_its_own_rules() {
    let server = Shop::demo().serve();
    for size in [PHONE, DESK] {
        let browser = Browser::open(size).await;
        for (address, name) in PAGES {
            browser.go(&server.page(address)).await;
            browser.photograph(name).await;
            let [shown, there] = [
                browser.ask("return window.innerWidth").await.as_u64(),
                browser.ask("return document.documentElement.scrollWidth").await.as_u64(),
            ];
            assert_eq!(shown, there, "{name} is wider than {size:?}");
            assert_eq!(browser.ask("return document.querySelectorAll('h1').length").await, 1, "{name} has one heading");
        }
        browser.close().await;
    }
}

/// What axe-core 4.11 finds wrong with the page, by all of its rules: each one's name, what it asks for, and where.
async fn violations(client: &Client, axe: &str) -> Vec<String> {
    client.execute(axe, Vec::new()).await.expect("axe-core is taken in");
    let run = "const done = arguments[arguments.length - 1];
        axe.run(document, { resultTypes: ['violations'] }).then(found => done(found.violations), why => done(String(why)));";
    let found = client.execute_async(run, Vec::new()).await.expect("axe-core runs");
    let found = found.as_array().unwrap_or_else(|| panic!("axe-core broke off: {found}")).clone();
    let told = |one: &Value| {
        let nodes = one["nodes"].as_array().cloned().unwrap_or_default();
        let places: Vec<String> =
            nodes.iter().take(4).map(|node| format!("{} {}", node["target"], node["failureSummary"])).collect();
        format!("{}: {}\n    {}", one["id"], one["help"], places.join("\n    "))
    };
    found.iter().map(told).collect()
}

#[tokio::test]
async fn no_page_breaks_a_rule_of_accessibility_by_day_or_by_night_on_a_phone_or_a_desk() {
    let target = Path::new(env!("CARGO_BIN_EXE_tallow")).ancestors().nth(2).expect("the folder of what is built");
    let axe = std::fs::read_to_string(target.join("axe-4.11.0/axe.min.js")).expect("axe-core, which ./test fetches");
    let shop = Shop::demo();
    let visits: Value = serde_json::from_str(&shop.run(&["visit", "--json"])).expect("JSON");
    let visit = format!("/visits/{}", visits[0]["visit"]);
    let all = format!("{visit}?all=yes");
    let server = shop.serve();
    let mut wrong = Vec::new();
    let more = [
        (&*visit, "visit"),
        (&*all, "visit-all"),
        ("/records?from=no+day", "refused"),
        ("/nowhere", "nowhere"),
        ("/machines/sheet%20bend", "sheet bend"),
        ("/machines/figure%20eight", "figure eight"),
        ("/machines/rolling%20hitch", "rolling hitch"),
    ];
    for (size, scheme) in [(PHONE, "light"), (DESK, "dark"), (PHONE, "dark"), (DESK, "light")] {
        let browser = Browser::open(size).await;
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        browser.tell_browser("Emulation.setEmulatedMedia", features).await;
        for (address, name) in PAGES.into_iter().chain(more) {
            browser.go(&server.page(address)).await;
            assert_eq!(browser.text().await.contains("Not found"), name == "nowhere", "{name} is there");
            let found = violations(&browser.client, &axe).await;
            wrong.extend(found.into_iter().map(|one| format!("{name} {size:?} {scheme}: {one}")));
        }
        browser.close().await;
    }
    let guarded = peopled();
    let server = guarded.serve();
    for scheme in ["light", "dark"] {
        let browser = Browser::open(PHONE).await;
        let features = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        browser.tell_browser("Emulation.setEmulatedMedia", features).await;
        browser.go(&server.page("/sign-in")).await;
        browser.shows("Sign in to Pattern loft").await;
        let found = violations(&browser.client, &axe).await;
        wrong.extend(found.into_iter().map(|one| format!("sign-in {scheme}: {one}")));
        // Pages are other pages where their forms fall away.
        browser.fill("Name", "look").await;
        browser.fill("Password", PASSWORD).await;
        browser.press("Sign in").await;
        browser.shows("Sign out").await;
        let pages =
            ["/", "/machines/bowline", "/rounds", "/rounds/plan", "/shop", "/shop/builds/edit?build=moving-bed"];
        for address in pages.into_iter().chain([&*all]) {
            browser.go(&server.page(address)).await;
            let found = violations(&browser.client, &axe).await;
            wrong.extend(found.into_iter().map(|one| format!("{address} for look, {scheme}: {one}")));
        }
        browser.close().await;
    }
    assert!(wrong.is_empty(), "{} violations:\n{}", wrong.len(), wrong.join("\n"));
}
