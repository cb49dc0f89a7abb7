//! How long parts live, and advice that becomes a limit.

use crate::harness::{Browser, DESK, Shop};

/// Waits for a page that is reckoned beside the requests.
async fn there(browser: &Browser, words: &str) {
    for _ in 0..60 {
        if browser.text().await.contains(words) {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    }
    panic!("\"{words}\" did not come:\n{}", browser.text().await);
}

#[tokio::test]
async fn advice_that_is_accepted_becomes_the_shops_own_limit_with_its_reason() {
    let shop = Shop::demo();
    // A failed tube that costs twenty times a planned change leaves no doubt that changing early pays.
    shop.run(&["rates", "--currency", "EUR", "--labour", "32", "--failed-print", "400", "--nuisance", "400", "--damage", "400", "--standing", "3"]);
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/lives")).await;
    there(&browser, "How parts of each kind ended").await;
    let kinds = shop.run(&["lives", "--json"]);
    let kinds: serde_json::Value = serde_json::from_str(&kinds).unwrap();
    let advised = kinds.as_array().unwrap().iter().find_map(|row| {
        let kind = row["kind"].as_str().unwrap().to_owned();
        let told: serde_json::Value = serde_json::from_str(&shop.run(&["lives", &kind, "--json"])).unwrap();
        let is_advised = |one: &serde_json::Value| one["verdict"] == "replace" && one["limits"] != serde_json::json!([]);
        told.as_array().unwrap().iter().any(is_advised).then_some(kind)
    });
    let kind = advised.expect("the demo's records advise something");
    browser.press(&kind).await;
    there(&browser, "Advice: replace").await;
    assert_eq!(browser.ask("return document.querySelectorAll('svg.chart').length").await.as_u64() >= Some(3), true, "paper, life curve, cost curve");
    browser.press("Accept").await;
    browser.shows("from now on").await;
    let limits = browser.ask("return [...document.querySelectorAll('td[data-name=Why]')].map(cell => cell.textContent).join('; ')").await;
    assert!(limits.as_str().unwrap().contains("failures"), "{limits}");
    browser.close().await;
}
