//! What a print would use up, when a machine is free for it, and what a shop has to buy: worked by hand.

use std::collections::BTreeMap;
use std::sync::Arc;

use jiff::ZonedDateTime;
use jiff::civil::{Date, date};
use motion::{Duty, Quantity};
use upkeep::shop::{Batch, Coming, Item, Terms, Visit, sources};
use upkeep::shopping::{Buyer, Shopping, ahead_days, needs};
use upkeep::stores::{Why, supplied};
use upkeep::{
    Asked, Build, EntryId, MachineState, Material, Materials, Prices, QueuedUse, Rates, Risk, Usage, Worth, before,
    free_from,
};

const OIL: &str = "ISO VG 32 light oil";

/// A machine with one task, due after ten days or twenty hours.
const BUILD: &str = concat!(
    include_str!("bench/machine.toml"),
    r#"[expected]
hours_per_week = 0.001
days_per_week = 1
[expected.per_hour]
"time" = "1 h"
[[position]]
name = "x rods"
kind = "steel rod in ball bushings"
along = "x"
[[task]]
name = "oil the x rods"
at = "x rods"
state = "isolated"
minutes = 12
neglect = "damage"
gear = ["nitrile gloves"]
uses = { "ISO VG 32 light oil" = "2 ml" }
steps = ["Oil them."]
[[task.limit]]
every = "10 days"
source = "a test"
[[task.limit]]
every = "20 h"
of = "time"
source = "a test"
"#
);

/// Midnight of Monday 2 March 2026, UTC.
fn now() -> ZonedDateTime {
    "2026-03-02T00:00[UTC]".parse().unwrap()
}

fn usage(hours: f64) -> Usage {
    let mut duty = Duty::default();
    duty.tools.entry(0).or_default()[Quantity::Time] = hours * 3600.0;
    Usage::from_duty(&duty, |_| Material::new("PLA"))
}

/// A machine that joined so many days ago and has run so many hours since.
fn state(days_ago: i64, hours: f64) -> MachineState {
    let build = Build::parse("bench.toml", BUILD).unwrap_or_else(|errors| panic!("{errors}"));
    MachineState {
        name: "bench".to_owned(),
        build: Arc::new(build),
        added: now().timestamp() - jiff::SignedDuration::from_hours(24 * days_ago),
        total: usage(hours),
        standings: BTreeMap::new(),
        history_from: Date::MIN,
        days: Vec::new(),
        readings: Vec::new(),
        queue: Vec::new(),
    }
}

#[test]
fn a_task_falls_due_when_the_first_of_its_limits_is_reached() {
    let rates = Rates { labour_per_hour: Some(60.0), ..Rates::default() };
    let prices = Prices::from_rates(&rates).0;
    let risks = [Risk::believed()];
    let worth = Worth { risks: &risks, supplies: &[0.0], prices: &prices };
    // Nine of ten days and four of twenty hours are used. In forty hours the days end after 24 h, the hours after 16.
    let usage = usage(40.0);
    let asked = Asked { usage: &usage, seconds: 40.0 * 3600.0 };
    let answer = before(&state(9, 4.0), asked, worth, Materials::built_in(), &now());
    let takes = &answer.tasks[0];
    assert!((takes.due_at.unwrap() - 0.4).abs() < 1e-9, "{takes:?}");
    assert!((takes.from - 0.9).abs() < 1e-9 && (takes.to - 2.2).abs() < 1e-9, "{takes:?}");
    assert!(answer.forbidding.is_empty());
    let late = before(&state(10, 4.0), asked, worth, Materials::built_in(), &now());
    assert_eq!((late.tasks[0].due_at, &late.forbidding[..]), (None, &[0][..]), "it is due already");
}

#[test]
fn a_machine_is_free_in_the_first_gap_of_its_queue_that_is_long_enough() {
    let queued = |hours, on| QueuedUse { on, usage: usage(hours) };
    let tomorrow = Some(date(2026, 3, 3));
    let queue = [queued(5.0, tomorrow), queued(10.0, None), queued(3.0, Some(date(2026, 3, 1)))];
    let free = |hours: f64| free_from(&queue, hours * 3600.0, &now()).datetime();
    // Ten and three hours from midnight on, then eleven hours until Tuesday, and five on it.
    assert_eq!(free(11.0), date(2026, 3, 2).at(13, 0, 0, 0));
    assert_eq!(free(11.01), date(2026, 3, 3).at(5, 0, 0, 0));
    assert_eq!(free_from(&[], 1e9, &now()), now());
    assert!(now() < free_from(&[queued(1000.0, None)], f64::INFINITY, &now()));
}

fn item(stock: Option<f64>, expires: Option<Date>, terms: Option<Terms>) -> Item {
    let at = now().timestamp();
    let batch = |amount| Batch { entry: EntryId(1), at, amount, expires, price_each: None };
    Item {
        name: OIL.to_owned(),
        unit: "ml".to_owned(),
        stock,
        batches: stock.into_iter().filter(|amount| 0.0 < *amount).map(batch).collect(),
        counted: None,
        fell_short: false,
        unclear: 0,
        coming: Vec::new(),
        terms,
        used: BTreeMap::new(),
    }
}

#[test]
fn what_has_expired_is_not_there_and_what_was_never_counted_is_not_known() {
    let needs = state(0, 0.0).build.tasks[0].uses.clone();
    let today = date(2026, 3, 2);
    let of = |items: &[Item]| {
        let twice = needs.iter().chain(&needs);
        supplied(twice, today, &mut sources(items, today).unwrap(), today).remove(0)
    };
    let enough = of(&[item(Some(4.0), None, None)]);
    assert!((enough.needed - 4.0).abs() < 1e-12 && enough.lacking() == 0.0, "{enough:?}");
    let old = of(&[item(Some(50.0), Some(date(2026, 3, 1)), Some(terms(3)))]);
    assert!((old.lacking() - 4.0).abs() < 1e-12 && old.there == Some(0.0), "{old:?}");
    assert_eq!(old.earliest, Some(date(2026, 3, 5)), "ordered today");
    for uncounted in [of(&[item(None, None, None)]), of(&[])] {
        assert_eq!((uncounted.there, uncounted.lacking(), uncounted.earliest), (None, 0.0, None));
    }
}

#[test]
fn what_is_on_its_way_is_there_from_its_day_on_and_what_is_late_is_not_counted() {
    let today = date(2026, 3, 2);
    let ordered = |by| Coming { entry: EntryId(2), amount: 10.0, by, supplier: String::new() };
    let with = |by| Item { coming: vec![ordered(by)], ..item(Some(1.0), None, None) };
    let lacking = |by, day| {
        let mut sources = sources(&[with(by)], today).unwrap();
        let one = supplied(&state(0, 0.0).build.tasks[0].uses, day, &mut sources, today).remove(0);
        (one.lacking(), one.earliest)
    };
    let friday = date(2026, 3, 6);
    // Two are needed, and one is there.
    assert_eq!(lacking(friday, today), (1.0, Some(friday)));
    assert_eq!(lacking(friday, friday), (0.0, None));
    assert_eq!(lacking(date(2026, 3, 1), friday), (1.0, None));
    assert_eq!((with(friday).on_its_way(today), with(date(2026, 3, 1)).on_its_way(today)), (10.0, 0.0));
}

#[test]
fn what_is_on_its_way_is_not_ordered_again_unless_it_is_late() {
    let today = date(2026, 3, 2);
    let coming = |by| vec![Coming { entry: EntryId(2), amount: 10.0, by, supplier: String::new() }];
    let with = |by| shopping(Item { coming: coming(by), ..item(Some(0.0), None, Some(terms(3))) }, &[]).lines;
    // The point is 6 ml (see below) and the oil is due on 8 March: ten on their way by then are enough, but not after it.
    assert_eq!(with(date(2026, 3, 5)), []);
    assert!(matches!(with(date(2026, 3, 20))[0].why, Why::Lacking { day, .. } if day == date(2026, 3, 8)));
    let late = with(date(2026, 3, 1));
    assert_eq!((late.len(), late[0].order_by), (1, today), "{late:?}");
}

fn terms(lead_days: u16) -> Terms {
    Terms {
        item: OIL.to_owned(),
        supplier: "chandler".to_owned(),
        lead_days,
        pack: "10 ml".to_owned(),
        price: Some(3.0),
        service: 0.95,
    }
}

fn shopping(item: Item, told: &[(String, Visit)]) -> Shopping {
    let (items, now) = ([item], now());
    let coming = needs(&state(4, 0.0), told, Materials::built_in(), &now, ahead_days(&items, 7));
    let buyer = Buyer { coming: &coming, items: &items, used_from: date(2026, 2, 26), now: &now, review_days: 7 };
    buyer.shopping().unwrap()
}

#[test]
fn needs_come_on_the_days_that_people_were_told_else_when_the_task_falls_due() {
    let lacks = |told: &[(String, Visit)]| {
        let shopping = shopping(item(Some(0.0), None, Some(terms(10))), told);
        match shopping.lines[0].why {
            Why::Lacking { day, missing } => (day, missing, shopping.lines[0].is_late),
            why @ Why::Low { .. } => panic!("{why:?}"),
        }
    };
    // Four of ten days have passed, so the oil is due on 8 March; an order of today comes on the 12th.
    assert_eq!(lacks(&[]), (date(2026, 3, 8), 2.0, true));
    let visit = Visit {
        day: date(2026, 3, 3),
        keeper: "mate".to_owned(),
        tasks: vec!["oil the x rods".to_owned()],
        minutes: 12.0,
        is_locked: false,
        took: None,
    };
    assert_eq!(lacks(&[("bench".to_owned(), visit)]), (date(2026, 3, 3), 2.0, true));
}

#[test]
fn a_demand_from_care_to_come_alone_gives_the_reorder_point_by_hand() {
    // Due on the 6th day from today and every tenth day after: 18 times in 182 days, 2 ml each. A wait of 3 + 7 days has
    // 0.989 of them in the mean; e^-0.989 (1 + 0.989 + 0.489) = 0.922, with the next term 0.982: three are enough.
    let shopping = shopping(item(Some(0.0), None, Some(terms(3))), &[]);
    let line = &shopping.lines[0];
    assert!((line.point - 6.0).abs() < 1e-9, "{line:?}");
    // What brings the stock back to 6 ml is one pack of ten.
    assert_eq!((line.packs, line.cost), (1, Some(3.0)));
    assert_eq!(shopping.uncounted, [""; 0]);
}

#[test]
fn what_is_used_beyond_the_plan_comes_besides() {
    let mut used = item(Some(100.0), None, Some(terms(3)));
    used.used.insert(date(2026, 2, 27), 28.0);
    // Four days of records count as 28: 1 ml a day against 36 in 182 days planned. Uses of 28 and eighteen of 2 ml are as
    // random as uses of (784 + 72)/(28 + 36) = 13.375 ml; ten days have 0.748 of them. e^-0.748 (1 + 0.748 + 0.280) = 0.960:
    // two are enough.
    let bare = item(Some(5.0), None, Some(terms(3)));
    let line = &shopping(Item { used: used.used, ..bare }, &[]).lines[0];
    assert!((line.point - 2.0 * 13.375).abs() < 1e-9, "{line:?}");
}

#[test]
fn terms_that_can_not_be_are_told_with_their_item() {
    let wrong = Terms { service: 2.0, ..terms(3) };
    let (items, now) = ([item(Some(0.0), None, Some(wrong))], now());
    let coming = needs(&state(4, 0.0), &[], Materials::built_in(), &now, ahead_days(&items, 7));
    let buyer = Buyer { coming: &coming, items: &items, used_from: date(2026, 2, 26), now: &now, review_days: 7 };
    assert!(buyer.shopping().unwrap_err().to_string().starts_with(OIL));
}
