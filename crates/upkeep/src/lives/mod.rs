//! Lives of parts, out of the shop's own records: how long they last, by which clock they wear, and when it pays to
//! replace them.

mod advice;
mod clock;
mod stay;

use jiff::Timestamp;

pub use advice::{Advice, Costs, Verdict, Wanted};
pub use clock::{Clock, TRUSTED, Told, told};
pub use stay::{Ending, Place, Stay, Uses, stays};

use crate::build::{Allowance, BelievedLife, Build, Limit, Neglect, Task};
use crate::{Entry, Event, Materials};

/// One machine's records.
#[derive(Clone, Copy, Debug)]
pub struct Records<'a> {
    /// Its build.
    pub build: &'a Build,
    /// Its effective entries, oldest first; those that tell of no part's end may be left out.
    pub entries: &'a [Entry],
    /// What it had done by each of them.
    pub uses: &'a Uses,
}

/// What the records say of one kind of part on the machines of one build.
#[derive(Clone, Debug)]
pub struct KindLives {
    /// The kind of part.
    pub kind: String,
    /// Whether neglect of such a part may injure somebody: then no money is weighed against its limits.
    pub may_injure: bool,
    /// The worst that neglect of such a part may lead to; `None` where no task cares for it.
    pub neglect: Option<Neglect>,
    /// How long such a part is believed to last by its build.
    pub believed: Option<BelievedLife>,
    /// The tasks that put a new part in, with the limits that hold today; none where parts go when they fail or show wear.
    pub renewals: Vec<Task>,
    /// Every stay of such a part.
    pub stays: Vec<Stay>,
    /// How well each clock explains the failures, the best first.
    pub told: Vec<Told>,
}

impl KindLives {
    /// The lives of the parts of that kind on `machines`, which have the same build, until the end of the records. `None`
    /// where the build has no such part.
    pub fn of(kind: &str, machines: &[Records<'_>], materials: &Materials, until: Timestamp) -> Option<KindLives> {
        let build = machines.first()?.build;
        let positions: Vec<_> = build.positions.iter().filter(|position| position.kind == kind).collect();
        let mut clocks: Vec<Clock> = Vec::new();
        for clock in positions.iter().flat_map(|position| Clock::candidates(build, position)) {
            if !clocks.contains(&clock) {
                clocks.push(clock);
            }
        }
        let of_kind = |machine: &Records<'_>| stays(machine.build, Some(kind), machine.entries, machine.uses, until);
        let stays: Vec<Stay> = machines.iter().flat_map(of_kind).collect();
        let believed = positions.iter().find_map(|position| position.life.clone());
        if let Some(life) = &believed {
            let clock = Clock::Meter { quantity: life.of, counts: Vec::new() };
            if !clocks.contains(&clock) {
                clocks.push(clock);
            }
        }
        let told = told(&clocks, &stays.iter().collect::<Vec<_>>(), materials);
        let today = as_limited_today(build, machines.first()?.entries);
        let tasks = today.tasks.iter().filter(|task| positions.iter().any(|position| position.name == task.at));
        let neglect = tasks.clone().map(|task| task.neglect).max();
        (!positions.is_empty()).then(|| KindLives {
            kind: kind.to_owned(),
            may_injure: neglect == Some(Neglect::Injury),
            neglect,
            believed,
            renewals: tasks.filter(|task| task.renews).cloned().collect(),
            stays,
            told,
        })
    }

    /// How many parts ended that way.
    pub fn count(&self, end: Ending) -> usize {
        self.stays.iter().filter(|stay| stay.end == end).count()
    }

    /// How many were in place when their machine joined and have no age on record: counted as if they had been new then.
    pub fn of_unknown_age(&self) -> usize {
        self.stays.iter().filter(|stay| stay.first && stay.ages.is_empty()).count()
    }
}

/// A machine's build with the shop's own limits.
pub(crate) fn as_limited_today(build: &Build, entries: &[Entry]) -> Build {
    let mut build = build.clone();
    for entry in entries {
        if let Event::Limit(own) = &entry.event {
            // A limit that the build no longer has holds no more.
            let _ = build.set_limit(own);
        }
    }
    build
}

/// The clock by which a limit counts.
fn clock_of(limit: &Limit) -> Clock {
    match limit.every {
        Allowance::Elapsed { .. } => Clock::Days,
        Allowance::Amount { quantity, .. } => Clock::Meter { quantity, counts: limit.counts.clone() },
    }
}
