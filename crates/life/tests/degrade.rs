//! Readings that drift, against closed forms and worked examples.

use life::{Crossing, Direction, Drift, DriftError, Error, GammaProcess, Reading};

#[track_caller]
fn near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= relative * expected.abs(), "{found} not {expected}");
}

fn unit(unit_index: usize, points: &[(f64, f64)]) -> Vec<Reading> {
    points.iter().map(|&(age, value)| Reading { unit_index, age, value }).collect()
}

/// A small generator of its own (Marsaglia (2003), xorshift), so that the readings are the same on every machine.
struct Random(u64);

impl Random {
    fn uniform(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// Box & Muller (1958).
    fn normal(&mut self) -> f64 {
        (-2.0 * self.uniform().ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }

    fn exponential(&mut self) -> f64 {
        -self.uniform().ln()
    }
}

/// Ages that every unit is read at.
const AGES: [f64; 6] = [100.0, 250.0, 300.0, 500.0, 750.0, 900.0];

/// Units whose intercepts and slopes differ, read at the same ages.
fn balanced(units: usize, noise: f64) -> Vec<Reading> {
    let mut random = Random(0x5eed_0042);
    let mut readings = Vec::new();
    for unit_index in 0..units {
        let (intercept, slope) = (10.0 + 2.0 * random.normal(), 0.05 + 0.02 * random.normal());
        for age in AGES {
            readings.push(Reading { unit_index, age, value: intercept + slope * age + noise * random.normal() });
        }
    }
    readings
}

/// Intercept and slope by least squares, and the squares left.
fn least_squares(readings: &[Reading]) -> ([f64; 2], f64) {
    let n = readings.len() as f64;
    let mean = |get: &dyn Fn(&Reading) -> f64| readings.iter().map(get).sum::<f64>() / n;
    let (age, value) = (mean(&|reading| reading.age), mean(&|reading| reading.value));
    let across: f64 = readings.iter().map(|reading| (reading.age - age) * (reading.value - value)).sum();
    let along: f64 = readings.iter().map(|reading| (reading.age - age).powi(2)).sum();
    let slope = across / along;
    let line = [value - slope * age, slope];
    (line, readings.iter().map(|reading| (reading.value - line[0] - slope * reading.age).powi(2)).sum())
}

#[test]
fn equal_designs_have_the_estimates_of_the_analysis_of_variance() {
    // With all units read at the same ages the restricted likelihood has a closed maximum: the mean of the units' own lines,
    // the pooled variance about them, and their sample covariance less what noise adds to it, s²·(XᵀX)⁻¹ (Laird & Ware
    // 1982; Searle, Casella & McCulloch (1992), Variance Components, section 4.8).
    let readings = balanced(8, 0.7);
    let lines: Vec<([f64; 2], f64)> = readings.chunks(AGES.len()).map(least_squares).collect();
    let n = lines.len() as f64;
    let noise: f64 = lines.iter().map(|line| line.1).sum::<f64>() / (n * (AGES.len() as f64 - 2.0));
    let mean = [0, 1].map(|k| lines.iter().map(|line| line.0[k]).sum::<f64>() / n);
    let sample = |j: usize, k: usize| {
        lines.iter().map(|line| (line.0[j] - mean[j]) * (line.0[k] - mean[k])).sum::<f64>() / (n - 1.0)
    };
    let (sum, squares) = (AGES.iter().sum::<f64>(), AGES.iter().map(|age| age * age).sum::<f64>());
    let size = AGES.len() as f64;
    let determinant = size * squares - sum * sum;
    let expected = [
        sample(0, 0) - noise * squares / determinant,
        sample(0, 1) + noise * sum / determinant,
        sample(1, 1) - noise * size / determinant,
    ];

    let drift = Drift::fit(&readings).expect("a fit");
    near(drift.noise(), noise.sqrt(), 1e-8);
    for (found, expected) in drift.mean().into_iter().zip(mean) {
        near(found, expected, 1e-9);
    }
    for (found, expected) in drift.covariance().into_iter().zip(expected) {
        near(found, expected, 1e-6);
    }
}

#[test]
fn the_fit_finds_the_law_that_uneven_readings_were_drawn_from() {
    let mut readings = balanced(400, 0.7);
    // A third goes missing, and of some units all but one.
    let mut random = Random(0x5eed_7777);
    readings.retain(|reading| random.uniform() < if reading.unit_index % 5 == 0 { 0.2 } else { 0.75 });
    let drift = Drift::fit(&readings).expect("a fit");
    // Four standard errors of a mean and of a standard deviation over some 350 units.
    assert!((drift.mean()[0] - 10.0).abs() < 4.0 * 2.0 / 350.0_f64.sqrt(), "{drift:?}");
    assert!((drift.mean()[1] - 0.05).abs() < 4.0 * 0.02 / 350.0_f64.sqrt(), "{drift:?}");
    near(drift.covariance()[0].sqrt(), 2.0, 4.0 / 700.0_f64.sqrt());
    near(drift.covariance()[2].sqrt(), 0.02, 4.0 / 700.0_f64.sqrt());
    near(drift.noise(), 0.7, 0.1);
}

#[test]
fn without_readings_of_its_own_a_unit_crosses_as_the_others_do() {
    // By hand: 10 + b·t ≥ 60 with b normal(0.05, 0.01): by 1000 with ½; by t with Φ((0.05·t − 50)/(0.01·t)).
    let drift = Drift::assumed((10.0, 0.0), (0.05, 0.01), 0.5).expect("a law");
    let crossing = drift.crossing(&[], Direction::Rising, 60.0).expect("a law");
    near(crossing.chance_by(1000.0), 0.5, 1e-12);
    // Φ(1) = 0.8413447460685429 where 0.05·t − 50 = 0.01·t; Φ(−1) where they add up to nothing.
    near(crossing.chance_by(1250.0), 0.841_344_746_068_542_9, 1e-12);
    near(crossing.chance_by(50.0 / 0.06), 0.158_655_253_931_457_1, 1e-12);
    near(crossing.quantile(0.5).expect("a chance").expect("an age"), 1000.0, 1e-12);
    // 1.2815515655446004 is the normal 90 % quantile.
    let ninety = 50.0 / (0.05 - 0.01 * 1.281_551_565_544_600_4);
    near(crossing.quantile(0.9).expect("a chance").expect("an age"), ninety, 1e-9);
}

#[test]
fn one_reading_moves_the_law_as_bayes_says() {
    // By hand: slope normal(0.05, 0.01²), intercept 0, noise 1; a reading of 8 at age 100 (expected 5): the variance of the
    // reading is 1 + 1, so the slope's mean moves by 0.01²·100/2·3 = 0.015 to 0.065 and its variance halves.
    let drift = Drift::assumed((0.0, 0.0), (0.05, 0.01), 1.0).expect("a law");
    let own = unit(7, &[(100.0, 8.0)]);
    let crossing = drift.crossing(&own, Direction::Rising, 13.0).expect("a law");
    near(crossing.now(), 100.0, 0.0);
    near(crossing.quantile(0.5).expect("a chance").expect("an age"), 200.0, 1e-12);
    // One standard deviation, 0.01/√2, more of slope.
    let early = 13.0 / (0.065 + 0.01 / 2.0_f64.sqrt());
    near(crossing.chance_by(early), 0.158_655_253_931_457_1, 1e-9);
}

#[test]
fn a_falling_reading_is_the_mirror_of_a_rising_one() {
    let rising = unit(0, &[(0.0, 1.0), (100.0, 2.2), (200.0, 2.9), (300.0, 4.1)]);
    let falling: Vec<Reading> = rising.iter().map(|reading| Reading { value: -reading.value, ..*reading }).collect();
    let up = Crossing::of_line(&rising, Direction::Rising, 8.0).expect("a law");
    let down = Crossing::of_line(&falling, Direction::Falling, -8.0).expect("a law");
    for chance in [0.1, 0.5, 0.9] {
        let ages = (up.quantile(chance).expect("a chance"), down.quantile(chance).expect("a chance"));
        near(ages.0.expect("an age"), ages.1.expect("an age"), 1e-12);
    }
}

#[test]
fn one_units_own_line_crosses_by_students_law() {
    // By hand: ages −1, 0, 1 about 101, values 0, 1, 5 about 2: slope 2.5, residuals ½, −1, ½, so s² = 1.5 on 1 degree of
    // freedom; the line's middle is 2 at age 101 with variance s²/3, the slope's variance is s²/2.
    let own = unit(3, &[(100.0, 0.0), (101.0, 1.0), (102.0, 5.0)]);
    let crossing = Crossing::of_line(&own, Direction::Rising, 12.0).expect("a law");
    near(crossing.quantile(0.5).expect("a chance").expect("an age"), 105.0, 1e-12);
    // At age 103: (2 + 5 − 12)/√(0.5 + 4·0.75) = −5/√3.5; Student's law with one degree of freedom is ½ + atan(t)/π.
    let expected = 0.5 - (5.0 / 3.5_f64.sqrt()).atan() / std::f64::consts::PI;
    near(crossing.chance_by(103.0), expected, 1e-12);
    // Its slope may be nothing or less: t = 2.5/√0.75 in the long run.
    let ever = 0.5 + (2.5 / 0.75_f64.sqrt()).atan() / std::f64::consts::PI;
    assert!(crossing.quantile(ever + 1e-6) == Ok(None), "with a greater chance than {ever} it is never reached");
    assert!(crossing.quantile(ever - 1e-3).expect("a chance").is_some());
}

#[test]
fn a_reading_that_goes_the_other_way_never_reaches_the_limit() {
    let own = unit(0, &[(0.0, 5.0), (10.0, 4.01), (20.0, 2.99), (30.0, 2.0)]);
    let crossing = Crossing::of_line(&own, Direction::Rising, 10.0).expect("a law");
    assert_eq!(crossing.quantile(0.5), Ok(None));
    let chances = [30.0, 100.0, 1e4, 1e8].map(|age| crossing.chance_by(age));
    assert!(chances.windows(2).all(|pair| pair[0] <= pair[1]) && chances[3] < 0.01, "{chances:?}");
}

#[test]
fn a_limit_that_is_passed_is_reached_now() {
    let own = unit(0, &[(0.0, 5.0), (10.0, 6.01), (20.0, 6.99), (30.0, 8.0)]);
    let crossing = Crossing::of_line(&own, Direction::Rising, 7.0).expect("a law");
    assert_eq!(crossing.quantile(0.5), Ok(Some(30.0)));
    assert!(0.99 < crossing.chance_by(30.0));
}

#[test]
fn a_unit_with_many_readings_goes_by_its_own_line() {
    let drift = Drift::fit(&balanced(8, 0.7)).expect("a fit");
    let points: Vec<(f64, f64)> = (0..2000).map(f64::from).map(|age| (age, 30.0 + 0.1 * age)).collect();
    let crossing = drift.crossing(&unit(0, &points), Direction::Rising, 330.0).expect("a law");
    near(crossing.quantile(0.5).expect("a chance").expect("an age"), 3000.0, 1e-3);
}

#[test]
fn readings_that_tell_nothing_are_refused_with_the_reason() {
    let fit = |readings: &[Reading]| Drift::fit(readings).unwrap_err();
    assert_eq!(fit(&unit(0, &[(0.0, 1.0), (1.0, 2.0), (2.0, 2.0)])), DriftError::TooFewUnits { found: 1, needed: 2 });
    let pairs = [unit(0, &[(0.0, 1.0), (1.0, 2.0)]), unit(1, &[(0.0, 1.0), (1.0, 2.0)])].concat();
    assert_eq!(fit(&pairs), DriftError::NoNoise { readings: 4, units: 2 });
    assert!(matches!(fit(&unit(0, &[(0.0, f64::NAN)])), DriftError::NotFinite { .. }));
    assert!(matches!(fit(&unit(0, &[(-1.0, 0.0)])), DriftError::Parameter(Error::OutOfRange { .. })));
    let line = |readings: &[Reading]| Crossing::of_line(readings, Direction::Rising, 9.0).unwrap_err();
    assert_eq!(line(&[]), DriftError::TooFewUnits { found: 0, needed: 1 });
    assert_eq!(line(&unit(0, &[(5.0, 1.0), (5.0, 2.0), (5.0, 2.0)])), DriftError::TooFewUnits { found: 0, needed: 1 });
    assert_eq!(line(&unit(0, &[(0.0, 1.0), (1.0, 2.0)])), DriftError::NoNoise { readings: 2, units: 1 });
    assert!(Drift::assumed((0.0, -1.0), (0.0, 1.0), 1.0).is_err());
    assert!(Drift::assumed((0.0, 1.0), (0.0, 1.0), 0.0).is_err());
}

#[test]
fn a_gamma_process_by_moments() {
    // By hand: steps of length 1 with growth 1 and 3: r = 2, b = 2/(4·(1 − ½)) = 1, a = 2.
    let readings = unit(0, &[(0.0, 0.0), (2.0, 4.0), (1.0, 1.0)]);
    let process = GammaProcess::by_moments(&readings, Direction::Rising).expect("a process");
    near(process.rate(), 2.0, 1e-12);
    near(process.scale(), 1.0, 1e-12);
    let mirrored: Vec<Reading> =
        readings.iter().map(|reading| Reading { value: 9.0 - reading.value, ..*reading }).collect();
    assert_eq!(GammaProcess::by_moments(&mirrored, Direction::Falling), Ok(process));
}

/// ln of the gamma density of each step, added up.
fn log_likelihood(readings: &[Reading], rate: f64, scale: f64) -> f64 {
    let step = |pair: &[Reading]| {
        let (shape, growth) = (rate * (pair[1].age - pair[0].age), pair[1].value - pair[0].value);
        (shape - 1.0) * growth.ln() - growth / scale - shape * scale.ln() - libm::lgamma(shape)
    };
    readings.windows(2).map(step).sum()
}

#[test]
fn a_gamma_process_by_likelihood_is_the_most_likely_one() {
    let readings = unit(0, &[(0.0, 0.0), (10.0, 1.3), (15.0, 1.4), (40.0, 5.0), (41.0, 5.05), (90.0, 9.0)]);
    let process = GammaProcess::by_likelihood(&readings, Direction::Rising).expect("a process");
    near(process.mean_growth(), 0.1, 1e-12);
    let best = log_likelihood(&readings, process.rate(), process.scale());
    for (rate, scale) in [(1.01, 1.0), (0.99, 1.0), (1.0, 1.01), (1.0, 0.99), (1.01, 0.99), (0.99, 1.01)] {
        assert!(log_likelihood(&readings, process.rate() * rate, process.scale() * scale) < best, "{rate} {scale}");
    }
}

#[test]
fn both_estimates_find_the_process_that_readings_were_drawn_from() {
    // Growth over a span of 4 with a rate of ½ is a sum of two exponentials, over 2 one.
    let (mut random, mut readings) = (Random(0x5eed_1234), Vec::new());
    for unit_index in 0..20 {
        let (mut age, mut value) = (0.0, 50.0);
        for step in 0..100 {
            readings.push(Reading { unit_index, age, value });
            let stages = 1 + step % 2;
            age += 2.0 * f64::from(stages);
            value -= 3.0 * (0..stages).map(|_| random.exponential()).sum::<f64>();
        }
    }
    for process in [
        GammaProcess::by_moments(&readings, Direction::Falling).expect("a process"),
        GammaProcess::by_likelihood(&readings, Direction::Falling).expect("a process"),
    ] {
        // 2000 steps: a standard error of about 3 %.
        near(process.rate(), 0.5, 0.1);
        near(process.scale(), 3.0, 0.1);
    }
}

#[test]
fn the_last_reading_is_all_that_a_gamma_process_remembers() {
    // van Noortwijk (2009): P(T ≤ t) = Q(a·t, D/b) with D what is left to the limit; by SciPy for a = 0.05, b = 2, D = 20.
    let process = GammaProcess::new(0.05, 2.0).expect("a process");
    let rising = process.remaining(15.0, Direction::Rising, 35.0).expect("a law");
    near(rising.cdf(200.0), 0.457_929_714_5, 1e-8);
    let falling = process.remaining(100.0, Direction::Falling, 80.0).expect("a law");
    for (chance, expected) in [(0.1, 131.496_877_3), (0.5, 206.627_066_7), (0.9, 292.796_793_5)] {
        near(falling.quantile(chance).expect("a chance"), expected, 1e-8);
    }
}

#[test]
fn what_is_no_gamma_process_is_refused_with_the_reason() {
    let likely = |points: &[(f64, f64)]| GammaProcess::by_likelihood(&unit(4, points), Direction::Rising).unwrap_err();
    let moments = |points: &[(f64, f64)]| GammaProcess::by_moments(&unit(4, points), Direction::Rising).unwrap_err();
    let back = DriftError::RunsBack { unit_index: 4, age: 2.0, from: 3.0, to: 1.0 };
    assert_eq!(likely(&[(0.0, 0.0), (1.0, 3.0), (2.0, 1.0)]), back);
    let still = [(0.0, 0.0), (1.0, 3.0), (2.0, 3.0)];
    assert_eq!(likely(&still), DriftError::StoodStill { unit_index: 4, age: 2.0 });
    assert!(GammaProcess::by_moments(&unit(4, &still), Direction::Rising).is_ok());
    let even = [(0.0, 0.0), (1.0, 3.0), (3.0, 9.0)];
    assert_eq!(likely(&even), DriftError::NoSpread { steps: 2 });
    assert_eq!(moments(&even), DriftError::NoSpread { steps: 2 });
    assert_eq!(moments(&[(0.0, 0.0), (1.0, 3.0)]), DriftError::NoSpread { steps: 1 });
    assert_eq!(moments(&[(0.0, 0.0), (1.0, 0.0), (3.0, 0.0)]), DriftError::NoSpread { steps: 2 });
    assert_eq!(likely(&[(0.0, 0.0), (0.0, 3.0), (3.0, 9.0)]), DriftError::SameAge { unit_index: 4, age: 0.0 });
    let past = GammaProcess::new(1.0, 1.0).expect("a process").remaining(5.0, Direction::Rising, 5.0).unwrap_err();
    assert_eq!(past, DriftError::PastLimit { value: 5.0, limit: 5.0 });
}
