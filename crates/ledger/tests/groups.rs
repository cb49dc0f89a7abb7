//! Entries that are booked together leave the same record as entries that are booked one after another.

mod support;

use std::collections::BTreeMap;

use jiff::SignedDuration;
use ledger::{Error, Filter, Ledger, NewEntry};
use proptest::prelude::*;
use support::*;
use upkeep::fault::said::Shown;
use upkeep::{Entry, EntryId, Event, Usage};

/// Machines of which entries are made; the last is in no shop.
const MACHINES: [&str; 4] = ["bowline", "sheet bend", "clove hitch", "granny"];

fn event() -> impl Strategy<Value = Event> {
    let program = prop::sample::select(vec!["a1", "b2"]);
    let metres = (0..50u32).prop_map(f64::from);
    prop_oneof![
        8 => (program.clone(), metres.clone()).prop_map(|(program, metres)| run(program, metres)),
        2 => metres.clone().prop_map(|metres| run_by_label("lamp", metres)),
        3 => (program, metres.clone()).prop_map(|(program, metres)| queued(program, metres)),
        2 => prop::sample::select(vec!["wipe", "oil", ""]).prop_map(done),
        1 => Just(replaced("nozzle")),
        1 => metres.prop_map(|metres| Event::HourMeter { hours: metres, unbooked: travel(metres, "ASA"), doubt: 0.25 }),
        1 => Just(Event::FaultShown(Shown { symptoms: vec!["squeal".into()] })),
        1 => Just(Event::Added { build: "no such build".into() }),
    ]
}

/// An entry on one of the machines in one of few hours, so that runs meet; some lie before the machines joined.
fn new() -> impl Strategy<Value = NewEntry> {
    (prop::sample::select(MACHINES.to_vec()), -2i64..20, event()).prop_map(|(machine, hour, event)| NewEntry {
        at: at(JOINED) + SignedDuration::from_hours(hour),
        ..entry(machine, RECORDED, event)
    })
}

async fn shop(ground: Ground) -> TestShop {
    let shop = TestShop::new(ground).await;
    shop.join("sheet bend").await.unwrap();
    shop.join("clove hitch").await.unwrap();
    shop
}

/// Every entry of a shop, numbered from 0 on in the order of their numbers, which a refused entry may leave gaps in.
async fn record(ledger: &Ledger) -> Vec<Entry> {
    let listed = ledger.entries(&Filter::default(), 10_000).await.unwrap();
    let mut entries: Vec<Entry> = listed.into_iter().map(|listed| listed.entry).collect();
    entries.sort_by_key(|entry| entry.id);
    let ranks: BTreeMap<EntryId, EntryId> =
        entries.iter().zip(0..).map(|(entry, rank)| (entry.id, EntryId(rank))).collect();
    for entry in &mut entries {
        entry.id = ranks[&entry.id];
        if let Event::Run(run) = &mut entry.event {
            run.queued = run.queued.map(|id| ranks[&id]);
        }
    }
    entries
}

/// What was metered on each machine in all, and on each day.
async fn sums(ledger: &Ledger) -> Vec<(String, Usage, Vec<upkeep::DayUse>)> {
    let states = ledger.states(jiff::civil::date(2026, 10, 1)).await.unwrap();
    states.into_iter().map(|state| (state.name, state.total, state.days)).collect()
}

/// What became of an entry, without the numbers that differ between shops.
fn fate(outcome: &Result<EntryId, Error>) -> String {
    match outcome {
        Ok(_) => "booked".to_owned(),
        Err(Error::AlreadyBooked(_)) => "already booked".to_owned(),
        Err(error) => error.to_string(),
    }
}

async fn groups_leave_the_same_record(one: Ground, many: Ground, groups: Vec<Vec<NewEntry>>) {
    let (one, many) = (shop(one).await, shop(many).await);
    let (mut alone, mut together) = (Vec::new(), Vec::new());
    for group in groups {
        for new in &group {
            alone.push(fate(&one.ledger.append(new.clone()).await));
        }
        together.extend(many.ledger.append_all(group).await.unwrap().iter().map(fate));
    }
    assert_eq!(together, alone);
    assert_eq!(record(&many.ledger).await, record(&one.ledger).await);
    assert_eq!(sums(&many.ledger).await, sums(&one.ledger).await);
    one.prove().await;
    many.prove().await;
}

fn wait<T>(future: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap().block_on(future)
}

fn groups() -> impl Strategy<Value = Vec<Vec<NewEntry>>> {
    prop::collection::vec(prop::collection::vec(new(), 0..25), 1..4)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, ..ProptestConfig::default() })]

    #[test]
    fn groups_on_sqlite_leave_the_record_that_single_entries_leave(groups in groups()) {
        wait(groups_leave_the_same_record(Ground::sqlite(), Ground::sqlite(), groups));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, ..ProptestConfig::default() })]

    #[test]
    fn groups_on_postgresql_leave_the_record_that_single_entries_leave(groups in groups()) {
        wait(async {
            groups_leave_the_same_record(Ground::postgres().await, Ground::postgres().await, groups).await;
        });
    }
}

/// Two servers of one shop, each with many who book at once, every run told to both: each counts once, and whatever was
/// acknowledged is in the record.
async fn each_run_counts_once(ground: Ground) {
    let shop = shop(ground).await;
    let servers = [shop.ledger.in_groups(), Ledger::open(&shop.ground.at).await.unwrap().in_groups()];
    let mut booking = Vec::new();
    for n in 0..60 {
        for server in &servers {
            let (server, reader) = (server.recorded_by("mate"), shop.ledger.clone());
            let when = at(JOINED) + SignedDuration::from_secs(n);
            let new = NewEntry { at: when, ..entry(MACHINES[n as usize % 3], RECORDED, run("a1", 1.0)) };
            booking.push(tokio::spawn(async move {
                let outcome = server.append(new.clone()).await;
                if let Ok(id) = outcome {
                    assert_eq!(reader.entry(id).await.unwrap().machine, new.machine);
                }
                fate(&outcome)
            }));
        }
    }
    let mut fates: BTreeMap<String, usize> = BTreeMap::new();
    for one in booking {
        *fates.entry(one.await.unwrap()).or_default() += 1;
    }
    assert_eq!(fates, BTreeMap::from([("booked".to_owned(), 60), ("already booked".to_owned(), 60)]));
    let listed =
        shop.ledger.entries(&Filter { machine: Some("bowline".into()), ..Filter::default() }, 3).await.unwrap();
    assert_eq!(listed[0].by.as_deref(), Some("mate"));
    shop.prove().await;
}

#[test]
fn what_many_book_at_once_counts_once_on_sqlite() {
    wait(each_run_counts_once(Ground::sqlite()));
}

#[test]
fn what_many_book_at_once_counts_once_on_postgresql() {
    wait(async { each_run_counts_once(Ground::postgres().await).await });
}

/// Where the rows of one machine can't be read, entries of the others are booked all the same.
#[test]
fn a_spoilt_machine_takes_no_other_along() {
    wait(async {
        let shop = shop(Ground::sqlite()).await;
        shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
        shop.ground.spoil("update total set usage = x'07' where machine = 1").await;
        let server = shop.ledger.in_groups();
        let book = |machine: &str| server.append(entry(machine, "2026-10-06T08:00:00Z", run("a1", 5.0)));
        let (bad, good, other) = tokio::join!(book("bowline"), book("sheet bend"), book("clove hitch"));
        assert!(matches!(bad, Err(Error::Damaged { .. })), "{bad:?}");
        good.unwrap();
        other.unwrap();
    });
}

/// A server reads stores, visits and faults anew only when `besides_runs` has risen: it must, with whatever is no run.
async fn what_is_no_run_is_told_apart(ground: Ground) {
    let shop = shop(ground).await;
    let of_bowline = async || shop.ledger.revisions().await.unwrap()["bowline"];
    let before = of_bowline().await;
    let booked = shop.append("2026-10-05T08:00:00Z", run("a1", 5.0)).await.unwrap();
    let run_only = of_bowline().await;
    assert!(before.all < run_only.all && before.besides_runs == run_only.besides_runs, "{before:?} {run_only:?}");
    let entries = vec![entry("bowline", "2026-10-06T08:00:00Z", done("wipe"))];
    shop.ledger.import("bowline", entries).await.unwrap();
    let with_care = of_bowline().await;
    assert!(run_only.besides_runs < with_care.besides_runs, "{with_care:?}");
    shop.ledger.withdraw(booked, at(RECORDED), "").await.unwrap();
    assert!(with_care.besides_runs < of_bowline().await.besides_runs);
}

#[test]
fn what_is_no_run_is_told_apart_on_both_engines() {
    wait(what_is_no_run_is_told_apart(Ground::sqlite()));
    wait(async { what_is_no_run_is_told_apart(Ground::postgres().await).await });
}
