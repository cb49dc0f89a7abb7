//! What care has cost, against sums made by hand.

use jiff::civil::date;
use serde_json::json;

use crate::shop::{Shop, near};
use crate::visits::{tell, wiping};

/// `bowline` with a day of running and wiping, a failure, and a visit that was walked before its day. Labour is 1 a minute, a wipe
/// 0.50, alcohol 0.01 a ml.
fn shop() -> Shop {
    let shop = Shop::with_bowline();
    shop.told("rates --currency EUR --labour 60 --standing 24 --failed-print 20");
    shop.told("stores terms \"lint-free wipe\" --lead \"10 days\" --pack 100 --price 50");
    shop.told("stores terms \"isopropyl alcohol, 90 % or more\" --lead \"2 days\" --pack \"500 ml\" --price 5");
    shop.told("run --on bowline --hours 12 --material PLA --when \"3 Nov 1:00\"");
    shop.told("done \"wipe the x rods\" --on bowline --when \"3 Nov 15:00\"");
    shop.told("failure \"x rods\" scored --on bowline --when \"5 Nov 12:00\"");
    let id = tell(&shop, wiping("mate", date(2026, 11, 27), false));
    shop.told(&format!("visit walked {id} --when \"today 14:00\" --took 33"));
    shop
}

#[test]
fn money_is_told_by_month_by_machine_and_by_cause() {
    let shop = shop();
    let told = shop.json("money --from \"1 Nov\"");
    // 10 minutes of set-up and 5 of wiping, then 33 of the visit; twice 0.50 + 0.05; half of 15 minutes at 24 an hour, since the
    // machine ran half of that day.
    for (key, expected) in [
        ("labour", 48.0),
        ("parts_and_supplies", 1.1),
        ("failures", 20.0),
        ("standing_still", 3.0),
        ("total", 72.1),
        ("hours", 12.0),
        ("per_hour", 72.1 / 12.0),
    ] {
        near(&told["all"][key], expected, 1e-9);
        near(&told["months"][0][key], expected, 1e-9);
        near(&told["machines"][0]["months"][0][key], expected, 1e-9);
    }
    assert_eq!(told["assumed"], json!(["a nuisance", "damage"]));
    assert_eq!(told["calendar"]["left_out"], json!(1), "four weeks are too few to compare");
    let text = shop.told("money --days 25");
    for said in ["6.01 EUR for each hour run", "Too little is recorded", "Nov 2026", "bowline"] {
        assert!(text.contains(said), "{said}: {text}");
    }
    assert_eq!(shop.json("money --to \"4 Nov\" --machine Bowline")["all"]["failures"], json!(0.0));
}

#[test]
fn ranges_that_can_not_be_are_refused() {
    let shop = Shop::with_bowline();
    shop.refused("money --from \"10 Nov\" --to \"5 Nov\"", &["before it begins"]);
    shop.refused("money --to 2027-01-01", &["future"]);
    shop.refused("money --machine reef", &["reef"]);
    assert_eq!(shop.ask("money --days 0").code, Some(2));
    assert_eq!(shop.ask("money --days 7 --from today").code, Some(2));
}
