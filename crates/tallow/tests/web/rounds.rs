//! The round: visits moved by hand, planned anew, told, and read by a calendar.

use std::time::Duration;

use fantoccini::Locator;
use fantoccini::actions::{InputSource, MOUSE_BUTTON_LEFT, MouseActions, PointerAction};
use serde_json::Value;

use crate::harness::{Browser, DESK, PHONE, Shop};

/// A visit as the command line tells it.
fn visit(shop: &Shop, number: &str) -> Value {
    let all: Value = serde_json::from_str(&shop.run(&["visit", "--json"])).expect("JSON");
    let number: i64 = number.parse().expect("a number");
    let of_number = |visit: &&Value| visit["visit"] == number;
    all.as_array()
        .expect("a list")
        .iter()
        .find(of_number)
        .unwrap_or_else(|| panic!("no visit {number} in {all}"))
        .clone()
}

/// The first visit on a later day that has a day after it on the chart: its number, day, keeper, and the day after.
async fn later_visit(browser: &Browser) -> [String; 4] {
    first_visit(browser, "true").await
}

/// The first of those visits of which a script says so of its `chip`.
async fn first_visit(browser: &Browser, is_wanted: &str) -> [String; 4] {
    let script = format!(
        "const days = [...document.querySelectorAll('.round thead th[data-day]')].map(head => head.dataset.day); \
         const chip = [...document.querySelectorAll('.visit')].find(chip => {{ \
             const at = days.indexOf(chip.dataset.day); return {is_wanted} && 0 < at && at + 1 < days.length; }}); \
         chip.scrollIntoView({{ block: 'center', inline: 'center' }}); \
         return [chip.dataset.visit, chip.dataset.day, chip.dataset.keeper, days[days.indexOf(chip.dataset.day) + 1]]"
    );
    let found = browser.ask(&script).await;
    [0, 1, 2, 3].map(|place| found[place].as_str().unwrap_or_else(|| panic!("{found}")).to_owned())
}

/// The first visit of somebody else than Sunniva on a later day that has a day after it on the chart: its number, day, keeper,
/// and the day after. Sunniva may do everything, so that it can go to her.
async fn visit_of_another(browser: &Browser) -> [String; 4] {
    first_visit(browser, "chip.dataset.keeper !== 'Sunniva'").await
}

const PRICES: [&str; 3] = ["Costs the same", " more.", "Saves "];

/// Waits until the page tells what the proposed move costs.
async fn priced(browser: &Browser) {
    let prices = serde_json::json!(PRICES);
    let told = "const [change, said] = ['change', 'change-said'].map(id => document.getElementById(id)); return !change.hidden";
    browser.until(&format!("{told} && {prices}.some(words => said.textContent.includes(words))")).await;
}

#[tokio::test]
async fn a_visit_is_dragged_to_another_day_and_its_cost_is_told_before_it_is_kept() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/rounds")).await;
    let [number, day, _, next] = later_visit(&browser).await;
    let chip = browser.client.find(Locator::Css(&format!("[data-visit=\"{number}\"]"))).await.unwrap();
    let width = format!(
        "const heads = [...document.querySelectorAll('.round thead th')]; \
         const at = heads.findIndex(head => head.dataset.day === '{day}'); \
         return heads[at + 1].getBoundingClientRect().left - heads[at].getBoundingClientRect().left"
    );
    let over = browser.ask(&width).await.as_f64().expect("a width").round() as i64;
    let by = |x: i64| PointerAction::MoveBy { duration: Some(Duration::from_millis(50)), x: x as f64, y: 0.0 };
    let drag = MouseActions::new("mouse".to_owned())
        .then(PointerAction::MoveToElement { element: chip, duration: None, x: 0.0, y: 0.0 })
        .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT })
        .then(by(over / 2))
        .then(by(over - over / 2))
        .then(PointerAction::Up { button: MOUSE_BUTTON_LEFT });
    browser.client.perform_actions(drag).await.expect("the visit is dragged");
    priced(&browser).await;
    assert_eq!(visit(&shop, &number)["day"], day.as_str(), "nothing is recorded before somebody says so");
    browser.press("Keep it there").await;
    browser.shows_soon(&["moved to"]).await;
    let moved = visit(&shop, &number);
    assert_eq!((moved["day"].as_str(), moved["locked"].as_bool()), (Some(next.as_str()), Some(true)));
    browser.close().await;
}

#[tokio::test]
async fn a_visit_is_dragged_to_a_day_of_another_keeper_and_freed_by_a_key() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/rounds")).await;
    let [number, day, _, next] = visit_of_another(&browser).await;
    let script = format!(
        "document.querySelector('.keepers').scrollIntoView({{ block: 'end' }}); \
         const heads = [...document.querySelectorAll('.round thead th')]; \
         const cell = document.querySelector('tr[data-keeper=Sunniva]').cells[heads.findIndex(head => head.dataset.day === '{next}')]; \
         cell.id = 'goal'; const chip = document.querySelector('[data-visit=\"{number}\"]'); \
         return chip.getBoundingClientRect().top > 80 && cell.getBoundingClientRect().bottom < innerHeight - 45"
    );
    assert_eq!(browser.ask(&script).await, true, "both ends of the drag are in sight");
    let chip = browser.client.find(Locator::Css(&format!("[data-visit=\"{number}\"]"))).await.unwrap();
    let goal = browser.client.find(Locator::Id("goal")).await.unwrap();
    let over =
        |element, x| PointerAction::MoveToElement { element, duration: Some(Duration::from_millis(50)), x, y: 0.0 };
    let drag = MouseActions::new("mouse".to_owned())
        .then(over(chip.clone(), 0.0))
        .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT })
        .then(over(goal.clone(), -9.0))
        .then(over(goal, 0.0))
        .then(PointerAction::Up { button: MOUSE_BUTTON_LEFT });
    browser.client.perform_actions(drag).await.expect("the visit is dragged");
    priced(&browser).await;
    assert_eq!(visit(&shop, &number)["day"], day.as_str(), "nothing is recorded before somebody says so");
    browser.press("Keep it there").await;
    browser.shows_soon(&["moved to"]).await;
    let moved = visit(&shop, &number);
    let goes = [&moved["day"], &moved["keeper"]].map(|value| value.as_str().unwrap_or_default().to_owned());
    assert_eq!(goes, [next, "Sunniva".to_owned()]);
    assert_eq!(moved["locked"], true, "what was put somewhere by hand stays there");
    let chip = browser.client.find(Locator::Css(&format!("[data-visit=\"{number}\"]"))).await.unwrap();
    chip.send_keys("l").await.unwrap();
    browser.shows_soon(&["free to be moved"]).await;
    assert_eq!(visit(&shop, &number)["locked"], false);
    browser.close().await;
}

#[tokio::test]
async fn a_visit_is_moved_by_keys_and_stays_where_it_was_put_when_the_round_is_planned_again() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/rounds")).await;
    let [number, day, keeper, next] = later_visit(&browser).await;
    let chip = browser.client.find(Locator::Css(&format!("[data-visit=\"{number}\"]"))).await.unwrap();
    let (right, down, up) = ("\u{E014}", "\u{E015}", "\u{E013}");
    chip.send_keys(right).await.unwrap();
    priced(&browser).await;
    // Escape leaves everything as it was.
    chip.send_keys("\u{E00C}").await.unwrap();
    browser.hides("Keep it there").await;
    // Another keeper, and back.
    chip.send_keys(&format!("{down}{up}")).await.unwrap();
    chip.send_keys(right).await.unwrap();
    priced(&browser).await;
    assert_eq!(visit(&shop, &number)["day"], day.as_str());
    chip.send_keys("\u{E007}").await.unwrap();
    browser.shows_soon(&["moved to"]).await;
    let keepers = browser.ask("return document.querySelector('.round').dataset.keepers").await;
    let first = keepers.as_str().and_then(|all| all.lines().next()).map(str::to_owned);
    let moved = visit(&shop, &number);
    let goes = if first.as_deref() == Some(keeper.as_str()) { keeper.clone() } else { first.unwrap_or_default() };
    assert_eq!((moved["day"].as_str(), moved["keeper"].as_str()), (Some(next.as_str()), Some(goes.as_str())));

    browser.go(&server.page("/rounds/plan")).await;
    browser.fill("Seek for", "2").await;
    browser.press("Seek a plan").await;
    let text = browser.shows_soon(&["Tell people"]).await;
    for words in ["bound", "gap", "Each task on its due day", "Everything of a machine at once", "as told before"] {
        assert!(text.contains(words), "{words}:\n{text}");
    }
    assert_eq!(visit(&shop, &number), moved, "a plan that is shown changes nothing");
    browser.photograph("proposal").await;
    browser.press("Tell people").await;
    browser.shows_soon(&["People are told"]).await;
    browser.shows("Last planned").await;
    let kept = visit(&shop, &number);
    assert_eq!([&kept["day"], &kept["keeper"], &kept["locked"]], [&moved["day"], &moved["keeper"], &moved["locked"]]);
    browser.close().await;
}

#[tokio::test]
async fn a_plan_of_what_is_so_no_more_is_not_told() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/rounds")).await;
    let [number, ..] = later_visit(&browser).await;
    browser.go(&server.page("/rounds/plan")).await;
    browser.fill("Seek for", "1").await;
    browser.press("Seek a plan").await;
    browser.shows_soon(&["Tell people"]).await;
    shop.run(&["visit", "off", &number, "--why", "the machine is away"]);
    browser.press("Tell people").await;
    browser.shows_soon(&["nobody was told"]).await;
    browser.press("Leave it").await;
    browser.shows_soon(&["The plan is left"]).await;
    browser.close().await;
}

#[tokio::test]
async fn a_refused_move_keeps_what_was_typed_and_one_that_is_not_is_priced_without_a_script() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/rounds")).await;
    let [number, day, keeper, next] = later_visit(&browser).await;
    let form = format!("document.querySelector('form[action=\"/rounds/visits/{number}/move\"]')");
    // A browser would not send a day that is past; somebody else may.
    browser
        .ask(&format!(
            "const form = {form}; form.noValidate = true; form.elements.day.value = '2026-11-01'; form.submit()"
        ))
        .await;
    browser.shows_soon(&["is past; today is"]).await;
    let typed = browser
        .ask(&format!("const form = {form}; return [form.elements.day.value, form.closest('details').open]"))
        .await;
    assert_eq!(typed, serde_json::json!(["2026-11-01", true]));
    assert_eq!(visit(&shop, &number)["day"], day.as_str());
    for _ in 0..50 {
        browser.go(&server.page(&format!("/rounds?visit={number}&day={next}&keeper={keeper}"))).await;
        let text = browser.text().await;
        if PRICES.iter().any(|words| text.contains(words)) {
            break;
        }
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    let priced = browser.ask(&format!("return {form}.querySelector('.said').textContent")).await;
    assert!(PRICES.iter().any(|words| priced.as_str().is_some_and(|text| text.contains(words))), "{priced}");
    browser.close().await;
}

#[tokio::test]
async fn a_visit_goes_to_another_keeper_by_its_form_which_tells_the_cost_first_and_needs_no_script() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/rounds")).await;
    let [number, day, keeper, _] = visit_of_another(&browser).await;
    let form = format!("form[action=\"/rounds/visits/{number}/move\"]");
    browser.tell_browser("Emulation.setScriptExecutionDisabled", serde_json::json!({ "value": true })).await;
    let mut priced = String::new();
    // A price may have to be reckoned first; whoever looks again finds it.
    for _ in 0..50 {
        browser.go(&server.page("/rounds")).await;
        browser.client.find(Locator::Css(&format!("#visit-{number} > summary"))).await.unwrap().click().await.unwrap();
        let options = format!("{form} select[name=keeper] option");
        for option in browser.client.find_all(Locator::Css(&options)).await.unwrap() {
            let name = option.attr("value").await.unwrap().unwrap_or_default();
            if name == "Sunniva" {
                option.click().await.unwrap();
                break;
            }
        }
        let ask = browser.client.find(Locator::Css(&format!("{form} button.quiet"))).await.unwrap();
        browser.press_on(&ask).await;
        let said = browser.client.find(Locator::Css(&format!("{form} .said"))).await.unwrap();
        priced = said.text().await.unwrap();
        if PRICES.iter().any(|words| priced.contains(words)) {
            break;
        }
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    assert!(PRICES.iter().any(|words| priced.contains(words)), "{priced}");
    assert_eq!(visit(&shop, &number)["keeper"], keeper.as_str(), "nothing is recorded before somebody says so");
    let go = browser.client.find(Locator::Css(&format!("{form} button:not(.quiet)"))).await.unwrap();
    browser.press_on(&go).await;
    let moved = visit(&shop, &number);
    assert_eq!((moved["day"].as_str(), moved["keeper"].as_str()), (Some(day.as_str()), Some("Sunniva")));
    browser.close().await;
}

#[tokio::test]
async fn keepers_have_days_off_and_calendars_that_a_secret_opens_and_nothing_else() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/rounds/keepers")).await;
    browser.press("Make a link for Sunniva").await;
    browser.shows_soon(&["There is a new link for Sunniva"]).await;
    let link = browser.ask("return document.querySelector('a.long').getAttribute('href')").await;
    let link = link.as_str().expect("an address").to_owned();
    let get = |address: String, tag: String| {
        let browser = &browser;
        async move {
            let script = format!(
                "const get = new XMLHttpRequest(); get.open('GET', '{address}', false); \
                 if ('{tag}') get.setRequestHeader('If-None-Match', '{tag}'); get.send(); \
                 return [get.status, get.getResponseHeader('content-type'), get.getResponseHeader('etag'), get.responseText]"
            );
            browser.ask(&script).await
        }
    };
    let answer = get(link.clone(), String::new()).await;
    assert_eq!((answer[0].as_u64(), answer[1].as_str()), (Some(200), Some("text/calendar; charset=utf-8")));
    let all: Value = serde_json::from_str(&shop.run(&["visit", "--json"])).expect("JSON");
    let hers = all.as_array().expect("a list").iter().filter(|visit| visit["keeper"] == "Sunniva").count();
    let text = answer[3].as_str().expect("a text");
    assert!(
        0 < hers && text.starts_with("BEGIN:VCALENDAR\r\n") && text.matches("BEGIN:VEVENT").count() == hers,
        "{text}"
    );
    let tag = answer[2].as_str().expect("a tag").to_owned();
    assert_eq!(get(link.clone(), tag).await[0], 304);
    assert_eq!(get(format!("/calendar/{}.ics", "0".repeat(64)), String::new()).await[0], 404);

    browser.go(&server.page("/rounds/keepers")).await;
    browser.press("Take the link of Sunniva back").await;
    browser.shows_soon(&["opens nothing any more"]).await;
    assert_eq!(get(link, String::new()).await[0], 404);

    browser.ask("document.getElementById('away-from').value = '2026-12-24'; document.getElementById('away-why').value = 'at sea'").await;
    browser.press("Keep the days free").await;
    browser.shows_soon(&["is away 24 Dec, at sea"]).await;
    assert!(shop.run(&["keeper"]).contains("24 Dec"));
    browser.close().await;
}
