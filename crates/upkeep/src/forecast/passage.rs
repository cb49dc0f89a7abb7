//! The day on which a meter reaches what is left of its allowance, by convolution.
//!
//! Use is never negative, so the meter has passed by day n exactly if the sum of the first n days' use, S_n, is no less
//! than what remains: P(T ≤ n) = P(S_n ≥ R). The law of S_n is worked out once on a grid, block of days by block of days,
//! and read for every task that goes by the same meter.
//!
//! # Error
//! A draw between two grid points is split between them so that its mean stays (linear splitting). That adds at most
//! h²/4 of variance per block, and reading at the next grid point moves the threshold by at most one bin h. With
//! h ≤ R/128 and h ≤ one day's mean use, the days move by at most one when the bin is halved; `tests.rs` beside it holds
//! that.

use super::pace::Pace;

/// Bins over what remains: see the module's error bound.
const BINS: f64 = 128.0;

/// Bins that the largest threshold may take, whatever the pace.
const MAX_BINS: f64 = 4096.0;

/// What is left of an allowance.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Left {
    /// By the records, in the quantity's unit.
    pub(crate) remaining: f64,
    /// What of the use so far was estimated by hours.
    pub(crate) estimated: f64,
}

impl Left {
    /// So much, and nothing of the use so far was estimated.
    #[cfg(test)]
    pub(crate) fn metered(remaining: f64) -> Left {
        Left { remaining, estimated: 0.0 }
    }
}

/// The law of the meter's future sums.
pub(crate) struct Passage<'a> {
    pace: &'a Pace,
    /// Equally likely ones.
    factors: Vec<Factors>,
    bin: f64,
    /// `mass[b]`: chance that the last block's sum is in bin b; what is beyond the last bin is dropped, for it has passed.
    mass: Vec<f64>,
    /// `passed[k][b]`: chance that the sum of k blocks is in bin b or beyond.
    passed: Vec<Vec<f64>>,
    plain: Option<Kernel>,
}

/// The sum of the first days of a block, or of all, on the grid.
#[derive(Clone)]
struct Kernel(Vec<f64>);

impl<'a> Passage<'a> {
    /// Works out the sums until the chance of having passed each of `lefts` is at least `chance`, or for `max_days` days.
    pub(crate) fn new(pace: &'a Pace, lefts: &[Left], chance: f64, max_days: usize) -> Passage<'a> {
        Passage::with_bins(pace, lefts, chance, max_days, BINS)
    }

    pub(crate) fn with_bins(pace: &'a Pace, lefts: &[Left], chance: f64, max_days: usize, bins: f64) -> Passage<'a> {
        let factors = Factors::all(pace.level_spread, pace.ratio_doubt);
        let mut lefts = lefts.to_vec();
        lefts.sort_by(|one, other| other.remaining.total_cmp(&one.remaining));
        let needed = |left: &Left| factors.iter().map(|factors| factors.needed(*left)).fold(0.0, f64::max);
        // No finer than what is not known of the past.
        let doubtful = |left: &Left| left.remaining + pace.ratio_doubt * left.estimated;
        let bin = bin(pace, lefts.iter().map(doubtful).fold(0.0, f64::max), bins);
        let n_bins = (lefts.iter().map(needed).fold(0.0, f64::max) / bin).min(MAX_BINS).ceil() as usize + 1;
        let mut mass = vec![0.0; n_bins];
        mass[0] = 1.0;
        let mut passed = vec![0.0; n_bins + 1];
        passed[0] = 1.0;
        let mut passage = Passage { pace, factors, bin, mass, passed: vec![passed], plain: None };
        let mut n_days = 0;
        // The furthest comes first, so that the others are looked at only when it is done.
        while n_days < max_days && lefts.iter().any(|left| passage.chance(*left, n_days) < chance) {
            passage.step();
            n_days += pace.cycle;
        }
        passage
    }

    /// The chance that what is `left` has been used by the end of the first `n_days` days; the last day worked out
    /// stands for all later ones.
    pub(crate) fn chance(&self, left: Left, n_days: usize) -> f64 {
        let n_days = n_days.min(self.n_days());
        let (blocks, rest) = (n_days / self.pace.cycle, n_days % self.pace.cycle);
        let left = Left { remaining: left.remaining - self.pace.known_within(n_days), ..left };
        if left.remaining <= 0.0 {
            return 1.0;
        }
        let part = Kernel::new(self.pace, blocks, rest, self.bin, self.mass.len());
        let chance = |factors: &Factors| match factors.needed(left) {
            needed if needed <= 0.0 => 1.0,
            needed => part.passed(&self.passed[blocks], self.threshold(needed)),
        };
        self.factors.iter().map(chance).sum::<f64>() / self.factors.len() as f64
    }

    /// The first day, counted from 1 for today, by whose end the chance of having passed is at least `chance`.
    pub(crate) fn first_day(&self, left: Left, chance: f64) -> Option<usize> {
        let cycle = self.pace.cycle;
        let is_past = |day: usize| chance <= self.chance(left, day);
        let block = (1..self.passed.len()).find(|block| is_past(block * cycle))?;
        // The chance never falls from one day to the next, so the day is found by halving.
        let (mut before, mut past) = ((block - 1) * cycle, block * cycle);
        while before + 1 < past {
            let middle = before.midpoint(past);
            if is_past(middle) { past = middle } else { before = middle }
        }
        Some(past)
    }

    /// How many days are worked out.
    fn n_days(&self) -> usize {
        (self.passed.len() - 1) * self.pace.cycle
    }

    /// The first bin in which `remaining` is reached.
    fn threshold(&self, remaining: f64) -> usize {
        // The cast cuts, so adding one rounds up; the slack keeps a sum that is on the grid from falling past its own
        // point by rounding.
        (remaining / self.bin + (1.0 - 1e-9)) as usize
    }

    /// Adds one more block.
    fn step(&mut self) {
        let index = self.passed.len() - 1;
        let kernel = match (&self.plain, self.pace.is_plain(index)) {
            (Some(plain), true) => plain.clone(),
            (_, is_plain) => {
                let kernel = Kernel::new(self.pace, index, self.pace.cycle, self.bin, self.mass.len());
                if is_plain {
                    self.plain = Some(kernel.clone());
                }
                kernel
            }
        };
        self.mass = kernel.convolve(&self.mass);
        let mut passed = Vec::with_capacity(self.mass.len() + 1);
        passed.push(1.0);
        // Going up from certainty, what was dropped beyond the last bin stays in.
        passed.extend(self.mass.iter().scan(1.0, |passed, mass| {
            *passed -= mass;
            Some(*passed)
        }));
        self.passed.push(passed);
    }
}

impl Kernel {
    /// The first `n_days` days of the block that begins `index` blocks from today.
    fn new(pace: &Pace, index: usize, n_days: usize, bin: f64, n_bins: usize) -> Kernel {
        if n_days == 0 {
            return Kernel(vec![1.0]);
        }
        let sums = pace.sums(index);
        let mut masses = Vec::new();
        for (sums, chance) in sums.chunks_exact(pace.cycle).zip(&pace.chances) {
            let at = (sums[n_days - 1] / bin).min(n_bins as f64);
            let index = at as usize;
            let share = at - index as f64;
            if masses.len() < index + 2 {
                masses.resize(index + 2, 0.0);
            }
            masses[index] += chance * (1.0 - share);
            masses[index + 1] += chance * share;
        }
        masses.truncate(n_bins);
        Kernel(masses)
    }

    /// The chance that a sum with the chances `passed` of reaching each bin and a draw from the kernel reach `threshold`.
    fn passed(&self, passed: &[f64], threshold: usize) -> f64 {
        let end = passed.len() - 1;
        // What the kernel dropped has passed, so the chance is that of not falling short.
        let short = self.0.iter().take(threshold).enumerate();
        1.0 - short.map(|(bin, mass)| mass * (1.0 - passed[(threshold - bin).min(end)])).sum::<f64>()
    }

    /// The law of the sum of a draw from `mass` and one from the kernel; what passes the last bin is dropped.
    fn convolve(&self, mass: &[f64]) -> Vec<f64> {
        let mut sum = vec![0.0; mass.len()];
        for (shift, &chance) in self.0.iter().enumerate().filter(|(_, chance)| 0.0 < **chance) {
            for (sum, mass) in sum[shift..].iter_mut().zip(mass) {
                *sum += chance * mass;
            }
        }
        sum
    }
}

/// The bin: one day's mean use or the whole fraction of it that makes `bins` of what remains.
///
/// A whole fraction, so that use which is the same every day stays on the grid and its day is exact.
fn bin(pace: &Pace, remaining: f64, bins: f64) -> f64 {
    let day = pace.block_moments().0 / pace.cycle as f64;
    if day <= remaining / (MAX_BINS / 2.0) {
        return remaining / (MAX_BINS / 2.0);
    }
    day / (bins * day / remaining).ceil()
}

/// What is not known, and drawn once for good.
struct Factors {
    /// Of the level of all use to come, mean 1.
    level: f64,
    /// Of what an hour asks, mean 1: on what was estimated by hours, and on all use to come.
    ratio: f64,
}

impl Factors {
    /// Equally likely pairs, of relative standard deviations `level` and `ratio`, without correlation.
    ///
    /// The two go by the points (j, j′) of a Hammersley set, j′ having the binary figures of j in reverse order (Niederreiter
    /// 1992, Random Number Generation and Quasi-Monte Carlo Methods, ch. 3), two of them turned over: each figure adds as much
    /// to the correlation as any other, so that it is 0 then.
    fn all(level: f64, ratio: f64) -> Vec<Factors> {
        let (level, ratio) = (levels(level), levels(ratio));
        let n = level.len().max(ratio.len());
        let turned = |j: usize| (j.reverse_bits() >> (usize::BITS - 4)) ^ 0b1100;
        (0..n).map(|j| Factors { level: level[j % level.len()], ratio: ratio[turned(j) % ratio.len()] }).collect()
    }

    /// How much must be drawn until what is left is used.
    ///
    /// # Formula
    /// Metered use M, estimated use C and the use S to come reach the allowance A when M + f·(C + l·S) ≥ A, f and l the factors
    /// of the ratio and of the level. With R = A − M − C left that is S ≥ ((R + C) / f − C) / l.
    fn needed(&self, left: Left) -> f64 {
        ((left.remaining + left.estimated) / self.ratio - left.estimated) / self.level
    }
}

/// Equally likely factors with mean 1 and relative standard deviation `spread`, lowest first: the middles of equal shares
/// of a lognormal law.
fn levels(spread: f64) -> Vec<f64> {
    if spread == 0.0 {
        return vec![1.0];
    }
    let sigma = (spread * spread).ln_1p().sqrt();
    let levels = NORMAL_SHARES.map(|z| (sigma * z).exp());
    let mean = levels.iter().sum::<f64>() / levels.len() as f64;
    levels.iter().map(|level| level / mean).collect()
}

/// Φ⁻¹((j + ½) / 16) for j = 0 … 15, widened by 4 % so that their variance is 1.
const NORMAL_SHARES: [f64; 16] = [
    -1.938159, -1.371381, -1.050887, -0.807861, -0.602583, -0.418538, -0.246807, -0.081588, 0.081588, 0.246807,
    0.418538, 0.602583, 0.807861, 1.050887, 1.371381, 1.938159,
];
