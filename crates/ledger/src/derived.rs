//! Everything derived from one machine's entries, computed from nothing else: the yardstick for the rows that are kept.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use upkeep::entry::Run;
use upkeep::{Care, Entry, EntryId, Event, Usage};

use crate::chains::Chains;
use crate::standing::Standings;
use crate::{Error, time};

/// What makes two bookings the same run, on one machine.
pub(crate) type RunKey = (Timestamp, String);

/// The derived rows of one machine.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Derived {
    /// That the machine joined the shop.
    pub joined: Option<Joined>,
    /// All use.
    pub total: Usage,
    /// Use per civil day of the run's start.
    pub days: BTreeMap<Date, Usage>,
    /// When each care was last given.
    pub standings: Standings,
    /// Runs that are expected.
    pub queue: BTreeSet<EntryId>,
    /// Limits of the shop's own.
    pub limits: BTreeSet<EntryId>,
}

/// How a machine joined the shop.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Joined {
    /// The name of its build.
    pub build: String,
    /// When.
    pub at: Timestamp,
    /// The entry that says so.
    pub entry: EntryId,
}

impl Derived {
    /// Computes everything from `effective` entries, in any order.
    ///
    /// # Errors
    /// Where the entries contradict each other: the same run twice, or anything before the machine joined.
    pub(crate) fn from_entries(effective: &[Entry], chains: &Chains, zone: &TimeZone) -> Result<Derived, Error> {
        let mut derived = Derived { joined: joined(effective), ..Derived::default() };
        check_order(effective, derived.joined.as_ref())?;
        refuse_twins(effective)?;
        derived.set_standings(effective);
        for entry in effective {
            derived.count(entry, zone);
        }
        derived.queue = queue(effective, chains);
        derived.limits = limits(effective);
        Ok(derived)
    }

    /// Puts a mark wherever something was last cared for, with no use yet.
    fn set_standings(&mut self, effective: &[Entry]) {
        let mut last: BTreeMap<Care, (Timestamp, EntryId)> = BTreeMap::new();
        for entry in effective {
            if let Some(care) = care(&entry.event) {
                let given = last.entry(care).or_insert((entry.at, entry.id));
                *given = (*given).max((entry.at, entry.id));
            }
        }
        for (care, (at, entry)) in last {
            self.standings.set(care, at, entry, &Usage::new());
        }
    }

    /// Adds the use of one entry wherever it counts.
    fn count(&mut self, entry: &Entry, zone: &TimeZone) {
        if let Some(usage) = entry.event.usage().filter(|usage| !usage.is_empty()) {
            self.total.add(usage);
            self.standings.book(entry.at, usage);
            let day = time::day(entry.at, zone);
            let sum = self.days.entry(day).or_default();
            sum.add(usage);
            if sum.is_empty() {
                self.days.remove(&day);
            }
        }
    }
}

/// What a care event is about.
pub(crate) fn care(event: &Event) -> Option<Care> {
    match event {
        Event::Done { task, .. } => Some(Care::Task(task.clone())),
        Event::Replaced { position, .. } => Some(Care::Position(position.clone())),
        _ => None,
    }
}

/// What tells a run from another that started at the same instant: its program, or its label where none is known.
pub(crate) fn run_name(run: &Run) -> String {
    run.program.as_ref().map_or_else(|| format!("label {}", run.label), |program| format!("program {program}"))
}

/// Refuses the same run twice.
fn refuse_twins(effective: &[Entry]) -> Result<(), Error> {
    let mut runs: HashMap<RunKey, EntryId> = HashMap::new();
    for entry in effective {
        if let Event::Run(run) = &entry.event
            && let Some(first) = runs.insert((entry.at, run_name(run)), entry.id)
        {
            return Err(Error::AlreadyBooked(first));
        }
    }
    Ok(())
}

fn joined(effective: &[Entry]) -> Option<Joined> {
    effective.iter().find_map(|entry| match &entry.event {
        Event::Added { build } => Some(Joined { build: build.clone(), at: entry.at, entry: entry.id }),
        _ => None,
    })
}

fn check_order(effective: &[Entry], joined: Option<&Joined>) -> Result<(), Error> {
    let first = effective.iter().filter(|entry| !is_free_of_joining(&entry.event)).min_by_key(|entry| entry.at);
    let Some(first) = first else { return Ok(()) };
    match joined {
        None => Err(Error::MachineInUse { name: first.machine.clone(), entry: first.id }),
        Some(joined) if first.at < joined.at => {
            Err(Error::BeforeAdded { machine: first.machine.clone(), at: first.at, added: joined.at })
        }
        Some(_) => Ok(()),
    }
}

/// Whether an entry can stand before the machine joined, or without.
fn is_free_of_joining(event: &Event) -> bool {
    matches!(event, Event::Added { .. }) || event.is_of_the_shop()
}

fn limits(effective: &[Entry]) -> BTreeSet<EntryId> {
    effective.iter().filter(|entry| matches!(entry.event, Event::Limit(_))).map(|entry| entry.id).collect()
}

fn queue(effective: &[Entry], chains: &Chains) -> BTreeSet<EntryId> {
    let fulfilled: BTreeSet<EntryId> = effective
        .iter()
        .filter_map(|entry| match &entry.event {
            Event::Run(run) => run.queued.map(|id| chains.root(id)),
            _ => None,
        })
        .collect();
    effective
        .iter()
        .filter(|entry| matches!(entry.event, Event::Queued(_)) && !fulfilled.contains(&chains.root(entry.id)))
        .map(|entry| entry.id)
        .collect()
}
