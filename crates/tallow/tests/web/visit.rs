//! A visit walked in the browser: ticked at the machine with and without a connection, by one keeper and by two, and booked once.

use std::collections::BTreeSet;
use std::time::Instant;

use base64::prelude::{BASE64_STANDARD, Engine};
use fantoccini::Locator;
use serde_json::{Value, json};

use crate::harness::{Browser, PHONE, Server, Shop};
use crate::plain::{get, post as post_form, send};

/// The most taps from the scanned code to the booked visit of six tasks and one reading.
const MOST_TAPS: usize = 12;

/// A visit with its tasks, in the order of the sheet.
struct Visit {
    number: i64,
    machine: String,
    tasks: Vec<String>,
}

/// The visit of today's with the most tasks.
fn visit(shop: &Shop) -> Visit {
    let all: Value = serde_json::from_str(&shop.run(&["--json", "visit"])).expect("JSON");
    let of_today = all.as_array().expect("visits").iter().filter(|visit| visit["day"] == "2026-11-25");
    let longest = of_today.max_by_key(|visit| visit["tasks"].as_array().map_or(0, Vec::len)).expect("a visit today");
    of_number(shop, longest["visit"].as_i64().expect("a number"))
}

fn of_number(shop: &Shop, number: i64) -> Visit {
    let sheets: Value = serde_json::from_str(&shop.run(&["--json", "sheet", &number.to_string()])).expect("JSON");
    let sheet = &sheets[0];
    let stages = sheet["stages"].as_array().expect("stages").iter().filter(|stage| stage["is_task"] == true);
    let tasks = stages.map(|stage| stage["does"].as_str().expect("a task").to_owned()).collect();
    Visit { number, machine: sheet["machine"].as_str().expect("a machine").to_owned(), tasks }
}

impl Visit {
    fn page(&self, server: &Server) -> String {
        server.page(&format!("/visits/{}", self.number))
    }

    /// Opens its page, and waits until the browser keeps a copy that can be read without a connection.
    async fn open_and_keep(&self, server: &Server, browser: &Browser) {
        browser.go(&self.page(server)).await;
        browser.until("return navigator.serviceWorker.controller !== null").await;
        let copy = format!("caches.open('tallow-visits').then((cache) => cache.match('/visits/{}'))", self.number);
        browser.until(&format!("return {copy}.then((copy) => !!copy)")).await;
    }

    /// What was booked of care and readings since people were told of the visit, as the command line tells it.
    fn booked(&self, shop: &Shop) -> Vec<Value> {
        let listed: Value = serde_json::from_str(&shop.run(&["--json", "history", &self.machine])).expect("JSON");
        let is_care =
            |entry: &Value| ["done", "skipped", "reading"].contains(&entry["kind"].as_str().unwrap_or_default());
        let is_new = |entry: &&Value| self.number < entry["entry"].as_i64().expect("a number") && is_care(entry);
        listed.as_array().expect("entries").iter().filter(is_new).cloned().collect()
    }
}

/// How often a text stands in entries.
fn count(entries: &[Value], text: &str) -> usize {
    entries.iter().filter(|entry| entry.to_string().contains(text)).count()
}

impl Browser {
    pub(crate) async fn until_shown(&self, words: &str) {
        self.until(&format!("return document.body.innerText.includes({})", json!(words))).await;
    }

    /// Taps what a selector finds first that can be seen.
    pub(crate) async fn tap(&self, selector: &str) {
        let all = self.client.find_all(Locator::Css(selector)).await.expect("an answer");
        for one in all {
            if one.is_displayed().await.expect("an answer") {
                one.click().await.unwrap_or_else(|error| panic!("\"{selector}\" can't be tapped: {error}"));
                return;
            }
        }
        panic!("nothing to tap: {selector}\n{}", self.text().await);
    }

    /// Waits until the page at an address that ends so is there whole: without scripts each press loads one.
    async fn until_at(&self, end: &str) {
        let end = json!(end);
        self.until(&format!("return location.href.endsWith({end}) && document.readyState === 'complete'")).await;
    }

    /// Cuts the connection, or gives it back.
    async fn connected(&self, is: bool) {
        self.tell_browser("Network.enable", json!({})).await;
        let speed = if is { -1 } else { 0 };
        let how = json!({ "offline": !is, "latency": 0, "downloadThroughput": speed, "uploadThroughput": speed });
        self.tell_browser("Network.emulateNetworkConditions", how).await;
    }
}

pub(crate) const DONE: &str = "section.step:not([hidden]) button[value=done]";
pub(crate) const FINISH: &str = "#finish button.big";

#[tokio::test]
async fn six_ticks_a_reading_and_the_finish_are_at_most_twelve_taps() {
    let shop = Shop::demo();
    let all: Value = serde_json::from_str(&shop.run(&["--json", "visit"])).expect("JSON");
    let longest =
        all.as_array().expect("visits").iter().max_by_key(|visit| visit["tasks"].as_array().map_or(0, Vec::len));
    let longest = longest.expect("a visit");
    // Six tasks are left to be ticked: the others of a long visit are skipped beforehand.
    let number = longest["visit"].as_i64().expect("a number");
    let visit = of_number(&shop, number);
    assert!(6 <= visit.tasks.len(), "the demo has a visit of six tasks: {:?}", visit.tasks);
    shop.run(&["reading", &read_at(&shop, &visit, 5), "play", "0.1 mm", "--on", &visit.machine, "--when", "yesterday"]);
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    for task in &visit.tasks[6..] {
        browser.go(&visit.page(&server)).await;
        post(&browser, &visit, &[("task", task), ("do", "skip"), ("reason", "another day"), ("key", task)]).await;
    }
    let mut taps = 1; // The scan opens the page.
    browser.go(&visit.page(&server)).await;
    for place in 0..6 {
        if place == 5 {
            let field = "section.step:not([hidden]) input[name^='reading:']";
            browser.tap(field).await;
            taps += 1;
            browser.client.find(Locator::Css(field)).await.expect("a field").send_keys("0.12").await.expect("typed");
        }
        browser.tap(DONE).await;
        taps += 1;
    }
    // What was skipped before stands between the last tick and the end.
    browser.ask("show(document.querySelectorAll('section.step').length)").await;
    browser.until("return !document.getElementById('left-out').textContent.includes('Neither')").await;
    browser.tap(FINISH).await;
    taps += 1;
    browser.until_shown("Finished").await;
    assert!(taps <= MOST_TAPS, "{taps} taps");
    let booked = visit.booked(&shop);
    assert_eq!(count(&booked, "\"value\":0.12"), 1, "{booked:#?}");
    for task in &visit.tasks[..6] {
        assert_eq!(count(&booked, task), 1, "{task}: {booked:#?}");
    }
    browser.close().await;
}

/// The position of a visit's task of that place.
fn read_at(shop: &Shop, visit: &Visit, place: usize) -> String {
    let steps: Value =
        serde_json::from_str(&shop.run(&["--json", "steps", &visit.tasks[place], "--on", &visit.machine]))
            .expect("JSON");
    steps["position"].as_str().expect("a position").to_owned()
}

/// Posts to a visit's checklist as a form would, from the page that is open.
async fn post(browser: &Browser, visit: &Visit, fields: &[(&str, &str)]) {
    let script = format!(
        "return fetch('/visits/{}/marks', {{ method: 'POST', body: new URLSearchParams({}) }}).then((response) => response.status)",
        visit.number,
        json!(fields)
    );
    assert_eq!(browser.ask(&script).await, 200);
}

#[tokio::test]
async fn a_visit_walked_without_a_connection_is_sent_once_and_booked_once() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    visit.open_and_keep(&server, &browser).await;
    browser.tap(DONE).await;
    browser.until("return document.getElementById('progress').textContent.startsWith('1 ')").await;
    browser.connected(false).await;
    browser.tap(DONE).await;
    browser.until_shown("not yet sent").await;
    // The page is loaded again without a connection: it is there, and knows what was ticked.
    browser.go(&visit.page(&server)).await;
    browser.until_shown("not yet sent").await;
    // The clock of the server under test stands still, so the device's does, too: else the visit ended before it was told.
    browser.ask("const now = Date.now(); Date.now = () => now").await;
    for _ in 2..visit.tasks.len() {
        browser.tap(DONE).await;
    }
    browser.until("return document.activeElement.textContent === 'Finish'").await;
    browser.tap(FINISH).await;
    browser.until_shown("The finish is kept on this device").await;
    assert!(visit.booked(&shop).is_empty());
    browser.connected(true).await;
    browser.until_shown("Finished").await;
    let booked = visit.booked(&shop);
    for task in &visit.tasks {
        assert_eq!(count(&booked, task), 1, "{task}: {booked:#?}");
    }
    assert_eq!(
        browser.ask("return Object.keys(localStorage).filter((key) => key.startsWith('tallow-visit-')).length").await,
        0
    );
    browser.close().await;
}

#[tokio::test]
async fn a_finish_sent_again_is_a_success_and_a_second_keepers_is_refused_without_loss() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&visit.page(&server)).await;
    let finish = |key: &str, note: &str| {
        let mut fields = vec![("key".to_owned(), key.to_owned()), ("note".to_owned(), note.to_owned())];
        fields.extend(visit.tasks.iter().map(|task| (format!("not:{task}"), "no time".to_owned())));
        format!(
            "return fetch('/visits/{}/finish', {{ method: 'POST', body: new URLSearchParams({}) }}) \
             .then((response) => response.text().then((text) => [response.status, text]))",
            visit.number,
            json!(fields)
        )
    };
    let nothing_said = format!(
        "return fetch('/visits/{}/finish', {{ method: 'POST', body: new URLSearchParams([['key', 'x']]) }}) \
         .then((response) => response.text().then((text) => [response.status, text]))",
        visit.number
    );
    let refused = browser.ask(&nothing_said).await;
    assert_eq!(refused[0], 422);
    assert!(refused[1].as_str().is_some_and(|page| page.contains("Neither done nor skipped: ")), "{refused}");
    for _ in 0..2 {
        assert_eq!(browser.ask(&finish("first", "mine")).await[0], 200);
    }
    let second = browser.ask(&finish("second", "found a crack")).await;
    let page = second[1].as_str().unwrap_or_default();
    assert_eq!(second[0], 422, "{page}");
    assert!(page.contains("has been finished already") && page.contains("found a crack"), "{page}");
    let booked = visit.booked(&shop);
    for task in &visit.tasks {
        assert_eq!(count(&booked, task), 1, "{booked:#?}");
    }
    assert_eq!(count(&booked, "not done: no time"), visit.tasks.len());
    browser.close().await;
}

#[test]
fn of_presses_at_once_one_books_the_visit_and_is_a_success_wherever_it_arrives_again() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let reasons: Vec<String> = visit.tasks.iter().map(|task| format!("not:{task}")).collect();
    let finish = |key: &str| {
        let fields: Vec<(&str, &str)> =
            [("key", key)].into_iter().chain(reasons.iter().map(|field| (&**field, "no time"))).collect();
        post_form(&format!("/visits/{}/finish", visit.number), &fields).to(&server).status
    };
    let statuses = std::thread::scope(|scope| {
        let pressed = ["one", "other", "one", "other", "one"].map(|key| scope.spawn(move || (key, finish(key))));
        pressed.map(|pressed| pressed.join().expect("an answer"))
    });
    let [one, other] = ["one", "other"].map(|of| {
        let of_key: BTreeSet<u16> = statuses.iter().filter(|(key, _)| *key == of).map(|(_, status)| *status).collect();
        of_key.into_iter().collect::<Vec<_>>()
    });
    assert!([[vec![303], vec![422]], [vec![422], vec![303]]].contains(&[one, other]), "{statuses:?}");
    let booked = visit.booked(&shop);
    for task in &visit.tasks {
        assert_eq!(count(&booked, task), 1, "{task}: {booked:#?}");
    }
}

#[tokio::test]
async fn two_keepers_at_one_machine_see_each_others_ticks() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let (one, other) = (Browser::open(PHONE).await, Browser::open(PHONE).await);
    for browser in [&one, &other] {
        browser.go(&format!("{}?all=yes", visit.page(&server))).await;
    }
    one.tap("#step-1 button[value=done]").await;
    other.tap("#step-1 button[value=done]").await;
    other.tap("#step-2 button[value=done]").await;
    for browser in [&one, &other] {
        browser.until("return document.getElementById('progress').textContent.startsWith('2 ')").await;
        browser.until("return document.querySelector('#step-2').dataset.state === 'done'").await;
    }
    one.close().await;
    other.close().await;
}

#[tokio::test]
async fn what_is_typed_is_shown_as_typed_and_runs_nowhere() {
    const HOSTILE: &str = "<img src=x onerror=\"document.title='owned'\">";
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&format!("{}?all=yes", visit.page(&server))).await;
    post(
        &browser,
        &visit,
        &[("task", &visit.tasks[0]), ("do", "skip"), ("reason", HOSTILE), ("note", HOSTILE), ("key", "k")],
    )
    .await;
    browser.until_shown(HOSTILE).await;
    browser.connected(false).await;
    browser.tap("#step-2 summary").await;
    let reason = browser.client.find(Locator::Css("#step-2 input[name=reason]")).await.expect("a field");
    reason.send_keys(HOSTILE).await.expect("typed");
    browser.tap("#step-2 button[value=skip]").await;
    browser.until_shown("not yet sent").await;
    browser.connected(true).await;
    browser.until("return document.querySelector('#step-2').dataset.state === 'skipped'").await;
    for task in &visit.tasks[2..] {
        post(&browser, &visit, &[("task", task), ("do", "done"), ("key", task)]).await;
    }
    browser.go(&format!("{}?all=yes", visit.page(&server))).await;
    browser.tap(FINISH).await;
    browser.until_shown("Finished").await;
    browser.until_shown(HOSTILE).await;
    assert_ne!(browser.client.title().await.expect("a title"), "owned");
    let booked = visit.booked(&shop);
    assert_eq!(count(&booked, "onerror"), booked.len(), "the note stands with each entry: {booked:#?}");
    browser.close().await;
}

#[tokio::test]
async fn photos_are_checked_by_their_first_bytes_and_their_size() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&format!("{}?all=yes", visit.page(&server))).await;
    let send = |bytes: &str| {
        format!(
            "const form = new FormData(); form.set('task', {}); form.set('key', String(Math.random())); \
             form.set('photo', new File([{bytes}], 'photo.png', {{ type: 'image/png' }})); \
             return fetch('/visits/{}/photos', {{ method: 'POST', body: form }}) \
             .then((response) => response.text().then((text) => [response.status, text]))",
            json!(visit.tasks[0]),
            visit.number
        )
    };
    for (bytes, words) in [
        ("'<svg onload=alert(1)>'", "no photo of kind JPEG, PNG or WebP"),
        ("new Uint8Array(7000000)", "more than 6 MB"),
        ("new Uint8Array(65000000)", "more than 6 MB"),
    ] {
        let answer = browser.ask(&send(bytes)).await;
        assert_eq!(answer[0], 422, "{bytes}");
        assert!(answer[1].as_str().is_some_and(|page| page.contains(words)), "{bytes}: {}", answer[1]);
    }
    // A picture that the browser itself draws, chosen in the form as a keeper would.
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("seen.png");
    std::fs::write(&file, browser.client.screenshot().await.expect("a picture")).expect("written");
    let input = browser.client.find(Locator::Css("#photo-1")).await.expect("a field");
    input.send_keys(file.to_str().expect("UTF-8")).await.expect("chosen");
    browser.until("return document.querySelector('#state-1 img')?.naturalWidth > 0").await;
    let headers = format!(
        "return fetch('/visits/{}/photos/1').then((response) => [response.headers.get('content-type'), \
         response.headers.get('x-content-type-options'), response.headers.get('content-security-policy')])",
        visit.number
    );
    assert_eq!(browser.ask(&headers).await, json!(["image/png", "nosniff", "default-src 'none'; sandbox"]));
    browser.close().await;
}

#[tokio::test]
async fn without_scripts_a_visit_is_ticked_skipped_and_finished_too() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.tell_browser("Emulation.setScriptExecutionDisabled", json!({ "value": true })).await;
    browser.go(&visit.page(&server)).await;
    browser.tap("section.step:not([hidden]) details summary").await;
    let reason = browser.client.find(Locator::Css("#step-1 input[name=reason]")).await.expect("a field");
    reason.send_keys("no wipe left").await.expect("typed");
    browser.tap("section.step:not([hidden]) button[value=skip]").await;
    for step in 2..=visit.tasks.len() {
        browser.until_at(&format!("?step={step}")).await;
        browser.tap(DONE).await;
    }
    browser.until_at(&format!("?step={}", visit.tasks.len() + 1)).await;
    browser.shows("ticked").await;
    browser.tap(FINISH).await;
    browser.until_at(&format!("/visits/{}", visit.number)).await;
    browser.shows("Finished").await;
    let booked = visit.booked(&shop);
    assert_eq!(booked.len(), visit.tasks.len());
    assert_eq!(count(&booked, "no wipe left"), 1);
    browser.close().await;
}

#[tokio::test]
async fn photos_taken_without_a_connection_are_kept_over_a_reload_and_sent_once_before_the_finish() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    visit.open_and_keep(&server, &browser).await;
    let folder = tempfile::tempdir().expect("a folder");
    let (file, large) = (folder.path().join("seen.png"), folder.path().join("large.png"));
    std::fs::write(&file, browser.client.screenshot().await.expect("a picture")).expect("written");
    std::fs::write(&large, vec![0; 6_000_001]).expect("written");
    let choose = |file: std::path::PathBuf| {
        let browser = &browser;
        async move {
            let input = browser.client.find(Locator::Css("#photo-1")).await.expect("a field");
            input.send_keys(file.to_str().expect("UTF-8")).await.expect("chosen");
        }
    };
    browser.connected(false).await;
    choose(large).await;
    browser.until_shown("more than 6 MB").await;
    choose(file).await;
    let waits = format!("{}: a photo: kept on this device, not yet sent", visit.tasks[0]);
    browser.until_shown(&waits).await;
    browser.photograph("visit-photo-waits").await;
    // The page is loaded again without a connection, and tells of the photo still.
    browser.go(&visit.page(&server)).await;
    browser.until_shown(&waits).await;
    // The clock of the server under test stands still, so the device's does, too: else the visit ended before it was told.
    browser.ask("const now = Date.now(); Date.now = () => now").await;
    for _ in &visit.tasks {
        browser.tap(DONE).await;
    }
    browser.until("return document.activeElement.textContent === 'Finish'").await;
    browser.tap(FINISH).await;
    browser.until_shown("The finish is kept on this device").await;
    let waiting = "const open = indexedDB.open('tallow-photos', 1); \
                   return new Promise((resolve) => { open.onsuccess = () => { \
                   const all = open.result.transaction('photos').objectStore('photos').getAll(); \
                   all.onsuccess = () => { open.result.close(); resolve(all.result); }; }; })";
    let key = browser.ask(waiting).await[0]["key"].as_str().expect("a photo that waits").to_owned();
    browser.connected(true).await;
    browser.until_shown("Finished").await;
    assert_eq!(browser.ask(waiting).await, json!([]), "nothing waits any more");
    // Sent again, as after an answer that was lost: a success that adds nothing.
    let again = format!(
        "const form = new FormData(); form.set('task', {}); form.set('key', {}); \
         return fetch('/visits/{number}/photos/1').then((response) => response.blob()).then((photo) => {{ \
         form.set('photo', photo, 'seen.png'); \
         return fetch('/visits/{number}/photos', {{ method: 'POST', body: form }}) }}).then((response) => response.status)",
        json!(visit.tasks[0]),
        json!(key),
        number = visit.number
    );
    assert_eq!(browser.ask(&again).await, 200);
    for (place, status) in [(1, 200), (2, 404)] {
        let ask =
            format!("return fetch('/visits/{}/photos/{place}').then((response) => response.status)", visit.number);
        assert_eq!(browser.ask(&ask).await, status, "photo {place}");
    }
    browser.close().await;
}

#[tokio::test]
async fn a_timer_counts_down_goes_on_over_a_reload_and_says_in_words_that_it_is_over() {
    let shop = Shop::demo();
    let all: Value = serde_json::from_str(&shop.run(&["--json", "visit"])).expect("JSON");
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    // A visit at which a machine has to cool or to heat for some minutes.
    let mut address = String::new();
    for visit in all.as_array().expect("visits") {
        address = server.page(&format!("/visits/{}?all=yes", visit["visit"]));
        browser.go(&address).await;
        if browser.ask("return document.querySelector('.timer') !== null").await == true {
            break;
        }
    }
    let minutes = browser.ask("return Number(document.querySelector('.timer').dataset.minutes)").await;
    let seconds = minutes.as_f64().expect("a visit of the demo has a timer") * 60.0;
    let left = "document.querySelector('.timer .left').textContent";
    // What the page shows, in seconds.
    let shown =
        format!("const [, min, s] = {left}.match(/^(\\d+):(\\d\\d) left$/); return 60 * Number(min) + Number(s)");
    // The page's clock stands still, so many seconds after it was first stopped.
    let later = |seconds: f64| {
        format!("window.stopped ??= Date.now(); const now = window.stopped + {seconds} * 1000; Date.now = () => now")
    };
    browser.ask(&later(0.0)).await;
    let begun = Instant::now();
    browser.tap(".timer button").await;
    let first = browser.ask(&shown).await.as_f64().expect("a time");
    assert!((seconds - first).abs() <= 1.0, "{first} of {seconds} s");
    browser.ask(&later(60.0)).await;
    browser.until(&format!("{shown} === {}", first - 60.0)).await;
    browser.go(&address).await;
    browser.until(&format!("return {left}.endsWith(' left')")).await;
    let again = browser.ask(&shown).await.as_f64().expect("the timer goes on");
    let passed = begun.elapsed().as_secs_f64();
    assert!(again <= first && first - again <= passed + 1.0, "{again} s are left of {first} s after {passed} s");
    assert_eq!(browser.ask("return document.getElementById('announce').textContent").await, "");
    browser.ask(&later(seconds + 1.0)).await;
    browser.until(&format!("return {left} === 'time is over'")).await;
    let said = browser
        .ask("const at = document.getElementById('announce'); return [at.getAttribute('role'), at.textContent]")
        .await;
    let what = browser.ask("return document.querySelector('.timer').dataset.what").await;
    let words =
        format!("The time for {} is over. Read the temperature, do not feel it.", what.as_str().expect("words"));
    assert_eq!(said, json!(["status", words]));
    browser.close().await;
}

/// A picture of one pixel (PNG, W3C 3rd edition), which every browser shows.
const PIXEL: &str = "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==";

#[test]
fn a_visit_takes_twenty_four_photos_and_says_what_to_do_instead_of_one_more() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let photo = BASE64_STANDARD.decode(PIXEL).expect("base 64");
    let address = format!("/visits/{}/photos", visit.number);
    let add = |key: usize| {
        let mut body = format!(
            "--edge\r\ncontent-disposition: form-data; name=\"task\"\r\n\r\n{}\r\n\
             --edge\r\ncontent-disposition: form-data; name=\"key\"\r\n\r\nkey-{key}\r\n\
             --edge\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"seen.png\"\r\n\r\n",
            visit.tasks[0]
        )
        .into_bytes();
        body.extend_from_slice(&photo);
        body.extend_from_slice(b"\r\n--edge--\r\n");
        send(&address, "multipart/form-data; boundary=edge", body).to(&server)
    };
    for key in 1..=24 {
        assert_eq!(add(key).status, 303, "photo {key}");
    }
    let refused = add(25);
    assert_eq!(refused.status, 422);
    for words in ["The visit has 24 photos, and takes no more.", "can be said in a note."] {
        assert!(refused.body.contains(words), "{words}: {}", refused.body);
    }
    assert_eq!(add(24).status, 303, "one that is there is no 25th");
    assert_eq!(get(&format!("{address}/24")).to(&server).status, 200);
    assert_eq!(get(&format!("{address}/25")).to(&server).status, 404);
}

#[tokio::test]
async fn what_one_tab_keeps_another_sends_once_and_both_show_it() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    let page = format!("{}?all=yes", visit.page(&server));
    browser.go(&page).await;
    let first = browser.client.window().await.expect("a tab");
    let second = browser.client.new_window(true).await.expect("another tab").handle;
    // The one has no connection, the other has.
    browser.connected(false).await;
    browser.tap("#step-1 button[value=done]").await;
    browser.until_shown("not yet sent").await;
    browser.client.switch_to_window(second.clone()).await.expect("it is there");
    browser.go(&page).await;
    browser.until("return document.querySelector('#step-1').dataset.state === 'done'").await;
    browser.tap("#step-2 button[value=done]").await;
    browser.until("return document.getElementById('progress').textContent.startsWith('2 ')").await;
    assert_eq!(
        browser.ask("return Object.keys(localStorage).filter((key) => key.startsWith('tallow-visit-'))").await,
        json!([])
    );
    browser.client.switch_to_window(first.clone()).await.expect("it is there");
    browser.connected(true).await;
    browser.until("return document.getElementById('progress').textContent.startsWith('2 ')").await;
    browser.until("return document.getElementById('unsent').hidden").await;
    for step in 3..=visit.tasks.len() {
        browser.tap(&format!("#step-{step} button[value=done]")).await;
    }
    browser.until("return !document.getElementById('left-out').textContent.includes('Neither')").await;
    browser.tap(FINISH).await;
    browser.until_shown("Finished").await;
    browser.client.switch_to_window(second).await.expect("it is there");
    browser.until_shown("Finished").await;
    let booked = visit.booked(&shop);
    for task in &visit.tasks {
        assert_eq!(count(&booked, task), 1, "{task}: {booked:#?}");
    }
    browser.close().await;
}

#[tokio::test]
async fn a_browser_that_keeps_no_photos_walks_a_visit_and_sends_them_at_once() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    let without = json!({ "source": "Object.defineProperty(window, 'indexedDB', { value: undefined })" });
    browser.tell_browser("Page.addScriptToEvaluateOnNewDocument", without).await;
    browser.go(&format!("{}?all=yes", visit.page(&server))).await;
    assert_eq!(browser.ask("return typeof indexedDB").await, "undefined");
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("seen.png");
    std::fs::write(&file, BASE64_STANDARD.decode(PIXEL).expect("base 64")).expect("written");
    let choose = || async {
        let input = browser.client.find(Locator::Css("#photo-1")).await.expect("a field");
        input.send_keys(file.to_str().expect("UTF-8")).await.expect("chosen");
    };
    browser.connected(false).await;
    choose().await;
    browser.until_shown("this browser keeps no photos: it is not sent").await;
    browser.connected(true).await;
    browser.tap("#step-1 form.photo button").await;
    browser.until("return document.querySelectorAll('#state-1 img').length === 1").await;
    for step in 1..=visit.tasks.len() {
        browser.tap(&format!("#step-{step} button[value=done]")).await;
    }
    browser.until("return !document.getElementById('left-out').textContent.includes('Neither')").await;
    browser.tap(FINISH).await;
    browser.until_shown("Finished").await;
    let booked = visit.booked(&shop);
    for task in &visit.tasks {
        assert_eq!(count(&booked, task), 1, "{task}: {booked:#?}");
    }
    browser.close().await;
}

#[tokio::test]
async fn the_printed_sheet_keeps_its_look_under_its_own_policy() {
    let shop = Shop::demo();
    let visit = visit(&shop);
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    for (query, inner) in [("", "276mm"), ("?paper=letter", "258.4mm")] {
        browser.go(&format!("{}/sheet{query}", visit.page(&server))).await;
        // Paper's height less 2 · 10 mm of edge and 1 mm left free (ISO 216; ANSI/ASME Y14.1 size A).
        let style = "return getComputedStyle(document.documentElement).getPropertyValue('--inner').trim()";
        assert_eq!(browser.ask(style).await, inner);
    }
    browser.close().await;
}
