//! Keepers: how many minutes each has on which weekday, what they may do, and the days off.

use std::collections::BTreeMap;

use jiff::civil::Date;

use super::ShopError;
use super::error::{named, one_line};
use super::week::{self, Week};
use crate::build::Task;
use crate::{Entry, EntryId, Event};

/// The skill that a build's tasks ask for where only qualified people may go beyond looking.
pub const QUALIFIED: &str = "qualified";

/// Somebody who looks after machines. Of several entries of one name the newest holds, whatever the case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Keeper {
    /// The name by which the shop calls them.
    pub name: String,
    /// Minutes for care, by weekday.
    pub minutes: Week,
    /// What they may do beyond what everybody may: [`QUALIFIED`], or words of the shop's own.
    pub skills: Vec<String>,
    /// Whether they keep machines here no more.
    pub is_gone: bool,
}

/// Days on which a keeper is not there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Away {
    /// The keeper's name.
    pub keeper: String,
    /// The first day.
    pub from: Date,
    /// The last day.
    pub to: Date,
    /// Why; may be empty.
    pub why: String,
}

/// A keeper as all entries that stand have them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rostered {
    /// The newest that was said of them.
    pub keeper: Keeper,
    /// The entry that says it.
    pub entry: EntryId,
    /// Their days off, by first day, each with its entry.
    pub away: Vec<(EntryId, Away)>,
}

impl Keeper {
    /// Refuses what can't be.
    ///
    /// # Errors
    /// [`ShopError::Missing`], [`ShopError::NotOneLine`], [`ShopError::Name`], [`ShopError::Minutes`].
    pub fn check(&self) -> Result<(), ShopError> {
        named("the keeper's name", &self.name)?;
        self.skills.iter().try_for_each(|skill| named("a skill", skill))?;
        week::check(&self.minutes)
    }

    /// Whether they may do that task.
    pub fn may_do(&self, task: &Task) -> bool {
        !task.qualified || self.skills.iter().any(|skill| skill.eq_ignore_ascii_case(QUALIFIED))
    }
}

impl Away {
    /// Refuses what can't be.
    ///
    /// # Errors
    /// [`ShopError::Missing`], [`ShopError::NotOneLine`], [`ShopError::Name`], [`ShopError::Reversed`].
    pub fn check(&self) -> Result<(), ShopError> {
        named("the keeper's name", &self.keeper)?;
        one_line("why somebody is away", &self.why)?;
        if self.to < self.from { Err(ShopError::Reversed { from: self.from, to: self.to }) } else { Ok(()) }
    }
}

impl Rostered {
    /// Whether it is one of their days off.
    pub fn is_away(&self, day: Date) -> bool {
        self.away.iter().any(|(_, away)| away.from <= day && day <= away.to)
    }

    /// Minutes that they have for care on that day.
    pub fn minutes_on(&self, day: Date) -> u16 {
        if self.is_away(day) { 0 } else { week::on(&self.keeper.minutes, day) }
    }
}

/// The keepers of the shop, by name, from the entries that stand, oldest first. Who is gone is left out.
pub fn keepers(entries: &[Entry]) -> Vec<Rostered> {
    let mut all: BTreeMap<String, Rostered> = BTreeMap::new();
    for entry in entries {
        if let Event::Keeper(keeper) = &entry.event {
            let rostered = Rostered { keeper: keeper.clone(), entry: entry.id, away: Vec::new() };
            all.insert(keeper.name.to_lowercase(), rostered);
        }
    }
    for entry in entries {
        if let Event::Away(away) = &entry.event
            && let Some(rostered) = all.get_mut(&away.keeper.to_lowercase())
        {
            rostered.away.push((entry.id, away.clone()));
        }
    }
    let mut here: Vec<Rostered> = all.into_values().filter(|rostered| !rostered.keeper.is_gone).collect();
    here.iter_mut().for_each(|rostered| rostered.away.sort_by_key(|(_, away)| (away.from, away.to)));
    here
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    fn keeper(name: &str, minutes: u16, is_gone: bool) -> Event {
        Event::Keeper(Keeper { name: name.into(), minutes: [minutes; 7], skills: Vec::new(), is_gone })
    }

    fn away(keeper: &str, from: i8, to: i8) -> Event {
        let day = |day| date(2026, 12, day);
        Event::Away(Away { keeper: keeper.into(), from: day(from), to: day(to), why: String::new() })
    }

    fn entries(events: impl IntoIterator<Item = Event>) -> Vec<Entry> {
        let entry = |(id, event)| Entry {
            id: EntryId(id),
            machine: String::new(),
            at: jiff::Timestamp::from_second(id).unwrap(),
            recorded: jiff::Timestamp::from_second(id).unwrap(),
            corrects: None,
            note: String::new(),
            event,
        };
        (1..).zip(events).map(entry).collect()
    }

    #[test]
    fn the_newest_of_a_name_holds_and_who_is_gone_is_left_out() {
        let all = entries([
            keeper("mate", 30, false),
            keeper("bosun", 60, false),
            keeper("Mate", 45, false),
            keeper("bosun", 60, true),
        ]);
        let here = keepers(&all);
        assert_eq!(here.len(), 1);
        assert_eq!((here[0].keeper.name.as_str(), here[0].keeper.minutes[0], here[0].entry), ("Mate", 45, EntryId(3)));
    }

    #[test]
    fn nobody_has_minutes_on_a_day_off_its_first_and_last_included() {
        let all = entries([away("mate", 24, 26), keeper("mate", 30, false), away("MATE", 1, 1), away("cook", 2, 2)]);
        let mate = &keepers(&all)[0];
        let minutes = [1, 2, 23, 24, 26, 27].map(|day| mate.minutes_on(date(2026, 12, day)));
        assert_eq!(minutes, [0, 30, 30, 0, 0, 30]);
        assert!(mate.away[0].1.from < mate.away[1].1.from, "by their first day");
    }

    #[test]
    fn what_can_not_be_is_refused() {
        let good = Keeper { name: "mate".into(), minutes: [1440; 7], skills: vec!["qualified".into()], is_gone: false };
        assert_eq!(good.check(), Ok(()));
        assert!(Keeper { name: " ".into(), ..good.clone() }.check().is_err());
        assert!(Keeper { skills: vec![String::new()], ..good.clone() }.check().is_err());
        let named = |name: &str| Keeper { name: name.into(), ..good.clone() }.check();
        assert_eq!(named(&"ö".repeat(60)), Ok(()));
        for name in [&"o".repeat(61), "-mate"] {
            assert!(matches!(named(name), Err(ShopError::Name { .. })), "{name}");
        }
        for name in ["ma\nte", "ma\u{1b}[2Jte", "ma\u{202e}te"] {
            assert!(matches!(named(name), Err(ShopError::NotOneLine { .. })), "{name:?}");
        }
        assert_eq!(Keeper { minutes: [1441; 7], ..good }.check(), Err(ShopError::Minutes { minutes: 1441 }));
        let Event::Away(reversed) = away("mate", 3, 2) else { unreachable!() };
        assert!(matches!(reversed.check(), Err(ShopError::Reversed { .. })));
        let why = "at\nsea".to_owned();
        let broken = Away { to: reversed.from, why, ..reversed };
        assert!(matches!(broken.check(), Err(ShopError::NotOneLine { .. })));
    }
}
