//! How fast a meter runs: the future's use as a random draw of whole weeks, from the machine's own and the build's
//! expected ones.
//!
//! Each coming week, counted from today, is a draw of one of the last weeks cut at the same weekday. Drawing whole weeks
//! keeps what belongs together: idle weekends, a long print that fills a day and leaves the next one idle, busy weeks.
//! The build's expected weeks stand among them with the weight of a few weeks of records, as credibility theory has it
//! (Bühlmann 1967, "Experience rating and credibility", ASTIN Bulletin 4: 199–207): own share m / (m + κ), κ = variance
//! between weeks / variance of what shops of this kind do at the mean.
//!
//! Of a machine that is known by its hour meter a reading tells what several weeks brought, and not how they differed. Each of
//! these weeks stands there twice, as a slack and a busy one, so that all vary as weeks do.

use motion::Quantity;

use super::passage::Left;
use crate::build::Expected;

/// Weeks of the machine's own records that count. Half a year: a school's or a shop's year has two halves.
pub(crate) const WINDOW_WEEKS: usize = 26;

/// A week counts half as much as one that is this many weeks younger: a quarter. Judgement, no source: a shop's orders
/// change by the season, and 26 weeks so weighted still tell the mean as well as 22 equal ones.
const HALF_LIFE_WEEKS: f64 = 13.0;

/// Relative spread of the weeks of a machine of which only the build is known: busy ones bring half as much again, slack
/// ones half as much. Judgement, no source.
const EXPECTED_WEEK_SPREAD: f64 = 0.5;

/// Relative spread of what shops do with a machine around the build's expectation: four out of five within a factor of
/// two (lognormal: ln 2 / 1.2816 = 0.541 in the logarithm). Judgement, no source.
const EXPECTED_LEVEL_SPREAD: f64 = 0.58;

/// κ: the build's expectation counts as much as this many weeks of records, here 0.74.
const EXPECTED_WEEKS: f64 =
    (EXPECTED_WEEK_SPREAD * EXPECTED_WEEK_SPREAD) / (EXPECTED_LEVEL_SPREAD * EXPECTED_LEVEL_SPREAD);

/// The spread between weeks is itself known only after some weeks: the expected one counts as this many. Judgement.
const SPREAD_WEEKS: f64 = 2.0;

/// Weeks in a batch, by whose means the slow swings of the level show: about a month.
const BATCH_WEEKS: usize = 4;

/// Slow swings show only after some months: until then they are taken to have this share of the variance between weeks,
/// with the weight of [`SWING_BATCHES`] batches. Judgement, no source: orders,
/// terms and holidays come in spells. Set with an eye on the invented shops of `tests/care/replay.rs`: without it the ranges of
/// a shop whose busy spells last for weeks hold 69 % in its first months.
const SWING_SHARE: f64 = 0.15;

/// See [`SWING_SHARE`].
const SWING_BATCHES: f64 = 2.0;

/// The random use of the days to come.
///
/// Days come in blocks of `cycle` days; each block is drawn anew, `level` is drawn once for good.
#[derive(Clone, Debug)]
pub(crate) struct Pace {
    /// Days in a block: 7, so that a day is drawn from days of its own weekday.
    pub(crate) cycle: usize,
    /// The chance of each block; they sum to 1.
    pub(crate) chances: Vec<f64>,
    /// The use of each day of each block, block by block.
    pub(crate) daily: Vec<f64>,
    /// Relative spread of the level: a factor with mean 1 on all that is drawn.
    pub(crate) level_spread: f64,
    /// What today has brought already; a draw for today counts as far as it exceeds that.
    pub(crate) booked_today: f64,
    /// What is known of each day from today on, because it is queued: it takes the place of the draw.
    pub(crate) known: Vec<Option<f64>>,
    /// Relative standard uncertainty of what an hour asks, by which all that is drawn was estimated.
    pub(crate) ratio_doubt: f64,
    /// Blocks from the machine's own records.
    pub(crate) own_blocks: usize,
    /// The chance that a block is from the machine's own records.
    pub(crate) own_chance: f64,
}

impl Pace {
    /// The pace of a meter that counted `past` on the last whole days and `booked_today` today, and that the build expects to
    /// count `expected` in a week. `spans` are the days of which single readings told, the latest first; none where each day was
    /// told by itself.
    pub(crate) fn of_weeks(past: &[f64], booked_today: f64, spans: &[usize], expected: Option<ExpectedWeek>) -> Pace {
        let own: Vec<&[f64]> = past.rchunks_exact(7).take(WINDOW_WEEKS).collect();
        let seen = Seen::of(past, spans);
        let weights: Vec<f64> = (0..own.len()).map(|ago| (-(ago as f64) / HALF_LIFE_WEEKS).exp2()).collect();
        let own_weeks = effective(&weights);
        let expected_weeks = if expected.is_some() { EXPECTED_WEEKS } else { 0.0 };
        let total = own_weeks + expected_weeks;
        let mut pace = Pace {
            cycle: 7,
            chances: Vec::new(),
            daily: Vec::new(),
            level_spread: seen.level_spread(own_weeks, expected_weeks),
            booked_today,
            known: Vec::new(),
            ratio_doubt: 0.0,
            own_blocks: own.len(),
            own_chance: if 0.0 < total { own_weeks / total } else { 0.0 },
        };
        let sum: f64 = weights.iter().sum();
        let apart = seen.spread_within();
        for (week, weight) in own.iter().zip(&weights) {
            let chance = weight / sum * pace.own_chance;
            if apart == 0.0 {
                pace.push(chance, week);
                continue;
            }
            for level in [1.0 - apart, 1.0 + apart] {
                pace.push(chance / 2.0, &week.iter().map(|day| level * day).collect::<Vec<f64>>());
            }
        }
        if let Some(expected) = expected {
            expected.weeks(|chance, week| pace.push(chance * expected_weeks / total, week));
        }
        pace
    }

    fn push(&mut self, chance: f64, week: &[f64]) {
        self.chances.push(chance);
        self.daily.extend_from_slice(week);
    }

    /// The mean use of day `day` of a block.
    pub(crate) fn mean_of_day(&self, day: usize) -> f64 {
        self.blocks().map(|(chance, block)| chance * block[day]).sum()
    }

    /// Mean and variance of the use of a block.
    pub(crate) fn block_moments(&self) -> (f64, f64) {
        let sums = || self.blocks().map(|(chance, block)| (chance, block.iter().sum::<f64>()));
        let mean: f64 = sums().map(|(chance, sum)| chance * sum).sum();
        (mean, sums().map(|(chance, sum)| chance * (sum - mean) * (sum - mean)).sum())
    }

    /// Books the runs that are queued, `(days from today, use)`.
    ///
    /// The history's draws stand for runs of the kind that get queued, so a day's queue and its draw must not both
    /// count. The queue takes the draw's place, unless the day brings more in the mean: then the queued run is one of
    /// those that the draw stands for.
    pub(crate) fn expect(&mut self, queued: &[(usize, f64)]) {
        let n_days = queued.iter().map(|(day, _)| day + 1).max().unwrap_or(0);
        let mut sums = vec![0.0; n_days];
        for &(day, amount) in queued {
            sums[day] += amount;
        }
        self.known = Vec::with_capacity(n_days);
        for (day, &sum) in sums.iter().enumerate() {
            let drawn = self.mean_on(day);
            self.known.push((0.0 < sum && drawn <= sum).then_some(sum));
        }
    }

    /// The mean use of a day, counted from today: what is queued where that takes the draw's place.
    pub(crate) fn mean_on(&self, day: usize) -> f64 {
        let drawn = || if day == 0 { self.mean_today() } else { self.mean_of_day(day % self.cycle) };
        self.known.get(day).copied().flatten().unwrap_or_else(drawn)
    }

    fn mean_today(&self) -> f64 {
        self.blocks().map(|(chance, block)| chance * (block[0] - self.booked_today).max(0.0)).sum()
    }

    /// A bound that the chance of passing what is `left` within `n_days` can't exceed.
    ///
    /// # Formula
    /// Cantelli's inequality P(S ≥ R) ≤ V / (V + (R − E)²) for the sum S of as many whole blocks as cover the days, with
    /// E its mean and V its variance, (1 + τ²)·k·σ² + τ²·k²·μ² for k blocks and a level of relative spread τ. Where both S and
    /// what was counted before, C, are estimates with a common factor of relative spread δ, the variance of their sum is
    /// (1 + δ²)·V + δ²·(C + E)².
    pub(crate) fn chance_bound(&self, left: Left, n_days: usize) -> f64 {
        let blocks = n_days.div_ceil(self.cycle) as f64;
        let (mean, variance) = self.block_moments();
        let (level, ratio) = (self.level_spread.powi(2), self.ratio_doubt.powi(2));
        let variance = (1.0 + level) * blocks * variance + level * blocks * blocks * mean * mean;
        let variance = (1.0 + ratio) * variance + ratio * (left.estimated + blocks * mean).powi(2);
        let above = left.remaining - blocks * mean - self.known_within(n_days);
        if above <= 0.0 { 1.0 } else { variance / (variance + above * above) }
    }

    /// What the queue brings in the first `n_days` days.
    pub(crate) fn known_within(&self, n_days: usize) -> f64 {
        self.known.iter().take(n_days).flatten().sum()
    }

    /// The drawn use of the first 1, 2, … `cycle` days of the block that begins `index` blocks from today, for each
    /// draw: rows as the blocks, each of `cycle` sums.
    pub(crate) fn sums(&self, index: usize) -> Vec<f64> {
        let mut sums = self.daily.clone();
        for block in sums.chunks_exact_mut(self.cycle) {
            if index == 0 {
                block[0] = (block[0] - self.booked_today).max(0.0);
            }
            let mut sum = 0.0;
            for (day, use_) in block.iter_mut().enumerate() {
                if !matches!(self.known.get(index * self.cycle + day), Some(Some(_))) {
                    sum += *use_;
                }
                *use_ = sum;
            }
        }
        sums
    }

    /// Whether the block that begins `index` blocks from today is like any later one.
    pub(crate) fn is_plain(&self, index: usize) -> bool {
        let known = self.known.iter().skip(index * self.cycle).take(self.cycle);
        (index != 0 || self.booked_today <= 0.0) && known.flatten().next().is_none()
    }

    fn blocks(&self) -> impl Iterator<Item = (f64, &[f64])> {
        self.chances.iter().copied().zip(self.daily.chunks_exact(self.cycle))
    }
}

/// What a build expects of a week, for one meter.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ExpectedWeek {
    /// In all.
    pub(crate) amount: f64,
    /// On how many days.
    pub(crate) days: f64,
}

impl ExpectedWeek {
    /// What `expected` says of `quantity`, if it does; time is an hour an hour unless it says otherwise.
    pub(crate) fn of(expected: &Expected, quantity: Quantity, share: f64) -> Option<ExpectedWeek> {
        let stated = expected.per_hour.iter().find(|(stated, _)| *stated == quantity).map(|(_, amount)| *amount);
        let per_hour = stated.or((quantity == Quantity::Time).then_some(3600.0))?;
        Some(ExpectedWeek { amount: per_hour * expected.hours_per_week * share, days: expected.days_per_week })
    }

    /// Hands out the expected weeks with their chances: busy days in a row from any weekday on, in a slack or a busy week.
    fn weeks(&self, mut push: impl FnMut(f64, &[f64])) {
        let days = self.days.clamp(1.0, 7.0);
        for level in [1.0 - EXPECTED_WEEK_SPREAD, 1.0 + EXPECTED_WEEK_SPREAD] {
            for first in 0..7 {
                let mut week = [0.0; 7];
                for day in 0..7 {
                    let busy = (days - day as f64).clamp(0.0, 1.0);
                    week[(first + day) % 7] = level * self.amount / days * busy;
                }
                push(1.0 / 14.0, &week);
            }
        }
    }
}

/// How many equal weights tell a mean as well as `weights` do (Kish 1965, Survey Sampling, § 11.7): (Σw)² / Σw².
fn effective(weights: &[f64]) -> f64 {
    let (sum, squares) = weights.iter().fold((0.0, 0.0), |(sum, squares), w| (sum + w, squares + w * w));
    if squares == 0.0 { 0.0 } else { sum * sum / squares }
}

/// What was seen of the past: sums over weeks, or over as many as a reading told of.
struct Seen {
    sums: Vec<Sum>,
}

/// What was counted over so many weeks.
struct Sum {
    weeks: f64,
    amount: f64,
}

impl Seen {
    /// Of the last [`WINDOW_WEEKS`] of the days `past`, by `spans` or by weeks.
    fn of(past: &[f64], spans: &[usize]) -> Seen {
        let weeks = [7; WINDOW_WEEKS];
        let spans = if spans.is_empty() { &weeks } else { spans };
        let (mut sums, mut rest) = (Vec::new(), &past[past.len().saturating_sub(7 * WINDOW_WEEKS)..]);
        for &days in spans {
            let Some(at) = rest.len().checked_sub(days) else { break };
            let (before, span) = rest.split_at(at);
            sums.push(Sum { weeks: days as f64 / 7.0, amount: span.iter().sum() });
            rest = before;
        }
        Seen { sums }
    }

    fn weeks(&self) -> f64 {
        self.sums.iter().map(|sum| sum.weeks).sum()
    }

    /// The mean of a week.
    fn mean(&self) -> f64 {
        self.sums.iter().map(|sum| sum.amount).sum::<f64>() / self.weeks()
    }

    /// Weeks to a sum.
    fn span(&self) -> f64 {
        self.weeks() / self.sums.len() as f64
    }

    /// The relative variance between weeks, which leans on the expected one while little was seen.
    ///
    /// # Formula
    /// s² = Σ (x/L − μ)² · L / (1 + (L − 1)·ρ) / (n − 1) / μ² over n sums x of L weeks each: a sum counts as one observation,
    /// however many weeks it is of. The means of L weeks that are correlated by ρ vary by s²/L · (1 + (L − 1)·ρ) (Kish 1965, Survey
    /// Sampling, § 5.4); ρ is the share that swings are taken to have, since such sums do not tell them apart.
    fn variance_between_weeks(&self) -> f64 {
        let mean = self.mean();
        let weight = |sum: &Sum| sum.weeks / (1.0 + (sum.weeks - 1.0) * SWING_SHARE);
        let squares: f64 =
            self.sums.iter().map(|sum| weight(sum) * (sum.amount / sum.weeks / mean - 1.0).powi(2)).sum();
        (SPREAD_WEEKS * EXPECTED_WEEK_SPREAD * EXPECTED_WEEK_SPREAD + squares)
            / (SPREAD_WEEKS + self.sums.len() as f64 - 1.0)
    }

    /// By how much weeks differ from the mean of those that a reading told of together, as a relative standard deviation: what
    /// the variance of these means leaves of that between weeks, s²·(1 − 1/L)·(1 − ρ).
    fn spread_within(&self) -> f64 {
        if self.sums.is_empty() || self.mean() == 0.0 {
            return 0.0;
        }
        (self.variance_between_weeks() * (1.0 - 1.0 / self.span()) * (1.0 - SWING_SHARE)).sqrt().min(1.0)
    }

    /// How well the level of the weeks to come is known, as a relative standard deviation.
    ///
    /// # Formula
    /// √((s² + b·g²) / (m + κ) + g²), with s² the relative variance between weeks and g² = s_b² − s² / b what the variance s_b²
    /// between the means of batches of b weeks has beyond that of independent weeks: the first term is the doubt about the
    /// past's mean (batch means: Law & Kelton, Simulation Modeling and Analysis, ch. 9), the second the swings to come. How
    /// the m weeks were told makes no difference to how well their mean is known, only to what they tell of s² and g².
    fn level_spread(&self, own_weeks: f64, expected_weeks: f64) -> f64 {
        if self.sums.is_empty() || self.mean() == 0.0 {
            return if 0.0 < expected_weeks { EXPECTED_LEVEL_SPREAD } else { 0.0 };
        }
        let within = self.variance_between_weeks();
        let swings = self.swings(within);
        ((within + BATCH_WEEKS as f64 * swings) / (own_weeks + expected_weeks) + swings).sqrt()
    }

    /// Relative variance of the level from month to month, beyond what independent weeks of relative variance `within` show.
    /// Sums so long that a batch is one of them do not tell the two apart.
    fn swings(&self, within: f64) -> f64 {
        let in_batch = (BATCH_WEEKS as f64 / self.span()) as usize;
        let of_batch = |batch: &[Sum]| {
            let (weeks, amount) = batch.iter().fold((0.0, 0.0), |(w, a), sum| (w + sum.weeks, a + sum.amount));
            (weeks, amount / weeks / self.mean())
        };
        let batches: Vec<(f64, f64)> = match in_batch {
            0 | 1 => Vec::new(),
            _ => self.sums.chunks_exact(in_batch).map(of_batch).collect(),
        };
        let known = batches.len().saturating_sub(1) as f64;
        let means: Vec<f64> = batches.iter().map(|(_, mean)| *mean).collect();
        let weeks = batches.iter().map(|(weeks, _)| weeks).sum::<f64>() / batches.len().max(1) as f64;
        let seen = if 0.0 < known { variance(&means) - within / weeks } else { 0.0 };
        ((SWING_BATCHES * SWING_SHARE * within + known * seen) / (SWING_BATCHES + known)).max(0.0)
    }
}

/// The sample variance (divisor n − 1).
fn variance(values: &[f64]) -> f64 {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    values.iter().map(|value| (value - mean) * (value - mean)).sum::<f64>() / (n - 1.0)
}
