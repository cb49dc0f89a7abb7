//! Lives of parts, out of the shop's own records: how long they last, by which clock they wear, and when it pays to
//! replace them.

mod advice;
mod clock;
mod stay;

use jiff::Timestamp;

pub use advice::{Advice, Costs, Verdict};
pub use clock::{Clock, Told, told};
pub use stay::{Ending, Stay, stays};

use crate::build::{Build, Neglect, Task};
use crate::{Entry, Materials};

/// One machine's records.
#[derive(Clone, Copy, Debug)]
pub struct Records<'a> {
    /// Its build.
    pub build: &'a Build,
    /// Its effective entries, oldest first.
    pub entries: &'a [Entry],
}

/// What the records say of one kind of part on the machines of one build.
#[derive(Clone, Debug)]
pub struct KindLives {
    /// The kind of part.
    pub kind: String,
    /// Whether neglect of such a part may injure somebody: then no money is weighed against its limits.
    pub may_injure: bool,
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
        let of_kind = |machine: &Records<'_>| stays(machine.build, Some(kind), machine.entries, until);
        let stays: Vec<Stay> = machines.iter().flat_map(of_kind).collect();
        let told = told(&clocks, &stays.iter().collect::<Vec<_>>(), materials);
        let at_one = |task: &&Task| positions.iter().any(|position| position.name == task.at);
        let may_injure = build.tasks.iter().filter(at_one).any(|task| task.neglect == Neglect::Injury);
        (!positions.is_empty()).then(|| KindLives { kind: kind.to_owned(), may_injure, stays, told })
    }

    /// How many parts ended that way.
    pub fn count(&self, end: Ending) -> usize {
        self.stays.iter().filter(|stay| stay.end == end).count()
    }

    /// How many were in place when their machine joined, and so are counted as if they had been new then.
    pub fn first(&self) -> usize {
        self.stays.iter().filter(|stay| stay.first).count()
    }
}
