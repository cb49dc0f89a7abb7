//! The shopping list: what to order, how much of it, and by which day.

use jiff::ToSpan;
use jiff::civil::Date;

use super::quantity::full_packs;
use super::wrong::{not_negative, positive};
use super::{Costs, Demand, NOUGHT, Shelf, StoresError, packs};

/// Days of a year, for yearly costs.
const DAYS_PER_YEAR: f64 = 365.25;

/// An item that is bought; amounts are in its unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Bought {
    /// The supply or spare.
    pub item: String,
    /// What is there and on its way.
    pub shelf: Shelf,
    /// What one day takes in the mean, besides what is planned.
    pub use_per_day: f64,
    /// What planned visits need, by day, in any order.
    pub planned: Vec<(Date, f64)>,
    /// What may be asked for over the lead time and the days until one orders again.
    pub demand: Demand,
    /// The chance with which that demand is to be met.
    pub service: f64,
    /// Who supplies it; may be empty.
    pub supplier: String,
    /// Days from order to shelf, at least 1.
    pub lead_days: u16,
    /// How much a pack holds.
    pub pack: f64,
    /// What a pack costs; `None` where nobody said.
    pub price: Option<f64>,
    /// Days for which it stays good once it has come; `None` where it keeps.
    pub keeps_days: Option<u16>,
    /// What an order and keeping cost; `None` where nobody said.
    pub costs: Option<Costs>,
}

/// Why something is to be ordered by its day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// What is there or on its way falls below the reorder point.
    Low {
        /// How much is left by the end of the day by which to order.
        left: f64,
    },
    /// More will be needed on a day than is there.
    Lacking {
        /// The first such day.
        day: Date,
        /// How much will be missing on it.
        missing: f64,
    },
}

/// Something to order.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// The supply or spare.
    pub item: String,
    /// Who supplies it; may be empty.
    pub supplier: String,
    /// How many packs.
    pub packs: u32,
    /// The last day to order on.
    pub order_by: Date,
    /// Why by that day.
    pub why: Why,
    /// Whether something will lack before what is ordered today can have come.
    pub is_late: bool,
    /// The reorder point.
    pub point: f64,
    /// What all the packs cost; `None` where no price is known.
    pub cost: Option<f64>,
    /// How much of them is expected to go bad before it is used, because not even one pack is used up in time.
    pub spoils: f64,
}

/// The end of a day, were nothing ordered.
struct Evening {
    day: Date,
    /// What is there or on its way and still good, less what is owed.
    position: f64,
    /// What was asked for and not there.
    owed: f64,
}

/// The day by which to order, and why.
struct Cause {
    order_by: Date,
    why: Why,
    is_late: bool,
}

/// What is to be ordered on the days from `today` to `until`, where one orders every `review_days`, at least each day.
///
/// A line is to be ordered by the day in whose course what is there and on its way falls below the reorder point, going
/// by mean and planned use, or so long before something first lacks that a delivery comes in time, whichever is first;
/// today, where that has passed. Lines of one supplier stand together. What comes too late stands first, by the day on
/// which it lacks, then by the day to order: among suppliers and within each.
///
/// # Errors
/// [`StoresError::Of`] the item whose figures can't be.
pub fn buy(items: &[Bought], today: Date, until: Date, review_days: u16) -> Result<Vec<Line>, StoresError> {
    let mut lines = Vec::new();
    for item in items {
        item.check().map_err(|wrong| wrong.of(&item.item))?;
        let line = item.line(today, until, review_days.max(1)).map_err(|wrong| wrong.of(&item.item))?;
        lines.extend(line);
    }
    lines.sort_by(|a, b| a.urgency().cmp(&b.urgency()));
    let suppliers: Vec<String> = lines.iter().map(|line| line.supplier.clone()).collect();
    lines.sort_by_key(|line| suppliers.iter().position(|supplier| *supplier == line.supplier));
    Ok(lines)
}

impl Line {
    /// What comes before what, the most urgent first.
    fn urgency(&self) -> (bool, Date, &str) {
        match self.why {
            Why::Lacking { day, .. } if self.is_late => (false, day, &self.item),
            _ => (true, self.order_by, &self.item),
        }
    }
}

impl Bought {
    fn check(&self) -> Result<(), StoresError> {
        not_negative("the use per day", self.use_per_day)?;
        positive("a lead time", f64::from(self.lead_days))?;
        positive("a pack", self.pack)?;
        not_negative("a price", self.price.unwrap_or(0.0))?;
        self.costs.as_ref().map_or(Ok(()), Costs::check)?;
        self.planned.iter().try_for_each(|(_, amount)| not_negative("a need", *amount).map(drop))
    }

    /// The reorder point: what must be there or on its way so that a wait is met with the chance asked for.
    ///
    /// # Errors
    /// A chance that can't be.
    pub fn point(&self) -> Result<f64, StoresError> {
        self.demand.level_for(self.service).map_err(|wrong| wrong.of(&self.item))
    }

    /// The line of this item, if it is to be ordered by `until`.
    fn line(&self, today: Date, until: Date, review_days: u16) -> Result<Option<Line>, StoresError> {
        let point = self.demand.level_for(self.service)?;
        let wait = i32::from(self.lead_days) + i32::from(review_days);
        let evenings = self.evenings(today, until.saturating_add(wait.days()));
        let Some(cause) = self.cause(&evenings, point, today).filter(|cause| cause.order_by <= until) else {
            return Ok(None);
        };
        let comes = self.comes(cause.order_by);
        let wanted = self.wanted(&evenings, point, cause.order_by, review_days)?;
        let left = evenings.iter().rfind(|evening| evening.day <= comes).map_or(0.0, |evening| evening.position);
        let usable = self.keeps_days.map(|days| (self.used_after(comes, days) - left).max(0.0));
        let packs = wanted.min(usable.map_or(u32::MAX, |usable| full_packs(usable, self.pack))).max(1);
        Ok(Some(Line {
            item: self.item.clone(),
            supplier: self.supplier.clone(),
            packs,
            order_by: cause.order_by,
            why: cause.why,
            is_late: cause.is_late,
            point,
            cost: self.price.map(|price| price * f64::from(packs)),
            spoils: usable.map_or(0.0, |usable| (f64::from(packs) * self.pack - usable).max(0.0)),
        }))
    }

    /// The days from `today` to `last` as they would end, were nothing ordered.
    fn evenings(&self, today: Date, last: Date) -> Vec<Evening> {
        let (mut shelf, mut owed) = (self.shelf.clone(), 0.0);
        let days = today.series(1.day()).take_while(|day| *day <= last);
        let evening = |(before, day): (u32, Date)| {
            let used = self.used_in(before + 1) - self.used_in(before);
            owed = shelf.take(owed + used + self.planned_on(day), day);
            Evening { day, position: shelf.there_or_coming(day) - owed, owed }
        };
        (0..).zip(days).map(evening).collect()
    }

    /// What the first `days` days take in the mean, whole steps of it where the demand comes in steps: a spare that is
    /// used once a year is there until then.
    fn used_in(&self, days: u32) -> f64 {
        let mean = f64::from(days) * self.use_per_day;
        self.demand.step().map_or(mean, |step| (mean / step + NOUGHT).floor() * step)
    }

    fn planned_on(&self, day: Date) -> f64 {
        self.planned.iter().filter(|(on, _)| *on == day).map(|(_, amount)| amount).sum()
    }

    /// What is used in `days` days after `day`.
    fn used_after(&self, day: Date, days: u16) -> f64 {
        let last = day.saturating_add(i32::from(days).days());
        let planned = self.planned.iter().filter(|(on, _)| day < *on && *on <= last);
        f64::from(days) * self.use_per_day + planned.map(|(_, amount)| amount).sum::<f64>()
    }

    /// The day on which what is ordered on `day` is there.
    fn comes(&self, day: Date) -> Date {
        day.saturating_add(i32::from(self.lead_days).days())
    }

    /// The first cause to order.
    fn cause(&self, evenings: &[Evening], point: f64, today: Date) -> Option<Cause> {
        let low = evenings.iter().find(|evening| evening.position < point - NOUGHT);
        let lack = evenings.iter().find(|evening| NOUGHT < evening.owed);
        let low = low.map(|evening| Cause {
            order_by: evening.day,
            why: Why::Low { left: evening.position },
            is_late: false,
        });
        let lack = lack.map(|evening| Cause {
            order_by: evening.day.saturating_sub(i32::from(self.lead_days).days()).max(today),
            why: Why::Lacking { day: evening.day, missing: evening.owed },
            is_late: evening.day < self.comes(today),
        });
        // The first of equals: a lack says more than a low stock.
        lack.into_iter().chain(low).min_by_key(|cause| cause.order_by)
    }

    /// The packs that bring the stock back to the reorder point, meet what is planned until the next order's delivery,
    /// and are worth an order: the economic quantity, or where its costs are not known what the days between orders use.
    fn wanted(&self, evenings: &[Evening], point: f64, on: Date, review_days: u16) -> Result<u32, StoresError> {
        let position = |day: Date| evenings.iter().rfind(|evening| evening.day <= day).map_or(0.0, |end| end.position);
        let next = self.comes(on).saturating_add(i32::from(review_days).days());
        let least = packs((point - position(on)).max(-position(next)), self.pack)?;
        let per_year = DAYS_PER_YEAR * self.use_per_day;
        let worth = match self.costs {
            Some(costs) if 0.0 < per_year => costs.economic_packs(per_year, self.pack)?,
            _ => packs(self.used_after(self.comes(on), review_days), self.pack)?,
        };
        Ok(least.max(worth))
    }
}
