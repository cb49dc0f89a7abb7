//! How much of each task's allowance will be used on the days to come, in the mean.

use jiff::ZonedDateTime;

use crate::Materials;
use crate::build::Allowance;
use crate::forecast::{Outlook, queue_by_day};
use crate::history::History;
use crate::meter::Meter;
use crate::state::MachineState;
use crate::used::{Used, meter, used};

/// The use of every task of a machine, today and ahead.
#[derive(Clone, Debug)]
pub struct Ahead {
    /// How each task stands, in the build's order.
    pub used: Vec<Used>,
    /// For each task the share of its allowance that is used at the beginning of each day from today on.
    pub shares: Vec<Vec<f64>>,
}

/// How each task of a machine stands at `now`, and will in the mean at the beginning of each of `n_days` days from today on,
/// if it is not done before.
///
/// Future use is told as in [`crate::forecast`], by its mean: the machine's own weeks shrunk towards the build's expectation,
/// and the runs that are queued.
pub fn ahead(state: &MachineState, materials: &Materials, now: &ZonedDateTime, n_days: usize) -> Ahead {
    let history = History::of(state, now);
    let queue = queue_by_day(&state.queue, now);
    let mut paces: Vec<(Meter<'_>, Vec<f64>)> = Vec::new();
    let mut used_now = Vec::new();
    let mut shares = Vec::new();
    for task in &state.build.tasks {
        let now_used = used(state, task, materials, now);
        let mut most = vec![0.0; n_days];
        for (limit, limit_used) in task.limits.iter().zip(&now_used.limits) {
            let by_day: Vec<f64> = match (limit.every, meter(&state.build, task, limit)) {
                (Allowance::Amount { .. }, Some(meter)) => {
                    let place = paces.iter().position(|(known, _)| *known == meter).unwrap_or_else(|| {
                        let outlook = Outlook::new(&meter, &state.build, &history, &queue, materials);
                        paces.push((meter, outlook.means(n_days)));
                        paces.len() - 1
                    });
                    paces[place].1.clone()
                }
                _ => (0..n_days).map(|day| day as f64).collect(),
            };
            for (share, to_come) in most.iter_mut().zip(by_day) {
                *share = f64::max(*share, (limit_used.so_far + to_come) / limit_used.allowed);
            }
        }
        used_now.push(now_used);
        shares.push(most);
    }
    Ahead { used: used_now, shares }
}
