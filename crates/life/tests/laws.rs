//! Laws that hold whatever the lives, over lives made up at random.

use life::bayes::{Posterior, Prior};
use life::{AgeReplacement, End, Family, Fit, Law, Level, Life, Of, Renewals, curve, turnbull};
use proptest::prelude::*;

fn level(level: f64) -> Level {
    Level::new(level).unwrap()
}

/// A life with any end, entered late or not.
fn life() -> impl Strategy<Value = Life> {
    (0..4_u8, 1.0..1000.0_f64, 0.05..0.95_f64, 0..3_u8).prop_map(|(kind, age, share, late)| {
        let end = match kind {
            0 | 1 => End::Failed(age),
            2 => End::Good(age),
            _ => End::Between(share * age, age),
        };
        let entry = if late == 0 { 0.5 * end.known_good() } else { 0.0 };
        Life::new(end).unwrap().entered_at(entry).unwrap()
    })
}

/// Lives that failed at ages of their own, or were still good.
fn failed_or_good() -> impl Strategy<Value = Vec<Life>> {
    let one = (1.0..1000.0_f64, any::<bool>())
        .prop_map(|(age, failed)| Life::new(if failed { End::Failed(age) } else { End::Good(age) }).unwrap());
    prop::collection::vec(one, 1..40)
}

fn lives() -> impl Strategy<Value = Vec<Life>> {
    // Three failures that differ, so that there is a fit more often than not.
    let sure = [100.0, 300.0, 700.0].map(|age| Life::new(End::Failed(age)).unwrap());
    prop::collection::vec(life(), 0..40).prop_map(move |mut lives| {
        lives.extend(sure);
        lives
    })
}

fn law() -> impl Strategy<Value = Law> {
    prop_oneof![
        (0.3..8.0_f64, 1.0..1e5_f64).prop_map(|(shape, scale)| Law::weibull(shape, scale).unwrap()),
        (0.0..10.0_f64, 0.1..2.0_f64).prop_map(|(mu, sigma)| Law::lognormal(mu, sigma).unwrap()),
    ]
}

fn family() -> impl Strategy<Value = Family> {
    prop_oneof![Just(Family::Weibull), Just(Family::Lognormal), Just(Family::Exponential)]
}

fn times(life: &Life, factor: f64) -> Life {
    let end = match life.end() {
        End::Failed(age) => End::Failed(factor * age),
        End::Good(age) => End::Good(factor * age),
        End::Between(from, to) => End::Between(factor * from, factor * to),
    };
    Life::new(end).unwrap().entered_at(factor * life.entry()).unwrap().times(life.count()).unwrap()
}

fn near(one: f64, other: f64, share: f64) -> Result<(), TestCaseError> {
    prop_assert!((one - other).abs() <= share * other.abs().max(f64::MIN_POSITIVE), "{} and {}", one, other);
    Ok(())
}

/// Both fits have the same law, or there is none in both.
fn same_fit(one: &[Life], other: &[Life], family: Family, factor: f64) -> Result<(), TestCaseError> {
    let (one, other) = (Fit::new(one, family), Fit::new(other, family));
    prop_assert_eq!(one.is_ok(), other.is_ok());
    if let (Ok(one), Ok(other)) = (one, other) {
        near(factor * one.law().scale(), other.law().scale(), 1e-7)?;
        near(one.law().spread(), other.law().spread(), 1e-7)?;
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn another_unit_of_age_changes_the_scale_alone(lives in lives(), family in family(), log in -6.0..6.0_f64) {
        let stretched: Vec<Life> = lives.iter().map(|life| times(life, log.exp())).collect();
        same_fit(&lives, &stretched, family, log.exp())?;
    }

    #[test]
    fn a_count_is_as_many_lives(lives in lives(), family in family(), count in 1..4_usize) {
        let counted: Vec<Life> = lives.iter().map(|life| life.times(count as f64).unwrap()).collect();
        same_fit(&lives.repeat(count), &counted, family, 1.0)?;
    }

    #[test]
    fn the_order_of_lives_does_not_matter(lives in lives(), family in family(), by in 0..40_usize) {
        let mut turned = lives.clone();
        turned.rotate_left(by % lives.len());
        turned.reverse();
        same_fit(&lives, &turned, family, 1.0)?;
    }

    #[test]
    fn a_part_is_good_or_has_failed_and_quantiles_turn_that_round(law in law(), chance in 0.001..0.999_f64) {
        let age = law.quantile(chance).unwrap();
        near(law.failed_by(age), chance, 1e-11)?;
        near(law.survival(age) + law.failed_by(age), 1.0, 1e-14)?;
    }

    #[test]
    fn profile_bounds_hold_the_estimate_and_grow_with_the_level(lives in lives(), family in family()) {
        let Ok(fit) = Fit::new(&lives, family) else { return Ok(()) };
        let law = fit.law();
        for (of, value) in [(Of::Shape, law.shape()), (Of::Scale, law.scale()), (Of::Quantile(0.1), law.quantile(0.1).unwrap())] {
            let [narrow, wide] = [0.5, 0.9].map(|share| fit.profile(of, level(share)).unwrap());
            prop_assert!(narrow.holds(value), "{:?} {:?} {}", of, narrow, value);
            for end in [narrow.lower, narrow.upper].into_iter().flatten() {
                prop_assert!(wide.holds(end), "{:?} {:?} {:?}", of, narrow, wide);
            }
        }
    }

    #[test]
    fn the_curve_of_uncensored_lives_counts_those_left(ages in prop::collection::vec(1..50_u8, 1..40)) {
        let lives: Vec<Life> = ages.iter().map(|&age| Life::new(End::Failed(f64::from(age))).unwrap()).collect();
        for point in curve(&lives, level(0.9)).unwrap() {
            let left = ages.iter().filter(|&&age| point.time < f64::from(age)).count();
            prop_assert!((point.survival - left as f64 / ages.len() as f64).abs() < 1e-12);
        }
    }

    #[test]
    fn the_curve_between_looks_is_kaplan_and_meiers_where_ages_are_known(lives in failed_or_good()) {
        let (falls, points) = (turnbull(&lives).unwrap(), curve(&lives, level(0.9)).unwrap());
        prop_assert_eq!(falls.len(), points.len());
        for (fall, point) in falls.iter().zip(points) {
            near(fall.to, point.time, 0.0)?;
            prop_assert!((fall.survival - point.survival).abs() < 1e-12);
        }
    }

    #[test]
    fn no_age_of_a_grid_beats_the_best_age_to_replace(law in law(), ratio in 1.1..50.0_f64) {
        let policy = AgeReplacement::new(law, 1.0, ratio).unwrap();
        // A saving under a millionth counts as none.
        let best = policy.best().map_or(policy.cost_rate_to_failure(), |best| best.cost_rate);
        for step in 1..100 {
            let age = law.quantile(f64::from(step) / 100.0).unwrap();
            prop_assert!(best <= policy.cost_rate(age).unwrap() * (1.0 + 2e-6), "{} {}", age, best);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn bands_of_belief_lie_in_those_of_a_higher_level(lives in lives()) {
        let Ok(posterior) = Posterior::new(&lives, Prior::common()) else { return Ok(()) };
        for of in [Of::Shape, Of::Scale, Of::Quantile(0.1), Of::Survival(200.0)] {
            let [narrow, wide] = [0.5, 0.9].map(|share| posterior.band(of, level(share)).unwrap());
            prop_assert!(wide[0] <= narrow[0] && narrow[0] <= narrow[1] && narrow[1] <= wide[1], "{:?}", of);
        }
    }

    /// F(t) ≤ M(t) ≤ F(t)/S(t): the first failure is one, and n failures by t need n lives of t at most, whose chance is
    /// F(t)ⁿ (Barlow & Proschan (1965), chapter 3).
    #[test]
    fn renewals_lie_between_their_bounds(law in law(), chance in 0.01..0.95_f64) {
        let span = law.quantile(chance).unwrap();
        let renewals = Renewals::over(&law, span).unwrap();
        prop_assert!(chance - renewals.error - 1e-9 <= renewals.expected, "{:?} {}", renewals, chance);
        prop_assert!(renewals.expected <= chance / (1.0 - chance) + renewals.error + 1e-9, "{:?} {}", renewals, chance);
    }
}
