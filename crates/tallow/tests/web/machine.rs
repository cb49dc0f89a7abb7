//! A machine's page, its parts, what a print would use up, and the labels.

use std::path::PathBuf;

use fantoccini::Locator;
use serde_json::Value;

use crate::harness::{Browser, DESK, PHONE, Shop};

/// A print file of some minutes, in a folder of its own.
fn rib() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("rib.gcode");
    let layer = "G1 X150 Y20 E4.5 F3000\nG1 X150 Y150 E4.5\nG1 X20 Y150 E4.5\nG1 X20 Y20 E4.5\n";
    let text = format!("G21\nG90\nM83\nM104 S210\nG28\nG1 X20 Y20 Z0.2 F600\n{}", layer.repeat(40));
    std::fs::write(&file, text).expect("the file is written");
    (folder, file)
}

async fn choose_file(browser: &Browser, form: &str, file: &std::path::Path) {
    let field = browser.client.find(Locator::Css(&format!("#{form}-file"))).await.expect("a field for a file");
    field.send_keys(&file.display().to_string()).await.expect("the file is chosen");
}

/// Presses the button of the form that is open.
async fn send(browser: &Browser) {
    let button = browser.client.find(Locator::Css("details[open] button")).await.expect("a button");
    browser.press_on(&button).await;
}

/// How a task of bowline stands, by the command line.
fn due(shop: &Shop, task: &str) -> Value {
    let all: Value = serde_json::from_str(&shop.run(&["due", "bowline", "--all", "--json"])).expect("JSON");
    all.as_array().expect("tasks").iter().find(|due| due["task"] == task).expect("the task").clone()
}

#[tokio::test]
async fn a_print_is_weighed_before_it_starts_by_the_file_that_is_sent() {
    let shop = Shop::demo();
    let (_folder, file) = rib();
    let said = shop.run(&["before", &file.display().to_string(), "--material", "PLA", "--json"]);
    let said: Value = serde_json::from_str(&said).expect("JSON");
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/before")).await;
    choose_file(&browser, "before", &file).await;
    browser.fill("Material", "PLA").await;
    browser.press("Weigh it").await;
    browser.shows_soon(&["of wear and risk in"]).await;
    browser.photograph("before-weighed").await;
    let shown = browser.ask("return [...document.querySelectorAll('.block h3')].map(h => h.textContent.trim())").await;
    let expected: Vec<&str> =
        said[0]["machines"].as_array().expect("machines").iter().filter_map(|of| of["machine"].as_str()).collect();
    assert!(!expected.is_empty());
    assert_eq!(shown, serde_json::json!(expected), "the machines in the command's order");
    assert!(!shop.run(&["history", "bowline", "--most", "5"]).contains("rib.gcode"), "nothing is booked");
    browser.close().await;
}

#[tokio::test]
async fn what_is_too_little_to_weigh_is_refused_and_what_was_typed_stays() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/before")).await;
    browser.fill("Hours", "4,5").await;
    browser.fill("Material", "PETG").await;
    browser.press("Weigh it").await;
    browser.shows_soon(&["\"4,5\" is no number"]).await;
    let kept = browser
        .ask("return [document.getElementById('before-hours').value, document.getElementById('before-material').value]")
        .await;
    assert_eq!(kept, serde_json::json!(["4,5", "PETG"]));
    browser.close().await;
}

#[tokio::test]
async fn a_task_that_is_done_from_the_page_is_used_no_more() {
    const TASK: &str = "oil the y rods";
    let shop = Shop::demo();
    let before = due(&shop, TASK);
    assert!(0.2 < before["used"].as_f64().expect("a share"), "{before}");
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/machines/bowline")).await;
    browser.press("A task was done").await;
    browser.fill("Task", TASK).await;
    send(&browser).await;
    browser.shows_soon(&["oil the y rods on bowline: done"]).await;
    let script = format!(
        "return [...document.querySelectorAll('tr')].find(row => row.textContent.includes('{TASK}')).textContent"
    );
    let row = browser.ask(&script).await;
    assert!(row.as_str().expect("a row").contains("0 %"), "{row}");
    // Just done is 0 by definition.
    assert!(due(&shop, TASK)["used"].as_f64().expect("a share") < 0.001);
    browser.close().await;
}

#[tokio::test]
async fn a_form_that_is_refused_keeps_what_was_typed_and_records_nothing() {
    let shop = Shop::demo();
    let before = shop.run(&["history", "bowline", "--most", "1"]);
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/machines/bowline")).await;
    browser.press("A task was done").await;
    browser.fill("Task", "wipe the x rods").await;
    browser.fill("Used besides", "lithium grease=2 ml").await;
    browser.fill("Note", "with <b>love</b>").await;
    send(&browser).await;
    browser.shows_soon(&["must not touch"]).await;
    browser.photograph("machine-refused").await;
    let kept = browser
        .ask("return ['done-task', 'done-used', 'done-note'].map(id => document.getElementById(id).value).concat(document.getElementById('done-task').closest('details').open)")
        .await;
    assert_eq!(kept, serde_json::json!(["wipe the x rods", "lithium grease=2 ml", "with <b>love</b>", true]));
    assert_eq!(shop.run(&["history", "bowline", "--most", "1"]), before);
    browser.close().await;
}

#[tokio::test]
async fn the_picture_of_readings_has_the_builds_limit_as_a_named_line_above_those_that_are_good() {
    let shop = Shop::demo();
    // The build of the reef knot says of the play of its head's bushings: at most 0.1 mm.
    let at = "head bushings";
    for (value, when) in [("0.04 mm", "20 Nov 9:00"), ("0.06 mm", "23 Nov 9:00")] {
        shop.run(&["reading", at, "play", value, "--on", "reef knot", "--when", when]);
    }
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page(&format!("/machines/reef%20knot/{}", at.replace(' ', "%20")))).await;
    browser.shows_soon(&["Good: at most 0.1 mm"]).await;
    let drawn = "const at = document.querySelector('.graph .limit').getBBox().y; \
                 return [[...document.querySelectorAll('.graph text')].some((text) => text.textContent === 'good to 0.1'), \
                 [...document.querySelectorAll('.graph circle')].every((mark) => at < Number(mark.getAttribute('cy')))]";
    assert_eq!(browser.ask(drawn).await, serde_json::json!([true, true]));
    browser.photograph("readings-limit").await;
    browser.close().await;
}

#[tokio::test]
async fn a_run_is_booked_by_its_file_from_the_page() {
    let shop = Shop::demo();
    let (_folder, file) = rib();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/machines/bowline")).await;
    browser.press("Book a run").await;
    choose_file(&browser, "run", &file).await;
    let material = browser.client.find(Locator::Css("#run-material")).await.expect("a list");
    material.select_by_label("PLA").await.expect("PLA");
    send(&browser).await;
    browser.shows_soon(&["rib.gcode, from"]).await;
    assert!(shop.run(&["history", "bowline", "--most", "5"]).contains("rib.gcode"));
    browser.close().await;
}

#[tokio::test]
async fn the_drawing_that_fits_is_shown_with_letters_that_can_be_read() {
    let shop = Shop::demo();
    let server = shop.serve();
    for (size, name) in [(PHONE, "narrow"), (DESK, "wide")] {
        let browser = Browser::open(size).await;
        browser.go(&server.page("/machines/bowline")).await;
        let shown = browser
            .ask(
                "const shown = [...document.querySelectorAll('svg.sheet')].filter(sheet => 0 < sheet.getBoundingClientRect().width);
                 const scale = shown[0].getBoundingClientRect().width / shown[0].viewBox.baseVal.width;
                 const sizes = [...shown[0].querySelectorAll('text')].map(text => parseFloat(getComputedStyle(text).fontSize) * scale);
                 const boxes = [...shown[0].querySelectorAll('a > text')].map(text => text.getBoundingClientRect());
                 const meet = (a, b) => a.left < b.right && b.left < a.right && a.top + 2 < b.bottom && b.top + 2 < a.bottom;
                 let met = 0;
                 boxes.forEach((one, at) => boxes.slice(at + 1).forEach(other => { if (meet(one, other)) met += 1; }));
                 return [shown.length, shown[0].getAttribute('class'), Math.min(...sizes), met];",
            )
            .await;
        assert_eq!(shown[0], 1, "one drawing at a time");
        assert_eq!(shown[1], format!("sheet {name}"));
        // Smaller letters are hard to read on a phone.
        assert!(11.0 <= shown[2].as_f64().expect("a size"), "{shown}");
        assert_eq!(shown[3], 0, "labels that overlap as the browser draws them");
        browser.close().await;
    }
}

#[tokio::test]
async fn a_part_of_the_drawing_leads_to_its_page() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/machines/bowline")).await;
    let part = browser.client.find(Locator::Css("svg.wide a[href$='/x%20rods'] text")).await.expect("the part");
    browser.press_on(&part).await;
    for words in ["x rods, bowline", "In service since", "Where it is worn", "wipe the x rods", "Never"] {
        browser.shows(words).await;
    }
    browser.press("Its chance to fail soon").await;
    browser.shows_soon(&["Its life"]).await;
    browser.close().await;
}

#[tokio::test]
async fn every_machine_has_a_label_that_opens_its_page_at_this_server() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    for (size, least_mm) in [("30", 27.0), ("40", 37.0)] {
        browser.go(&server.page(&format!("/labels?size={size}"))).await;
        let codes = browser
            .ask("return [...document.querySelectorAll('svg.code')].map(code => [code.getAttribute('aria-label'), code.getBoundingClientRect().width])")
            .await;
        let codes = codes.as_array().expect("codes");
        let wanted = format!("Code that opens {}", server.page("/machines/clove%20hitch"));
        let of_one = codes.iter().find(|code| code[0] == wanted.as_str()).expect("the machine's code");
        // A CSS pixel is 1/96 in; an inch is 25.4 mm.
        assert!(least_mm < of_one[1].as_f64().expect("a width") / 96.0 * 25.4, "{of_one}");
        assert_eq!(codes.len(), 6, "the demo has six machines");
    }
    browser.close().await;
}

#[tokio::test]
async fn machines_are_found_by_a_part_of_their_name() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/machines?by=used")).await;
    browser.fill("Name holds", "HITCH").await;
    browser.press("Show").await;
    browser.shows_soon(&["clove hitch"]).await;
    browser.hides("bowline").await;
    browser.close().await;
}

#[tokio::test]
async fn a_machines_tasks_of_a_round_stand_open_and_later_ones_unfold_by_a_key() {
    let shop = Shop::demo();
    let all: Value = serde_json::from_str(&shop.run(&["due", "bowline", "--all", "--json"])).expect("JSON");
    let all = all.as_array().expect("tasks");
    // Two weeks from the tests' present on; a day in this form is compared as text.
    let is_near =
        |due: &Value| due["due"]["is"] == "due" || due["due"]["median"].as_str().is_some_and(|day| day < "2026-12-09");
    let near = all.iter().filter(|due| is_near(due)).count();
    assert!(0 < near && near < all.len(), "{near} of {}", all.len());
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/machines/bowline")).await;
    let shown = "return [...document.querySelectorAll('[aria-labelledby=due] tbody tr')].filter(row => row.checkVisibility()).length";
    assert_eq!(browser.ask(shown).await, near);
    browser.ask("document.querySelector('[aria-labelledby=due] summary').focus()").await;
    let summary = browser.client.active_element().await.expect("what has the focus");
    assert!(summary.text().await.expect("text").starts_with("Later: "));
    summary.send_keys(" ").await.expect("the key is pressed");
    assert_eq!(browser.ask(shown).await, all.len());
    browser.go(&server.page("/machines/bowline?why")).await;
    assert_eq!(browser.ask(shown).await, all.len(), "whoever asks why sees all");
    browser.close().await;
}
