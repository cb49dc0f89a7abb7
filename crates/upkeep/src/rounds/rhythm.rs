//! The standing rhythm of one machine: a visit every so often, and each work in every visit, every second one, …
//!
//! This is joint replenishment (Goyal 1974, Management Science 21, 436–443; Silver 1976, Management Science 22, 1351–1361;
//! years, volumes and pages from memory) with costs that may grow by any power. With a visit each T and work i in every kᵢ-th
//! of them the cost rate is
//!
//! C(T, k) = S/T + Σ rᵢ(kᵢT),   rᵢ(t) = aᵢ/t + cᵢ·t^(bᵢ−1),   kᵢT ≤ Lᵢ
//!
//! for a set-up S, and works that cost aᵢ each time, after which failures that cost cᵢ·t^bᵢ are expected by t. The classic
//! form is b = 2 and c half of the holding cost. A visit in which no work has its turn counts as well.
//!
//! # Theorem
//! *The least C is found by looking at finitely many intervals of T.* Proof: rᵢ falls to one lowest place t* and rises from it,
//! since t²·rᵢ′ = cᵢ(bᵢ−1)·t^bᵢ − aᵢ rises. So for a given T the best kᵢ is the least k with rᵢ(kT) ≤ rᵢ((k+1)T), or ⌊Lᵢ/T⌋ if
//! that is less. The first holds from T^bᵢ = aᵢ / (cᵢ·k(k+1)((k+1)^(bᵢ−1) − k^(bᵢ−1))) on, the second changes at Lᵢ/k. Between
//! two neighbouring such places all k are the same, and T²·∂C/∂T = Σ cᵢ(bᵢ−1)kᵢ^(bᵢ−1)·T^bᵢ − S − Σ aᵢ/kᵢ rises, so that the
//! best T there is its root, or an end. From the largest place of k = 1 on all k are 1. Below T = S/(C° − Σ min rᵢ), for the
//! cost rate C° of any rhythm, nothing is better than C°, because C ≥ S/T + Σ min rᵢ. In between are finitely many places. ∎

/// A kind of work that comes again and again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Recurring {
    /// What doing it once costs.
    pub doing: f64,
    /// What the failures cost that are expected by time 1 after it was done.
    pub growth: f64,
    /// The power of time by which that grows, at least 1.
    pub power: f64,
    /// The longest time that may pass from one doing to the next; may be infinite where failures grow by a power above 1.
    pub most: f64,
}

/// Why there is no rhythm.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoRhythm {
    /// No work.
    #[error("a rhythm needs at least one kind of work")]
    NoWork,
    /// Going to the machine costs nothing, so that no visit is too many.
    #[error("a visit's set-up costs {setup}: a rhythm needs one that costs more than nothing")]
    Setup {
        /// What it costs.
        setup: f64,
    },
    /// A work with a cost, power or limit that can't be.
    #[error(
        "work {work}: costs must not be negative, its power at least 1, its limit above 0, and finite if nothing grows"
    )]
    Work {
        /// Its index.
        work: usize,
    },
}

/// A visit each `interval`, and each work in every so many of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Rhythm {
    /// From one visit to the next.
    pub interval: f64,
    /// Each work is done in every visit (1), every second one (2), …
    pub every: Vec<u32>,
    /// What that costs by unit of time.
    pub cost_rate: f64,
}

/// A machine's set-up with its works, checked.
#[derive(Clone, Debug)]
pub struct Works<'a> {
    setup: f64,
    works: &'a [Recurring],
}

impl<'a> Works<'a> {
    /// The works of a machine where going there once costs `setup`.
    ///
    /// # Errors
    /// Numbers of which there is no best rhythm.
    pub fn new(setup: f64, works: &'a [Recurring]) -> Result<Works<'a>, NoRhythm> {
        if works.is_empty() {
            return Err(NoRhythm::NoWork);
        }
        if !(0.0 < setup && setup < f64::INFINITY) {
            return Err(NoRhythm::Setup { setup });
        }
        match works.iter().position(|work| !work.is_sound()) {
            Some(work) => Err(NoRhythm::Work { work }),
            None => Ok(Works { setup, works }),
        }
    }

    /// The rhythm of the least cost rate.
    pub fn best(&self) -> Rhythm {
        let ones = vec![1; self.works.len()];
        let most = self.longest();
        let all_at_once = self.best_within(&ones, 0.0, most);
        let top = self.works.iter().map(|work| work.place(1)).fold(all_at_once, f64::max).min(most);
        let mut best =
            self.at(all_at_once).unwrap_or(Rhythm { interval: all_at_once, every: ones, cost_rate: f64::INFINITY });
        let own: f64 = self.works.iter().map(|work| work.rate(work.own_best())).sum();
        let low = (self.setup / (best.cost_rate - own)).min(all_at_once);
        let mut places: Vec<f64> = self.works.iter().flat_map(|work| work.places(low)).collect();
        places.extend([low, top]);
        places.retain(|place| (low..=top).contains(place));
        places.sort_by(f64::total_cmp);
        places.dedup();
        for ends in places.windows(2) {
            let middle = 0.5 * (ends[0] + ends[1]);
            let every: Vec<u32> = self.works.iter().map(|work| work.every(middle)).collect();
            let interval = self.best_within(&every, ends[0], ends[1]);
            let cost_rate = self.cost_rate(interval, &every);
            if cost_rate < best.cost_rate {
                best = Rhythm { interval, every, cost_rate };
            }
        }
        best
    }

    /// The best rhythm with that interval; `None` where some work may not wait that long.
    pub fn at(&self, interval: f64) -> Option<Rhythm> {
        if !(0.0 < interval && interval <= self.longest()) {
            return None;
        }
        let every: Vec<u32> = self.works.iter().map(|work| work.every(interval)).collect();
        let cost_rate = self.cost_rate(interval, &every);
        Some(Rhythm { interval, every, cost_rate })
    }

    /// The best rhythm whose interval is a whole number, of days for instance; `None` where some work may not wait for 1.
    pub fn best_in_whole(&self) -> Option<Rhythm> {
        // From here on all are in every visit, and the cost rate rises.
        let all_at_once = self.best_within(&vec![1; self.works.len()], 0.0, self.longest());
        let top = self.works.iter().map(|work| work.place(1)).fold(all_at_once, f64::max).ceil().min(self.longest());
        let rhythms = (1..=top as u32).filter_map(|interval| self.at(f64::from(interval)));
        rhythms.min_by(|a, b| a.cost_rate.total_cmp(&b.cost_rate))
    }

    /// What no way of visiting can cost less than by unit of time, in the long run, be it a rhythm or not.
    ///
    /// # Theorem
    /// *It is the least of S/T + Σ rᵢ(tᵢ) over T and real tᵢ with T ≤ tᵢ ≤ Lᵢ.* Proof: that problem is convex in 1/T and 1/tᵢ,
    /// so its least value is that of S₁…Sₙ ≥ 0 with Σ Sᵢ = S for which Σ min (rᵢ(t) + Sᵢ/t) is greatest. Let each visit pay Sᵢ for
    /// each work in it: that is no more than S. In the long run work i then costs, over the times t from one doing to the next,
    /// (Σ aᵢ + Sᵢ + cᵢ·t^bᵢ) / Σ t, and a quotient of sums is no less than the least of the quotients. ∎ The idea: Jackson,
    /// Maxwell & Muckstadt (1985), IIE Transactions 17, 25–32 (from memory).
    pub fn bound(&self) -> f64 {
        let pull = |interval: f64| -> f64 { self.works.iter().map(|work| work.pull(interval).max(0.0)).sum() };
        let alone = self.works.iter().map(|work| work.balanced(self.setup + work.doing));
        let interval = root(0.0, alone.fold(self.longest(), f64::min), |interval| pull(interval) - self.setup);
        let at_best = |work: &Recurring| work.rate(work.own_best().max(interval));
        self.setup / interval + self.works.iter().map(at_best).sum::<f64>()
    }

    fn cost_rate(&self, interval: f64, every: &[u32]) -> f64 {
        let rate = |(work, every): (&Recurring, &u32)| work.rate(f64::from(*every) * interval);
        self.setup / interval + self.works.iter().zip(every).map(rate).sum::<f64>()
    }

    /// The longest interval that every work bears.
    fn longest(&self) -> f64 {
        self.works.iter().map(|work| work.most).fold(f64::INFINITY, f64::min)
    }

    /// The best interval from `low` to `high` where each work is in every so many visits.
    fn best_within(&self, every: &[u32], low: f64, high: f64) -> f64 {
        // T²·∂C/∂T.
        let turned = |interval: f64| {
            let pull = |(work, every): (&Recurring, &u32)| work.pull(f64::from(*every) * interval) / f64::from(*every);
            self.works.iter().zip(every).map(pull).sum::<f64>() - self.setup
        };
        let paid: f64 =
            self.setup + self.works.iter().zip(every).map(|(work, &k)| work.doing / f64::from(k)).sum::<f64>();
        let alone = |(work, &k): (&Recurring, &u32)| work.balanced(paid * f64::from(k)) / f64::from(k);
        let high = self.works.iter().zip(every).map(alone).fold(high, f64::min);
        root(low.min(high), high, turned)
    }
}

impl Recurring {
    fn is_sound(&self) -> bool {
        let are_amounts = [self.doing, self.growth].iter().all(|amount| (0.0..f64::INFINITY).contains(amount));
        let ends = self.rises() || self.most < f64::INFINITY;
        are_amounts && (1.0..f64::INFINITY).contains(&self.power) && 0.0 < self.most && ends
    }

    /// Whether waiting ever costs more by unit of time.
    fn rises(&self) -> bool {
        0.0 < self.growth && 1.0 < self.power
    }

    /// What it costs by unit of time if it is done each `time`.
    fn rate(&self, time: f64) -> f64 {
        self.doing / time + self.growth * time.powf(self.power - 1.0)
    }

    /// The time's square times the slope of the rate: rises with time.
    fn pull(&self, time: f64) -> f64 {
        self.growth * (self.power - 1.0) * time.powf(self.power) - self.doing
    }

    /// The time at which growth alone balances `paid`: c(b−1)·t^b = paid; infinite where nothing grows.
    fn balanced(&self, paid: f64) -> f64 {
        if self.rises() { (paid / (self.growth * (self.power - 1.0))).powf(1.0 / self.power) } else { f64::INFINITY }
    }

    /// The time from one doing to the next that is best if visits were free.
    fn own_best(&self) -> f64 {
        self.balanced(self.doing).min(self.most)
    }

    /// In every how many visits it is best done, at a given interval.
    fn every(&self, interval: f64) -> u32 {
        // A limit that is a multiple of the interval may come out a hair below it.
        let most = (self.most / interval * (1.0 + 1e-12)).floor().max(1.0);
        let below = (self.own_best() / interval).floor().clamp(1.0, most);
        let above = (below + 1.0).min(most);
        let is_above = self.rate(above * interval) < self.rate(below * interval);
        (if is_above { above } else { below }) as u32
    }

    /// The interval from which on every k-th visit is better than every (k+1)-th; infinite where nothing grows.
    fn place(&self, k: u32) -> f64 {
        let (k, next) = (f64::from(k), f64::from(k) + 1.0);
        let (low, high) = (k.powf(self.power - 1.0), next.powf(self.power - 1.0));
        if self.rises() {
            (self.doing / (self.growth * k * next * (high - low))).powf(1.0 / self.power)
        } else {
            f64::INFINITY
        }
    }

    /// The intervals from `low` on at which [`Recurring::every`] changes.
    fn places(&self, low: f64) -> Vec<f64> {
        let own = (1..).map(|k| self.place(k)).take_while(|place| (low..f64::INFINITY).contains(place));
        let limits = (1..).map(|k| self.most / f64::from(k)).take_while(|place| (low..f64::INFINITY).contains(place));
        own.chain(limits).collect()
    }
}

/// Where a rising function passes nought between two places, or the nearer end.
fn root(mut low: f64, mut high: f64, rising: impl Fn(f64) -> f64) -> f64 {
    if rising(high) <= 0.0 {
        return high;
    }
    loop {
        let middle = 0.5 * (low + high);
        if middle <= low || high <= middle {
            return high;
        }
        if rising(middle) < 0.0 { low = middle } else { high = middle }
    }
}
