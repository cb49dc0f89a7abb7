//! The forecast against exact laws of passage, and the laws that it must keep whatever the use.

use proptest::prelude::*;

use super::days;
use super::pace::Pace;
use super::passage::{Left, Passage};

/// The pace of a machine whose runs of each day are known, the last of them today's.
fn recorded(daily: &[f64]) -> Pace {
    let (today, past) = daily.split_last().expect("a day");
    Pace::of_weeks(past, *today, &[], None)
}

/// Draws of one day each, equally likely.
fn days_drawn_from(daily: Vec<f64>) -> Pace {
    let chances = vec![1.0 / daily.len() as f64; daily.len()];
    Pace {
        cycle: 1,
        own_blocks: daily.len(),
        own_chance: 1.0,
        chances,
        daily,
        level_spread: 0.0,
        booked_today: 0.0,
        known: Vec::new(),
        ratio_doubt: 0.0,
    }
}

/// The middles of `n` equal shares of the law with the rising distribution function `cdf`, found by halving in 0 to `top`.
fn shares(n: u32, top: f64, cdf: impl Fn(f64) -> f64) -> Vec<f64> {
    let share = |index: u32| {
        let chance = (f64::from(index) + 0.5) / f64::from(n);
        let (mut low, mut high) = (0.0, top);
        for _ in 0..60 {
            let middle = f64::midpoint(low, high);
            if cdf(middle) < chance { low = middle } else { high = middle }
        }
        high
    };
    (0..n).map(share).collect()
}

#[track_caller]
fn check_law(daily: Vec<f64>, limit: f64, bins: f64, law: impl Fn(usize) -> f64, tolerance: f64) {
    let pace = days_drawn_from(daily);
    let passage = Passage::with_bins(&pace, &[Left::metered(limit)], 1.0 - 1e-6, 400, bins);
    for day in 1..200 {
        let (got, expected) = (passage.chance(Left::metered(limit), day), law(day));
        assert!((got - expected).abs() < tolerance, "day {day}: {got}, not {expected}");
    }
}

/// Gamma-distributed days of shape 0.5 and scale 2: mean 1 a day, standard deviation 1.4.
fn gamma_days() -> Vec<f64> {
    // P(X < x) is the chance that a gamma process has not passed x by time 1.
    shares(2000, 100.0, |x| life::Gamma::of_passage(x, 0.5, 2.0).map_or(0.0, |law| 1.0 - law.cdf(1.0)))
}

#[test]
fn gamma_distributed_days_pass_when_the_gamma_process_does() {
    // van Noortwijk (2009): P(T ≤ n) = Q(a·n, D/b). The bin is h = 1/4 here, D/128 or less; it moves the threshold by up to h,
    // against a standard deviation of the sum near passage of √(40·2) = 8.9, so chances by up to 0.4·h/8.9 = 0.0112.
    let law = life::Gamma::of_passage(40.0, 0.5, 2.0).expect("positive");
    check_law(gamma_days(), 40.0, 128.0, |day| law.cdf(day as f64), 0.0112);
}

#[test]
fn the_gamma_process_is_met_more_closely_with_smaller_bins() {
    // h = 1/52: 0.4·h/8.9 = 0.0009, and 2000 shares instead of the whole law miss 0.3 % of its variance: another 0.0004.
    let law = life::Gamma::of_passage(40.0, 0.5, 2.0).expect("positive");
    check_law(gamma_days(), 40.0, 2048.0, |day| law.cdf(day as f64), 0.0013);
}

#[test]
fn steady_days_pass_as_brownian_motion_does() {
    // Normal days, 10 ± 2, limit 1000. The motion may pass and come back within its wandering, which use can't; that is
    // the law's second term, at most 1/(b√2π) with b = 2·1000/(2·√100) = 100 at the median, less than 0.008 on all days
    // that matter. The bin, 10/21, moves chances by up to 0.4·(10/21)/20 = 0.0095.
    let normal = |x: f64| 0.5 * erfc((10.0 - x) / (2.0 * std::f64::consts::SQRT_2));
    let law = life::InverseGaussian::of_passage(1000.0, 10.0, 2.0).expect("positive");
    check_law(shares(2000, 20.0, normal), 1000.0, 2048.0, |day| law.cdf(day as f64), 0.0175);
}

/// Abramowitz & Stegun (1964), 7.1.26: good to 1.5e-7, enough for shares that are 5e-4 apart.
fn erfc(x: f64) -> f64 {
    if x < 0.0 {
        return 2.0 - erfc(-x);
    }
    let t = 1.0 / (1.0 + 0.327_591_1 * x);
    let sum = [1.061_405_429, -1.453_152_027, 1.421_413_741, -0.284_496_736, 0.254_829_592];
    sum.iter().fold(0.0, |sum, term| sum * t + term) * t * (-x * x).exp()
}

#[test]
fn the_same_use_every_day_is_exact_to_the_day() {
    for (limit, day) in [(50.0, 10), (50.1, 11), (49.9, 10), (4.9, 1), (5.0, 1), (1000.0, 200), (1001.0, 201)] {
        let pace = days_drawn_from(vec![5.0]);
        let passage = Passage::new(&pace, &[Left::metered(limit)], 0.9, 731);
        let days = days(&passage, Left::metered(limit)).expect("within two years");
        assert_eq!((days.early, days.median, days.late), (day, Some(day), Some(day)), "limit {limit}");
    }
}

#[test]
fn what_an_hour_asks_moves_the_day_of_steady_use_as_its_law_says() {
    // Steady use of 5 a day by a ratio with the factor f: 100 are left and C were estimated by the same ratio, so that the day is
    // passed when f·(C + 5n) ≥ 100 + C. f is lognormal, mean 1, relative standard deviation δ = 0.3: σ² = ln(1 + δ²).
    let sigma = 0.09_f64.ln_1p().sqrt();
    for estimated in [0.0, 50.0, 400.0] {
        let pace = Pace { ratio_doubt: 0.3, ..days_drawn_from(vec![5.0]) };
        let left = Left { remaining: 100.0, estimated };
        let passage = Passage::new(&pace, &[left], 1.0 - 1e-6, 200);
        for n in 1..120_u32 {
            let needed = (100.0 + estimated) / (estimated + 5.0 * f64::from(n));
            let law = 0.5 * erfc((needed.ln() / sigma + sigma / 2.0) / std::f64::consts::SQRT_2);
            // 16 equally likely values stand for the law: a step is 1/16, its middle on the law. The scores' widening by 4 % moves
            // it by at most 0.04·max zφ(z) = 0.01.
            let got = passage.chance(left, n as usize);
            assert!((got - law).abs() < 1.0 / 32.0 + 0.01, "C = {estimated}, day {n}: {got}, not {law}");
        }
    }
}

#[test]
fn a_level_and_a_ratio_that_are_not_known_add_up_as_independent_variances() {
    // JCGM 100:2008, 5.1.6: of a product of uncorrelated factors the relative variances add up; to second order
    // (1 + τ²)(1 + δ²) − 1. The day of steady use varies as 1/(f·l): for lognormal factors its relative variance is the same.
    let (level, ratio) = (0.2_f64, 0.15_f64);
    let pace = Pace { ratio_doubt: ratio, level_spread: level, ..days_drawn_from(vec![1.0]) };
    let left = Left::metered(1000.0);
    let passage = Passage::with_bins(&pace, &[left], 1.0 - 1e-6, 4000, 128.0);
    let chances: Vec<f64> = (0..4000).map(|day| passage.chance(left, day)).collect();
    let moment = |power: i32| -> f64 {
        chances.windows(2).zip(1..).map(|(pair, day)| (pair[1] - pair[0]) * f64::from(day).powi(power)).sum()
    };
    let variance = moment(2) / moment(1).powi(2) - 1.0;
    let expected = (1.0 + level * level) * (1.0 + ratio * ratio) - 1.0;
    // 16 values for two lognormal tails: a twentieth.
    assert!((variance / expected - 1.0).abs() < 0.05, "{variance}, not {expected}");
}

#[test]
fn a_queued_run_that_uses_the_limit_up_makes_its_day_certain() {
    let mut pace = days_drawn_from(vec![0.0, 0.0, 1.0]);
    pace.expect(&[(3, 60.0)]);
    let passage = Passage::new(&pace, &[Left::metered(50.0)], 0.9, 731);
    let days = days(&passage, Left::metered(50.0)).expect("within two years");
    assert_eq!((days.early, days.median, days.late), (4, Some(4), Some(4)));
}

#[test]
fn a_queued_run_smaller_than_its_day_is_not_counted_twice() {
    let (mut queued, plain) = (days_drawn_from(vec![4.0, 6.0]), days_drawn_from(vec![4.0, 6.0]));
    queued.expect(&[(2, 3.0)]);
    assert!(queued.known.iter().all(Option::is_none));
    let median = |pace: &Pace| Passage::new(pace, &[Left::metered(50.0)], 0.9, 731).first_day(Left::metered(50.0), 0.5);
    assert_eq!(median(&queued), median(&plain));
}

/// A year's half of weeks with idle days, in 0 to 10 a day.
fn weeks() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec(prop_oneof![1 => Just(0.0), 2 => 0.0..10.0_f64], 29..190)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn the_days_are_in_order_and_the_chance_never_falls(daily in weeks(), limit in 1.0..500.0_f64) {
        let pace = recorded(&daily);
        let passage = Passage::new(&pace, &[Left::metered(limit)], 0.9, 731);
        for day in 1..120 {
            prop_assert!(passage.chance(Left::metered(limit), day - 1) <= passage.chance(Left::metered(limit), day) + 1e-9);
        }
        if let Some(days) = days(&passage, Left::metered(limit)) {
            prop_assert!(days.median.is_none_or(|median| days.early <= median));
            prop_assert!(days.late.is_none_or(|late| days.median.is_some_and(|median| median <= late)));
        }
    }

    #[test]
    fn halving_the_bin_moves_no_day_by_more_than_one(daily in weeks(), limit in 1.0..500.0_f64) {
        let pace = recorded(&daily);
        let days_with = |bins| days(&Passage::with_bins(&pace, &[Left::metered(limit)], 0.9, 731, bins), Left::metered(limit));
        let (coarse, fine) = (days_with(128.0), days_with(256.0));
        prop_assert_eq!(coarse.is_some(), fine.is_some());
        if let (Some(coarse), Some(fine)) = (coarse, fine) {
            prop_assert!(coarse.early.abs_diff(fine.early) <= 1, "{coarse:?} {fine:?}");
            for (coarse, fine) in [(coarse.median, fine.median), (coarse.late, fine.late)] {
                if let (Some(coarse), Some(fine)) = (coarse, fine) {
                    prop_assert!(coarse.abs_diff(fine) <= 1, "{coarse} {fine}");
                }
            }
        }
    }

    #[test]
    fn queued_runs_beyond_every_draw_bring_all_days_forward(
        daily in weeks(), limit in 1.0..500.0_f64, on in 0..20_usize
    ) {
        let plain = Pace { level_spread: 0.0, ..recorded(&daily) };
        let mut queued = plain.clone();
        queued.expect(&[(on, 10.0)]);
        let days_of = |pace: &Pace| days(&Passage::new(pace, &[Left::metered(limit)], 0.9, 731), Left::metered(limit));
        if let (Some(plain), Some(queued)) = (days_of(&plain), days_of(&queued)) {
            // One day of slack: the two are worked out on different grids.
            prop_assert!(queued.early <= plain.early + 1);
            prop_assert!(plain.median.is_none_or(|plain| queued.median.is_some_and(|queued| queued <= plain + 1)));
        }
    }

    #[test]
    fn what_is_left_out_as_too_far_away_is_too_far_away(daily in weeks(), limit in 1.0..500.0_f64, n_days in 1..60_usize) {
        let pace = recorded(&daily);
        let chance = Passage::new(&pace, &[Left::metered(limit)], 0.9, 731).chance(Left::metered(limit), n_days);
        // The grid's spread adds a little to the true chance: 1e-3 covers h²/4 per week against the bound's slack.
        prop_assert!(chance <= pace.chance_bound(Left::metered(limit), n_days) + 1e-3);
    }
}
