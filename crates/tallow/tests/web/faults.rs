//! Finding a fault on a phone: from a keeper's own words to what mended it, and what that makes of the records.

use serde_json::Value;

use crate::harness::{Browser, DESK, PHONE, Server, Shop};
use crate::plain::{get, post};
use crate::who::{peopled, signed_in};

fn json(shop: &Shop, words: &[&str]) -> Value {
    serde_json::from_str(&shop.run(&[words, &["--json"]].concat())).expect("JSON")
}

/// The number of the only fault that is open.
fn open_fault(shop: &Shop) -> String {
    let open = json(shop, &["fault"]);
    assert_eq!(open.as_array().map(Vec::len), Some(1), "{open}");
    open[0]["fault"].to_string()
}

/// What the stores count of an item.
fn stock(shop: &Shop, item: &str) -> Option<f64> {
    let items = json(shop, &["stores"]);
    items.as_array().expect("a list").iter().find(|one| one["item"] == item)?["stock"].as_f64()
}

/// The page of a fault once its causes are there.
fn settled(server: &Server, address: &str) -> String {
    for _ in 0..300 {
        let heard = get(address).to(server);
        assert_eq!(heard.status, 200, "{address}");
        if !heard.body.contains("being reckoned") {
            return heard.body;
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    panic!("{address} is still being reckoned");
}

/// Whether a remedy is a task of the build: others are named by the cause that they mend.
fn is_task(next: &Value) -> bool {
    next["does"] == "remedy" && !next["name"].as_str().expect("a name").starts_with("mend ")
}

#[tokio::test]
async fn from_a_squeal_in_a_keepers_own_words_to_the_task_that_ends_it() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/machines/bowline")).await;
    browser.press("Something is wrong").await;
    browser.shows_soon(&["In your own words"]).await;
    browser.fill("In your own words", "it squeaks").await;
    browser.press("Look for it").await;
    browser.shows_soon(&["Press what it shows"]).await;
    browser.photograph("faults-squeal").await;
    browser.press("squeal while moving").await;
    browser.shows_soon(&["How likely each cause is"]).await;
    let fault = open_fault(&shop);
    browser.shows("it squeaks").await;

    // Whatever is asked, until a task of the build is to be done.
    let mut next = json(&shop, &["fault", "show", &fault])["next"].clone();
    for _ in 0..20 {
        browser.shows_soon(&["How likely each cause is"]).await;
        if is_task(&next) {
            break;
        }
        let answer = if next["does"] == "check" { "Can\u{2019}t tell" } else { "Did that already" };
        browser.press(answer).await;
        browser.shows_soon(&["entry "]).await;
        let answered = json(&shop, &["fault", "show", &fault]);
        assert_ne!(answered["next"], next, "an answer leads on");
        next = answered["next"].clone();
    }
    assert!(is_task(&next), "a task that mends a squeal comes up: {next}");
    let task = next["name"].as_str().expect("a task").to_owned();
    browser.go_settled(&server.page(&format!("/faults/{fault}"))).await;
    browser.shows("Do: ").await;
    browser.photograph("fault-remedy").await;
    let tall = browser
        .ask("return Math.min(...[...document.querySelectorAll('.answers button')].map(of => of.offsetHeight))")
        .await;
    assert!(60.0 <= tall.as_f64().expect("a height"), "answers are for oily fingers: {tall} px");
    let uses = json(&shop, &["steps", &task, "--on", "bowline"])["supplies"].clone();
    let supply =
        uses.as_array().expect("supplies").iter().find(|one| stock(&shop, one["supply"].as_str().unwrap()).is_some());
    let supply = supply.expect("a supply of the task is counted in the stores");
    let (item, amount) = (supply["supply"].as_str().unwrap(), supply["amount"].as_f64().unwrap());
    let before = stock(&shop, item).unwrap();
    browser.press("That fixed it").await;
    browser.shows_soon(&["It was: "]).await;
    browser.photograph("fault-fixed").await;

    let over = json(&shop, &["fault", "show", &fault]);
    assert_eq!(over["over"]["was"], "cause", "{over}");
    assert_eq!(json(&shop, &["fault"]).as_array().map(Vec::len), Some(0), "none is open");
    let due = json(&shop, &["due", "bowline", "--all"]);
    let all = due["due"].as_array().or(due.as_array()).expect("what is due");
    let share = all.iter().find(|one| one["task"] == task.as_str()).expect("the task")["used"].as_f64();
    assert_eq!(share, Some(0.0), "it counts from now");
    let after = stock(&shop, item).unwrap();
    assert!((before - amount - after).abs() < 1e-6, "{item}: {before} less {amount} is not {after}");
    // The page tells what it recorded, each with its entry.
    let text = browser.text().await;
    let history = json(&shop, &["history", "bowline", "--most", "6"]);
    let kinds: Vec<&str> = history
        .as_array()
        .or(history["entries"].as_array())
        .expect("entries")
        .iter()
        .filter_map(|one| one["kind"].as_str())
        .collect();
    for kind in ["failed", "done", "fault over"] {
        assert!(kinds.contains(&kind), "{kind}: {kinds:?}");
    }
    assert!(
        text.contains(&format!("{task}: done")) || text.contains(&format!("{task}, done")) || text.contains(&task),
        "{text}"
    );
    browser.press("It was not that: look on").await;
    browser.shows_soon(&["How likely each cause is"]).await;
    assert_eq!(open_fault(&shop), fault, "taken back, it is open again");
    browser.close().await;
}

#[tokio::test]
async fn what_may_hurt_somebody_is_ordered_first_and_answers_can_be_taken_back() {
    let shop = Shop::demo();
    let server = shop.serve();
    let browser = Browser::open(PHONE).await;
    browser.go(&server.page("/faults?machine=bowline&q=burning")).await;
    let above = "const button = [...document.querySelectorAll('ul.pressed button')].find(of => of.value === 'smell of burning');
        return button.closest('li').querySelector('.caution.danger').getBoundingClientRect().bottom <= button.getBoundingClientRect().top";
    assert_eq!(browser.ask(above).await, true, "what to do stands above what is pressed");
    browser.press("smell of burning").await;
    browser.shows_soon(&["Before all else"]).await;
    browser.shows("Pull the plug").await;
    browser.photograph("fault-stop").await;
    let address = browser.ask("return location.pathname").await.as_str().unwrap().to_owned();
    browser.go_settled(&server.page("/")).await;
    let forbidden = "return document.querySelector('[aria-labelledby=forbidden]').innerText";
    let forbidden = browser.ask(forbidden).await.as_str().unwrap().to_owned();
    assert!(forbidden.contains("bowline") && forbidden.contains("smell of burning"), "not to be run: {forbidden}");
    browser.go_settled(&server.page(&address)).await;
    browser.press("That is done").await;
    browser.shows_soon(&["stop because of"]).await;
    let fault = open_fault(&shop);
    browser.hides("Before all else").await;
    browser.press("Take back: stop because of").await;
    browser.shows_soon(&["Before all else"]).await;

    // What was told first is taken back, too.
    browser.press("Say what else shows").await;
    browser.fill("What you see, hear, smell or measure", "layer shift").await;
    browser.press("It shows this too").await;
    browser.shows_soon(&["layer shift"]).await;
    browser.go_settled(&server.page(&format!("/faults/{fault}"))).await;
    browser.press("Take back: smell of burning").await;
    browser.shows_soon(&["smell of burning, can"]).await;
    browser.go_settled(&server.page(&format!("/faults/{fault}"))).await;
    browser.hides("Before all else").await;
    browser.close().await;
}

#[test]
fn a_fault_is_begun_answered_and_closed_without_scripts_and_what_is_refused_keeps_what_was_typed() {
    let shop = Shop::demo();
    let server = shop.serve();
    let found = get("/faults?machine=bowline&q=it+squeaks").to(&server).body;
    assert!(found.contains("value=\"squeal while moving\""), "{found}");
    let none = get("/faults?machine=bowline&q=zzzz").to(&server).body;
    assert!(none.contains("No symptom is known by these words."));
    let refused =
        post("/faults/new", &[("machine", ""), ("symptom", "squeal while moving"), ("note", "since the storm")]);
    let refused = refused.to(&server);
    assert_eq!(refused.status, 422);
    assert!(refused.body.contains("No machine was chosen.") && refused.body.contains("value=\"since the storm\""));

    let begun = post("/faults/new", &[("machine", "bowline"), ("symptom", "squeal while moving"), ("when", "now")]);
    let begun = begun.to(&server);
    assert_eq!(begun.status, 303, "{}", begun.body);
    let fault = open_fault(&shop);
    let address = format!("/faults/{fault}");
    assert_eq!(begun.header("location"), Some(address.as_str()));
    let page = settled(&server, &address);
    let of = page.split("name=\"of\" value=\"").nth(1).and_then(|rest| rest.split('"').next()).expect("what is asked");
    let of = of.replace("&quot;", "\"");
    let say = |answer: &str, of: &str| {
        post(&format!("{address}/say"), &[("form", "answer"), ("of", of), ("answer", answer)]).to(&server)
    };
    assert_eq!(say("", &of).status, 422, "a key pressed in a field answers nothing");
    assert_eq!(say("yes", "no such check").status, 422);
    assert_eq!(say("cannot-tell", &of).status, 303);
    assert!(settled(&server, &address).contains(&of.replace('"', "&quot;")), "the trail tells of it");
    // A second fault that shows the same is refused.
    let again = post("/faults/new", &[("machine", "bowline"), ("symptom", "squeal while moving")]).to(&server);
    assert_eq!(again.status, 422);
    assert!(!again.body.contains("tallow fault"), "{}", again.body);

    let end = |fields: &[(&str, &str)]| post(&format!("{address}/end"), fields).to(&server);
    let refused = end(&[("form", "other"), ("words", ""), ("note", "typed")]);
    assert_eq!(refused.status, 422);
    assert!(refused.body.contains("value=\"typed\""), "{}", refused.body);
    assert_eq!(end(&[("form", "other"), ("words", "a pin on the bed")]).status, 303);
    let over = settled(&server, &address);
    assert!(over.contains("It was: a pin on the bed (not listed)"), "{over}");
    assert!(!over.contains(&format!("action=\"{address}/say\"")), "what is over is asked nothing");
    assert_eq!(say("yes", &of).status, 422);
    assert!(get("/faults").to(&server).body.contains("a pin on the bed"));
    // No entry but those of the fault can be taken back here.
    assert_eq!(post(&format!("{address}/back"), &[("entry", "1")]).to(&server).status, 422);
    assert_eq!(get("/faults/1").to(&server).status, 404);
    assert_eq!(get("/faults/abc").to(&server).status, 400);
}

#[test]
fn words_that_do_harm_are_shown_as_they_were_typed() {
    let shop = Shop::demo();
    let server = shop.serve();
    let harmful = "<script>alert(1)</script>\" onmouseover=\"x' & {{7*7}}";
    let shown = "&lt;script&gt;alert(1)&lt;/script&gt;&quot; onmouseover=&quot;x' &amp; {{7*7}}";
    let query: String = harmful.bytes().map(|byte| format!("%{byte:02X}")).collect();
    let asked = get(&format!("/faults?machine=bowline&q={query}")).to(&server).body;
    assert!(asked.contains(shown) && !asked.contains("<script>alert"), "{asked}");
    let unknown = post("/faults/new", &[("machine", "bowline"), ("symptom", harmful)]).to(&server);
    assert_eq!(unknown.status, 422);
    assert!(!unknown.body.contains("<script>alert"));
    let begun = post("/faults/new", &[("machine", "bowline"), ("symptom", "squeal while moving"), ("note", harmful)]);
    assert_eq!(begun.to(&server).status, 303);
    let address = format!("/faults/{}", open_fault(&shop));
    let page = settled(&server, &address);
    assert!(page.contains(shown) && !page.contains("<script>alert"), "{page}");
    let end = [("form", "other"), ("words", harmful)];
    assert_eq!(post(&format!("{address}/end"), &end).to(&server).status, 303);
    for address in [address.as_str(), "/faults"] {
        let page = settled(&server, address);
        assert!(page.contains(shown) && !page.contains("<script>alert"), "{address}: {page}");
    }
}

#[test]
fn whoever_may_only_look_reads_faults_and_changes_none_and_whoever_records_sets_no_grade() {
    let shop = peopled();
    shop.run(&["fault", "new", "bowline", "squeal while moving"]);
    let address = format!("/faults/{}", open_fault(&shop));
    let server = shop.serve();
    let (look, record) = (signed_in(&server, "look"), signed_in(&server, "record"));
    assert_eq!(get(&address).with("cookie", &look).to(&server).status, 200);
    for what in ["say", "end", "back"] {
        let sent = post(&format!("{address}/{what}"), &[("form", "x")]).with("cookie", &look).to(&server);
        assert_eq!(sent.status, 403, "{what}");
    }
    let new = [("machine", "bowline"), ("symptom", "layer shift")];
    assert_eq!(post("/faults/new", &new).with("cookie", &look).to(&server).status, 403);
    let grade = [("cause", "slack belt"), ("finding", "layer shift"), ("grade", "seldom"), ("why", "ours hold")];
    assert_eq!(post("/faults/grades", &grade).with("cookie", &record).to(&server).status, 403);
    let plan = signed_in(&server, "plan");
    assert_eq!(post("/faults/grades", &grade).with("cookie", &plan).to(&server).status, 303);
    let grades = json(&shop, &["fault", "grade"]);
    let own = grades.as_array().expect("links").iter().find(|link| link["own_grade"] == "seldom").expect("the grade");
    assert_eq!((&own["cause"], &own["finding"]), (&"slack belt".into(), &"layer shift".into()));
}

#[tokio::test]
async fn an_open_fault_stands_on_today_and_at_its_machine_and_its_likeliest_causes_are_ringed() {
    let shop = Shop::demo();
    shop.run(&["fault", "new", "bowline", "squeal while moving"]);
    let fault = open_fault(&shop);
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/")).await;
    browser.shows("Open faults").await;
    browser.press("Go on").await;
    browser.shows_soon(&["How likely each cause is"]).await;
    browser.photograph("fault-desk").await;
    browser.go(&server.page("/machines/bowline")).await;
    browser.shows("Open fault: squeal while moving").await;
    let ringed = browser.ask("return document.querySelectorAll('svg.sheet.wide .ring:not(.under)').length").await;
    assert!((1..=3).contains(&ringed.as_u64().expect("a number")), "{ringed} are ringed");
    browser.shows("Ringed: where the likeliest causes of an open fault sit.").await;
    browser.photograph("machine-fault").await;
    // On paper stand the causes and the trail, and nothing that is pressed.
    browser.go_settled(&server.page(&format!("/faults/{fault}"))).await;
    browser.tell_browser("Emulation.setEmulatedMedia", serde_json::json!({ "media": "print" })).await;
    let seen = browser.ask("return [...document.querySelectorAll('main button, main form, #causes, #trail')].filter(of => of.offsetHeight).map(of => of.id || of.tagName)").await;
    assert_eq!(seen, serde_json::json!(["causes", "trail"]));
    browser.close().await;
}
