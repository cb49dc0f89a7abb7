//! How long parts live, and advice that becomes a limit.

use crate::harness::{Browser, DESK, Shop};

#[tokio::test]
async fn a_kind_of_part_is_told_with_its_pictures_and_what_they_advise() {
    let shop = Shop::demo();
    // A failed tube that costs twenty times a planned change leaves no doubt that changing early pays.
    shop.run(&[
        "rates",
        "--currency",
        "EUR",
        "--labour",
        "32",
        "--failed-print",
        "400",
        "--nuisance",
        "400",
        "--damage",
        "400",
        "--standing",
        "3",
    ]);
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/lives")).await;
    browser.shows_soon(&["How parts of each kind ended"]).await;
    let kinds = shop.run(&["lives", "--json"]);
    let kinds: serde_json::Value = serde_json::from_str(&kinds).unwrap();
    let advised = kinds.as_array().unwrap().iter().find_map(|row| {
        let kind = row["kind"].as_str().unwrap().to_owned();
        let told: serde_json::Value = serde_json::from_str(&shop.run(&["lives", &kind, "--json"])).unwrap();
        let is_advised = |one: &serde_json::Value| one["verdict"] == "replace";
        told.as_array().unwrap().iter().any(is_advised).then_some(kind)
    });
    let kind = advised.expect("the demo's records advise something");
    browser.press(&kind).await;
    browser.shows_soon(&["Advice: replace"]).await;
    assert!(
        Some(3) <= browser.ask("return document.querySelectorAll('svg.chart').length").await.as_u64(),
        "paper, life curve, cost curve"
    );
    browser.close().await;
}
