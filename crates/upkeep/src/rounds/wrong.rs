//! Problems that can't be planned because they contradict themselves.

use super::problem::{MachineWork, Problem, ToldVisit};

/// What is wrong with a problem. All are mistakes of the program that states it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Wrong {
    /// More days than can be planned at once.
    #[error("a round of {days} days: plan {} days at most", Problem::MOST_DAYS)]
    TooManyDays {
        /// How many days.
        days: usize,
    },
    /// More jobs on one machine than can be planned at once.
    #[error("{machine} has {jobs} open jobs: plan {} at most", Problem::MOST_JOBS)]
    TooManyJobs {
        /// The machine.
        machine: String,
        /// How many jobs.
        jobs: usize,
    },
    /// Something has not as many values as there are days.
    #[error("{of}: {count} values where {expected} are needed, one for each day")]
    Length {
        /// Whose values.
        of: String,
        /// How many there are.
        count: usize,
        /// How many there should be.
        expected: usize,
    },
    /// An amount is not a number, or less than nothing.
    #[error("{of}: {value} is no amount")]
    Amount {
        /// Whose amount.
        of: String,
        /// The amount.
        value: f64,
    },
    /// Something names a job, access, stock, machine, keeper or day that is not there.
    #[error("{of} names number {index} of {count}")]
    Index {
        /// What names it.
        of: String,
        /// The index.
        index: usize,
        /// How many there are.
        count: usize,
    },
    /// Two visits that people have been told of hold the same job.
    #[error("{machine}: told visits hold {job} twice")]
    ToldTwice {
        /// The machine.
        machine: String,
        /// The job.
        job: String,
    },
}

impl Problem {
    /// The longest round that can be planned at once, in days.
    pub const MOST_DAYS: usize = 62;

    /// How many open jobs one machine may have.
    pub const MOST_JOBS: usize = 128;

    /// Whether the problem can be planned.
    ///
    /// # Errors
    /// The first thing that contradicts itself.
    pub fn check(&self) -> Result<(), Wrong> {
        if Self::MOST_DAYS < self.days {
            return Err(Wrong::TooManyDays { days: self.days });
        }
        for keeper in &self.keepers {
            amounts(&keeper.minutes, self.days, || format!("{}: free minutes", keeper.name))?;
        }
        for stock in &self.stocks {
            amounts(&stock.by_day, self.days, || format!("{}: stock", stock.name))?;
        }
        amount(self.worth_moving, || "what moving is worth".to_owned())?;
        self.machines.iter().try_for_each(|machine| check_machine(machine, self.days, self.stocks.len()))?;
        self.told.iter().try_for_each(|told| self.check_told(told))?;
        self.check_told_once()
    }

    fn check_told(&self, told: &ToldVisit) -> Result<(), Wrong> {
        index(told.machine, self.machines.len(), || "a told visit's machine".to_owned())?;
        let of = |what: &str| format!("{}: a told visit's {what}", self.machines[told.machine].name);
        index(told.day, self.days, || of("day"))?;
        index(told.keeper, self.keepers.len(), || of("keeper"))?;
        told.jobs.iter().try_for_each(|&job| index(job, self.machines[told.machine].jobs.len(), || of("job")))
    }

    fn check_told_once(&self) -> Result<(), Wrong> {
        let mut jobs: Vec<(usize, usize)> =
            self.told.iter().flat_map(|told| told.jobs.iter().map(|&job| (told.machine, job))).collect();
        jobs.sort_unstable();
        match jobs.windows(2).find(|pair| pair[0] == pair[1]) {
            Some(pair) => {
                let machine = &self.machines[pair[0].0];
                Err(Wrong::ToldTwice { machine: machine.name.clone(), job: machine.jobs[pair[0].1].name.clone() })
            }
            None => Ok(()),
        }
    }
}

fn check_machine(machine: &MachineWork, days: usize, n_stocks: usize) -> Result<(), Wrong> {
    let of = |what: &str| format!("{}: {what}", machine.name);
    let n_jobs = machine.jobs.len();
    if Problem::MOST_JOBS < n_jobs {
        return Err(Wrong::TooManyJobs { machine: machine.name.clone(), jobs: n_jobs });
    }
    amount(machine.setup_minutes, || of("set-up minutes"))?;
    amounts(&machine.setup_cost, days + 1, || of("set-up cost"))?;
    amounts(&machine.minute_cost, days + 1, || of("cost of a minute"))?;
    amounts(&machine.window, days, || of("windows"))?;
    machine.accesses.iter().try_for_each(|&minutes| amount(minutes, || of("access minutes")))?;
    for job in &machine.jobs {
        let of = |what: &str| format!("{}: {}: {what}", machine.name, job.name);
        amount(job.minutes, || of("minutes"))?;
        amounts(&job.costs, days + 1, || of("costs"))?;
        job.access.map_or(Ok(()), |access| index(access, machine.accesses.len(), || of("access")))?;
        for &(stock, used) in &job.uses {
            index(stock, n_stocks, || of("stock"))?;
            amount(used, || of("use"))?;
        }
    }
    machine.waits.iter().try_for_each(|(_, minutes)| amount(*minutes, || of("waits")))?;
    let waits = machine.waits.iter().map(|(pair, _)| pair);
    let pairs = machine.after.iter().chain(&machine.apart).chain(waits).flatten();
    pairs.copied().try_for_each(|job| index(job, n_jobs, || of("a pair of jobs")))
}

fn amounts(values: &[f64], expected: usize, of: impl Fn() -> String) -> Result<(), Wrong> {
    if values.len() != expected {
        return Err(Wrong::Length { of: of(), count: values.len(), expected });
    }
    values.iter().try_for_each(|&value| amount(value, &of))
}

fn amount(value: f64, of: impl Fn() -> String) -> Result<(), Wrong> {
    if value.is_finite() && 0.0 <= value { Ok(()) } else { Err(Wrong::Amount { of: of(), value }) }
}

fn index(index: usize, count: usize, of: impl Fn() -> String) -> Result<(), Wrong> {
    if index < count { Ok(()) } else { Err(Wrong::Index { of: of(), index, count }) }
}
