//! The arithmetic of stores: how much will be asked for, how low a stock may fall, how much to buy, and when.
//!
//! Plain numbers in, plain numbers out; every amount of an item is in that item's own unit, and nothing here asks which.
//! [`Demand`] says what a wait may ask for, [`buy`] makes the shopping list, [`supplied`] looks ahead at work. How each
//! figure is found stands in docs/STORES.md.

mod buy;
mod demand;
mod normal;
mod quantity;
mod shelf;
mod supplied;
mod wrong;

pub use buy::{Bought, Line, Why, buy};
pub use demand::{Demand, Newsvendor, Spread};
pub use normal::loss;
pub use quantity::{Costs, packs};
pub use shelf::{Lot, Shelf};
pub use supplied::{Source, Supplied, supplied};
pub use wrong::StoresError;

/// Amounts below this are rounding, in any unit.
const NOUGHT: f64 = 1e-9;
