//! What was ordered and is still to come, and the stores as the days to come will find them.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::Item;
use super::stock::sum;
use crate::EntryId;
use crate::stores::{Lot, Shelf, Source, StoresError};

/// An order of which some is still to come.
#[derive(Clone, Debug, PartialEq)]
pub struct Coming {
    /// The entry that says so.
    pub entry: EntryId,
    /// How much is still to come, in the item's unit.
    pub amount: f64,
    /// The day by which it is to be there.
    pub by: Date,
    /// Who supplies it; may be empty.
    pub supplier: String,
}

impl Coming {
    /// Whether it should have come before `today`. Then nobody knows when it will.
    pub fn is_late(&self, today: Date) -> bool {
        self.by < today
    }
}

impl Item {
    /// How much is on its way; what is late is not counted.
    pub fn on_its_way(&self, today: Date) -> f64 {
        sum(self.coming.iter().filter(|order| !order.is_late(today)).map(|order| order.amount))
    }

    /// What is there and good, and from its day on what is on its way; what is late is not counted.
    ///
    /// # Errors
    /// A negative amount.
    pub fn shelf(&self, today: Date) -> Result<Shelf, StoresError> {
        let good = self.batches.iter().filter(|batch| batch.expires.is_none_or(|expires| today <= expires));
        let there = good.map(|batch| Lot { amount: batch.amount, from: None, expires: batch.expires });
        let coming = self.coming.iter().filter(|order| !order.is_late(today));
        let coming = coming.map(|order| Lot { amount: order.amount, from: Some(order.by), expires: None });
        Shelf::new(there.chain(coming).collect())
    }
}

/// Where the work to come takes from, by name; what was never counted is left out.
///
/// # Errors
/// A negative amount.
pub fn sources(items: &[Item], today: Date) -> Result<BTreeMap<String, Source>, StoresError> {
    let counted = items.iter().filter(|item| item.stock.is_some());
    let source = |item: &Item| {
        let lead_days = item.terms.as_ref().map(|terms| terms.lead_days);
        Ok((item.name.clone(), Source { shelf: item.shelf(today)?, lead_days }))
    };
    counted.map(source).collect()
}
