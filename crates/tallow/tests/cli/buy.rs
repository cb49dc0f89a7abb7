//! The shopping list, from a task whose days can be counted.

use serde_json::{Value, json};

use crate::shop::{Shop, near, testdata};

const WIPES: &str = "stores terms \"lint-free wipe\" --lead \"10 days\" --pack 10 --price 12 --supplier chandler";

/// A shop whose only care is a wipe of the rods every ten days that takes four wipes, done last at the beginning of
/// 20 November: so it falls due on 30 November, 10 December and so on.
fn shop() -> Shop {
    let shop = Shop::new();
    let text = std::fs::read_to_string(testdata("builds/reference.toml")).unwrap();
    let (head, _) = text.split_once("[[task]]").unwrap();
    let task = r#"
[[task]]
name = "wipe the x rods"
at = "x rods"
state = "isolated"
minutes = 5
neglect = "failed print"
uses = { "lint-free wipe" = "4" }
steps = ["Wipe them."]
[[task.limit]]
every = "10 days"
source = "a test"
"#;
    shop.write("ten-days.toml", format!("{head}{task}"));
    shop.told("machine add bowline --build ten-days.toml --when \"1 Nov 2026\"");
    shop.told("done \"wipe the x rods\" --on bowline --when \"20 Nov\"");
    shop
}

#[track_caller]
fn only_line(shop: &Shop) -> Value {
    let list = shop.json("stores buy");
    assert_eq!(list["lines"].as_array().unwrap().len(), 1, "{list:#}");
    list["lines"][0].clone()
}

#[test]
fn what_falls_below_the_reorder_point_is_ordered_by_that_day() {
    let shop = shop();
    shop.told(WIPES);
    shop.told("stores count \"lint-free wipe\" 18");
    let line = only_line(&shop);
    // By hand: in 182 days eighteen wipings of four, so 17 days (ten until it comes, seven until the next order) take 1.681
    // of them in the mean. By Poisson's law four are enough with 97.2 %, three with 91.0 %: the point is 16. The
    // wiping of 30 November leaves 14; two are lacking, which is one pack.
    near(&line["point"], 16.0, 1e-9);
    near(&line["left"], 14.0, 1e-9);
    assert_eq!((&line["order_by"], &line["late"], &line["packs"]), (&"2026-11-30".into(), &false.into(), &1.into()));
    near(&line["cost"], 12.0, 1e-9);
    shop.told("stores count \"lint-free wipe\" 20");
    assert_eq!(shop.json("stores buy")["lines"], json!([]));
    assert!(shop.told("stores buy").contains("Nothing must be ordered within a week."));
}

#[test]
fn what_will_lack_before_it_can_come_is_ordered_today_and_said_to_be_late() {
    let shop = shop();
    shop.told(WIPES);
    shop.told("stores count \"lint-free wipe\" 2");
    let line = only_line(&shop);
    // Four are needed on 30 November, and an order of today comes on 5 December. Fourteen bring the stock to 16.
    assert_eq!((&line["order_by"], &line["lacks_on"]), (&"2026-11-25".into(), &"2026-11-30".into()));
    near(&line["missing"], 2.0, 1e-9);
    assert_eq!((&line["late"], &line["packs"], &line["pack"]), (&true.into(), &2.into(), &"10".into()));
    let list = shop.json("stores buy");
    near(&list["cost"], 24.0, 1e-9);
    near(&list["cost_by_supplier"]["chandler"], 24.0, 1e-9);
    let said = shop.told("stores buy");
    assert!(said.contains("chandler") && said.contains("comes too late") && said.contains("24"), "{said}");
}

#[test]
fn what_is_on_its_way_is_not_ordered_again_until_it_is_late() {
    let shop = shop();
    shop.told(WIPES);
    shop.told("stores count \"lint-free wipe\" 2");
    // By hand: twelve are there or on their way, and the point is 16 as above. Four are lacking, which is one pack.
    shop.told("stores order \"lint-free wipe\" 10 --by \"29 Nov\"");
    let line = only_line(&shop);
    assert_eq!((&line["late"], &line["packs"], &line["coming"]), (&false.into(), &1.into(), &json!(10.0)));
    assert_eq!((&line["order_by"], &line["left"]), (&"2026-11-25".into(), &json!(12.0)));
    assert!(shop.told("stores buy").contains("12 left or on its way by then"));
    shop.told("stores order \"lint-free wipe\" 10");
    assert_eq!(shop.json("stores buy")["lines"], json!([]), "22 are, and 18 after the wiping of the 30th");
    let plain = shop.told("stores");
    assert!(plain.contains("10 by 29 Nov; 10 by 5 Dec"), "{plain}");
}

#[test]
fn an_order_past_its_day_is_not_counted_on() {
    let shop = shop();
    shop.told(WIPES);
    shop.told("stores count \"lint-free wipe\" 2");
    shop.told("stores order \"lint-free wipe\" 100 --by \"24 Nov 2026\" --when \"10 Nov\"");
    let line = only_line(&shop);
    assert_eq!((&line["lacks_on"], &line["coming"]), (&"2026-11-30".into(), &json!(0.0)));
    let said = shop.told("stores buy").split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("lint-free wipe: 100 late since 24 Nov") && said.contains("not counted on"), "{said}");
}

#[test]
fn what_has_no_terms_is_listed_with_what_to_say() {
    let shop = shop();
    let list = shop.json("stores buy");
    // Within three weeks (one until the next order, two for a delivery) there are two wipings.
    let unsaid = &list["unsaid"][0];
    assert_eq!((&unsaid["item"], &unsaid["first"]), (&"lint-free wipe".into(), &"2026-11-30".into()));
    near(&unsaid["needed"], 8.0, 1e-9);
    assert_eq!((&unsaid["there"], &list["lines"]), (&Value::Null, &json!([])));
    let say = unsaid["say"].as_str().unwrap();
    assert!(shop.told("stores buy").contains(say));
    shop.told(say.strip_prefix("tallow ").unwrap());
    let after = shop.json("stores buy");
    assert_eq!((&after["unsaid"], &after["uncounted"]), (&json!([]), &json!(["lint-free wipe"])));
    assert_eq!(after["lines"][0]["cost"], Value::Null);
    assert!(shop.told("stores buy").contains("never counted: lint-free wipe"));
}

#[test]
fn the_list_fits_a_narrow_terminal() {
    let shop = shop();
    shop.told("rates --currency EUR");
    shop.told("stores count \"lint-free wipe\" 18");
    for terms in [WIPES, "stores terms acetone --lead \"3 days\" --pack \"500 ml\""] {
        let answer = shop.command("stores buy").env("COLUMNS", "60").output().unwrap();
        let text = String::from_utf8(answer.stdout).unwrap();
        assert!(text.lines().all(|line| line.chars().count() <= 60), "{text}");
        shop.told(terms);
    }
    let answer = shop.command("stores buy").env("COLUMNS", "60").output().unwrap();
    let text = String::from_utf8(answer.stdout).unwrap();
    let joined = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.lines().all(|line| line.chars().count() <= 60), "{text}");
    assert!(joined.contains("1 × 10 of lint-free wipe from chandler, 12 EUR; 14 left by then"), "{text}");
    assert!(joined.contains("below the point of reordering, 16"), "{text}");
}

#[test]
fn an_empty_shop_buys_nothing() {
    let shop = Shop::new();
    let list = shop.json("stores buy");
    assert_eq!((&list["lines"], &list["unsaid"], &list["cost"]), (&json!([]), &json!([]), &json!(0.0)));
    assert!(shop.told("stores buy --days 14").contains("Nothing must be ordered within a fortnight."));
    assert_eq!(shop.ask("stores buy --days 0").code, Some(2));
    assert_eq!(shop.ask("stores buy --days some").code, Some(2));
}
