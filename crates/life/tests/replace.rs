//! Ages of replacement, renewals and looks against published and closed values.

use life::{
    AgeReplacement, BlockReplacement, Delay, End, Error, Family, Fit, HiddenFailure, Law, Level, Life, LookCosts,
    Looks, MinimalRepair, Renewals,
};

#[track_caller]
fn near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{found} not {expected}");
}

fn weibull(shape: f64, scale: f64) -> Law {
    Law::weibull(shape, scale).expect("a law")
}

fn policy(law: Law, planned: f64, failure: f64) -> AgeReplacement {
    AgeReplacement::new(law, planned, failure).expect("costs")
}

#[test]
fn the_best_age_of_a_weibull_law() {
    // Root of h(t)·∫S − F = cp/(cf − cp) (Barlow & Hunter 1960) worked out with 30 digits in mpmath.
    let policy = policy(weibull(2.5, 1000.0), 1.0, 5.0);
    let best = policy.best().expect("a best age");
    near(best.age, 493.0469576, 1e-8);
    near(best.cost_rate, 0.003462042739, 1e-8);
    near(policy.cost_rate_to_failure(), 0.00563530249, 1e-8);
    near(best.saving, 1.0 - 0.6143490514, 1e-8);
    // The Python package `reliability` finds the least of a grid, whose documentation prints 493.19 and 0.0035: the cost
    // rate there, to the digits of the grid's.
    near(policy.cost_rate(493.1851185).expect("an age"), 0.003462042919, 1e-8);
}

/// A Weibull shape with its row of the table.
type Row = (f64, [(f64, f64, f64); 6]);

/// Ratio of costs; best age over η, cost rate over that of running to failure. The kind of table that Glasser (1967),
/// Technometrics 9: 83–91, draws as graphs; worked out with 30 digits in mpmath.
const TABLE: [Row; 6] = [
    (
        1.5,
        [
            (2.0, 2.17464138, 0.9984362026),
            (3.0, 1.157076797, 0.9710605813),
            (5.0, 0.6754919921, 0.8903414267),
            (10.0, 0.3781444916, 0.749424506),
            (20.0, 0.2261198746, 0.6117154717),
            (50.0, 0.11919599, 0.4581560122),
        ],
    ),
    (
        2.0,
        [
            (2.0, 1.09079697, 0.9666936447),
            (3.0, 0.7379138602, 0.8719455087),
            (5.0, 0.5106552243, 0.724090255),
            (10.0, 0.3364511913, 0.5367097886),
            (20.0, 0.2304267983, 0.3879998227),
            (50.0, 0.1431005517, 0.2485663415),
        ],
    ),
    (
        2.5,
        [
            (2.0, 0.8836016774, 0.9211865364),
            (3.0, 0.6568557988, 0.7872389591),
            (5.0, 0.4930469576, 0.6143490514),
            (10.0, 0.3545744096, 0.4214988288),
            (20.0, 0.2623816257, 0.2832151709),
            (50.0, 0.1794001488, 0.1651783236),
        ],
    ),
    (
        3.0,
        [
            (2.0, 0.8103420274, 0.8795681221),
            (3.0, 0.6365478603, 0.7236584131),
            (5.0, 0.5026095821, 0.5413950297),
            (10.0, 0.3824555311, 0.3526688901),
            (20.0, 0.2977704706, 0.2256574153),
            (50.0, 0.216991448, 0.123615822),
        ],
    ),
    (
        4.0,
        [
            (2.0, 0.7661132375, 0.8151358215),
            (3.0, 0.6415946077, 0.63836921),
            (5.0, 0.5384021203, 0.452680041),
            (10.0, 0.4390971868, 0.2762520748),
            (20.0, 0.3641008125, 0.1662530512),
            (50.0, 0.2872397289, 0.08420554196),
        ],
    ),
    (
        5.0,
        [
            (2.0, 0.7609764077, 0.7697457208),
            (3.0, 0.6611199631, 0.5846855143),
            (5.0, 0.5749456285, 0.4013188879),
            (10.0, 0.4885851285, 0.2354485352),
            (20.0, 0.4206611941, 0.1365670457),
            (50.0, 0.3480051771, 0.06598745869),
        ],
    ),
];

#[test]
fn the_table_of_best_ages() {
    for (shape, row) in TABLE {
        for (ratio, age, rate) in row {
            let policy = policy(weibull(shape, 1.0), 1.0, ratio);
            let best = policy.best().expect("a best age");
            near(best.age, age, 1e-8);
            near(best.cost_rate / policy.cost_rate_to_failure(), rate, 1e-8);
        }
    }
}

#[test]
fn nothing_is_gained_from_replacing_early_what_does_not_wear() {
    // Barlow & Proschan (1965): no finite best age unless the hazard rises. Cost rates by mpmath.
    let expected = [
        (0.7, [8.044693266, 6.129194059, 4.976455637, 4.199111399, 3.952425487], 3.949997749),
        (1.0, [6.541494083, 5.581976707, 5.156517643, 5.006783655, 5.000000002], 5.0),
    ];
    for (shape, rates, to_failure) in expected {
        let policy = policy(weibull(shape, 1.0), 1.0, 5.0);
        assert_eq!(policy.best(), None);
        assert_eq!(policy.within(0.05), Ok(None));
        near(policy.cost_rate_to_failure(), to_failure, 1e-9);
        for (age, rate) in [0.5, 1.0, 2.0, 5.0, 20.0].into_iter().zip(rates) {
            near(policy.cost_rate(age).expect("an age"), rate, 1e-9);
        }
        assert_eq!(BlockReplacement::new(weibull(shape, 1.0), 1.0, 5.0).expect("costs").best(), None);
        assert_eq!(MinimalRepair::new(weibull(shape, 1.0), 1.0, 5.0).expect("costs").best(), None);
    }
    assert_eq!(policy(Law::exponential(3.0).expect("a law"), 1.0, 50.0).best(), None);
    assert_eq!(policy(weibull(3.0, 1.0), 5.0, 5.0).best(), None, "a failure costs no more");
    assert_eq!(policy(weibull(1.01, 1.0), 1.0, 1.01).best(), None, "the gain is nothing");
}

#[test]
fn no_age_of_a_lognormal_law_is_cheaper_than_the_best() {
    let mut with_best = 0;
    for sigma in [0.05, 0.3, 0.6, 1.0, 1.5, 3.0] {
        for ratio in [1.2, 2.0, 5.0, 30.0, 1000.0] {
            let policy = policy(Law::lognormal(2.0, sigma).expect("a law"), 1.0, ratio);
            let lowest = policy.best().map_or(policy.cost_rate_to_failure(), |best| best.cost_rate);
            with_best += u32::from(policy.best().is_some());
            for step in 0..4000 {
                let age = (0.01 * f64::from(step) - 20.0).exp();
                let rate = policy.cost_rate(age).expect("an age");
                assert!(lowest * (1.0 - 2e-6) <= rate, "σ = {sigma}, ratio {ratio}: {rate} at {age} is below {lowest}");
            }
        }
    }
    assert!(10 < with_best && with_best < 30, "both answers occur: {with_best}");
}

#[test]
fn the_ages_nearly_as_good_as_the_best_end_where_their_cost_rate_says() {
    for law in [weibull(2.5, 1000.0), weibull(1.5, 10.0), Law::lognormal(5.0, 0.4).expect("a law")] {
        let policy = policy(law, 1.0, 5.0);
        let best = policy.best().expect("a best age");
        let range = policy.within(0.05).expect("a share").expect("a best age");
        let (lower, upper) = (range.lower.expect("an end"), range.upper.expect("an end"));
        assert!(lower < best.age && best.age < upper);
        for end in [lower, upper] {
            near(policy.cost_rate(end).expect("an age"), 1.05 * best.cost_rate, 1e-9);
        }
    }
    // Running to failure costs 0.16 % more than the best age here, so that no age above the best is 5 % worse.
    let range = policy(weibull(1.5, 1.0), 1.0, 2.0).within(0.05).expect("a share").expect("a best age");
    assert!(range.lower.is_some() && range.upper.is_none());
}

#[test]
fn the_cost_curve_falls_to_the_best_age_and_rises_after() {
    let policy = policy(weibull(2.5, 1000.0), 1.0, 5.0);
    let curve = policy.curve(1000.0, 200).expect("a curve");
    assert_eq!(curve.len(), 200);
    for pair in curve.windows(2) {
        let falls = pair[1].1 < pair[0].1;
        assert!(falls == (pair[1].0 < 493.0) || (pair[0].0..=pair[1].0).contains(&493.0), "{pair:?}");
    }
}

fn fitted(ages: &[f64], family: Family) -> Fit {
    let lives: Vec<Life> = ages.iter().map(|&age| Life::new(End::Failed(age)).expect("a life")).collect();
    Fit::new(&lives, family).expect("a fit")
}

#[test]
fn the_band_of_the_best_age_says_when_never_is_not_excluded() {
    let level = Level::new(0.9).expect("a level");
    let three = fitted(&[300.0, 700.0, 1500.0], Family::Weibull);
    let band = AgeReplacement::band(&three, 1.0, 5.0, level).expect("costs");
    assert!(band.age.lower.is_some() && band.age.upper.is_none() && band.with_best < 1.0, "{band:?}");
    assert!(band.saving[0] < 1e-12, "{band:?}");

    let alike: Vec<f64> = (0..40).map(|step| 800.0 + 10.0 * f64::from(step)).collect();
    let many = fitted(&alike, Family::Weibull);
    let band = AgeReplacement::band(&many, 1.0, 5.0, level).expect("costs");
    let best = policy(many.law(), 1.0, 5.0).best().expect("a best age");
    let (lower, upper) = (band.age.lower.expect("an end"), band.age.upper.expect("an end"));
    assert!(lower < best.age && best.age < upper && upper < 1.2 * lower, "{band:?}");
    assert!(band.saving[0] < best.saving && best.saving < band.saving[1], "{band:?}");
    near(band.with_best, 1.0, 0.0);

    let exponential = fitted(&alike, Family::Exponential);
    let band = AgeReplacement::band(&exponential, 1.0, 5.0, level).expect("costs");
    assert!(band.age.lower.is_none() && band.with_best < 1e-12);
}

#[test]
fn periodic_replacement_with_minimal_repair() {
    // Barlow & Hunter (1960), policy II: t* = η·(cp/(cm·(β − 1)))^(1/β). (The Python package `reliability` 0.9.0 swaps the
    // two costs here and prints 1618.64; it is no reference.)
    let (age, rate) = MinimalRepair::new(weibull(2.5, 1000.0), 1.0, 5.0).expect("costs").best().expect("a best age");
    near(age, 446.6583884, 1e-9);
    near(rate, 0.003731412439, 1e-9);
}

#[test]
fn the_renewal_function_of_a_weibull_law_agrees_with_the_tables() {
    // Tijms (2003), A First Course in Stochastic Models, table 8.1.1, for a mean of 1 and a squared coefficient of variation
    // of 0.25; digits beyond the printed four from the power series of Smith & Leadbetter at 160 digits. (The table prints
    // 0.4141 at 0.8, where the series gives 0.41405.)
    let law = weibull(2.101349095, 1.12906339);
    for (span, expected) in [
        (0.1, 0.006122577134),
        (0.2, 0.02608750774),
        (0.4, 0.1086552667),
        (0.6, 0.2422399656),
        (0.8, 0.4140488909),
        (1.0, 0.6090909878),
        (1.2, 0.814335609),
        (1.5, 1.123739096),
        (2.0, 1.626673159),
        (2.5, 2.124822157),
    ] {
        near(Renewals::over(&law, span).expect("a span").expected, expected, 1e-8);
    }
}

#[test]
fn the_best_block_lies_where_the_slope_of_the_cost_rate_is_nothing() {
    for (law, ratio) in [(weibull(2.5, 1000.0), 5.0), (weibull(2.5, 1000.0), 1000.0), (weibull(12.0, 3.0), 1.5)] {
        let policy = BlockReplacement::new(law, 1.0, ratio).expect("costs");
        let best = policy.best().expect("a best span");
        let rate = |factor: f64| policy.cost_rate(best.age * factor).expect("a span");
        // A parabola through three points has its bottom at the middle one, to a thousandth of their distance.
        let (below, above) = (rate(0.98), rate(1.02));
        let bottom = 0.02 * 0.5 * (below - above) / (below - 2.0 * best.cost_rate + above);
        assert!(best.cost_rate < below && best.cost_rate < above && bottom.abs() < 2e-3, "{law:?} {bottom}");
        // Replacing by age needs more to be known, and is never dearer.
        let by_age = AgeReplacement::new(law, 1.0, ratio).expect("costs").best().expect("a best age");
        assert!(by_age.cost_rate < best.cost_rate);
    }
    // Barlow & Proschan (1965): long blocks gain only if cp/cf < (1 − cv²)/2, which is 0.38 here; and a law this wide has
    // no early dip either.
    assert_eq!(BlockReplacement::new(weibull(2.101349095, 1.0), 0.95, 1.0).expect("costs").best(), None);
}

#[test]
fn a_fault_with_a_fixed_delay_is_seen_as_often_as_looks_fall_into_it() {
    let looks = |sees| Looks::new(Delay::Span(30.0), sees).expect("looks");
    // By hand. Perfect looks: 30/40 of the faults; all at 30 and below.
    near(looks(1.0).chance(40.0).expect("a chance"), 0.75, 1e-12);
    near(looks(1.0).chance(20.0).expect("a chance"), 1.0, 1e-12);
    near(looks(1.0).longest(0.75).expect("an interval"), 40.0, 1e-12);
    // Looks that miss one in two: in 30 fall one or two looks 20 apart, half of the time each: ½·½ + ½·¾.
    near(looks(0.5).chance(20.0).expect("a chance"), 0.625, 1e-12);
    near(looks(0.5).longest(0.625).expect("an interval"), 20.0, 1e-12);
    // Three looks miss with 1/8.
    near(looks(0.5).longest(0.875).expect("an interval"), 10.0, 1e-12);
}

#[test]
fn a_fault_with_an_exponential_delay_is_seen_as_the_closed_form_says() {
    // (1/x)·(1 − e^−x)·p/(1 − q·e^−x) with x = T/mean: the sum of the geometric series, by hand.
    let delay = Delay::Law(Law::exponential(50.0).expect("a law"));
    for (interval, sees) in [(20.0, 1.0), (20.0, 0.6), (200.0, 0.01), (0.1, 0.3)] {
        let looks = Looks::new(delay, sees).expect("looks");
        let x: f64 = interval / 50.0;
        let expected = -(-x).exp_m1() / x * sees / (1.0 - (1.0 - sees) * (-x).exp());
        let found = looks.chance(interval).expect("a chance");
        near(found, expected, 1e-12);
        near(looks.longest(found).expect("an interval"), interval, 1e-9);
    }
}

#[test]
fn the_cheapest_looks_for_signs_lie_where_the_slope_of_the_cost_rate_is_nothing() {
    let best = |delay, sees| {
        let looks = Looks::new(delay, sees).expect("looks");
        LookCosts::new(looks, 0.002, 2.0, 20.0, 200.0).expect("costs").best().expect("an interval")
    };
    // Exponential delay of mean μ: the root of λ·(cf − cp)·μ·(1 − (1 + T/μ)·exp(−T/μ)) = cl, by hand; with mpmath.
    let exponential = best(Delay::Law(Law::exponential(40.0).expect("a law")), 1.0);
    near(exponential.age, 26.031_163_214_5, 1e-6);
    near(exponential.cost_rate, 0.212_209_880_966, 1e-10);
    near(exponential.saving, 0.469_475_297_6, 1e-9);
    // Weibull delay of shape 2 and mean 40: the cost rate by mpmath's quadrature, the root of its slope.
    let rayleigh = best(Delay::Law(weibull(2.0, 40.0 / (0.5 * std::f64::consts::PI.sqrt()))), 1.0);
    near(rayleigh.age, 27.660_781_641_2, 1e-6);
    near(rayleigh.cost_rate, 0.152_718_540_843, 1e-10);
    // By hand: every fault is seen in time up to the delay, and one that is always the same is looked for as late.
    let fixed = best(Delay::Span(40.0), 1.0);
    near(fixed.age, 40.0, 1e-9);
    near(fixed.cost_rate, 2.0 / 40.0 + 0.002 * 20.0, 1e-9);
    // By hand: a look costs 0.002·180·40 = 14.4 at most to be worth it.
    let looks = Looks::new(Delay::Span(40.0), 1.0).expect("looks");
    let costs = |look| LookCosts::new(looks, 0.002, look, 20.0, 200.0).expect("costs");
    assert!(costs(14.3).best().is_some() && costs(14.5).best().is_none());
    assert!(LookCosts::new(looks, 0.002, 1.0, 200.0, 20.0).expect("costs").best().is_none());
    near(costs(1.0).cost_rate_without(), 0.4, 1e-12);
    assert!(LookCosts::new(looks, -1.0, 1.0, 1.0, 1.0).is_err());
}

#[test]
fn hidden_failures_of_an_exponential_law_are_looked_for_at_the_root() {
    // By hand: mean 1, a failure costs 1 per unit of time and its repair nothing: the best interval is 1 if a look costs
    // 1 − 2/e = 0.26424111765711533, and the cost rate there is c1 + 1 − (1 − 1/e) = 1 − 1/e.
    let law = Law::exponential(1.0).expect("a law");
    let best = HiddenFailure::new(law, 1.0 - 2.0 / std::f64::consts::E, 1.0, 0.0).expect("costs").best();
    let best = best.expect("a best interval");
    near(best.age, 1.0, 1e-12);
    near(best.cost_rate, 1.0 - 1.0 / std::f64::consts::E, 1e-12);
    assert_eq!(HiddenFailure::new(law, 0.6, 1.0, 0.5).expect("costs").best(), None, "looks cost more than they save");
}

#[test]
fn the_search_over_intervals_finds_the_root_that_the_closed_form_has() {
    for look in [1e-6, 0.001, 0.1, 0.5] {
        let of = |law| HiddenFailure::new(law, look, 1.0, 0.2).expect("costs").best().expect("a best interval");
        let (closed, searched) = (of(Law::exponential(3.0).expect("a law")), of(weibull(1.0, 3.0)));
        near(searched.cost_rate, closed.cost_rate, 1e-9);
        near(searched.age, closed.age, 1e-5);
    }
}

#[test]
fn no_interval_between_looks_is_cheaper_than_the_best() {
    // Lives that differ little make many dips: looks just after one life, half a life, a third …
    let laws =
        [weibull(60.0, 100.0), weibull(3.0, 100.0), weibull(0.6, 100.0), Law::lognormal(4.6, 0.05).expect("a law")];
    for law in laws {
        for look in [0.01, 1.0, 20.0] {
            let policy = HiddenFailure::new(law, look, 10.0, 5.0).expect("costs");
            let best = policy.best().expect("a best interval");
            for step in 0..4000 {
                let interval = (0.003 * f64::from(step) - 3.0).exp();
                let rate = policy.cost_rate(interval).expect("an interval");
                assert!(best.cost_rate * (1.0 - 1e-6) <= rate, "{law:?} {look} {best:?}: {rate} at {interval}");
            }
        }
    }
}

#[test]
fn parts_that_fail_at_about_one_age_are_looked_at_just_after() {
    let best = HiddenFailure::new(weibull(60.0, 100.0), 20.0, 10.0, 0.0).expect("costs").best().expect("an interval");
    assert!(100.0 < best.age && best.age < 110.0, "{best:?}");
}

#[test]
fn nonsense_is_refused_with_its_value() {
    let law = weibull(2.0, 1.0);
    let refused = AgeReplacement::new(law, -1.0, 5.0).unwrap_err();
    assert_eq!(refused, Error::NotPositive { what: "the cost of a planned replacement", got: -1.0 });
    assert!(AgeReplacement::new(law, 1.0, f64::NAN).is_err());
    assert!(policy(law, 1.0, 5.0).cost_rate(0.0).is_err());
    assert!(policy(law, 1.0, 5.0).within(f64::NAN).is_err());
    assert!(Renewals::over(&law, f64::INFINITY).is_err());
    assert!(Looks::new(Delay::Span(-1.0), 1.0).is_err());
    assert!(Looks::new(Delay::Law(law), 0.0).is_err());
    assert!(Looks::new(Delay::Law(law), 0.5).expect("looks").longest(1.0).is_err());
    assert!(HiddenFailure::new(law, 1.0, 1.0, -0.1).is_err());
}

#[test]
fn extreme_laws_and_costs_are_answered_with_numbers_too() {
    let spreads: [f64; 7] = [0.0005, 0.02, 0.3, 0.9999, 1.0, 3.0, 50.0];
    let laws = spreads.into_iter().flat_map(|spread| {
        let lognormal = Law::lognormal(-3.0, spread.min(8.0)).expect("a law");
        [weibull(1.0 / spread, 1e-5), weibull(1.0 / spread, 1e7), lognormal]
    });
    for law in laws {
        for ratio in [1.0 + 1e-9, 1.001, 3.0, 1e9] {
            let policy = policy(law, 1.0, ratio);
            if let Some(best) = policy.best() {
                assert!(0.0 < best.age && best.age.is_finite() && 0.0 < best.cost_rate, "{law:?} {ratio} {best:?}");
                for factor in [0.99, 1.01] {
                    let beside = policy.cost_rate(best.age * factor).expect("an age");
                    assert!(best.cost_rate * (1.0 - 1e-12) <= beside, "{law:?} {ratio} {best:?}");
                }
                let range = policy.within(0.1).expect("a share").expect("a best age");
                assert!(range.holds(best.age), "{law:?} {ratio} {range:?}");
            }
        }
        for sees in [0.02, 0.5, 1.0] {
            let looks = Looks::new(Delay::Law(law), sees).expect("looks");
            let interval = looks.longest(0.9).expect("an interval");
            assert!((0.0..f64::INFINITY).contains(&interval), "{law:?} {sees} {interval}");
        }
    }
}
