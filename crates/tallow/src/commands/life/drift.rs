//! `tallow life drift`: readings that drift to a limit, and when they will reach it.

use std::collections::BTreeMap;

use life::{Crossing, Direction, Drift, Reading};
use serde_json::json;

use super::{end, figure, refused, table::Table as Cells};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

const COLUMNS: [&str; 3] = ["unit", "age", "value"];

/// A unit's readings, and when it will reach the limit.
struct Unit {
    number: f64,
    readings: Vec<Reading>,
    crossing: Crossing,
}

impl Unit {
    /// The ages by which the limit is reached with a chance of 10, 50 and 90 %.
    fn ages(&self) -> Result<[Option<f64>; 3], Trouble> {
        let [early, middle, late] = [0.1, 0.5, 0.9].map(|chance| self.crossing.quantile(chance));
        Ok([early.map_err(refused)?, middle.map_err(refused)?, late.map_err(refused)?])
    }
}

pub(crate) fn drift(context: &Context, args: &cli::LifeDrift) -> Result<(), Trouble> {
    let direction = if args.falling { Direction::Falling } else { Direction::Rising };
    let (units, alone) = units(args, direction)?;
    if context.json {
        let rows = units.iter().map(|unit| {
            let [early, middle, late] = unit.ages()?;
            Ok(json!({ "unit": unit.number, "readings": unit.readings.len(), "last_age": unit.crossing.now(),
                       "age_10": early, "age_50": middle, "age_90": late }))
        });
        context.out.json(&rows.collect::<Result<Vec<_>, Trouble>>()?.into())?;
    } else {
        let columns = ["unit", "readings", "last at age", "10 %", "50 %", "90 %"];
        let mut printed = Table::new(columns.map(|name| (name, Align::Right)));
        for unit in &units {
            let [early, middle, late] = unit.ages()?.map(|age| age.map_or("never".to_owned(), |age| end(Some(age))));
            let row = [
                figure(unit.number),
                unit.readings.len().to_string(),
                figure(unit.crossing.now()),
                early,
                middle,
                late,
            ];
            printed.row(row, Dress::Plain);
        }
        context.out.line(format!("Age by which a reading of {} is reached, with a chance of\n", figure(args.limit)))?;
        context.out.table(&printed)?;
        let words = match alone {
            false => "Each unit's own readings, drawn towards the lines of all units.",
            true => "Each unit's own line alone: there are too few units to tell how units differ.",
        };
        context.out.line("")?;
        context.out.prose("", words)?;
    }
    super::draw(context, || chart(&units, args.limit), args.svg.as_deref())
}

/// The units of a table; whether each stands alone.
fn units(args: &cli::LifeDrift, direction: Direction) -> Result<(Vec<Unit>, bool), Trouble> {
    let cells = Cells::read(&args.file, &COLUMNS)?;
    let mut found: BTreeMap<u64, (f64, Vec<Reading>)> = BTreeMap::new();
    for row in cells.rows() {
        let (number, age, value) = (row.get("unit").unwrap_or(1.0), row.need("age")?, row.need("value")?);
        let unit_index = found.len();
        let (_, readings) = found.entry(number.to_bits()).or_insert((number, Vec::new()));
        let unit_index = readings.first().map_or(unit_index, |first: &Reading| first.unit_index);
        readings.push(Reading { unit_index, age, value });
    }
    let all: Vec<Reading> = found.values().flat_map(|(_, readings)| readings.clone()).collect();
    let drift = Drift::fit(&all).ok();
    let unit = |(number, readings): (f64, Vec<Reading>)| {
        let crossing = match &drift {
            Some(drift) => drift.crossing(&readings, direction, args.limit),
            None => Crossing::of_line(&readings, direction, args.limit),
        };
        Ok(Unit { number, crossing: crossing.map_err(refused)?, readings })
    };
    let units = found.into_values().map(unit).collect::<Result<_, Trouble>>()?;
    Ok((units, drift.is_none()))
}

/// Every unit's readings, and the fan from the last of them to the limit.
fn chart(units: &[Unit], limit: f64) -> Result<Chart, Trouble> {
    let mut layers = Vec::new();
    let mut far: f64 = 0.0;
    for unit in units {
        let points: Vec<[f64; 2]> = unit.readings.iter().map(|reading| [reading.age, reading.value]).collect();
        if let (Some(&[from, value]), [Some(early), _, Some(late)]) = (points.last(), unit.ages()?) {
            layers.push(Layer::Line(vec![[from, value], [early, limit]]));
            layers.push(Layer::Line(vec![[from, value], [late, limit]]));
            far = far.max(late);
        }
        far = points.iter().map(|point| point[0]).fold(far, f64::max);
        layers.push(Layer::Points(points));
    }
    layers.push(Layer::Line(vec![[0.0, limit], [far, limit]]));
    Ok(Chart {
        title: "Readings and their limit".to_owned(),
        says: "Readings by age; from each unit's last reading, lines to the limit by the ages of 10 and 90 %."
            .to_owned(),
        x: Axis { label: "age".to_owned(), scale: Scale::Linear },
        y: Axis { label: "reading".to_owned(), scale: Scale::Linear },
        layers,
    })
}
