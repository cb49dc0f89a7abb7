//! What tells of money spent on care: tasks done, parts replaced, failures, walked visits and hours run over a range of days, without
//! reading a single run.

use jiff::ToSpan;
use jiff::civil::Date;
use motion::Quantity;
use upkeep::spent::{Records, Walked};
use upkeep::{Entry, Event};

use crate::read::present;
use crate::{Error, Kind, Ledger, tables, time};

/// How long after its day a visit may have been walked and still be found.
const LATE_DAYS: i32 = 62;

impl Ledger {
    /// The records of the days from `from` to `to` that tell what care has cost; of one machine, or of all.
    ///
    /// # Errors
    /// [`Error::NoSuchMachine`]; where the database refuses or an entry cannot be read.
    pub async fn outlay(&self, from: Date, to: Date, machine: Option<&str>) -> Result<Records, Error> {
        let mut snapshot = self.snapshot().await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let only = match machine {
            Some(name) => Some(present(&mut snapshot, name).await?),
            None => None,
        };
        let is_asked = |machine: &str| only.as_ref().is_none_or(|only| only.name == machine);
        let chains = tables::all_chains(&mut snapshot).await?;
        let start = self
            .shop
            .zone
            .to_zoned_datetime(from.at(0, 0, 0, 0))
            .map_or(i64::MIN, |start| time::to_micros(start.timestamp()));
        let is_of_it = |entry: &Entry| {
            let is_within = (from..=to).contains(&time::day(entry.at, &self.shop.zone));
            is_within && is_asked(&entry.machine) && chains.is_newest(entry.id)
        };
        let mut care = tables::entries_of_kind(&mut snapshot, Kind::Failed, None, &names).await?;
        care.retain(is_of_it);
        tables::each_care(&mut snapshot, start, &names, |done| care.extend(done.into_iter().filter(is_of_it))).await?;
        care.sort_by_key(|entry| (entry.at, entry.id));
        let told = tables::visits_from(&mut snapshot, from.saturating_sub(LATE_DAYS.days()), &names).await?;
        let walked = told.into_iter().filter(|entry| chains.is_newest(entry.id) && is_asked(&entry.machine));
        let walked = walked.filter_map(|entry| match entry.event {
            Event::Visit(visit) => Some(Walked {
                machine: entry.machine,
                day: visit.day,
                tasks: visit.tasks,
                minutes: visit.took?,
                recorded: entry.recorded,
            }),
            _ => None,
        });
        let walked = walked.collect();
        let mut hours = tables::amounts_by_day(&mut snapshot, [from, to], Quantity::Time, &names).await?;
        hours.retain(|(machine, _), seconds| {
            *seconds /= 3600.0;
            is_asked(machine)
        });
        Ok(Records { care, walked, hours })
    }
}
