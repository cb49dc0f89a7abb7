//! One transaction for many entries: each is booked or refused for itself, and those that are booked reach the disk together.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use sqlx::{AnyConnection, Connection};
use upkeep::{Entry, EntryId, Event};

use crate::append::{checked, claim, known};
use crate::booker::Waiting;
use crate::chains::Chains;
use crate::count::count;
use crate::derived::{Joined, RunKey, care, run_name};
use crate::names::Names;
use crate::tables::{self, MachineRow};
use crate::written::{Line, write};
use crate::{Error, Ledger, NewEntry, catalogue, faults, record, time};

/// How often a group is tried again that gave way to another writer.
const MOST_TRIES: u32 = 5;

/// The machines of a group by their names, locked.
type Machines = BTreeMap<String, MachineRow>;

/// An entry of a group that makes sense by itself.
struct Item<'a> {
    /// Which of the group it is.
    place: usize,
    new: NewEntry,
    by: Option<&'a str>,
    read_at: Option<i64>,
}

impl Item<'_> {
    fn is_run(&self) -> bool {
        matches!(self.new.event, Event::Run(_))
    }

    fn line(&self, machine: i64) -> Line<'_> {
        Line { machine, new: &self.new, corrects: None, by: self.by }
    }
}

/// What becomes of a run, before the numbers of new entries are known.
enum Fate {
    /// It is the one of that place among those that are written down.
    New(usize),
    /// It is the same run as the one of that place.
    Twin(usize),
    Refused(Error),
}

/// What was first to book a run.
#[derive(Clone, Copy)]
pub(crate) enum First {
    /// An entry that is kept.
    Kept(EntryId),
    /// The one of that place among those that are being written down.
    New(usize),
}

/// What booked the runs that began on machines at instants, in µs.
pub(crate) async fn first_booked(
    connection: &mut AnyConnection,
    starts: impl IntoIterator<Item = (i64, i64)>,
    names: &Names,
) -> Result<HashMap<(i64, RunKey), First>, Error> {
    let kept = tables::runs_at(connection, starts, names).await?;
    Ok(kept.into_iter().map(|(key, id)| (key, First::Kept(id))).collect())
}

impl Ledger {
    /// Writes many entries of any machines down in one transaction, in their order, and says of each what
    /// [`Ledger::append`] would: that one is refused does not touch the others. When this returns, all that were booked
    /// have reached the disk.
    ///
    /// # Errors
    /// Where the database refuses, or something kept cannot be read; nothing is booked then.
    pub async fn append_all(&self, entries: Vec<NewEntry>) -> Result<Vec<Result<EntryId, Error>>, Error> {
        let waiting: Vec<Waiting> =
            entries.into_iter().map(|new| Waiting { new, by: self.by.clone(), read_at: None }).collect();
        self.book(&waiting).await
    }

    /// As [`Ledger::append_all`], for entries that several people record.
    pub(crate) async fn book(&self, waiting: &[Waiting]) -> Result<Vec<Result<EntryId, Error>>, Error> {
        let mut tries = 1;
        loop {
            match self.book_once(waiting).await {
                Err(Error::GaveWay) if tries < MOST_TRIES => tries += 1,
                outcome => return outcome,
            }
        }
    }

    async fn book_once(&self, waiting: &[Waiting]) -> Result<Vec<Result<EntryId, Error>>, Error> {
        let mut outcomes = BTreeMap::new();
        let mut items = Vec::with_capacity(waiting.len());
        for (place, waiting) in waiting.iter().enumerate() {
            match checked(waiting.new.clone()) {
                Ok(new) => {
                    items.push(Item { place, new, by: waiting.by.as_deref(), read_at: waiting.read_at });
                }
                Err(error) => drop(outcomes.insert(place, Err(error))),
            }
        }
        if !items.is_empty() {
            outcomes.extend(self.book_items(items).await?);
        }
        Ok(outcomes.into_values().collect())
    }

    async fn book_items(&self, mut items: Vec<Item<'_>>) -> Result<Vec<(usize, Result<EntryId, Error>)>, Error> {
        let mut outcomes = Vec::with_capacity(items.len());
        let mut transaction = self.begin().await?;
        let named: BTreeSet<&str> = items.iter().map(|item| item.new.machine.as_str()).collect();
        let mut machines = tables::lock_all(&mut transaction, self.engine, &named).await?;
        for place in moved_on(&mut transaction, &machines, &items).await? {
            let item = items.remove(place);
            outcomes.push((item.place, Err(Error::MovedOn { machine: item.new.machine })));
        }
        let usages = items.iter().filter_map(|item| record::usage_of(&item.new.event));
        let names = tables::names_for(&mut transaction, &self.quantities, usages).await?;
        for stretch in items.chunk_by_mut(|one, next| one.is_run() && next.is_run()) {
            if stretch.iter().all(Item::is_run) {
                let booked = self.book_runs(&mut transaction, &machines, stretch, &names).await?;
                outcomes.extend(stretch.iter().map(|item| item.place).zip(booked));
                continue;
            }
            for item in stretch {
                let mut apart = transaction.begin().await?;
                let outcome = match self.book_other(&mut apart, &mut machines, item, &names).await {
                    Ok(id) => apart.commit().await.map(|()| Ok(id))?,
                    Err(error) if error.of_all().is_some() => return Err(error),
                    Err(error) => apart.rollback().await.map(|()| Err(error))?,
                };
                outcomes.push((item.place, outcome));
            }
        }
        match outcomes.iter().any(|(_, outcome)| outcome.is_ok()) {
            true => self.record(transaction).await?,
            false => transaction.rollback().await?,
        }
        Ok(outcomes)
    }

    /// Books runs of any machines: whatever is read or written for them is read or written once for all.
    async fn book_runs(
        &self,
        connection: &mut AnyConnection,
        machines: &Machines,
        stretch: &mut [Item<'_>],
        names: &Names,
    ) -> Result<Vec<Result<EntryId, Error>>, Error> {
        let fates = fates(connection, machines, stretch, names).await?;
        let id_of = |item: &Item<'_>| machines.get(&item.new.machine).map(|machine| machine.id);
        let new = stretch.iter().zip(&fates).filter(|(_, fate)| matches!(fate, Fate::New(_))).map(|(item, _)| item);
        let new: Vec<(i64, &Item<'_>)> = new.filter_map(|item| Some((id_of(item)?, item))).collect();
        let lines: Vec<Line<'_>> = new.iter().map(|(machine, item)| item.line(*machine)).collect();
        let ids = write(connection, &lines, names).await?;
        for (_, item) in &new {
            if let Event::Run(run) = &item.new.event
                && let Some(queued) = run.queued
            {
                tables::drop_queued(connection, queued).await?;
            }
        }
        let uses: Vec<_> =
            new.iter().filter_map(|(machine, item)| Some((*machine, item.new.at, item.new.event.usage()?))).collect();
        count(connection, &uses, &self.shop.zone, names).await?;
        let outcome = |fate| match fate {
            Fate::New(place) => Ok(ids[place]),
            Fate::Twin(place) => Err(Error::AlreadyBooked(ids[place])),
            Fate::Refused(error) => Err(error),
        };
        Ok(fates.into_iter().map(outcome).collect())
    }

    /// Books an entry that is no run, and what follows from it.
    async fn book_other(
        &self,
        connection: &mut AnyConnection,
        machines: &mut Machines,
        item: &Item<'_>,
        names: &Names,
    ) -> Result<EntryId, Error> {
        let new = &item.new;
        if let Event::Added { build } = &new.event {
            let machine = tables::make_machine(connection, &new.machine).await?;
            refuse_twin(connection, &new.machine).await?;
            catalogue::check_build(connection, build).await?;
            let id = write(connection, &[item.line(machine.id)], names).await?.remove(0);
            let joined = Some(Joined { build: build.clone(), at: new.at, entry: id });
            tables::put_joined(connection, machine.id, joined.as_ref()).await?;
            machines.insert(machine.name.clone(), MachineRow { joined, ..machine });
            return Ok(id);
        }
        let machine = member(connection, machines, new).await?;
        faults::check_open(connection, &machine, &new.event, names).await?;
        // OK because one entry was given.
        let id = write(connection, &[item.line(machine.id)], names).await?.remove(0);
        if let Some(usage) = new.event.usage() {
            count(connection, &[(machine.id, new.at, usage)], &self.shop.zone, names).await?;
        }
        match &new.event {
            Event::Queued(_) => tables::put_queued(connection, machine.id, id).await?,
            Event::Limit(_) => tables::put_limit(connection, machine.id, id).await?,
            Event::Done { .. } | Event::Replaced { .. } => give_care(connection, machine.id, id, new, names).await?,
            Event::Added { .. }
            | Event::Run(_)
            | Event::Failed { .. }
            | Event::Reading { .. }
            | Event::HourMeter { .. }
            | Event::Age { .. }
            | Event::Rates(_)
            | Event::Visit(_)
            | Event::Skipped { .. }
            | Event::Keeper(_)
            | Event::Away(_)
            | Event::Ordered(_)
            | Event::Received(_)
            | Event::Counted(_)
            | Event::ThrownAway(_)
            | Event::Terms(_)
            | Event::FaultShown(_)
            | Event::FaultAnswered(_)
            | Event::FaultOver(_)
            | Event::FaultGrade(_)
            | Event::Withdrawn => {}
        }
        Ok(id)
    }
}

/// The places of those among `items`, the last first, that were decided by an older state of their machine's record than the one
/// that is locked: an earlier one of the same group makes it older, too.
async fn moved_on(
    connection: &mut AnyConnection,
    machines: &Machines,
    items: &[Item<'_>],
) -> Result<Vec<usize>, Error> {
    let (mut moved_on, mut before) = (Vec::new(), BTreeSet::new());
    for (place, item) in items.iter().enumerate() {
        let is_first = before.insert(item.new.machine.as_str());
        if let (Some(read_at), Some(machine)) = (item.read_at, machines.get(&item.new.machine))
            && !(is_first && tables::was_at(connection, machine.id, read_at).await?)
        {
            moved_on.push(place);
        }
    }
    moved_on.reverse();
    Ok(moved_on)
}

/// What becomes of each run of a stretch; those that will be written down are told what they fulfil.
async fn fates(
    connection: &mut AnyConnection,
    machines: &Machines,
    stretch: &mut [Item<'_>],
    names: &Names,
) -> Result<Vec<Fate>, Error> {
    let placed = |item: &Item<'_>| Some((machines.get(&item.new.machine)?.id, time::to_micros(item.new.at)));
    let mut first = first_booked(connection, stretch.iter().filter_map(placed), names).await?;
    let ids: BTreeSet<i64> = stretch.iter().filter_map(placed).map(|(machine, _)| machine).collect();
    let ids: Vec<i64> = ids.into_iter().collect();
    let mut queues = match ids.is_empty() {
        true => BTreeMap::new(),
        false => tables::queues(connection, &ids, names).await?,
    };
    let mut fates = Vec::with_capacity(stretch.len());
    let mut written = 0;
    for item in stretch {
        let fate = match member(connection, machines, &item.new).await {
            Ok(machine) => {
                let queue = queues.entry(machine.id).or_default();
                fate(connection, &machine, item, &mut first, queue, written).await?
            }
            Err(error @ (Error::NoSuchMachine(_) | Error::BeforeAdded { .. })) => Fate::Refused(error),
            Err(error) => return Err(error),
        };
        written += usize::from(matches!(fate, Fate::New(_)));
        fates.push(fate);
    }
    Ok(fates)
}

/// What becomes of a run, the `written`th to be written down if it is.
async fn fate(
    connection: &mut AnyConnection,
    machine: &MachineRow,
    item: &mut Item<'_>,
    first: &mut HashMap<(i64, RunKey), First>,
    queue: &mut Vec<Entry>,
    written: usize,
) -> Result<Fate, Error> {
    let Event::Run(run) = &mut item.new.event else { return Ok(Fate::Refused(Error::NothingToWithdraw)) };
    let key = (machine.id, (item.new.at, run_name(run)));
    match first.get(&key) {
        Some(First::Kept(id)) => return Ok(Fate::Refused(Error::AlreadyBooked(*id))),
        Some(First::New(place)) => return Ok(Fate::Twin(*place)),
        None => {}
    }
    let chains = if run.queued.is_some() { tables::chains(connection, machine.id).await? } else { Chains::default() };
    run.queued = match claim(run, item.new.at, queue, &chains, &machine.name) {
        Ok(claimed) => claimed,
        Err(error) => return Ok(Fate::Refused(error)),
    };
    queue.retain(|entry| Some(entry.id) != run.queued);
    first.insert(key, First::New(written));
    Ok(Fate::New(written))
}

/// The machine of an entry, or the row of the shop itself, if it had joined by then.
async fn member(connection: &mut AnyConnection, machines: &Machines, new: &NewEntry) -> Result<MachineRow, Error> {
    let machine = known(machines.get(&new.machine).cloned(), connection, &new.machine).await?;
    match &machine.joined {
        Some(joined) if new.at < joined.at => {
            Err(Error::BeforeAdded { machine: machine.name.clone(), at: new.at, added: joined.at })
        }
        _ => Ok(machine),
    }
}

/// Refuses a name that a machine has already, whatever its case: people would take one for the other.
async fn refuse_twin(connection: &mut AnyConnection, name: &str) -> Result<(), Error> {
    let lower = name.to_lowercase();
    let twin = tables::machines(connection)
        .await?
        .into_iter()
        .find(|machine| machine.joined.is_some() && machine.name.to_lowercase() == lower);
    twin.map_or(Ok(()), |machine| Err(Error::MachineExists { name: machine.name }))
}

/// Moves a standing up to a new entry, unless a later one stands.
async fn give_care(
    connection: &mut AnyConnection,
    machine: i64,
    id: EntryId,
    new: &NewEntry,
    names: &Names,
) -> Result<(), Error> {
    let Some(care) = care(&new.event) else { return Ok(()) };
    let mut standings = tables::standings(connection, machine, names).await?;
    if !standings.is_news(&care, new.at, id) {
        return Ok(());
    }
    let mut base = tables::total(connection, machine, names).await?;
    base.subtract(&tables::usage_from(connection, machine, time::to_micros(new.at), names).await?);
    standings.set(care, new.at, id, &base);
    tables::put_standings(connection, machine, &standings, names).await
}
