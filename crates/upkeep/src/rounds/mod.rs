//! Rounds: the visits of some days to come, as cheap as they can be made.

mod bound;
mod check;
mod cost;
mod group;
mod opening;
mod plan;
mod problem;
pub(crate) mod random;
mod reasons;
mod repack;
pub mod rhythm;
mod room;
mod search;
mod simple;
mod stage;
mod urgent;
mod wrong;

pub use check::{Broken, check};
pub(crate) use cost::of_visits;
pub use group::{Grouping, group};
pub use plan::{Effort, plan};
pub use problem::{Job, Keeper, MachineWork, Placed, Plan, Problem, Reason, Skills, Stock, ToldVisit, Unplaced};
pub use simple::{monthly, on_due_days};
pub(crate) use stage::placed;
pub use wrong::Wrong;
