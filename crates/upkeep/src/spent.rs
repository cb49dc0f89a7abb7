//! What keeping machines running has cost, by machine, month and cause; and what a calendar on the wall would have.
//!
//! By cause:
//!
//! - labour: the minutes of walked visits as they were taken. A task done in no visit takes the minutes of its build, a part
//!   replaced those of the task that renews it, else [`REPLACING_MINUTES`]; all of them on one machine and day share one set-up,
//!   which a walked visit of that day has paid already. Getting at parts is counted in walked visits alone;
//! - parts and supplies: what care used, at the price of a unit today. What has no price is counted apart and not as nought;
//! - failures: what the worst neglect of the position's tasks leads to, beyond the repair. An injury has no price, on purpose;
//! - standing still: of the minutes of visits the share of the day in which the machine ran, as if it would have run in them as in
//!   the rest of that day. How long a machine stood between failure and repair is not recorded, and left out.
//!
//! A skipped task costs nothing. All prices are those of today.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use motion::Quantity;

use crate::build::{Allowance, Task};
use crate::shop::{Item, Use, uses};
use crate::state::MachineState;
use crate::used::meter;
use crate::{Build, Entry, EntryId, Event, Materials, Prices, Supplies};

/// How long replacing a part takes where no task tells, min. Judgement, no source.
pub const REPLACING_MINUTES: f64 = 20.0;

/// A machine whose records reach over fewer days is not compared with a calendar. Judgement, no source.
pub const FEWEST_DAYS: i64 = 84;

/// Nor is one on which fewer tasks were done: it may be that nobody recorded them. Judgement, no source.
pub const FEWEST_DONE: usize = 5;

const MINUTES_A_DAY: f64 = 1440.0;

/// Days of a calendar month in the mean of the Gregorian calendar: 146,097 days in 4800 months.
const DAYS_A_MONTH: f64 = 146_097.0 / 4800.0;

/// For what money was spent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// Keepers' minutes.
    Labour,
    /// What care used up, and spares.
    Supplies,
    /// What failures led to beyond the repair.
    Failures,
    /// Machines kept waiting.
    Standing,
}

impl Cause {
    /// All of them.
    pub const ALL: [Cause; 4] = [Cause::Labour, Cause::Supplies, Cause::Failures, Cause::Standing];

    /// What it is called.
    pub fn name(self) -> &'static str {
        match self {
            Cause::Labour => "labour",
            Cause::Supplies => "parts and supplies",
            Cause::Failures => "failures",
            Cause::Standing => "standing still",
        }
    }
}

/// Hours run and what they cost.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Cost {
    /// Hours run, h.
    pub hours: f64,
    /// Money by cause, in the order of [`Cause::ALL`].
    pub by_cause: [f64; 4],
    /// What tasks took of that in labour and supplies, set-ups included: what a calendar can be compared with.
    pub tasks: f64,
    /// Tasks done.
    pub n_done: usize,
}

impl Cost {
    /// The money of one cause.
    pub fn of(&self, cause: Cause) -> f64 {
        self.by_cause[cause as usize]
    }

    /// All of the money.
    pub fn total(&self) -> f64 {
        self.by_cause.iter().sum()
    }

    /// Money for each hour run; `None` where the machine did not run.
    pub fn per_hour(&self) -> Option<f64> {
        (0.0 < self.hours).then(|| self.total() / self.hours)
    }

    /// Both together.
    #[must_use]
    pub fn and(self, other: &Cost) -> Cost {
        Cost {
            hours: self.hours + other.hours,
            by_cause: std::array::from_fn(|cause| self.by_cause[cause] + other.by_cause[cause]),
            tasks: self.tasks + other.tasks,
            n_done: self.n_done + other.n_done,
        }
    }

    fn add(&mut self, cause: Cause, money: f64) {
        self.by_cause[cause as usize] += money;
    }
}

/// A visit that was walked.
#[derive(Clone, Debug, PartialEq)]
pub struct Walked {
    /// At which machine.
    pub machine: String,
    /// For which day it was told.
    pub day: Date,
    /// The tasks that were told.
    pub tasks: Vec<String>,
    /// How long it took, min.
    pub minutes: f64,
    /// When it was recorded: what was done in it was recorded in the same instant.
    pub recorded: Timestamp,
}

/// What the records of a range of days tell.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Records {
    /// Tasks done, parts replaced and failures that stand.
    pub care: Vec<Entry>,
    /// Visits that were walked, those of some days before and after among them.
    pub walked: Vec<Walked>,
    /// Hours run by machine and day.
    pub hours: BTreeMap<(String, Date), f64>,
}

/// What a unit of each item costs, by its name in lower case.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct UnitPrices(BTreeMap<String, (String, f64)>);

impl UnitPrices {
    /// By what was paid for what is there, else by the terms of buying.
    pub fn of(items: &[Item]) -> UnitPrices {
        let price = |item: &Item| Some((item.name.to_lowercase(), (item.unit.clone(), item.unit_price()?)));
        UnitPrices(items.iter().filter_map(price).collect())
    }

    /// What an amount of an item costs; `None` where nobody said a price for that unit.
    pub fn cost(&self, item: &str, amount: f64, unit: &str) -> Option<f64> {
        self.0.get(&item.to_lowercase()).filter(|(told, _)| told == unit).map(|(_, each)| each * amount)
    }

    /// What the supplies of a task cost, as far as they have a price.
    fn task(&self, task: &Task) -> f64 {
        task.uses.iter().filter_map(|supply| self.cost(&supply.name, supply.amount, &supply.unit)).sum()
    }
}

/// What was used without a price.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Unpriced {
    /// How many times.
    pub times: usize,
    /// How much, as far as it was said; in `unit`.
    pub amount: f64,
    /// In what it is counted; empty for pieces.
    pub unit: String,
}

/// What was spent.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Spent {
    /// By machine and by the first day of each month in which it ran or cost something.
    pub months: BTreeMap<String, BTreeMap<Date, Cost>>,
    /// Supplies and parts that were used and have no price, by name.
    pub unpriced: BTreeMap<String, Unpriced>,
    /// Failures without a price: nobody says what they lead to, or somebody may be injured.
    pub unpriced_failures: usize,
    /// Times a task was done that the build has no more, so that nobody knows its minutes.
    pub unknown_tasks: usize,
}

impl Spent {
    /// Adds up what the days from `from` to `to` have cost. `builds` are the machines' own, by machine; of others nothing is told.
    pub fn of(
        records: &Records,
        [from, to]: [Date; 2],
        builds: &BTreeMap<String, Arc<Build>>,
        prices: &Prices,
        units: &UnitPrices,
        zone: &TimeZone,
    ) -> Spent {
        let mut spent = Spent::default();
        let is_within = |day: &Date| (from..=to).contains(day);
        let has_build = |machine: &String| builds.contains_key(machine);
        for ((machine, day), hours) in &records.hours {
            if is_within(day) && has_build(machine) {
                spent.month(machine, *day).hours += hours;
            }
        }
        for ((machine, day), of_day) in Day::all(records, zone) {
            if let Some(build) = builds.get(machine).filter(|_| is_within(&day)) {
                let hours = records.hours.get(&(machine.to_owned(), day)).copied().unwrap_or(0.0);
                spent.add(machine, day, &of_day, hours, build, prices);
            }
        }
        let tasks: BTreeSet<EntryId> =
            records.care.iter().filter(|entry| is_task(entry)).map(|entry| entry.id).collect();
        for one in uses(&records.care, |machine| builds.get(machine).map(Arc::as_ref), zone) {
            if is_within(&one.day) && has_build(&one.machine) {
                spent.take(&one, units, tasks.contains(&one.entry));
            }
        }
        spent
    }

    /// The cost of each machine, by name.
    pub fn machines(&self) -> impl Iterator<Item = (&str, Cost)> {
        self.months.iter().map(|(machine, months)| (machine.as_str(), sum(months.values())))
    }

    /// The cost of each month.
    pub fn by_month(&self) -> BTreeMap<Date, Cost> {
        let mut all: BTreeMap<Date, Cost> = BTreeMap::new();
        for (month, cost) in self.months.values().flatten() {
            let of_month = all.entry(*month).or_default();
            *of_month = of_month.and(cost);
        }
        all
    }

    /// All of it.
    pub fn total(&self) -> Cost {
        sum(self.months.values().flat_map(BTreeMap::values))
    }

    fn month(&mut self, machine: &str, day: Date) -> &mut Cost {
        self.months.entry(machine.to_owned()).or_default().entry(day.first_of_month()).or_default()
    }

    fn add(&mut self, machine: &str, date: Date, day: &Day<'_>, hours: f64, build: &Build, prices: &Prices) {
        let Minutes { tasks, replacing, unknown } = day.minutes(build);
        self.unknown_tasks += unknown;
        let mut failures = 0.0;
        for position in &day.failed {
            let worst = build.tasks.iter().filter(|task| task.at == *position).map(|task| task.neglect).max();
            match worst.and_then(|neglect| prices.of(neglect)) {
                Some(price) => failures += price,
                None => self.unpriced_failures += 1,
            }
        }
        for position in day.parts_without_name(build) {
            self.unpriced.entry(position.to_owned()).or_default().count(1.0);
        }
        let month = self.month(machine, date);
        month.add(Cause::Labour, prices.labour(tasks + replacing));
        month.add(Cause::Failures, failures);
        month.add(Cause::Standing, prices.standing(tasks + replacing) * (hours * 60.0 / MINUTES_A_DAY).min(1.0));
        month.tasks += prices.labour(tasks);
        month.n_done += day.done.len();
    }

    fn take(&mut self, one: &Use, units: &UnitPrices, is_of_task: bool) {
        let money = one.amount.as_ref().and_then(|used| units.cost(&one.item, used.amount, &used.unit));
        let Some(money) = money else {
            let of_item = self.unpriced.entry(one.item.clone()).or_default();
            of_item.count(one.amount.as_ref().map_or(0.0, |used| used.amount));
            if let Some(used) = &one.amount {
                of_item.unit.clone_from(&used.unit);
            }
            return;
        };
        let month = self.month(&one.machine, one.day);
        month.add(Cause::Supplies, money);
        month.tasks += if is_of_task { money } else { 0.0 };
    }
}

impl Unpriced {
    fn count(&mut self, amount: f64) {
        self.times += 1;
        self.amount += amount;
    }
}

fn is_task(entry: &Entry) -> bool {
    matches!(entry.event, Event::Done { .. })
}

/// The sum of some costs.
pub fn sum<'a>(costs: impl Iterator<Item = &'a Cost>) -> Cost {
    costs.fold(Cost::default(), Cost::and)
}

/// What happened on one machine on one day.
#[derive(Default)]
struct Day<'a> {
    /// Tasks done, with their supplies as named, and whether a walked visit has their minutes.
    done: Vec<(&'a str, Vec<&'a str>, bool)>,
    /// Positions whose part was replaced, whether a spare was named, and whether a walked visit has the minutes.
    replaced: Vec<(&'a str, bool, bool)>,
    /// Positions that failed.
    failed: Vec<&'a str>,
    /// Minutes of walked visits; `None` where none was walked.
    walked: Option<f64>,
}

/// What a day's care took, min.
struct Minutes {
    tasks: f64,
    replacing: f64,
    /// Tasks of which the build knows nothing.
    unknown: usize,
}

impl<'a> Day<'a> {
    fn all(records: &'a Records, zone: &TimeZone) -> BTreeMap<(&'a str, Date), Day<'a>> {
        // Of what was recorded in one instant the last to happen: a clock that stands still records the past in it too.
        let mut by_instant: BTreeMap<(&str, Timestamp), Date> = BTreeMap::new();
        for entry in records.care.iter().filter(|entry| is_task(entry)) {
            let date = zone.to_datetime(entry.at).date();
            let last = by_instant.entry((&entry.machine, entry.recorded)).or_insert(date);
            *last = date.max(*last);
        }
        let mut days: BTreeMap<(&str, Date), Day<'_>> = BTreeMap::new();
        let mut walks: BTreeSet<(&str, Date, Timestamp)> = BTreeSet::new();
        let mut told: BTreeSet<(&str, Date, &str)> = BTreeSet::new();
        for walked in &records.walked {
            let machine = walked.machine.as_str();
            // Where nothing that was done came with it, it is taken to have been walked on its day.
            let day = by_instant.get(&(machine, walked.recorded)).copied().unwrap_or(walked.day);
            walks.insert((machine, day, walked.recorded));
            told.extend(walked.tasks.iter().map(|task| (machine, day, task.as_str())));
            *days.entry((machine, day)).or_default().walked.get_or_insert(0.0) += walked.minutes;
        }
        for entry in &records.care {
            let (machine, date) = (entry.machine.as_str(), zone.to_datetime(entry.at).date());
            let came_with_visit = walks.contains(&(machine, date, entry.recorded));
            let day = days.entry((machine, date)).or_default();
            match &entry.event {
                Event::Done { task, supplies } => {
                    let is_walked = came_with_visit || told.contains(&(machine, date, task.as_str()));
                    day.done.push((task, supplies.keys().map(String::as_str).collect(), is_walked));
                }
                Event::Replaced { position, spare, .. } => {
                    day.replaced.push((position, spare.is_some(), came_with_visit));
                }
                Event::Failed { position, .. } => day.failed.push(position),
                _ => {}
            }
        }
        days
    }

    /// The tasks done of which the build knows.
    fn tasks<'b>(&'b self, build: &'b Build) -> impl Iterator<Item = (&'b Task, &'b [&'a str], bool)> {
        let known = |name: &str| build.tasks.iter().find(|task| task.name == name);
        self.done.iter().filter_map(move |(name, named, is_walked)| Some((known(name)?, &named[..], *is_walked)))
    }

    fn minutes(&self, build: &Build) -> Minutes {
        let loose: Vec<f64> =
            self.tasks(build).filter(|(_, _, is_walked)| !is_walked).map(|(task, ..)| task.minutes).collect();
        let is_renewed = |position: &str| self.tasks(build).any(|(task, ..)| task.renews && task.at == position);
        let alone = self.replaced.iter().filter(|(position, _, is_walked)| !is_walked && !is_renewed(position));
        let renewing = |position: &str| {
            let task = build.tasks.iter().find(|task| task.renews && task.at == position);
            task.map_or(REPLACING_MINUTES, |task| task.minutes)
        };
        let alone: Vec<f64> = alone.map(|(position, ..)| renewing(position)).collect();
        let setup = if self.walked.is_some() { 0.0 } else { build.visit_minutes };
        let [of_tasks, of_parts] = match (loose.is_empty(), alone.is_empty()) {
            (true, true) => [0.0, 0.0],
            (true, false) => [0.0, setup],
            (false, _) => [setup, 0.0],
        };
        Minutes {
            tasks: self.walked.unwrap_or(0.0) + of_tasks + loose.iter().sum::<f64>(),
            replacing: of_parts + alone.iter().sum::<f64>(),
            unknown: self.done.len() - self.tasks(build).count(),
        }
    }

    /// The positions that got a part of which nobody said what it was. A task that renews and uses something which is no common
    /// supply has named its part.
    fn parts_without_name(&self, build: &Build) -> BTreeSet<&'a str> {
        let is_part = |name: &str| Supplies::built_in().get(name).is_none();
        let names_part = |task: &Task, named: &[&str]| {
            task.uses.iter().any(|supply| is_part(&supply.name)) || named.iter().any(|name| is_part(name))
        };
        let renewed: Vec<(&str, bool)> = self
            .tasks(build)
            .filter(|(task, ..)| task.renews)
            .map(|(task, named, _)| (task.at.as_str(), names_part(task, named)))
            .collect();
        let is_named = |position: &str| renewed.iter().any(|(at, is_named)| *at == position && *is_named);
        let replaced = self.replaced.iter().filter(|(position, has_spare, _)| !has_spare && !is_named(position));
        replaced.map(|(position, ..)| *position).collect()
    }
}

/// Tasks as they were done, against the same tasks by a calendar.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Calendar {
    /// Machines compared.
    pub machines: usize,
    /// Machines of which too little is recorded to be compared.
    pub left_out: usize,
    /// What tasks cost there, labour and supplies.
    pub really: f64,
    /// What they would have cost by a calendar.
    pub by_calendar: f64,
}

impl Calendar {
    /// Each task every so many whole days: as its calendar limit says, or as long as its allowance lasts at the mean use for each
    /// hour run since the machine joined, times the hours that it ran from `from` to `to`; whichever comes first, never more than
    /// once a day. Tasks of one day share a visit's set-up. A task's supplies and minutes are those of its build.
    ///
    /// Failures are left out on both sides: nobody knows which a calendar would have prevented or let happen.
    pub fn of(
        spent: &Spent,
        states: &[MachineState],
        [from, to]: [Date; 2],
        materials: &Materials,
        prices: &Prices,
        units: &UnitPrices,
        zone: &TimeZone,
    ) -> Calendar {
        let mut all = Calendar::default();
        for state in states {
            let cost = spent.months.get(&state.name).map_or_else(Cost::default, |months| sum(months.values()));
            let days = days_between(from.max(zone.to_datetime(state.added).date()), to);
            if days < FEWEST_DAYS || cost.n_done < FEWEST_DONE || cost.hours <= 0.0 {
                all.left_out += 1;
                continue;
            }
            all.machines += 1;
            all.really += cost.tasks;
            all.by_calendar += by_calendar(state, cost.hours, days, materials, prices, units);
        }
        all
    }
}

/// Days from one to another, both counted.
fn days_between(from: Date, to: Date) -> i64 {
    from.until(to).map_or(0, |span| i64::from(span.get_days())) + 1
}

fn by_calendar(
    state: &MachineState,
    hours: f64,
    days: i64,
    materials: &Materials,
    prices: &Prices,
    units: &UnitPrices,
) -> f64 {
    let mut visits: BTreeSet<i64> = BTreeSet::new();
    let (mut minutes, mut supplies) = (0.0, 0.0);
    for task in &state.build.tasks {
        let lasts = lasts(state, task, hours / days as f64, materials);
        if !lasts.is_finite() {
            continue;
        }
        let every = (lasts.floor() as i64).max(1);
        let times = days as f64 / every as f64;
        visits.extend((1..=days / every).map(|turn| turn * every));
        minutes += times * task.minutes;
        supplies += times * units.task(task);
    }
    prices.labour(minutes + visits.len() as f64 * state.build.visit_minutes) + supplies
}

/// For how many days a task's allowance lasts at so many hours a day; infinite where it is not used at all.
fn lasts(state: &MachineState, task: &Task, hours_a_day: f64, materials: &Materials) -> f64 {
    let run = state.total.amount(Quantity::Time) / 3600.0;
    let of_limit = |limit: &crate::build::Limit| match (limit.every, meter(&state.build, task, limit)) {
        (Allowance::Amount { amount, .. }, Some(meter)) if 0.0 < run => {
            let a_day = meter.amount(&state.total, materials) / run * hours_a_day;
            if 0.0 < a_day { amount / a_day } else { f64::INFINITY }
        }
        (Allowance::Elapsed { months, days }, _) => f64::from(months) * DAYS_A_MONTH + f64::from(days),
        _ => f64::INFINITY,
    };
    task.limits.iter().map(of_limit).fold(f64::INFINITY, f64::min)
}
