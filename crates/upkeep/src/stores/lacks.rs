//! What visits lack, before they are made, and what they take along.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::Date;

use super::wrong::not_negative;
use super::{NOUGHT, Shelf, StoresError};

/// An amount of an item, in the item's unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Need {
    /// The supply or spare.
    pub item: String,
    /// How much.
    pub amount: f64,
}

/// Where an item comes from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Source {
    /// What is there and on its way.
    pub shelf: Shelf,
    /// Days from order to shelf; `None` where nobody said.
    pub lead_days: Option<u16>,
}

/// An item of which a visit needs more than will be there.
#[derive(Clone, Debug, PartialEq)]
pub struct Lack {
    /// The supply or spare.
    pub item: String,
    /// How much the visit needs.
    pub needed: f64,
    /// How much is there for it on its day, once earlier visits have taken theirs.
    pub there: f64,
    /// The first day, from the visit's own on, when the rest can be there: by what is on its way, or ordered today.
    /// `None` where neither is known.
    pub earliest: Option<Date>,
}

/// What tasks use together: each item once, by name.
///
/// # Errors
/// A negative amount, with the item that it is of.
pub fn kit<'a>(tasks: impl IntoIterator<Item = &'a [Need]>) -> Result<Vec<Need>, StoresError> {
    let mut sums: BTreeMap<&str, f64> = BTreeMap::new();
    for need in tasks.into_iter().flatten() {
        *sums.entry(&need.item).or_default() +=
            not_negative("a need", need.amount).map_err(|wrong| wrong.of(&need.item))?;
    }
    Ok(sums.into_iter().map(|(item, amount)| Need { item: item.to_owned(), amount }).collect())
}

/// What each of `visits` lacks, in their order. They take from `sources` by day, those of one day in their order, and each
/// takes what there is even where that is too little. An item without a source is not there.
///
/// # Errors
/// A negative amount, with the item that it is of.
pub fn lacks(
    visits: &[(Date, Vec<Need>)],
    sources: &BTreeMap<String, Source>,
    today: Date,
) -> Result<Vec<Vec<Lack>>, StoresError> {
    let mut left = sources.clone();
    let mut by_day: Vec<usize> = (0..visits.len()).collect();
    by_day.sort_by_key(|&visit| visits[visit].0);
    let mut lacks = vec![Vec::new(); visits.len()];
    for visit in by_day {
        let (day, needs) = &visits[visit];
        let needs = kit([needs.as_slice()])?;
        lacks[visit] = needs.into_iter().filter_map(|need| lack(need, *day, &mut left, today)).collect();
    }
    Ok(lacks)
}

/// Takes what a visit needs; what is missing is a lack.
fn lack(need: Need, day: Date, left: &mut BTreeMap<String, Source>, today: Date) -> Option<Lack> {
    let nothing = &mut Source::default();
    let source = left.get_mut(&need.item).unwrap_or(nothing);
    let missing = source.shelf.take(need.amount, day);
    if missing <= NOUGHT {
        return None;
    }
    let ordered = source.lead_days.map(|days| today.saturating_add(i32::from(days).days()).max(day));
    let earliest = source.shelf.first_day_with(missing, day).into_iter().chain(ordered).min();
    Some(Lack { item: need.item, needed: need.amount, there: need.amount - missing, earliest })
}
