//! `tallow life look`: how often to look for a fault that shows before it fails.

use life::{Best, Delay, Law, LookCosts, Looks};
use serde_json::json;

use super::costs::Costs;
use super::{figure, refused, share};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

pub(crate) fn look(context: &Context, args: &cli::LifeLook) -> Result<(), Trouble> {
    let looks = Looks::new(delay(args)?, args.sees).map_err(refused)?;
    let longest = looks.longest(args.wanted).map_err(refused)?;
    let costs = costs(args, looks)?;
    let best = costs.and_then(|costs| costs.best());
    let seen = best.map(|best| looks.chance(best.age)).transpose().map_err(refused)?;
    let without = costs.map(|costs| costs.cost_rate_without());
    if context.json {
        context.out.json(&json!({
            "wanted": args.wanted, "longest": longest, "best": best.map(|best| best.age), "seen": seen,
            "cost_rate": best.map(|best| best.cost_rate).or(without), "cost_rate_never_looking": without,
        }))?;
    } else {
        let words = format!(
            "Looks at most {} apart see a fault before it fails with a chance of {}.",
            figure(longest),
            share(args.wanted)
        );
        context.out.prose("", &words)?;
        if let Some(without) = without {
            context.out.prose("", &best_words(best, seen, without))?;
        }
    }
    super::draw(
        context,
        || match costs {
            Some(costs) => chart_of_costs(&costs, best, longest),
            None => chart_of_chance(&looks, longest),
        },
        args.svg.as_deref(),
    )
}

fn delay(args: &cli::LifeLook) -> Result<Delay, Trouble> {
    let Some(shape) = args.delay_shape else { return Ok(Delay::Span(args.delay)) };
    // A law of scale 1 tells the ratio of scale to mean.
    let of_one = Law::weibull(shape, 1.0).map_err(refused)?;
    Ok(Delay::Law(Law::weibull(shape, args.delay / of_one.mean()).map_err(refused)?))
}

/// The costs, if they are told.
fn costs(args: &cli::LifeLook, looks: Looks) -> Result<Option<LookCosts>, Trouble> {
    let told = (args.signs, args.look_cost, args.planned_cost, args.failure_cost);
    let (Some(signs), Some(look), Some(planned), Some(failure)) = told else { return Ok(None) };
    LookCosts::new(looks, signs, look, planned, failure).map(Some).map_err(refused)
}

fn best_words(best: Option<Best>, seen: Option<f64>, without: f64) -> String {
    match (best, seen) {
        (Some(best), Some(seen)) => format!(
            "Cheapest is a look every {}: {} per unit of time, {:.0} % less than the {} of never looking. It sees {:.0} % of \
             the faults before they fail.",
            figure(best.age),
            figure(best.cost_rate),
            best.saving * 100.0,
            figure(without),
            seen * 100.0
        ),
        _ => format!("Looking never pays at these costs: never looking costs {} per unit of time.", figure(without)),
    }
}

fn chart_of_costs(costs: &LookCosts, best: Option<Best>, longest: f64) -> Result<Chart, Trouble> {
    let far = 3.0 * best.map_or(longest, |best| best.age);
    let without = (costs.cost_rate_without(), "never looking");
    Costs { title: "Cost of looking", choice: "time between looks", far, rate: "costs per unit of time", without }
        .chart(|interval| costs.cost_rate(interval), best)
}

fn chart_of_chance(looks: &Looks, longest: f64) -> Result<Chart, Trouble> {
    let point = |step: u32| {
        let interval = 3.0 * longest * f64::from(step) / 60.0;
        Ok([interval, looks.chance(interval).map_err(refused)?])
    };
    let line = (1..=60).map(point).collect::<Result<Vec<_>, Trouble>>()?;
    Ok(Chart {
        title: "Seen before it fails".to_owned(),
        says: "The chance that a fault is seen before it fails, by the time between looks.".to_owned(),
        x: Axis { label: "time between looks".to_owned(), scale: Scale::Linear },
        y: Axis { label: "chance".to_owned(), scale: Scale::Linear },
        layers: vec![Layer::Line(line), Layer::Mark(longest, "the wanted chance".to_owned())],
    })
}
