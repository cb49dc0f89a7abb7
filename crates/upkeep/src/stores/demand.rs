//! How much of an item a wait may ask for, and which stock meets that.
//!
//! Either the normal law, for amounts that are many small ones, or the chance of each whole number of steps, worked out
//! by convolution, for the few: coming tasks that take an amount each, parts in place that may fail.

use life::normal_quantile;
use statrs::distribution::{Discrete, Poisson};

use super::normal::{above, loss};
use super::wrong::{not_negative, positive, service};
use super::{NOUGHT, StoresError};

/// The most steps in which a demand is told: a list of two megabytes.
pub(super) const MOST_STEPS: usize = 250_000;

/// A share of a step below this is rounding.
const SAME_STEP: f64 = 1e-9;

/// A Poisson law is cut where a number of uses above the mean is less likely than this.
const UNLIKELY: f64 = 1e-20;

/// What can be said of a random quantity in short.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Its mean.
    pub mean: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// How much of an item is asked for while one waits for a delivery, in the item's unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Demand {
    law: Law,
}

#[derive(Clone, Debug, PartialEq)]
enum Law {
    Normal(Spread),
    /// The chance of 0, 1, 2 … steps.
    Steps {
        step: f64,
        chances: Vec<f64>,
    },
}

/// The stock to start a single period with, where what is left at its end is lost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Newsvendor {
    /// How much.
    pub quantity: f64,
    /// What it is expected to cost.
    pub cost: f64,
}

impl Demand {
    /// Normal demand. It may be negative by its law; keep it to means of several standard deviations.
    ///
    /// # Errors
    /// A negative mean or standard deviation.
    pub fn normal(mean: f64, sd: f64) -> Result<Demand, StoresError> {
        let mean = not_negative("a mean demand", mean)?;
        let sd = not_negative("the standard deviation of demand", sd)?;
        Ok(Demand { law: Law::Normal(Spread { mean, sd }) })
    }

    /// Normal demand over a wait whose length is random, both counted in the same unit of time.
    ///
    /// # Formula
    /// Mean d·L, variance L·sd² + d²·sd_L². Silver, Pyke & Thomas (2017), section on variability in the lead time.
    ///
    /// # Errors
    /// A negative demand or standard deviation; a wait of nothing.
    pub fn normal_over(per_time: Spread, wait: Spread) -> Result<Demand, StoresError> {
        let length = positive("a lead time", wait.mean)?;
        let (mean, sd) = (not_negative("a mean demand", per_time.mean)?, per_time.sd);
        let sd = not_negative("the standard deviation of demand", sd)?;
        let wait_sd = not_negative("the standard deviation of the lead time", wait.sd)?;
        Demand::normal(mean * length, (length * sd * sd + mean * mean * wait_sd * wait_sd).sqrt())
    }

    /// Uses at random instants, `uses` in the mean, each of which takes `each`.
    ///
    /// # Errors
    /// A negative number of uses; an amount of nothing; more uses than can be listed.
    pub fn poisson(uses: f64, each: f64) -> Result<Demand, StoresError> {
        let uses = not_negative("a mean number of uses", uses)?;
        let step = positive("what one use takes", each)?;
        if uses == 0.0 {
            return Ok(Demand { law: Law::Steps { step, chances: vec![1.0] } });
        }
        let Some(law) = Poisson::new(uses).ok().filter(|_| uses <= MOST_STEPS as f64 / 2.0) else {
            return Err(StoresError::TooFine { steps: 2.0 * uses });
        };
        let likely = |&(number, chance): &(u32, f64)| f64::from(number) <= uses || UNLIKELY < chance;
        let chances = (0..).map(|number| (number, law.pmf(u64::from(number)))).take_while(likely);
        Ok(Demand { law: Law::Steps { step, chances: chances.map(|(_, chance)| chance).collect() } })
    }

    /// The sum of `parts`, each of which takes its amount with its chance or else nothing, independently: a coming task
    /// that may be done within the wait, a part in place that may fail. `step` is the finest amount told apart; an amount
    /// between two steps is split between them so that its mean stays, one on a step is exact.
    ///
    /// # Errors
    /// A chance that is none, a negative amount, a step of nothing or one that is too fine for so large a sum.
    ///
    /// # Example
    /// ```
    /// use upkeep::stores::Demand;
    /// // Three nozzles may fail before a delivery comes.
    /// let nozzles = Demand::compound(&[(0.5, 1.0), (0.2, 1.0), (0.1, 1.0)], 1.0).unwrap();
    /// assert!((nozzles.served(0.0) - 0.5 * 0.8 * 0.9).abs() < 1e-12);
    /// assert_eq!(nozzles.level_for(0.9), Ok(2.0));
    /// ```
    pub fn compound(parts: &[(f64, f64)], step: f64) -> Result<Demand, StoresError> {
        let step = positive("a step", step)?;
        for &(chance, amount) in parts {
            not_negative("an amount", amount)?;
            if !(0.0..=1.0).contains(&chance) {
                return Err(StoresError::Chance { got: chance });
            }
        }
        let steps: f64 = parts.iter().map(|(_, amount)| (amount / step).ceil()).sum();
        if (MOST_STEPS as f64) < steps {
            return Err(StoresError::TooFine { steps });
        }
        let mut chances = vec![1.0];
        for &(chance, amount) in parts {
            add(&mut chances, chance, amount / step);
        }
        Ok(Demand { law: Law::Steps { step, chances } })
    }

    /// The step in which it comes; `None` where any amount may be asked for.
    pub fn step(&self) -> Option<f64> {
        match &self.law {
            Law::Normal(_) => None,
            Law::Steps { step, .. } => Some(*step),
        }
    }

    /// Its mean.
    pub fn mean(&self) -> f64 {
        match &self.law {
            Law::Normal(normal) => normal.mean,
            Law::Steps { step, chances } => step * moment(chances, |number| number),
        }
    }

    /// Its standard deviation.
    pub fn sd(&self) -> f64 {
        match &self.law {
            Law::Normal(normal) => normal.sd,
            Law::Steps { step, chances } => {
                let mean = moment(chances, |number| number);
                step * moment(chances, |number| (number - mean).powi(2)).sqrt()
            }
        }
    }

    /// The chance that a stock of `level` is enough: the cycle service.
    pub fn served(&self, level: f64) -> f64 {
        match &self.law {
            Law::Normal(Spread { mean, sd }) if 0.0 < *sd => above((mean - level) / sd),
            Law::Normal(Spread { mean, .. }) => f64::from(u8::from(*mean <= level)),
            Law::Steps { step, chances } => {
                let within =
                    (0..).zip(chances).take_while(|(number, _)| f64::from(*number) <= level / step + SAME_STEP);
                let sum: f64 = within.map(|(_, chance)| chance).sum();
                sum.min(1.0)
            }
        }
    }

    /// The amount by which the demand is expected to exceed a stock of `level`: the expected shortage, or backorders.
    ///
    /// # Formula
    /// sd·G((level − mean)/sd) for the normal law, else Σ (x − level)·P(x) over what lies above.
    pub fn shortage(&self, level: f64) -> f64 {
        match &self.law {
            Law::Normal(Spread { mean, sd }) if 0.0 < *sd => sd * loss((level - mean) / sd),
            Law::Normal(Spread { mean, .. }) => (mean - level).max(0.0),
            Law::Steps { step, chances } => step * moment(chances, |number| (number - level / step).max(0.0)),
        }
    }

    /// The lowest stock that is enough with a chance of `service`, at least 0: with this much there or on its way when an
    /// order can next be placed, nothing runs out before the one after it has come, with that chance.
    ///
    /// # Errors
    /// A service that does not lie between 0 and 1.
    pub fn level_for(&self, level_of_service: f64) -> Result<f64, StoresError> {
        let wanted = service(level_of_service)?;
        Ok(match &self.law {
            Law::Normal(Spread { mean, sd }) => (mean + sd * normal_quantile(wanted)).max(0.0),
            Law::Steps { step, chances } => step * first_step(chances, wanted),
        })
    }

    /// The share of all demand that is met from the shelf where `quantity` is ordered whenever the stock falls to `level`.
    ///
    /// # Formula
    /// 1 − (n(s) − n(s + Q))/Q with n the expected shortage; the second term takes out what was short already before the
    /// order. Hadley & Whitin (1963), Analysis of Inventory Systems, chapter 4.
    ///
    /// # Errors
    /// A quantity of nothing.
    pub fn fill(&self, level: f64, quantity: f64) -> Result<f64, StoresError> {
        let quantity = positive("a quantity", quantity)?;
        Ok(1.0 - (self.shortage(level) - self.shortage(level + quantity)) / quantity)
    }

    /// The lowest level, at least 0, at which ordering `quantity` meets that share of all demand from the shelf; a whole
    /// number of steps where the demand comes in steps.
    ///
    /// # Errors
    /// A share that does not lie between 0 and 1; a quantity of nothing.
    pub fn level_for_fill(&self, share: f64, quantity: f64) -> Result<f64, StoresError> {
        let (wanted, quantity) = (service(share)?, positive("a quantity", quantity)?);
        let short = quantity * (1.0 - wanted);
        let is_enough = |level: f64| self.shortage(level) - self.shortage(level + quantity) <= short;
        Ok(match &self.law {
            Law::Normal(Spread { mean, sd }) => first_level(mean + 40.0 * sd, is_enough),
            Law::Steps { step, chances } => {
                step * first_whole(chances.len() - 1, |number| is_enough(step * number as f64)) as f64
            }
        })
    }

    /// What a period is expected to cost that starts with `level`, at `short` for each unit that lacks and `left` for each
    /// that is left over.
    ///
    /// # Errors
    /// A negative cost.
    pub fn period_cost(&self, level: f64, short: f64, left: f64) -> Result<f64, StoresError> {
        let short = not_negative("the cost of a unit that lacks", short)?;
        let left = not_negative("the cost of a unit left over", left)?;
        let lacking = self.shortage(level);
        Ok(short * lacking + left * (level - self.mean() + lacking))
    }

    /// The stock at which [`Demand::period_cost`] is least: for what does not keep until the next period.
    ///
    /// # Formula
    /// The smallest S with P(D ≤ S) ≥ short/(short + left). Arrow, Harris & Marschak (1951), Econometrica 19: 250–272.
    ///
    /// # Errors
    /// A cost of nothing.
    pub fn newsvendor(&self, short: f64, left: f64) -> Result<Newsvendor, StoresError> {
        let short = positive("the cost of a unit that lacks", short)?;
        let left = positive("the cost of a unit left over", left)?;
        let quantity = self.level_for(short / (short + left))?;
        Ok(Newsvendor { quantity, cost: self.period_cost(quantity, short, left)? })
    }
}

/// Adds to a sum what takes `steps` of it with this chance.
fn add(chances: &mut Vec<f64>, chance: f64, steps: f64) {
    let whole = (steps + SAME_STEP).floor();
    let beyond = if steps - whole < SAME_STEP { 0.0 } else { steps - whole };
    let (few, many) = (index(whole), index(whole + beyond.ceil()));
    chances.resize(chances.len() + many, 0.0);
    for number in (0..chances.len()).rev() {
        let before = |steps: usize| number.checked_sub(steps).map_or(0.0, |before| chances[before]);
        let of_few = chance * (1.0 - beyond) * before(few);
        chances[number] = (1.0 - chance) * chances[number] + of_few + chance * beyond * before(many);
    }
}

/// A whole number of steps, at most [`MOST_STEPS`], as an index.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, not negative and small")]
fn index(steps: f64) -> usize {
    steps as usize
}

/// The mean of `of` the number of steps.
fn moment(chances: &[f64], of: impl Fn(f64) -> f64) -> f64 {
    (0..).zip(chances).map(|(number, chance)| of(f64::from(number)) * chance).sum()
}

/// The first number of steps up to which the chances sum to `wanted`.
fn first_step(chances: &[f64], wanted: f64) -> f64 {
    let mut sum = 0.0;
    let reached = chances.iter().position(|chance| {
        sum += chance;
        wanted <= sum + SAME_STEP * (1.0 - wanted)
    });
    reached.unwrap_or(chances.len() - 1) as f64
}

/// The first number up to `last` that is enough, where `last` is and every number above an enough one is.
fn first_whole(last: usize, is_enough: impl Fn(usize) -> bool) -> usize {
    let (mut from, mut to) = (0, last);
    while from < to {
        let middle = from.midpoint(to);
        if is_enough(middle) { to = middle } else { from = middle + 1 }
    }
    to
}

/// The lowest level from 0 to `most` that is enough, by halving until no number lies between.
fn first_level(most: f64, is_enough: impl Fn(f64) -> bool) -> f64 {
    if is_enough(0.0) {
        return 0.0;
    }
    let (mut from, mut to) = (0.0, most);
    while NOUGHT * 1e-4 * to.max(NOUGHT) < to - from {
        let middle = 0.5 * (from + to);
        if is_enough(middle) { to = middle } else { from = middle }
    }
    to
}
