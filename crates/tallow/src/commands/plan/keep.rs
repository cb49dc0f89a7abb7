//! Telling people of a plan: visits are written down, moved or called off so that they are those of the plan.

use std::fmt;

use jiff::civil::Date;
use ledger::{Ledger, NewEntry, Told};
use upkeep::Event;
use upkeep::rounds::Placed;
use upkeep::shop::Visit;

use super::{Assembled, Round};
use crate::context::Context;
use crate::trouble::Trouble;
use crate::words;

/// What was changed of what people had been told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Changes {
    /// Visits that are new.
    pub(super) new: u64,
    /// Visits that were moved, or of which the tasks changed.
    pub(super) changed: u64,
    /// Visits that were called off.
    pub(super) called_off: u64,
    /// Visits that stand as told.
    pub(super) same: u64,
    /// Locked visits of keepers who are gone: somebody must decide what becomes of them.
    pub(super) undecided: Vec<Undecided>,
    /// New visits to a machine on a day for which one was called off: machine and day.
    pub(super) anew: Vec<(String, Date)>,
}

/// A locked visit that nobody will walk, since its keeper is gone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Undecided {
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

impl fmt::Display for Changes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let visits = words::count(self.new, "new visits");
        write!(f, "{visits}, {} changed, {} called off, {} as told before.", self.changed, self.called_off, self.same)?;
        self.anew.iter().try_for_each(|(machine, day)| {
            write!(
                f,
                "\nA visit to {machine} on {day} was called off before, and is told anew: the work is still open."
            )
        })?;
        self.undecided.iter().try_for_each(|undecided| write!(f, "\n{undecided}"))
    }
}

/// Writes the plan's visits down.
///
/// # Errors
/// Where the shop can't be written.
pub(super) async fn keep(
    context: &Context,
    ledger: &Ledger,
    shop: &Assembled,
    round: &Round,
) -> Result<Changes, Trouble> {
    let last = round.date(round.agenda.problem.days.saturating_sub(1));
    let standing = shop.told.iter().filter(|told| told.stands());
    // The plan leaves what is locked to whoever locked it; without a keeper it is nobody's.
    let (orphans, others): (Vec<&Told>, Vec<&Told>) =
        standing.partition(|told| told.visit.is_locked && is_gone(shop, &told.visit.keeper));
    let mut open: Vec<&Told> =
        others.into_iter().filter(|told| told.visit.day <= last || !told.visit.is_locked).collect();
    let undecided = orphans.into_iter().map(Undecided::of).collect();
    let mut changes = Changes { undecided, ..Changes::default() };
    let mut unmatched: Vec<&Placed> = Vec::new();
    // First those that stay on their day, so that no other takes their place.
    for placed in &round.plan.visits {
        let is_same = |told: &&Told| told.machine == machine(round, placed) && told.visit.day == round.date(placed.day);
        match open.iter().position(is_same) {
            Some(place) => update(context, ledger, shop, round, open.remove(place), placed, &mut changes).await?,
            None => unmatched.push(placed),
        }
    }
    for placed in unmatched {
        match open.iter().position(|told| told.machine == machine(round, placed)) {
            Some(place) => update(context, ledger, shop, round, open.remove(place), placed, &mut changes).await?,
            None => {
                ledger.append(entry(context, shop, round, placed, false)).await?;
                changes.new += 1;
                let (name, day) = (machine(round, placed), round.date(placed.day));
                if shop.told.iter().any(|told| told.is_cancelled && told.machine == name && told.visit.day == day) {
                    changes.anew.push((name.to_owned(), day));
                }
            }
        }
    }
    for told in open.into_iter().filter(|told| !told.visit.is_locked) {
        ledger.withdraw(told.id, context.now, "called off by the plan").await?;
        changes.called_off += 1;
    }
    Ok(changes)
}

/// Whether the shop has no keeper of that name any more.
fn is_gone(shop: &Assembled, keeper: &str) -> bool {
    !shop.keepers.iter().any(|one| one.keeper.name.to_lowercase() == keeper.to_lowercase())
}

fn machine<'a>(round: &'a Round, placed: &Placed) -> &'a str {
    &round.agenda.problem.machines[placed.machine].name
}

async fn update(
    context: &Context,
    ledger: &Ledger,
    shop: &Assembled,
    round: &Round,
    told: &Told,
    placed: &Placed,
    changes: &mut Changes,
) -> Result<(), Trouble> {
    let new = entry(context, shop, round, placed, told.visit.is_locked);
    if new.event == Event::Visit(told.visit.clone()) {
        changes.same += 1;
        return Ok(());
    }
    ledger.correct(told.id, new).await?;
    changes.changed += 1;
    Ok(())
}

fn entry(context: &Context, shop: &Assembled, round: &Round, placed: &Placed, is_locked: bool) -> NewEntry {
    let visit = Visit {
        day: round.date(placed.day),
        keeper: round.agenda.problem.keepers[placed.keeper].name.clone(),
        tasks: round.tasks(shop, placed).into_iter().map(str::to_owned).collect(),
        minutes: round.minutes(shop, placed),
        is_locked,
        took: None,
    };
    NewEntry {
        machine: machine(round, placed).to_owned(),
        at: context.now,
        recorded: context.now,
        note: String::new(),
        event: Event::Visit(visit),
    }
}
