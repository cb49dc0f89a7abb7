//! The curve of lives of which some ended between two looks, with late entry: the nonparametric likelihood's maximum.
//!
//! Turnbull (1976), JRSS B 38: 290–295: the curve can fall only in the innermost intervals, those that begin where some
//! interval of a failure begins and end at the next end of one, with none between. Frydman (1994), JRSS B 56: 71–74:
//! where lives enter late, their ages of entry count as such ends. Written in the hazards h of these cells, a life that
//! entered after cell e, was good through cell l and failed by cell r adds −Σ h(e..l) + ln(1 − exp(−Σ h(l..r))), which is
//! concave in h, late entry or not; so what meets the Karush–Kuhn–Tucker conditions is the best of all curves. Each round
//! is one of the expectation-maximisation algorithm: λ = 1 − exp(−h) becomes the failures to be expected in a cell over
//! the lives to be expected at risk in it. Where every age of failure is known the first round is the Kaplan–Meier
//! curve. Otherwise a step of the iterative convex minorant follows each round, which empties and fills cells at once
//! (Wellner & Zhan (1997), JASA 92: 945–959).

use crate::NoCurve;
use crate::data::{End, Life};

/// The conditions are met when they are off by less than this share of all lives.
const SETTLED: f64 = 1e-8;

/// The search is given up after so many rounds.
const ROUNDS: u32 = 20_000;

/// A leap is given up after so many halvings.
const HALVINGS: u32 = 10;

/// Cells that hold less than this are taken for empty: the rounds approach nothing without reaching it.
const EMPTY: f64 = 1e-5;

/// An interval of ages in which the curve falls; where in it is not known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fall {
    /// Its start: the curve has not fallen yet. The same as its end where the age of failure is known.
    pub from: f64,
    /// Its end: the curve has fallen.
    pub to: f64,
    /// How much it falls: the chance to fail in there.
    pub chance: f64,
    /// The share still good after it.
    pub survival: f64,
}

/// The curve of lives that ended between looks (Turnbull), by its falls; none if nothing failed.
///
/// Falls of less than 1e-5 are left out. Between falls it is level, within one it is undefined; what stays good after the
/// last fall is not told further. With late entry it is conditional on having reached the smallest age of entry. It comes
/// without standard errors: none are known that hold for so few lives.
///
/// # Errors
/// No lives; a search that does not settle.
pub fn turnbull(lives: &[Life]) -> Result<Vec<Fall>, NoCurve> {
    if lives.is_empty() {
        return Err(NoCurve::NoLives);
    }
    let cells = cells(lives);
    let members = members(lives, &cells);
    let chances = settle(&members, cells.len())?;
    let mut survival = 1.0;
    let falls = cells.iter().zip(chances).map(|(cell, share)| {
        let chance = survival * share;
        survival -= chance;
        Fall { from: cell.from.0, to: cell.to.0, chance, survival }
    });
    Ok(falls.filter(|fall| EMPTY < fall.chance).collect())
}

/// The interval in which the curve passes one half; `None` while more than half survive.
pub fn median_between(falls: &[Fall]) -> Option<[f64; 2]> {
    falls.iter().find(|fall| fall.survival <= 0.5 + 1e-6).map(|fall| [fall.from, fall.to])
}

/// A place between ages: just before an age, at it, or just after it.
type Place = (f64, Side);

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Side {
    Before,
    At,
    After,
}

fn order(one: &Place, other: &Place) -> std::cmp::Ordering {
    one.0.total_cmp(&other.0).then(one.1.cmp(&other.1))
}

/// Where a failure's interval opens, or a good life is last seen.
fn opens(life: &Life) -> Place {
    match life.end() {
        End::Failed(age) => (age, Side::Before),
        End::Good(age) | End::Between(age, _) => (age, Side::After),
    }
}

/// Where a failure's interval closes.
fn closes(life: &Life) -> Option<Place> {
    life.end().is_failure().then(|| (life.end().last(), Side::At))
}

fn enters(life: &Life) -> Place {
    (life.entry(), Side::At)
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Cell {
    from: Place,
    to: Place,
}

/// The innermost intervals, rising; none beyond the last failure.
fn cells(lives: &[Life]) -> Vec<Cell> {
    let opening = lives.iter().map(|life| (opens(life), true));
    let closing =
        lives.iter().flat_map(|life| [closes(life), Some(enters(life))]).flatten().map(|place| (place, false));
    let mut places: Vec<(Place, bool)> = opening.chain(closing).collect();
    places.sort_unstable_by(|one, other| order(&one.0, &other.0));
    let next = places.iter().skip(1);
    let pairs = places.iter().zip(next).filter(|(one, other)| one.1 && !other.1);
    pairs.map(|(one, other)| Cell { from: one.0, to: other.0 }).collect()
}

/// Lives that are alike as to cells: at risk in cells `entry..good`, failed in one of `good..failed` (if it is not empty).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Cells {
    entry: usize,
    good: usize,
    failed: usize,
}

struct Member {
    cells: Cells,
    count: f64,
}

fn members(lives: &[Life], cells: &[Cell]) -> Vec<Member> {
    let ended = |place: Place| cells.partition_point(|cell| order(&cell.to, &place).is_le());
    let of = |life: &Life| {
        let (entry, good) = (ended(enters(life)), ended(opens(life)));
        Cells { entry, good, failed: closes(life).map_or(good, ended) }
    };
    let mut members: Vec<Member> = lives.iter().map(|life| Member { cells: of(life), count: life.count() }).collect();
    members.sort_unstable_by_key(|member| member.cells);
    members.dedup_by(|next, kept| {
        let same = next.cells == kept.cells;
        if same {
            kept.count += next.count;
        }
        same
    });
    members
}

/// The share of those at risk that fails in each cell.
fn settle(members: &[Member], n_cells: usize) -> Result<Vec<f64>, NoCurve> {
    let total: f64 = members.iter().map(|member| member.count).sum();
    // As if each cell, and what lies beyond the last, held the same.
    let mut round = Round::of(members, (0..n_cells).map(|cell| 1.0 / (n_cells - cell + 1) as f64).collect());
    for _ in 0..ROUNDS {
        round = Round::of(members, round.next());
        if round.gap() < SETTLED * total {
            return Ok(round.shares);
        }
        round = round.leapt(members, total);
    }
    Err(NoCurve::NotSettled { rounds: ROUNDS, gap: round.gap() / total })
}

/// The hazard of a cell that leaves none: one part in 1e17 would still be good.
const ALL: f64 = 40.0;

/// The least curvature that a leap reckons with, as a share of all lives, where the likelihood has none.
const FLATTEST: f64 = 1e-9;

/// What is to be expected if the shares are true.
struct Round {
    shares: Vec<f64>,
    /// ln(1 − λ) of each: less the hazard.
    logs: Vec<f64>,
    log_likelihood: f64,
    /// Failures in each cell.
    failures: Vec<f64>,
    /// Lives at risk in each cell.
    at_risk: Vec<f64>,
    /// The slope of the log-likelihood by each cell's hazard.
    slope: Vec<f64>,
    /// Less the curvature of the log-likelihood by the cumulative hazard up to each cell's end.
    arch: Vec<f64>,
}

impl Round {
    fn of(members: &[Member], shares: Vec<f64>) -> Round {
        let zero = vec![0.0; shares.len()];
        let (failures, at_risk, slope, arch) = (zero.clone(), zero.clone(), zero.clone(), zero);
        let logs = shares.iter().map(|share| (-share).ln_1p()).collect();
        let mut round = Round { shares, logs, log_likelihood: 0.0, failures, at_risk, slope, arch };
        for Member { cells, count } in members {
            for cell in cells.entry..cells.good {
                round.at_risk[cell] += count;
                round.slope[cell] -= count;
                round.log_likelihood += count * round.logs[cell];
            }
            if cells.good < cells.failed {
                round.failed(cells.good..cells.failed, *count);
            }
        }
        round
    }

    fn failed(&mut self, within: std::ops::Range<usize>, count: f64) {
        // 1 − Π (1 − λ), with its digits where the shares are small.
        let chance = -self.logs[within.clone()].iter().sum::<f64>().exp_m1();
        self.log_likelihood += count * chance.ln();
        let arch = count * (1.0 - chance) / (chance * chance);
        self.arch[within.end - 1] += arch;
        if let Some(before) = within.start.checked_sub(1) {
            self.arch[before] += arch;
        }
        let mut good = 1.0;
        for cell in within {
            self.at_risk[cell] += count * ((good - (1.0 - chance)) / chance).max(0.0);
            self.failures[cell] += count * good * self.shares[cell] / chance;
            self.slope[cell] += count * (1.0 - chance) / chance;
            good *= 1.0 - self.shares[cell];
        }
    }

    /// The shares of the next round.
    fn next(&self) -> Vec<f64> {
        let share =
            |(failures, at_risk): (&f64, &f64)| if 0.0 < *at_risk { (failures / at_risk).min(1.0) } else { 0.0 };
        self.failures.iter().zip(&self.at_risk).map(share).collect()
    }

    /// A better round, by the iterative convex minorant: Newton's method on the cumulative hazard at the cells' ends, as if
    /// they did not touch each other but for rising, halved until it leads uphill.
    fn leapt(self, members: &[Member], total: f64) -> Round {
        let hazards: Vec<f64> = self.logs.iter().map(|log| (-log).min(ALL)).collect();
        let goal = self.goal(&hazards, FLATTEST * total);
        let mut length = 1.0;
        for _ in 0..HALVINGS {
            let to = |(from, to): (&f64, &f64)| -(-(from + length * (to - from))).exp_m1();
            let leapt = Round::of(members, hazards.iter().zip(&goal).map(to).collect());
            if self.log_likelihood < leapt.log_likelihood {
                return leapt;
            }
            length *= 0.5;
        }
        self
    }

    /// The hazards at which the log-likelihood would be best if it were a parabola along each cumulative hazard.
    fn goal(&self, hazards: &[f64], flattest: f64) -> Vec<f64> {
        let next = self.slope.iter().skip(1).chain([&0.0]);
        let mut cumulative = 0.0;
        let steps = hazards.iter().zip(&self.slope).zip(next).zip(&self.arch).map(|(((hazard, own), next), arch)| {
            cumulative += hazard;
            let weight = arch.max(flattest);
            (cumulative + (own - next) / weight, weight)
        });
        let mut before = 0.0;
        rising(steps).map(|level| level.max(0.0)).map(|level| level - std::mem::replace(&mut before, level)).collect()
    }

    /// How far the Karush–Kuhn–Tucker conditions are from being met: no slope is above 0, and none is below it where a
    /// cell holds something.
    fn gap(&self) -> f64 {
        self.slope.iter().zip(&self.shares).map(|(slope, share)| slope.max(-slope * share)).fold(0.0, f64::max)
    }
}

/// The rising values nearest to weighted ones, by least squares: neighbours that fall are pooled (Ayer et al. (1955),
/// Annals of Mathematical Statistics 26: 641–647).
fn rising(weighted: impl Iterator<Item = (f64, f64)>) -> impl Iterator<Item = f64> {
    // Value, weight and how many are pooled.
    let mut pools: Vec<(f64, f64, usize)> = Vec::new();
    for (value, weight) in weighted {
        let mut pool = (value, weight, 1);
        while let Some(last) = pools.pop_if(|last| pool.0 <= last.0) {
            let weight = last.1 + pool.1;
            pool = ((last.0 * last.1 + pool.0 * pool.1) / weight, weight, last.2 + pool.2);
        }
        pools.push(pool);
    }
    pools.into_iter().flat_map(|(value, _, count)| std::iter::repeat_n(value, count))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn between(from: f64, to: f64) -> Life {
        Life::new(End::Between(from, to)).unwrap()
    }

    #[test]
    fn the_curve_falls_in_innermost_intervals_only() {
        // (0, 2], (1, 3], (4, 6] and one good at 5: the innermost intervals are (1, 2] and (5, 6].
        let lives = [between(0.0, 2.0), between(1.0, 3.0), between(4.0, 6.0), Life::new(End::Good(5.0)).unwrap()];
        let falls = turnbull(&lives).unwrap();
        let at: Vec<[f64; 2]> = falls.iter().map(|fall| [fall.from, fall.to]).collect();
        assert_eq!(at, [[1.0, 2.0], [5.0, 6.0]]);
        // By hand: two of four fail in the first; of the two left one does in the second, and the other may too, since
        // nothing speaks for its outliving it.
        assert!((falls[0].chance - 0.5).abs() < 1e-6, "{falls:?}");
        assert_eq!(median_between(&falls), Some([1.0, 2.0]));
    }

    #[test]
    fn nothing_that_failed_is_no_fall_and_no_lives_are_an_error() {
        assert_eq!(turnbull(&[Life::new(End::Good(5.0)).unwrap()]).unwrap(), []);
        assert_eq!(turnbull(&[]), Err(NoCurve::NoLives));
    }
}
