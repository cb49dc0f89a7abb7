//! `tallow life curve`: what lives say without a law.

use life::{CurvePoint, Level, Life, NoCurve};
use serde_json::json;

use super::{end, figure, refused, share, table};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

pub(crate) fn curve(context: &Context, args: &cli::LifeTable) -> Result<(), Trouble> {
    let lives = table::lives(context, &args.file)?;
    let level = Level::new(args.level).map_err(refused)?;
    let points = match life::curve(&lives, level) {
        Err(NoCurve::BetweenLooks { .. }) => return between_looks(context, args, &lives),
        points => points.map_err(refused)?,
    };
    if context.json {
        context.out.json(&points.iter().map(shape).collect())?;
    } else if points.is_empty() {
        context.out.prose("", "Nothing failed: all were good when they were last seen, and the curve stays at 1.")?;
    } else {
        let columns = ["age", "at risk", "failures", "still good", "from", "to", "cumulative hazard"];
        let mut printed = Table::new(columns.map(|name| (name, Align::Right)));
        for point in &points {
            let cells = [point.time, point.at_risk, point.failures, point.survival].map(figure);
            let [age, at_risk, failures, survival] = cells;
            let hazard = figure(point.cumulative_hazard);
            let row = [age, at_risk, failures, survival, end(point.lower), end(point.upper), hazard];
            printed.row(row, Dress::Plain);
        }
        let fits = context.out.fits(printed.width());
        context.out.table(&if fits { printed } else { printed.without("cumulative hazard") })?;
        let words = match (life::median(&points), first_entry(&lives)) {
            (Some(median), first) if 0.0 < first => format!(
                "Of those good at age {}, where watching began, half have failed by {}.",
                figure(first),
                figure(median)
            ),
            (Some(median), _) => format!("Half have failed by {}.", figure(median)),
            (None, _) => "More than half were still good when they were last seen.".to_owned(),
        };
        context.out.line("")?;
        context.out.prose("", &format!("{words} The bounds hold {}, point by point.", share(args.level)))?;
    }
    if points.is_empty() && args.svg.is_none() {
        return Ok(());
    }
    super::draw(context, || Ok(chart(&points, &lives, args.level)), args.svg.as_deref())
}

/// The curve of lives of which some ended between two looks: it falls somewhere within intervals.
fn between_looks(context: &Context, args: &cli::LifeTable, lives: &[Life]) -> Result<(), Trouble> {
    let falls = life::turnbull(lives).map_err(refused)?;
    if context.json {
        let rows = falls.iter().map(|fall| {
            json!({ "from": fall.from, "time": fall.to, "survival": fall.survival, "at_risk": null, "failures": null,
                    "std_error": null, "lower": null, "upper": null, "cumulative_hazard": null,
                    "cumulative_hazard_std_error": null })
        });
        context.out.json(&rows.collect())?;
    } else {
        let mut printed = Table::new(["from age", "to age", "still good after"].map(|name| (name, Align::Right)));
        for fall in &falls {
            printed.row([fall.from, fall.to, fall.survival].map(figure), Dress::Plain);
        }
        context.out.table(&printed)?;
        context.out.line("")?;
        let half = match life::median_between(&falls) {
            Some([from, to]) => format!("Half have failed somewhere between {} and {}.", figure(from), figure(to)),
            None => "More than half were still good when they were last seen.".to_owned(),
        };
        let words = format!(
            "Some lives ended between two looks, so the curve falls somewhere within these ages (Turnbull's estimate, \
             without bounds). {half}"
        );
        context.out.prose("", &words)?;
    }
    let steps = [[0.0, 1.0]].into_iter().chain(falls.iter().map(|fall| [fall.to, fall.survival])).collect();
    super::draw(
        context,
        || Ok(chart_of(vec![Layer::Steps(steps)], "with falls at the end of each interval")),
        args.svg.as_deref(),
    )
}

fn shape(point: &CurvePoint) -> serde_json::Value {
    json!({
        "time": point.time, "at_risk": point.at_risk, "failures": point.failures, "survival": point.survival,
        "std_error": point.std_error, "lower": point.lower, "upper": point.upper,
        "cumulative_hazard": point.cumulative_hazard,
        "cumulative_hazard_std_error": point.cumulative_hazard_std_error,
    })
}

/// The age at which the first of the lives was first watched: of what was before, the curve says nothing.
fn first_entry(lives: &[Life]) -> f64 {
    lives.iter().map(Life::entry).reduce(f64::min).unwrap_or(0.0)
}

/// The curve of lives as steps in their band; nothing where it can't be drawn.
pub(in crate::commands) fn layers(lives: &[Life], level: Level) -> Vec<Layer> {
    life::curve(lives, level).map_or_else(|_| Vec::new(), |points| layers_of(&points, lives))
}

/// From the first entry to the last age at which anything was seen.
fn layers_of(points: &[CurvePoint], lives: &[Life]) -> Vec<Layer> {
    let last = lives.iter().map(|life| life.end().last()).fold(0.0, f64::max);
    let bounded = points.iter().filter_map(|point| Some([point.time, point.lower?, point.upper?]));
    let mut band: Vec<[f64; 3]> = Vec::new();
    for [time, lower, upper] in bounded {
        // Level until the next step, as the curve itself.
        if let Some(&[_, before_lower, before_upper]) = band.last() {
            band.push([time, before_lower, before_upper]);
        }
        band.push([time, lower, upper]);
    }
    let to_the_end = band.last().map(|&[_, lower, upper]| [last, lower, upper]);
    band.extend(to_the_end);
    let mut steps = vec![[first_entry(lives), 1.0]];
    steps.extend(points.iter().map(|point| [point.time, point.survival]));
    let lowest = points.last().map_or(1.0, |point| point.survival);
    steps.push([last, lowest]);
    vec![Layer::Band(band, "bounds"), Layer::Steps(steps)]
}

fn chart(points: &[CurvePoint], lives: &[Life], level: f64) -> Chart {
    chart_of(layers_of(points, lives), &format!("with bounds that hold {}", share(level)))
}

fn chart_of(layers: Vec<Layer>, how: &str) -> Chart {
    Chart {
        title: "Still good".to_owned(),
        says: format!("The share still good by age, {how}."),
        x: Axis { label: "age".to_owned(), scale: Scale::Linear },
        y: Axis { label: "share still good".to_owned(), scale: Scale::Linear },
        layers,
    }
}
