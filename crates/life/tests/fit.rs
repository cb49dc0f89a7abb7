//! Fits against published data sets.
//!
//! The values to ten digits were worked out from the likelihood at 30 digits with an arbitrary-precision library, and
//! agree with the general-purpose statistics packages named beside them.

mod published;

use life::{End, Family, Fit, Level, Life, NoFit, Of};
use published::PATIENTS;

const LEVEL: f64 = 0.95;

fn failed(ages: &[f64]) -> Vec<Life> {
    ages.iter().map(|&age| Life::new(End::Failed(age)).unwrap()).collect()
}

fn good(age: f64, count: f64) -> Life {
    Life::new(End::Good(age)).unwrap().times(count).unwrap()
}

#[track_caller]
fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 2e-8 * expected.abs(), "{found} not {expected}");
}

#[track_caller]
fn near_both(found: [f64; 2], expected: [f64; 2]) {
    near(found[0], expected[0]);
    near(found[1], expected[1]);
}

struct Expected {
    shape: f64,
    scale: f64,
    log_likelihood: f64,
    scale_error: f64,
    shape_error: f64,
    wald_scale: [f64; 2],
    wald_shape: [f64; 2],
    mean: f64,
    std_dev: f64,
    b10: f64,
    b10_error: f64,
    wald_b10: [f64; 2],
    profile_shape: [f64; 2],
}

#[track_caller]
fn check(lives: &[Life], expected: &Expected) -> Fit {
    let fit = Fit::new(lives, Family::Weibull).unwrap();
    let (law, level) = (fit.law(), Level::new(LEVEL).unwrap());
    near(law.shape(), expected.shape);
    near(law.scale(), expected.scale);
    near(fit.log_likelihood(), expected.log_likelihood);
    near(fit.aic(), 4.0 - 2.0 * expected.log_likelihood);
    near(fit.scale_error(), expected.scale_error);
    near(fit.shape_error(), expected.shape_error);
    near_both(fit.wald_scale(level), expected.wald_scale);
    near_both(fit.wald_shape(level), expected.wald_shape);
    near(law.mean(), expected.mean);
    near(law.std_dev(), expected.std_dev);
    near(law.quantile(0.1).unwrap(), expected.b10);
    near(fit.quantile_error(0.1).unwrap(), expected.b10_error);
    near_both(fit.wald_quantile(0.1, level).unwrap(), expected.wald_b10);
    let profile = fit.profile(Of::Shape, level).unwrap();
    near_both([profile.lower.unwrap(), profile.upper.unwrap()], expected.profile_shape);
    fit
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3; printed there: scale 606.5280, shape 1.7208, log-likelihood
/// 75.135 (its sign lost), AIC 154.27, mean 540.737, standard deviation 323.806.
#[test]
fn the_handbooks_test_with_a_time_limit() {
    let mut lives = failed(&[54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0]);
    lives.push(good(500.0, 10.0));
    let fit = check(
        &lives,
        &Expected {
            shape: 1.720797261,
            scale: 606.527558,
            log_likelihood: -75.13461816,
            scale_error: 124.9106562,
            shape_error: 0.5021506035,
            wald_scale: [405.0892935, 908.1347853],
            wald_shape: [0.971266102, 3.048745557],
            mean: 540.7370255,
            std_dev: 323.8058243,
            b10: 164.0224387,
            b10_error: 56.12633819,
            wald_b10: [83.87512953, 320.7549191],
            profile_shape: [0.9056453588, 2.885737866],
        },
    );
    // The same page: the lognormal law has AIC 154.39.
    let lognormal = Fit::new(&lives, Family::Lognormal).unwrap();
    assert!((lognormal.aic() - 154.39).abs() < 0.005, "{}", lognormal.aic());
    assert!(fit.aic() < lognormal.aic());
}

/// Lieblein & Zelen (1956), J. Res. NBS 57: 273–316, 23 ball bearings, millions of revolutions; Lawless prints shape 2.10
/// and scale 81.9 (from memory). A general-purpose statistics package and a survival-analysis package agree to 6e-7.
#[test]
fn ball_bearings_that_all_failed() {
    let ages = [
        17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64, 68.64, 68.88, 84.12,
        93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
    ];
    check(
        &failed(&ages),
        &Expected {
            shape: 2.102058875,
            scale: 81.87833405,
            log_likelihood: -113.6912909,
            scale_error: 8.60044573,
            shape_error: 0.328687013,
            wald_scale: [66.64373885, 100.5955203],
            wald_shape: [1.547203085, 2.855896267],
            mean: 72.51865178,
            std_dev: 36.24832852,
            b10: 28.06941401,
            b10_error: 6.315379854,
            wald_b10: [18.0601031, 43.62610769],
            profile_shape: [1.50414616, 2.791535173],
        },
    );
}

/// Meeker & Escobar (1998), table C.2: shock absorbers, both failure modes together, km; they print μ 10.23, σ 0.3164,
/// errors 0.1099 and 0.0732, scale 27719, shape 3.16 (from memory).
#[test]
fn shock_absorbers_taken_out_at_many_ages() {
    let broken = [6700.0, 9120.0, 12200.0, 13150.0, 14300.0, 17520.0, 20100.0, 20900.0, 22700.0, 26510.0, 27490.0];
    let sound = [
        6950.0, 7820.0, 8790.0, 9660.0, 9820.0, 11310.0, 11690.0, 11850.0, 11880.0, 12140.0, 12870.0, 13330.0, 13470.0,
        14040.0, 17540.0, 17890.0, 18450.0, 18960.0, 18980.0, 19410.0, 20100.0, 20150.0, 20320.0, 23490.0, 27410.0,
        27890.0, 28100.0,
    ];
    let mut lives = failed(&broken);
    lives.extend(sound.map(|age| good(age, 1.0)));
    assert_eq!(lives.len(), 38);
    let fit = check(
        &lives,
        &Expected {
            shape: 3.160470315,
            scale: 27718.71813,
            log_likelihood: -123.9953612,
            scale_error: 3046.023183,
            shape_error: 0.7308183946,
            wald_scale: [22347.77024, 34380.49194],
            wald_shape: [2.008733073, 4.972573381],
            mean: 24811.53716,
            std_dev: 8605.896619,
            b10: 13600.03472,
            b10_error: 1981.377995,
            wald_b10: [10221.84183, 18094.67876],
            profile_shape: [1.89853217, 4.771390781],
        },
    );
    near(fit.law().location(), 10.22986321);
    near(fit.law().spread(), 0.3164086039);
    near(fit.location_error(), 0.109890478);
    near(fit.spread_error(), 0.07316544848);
}

/// Nelson (1982), p. 409: turbine wheels, each looked at once; hundreds of hours. Nelson fits a lognormal law; the Weibull
/// figures were worked out from the likelihood, and a survival-analysis package agrees to 2.5e-6.
#[test]
fn turbine_wheels_each_looked_at_once() {
    let looks = [
        (4.0, 0, 39),
        (10.0, 4, 49),
        (14.0, 2, 31),
        (18.0, 7, 66),
        (22.0, 5, 25),
        (26.0, 9, 30),
        (30.0, 9, 33),
        (34.0, 6, 7),
        (38.0, 22, 12),
        (42.0, 21, 19),
        (46.0, 21, 15),
    ];
    let mut lives = Vec::new();
    for (age, cracked, sound) in looks {
        lives.push(good(age, f64::from(sound)));
        if 0 < cracked {
            lives.push(Life::new(End::Between(0.0, age)).unwrap().times(f64::from(cracked)).unwrap());
        }
    }
    check(
        &lives,
        &Expected {
            shape: 2.175779909,
            scale: 46.77723025,
            log_likelihood: -189.2871934,
            scale_error: 2.99077494,
            shape_error: 0.2708188229,
            wald_scale: [41.26782773, 53.02215769],
            wald_shape: [1.704771211, 2.776922899],
            mean: 41.42614692,
            std_dev: 20.07585753,
            b10: 16.62846154,
            b10_error: 1.584335882,
            wald_b10: [13.79592461, 20.04256627],
            profile_shape: [1.668965138, 2.732035603],
        },
    );
}

/// A survival-analysis package agrees to 4.7e-7.
#[test]
fn lives_first_watched_at_an_age_are_not_taken_for_watched_from_the_beginning() {
    let life = |(entry, followed, died): (f64, f64, bool)| {
        let end = if died { End::Failed(entry + followed) } else { End::Good(entry + followed) };
        (Life::new(end).unwrap(), entry)
    };
    let lives = PATIENTS.map(|row| life(row).0.entered_at(life(row).1).unwrap());
    check(
        &lives,
        &Expected {
            shape: 8.406476039,
            scale: 68.6899368,
            log_likelihood: -57.41645617,
            scale_error: 2.198824439,
            shape_error: 1.945156628,
            wald_scale: [64.51272954, 73.13761875],
            wald_shape: [5.341414279, 13.23036104],
            mean: 64.84196675,
            std_dev: 9.18458818,
            b10: 52.55752147,
            b10_error: 3.48579629,
            wald_b10: [46.15090811, 59.85349315],
            profile_shape: [4.914198614, 12.54094316],
        },
    );
    // What leaving the late entry out would give.
    let wrong = Fit::new(&PATIENTS.map(|row| life(row).0), Family::Weibull).unwrap();
    near(wrong.law().shape(), 8.9475107);
    near(wrong.law().scale(), 68.93557222);
}

/// Abernethy, The New Weibull Handbook (from memory): with a shape of β, η = (Σt^β/r)^(1/β).
#[test]
fn a_known_shape_gives_the_scale_in_closed_form() {
    let lives = |failures: usize| -> Vec<Life> {
        let ages = [800.0, 1000.0, 1200.0, 1200.0, 1500.0];
        ages.iter()
            .enumerate()
            .map(|(place, &age)| Life::new(if place < failures { End::Failed(age) } else { End::Good(age) }).unwrap())
            .collect()
    };
    near(Fit::with_shape(&lives(1), 2.0).unwrap().law().scale(), 2601.922366);
    near(Fit::with_shape(&lives(3), 2.0).unwrap().law().scale(), 1502.220579);
    assert_eq!(Fit::with_shape(&lives(0), 2.0).unwrap_err(), NoFit::NoFailures);
}

#[test]
fn an_exponential_law_is_time_by_failures() {
    let mut lives = failed(&[300.0, 500.0]);
    lives.push(good(700.0, 2.0));
    let fit = Fit::new(&lives, Family::Exponential).unwrap();
    // 2200 unit-hours and 2 failures; ln L = −r·ln θ − T/θ.
    near(fit.law().mean(), 1100.0);
    near(fit.log_likelihood(), -2.0 * 1100.0_f64.ln() - 2.0);
    near(fit.scale_error(), 1100.0 / 2.0_f64.sqrt());
    let bounds = fit.profile(Of::Scale, Level::new(0.9).unwrap()).unwrap();
    // At both ends 2·(ln L − ln L(θ)) is the chi-square quantile 2.705543454 (tables).
    for mean in [bounds.lower.unwrap(), bounds.upper.unwrap()] {
        let drop = 2.0 * (fit.log_likelihood() + 2.0 * mean.ln() + 2200.0 / mean);
        assert!((drop - 2.705543454).abs() < 1e-8, "{drop}");
    }
}

#[test]
fn data_without_a_best_law_say_so() {
    let weibull = |lives: &[Life]| Fit::new(lives, Family::Weibull).map(|fit| fit.law());
    assert_eq!(weibull(&[good(5.0, 3.0)]), Err(NoFit::NoFailures));
    assert!(matches!(weibull(&failed(&[5.0])), Err(NoFit::ShapeUnbounded { .. })));
    assert!(matches!(weibull(&failed(&[5.0; 4])), Err(NoFit::ShapeUnbounded { .. })));
    let mut lives = failed(&[5.0, 5.0]);
    lives.push(good(4.0, 3.0));
    assert!(matches!(weibull(&lives), Err(NoFit::ShapeUnbounded { .. })));
    // One failure before the end of the others is enough.
    lives.push(good(6.0, 1.0));
    assert!(weibull(&lives).unwrap().shape().is_finite());
}
