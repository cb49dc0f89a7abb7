//! `tallow life fit`: a law fitted to lives.

use life::{Bounds, Family, Fit, Level, Life, Of};
use serde_json::{Value, json};

use super::{end, figure, refused, table};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

/// The share that has failed at a B10 life.
const B10: f64 = 0.1;

pub(crate) fn fit(context: &Context, args: &cli::LifeFit) -> Result<(), Trouble> {
    let lives = table::lives(&args.table.file)?;
    let level = Level::new(args.table.level).map_err(refused)?;
    let family = family(args.model);
    let fit = Fit::new(&lives, family).map_err(|none| no_fit(&none, &lives))?;
    if context.json {
        context.out.json(&shape(&fit, &lives, level)?)?;
    } else {
        say(context, &fit, &lives, level)?;
    }
    super::draw(context, || chart(&fit, &lives, level), args.table.svg.as_deref())
}

fn say(context: &Context, fit: &Fit, lives: &[Life], level: Level) -> Result<(), Trouble> {
    let family = fit.law().family();
    let columns = [
        ("", Align::Left),
        ("fit", Align::Right),
        ("error", Align::Right),
        ("from", Align::Right),
        ("to", Align::Right),
    ];
    let mut printed = Table::new(columns);
    for part in parts(fit, level)? {
        let cells = [part.name.to_owned(), figure(part.value), part.error.map_or_else(String::new, figure)];
        let [from, to] = [part.profile.lower, part.profile.upper].map(end);
        let [name, value, error] = cells;
        printed.row([name, value, error, from, to], Dress::Plain);
    }
    let failures = fit.failures();
    context.out.line(format!("A {} law, {failures} failures among {} lives\n", family.name(), life::total(lives)))?;
    context.out.table(&printed)?;
    let level = level.get() * 100.0;
    context.out.line(format!(
        "\nThe mean life is {}. The bounds hold {level} %, by the profile of the likelihood.",
        figure(fit.law().mean())
    ))?;
    context.out.line(format!("Log-likelihood {:.4}, AIC {:.3}.", fit.log_likelihood(), fit.aic()))?;
    context.out.prose("", &beside(lives, family))
}

/// The other laws beside this one.
fn beside(lives: &[Life], family: Family) -> String {
    let others = Family::ALL.into_iter().filter(|other| *other != family);
    let words = others.filter_map(|other| {
        let fit = Fit::new(lives, other).ok()?;
        Some(format!("{} {:.3}", other.name(), fit.aic()))
    });
    format!("AIC of the other laws (the smaller, the better): {}.", words.collect::<Vec<_>>().join(", "))
}

pub(super) fn family(model: cli::Model) -> Family {
    match model {
        cli::Model::Weibull => Family::Weibull,
        cli::Model::Exponential => Family::Exponential,
        cli::Model::Lognormal => Family::Lognormal,
    }
}

/// What to do where no law can be fitted.
pub(super) fn no_fit(none: &life::NoFit, lives: &[Life]) -> Trouble {
    let watched: f64 = lives.iter().map(|life| life.count() * (life.end().last() - life.entry())).sum();
    let trouble = Trouble::refused(none.to_string());
    match none {
        life::NoFit::NoFailures => {
            trouble.help(format!("a lower bound for the mean life: tallow life mtbf --time {watched} --failures 0"))
        }
        _ => trouble.help("a law with one parameter may do: --model exponential"),
    }
}

/// A parameter, or what follows from them.
struct Part {
    name: &'static str,
    value: f64,
    error: Option<f64>,
    wald: Option<[f64; 2]>,
    profile: Bounds,
}

/// The parameters of the fit by the field's names, and the B10 life.
fn parts(fit: &Fit, level: Level) -> Result<Vec<Part>, Trouble> {
    let law = fit.law();
    let part = |name, value, error, wald, of| -> Result<Part, Trouble> {
        let profile = fit.profile(of, level).map_err(refused)?;
        Ok(Part { name, value, error, wald: Some(wald), profile })
    };
    let mut parts = match law.family() {
        Family::Weibull => vec![
            part("shape", law.shape(), Some(fit.shape_error()), fit.wald_shape(level), Of::Shape)?,
            part("scale", law.scale(), Some(fit.scale_error()), fit.wald_scale(level), Of::Scale)?,
        ],
        Family::Exponential => {
            vec![part("mean", law.scale(), Some(fit.scale_error()), fit.wald_scale(level), Of::Scale)?]
        }
        Family::Lognormal => vec![
            part("mu", law.location(), Some(fit.location_error()), fit.wald_location(level), Of::Location)?,
            part("sigma", law.spread(), Some(fit.spread_error()), fit.wald_spread(level), Of::Spread)?,
        ],
    };
    let b10 = law.quantile(B10).map_err(refused)?;
    let (error, wald) = (fit.quantile_error(B10).map_err(refused)?, fit.wald_quantile(B10, level).map_err(refused)?);
    parts.push(part("b10", b10, Some(error), wald, Of::Quantile(B10))?);
    Ok(parts)
}

fn shape(fit: &Fit, lives: &[Life], level: Level) -> Result<Value, Trouble> {
    let (law, parts) = (fit.law(), parts(fit, level)?);
    let mut shape = json!({
        "model": law.family().name(), "log_likelihood": fit.log_likelihood(), "aic": fit.aic(),
        "mean": law.mean(), "sd": law.std_dev(), "failures": fit.failures(), "lives": life::total(lives),
        "standard_error": {}, "bounds": { "level": level.get(), "wald": {}, "profile": {} },
    });
    for part in &parts {
        shape[part.name] = json!(part.value);
        if part.name != "b10" {
            shape["standard_error"][part.name] = json!(part.error);
        }
        shape["bounds"]["wald"][part.name] = json!(part.wald);
        shape["bounds"]["profile"][part.name] = json!([part.profile.lower, part.profile.upper]);
    }
    Ok(shape)
}

/// Probability paper: the failures at their positions, the law and its bounds as lines.
fn chart(fit: &Fit, lives: &[Life], level: Level) -> Result<Chart, Trouble> {
    let law = fit.law();
    // Lives that ended between looks have no place on paper, but the law has.
    let positions = life::plot_positions(lives).unwrap_or_default();
    let points = positions.iter().map(|position| [position.time, position.failed]).collect();
    let chances = (0..=40).map(|step| 10f64.powf(-2.0 + 1.996 * f64::from(step) / 40.0)).map(|chance| chance.min(0.99));
    let (mut line, mut band) = (Vec::new(), Vec::new());
    for chance in chances {
        let age = law.quantile(chance).map_err(refused)?;
        line.push([age, chance]);
        let bounds = fit.profile(Of::Survival(age), level).map_err(refused)?;
        if let (Some(lower), Some(upper)) = (bounds.lower, bounds.upper) {
            band.push([age, 1.0 - upper, 1.0 - lower]);
        }
    }
    Ok(Chart {
        title: "Failed by age, on probability paper".to_owned(),
        says: format!(
            "Failures and the {} law through them, with bounds that hold {} %.",
            law.family().name(),
            level.get() * 100.0
        ),
        x: Axis { label: "age".to_owned(), scale: Scale::Log },
        y: Axis { label: "share failed".to_owned(), scale: Scale::Weibull },
        layers: vec![Layer::Band(band), Layer::Line(line), Layer::Points(points)],
    })
}
