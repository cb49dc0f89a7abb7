//! What the ledger promises, on both engines: what counts, when, and what a correction changes.

mod support;

use jiff::civil::date;
use ledger::{Error, Filter, Imported, Kind, NewEntry, Program, ProgramKey};
use motion::{Duty, Quantity};
use sqlx::Row;
use support::*;
use upkeep::entry::{Basis, Because, OwnLimit, Run};
use upkeep::shop::{Away, Keeper, Ordered, Received, Terms, ThrownAway, Visit};
use upkeep::{Care, EntryId, Event, HourReading, MaterialClass, MaterialInfo, RateError, Rates, ShopError};

/// Panics unless `actual` metres are `expected`, to the grain.
#[track_caller]
fn check_metres(actual: impl Into<Option<f64>>, expected: impl Into<Option<f64>>) {
    let (actual, expected) = (actual.into(), expected.into());
    let near = match (actual, expected) {
        (Some(actual), Some(expected)) => (actual - expected).abs() < 1e-9,
        (actual, expected) => actual.is_none() && expected.is_none(),
    };
    assert!(near, "{actual:?} m, not {expected:?}");
}

/// Runs each named test once per engine, as `sqlite::…` and `postgres::…`.
macro_rules! on_both_engines {
    ($($(#[$about:meta])* async fn $name:ident($shop:ident: &TestShop) $body:block)*) => {
        $($(#[$about])* async fn $name($shop: &TestShop) $body)*
        mod sqlite {
            $(#[tokio::test] async fn $name() {
                super::$name(&super::TestShop::new(super::Ground::sqlite()).await).await;
            })*
        }
        mod postgres {
            $(#[tokio::test] async fn $name() {
                super::$name(&super::TestShop::new(super::Ground::postgres().await).await).await;
            })*
        }
    };
}

/// A limit of the shop's own for the first task of the shop's build that has one by travel.
fn own_limit(every: &str) -> OwnLimit {
    OwnLimit {
        task: "wipe the x rail and look at its raceways".into(),
        of: Some("travel x".into()),
        every: every.into(),
        reason: "clean here".into(),
    }
}

on_both_engines! {
    async fn a_limit_of_the_shops_own_stands_until_it_is_taken_back(shop: &TestShop) {
        let allowed = async || {
            let state = shop.ledger.machine_state("bowline", date(2026, 10, 1)).await.unwrap();
            let task = state.build.task("wipe the x rail and look at its raceways").unwrap().clone();
            task.limits.into_iter().find(|limit| limit.text.ends_with("km")).map(|limit| (limit.text, limit.source))
        };
        let built = allowed().await.unwrap();
        let first = shop.append("2026-10-05T08:00:00Z", Event::Limit(own_limit("7 km"))).await.unwrap();
        assert_eq!(allowed().await.unwrap(), ("7 km".to_owned(), "clean here".to_owned()));
        let second = shop.append("2026-10-06T08:00:00Z", Event::Limit(own_limit("9 km"))).await.unwrap();
        assert_eq!(allowed().await.unwrap().0, "9 km");
        shop.prove().await;
        shop.ledger.withdraw(second, at(RECORDED), "").await.unwrap();
        assert_eq!(allowed().await.unwrap().0, "7 km");
        shop.ledger.withdraw(first, at(RECORDED), "").await.unwrap();
        assert_eq!(allowed().await.unwrap(), built, "the build itself is untouched");
        shop.prove().await;
    }

    async fn rates_are_the_shops_and_stand_until_they_are_taken_back(shop: &TestShop) {
        let ledger = &shop.ledger;
        assert_eq!(ledger.rates().await.unwrap(), Rates::default(), "nothing is known before it is set");
        let labour = |labour| Rates { labour_per_hour: Some(labour), ..Rates::default() };
        let first = Rates { currency: "EUR".into(), damage: Some(0.1 + 0.2), ..labour(32.0) };
        let first_id = ledger.set_rates(first.clone(), at("2026-10-05T08:00:00Z"), "by the books").await.unwrap();
        let back = ledger.entry(first_id).await.unwrap();
        assert_eq!((back.machine.as_str(), back.note.as_str()), ("", "by the books"));
        assert_eq!(back.event, Event::Rates(first.clone()));
        let ran = shop.append("2026-10-05T08:00:00Z", run("a1", 1.0)).await.unwrap();
        let second = ledger.set_rates(labour(35.0), at("2026-10-06T08:00:00Z"), "").await.unwrap();
        assert!(first_id < ran && ran < second, "one row of numbers for all entries");
        assert_eq!(ledger.rates().await.unwrap(), Rates { labour_per_hour: Some(35.0), ..first.clone() });
        assert_eq!(ledger.newest(second).await.unwrap().event, Event::Rates(labour(35.0)));
        let withdrawal = ledger.withdraw(second, at(RECORDED), "").await.unwrap();
        assert_eq!(ledger.rates().await.unwrap(), first);
        let of_the_shop = Filter { machine: Some(String::new()), ..Filter::default() };
        let listed = ledger.entries(&of_the_shop, 10).await.unwrap();
        let seen: Vec<_> = listed.iter().map(|listed| (listed.entry.id, listed.replaced_by)).collect();
        assert_eq!(seen, [(withdrawal, None), (second, Some(withdrawal)), (first_id, None)]);
        ledger.withdraw(first_id, at(RECORDED), "").await.unwrap();
        assert_eq!(ledger.rates().await.unwrap(), Rates::default());
        shop.prove().await;
    }

    async fn what_is_of_the_shop_makes_no_machine(shop: &TestShop) {
        let ledger = &shop.ledger;
        ledger.set_rates(Rates { nuisance: Some(5.0), ..Rates::default() }, at(RECORDED), "").await.unwrap();
        assert_eq!(ledger.machines().await.unwrap().len(), 1);
        assert_eq!(ledger.states(date(2026, 10, 1)).await.unwrap().len(), 1);
        assert!(matches!(ledger.machine_state("", date(2026, 10, 1)).await, Err(Error::NoSuchMachine(_))));
        assert!(matches!(ledger.days("", None).await, Err(Error::NoSuchMachine(_))));
        assert_eq!(ledger.rebuild(None).await.unwrap(), 1);
        let verdict = ledger.verify().await.unwrap();
        assert_eq!((verdict.machines, verdict.entries, verdict.differences), (1, 2, vec![]));
    }

    async fn rates_that_can_not_be_are_refused(shop: &TestShop) {
        let set = async |rates| shop.ledger.set_rates(rates, at(RECORDED), "").await.unwrap_err();
        assert!(matches!(set(Rates::default()).await, Error::BadRates(RateError::Nothing)));
        let negative = Rates { damage: Some(-1.0), ..Rates::default() };
        assert_eq!(set(negative).await.to_string(), "damage of -1 makes no sense\n  give a number from 0 to 1000000000, in a larger money if need be");
        let of_a_machine = Event::Rates(Rates { damage: Some(1.0), ..Rates::default() });
        let error = shop.append("2026-10-05T08:00:00Z", of_a_machine).await.unwrap_err();
        assert!(matches!(error, Error::OfTheShop { .. }), "{error}");
        let error = shop.ledger.append(entry("", "2026-10-05T08:00:00Z", run("a1", 1.0))).await.unwrap_err();
        assert!(matches!(error, Error::Nameless { what: "machine" }), "{error}");
        assert_eq!(shop.ledger.rates().await.unwrap(), Rates::default());
    }

    async fn an_age_stands_until_it_is_taken_back(shop: &TestShop) {
        let age = |amount: &str| Event::Age { position: None, of: Some("time".into()), amount: amount.into() };
        let ages = async || {
            let entries = shop.ledger.effective("bowline").await.unwrap();
            entries.into_iter().map(|entry| entry.event).filter(|event| Kind::of(event) == Kind::Age).collect::<Vec<_>>()
        };
        let first = shop.append("2026-10-05T08:00:00Z", age("1200 h")).await.unwrap();
        let corrected = entry("bowline", "2026-10-05T08:00:00Z", age("1300 h"));
        shop.ledger.correct(first, corrected).await.unwrap();
        assert_eq!(ages().await, [age("1300 h")]);
        shop.prove().await;
        shop.ledger.withdraw(first, at(RECORDED), "").await.unwrap();
        assert_eq!(ages().await, []);
        let error = shop.append("2026-10-05T08:00:00Z", age(" ")).await.unwrap_err();
        assert_eq!(error.to_string(), "the amount has no name\n  give one");
        shop.prove().await;
    }

    /// Every kind of event, with everything that it can carry.
    async fn what_is_written_is_read_back_whole(shop: &TestShop) {
        let ledger = &shop.ledger;
        let Event::Run(full) = run_by_label("bracket for the till", 3.25) else { unreachable!() };
        let events = [
            Event::Run(full),
            run("a1", 12.5),
            queued("b2", 1.0),
            done("wipe the x rods"),
            replaced("nozzle"),
            Event::Replaced { position: "fan".into(), because: Because::Failed, spare: None },
            Event::Failed { position: "fan".into(), mode: "rattles, then stops".into(), found: false, mended: false },
            Event::Failed { position: "fan".into(), mode: "a blade is cracked".into(), found: true, mended: false },
            // 0.1 + 0.2: a value whose last bit a careless reader of decimals loses.
            Event::Reading { position: "belt".into(), what: "frequency".into(), value: 0.1 + 0.2, unit: "Hz".into() },
            Event::HourMeter { hours: 1234.5, unbooked: travel(2.0, "ASA"), doubt: 0.25 },
            Event::Limit(own_limit("1 km")),
            Event::Limit(OwnLimit { of: None, every: "6 weeks".into(), ..own_limit("") }),
            Event::Age { position: Some("nozzle".into()), of: Some("time".into()), amount: "1200 h".into() },
            Event::Age { position: None, of: None, amount: "8 months".into() },
            Event::Replaced { position: "nozzle".into(), because: Because::Good, spare: Some("brass nozzle 0.4".into()) },
            visit(date(2026, 11, 27)),
            Event::Visit(Visit { day: date(2026, 12, 1), keeper: "mate".into(), tasks: vec!["wipe, wash".into()], minutes: 0.1 + 0.2, is_locked: true, took: Some(31.0) }),
            Event::Skipped { task: "wipe the x rods".into(), reason: "no wipes left".into() },
        ];
        for (hour, event) in events.into_iter().enumerate() {
            let new = NewEntry { note: "it's \"fine\" 100 % ✓".into(), ..entry("bowline", &format!("2026-10-05T{hour:02}:00:00.123456Z"), event) };
            let id = ledger.append(new.clone()).await.unwrap();
            let back = ledger.entry(id).await.unwrap();
            assert_eq!((back.machine, back.at, back.recorded, back.note), (new.machine, new.at, new.recorded, new.note));
            assert_eq!((back.event, back.corrects), (new.event, None));
        }
        shop.prove().await;
    }

    async fn what_is_said_of_the_shop_is_read_back_whole(shop: &TestShop) {
        let item = || "ISO VG 32 light oil".to_owned();
        let events = [
            keeper("first keeper", 60),
            Event::Keeper(Keeper { name: "mate".into(), minutes: [0, 1, 2, 3, 4, 5, 1440], skills: vec![], is_gone: true }),
            Event::Away(Away { keeper: "mate".into(), from: date(2026, 12, 24), to: date(2027, 1, 1), why: "sea".into() }),
            Event::Away(Away { keeper: "mate".into(), from: date(2026, 12, 24), to: date(2026, 12, 24), why: String::new() }),
            Event::Ordered(Ordered { item: item(), amount: "0.2 l".into(), by: date(2026, 12, 4), supplier: "the chandler".into() }),
            Event::Ordered(Ordered { item: "brass nozzle 0.4".into(), amount: "5".into(), by: date(2027, 1, 1), supplier: String::new() }),
            received("brass nozzle 0.4", "5"),
            Event::Received(Received { item: item(), amount: "0.1 l".into(), price: Some(0.1 + 0.2), expires: Some(date(2028, 1, 31)), supplier: "the chandler".into() }),
            counted("brass nozzle 0.4", "0"),
            Event::ThrownAway(ThrownAway { item: item(), amount: "5 ml".into(), why: "dirty".into() }),
            Event::Terms(Terms { item: item(), supplier: "the chandler".into(), lead_days: 10, pack: "100 ml".into(), price: Some(9.5), service: 0.95 }),
            Event::Terms(Terms { item: item(), supplier: String::new(), lead_days: 0, pack: "1".into(), price: None, service: 0.5 }),
        ];
        for event in events {
            let id = shop.ledger.append(entry("", "2026-10-05T08:00:00Z", event.clone())).await.unwrap();
            let back = shop.ledger.entry(id).await.unwrap();
            assert_eq!((back.machine.as_str(), back.event), ("", event.clone()));
            let error = shop.append("2026-10-05T08:00:00Z", event).await.unwrap_err();
            assert!(matches!(error, Error::OfTheShop { .. }), "{error}");
        }
        assert_eq!(shop.ledger.of_the_shop().await.unwrap().len(), 12);
        shop.prove().await;
    }

    async fn a_keeper_is_what_was_said_last_and_a_withdrawn_word_brings_the_one_before_back(shop: &TestShop) {
        let ledger = &shop.ledger;
        let say = async |event| ledger.append(entry("", "2026-10-05T08:00:00Z", event)).await.unwrap();
        let minutes = async || {
            let keepers = ledger.keepers().await.unwrap();
            keepers.iter().map(|one| (one.keeper.name.clone(), one.minutes_on(date(2026, 12, 24)))).collect::<Vec<_>>()
        };
        say(keeper("mate", 60)).await;
        let second = say(keeper("mate", 30)).await;
        assert_eq!(minutes().await, [("mate".to_owned(), 30)]);
        let day = date(2026, 12, 24);
        let off = say(Event::Away(Away { keeper: "mate".into(), from: day, to: day, why: String::new() })).await;
        assert_eq!(minutes().await, [("mate".to_owned(), 0)]);
        let later = Event::Away(Away { keeper: "mate".into(), from: date(2026, 12, 25), to: date(2026, 12, 26), why: String::new() });
        ledger.correct(off, entry("", "2026-10-05T08:00:00Z", later)).await.unwrap();
        assert_eq!(minutes().await, [("mate".to_owned(), 30)]);
        ledger.withdraw(second, at(RECORDED), "").await.unwrap();
        assert_eq!(minutes().await, [("mate".to_owned(), 60)]);
        shop.prove().await;
    }

    async fn stores_are_told_by_what_came_and_what_care_used_since(shop: &TestShop) {
        let ledger = &shop.ledger;
        let say = async |when: &str, event| ledger.append(entry("", when, event)).await.unwrap();
        let known = std::cell::RefCell::new(None);
        let stock = async |item: &str| {
            let mut all = ledger.stores(None).await.unwrap();
            all.iter_mut().for_each(|one| one.used.clear());
            // Told from what was known before, whatever was recorded since, it is the same.
            let last: Option<ledger::Stock> = known.take();
            let now = ledger.stock(last.as_ref().map(|last| (last, &["bowline"][..]))).await.unwrap();
            assert_eq!(now.items(), all);
            known.replace(Some(now));
            all.into_iter().find(|one| one.name == item).and_then(|one| one.stock)
        };
        assert_eq!(ledger.stores(None).await.unwrap(), []);
        let wipe = "lint-free wipe";
        // Each done task here uses 2 wipes; this one was before any came.
        shop.append("2026-10-04T08:00:00Z", done("polish")).await.unwrap();
        let came = say("2026-10-05T08:00:00Z", received(wipe, "20")).await;
        let first = shop.append("2026-10-06T08:00:00Z", done("polish")).await.unwrap();
        shop.append("2026-10-07T08:00:00Z", done("polish")).await.unwrap();
        assert_eq!(stock(wipe).await, Some(16.0));
        ledger.withdraw(first, at(RECORDED), "").await.unwrap();
        assert_eq!(stock(wipe).await, Some(18.0), "what was withdrawn used nothing");
        ledger.correct(came, entry("", "2026-10-05T08:00:00Z", received(wipe, "30"))).await.unwrap();
        assert_eq!(stock(wipe).await, Some(28.0));
        let count = say("2026-10-08T08:00:00Z", counted(wipe, "9")).await;
        shop.append("2026-10-09T08:00:00Z", done("polish")).await.unwrap();
        shop.append("2026-10-05T09:00:00Z", done("polish")).await.unwrap();
        assert_eq!(stock(wipe).await, Some(7.0), "care recorded late, from before the count, was counted");
        ledger.withdraw(count, at(RECORDED), "").await.unwrap();
        assert_eq!(stock(wipe).await, Some(24.0));
        say("2026-10-05T08:00:00Z", received("brass nozzle 0.4", "1")).await;
        let spare = |spare: &str| Event::Replaced { position: "nozzle".into(), because: Because::Worn, spare: Some(spare.into()) };
        for day in 10..=11 {
            shop.append(&format!("2026-10-{day}T08:00:00Z"), spare("Brass nozzle 0.4")).await.unwrap();
        }
        assert_eq!(stock("brass nozzle 0.4").await, Some(-1.0));
        let then = async |when: &str, without| {
            let all = ledger.stores_at(at(when), without).await.unwrap();
            all.into_iter().find(|one| one.name == wipe).and_then(|one| one.stock)
        };
        // 30 came on the 5th; two were used an hour later, on the 7th and on the 9th.
        assert_eq!(then("2026-10-04T08:00:00Z", None).await, None);
        assert_eq!(then("2026-10-05T08:00:00Z", None).await, Some(30.0));
        assert_eq!(then("2026-10-08T08:00:00Z", None).await, Some(26.0));
        let newest = ledger.newest(came).await.unwrap().id;
        assert_eq!(then("2026-10-08T08:00:00Z", Some(newest)).await, None);
        let whole = ledger.stores(Some(at(JOINED))).await.unwrap();
        let used: f64 = whole.iter().find(|one| one.name == wipe).unwrap().used.values().sum();
        assert!((used - 8.0).abs() < 1e-9, "four tasks stand, the one before any came among them: {used}");
        shop.prove().await;
    }

    async fn a_task_done_uses_what_the_build_of_its_machine_says(shop: &TestShop) {
        let build = shop.ledger.build(&shop.build().await).await.unwrap();
        let task = build.tasks.iter().find(|task| !task.uses.is_empty()).unwrap();
        let supply = &task.uses[0];
        shop.ledger.append(entry("", "2026-10-05T08:00:00Z", received(&supply.name, &format!("1000 {}", supply.unit)))).await.unwrap();
        shop.append("2026-10-06T08:00:00Z", Event::Done { task: task.name.clone(), supplies: Default::default() }).await.unwrap();
        let items = shop.ledger.stores(None).await.unwrap();
        let stock = items.iter().find(|item| item.name == supply.name).unwrap().stock.unwrap();
        assert!((stock - (1000.0 - supply.amount)).abs() < 1e-9, "{stock}");
    }

    async fn a_visit_keeps_its_number_however_often_it_is_moved(shop: &TestShop) {
        let ledger = &shop.ledger;
        let told = async |from| {
            let visits = ledger.visits(from).await.unwrap();
            visits.into_iter().map(|one| (one.id, one.sequence, one.visit.day, one.is_cancelled)).collect::<Vec<_>>()
        };
        let on = |day| date(2026, 11, day);
        let when = "2026-11-20T08:00:00Z";
        let first = shop.append(when, visit(on(27))).await.unwrap();
        let second = shop.append(when, visit(on(26))).await.unwrap();
        assert_eq!(told(on(26)).await, [(second, 0, on(26), false), (first, 0, on(27), false)]);
        assert_eq!(told(on(27)).await, [(first, 0, on(27), false)]);
        let moved = ledger.correct(first, entry("bowline", when, visit(on(25)))).await.unwrap();
        assert_eq!(told(on(26)).await, [(second, 0, on(26), false)], "moved out of the span");
        assert_eq!(told(on(20)).await, [(first, 1, on(25), false), (second, 0, on(26), false)]);
        ledger.correct(moved, entry("bowline", when, visit(on(28)))).await.unwrap();
        ledger.withdraw(first, at(RECORDED), "the machine is sold").await.unwrap();
        assert_eq!(told(on(26)).await, [(second, 0, on(26), false), (first, 3, on(28), true)]);
        assert_eq!(told(on(29)).await, []);
        ledger.correct(first, entry("bowline", when, visit(on(30)))).await.unwrap();
        assert_eq!(told(on(29)).await, [(first, 4, on(30), false)], "told anew after it was called off");
        assert_eq!(ledger.visits(on(29)).await.unwrap()[0].machine, "bowline");
        shop.prove().await;
    }

    async fn a_skipped_task_stays_as_due_as_it_was(shop: &TestShop) {
        shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        let before = format!("{:?}", shop.state().await);
        let skipped = Event::Skipped { task: "wipe".into(), reason: "no wipes left".into() };
        let id = shop.append("2026-10-06T08:00:00Z", skipped).await.unwrap();
        assert_eq!(format!("{:?}", shop.state().await), before);
        let silent = Event::Skipped { task: "wipe".into(), reason: " ".into() };
        let error = shop.append("2026-10-06T08:00:00Z", silent.clone()).await.unwrap_err();
        assert_eq!(error.to_string(), "why it was skipped is not said\n  say it in a few words");
        let error = shop.ledger.correct(id, entry("bowline", "2026-10-06T08:00:00Z", silent)).await.unwrap_err();
        assert!(matches!(error, Error::BadFact(_)), "{error}");
        shop.ledger.withdraw(id, at(RECORDED), "").await.unwrap();
        shop.prove().await;
    }

    async fn facts_of_the_shop_that_can_not_be_are_refused(shop: &TestShop) {
        let say = async |event| shop.ledger.append(entry("", "2026-10-05T08:00:00Z", event)).await.unwrap_err();
        assert!(matches!(say(keeper("mate", 1441)).await, Error::BadFact(ShopError::Minutes { minutes: 1441 })));
        assert!(matches!(say(received("wipe", "-1")).await, Error::BadFact(ShopError::TooLittle { .. })));
        assert!(matches!(say(counted("", "1")).await, Error::BadFact(ShopError::Missing { .. })));
        let Event::Visit(visit) = visit(date(2026, 11, 27)) else { unreachable!() };
        let endless = Event::Visit(Visit { minutes: f64::NAN, ..visit });
        let error = shop.append("2026-10-05T08:00:00Z", endless).await.unwrap_err();
        assert!(matches!(error, Error::BadFact(ShopError::VisitMinutes { .. })), "{error}");
        assert_eq!(shop.ledger.of_the_shop().await.unwrap(), []);
    }

    /// By the clock on the shop's wall, whose offset changes within the year.
    async fn a_run_belongs_to_the_day_of_its_start_in_the_shops_zone(shop: &TestShop) {
        // Lisbon is at UTC+1 until 2026-10-25, then at UTC.
        shop.append("2026-10-10T23:30:00Z", run("a1", 1.0)).await.unwrap();
        shop.append("2026-11-10T23:30:00Z", run("a1", 2.0)).await.unwrap();
        let days: Vec<_> = shop.ledger.days("bowline", None).await.unwrap();
        let dates: Vec<_> = days.iter().map(|day| (day.date, day.usage.amount(Quantity::TravelX).round())).collect();
        assert_eq!(dates, [(date(2026, 10, 11), 1.0), (date(2026, 11, 10), 2.0)]);
        let later = shop.ledger.days("bowline", Some(date(2026, 10, 12))).await.unwrap();
        assert_eq!(later.len(), 1);
    }

    async fn a_run_counts_once_whatever_its_label_says(shop: &TestShop) {
        let first = shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        let Event::Run(again) = run("a1", 5.0) else { unreachable!() };
        let again = Event::Run(Run { label: "renamed.gcode".into(), ..again });
        let error = shop.append("2026-10-05T08:00:00Z", again).await.unwrap_err();
        assert!(matches!(error, Error::AlreadyBooked(id) if id == first), "{error}");
        check_metres(shop.travelled().await, 5.0);
        shop.append("2026-10-05T08:00:01Z", run("a1", 5.0)).await.unwrap();
        shop.append("2026-10-05T08:00:00Z", run("b2", 5.0)).await.unwrap();
        check_metres(shop.travelled().await, 15.0);
        shop.prove().await;
    }

    async fn a_run_without_a_program_is_known_by_its_label(shop: &TestShop) {
        let first = shop.append("2026-10-05T08:00:00Z", run_by_label("lamp", 5.0)).await.unwrap();
        let error = shop.append("2026-10-05T08:00:00Z", run_by_label("lamp", 6.0)).await.unwrap_err();
        assert!(matches!(error, Error::AlreadyBooked(id) if id == first), "{error}");
        shop.append("2026-10-05T08:00:00Z", run_by_label("other lamp", 5.0)).await.unwrap();
        shop.join("sheet bend").await.unwrap();
        shop.ledger.append(entry("sheet bend", "2026-10-05T08:00:00Z", run_by_label("lamp", 5.0))).await.unwrap();
        shop.prove().await;
    }

    async fn a_withdrawn_run_can_be_booked_again(shop: &TestShop) {
        let first = shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        shop.ledger.withdraw(first, at(RECORDED), "wrong machine").await.unwrap();
        check_metres(shop.travelled().await, 0.0);
        let second = shop.append("2026-10-05T08:00:00Z", run("a1", 4.0)).await.unwrap();
        check_metres(shop.travelled().await, 4.0);
        let error = shop.append("2026-10-05T08:00:00Z", run("a1", 4.0)).await.unwrap_err();
        assert!(matches!(error, Error::AlreadyBooked(id) if id == second), "{error}");
        // The first cannot come back beside the second.
        let error = shop.ledger.correct(first, entry("bowline", "2026-10-05T08:00:00Z", run("a1", 5.0))).await.unwrap_err();
        assert!(matches!(error, Error::AlreadyBooked(_)), "{error}");
        check_metres(shop.travelled().await, 4.0);
        shop.prove().await;
    }

    async fn a_task_counts_what_was_used_before_it(shop: &TestShop) {
        shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        shop.append("2026-10-06T08:00:00Z", run("a1", 6.0)).await.unwrap();
        let id = shop.append("2026-10-06T08:00:00Z", done("wipe")).await.unwrap();
        // A run that starts at the very instant counts after it.
        check_metres(shop.travelled_before("wipe").await, 5.0);
        check_metres(shop.travelled_before("never done").await, None);
        let standing = shop.state().await.standings[&Care::Task("wipe".into())].clone();
        assert_eq!((standing.at, standing.entry), (at("2026-10-06T08:00:00Z"), id));
        shop.prove().await;
    }

    async fn a_run_booked_late_moves_the_standings_after_it(shop: &TestShop) {
        shop.append("2026-10-08T08:00:00Z", run("a1", 8.0)).await.unwrap();
        shop.append("2026-10-07T00:00:00Z", done("wipe")).await.unwrap();
        shop.append("2026-10-09T00:00:00Z", replaced("nozzle")).await.unwrap();
        shop.append("2026-10-10T00:00:00Z", done("oil")).await.unwrap();
        shop.append("2026-10-05T08:00:00Z", run("a1", 0.5)).await.unwrap();
        shop.append("2026-10-09T08:00:00Z", run("a1", 0.25)).await.unwrap();
        check_metres(shop.travelled_before("wipe").await, 0.5);
        check_metres(shop.travelled_before("oil").await, 8.75);
        let standings = shop.state().await.standings;
        check_metres(standings[&Care::Position("nozzle".into())].base.amount(Quantity::TravelX), 8.5);
        shop.prove().await;
    }

    async fn a_task_recorded_late_counts_from_when_it_was_done(shop: &TestShop) {
        for day in 1..=9 {
            shop.append(&format!("2026-10-{day:02}T08:00:00Z"), run("a1", 1.0)).await.unwrap();
        }
        shop.append("2026-10-04T12:00:00Z", done("wipe")).await.unwrap();
        check_metres(shop.travelled_before("wipe").await, 4.0);
        shop.append("2026-10-02T12:00:00Z", done("oil")).await.unwrap();
        check_metres(shop.travelled_before("oil").await, 2.0);
        shop.append("2026-10-03T12:00:00Z", done("wipe")).await.unwrap();
        check_metres(shop.travelled_before("wipe").await, 4.0); // The newer standing stands.
        shop.append("2026-10-08T12:00:00Z", done("wipe")).await.unwrap();
        check_metres(shop.travelled_before("wipe").await, 8.0);
        check_metres(shop.travelled_before("oil").await, 2.0);
        shop.prove().await;
    }

    async fn the_newest_correction_holds_and_the_old_words_stay(shop: &TestShop) {
        let first = shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        shop.append("2026-10-06T00:00:00Z", done("wipe")).await.unwrap();
        let ledger = &shop.ledger;
        let second = ledger.correct(first, entry("bowline", "2026-10-05T09:00:00Z", run("a1", 3.0))).await.unwrap();
        check_metres(shop.travelled_before("wipe").await, 3.0);
        // A correction of the correction, which moves the run to after the task.
        let third = ledger.correct(second, entry("bowline", "2026-10-07T09:00:00Z", run("a1", 2.0))).await.unwrap();
        check_metres(shop.travelled_before("wipe").await, 0.0);
        check_metres(shop.travelled().await, 2.0);
        // A later correction of the first entry beats the correction of the correction.
        let fourth = ledger.correct(first, entry("bowline", "2026-10-05T08:00:00Z", run("a1", 7.0))).await.unwrap();
        check_metres(shop.travelled_before("wipe").await, 7.0);
        let all = ledger.entries(&Filter { kind: Some(Kind::Run), ..Filter::default() }, 10).await.unwrap();
        let seen: Vec<_> = all.iter().map(|listed| (listed.entry.id, listed.entry.corrects, listed.replaced_by)).collect();
        assert_eq!(seen, [
            (third, Some(second), Some(fourth)),
            (second, Some(first), Some(fourth)),
            (fourth, Some(first), None),
            (first, None, Some(fourth)),
        ]);
        let effective = ledger.effective("bowline").await.unwrap();
        assert_eq!(effective.iter().map(|entry| entry.id).collect::<Vec<_>>(), [EntryId(1), fourth, EntryId(3)]);
        shop.prove().await;
    }

    async fn a_withdrawn_task_brings_the_one_before_it_back(shop: &TestShop) {
        shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        shop.append("2026-10-06T00:00:00Z", done("wipe")).await.unwrap();
        shop.append("2026-10-07T08:00:00Z", run("a1", 6.0)).await.unwrap();
        let second = shop.append("2026-10-08T00:00:00Z", done("wipe")).await.unwrap();
        check_metres(shop.travelled_before("wipe").await, 11.0);
        let withdrawal = shop.ledger.withdraw(second, at(RECORDED), "was another machine").await.unwrap();
        check_metres(shop.travelled_before("wipe").await, 5.0);
        // And what was withdrawn can be said again.
        shop.ledger.correct(withdrawal, entry("bowline", "2026-10-08T00:00:00Z", done("wipe"))).await.unwrap();
        check_metres(shop.travelled_before("wipe").await, 11.0);
        shop.prove().await;
    }

    async fn a_correction_says_the_same_kind_of_thing_of_the_same_machine(shop: &TestShop) {
        shop.join("sheet bend").await.unwrap();
        let id = shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        let error = shop.ledger.correct(id, entry("bowline", "2026-10-05T08:00:00Z", done("wipe"))).await.unwrap_err();
        assert_eq!(error.to_string(), format!("entry {id} says \"run\", not \"done\"\n  withdraw it and record the other thing by itself"));
        let error = shop.ledger.correct(id, entry("sheet bend", "2026-10-05T08:00:00Z", run("a1", 5.0))).await.unwrap_err();
        assert!(matches!(error, Error::OtherMachine { .. }), "{error}");
        let error = shop.ledger.correct(EntryId(99), entry("bowline", "2026-10-05T08:00:00Z", run("a1", 5.0))).await.unwrap_err();
        assert!(matches!(error, Error::NoSuchEntry { id: EntryId(99) }), "{error}");
        let error = shop.append("2026-10-05T08:00:00Z", Event::Withdrawn).await.unwrap_err();
        assert!(matches!(error, Error::NothingToWithdraw), "{error}");
        shop.prove().await;
    }

    async fn a_queued_run_waits_until_it_is_run_or_withdrawn(shop: &TestShop) {
        let ledger = &shop.ledger;
        let first = shop.append("2026-10-05T08:00:00Z", queued("a1", 5.0)).await.unwrap();
        let second = shop.append("2026-10-05T09:00:00Z", queued("a1", 6.0)).await.unwrap();
        let third = shop.append("2026-10-05T10:00:00Z", queued("b2", 7.0)).await.unwrap();
        let queue = async || ledger.queue("bowline").await.unwrap().iter().map(|entry| entry.id).collect::<Vec<_>>();
        // A run from before anything was queued fulfils nothing.
        shop.append("2026-10-04T08:00:00Z", run("a1", 5.0)).await.unwrap();
        assert_eq!(queue().await, [first, second, third]);
        // The oldest of the same program goes first.
        let ran = shop.append("2026-10-06T08:00:00Z", run("a1", 5.0)).await.unwrap();
        assert_eq!(queue().await, [second, third]);
        assert!(matches!(ledger.entry(ran).await.unwrap().event, Event::Run(run) if run.queued == Some(first)));
        ledger.withdraw(third, at(RECORDED), "").await.unwrap();
        assert_eq!(queue().await, [second]);
        // A run that names what it fulfils; and one that names what is not there.
        let Event::Run(named) = run("c3", 5.0) else { unreachable!() };
        let wrong = Event::Run(Run { queued: Some(third), ..named.clone() });
        let error = shop.append("2026-10-07T08:00:00Z", wrong).await.unwrap_err();
        assert!(matches!(error, Error::NotQueued { id, .. } if id == third), "{error}");
        shop.append("2026-10-07T08:00:00Z", Event::Run(Run { queued: Some(second), ..named })).await.unwrap();
        assert!(queue().await.is_empty());
        // Corrected, the run still fulfils what it did; withdrawn, that is expected again.
        let corrected = ledger.correct(ran, entry("bowline", "2026-10-06T09:00:00Z", run("a1", 4.0))).await.unwrap();
        assert!(queue().await.is_empty());
        ledger.withdraw(corrected, at(RECORDED), "").await.unwrap();
        assert_eq!(queue().await, [first]);
        let state = shop.state().await;
        assert_eq!(state.queue.len(), 1);
        assert_eq!((state.queue[0].on, &state.queue[0].usage), (Some(date(2026, 11, 30)), &travel(5.0, "PLA")));
        shop.prove().await;
    }

    async fn a_queued_run_can_be_put_off_and_then_run(shop: &TestShop) {
        let first = shop.append("2026-10-05T08:00:00Z", queued("a1", 5.0)).await.unwrap();
        let Event::Queued(put_off) = queued("a1", 5.0) else { unreachable!() };
        let put_off = Event::Queued(upkeep::entry::Queued { on: None, ..put_off });
        shop.ledger.correct(first, entry("bowline", "2026-10-05T08:00:00Z", put_off)).await.unwrap();
        assert_eq!(shop.state().await.queue[0].on, None);
        let Event::Run(named) = run("a1", 5.0) else { unreachable!() };
        shop.append("2026-10-06T08:00:00Z", Event::Run(Run { queued: Some(first), ..named })).await.unwrap();
        assert!(shop.state().await.queue.is_empty());
        shop.prove().await;
    }

    async fn nothing_can_be_recorded_before_the_machine_joined_or_before_it_happened(shop: &TestShop) {
        let error = shop.append("2026-09-30T23:59:59Z", run("a1", 1.0)).await.unwrap_err();
        assert!(matches!(error, Error::BeforeAdded { .. }), "{error}");
        let error = shop.append("2027-01-01T00:00:00Z", run("a1", 1.0)).await.unwrap_err();
        assert!(matches!(error, Error::NotYet { .. }), "{error}");
        shop.append("2026-10-02T08:00:00Z", run("a1", 1.0)).await.unwrap();
        // The machine cannot be said to have joined after its first run.
        let added = shop.ledger.machines().await.unwrap()[0].entry;
        let build = shop.build().await;
        let later = entry("bowline", "2026-10-03T00:00:00Z", Event::Added { build: build.clone() });
        let error = shop.ledger.correct(added, later).await.unwrap_err();
        assert!(matches!(error, Error::BeforeAdded { .. }), "{error}");
        // But to have joined earlier; and then an older run can be booked.
        let earlier = entry("bowline", "2026-09-01T00:00:00Z", Event::Added { build });
        shop.ledger.correct(added, earlier).await.unwrap();
        shop.append("2026-09-30T23:59:59Z", run("a1", 1.0)).await.unwrap();
        shop.prove().await;
    }

    async fn a_machine_leaves_only_without_records(shop: &TestShop) {
        let run_id = shop.append("2026-10-02T08:00:00Z", run("a1", 1.0)).await.unwrap();
        let added = shop.ledger.machines().await.unwrap()[0].entry;
        let error = shop.ledger.withdraw(added, at(RECORDED), "").await.unwrap_err();
        assert!(matches!(error, Error::MachineInUse { entry, .. } if entry == run_id), "{error}");
        shop.ledger.withdraw(run_id, at(RECORDED), "").await.unwrap();
        shop.ledger.withdraw(added, at(RECORDED), "never bought").await.unwrap();
        assert!(shop.ledger.machines().await.unwrap().is_empty());
        assert!(shop.ledger.states(date(2026, 10, 1)).await.unwrap().is_empty());
        let error = shop.append("2026-10-02T08:00:00Z", run("a1", 1.0)).await.unwrap_err();
        assert_eq!(error.to_string(), "no machine is called \"bowline\"\n  there is none yet");
        shop.prove().await;
        // Its name is free again.
        shop.join("bowline").await.unwrap();
        shop.append("2026-10-02T08:00:00Z", run("a1", 1.0)).await.unwrap();
        shop.prove().await;
    }

    async fn a_machine_needs_a_name_of_its_own_and_a_build_of_the_shop(shop: &TestShop) {
        let error = shop.join("bowline").await.unwrap_err();
        assert_eq!(error.to_string(), "there already is a machine \"bowline\"\n  choose another name");
        let error = shop.ledger.add_machine("reef", "no such build", at(JOINED), at(RECORDED), "").await.unwrap_err();
        assert!(matches!(&error, Error::NoSuchBuild(unknown) if unknown.has.len() == 4), "{error}");
        let error = shop.ledger.add_machine(" ", "x", at(JOINED), at(RECORDED), "").await.unwrap_err();
        assert!(matches!(error, Error::Nameless { what: "machine" }), "{error}");
        let error = shop.ledger.append(entry("bowlin", "2026-10-02T08:00:00Z", run("a1", 1.0))).await.unwrap_err();
        assert_eq!(error.to_string(), "no machine is called \"bowlin\"\n  there is only bowline\n  did you mean bowline?");
        assert_eq!(shop.ledger.machines().await.unwrap().len(), 1);
        shop.prove().await;
    }

    async fn amounts_that_make_no_sense_are_refused(shop: &TestShop) {
        for value in [-1.0, f64::NAN, f64::INFINITY] {
            let reading = Event::Reading { position: "belt".into(), what: "frequency".into(), value, unit: "Hz".into() };
            let error = shop.append("2026-10-02T08:00:00Z", reading).await.unwrap_err();
            assert!(matches!(error, Error::BadAmount { .. }), "{error}");
        }
        let error = shop.append("2026-10-02T08:00:00Z", done("")).await.unwrap_err();
        assert_eq!(error.to_string(), "the task has no name\n  give one");
    }

    async fn an_import_counts_once_however_often_it_is_made(shop: &TestShop) {
        shop.append("2026-10-05T08:00:00Z", run("a1", 1.0)).await.unwrap();
        shop.append("2026-10-05T07:00:00Z", queued("b2", 4.0)).await.unwrap();
        let history = || vec![
            entry("", "2026-10-04T08:00:00Z", run("a1", 2.0)),
            entry("", "2026-10-05T08:00:00Z", run("a1", 1.0)),
            entry("", "2026-10-04T08:00:00Z", run("a1", 2.0)),
            entry("", "2026-10-06T08:00:00Z", run("b2", 4.0)),
            entry("", "2026-10-04T12:00:00Z", done("wipe")),
        ];
        let first = shop.ledger.import("bowline", history()).await.unwrap();
        assert!(matches!(first[..], [
            Imported::New(a), Imported::Already(_), Imported::Already(b), Imported::New(_), Imported::New(_),
        ] if a == b), "{first:?}");
        check_metres(shop.travelled().await, 7.0);
        check_metres(shop.travelled_before("wipe").await, 2.0);
        assert!(shop.state().await.queue.is_empty(), "an imported run fulfils what is queued");
        shop.prove().await;
        let again = shop.ledger.import("bowline", history()).await.unwrap();
        assert_eq!(again.iter().filter(|one| matches!(one, Imported::Already(_))).count(), 4);
        check_metres(shop.travelled().await, 7.0);
        // One bad entry, and nothing is kept.
        let bad = vec![entry("", "2026-10-09T08:00:00Z", run("a1", 2.0)), entry("", "2026-09-01T08:00:00Z", run("a1", 2.0))];
        assert!(matches!(shop.ledger.import("bowline", bad).await, Err(Error::BeforeAdded { .. })));
        check_metres(shop.travelled().await, 7.0);
        shop.prove().await;
    }

    async fn pages_of_entries_follow_each_other_without_gap_or_overlap(shop: &TestShop) {
        shop.join("sheet bend").await.unwrap();
        for n in 0..10 {
            // Several at one instant, so that the number has to decide.
            let when = format!("2026-10-{:02}T08:00:00Z", 2 + n / 4);
            shop.append(&when, run_by_label(&format!("lamp {n}"), 1.0)).await.unwrap();
            shop.ledger.append(entry("sheet bend", &when, done("wipe"))).await.unwrap();
        }
        for machine in [None, Some("bowline".to_owned())] {
            let whole = shop.ledger.entries(&Filter { machine: machine.clone(), ..Filter::default() }, 100).await.unwrap();
            assert_eq!(whole.len(), if machine.is_some() { 11 } else { 22 });
            assert!(whole.is_sorted_by(|a, b| (a.entry.at, a.entry.id) > (b.entry.at, b.entry.id)));
            let mut filter = Filter { machine, ..Filter::default() };
            let mut paged = Vec::new();
            loop {
                let page = shop.ledger.entries(&filter, 3).await.unwrap();
                let Some(last) = page.last() else { break };
                filter.before = Some((last.entry.at, last.entry.id));
                paged.extend(page);
            }
            assert_eq!(paged, whole);
        }
        let about = Filter { about: Some("lamp 3".into()), kind: Some(Kind::Run), ..Filter::default() };
        assert_eq!(shop.ledger.entries(&about, 100).await.unwrap().len(), 1);
        // On the 3rd lamps 4 to 7 ran, and a wipe beside each: the first instant counts, the last does not.
        let third = Filter { from: Some(at("2026-10-03T08:00:00Z")), to: Some(at("2026-10-04T08:00:00Z")), ..Filter::default() };
        assert_eq!(shop.ledger.entries(&third, 100).await.unwrap().len(), 8);
        let wipes = Filter { kind: Some(Kind::Done), about: Some("wipe".into()), ..third };
        let found = shop.ledger.entries(&wipes, 100).await.unwrap();
        assert!(found.len() == 4 && found.iter().all(|listed| listed.entry.machine == "sheet bend"), "{found:?}");
        let page = Filter { before: Some((found[1].entry.at, found[1].entry.id)), ..wipes };
        assert_eq!(shop.ledger.entries(&page, 100).await.unwrap(), found[2..]);
        let nobody = Filter { machine: Some("reef".into()), ..Filter::default() };
        assert!(matches!(shop.ledger.entries(&nobody, 1).await, Err(Error::NoSuchMachine(_))));
    }

    async fn the_states_of_all_machines_are_those_of_each(shop: &TestShop) {
        for n in 0..40 {
            let name = format!("m{n:02}");
            shop.join(&name).await.unwrap();
            shop.ledger.append(entry(&name, "2026-10-05T08:00:00Z", run("a1", f64::from(n)))).await.unwrap();
            shop.ledger.append(entry(&name, "2026-11-05T08:00:00Z", run("a1", f64::from(n) + 0.5))).await.unwrap();
            shop.ledger.append(entry(&name, "2026-10-06T08:00:00Z", done("wipe"))).await.unwrap();
            shop.ledger.append(entry(&name, "2026-10-06T08:00:00Z", queued("b2", f64::from(n)))).await.unwrap();
        }
        let from = date(2026, 10, 6);
        let states = shop.ledger.states(from).await.unwrap();
        assert_eq!(states.len(), 41);
        assert!(states.is_sorted_by(|a, b| a.name < b.name));
        for state in states {
            let alone = shop.ledger.machine_state(&state.name, from).await.unwrap();
            assert_eq!(format!("{state:?}"), format!("{alone:?}"));
            let none = usize::from(state.name != "bowline");
            assert_eq!((state.days.len(), state.standings.len(), state.queue.len()), (none, none, none));
        }
    }

    async fn a_state_has_the_readings_of_its_hour_meter_that_stand(shop: &TestShop) {
        let read = |metres| Event::HourMeter { hours: 100.0 + metres, unbooked: travel(metres, "ASA"), doubt: 0.25 };
        shop.append("2026-10-05T08:00:00Z", read(1.0)).await.unwrap();
        let slip = shop.append("2026-10-12T08:00:00Z", read(2.0)).await.unwrap();
        let other = shop.append("2026-10-19T08:00:00Z", read(5.0)).await.unwrap();
        let mended = entry("bowline", "2026-10-13T08:00:00Z", read(3.0));
        shop.ledger.correct(slip, mended).await.unwrap();
        shop.ledger.withdraw(other, at(RECORDED), "").await.unwrap();
        shop.join("reef").await.unwrap();
        let reading = HourReading { date: date(2026, 10, 13), unbooked: travel(3.0, "ASA"), doubt: 0.25 };
        let states = shop.ledger.states(date(2026, 10, 6)).await.unwrap();
        let readings: Vec<&[HourReading]> = states.iter().map(|state| state.readings.as_slice()).collect();
        assert_eq!(readings, [&[reading][..], &[]]);
    }

    async fn builds_and_materials_are_described_anew_but_never_lost(shop: &TestShop) {
        let ledger = &shop.ledger;
        let name = shop.build().await;
        let text = ledger.builds().await.unwrap()[0].text.clone();
        assert!(!ledger.add_build(&name, &text, at(RECORDED)).await.unwrap(), "the same text is no news");
        let newer = format!("# Seen again in autumn.\n{text}");
        assert!(ledger.add_build(&name, &newer, at(RECORDED)).await.unwrap());
        assert_eq!(ledger.builds().await.unwrap()[0].text, newer);
        assert_eq!(ledger.builds().await.unwrap().len(), 4);
        assert!(ledger.add_build(&name, &text, at(RECORDED)).await.unwrap(), "going back to the first text is news");

        let own = |density_kg_m3| MaterialInfo { name: "PLA".into(), density_kg_m3, classes: vec![MaterialClass::Abrasive, MaterialClass::Soft] };
        ledger.put_material(&own(1300.0), at(RECORDED)).await.unwrap();
        ledger.put_material(&MaterialInfo { name: "pla".into(), ..own(1310.5) }, at(RECORDED)).await.unwrap();
        ledger.put_material(&MaterialInfo { name: "PEI".into(), density_kg_m3: 1270.0, classes: vec![] }, at(RECORDED)).await.unwrap();
        let materials = ledger.materials().await.unwrap();
        assert_eq!(materials.len(), 2);
        assert_eq!(materials[1], MaterialInfo { name: "pla".into(), ..own(1310.5) });
        let error = ledger.put_material(&own(0.0), at(RECORDED)).await.unwrap_err();
        assert!(matches!(error, Error::BadAmount { .. }), "{error}");
    }

    async fn a_metered_program_comes_back_to_the_last_bit(shop: &TestShop) {
        let mut duty = Duty::default();
        duty.tools.entry(0).or_default()[Quantity::TravelX] = 0.1 + 0.2;
        duty.tools.entry(3).or_default()[Quantity::PeakFlow] = 1.234e-8;
        let key = |motion: &str| ProgramKey { sha256: "ab".repeat(32), motion: motion.into(), corner: "jerk".into(), meter: 1 };
        let program = Program { label: "lamp.gcode".into(), bytes: 5_000_000_000, duty, report: "{}".into(), maps: vec![0, 255, 7] };
        assert_eq!(shop.ledger.program(&key("m1")).await.unwrap(), None);
        shop.ledger.put_program(&key("m1"), &program).await.unwrap();
        shop.ledger.put_program(&key("m1"), &program).await.unwrap();
        assert_eq!(shop.ledger.program(&key("m1")).await.unwrap(), Some(program));
        // The same file on another build asks something else.
        assert_eq!(shop.ledger.program(&key("m2")).await.unwrap(), None);
    }

    async fn a_spoilt_row_is_named_and_mended(shop: &TestShop) {
        shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        shop.append("2026-10-06T08:00:00Z", done("wipe")).await.unwrap();
        shop.append("2026-10-06T09:00:00Z", queued("b2", 5.0)).await.unwrap();
        shop.join("sheet bend").await.unwrap();
        shop.ledger.append(entry("sheet bend", "2026-10-05T08:00:00Z", run("a1", 5.000_000_001))).await.unwrap();
        shop.ledger.append(entry("sheet bend", "2026-10-06T08:00:00Z", done("wipe"))).await.unwrap();
        shop.prove().await;
        // Each of these plants one difference: the other machine's bytes, one grain away, or a row gone.
        for (spoil, named) in [
            ("update total set usage = (select usage from total where machine = 2) where machine = 1", "total, travel x of tool 0 in PLA: kept 5000000001, the entries say 5000000000"),
            ("update daily set days = (select days from daily where machine = 2) where machine = 1", "day 2026-10-05, travel x of tool 0 in PLA: kept 5000000001, the entries say 5000000000"),
            ("update standing set marks = (select marks from standing where machine = 2) where machine = 1", "use before task \"wipe\", travel x of tool 0 in PLA: kept 5000000001"),
            ("delete from standing where machine = 1", "task \"wipe\": kept never"),
            ("delete from queued", "queue: kept {}"),
            ("update machine set added_at = added_at + 1 where id = 1", "how it joined"),
            ("update total set usage = days from daily where total.machine = 1 and daily.machine = 1", "the total of machine 1: kept bytes that cannot be read"),
        ] {
            assert_eq!(shop.ground.spoil(spoil).await, 1, "{spoil}");
            let differences = shop.ledger.verify().await.unwrap().differences;
            let said = differences.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n");
            assert!(said.contains(named) && said.starts_with("machine \"bowline\", "), "{spoil}: {said}");
            assert_eq!(shop.ledger.rebuild(Some("bowline")).await.unwrap(), 1);
            shop.prove().await;
        }
        assert_eq!(shop.ledger.rebuild(None).await.unwrap(), 2);
        assert!(matches!(shop.ledger.rebuild(Some("reef")).await, Err(Error::NoSuchMachine(_))));
        shop.prove().await;
    }

    async fn the_database_itself_refuses_to_edit_or_delete_an_entry(shop: &TestShop) {
        let mut raw = shop.ground.raw().await;
        for statement in ["update entry set note = 'x'", "delete from entry"] {
            let error = sqlx::query(statement).execute(&mut raw).await.unwrap_err().to_string();
            assert!(error.contains("an entry is never"), "{error}");
        }
        let n: i64 = sqlx::query("select count(*) from entry").fetch_one(&mut raw).await.unwrap().get(0);
        assert_eq!(n, 1);
    }

    async fn how_a_shop_stands_is_told_beside_its_records(shop: &TestShop) {
        let sound = shop.ledger.condition(at(RECORDED)).await.unwrap();
        assert_eq!((sound.unguarded.len(), sound.recorded_later, sound.keeps_secrets), (0, 0, false));
        assert_eq!(sound.last_recorded, Some(at(RECORDED)));
        let is_file = !shop.ground.at.starts_with("postgres");
        assert_eq!(sound.file.map(|file| file.to_str().unwrap().to_owned()), is_file.then(|| shop.ground.at.clone()));
        // The server's clock is this computer's, which has gone on since the instant in the tests.
        assert_eq!(sound.clock.map(|clock| at("2024-01-01T00:00:00Z") < clock), (!is_file).then_some(true));
        shop.ledger.add_token("bowline", "secret", "", at(RECORDED)).await.unwrap();
        let on_entry = if is_file { "" } else { " on entry" };
        shop.ground.spoil(&format!("drop trigger entry_is_never_edited{on_entry}")).await;
        let broken = shop.ledger.condition(at("2026-12-30T23:59:59Z")).await.unwrap();
        assert_eq!((broken.unguarded, broken.recorded_later, broken.keeps_secrets), (vec!["entry_is_never_edited"], 1, true));
        assert_eq!(broken.version, sound.version);
    }

    async fn what_was_recorded_last_is_proved_alone(shop: &TestShop) {
        shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        shop.join("sheet bend").await.unwrap();
        shop.ground.spoil("delete from daily").await;
        let newest = shop.ledger.verify_newest(1).await.unwrap();
        assert_eq!((newest.machines, newest.differences), (1, vec![]));
        let both = shop.ledger.verify_newest(2).await.unwrap();
        assert_eq!(both.machines, 2);
        assert!(!both.differences.is_empty() && both.differences.iter().all(|one| one.machine == "bowline"));
    }

    async fn two_keepers_who_book_at_once_lose_nothing(shop: &TestShop) {
        let other = ledger::Ledger::open(&shop.ground.at).await.unwrap();
        let book = async |ledger: ledger::Ledger, minute: u32| {
            for hour in 0..24 {
                let when = format!("2026-10-05T{hour:02}:{minute:02}:00Z");
                let material = format!("own {}", hour % 5);
                let Event::Run(run) = run("a1", 1.0) else { unreachable!() };
                let run = Event::Run(Run { usage: travel(1.0, &material), ..run });
                ledger.append(entry("bowline", &when, run)).await.unwrap();
            }
        };
        let a = tokio::spawn(book(shop.ledger.clone(), 1));
        let b = tokio::spawn(book(other.clone(), 2));
        book(other, 3).await;
        a.await.unwrap();
        b.await.unwrap();
        check_metres(shop.travelled().await, 72.0);
        shop.prove().await;
    }
}

async fn finds_estimated_runs(ground: Ground) {
    let shop = TestShop::new(ground).await;
    shop.join("clove hitch").await.unwrap();
    let estimated = |program: &str| {
        let Event::Run(run) = run(program, 5.0) else { unreachable!() };
        Event::Run(Run { basis: Basis::Estimated { spread: 0.2 }, ..run })
    };
    let stopped = |program: &str| {
        let Event::Run(run) = run(program, 5.0) else { unreachable!() };
        Event::Run(Run { stopped: Some("40 %".to_owned()), ..run })
    };
    let first = shop.append("2026-10-05T08:00:00Z", estimated("a1")).await.unwrap();
    shop.append("2026-10-05T10:00:00Z", run("a1", 5.0)).await.unwrap();
    shop.append("2026-10-05T12:00:00Z", stopped("a1")).await.unwrap();
    shop.append("2026-10-05T14:00:00Z", estimated("b2")).await.unwrap();
    shop.append("2026-10-05T16:00:00Z", run_by_label("a1.gcode", 5.0)).await.unwrap();
    shop.ledger.append(entry("clove hitch", "2026-10-05T08:00:00Z", estimated("a1"))).await.unwrap();
    let second = shop.append("2026-10-06T08:00:00Z", estimated("a1")).await.unwrap();
    let found = async || {
        let listed = shop.ledger.estimated_runs("bowline", &"a1".repeat(32)).await.unwrap();
        listed.into_iter().map(|listed| (listed.entry.id, listed.replaced_by)).collect::<Vec<_>>()
    };
    assert_eq!(found().await, [(second, None), (first, None)]);
    let better = shop.ledger.correct(first, entry("bowline", "2026-10-05T08:00:00Z", run("a1", 4.0))).await.unwrap();
    assert_eq!(found().await, [(second, None), (first, Some(better))]);
}

#[tokio::test]
async fn the_estimated_runs_of_a_program_are_found_without_reading_others() {
    finds_estimated_runs(Ground::sqlite()).await;
    finds_estimated_runs(Ground::postgres().await).await;
}
