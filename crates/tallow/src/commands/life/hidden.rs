//! `tallow life hidden`: how often to look for a failure that nobody notices until somebody looks.

use life::HiddenFailure;
use serde_json::json;

use super::costs::Costs;
use super::source::Source;
use super::{figure, refused};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

pub(crate) fn hidden(context: &Context, args: &cli::LifeHidden) -> Result<(), Trouble> {
    let source = Source::of(context, &args.law)?;
    let law = source.law();
    let failure = HiddenFailure::new(law, args.look_cost, args.undetected_cost, args.repair_cost).map_err(refused)?;
    let best = failure.best();
    if context.json {
        context.out.json(&json!({
            "law": source.shape(), "interval": best.map(|best| best.age),
            "cost_rate": best.map_or(args.undetected_cost, |best| best.cost_rate),
            "cost_rate_never_looking": args.undetected_cost,
        }))?;
    } else {
        context.out.prose("", &source.words())?;
        let never = figure(args.undetected_cost);
        let words = match best {
            Some(best) => format!(
                "Cheapest is a look every {}: {} per unit of time, {:.0} % less than the {never} of never looking.",
                figure(best.age),
                figure(best.cost_rate),
                best.saving * 100.0
            ),
            None => format!("Looking never pays at these costs: never looking costs {never} per unit of time."),
        };
        context.out.prose("", &words)?;
        context.out.prose(
            "",
            "Where the failure may injure somebody, the maker's manual and the local code decide, not money.",
        )?;
    }
    let far = best.map_or(2.0 * law.mean(), |best| 3.0 * best.age);
    let without = (args.undetected_cost, "never looking");
    let costs =
        Costs { title: "Cost of looking", choice: "time between looks", far, rate: "costs per unit of time", without };
    super::draw(context, || costs.chart(|interval| failure.cost_rate(interval), best), args.svg.as_deref())
}
