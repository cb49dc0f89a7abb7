//! What a shop has to buy: the stores' records, the use so far and the care to come, as figures for [`crate::stores::buy`].
//!
//! What comes is told twice over, since neither knows all. The tasks that people have been told of or that will fall due say
//! on which day how much is needed; the use so far knows what no task tells of, such as spares for what failed. So the use
//! in the long run is the larger of the two, and what of it is not planned is taken to come evenly.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use jiff::ZonedDateTime;
use jiff::civil::Date;

use crate::build::Supply;
use crate::history::{days_after, days_between};
use crate::shop::{Item, Measured, Terms, Visit};
use crate::state::MachineState;
use crate::stores::{Bought, Demand, Line, StoresError, buy};
use crate::{Materials, Supplies, ahead};

/// For how many days care is looked ahead at least: half a year, so that what is done a few times a year is seen.
const AHEAD_DAYS: usize = 182;

/// Use so far is spread over at least so many days: in fewer, one use more or less counts for too much. Judgement, no source.
const FEWEST_DAYS: usize = 28;

/// How long a delivery is taken to need for which nobody said it, days. Judgement, no source.
const UNSAID_LEAD_DAYS: u16 = 14;

/// A shop that buys.
#[derive(Clone, Copy, Debug)]
pub struct Buyer<'a> {
    /// What care to come needs on all machines, [`ahead_days`] ahead.
    pub coming: &'a Coming,
    /// What the stores hold and have used, the use from `used_from` on.
    pub items: &'a [Item],
    /// The first day of which the use is known.
    pub used_from: Date,
    /// Now, in the shop's time zone.
    pub now: &'a ZonedDateTime,
    /// In how many days it orders again.
    pub review_days: u16,
}

/// What the tasks to come take of each supply, and when: on the days on which people were told to do them, else on those on
/// which they fall due.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Coming(BTreeMap<String, Planned>);

/// What is taken of one supply.
#[derive(Clone, Debug, PartialEq)]
struct Planned {
    name: String,
    unit: String,
    amounts: Vec<(Date, f64)>,
}

impl Coming {
    fn add(&mut self, day: Date, supply: &Supply) {
        let new = || Planned { name: supply.name.clone(), unit: supply.unit.clone(), amounts: Vec::new() };
        self.0.entry(supply.name.to_lowercase()).or_insert_with(new).amounts.push((day, supply.amount));
    }

    /// With what other machines need.
    pub fn extend(&mut self, other: Coming) {
        for (key, planned) in other.0 {
            match self.0.entry(key) {
                Entry::Vacant(place) => {
                    place.insert(planned);
                }
                Entry::Occupied(mut place) => place.get_mut().amounts.extend(planned.amounts),
            }
        }
    }
}

/// How many days are looked ahead: as far as the slowest delivery, and then until the one after.
pub fn ahead_days(items: &[Item], review_days: u16) -> usize {
    let leads = items.iter().filter_map(|item| Some(item.terms.as_ref()?.lead_days));
    let wait = usize::from(leads.max().unwrap_or(0)) + 2 * usize::from(review_days) + 1;
    AHEAD_DAYS.max(wait)
}

/// What the tasks of a machine need in the days to come. `told` are the visits that people have been told of and that are
/// still to be made, by machine.
pub fn needs(
    state: &MachineState,
    told: &[(String, Visit)],
    materials: &Materials,
    now: &ZonedDateTime,
    n_days: usize,
) -> Coming {
    let today = now.date();
    let shares = ahead(state, materials, now, n_days).shares;
    let mut coming = Coming::default();
    for (task, shares) in state.build.tasks.iter().zip(&shares) {
        for day in occasions(shares, &told_days(told, &state.name, &task.name, today)) {
            task.uses.iter().for_each(|supply| coming.add(days_after(today, day), supply));
        }
    }
    coming
}

/// The days from today on, by number, on which people were told to do a task.
fn told_days(told: &[(String, Visit)], machine: &str, task: &str, today: Date) -> Vec<usize> {
    let names_it = |visit: &&Visit| today <= visit.day && visit.tasks.iter().any(|named| named == task);
    let visits = told.iter().filter(|(on, _)| on == machine).map(|(_, visit)| visit);
    let mut days: Vec<usize> = visits.filter(names_it).map(|visit| days_between(today, visit.day)).collect();
    days.sort_unstable();
    days
}

/// What to buy, and what can't be said.
#[derive(Clone, Debug, PartialEq)]
pub struct Shopping {
    /// What to order before the shop orders again, the most urgent first, by supplier.
    pub lines: Vec<Line>,
    /// What is needed or used, and nobody said how it is bought, by name.
    pub unsaid: Vec<Unsaid>,
    /// The reorder point of everything of which it is said how it is bought, in its unit.
    pub points: BTreeMap<String, f64>,
    /// What has been reckoned with as if nothing were there, because it was never counted or received, by name.
    pub uncounted: Vec<String>,
}

/// Something that is needed, of which nobody said how it is bought.
#[derive(Clone, Debug, PartialEq)]
pub struct Unsaid {
    /// The supply or spare.
    pub item: String,
    /// In what it is counted.
    pub unit: String,
    /// How much is there; `None` where that is not counted.
    pub there: Option<f64>,
    /// How much is needed before what is ordered on the next occasion is likely to have come.
    pub needed: f64,
    /// The first day on which some is needed; `None` where none is planned.
    pub first: Option<Date>,
}

impl Buyer<'_> {
    /// The shopping list.
    ///
    /// # Errors
    /// As [`buy`], where terms or amounts can't be.
    pub fn shopping(&self) -> Result<Shopping, StoresError> {
        let today = self.now.date();
        let mut shopping =
            Shopping { lines: Vec::new(), unsaid: Vec::new(), points: BTreeMap::new(), uncounted: Vec::new() };
        let mut all = Vec::new();
        for (name, want) in self.wants() {
            match want.item.and_then(|item| Some((item, item.terms.as_ref()?))) {
                Some((item, terms)) => {
                    all.push(self.bought(item, terms, &want)?);
                    if item.stock.is_none() && want.is_anything() {
                        shopping.uncounted.push(name);
                    }
                }
                None => shopping.unsaid.extend(self.unsaid(name, &want)),
            }
        }
        for one in &all {
            shopping.points.insert(one.item.clone(), one.point()?);
        }
        let until = days_after(today, usize::from(self.review_days));
        shopping.lines = buy(&all, today, until, self.review_days)?;
        Ok(shopping)
    }

    /// Every item that the stores know or care to come needs, by name.
    fn wants(&self) -> BTreeMap<String, Want<'_>> {
        let mut wants: BTreeMap<String, Want<'_>> = BTreeMap::new();
        let mut names: BTreeMap<String, String> = BTreeMap::new();
        for item in self.items {
            let name = names.entry(item.name.to_lowercase()).or_insert_with(|| item.name.clone());
            let want = Want { item: Some(item), unit: &item.unit, planned: Vec::new() };
            wants.insert(name.clone(), want);
        }
        for (key, planned) in &self.coming.0 {
            let name = names.entry(key.clone()).or_insert_with(|| planned.name.clone());
            let want =
                wants.entry(name.clone()).or_insert(Want { item: None, unit: &planned.unit, planned: Vec::new() });
            want.planned.extend(&planned.amounts);
        }
        wants
    }

    fn bought(&self, item: &Item, terms: &Terms, want: &Want<'_>) -> Result<Bought, StoresError> {
        let wait = f64::from(terms.lead_days.max(1)) + f64::from(self.review_days);
        let planned_per_day = want.planned_sum() / ahead_days(self.items, self.review_days) as f64;
        let used_per_day = want.used_sum() / days_between(self.used_from, self.now.date()).max(FEWEST_DAYS) as f64;
        Ok(Bought {
            item: item.name.clone(),
            shelf: item.shelf(self.now.date())?,
            use_per_day: (used_per_day - planned_per_day).max(0.0),
            planned: want.planned.clone(),
            demand: want.demand(wait * used_per_day.max(planned_per_day))?,
            service: terms.service,
            supplier: terms.supplier.clone(),
            lead_days: terms.lead_days.max(1),
            pack: Measured::parse(&terms.pack).map_or(0.0, |pack| pack.amount),
            price: terms.price,
            keeps_days: self.keeps_days(item),
            costs: None,
        })
    }

    /// How long the item keeps once it has come: as what is there did that keeps longest.
    fn keeps_days(&self, item: &Item) -> Option<u16> {
        let came = |batch: &crate::shop::Batch| self.now.time_zone().to_datetime(batch.at).date();
        let keeps = item.batches.iter().filter_map(|batch| Some(days_between(came(batch), batch.expires?)));
        keeps.max().map(|days| u16::try_from(days).unwrap_or(u16::MAX))
    }

    /// Something without terms, if it is to be seen to: it is needed soon, or has been used. Water comes from the tap.
    fn unsaid(&self, item: String, want: &Want<'_>) -> Option<Unsaid> {
        let soon = days_after(self.now.date(), usize::from(self.review_days + UNSAID_LEAD_DAYS));
        let needed = want.planned.iter().filter(|(day, _)| *day <= soon).map(|(_, amount)| amount).sum::<f64>() + 0.0;
        let first = want.planned.iter().map(|(day, _)| *day).min().filter(|day| *day <= soon);
        let there = want.item.and_then(|item| item.stock);
        let unit = want.unit.to_owned();
        let is_bought = Supplies::built_in().get(&item).is_none_or(|supply| supply.classes != ["water"]);
        (is_bought && (first.is_some() || 0.0 < want.used_sum())).then_some(Unsaid { item, unit, there, needed, first })
    }
}

/// An item, and what is asked of it.
struct Want<'a> {
    item: Option<&'a Item>,
    unit: &'a str,
    /// What care to come needs, by day.
    planned: Vec<(Date, f64)>,
}

impl Want<'_> {
    fn planned_sum(&self) -> f64 {
        self.planned.iter().map(|(_, amount)| amount).sum()
    }

    /// What was used on each day on which some was.
    fn used(&self) -> impl Iterator<Item = f64> {
        self.item.into_iter().flat_map(|item| item.used.values().copied())
    }

    fn used_sum(&self) -> f64 {
        self.used().sum()
    }

    fn is_anything(&self) -> bool {
        0.0 < self.planned_sum() + self.used_sum()
    }

    /// What a wait may ask for in which `mean` is used.
    ///
    /// # Formula
    /// Uses at random instants of amounts x, told by as many uses of one amount a = Σx²/Σx as have the same mean: then the
    /// variance, Σx², is the same too.
    fn demand(&self, mean: f64) -> Result<Demand, StoresError> {
        let amounts = || self.planned.iter().map(|(_, amount)| *amount).chain(self.used());
        let (sum, squares) = amounts().fold((0.0, 0.0), |(sum, squares), x| (sum + x, squares + x * x));
        if sum <= 0.0 {
            return Demand::normal(0.0, 0.0);
        }
        // Pieces are whole.
        let each = if self.unit.is_empty() { (squares / sum).round().max(1.0) } else { squares / sum };
        // Too many uses to list are as good as normal.
        Demand::poisson(mean / each, each).or_else(|_| Demand::normal(mean, (mean * each).sqrt()))
    }
}

/// The days, by number, on which a task will be done: those for which people were told, and after them each on which its
/// allowance is used up. `shares` is the share of it that is used at the beginning of each day if it is not done before.
fn occasions(shares: &[f64], told: &[usize]) -> Vec<usize> {
    let (mut days, mut used_before, mut from) = (Vec::new(), 0.0, 0);
    loop {
        let told = told.iter().copied().find(|day| (from..shares.len()).contains(day));
        let due = (from..shares.len()).find(|day| 1.0 <= shares[*day] - used_before);
        let Some(next) = told.or(due) else { return days };
        days.push(next);
        (used_before, from) = (shares[next], next + 1);
    }
}

#[cfg(test)]
mod tests {
    use super::occasions;

    /// A task whose allowance is used up in ten days, four of which have passed.
    fn shares() -> Vec<f64> {
        (0..30).map(|day| f64::from(day + 4) / 10.0).collect()
    }

    #[test]
    fn a_task_comes_whenever_its_allowance_is_used_up_again() {
        assert_eq!(occasions(&shares(), &[]), [6, 16, 26]);
        assert_eq!(occasions(&[2.5, 2.6, 2.7], &[]), [0], "what is late is done once");
        assert_eq!(occasions(&[0.0; 5], &[]), [0; 0]);
    }

    #[test]
    fn what_people_were_told_stands_in_place_of_the_day_on_which_it_falls_due() {
        assert_eq!(occasions(&shares(), &[3]), [3, 13, 23], "early");
        assert_eq!(occasions(&shares(), &[9, 12]), [9, 12, 22], "late, and once more");
        assert_eq!(occasions(&shares(), &[40]), [6, 16, 26], "beyond what is looked at");
    }
}
