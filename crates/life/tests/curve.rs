//! Curves without a law, against published data sets.
//!
//! Where ten digits are given they were worked out independently and agree with the general-purpose packages named.

mod published;

use life::{CurvePoint, End, Fall, Level, Life, curve, median, median_between, plot_positions, turnbull};
use published::PATIENTS;

fn life(end: End) -> Life {
    Life::new(end).unwrap()
}

fn lives(failed: &[f64], good: &[f64]) -> Vec<Life> {
    let failed = failed.iter().map(|&age| life(End::Failed(age)));
    failed.chain(good.iter().map(|&age| life(End::Good(age)))).collect()
}

fn points(lives: &[Life]) -> Vec<CurvePoint> {
    curve(lives, Level::new(0.95).unwrap()).unwrap()
}

#[track_caller]
fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-9 * expected.abs(), "{found} not {expected}");
}

/// Freireich et al. (1963), Blood 21: 699–716: weeks in remission of the group treated.
fn remissions() -> Vec<Life> {
    lives(
        &[6.0, 6.0, 6.0, 7.0, 10.0, 13.0, 16.0, 22.0, 23.0],
        &[6.0, 9.0, 10.0, 11.0, 17.0, 19.0, 20.0, 25.0, 32.0, 32.0, 34.0, 35.0],
    )
}

/// Klein & Moeschberger (2003), tables 4.1A and 4.2, print from memory S 0.857 0.807 0.753 0.690 0.627 0.538 0.448. To ten
/// digits by the lifelines package, ties not smoothed.
#[test]
fn remissions_of_the_acute_leukemia_trial() {
    // Age, at risk, failures, S, its variance, H, its variance.
    let expected = [
        (6.0, 21.0, 3.0, 0.8571428571, 0.00583090379, 0.1428571429, 0.006802721088),
        (7.0, 17.0, 1.0, 0.8067226891, 0.007557743809, 0.2016806723, 0.0102629287),
        (10.0, 15.0, 1.0, 0.7529411765, 0.009283255632, 0.2683473389, 0.01470737315),
        (13.0, 12.0, 1.0, 0.6901960784, 0.0114093818, 0.3516806723, 0.02165181759),
        (16.0, 11.0, 1.0, 0.6274509804, 0.01300828418, 0.4425897632, 0.0299162804),
        (22.0, 7.0, 1.0, 0.5378151261, 0.01644389507, 0.585446906, 0.05032444367),
        (23.0, 6.0, 1.0, 0.4481792717, 0.01811486023, 0.7521135727, 0.07810222144),
    ];
    let points = points(&remissions());
    assert_eq!(points.len(), expected.len());
    for (point, (time, at_risk, failures, survival, variance, hazard, hazard_variance)) in points.iter().zip(expected) {
        near(point.time, time);
        near(point.at_risk, at_risk);
        near(point.failures, failures);
        near(point.survival, survival);
        near(point.std_error.unwrap().powi(2), variance);
        near(point.cumulative_hazard, hazard);
        near(point.cumulative_hazard_std_error.powi(2), hazard_variance);
    }
    let at_13 = &points[3];
    near(at_13.lower.unwrap(), 0.4316102225);
    near(at_13.upper.unwrap(), 0.8490659633);
    let [lower, upper] = at_13.plain_bounds(Level::new(0.95).unwrap()).unwrap();
    near(lower, 0.4808430982);
    near(upper, 0.8995490587);
    assert_eq!(median(&points), Some(23.0));
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 8.2.1.5: twenty units, some removed between failures.
#[test]
fn the_handbooks_units_withdrawn_between_failures() {
    let mut lives = lives(&[10.0, 32.0, 56.0, 98.0, 122.0, 181.0], &[50.0, 100.0, 125.0, 150.0]);
    lives.push(life(End::Good(200.0)).times(10.0).unwrap());
    let expected = [
        (20.0, 0.95, 0.04873397172, 0.05),
        (19.0, 0.9, 0.06708203932, 0.1026315789),
        (17.0, 0.8470588235, 0.08138831992, 0.1614551084),
        (16.0, 0.7941176471, 0.09192127978, 0.2239551084),
        (14.0, 0.737394958, 0.1013568034, 0.2953836798),
        (11.0, 0.6703590527, 0.1121406859, 0.3862927707),
    ];
    let points = points(&lives);
    assert_eq!(points.len(), expected.len());
    for (point, (at_risk, survival, error, hazard)) in points.iter().zip(expected) {
        assert!((point.at_risk - at_risk).abs() < 1e-12);
        near(point.survival, survival);
        near(point.std_error.unwrap(), error);
        near(point.cumulative_hazard, hazard);
    }
    assert_eq!(median(&points), None);
    // Each stands in the middle of its step.
    let positions = plot_positions(&lives).unwrap();
    near(positions[0].failed, 0.025);
    near(positions[1].failed, 0.075);
    near(positions[5].failed, 1.0 - 0.5 * (0.737394958 + 0.6703590527));
}

fn patients() -> Vec<Life> {
    let life = |&(entry, followed, died): &(f64, f64, bool)| {
        let age = entry + followed;
        life(if died { End::Failed(age) } else { End::Good(age) }).entered_at(entry).unwrap()
    };
    PATIENTS.iter().map(life).collect()
}

/// Klein & Moeschberger (2003), section 4.6, method; to ten digits by the lifelines package and statsmodels' SurvfuncRight.
#[test]
fn patients_who_came_at_different_ages_are_at_risk_from_then_on() {
    let expected = [
        (47.0, 21.0, 1.0, 0.9523809524, 0.04647143205, 0.04761904762),
        (50.0, 22.0, 1.0, 0.9090909091, 0.06129089659, 0.09307359307),
        (52.0, 21.0, 1.0, 0.8658008658, 0.07205630983, 0.1406926407),
        (57.0, 21.0, 2.0, 0.7833436405, 0.08559239427, 0.2359307359),
        (59.0, 18.0, 2.0, 0.6963054582, 0.09568408253, 0.347041847),
        (61.0, 16.0, 2.0, 0.6092672759, 0.1016069944, 0.472041847),
        (63.0, 11.0, 1.0, 0.5538793418, 0.1064008749, 0.562950938),
        (67.0, 8.0, 1.0, 0.484644424, 0.1134109437, 0.687950938),
        (69.0, 5.0, 2.0, 0.2907866544, 0.126113384, 1.087950938),
    ];
    let points = points(&patients());
    for (point, (time, at_risk, failures, survival, error, hazard)) in points.iter().zip(expected) {
        near(point.time, time);
        near(point.at_risk, at_risk);
        near(point.failures, failures);
        near(point.survival, survival);
        near(point.std_error.unwrap(), error);
        near(point.cumulative_hazard, hazard);
    }
    let last = points.last().unwrap();
    assert_eq!((points.len(), last.survival, last.std_error), (10, 0.0, None));
    near(last.cumulative_hazard, 2.087950938);
}

#[test]
fn where_every_age_is_known_the_curve_between_looks_is_that_of_kaplan_and_meier() {
    for lives in [remissions(), patients()] {
        let (falls, points) = (turnbull(&lives).unwrap(), points(&lives));
        assert_eq!(falls.len(), points.len());
        for (fall, point) in falls.iter().zip(&points) {
            assert_eq!((fall.from, fall.to), (point.time, point.time));
            assert!((fall.survival - point.survival).abs() < 1e-12, "{fall:?} {point:?}");
        }
        let between = median_between(&falls).unwrap();
        assert_eq!(Some(between[1]), median(&points));
    }
}

/// Finkelstein & Wolfe (1985), Biometrics 41: 933–945: months to a sign seen at visits, group of one treatment; data and the
/// published falls (Klein & Moeschberger (2003), section 5.2) from memory.
#[test]
fn a_sign_seen_at_visits() {
    let between = [
        (6.0, 10.0),
        (0.0, 7.0),
        (7.0, 16.0),
        (7.0, 14.0),
        (37.0, 44.0),
        (0.0, 8.0),
        (4.0, 11.0),
        (11.0, 15.0),
        (25.0, 37.0),
        (26.0, 40.0),
        (27.0, 34.0),
        (36.0, 44.0),
        (36.0, 48.0),
        (17.0, 25.0),
        (11.0, 18.0),
        (5.0, 12.0),
        (0.0, 5.0),
        (5.0, 11.0),
        (19.0, 35.0),
        (17.0, 25.0),
        (19.0, 26.0),
    ];
    let good = [
        45.0, 46.0, 46.0, 17.0, 15.0, 22.0, 46.0, 46.0, 46.0, 46.0, 46.0, 37.0, 40.0, 46.0, 38.0, 37.0, 18.0, 24.0,
        36.0, 24.0, 32.0, 33.0, 37.0, 34.0, 36.0,
    ];
    let mut lives = lives(&[], &good);
    lives.extend(between.map(|(from, to)| life(End::Between(from, to))));
    assert_eq!(lives.len(), 46);
    let expected = [
        (4.0, 5.0, 0.0463),
        (6.0, 7.0, 0.0334),
        (7.0, 8.0, 0.0887),
        (11.0, 12.0, 0.0708),
        (24.0, 25.0, 0.0926),
        (33.0, 34.0, 0.0818),
        (38.0, 40.0, 0.1209),
        (46.0, 48.0, 0.4656),
    ];
    let falls = turnbull(&lives).unwrap();
    assert_eq!(falls.len(), expected.len(), "{falls:?}");
    for (fall, (from, to, chance)) in falls.iter().zip(expected) {
        assert_eq!((fall.from, fall.to), (from, to));
        assert!((fall.chance - chance).abs() <= 0.00005 + 1e-9, "{fall:?} not {chance}");
    }
}

/// The log-likelihood of a curve, by its falls, of lives that entered late and ended between looks.
fn log_likelihood(lives: &[Life], falls: &[(f64, f64, f64)]) -> f64 {
    let after = |age: f64| falls.iter().filter(|fall| age <= fall.0).map(|fall| fall.2).sum::<f64>();
    let of = |life: &Life| {
        let chance = match life.end() {
            End::Between(from, to) => after(from) - after(to),
            end => after(end.last()),
        };
        life.count() * (chance.ln() - after(life.entry()).ln())
    };
    lives.iter().map(of).sum()
}

#[test]
fn no_curve_near_the_one_found_is_more_likely_with_late_entry_too() {
    // Invented: four lives entered late.
    let late = |entry: f64, end| life(end).entered_at(entry).unwrap();
    let lives = [
        late(0.0, End::Between(1.0, 4.0)),
        late(0.0, End::Between(2.0, 6.0)),
        late(3.0, End::Between(5.0, 9.0)),
        late(5.0, End::Between(5.0, 7.0)),
        late(6.0, End::Between(8.0, 12.0)),
        late(2.0, End::Good(10.0)),
        late(0.0, End::Good(3.0)),
        late(0.0, End::Between(9.0, 14.0)),
    ];
    let falls: Vec<(f64, f64, f64)> =
        turnbull(&lives).unwrap().iter().map(|fall| (fall.from, fall.to, fall.chance)).collect();
    assert!(3 <= falls.len(), "{falls:?}");
    let rest = 1.0 - falls.iter().map(|fall| fall.2).sum::<f64>();
    let with_rest = |falls: &[(f64, f64, f64)], rest: f64| {
        let mut all = falls.to_vec();
        all.push((1e9, 1e9, rest));
        log_likelihood(&lives, &all)
    };
    let best = with_rest(&falls, rest);
    for one in 0..falls.len() {
        for other in 0..falls.len() {
            let step = 1e-3 * falls[one].2;
            let mut moved = falls.clone();
            moved[one].2 -= step;
            moved[other].2 += step;
            assert!(with_rest(&moved, rest) <= best + 1e-9, "{falls:?}: {one} to {other}");
        }
    }
}

/// A small generator of its own (Marsaglia (2003), xorshift), so that the sets are the same on every machine.
struct Random(u64);

impl Random {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }
}

/// Lives looked at now and then, some entered late, some suspended, some with their age of failure known.
fn looked_at(random: &mut Random, size: usize) -> Vec<Life> {
    let mut lives = Vec::new();
    while lives.len() < size {
        let (age, entry) =
            (100.0 * random.next().powi(2), if random.next() < 0.3 { 40.0 * random.next() } else { 0.0 });
        let (step, offset) = (3.0 + 30.0 * random.next(), random.next());
        let look = ((age / step - offset).floor() + offset).max(0.0) * step;
        let end = match random.next() {
            chance if chance < 0.25 => End::Good(age),
            chance if chance < 0.4 => End::Failed(age),
            _ => End::Between(look, look + step),
        };
        lives.extend(Life::new(end).and_then(|life| life.entered_at(entry)));
    }
    lives
}

#[test]
fn the_curve_between_looks_is_found_for_lives_of_every_kind() {
    let mut random = Random(0x5eed_4321_dcba_10fe);
    for set in 0..100 {
        let lives = looked_at(&mut random, 1 + set % 50);
        let falls = turnbull(&lives).unwrap();
        let chances: f64 = falls.iter().map(|fall| fall.chance).sum();
        assert!(falls.iter().all(|fall| fall.from <= fall.to && 0.0 < fall.chance), "{falls:?}");
        assert!(falls.windows(2).all(|pair| pair[0].to <= pair[1].from), "{falls:?}");
        // All but empty cells, each below 1e-5, is told.
        let left = falls.last().map_or(1.0, |fall| fall.survival);
        assert!((chances + left - 1.0).abs() < 1e-3, "{falls:?}");
    }
}

/// Gentleman & Geyer (1994), Biometrika 81: 618–623: a curve is the best exactly if at no age Σ 1/chance of the intervals
/// that hold it is above the number of lives, and nowhere that it falls below it.
#[test]
fn the_curve_of_a_thousand_intervals_meets_the_conditions_of_the_best() {
    let mut random = Random(0x5eed_7e57);
    let mut lives = Vec::new();
    while lives.len() < 1000 {
        let (age, step, offset) = (100.0 * random.next().powi(2), 3.0 + 30.0 * random.next(), random.next());
        let look = ((age / step - offset).floor() + offset).max(0.0) * step;
        let end = if random.next() < 0.2 { End::Good(look + step) } else { End::Between(look, look + step) };
        lives.extend(Life::new(end));
    }
    let falls = turnbull(&lives).unwrap();
    let interval = |life: &Life| match life.end() {
        End::Good(age) => (age, f64::INFINITY),
        end => (end.known_good(), end.last()),
    };
    let holds = |(from, to): (f64, f64), fall: &Fall| from <= fall.from && fall.to <= to;
    let beyond = falls.last().unwrap().survival;
    let chance = |inner: (f64, f64)| {
        let within = falls.iter().filter(|fall| holds(inner, fall)).map(|fall| fall.chance).sum::<f64>();
        within + if inner.1.is_infinite() { beyond } else { 0.0 }
    };
    let known: Vec<((f64, f64), f64)> = lives.iter().map(interval).map(|inner| (inner, chance(inner))).collect();
    for fall in &falls {
        let sum: f64 = known.iter().filter(|(inner, _)| holds(*inner, fall)).map(|(_, chance)| 1.0 / chance).sum();
        assert!((sum / 1000.0 - 1.0).abs() < 1e-4, "{fall:?}: {sum}");
    }
    for place in 0..4000 {
        let age = f64::from(place) / 30.0;
        let sum: f64 =
            known.iter().filter(|((from, to), _)| *from < age && age <= *to).map(|(_, chance)| 1.0 / chance).sum();
        assert!(sum < 1000.0 * (1.0 + 1e-4), "{age}: {sum}");
    }
}
