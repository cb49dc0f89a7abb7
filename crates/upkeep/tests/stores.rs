//! The arithmetic of stores against tables, textbooks and its own laws.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::{Date, date};
use proptest::prelude::*;
use upkeep::build::Supply;
use upkeep::stores::{
    Bought, Costs, Demand, Line, Lot, Shelf, Source, Spread, StoresError, Supplied, Why, buy, loss, supplied,
};

const TODAY: Date = date(2026, 11, 25);

fn in_days(days: i32) -> Date {
    TODAY.saturating_add(days.days())
}

#[track_caller]
fn close(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{found} is not {expected}");
}

// ---- Published values ----

#[test]
fn the_unit_normal_loss_is_the_tables() {
    // Silver, Pyke & Peterson (1998), Inventory Management and Production Planning and Scheduling, table of G(k); the four
    // printed decimals from memory.
    for (k, printed) in
        [(0.0, 0.3989), (0.5, 0.1978), (1.0, 0.0833), (1.5, 0.0293), (2.0, 0.0085), (2.5, 0.0020), (3.0, 0.0004)]
    {
        assert!((loss(k) - printed).abs() <= 0.5e-4 + 1e-12, "G({k}) = {}", loss(k));
    }
    // The same to ten digits, by scipy and stockpyl.
    for (k, expected) in [
        (0.0, 0.398_942_280_4),
        (0.5, 0.197_796_557_4),
        (1.0, 0.083_315_470_59),
        (1.28, 0.047_498_543_32),
        (1.5, 0.029_306_793_76),
        (1.645, 0.020_885_641_48),
        (2.0, 0.008_490_702_617),
        (2.33, 0.003_352_319_444),
        (2.5, 0.002_004_137_179),
        (3.0, 0.000_382_154_317),
        (-1.0, 1.083_315_471),
    ] {
        close(loss(k), expected, 1e-8);
    }
}

#[test]
fn the_unit_normal_loss_keeps_its_digits_far_out() {
    // By quadrature in many digits (mpmath); φ − k·(1 − Φ) in doubles gives 7.69e-23 here.
    close(loss(10.0), 7.474_560_255e-25, 1e-8);
}

#[test]
fn the_reorder_point_is_the_textbooks() {
    // Method: Silver, Pyke & Peterson (1998), chapter 7; values by scipy: mean 20, sd 6, orders of 50.
    let demand = Demand::normal(20.0, 6.0).unwrap();
    let point = demand.level_for(0.95).unwrap();
    close(point, 29.869_121_76, 1e-8);
    close((point - 20.0) / 6.0, 1.644_853_627, 1e-8);
    close(demand.shortage(point), 0.125_357_754_2, 1e-8);
    close(demand.fill(point, 50.0).unwrap(), 0.997_492_844_9, 1e-8);
    close(demand.level_for_fill(0.99, 50.0).unwrap(), 25.999_324_53, 1e-8);
}

#[test]
fn a_wait_of_uncertain_length_spreads_the_demand() {
    // Worked by hand: √(4·3² + 10²·1²) = √136.
    let wait = Spread { mean: 4.0, sd: 1.0 };
    let demand = Demand::normal_over(Spread { mean: 10.0, sd: 3.0 }, wait).unwrap();
    close(demand.mean(), 40.0, 1e-12);
    close(demand.sd(), 136.0_f64.sqrt(), 1e-12);
}

#[test]
fn poisson_spares_and_their_backorders_are_the_textbooks() {
    // Sherbrooke (2004), Optimal Inventory Modeling of Systems, chapter 2 (method; Palm's theorem). Values by sums to 200
    // and by (λ − S)·P(D > S) + λ·P(D = S), which agree.
    for (mean, (smallest, chance, short), first) in [
        (
            3.2,
            (6.0, 0.955_380_899, 0.069_591_331_77),
            [3.2, 2.240_762_204, 1.411_963_461, 0.791_867_201_8, 0.394_386_926_2],
        ),
        (
            0.4,
            (2.0, 0.992_073_668_1, 0.008_768_110_486),
            [0.4, 0.070_320_046_04, 0.008_768_110_486, 0.000_841_778_618_3, 6.552_724_207e-5],
        ),
        (
            10.0,
            (15.0, 0.951_259_596_7, 0.103_478_679_8),
            [10.0, 9.000_045_4, 8.000_544_799, 7.003_314_195, 6.013_650_246],
        ),
    ] {
        let demand = Demand::poisson(mean, 1.0).unwrap();
        assert_eq!(demand.level_for(0.95), Ok(smallest));
        close(demand.served(smallest), chance, 1e-8);
        close(demand.shortage(smallest), short, 1e-8);
        for (level, expected) in (0..).zip(first) {
            close(demand.shortage(f64::from(level)), expected, 1e-8);
        }
    }
}

#[test]
fn the_newsvendor_is_the_textbooks() {
    // Snyder & Shen, Fundamentals of Supply Chain Theory, example 4.3, as printed in the documents of PyPI's stockpyl.
    let demand = Demand::normal(50.0, 8.0).unwrap();
    let best = demand.newsvendor(0.70, 0.18).unwrap();
    close(best.quantity, 56.603_955_927_433_89, 1e-8);
    close(best.cost, 1.997_605_193_176_644_5, 1e-8);
    close(demand.period_cost(60.0, 0.70, 0.18).unwrap(), 2.156_131_552_870_387, 1e-8);
}

// ---- Laws ----

/// The chance of each sum of amounts, by going through every subset.
fn by_subsets(parts: &[(f64, u32)]) -> BTreeMap<u32, f64> {
    let mut sums = BTreeMap::new();
    for subset in 0..1_u32 << parts.len() {
        let (mut sum, mut chance) = (0, 1.0);
        for (place, &(of_part, amount)) in parts.iter().enumerate() {
            let is_in = subset >> place & 1 == 1;
            sum += if is_in { amount } else { 0 };
            chance *= if is_in { of_part } else { 1.0 - of_part };
        }
        *sums.entry(sum).or_insert(0.0) += chance;
    }
    sums
}

fn any_demand() -> impl Strategy<Value = Demand> {
    let parts = proptest::collection::vec((0.0..1.0_f64, 0.0..9.0_f64), 0..12);
    prop_oneof![
        (0.0..100.0_f64, 0.0..40.0_f64).prop_map(|(mean, sd)| Demand::normal(mean, sd).unwrap()),
        (0.0..60.0_f64, 0.1..5.0_f64).prop_map(|(uses, each)| Demand::poisson(uses, each).unwrap()),
        (parts, 0.05..3.0_f64).prop_map(|(parts, step)| Demand::compound(&parts, step).unwrap()),
    ]
}

fn any_lots() -> impl Strategy<Value = Vec<Lot>> {
    let day = || proptest::option::of((-5..40_i32).prop_map(in_days));
    let lot = (0.0..20.0_f64, day(), day()).prop_map(|(amount, from, expires)| Lot { amount, from, expires });
    proptest::collection::vec(lot, 0..6)
}

proptest! {
    #[test]
    fn a_compound_demand_is_what_all_subsets_make(parts in proptest::collection::vec((0.0..=1.0_f64, 0..5_u32), 0..10)) {
        let halves: Vec<(f64, f64)> = parts.iter().map(|(chance, amount)| (*chance, 0.5 * f64::from(*amount))).collect();
        let demand = Demand::compound(&halves, 0.5).unwrap();
        let mut served = 0.0;
        for (sum, chance) in by_subsets(&parts) {
            served += chance;
            prop_assert!((demand.served(0.5 * f64::from(sum)) - served).abs() < 1e-12);
        }
        let mean: f64 = halves.iter().map(|(chance, amount)| chance * amount).sum();
        let variance: f64 = halves.iter().map(|(chance, amount)| chance * (1.0 - chance) * amount * amount).sum();
        prop_assert!((demand.mean() - mean).abs() < 1e-9);
        prop_assert!((demand.sd() - variance.sqrt()).abs() < 1e-7);
    }

    #[test]
    fn amounts_between_two_steps_keep_the_mean(
        parts in proptest::collection::vec((0.0..1.0_f64, 0.0..9.0_f64), 0..12),
        step in 0.05..3.0_f64,
    ) {
        let mean: f64 = parts.iter().map(|(chance, amount)| chance * amount).sum();
        prop_assert!((Demand::compound(&parts, step).unwrap().mean() - mean).abs() < 1e-6);
    }

    #[test]
    fn more_service_never_lowers_the_reorder_point(
        demand in any_demand(), a in 0.01..0.999_f64, b in 0.01..0.999_f64, quantity in 0.5..80.0_f64,
    ) {
        let (less, more) = (a.min(b), a.max(b));
        prop_assert!(demand.level_for(less).unwrap() <= demand.level_for(more).unwrap());
        let fill = |share| demand.level_for_fill(share, quantity).unwrap();
        prop_assert!(fill(less) <= fill(more) + 1e-9);
    }

    #[test]
    fn the_reorder_point_gives_the_service_and_a_little_less_would_not(
        demand in any_demand(), service in 0.02..0.995_f64, quantity in 0.5..80.0_f64,
    ) {
        let point = demand.level_for(service).unwrap();
        let less = demand.step().unwrap_or(1e-6 * point.max(1e-3));
        prop_assert!(service - 1e-8 <= demand.served(point));
        // A demand that is certain is a step itself.
        prop_assert!(point < less || demand.sd() < 1e-9 || demand.served(point - less) < service);
        let point = demand.level_for_fill(service, quantity).unwrap();
        prop_assert!(service - 1e-8 <= demand.fill(point, quantity).unwrap());
        prop_assert!(point < less || demand.fill(point - less, quantity).unwrap() < service + 1e-9);
    }

    #[test]
    fn the_expected_shortage_is_the_area_under_the_chance_of_one(demand in any_demand(), level in 0.0..80.0_f64) {
        // n(s) − n(s + h) = ∫ P(D > x) dx from s to s + h, which lies between h·P(D > s + h) and h·P(D > s).
        let width = 0.37;
        let fall = demand.shortage(level) - demand.shortage(level + width);
        let bound = |level| width * (1.0 - demand.served(level));
        prop_assert!(bound(level + width) - 1e-9 <= fall && fall <= bound(level) + 1e-9);
    }

    #[test]
    fn what_expires_first_is_taken_first_and_nothing_is_lost(
        lots in any_lots(), amount in 0.0..60.0_f64, day in 0..40_i32,
    ) {
        let shelf = Shelf::new(lots).unwrap();
        let mut after = shelf.clone();
        let there = shelf.there_on(in_days(day));
        let missing = after.take(amount, in_days(day));
        prop_assert!(0.0 <= missing && (missing - (amount - there).max(0.0)).abs() < 1e-6);
        prop_assert!((there - after.there_on(in_days(day)) - (amount - missing)).abs() < 1e-6);
        // Of all that is good no longer than some day, what was asked for is gone before anything that is good longer.
        let good_until = |shelf: &Shelf, last: Date| -> f64 {
            let day = in_days(day);
            let is_good = |lot: &&Lot| lot.from.is_none_or(|from| from <= day) && day <= lot.expires.unwrap_or(Date::MAX);
            let until = shelf.lots().iter().filter(is_good).filter(|lot| lot.expires.unwrap_or(Date::MAX) <= last);
            until.map(|lot| lot.amount).sum()
        };
        for last in shelf.lots().iter().map(|lot| lot.expires.unwrap_or(Date::MAX)) {
            let left = (good_until(&shelf, last) - amount).max(0.0);
            prop_assert!((good_until(&after, last) - left).abs() < 1e-6);
        }
    }

    #[test]
    fn lacks_are_never_negative_and_are_what_all_visits_need_beyond_what_came(
        lots in any_lots(), visits in proptest::collection::vec((0..40_i32, 0.0..15.0_f64), 0..6),
    ) {
        let keeps: Vec<Lot> = lots.into_iter().map(|lot| Lot { expires: None, ..lot }).collect();
        let shelf = Shelf::new(keeps).unwrap();
        let mut sources = BTreeMap::from([("oil".to_owned(), Source { shelf: shelf.clone(), lead_days: Some(7) })]);
        let mut visits: Vec<(Date, f64)> = visits.iter().map(|(day, amount)| (in_days(*day), *amount)).collect();
        visits.sort_by_key(|(day, _)| *day);
        let (mut needed, mut lacking) = (0.0, 0.0);
        for (day, amount) in &visits {
            let one = supplied(&[need("oil", *amount)], *day, &mut sources, TODAY).remove(0);
            prop_assert!((0.0..=*amount).contains(&one.lacking()) && (one.needed - amount).abs() < 1e-9);
            prop_assert_eq!(one.earliest.is_some(), 0.0 < one.lacking());
            prop_assert!(one.earliest.is_none_or(|earliest| *day <= earliest));
            (needed, lacking) = (needed + amount, lacking + one.lacking());
        }
        let came = visits.iter().map(|(day, _)| shelf.there_on(*day)).fold(0.0, f64::max);
        prop_assert!((needed - came).max(0.0) <= lacking + 1e-6);
    }

    #[test]
    fn a_line_lies_in_its_days_and_a_longer_wait_never_orders_later(
        lots in any_lots(), use_per_day in 0.0..3.0_f64, planned in proptest::collection::vec((0..40_i32, 0.0..9.0_f64), 0..4),
        lead_days in 1..30_u16, pack in 0.5..20.0_f64, keeps_days in proptest::option::of(0..60_u16),
    ) {
        let planned: Vec<(Date, f64)> = planned.into_iter().map(|(day, amount)| (in_days(day), amount)).collect();
        let shelf = Shelf::new(lots).unwrap();
        let item = Bought { shelf, use_per_day, planned, lead_days, pack, keeps_days, ..oil() };
        let longer = Bought { lead_days: lead_days + 5, ..item.clone() };
        let one = buy(&[item], TODAY, in_days(30), 1).unwrap();
        let other = buy(&[longer], TODAY, in_days(30), 1).unwrap();
        if let Some(line) = one.first() {
            prop_assert!(TODAY <= line.order_by && line.order_by <= in_days(30));
            prop_assert!(1 <= line.packs);
            prop_assert!(line.spoils == 0.0 || line.packs == 1, "only a pack that can't be split spoils: {line:?}");
            prop_assert!(other[0].order_by <= line.order_by);
        }
    }
}

// ---- The shopping list ----

fn need(item: &str, amount: f64) -> Supply {
    Supply { name: item.to_owned(), amount, unit: String::new() }
}

fn there(amount: f64) -> Lot {
    Lot { amount, from: None, expires: None }
}

fn shelf(lots: &[Lot]) -> Shelf {
    Shelf::new(lots.to_vec()).unwrap()
}

/// 100 ml of oil are there, 2 ml go each day, packs of 50 ml take 10 days, reorder point 26 ml.
fn oil() -> Bought {
    Bought {
        item: "ISO VG 32 light oil".to_owned(),
        shelf: shelf(&[there(100.0)]),
        use_per_day: 2.0,
        planned: Vec::new(),
        demand: Demand::normal(26.0, 0.0).unwrap(),
        service: 0.95,
        supplier: "chandler".to_owned(),
        lead_days: 10,
        pack: 50.0,
        price: Some(9.5),
        keeps_days: None,
        costs: None,
    }
}

/// One is there, one in the mean is used in 100 days.
fn nozzle() -> Bought {
    Bought {
        item: "brass nozzle 0.4".to_owned(),
        shelf: shelf(&[there(1.0)]),
        use_per_day: 0.01,
        demand: Demand::poisson(0.11, 1.0).unwrap(),
        pack: 1.0,
        price: None,
        ..oil()
    }
}

#[track_caller]
fn line(item: Bought, days: i32) -> Line {
    let mut lines = buy(&[item], TODAY, in_days(days), 3).unwrap();
    assert_eq!(lines.len(), 1);
    lines.remove(0)
}

#[test]
fn an_order_is_due_on_the_day_that_takes_the_stock_below_the_point() {
    // Worked by hand: 37 evenings with today's leave 26 ml, which is the point; the 38th leaves 24 ml. Then 2 ml bring it
    // back to the point, and three days use 6 ml: one pack.
    let found = line(oil(), 60);
    assert_eq!((found.order_by, found.packs, found.is_late, found.cost), (in_days(37), 1, false, Some(9.5)));
    assert_eq!(found.why, Why::Low { left: 24.0 });
    assert_eq!(buy(&[oil()], TODAY, in_days(36), 3), Ok(Vec::new()), "not before its day");
}

#[test]
fn what_a_visit_needs_is_ordered_a_lead_time_before() {
    // Worked by hand: 80 ml needed in 20 days, when 100 − 21·2 = 58 ml are left of the daily use: 22 ml short, and the
    // position 25 days on, ten of lead and three between orders besides: −80 + 100 − 2·24 = −28 ml.
    let planned = vec![(in_days(20), 80.0)];
    let found = line(Bought { planned, ..oil() }, 60);
    assert_eq!((found.order_by, found.is_late), (in_days(10), false));
    assert_eq!(found.why, Why::Lacking { day: in_days(20), missing: 22.0 });
    // 120 ml at once need 62 ml more, and 6 ml for the three days that follow: two packs.
    let planned = vec![(in_days(20), 120.0)];
    assert_eq!(line(Bought { planned, ..oil() }, 60).packs, 2);
}

#[test]
fn what_comes_too_late_for_its_visit_is_ordered_today_and_says_so() {
    let planned = vec![(in_days(4), 100.0)];
    let found = line(Bought { planned, ..oil() }, 0);
    assert_eq!((found.order_by, found.is_late), (TODAY, true));
    assert_eq!(found.why, Why::Lacking { day: in_days(4), missing: 10.0 });
    assert!(!line(Bought { planned: vec![(in_days(10), 100.0)], ..oil() }, 0).is_late, "it comes on the very day");
}

#[test]
fn what_is_on_its_way_is_not_ordered_again_and_what_expires_is() {
    let coming = Lot { amount: 50.0, from: Some(in_days(3)), expires: None };
    let enough = Bought { shelf: shelf(&[there(10.0), coming]), ..oil() };
    assert!(buy(&[enough], TODAY, in_days(10), 3).unwrap().is_empty());
    let expiring = Lot { expires: Some(in_days(6)), ..there(100.0) };
    let found = line(Bought { shelf: shelf(&[expiring]), ..oil() }, 60);
    assert_eq!((found.order_by, found.why), (TODAY, Why::Lacking { day: in_days(7), missing: 2.0 }));
}

#[test]
fn a_spare_is_there_until_it_is_used() {
    // One is enough with a chance of e^−0.11·1.11 = 99.4 %; none would be with 89.6 %.
    assert!(buy(&[nozzle()], TODAY, in_days(90), 3).unwrap().is_empty());
    assert_eq!(line(nozzle(), 120).order_by, in_days(99), "when one use is due in the mean");
    let none = Bought { shelf: shelf(&[]), ..nozzle() };
    assert_eq!((line(none.clone(), 0).packs, line(none.clone(), 0).cost), (1, None));
    let rarely = Bought { demand: Demand::poisson(0.04, 1.0).unwrap(), ..none };
    assert!(buy(&[rarely], TODAY, in_days(30), 3).unwrap().is_empty(), "none is enough with 96 %");
}

#[test]
fn the_quantity_is_the_economic_one_where_its_costs_are_known() {
    // Worked by hand: √(2·730.5·8/0.225) = 227.9 ml; 4·5 < (227.9/50)² = 20.8 ≤ 5·6: five packs.
    let costs = Some(Costs { per_order: 8.0, keeping_per_year: 0.225 });
    assert_eq!(line(Bought { costs, ..oil() }, 60).packs, 5);
    // It keeps for 90 days, in which 180 ml are used; of what is there 4 ml are left when it comes: three packs.
    let keeps_days = Some(90);
    let found = line(Bought { costs, keeps_days, ..oil() }, 60);
    assert_eq!((found.packs, found.spoils), (3, 0.0));
    // Twenty days use 40 ml, less those 4: 14 ml of the one pack go bad.
    let found = line(Bought { costs, keeps_days: Some(20), ..oil() }, 60);
    assert_eq!((found.packs, found.spoils), (1, 14.0));
}

#[test]
fn what_lacks_today_stands_first_and_a_suppliers_lines_together() {
    let named = |item: &str, supplier: &str, stock: f64, planned: &[(i32, f64)]| Bought {
        item: item.to_owned(),
        supplier: supplier.to_owned(),
        shelf: shelf(&[there(stock)]),
        planned: planned.iter().map(|(day, amount)| (in_days(*day), *amount)).collect(),
        ..oil()
    };
    let items = [
        named("later", "a", 60.0, &[]),
        named("low", "b", 20.0, &[]),
        named("lacks soon", "a", 50.0, &[(5, 60.0)]),
        named("lacks today", "c", 1.0, &[]),
        named("also low", "c", 20.0, &[]),
    ];
    let lines = buy(&items, TODAY, in_days(30), 3).unwrap();
    let order: Vec<&str> = lines.iter().map(|line| line.item.as_str()).collect();
    assert_eq!(order, ["lacks today", "also low", "lacks soon", "later", "low"]);
}

// ---- What visits lack ----

#[test]
fn visits_take_by_day_and_each_lack_says_when_it_can_be_mended() {
    let coming = Lot { amount: 8.0, from: Some(in_days(6)), expires: None };
    let mut sources = BTreeMap::from([
        ("oil".to_owned(), Source { shelf: shelf(&[there(10.0), coming]), lead_days: Some(14) }),
        ("wipe".to_owned(), Source { shelf: shelf(&[there(1.0)]), lead_days: Some(2) }),
    ]);
    let mut take = |days, needs: &[Supply]| supplied(needs, in_days(days), &mut sources, TODAY);
    let one = |item: &str, needed, there, earliest| Supplied {
        item: item.to_owned(),
        unit: String::new(),
        needed,
        there,
        earliest,
    };
    // Worked by hand: the visit of tomorrow leaves 4 of oil for the one after, which needs 7; the rest is on its way.
    let tomorrow = take(1, &[need("oil", 6.0), need("grease", 2.0), need("wipe", 1.0)]);
    assert_eq!(
        tomorrow,
        [one("grease", 2.0, None, None), one("oil", 6.0, Some(10.0), None), one("wipe", 1.0, Some(1.0), None)]
    );
    let later = take(5, &[need("Oil", 4.0), need("wipe", 1.0), need("Oil", 3.0)]);
    let expected = [one("Oil", 7.0, Some(4.0), Some(in_days(6))), one("wipe", 1.0, Some(0.0), Some(in_days(5)))];
    assert_eq!(later, expected, "each item once");
    assert_eq!(later.iter().map(Supplied::lacking).collect::<Vec<_>>(), [3.0, 1.0]);
}

// ---- What can't be ----

#[test]
fn figures_that_can_not_be_are_refused_with_what_to_give() {
    let demand = Demand::normal(20.0, 6.0).unwrap();
    for wrong in [-1.0, f64::NAN, f64::INFINITY] {
        assert!(matches!(Demand::normal(wrong, 1.0), Err(StoresError::Negative { .. })));
        assert!(matches!(Demand::normal(1.0, wrong), Err(StoresError::Negative { .. })));
        assert!(matches!(Demand::poisson(wrong, 1.0), Err(StoresError::Negative { .. })));
        assert!(matches!(Demand::compound(&[(0.5, wrong)], 1.0), Err(StoresError::Negative { .. })));
        assert!(matches!(Demand::compound(&[(wrong, 1.0)], 1.0), Err(StoresError::Chance { .. })));
        assert!(matches!(Shelf::new(vec![there(wrong)]), Err(StoresError::Negative { .. })));
    }
    let steady = Spread { mean: 1.0, sd: 0.0 };
    for nothing in [0.0, -1.0, f64::NAN] {
        let wait = Spread { mean: nothing, sd: 0.0 };
        assert!(matches!(Demand::normal_over(steady, wait), Err(StoresError::NotPositive { what: "a lead time", .. })));
        assert!(Demand::compound(&[], nothing).is_err());
        assert!(demand.fill(20.0, nothing).is_err());
        assert!(demand.newsvendor(nothing, 1.0).is_err());
    }
    for level in [0.0, 1.0, 95.0, f64::NAN] {
        assert!(matches!(demand.level_for(level), Err(StoresError::Service { .. })));
        assert!(matches!(demand.level_for_fill(level, 50.0), Err(StoresError::Service { .. })));
    }
    assert!(matches!(Demand::compound(&[(0.5, 1e6)], 0.001), Err(StoresError::TooFine { .. })));
    assert!(matches!(Demand::poisson(1e9, 1.0), Err(StoresError::TooFine { .. })));
}

#[test]
fn a_list_with_an_item_that_can_not_be_names_it() {
    let said = |item: Bought| buy(&[item], TODAY, TODAY, 1).unwrap_err().to_string();
    assert_eq!(
        said(Bought { lead_days: 0, ..oil() }),
        "ISO VG 32 light oil: a lead time of 0 makes no sense\n  give more than 0"
    );
    assert!(said(Bought { pack: 0.0, ..oil() }).contains("a pack of 0"));
    assert!(said(Bought { use_per_day: -1.0, ..oil() }).contains("the use per day of -1"));
    assert!(said(Bought { service: 1.0, ..oil() }).contains("a level of service of 1"));
    assert!(said(Bought { planned: vec![(TODAY, f64::NAN)], ..oil() }).contains("a need of NaN"));
    assert!(said(Bought { price: Some(-1.0), ..oil() }).contains("a price of -1"));
    let costs = Some(Costs { per_order: 0.0, keeping_per_year: 1.0 });
    assert!(said(Bought { costs, ..oil() }).contains("the cost of an order of 0"));
}
