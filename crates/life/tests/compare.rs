//! Comparisons of fits, against published values and independent sums.

use life::compare::{NoTest, age_matters, families, pooling};
use life::{End, Family, Life, NoFit};

fn failed(ages: &[f64]) -> Vec<Life> {
    ages.iter().map(|&age| Life::new(End::Failed(age)).unwrap()).collect()
}

fn good(age: f64, count: f64) -> Life {
    Life::new(End::Good(age)).unwrap().times(count).unwrap()
}

#[track_caller]
fn near(found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance * expected.abs(), "{found} not {expected}");
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3 and 8.2.2.1.
fn handbook() -> Vec<Life> {
    let mut lives = failed(&[54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0]);
    lives.push(good(500.0, 10.0));
    lives
}

/// Printed there: AIC 154.27 for the Weibull law and 154.39 for the lognormal. The exponential one in closed form: ten
/// failures in T = 7771 hours, ln L = −10·(1 + ln(T/10)).
#[test]
fn the_families_stand_in_the_order_of_the_handbook() {
    let table = families(&handbook());
    let order: Vec<Family> = table.iter().map(|candidate| candidate.family).collect();
    assert_eq!(order, [Family::Weibull, Family::Lognormal, Family::Exponential]);
    let aic: Vec<f64> = table.iter().map(|candidate| candidate.fit.as_ref().unwrap().aic()).collect();
    let exponential = 2.0 + 20.0 * (1.0 + 777.1_f64.ln());
    assert!((aic[0] - 154.27).abs() < 0.005 && (aic[1] - 154.39).abs() < 0.005, "{aic:?}");
    near(aic[2], exponential, 1e-12);
    near(table[0].weight / table[2].weight, (0.5 * (exponential - aic[0])).exp(), 1e-10);
    near(table.iter().map(|candidate| candidate.weight).sum(), 1.0, 1e-12);
}

/// From the same fits: 2·(−75.13461816 + 10·(1 + ln 777.1)) = 2.8419…, and scipy.stats.chi2.sf of it.
#[test]
fn whether_age_matters_is_the_ratio_of_the_handbooks_fits() {
    let ratio = age_matters(&handbook()).unwrap();
    near(ratio.statistic, 2.0 * (-75.13461816 + 10.0 * (1.0 + 777.1_f64.ln())), 1e-8);
    assert_eq!(ratio.freedom, 1);
    near(ratio.chance, 0.09182159172985678, 1e-6);
}

/// Groups of one shape: the second and third are invented.
fn groups() -> [Vec<Life>; 4] {
    let mut second = failed(&[120.0, 310.0, 402.0, 515.0]);
    second.push(good(600.0, 3.0));
    let mut longer = failed(&[800.0, 1150.0, 1320.0]);
    longer.push(good(1500.0, 2.0));
    [handbook(), second, longer, vec![good(450.0, 5.0)]]
}

struct Expected<'a> {
    statistic: f64,
    freedom: u32,
    chance: f64,
    shape: f64,
    scales: &'a [Option<f64>],
    pooled: [f64; 2],
}

/// Expected values by mpmath at 30 digits: the scale at a shape in closed form, (Σ tᵝ/r)^(1/β), the shape by findroot on
/// the slope of the sum, the chance by its incomplete gamma function.
#[track_caller]
fn check(groups: &[&[Life]], expected: &Expected) {
    let pooling = pooling(groups).unwrap();
    near(pooling.ratio.statistic, expected.statistic, 1e-9);
    assert_eq!(pooling.ratio.freedom, expected.freedom);
    near(pooling.ratio.chance, expected.chance, 1e-9);
    near(pooling.shape, expected.shape, 1e-10);
    assert_eq!(pooling.scales.len(), expected.scales.len());
    for (found, expected) in pooling.scales.iter().zip(expected.scales) {
        assert_eq!(found.is_some(), expected.is_some());
        near(found.unwrap_or(1.0), expected.unwrap_or(1.0), 1e-10);
    }
    near(pooling.pooled[0], expected.pooled[0], 1e-9);
    near(pooling.pooled[1], expected.pooled[1], 1e-9);
}

#[test]
fn two_like_groups_may_be_pooled() {
    let [first, second, ..] = groups();
    check(
        &[&first, &second],
        &Expected {
            statistic: 0.0516791589339978,
            freedom: 1,
            chance: 0.820166753686,
            shape: 1.7287142156146,
            scales: &[Some(605.64395259068), Some(654.56702818381)],
            pooled: [1.716733552224, 621.148081509],
        },
    );
}

#[test]
fn a_group_that_lasts_longer_is_told_from_the_others() {
    let [first, second, longer, _] = groups();
    check(
        &[&first, &second, &longer],
        &Expected {
            statistic: 7.97561105803266,
            freedom: 2,
            chance: 0.0185403557828,
            shape: 1.9099394134216,
            scales: &[Some(588.0028760021), Some(641.26775783429), Some(1670.8637421493)],
            pooled: [1.30067830942, 923.3106018365],
        },
    );
}

#[test]
fn a_group_without_failures_has_no_scale_and_counts_still() {
    let [first, second, _, unfailed] = groups();
    check(
        &[&first, &second, &unfailed],
        &Expected {
            statistic: 5.28044985016229,
            freedom: 2,
            chance: 0.071345220422,
            shape: 1.7287142156146,
            scales: &[Some(605.64395259068), Some(654.56702818381), None],
            pooled: [1.731313714428, 690.198265451],
        },
    );
}

#[test]
fn what_cannot_be_compared_is_refused_with_the_reason() {
    let [first, ..] = groups();
    assert_eq!(pooling(&[&first]), Err(NoTest::TooFewGroups { groups: 1 }));
    assert_eq!(pooling(&[&first, &[good(0.0, 3.0)]]), Err(NoTest::TooFewGroups { groups: 1 }));
    assert_eq!(pooling(&[&[good(5.0, 1.0)], &[good(7.0, 1.0)]]), Err(NoTest::NoFit(NoFit::NoFailures)));
    // One failure in each group: each scale suits its own, and the narrower the law the better.
    let (one, other) = (failed(&[5.0]), failed(&[9.0]));
    assert!(matches!(pooling(&[&one, &other]), Err(NoTest::NoFit(NoFit::ShapeUnbounded { .. }))));
}
