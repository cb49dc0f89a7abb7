//! Telling people of a plan: visits are written down, moved or called off so that they are those of the plan.
//!
//! What is to be written, and what that rests on, is plain data: the plan may have been made by another server, a while ago.

use std::fmt;

use jiff::civil::Date;
use ledger::{Ledger, NewEntry, Told};
use serde::{Deserialize, Serialize};
use upkeep::rounds::Placed;
use upkeep::shop::{Rostered, Visit};
use upkeep::{EntryId, Event, MachineState};

use super::{Assembled, Round};
use crate::context::Context;
use crate::trouble::Trouble;
use crate::words;

/// What people are to be told, and what must still be so.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Telling {
    /// Each visit of the plan, and each that people have been told of.
    pub(crate) changes: Vec<Change>,
    rests_on: Ground,
}

/// A visit, and what becomes of it when people are told of a plan.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Change {
    /// What becomes of it.
    pub(crate) becomes: Becomes,
    /// The machine.
    pub(crate) machine: String,
    /// The day; of one that is moved, the new one.
    pub(crate) day: Date,
    /// Who is told.
    pub(crate) keeper: String,
    /// How long it takes, min.
    pub(crate) minutes: f64,
    /// The tasks, by their names in the machine's build.
    pub(crate) tasks: Vec<String>,
    is_locked: bool,
}

/// What becomes of a visit; those that people have been told of are named by their numbers.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Becomes {
    /// Nobody has been told of it; whether one to that machine on that day was called off before.
    New { is_anew: bool },
    /// People were told otherwise: of another day, keeper, time or other tasks.
    Changed { visit: i64, from: Date },
    /// It stands as told.
    Same,
    /// It is made no more.
    CalledOff { visit: i64 },
    /// It is locked and its keeper is gone: somebody must decide what becomes of it.
    Undecided { visit: i64 },
}

/// What a plan rests on, by the numbers of the entries that say so.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Ground {
    today: Date,
    /// The visits that people have been told of, each with how often it was changed.
    visits: Vec<(i64, usize)>,
    keepers: Vec<i64>,
    machines: Vec<Visited>,
}

/// A machine that the plan visits: its build, and what was last done there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Visited {
    machine: String,
    build: String,
    cares: Vec<i64>,
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
    pub(crate) fn count(changes: &[Change]) -> Changes {
        let mut counted = Changes::default();
        for Change { becomes, machine, day, keeper, .. } in changes {
            match *becomes {
                Becomes::New { is_anew } => {
                    counted.new += 1;
                    counted.anew.extend(is_anew.then(|| (machine.clone(), *day)));
                }
                Becomes::Changed { .. } => counted.changed += 1,
                Becomes::Same => counted.same += 1,
                Becomes::CalledOff { .. } => counted.called_off += 1,
                Becomes::Undecided { visit } => {
                    let (machine, keeper) = (machine.clone(), keeper.clone());
                    counted.undecided.push(Undecided { visit, machine, day: *day, keeper });
                }
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

impl Telling {
    /// What people are to be told of a plan.
    pub(crate) fn of(shop: &Assembled, round: &Round) -> Telling {
        let mut visited: Vec<usize> = round.plan.visits.iter().map(|placed| placed.machine).collect();
        visited.sort_unstable();
        visited.dedup();
        let machines = visited.into_iter().map(|machine| Visited::of(&shop.states[machine])).collect();
        let rests_on =
            Ground { today: shop.now.date(), visits: versions(&shop.told), keepers: said_of(&shop.keepers), machines };
        Telling { changes: changes(shop, round), rests_on }
    }
}

/// What becomes of each visit that people have been told of, and which are new.
fn changes(shop: &Assembled, round: &Round) -> Vec<Change> {
    let last = round.date(round.agenda.problem.days.saturating_sub(1));
    let standing = shop.told.iter().filter(|told| told.stands());
    // The plan leaves what is locked to whoever locked it; without a keeper it is nobody's.
    let (orphans, others): (Vec<&Told>, Vec<&Told>) =
        standing.partition(|told| told.visit.is_locked && is_gone(shop, &told.visit.keeper));
    let mut open: Vec<&Told> =
        others.into_iter().filter(|told| told.visit.day <= last || !told.visit.is_locked).collect();
    let mut changes: Vec<Change> = Vec::new();
    let mut unmatched: Vec<&Placed> = Vec::new();
    let changed = |told: &Told, placed: &Placed| {
        let visit = round.visit(shop, placed, told.visit.is_locked);
        let becomes = match visit == told.visit {
            true => Becomes::Same,
            false => Becomes::Changed { visit: told.id.0, from: told.visit.day },
        };
        Change::of(becomes, &told.machine, visit)
    };
    let as_told = |told: &Told, becomes: Becomes| Change::of(becomes, &told.machine, told.visit.clone());
    // First those that stay on their day, so that no other takes their place.
    for placed in &round.plan.visits {
        let is_same = |told: &&Told| told.machine == round.machine(placed) && told.visit.day == round.date(placed.day);
        match open.iter().position(is_same) {
            Some(place) => changes.push(changed(open.remove(place), placed)),
            None => unmatched.push(placed),
        }
    }
    for placed in unmatched {
        let machine = round.machine(placed);
        match open.iter().position(|told| told.machine == machine) {
            Some(place) => changes.push(changed(open.remove(place), placed)),
            None => {
                let visit = round.visit(shop, placed, false);
                let is_called_off =
                    |told: &Told| told.is_cancelled && told.machine == machine && told.visit.day == visit.day;
                let is_anew = shop.told.iter().any(is_called_off);
                changes.push(Change::of(Becomes::New { is_anew }, machine, visit));
            }
        }
    }
    let free = open.into_iter().filter(|told| !told.visit.is_locked);
    changes.extend(free.map(|told| as_told(told, Becomes::CalledOff { visit: told.id.0 })));
    changes.extend(orphans.into_iter().map(|told| as_told(told, Becomes::Undecided { visit: told.id.0 })));
    changes
}

impl Change {
    fn of(becomes: Becomes, machine: &str, visit: Visit) -> Change {
        let Visit { day, keeper, tasks, minutes, is_locked, took: _ } = visit;
        Change { becomes, machine: machine.to_owned(), day, keeper, minutes, tasks, is_locked }
    }

    fn entry(&self, context: &Context) -> NewEntry {
        let Change { machine, day, keeper, minutes, tasks, is_locked, .. } = self;
        let (keeper, tasks) = (keeper.clone(), tasks.clone());
        let visit = Visit { day: *day, keeper, tasks, minutes: *minutes, is_locked: *is_locked, took: None };
        NewEntry {
            machine: machine.clone(),
            at: context.now,
            recorded: context.now,
            note: String::new(),
            event: Event::Visit(visit),
        }
    }
}

/// Writes the plan's visits down.
///
/// # Errors
/// Where what the plan rests on has changed since, or the shop can't be written.
pub(crate) async fn keep(context: &Context, ledger: &Ledger, telling: &Telling) -> Result<Changes, Trouble> {
    still_holds(context, ledger, &telling.rests_on).await?;
    for change in &telling.changes {
        match change.becomes {
            Becomes::New { .. } => {
                ledger.append(change.entry(context)).await?;
            }
            Becomes::Changed { visit, .. } => {
                ledger.correct(EntryId(visit), change.entry(context)).await?;
            }
            Becomes::CalledOff { visit } => {
                ledger.withdraw(EntryId(visit), context.now, "called off by the plan").await?;
            }
            Becomes::Same | Becomes::Undecided { .. } => {}
        }
    }
    Ok(Changes::count(&telling.changes))
}

/// Refuses a plan that was made of what is so no more: people were told otherwise, keepers have other days, or care was given
/// at a machine that it visits. Runs since then change its costs a little, and nothing else.
async fn still_holds(context: &Context, ledger: &Ledger, ground: &Ground) -> Result<(), Trouble> {
    let changed = |what: &str| {
        Err(Trouble::refused(format!("{what} since this was planned, so nobody was told of it")).help("plan again"))
    };
    if context.now_in(ledger).date() != ground.today {
        return changed("another day has begun");
    }
    if versions(&ledger.visits(ground.today).await?) != ground.visits {
        return changed("visits were changed");
    }
    if said_of(&ledger.keepers().await?) != ground.keepers {
        return changed("what is known of the keepers was changed");
    }
    for visited in &ground.machines {
        if Visited::of(&ledger.machine_state(&visited.machine, ground.today).await?) != *visited {
            return changed(&format!("something was done at {}", visited.machine));
        }
    }
    Ok(())
}

impl Visited {
    fn of(state: &MachineState) -> Visited {
        let cares = state.standings.values().map(|standing| standing.entry.0).collect();
        Visited { machine: state.name.clone(), build: state.build.name.clone(), cares }
    }
}

/// The visits that people have been told of, each with how often it was changed: whatever is said of one changes that.
fn versions(told: &[Told]) -> Vec<(i64, usize)> {
    told.iter().map(|told| (told.id.0, told.sequence)).collect()
}

/// The entries that say who keeps machines and who is away when.
fn said_of(keepers: &[Rostered]) -> Vec<i64> {
    let of_one = |one: &Rostered| [one.entry].into_iter().chain(one.away.iter().map(|(entry, _)| *entry)).collect();
    keepers.iter().flat_map(|one| -> Vec<EntryId> { of_one(one) }).map(|entry| entry.0).collect()
}

/// Whether the shop has no keeper of that name any more.
fn is_gone(shop: &Assembled, keeper: &str) -> bool {
    !shop.keepers.iter().any(|one| one.keeper.name.to_lowercase() == keeper.to_lowercase())
}
