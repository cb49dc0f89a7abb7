//! Lives without a failure and an assumed shape: a bound from below.
//!
//! Under a Weibull law of shape β the ages to the power β are exponential, and the time without a failure bounds their mean
//! as it does for `tallow life mtbf`. Meeker & Escobar (1998), section 8.5.2 (from memory).

use life::mtbf::{Mtbf, Stopped};
use life::{Law, Level, Life};
use serde_json::json;

use super::fit::{B10, quantile_name, survival_name};
use super::source::checked_shape;
use super::{among, figure, refused, share};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

/// Answers `tallow life fit --shape` where nothing failed.
pub(super) fn below(
    context: &Context,
    args: &cli::LifeFit,
    lives: &[Life],
    shape: f64,
    level: Level,
) -> Result<(), Trouble> {
    let law = least(lives, shape, level)?;
    let ages: Vec<f64> =
        args.shares.iter().map(|share| law.quantile(*share).map_err(refused)).collect::<Result<_, _>>()?;
    let b10 = law.quantile(B10).map_err(refused)?;
    if context.json {
        let at = args.ages.iter().map(|age| {
            json!({ "age": age, "survival": null, "profile": null, "conditional": null, "one_sided": law.survival(*age) })
        });
        let quantiles = args.shares.iter().zip(&ages).map(|(share, age)| {
            json!({ "share": share, "age": null, "wald": null, "profile": null, "conditional": null, "one_sided": age })
        });
        context.out.json(&json!({
            "model": "weibull", "shape": shape, "scale": null, "b10": null, "log_likelihood": null, "aic": null,
            "mean": null, "sd": null, "failures": 0.0, "lives": life::total(lives), "standard_error": {},
            "bounds": { "level": level.get(), "wald": {}, "profile": {}, "conditional": null,
                        "one_sided": { "scale": law.scale(), "mean": law.mean(), "b10": b10 } },
            "laws": [], "at": at.collect::<Vec<_>>(), "quantiles": quantiles.collect::<Vec<_>>(),
        }))?;
    } else {
        let named = [("scale".to_owned(), law.scale()), ("mean".to_owned(), law.mean()), ("b10".to_owned(), b10)];
        let survival = args.ages.iter().map(|age| (survival_name(*age), law.survival(*age)));
        let quantiles = args.shares.iter().map(|share| quantile_name(*share)).zip(ages);
        let mut printed = Table::new([("", Align::Left), ("at least", Align::Right)]);
        for (name, value) in named.into_iter().chain(survival).chain(quantiles) {
            printed.row([name, figure(value)], Dress::Plain);
        }
        let out = &context.out;
        let lives = among(0.0, life::total(lives));
        out.prose("", &format!("A Weibull law of shape {}, which is assumed; {lives}", figure(shape)))?;
        out.line("")?;
        out.table(&printed)?;
        let words = format!(
            "Each bound holds {} by itself, if the shape is right. No failure gives no life, only a bound from below.",
            share(level.get())
        );
        out.line("")?;
        out.prose("", &words)?;
    }
    super::draw(context, || Ok(chart(&law, level)), args.table.svg.as_deref())
}

/// The law of the shortest lives that the lives do not contradict.
fn least(lives: &[Life], shape: f64, level: Level) -> Result<Law, Trouble> {
    checked_shape(shape)?;
    let stretched = |life: &Life| life.count() * (life.end().last().powf(shape) - life.entry().powf(shape));
    let watched = lives.iter().map(stretched).sum();
    let mean = Mtbf::new(watched, 0, Stopped::AtTime).map_err(refused)?.lower(level);
    Law::weibull(shape, mean.powf(1.0 / shape)).map_err(refused)
}

fn chart(law: &Law, level: Level) -> Chart {
    let far = 2.0 * law.scale();
    let line = (0..=60).map(|step| far * f64::from(step) / 60.0).map(|age| [age, law.survival(age)]).collect();
    Chart {
        title: "At least so many still good".to_owned(),
        says: format!("A bound from below of the share still good by age, which holds {}.", share(level.get())),
        x: Axis { label: "age".to_owned(), scale: Scale::Linear },
        y: Axis { label: "share still good, at least".to_owned(), scale: Scale::Linear },
        layers: vec![Layer::Line(line)],
    }
}
