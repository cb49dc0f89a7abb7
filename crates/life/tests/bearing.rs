//! Rating lives of bearings against the standards' formulas and tables.

use life::bearing::{
    Basis, Edition, ISO_281_SHAPE, Rolling, hours_of_revolutions, hours_of_travel, linear_rating_life_km, rated_law,
    rating_life_million_revolutions, rating_on_basis, reliability_factor,
};

#[track_caller]
fn near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{found} not {expected}");
}

#[test]
fn a_rating_life_in_revolutions_and_hours() {
    // ISO 281:2007: L10 = (C/P)^p; the figures by arithmetic.
    let life = rating_life_million_revolutions(Rolling::Balls, 1000.0, 250.0).unwrap();
    near(life, 64.0, 1e-12);
    near(hours_of_revolutions(life, 600.0).unwrap(), 1777.777778, 1e-9);
    near(rating_life_million_revolutions(Rolling::Rollers, 1000.0, 250.0).unwrap(), 101.5936673, 1e-9);
}

#[test]
fn the_factor_for_reliability_gives_both_editions_tables() {
    // ISO 281:1990 and ISO 281:2007 (from memory), two decimals each; the digits by the formulas of ISO/TR 1281-2.
    for (reliability, old, new, old_table, new_table) in [
        (0.9, 1.0, 1.0, 1.0, 1.0),
        (0.95, 0.618854382, 0.6379116629, 0.62, 0.64),
        (0.96, 0.5314685318, 0.5548951052, 0.53, 0.55),
        (0.97, 0.4372137461, 0.4653530588, 0.44, 0.47),
        (0.98, 0.3325225659, 0.3658964376, 0.33, 0.37),
        (0.99, 0.2087701764, 0.2483316676, 0.21, 0.25),
    ] {
        let factor = |edition| reliability_factor(reliability, edition).unwrap();
        near(factor(Edition::Y1990), old, 1e-8);
        near(factor(Edition::Y2007), new, 1e-8);
        assert!((factor(Edition::Y1990) - old_table).abs() < 0.005);
        assert!((factor(Edition::Y2007) - new_table).abs() < 0.005);
    }
}

#[test]
fn linear_bearings_on_both_bases() {
    // ISO 14728-1: L10 = (C/P)^p · 100 km, p = 3 for balls, 10/3 for rollers; the figures by arithmetic.
    near(linear_rating_life_km(Rolling::Balls, 4000.0, Basis::Km100, 500.0).unwrap(), 51200.0, 1e-12);
    let on_50 = rating_on_basis(Rolling::Balls, 4000.0, Basis::Km100, Basis::Km50).unwrap();
    near(on_50, 5039.6842, 1e-8);
    near(linear_rating_life_km(Rolling::Balls, on_50, Basis::Km50, 500.0).unwrap(), 51200.0, 1e-12);
    near(rating_on_basis(Rolling::Balls, on_50, Basis::Km50, Basis::Km100).unwrap(), 4000.0, 1e-12);
    near(linear_rating_life_km(Rolling::Rollers, 4000.0, Basis::Km100, 500.0).unwrap(), 102400.0, 1e-12);
    near(hours_of_travel(51200.0, 0.2, 60.0).unwrap(), 35555.55556, 1e-9);
}

#[test]
fn the_law_that_a_rating_implies_has_it_for_its_b10_and_the_factors_of_1990_for_the_rest() {
    for shape in [ISO_281_SHAPE, Rolling::Balls.lundberg_palmgren_shape()] {
        near(rated_law(51200.0, shape).unwrap().quantile(0.1).unwrap(), 51200.0, 1e-12);
    }
    let law = rated_law(1.0, ISO_281_SHAPE).unwrap();
    near(law.quantile(0.01).unwrap(), reliability_factor(0.99, Edition::Y1990).unwrap(), 1e-12);
}

#[test]
fn nonsense_is_refused() {
    assert!(rating_life_million_revolutions(Rolling::Balls, 0.0, 1.0).is_err());
    assert!(rating_life_million_revolutions(Rolling::Balls, 1.0, f64::NAN).is_err());
    assert!(reliability_factor(0.5, Edition::Y2007).is_err());
    assert!(reliability_factor(1.0, Edition::Y2007).is_err());
    assert!(rated_law(1.0, -1.0).is_err());
}
