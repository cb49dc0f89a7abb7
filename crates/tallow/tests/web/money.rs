//! What care has cost, month by month.

use crate::harness::{Browser, DESK, PHONE, Shop};

#[tokio::test]
async fn a_range_of_months_is_drawn_and_stands_in_tables_behind() {
    let shop = Shop::demo();
    let server = shop.serve();
    for size in [PHONE, DESK] {
        let browser = Browser::open(size).await;
        browser.go(&server.page("/records")).await;
        browser.press("Money").await;
        for words in ["for each hour run", "By machine", "Against a calendar"] {
            browser.shows(words).await;
        }
        let bars = "return document.querySelectorAll('svg.spent rect.under').length";
        assert_eq!(browser.ask(bars).await, 3, "this month and the two before it");
        browser.press("12 months").await;
        // The first of the twelve, once they are added up.
        browser.shows("Dec 2025").await;
        assert_eq!(browser.ask(bars).await, 12);
        browser.close().await;
    }
    // The page says what the command says.
    let told: serde_json::Value = serde_json::from_str(&shop.run(&["money", "--json"])).unwrap();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/money")).await;
    let all = format!("{:.0}", told["machines"][0]["total"].as_f64().unwrap());
    browser.shows_soon(&[&all]).await;
    browser.close().await;
}

#[tokio::test]
async fn a_range_that_can_not_be_is_refused_and_kept() {
    let server = Shop::demo().serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/money?from=2026-11-10&to=2026-11-05")).await;
    browser.shows_soon(&["before it begins"]).await;
    assert_eq!(browser.ask("return document.getElementById('range-from').value").await, "2026-11-10");
    browser.close().await;
}
