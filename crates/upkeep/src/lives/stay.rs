//! Stays: from when to when a part sat at its position, what it did there, and how it left.

use std::collections::BTreeMap;

use jiff::Timestamp;
use motion::Tool;

use crate::build::{Allowance, Build, Position};
use crate::entry::Because;
use crate::{Entry, EntryId, Event, Usage, measure};

/// One part's time at its position.
#[derive(Clone, Debug, PartialEq)]
pub struct Stay {
    /// The machine.
    pub machine: String,
    /// The position.
    pub position: String,
    /// The tool whose use alone wears it.
    pub tool: Option<Tool>,
    /// When it was put in, or when the machine joined the shop.
    pub from: Timestamp,
    /// Whether it was there when the machine joined; where no age is recorded it is counted as if it had been new.
    pub first: bool,
    /// How old it was at `from`, as recorded: the latest for each quantity or the calendar, those for all parts first.
    pub ages: Vec<Allowance>,
    /// When it ended, or until when the records go.
    pub to: Timestamp,
    /// How.
    pub end: Ending,
    /// What the machine did meanwhile.
    pub usage: Usage,
    /// Where its failure was found by an inspection: the last inspection before, and the use up to then.
    pub last_look: Option<(Timestamp, Usage)>,
}

/// How a stay ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// The part failed.
    Failed,
    /// It was replaced worn, but working.
    Worn,
    /// It was replaced good.
    Good,
    /// It is still there, and good.
    StillThere,
}

/// A place in the order of a machine's entries: what happened earlier, or then with a lower number, is before it.
pub type Place = (Timestamp, EntryId);

/// What a machine had done before each of some entries, and by the end of the records.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Uses {
    /// Before each entry.
    pub before: BTreeMap<Place, Usage>,
    /// By the end.
    pub all: Usage,
}

impl Uses {
    /// Out of all of a machine's effective entries up to `until`, oldest first.
    pub fn of(entries: &[Entry], until: Timestamp) -> Uses {
        let mut uses = Uses::default();
        for entry in entries.iter().filter(|entry| entry.at <= until) {
            match entry.event.usage() {
                Some(usage) => uses.all.add(usage),
                None => {
                    uses.before.insert((entry.at, entry.id), uses.all.clone());
                }
            }
        }
        uses
    }

    /// What was done from one place to another; an unknown place is one before which nothing was done.
    fn between(&self, from: Place, to: Option<Place>) -> Usage {
        let mut usage = match to {
            Some(to) => self.before.get(&to).cloned().unwrap_or_default(),
            None => self.all.clone(),
        };
        if let Some(before) = self.before.get(&from) {
            usage.subtract(before);
        }
        usage
    }
}

/// Every stay of a machine's parts, or of those of one kind, by position and time.
///
/// A part's life ends with its first failure, whether or not it was replaced then; what it did afterwards, repaired, is
/// left out. `entries` are the machine's effective ones, oldest first; `until` is the end of the records. A task that renews
/// its part begins a new life, whether or not the replacement was recorded beside it.
pub fn stays(build: &Build, kind: Option<&str>, entries: &[Entry], uses: &Uses, until: Timestamp) -> Vec<Stay> {
    let Some(joined) = entries.iter().find(|entry| matches!(entry.event, Event::Added { .. })) else {
        return Vec::new();
    };
    let mut all: Vec<Stay> = Vec::new();
    for position in build.positions.iter().filter(|position| kind.is_none_or(|kind| position.kind == kind)) {
        let mut walk = Walk::new(build, position, joined, uses);
        walk.was_aged(entries);
        for entry in entries.iter().filter(|entry| entry.at <= until) {
            walk.pass(entry);
        }
        all.extend(walk.finish(until));
    }
    all
}

/// A walk along a machine's entries for one position.
struct Walk<'a> {
    position: &'a Position,
    machine: &'a str,
    /// Tasks at the position that look at it.
    looks: Vec<&'a str>,
    /// Tasks at the position that put a new part in.
    renews: Vec<&'a str>,
    uses: &'a Uses,
    /// The stay under way; `None` after a failure, until the part is replaced.
    open: Option<Stay>,
    /// Where it began.
    began: Place,
    /// The last inspection, with the use up to then.
    look: Option<(Timestamp, Usage)>,
    done: Vec<Stay>,
}

impl<'a> Walk<'a> {
    fn new(build: &'a Build, position: &'a Position, joined: &'a Entry, uses: &'a Uses) -> Walk<'a> {
        let at_it = build.tasks.iter().filter(|task| task.at == position.name);
        let looks = at_it.clone().filter(|task| is_a_look(&task.name)).map(|task| task.name.as_str()).collect();
        let renews = at_it.filter(|task| task.renews).map(|task| task.name.as_str()).collect();
        let machine = &joined.machine;
        let began = (joined.at, joined.id);
        let mut walk = Walk { position, machine, looks, renews, uses, open: None, began, look: None, done: Vec::new() };
        walk.begin(joined, true);
        walk
    }

    /// Takes the recorded ages of the part that was there first: one for the position stands above one for all.
    fn was_aged(&mut self, entries: &[Entry]) {
        let Some(open) = &mut self.open else { return };
        for all in [true, false] {
            for entry in entries {
                let Event::Age { position, of, amount } = &entry.event else { continue };
                let is_meant = if all { position.is_none() } else { position.as_ref() == Some(&self.position.name) };
                // What can't be read was refused when it was recorded.
                let Some(age) = measure::read(of.as_deref(), amount).ok().filter(|_| is_meant) else { continue };
                open.ages.retain(|other| !same_meter(other, &age));
                open.ages.push(age);
            }
        }
    }

    fn begin(&mut self, entry: &Entry, first: bool) {
        let from = entry.at;
        self.look = None;
        self.began = (from, entry.id);
        self.open = Some(Stay {
            machine: self.machine.to_owned(),
            position: self.position.name.clone(),
            tool: self.position.tool,
            from,
            first,
            ages: Vec::new(),
            to: from,
            end: Ending::StillThere,
            usage: Usage::new(),
            last_look: None,
        });
    }

    fn pass(&mut self, entry: &Entry) {
        match &entry.event {
            Event::Done { task, .. } if self.renews.contains(&task.as_str()) => {
                self.end(entry, Ending::Good);
                self.begin(entry, false);
            }
            Event::Failed { position, mended: false, .. } if *position == self.position.name => {
                self.end(entry, Ending::Failed);
            }
            Event::Replaced { position, because, .. } if *position == self.position.name => {
                self.end(entry, because_of(*because));
                self.begin(entry, false);
            }
            Event::Done { task, .. } if self.looks.contains(&task.as_str()) => {
                let usage = self.uses.between(self.began, Some((entry.at, entry.id)));
                self.look = self.open.is_some().then_some((entry.at, usage));
            }
            _ => {}
        }
    }

    fn end(&mut self, entry: &Entry, end: Ending) {
        let Some(mut stay) = self.open.take() else { return };
        stay.to = entry.at;
        stay.usage = self.uses.between(self.began, Some((entry.at, entry.id)));
        stay.end = end;
        let found = matches!(entry.event, Event::Failed { found: true, .. });
        stay.last_look = self.look.take().filter(|(at, _)| found && *at < entry.at);
        // A replacement recorded beside the task that made it ends nothing.
        if stay.from < stay.to || end == Ending::Failed {
            self.done.push(stay);
        }
    }

    fn finish(mut self, until: Timestamp) -> Vec<Stay> {
        if let Some(mut stay) = self.open.take() {
            stay.to = until;
            stay.usage = self.uses.between(self.began, None);
            self.done.push(stay);
        }
        self.done
    }
}

fn because_of(because: Because) -> Ending {
    match because {
        Because::Failed => Ending::Failed,
        Because::Worn => Ending::Worn,
        Because::Good => Ending::Good,
    }
}

fn same_meter(one: &Allowance, other: &Allowance) -> bool {
    match (one, other) {
        (Allowance::Elapsed { .. }, Allowance::Elapsed { .. }) => true,
        (Allowance::Amount { quantity: one, .. }, Allowance::Amount { quantity: other, .. }) => one == other,
        _ => false,
    }
}

/// Whether a task only looks.
fn is_a_look(task: &str) -> bool {
    ["inspect ", "look ", "check ", "measure ", "feel ", "listen "].iter().any(|word| task.starts_with(word))
}
