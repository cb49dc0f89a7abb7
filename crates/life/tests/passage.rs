//! Laws of first passage against values worked out elsewhere.
//!
//! The inverse Gaussian's were worked out with scipy.stats.invgauss(mu = mean/shape, scale = shape) of SciPy 1.17 and, where
//! it does not overflow, with the closed form of Chhikara & Folks; the gamma process' with scipy.special.gammaincc. They
//! are printed to 10 digits, hence the relative tolerance of 1e-8; 1e-7 for the tiny spread, where the independent value
//! has no second source.

use life::{Error, Gamma, InverseGaussian};

#[track_caller]
fn check(what: &str, got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance * expected.abs(), "{what}: {got}, not {expected}");
}

#[test]
fn first_passage_of_brownian_motion_with_drift() {
    let law = InverseGaussian::of_passage(100.0, 0.5, 2.0).expect("positive");
    check("mean", law.mean(), 200.0, 1e-8);
    check("shape", law.shape(), 2500.0, 1e-8);
    check("sd", law.std_dev(), 56.568_542_49, 1e-8);
    check("mode", law.mode(), 177.434_853, 1e-8);
    check("density at the mean", law.pdf(200.0), 0.007_052_369_794, 1e-8);
    for (t, expected) in
        [(150.0, 0.186_272_648_7), (180.0, 0.406_263_933_6), (200.0, 0.555_352_318_9), (250.0, 0.825_657_289_3)]
    {
        check("chance", law.cdf(t), expected, 1e-8);
    }
    for (chance, expected) in
        [(0.05, 121.980_854_6), (0.1, 134.705_257_4), (0.5, 192.352_790_2), (0.9, 275.104_394_3), (0.95, 304.100_210_5)]
    {
        check("quantile", law.quantile(chance).expect("a chance"), expected, 1e-8);
    }
}

#[test]
fn a_tiny_spread_does_not_overflow() {
    // exp(2λ/μ) = exp(4000) is beyond double precision.
    let law = InverseGaussian::of_passage(1000.0, 2.0, 1.0).expect("positive");
    check("sd", law.std_dev(), 11.180_339_89, 1e-7);
    check("mode", law.mode(), 499.625_140_6, 1e-7);
    check("density at the mean", law.pdf(500.0), 0.035_682_482_32, 1e-7);
    for (t, expected) in [(480.0, 0.034_786_740_57), (500.0, 0.504_459_753), (520.0, 0.961_252_061_7)] {
        check("chance", law.cdf(t), expected, 1e-7);
    }
    for (chance, expected) in
        [(0.05, 481.825_744_1), (0.1, 485.755_096_9), (0.5, 499.875_036_4), (0.9, 514.405_449_8), (0.95, 518.600_517_5)]
    {
        check("quantile", law.quantile(chance).expect("a chance"), expected, 1e-7);
    }
}

#[test]
fn first_passage_of_a_gamma_process() {
    let law = Gamma::of_passage(20.0, 0.05, 2.0).expect("positive");
    for (t, expected) in [
        (100.0, 0.029_252_688_08),
        (150.0, 0.171_932_689_4),
        (200.0, 0.457_929_714_5),
        (250.0, 0.746_825_306),
        (300.0, 0.916_541_527_1),
    ] {
        check("chance", law.cdf(t), expected, 1e-8);
    }
    for (chance, expected) in [(0.1, 131.496_877_3), (0.5, 206.627_066_7), (0.9, 292.796_793_5)] {
        check("quantile", law.quantile(chance).expect("a chance"), expected, 1e-8);
    }
}

#[test]
fn the_mean_passage_of_a_gamma_process_is_half_a_shape_later_than_the_mean_rate_says() {
    // E[T] = ∫ (1 − F) dt = 209.9999953, by quadrature in SciPy. Simpson's rule with steps of ¼ h over 1200 h here: its
    // error is below 1e-9, the tail beyond below 1e-20.
    let law = Gamma::of_passage(20.0, 0.05, 2.0).expect("positive");
    let (n_steps, step) = (4800, 0.25);
    let weight = |i: i32| if i == 0 || i == n_steps { 1.0 } else { f64::from(2 + 2 * (i % 2)) };
    let sum: f64 = (0..=n_steps).map(|i| weight(i) * (1.0 - law.cdf(f64::from(i) * step))).sum();
    check("mean", sum * step / 3.0, 209.999_995_3, 1e-8);
}

#[test]
fn the_density_is_the_slope_of_the_chance() {
    for law in [InverseGaussian::of_passage(100.0, 0.5, 2.0), InverseGaussian::of_passage(1.0, 0.2, 3.0)] {
        let law = law.expect("positive");
        for factor in [0.2, 0.7, 1.0, 1.8] {
            let (t, step) = (factor * law.mean(), 1e-4 * law.mean());
            let slope = (law.cdf(t + step) - law.cdf(t - step)) / (2.0 * step);
            // A central difference is off by step²/6 of the third derivative, of the order of the density over sd².
            let tolerance = law.pdf(law.mode()) * 1e-6;
            assert!((slope - law.pdf(t)).abs() < tolerance, "{law:?} at {t}: {slope}, not {}", law.pdf(t));
        }
    }
}

#[test]
fn nonsense_is_refused_with_its_value() {
    let refused = InverseGaussian::of_passage(100.0, 0.0, 2.0);
    assert_eq!(refused, Err(Error::NotPositive { what: "the drift", got: 0.0 }));
    assert!(Gamma::of_passage(f64::NAN, 1.0, 1.0).is_err());
    let law = InverseGaussian::new(1.0, 1.0).expect("positive");
    assert_eq!(law.quantile(1.0), Err(Error::NotAChance { got: 1.0 }));
}
