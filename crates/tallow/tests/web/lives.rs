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

/// A shop with a machine whose nozzles failed so alike, and so dearly, that changing them early pays, and whose build has a
/// task that changes them.
fn shop_with_advice() -> Shop {
    let shop = Shop::empty();
    let task = "[[task]]\nname = \"change the nozzle\"\nat = \"nozzle\"\nstate = \"isolated\"\nminutes = 10\n\
                neglect = \"failed print\"\nrenews = true\nsteps = [\"Change it.\"]\n[[task.limit]]\nevery = \"900 h\"\n\
                of = \"time\"\nsource = \"common practice, no source\"\n";
    let build = shop.run(&["build", "print", "moving-bed"]);
    let named = build.lines().map(|line| if line.starts_with("name") { "name = \"with a nozzle task\"" } else { line });
    // The first line of that kind names the build; those of its parts stand as they are.
    let first = build.lines().position(|line| line.starts_with("name")).expect("a name");
    let lines: Vec<&str> = named.take(first + 1).chain(build.lines().skip(first + 1)).collect();
    let own = shop.place().with_file_name("own.toml");
    std::fs::write(&own, format!("{}\n{task}", lines.join("\n"))).expect("written");
    shop.run(&["machine", "add", "reef", "--build", own.to_str().expect("UTF-8"), "--when", "1 Nov 2026"]);
    shop.run(&[
        "rates",
        "--currency",
        "EUR",
        "--labour",
        "60",
        "--failed-print",
        "100",
        "--nuisance",
        "1",
        "--damage",
        "100",
        "--standing",
        "0",
    ]);
    for (index, hours) in ["42", "45", "41", "48", "44", "43"].into_iter().enumerate() {
        let day = 2 + 4 * index;
        let [start, end] = [format!("{day} Nov 0:00"), format!("{} Nov 20:00", day + 2)];
        shop.run(&["run", "--on", "reef", "--hours", hours, "--material", "PLA", "--label", &start, "--when", &start]);
        shop.run(&["failure", "nozzle", "thin", "--on", "reef", "--when", &end]);
        shop.run(&["replace", "nozzle", "--because", "failed", "--on", "reef", "--when", &end]);
    }
    shop
}

#[tokio::test]
async fn advice_that_is_left_changes_nothing_and_advice_that_is_accepted_is_the_limit_of_the_machines_task() {
    let shop = shop_with_advice();
    let limits = || {
        let due: serde_json::Value = serde_json::from_str(&shop.run(&["due", "reef", "--all", "--json"])).unwrap();
        let all = due["due"].as_array().or(due.as_array()).expect("what is due").clone();
        all.into_iter().find(|one| one["task"] == "change the nozzle").expect("the task")["limits"].clone()
    };
    let history = || shop.run(&["history", "--json"]);
    let server = shop.serve();
    let browser = Browser::open(DESK).await;
    browser.go(&server.page("/lives/nozzle")).await;
    let text = browser.shows_soon(&["Advice: replace"]).await;
    assert!(text.contains("change the nozzle: every "), "{text}");
    // The cost curve: its area of doubt, and the table that names the best age between the ends of it.
    let named = browser
        .ask(
            "return [...document.querySelectorAll('details table')].map(table => [...table.querySelectorAll('tbody tr')] \
             .map(row => row.cells[2]?.textContent).filter(Boolean)).find(named => named.includes('best'))",
        )
        .await;
    assert_eq!(named, serde_json::json!(["best at least", "best", "best at most"]));
    assert!(browser.ask("return document.querySelectorAll('figure svg polygon').length").await.as_u64() >= Some(1));
    assert!(text.contains("The grey area is what the lives leave open"), "{text}");
    browser.photograph("lives-nozzle").await;
    let (before, recorded) = (limits(), history());
    browser.press("Leave it").await;
    browser.shows_soon(&["How parts of each kind ended"]).await;
    assert_eq!((limits(), history()), (before.clone(), recorded));

    browser.go(&server.page("/lives/nozzle")).await;
    browser.shows_soon(&["Advice: replace"]).await;
    let command = browser.ask("return document.querySelector('form input[name=command]').value").await;
    let every =
        command.as_str().and_then(|words| words.split("--every \"").nth(1)).and_then(|rest| rest.split('"').next());
    let every = every.unwrap_or_else(|| panic!("{command}")).to_owned();
    browser.press("Accept").await;
    browser.shows_soon(&[&format!("change the nozzle: every {every} from now on")]).await;
    // All six lasted between 41 and 48 hours; the build's own limit is 900.
    let allowed = limits()[0]["allowed"].as_f64().expect("an amount") / 3600.0;
    assert!(5.0 < allowed && allowed < 48.0, "{allowed} h of {before}");
    let number: f64 = every.split_whitespace().next().and_then(|number| number.parse().ok()).expect("hours");
    assert!((allowed - number).abs() < 1e-6 * number, "{allowed} h, accepted: {every}");
    // The machine's own page tells of it.
    browser.go(&server.page("/machines/reef")).await;
    browser.shows_soon(&[&every, &every.replace(' ', "\u{202f}"), &every.replace(' ', "\u{a0}")]).await;
    browser.close().await;
}
