//! The stores: what comes and is counted changes what is there, and what to buy is told by supplier.

use fantoccini::Locator;
use serde_json::Value;

use crate::harness::{Browser, DESK, PHONE, Server, Shop};

/// An item of the demo that comes in pieces.
const ITEM: &str = "carbon filter";

/// How many pieces of it there are.
fn stock(shop: &Shop) -> u64 {
    let items: Value = serde_json::from_str(&shop.run(&["stores", "--json"])).expect("JSON");
    let item = items.as_array().expect("a list").iter().find(|item| item["item"] == ITEM).expect("the item");
    let stock = item["stock"].as_f64().expect("a stock");
    assert!(stock.fract().abs() < 1e-9, "whole pieces: {stock}");
    stock.round() as u64
}

async fn type_into(browser: &Browser, id: &str, text: &str) {
    let field = browser.client.find(Locator::Id(id)).await.unwrap_or_else(|error| panic!("no field {id}: {error}"));
    field.clear().await.expect("it is emptied");
    field.send_keys(text).await.expect("it is filled");
}

#[tokio::test]
async fn what_comes_and_what_is_counted_changes_what_is_there() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    let before = stock(&shop);
    browser.go(&server.page("/stores")).await;
    browser.press(ITEM).await;
    browser.press("Something came").await;
    type_into(&browser, "receive-amount", "4").await;
    type_into(&browser, "receive-price", "46").await;
    browser.press("Record that it came").await;
    browser.shows_soon(&["Received: 4 of carbon filter"]).await;
    assert_eq!(stock(&shop), before + 4);

    browser.press("A count").await;
    type_into(&browser, "count-amount", "5").await;
    browser.press("Record the count").await;
    browser.shows_soon(&["Counted: 5 of carbon filter"]).await;
    assert_eq!(stock(&shop), 5);
    browser.photograph("item").await;

    // More than is there can't be thrown away, and what was typed stays.
    browser.press("Something is thrown away").await;
    type_into(&browser, "discard-amount", "99").await;
    type_into(&browser, "discard-why", "wet").await;
    browser.press("Record that it goes").await;
    browser.shows_soon(&["can't be thrown away"]).await;
    let typed =
        browser.ask("return ['discard-amount', 'discard-why'].map(id => document.getElementById(id).value)").await;
    assert_eq!(typed, serde_json::json!(["99", "wet"]));
    assert_eq!(stock(&shop), 5);
    browser.close().await;
}

/// The list of what to buy, once it is reckoned.
async fn go_to_buy(browser: &Browser, server: &Server) -> String {
    browser.go_settled(&server.page("/stores/buy")).await;
    browser.text().await
}

#[tokio::test]
async fn what_is_ordered_from_the_list_leaves_it_and_is_on_its_way() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    let list: Value = serde_json::from_str(&shop.run(&["stores", "buy", "--json"])).expect("JSON");
    let line = &list["lines"][0];
    let item = line["item"].as_str().expect("the demo has something to buy").to_owned();
    go_to_buy(&browser, &server).await;
    let button = format!("//tr[contains(., '{item}')]//button");
    browser.press_on(&browser.client.find(Locator::XPath(&button)).await.expect("a button")).await;
    browser.shows_soon(&["Ordered: "]).await;
    assert!(browser.client.current_url().await.unwrap().path().ends_with("/stores/buy"), "one goes on with the list");
    let items: Value = serde_json::from_str(&shop.run(&["stores", "--json"])).expect("JSON");
    let kept = items.as_array().expect("a list").iter().find(|kept| kept["item"] == item.as_str()).expect("the item");
    let ordered = kept["coming"][0]["amount"].as_f64().expect("an order");
    let pack: f64 = line["pack"].as_str().and_then(|pack| pack.split(' ').next()?.parse().ok()).expect("a pack");
    let packs = line["packs"].as_f64().expect("packs");
    assert!((ordered - pack * packs).abs() < 1e-6, "{packs} packs of {pack} are ordered, not {ordered}");
    browser.go(&server.page(&format!("/stores/item/{}", item.replace(' ', "%20")))).await;
    browser.shows("On its way").await;
    // It is to be bought no more, or for another reason than before.
    let again: Value = serde_json::from_str(&shop.run(&["stores", "buy", "--json"])).expect("JSON");
    let same = |other: &Value| other["item"] == line["item"] && other["packs"] == line["packs"];
    assert!(!again["lines"].as_array().expect("lines").iter().any(same), "{again}");
    browser.close().await;
}

#[tokio::test]
async fn what_to_buy_is_told_by_supplier_once_it_is_reckoned() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    let text = go_to_buy(&browser, &server).await;
    let list: Value = serde_json::from_str(&shop.run(&["stores", "buy", "--json"])).expect("JSON");
    let lines = list["lines"].as_array().expect("lines");
    assert!(!lines.is_empty(), "the demo has something to buy");
    for line in lines {
        for key in ["item", "supplier"] {
            let words = line[key].as_str().expect("words");
            assert!(text.contains(words), "{words}:\n{text}");
        }
    }
    browser.close().await;
}
