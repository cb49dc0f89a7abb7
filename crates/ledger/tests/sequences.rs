//! Whatever is recorded, in whatever order, the derived rows are those that the entries give, and the figures are those
//! that a plain list of events gives.

mod support;

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::date;
use jiff::{SignedDuration, Timestamp};
use ledger::{Error, Ledger, NewEntry};
use motion::Quantity;
use proptest::prelude::*;
use support::*;
use upkeep::fault::said::Shown;
use upkeep::{Care, EntryId, Event};

/// One thing that a keeper does. Hours count from when the machine joined; some lie before.
#[derive(Clone, Debug)]
enum Step {
    Book { hour: i64, event: Event },
    Correct { which: usize, hour: i64, metres: f64 },
    Withdraw { which: usize },
    Import { hour: i64, metres: f64 },
}

fn event() -> impl Strategy<Value = Event> {
    let program = prop::sample::select(vec!["a1", "b2", "c3"]);
    let metres = (0..50u32).prop_map(f64::from);
    prop_oneof![
        4 => (program.clone(), metres.clone()).prop_map(|(program, metres)| run(program, metres)),
        1 => metres.clone().prop_map(|metres| run_by_label("lamp", metres)),
        2 => (program, metres.clone()).prop_map(|(program, metres)| queued(program, metres)),
        3 => prop::sample::select(vec!["wipe", "oil"]).prop_map(done),
        1 => Just(replaced("nozzle")),
        1 => metres.prop_map(|metres| Event::HourMeter { hours: metres, unbooked: travel(metres, "ASA"), doubt: 0.25 }),
        1 => Just(Event::Failed { position: "fan".into(), mode: "rattles".into(), found: false, mended: false }),
        1 => Just(visit(date(2026, 11, 30))),
        1 => Just(Event::FaultShown(Shown { symptoms: vec!["squeal".into()] })),
        1 => Just(Event::Skipped { task: "wipe".into(), reason: "no wipes left".into() }),
        1 => Just(Event::Age { position: None, of: None, amount: "8 months".into() }),
    ]
}

fn step() -> impl Strategy<Value = Step> {
    // Few hours, so that instants meet.
    let hour = -2i64..60;
    prop_oneof![
        6 => (hour.clone(), event()).prop_map(|(hour, event)| Step::Book { hour, event }),
        3 => (0usize..40, hour.clone(), 0..50u32)
            .prop_map(|(which, hour, metres)| Step::Correct { which, hour, metres: f64::from(metres) }),
        2 => (0usize..40).prop_map(|which| Step::Withdraw { which }),
        1 => (hour, 0..50u32).prop_map(|(hour, metres)| Step::Import { hour, metres: f64::from(metres) }),
    ]
}

/// What a plain list of events makes of the steps: for each chain of corrections, when and what, if it stands.
type Plain = BTreeMap<EntryId, Option<(Timestamp, Event)>>;

fn instant(hour: i64) -> Timestamp {
    at("2026-10-24T00:00:00Z") + SignedDuration::from_hours(hour)
}

fn new(hour: i64, event: Event) -> NewEntry {
    NewEntry { at: instant(hour), ..entry("bowline", RECORDED, event) }
}

/// The same event with other use, or as it was where it has none.
fn with_travel(event: &Event, metres: f64) -> Event {
    let mut event = event.clone();
    match &mut event {
        Event::Run(run) => run.usage = travel(metres, "PETG"),
        Event::HourMeter { unbooked, .. } => *unbooked = travel(metres, "PETG"),
        _ => {}
    }
    event
}

/// Takes one step on the ledger and, if it was accepted, on the list. `roots` maps every entry to its chain.
async fn take(ledger: &Ledger, step: &Step, plain: &mut Plain, roots: &mut BTreeMap<EntryId, EntryId>) {
    let outcome = match step {
        Step::Book { hour, event } => ledger.append(new(*hour, event.clone())).await.map(|id| {
            roots.insert(id, id);
            plain.insert(id, Some((instant(*hour), event.clone())));
        }),
        Step::Correct { which, hour, metres } => {
            let Some((&id, root)) = roots.iter().nth(which % roots.len().max(1)) else { return };
            // What a withdrawn entry once said is not asked for again here; see the other tests.
            let Some(Some((_, event))) = plain.get(root).cloned() else { return };
            let event = with_travel(&event, *metres);
            let root = *root;
            ledger.correct(id, new(*hour, event.clone())).await.map(|correction| {
                roots.insert(correction, root);
                plain.insert(root, Some((instant(*hour), event)));
            })
        }
        Step::Withdraw { which } => {
            let Some((&id, &root)) = roots.iter().nth(which % roots.len().max(1)) else { return };
            ledger.withdraw(id, at(RECORDED), "").await.map(|withdrawal| {
                roots.insert(withdrawal, root);
                plain.insert(root, None);
            })
        }
        Step::Import { hour, metres } => {
            let events = [run("a1", *metres), done("wipe"), run("b2", *metres)];
            let entries = events.iter().zip(0..).map(|(event, later)| new(hour + later, event.clone())).collect();
            ledger.import("bowline", entries).await.map(|imported| {
                for ((event, later), imported) in events.into_iter().zip(0..).zip(imported) {
                    if let ledger::Imported::New(id) = imported {
                        roots.insert(id, id);
                        plain.insert(id, Some((instant(hour + later), event)));
                    }
                }
            })
        }
    };
    if let Err(error) = outcome {
        let allowed = matches!(error, Error::AlreadyBooked(_) | Error::BeforeAdded { .. });
        assert!(allowed, "{step:?}: {error}");
    }
}

fn metres(event: &Event) -> f64 {
    event.usage().map_or(0.0, |usage| usage.amount(Quantity::TravelX))
}

/// Compares the ledger's figures with sums over the list.
async fn check(shop: &TestShop, plain: &Plain) {
    let stands: Vec<&(Timestamp, Event)> = plain.values().flatten().collect();
    let state = shop.state().await;
    let total: f64 = stands.iter().map(|(_, event)| metres(event)).sum();
    assert!((state.total.amount(Quantity::TravelX) - total).abs() < 1e-6);
    let days: f64 = state.days.iter().map(|day| day.usage.amount(Quantity::TravelX)).sum();
    assert!((days - total).abs() < 1e-6);
    for care in [Care::Task("wipe".into()), Care::Task("oil".into()), Care::Position("nozzle".into())] {
        let is_care = |event: &Event| match (&care, event) {
            (Care::Task(name), Event::Done { task, .. }) => name == task,
            (Care::Position(name), Event::Replaced { position, .. }) => name == position,
            _ => false,
        };
        let last = stands.iter().filter(|(_, event)| is_care(event)).map(|(at, _)| *at).max();
        let standing = state.standings.get(&care);
        assert_eq!(standing.map(|standing| standing.at), last, "{care:?}");
        if let (Some(standing), Some(last)) = (standing, last) {
            let before: f64 = stands.iter().filter(|(at, _)| *at < last).map(|(_, event)| metres(event)).sum();
            assert!((standing.base.amount(Quantity::TravelX) - before).abs() < 1e-6, "{care:?}");
        }
    }
}

/// Compares what lives are told by with the machine's whole record.
async fn check_ends(shop: &TestShop) {
    let entries = shop.ledger.effective("bowline").await.unwrap();
    let tells = |event: &Event| match event {
        Event::Added { .. } | Event::Age { .. } | Event::Failed { .. } | Event::Replaced { .. } => true,
        Event::Done { task, .. } => task == "wipe",
        _ => false,
    };
    let telling: Vec<_> = entries.iter().filter(|entry| tells(&entry.event)).cloned().collect();
    let ends = shop.ledger.ends(&BTreeSet::from(["wipe"])).await.unwrap();
    assert_eq!(ends, BTreeMap::from([("bowline".to_owned(), telling.clone())]));
    let marks: BTreeSet<_> = telling.iter().skip(1).map(|entry| (entry.at, entry.id)).collect();
    let asked = BTreeMap::from([("bowline".to_owned(), marks.clone())]);
    let used = shop.ledger.used_before(&asked).await.unwrap().remove("bowline").unwrap();
    assert_eq!(used.keys().copied().collect::<BTreeSet<_>>(), marks);
    for (mark, used) in used {
        let mut sum = upkeep::Usage::new();
        let before = entries.iter().filter(|entry| (entry.at, entry.id) < mark);
        before.filter_map(|entry| entry.event.usage()).for_each(|usage| sum.add(usage));
        assert_eq!(used, sum, "to the grain, before {mark:?}");
    }
}

async fn any_sequence_is_proved(ground: Ground, steps: Vec<Step>) {
    let shop = TestShop::new(ground).await;
    // Joined in the middle of the hours, so that some steps come too early.
    let added = shop.ledger.machines().await.unwrap()[0].entry;
    let build = shop.build().await;
    shop.ledger.correct(added, new(0, Event::Added { build })).await.unwrap();
    let (mut plain, mut roots) = (Plain::new(), BTreeMap::new());
    for step in &steps {
        take(&shop.ledger, step, &mut plain, &mut roots).await;
    }
    check(&shop, &plain).await;
    check_ends(&shop).await;
    shop.prove().await;
    shop.ledger.rebuild(None).await.unwrap();
    check(&shop, &plain).await;
    shop.prove().await;
}

fn wait<T>(future: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap().block_on(future)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn any_sequence_on_sqlite_leaves_rows_that_the_entries_prove(steps in prop::collection::vec(step(), 1..40)) {
        wait(any_sequence_is_proved(Ground::sqlite(), steps));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 8, ..ProptestConfig::default() })]

    #[test]
    fn any_sequence_on_postgresql_leaves_rows_that_the_entries_prove(steps in prop::collection::vec(step(), 1..40)) {
        wait(async { any_sequence_is_proved(Ground::postgres().await, steps).await });
    }
}
