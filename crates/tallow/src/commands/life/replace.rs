//! `tallow life replace`: the best age to replace a part whose law is known.

use life::{AgeReplacement, Law};
use serde_json::json;

use super::{figure, refused};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

/// The share of the best cost rate within which an age is as good as the best.
const AS_GOOD: f64 = 0.05;

pub(crate) fn replace(context: &Context, args: &cli::LifeReplace) -> Result<(), Trouble> {
    let law = Law::weibull(args.shape, args.scale).map_err(refused)?;
    let policy = AgeReplacement::new(law, args.planned_cost, args.failure_cost).map_err(refused)?;
    let (best, to_failure) = (policy.best(), policy.cost_rate_to_failure());
    if context.json {
        context.out.json(&json!({
            "age": best.map(|best| best.age), "cost_rate": best.map_or(to_failure, |best| best.cost_rate),
            "cost_rate_run_to_failure": to_failure,
        }))?;
    } else {
        match best {
            Some(best) => {
                context.out.line(format!(
                    "Replace at age {}: {} per unit of age, {:.0} % less than the {} of running to failure.",
                    figure(best.age),
                    figure(best.cost_rate),
                    best.saving * 100.0,
                    figure(to_failure)
                ))?;
                if let Ok(Some(range)) = policy.within(AS_GOOD) {
                    let [from, to] = [range.lower, range.upper].map(super::end);
                    context
                        .out
                        .line(format!("Any age from {from} to {to} costs at most {:.0} % more.", AS_GOOD * 100.0))?;
                }
            }
            None => context.out.line(format!(
                "No gain from replacing early: run to failure, at {} per unit of age.",
                figure(to_failure)
            ))?,
        }
    }
    super::draw(context, || chart(&policy, law), args.svg.as_deref())
}

/// The cost curve, to twice the mean life.
pub(in crate::commands) fn chart(policy: &AgeReplacement, law: Law) -> Result<Chart, Trouble> {
    let curve = policy.curve(2.0 * law.mean(), 200).map_err(refused)?;
    let to_failure = policy.cost_rate_to_failure();
    // What costs more than thrice the run to failure only hides the rest.
    let line = curve.into_iter().map(|(age, rate)| [age, rate]).filter(|[_, rate]| *rate <= 3.0 * to_failure);
    let mut layers =
        vec![Layer::Line(line.collect()), Layer::Line(vec![[0.0, to_failure], [2.0 * law.mean(), to_failure]])];
    if let Some(best) = policy.best() {
        layers.push(Layer::Mark(best.age, "best age".to_owned()));
        layers.push(Layer::Points(vec![[best.age, best.cost_rate]]));
    }
    Ok(Chart {
        title: "Cost of replacing at an age".to_owned(),
        says: "Costs per unit of age by the age at which parts are replaced; the level line is running to failure."
            .to_owned(),
        x: Axis { label: "age at which parts are replaced".to_owned(), scale: Scale::Linear },
        y: Axis { label: "costs per unit of age".to_owned(), scale: Scale::Linear },
        layers,
    })
}
