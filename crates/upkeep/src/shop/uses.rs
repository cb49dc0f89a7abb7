//! What care took out of the stores.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use super::Measured;
use crate::build::Task;
use crate::{Build, Entry, EntryId, Event, Supplies};

/// Some of an item was used.
#[derive(Clone, Debug, PartialEq)]
pub struct Use {
    /// When.
    pub at: Timestamp,
    /// On which civil day.
    pub day: Date,
    /// The entry that says so.
    pub entry: EntryId,
    /// On which machine.
    pub machine: String,
    /// The supply or spare.
    pub item: String,
    /// How much; `None` where nobody said.
    pub amount: Option<Measured>,
}

/// What the tasks done and parts replaced among `care` used, in its order.
///
/// A task done uses what its build says; where a supply of the task was named with an amount, that amount stands instead,
/// and what else was named is used besides. The build is that of today; a task that it has no more tells of what was named
/// alone. A replaced part is one piece of the spare that was named.
pub fn uses<'a>(care: &[Entry], build_of: impl Fn(&str) -> Option<&'a Build>, zone: &TimeZone) -> Vec<Use> {
    let mut all = Vec::new();
    for entry in care {
        let taken = match &entry.event {
            Event::Done { task, supplies } => {
                let task = build_of(&entry.machine).and_then(|build| build.tasks.iter().find(|one| one.name == *task));
                taken_by_task(task, supplies)
            }
            Event::Replaced { spare: Some(spare), .. } => vec![(spare.clone(), Some(one_piece()))],
            _ => continue,
        };
        let day = zone.to_datetime(entry.at).date();
        all.extend(taken.into_iter().map(|(item, amount)| Use {
            at: entry.at,
            day,
            entry: entry.id,
            machine: entry.machine.clone(),
            item,
            amount,
        }));
    }
    all
}

fn one_piece() -> Measured {
    Measured { amount: 1.0, unit: String::new() }
}

fn taken_by_task(task: Option<&Task>, named: &BTreeMap<String, String>) -> Vec<(String, Option<Measured>)> {
    let listed = |name: &str| Supplies::built_in().get(name).map_or_else(|| name.to_owned(), |info| info.name.clone());
    let mut taken: BTreeMap<String, Option<Measured>> = BTreeMap::new();
    for supply in task.into_iter().flat_map(|task| &task.uses) {
        taken.insert(supply.name.clone(), Some(Measured { amount: supply.amount, unit: supply.unit.clone() }));
    }
    for (name, amount) in named {
        let amount = Measured::parse(amount).ok();
        let usual = taken.entry(listed(name)).or_default();
        *usual = amount.or_else(|| usual.take());
    }
    taken.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::build::shipped;
    use crate::entry::Because;

    fn entry(event: Event) -> Entry {
        let at = "2026-11-24T23:30:00Z".parse().unwrap();
        let (machine, note) = ("bowline".to_owned(), String::new());
        Entry { id: EntryId(7), machine, at, recorded: at, corrects: None, note, event }
    }

    /// What was used when the event happened on a machine of a shipped build: items and amounts in their units.
    fn used(event: Event) -> Vec<(String, Option<(f64, String)>)> {
        let (file, text) = shipped()[0];
        let build = Build::parse(file, text).unwrap();
        let uses = uses(&[entry(event)], |_| Some(&build), &TimeZone::UTC);
        uses.into_iter().map(|one| (one.item, one.amount.map(|amount| (amount.amount, amount.unit)))).collect()
    }

    /// A task of that build that uses something, and the first thing that it uses.
    fn a_task_with_supplies() -> (String, crate::build::Supply) {
        let (file, text) = shipped()[0];
        let build = Build::parse(file, text).unwrap();
        let task = build.tasks.iter().find(|task| task.uses.len() == 1).unwrap();
        (task.name.clone(), task.uses[0].clone())
    }

    fn done(task: &str, supplies: &[(&str, &str)]) -> Event {
        let supplies = supplies.iter().map(|(name, amount)| ((*name).to_owned(), (*amount).to_owned())).collect();
        Event::Done { task: task.to_owned(), supplies }
    }

    #[test]
    fn a_task_uses_what_its_build_says_unless_another_amount_was_named() {
        let (task, supply) = a_task_with_supplies();
        let usual = (supply.name.clone(), Some((supply.amount, supply.unit.clone())));
        assert_eq!(used(done(&task, &[])), vec![usual.clone()]);
        assert_eq!(used(done(&task, &[(&supply.name, "")])), vec![usual.clone()], "named without an amount");
        let other = format!("{} {}", supply.amount * 3.0, supply.unit);
        assert_eq!(
            used(done(&task, &[(&supply.name, &other)])),
            [(supply.name, Some((supply.amount * 3.0, supply.unit)))]
        );
        let besides = used(done(&task, &[("white lithium grease", "2 g"), ("water", "")]));
        assert_eq!(besides.len(), 3);
        assert!(besides.contains(&usual) && besides.contains(&("water".into(), None)), "{besides:?}");
        assert!(besides.contains(&("white lithium grease".into(), Some((2.0, "g".into())))), "{besides:?}");
    }

    #[test]
    fn a_task_that_the_build_has_no_more_uses_what_was_named() {
        assert_eq!(used(done("polish the brass", &[])), []);
        assert_eq!(used(done("polish the brass", &[("water", "5 ml")])), [("water".into(), Some((5.0, "ml".into())))]);
    }

    #[test]
    fn a_part_replaced_uses_one_of_the_spare_that_was_named() {
        let replaced = |spare: Option<&str>| Event::Replaced {
            position: "nozzle".into(),
            because: Because::Worn,
            spare: spare.map(str::to_owned),
        };
        assert_eq!(used(replaced(None)), []);
        let one = ("brass nozzle 0.4".to_owned(), Some((1.0, String::new())));
        assert_eq!(used(replaced(Some("brass nozzle 0.4"))), [one]);
    }

    #[test]
    fn a_use_belongs_to_the_day_in_the_shops_zone() {
        let oslo = TimeZone::get("Europe/Oslo").unwrap();
        let event = done("polish", &[("water", "5 ml")]);
        assert_eq!(uses(&[entry(event)], |_| None, &oslo)[0].day, jiff::civil::date(2026, 11, 25));
    }
}
