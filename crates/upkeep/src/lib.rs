//! The domain of tallow, as pure functions over plain data: builds, meters, what is due, forecasts.
//!
//! No I/O and no clock: the day is an argument, so that a list made last March can be made again and compared.

pub mod agenda;
pub mod ahead;
pub mod amount;
pub mod before;
pub mod booking;
pub mod build;
pub mod due;
pub mod entry;
pub mod estimate;
pub mod forecast;
pub mod habit;
mod history;
pub mod lives;
pub mod material;
pub mod measure;
mod meter;
pub mod moves;
mod nearest;
pub mod prices;
pub mod rates;
pub mod replay;
pub mod risk;
pub mod rounds;
pub mod rules;
pub mod shop;
pub mod shopping;
pub mod stake;
pub mod state;
pub mod stores;
pub mod supply;
pub mod usage;
pub mod used;
pub mod visit;

pub use ahead::{Ahead, ahead};
pub use before::{Asked, Before, Takes, Worth, before, free_from};
pub use build::{Build, BuildError, BuildErrors};
pub use due::{Due, When, due};
pub use entry::{Entry, EntryId, Event};
pub use estimate::{Estimate, EstimateError, Ratio, Ratios};
pub use forecast::{Grounds, Likely, UseGrounds};
pub use habit::Habit;
pub use history::days_after;
pub use material::{Material, MaterialClass, MaterialInfo, Materials};
pub use nearest::{Unknown, nearest, slip_of};
pub use prices::Prices;
pub use rates::{RateError, Rates};
pub use replay::{Calibration, Past, Scored, calibration, replay};
pub use risk::{Risk, risks};
pub use shop::ShopError;
pub use stake::Stake;
pub use state::{Care, DayUse, MachineState, QueuedUse, Standing};
pub use supply::{Kind, Supplies};
pub use usage::Usage;
pub use used::{LimitUsed, Since, SinceWhat, Used, part_meters, used};
