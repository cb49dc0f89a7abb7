//! What waiting with a task risks, out of records and of what is believed before.

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use upkeep::build::shipped;
use upkeep::{Build, Entry, EntryId, Event, Materials, Prices, Rates, Risk, Stake, risks};

const TASK: &str = "look into feed tube 1";

fn build() -> Build {
    let (file, text) = shipped()[0];
    Build::parse(file, text).unwrap()
}

fn at(days: f64) -> Timestamp {
    "2026-01-01T00:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_secs_f64(days * 86_400.0)
}

fn entry(days: f64, event: Event) -> Entry {
    let machine = "bowline".to_owned();
    Entry { id: EntryId(1), machine, at: at(days), recorded: at(days), corrects: None, note: String::new(), event }
}

fn done() -> Event {
    Event::Done { task: TASK.to_owned(), supplies: Default::default() }
}

fn failed() -> Event {
    Event::Failed { position: "feed tube 1".to_owned(), mode: "drags".to_owned(), found: false, mended: false }
}

/// The risk of [`TASK`] on a machine that never ran, so that the calendar alone counts.
fn risk(events: Vec<Entry>, until: f64) -> Risk {
    let build = build();
    let added = entry(0.0, Event::Added { build: build.name.clone() });
    let entries: Vec<Entry> = std::iter::once(added).chain(events).collect();
    let place = build.tasks.iter().position(|task| task.name == TASK).unwrap();
    risks(&build, &[&entries[..]], Materials::built_in(), &TimeZone::UTC, at(until)).swap_remove(place)
}

#[test]
fn before_records_the_risk_is_what_the_limit_lets_believe() {
    let believed = Risk::believed();
    // The same double integral over both beliefs by scipy.integrate.dblquad (SciPy), to eight digits.
    for (share, expected) in [(0.5, 0.032_676_81), (1.0, 0.108_419_10), (2.0, 0.303_616_05), (4.0, 0.666_197_03)] {
        let got = believed.by(share);
        assert!((got / expected - 1.0).abs() < 5e-3, "{share}: {got} for {expected}");
    }
}

#[test]
fn the_risk_rises_with_the_share_and_is_nothing_when_just_done() {
    let believed = Risk::believed();
    assert!(believed.by(0.0) == 0.0);
    let shares: Vec<f64> = (1..=200).map(|step| f64::from(step) * 0.05).collect();
    assert!(shares.windows(2).all(|pair| believed.by(pair[0]) < believed.by(pair[1])));
}

#[test]
fn doing_it_late_without_a_failure_lowers_the_risk_and_failures_raise_it() {
    let believed = Risk::believed().by(1.0);
    // Twenty times left for half a year or more, whatever its allowance of some weeks says.
    let late: Vec<Entry> = (1..20).map(|time| entry(f64::from(time) * 200.0, done())).collect();
    let calm = risk(late, 4000.0);
    // The twentieth time is not over.
    assert_eq!((calm.failures, calm.followed), (0.0, 19.0));
    assert!(calm.by(1.0) < 0.5 * believed, "{} of {believed}", calm.by(1.0));
    let failing: Vec<Entry> = (1..20)
        .flat_map(|time| [entry(f64::from(time) * 20.0 - 5.0, failed()), entry(f64::from(time) * 20.0, done())])
        .collect();
    let wild = risk(failing, 380.0);
    let sharing = build().tasks.iter().filter(|task| task.at == "feed tube 1").count() as f64;
    assert!((wild.failures - 19.0 / sharing).abs() < 1e-9);
    assert!(3.0 * believed < wild.by(1.0), "{} of {believed}", wild.by(1.0));
}

#[test]
fn early_work_wastes_its_share_of_the_work_and_late_work_costs_the_failures_to_be_expected() {
    let rates = Rates { labour_per_hour: Some(60.0), failed_print: Some(100.0), ..Rates::default() };
    let (prices, _) = Prices::from_rates(&rates);
    let build = build();
    let task = build.tasks.iter().find(|task| task.name == TASK).unwrap();
    let risk = Risk::believed();
    let stake = Stake::new(task, 3.0, &prices, &risk);
    // By hand: a minute costs one, and the supplies three; a fifth of the allowance is left.
    assert!((stake.shifted(0.8) - 0.2 * (task.minutes + 3.0)).abs() < 1e-9);
    assert!(stake.shifted(1.0).abs() < 1e-12);
    let failure = prices.of(task.neglect).unwrap() + task.minutes + 3.0;
    assert!((stake.shifted(1.5) - failure * (risk.by(1.5) - risk.by(1.0))).abs() < 1e-9);
}
