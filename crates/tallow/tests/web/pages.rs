//! Every page is there, at both widths, and nothing on it is cut off.

use crate::harness::{Browser, DESK, PHONE, Shop};

/// The pages by address and name.
const PAGES: [(&str, &str); 28] = [
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
        let log = browser.tell_browser("Log.enable", serde_json::json!({})).await;
        drop(log);
        browser.close().await;
    }
}
