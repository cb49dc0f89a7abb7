//! What several servers of a shop must agree on: one plan at a time, however many ask for it, and tries to sign in; on both engines.

mod support;

use jiff::{SignedDuration, Timestamp};
use ledger::{Asked, Ledger, Sought, Tries};
use support::*;

const NOW: &str = "2026-11-25T08:00:00Z";
const SOON: &str = "2026-11-25T08:00:10Z";
const LATER: &str = "2026-11-25T08:01:00Z";

async fn both() -> [TestShop; 2] {
    [TestShop::new(Ground::sqlite()).await, TestShop::new(Ground::postgres().await).await]
}

async fn ask(ledger: &Ledger, now: &str, until: &str) -> Option<i64> {
    ledger.ask_for_plan(14, 10, at(now), (at(now), at(until))).await.unwrap()
}

async fn stands(ledger: &Ledger) -> Sought {
    ledger.plan_asked_for().await.unwrap().expect("one was asked for").stands
}

#[tokio::test]
async fn of_many_who_ask_for_a_plan_at_once_one_seeks_it() {
    for TestShop { ledger, .. } in both().await {
        assert_eq!((ledger.plan_asked_for().await.unwrap(), ledger.last_plan().await.unwrap()), (None, None));
        let asking: Vec<_> = (0..8)
            .map(|_| {
                let ledger = ledger.recorded_by("mate");
                tokio::spawn(async move { ask(&ledger, NOW, SOON).await })
            })
            .collect();
        let mut numbers = Vec::new();
        for one in asking {
            numbers.extend(one.await.unwrap());
        }
        assert_eq!(numbers, [1]);
        let asked = Asked {
            number: 1,
            days: 14,
            seconds: 10,
            since: at(NOW),
            by: Some("mate".to_owned()),
            stands: Sought::Held(at(SOON)),
        };
        assert_eq!(ledger.plan_asked_for().await.unwrap(), Some(asked));
    }
}

#[tokio::test]
async fn a_plan_whose_server_died_can_be_asked_for_again_and_one_that_is_held_can_not() {
    for TestShop { ledger, .. } in both().await {
        assert_eq!(ask(&ledger, NOW, SOON).await, Some(1));
        assert!(ledger.hold_plan(1, at(LATER)).await.unwrap());
        assert_eq!(ask(&ledger, LATER, LATER).await, None, "it is held until then");
        let after = "2026-11-25T08:01:01Z";
        assert_eq!(ask(&ledger, after, "2026-11-25T08:02:00Z").await, Some(2));
        assert!(!ledger.hold_plan(1, at(LATER)).await.unwrap(), "who lost it is told");
        assert!(!ledger.put_plan(1, "{}", at(LATER)).await.unwrap());
        assert!(ledger.put_plan(2, "{}", at(LATER)).await.unwrap());
    }
}

#[tokio::test]
async fn people_are_told_of_a_plan_by_one_and_the_last_that_was_made_stays_to_be_read() {
    for TestShop { ledger, .. } in both().await {
        ask(&ledger, NOW, SOON).await;
        ledger.put_plan(1, "{\"a\": 1}", at(SOON)).await.unwrap();
        assert_eq!(stands(&ledger).await, Sought::Made);
        assert!(ledger.take_plan(1).await.unwrap());
        assert!(!ledger.take_plan(1).await.unwrap(), "another has it");
        ledger.give_back_plan(1).await.unwrap();
        assert!(ledger.take_plan(1).await.unwrap(), "people could not be told");
        let last = Some((at(SOON), "{\"a\": 1}".to_owned()));
        assert_eq!((stands(&ledger).await, ledger.last_plan().await.unwrap()), (Sought::Left, last.clone()));
        assert_eq!(ask(&ledger, SOON, LATER).await, Some(2));
        ledger.give_back_plan(1).await.unwrap();
        ledger.fail_plan(2, "no machine").await.unwrap();
        assert_eq!(stands(&ledger).await, Sought::Failed("no machine".to_owned()));
        assert_eq!(ask(&ledger, SOON, LATER).await, Some(3));
        ledger.leave_plan().await.unwrap();
        assert!(!ledger.put_plan(3, "{}", at(LATER)).await.unwrap(), "nobody wants it any more");
        assert_eq!((stands(&ledger).await, ledger.last_plan().await.unwrap()), (Sought::Left, last));
    }
}

#[tokio::test]
async fn of_many_tries_at_once_each_is_counted() {
    for TestShop { ledger, .. } in both().await {
        let trying: Vec<_> = (0..8)
            .map(|_| {
                let ledger = ledger.clone();
                tokio::spawn(async move {
                    loop {
                        let read = ledger.tries("name mate").await.unwrap();
                        let failed = read.map_or(0, |tries: Tries| tries.failed) + 1;
                        if ledger.count_try("name mate", read, Tries { failed, last: at(NOW) }).await.unwrap() {
                            return;
                        }
                    }
                })
            })
            .collect();
        for one in trying {
            one.await.unwrap();
        }
        assert_eq!(ledger.tries("name mate").await.unwrap(), Some(Tries { failed: 8, last: at(NOW) }));
        assert_eq!(ledger.tries("name bosun").await.unwrap(), None);
        ledger.forget_tries("name mate").await.unwrap();
        assert_eq!(ledger.tries("name mate").await.unwrap(), None);
    }
}

#[tokio::test]
async fn old_tries_are_swept_and_of_a_flood_the_newest_are_kept() {
    for TestShop { ledger, .. } in both().await {
        let tried = |seconds: i64| -> Timestamp { at(NOW) + SignedDuration::from_secs(seconds) };
        for number in 0..20 {
            let tries = Tries { failed: 1, last: tried(number) };
            assert!(ledger.count_try(&format!("address {number}"), None, tries).await.unwrap());
        }
        let left = async || {
            let mut left = Vec::new();
            for number in 0..20 {
                left.extend(ledger.tries(&format!("address {number}")).await.unwrap().map(|_| number));
            }
            left
        };
        ledger.sweep_tries(tried(3), 100).await.unwrap();
        assert_eq!(left().await, (4..20).collect::<Vec<_>>());
        ledger.sweep_tries(tried(3), 5).await.unwrap();
        assert_eq!(left().await, (15..20).collect::<Vec<_>>());
    }
}

#[tokio::test]
async fn who_waits_is_to_be_woken_where_something_was_recorded_and_by_nothing_else() {
    for shop in both().await {
        // As a server has it, whose clones record for whoever asks.
        let ledger = shop.ledger.in_groups();
        let first = ledger.append(entry("bowline", "2026-10-05T09:00:00Z", run("a1", 5.0))).await.unwrap();
        let after_the_first = ledger.recordings();
        assert!(0 < after_the_first);
        // The same run again, one of a machine that is none, what is read, and what was imported before.
        ledger.append(entry("bowline", "2026-10-05T09:00:00Z", run("a1", 5.0))).await.unwrap_err();
        ledger.append(entry("granny", "2026-10-05T09:00:00Z", run("a1", 5.0))).await.unwrap_err();
        ledger.entry(first).await.unwrap();
        ledger.import("bowline", vec![entry("bowline", "2026-10-05T09:00:00Z", run("a1", 5.0))]).await.unwrap();
        assert_eq!(ledger.recordings(), after_the_first);
        ledger.recorded_by("mate").withdraw(first, at(RECORDED), "").await.unwrap();
        assert!(after_the_first < ledger.recordings());
    }
}
