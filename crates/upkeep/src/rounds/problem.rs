//! What is to be planned, and what a plan is: plain data.

/// Skills as a set of bits; what each stands for is the caller's word.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Skills(pub u32);

impl Skills {
    /// Whether these hold all of `others`.
    pub fn hold(self, others: Skills) -> bool {
        others.0 & !self.0 == 0
    }
}

/// A round to be planned.
#[derive(Clone, Debug, Default)]
pub struct Problem {
    /// How many days, from today on; at most [`Problem::MOST_DAYS`].
    pub days: usize,
    /// Who can do the work.
    pub keepers: Vec<Keeper>,
    /// What is open, machine by machine.
    pub machines: Vec<MachineWork>,
    /// What is in the stores, of what jobs use.
    pub stocks: Vec<Stock>,
    /// Visits that people have been told of.
    pub told: Vec<ToldVisit>,
    /// The least saving for which a told visit is moved or called off, money.
    pub worth_moving: f64,
}

/// Somebody who can do the work.
#[derive(Clone, Debug, PartialEq)]
pub struct Keeper {
    /// The name.
    pub name: String,
    /// What they may do.
    pub skills: Skills,
    /// Free minutes on each day.
    pub minutes: Vec<f64>,
}

/// What is open on one machine.
#[derive(Clone, Debug, PartialEq)]
pub struct MachineWork {
    /// The machine's name.
    pub name: String,
    /// Minutes that a visit takes besides its jobs: powering down, cooling, opening, homing, testing.
    pub setup_minutes: f64,
    /// What a visit costs besides its jobs on each day, and after the last: labour, and the machine standing still where it has
    /// work. `days + 1` amounts of money.
    pub setup_cost: Vec<f64>,
    /// What a minute of a visit's jobs and accesses costs on each day because the machine stands still, and after the last:
    /// money, `days + 1`. Jobs that are left pay it for the day after the last.
    pub minute_cost: Vec<f64>,
    /// Minutes on each day in which the machine may be visited.
    pub window: Vec<f64>,
    /// Minutes that each way of getting at parts takes, once in a visit for all jobs that need it.
    pub accesses: Vec<f64>,
    /// What is open.
    pub jobs: Vec<Job>,
    /// Pairs of jobs of which the second is not to be done on an earlier day than the first, nor without it.
    pub after: Vec<[usize; 2]>,
    /// Pairs of jobs that are never done in one visit.
    pub apart: Vec<[usize; 2]>,
    /// Pairs of jobs that in one visit must wait for each other, until the machine has cooled or is switched once more, and for
    /// how many minutes. A visit waits as long as the pair of its jobs that waits the longest; the keeper's minutes go by, and
    /// no cost is counted for it.
    pub waits: Vec<([usize; 2], f64)>,
}

/// A task that may be done, or several that must be done together.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// Its name.
    pub name: String,
    /// Minutes of hands-on work.
    pub minutes: f64,
    /// What it costs to do it on each day (life wasted before it is due, risk taken after), and last what it costs to leave it
    /// until after the last day: `days + 1` amounts of money. Labour that is spent in any case is not among them.
    pub costs: Vec<f64>,
    /// Whether it is due by the end of the last day, so that leaving it means a visit thereafter: a machine of which such a job is
    /// left pays its set-up once more, and the accesses of such jobs, at the cost after the last day.
    pub is_due_within: bool,
    /// Whether somebody may be hurt or the machine damaged while it is left: it goes before all else, as early as it can.
    pub is_urgent: bool,
    /// What one must be able to do.
    pub skills: Skills,
    /// The index of the way of getting at it, if it shares one.
    pub access: Option<usize>,
    /// Indices of stocks, and how much of each it uses.
    pub uses: Vec<(usize, f64)>,
}

/// A supply or spare.
#[derive(Clone, Debug, PartialEq)]
pub struct Stock {
    /// Its name.
    pub name: String,
    /// What has been in the stores by each day if nothing is used: on hand at first, and what arrives.
    pub by_day: Vec<f64>,
}

/// A visit that people have been told of. Where the keeper still goes to the machine on that day it stands, with whatever jobs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ToldVisit {
    /// The machine's index.
    pub machine: usize,
    /// The day, from 0 for today.
    pub day: usize,
    /// The keeper's index.
    pub keeper: usize,
    /// Indices of its jobs.
    pub jobs: Vec<usize>,
    /// Whether it stands whatever it costs, with all its jobs, even where minutes, windows, supplies or skills lack or other
    /// jobs should go before.
    pub is_locked: bool,
}

/// A plan with what it costs, and what no plan can cost less than.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// The visits, by day, keeper and machine.
    pub visits: Vec<Placed>,
    /// What could not be placed, though it should.
    pub unplaced: Vec<Unplaced>,
    /// What it costs: set-ups, standing still, what jobs cost on their days and what leaving the others costs.
    pub cost: f64,
    /// A bound that the cost of no plan with the same urgent work can fall below.
    pub bound: f64,
}

impl Plan {
    /// How far the cost may be above the best, as a share of the cost; 0 where it costs nothing.
    pub fn gap(&self) -> f64 {
        if 0.0 < self.cost { (self.cost - self.bound).max(0.0) / self.cost } else { 0.0 }
    }
}

/// A visit in a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// The machine's index.
    pub machine: usize,
    /// The day, from 0 for today.
    pub day: usize,
    /// The keeper's index.
    pub keeper: usize,
    /// Indices of its jobs, ascending.
    pub jobs: Vec<usize>,
    /// Minutes, set-up, accesses and waits included.
    pub minutes: f64,
}

/// A job that should be in the plan and is not.
#[derive(Clone, Debug, PartialEq)]
pub struct Unplaced {
    /// The machine's index.
    pub machine: usize,
    /// The job's index.
    pub job: usize,
    /// Why.
    pub why: Reason,
}

/// Why a job could not be placed. The first that holds is told.
#[derive(Clone, Debug, PartialEq)]
pub enum Reason {
    /// There is no keeper.
    NoKeeper,
    /// No keeper may do it.
    NoSkill,
    /// No keeper's day is as long as its visit: minutes needed, and the longest day.
    NoDayLongEnough {
        /// Minutes that a visit with this job alone takes.
        needed: f64,
        /// The longest day of a keeper who may do it, min.
        longest: f64,
    },
    /// The machine is never free for long enough: minutes needed, and the longest window.
    NoWindow {
        /// Minutes that a visit with this job alone takes.
        needed: f64,
        /// The longest window, min.
        longest: f64,
    },
    /// A supply does not suffice even if nothing else uses it: its index, what is needed and what there is at most.
    NoSupply {
        /// The stock's index.
        stock: usize,
        /// How much it uses.
        needed: f64,
        /// How much there is on the last day.
        most: f64,
    },
    /// It waits for itself through others.
    Cycle,
    /// It waits for a job that can't be done: that job's index.
    Waits {
        /// The index of the job that goes before.
        job: usize,
    },
    /// On the days on which there is room for it, it costs more than leaving it.
    Dear,
    /// Each of these would do, but others need the same minutes or supplies more.
    Crowded,
}
