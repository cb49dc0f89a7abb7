//! What people have been told of, ready to say at once what another day or another keeper would cost.

use jiff::civil::Date;
use ledger::{Ledger, Told};
use upkeep::agenda::{Agenda, Moved, Spent};
use upkeep::rounds::Broken;

use super::{Assembled, Risks, why_words};
use crate::context::{self, Context};
use crate::goes::each_go;
use crate::trouble::Trouble;
use crate::words;

/// How many days are looked ahead: as many as can be planned at once.
pub(crate) const OUTLOOK_DAYS: usize = 31;

/// For how many days is planned where nobody says otherwise, as the command line has it.
pub(crate) const ROUND_DAYS: usize = 14;

/// The visits to come and what is open, priced.
pub(crate) struct Outlook {
    agenda: Agenda,
    told: Vec<Told>,
    /// What it costs to leave the first [`ROUND_DAYS`] as people were told.
    pub(crate) as_told: Spent,
    /// What the money is called.
    pub(crate) currency: String,
}

/// What somebody wants to know who is about to move a visit.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Price {
    /// What it changes.
    Changes(Moved),
    /// None of its tasks is open in these days, so that its day changes no cost.
    NothingOpen,
    /// The day lies beyond those that were looked at.
    TooFar,
    /// The visit was changed since the outlook was made.
    Changed,
}

impl Outlook {
    /// Looks ahead.
    ///
    /// # Errors
    /// Where the shop can't be read, or has no machine.
    pub(crate) async fn read(context: &Context, ledger: &Ledger) -> Result<Outlook, Trouble> {
        let shop = Assembled::without_machines(context, ledger).await?;
        let risks = Risks::read(context, ledger, &shop.materials).await?;
        let machines = ledger.machines().await?;
        if machines.is_empty() {
            return Err(context::no_machine());
        }
        let names: Vec<&str> = machines.iter().map(|machine| machine.name.as_str()).collect();
        let (told, unit_prices) = (shop.still_told(), shop.unit_prices());
        let ground = shop.shop(&told, &unit_prices);
        let mut agenda = Agenda::begun(&ground, OUTLOOK_DAYS);
        // Nobody is told of visits so far ahead, and what falls due there would seem to be left.
        let mut near = Agenda::begun(&ground, ROUND_DAYS);
        each_go(ledger, &names, shop.history_from(), |states| {
            for state in &states {
                agenda.add(&ground, state, risks.of(state));
                near.add(&ground, state, risks.of(state));
            }
        })
        .await?;
        agenda.finish(&ground);
        near.finish(&ground);
        let as_told = near.spent(&near.as_told());
        let told = shop.told.into_iter().filter(Told::stands).collect();
        Ok(Outlook { agenda, told, as_told, currency: shop.currency })
    }

    /// What it changes to send `keeper` to a visit on `day`.
    pub(crate) fn price(&self, told: &Told, day: Date, keeper: &str) -> Price {
        let Some(place) = self.told.iter().position(|other| other.id == told.id && other.visit == told.visit) else {
            return Price::Changed;
        };
        let days = (0..self.agenda.problem.days).map(|day| upkeep::days_after(self.agenda.today, day));
        let is_theirs = |of: &upkeep::rounds::Keeper| of.name.to_lowercase() == keeper.to_lowercase();
        let keeper = self.agenda.problem.keepers.iter().position(is_theirs);
        let (Some(day), Some(keeper)) = (days.into_iter().position(|other| other == day), keeper) else {
            return Price::TooFar;
        };
        match self.agenda.told.iter().position(|other| *other == place) {
            Some(told) => Price::Changes(self.agenda.moved(told, day, keeper)),
            None if self.last() < told.visit.day => Price::TooFar,
            None => Price::NothingOpen,
        }
    }

    /// Why each task of a visit is there: tasks that are done together, how much of their allowance will be used, and what doing
    /// them costs today, of waiting, and on its day. Nothing where none is open, or the visit was changed since.
    pub(crate) fn why(&self, told: &Told) -> Vec<(&str, String, String)> {
        let place = self.told.iter().position(|other| other.id == told.id && other.visit == told.visit);
        let found = self.agenda.told.iter().position(|other| Some(*other) == place);
        let Some(visit) = found.map(|found| &self.agenda.problem.told[found]) else { return Vec::new() };
        let machine = visit.machine;
        let used = |job: usize| {
            let share = |&task: &usize| words::percent(self.agenda.ahead[machine].shares[task][visit.day]);
            self.agenda.tasks[machine][job].iter().map(share).collect::<Vec<_>>().join(", ")
        };
        let name = |job: usize| self.agenda.problem.machines[machine].jobs[job].name.as_str();
        let why = |job: usize| why_words(&self.agenda, machine, job, visit.day, &self.currency);
        visit.jobs.iter().map(|&job| (name(job), used(job), why(job))).collect()
    }

    /// A price in words, a sentence each.
    pub(crate) fn told(&self, price: &Price) -> Vec<String> {
        match price {
            Price::Changes(moved) => {
                let broken = moved.broken.iter().filter_map(|broken| self.broken(broken));
                [self.money(moved.money)].into_iter().chain(late(moved.days_late)).chain(broken).collect()
            }
            Price::NothingOpen => vec!["Its tasks are not open in these days, so its day changes no cost.".to_owned()],
            Price::TooFar => {
                vec![format!("Costs are reckoned for {OUTLOOK_DAYS} days only, and for keepers who are there.")]
            }
            Price::Changed => vec!["It was changed a moment ago; what a move costs is being reckoned.".to_owned()],
        }
    }

    fn last(&self) -> Date {
        upkeep::days_after(self.agenda.today, OUTLOOK_DAYS - 1)
    }

    fn money(&self, money: f64) -> String {
        // Less than half a hundredth is no money.
        match words::money(money.abs(), &self.currency) {
            _ if money.abs() < 0.005 => "Costs the same.".to_owned(),
            more if 0.0 < money => format!("Costs {more} more."),
            less => format!("Saves {less}."),
        }
    }

    /// What a move breaks beside what is told of keepers and their time, which moving says itself.
    fn broken(&self, broken: &Broken) -> Option<String> {
        let problem = &self.agenda.problem;
        let job = |machine: usize, job: usize| &problem.machines[machine].jobs[job].name;
        match *broken {
            Broken::Window(machine, _) => {
                Some(format!("The queue leaves {} no time for it that day.", problem.machines[machine].name))
            }
            Broken::TwoVisits(machine, _) => {
                Some(format!("{} has another visit that day.", problem.machines[machine].name))
            }
            Broken::Order(machine, first, second) => {
                Some(format!("\"{}\" would come before \"{}\".", job(machine, second), job(machine, first)))
            }
            Broken::Together(machine, one, other) => {
                Some(format!("\"{}\" and \"{}\" are never done in one visit.", job(machine, one), job(machine, other)))
            }
            Broken::Supply(stock, _) => Some(format!("There is too little {} by then.", problem.stocks[stock].name)),
            _ => None,
        }
    }
}

fn late(days: i64) -> Option<String> {
    let count = words::count(days.unsigned_abs(), "days");
    match days {
        0 => None,
        1.. => Some(format!("Work whose neglect may injure is left {count} longer past its limit.")),
        _ => Some(format!("Work whose neglect may injure is past its limit {count} less.")),
    }
}

#[cfg(test)]
mod tests {
    use super::late;

    #[test]
    fn danger_is_told_in_days_and_its_absence_not_at_all() {
        assert_eq!(late(0), None);
        assert!(late(1).is_some_and(|told| told.contains("1 day longer")));
        assert!(late(-3).is_some_and(|told| told.contains("3 days less")));
    }
}
