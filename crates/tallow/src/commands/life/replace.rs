//! `tallow life replace`: the best age to replace a part, beside other ways to keep it.

use life::{AgeReplacement, Band, Best, BlockReplacement, Law, Level, MinimalRepair};
use serde_json::json;

use super::costs::Costs;
use super::source::Source;
use super::{end, figure, refused, share};
use crate::chart::{Chart, Layer};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

/// The share of the best cost rate within which an age is as good as the best.
const AS_GOOD: f64 = 0.05;

/// What costs are per.
const RATE: &str = "costs per unit of age";

/// Points of a curve of blocks, each of which takes a renewal function.
const BLOCKS: u32 = 60;

pub(crate) fn replace(context: &Context, args: &cli::LifeReplace) -> Result<(), Trouble> {
    let level = Level::new(args.level).map_err(refused)?;
    let ways = Ways::of(context, args, level)?;
    if context.json {
        context.out.json(&ways.shape())?;
    } else {
        ways.say(context, level)?;
    }
    super::draw(context, || ways.chart(), args.svg.as_deref())
}

/// Ways to keep a part, with the best of each.
struct Ways {
    source: Source,
    by_age: AgeReplacement,
    best: Option<Best>,
    band: Option<Band>,
    block: Option<(BlockReplacement, Option<Best>)>,
    repair: Option<(MinimalRepair, Option<(f64, f64)>)>,
}

impl Ways {
    fn of(context: &Context, args: &cli::LifeReplace, level: Level) -> Result<Ways, Trouble> {
        let source = Source::of(context, &args.law)?;
        let (law, planned, failure) = (source.law(), args.planned_cost, args.failure_cost);
        let by_age = AgeReplacement::new(law, planned, failure).map_err(refused)?;
        let band = match &source {
            Source::Told(_) => None,
            Source::Fitted(fit, _) => Some(AgeReplacement::band(fit, planned, failure, level).map_err(refused)?),
        };
        let block = args.block.then(|| BlockReplacement::new(law, planned, failure)).transpose().map_err(refused)?;
        let repair = args.minimal_repair.map(|cost| MinimalRepair::new(law, planned, cost));
        let repair = repair.transpose().map_err(refused)?;
        Ok(Ways {
            best: by_age.best(),
            source,
            by_age,
            band,
            block: block.map(|block| (block, block.best())),
            repair: repair.map(|repair| (repair, repair.best())),
        })
    }

    fn shape(&self) -> serde_json::Value {
        let (best, to_failure) = (self.best, self.by_age.cost_rate_to_failure());
        let of_best = |best: &Best| json!({ "age": best.age, "cost_rate": best.cost_rate });
        json!({
            "law": self.source.shape(), "age": best.map(|best| best.age),
            "cost_rate": best.map_or(to_failure, |best| best.cost_rate), "cost_rate_run_to_failure": to_failure,
            "band": self.band.map(|band| json!({
                "age": [band.age.lower, band.age.upper], "saving": band.saving, "with_best": band.with_best,
            })),
            "block": self.block.as_ref().and_then(|(_, best)| best.as_ref().map(of_best)),
            "minimal_repair": self.repair.and_then(|(_, best)| best)
                .map(|(age, cost_rate)| json!({ "age": age, "cost_rate": cost_rate })),
        })
    }

    fn say(&self, context: &Context, level: Level) -> Result<(), Trouble> {
        let out = &context.out;
        out.prose("", &self.source.words())?;
        out.prose("", &self.headline())?;
        if let Some(band) = &self.band {
            out.prose("", &band_words(band, level))?;
        }
        if self.block.is_some() || self.repair.is_some() {
            out.line("")?;
            out.table(&self.table())?;
        }
        if self.repair.is_some() {
            out.line("")?;
            out.prose(
                "",
                "A minimal repair leaves the part as old as it was; its costs take the place of a failure's.",
            )?;
        }
        Ok(())
    }

    /// The cheapest of the ways that were asked for.
    fn headline(&self) -> String {
        let to_failure = self.by_age.cost_rate_to_failure();
        let saving = |rate: f64| {
            format!(
                "{:.0} % less than the {} of running to failure",
                100.0 * (1.0 - rate / to_failure),
                figure(to_failure)
            )
        };
        let by_age = match self.best {
            Some(best) => format!(
                "Replace at age {}: {} per unit of age, {}.{}",
                figure(best.age),
                figure(best.cost_rate),
                saving(best.cost_rate),
                self.as_good()
            ),
            None => format!("No gain from replacing early: run to failure, at {} per unit of age.", figure(to_failure)),
        };
        let block = self
            .block
            .as_ref()
            .and_then(|(_, best)| *best)
            .map(|best| ("replace in blocks every", best.age, best.cost_rate));
        let repair = self.repair.and_then(|(_, best)| best);
        let repair = repair.map(|(age, rate)| ("repair minimally, and replace at age", age, rate));
        let least = self.best.map_or(to_failure, |best| best.cost_rate);
        let others = [block, repair].into_iter().flatten().filter(|(_, _, rate)| *rate < least);
        match others.min_by(|one, other| one.2.total_cmp(&other.2)) {
            Some((way, age, rate)) => format!(
                "Cheapest of these: {way} {}, {} per unit of age, {}. Without that: {by_age}",
                figure(age),
                figure(rate),
                saving(rate)
            ),
            None => by_age,
        }
    }

    /// The ages that cost hardly more than the best.
    fn as_good(&self) -> String {
        match self.by_age.within(AS_GOOD) {
            Ok(Some(range)) => {
                let [from, to] = [range.lower, range.upper].map(end);
                format!(" Any age from {from} to {to} costs at most {:.0} % more.", AS_GOOD * 100.0)
            }
            _ => String::new(),
        }
    }

    fn table(&self) -> Table {
        let columns = [("way", Align::Left), ("age", Align::Right), ("costs per unit of age", Align::Right)];
        let mut printed = Table::new(columns);
        let mut row = |way: &str, best: Option<(f64, f64)>| {
            let [age, rate] =
                best.map_or(["never".to_owned(), "no gain".to_owned()], |(age, rate)| [age, rate].map(figure));
            printed.row([way.to_owned(), age, rate], Dress::Plain);
        };
        let of = |best: Option<Best>| best.map(|best| (best.age, best.cost_rate));
        row("replace at an age", of(self.best));
        if let Some((_, best)) = &self.block {
            row("replace in blocks, all at once every", of(*best));
        }
        if let Some((_, best)) = self.repair {
            row("repair minimally, replace at an age", best);
        }
        let to_failure = figure(self.by_age.cost_rate_to_failure());
        printed.row(["run to failure".to_owned(), String::new(), to_failure], Dress::Plain);
        printed
    }

    fn chart(&self) -> Result<Chart, Trouble> {
        let law = self.source.law();
        let mut drawn = chart(&self.by_age, law, RATE)?;
        let costs = costs(&self.by_age, law, RATE);
        if let Some((block, best)) = &self.block {
            drawn.layers.push(Layer::Dashed(costs.line(|span| block.cost_rate(span), BLOCKS)?, "in blocks"));
            drawn.layers.extend(best.map(|best| Layer::Mark(best.age, "best block".to_owned())));
        }
        if let Some((repair, best)) = self.repair {
            drawn.layers.push(Layer::Dashed(costs.line(|age| repair.cost_rate(age), BLOCKS)?, "with repairs"));
            drawn.layers.extend(best.map(|(age, _)| Layer::Mark(age, "with repairs".to_owned())));
        }
        Ok(drawn)
    }
}

/// What the lives leave open.
fn band_words(band: &Band, level: Level) -> String {
    let percent = share(level.get());
    let saving = band.saving.map(|saving| format!("{:.0}", saving * 100.0)).join(" to ");
    let with_best = band.with_best * 100.0;
    if band.with_best == 0.0 && band.age.lower.is_none() {
        return format!("None of the laws that the lives allow at {percent} has a best age.");
    }
    let [from, to] = [band.age.lower, band.age.upper].map(end);
    format!(
        "The lives leave open ({percent}): the best age from {from} to {to}, the saving from {saving} %. Of the laws on the \
         edge of what they allow {with_best:.0} % have a best age."
    )
}

fn costs<'a>(policy: &AgeReplacement, law: Law, rate: &'a str) -> Costs<'a> {
    Costs {
        rate,
        title: "Cost of replacing at an age",
        choice: "age at which parts are replaced",
        far: 2.0 * law.mean(),
        without: (policy.cost_rate_to_failure(), "running to failure"),
    }
}

/// The cost curve, to twice the mean life; `rate` says what the costs are per.
pub(in crate::commands) fn chart(policy: &AgeReplacement, law: Law, rate: &str) -> Result<Chart, Trouble> {
    costs(policy, law, rate).chart(|age| policy.cost_rate(age), policy.best())
}
