//! What was foreseen of a machine is given as it was kept, and only while its records, the day and what describes it are the same;
//! on both engines.

mod support;

use std::sync::Arc;

use jiff::civil::{Date, date};
use ledger::{Ledger, OfDay};
use support::*;
use upkeep::{Foreseen, Materials, When};

const TODAY: Date = date(2026, 12, 1);

/// A machine with care that is due, likely and far off, and a run in its queue.
async fn used(ground: Ground) -> TestShop {
    let shop = TestShop::new(ground).await;
    let state = shop.state().await;
    for (day, task) in (10..20).zip(&state.build.tasks) {
        shop.append(&format!("2026-11-{day}T08:00:00Z"), done(&task.name)).await.unwrap();
        shop.append(&format!("2026-11-{day}T09:00:00Z"), run("ab", 4000.0 + f64::from(day))).await.unwrap();
    }
    shop.append("2026-11-20T09:00:00Z", queued("cd", 300.0)).await.unwrap();
    shop.append("2026-11-20T10:00:00Z", replaced(&state.build.positions[0].name)).await.unwrap();
    shop
}

async fn reckoned(ledger: &Ledger) -> Foreseen {
    let state = ledger.machine_state("bowline", date(2026, 10, 1)).await.unwrap();
    let now = TODAY.at(7, 30, 0, 0).in_tz(ZONE).unwrap();
    Foreseen::of(&state, Materials::built_in(), &now)
}

async fn of(ledger: &Ledger) -> OfDay {
    OfDay { day: TODAY, descriptions: ledger.news().await.unwrap().descriptions }
}

async fn keep(ledger: &Ledger) -> Foreseen {
    let (revision, foreseen) = (ledger.revision("bowline").await.unwrap(), reckoned(ledger).await);
    ledger.keep_forecasts(&[(revision, Arc::new(foreseen.clone()))], of(ledger).await).await.unwrap();
    foreseen
}

async fn both() -> [TestShop; 2] {
    [used(Ground::sqlite()).await, used(Ground::postgres().await).await]
}

#[tokio::test]
async fn a_forecast_comes_back_as_it_was_kept() {
    for TestShop { ledger, .. } in both().await {
        let kept = keep(&ledger).await;
        let whens: Vec<&When> = kept.dues.iter().map(|due| &due.when).collect();
        assert!(whens.iter().any(|when| matches!(when, When::Since(_))), "some is due");
        assert!(whens.iter().any(|when| matches!(when, When::Likely(_))), "some comes due");
        assert!(kept.busy.iter().any(|minutes| 0.0 < *minutes), "a day is busy");
        let found = ledger.forecasts(&["nobody", "bowline"], of(&ledger).await).await.unwrap();
        assert_eq!(found, [kept]);
        // Kept again, it takes the place of the one before.
        assert_eq!(ledger.forecasts(&["bowline"], of(&ledger).await).await.unwrap(), [keep(&ledger).await]);
    }
}

#[tokio::test]
async fn a_forecast_of_other_records_or_of_another_day_is_not_given() {
    for TestShop { ledger, ground } in both().await {
        let nothing: [Foreseen; 0] = [];
        keep(&ledger).await;
        let tomorrow = OfDay { day: TODAY.tomorrow().unwrap(), ..of(&ledger).await };
        assert_eq!(ledger.forecasts(&["bowline"], tomorrow).await.unwrap(), nothing);
        ground.spoil("update forecast set made_by = 'another version'").await;
        assert_eq!(ledger.forecasts(&["bowline"], of(&ledger).await).await.unwrap(), nothing);

        keep(&ledger).await;
        ledger.append(entry("bowline", "2026-11-30T09:00:00Z", run("ab", 1.0))).await.unwrap();
        assert_eq!(ledger.forecasts(&["bowline"], of(&ledger).await).await.unwrap(), nothing, "a run was booked");

        let kept = keep(&ledger).await;
        let (file, text) = upkeep::build::shipped()[0];
        let name = upkeep::Build::parse(file, text).unwrap().name;
        ledger.add_build(&name, &format!("{text}\n# Read again.\n"), at(RECORDED)).await.unwrap();
        assert_eq!(
            ledger.forecasts(&["bowline"], of(&ledger).await).await.unwrap(),
            nothing,
            "a build was described anew"
        );
        ground.spoil("delete from build where id = (select max(id) from build)").await;
        assert_eq!(ledger.forecasts(&["bowline"], of(&ledger).await).await.unwrap(), [kept]);
    }
}
