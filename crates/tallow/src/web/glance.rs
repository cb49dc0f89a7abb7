//! The shop at a glance: of each machine what is due, and what the shop says of itself. Kept between requests, so that a
//! page of a hall is drawn without reading a thousand records.

use std::collections::BTreeMap;
use std::ops::Deref;
use std::sync::Arc;

use jiff::ZonedDateTime;
use jiff::civil::Date;
use ledger::{Ledger, News, Revision, Stock, Told};
use upkeep::fault::Case;
use upkeep::shop::{Item, Rostered, sources};
use upkeep::stores::{Supplied, supplied};
use upkeep::{Foreseen, Materials, Rates};

use crate::commands::fault;
use crate::context;
use crate::foreseeing;
use crate::trouble::Trouble;

/// The shop as of one state of its records, on one day.
pub(crate) struct Glance {
    /// How much had been recorded.
    pub(crate) news: News,
    /// When it was looked at.
    pub(crate) now: ZonedDateTime,
    /// Its machines, by name.
    pub(crate) machines: Vec<Arc<Foreseen>>,
    /// What no run changes.
    beside: Arc<Beside>,
    /// Filament materials.
    pub(crate) materials: Materials,
    revisions: BTreeMap<String, Revision>,
}

/// What a glance sees that no run changes: in a hall runs are most of what is recorded, and the care of months is read for the
/// stores.
pub(crate) struct Beside {
    /// Who is there.
    pub(crate) keepers: Vec<Rostered>,
    /// What is in the stores.
    stock: Stock,
    /// Visits that people have been told of, from today on, those called off among them.
    pub(crate) told: Vec<Told>,
    /// Faults, open and over, oldest first.
    pub(crate) faults: Vec<Case>,
    /// What things cost, as far as the shop has said.
    pub(crate) rates: Rates,
}

impl Beside {
    /// Reads it; of the stores only what is new since `last`, of those machines.
    async fn read(ledger: &Ledger, today: Date, last: Option<(&Beside, &[&str])>) -> Result<Beside, Trouble> {
        Ok(Beside {
            keepers: ledger.keepers().await?,
            stock: ledger.stock(last.map(|(last, changed)| (&last.stock, changed))).await?,
            told: ledger.visits(today).await?,
            faults: fault::all(ledger).await?,
            rates: ledger.rates().await?,
        })
    }

    /// What is in the stores.
    pub(crate) fn items(&self) -> &[Item] {
        self.stock.items()
    }
}

impl Deref for Glance {
    type Target = Beside;

    fn deref(&self) -> &Beside {
        &self.beside
    }
}

/// How often anything but a run was recorded in the whole shop.
fn besides_runs(revisions: &BTreeMap<String, Revision>) -> i64 {
    revisions.values().map(|revision| revision.besides_runs).sum()
}

impl Glance {
    /// Looks at the shop; machines of which nothing was recorded since `last` are taken from there.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(crate) async fn at(
        ledger: &Ledger,
        last: Option<&Glance>,
        news: News,
        now: ZonedDateTime,
    ) -> Result<Glance, Trouble> {
        let revisions = ledger.revisions().await?;
        let materials = context::materials(ledger).await?;
        let described_alike = last.filter(|last| last.news.descriptions == news.descriptions);
        let last = described_alike.filter(|last| last.now.date() == now.date());
        let known = |name: &str| {
            let last = last.filter(|last| last.revisions.get(name) == revisions.get(name))?;
            last.machine(name).cloned()
        };
        let here = revisions.iter().filter(|(name, revision)| revision.is_here && !name.is_empty());
        let names: Vec<&str> = here.map(|(name, _)| name.as_str()).collect();
        let mut machines: BTreeMap<String, Arc<Foreseen>> =
            names.iter().filter_map(|name| Some(((*name).to_owned(), known(name)?))).collect();
        let new: Vec<&str> = names.into_iter().filter(|name| !machines.contains_key(*name)).collect();
        let of_new = foreseeing::all(ledger, &new, &revisions, &materials, news.descriptions, &now).await?;
        machines.extend(of_new.into_iter().map(|machine| (machine.name.clone(), machine)));
        let besides_runs = besides_runs(&revisions);
        let beside = match last.filter(|last| besides_runs == self::besides_runs(&last.revisions)) {
            Some(last) => last.beside.clone(),
            None => {
                let before = |name: &str| Some(described_alike?.revisions.get(name)?.besides_runs);
                let is_new = |(name, revision): &(&String, &Revision)| before(name) != Some(revision.besides_runs);
                let changed: Vec<&str> = revisions.iter().filter(is_new).map(|(name, _)| name.as_str()).collect();
                let last = described_alike.map(|last| (&*last.beside, &changed[..]));
                Arc::new(Beside::read(ledger, now.date(), last).await?)
            }
        };
        Ok(Glance { news, machines: machines.into_values().collect(), beside, materials, revisions, now })
    }

    /// The minutes of the visits that each keeper, in lower case, was told to make on each day, those that are over among them.
    pub(crate) fn told_minutes(&self) -> BTreeMap<(String, Date), f64> {
        let mut minutes: BTreeMap<(String, Date), f64> = BTreeMap::new();
        for told in self.told.iter().filter(|told| !told.is_cancelled) {
            let of_day = minutes.entry((told.visit.keeper.to_lowercase(), told.visit.day)).or_default();
            *of_day += told.visit.took.unwrap_or(told.visit.minutes);
        }
        minutes
    }

    /// What the visits that people have been told of lack, of each item at the first visit that lacks it. What the stores do not
    /// count is taken to be there.
    ///
    /// # Errors
    /// An amount that can't be.
    pub(crate) fn lacks(&self) -> Result<Vec<(&Told, Supplied)>, Trouble> {
        let today = self.now.date();
        let mut sources = sources(self.items(), today).map_err(|error| Trouble::from_text(&error.to_string()))?;
        let mut first: BTreeMap<String, (&Told, Supplied)> = BTreeMap::new();
        for told in self.told.iter().filter(|told| told.stands()) {
            let tasks = self.machine(&told.machine).into_iter().flat_map(|machine| &machine.build.tasks);
            let uses = tasks.filter(|task| told.visit.tasks.contains(&task.name)).flat_map(|task| &task.uses);
            let supplied = supplied(uses, told.visit.day.max(today), &mut sources, today);
            for one in supplied.into_iter().filter(|one| 0.0 < one.lacking()) {
                first.entry(one.item.clone()).or_insert((told, one));
            }
        }
        Ok(first.into_values().collect())
    }

    /// The faults that are open, oldest first.
    pub(crate) fn open_faults(&self) -> impl Iterator<Item = &Case> {
        self.faults.iter().filter(|case| case.end.is_none())
    }

    /// The machine of that name.
    pub(crate) fn machine(&self, name: &str) -> Option<&Arc<Foreseen>> {
        let place = self.machines.binary_search_by(|machine| machine.name.as_str().cmp(name)).ok()?;
        Some(&self.machines[place])
    }
}
