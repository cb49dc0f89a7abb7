//! Clocks: by what a part's age is told. Calendar days tick on the wall; others tick with what the machine does.

use std::fmt;

use life::bayes::Posterior;
use life::{End, Family, Fit, Life, NoFit};
use motion::{Quantity, Tool};

use super::{Ending, Stay};
use crate::build::{Allowance, Axis, Build, Position};
use crate::meter::Meter;
use crate::{Materials, Usage};

const SECONDS_PER_DAY: f64 = 86_400.0;

pub(super) const DAYS_PER_YEAR: f64 = 365.25;

/// From so many failures on profile bounds hold the truth about as often as they say (docs/LIVES.md measures it).
pub const TRUSTED: f64 = 20.0;

/// Among more lives than this conditional bounds take seconds, and gain little where so many were seen good. Judgement.
const MANY: usize = 20_000;

/// Ages by two clocks that differ by less than this share are the same.
const SAME: f64 = 1e-9;

/// A way to tell a part's age.
#[derive(Clone, Debug, PartialEq)]
pub enum Clock {
    /// Days by the calendar.
    Days,
    /// A quantity that the machine meters, each material by its weight.
    Meter {
        /// What is metered.
        quantity: Quantity,
        /// Weights by material or class; empty where all count once.
        counts: Vec<(String, f64)>,
    },
}

impl Clock {
    /// The clocks that may tell the age of a part at `position`: the calendar, hours run, what its tasks' limits meter with
    /// and without their weights, and the travel of its axis.
    pub fn candidates(build: &Build, position: &Position) -> Vec<Clock> {
        let meter = |quantity, counts: &[(String, f64)]| Clock::Meter { quantity, counts: counts.to_vec() };
        let mut clocks = vec![Clock::Days, meter(Quantity::Time, &[])];
        let tasks = build.tasks.iter().filter(|task| task.at == position.name);
        for limit in tasks.flat_map(|task| &task.limits) {
            if let Allowance::Amount { quantity, .. } = limit.every {
                clocks.extend([meter(quantity, &[]), meter(quantity, &limit.counts)]);
            }
        }
        let travel = position.along.map(|axis| match axis {
            Axis::X => Quantity::TravelX,
            Axis::Y => Quantity::TravelY,
            Axis::Z => Quantity::TravelZ,
        });
        clocks.extend(travel.map(|quantity| meter(quantity, &[])));
        let mut different: Vec<Clock> = Vec::new();
        for clock in clocks {
            if !different.contains(&clock) {
                different.push(clock);
            }
        }
        different
    }

    /// The age of what was in use for that long and did that much, with `tool` alone or all of them: days, or the
    /// quantity's unit.
    pub fn age(&self, seconds: f64, usage: &Usage, tool: Option<Tool>, materials: &Materials) -> f64 {
        match self {
            Clock::Days => seconds / SECONDS_PER_DAY,
            Clock::Meter { quantity, counts } => Meter { quantity: *quantity, tool, counts }.amount(usage, materials),
        }
    }

    /// How old a stay's part was when it ended, or is at the end of the records.
    pub fn age_of(&self, stay: &Stay, materials: &Materials) -> f64 {
        self.entry_age(stay, materials) + self.passed(stay, materials)
    }

    /// How far the clock went in a stay.
    pub fn passed(&self, stay: &Stay, materials: &Materials) -> f64 {
        self.age(stay.to.duration_since(stay.from).as_secs_f64(), &stay.usage, stay.tool, materials)
    }

    /// How old a stay's part was when the records began: as recorded by this clock, else carried over from the clock by
    /// which it is recorded at the stay's own ratio of the two; 0 where nothing is recorded.
    fn entry_age(&self, stay: &Stay, materials: &Materials) -> f64 {
        let recorded = |age: &Allowance| match *age {
            Allowance::Elapsed { months, days } => {
                (Clock::Days, f64::from(months) * DAYS_PER_YEAR / 12.0 + f64::from(days))
            }
            Allowance::Amount { quantity, amount } => (Clock::Meter { quantity, counts: Vec::new() }, amount),
        };
        let ages: Vec<(Clock, f64)> = stay.ages.iter().map(recorded).collect();
        let Some((clock, age)) = ages.iter().find(|(clock, _)| clock.same_meter(self)).or(ages.last()) else {
            return 0.0;
        };
        let theirs = clock.passed(stay, materials);
        if clock == self {
            *age
        } else if 0.0 < theirs {
            age * self.passed(stay, materials) / theirs
        } else {
            0.0
        }
    }

    /// What it meters; `None` for days.
    pub fn quantity(&self) -> Option<Quantity> {
        match self {
            Clock::Days => None,
            Clock::Meter { quantity, .. } => Some(*quantity),
        }
    }

    /// Its weights by material or class; none where all count once.
    pub fn counts(&self) -> &[(String, f64)] {
        match self {
            Clock::Days => &[],
            Clock::Meter { counts, .. } => counts,
        }
    }

    fn same_meter(&self, other: &Clock) -> bool {
        match (self, other) {
            (Clock::Days, Clock::Days) => true,
            (Clock::Meter { quantity: one, .. }, Clock::Meter { quantity: other, .. }) => one == other,
            _ => false,
        }
    }

    /// What a stay is as a life by this clock; `None` where the part failed without the clock having moved, which no law
    /// of it can explain.
    pub(super) fn life(&self, stay: &Stay, materials: &Materials) -> Option<Life> {
        let (entry, age) = (self.entry_age(stay, materials), self.age_of(stay, materials));
        let looked = stay.last_look.as_ref().map(|(at, usage)| {
            entry + self.age(at.duration_since(stay.from).as_secs_f64(), usage, stay.tool, materials)
        });
        let end = match (stay.end, looked) {
            (Ending::Failed, Some(good)) if good < age => End::Between(good, age),
            (Ending::Failed, _) => End::Failed(age),
            _ => End::Good(age),
        };
        let life = Life::new(end).ok()?;
        if 0.0 < entry { life.entered_at(entry).ok() } else { Some(life) }
    }
}

impl fmt::Display for Clock {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Clock::Days => f.write_str("days"),
            Clock::Meter { quantity, counts } if counts.is_empty() => write!(f, "{quantity}"),
            Clock::Meter { quantity, counts } => {
                let weights: Vec<String> = counts.iter().map(|(name, weight)| format!("{name} × {weight}")).collect();
                write!(f, "{quantity}, {}", weights.join(", "))
            }
        }
    }
}

/// How well a clock explains the failures.
#[derive(Clone, Debug)]
pub struct Told {
    /// The clock.
    pub clock: Clock,
    /// Others by which every life here is the same, but for the unit: the records can't tell them apart at all.
    pub same: Vec<Clock>,
    /// The lives by it.
    pub lives: Vec<Life>,
    /// Failures that it can't explain at all, since it had not moved; its law is of the others.
    pub unexplained: usize,
    /// The Weibull law by it, or why there is none.
    pub fit: Result<Fit, NoFit>,
    /// The log-likelihood of the failures' days by this clock, but for what is the same for all clocks; `None` without a
    /// law, or where a failure is unexplained.
    ///
    /// # Formula
    /// A law of age u gives a density by the day of f(u)·du/dt. With the part's own mean rate u/t for du/dt, that is
    /// f(u)·u/t, and t is the same for every clock: Σ ln f(uᵢ) + ln uᵢ over the failures, Σ ln S(uᵢ) over the others.
    pub score: Option<f64>,
    /// Its share of the evidence: exp(score) over the sum for all clocks (Akaike weights, all laws having two parameters;
    /// Burnham & Anderson (2002), section 2.9).
    pub share: f64,
}

impl Told {
    /// The laws that the lives leave open where failures are so few that profile bounds are too narrow ([`TRUSTED`]).
    pub fn few(&self) -> Option<Posterior> {
        let fit = self.fit.as_ref().ok()?;
        (fit.failures() < TRUSTED && self.lives.len() <= MANY).then(|| fit.conditional()).flatten()
    }

    /// Whether it has a law, and the other's lives are its own, but for the unit.
    fn is_like(&self, other: &Told) -> bool {
        let both = self.score.is_some() && other.score.is_some() && self.lives.len() == other.lives.len();
        let longest = |told: &Told| told.lives.iter().map(|life| life.end().last()).fold(0.0, f64::max);
        let size = longest(other) / longest(self);
        let near = |one: f64, other: f64| (one * size - other).abs() <= SAME * other.abs();
        let pair = |(one, other): (&Life, &Life)| {
            near(one.entry(), other.entry())
                && near(one.end().known_good(), other.end().known_good())
                && near(one.end().last(), other.end().last())
        };
        both && self.lives.iter().zip(&other.lives).all(pair)
    }
}

/// How well each clock explains the stays' failures, the best first. Clocks by which all lives are the same count once.
pub fn told(clocks: &[Clock], stays: &[&Stay], materials: &Materials) -> Vec<Told> {
    let mut all: Vec<Told> = Vec::new();
    for told in clocks.iter().map(|clock| tell(clock, stays, materials)) {
        match all.iter_mut().find(|other| other.is_like(&told)) {
            Some(other) => other.same.push(told.clock),
            None => all.push(told),
        }
    }
    let best = all.iter().filter_map(|told| told.score).reduce(f64::max).unwrap_or(0.0);
    let weight = |told: &Told| told.score.map_or(0.0, |score| (score - best).exp());
    let sum: f64 = all.iter().map(weight).sum();
    for told in &mut all {
        told.share = if 0.0 < sum { weight(told) / sum } else { 0.0 };
    }
    all.sort_by(|one, other| other.share.total_cmp(&one.share));
    all
}

fn tell(clock: &Clock, stays: &[&Stay], materials: &Materials) -> Told {
    let lives: Vec<Life> = stays.iter().filter_map(|stay| clock.life(stay, materials)).collect();
    let unexplained = stays.len() - lives.len();
    let fit = Fit::new(&lives, Family::Weibull);
    let exact = |life: &Life| if let End::Failed(age) = life.end() { age.ln() } else { 0.0 };
    let score = match &fit {
        Ok(fit) if unexplained == 0 => Some(fit.log_likelihood() + lives.iter().map(exact).sum::<f64>()),
        _ => None,
    };
    Told { clock: clock.clone(), same: Vec::new(), lives, unexplained, fit, score, share: 0.0 }
}
