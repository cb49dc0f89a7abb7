//! Jobs are done once, whoever dies, and a decision that rests on what was read holds only while that still stands; on both
//! engines.

mod support;

use ledger::{Error, Ledger, Stands, WayIn};
use support::*;

const NOW: &str = "2026-11-25T08:00:00Z";
const SOON: &str = "2026-11-25T08:01:00Z";
const LATER: &str = "2026-11-25T08:02:00Z";

async fn both() -> [TestShop; 2] {
    [TestShop::new(Ground::sqlite()).await, TestShop::new(Ground::postgres().await).await]
}

#[tokio::test]
async fn what_is_posted_twice_is_one_job() {
    for TestShop { ledger, .. } in both().await {
        let one = ledger.post_job("meter", "a", "{}", at(NOW)).await.unwrap();
        assert_eq!(ledger.post_job("meter", "a", "{}", at(SOON)).await.unwrap(), one);
        let taken = ledger.take_job("w1", at(SOON), at(LATER)).await.unwrap().unwrap();
        assert_eq!((taken.id, taken.tries), (one, 1));
        // While it is held, and when it is done, it is the same job still.
        assert_eq!(ledger.post_job("meter", "a", "{}", at(SOON)).await.unwrap(), one);
        assert_eq!(ledger.take_job("w2", at(SOON), at(LATER)).await.unwrap(), None);
        ledger.finish_job(one, "entry 7", at(SOON)).await.unwrap();
        assert_eq!(ledger.post_job("meter", "a", "{}", at(LATER)).await.unwrap(), one);
        assert_eq!(ledger.take_job("w2", at(LATER), at(LATER)).await.unwrap(), None);
        let jobs = ledger.jobs(10, at(LATER)).await.unwrap();
        assert_eq!((jobs.len(), jobs[0].stands, jobs[0].said.as_str()), (1, Stands::Done(at(SOON)), "entry 7"));
    }
}

#[tokio::test]
async fn a_job_whose_worker_died_is_given_to_another() {
    for TestShop { ledger, .. } in both().await {
        let id = ledger.post_job("meter", "a", "{}", at(NOW)).await.unwrap();
        ledger.take_job("w1", at(NOW), at(SOON)).await.unwrap().unwrap();
        assert_eq!(ledger.take_job("w2", at(SOON), at(LATER)).await.unwrap(), None, "it is held until then");
        assert!(ledger.hold_job(id, "w1", at(LATER)).await.unwrap());
        let after = at("2026-11-25T08:02:01Z");
        let again = ledger.take_job("w2", after, at("2026-11-25T09:00:00Z")).await.unwrap().unwrap();
        assert_eq!((again.id, again.tries), (id, 2));
        assert!(!ledger.hold_job(id, "w1", after).await.unwrap(), "who lost it is told");
    }
}

#[tokio::test]
async fn what_was_given_up_is_told_and_can_be_tried_again() {
    for TestShop { ledger, .. } in both().await {
        let id = ledger.post_job("meter", "a", "{}", at(NOW)).await.unwrap();
        ledger.take_job("w1", at(NOW), at(SOON)).await.unwrap().unwrap();
        ledger.give_back_job(id, "no answer", at(SOON)).await.unwrap();
        assert_eq!(ledger.take_job("w1", at(NOW), at(SOON)).await.unwrap(), None, "not before its time");
        ledger.take_job("w1", at(SOON), at(LATER)).await.unwrap().unwrap();
        ledger.give_up_job(id, "it is no print file", at(SOON)).await.unwrap();
        let counts = ledger.job_counts().await.unwrap();
        assert_eq!((counts.open, counts.failed), (0, 1));
        assert_eq!(ledger.take_job("w1", at(LATER), at(LATER)).await.unwrap(), None);
        assert!(ledger.retry_job(id, at(LATER)).await.unwrap());
        assert_eq!(ledger.take_job("w1", at(LATER), at(LATER)).await.unwrap().unwrap().tries, 1);
        ledger.give_up_job(id, "still none", at(LATER)).await.unwrap();
        assert!(ledger.drop_job(id).await.unwrap() && !ledger.drop_job(id).await.unwrap());
    }
}

/// Of many who take at once, no two get the same job, and none is left.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn several_workers_share_the_jobs_out() {
    const JOBS: usize = 40;
    for TestShop { ledger, .. } in both().await {
        for number in 0..JOBS {
            ledger.post_job("meter", &number.to_string(), "{}", at(NOW)).await.unwrap();
        }
        let take_all = async |ledger: Ledger, worker: &'static str| {
            let mut mine = Vec::new();
            while let Some(job) = ledger.take_job(worker, at(SOON), at(LATER)).await.unwrap() {
                mine.push(job.id);
                ledger.finish_job(job.id, "", at(SOON)).await.unwrap();
            }
            mine
        };
        let workers = ["w1", "w2", "w3"].map(|worker| {
            let ledger = ledger.clone();
            tokio::spawn(async move { take_all(ledger, worker).await })
        });
        let mut all = Vec::new();
        for worker in workers {
            all.extend(worker.await.unwrap());
        }
        all.sort_unstable();
        let whole = all.clone();
        all.dedup();
        assert_eq!((all.len(), whole.len()), (whole.len(), JOBS));
    }
}

#[tokio::test]
async fn a_decision_holds_only_while_the_record_is_as_it_was_read() {
    for shop in both().await {
        let read_at = shop.ledger.revision("bowline").await.unwrap();
        shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        let stale = shop.ledger.as_read_at(read_at);
        let new = entry("bowline", "2026-10-06T08:00:00Z", run("a1", 5.0));
        assert!(matches!(stale.append(new.clone()).await, Err(Error::MovedOn { .. })));
        let fresh = shop.ledger.as_read_at(shop.ledger.revision("bowline").await.unwrap());
        let id = fresh.append(new.clone()).await.unwrap();
        assert!(matches!(fresh.correct(id, new.clone()).await, Err(Error::MovedOn { .. })));
        let fresh = shop.ledger.as_read_at(shop.ledger.revision("bowline").await.unwrap());
        fresh.correct(id, new).await.unwrap();
        shop.prove().await;
    }
}

#[tokio::test]
async fn a_way_in_is_set_up_changed_and_taken_away() {
    for TestShop { ledger, .. } in both().await {
        let way = |settings: &str| WayIn { name: "drop".into(), kind: "folder".into(), settings: settings.into() };
        ledger.set_way(&way("{}"), at(NOW)).await.unwrap();
        ledger.set_way(&way("{\"a\":1}"), at(NOW)).await.unwrap();
        assert_eq!(ledger.ways().await.unwrap(), [way("{\"a\":1}")]);
        ledger.put_way_mark("drop", "bowline", Some("one"), at(NOW)).await.unwrap();
        ledger.put_way_mark("drop", "bowline", Some("two"), at(SOON)).await.unwrap();
        ledger.put_way_mark("drop", "reef", Some("three"), at(SOON)).await.unwrap();
        ledger.put_way_mark("drop", "reef", None, at(SOON)).await.unwrap();
        let marks = ledger.way_marks("drop").await.unwrap();
        assert_eq!(marks.into_iter().collect::<Vec<_>>(), [("bowline".to_owned(), "two".to_owned())]);
        assert!(ledger.drop_way("drop").await.unwrap() && !ledger.drop_way("drop").await.unwrap());
        assert!(ledger.way_marks("drop").await.unwrap().is_empty());
    }
}
