//! Faults in the record, on both engines: what is told of one stays together, and nothing is added to one that is over.

mod support;

use ledger::Error;
use support::*;
use upkeep::fault::said::{Answered, Asked, Over, OwnGrade, Shown, Was};
use upkeep::fault::{Answer, Grade, cases};
use upkeep::{EntryId, Event};

fn shown(symptom: &str) -> Event {
    Event::FaultShown(Shown { symptoms: vec![symptom.into()] })
}

fn answered(fault: EntryId, asked: Asked, answer: Answer) -> Event {
    Event::FaultAnswered(Answered { fault, asked, answer })
}

fn over(fault: EntryId) -> Event {
    Event::FaultOver(Over { fault, was: Was::Cause("belts: slack belt".into()) })
}

async fn what_is_told_of_a_fault_is_read_back_whole(shop: &TestShop) {
    let fault = shop.append("2026-10-05T08:00:00Z", shown("it squeals, \"loudly\"")).await.unwrap();
    let asked = || Asked::Check("belts: pluck the belt".into());
    let events = [
        shown("squeal"),
        answered(fault, Asked::Stop("smoke".into()), Answer::Yes),
        answered(fault, Asked::Symptom("ringing".into()), Answer::No),
        answered(fault, asked(), Answer::CannotTell),
        answered(fault, asked(), Answer::DidThatAlready),
        // 0.1 + 0.2: a value whose last bit a careless reader of decimals loses.
        answered(fault, asked(), Answer::Likely(0.1 + 0.2)),
        answered(fault, Asked::Remedy("tension the belts".into()), Answer::FixedIt),
    ];
    for event in events {
        let id = shop.append("2026-10-05T09:00:00Z", event.clone()).await.unwrap();
        assert_eq!(shop.ledger.entry(id).await.unwrap().event, event);
    }
    for was in
        [Was::Cause("belts: slack".into()), Was::Unlisted("a pin on the bed".into()), Was::Unknown("gone".into())]
    {
        let fault = shop.append("2026-10-05T08:00:00Z", shown("squeal")).await.unwrap();
        let event = Event::FaultOver(Over { fault, was });
        let id = shop.append("2026-10-05T09:00:00Z", event.clone()).await.unwrap();
        assert_eq!(shop.ledger.entry(id).await.unwrap().event, event);
    }
    let own = OwnGrade {
        cause: "dry rod".into(),
        finding: "squeal".into(),
        grade: Grade::NearlyAlways,
        reason: "ours".into(),
    };
    let id = shop.ledger.append(entry("", "2026-10-05T08:00:00Z", Event::FaultGrade(own.clone()))).await.unwrap();
    assert_eq!(shop.ledger.entry(id).await.unwrap().event, Event::FaultGrade(own));
    shop.prove().await;
}

async fn a_fault_that_is_over_takes_nothing_more_until_its_end_is_taken_back(shop: &TestShop) {
    let fault = shop.append("2026-10-05T08:00:00Z", shown("squeal")).await.unwrap();
    let yes = || answered(fault, Asked::Check("pluck".into()), Answer::Yes);
    shop.append("2026-10-05T09:00:00Z", yes()).await.unwrap();
    let end = shop.append("2026-10-05T10:00:00Z", over(fault)).await.unwrap();
    for late in [yes(), over(fault)] {
        let error = shop.append("2026-10-05T11:00:00Z", late.clone()).await.unwrap_err();
        assert!(matches!(error, Error::FaultIsOver { id } if id == fault), "{error}");
        let error =
            shop.ledger.import("bowline", vec![entry("bowline", "2026-10-05T11:00:00Z", late)]).await.unwrap_err();
        assert!(matches!(error, Error::FaultIsOver { id } if id == fault), "{error}");
    }
    let told = cases(&shop.ledger.faults().await.unwrap());
    assert_eq!((told.len(), told[0].answers.len(), told[0].end.as_ref().map(|end| end.entry)), (1, 1, Some(end)));
    shop.ledger.withdraw(end, at(RECORDED), "it came back").await.unwrap();
    shop.append("2026-10-05T11:00:00Z", yes()).await.unwrap();
    let told = cases(&shop.ledger.faults().await.unwrap());
    assert_eq!((told[0].answers.len(), &told[0].end), (2, &None), "open again");
    shop.prove().await;
}

async fn a_fault_keeps_its_number_when_it_is_corrected_and_vanishes_when_withdrawn(shop: &TestShop) {
    let fault = shop.append("2026-10-05T08:00:00Z", shown("squeal")).await.unwrap();
    shop.append("2026-10-05T09:00:00Z", answered(fault, Asked::Check("pluck".into()), Answer::No)).await.unwrap();
    shop.ledger.correct(fault, entry("bowline", "2026-10-05T07:00:00Z", shown("rumble"))).await.unwrap();
    let told = cases(&shop.ledger.faults().await.unwrap());
    assert_eq!(
        (told[0].id, told[0].symptoms.as_slice(), told[0].answers.len()),
        (fault, &["rumble".to_owned()][..], 1)
    );
    shop.ledger.withdraw(fault, at(RECORDED), "").await.unwrap();
    assert_eq!(cases(&shop.ledger.faults().await.unwrap()), []);
    let error = shop.append("2026-10-05T11:00:00Z", over(fault)).await.unwrap_err();
    assert!(matches!(error, Error::NoSuchFault { .. }), "{error}");
}

async fn an_answer_belongs_to_a_fault_of_its_own_machine(shop: &TestShop) {
    shop.join("clove hitch").await.unwrap();
    let fault = shop.append("2026-10-05T08:00:00Z", shown("squeal")).await.unwrap();
    let done = shop.append("2026-10-05T08:00:00Z", done("wipe")).await.unwrap();
    let nowhere = EntryId(9999);
    let other = entry("clove hitch", "2026-10-05T09:00:00Z", over(fault));
    for new in [
        other,
        entry("bowline", "2026-10-05T09:00:00Z", over(done)),
        entry("bowline", "2026-10-05T09:00:00Z", over(nowhere)),
    ] {
        let error = shop.ledger.append(new).await.unwrap_err();
        assert!(matches!(error, Error::NoSuchFault { .. }), "{error}");
    }
    for chance in [0.0, 1.0, f64::NAN] {
        let unsure = answered(fault, Asked::Check("pluck".into()), Answer::Likely(chance));
        let error = shop.append("2026-10-05T09:00:00Z", unsure).await.unwrap_err();
        assert!(error.to_string().contains("more than 0 and less than 1"), "{error}");
    }
    let silent = shop.append("2026-10-05T09:00:00Z", Event::FaultShown(Shown { symptoms: vec![] })).await.unwrap_err();
    assert_eq!(silent.to_string(), "what the machine shows is not said\n  say it in a few words");
}

/// Eight devices close one fault at once: one of them does, with everything that came of it.
async fn of_many_who_close_a_fault_one_books_it_whole(shop: &TestShop) {
    let fault = shop.append("2026-10-05T08:00:00Z", shown("squeal")).await.unwrap();
    let closing = (0..8).map(|_| {
        let ledger = shop.ledger.clone();
        let came = [over(fault), done("oil")].map(|event| entry("bowline", "2026-10-05T09:00:00Z", event));
        tokio::spawn(async move { ledger.import("bowline", came.to_vec()).await })
    });
    let mut booked = 0;
    for closed in closing.collect::<Vec<_>>() {
        match closed.await.unwrap() {
            Ok(_) => booked += 1,
            Err(error) => assert!(matches!(error, Error::FaultIsOver { .. }), "{error}"),
        }
    }
    assert_eq!(booked, 1);
    let done = shop.ledger.effective("bowline").await.unwrap();
    assert_eq!(done.iter().filter(|entry| matches!(entry.event, Event::Done { .. })).count(), 1);
    shop.prove().await;
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
    what_is_told_of_a_fault_is_read_back_whole,
    a_fault_that_is_over_takes_nothing_more_until_its_end_is_taken_back,
    a_fault_keeps_its_number_when_it_is_corrected_and_vanishes_when_withdrawn,
    an_answer_belongs_to_a_fault_of_its_own_machine,
    of_many_who_close_a_fault_one_books_it_whole,
);
