//! What keepers tick off at the machine, on both engines: kept once, seen by all, limited where it must be.

mod support;

use jiff::civil::date;
use ledger::{Error, Filter, MOST_PHOTOS, Maker, Mark, PhotoError, PhotoKind};
use support::*;
use upkeep::{EntryId, Event};

/// The signature of PNG (ISO/IEC 15948, 5.2), and something behind it.
const PNG: &[u8] = b"\x89PNG\r\n\x1a\nrest";

fn maker<'a>(key: &'a str, by: &'a str, when: &str) -> Maker<'a> {
    Maker { by: Some(by), at: at(when), key }
}

async fn told(shop: &TestShop) -> EntryId {
    shop.append("2026-10-05T08:00:00Z", visit(date(2026, 10, 6))).await.unwrap()
}

async fn ticked_twice_is_ticked_once(shop: &TestShop) {
    let (ledger, visit) = (&shop.ledger, told(shop).await);
    let marks = [Mark::Reading("belts: tone".into(), "104 Hz".into()), Mark::Done];
    for _ in 0..2 {
        ledger.mark(visit, "wipe", &marks, &maker("a", "mate", "2026-10-06T09:00:00Z")).await.unwrap();
    }
    ledger.mark(visit, "wipe", &[Mark::Done], &maker("b", "bosun", "2026-10-06T09:05:00Z")).await.unwrap();
    let checklist = ledger.checklist(visit).await.unwrap();
    assert_eq!(checklist.n_marks, 3, "what was sent twice is there once");
    let wipe = &checklist.tasks["wipe"];
    let outcome = wipe.outcome.as_ref().unwrap();
    assert_eq!((outcome.by.as_deref(), outcome.at), (Some("mate"), at("2026-10-06T09:00:00Z")), "the first tick holds");
    assert_eq!(wipe.readings["belts: tone"], "104 Hz");
    assert_eq!(checklist.first, Some(at("2026-10-06T09:00:00Z")));
    assert_eq!(ledger.checklist_size(visit).await.unwrap(), 3);
}

async fn the_latest_word_on_a_task_holds(shop: &TestShop) {
    let (ledger, visit) = (&shop.ledger, told(shop).await);
    let words = [Mark::Done, Mark::Skipped("no wipe left".into()), Mark::Open, Mark::Skipped("too late".into())];
    for (place, mark) in words.into_iter().enumerate() {
        ledger.mark(visit, "wipe", &[mark], &maker(&place.to_string(), "mate", "2026-10-06T09:00:00Z")).await.unwrap();
        let outcome = ledger.checklist(visit).await.unwrap().tasks.remove("wipe").unwrap().outcome;
        let said = outcome.map(|outcome| outcome.skipped);
        let expected = [Some(None), Some(Some("no wipe left")), None, Some(Some("too late"))][place];
        assert_eq!(said.as_ref().map(|reason| reason.as_deref()), expected);
    }
    let other = told(shop).await;
    assert!(ledger.checklist(other).await.unwrap().tasks.is_empty(), "another visit has a checklist of its own");
}

async fn a_checklist_is_no_record_and_changes_none(shop: &TestShop) {
    let (ledger, visit) = (&shop.ledger, told(shop).await);
    let before = ledger.news().await.unwrap();
    let press = maker("k", "mate", "2026-10-06T09:00:00Z");
    ledger.mark(visit, "wipe", &[Mark::Note("a crack".into())], &press).await.unwrap();
    ledger.add_photo(visit, "wipe", PNG, &press).await.unwrap();
    assert_eq!(ledger.news().await.unwrap(), before);
    assert_eq!(ledger.checklist(visit).await.unwrap().tasks["wipe"].note, "a crack");
    let error = ledger.mark(EntryId(1), "wipe", &[Mark::Done], &press).await.unwrap_err();
    assert!(matches!(error, Error::NoSuchEntry { id: EntryId(1) }), "entry 1 is no visit: {error}");
    shop.prove().await;
}

async fn photos_are_of_known_kinds_and_not_without_number(shop: &TestShop) {
    let (ledger, visit) = (&shop.ledger, told(shop).await);
    for place in 1..=MOST_PHOTOS {
        for _ in 0..2 {
            let key = place.to_string();
            ledger.add_photo(visit, "wipe", PNG, &maker(&key, "mate", "2026-10-06T09:00:00Z")).await.unwrap();
        }
    }
    let photos = ledger.photos(visit).await.unwrap();
    assert_eq!(photos.iter().map(|photo| photo.place).collect::<Vec<_>>(), (1..=24).collect::<Vec<_>>());
    assert_eq!(ledger.photo(visit, 24).await.unwrap(), Some((PhotoKind::Png, PNG.to_vec())));
    assert_eq!(ledger.photo(visit, 25).await.unwrap(), None);
    let large: Vec<u8> = PNG.iter().copied().chain(std::iter::repeat_n(0, 6_000_001 - PNG.len())).collect();
    for (bytes, expected) in
        [(PNG, PhotoError::Many), (&large[..], PhotoError::Size), (&b"<svg onload=x>"[..], PhotoError::Kind)]
    {
        let error = ledger.add_photo(visit, "wipe", bytes, &maker("new", "mate", "2026-10-06T09:00:00Z")).await;
        assert!(matches!(error, Err(Error::BadPhoto(ref refused)) if *refused == expected), "{error:?}");
    }
}

/// Devices that add at the same instant take different places, and none is lost.
async fn photos_of_several_devices_at_once_are_all_kept(shop: &TestShop) {
    let visit = told(shop).await;
    let adding = (0..12).map(|device| {
        let ledger = shop.ledger.clone();
        tokio::spawn(async move {
            let key = device.to_string();
            ledger.add_photo(visit, "wipe", PNG, &maker(&key, "mate", "2026-10-06T09:00:00Z")).await
        })
    });
    for added in adding.collect::<Vec<_>>() {
        added.await.unwrap().unwrap();
    }
    assert_eq!(shop.ledger.photos(visit).await.unwrap().len(), 12);
}

async fn a_visit_is_found_by_its_number_on_whatever_day(shop: &TestShop) {
    let (ledger, id) = (&shop.ledger, told(shop).await);
    let now = ledger.visit(id).await.unwrap().unwrap();
    assert_eq!(now, ledger.visits(date(2026, 10, 1)).await.unwrap().remove(0));
    let Event::Visit(moved) = visit(date(2026, 10, 3)) else { unreachable!("a visit") };
    let moved = upkeep::shop::Visit { took: Some(20.0), ..moved };
    let entry = entry("bowline", "2026-10-05T09:00:00Z", Event::Visit(moved.clone()));
    let correction = ledger.correct(id, entry).await.unwrap();
    let found = ledger.visit(id).await.unwrap().unwrap();
    assert_eq!((found.sequence, found.visit.clone(), found.is_cancelled), (1, moved.clone(), false));
    ledger.withdraw(id, at(RECORDED), "").await.unwrap();
    let found = ledger.visit(id).await.unwrap().unwrap();
    assert_eq!((found.sequence, found.visit, found.is_cancelled), (2, moved, true), "what was told before is known");
    for other in [correction, EntryId(1), EntryId(9999)] {
        assert_eq!(ledger.visit(other).await.unwrap(), None, "{other} is no visit's number");
    }
}

async fn of_many_who_finish_a_visit_one_books_it_whole(shop: &TestShop) {
    let (ledger, id) = (&shop.ledger, told(shop).await);
    let all = async || ledger.entries(&Filter::default(), 100).await.unwrap().len();
    let before = all().await;
    let Event::Visit(planned) = visit(date(2026, 10, 3)) else { unreachable!("a visit") };
    let over = |took: f64| {
        entry(
            "bowline",
            "2026-10-05T09:00:00Z",
            Event::Visit(upkeep::shop::Visit { took: Some(took), ..planned.clone() }),
        )
    };
    let care = |task: &str| entry("bowline", "2026-10-05T09:00:00Z", done(task));
    // What can't be booked leaves the visit open, and nothing of it is kept.
    let press = maker("too early", "mate", "2026-10-05T09:00:00Z");
    let nameless = ledger.finish_visit(id, over(20.0), vec![care("wipe"), care("")], Some(&press)).await.unwrap_err();
    assert!(matches!(nameless, Error::Nameless { .. }), "{nameless}");
    assert_eq!(ledger.visit(id).await.unwrap().unwrap().visit.took, None);
    assert_eq!((all().await, ledger.checklist(id).await.unwrap().finish), (before, None));

    let finishing = (1..=8).map(|device| {
        let (ledger, over, came) = (ledger.clone(), over(f64::from(device)), vec![care("wipe"), care("oil")]);
        tokio::spawn(async move {
            let key = device.to_string();
            let press = maker(&key, "mate", "2026-10-05T09:00:00Z");
            ledger.finish_visit(id, over, came, Some(&press)).await.map(|_| key)
        })
    });
    let mut booked = Vec::new();
    for finished in finishing.collect::<Vec<_>>() {
        match finished.await.unwrap() {
            Ok(key) => booked.push(key),
            Err(error) => assert!(matches!(error, Error::VisitOver { id: over } if over == id), "{error}"),
        }
    }
    let finish = ledger.checklist(id).await.unwrap().finish;
    assert_eq!(booked, finish.into_iter().collect::<Vec<_>>(), "one books it, and it is known by which press");
    assert_eq!(all().await, before + 3, "two tasks and the end of the visit, once");
    assert!(ledger.verify().await.unwrap().differences.is_empty());
}

macro_rules! on_both_engines {
    ($($name:ident),* $(,)?) => {
        mod sqlite { $(#[tokio::test] async fn $name() { super::$name(&super::TestShop::new(super::Ground::sqlite()).await).await; })* }
        mod postgres {
            $(#[tokio::test] async fn $name() { super::$name(&super::TestShop::new(super::Ground::postgres().await).await).await; })*
        }
    };
}

on_both_engines!(
    ticked_twice_is_ticked_once,
    the_latest_word_on_a_task_holds,
    a_checklist_is_no_record_and_changes_none,
    photos_are_of_known_kinds_and_not_without_number,
    photos_of_several_devices_at_once_are_all_kept,
    a_visit_is_found_by_its_number_on_whatever_day,
    of_many_who_finish_a_visit_one_books_it_whole,
);
