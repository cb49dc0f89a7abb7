//! Use from hours and grams by a machine's ratios, and what an hour meter adds. All expected values worked by hand.

use motion::Quantity::{FilamentMass, Time, TravelX};
use motion::{Amounts, Duty};
use upkeep::{Build, EstimateError, Material, Ratios, Usage};

/// A build that meters travel along X and expects 100 m of it and 20 g an hour.
fn build() -> Build {
    let mut build = crate::common::build(vec![crate::common::amount(TravelX, 1e5, &[])]);
    build.expected.per_hour = vec![(TravelX, 100.0), (FilamentMass, 0.020)];
    build
}

fn run(hours: f64, travel_x: f64) -> Usage {
    let mut amounts = Amounts::default();
    amounts[Time] = hours * 3600.0;
    amounts[TravelX] = travel_x;
    amounts[FilamentMass] = hours * 0.010;
    Usage::from_duty(&Duty { tools: [(0, amounts)].into() }, |_| Material::new("PLA"))
}

#[track_caller]
fn check(got: f64, expected: f64) {
    assert!((got - expected).abs() < 1e-6 * expected, "{got}, not {expected}");
}

#[test]
fn a_machine_without_metered_runs_goes_by_its_build() {
    let estimate = Ratios::new(&build(), []).estimate(5.0, None, 0, &Material::new("PLA")).expect("hours are positive");
    check(estimate.usage.amount(TravelX), 500.0);
    check(estimate.usage.amount(FilamentMass), 0.100);
    check(estimate.usage.amount(Time), 5.0 * 3600.0);
    check(estimate.spread, 0.5);
}

#[test]
fn metered_runs_outweigh_the_build_hour_by_hour() {
    // 30 h at 200 m an hour and the build's 100 m as 10 h more: (6000 + 1000) / 40 = 175.
    // Spread: (30·25² + 10·87.5²) / 40 = 2382.8125, root 48.8141, over 175: 0.278938.
    let runs = [run(10.0, 2000.0), run(20.0, 4000.0)];
    let estimate = Ratios::new(&build(), &runs).estimate(2.0, None, 1, &Material::new("ASA")).expect("positive");
    check(estimate.usage.amount(TravelX), 350.0);
    check(estimate.spread, 0.278_937_7);
    let (stream, _) = estimate.usage.streams().next().expect("one stream");
    assert_eq!((stream.tool, stream.material.name()), (1, "ASA"));
}

#[test]
fn known_grams_stand_and_leave_travel_to_the_hours() {
    let estimate = Ratios::new(&build(), []).estimate(5.0, Some(250.0), 0, &Material::new("PLA")).expect("positive");
    check(estimate.usage.amount(FilamentMass), 0.250);
    check(estimate.usage.amount(TravelX), 500.0);
}

#[test]
fn an_hour_meter_books_what_was_not_booked() {
    let ratios = Ratios::new(&build(), []);
    let unbooked = |before, shown, booked| ratios.unbooked(before, shown, booked, 0, &Material::new(""));
    let estimate = unbooked(100.0, 150.0, 30.0).expect("it ran on").expect("20 h are missing");
    check(estimate.usage.amount(Time), 20.0 * 3600.0);
    check(estimate.usage.amount(TravelX), 2000.0);
    // Whole hours and a planner's 2 % of 30 h: 1.6 h either way is no drift.
    assert_eq!(unbooked(100.0, 131.0, 30.0), Ok(None));
    assert_eq!(unbooked(100.0, 129.0, 30.0), Ok(None));
}

#[test]
fn an_hour_meter_that_contradicts_the_records_is_refused() {
    let ratios = Ratios::new(&build(), []);
    let unbooked = |before, shown, booked| ratios.unbooked(before, shown, booked, 0, &Material::new(""));
    assert_eq!(unbooked(100.0, 90.0, 0.0), Err(EstimateError::RanBack { before: 100.0, shown: 90.0 }));
    assert_eq!(unbooked(100.0, 110.0, 30.0), Err(EstimateError::MoreBooked { ran: 10.0, booked: 30.0 }));
    assert!(unbooked(100.0, f64::NAN, 0.0).is_err());
}

#[test]
fn hours_and_grams_that_no_run_has_are_refused() {
    let ratios = Ratios::new(&build(), []);
    let estimate = |hours, grams| ratios.estimate(hours, grams, 0, &Material::new("PLA"));
    for (hours, grams) in [(0.0, None), (-1.0, None), (f64::NAN, None), (1.0, Some(f64::NAN))] {
        assert!(matches!(estimate(hours, grams), Err(EstimateError::NotPositive { .. })), "{hours} h, {grams:?} g");
    }
    for (hours, grams) in [(f64::INFINITY, None), (9000.0, None), (0.5, Some(1e7))] {
        assert!(matches!(estimate(hours, grams), Err(EstimateError::TooMuch { .. })), "{hours} h, {grams:?} g");
    }
}
