//! Writing: one transaction for an entry and everything that follows from it.

use jiff::Timestamp;
use sqlx::AnyConnection;
use upkeep::entry::Run;
use upkeep::shop::{self, Visit};
use upkeep::{Entry, EntryId, Event, Rates, Unknown};

use crate::booker::Waiting;
use crate::chains::Chains;
use crate::derived::{Derived, run_name};
use crate::group::{First, first_booked};
use crate::names::Names;
use crate::tables::{self, MachineRow};
use crate::written::{self, Line};
use crate::{Error, Kind, Ledger, Maker, Mark, catalogue, checklist, faults, record, time};

/// An entry to be written.
#[derive(Clone, Debug, PartialEq)]
pub struct NewEntry {
    /// The machine's name; empty where the entry is of the shop itself.
    pub machine: String,
    /// When it happened; a run's start. Kept to the microsecond.
    pub at: Timestamp,
    /// When it is written down.
    pub recorded: Timestamp,
    /// Words added by the keeper; may be empty.
    pub note: String,
    /// What happened.
    pub event: Event,
}

/// What became of one entry of an import.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Imported {
    /// It was written down under this number.
    New(EntryId),
    /// It is a run that counts already, as this entry.
    Already(EntryId),
}

impl Ledger {
    /// Writes an entry down and brings every derived row up to date, or does nothing at all. When this returns, the
    /// entry has reached the disk.
    ///
    /// A run without [`Run::queued`] fulfils the oldest queued run of the same program, or of the same label where
    /// either program is unknown, that was queued before it started.
    ///
    /// # Errors
    /// [`Error::AlreadyBooked`] for a run of the same program (or label, where no program is known) that started at the
    /// same instant on the same machine; others where the entry makes no sense or the database refuses.
    pub async fn append(&self, new: NewEntry) -> Result<EntryId, Error> {
        let waiting = Waiting { new, by: self.by.clone(), read_at: self.read_at };
        match &self.booker {
            Some(booker) => booker.book(waiting).await,
            // OK because one entry was given.
            None => self.book(&[waiting]).await?.remove(0),
        }
    }

    /// Adds a machine that joins the shop at `at`; its build must be in the shop.
    ///
    /// # Errors
    /// As [`Ledger::append`]; [`Error::MachineExists`], [`Error::NoSuchBuild`].
    pub async fn add_machine(
        &self,
        name: &str,
        build: &str,
        at: Timestamp,
        recorded: Timestamp,
        note: &str,
    ) -> Result<EntryId, Error> {
        let event = Event::Added { build: build.to_owned() };
        self.append(NewEntry { machine: name.to_owned(), at, recorded, note: note.to_owned(), event }).await
    }

    /// Sets what things cost in the shop's money; what `rates` leaves out stays as it was.
    ///
    /// # Errors
    /// [`Error::BadRates`]; where the database refuses.
    pub async fn set_rates(&self, rates: Rates, recorded: Timestamp, note: &str) -> Result<EntryId, Error> {
        let (machine, event) = (tables::THE_SHOP.to_owned(), Event::Rates(rates));
        self.append(NewEntry { machine, at: recorded, recorded, note: note.to_owned(), event }).await
    }

    /// Replaces what entry `id` says by what `new` says; the old entry stays in the record. Where `id` is itself a
    /// correction, or has been corrected, the newest correction holds.
    ///
    /// # Errors
    /// Where the correction is about another machine or another kind of event, or contradicts other entries.
    pub async fn correct(&self, id: EntryId, new: NewEntry) -> Result<EntryId, Error> {
        let mut new = if new.event == Event::Withdrawn { timely(new)? } else { checked(new)? };
        // Read outside the transaction, whose first statement must be a write; an entry never changes.
        let target = self.entry(id).await?;
        if target.machine != new.machine {
            return Err(Error::OtherMachine { id, machine: target.machine });
        }
        let mut transaction = self.begin().await?;
        let machine = tables::lock(&mut transaction, &new.machine).await?.ok_or(Error::NoSuchEntry { id })?;
        self.refuse_if_moved_on(&mut transaction, &machine).await?;
        let names = tables::names_for(&mut transaction, &self.quantities, record::usage_of(&new.event)).await?;
        let old = tables::derived(&mut transaction, &machine, &names).await?;
        let correction = self.put_right(&mut transaction, &machine, id, &mut new, &names).await?;
        self.derive(&mut transaction, machine.id, &old, &names).await?;
        self.record(transaction).await?;
        Ok(correction)
    }

    /// Says that entry `id` did not happen.
    ///
    /// # Errors
    /// Where there is no such entry, or it added a machine that has other records.
    pub async fn withdraw(&self, id: EntryId, recorded: Timestamp, note: &str) -> Result<EntryId, Error> {
        let machine = self.entry(id).await?.machine;
        let note = note.to_owned();
        self.correct(id, NewEntry { machine, at: recorded, recorded, note, event: Event::Withdrawn }).await
    }

    /// Writes many entries of one machine down in one transaction, for example a machine's print history. Runs that
    /// count already are passed over, so that the same file can be imported twice.
    ///
    /// # Errors
    /// As [`Ledger::append`]; nothing is kept then. [`Error::MovedOn`] where others have added to the machine's record since it was
    /// read, if this ledger is one as of then.
    pub async fn import(&self, machine: &str, entries: Vec<NewEntry>) -> Result<Vec<Imported>, Error> {
        let mut transaction = self.begin().await?;
        let machine = known(tables::lock(&mut transaction, machine).await?, &mut transaction, machine).await?;
        self.refuse_if_moved_on(&mut transaction, &machine).await?;
        let usages = entries.iter().filter_map(|new| record::usage_of(&new.event));
        let names = tables::names_for(&mut transaction, &self.quantities, usages).await?;
        let old = tables::derived(&mut transaction, &machine, &names).await?;
        let outcome = self.write_down(&mut transaction, &machine, entries, &names).await?;
        self.derive(&mut transaction, machine.id, &old, &names).await?;
        match outcome.iter().any(|one| matches!(one, Imported::New(_))) {
            true => self.record(transaction).await?,
            false => transaction.rollback().await?,
        }
        Ok(outcome)
    }

    /// Writes down that a visit was walked, as `over` says, and what came of it, all or nothing: of two who finish the same
    /// visit, on whichever server, one books it. The press of a device that books it, `by`, is kept with it, so that the same
    /// press can be told from another's when it arrives again.
    ///
    /// # Errors
    /// As [`Ledger::append`]; [`Error::VisitOver`] where it was walked or called off already.
    pub async fn finish_visit(
        &self,
        id: EntryId,
        over: NewEntry,
        came: Vec<NewEntry>,
        by: Option<&Maker<'_>>,
    ) -> Result<EntryId, Error> {
        let mut over = checked(over)?;
        let mut transaction = self.begin().await?;
        let machine =
            known(tables::lock(&mut transaction, &over.machine).await?, &mut transaction, &over.machine).await?;
        let names = tables::names_for(
            &mut transaction,
            &self.quantities,
            came.iter().filter_map(|new| record::usage_of(&new.event)),
        )
        .await?;
        let newest = tables::chains(&mut transaction, machine.id).await?.newest(id);
        match tables::entry(&mut transaction, newest, &names).await?.event {
            Event::Visit(Visit { took: None, .. }) => {}
            _ => return Err(Error::VisitOver { id }),
        }
        let old = tables::derived(&mut transaction, &machine, &names).await?;
        self.write_down(&mut transaction, &machine, came, &names).await?;
        let entry = self.put_right(&mut transaction, &machine, id, &mut over, &names).await?;
        self.derive(&mut transaction, machine.id, &old, &names).await?;
        if let Some(maker) = by {
            checklist::add(&mut transaction, id, "", &Mark::Finish, maker).await?;
        }
        self.record(transaction).await?;
        Ok(entry)
    }

    /// Refuses to add to a locked machine's record what was decided by an older state of it.
    async fn refuse_if_moved_on(&self, connection: &mut AnyConnection, machine: &MachineRow) -> Result<(), Error> {
        match self.read_at {
            Some(read_at) if !tables::was_at(connection, machine.id, read_at).await? => {
                Err(Error::MovedOn { machine: machine.name.clone() })
            }
            _ => Ok(()),
        }
    }

    /// Adds an entry that corrects another.
    async fn put_right(
        &self,
        connection: &mut AnyConnection,
        machine: &MachineRow,
        id: EntryId,
        new: &mut NewEntry,
        names: &Names,
    ) -> Result<EntryId, Error> {
        check_correction(connection, machine, id, new, names).await?;
        let line = Line { machine: machine.id, new, corrects: Some(id), by: self.by.as_deref() };
        // OK because one entry was given.
        Ok(written::write(connection, &[line], names).await?.remove(0))
    }

    /// Adds many entries of a machine, but for runs that count already.
    async fn write_down(
        &self,
        connection: &mut AnyConnection,
        machine: &MachineRow,
        entries: Vec<NewEntry>,
        names: &Names,
    ) -> Result<Vec<Imported>, Error> {
        let mut queue = tables::queue(connection, machine.id, names).await?;
        let runs = entries.iter().filter(|new| matches!(new.event, Event::Run(_)));
        let starts = runs.map(|new| (machine.id, time::to_micros(time::to_the_microsecond(new.at))));
        let mut runs = first_booked(connection, starts, names).await?;
        let (mut news, mut ids) = (Vec::with_capacity(entries.len()), Vec::with_capacity(entries.len()));
        let mut outcome = Vec::with_capacity(entries.len());
        for new in entries {
            let mut new = checked(NewEntry { machine: machine.name.clone(), ..new })?;
            if let Event::Added { .. } = new.event {
                return Err(Error::MachineExists { name: machine.name.clone() });
            }
            if faults::asks_of_a_fault(&new.event) {
                // What was said before may have ended the fault.
                ids.extend(self.write(connection, machine, &news[ids.len()..], names).await?);
                faults::check_open(connection, machine, &new.event, names).await?;
            }
            let place = First::New(news.len());
            if let Event::Run(run) = &mut new.event {
                let key = (machine.id, (new.at, run_name(run)));
                if let Some(first) = runs.get(&key) {
                    outcome.push((*first, false));
                    continue;
                }
                run.queued = claim(run, new.at, &queue, &Chains::default(), &machine.name)?;
                queue.retain(|entry| Some(entry.id) != run.queued);
                runs.insert(key, place);
            }
            outcome.push((place, true));
            news.push(new);
        }
        ids.extend(self.write(connection, machine, &news[ids.len()..], names).await?);
        let imported = |(first, is_new)| {
            let id = match first {
                First::Kept(id) => id,
                First::New(place) => ids[place],
            };
            if is_new { Imported::New(id) } else { Imported::Already(id) }
        };
        Ok(outcome.into_iter().map(imported).collect())
    }

    /// Writes entries of one machine down that correct none.
    async fn write(
        &self,
        connection: &mut AnyConnection,
        machine: &MachineRow,
        news: &[NewEntry],
        names: &Names,
    ) -> Result<Vec<EntryId>, Error> {
        let line = |new| Line { machine: machine.id, new, corrects: None, by: self.by.as_deref() };
        written::write(connection, &news.iter().map(line).collect::<Vec<_>>(), names).await
    }

    /// Derives everything of a machine anew from its entries, and turns the rows of `old` into that.
    pub(crate) async fn derive(
        &self,
        connection: &mut AnyConnection,
        machine: i64,
        old: &Derived,
        names: &Names,
    ) -> Result<(), Error> {
        let (effective, chains) = tables::effective(connection, machine, names).await?;
        let new = Derived::from_entries(&effective, &chains, &self.shop.zone)?;
        tables::put_derived(connection, machine, old, &new, names).await
    }
}

/// The machine, if it is in the shop now, or the row of the shop itself.
pub(crate) async fn known(
    row: Option<MachineRow>,
    connection: &mut AnyConnection,
    name: &str,
) -> Result<MachineRow, Error> {
    match row {
        Some(row) if row.joined.is_some() || row.is_the_shop() => Ok(row),
        _ => Err(no_such_machine(connection, name).await?),
    }
}

/// The error for a machine that is not in the shop, with those that are.
pub(crate) async fn no_such_machine(connection: &mut AnyConnection, name: &str) -> Result<Error, Error> {
    let rows = tables::machines(connection).await?;
    let known = rows.into_iter().filter(|row| row.joined.is_some()).map(|row| row.name).collect();
    Ok(Error::NoSuchMachine(Unknown::new("machine", name, known)))
}

/// Checks a correction against what it corrects. A corrected run fulfils what it did before, unless it says otherwise.
async fn check_correction(
    connection: &mut AnyConnection,
    machine: &MachineRow,
    id: EntryId,
    new: &mut NewEntry,
    names: &Names,
) -> Result<(), Error> {
    let chains = tables::chains(connection, machine.id).await?;
    let was = Kind::of(&tables::entry(connection, chains.root(id), names).await?.event);
    let now = Kind::of(&new.event);
    if now != Kind::Withdrawn && now != was {
        return Err(Error::OtherKind { id, was: was.word().to_owned(), now: now.word().to_owned() });
    }
    match &mut new.event {
        Event::Added { build } => catalogue::check_build(connection, build).await,
        Event::Run(run) => {
            let before = match tables::entry(connection, chains.newest(id), names).await?.event {
                Event::Run(before) => before.queued,
                _ => None,
            };
            let same = |named: EntryId| before.is_some_and(|before| chains.root(before) == chains.root(named));
            if run.queued.is_none_or(same) {
                run.queued = before;
            } else {
                let queue = tables::queue(connection, machine.id, names).await?;
                run.queued = claim(run, new.at, &queue, &chains, &machine.name)?;
            }
            Ok(())
        }
        _ => Ok(()),
    }
}

/// The queued entry that a run fulfils: the one it names, else the oldest that fits.
pub(crate) fn claim(
    run: &Run,
    start: Timestamp,
    queue: &[Entry],
    chains: &Chains,
    machine: &str,
) -> Result<Option<EntryId>, Error> {
    if let Some(named) = run.queued {
        let id = chains.newest(named);
        let found = queue.iter().any(|entry| entry.id == id);
        return if found { Ok(Some(id)) } else { Err(Error::NotQueued { id: named, machine: machine.to_owned() }) };
    }
    let fits = |entry: &&Entry| match &entry.event {
        Event::Queued(queued) if entry.at <= start => match (&queued.program, &run.program) {
            (Some(expected), Some(program)) => expected == program,
            _ => queued.label == run.label,
        },
        _ => false,
    };
    Ok(queue.iter().find(fits).map(|entry| entry.id))
}

/// A new entry with its instants as they will be read back, or what is wrong with it by itself.
pub(crate) fn checked(new: NewEntry) -> Result<NewEntry, Error> {
    let new = timely(new)?;
    let named = |what: &'static str, name: &str| match name.trim() {
        "" => Err(Error::Nameless { what }),
        _ => Ok(()),
    };
    let amount = |what: &'static str, value: f64| {
        if (0.0..f64::INFINITY).contains(&value) { Ok(()) } else { Err(Error::BadAmount { what, value }) }
    };
    match (new.event.is_of_the_shop(), new.machine == tables::THE_SHOP) {
        (true, false) => {
            return Err(Error::OfTheShop { kind: Kind::of(&new.event).word(), machine: new.machine });
        }
        (true, true) => {}
        (false, _) => named("machine", &new.machine)?,
    }
    match &new.event {
        Event::Added { build } => named("build", build)?,
        Event::Run(run) => {
            named("run", &run.label)?;
            if let upkeep::entry::Basis::Estimated { spread } = run.basis {
                amount("a spread", spread)?;
            }
        }
        Event::Queued(queued) => named("run", &queued.label)?,
        Event::Done { task, .. } => named("task", task)?,
        Event::Replaced { position, .. } => named("position", position)?,
        Event::Failed { position, mode, .. } => {
            named("position", position)?;
            shop::said("how the failure shows", mode)?;
        }
        Event::Reading { position, what, value, .. } => {
            named("position", position)?;
            shop::said("what was measured", what)?;
            amount("a reading", *value)?;
        }
        Event::HourMeter { hours, .. } => amount("an hour meter's reading", *hours)?,
        Event::Limit(own) => {
            named("task", &own.task)?;
            named("limit", &own.every)?;
        }
        Event::Age { position, amount, .. } => {
            named("position", position.as_deref().unwrap_or("all"))?;
            named("amount", amount)?;
        }
        Event::Rates(rates) => rates.check()?,
        Event::Visit(visit) => visit.check()?,
        Event::Skipped { task, reason } => {
            named("task", task)?;
            shop::said("why it was skipped", reason)?;
        }
        Event::Keeper(keeper) => keeper.check()?,
        Event::Away(away) => away.check()?,
        Event::Ordered(ordered) => ordered.check()?,
        Event::Received(received) => received.check()?,
        Event::Counted(counted) => counted.check()?,
        Event::ThrownAway(thrown) => thrown.check()?,
        Event::Terms(terms) => terms.check()?,
        Event::FaultShown(shown) => shown.check()?,
        Event::FaultAnswered(answered) => answered.check()?,
        Event::FaultOver(over) => over.check()?,
        Event::FaultGrade(own) => own.check()?,
        Event::Withdrawn => return Err(Error::NothingToWithdraw),
    }
    Ok(new)
}

/// A new entry with its instants to the microsecond, if it was not recorded before it happened.
fn timely(new: NewEntry) -> Result<NewEntry, Error> {
    let (at, recorded) = (time::to_the_microsecond(new.at), time::to_the_microsecond(new.recorded));
    if recorded < at {
        return Err(Error::NotYet { at, recorded });
    }
    Ok(NewEntry { at, recorded, ..new })
}
