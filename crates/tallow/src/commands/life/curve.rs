//! `tallow life curve`: what lives say without a law.

use life::{CurvePoint, Level, Life};
use serde_json::json;

use super::{end, figure, refused, table};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

pub(crate) fn curve(context: &Context, args: &cli::LifeCurve) -> Result<(), Trouble> {
    let lives = table::lives(&args.file)?;
    let level = Level::new(args.level).map_err(refused)?;
    let points = life::curve(&lives, level).map_err(refused)?;
    if context.json {
        context.out.json(&points.iter().map(shape).collect())?;
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
        context.out.table(&printed)?;
        let words = match life::median(&points) {
            Some(median) => format!("Half have failed by {}.", figure(median)),
            None => "More than half were still good when they were last seen.".to_owned(),
        };
        context.out.line(format!("\n{words} The bounds hold {} %, point by point.", args.level * 100.0))?;
    }
    super::draw(context, &chart(&points, args.level), args.svg.as_deref())
}

fn shape(point: &CurvePoint) -> serde_json::Value {
    json!({
        "time": point.time, "at_risk": point.at_risk, "failures": point.failures, "survival": point.survival,
        "std_error": point.std_error, "lower": point.lower, "upper": point.upper,
        "cumulative_hazard": point.cumulative_hazard,
        "cumulative_hazard_std_error": point.cumulative_hazard_std_error,
    })
}

/// The curve of lives as steps in their band; nothing where it can't be drawn.
pub(in crate::commands) fn layers(lives: &[Life], level: Level) -> Vec<Layer> {
    life::curve(lives, level).map_or_else(|_| Vec::new(), |points| layers_of(&points))
}

fn layers_of(points: &[CurvePoint]) -> Vec<Layer> {
    let band = points.iter().filter_map(|point| Some([point.time, point.lower?, point.upper?])).collect();
    let steps = [[0.0, 1.0]].into_iter().chain(points.iter().map(|point| [point.time, point.survival])).collect();
    vec![Layer::Band(band), Layer::Steps(steps)]
}

fn chart(points: &[CurvePoint], level: f64) -> Chart {
    Chart {
        title: "Still good".to_owned(),
        says: format!(
            "The share still good by age, {} steps, with bounds that hold {} %.",
            points.len(),
            level * 100.0
        ),
        x: Axis { label: "age".to_owned(), scale: Scale::Linear },
        y: Axis { label: "share still good".to_owned(), scale: Scale::Linear },
        layers: layers_of(points),
    }
}
