//! What work needs from the stores, and what is there for it.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::Date;

use super::{NOUGHT, Shelf};
use crate::build::Supply;

/// Where an item comes from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Source {
    /// What is there and on its way.
    pub shelf: Shelf,
    /// Days from order to shelf; `None` where nobody said.
    pub lead_days: Option<u16>,
}

/// How much of an item some work needs, beside what the stores have of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Supplied {
    /// The supply or spare.
    pub item: String,
    /// In what it is counted.
    pub unit: String,
    /// How much the work needs.
    pub needed: f64,
    /// How much is there and good on its day, once earlier work has taken its own; `None` where the stores do not count it.
    pub there: Option<f64>,
    /// The first day, from its own on, when what lacks can be there: by what is on its way, or ordered today. `None` where
    /// nothing lacks, or neither is known.
    pub earliest: Option<Date>,
}

impl Supplied {
    /// How much more is needed than is there; what is not counted is taken to be there.
    pub fn lacking(&self) -> f64 {
        let lacking = self.there.map_or(0.0, |there| self.needed - there);
        if lacking <= NOUGHT { 0.0 } else { lacking }
    }
}

/// What the tasks of some work need together, each item once, by name. It is taken out of `sources` on `day`, as much as is
/// there.
pub fn supplied<'a>(
    needs: impl IntoIterator<Item = &'a Supply>,
    day: Date,
    sources: &mut BTreeMap<String, Source>,
    today: Date,
) -> Vec<Supplied> {
    let mut all: BTreeMap<&str, Supplied> = BTreeMap::new();
    for need in needs {
        let one = all.entry(&need.name).or_insert_with(|| Supplied {
            item: need.name.clone(),
            unit: need.unit.clone(),
            needed: 0.0,
            there: None,
            earliest: None,
        });
        one.needed += need.amount;
    }
    let mut all: Vec<Supplied> = all.into_values().collect();
    for one in &mut all {
        if let Some((_, source)) = sources.iter_mut().find(|(name, _)| name.eq_ignore_ascii_case(&one.item)) {
            one.take(source, day, today);
        }
    }
    all
}

impl Supplied {
    fn take(&mut self, source: &mut Source, day: Date, today: Date) {
        self.there = Some(source.shelf.there_on(day));
        let missing = source.shelf.take(self.needed, day);
        if 0.0 < missing {
            let ordered = source.lead_days.map(|days| today.saturating_add(i32::from(days).days()).max(day));
            self.earliest = source.shelf.first_day_with(missing, day).into_iter().chain(ordered).min();
        }
    }
}
