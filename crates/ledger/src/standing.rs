//! When each care was last given, and the use before that instant.
//!
//! The use before an instant does not depend on what was cared for then, so the instants of one machine form a row of
//! marks, each with the use since the mark before it. The use before a mark is the sum up to it. A run booked late
//! then changes one mark, not every care after it.

use std::collections::BTreeMap;

use jiff::Timestamp;
use upkeep::{Care, EntryId, Standing, Usage};

/// An instant at which something was cared for.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Mark {
    /// Use of runs that started at or after the mark before, and before this one.
    pub since_the_one_before: Usage,
    /// What was last cared for here, and the entries that say so.
    pub cares: BTreeMap<Care, EntryId>,
}

/// All marks of one machine.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Standings {
    marks: BTreeMap<Timestamp, Mark>,
}

impl Standings {
    /// The marks, oldest first.
    pub(crate) fn marks(&self) -> &BTreeMap<Timestamp, Mark> {
        &self.marks
    }

    /// The instant of the newest mark.
    pub(crate) fn newest(&self) -> Option<Timestamp> {
        self.marks.last_key_value().map(|(&at, _)| at)
    }

    /// Adds a mark at `at` with its use since the one before.
    pub(crate) fn push(&mut self, at: Timestamp, since_the_one_before: Usage) -> &mut Mark {
        let mark = self.marks.entry(at).or_default();
        mark.since_the_one_before = since_the_one_before;
        mark
    }

    /// Counts the use of a run that started at `start`: the first mark after it had less before it than was so.
    pub(crate) fn book(&mut self, start: Timestamp, usage: &Usage) {
        let after = (std::ops::Bound::Excluded(start), std::ops::Bound::Unbounded);
        if let Some((_, mark)) = self.marks.range_mut(after).next() {
            mark.since_the_one_before.add(usage);
        }
    }

    /// Whether `entry`, at `at`, would be the newest to say that `care` was given.
    pub(crate) fn is_news(&self, care: &Care, at: Timestamp, entry: EntryId) -> bool {
        self.marks.iter().all(|(&then, mark)| mark.cares.get(care).is_none_or(|&old| (then, old) < (at, entry)))
    }

    /// Notes that `care` was given at `at`, before which the machine's use was `base`; an older standing is forgotten.
    pub(crate) fn set(&mut self, care: Care, at: Timestamp, entry: EntryId, base: &Usage) {
        self.forget(&care);
        if !self.marks.contains_key(&at) {
            self.split(at, base);
        }
        self.marks.entry(at).or_default().cares.insert(care, entry);
    }

    /// Puts a mark without cares at `at`, before which the machine's use was `base`.
    fn split(&mut self, at: Timestamp, base: &Usage) {
        let mut since = base.clone();
        for (_, mark) in self.marks.range(..at) {
            since.subtract(&mark.since_the_one_before);
        }
        if let Some((_, next)) = self.marks.range_mut(at..).next() {
            next.since_the_one_before.subtract(&since);
        }
        self.push(at, since);
    }

    /// Takes `care` off its mark, and the mark away if nothing else was cared for then.
    fn forget(&mut self, care: &Care) {
        let Some((&at, mark)) = self.marks.iter_mut().find(|(_, mark)| mark.cares.contains_key(care)) else { return };
        mark.cares.remove(care);
        if !mark.cares.is_empty() {
            return;
        }
        if let Some(gone) = self.marks.remove(&at)
            && let Some((_, next)) = self.marks.range_mut(at..).next()
        {
            next.since_the_one_before.add(&gone.since_the_one_before);
        }
    }

    /// Every care with its standing.
    pub(crate) fn into_map(self) -> BTreeMap<Care, Standing> {
        let mut base = Usage::new();
        let mut standings = BTreeMap::new();
        for (at, mark) in self.marks {
            base.add(&mark.since_the_one_before);
            for (care, entry) in mark.cares {
                standings.insert(care, Standing { at, entry, base: base.clone() });
            }
        }
        standings
    }
}
