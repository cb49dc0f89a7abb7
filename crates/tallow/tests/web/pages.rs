//! Every page is there, at both widths, nothing on it is cut off, and nothing on it keeps somebody out.

use std::path::Path;

use fantoccini::Client;
use serde_json::{Value, json};

use crate::harness::{Browser, DESK, PHONE, SMALL_PHONE, Shop};
use crate::who::{PASSWORD, peopled};

/// The pages by address and name.
pub(crate) const PAGES: [(&str, &str); 34] = [
    ("/", "today"),
    ("/shop/people", "people"),
    ("/sign-in", "sign-in-home"),
    ("/machines", "machines"),
    ("/machines/bowline", "machine"),
    ("/machines/bowline?why", "machine-why"),
    ("/machines/bowline/x%20rods", "part"),
    // Its travel has as many letters as a travel can have.
    ("/machines/reef%20knot/x%20rods", "part-worn"),
    ("/faults", "faults"),
    // What may hurt somebody has a caution above it.
    ("/faults?machine=bowline&q=burning", "faults-found"),
    ("/faults/grades", "grades"),
    ("/faults/grades?cause=slack%20belt", "grade-of-a-cause"),
    ("/measure?machine=bowline", "measure"),
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

/// The pages of the demo: those of every shop, a visit, and faults.
fn pages_of(shop: &Shop) -> Vec<(String, &'static str)> {
    let visits: Value = serde_json::from_str(&shop.run(&["visit", "--json"])).expect("JSON");
    let visit = format!("/visits/{}", visits[0]["visit"]);
    let all = format!("{visit}?all=yes");
    let own = [(visit, "visit"), (all, "visit-all")];
    let faults = faults_of(shop).into_iter();
    PAGES.into_iter().map(|(address, name)| (address.to_owned(), name)).chain(own).chain(faults).collect()
}

/// Begins faults in the demo, and ends one of them; their pages.
pub(crate) fn faults_of(shop: &Shop) -> [(String, &'static str); 3] {
    let begun = |symptom: &str| {
        let begun: Value =
            serde_json::from_str(&shop.run(&["fault", "new", "bowline", symptom, "--json"])).expect("JSON");
        begun["entry"].to_string()
    };
    let (open, stop, over) = (begun("squeal while moving"), begun("smell of burning"), begun("layer shift"));
    shop.run(&["fault", "say", &open, "yes", "--of", "pattern along X or Y"]);
    shop.run(&["fault", "end", &over, "--cause", "belts: slack belt"]);
    [(open, "fault"), (stop, "fault-stop"), (over, "fault-over")].map(|(id, name)| (format!("/faults/{id}"), name))
}

/// The words of pictures that are smaller than 11 px on the screen, or stick out of their picture.
const POOR_WORDS: &str = "return [...document.querySelectorAll('main svg text')].flatMap(text => {
    const [seen, at] = [text.getBoundingClientRect(), text.ownerSVGElement.getBoundingClientRect()];
    if (!seen.width) return [];
    const matrix = text.getScreenCTM();
    const size = Math.sqrt(Math.abs(matrix.a * matrix.d - matrix.b * matrix.c)) * parseFloat(getComputedStyle(text).fontSize);
    const isCut = seen.left < at.left - 1 || at.right + 1 < seen.right || seen.top < at.top - 1 || at.bottom + 1 < seen.bottom;
    return size < 11 || isCut ? [`${text.textContent}: ${size.toFixed(1)} px${isCut ? ', cut off' : ''}`] : [];
})";

#[tokio::test]
async fn words_in_pictures_can_be_read_on_the_smallest_phone() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(SMALL_PHONE).await;
    let mut n_words = 0;
    for (address, name) in pages_of(&shop) {
        browser.go_settled(&server.page(&address)).await;
        n_words += browser.ask("return document.querySelectorAll('main svg text').length").await.as_u64().unwrap_or(0);
        assert_eq!(browser.ask(POOR_WORDS).await, json!([]), "{name}");
    }
    assert!(100 < n_words, "pictures have words");
    browser.close().await;
}

/// Words that only a terminal understands, with what stands around them.
const TERMINAL_WORDS: &str =
    "const named = [...document.querySelectorAll('[aria-label], [title], [placeholder]')].flatMap(
        of => ['aria-label', 'title', 'placeholder'].map(name => of.getAttribute(name) ?? ''));
    const text = [document.title, document.querySelector('main').textContent, ...named].join('\\n');
    return [...text.matchAll(/.{0,40}(tallow [a-z]|`|--[a-z]).{0,40}/g)].map(found => found[0])";

#[tokio::test]
async fn no_page_speaks_to_a_terminal() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    for (address, name) in pages_of(&shop) {
        browser.go_settled(&server.page(&address)).await;
        assert_eq!(browser.ask(TERMINAL_WORDS).await, json!([]), "{name}");
    }
    browser.close().await;
}

/// Sixty letters, and nowhere to break them.
const LONG: &str = "Abcdefghijklmnopqrstuvwxyzabcdefghijklmnopqrstuvwxyzabcdefgh";

#[tokio::test]
async fn pages_of_an_empty_shop_and_of_long_names_fit_the_smallest_phone() {
    let (empty, long) = (Shop::empty(), Shop::empty());
    long.run(&["machine", "add", LONG, "--build", "moving-bed"]);
    long.run(&["keeper", "set", LONG, "--minutes", "mon-fri 60"]);
    long.run(&["stores", "count", LONG, "5 pieces", "--new"]);
    long.run(&["plan", "--keep", "--seconds", "1"]);
    let own = [format!("/machines/{LONG}"), format!("/machines/{LONG}/nozzle"), format!("/stores/item/{LONG}")];
    let general = PAGES
        .into_iter()
        .map(|(address, _)| address)
        .filter(|address| !address.contains("bowline") && !address.contains("knot"));
    let general: Vec<&str> = general.collect();
    for (shop, own) in [(empty, &[][..]), (long, &own[..])] {
        let server = shop.serve();
        for size in [SMALL_PHONE, DESK] {
            let browser = Browser::open(size).await;
            for address in general.iter().copied().chain(own.iter().map(String::as_str)) {
                browser.go_settled(&server.page(address)).await;
                assert_eq!(browser.overhang().await, 0, "{address} is wider than {size:?}");
            }
            browser.close().await;
        }
    }
}

#[tokio::test]
async fn every_page_fits_a_phone_and_a_desk_and_breaks_none_of_its_own_rules() {
    let shop = Shop::demo();
    let pages = pages_of(&shop);
    let server = shop.serve();
    for size in [SMALL_PHONE, PHONE, DESK] {
        let browser = Browser::open(size).await;
        for (address, name) in &pages {
            browser.go_settled(&server.page(address)).await;
            browser.photograph(name).await;
            assert_eq!(browser.overhang().await, 0, "{name} is wider than {size:?}");
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
    let [(fault, _), (stop, _), (over, _)] = faults_of(&shop);
    let server = shop.serve();
    let mut wrong = Vec::new();
    let more = [
        (&*fault, "fault"),
        (&*stop, "fault-stop"),
        (&*over, "fault-over"),
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
            browser.go_settled(&server.page(address)).await;
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
