//! What is there and what is on its way, by day, taken first expired first out.

use jiff::civil::Date;

use super::wrong::not_negative;
use super::{NOUGHT, StoresError};

/// Some of an item that came, or will come, together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lot {
    /// How much, in the item's unit.
    pub amount: f64,
    /// The first day on which it is there; `None` where it is already.
    pub from: Option<Date>,
    /// The last day on which it is good; `None` where it keeps.
    pub expires: Option<Date>,
}

/// The lots of one item.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Shelf {
    /// What expires first stands first, and of equals what came first.
    lots: Vec<Lot>,
}

impl Lot {
    fn is_there_on(&self, day: Date) -> bool {
        self.from.is_none_or(|from| from <= day)
    }

    fn is_good_on(&self, day: Date) -> bool {
        self.expires.is_none_or(|expires| day <= expires)
    }
}

impl Shelf {
    /// A shelf with these lots, in any order.
    ///
    /// # Errors
    /// A negative amount.
    pub fn new(mut lots: Vec<Lot>) -> Result<Shelf, StoresError> {
        for lot in &lots {
            not_negative("a stock", lot.amount)?;
        }
        lots.sort_by_key(|lot| (lot.expires.is_none(), lot.expires, lot.from));
        Ok(Shelf { lots })
    }

    /// What is left, what expires first first.
    pub fn lots(&self) -> &[Lot] {
        &self.lots
    }

    /// How much is there and good on `day`, if nothing is taken before.
    pub fn there_on(&self, day: Date) -> f64 {
        self.sum(|lot| lot.is_there_on(day) && lot.is_good_on(day))
    }

    /// How much has come by `day`, whatever becomes of it.
    pub fn come_by(&self, day: Date) -> f64 {
        self.sum(|lot| lot.is_there_on(day))
    }

    /// How much of what is there or on its way is good on `day`.
    pub fn there_or_coming(&self, day: Date) -> f64 {
        self.sum(|lot| lot.is_good_on(day))
    }

    /// The first day from `day` on when `amount` is there and good, if nothing is taken before.
    pub fn first_day_with(&self, amount: f64, day: Date) -> Option<Date> {
        let arrivals = self.lots.iter().filter_map(|lot| lot.from).filter(|from| day < *from);
        let mut days: Vec<Date> = std::iter::once(day).chain(arrivals).collect();
        days.sort();
        days.into_iter().find(|day| amount <= self.there_on(*day) + NOUGHT)
    }

    /// Takes `amount` on `day` from what is there and good, what expires first first; gives what is missing.
    pub fn take(&mut self, amount: f64, day: Date) -> f64 {
        let mut missing = amount;
        for lot in self.lots.iter_mut().filter(|lot| lot.is_there_on(day) && lot.is_good_on(day)) {
            let taken = missing.min(lot.amount);
            lot.amount -= taken;
            missing -= taken;
        }
        self.lots.retain(|lot| NOUGHT < lot.amount);
        if missing <= NOUGHT { 0.0 } else { missing }
    }

    fn sum(&self, counts: impl Fn(&Lot) -> bool) -> f64 {
        self.lots.iter().filter(|lot| counts(lot)).map(|lot| lot.amount).sum()
    }
}
