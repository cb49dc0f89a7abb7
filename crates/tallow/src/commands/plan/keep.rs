//! Telling people of a plan: visits are written down, moved or called off so that they are those of the plan.

use std::fmt;

use jiff::civil::Date;
use ledger::{Ledger, NewEntry, Told};
use upkeep::rounds::Placed;
use upkeep::shop::Visit;
use upkeep::{Care, EntryId, Event, MachineState};

use super::{Assembled, Round};
use crate::context::Context;
use crate::trouble::Trouble;
use crate::words;

/// What becomes of a visit when people are told of a plan.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Change<'a> {
    /// Nobody has been told of it.
    New(&'a Placed),
    /// People were told otherwise: of another day, keeper, time or other tasks.
    Changed(&'a Told, &'a Placed),
    /// It stands as told.
    Same(&'a Told),
    /// It is made no more.
    CalledOff(&'a Told),
    /// It is locked and its keeper is gone: somebody must decide what becomes of it.
    Undecided(&'a Told),
}

/// What was changed of what people had been told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Changes {
    /// Visits that are new.
    pub(crate) new: u64,
    /// Visits that were moved, or of which the tasks changed.
    pub(crate) changed: u64,
    /// Visits that were called off.
    pub(crate) called_off: u64,
    /// Visits that stand as told.
    pub(crate) same: u64,
    /// Locked visits of keepers who are gone: somebody must decide what becomes of them.
    pub(crate) undecided: Vec<Undecided>,
    /// New visits to a machine on a day for which one was called off: machine and day.
    pub(crate) anew: Vec<(String, Date)>,
}

/// A locked visit that nobody will walk, since its keeper is gone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Undecided {
    /// Its number.
    pub(super) visit: i64,
    /// Where.
    pub(super) machine: String,
    /// The day.
    pub(super) day: Date,
    /// Who was told, and is gone.
    pub(super) keeper: String,
}

impl Undecided {
    fn of(told: &Told) -> Undecided {
        let Visit { day, keeper, .. } = &told.visit;
        Undecided { visit: told.id.0, machine: told.machine.clone(), day: *day, keeper: keeper.clone() }
    }
}

impl fmt::Display for Undecided {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Undecided { visit, machine, day, keeper } = self;
        writeln!(
            f,
            "Visit {visit} to {machine} on {day} is locked, but {keeper}, who was told of it, is gone. Decide:"
        )?;
        write!(f, "  tallow visit move {visit} --to DAY --keeper NAME, or tallow visit off {visit} --why REASON")
    }
}

impl Changes {
    /// How many there are of each.
    pub(crate) fn count(changes: &[Change<'_>]) -> Changes {
        let mut counted = Changes::default();
        for change in changes {
            match change {
                Change::New(_) => counted.new += 1,
                Change::Changed(..) => counted.changed += 1,
                Change::Same(_) => counted.same += 1,
                Change::CalledOff(_) => counted.called_off += 1,
                Change::Undecided(told) => counted.undecided.push(Undecided::of(told)),
            }
        }
        counted
    }

    /// `2 new visits, 1 changed, 0 called off, 5 as told before.`
    pub(crate) fn counts(&self) -> String {
        let visits = words::count(self.new, "new visits");
        format!("{visits}, {} changed, {} called off, {} as told before.", self.changed, self.called_off, self.same)
    }
}

impl fmt::Display for Changes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.counts())?;
        self.anew.iter().try_for_each(|(machine, day)| {
            write!(
                f,
                "\nA visit to {machine} on {day} was called off before, and is told anew: the work is still open."
            )
        })?;
        self.undecided.iter().try_for_each(|undecided| write!(f, "\n{undecided}"))
    }
}

/// What becomes of each visit that people have been told of, and which are new.
pub(crate) fn changes<'a>(shop: &'a Assembled, round: &'a Round) -> Vec<Change<'a>> {
    let last = round.date(round.agenda.problem.days.saturating_sub(1));
    let standing = shop.told.iter().filter(|told| told.stands());
    // The plan leaves what is locked to whoever locked it; without a keeper it is nobody's.
    let (orphans, others): (Vec<&Told>, Vec<&Told>) =
        standing.partition(|told| told.visit.is_locked && is_gone(shop, &told.visit.keeper));
    let mut open: Vec<&Told> =
        others.into_iter().filter(|told| told.visit.day <= last || !told.visit.is_locked).collect();
    let mut changes: Vec<Change<'a>> = Vec::new();
    let mut unmatched: Vec<&Placed> = Vec::new();
    let changed = |told: &'a Told, placed: &'a Placed| match round.visit(shop, placed, told.visit.is_locked) {
        visit if visit == told.visit => Change::Same(told),
        _ => Change::Changed(told, placed),
    };
    // First those that stay on their day, so that no other takes their place.
    for placed in &round.plan.visits {
        let is_same = |told: &&Told| told.machine == round.machine(placed) && told.visit.day == round.date(placed.day);
        match open.iter().position(is_same) {
            Some(place) => changes.push(changed(open.remove(place), placed)),
            None => unmatched.push(placed),
        }
    }
    for placed in unmatched {
        match open.iter().position(|told| told.machine == round.machine(placed)) {
            Some(place) => changes.push(changed(open.remove(place), placed)),
            None => changes.push(Change::New(placed)),
        }
    }
    changes.extend(open.into_iter().filter(|told| !told.visit.is_locked).map(Change::CalledOff));
    changes.extend(orphans.into_iter().map(Change::Undecided));
    changes
}

/// Writes the plan's visits down.
///
/// # Errors
/// Where what the plan rests on has changed since, or the shop can't be written.
pub(crate) async fn keep(
    context: &Context,
    ledger: &Ledger,
    shop: &Assembled,
    round: &Round,
) -> Result<Changes, Trouble> {
    still_holds(ledger, shop, round).await?;
    let changes = changes(shop, round);
    for change in &changes {
        match change {
            Change::New(placed) => {
                ledger.append(entry(context, shop, round, placed, false)).await?;
            }
            Change::Changed(told, placed) => {
                ledger.correct(told.id, entry(context, shop, round, placed, told.visit.is_locked)).await?;
            }
            Change::CalledOff(told) => {
                ledger.withdraw(told.id, context.now, "called off by the plan").await?;
            }
            Change::Same(_) | Change::Undecided(_) => {}
        }
    }
    let is_called_off = |machine: &str, day: Date| {
        shop.told.iter().any(|told| told.is_cancelled && told.machine == machine && told.visit.day == day)
    };
    let new = changes.iter().filter_map(|change| match change {
        Change::New(placed) => Some((round.machine(placed).to_owned(), round.date(placed.day))),
        _ => None,
    });
    let anew = new.filter(|(machine, day)| is_called_off(machine, *day)).collect();
    Ok(Changes { anew, ..Changes::count(&changes) })
}

/// Refuses a plan that was made of what is so no more: people were told otherwise, keepers have other days, or care was given
/// at a machine that it visits. Runs since then change its costs a little, and nothing else.
async fn still_holds(ledger: &Ledger, shop: &Assembled, round: &Round) -> Result<(), Trouble> {
    let changed = |what: &str| {
        Err(Trouble::refused(format!("{what} since this was planned, so nobody was told of it")).help("plan again"))
    };
    if ledger.visits(shop.now.date()).await? != shop.told {
        return changed("visits were changed");
    }
    if ledger.keepers().await? != shop.keepers {
        return changed("what is known of the keepers was changed");
    }
    let mut visited: Vec<usize> = round.plan.visits.iter().map(|placed| placed.machine).collect();
    visited.sort_unstable();
    visited.dedup();
    for state in visited.into_iter().map(|machine| &shop.states[machine]) {
        let now = ledger.machine_state(&state.name, shop.now.date()).await?;
        if cares(&now) != cares(state) || now.build.name != state.build.name {
            return changed(&format!("something was done at {}", state.name));
        }
    }
    Ok(())
}

/// What was last done, by the entries that say so.
fn cares(state: &MachineState) -> Vec<(&Care, EntryId)> {
    state.standings.iter().map(|(care, standing)| (care, standing.entry)).collect()
}

/// Whether the shop has no keeper of that name any more.
fn is_gone(shop: &Assembled, keeper: &str) -> bool {
    !shop.keepers.iter().any(|one| one.keeper.name.to_lowercase() == keeper.to_lowercase())
}

fn entry(context: &Context, shop: &Assembled, round: &Round, placed: &Placed, is_locked: bool) -> NewEntry {
    NewEntry {
        machine: round.machine(placed).to_owned(),
        at: context.now,
        recorded: context.now,
        note: String::new(),
        event: Event::Visit(round.visit(shop, placed, is_locked)),
    }
}
