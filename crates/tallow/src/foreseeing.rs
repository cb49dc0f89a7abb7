//! How the machines of a hall are foreseen on a day. Whoever reckons that for many keeps it in the shop, so that others need not:
//! servers that start later, and all of them when a day begins.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use jiff::{ToSpan, ZonedDateTime};
use ledger::{Ledger, OfDay, Revision};
use upkeep::{Foreseen, Materials};

use crate::context;
use crate::goes::each_go;
use crate::parallel;
use crate::trouble::Trouble;
use crate::words::HISTORY_DAYS;

/// So many machines are many: fewer are reckoned before what is kept of them could be read.
pub(crate) const MANY: usize = 32;

/// The machines of these names as they are foreseen at `now`, in no order: as they were kept, where nothing was recorded since,
/// else reckoned. `revisions` and `descriptions` were read before.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn all(
    ledger: &Ledger,
    names: &[&str],
    revisions: &BTreeMap<String, Revision>,
    materials: &Materials,
    descriptions: i64,
    now: &ZonedDateTime,
) -> Result<Vec<Arc<Foreseen>>, Trouble> {
    let of = OfDay { day: now.date(), descriptions };
    let mut machines = Vec::with_capacity(names.len());
    if MANY <= names.len() {
        machines.extend(ledger.forecasts(names, of).await?.into_iter().map(Arc::new));
    }
    let known: BTreeSet<&str> = machines.iter().map(|machine| machine.name.as_str()).collect();
    let rest: Vec<&str> = names.iter().copied().filter(|name| !known.contains(name)).collect();
    let reckoned = reckon(ledger, &rest, materials, now).await?;
    if MANY <= reckoned.len() {
        let (ledger, kept) = (ledger.clone(), with_revisions(&reckoned, revisions));
        tokio::spawn(async move {
            // OK to ignore: what is not kept is reckoned again.
            let _ = ledger.keep_forecasts(&kept, of).await;
        });
    }
    machines.extend(reckoned);
    Ok(machines)
}

/// Reckons how these machines are foreseen at `now`, and keeps it; says for how many, which leaves out those that are not in the
/// shop.
///
/// # Errors
/// Where the shop can't be read, or written to.
pub(crate) async fn keep(ledger: &Ledger, names: &[&str], now: &ZonedDateTime) -> Result<usize, Trouble> {
    // Before the machines' records: what is recorded in between makes what is kept old, and never wrong.
    let (news, revisions) = (ledger.news().await?, ledger.revisions().await?);
    let materials = context::materials(ledger).await?;
    let reckoned = reckon(ledger, names, &materials, now).await?;
    let of = OfDay { day: now.date(), descriptions: news.descriptions };
    ledger.keep_forecasts(&with_revisions(&reckoned, &revisions), of).await?;
    Ok(reckoned.len())
}

async fn reckon(
    ledger: &Ledger,
    names: &[&str],
    materials: &Materials,
    now: &ZonedDateTime,
) -> Result<Vec<Arc<Foreseen>>, Trouble> {
    let from = now.date().saturating_sub(HISTORY_DAYS.days());
    let mut reckoned = Vec::with_capacity(names.len());
    each_go(ledger, names, from, |states| {
        reckoned.extend(parallel::map(&states, |state| Arc::new(Foreseen::of(state, materials, now))));
    })
    .await?;
    Ok(reckoned)
}

fn with_revisions(machines: &[Arc<Foreseen>], revisions: &BTreeMap<String, Revision>) -> Vec<(i64, Arc<Foreseen>)> {
    let with = |machine: &Arc<Foreseen>| Some((revisions.get(&machine.name)?.all, machine.clone()));
    machines.iter().filter_map(with).collect()
}
