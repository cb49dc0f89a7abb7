//! History and corrections.

use crate::harness::{Browser, DESK, PHONE, Shop};

#[tokio::test]
async fn a_correction_on_an_entrys_page_changes_what_is_used_and_loses_nothing() {
    let shop = Shop::empty();
    shop.run(&["machine", "add", "bowline", "--build", "moving-bed", "--when", "2026-11-01"]);
    shop.run(&["reading", "x belt", "belt frequency", "110 Hz", "--on", "bowline"]);
    shop.run(&[
        "run",
        "--on",
        "bowline",
        "--hours",
        "5",
        "--grams",
        "60",
        "--material",
        "PLA",
        "--label",
        "cleats",
        "--when",
        "2026-11-20 10:00",
    ]);
    let used = || shop.run(&["history", "bowline", "--json"]);
    assert!(used().contains("\"PLA\""));
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/records?kind=run")).await;
    browser.shows_soon(&["ran cleats"]).await;
    browser.hides("belt frequency").await;
    let entry = browser.ask("return document.querySelector('a.target').textContent").await;
    browser.go(&server.page(&format!("/records/{}", entry.as_str().unwrap()))).await;
    browser.fill("Material of T0", "ASA").await;
    browser.fill("Note", "the wrong spool was booked").await;
    browser.press("Correct").await;
    browser.shows_soon(&["now says: ran cleats"]).await;
    browser.shows_soon(&["the wrong spool was booked"]).await;
    // The old entry is still there, and says what holds.
    browser.go(&server.page("/records?machine=bowline&kind=run")).await;
    browser.shows_soon(&["no longer holds"]).await;
    assert!(used().contains("\"ASA\""), "the use is booked on the other material");
    browser.close().await;
}

#[tokio::test]
async fn a_refused_correction_tells_why_and_keeps_what_was_typed() {
    let shop = Shop::empty();
    shop.run(&["machine", "add", "bowline", "--build", "moving-bed", "--when", "2026-11-01"]);
    shop.run(&["reading", "x belt", "belt frequency", "110 Hz", "--on", "bowline"]);
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/records?kind=reading")).await;
    let entry = browser.ask("return document.querySelector('a.target').textContent").await;
    browser.go(&server.page(&format!("/records/{}", entry.as_str().unwrap()))).await;
    browser.fill("When", "2030-01-01").await;
    browser.press("Correct").await;
    browser.shows_soon(&["lies in the future"]).await;
    assert_eq!(browser.ask("return document.getElementById('correct-when').value").await, "2030-01-01");
    browser.press("It did not happen").await;
    browser.press("Withdraw").await;
    browser.shows_soon(&["is withdrawn"]).await;
    browser.hides("Correct it").await;
    browser.close().await;
}

#[tokio::test]
async fn the_filtered_list_goes_whole_into_a_file() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/records")).await;
    browser.press("Earlier").await;
    browser.shows_soon(&["The newest"]).await;
    let fetched = "return fetch('/records.json?kind=failed').then(r => r.json()).then(rows => rows.length)";
    let failures = browser.ask(fetched).await.as_u64().expect("a count");
    let lines =
        "return fetch('/records.csv?kind=failed').then(r => r.text()).then(text => text.trim().split('\\n').length)";
    assert_eq!(browser.ask(lines).await.as_u64(), Some(failures + 1), "a line for the head, and one for each");
    assert!(50 < failures, "more than stand on a page: {failures}");
    browser.close().await;
}
