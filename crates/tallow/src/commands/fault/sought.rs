//! A fault with all that a front end offers of it.

use ledger::Ledger;

use super::{Known, Search, all, of_number};
use crate::context::Context;
use crate::trouble::Trouble;

/// Where a fault's search stands, and the names with which it can go on.
pub(crate) struct Sought {
    /// The search.
    pub(crate) search: Search,
    /// Every symptom of the machine, by name.
    pub(crate) symptoms: Vec<String>,
    /// Every cause of the machine, by its title.
    pub(crate) causes: Vec<String>,
    /// Which of the prices are assumed.
    pub(crate) assumed: Vec<&'static str>,
}

impl Sought {
    /// The fault of that number. Reads whole histories of machines of the same build.
    ///
    /// # Errors
    /// Where there is none, its machine is gone, or the shop can't be read.
    pub(crate) async fn of(context: &Context, ledger: &Ledger, fault: i64) -> Result<Sought, Trouble> {
        let cases = all(ledger).await?;
        let case = of_number(&cases, fault)?;
        let known = Known::of(context, ledger, &case.machine, &cases).await?;
        let mut symptoms: Vec<String> = known.faults.symptoms.iter().map(|symptom| symptom.name.clone()).collect();
        let mut causes: Vec<String> = known.faults.causes.iter().map(|cause| cause.title()).collect();
        symptoms.sort();
        causes.sort();
        Ok(Sought { search: Search::of(case, &known), symptoms, causes, assumed: known.assumed })
    }
}
