//! Repaired systems, against published examples.

use life::repair::{How, PowerLaw, PowerLawFit, System, chi_square_test, laplace_test, mean_failures, reversal_test};
use life::{End, Family, Fit, Level, Life, Of};

#[track_caller]
fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-8 * expected.abs(), "{found} not {expected}");
}

fn level(level: f64) -> Level {
    Level::new(level).unwrap()
}

fn system(end: f64, times: &[f64]) -> System {
    System::new(0.0, end, times.to_vec()).unwrap()
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.5.2 and 8.2.3.4.
fn handbook() -> System {
    system(1500.0, &[5.0, 40.0, 43.0, 175.0, 389.0, 712.0, 747.0, 795.0, 1299.0, 1478.0])
}

/// Printed there, in 8.4.5.2: improvement slope 0.516494 (which is 1 − shape), a 0.2913003, MTBF 310.234.
#[test]
fn the_handbooks_test_that_improves() {
    let fit = PowerLawFit::new(&[handbook()]).unwrap();
    near(fit.law().shape(), 0.537228866);
    let modified = fit.unbiased().unwrap();
    near(modified.shape(), 0.4835059794);
    near(modified.rate(), 0.2913002686);
    near(modified.mtbf(1500.0), 310.2340124);
    near(1.0 - modified.shape(), 0.5164940206);
    // Its bounds at 80 %, printed as 157.7138 and 548.5566, rest on an approximation for many failures, which is here worked
    // out from its formula with the normal quantile of the tables.
    let (r, z) = (10.0_f64, 1.2815515655_f64);
    let lower = r * (r - 1.0) / (r + 0.25 * z * z + (0.5 * r * z * z + z.powi(4) / 16.0).sqrt()).powi(2);
    let upper = r * (r - 1.0) / (r - z * (0.5 * r).sqrt()).powi(2);
    assert!((lower * modified.mtbf(1500.0) - 157.7138).abs() < 0.00005);
    assert!((upper * modified.mtbf(1500.0) - 548.5566).abs() < 0.00005);
    // Ours are exact for any number of failures, and so others: from the Bessel function's law of Crow (1982) with mpmath at
    // 30 digits. With ten failures the approximation's are 3 % and 8 % off.
    let bounds = fit.end_bounds(level(0.8));
    assert_eq!(bounds.how, How::Exact);
    near(bounds.mtbf.lower.unwrap(), 153.315745674717);
    near(bounds.mtbf.upper.unwrap(), 596.273782170402);
}

/// 8.2.3.4, formulas; to ten digits by SciPy.
#[test]
fn the_handbooks_trend_tests() {
    let laplace = laplace_test(&[handbook()]).unwrap();
    near(laplace.score, -1.326949183);
    near(laplace.two_sided, 0.1845254934);
    let chi_square = chi_square_test(&[handbook()]).unwrap();
    near(chi_square.statistic, 37.22808148);
    assert_eq!(chi_square.freedom, 20);
    near(chi_square.lower_tail, 0.9890136429);
    near(chi_square.upper_tail, 0.01098635712);
    // Printed there (from memory): 33 reversals of at most 45; the two spans of 35 h make none. The chances by SciPy's exact
    // law of Kendall's τ. The handbook's table (from memory): of ten spans, 33 reversals or more are significant at 95 %.
    let reversals = reversal_test(&handbook()).unwrap();
    assert_eq!((reversals.spans, reversals.reversals), (10, 33));
    near(reversals.expected(), 22.5);
    near(reversals.as_many_or_more, 0.03627507716049383);
    near(reversals.as_many_or_fewer, 0.9766887125220458);
    near(reversals.two_sided(), 0.07255015432098766);
}

/// MIL-HDBK-189 (1981), appendix C: printed there, rounded, shape 0.716, λ 0.454, Cramér–von Mises 0.091.
#[test]
fn the_standards_test_to_a_set_time() {
    let times = [
        2.6, 16.5, 16.5, 17.0, 21.4, 29.1, 33.3, 56.5, 63.1, 70.6, 73.0, 77.7, 93.9, 95.5, 98.1, 101.1, 132.0, 142.2,
        147.7, 149.0, 167.2, 190.7, 193.0, 198.7, 251.9, 282.5, 286.1,
    ];
    let fit = PowerLawFit::new(&[system(300.0, &times)]).unwrap();
    assert_eq!(fit.failures(), 27);
    let law = fit.law();
    near(law.shape(), 0.7163392624);
    near(law.rate(), 0.4538418614);
    near(law.intensity(300.0), 0.06447053361);
    near(law.mtbf(300.0), 15.51096205);
    let unbiased = fit.unbiased().unwrap();
    near(unbiased.shape(), 0.6898081786);
    near(unbiased.rate(), 0.5279894726);
    near(fit.cramer_von_mises().unwrap(), 0.09106112239);
    let (bounds, how) = fit.shape_bounds(level(0.9));
    assert_eq!(how, How::Exact);
    near(bounds.lower.unwrap(), 0.5056322876);
    near(bounds.upper.unwrap(), 0.957151512);
    // The appendix' table of factors at 90 % for 27 failures, from memory: 0.636 and 1.682. More digits from the Bessel
    // function's law with mpmath at 30 digits.
    let mtbf = fit.end_bounds(level(0.9)).mtbf;
    near(mtbf.lower.unwrap(), 0.636146699596 * 15.51096205);
    near(mtbf.upper.unwrap(), 1.68178637338 * 15.51096205);
}

/// The same standard's example of counts between looks; quoted as shape 0.752851, λ 1.529306, intensity 0.36890, MTBF
/// 2.7108.
#[test]
fn the_standards_counts_between_looks() {
    let law = PowerLaw::from_counts(&[20.0, 40.0, 60.0, 80.0, 100.0], &[13, 16, 5, 8, 7]).unwrap();
    near(law.shape(), 0.7528508868);
    near(law.rate(), 1.529305697);
    near(law.intensity(100.0), 0.3688969345);
    near(law.mtbf(100.0), 2.71078425);
    near(law.expected(80.0, 100.0) / 20.0, 0.3788703065);
}

/// A growth test to its 22nd failure, as shipped with the general-purpose package reliability 0.9.0; quoted elsewhere as
/// shape 0.6142104, λ 0.4239422.
#[test]
fn a_test_to_its_last_failure() {
    let times = [
        2.7, 10.3, 12.5, 30.6, 57.0, 61.3, 80.0, 109.5, 125.0, 128.6, 143.8, 167.9, 229.2, 296.7, 320.6, 328.2, 366.2,
        396.7, 421.1, 438.2, 501.2, 620.0,
    ];
    let fit = PowerLawFit::new(&[system(620.0, &times)]).unwrap();
    near(fit.law().shape(), 0.6142103999);
    near(fit.law().rate(), 0.4239422149);
    near(fit.law().intensity(620.0), 0.02179456258);
    near(fit.law().mtbf(620.0), 45.88300391);
    let unbiased = fit.unbiased().unwrap();
    near(unbiased.shape(), 0.5583730908);
    near(unbiased.rate(), 0.6070525703);
    // The law of the product of two gamma variables, by quadrature of its density, a Bessel function, with SciPy 1.17.
    let bounds = fit.end_bounds(level(0.9));
    assert_eq!(bounds.how, How::Exact);
    near(bounds.mtbf.lower.unwrap(), 0.6700630918952 * 45.88300391);
    near(bounds.mtbf.upper.unwrap(), 1.8481186136034 * 45.88300391);
}

#[test]
fn two_failures_up_to_the_last_bound_the_mean_time_between_failures_widely() {
    // As above, by SciPy.
    let fit = PowerLawFit::new(&[system(10.0, &[4.0, 10.0])]).unwrap();
    let bounds = fit.end_bounds(level(0.9)).intensity;
    near(bounds.lower.unwrap(), 0.013761146852 * fit.law().intensity(10.0));
    near(bounds.upper.unwrap(), 1.8012158053764 * fit.law().intensity(10.0));
}

/// Crow (1975), AMSAA TR-138, its equations; the data as in a check in circulation.
#[test]
fn systems_watched_for_unequal_times_are_pooled() {
    let systems = [system(4.0, &[0.5, 1.0, 1.5, 2.0, 3.0]), system(100.0, &[50.0])];
    let fit = PowerLawFit::new(&systems).unwrap();
    near(fit.law().shape(), 0.3443837166);
    near(fit.law().rate(), 0.9236718623);
    near(fit.law().expected(0.0, 100.0), 4.51112797);
    assert_eq!((fit.unbiased(), fit.shape_bounds(level(0.9)).1), (None, How::Likelihood));
    assert_eq!(fit.end_bounds(level(0.9)).how, How::Likelihood);
}

/// Histories as shipped with the general-purpose package reliability 0.9.0 (its mean agrees; its variance is another one);
/// the robust variance by the formula of Lawless & Nadeau (1995), by hand and by a second program.
#[test]
fn mean_failures_of_five_systems_watched_for_unequal_times() {
    let systems = [
        system(17.0, &[5.0, 10.0, 15.0]),
        system(19.0, &[6.0, 13.0, 17.0]),
        system(26.0, &[12.0, 20.0, 25.0]),
        system(24.0, &[13.0, 15.0]),
        system(28.0, &[16.0, 22.0, 25.0]),
    ];
    let expected = [
        (5.0, 5, 1, 0.2, 0.032),
        (6.0, 5, 1, 0.4, 0.048),
        (10.0, 5, 1, 0.6, 0.128),
        (12.0, 5, 1, 0.8, 0.112),
        (13.0, 5, 2, 1.2, 0.112),
        (15.0, 5, 2, 1.6, 0.208),
        (16.0, 5, 1, 1.8, 0.112),
        (17.0, 5, 1, 2.0, 0.16),
        (20.0, 3, 1, 2.333333333, 0.1896296296),
        (22.0, 3, 1, 2.666666667, 0.1451851852),
        (25.0, 2, 2, 3.666666667, 0.1451851852),
    ];
    let points = mean_failures(&systems, level(0.95));
    assert_eq!(points.len(), expected.len());
    for (point, (time, at_risk, failures, mean, variance)) in points.iter().zip(expected) {
        near(point.time, time);
        assert_eq!((point.at_risk, point.failures), (at_risk, failures));
        near(point.mean, mean);
        near(point.std_error.unwrap().powi(2), variance);
        near(point.lower.unwrap() * point.upper.unwrap(), mean * mean);
    }
}

/// A thing watched to its first failure, or for a time without one, is a life: its process is the law of that life, whatever
/// its start. So the two fits, which share no code, must agree.
#[test]
fn systems_watched_to_their_first_failure_are_lives() {
    let histories = [(0.0, 30.0, true), (0.0, 55.0, true), (12.0, 41.0, true), (20.0, 80.0, false), (0.0, 64.0, true)];
    let systems =
        histories.map(|(start, end, failed)| System::new(start, end, if failed { vec![end] } else { vec![] }).unwrap());
    let lives = histories.map(|(start, end, failed)| {
        Life::new(if failed { End::Failed(end) } else { End::Good(end) }).unwrap().entered_at(start).unwrap()
    });
    let process = PowerLawFit::new(&systems).unwrap();
    let law = Fit::new(&lives, Family::Weibull).unwrap();
    near(process.law().shape(), law.law().shape());
    near(process.law().scale(), law.law().scale());
    let (of_process, of_law) = (process.shape_bounds(level(0.9)).0, law.profile(Of::Shape, level(0.9)).unwrap());
    near(of_process.lower.unwrap(), of_law.lower.unwrap());
    near(of_process.upper.unwrap(), of_law.upper.unwrap());
}

#[test]
fn bounds_from_the_exact_laws_approach_those_from_the_likelihood_as_failures_grow() {
    // Evenly spread failures of a steady process: N of them by time N + ½, and the last at time N.
    let n = 10_000;
    for ended in [false, true] {
        let times: Vec<f64> = (1..=n).map(f64::from).collect();
        let end = if ended { f64::from(n) } else { f64::from(n) + 0.5 };
        let fit = PowerLawFit::new(&[system(end, &times)]).unwrap();
        let bounds = fit.end_bounds(level(0.9));
        assert_eq!(bounds.how, How::Exact);
        let half_width = 0.5 * (bounds.mtbf.upper.unwrap() / bounds.mtbf.lower.unwrap()).ln();
        near(fit.log_intensity_error(end), (2.0 / f64::from(n)).sqrt());
        // 1.6449 standard errors. By a set time the number of failures is whole, which costs half a failure on each side:
        // 1/N, since the intensity goes as its square.
        let expected = 1.644853627 * fit.log_intensity_error(end);
        assert!((half_width - expected).abs() < 1.1 / f64::from(n), "{half_width} {expected}");
    }
}

#[test]
fn one_failure_by_a_set_time_bounds_the_mean_time_between_failures_on_one_side() {
    let bounds = PowerLawFit::new(&[system(10.0, &[4.0])]).unwrap().end_bounds(level(0.9));
    assert!(bounds.mtbf.upper.is_none() && bounds.intensity.lower.is_none());
    assert!(bounds.mtbf.lower.is_some() && bounds.intensity.upper.is_some());
}
