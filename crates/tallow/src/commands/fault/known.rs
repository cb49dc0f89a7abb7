//! What is known of a machine's faults today: the knowledge with the shop's own grades and cases, and what its history says.

use ledger::Ledger;
use upkeep::fault::said::OwnGrade;
use upkeep::fault::{Case, Faults, Guide, Network, Prior, learn, of, prior};
use upkeep::{Build, Entry, EntryId, Event, Prices};

use crate::commands::lives::Stakes;
use crate::context::{self, Context, OnMachine};
use crate::trouble::Trouble;

/// What is known of the faults of one machine.
pub(crate) struct Known {
    /// The machine.
    pub(crate) machine: OnMachine,
    /// What may be wrong with it.
    pub(crate) faults: Faults,
    /// How likely each cause is before anything was told, and why.
    pub(crate) priors: Vec<Prior>,
    /// What work is reckoned to cost.
    pub(crate) prices: Prices,
    /// Which of the prices are assumed.
    pub(crate) assumed: Vec<&'static str>,
    /// What the money is called.
    pub(crate) currency: String,
    network: Network,
}

impl Known {
    /// Out of the records of the machine, and of `cases` of the whole shop.
    ///
    /// # Errors
    /// Where the shop has no such machine, or can't be read.
    pub(crate) async fn of(context: &Context, ledger: &Ledger, name: &str, cases: &[Case]) -> Result<Known, Trouble> {
        let machine = context::machine(ledger, name).await?;
        let faults = known_faults(ledger, &machine.build).await?;
        let now = context.now_in(ledger);
        let state = ledger.machine_state(&machine.info.name, now.date()).await?;
        let materials = context::materials(ledger).await?;
        let stakes = Stakes::of(ledger, &machine.info.name, context.now).await?;
        let priors = prior::today(&faults, &state, &materials, &stakes.risks, &stakes.lives, &now);
        let network = learn::learned(&faults.network(&priors), &faults.confirmed(cases));
        let Stakes { prices, assumed, currency, .. } = stakes;
        Ok(Known { machine, faults, priors, prices, assumed, currency, network })
    }

    /// A way through them.
    pub(crate) fn guide(&self) -> Guide<'_> {
        Guide::new(&self.faults, self.network.clone(), &self.prices)
    }
}

/// What is known of a build's faults, with the shop's own grades.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn known_faults(ledger: &Ledger, build: &Build) -> Result<Faults, Trouble> {
    Ok(of(build)?.graded(&own_grades(ledger).await?))
}

/// The grades of the shop's own, oldest first.
///
/// # Errors
/// Where the shop can't be read.
async fn own_grades(ledger: &Ledger) -> Result<Vec<OwnGrade>, Trouble> {
    Ok(grade_entries(ledger).await?.into_iter().map(|(_, own)| own).collect())
}

/// The grades of the shop's own with their entries, oldest first.
///
/// # Errors
/// Where the shop can't be read.
pub(super) async fn grade_entries(ledger: &Ledger) -> Result<Vec<(EntryId, OwnGrade)>, Trouble> {
    let own = |entry: Entry| match entry.event {
        Event::FaultGrade(own) => Some((entry.id, own)),
        _ => None,
    };
    Ok(ledger.of_the_shop().await?.into_iter().filter_map(own).collect())
}
