//! How often to look.
//!
//! Two questions. A fault that shows before it fails must be seen in the delay between (the P–F interval of the trade; as a
//! law, the delay time of Christer & Waller (1984), Journal of the Operational Research Society 35: 401–406): [`Looks`]. A
//! fault that nobody notices until somebody looks costs from its start: [`HiddenFailure`] (Barlow & Proschan (1965),
//! chapter 4, section 3).

use crate::replace::Best;
use crate::solve::{global_minimum, root};
use crate::{Error, Law, positive};

/// The delay from a fault's first sign to the failure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Delay {
    /// Always this long.
    Span(f64),
    /// Of this law.
    Law(Law),
}

impl Delay {
    /// ∫ P(delay > u) du from 0 to `age`.
    fn mean_up_to(&self, age: f64) -> f64 {
        match self {
            Delay::Span(span) => span.min(age),
            Delay::Law(law) => law.mean_up_to(age),
        }
    }

    fn mean(&self) -> f64 {
        match self {
            Delay::Span(span) => *span,
            Delay::Law(law) => law.mean(),
        }
    }

    /// A delay by which nearly all faults have failed, and the ratio of a grid of intervals that misses no dip of their costs.
    fn longest(&self) -> (f64, f64) {
        match self {
            Delay::Span(span) => (*span, 1.01),
            // OK because the chance is one.
            Delay::Law(law) => (law.quantile(1.0 - 1e-9).expect("a chance"), law.grid_ratio()),
        }
    }
}

/// The least chance to see a fault at a look that is taken for a look.
const BARELY: f64 = 0.001;

/// Looks at equal intervals for the signs of a fault that may begin at any time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Looks {
    delay: Delay,
    sees: f64,
}

impl Looks {
    /// Looks for a fault of that delay, of which each sees it, if it is there, with the chance `sees` (1: always), whatever
    /// the looks before have seen.
    ///
    /// # Errors
    /// A delay that is not positive and finite; a chance outside 0.001 to 1.
    pub fn new(delay: Delay, sees: f64) -> Result<Looks, Error> {
        if let Delay::Span(span) = delay {
            positive("the delay", span)?;
        }
        if !(BARELY..=1.0).contains(&sees) {
            let what = "the chance to see a fault at a look";
            return Err(Error::OutOfRange { what, got: sees, from: BARELY, to: 1.0 });
        }
        Ok(Looks { delay, sees })
    }

    /// The chance that a fault is seen before it fails if looks are `interval` apart.
    ///
    /// # Formula
    /// The first look after the sign comes at a time that is uniform over the interval T, so the k-th finds the part good
    /// with the chance (1/T)·∫ S from (k−1)T to kT; it is the one that sees with the chance p·(1 − p)^(k−1).
    ///
    /// # Errors
    /// An interval that is not positive and finite.
    pub fn chance(&self, interval: f64) -> Result<f64, Error> {
        Ok(self.seen(positive("the interval", interval)?))
    }

    /// The longest interval at which a fault is seen before it fails with the chance `wanted`.
    ///
    /// # Errors
    /// A chance that does not lie between 0 and 1.
    pub fn longest(&self, wanted: f64) -> Result<f64, Error> {
        if !(0.0 < wanted && wanted < 1.0) {
            let what = "the wanted chance to see a fault in time";
            return Err(Error::OutOfRange { what, got: wanted, from: 0.0, to: 1.0 });
        }
        // The chance falls as the interval grows, is below p·mean/T, and goes to 1 as the interval goes to nothing.
        let high = self.sees * self.delay.mean() / wanted;
        let mut low = high;
        while self.seen(low) < wanted && f64::MIN_POSITIVE < low {
            low *= 0.5;
        }
        Ok(root(|interval| wanted - self.seen(interval), low, high))
    }

    fn seen(&self, interval: f64) -> f64 {
        let (mut chance, mut unseen, mut before) = (0.0, 1.0, 0.0);
        let mut end = 0.0;
        while 1e-17 < unseen && before < self.delay.mean() {
            end += interval;
            let after = self.delay.mean_up_to(end);
            chance += self.sees * unseen * (after - before) / interval;
            if after <= before {
                break;
            }
            unseen *= 1.0 - self.sees;
            before = after;
        }
        chance.min(1.0)
    }
}

/// What looks for signs cost, with the repairs that they lead to and the failures that they do not prevent (the basic
/// delay-time model of Christer & Waller (1984)).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LookCosts {
    looks: Looks,
    signs: f64,
    look_cost: f64,
    planned_cost: f64,
    failure_cost: f64,
}

impl LookCosts {
    /// Those looks for faults whose first signs come by chance, `signs` per unit of time, at these costs of a look, of a
    /// repair that is planned since the sign was seen, and of a failure.
    ///
    /// # Errors
    /// A rate or a cost that is not positive and finite.
    pub fn new(
        looks: Looks,
        signs: f64,
        look_cost: f64,
        planned_cost: f64,
        failure_cost: f64,
    ) -> Result<LookCosts, Error> {
        Ok(LookCosts {
            looks,
            signs: positive("the rate of first signs", signs)?,
            look_cost: positive("the cost of a look", look_cost)?,
            planned_cost: positive("the cost of a planned repair", planned_cost)?,
            failure_cost: positive("the cost of a failure", failure_cost)?,
        })
    }

    /// The costs per unit of time when looks are `interval` apart.
    ///
    /// # Formula
    /// cl/T + λ·(cp·b(T) + cf·(1 − b(T))), b the chance to see a fault in time, [`Looks::chance`].
    ///
    /// # Errors
    /// An interval that is not positive and finite.
    pub fn cost_rate(&self, interval: f64) -> Result<f64, Error> {
        Ok(self.rate(positive("the interval", interval)?))
    }

    /// The costs per unit of time of never looking: λ·cf.
    pub fn cost_rate_without(&self) -> f64 {
        self.signs * self.failure_cost
    }

    /// The best interval, with the saving against never looking; `None` if never looking is best.
    ///
    /// # Formula
    /// A search of all of the curve. Since b ≤ 1, an interval that beats never looking is longer than cl/(λ·(cf − cp)); since
    /// T·b(T) is at most the mean delay μ, there is none unless cl < λ·(cf − cp)·μ; and past the longest delay T·b(T) stays
    /// as it is.
    pub fn best(&self) -> Option<Best> {
        let saved = self.signs * (self.failure_cost - self.planned_cost);
        if saved * self.looks.delay.mean() <= self.look_cost {
            return None;
        }
        let (longest, ratio) = self.looks.delay.longest();
        let age = global_minimum(|interval| self.rate(interval), self.look_cost / saved, longest, ratio);
        let cost_rate = self.rate(age);
        let saving = 1.0 - cost_rate / self.cost_rate_without();
        (NO_GAIN < saving).then_some(Best { age, cost_rate, saving })
    }

    fn rate(&self, interval: f64) -> f64 {
        let seen = self.looks.seen(interval);
        self.look_cost / interval + self.signs * (self.planned_cost * seen + self.failure_cost * (1.0 - seen))
    }
}

/// A failure that shows at looks only, is put right there, and starts anew.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HiddenFailure {
    law: Law,
    look_cost: f64,
    undetected_cost: f64,
    repair_cost: f64,
}

/// Terms of a sum over looks that are added one by one; the rest is an integral with Euler's corrections.
const TERMS: u32 = 4096;

/// A saving of less than this share is none.
const NO_GAIN: f64 = 1e-6;

impl HiddenFailure {
    /// Failures of that law, at these costs of a look, of a unit of time that a failure goes undetected, and of the repair,
    /// which may cost nothing.
    ///
    /// # Errors
    /// A cost that is not positive and finite; a repair's that is negative.
    pub fn new(law: Law, look_cost: f64, undetected_cost: f64, repair_cost: f64) -> Result<HiddenFailure, Error> {
        if !(0.0..f64::INFINITY).contains(&repair_cost) {
            let what = "the cost of a repair";
            return Err(Error::OutOfRange { what, got: repair_cost, from: 0.0, to: f64::INFINITY });
        }
        Ok(HiddenFailure {
            law,
            look_cost: positive("the cost of a look", look_cost)?,
            undetected_cost: positive("the cost of time undetected", undetected_cost)?,
            repair_cost,
        })
    }

    /// The costs per unit of time when looks are `interval` apart.
    ///
    /// # Formula
    /// N = Σ S(kT) over k ≥ 0 looks find one failure, T·N after the start: (c1·N + c2·(T·N − μ) + c3)/(T·N).
    ///
    /// # Errors
    /// An interval that is not positive and finite.
    pub fn cost_rate(&self, interval: f64) -> Result<f64, Error> {
        Ok(self.rate(positive("the interval", interval)?))
    }

    /// The best interval, with the saving against never looking, which costs c2 for ever; `None` if never looking is best.
    ///
    /// # Formula
    /// The cost rate is c1/T + c2 − A/(T·N), A = c2·μ − c3. Exponential: the root of A·(1 − (1 + λT)·exp(−λT)) = c1, if
    /// c1 < A. Others by a search of all of the curve; since T·N ≥ μ, an interval that beats never looking is longer than
    /// c1·μ/A.
    pub fn best(&self) -> Option<Best> {
        let mean = self.law.mean();
        let gain = self.undetected_cost * mean - self.repair_cost;
        if gain <= self.look_cost {
            return None;
        }
        let shortest = self.look_cost / gain * mean;
        let age = match self.law.family() {
            crate::Family::Exponential => self.exponential_best(gain, mean, shortest),
            _ => global_minimum(|interval| self.rate(interval), shortest, self.longest(), self.law.grid_ratio()),
        };
        let cost_rate = self.rate(age);
        let saving = 1.0 - cost_rate / self.undetected_cost;
        (NO_GAIN < saving).then_some(Best { age, cost_rate, saving })
    }

    fn exponential_best(&self, gain: f64, mean: f64, shortest: f64) -> f64 {
        // 1 − (1 + x)·e^−x, with its digits where x is small.
        let seen = |x: f64| -(-x).exp_m1() - x * (-x).exp();
        root(|interval| gain * seen(interval / mean) - self.look_cost, shortest, 40.0 * mean)
    }

    /// An interval by which nearly all have failed.
    fn longest(&self) -> f64 {
        // OK because the chance is one.
        self.law.quantile(1.0 - 1e-9).expect("a chance")
    }

    fn rate(&self, interval: f64) -> f64 {
        let cycle = interval * self.looks(interval);
        let undetected = (cycle - self.law.mean()).max(0.0);
        (self.look_cost * cycle / interval + self.undetected_cost * undetected + self.repair_cost) / cycle
    }

    /// Σ S(kT) over k ≥ 0.
    fn looks(&self, interval: f64) -> f64 {
        let mut sum = 0.0;
        for k in 0..TERMS {
            let survival = self.law.survival(f64::from(k) * interval);
            sum += survival;
            if survival < 1e-17 * sum {
                return sum;
            }
        }
        let age = f64::from(TERMS) * interval;
        let survival = self.law.survival(age);
        let integral = self.law.mean_residual(age) * survival / interval;
        sum + integral + 0.5 * survival + interval * self.law.density(age) / 12.0
    }
}
