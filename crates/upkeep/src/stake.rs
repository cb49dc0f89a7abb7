//! What is at stake in money: life wasted by doing a task early, and risk taken by doing it late.

use crate::Prices;
use crate::build::{Neglect, Task};
use crate::risk::Risk;

/// What doing a task costs, and what not doing it does.
#[derive(Clone, Copy, Debug)]
pub struct Stake<'a> {
    /// What one doing costs by itself: labour and supplies.
    pub doing: f64,
    /// What one failure costs: what it leads to, and the work of mending, taken as that of doing the task. `None` where
    /// somebody may be injured: no money is weighed against that.
    pub failure: Option<f64>,
    /// How failures follow.
    pub risk: &'a Risk,
}

impl<'a> Stake<'a> {
    /// The stake in a task whose supplies cost `supplies`.
    pub fn new(task: &Task, supplies: f64, prices: &Prices, risk: &'a Risk) -> Stake<'a> {
        let doing = prices.labour(task.minutes) + supplies;
        Stake { doing, failure: prices.of(task.neglect).map(|consequence| consequence + doing), risk }
    }

    /// What doing it at that share of its allowance costs beyond doing it when due: the part of the work's worth that is
    /// thrown away before, the risk taken after. Nothing after, where somebody may be injured: such a task is not shifted.
    pub fn shifted(&self, share: f64) -> f64 {
        if share < 1.0 { self.early(share) } else { self.late(share) }
    }

    /// The part of the work's worth that is thrown away by doing it at that share of its allowance; nothing from 1 on.
    pub fn early(&self, share: f64) -> f64 {
        self.doing * (1.0 - share).max(0.0)
    }

    /// What the failures cost that are expected from when it was due up to that share of its allowance.
    pub fn late(&self, share: f64) -> f64 {
        self.failure.unwrap_or(0.0) * self.risk.between(1.0, share.max(1.0))
    }

    /// What the failures cost that are expected while the share goes from one to another.
    pub fn waiting(&self, from: f64, to: f64) -> Option<f64> {
        Some(self.failure? * self.risk.between(from, to))
    }
}

/// Whether a task that is past its limit forbids to run the machine: where neglect may injure somebody or damage the machine.
pub fn forbids_running(task: &Task, share: f64) -> bool {
    Neglect::Damage <= task.neglect && 1.0 <= share
}
