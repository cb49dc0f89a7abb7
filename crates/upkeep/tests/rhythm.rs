//! The standing rhythm of a machine against a published problem, against plain enumeration, and against theorems.

use upkeep::rounds::rhythm::{NoRhythm, Recurring, Works};

/// A work of the classic form: its cost rate is a/t + h·t/2.
fn classic(doing: f64, holding: f64) -> Recurring {
    Recurring { doing, growth: 0.5 * holding, power: 2.0, most: f64::INFINITY }
}

#[track_caller]
fn close(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance * expected.abs(), "{got} is not {expected}");
}

/// The problem of joint replenishment in the form of Goyal (1974) and Silver (1976), with numbers of our own. The expected values
/// are from an independent program that tries all multiples from 1 to 12.
#[test]
fn the_joint_replenishment_of_four_items_is_solved_exactly() {
    let works = [classic(10.0, 900.0), classic(6.0, 300.0), classic(15.0, 120.0), classic(4.0, 40.0)];
    let best = Works::new(40.0, &works).unwrap().best();
    close(best.cost_rate, 446.228_640_9, 1e-8);
    assert_eq!(best.every, [1, 1, 2, 2]);
    close(best.interval, 0.293_571_474_3, 1e-8);
}

/// The economic order quantity: one work alone, T = √(2(S+a)/h), cost rate √(2(S+a)h). The bound is met.
#[test]
fn one_work_alone_has_the_square_root_for_its_rhythm() {
    let works = [classic(7.0, 50.0)];
    let works = Works::new(9.0, &works).unwrap();
    close(works.best().interval, (2.0_f64 * 16.0 / 50.0).sqrt(), 1e-12);
    close(works.best().cost_rate, (2.0_f64 * 16.0 * 50.0).sqrt(), 1e-12);
    close(works.bound(), (2.0_f64 * 16.0 * 50.0).sqrt(), 1e-12);
}

/// Numbers that look random and are the same each time.
struct Random(u64);

impl Random {
    /// A number between two, evenly by its logarithm.
    fn between(&mut self, from: f64, to: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        from * (to / from).powf((self.0 >> 11) as f64 / (1_u64 << 53) as f64)
    }
}

fn cost_rate(setup: f64, works: &[Recurring], interval: f64, every: &[u32]) -> f64 {
    let of_work = |(work, every): (&Recurring, &u32)| {
        let time = interval * f64::from(*every);
        (work.doing + work.growth * time.powf(work.power)) / time
    };
    setup / interval + works.iter().zip(every).map(of_work).sum::<f64>()
}

/// All ways to choose from 1 to `most` for each of `n`.
fn all_multiples(n: usize, most: u32) -> Vec<Vec<u32>> {
    let longer = |all: Vec<Vec<u32>>| {
        all.into_iter().flat_map(|one| (1..=most).map(move |k| [&one[..], &[k]].concat())).collect::<Vec<_>>()
    };
    (0..n).fold(vec![Vec::new()], |all, _| longer(all))
}

/// The least cost rate for given multiples by ternary search: for these it falls to one lowest interval and rises.
fn least(setup: f64, works: &[Recurring], every: &[u32]) -> f64 {
    let longest = works.iter().zip(every).map(|(work, k)| work.most / f64::from(*k)).fold(1e4, f64::min);
    let (mut low, mut high) = (1e-4_f64.ln(), longest.ln());
    for _ in 0..70 {
        let third = (high - low) / 3.0;
        let [one, other] = [low + third, high - third].map(|place| cost_rate(setup, works, place.exp(), every));
        if one < other { high -= third } else { low += third }
    }
    cost_rate(setup, works, high.exp(), every)
}

fn random_works(random: &mut Random, n: usize) -> Vec<Recurring> {
    let mut one = |index: usize| {
        let grows = index > 0 || random.between(1.0, 2.0) < 1.7;
        Recurring {
            doing: random.between(1.0, 20.0),
            growth: if grows { random.between(0.5, 50.0) } else { 0.0 },
            power: 1.0 + random.between(0.5, 3.0),
            most: random.between(0.6, 6.0),
        }
    };
    (0..n).map(&mut one).collect()
}

#[test]
fn no_choice_of_multiples_and_interval_is_cheaper() {
    let mut random = Random(7);
    let mut limited = 0;
    for case in 0..60 {
        let works = random_works(&mut random, 1 + case % 3);
        let setup = random.between(2.0, 60.0);
        let best = Works::new(setup, &works).unwrap().best();
        close(best.cost_rate, cost_rate(setup, &works, best.interval, &best.every), 1e-12);
        for (work, every) in works.iter().zip(&best.every) {
            let time = f64::from(*every) * best.interval;
            assert!(time <= work.most * (1.0 + 1e-9), "case {case}: {time} is past the limit {}", work.most);
            limited += usize::from(work.most * (1.0 - 1e-9) < time);
        }
        assert!(best.every.iter().all(|every| *every <= 14), "case {case}: the enumeration reaches too low: {best:?}");
        let all = all_multiples(works.len(), 14);
        let counted = all.iter().map(|every| least(setup, &works, every)).fold(f64::INFINITY, f64::min);
        close(best.cost_rate, counted, 1e-8);
    }
    assert!(10 < limited, "limits matter in these problems: {limited}");
}

#[test]
fn no_whole_interval_is_cheaper_than_the_one_found() {
    let mut random = Random(11);
    for case in 0..40 {
        let mut works = random_works(&mut random, 2);
        works.iter_mut().for_each(|work| {
            work.most *= 10.0;
            work.growth /= 10_f64.powf(work.power);
        });
        let setup = random.between(2.0, 60.0);
        let best = Works::new(setup, &works).unwrap().best_in_whole().unwrap();
        let mut counted = f64::INFINITY;
        for interval in 1..=60 {
            for every in all_multiples(2, 60 / interval) {
                let interval = f64::from(interval);
                if works.iter().zip(&every).all(|(work, k)| interval * f64::from(*k) <= work.most) {
                    counted = counted.min(cost_rate(setup, &works, interval, &every));
                }
            }
        }
        close(best.cost_rate, counted, 1e-9);
        assert!(best.interval.fract() == 0.0, "case {case}: {}", best.interval);
    }
}

/// Jackson, Maxwell & Muckstadt (1985) and Roundy (1985): in the classic form without limits, the best rhythm of powers of two
/// with a free base costs at most 1/(√2·ln 2) of the bound, about 2 % above it. So does the best of all rhythms.
#[test]
fn the_bound_is_below_the_best_rhythm_and_within_two_per_cent_of_it_in_the_classic_form() {
    let mut random = Random(3);
    for _ in 0..200 {
        let works: Vec<Recurring> =
            (0..6).map(|_| classic(random.between(0.5, 50.0), random.between(0.5, 500.0))).collect();
        let works = Works::new(random.between(0.5, 50.0), &works).unwrap();
        let ratio = works.best().cost_rate / works.bound();
        let most = 1.0 / (2.0_f64.sqrt() * 2.0_f64.ln());
        assert!(1.0 - 1e-12 <= ratio && ratio <= most + 1e-12, "{ratio}");
    }
}

/// Two works, visited at times of which neither is a multiple of the other: no rhythm, but a way of visiting. The bound holds for
/// it, too. Its cost is counted visit by visit.
#[test]
fn the_bound_holds_for_visits_that_keep_no_rhythm() {
    let mut random = Random(5);
    for _ in 0..50 {
        let works = random_works(&mut random, 2);
        let setup = random.between(2.0, 60.0);
        let bound = Works::new(setup, &works).unwrap().bound();
        for (one, other) in [(2_u32, 3_u32), (3, 5), (4, 7)] {
            // By unit of time, the visits at multiples of one, the other, not twice at those of both.
            let unit = (works[0].most / f64::from(one)).min(works[1].most / f64::from(other));
            let visits = 1.0 / f64::from(one) + 1.0 / f64::from(other) - 1.0 / f64::from(one * other);
            let without = cost_rate(0.0, &works, unit, &[one, other]);
            assert!(bound <= without + setup * visits / unit + 1e-9);
        }
    }
}

#[test]
fn what_has_no_best_rhythm_is_refused() {
    let work = classic(1.0, 1.0);
    assert_eq!(Works::new(1.0, &[]).err(), Some(NoRhythm::NoWork));
    assert_eq!(Works::new(0.0, &[work]).err(), Some(NoRhythm::Setup { setup: 0.0 }));
    let endless = Recurring { growth: 0.0, ..work };
    let falling = Recurring { power: 0.5, ..work };
    let unknown = Recurring { doing: f64::NAN, ..work };
    for wrong in [endless, falling, unknown] {
        assert_eq!(Works::new(1.0, &[work, wrong]).err(), Some(NoRhythm::Work { work: 1 }));
    }
}
