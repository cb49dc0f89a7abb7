//! What is believed of a Weibull law, against closed forms, against maximum likelihood and against brute force.

use life::bayes::{Belief, LifeBelief, NoPosterior, Posterior, Prior};
use life::{End, Family, Fit, Level, Life, Of};

fn failed(age: f64) -> Life {
    Life::new(End::Failed(age)).unwrap()
}

fn good(age: f64) -> Life {
    Life::new(End::Good(age)).unwrap()
}

fn level(level: f64) -> Level {
    Level::new(level).unwrap()
}

#[track_caller]
fn near(found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance * expected.abs(), "{found} not {expected}");
}

/// A shape of 1 but for a ten-thousandth, and nothing about the life: the exponential law.
fn exponential() -> Prior {
    Prior::new(Belief::new(1.0, 1e-5).unwrap(), LifeBelief::Flat).unwrap()
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.5 and 8.4.6: a gamma law with a = 4 and b = 3309 for the rate is
/// what four failures in 3309 hours say to one who believed nothing; printed there: 495.3012, 599.995, 901.1289, 1896.526.
/// To ten digits by scipy's gamma quantiles. The shape's own spread, 1e-5, moves nothing by more than its square times a
/// few.
#[test]
fn a_shape_of_one_gives_the_gamma_law_of_the_handbook() {
    let lives = [failed(3309.0 / 4.0).times(4.0).unwrap()];
    let posterior = Posterior::new(&lives, exponential()).unwrap();
    for (chance, mean) in [(0.1, 495.3012194), (0.2, 599.9950265), (0.5, 901.1288827), (0.9, 1896.525519)] {
        near(posterior.value(Of::Scale, chance).unwrap(), mean, 1e-7);
    }
}

/// The same handbook: the prior with a = 2.863 and b = 1522.46 counts as 2.863 failures in 1522.46 hours; then two failures
/// in 1000 hours. Mean rate 0.001927879927, 80 % lower mean life 384.6882073, median mean life 556.3386609 (scipy). The
/// chance to be good at t is (b/(b + t))^a in closed form.
#[test]
fn a_gamma_prior_counts_as_failures_in_hours() {
    let lives = [failed(1522.46 / 2.863).times(2.863).unwrap(), failed(500.0).times(2.0).unwrap()];
    let posterior = Posterior::new(&lives, exponential()).unwrap();
    near(posterior.hazard(100.0), 0.001927879927, 1e-8);
    near(posterior.value(Of::Scale, 0.2).unwrap(), 384.6882073, 1e-7);
    near(posterior.median(Of::Scale).unwrap(), 556.3386609, 1e-7);
    let (a, b) = (4.863_f64, 2522.46_f64);
    let survival = |age: f64| (b / (b + age)).powf(a);
    near(posterior.survival(700.0), survival(700.0), 1e-8);
    near(posterior.quantile(0.3).unwrap(), b * (0.7_f64.powf(-1.0 / a) - 1.0), 1e-8);
    near(posterior.fails_within_unseen(700.0, 50.0), 1.0 - survival(750.0) / survival(700.0), 1e-8);
    // One whose life is among the lives has told all it has to tell: the chance knows no age.
    near(posterior.fails_within(700.0, 50.0), 1.0 - survival(50.0), 1e-8);
}

/// 20,000 lives at the quantiles of a law leave nothing to a wide prior: medians lie at the maximum of the likelihood, the
/// bands at its profile's bounds, up to terms of 1/n.
#[test]
fn very_many_lives_give_the_maximum_of_the_likelihood() {
    let law = life::Law::weibull(2.5, 1000.0).unwrap();
    let n = 20_000;
    let lives: Vec<Life> = (0..n).map(|i| failed(law.quantile((f64::from(i) + 0.5) / f64::from(n)).unwrap())).collect();
    let wide = Prior::new(Belief::new(2.0, 5.0).unwrap(), LifeBelief::Flat).unwrap();
    let (posterior, fit) = (Posterior::new(&lives, wide).unwrap(), Fit::new(&lives, Family::Weibull).unwrap());
    near(posterior.median(Of::Shape).unwrap(), fit.law().shape(), 1e-4);
    near(posterior.median(Of::Quantile(0.1)).unwrap(), fit.law().quantile(0.1).unwrap(), 1e-4);
    for of in [Of::Shape, Of::Scale, Of::Quantile(0.1), Of::Survival(800.0)] {
        let (band, bounds) = (posterior.band(of, level(0.9)).unwrap(), fit.profile(of, level(0.9)).unwrap());
        near(band[0], bounds.lower.unwrap(), 2e-4);
        near(band[1], bounds.upper.unwrap(), 2e-4);
    }
}

#[test]
fn without_lives_what_was_believed_is_believed_still() {
    let (shape, life) = (Prior::common_shape(), Belief::new(500.0, 0.7).unwrap());
    let prior = Prior::new(shape, LifeBelief::Quantile { failed: 0.5, belief: life }).unwrap();
    let posterior = Posterior::new(&[], prior).unwrap();
    for chance in [0.05, 0.5, 0.95] {
        near(posterior.value(Of::Shape, chance).unwrap(), shape.quantile(chance).unwrap(), 1e-7);
        near(posterior.value(Of::Quantile(0.5), chance).unwrap(), life.quantile(chance).unwrap(), 1e-7);
    }
}

#[test]
fn what_bounds_no_life_is_refused_with_the_reason() {
    assert_eq!(Posterior::new(&[good(10.0)], Prior::common()).unwrap_err(), NoPosterior::NoFailures);
    let found = [Life::new(End::Between(0.0, 5.0)).unwrap()];
    assert_eq!(Posterior::new(&found, Prior::common()).unwrap_err(), NoPosterior::NeverGood);
    assert!(Posterior::new(&[failed(10.0)], Prior::common()).is_ok(), "one failure bounds it");
}

#[test]
fn common_practice_holds_the_shape_between_three_quarters_and_four() {
    let shape = Prior::common_shape();
    near(shape.quantile(0.05).unwrap(), 0.75, 1e-12);
    near(shape.quantile(0.95).unwrap(), 4.0, 1e-12);
}

/// 6/(π²·s²) with s = 0.509 is 2.35, and 1/(0.7·√3)² is 0.68, both worked by hand.
#[test]
fn the_pull_of_the_prior_is_told_as_failures() {
    let life = LifeBelief::Quantile { failed: 0.5, belief: Belief::new(500.0, 0.7).unwrap() };
    let lives = [good(300.0).times(4.0).unwrap()];
    let pull = Posterior::new(&lives, Prior::new(Prior::common_shape(), life).unwrap()).unwrap().pull().unwrap();
    near(pull.shape_counts_as, 2.35, 2e-3);
    near(pull.life_counts_as, 0.68, 2e-3);
    near(pull.shape[0], 3.0_f64.sqrt(), 1e-12);
    assert!(pull.b10.0.unwrap() < pull.b10.1, "four good at 300 lengthen lives: {pull:?}");
    let flat = Posterior::new(&[failed(300.0)], Prior::common()).unwrap().pull().unwrap();
    assert_eq!((flat.b10.0, flat.life_counts_as), (None, 0.0));
}

/// What brute force says of a set of lives.
struct Expected {
    survival_400: f64,
    hazard_300: f64,
    within_100_of_300: f64,
    unseen: f64,
    predictive_b10: f64,
    shape: [f64; 3],
    b10: [f64; 3],
    scale: [f64; 3],
    survival_band: [f64; 2],
}

/// Values to 1e-6: those of brute force have about eight digits.
#[track_caller]
fn check(lives: &[Life], life: LifeBelief, expected: &Expected) {
    let posterior = Posterior::new(lives, Prior::new(Prior::common_shape(), life).unwrap()).unwrap();
    near(posterior.survival(400.0), expected.survival_400, 1e-6);
    near(posterior.hazard(300.0), expected.hazard_300, 1e-6);
    near(posterior.fails_within(300.0, 100.0), expected.within_100_of_300, 1e-6);
    near(posterior.fails_within_unseen(300.0, 100.0), expected.unseen, 1e-6);
    near(posterior.quantile(0.1).unwrap(), expected.predictive_b10, 1e-6);
    for (of, values) in [(Of::Shape, expected.shape), (Of::Quantile(0.1), expected.b10), (Of::Scale, expected.scale)] {
        let band = posterior.band(of, level(0.9)).unwrap();
        near(band[0], values[0], 1e-6);
        near(posterior.median(of).unwrap(), values[1], 1e-6);
        near(band[1], values[2], 1e-6);
    }
    let band = posterior.band(Of::Survival(400.0), level(0.9)).unwrap();
    near(band[0], expected.survival_band[0], 1e-6);
    near(band[1], expected.survival_band[1], 1e-6);
}

// Expected values by brute force in Python: Gauss and Legendre's rule of 20 points on 24 by 100 even panels over
// (ln β, ln η), β from 0.08 to 60 or 40 and η up to e³⁰ or more, with numpy 2.4; quantiles by scipy's brentq on the integral
// up to the value, with (ln β, ln of the quantile) as variables in its turn. The likelihood is written out anew there.

#[test]
fn three_failures_and_two_good_against_brute_force() {
    let lives = [failed(312.0), failed(450.0), failed(505.0), good(520.0).times(2.0).unwrap()];
    check(
        &lives,
        LifeBelief::Flat,
        &Expected {
            survival_400: 0.6812528791950987,
            hazard_300: 0.0014912473963392327,
            within_100_of_300: 0.16409828073851004,
            unseen: 0.1557056063652017,
            predictive_b10: 203.15123086284933,
            shape: [1.0362413065019738, 2.1822993318908748, 4.353454949374063],
            b10: [80.3397389136469, 232.76565912245576, 401.2132414171211],
            scale: [422.80812972239676, 618.2164712016951, 1353.3218619742227],
            survival_band: [0.4067090055756854, 0.900840799693686],
        },
    );
}

#[test]
fn no_failure_and_a_believed_median_against_brute_force() {
    check(
        &[good(300.0).times(4.0).unwrap()],
        LifeBelief::Quantile { failed: 0.5, belief: Belief::new(500.0, 0.7).unwrap() },
        &Expected {
            survival_400: 0.7974394578117462,
            hazard_300: 0.0008750653078969349,
            within_100_of_300: 0.09485172538493061,
            unseen: 0.08518285837148865,
            predictive_b10: 255.18107136627785,
            shape: [0.9092542618564259, 2.0436045995748566, 4.533023849276355],
            b10: [82.93697122995788, 309.84716838142975, 885.9078418305804],
            scale: [458.068757114357, 983.2800116144216, 2639.7213300741123],
            survival_band: [0.4700545251189969, 0.9912825825401494],
        },
    );
}

#[test]
fn intervals_and_late_entries_against_brute_force() {
    let between = |from, to| Life::new(End::Between(from, to)).unwrap();
    let lives = [
        between(200.0, 400.0),
        failed(610.0).entered_at(150.0).unwrap(),
        good(700.0).entered_at(500.0).unwrap(),
        between(0.0, 250.0),
        good(90.0).times(3.0).unwrap(),
    ];
    check(
        &lives,
        LifeBelief::Quantile { failed: 0.1, belief: Belief::new(120.0, 1.0).unwrap() },
        &Expected {
            survival_400: 0.5194149315510532,
            hazard_300: 0.0022952565937278133,
            within_100_of_300: 0.21387028350667547,
            unseen: 0.1928271447005565,
            predictive_b10: 101.79878587151153,
            shape: [0.8617982896924823, 1.4567788472408394, 2.435658108646954],
            b10: [39.58231586006684, 115.94519103709438, 264.569635335043],
            scale: [297.88201989869583, 532.2014894199139, 1300.6769483892142],
            survival_band: [0.22150073447767255, 0.8016596770758038],
        },
    );
}
