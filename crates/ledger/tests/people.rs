//! Who may, on both engines: roles, sessions, tokens, and by whom an entry was recorded.

mod support;

use jiff::SignedDuration;
use ledger::{Error, Filter, Ledger, Role};
use support::*;
use upkeep::Event;

const DAY: &str = "2026-11-25T08:00:00Z";
const LONG_AGO: &str = "2026-11-11T08:00:00Z";

/// A shop on each engine.
async fn shops() -> [TestShop; 2] {
    [TestShop::new(Ground::sqlite()).await, TestShop::new(Ground::postgres().await).await]
}

async fn set(ledger: &Ledger, name: &str, role: Role, password: Option<&str>) -> Result<(), Error> {
    ledger.set_person(name, role, password, at(DAY)).await
}

#[tokio::test]
async fn somebody_is_always_left_who_may_say_who_may() {
    for TestShop { ledger, .. } in shops().await {
        assert!(!ledger.has_people().await.unwrap());
        assert!(matches!(set(&ledger, "mate", Role::Record, Some("h")).await, Err(Error::NoOwner)));
        assert!(!ledger.has_people().await.unwrap(), "a refusal leaves nothing behind");
        assert!(matches!(set(&ledger, "bosun", Role::Own, None).await, Err(Error::NoSuchPerson { .. })));
        set(&ledger, "bosun", Role::Own, Some("h")).await.unwrap();
        set(&ledger, "mate", Role::Record, Some("h")).await.unwrap();
        assert!(matches!(set(&ledger, "bosun", Role::Plan, None).await, Err(Error::NoOwner)));
        assert!(matches!(ledger.remove_person("bosun").await, Err(Error::NoOwner)));
        set(&ledger, "mate", Role::Own, None).await.unwrap();
        ledger.remove_person("bosun").await.unwrap();
        let people = ledger.people().await.unwrap();
        assert_eq!(
            people.iter().map(|person| (person.name.as_str(), person.role)).collect::<Vec<_>>(),
            [("mate", Role::Own)]
        );
        ledger.remove_person("mate").await.unwrap();
        assert!(!ledger.has_people().await.unwrap(), "the last may go: the shop asks nobody again");
    }
}

#[tokio::test]
async fn names_that_could_be_taken_for_others_are_refused() {
    for TestShop { ledger, .. } in shops().await {
        for name in ["", " mate", "mate ", "ma\nte", "ma\u{0}te", &"x".repeat(81)] {
            assert!(matches!(set(&ledger, name, Role::Own, Some("h")).await, Err(Error::BadPerson)), "{name:?}");
        }
        set(&ledger, "'; drop table person; --", Role::Own, Some("h")).await.unwrap();
        assert_eq!(ledger.password_of("'; drop table person; --").await.unwrap().as_deref(), Some("h"));
    }
}

#[tokio::test]
async fn a_session_ends_by_idleness_and_by_any_change_of_its_person() {
    for TestShop { ledger, .. } in shops().await {
        set(&ledger, "bosun", Role::Own, Some("h")).await.unwrap();
        let found = async |token: &str| ledger.session(token, at(LONG_AGO), at(DAY)).await.unwrap();
        let starts = async |token: &str| ledger.start_session("bosun", token, "phone", at(DAY)).await.unwrap();
        starts("one").await;
        assert_eq!(found("one").await.unwrap().person, "bosun");
        assert!(found("two").await.is_none());
        let later = at(DAY) + SignedDuration::from_hours(1);
        assert!(ledger.session("one", later, later).await.unwrap().is_none(), "not used since");
        set(&ledger, "bosun", Role::Own, Some("other")).await.unwrap();
        assert!(found("one").await.is_none(), "a new password ends the sessions of the old one");
        starts("three").await;
        set(&ledger, "mate", Role::Own, Some("h")).await.unwrap();
        assert!(found("three").await.is_some(), "what is said of others ends nobody's session");
        set(&ledger, "bosun", Role::Look, None).await.unwrap();
        assert!(found("three").await.is_none(), "so does a new role");
        starts("four").await;
        let id = found("four").await.unwrap().id;
        ledger.end_session(id).await.unwrap();
        assert!(found("four").await.is_none());
        starts("five").await;
        ledger.remove_person("bosun").await.unwrap();
        assert!(found("five").await.is_none());
        assert!(matches!(ledger.start_session("bosun", "x", "", at(DAY)).await, Err(Error::NoSuchPerson { .. })));
    }
}

#[tokio::test]
async fn a_renewed_session_keeps_its_old_token_for_a_minute_only() {
    for TestShop { ledger, .. } in shops().await {
        set(&ledger, "bosun", Role::Own, Some("h")).await.unwrap();
        ledger.start_session("bosun", "old", "phone", at(DAY)).await.unwrap();
        assert!(ledger.renew_session("old", "new", at(DAY)).await.unwrap());
        assert!(!ledger.renew_session("old", "newer", at(DAY)).await.unwrap(), "one of two that ask at once");
        let found = async |token: &str, seconds: i64| {
            let now = at(DAY) + SignedDuration::from_secs(seconds);
            ledger.session(token, at(LONG_AGO), now).await.unwrap().is_some()
        };
        assert!(found("new", 0).await && found("new", 3600).await);
        assert!(found("old", 59).await && !found("old", 61).await);
        assert_eq!(ledger.sessions(at(LONG_AGO)).await.unwrap().len(), 1);
        assert_eq!(ledger.sessions(at(DAY) + SignedDuration::from_secs(1)).await.unwrap().len(), 0);
    }
}

#[tokio::test]
async fn a_machines_token_holds_until_it_is_revoked() {
    for shop in shops().await {
        let ledger = &shop.ledger;
        assert!(matches!(ledger.add_token("clove hitch", "t", "", at(DAY)).await, Err(Error::NoSuchMachine(_))));
        assert!(
            matches!(ledger.add_token("", "t", "", at(DAY)).await, Err(Error::NoSuchMachine(_))),
            "nor for the shop itself"
        );
        let id = ledger.add_token("bowline", "t", "host", at(DAY)).await.unwrap();
        let token = ledger.token("t").await.unwrap().unwrap();
        assert_eq!((token.machine.as_str(), token.used), ("bowline", None));
        ledger.note_token(id, at(DAY)).await.unwrap();
        assert_eq!(ledger.tokens().await.unwrap()[0].used, Some(at(DAY)));
        ledger.revoke_token(id).await.unwrap();
        assert!(ledger.token("t").await.unwrap().is_none());
        assert!(matches!(ledger.revoke_token(id).await, Err(Error::NoSuchToken { .. })));
    }
}

#[tokio::test]
async fn an_entry_tells_by_whom_it_was_recorded_and_no_sum_depends_on_it() {
    for shop in shops().await {
        let done = || Event::Done { task: "wipe".into(), supplies: Default::default() };
        shop.append("2026-11-24T08:00:00Z", done()).await.unwrap();
        let mates = shop.ledger.recorded_by("mate");
        mates.append(entry("bowline", DAY, done())).await.unwrap();
        let filter = Filter { machine: Some("bowline".into()), ..Filter::default() };
        let listed = shop.ledger.entries(&filter, 2).await.unwrap();
        let by: Vec<_> = listed.iter().map(|listed| listed.by.as_deref()).collect();
        assert_eq!(by, [Some("mate"), None]);
        shop.prove().await;
    }
}
