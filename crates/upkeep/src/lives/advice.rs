//! When it pays to replace parts of a kind before they fail, and how sure that is.

use life::bayes::{Belief, LifeBelief, Posterior, Prior};
use life::compare::{Pooling, pooling};
use life::{AgeReplacement, Band, Best, Family, Fit, Law, Level, Life};

use super::clock::DAYS_PER_YEAR;
use super::{Clock, Ending, KindLives, Stay, Told, clock_of};
use crate::Materials;
use crate::build::Allowance;

/// Below this many failures the data are said to be too few to choose an interval by. Judgement, no source: with two
/// failures the bounds of a shape span more than a factor of ten.
const ENOUGH: usize = 3;

/// Below this many failures predictions lean on what is believed of wearing parts beforehand. Judgement, no source.
const FEW: usize = 10;

/// The share of the laws that the lives allow which must have a best age before one is named. Judgement, no source.
const SURE: f64 = 0.9;

/// How surely a build knows the age by which a tenth has failed: within a factor of three, with a chance of 90 %. Judgement,
/// no source.
const BELIEVED_WITHIN: f64 = 3.0;

/// What a planned replacement and a failure cost, in the shop's money.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Costs {
    /// A planned replacement: part and labour.
    pub planned: f64,
    /// A failure: what it spoils, and the replacement after it.
    pub failure: f64,
}

/// What the lives advise.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// Neglect may injure somebody: the build's limits stand, whatever they cost.
    MayInjure,
    /// Nothing failed: there is no reason to do more than today.
    NothingFailed,
    /// Too few failures to choose by.
    TooFew {
        /// How many.
        failures: usize,
    },
    /// No clock explains the failures by a law.
    NoLaw {
        /// Why.
        why: life::NoFit,
    },
    /// Failures come as often in a young part as in an old one, or a failure costs too little: replacing early gains
    /// nothing.
    NoGain,
    /// The likeliest law has a best age, but others that the lives allow have none or one far off.
    Unsure {
        /// The age that the likeliest law would choose.
        best: Best,
        /// What the lives leave open.
        band: Band,
    },
    /// Replacing at an age pays.
    Replace {
        /// The age.
        best: Best,
        /// What the lives leave open.
        band: Band,
    },
}

/// The advice for a kind of part.
#[derive(Clone, Debug)]
pub struct Advice {
    /// The clock that it counts by: the one that explains the failures best.
    pub clock: Clock,
    /// Failures that it rests on.
    pub failures: usize,
    /// What it is.
    pub verdict: Verdict,
    /// How much the clock advances in a year at one position, on average.
    pub per_year: f64,
    /// The age at which parts are replaced today; `None` where they run until they fail or show wear.
    pub today: Option<f64>,
    /// Money per year and position at today's age, or run to failure without one; `None` without a law.
    pub today_per_year: Option<f64>,
    /// Money per year and position when parts run to failure; `None` without a law.
    pub to_failure_per_year: Option<f64>,
    /// Money per year and position at the best age.
    pub best_per_year: Option<f64>,
}

impl KindLives {
    /// The clock that explains the failures best, with its lives and law; the calendar where nothing failed.
    pub fn best_clock(&self) -> Option<&Told> {
        let believed = self.believed.as_ref().filter(|_| self.count(Ending::Failed) == 0);
        let clock = believed.map(|life| Clock::Meter { quantity: life.of, counts: Vec::new() });
        let by_belief = clock.and_then(|clock| self.told.iter().find(|told| told.clock == clock));
        by_belief.or(self.told.first())
    }

    /// The age at which parts are replaced today by the clock; `None` where no task replaces them, or the clock stands.
    pub fn today(&self, clock: &Clock, materials: &Materials) -> Option<f64> {
        let pace = self.per_year(clock, materials);
        let age_of = |limit| {
            let theirs = self.per_year(&clock_of(limit), materials);
            let allowed = match limit.every {
                Allowance::Elapsed { months, days } => f64::from(months) * DAYS_PER_YEAR / 12.0 + f64::from(days),
                Allowance::Amount { amount, .. } => amount,
            };
            (0.0 < theirs && 0.0 < pace).then(|| allowed * pace / theirs)
        };
        self.renewal.as_ref()?.limits.iter().filter_map(age_of).reduce(f64::min)
    }

    /// What is believed of the law by a clock before the lives: what the build says of it, if it tells by that clock.
    fn prior(&self, clock: &Clock) -> Prior {
        let by_clock =
            |life: &&crate::build::BelievedLife| *clock == Clock::Meter { quantity: life.of, counts: Vec::new() };
        let Some(life) = self.believed.as_ref().filter(by_clock) else { return Prior::common() };
        let sure = Level::new(0.9)
            .and_then(|level| Belief::between(life.tenth / BELIEVED_WITHIN, life.tenth * BELIEVED_WITHIN, level));
        let prior =
            sure.and_then(|belief| Prior::new(Prior::common_shape(), LifeBelief::Quantile { failed: 0.1, belief }));
        prior.unwrap_or(Prior::common())
    }

    /// What the lives advise at these costs.
    pub fn advice(&self, costs: Costs, level: Level, materials: &Materials) -> Option<Advice> {
        let told = self.best_clock()?;
        let failures = self.count(Ending::Failed);
        let per_year = self.per_year(&told.clock, materials);
        let law = told.fit.as_ref().ok().map(Fit::law);
        let policy = law.and_then(|law| AgeReplacement::new(law, costs.planned, costs.failure).ok());
        let verdict = match (&told.fit, policy) {
            _ if self.may_injure => Verdict::MayInjure,
            _ if failures == 0 => Verdict::NothingFailed,
            _ if failures < ENOUGH => Verdict::TooFew { failures },
            (Err(why), _) => Verdict::NoLaw { why: *why },
            (Ok(fit), Some(policy)) => verdict(fit, policy.best(), costs, level),
            (Ok(_), None) => Verdict::NoGain,
        };
        let best = match &verdict {
            Verdict::Replace { best, .. } | Verdict::Unsure { best, .. } => Some(best.cost_rate * per_year),
            _ => None,
        };
        let today = self.today(&told.clock, materials);
        let today_rate = |policy: AgeReplacement| {
            today.and_then(|age| policy.cost_rate(age).ok()).unwrap_or(policy.cost_rate_to_failure())
        };
        Some(Advice {
            today,
            today_per_year: policy.map(|policy| today_rate(policy) * per_year),
            clock: told.clock.clone(),
            failures,
            verdict,
            per_year,
            to_failure_per_year: policy.map(|policy| policy.cost_rate_to_failure() * per_year),
            best_per_year: best,
        })
    }

    /// How much a clock advances in a year at one position, on average over all stays.
    pub fn per_year(&self, clock: &Clock, materials: &Materials) -> f64 {
        let days: f64 = self.stays.iter().map(|stay| Clock::Days.passed(stay, materials)).sum();
        let ages: f64 = self.stays.iter().map(|stay| clock.passed(stay, materials)).sum();
        if 0.0 < days { ages / days * DAYS_PER_YEAR } else { 0.0 }
    }

    /// The chance that a part still there fails within so many days, by the best clock at the kind's mean pace; `None` where
    /// nothing is known of its life yet.
    ///
    /// With few failures the law is drawn towards what is believed of wearing parts (see [`Prior::common`]) and of this one
    /// by its build.
    pub fn fails_within(&self, stay: &Stay, days: f64, materials: &Materials) -> Option<f64> {
        let told = self.best_clock()?;
        let age = told.clock.age_of(stay, materials);
        let span = self.per_year(&told.clock, materials) * days / DAYS_PER_YEAR;
        if self.count(Ending::Failed) < FEW {
            return Some(Posterior::new(&told.lives, self.prior(&told.clock)).ok()?.fails_within(age, span));
        }
        Some(1.0 - told.fit.as_ref().ok()?.law().survival_given(age, span))
    }

    /// Whether the machines' parts last alike, by the best clock: the test and the machines in its order. `None` with one
    /// machine, or where it can't be made.
    pub fn alike(&self, materials: &Materials) -> Option<(Pooling, Vec<String>)> {
        let clock = &self.best_clock()?.clock;
        let mut machines: Vec<String> = self.stays.iter().map(|stay| stay.machine.clone()).collect();
        machines.sort();
        machines.dedup();
        let lives_of = |machine: &String| -> Vec<Life> {
            let own = self.stays.iter().filter(|stay| stay.machine == *machine);
            own.filter_map(|stay| clock.life(stay, materials)).collect()
        };
        let groups: Vec<Vec<Life>> = machines.iter().map(lives_of).collect();
        let groups: Vec<&[Life]> = groups.iter().map(Vec::as_slice).collect();
        Some((pooling(&groups).ok()?, machines))
    }

    /// The law by the best clock.
    pub fn law(&self) -> Option<Law> {
        self.best_clock()?.fit.as_ref().ok().map(Fit::law).filter(|law| law.family() == Family::Weibull)
    }
}

fn verdict(fit: &Fit, best: Option<Best>, costs: Costs, level: Level) -> Verdict {
    let Some(best) = best else { return Verdict::NoGain };
    match AgeReplacement::band(fit, costs.planned, costs.failure, level) {
        Ok(band) if SURE <= band.with_best && band.age.upper.is_some() => Verdict::Replace { best, band },
        Ok(band) => Verdict::Unsure { best, band },
        Err(_) => Verdict::NoGain,
    }
}
