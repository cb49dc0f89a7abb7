//! When it pays to replace parts of a kind before they fail, and how sure that is.

use life::bayes::{Belief, LifeBelief, Posterior, Prior};
use life::compare::{Pooling, pooling};
use life::{AgeReplacement, Band, Best, Bounds, Fit, Law, Level, Life};
use motion::Quantity;

use super::clock::DAYS_PER_YEAR;
use super::{Clock, Ending, KindLives, Stay, Told, clock_of};
use crate::Materials;
use crate::build::{Allowance, Task};

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
    /// Whether parts go today when they show wear, which no law of failures tells the costs of.
    pub goes_worn: bool,
    /// Money per year and position at today's age, or run to failure without one; `None` without a law, and where parts go
    /// when they show wear.
    pub today_per_year: Option<f64>,
    /// Money per year and position when parts run to failure; `None` without a law.
    pub to_failure_per_year: Option<f64>,
    /// Money per year and position at the best age.
    pub best_per_year: Option<f64>,
    /// The limits that would make the best age the shop's own; empty where no task of the build puts such a part in, or
    /// none of its limits is by a clock into which the age can be carried.
    pub limits: Vec<Wanted>,
}

/// A limit that would have a part replaced at an age.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// The task that puts the part in.
    pub task: String,
    /// What the limit meters; `None` for days by the calendar.
    pub of: Option<Quantity>,
    /// The allowance: in the quantity's unit, or days.
    pub every: f64,
    /// Whether the age was told by another clock and is carried over by the mean paces of the two.
    pub is_carried: bool,
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
        self.renewals.first()?.limits.iter().filter_map(age_of).reduce(f64::min)
    }

    /// The limits that would have these parts replaced at an age by `clock`: for each task that puts such a part in, its
    /// limit by that clock, else the first of its limits whose clock moves at all, at the ratio of the mean paces.
    fn limits_for(&self, age: f64, clock: &Clock, materials: &Materials) -> Vec<Wanted> {
        let pace = self.per_year(clock, materials);
        let carried = |of: &Clock| match self.per_year(of, materials) / pace {
            _ if of == clock => Some(age),
            ratio if 0.0 < ratio && ratio.is_finite() => Some(age * ratio),
            _ => None,
        };
        let wanted = |task: &Task| {
            let mut clocks: Vec<Clock> = task.limits.iter().map(clock_of).collect();
            clocks.sort_by_key(|of| of != clock);
            let (of, every) = clocks.into_iter().find_map(|of| carried(&of).map(|every| (of, every)))?;
            Some(Wanted { task: task.name.clone(), is_carried: of != *clock, of: of.quantity(), every })
        };
        self.renewals.iter().filter_map(wanted).collect()
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
            (Ok(fit), Some(policy)) => verdict(fit, told.few().as_ref(), policy.best(), costs, level),
            (Ok(_), None) => Verdict::NoGain,
        };
        let best = match &verdict {
            Verdict::Replace { best, .. } | Verdict::Unsure { best, .. } => Some(best.cost_rate * per_year),
            _ => None,
        };
        let today = self.today(&told.clock, materials);
        let goes_worn = today.is_none() && 0 < self.count(Ending::Worn);
        let today_rate = |policy: AgeReplacement| {
            today.and_then(|age| policy.cost_rate(age).ok()).unwrap_or(policy.cost_rate_to_failure())
        };
        let limits = match &verdict {
            Verdict::Replace { best, .. } => self.limits_for(best.age, &told.clock, materials),
            _ => Vec::new(),
        };
        Some(Advice {
            today,
            goes_worn,
            limits,
            today_per_year: policy.filter(|_| !goes_worn).map(|policy| today_rate(policy) * per_year),
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
        if self.leans_on_belief() {
            return Some(Posterior::new(&told.lives, self.prior(&told.clock)).ok()?.fails_within(age, span));
        }
        Some(1.0 - told.fit.as_ref().ok()?.law().survival_given(age, span))
    }

    /// Whether failures are so few that chances are told by [`Posterior`], with what is believed beforehand, and not by the
    /// likeliest law alone.
    pub fn leans_on_belief(&self) -> bool {
        self.count(Ending::Failed) < FEW
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
}

fn verdict(fit: &Fit, few: Option<&Posterior>, best: Option<Best>, costs: Costs, level: Level) -> Verdict {
    let Some(best) = best else { return Verdict::NoGain };
    let band = match few {
        Some(few) => band_of(few, costs, level),
        None => AgeReplacement::band(fit, costs.planned, costs.failure, level).ok(),
    };
    match band {
        Some(band) if SURE <= band.with_best && band.age.upper.is_some() => Verdict::Replace { best, band },
        Some(band) => Verdict::Unsure { best, band },
        None => Verdict::NoGain,
    }
}

/// What few failures leave open of the best age and its saving: equal tails of both over the laws of `few`, by their chances.
/// A law without a best age counts as one that never replaces and saves nothing; `with_best` is the chance of the others.
///
/// # Formula
/// Ages of a Weibull law are its scale times those of the law of scale 1, and a share saved does not know the scale. So the
/// best age is found once for each shape, at a scale of 1.
fn band_of(few: &Posterior, costs: Costs, level: Level) -> Option<Band> {
    let mut of_shape: Option<(f64, Option<Best>)> = None;
    let (mut ages, mut savings) = (Vec::new(), Vec::new());
    for (law, chance) in few.laws() {
        let best = match of_shape {
            Some((shape, best)) if shape.total_cmp(&law.shape()).is_eq() => best,
            _ => AgeReplacement::new(Law::weibull(law.shape(), 1.0).ok()?, costs.planned, costs.failure).ok()?.best(),
        };
        of_shape = Some((law.shape(), best));
        ages.push((best.map_or(f64::INFINITY, |best| best.age * law.scale()), chance));
        savings.push((best.map_or(0.0, |best| best.saving), chance));
    }
    let with_best = ages.iter().filter(|(age, _)| age.is_finite()).map(|(_, chance)| chance).sum();
    let [early, late] = tails(ages, level)?.map(|age| Some(age).filter(|age| age.is_finite()));
    Some(Band { age: Bounds { lower: early, upper: late }, saving: tails(savings, level)?, with_best })
}

/// The values below which a tail and all but a tail of the chances lie.
fn tails(mut values: Vec<(f64, f64)>, level: Level) -> Option<[f64; 2]> {
    values.sort_by(|one, other| one.0.total_cmp(&other.0));
    let all: f64 = values.iter().map(|(_, chance)| chance).sum();
    let tail = 0.5 * (1.0 - level.get());
    let below = |share: f64| {
        let mut sum = 0.0;
        let mut cut = values.iter().skip_while(|(_, chance)| {
            sum += chance;
            sum < share * all
        });
        cut.next().or(values.last()).map(|(value, _)| *value)
    };
    Some([below(tail)?, below(1.0 - tail)?])
}

#[cfg(test)]
mod tests {
    use super::*;
    use life::{End, Family, Life};

    #[test]
    fn tails_cut_by_chance_and_not_by_number() {
        let values = vec![(3.0, 0.03), (1.0, 0.02), (2.0, 0.9), (f64::INFINITY, 0.05)];
        let level = Level::new(0.9).unwrap();
        // By hand: 0.02 lies at 1, 0.92 by 2, 0.95 by 3.
        assert_eq!(tails(values.clone(), level), Some([2.0, 3.0]));
        assert_eq!(tails(values, Level::new(0.98).unwrap()), Some([1.0, f64::INFINITY]));
        assert_eq!(tails(Vec::new(), level), None);
    }

    #[test]
    fn the_band_of_few_failures_has_no_end_above_exactly_where_the_shapes_lower_bound_is_below_one() {
        let level = Level::new(0.9).unwrap();
        let costs = Costs { planned: 1.0, failure: 20.0 };
        for ages in [&[10.0, 40.0, 45.0, 90.0][..], &[10.0, 60.0, 70.0, 90.0, 95.0, 100.0, 110.0, 120.0]] {
            let lives: Vec<Life> = ages.iter().map(|age| Life::new(End::Failed(*age)).unwrap()).collect();
            let few = Fit::new(&lives, Family::Weibull).unwrap().conditional().unwrap();
            let band = band_of(&few, costs, level).unwrap();
            let [shape, _] = few.band(life::Of::Shape, level).unwrap();
            assert_eq!(band.age.upper.is_some(), 1.0 < shape, "{shape} {band:?}");
            assert_eq!(band.saving[0] > 0.0, 1.0 < shape, "{band:?}");
            assert!(band.age.lower.unwrap() < 120.0 && band.saving[1] < 1.0, "{band:?}");
        }
    }
}
