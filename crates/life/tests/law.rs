//! Laws of life against closed forms.

use life::Law;

#[track_caller]
fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-9 * expected.abs(), "{found} not {expected}");
}

/// NIST/SEMATECH e-Handbook, 8.1.2 and 8.1.6.2, closed forms; the mean residual life by numerical integration as well.
#[test]
fn what_a_weibull_law_says_of_one_that_is_old_already() {
    let law = Law::weibull(2.5, 1000.0).unwrap();
    near(law.survival(500.0), 0.8379668856);
    near(law.hazard(500.0), 0.0008838834765);
    near(law.cumulative_hazard(500.0), 0.1767766953);
    near(law.survival_given(500.0, 200.0), 0.7920056782);
    near(law.residual_quantile(500.0, 0.5).unwrap(), 445.7851706);
    near(law.residual_quantile(500.0, 0.1).unwrap(), 102.8151348);
    near(law.mean_residual(500.0), 490.7925562);
    near(law.mean_up_to(500.0), law.mean() - law.mean_residual(500.0) * law.survival(500.0));
}

#[test]
fn density_hazard_and_survival_belong_together() {
    for law in [
        Law::weibull(0.7, 30.0).unwrap(),
        Law::weibull(3.0, 30.0).unwrap(),
        Law::exponential(30.0).unwrap(),
        Law::lognormal(3.0, 0.6).unwrap(),
        Law::lognormal(3.0, 2.0).unwrap(),
    ] {
        for age in [0.5, 8.0, 20.0, 45.0, 90.0, 400.0] {
            let h = 1e-5 * age;
            let slope = (law.survival(age - h) - law.survival(age + h)) / (2.0 * h);
            assert!((law.density(age) - slope).abs() < 1e-8 * law.density(age) + 1e-11, "{law:?} {age}");
            near(law.hazard(age) * law.survival(age), law.density(age));
            // Nearer to 1 a chance has too few digits left to tell the age.
            if 1e-3 < law.survival(age) {
                assert!((law.quantile(law.failed_by(age)).unwrap() - age).abs() < 1e-9 * age, "{law:?} {age}");
            }
            let span = law.residual_quantile(age, 0.3).unwrap();
            near(law.survival_given(age, span), 0.7);
        }
    }
}

#[test]
fn mean_residual_life_is_the_area_under_what_survives() {
    for law in [Law::weibull(0.7, 30.0).unwrap(), Law::weibull(3.0, 30.0).unwrap(), Law::lognormal(3.0, 0.6).unwrap()] {
        for age in [0.0, 5.0, 40.0] {
            // Simpson's rule in the logarithm of the span.
            let steps = 20_000;
            let (from, to) = (1e-9_f64.ln(), 1e7_f64.ln());
            let width = (to - from) / f64::from(steps);
            let at = |step: i32| {
                let span = (from + f64::from(step) * width).exp();
                law.survival_given(age, span) * span
            };
            let weight = |step: i32| {
                if step == 0 || step == steps {
                    1.0
                } else if step % 2 == 1 {
                    4.0
                } else {
                    2.0
                }
            };
            let area: f64 = (0..=steps).map(|step| weight(step) * at(step)).sum::<f64>() * width / 3.0;
            let found = law.mean_residual(age);
            assert!((found - area).abs() < 1e-7 * area, "{law:?} {age}: {found} {area}");
        }
    }
}

#[test]
fn far_tails_keep_their_digits() {
    let law = Law::lognormal(0.0, 0.25).unwrap();
    // ln Φ(−40) = −804.608442 (Abramowitz & Stegun, 26.2.12, the asymptotic series to its fourth term, by hand).
    let z: f64 = 40.0;
    let series = 1.0 - z.powi(-2) + 3.0 * z.powi(-4) - 15.0 * z.powi(-6);
    let expected = -0.5 * z * z - (z * (2.0 * std::f64::consts::PI).sqrt()).ln() + series.ln();
    near(law.log_survival((0.25 * z).exp()), expected);
    assert!(law.survival((0.25_f64 * 40.0).exp()) == 0.0 && law.hazard((0.25_f64 * 40.0).exp()) > 0.0);
    assert!((law.residual_quantile((0.25 * z).exp(), 0.5).unwrap() > 0.0));
    near(Law::weibull(2.0, 10.0).unwrap().failed_by(1e-9), 1e-20);
}
