//! From an empty shop to the first due list.

use crate::harness::{Browser, DESK, PHONE, Shop};

#[tokio::test]
async fn a_new_keeper_gets_from_an_empty_shop_to_a_due_list_in_three_short_steps() {
    let shop = Shop::empty();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/shop")).await;
    browser.press("Add a machine").await;
    browser.shows_soon(&["Choose the one that is built like yours"]).await;
    browser.press("Mine is like this").await;
    browser.fill("Name", "bowline").await;
    browser.fill("Age, months", "many").await;
    browser.press("Next").await;
    browser.shows_soon(&["is no number"]).await;
    assert_eq!(
        browser.ask("return document.getElementById('about-name').value").await,
        "bowline",
        "what was typed stays"
    );
    browser.fill("Age, months", "8").await;
    browser.fill("Hours run so far", "1200").await;
    browser.press("Next").await;
    browser.fill("Keeper", "mate").await;
    browser.press("Add bowline").await;
    browser.shows_soon(&["bowline: first due list"]).await;
    browser.shows_soon(&["joined the shop"]).await;
    browser.close().await;
    let history = shop.run(&["history", "bowline"]);
    assert!(history.contains("8 months") && history.contains("1200 h of time"), "{history}");
    assert!(shop.run(&["keeper"]).contains("mate"));
}

#[tokio::test]
async fn an_empty_shop_can_be_filled_with_the_invented_one_and_no_other_can() {
    let shop = Shop::empty();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/shop/new-machine")).await;
    browser.press("Fill it with invented records").await;
    browser.shows_soon(&["filled with an invented pattern loft"]).await;
    browser.go(&server.page("/shop/new-machine")).await;
    browser.hides("Only want to look around?").await;
    browser.close().await;
}

#[tokio::test]
async fn a_server_without_a_shop_makes_one_on_its_page_and_goes_on_with_it() {
    let shop = Shop::none();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/machines")).await;
    browser.shows_soon(&["There is no shop here yet"]).await;
    browser.fill("Name", "Sail room").await;
    browser.fill("Time zone", "Mars/North").await;
    browser.press("Make the shop").await;
    browser.shows_soon(&["Mars/North"]).await;
    browser.fill("Time zone", "Europe/Oslo").await;
    browser.press("Make the shop").await;
    browser.shows_soon(&["Choose the one that is built like yours"]).await;
    browser.close().await;
    assert!(shop.run(&["shop", "show"]).contains("Sail room, Europe/Oslo"));
}
