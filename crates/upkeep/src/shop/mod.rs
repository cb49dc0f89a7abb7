//! What a shop says of itself: its keepers, its stores, and the visits that people have been told of.
//!
//! Each is a few kinds of entry (plain data with a check) and a fold over the entries that stand: [`keepers`] for who
//! works when, [`stores()`] for what is there.

mod coming;
mod error;
mod keeper;
mod measured;
mod stock;
mod stores;
mod uses;
mod visit;
pub mod week;

pub use coming::{Coming, sources};
pub use error::{ShopError, said};
pub use keeper::{Away, Keeper, QUALIFIED, Rostered, keepers};
pub use measured::Measured;
pub use stock::{Batch, Book, Item, Kept, kept, stores, used_from};
pub use stores::{Counted, Ordered, Received, Terms, ThrownAway, USUAL_SERVICE, expiry, item_named};
pub use uses::{Use, uses};
pub use visit::Visit;
