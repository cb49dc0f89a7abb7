//! Rounds: the visits of some days to come, as cheap as they can be made.

mod problem;

pub use problem::{Job, Keeper, MachineWork, Placed, Plan, Problem, Reason, Skills, Stock, ToldVisit, Unplaced};
