//! The shop's own facts: builds, prices, limits.

use crate::harness::{Browser, DESK, Shop};

#[tokio::test]
async fn the_editor_refuses_a_wrong_build_with_its_line_and_keeps_the_text() {
    let shop = Shop::empty();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/shop/builds")).await;
    browser.press("See and change").await;
    browser.ask("const t = document.getElementById('build-text'); t.value = t.value.replace(/^name = \".*\"$/m, 'name = \"my own\"').replace('kinematics =', 'kinematic ='); return 0").await;
    browser.press("Check").await;
    browser.shows_soon(&["what you typed is still there"]).await;
    let lines =
        browser.ask("return [...document.querySelectorAll('a[data-line]')].map(link => link.textContent)").await;
    let wrong = browser.ask("return document.getElementById('build-text').value.split('\\n').findIndex(line => line.startsWith('kinematic ')) + 1").await;
    let spoilt = serde_json::json!(format!("Line {wrong}"));
    assert!(lines.as_array().unwrap().contains(&spoilt), "the line that was spoilt is {spoilt}: {lines}");
    browser.ask("const t = document.getElementById('build-text'); t.value = t.value.replace('kinematic =', 'kinematics ='); return 0").await;
    browser.press("Save").await;
    browser.shows_soon(&["the build \"my own\" is kept"]).await;
    browser.close().await;
    shop.run(&["machine", "add", "bowline", "--build", "my own"]);
}

#[tokio::test]
async fn prices_and_limits_are_set_and_taken_back() {
    let shop = Shop::empty();
    shop.run(&["machine", "add", "bowline", "--build", "moving-bed"]);
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/shop")).await;
    browser.shows_soon(&["not set; 30 is assumed"]).await;
    browser.fill("An hour of a keeper's work", "32").await;
    browser.press("Set the prices").await;
    browser.shows_soon(&["the prices are set"]).await;
    browser.hides("not set; 30 is assumed").await;
    assert!(shop.run(&["rates"]).contains("32"));
    browser.press("Set a limit by hand").await;
    browser.fill("Task", "wash the build plate").await;
    browser.fill("Every", "3 weeks").await;
    browser.fill("Why", "little dust here").await;
    browser.press("Set the limit").await;
    browser.shows_soon(&["little dust here"]).await;
    browser.press("Take back").await;
    browser.shows_soon(&["no longer holds"]).await;
    browser.close().await;
}
