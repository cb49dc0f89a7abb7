//! `tallow life drift`: readings that drift to a limit, and when they will reach it.

use std::collections::BTreeMap;

use life::{Crossing, Direction, Drift, DriftError, GammaProcess, Reading};
use serde_json::json;

use super::{end, figure, refused, table::Table as Cells};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

const COLUMNS: [&str; 3] = ["unit", "age", "value"];

/// The chances by which ages are told.
const CHANCES: [f64; 3] = [0.1, 0.5, 0.9];

/// A unit's readings, and the ages by which it reaches the limit with each of [`CHANCES`]; `None` for never.
struct Unit {
    number: usize,
    readings: Vec<Reading>,
    ages: [Option<f64>; 3],
}

impl Unit {
    /// The last reading by age.
    fn last(&self) -> Reading {
        last(&self.readings)
    }
}

pub(crate) fn drift(context: &Context, args: &cli::LifeDrift) -> Result<(), Trouble> {
    let direction = if args.falling { Direction::Falling } else { Direction::Rising };
    let found = readings(context, args)?;
    let all: Vec<Reading> = found.values().flatten().copied().collect();
    let way = Way::of(args, &all, direction)?;
    let unit = |(number, readings): (usize, Vec<Reading>)| {
        Ok(Unit { number, ages: way.ages(&readings, direction, args.limit)?, readings })
    };
    let units: Vec<Unit> = found.into_iter().map(unit).collect::<Result<_, Trouble>>()?;
    if context.json {
        let rows = units.iter().map(|unit| {
            let [early, middle, late] = unit.ages;
            json!({ "unit": unit.number, "readings": unit.readings.len(), "last_age": unit.last().age, "by": way.name(),
                    "age_10": early, "age_50": middle, "age_90": late })
        });
        context.out.json(&rows.collect())?;
    } else {
        say(context, args, &units, &way)?;
    }
    super::draw(context, || Ok(chart(&units, args.limit)), args.svg.as_deref())
}

fn say(context: &Context, args: &cli::LifeDrift, units: &[Unit], way: &Way) -> Result<(), Trouble> {
    let limit = args.limit;
    let columns = ["unit", "readings", "last at age", "10 %", "50 %", "90 %"];
    let mut printed = Table::new(columns.map(|name| (name, Align::Right)));
    for unit in units {
        let [early, middle, late] = unit.ages.map(|age| age.map_or("never".to_owned(), |age| end(Some(age))));
        let (number, readings) = (unit.number.to_string(), unit.readings.len().to_string());
        printed.row([number, readings, figure(unit.last().age), early, middle, late], Dress::Plain);
    }
    let out = &context.out;
    out.line(format!("Age by which a reading of {} is reached, with a chance of\n", figure(limit)))?;
    out.table(&printed)?;
    out.line("")?;
    out.prose("", &way.words())?;
    let remarks = remarks(units, way, limit, args.falling);
    if remarks.is_empty() { Ok(()) } else { out.prose("", &remarks.join(" ")) }
}

/// What is odd about the readings: a limit that is passed already, a drift away from it, no scatter.
fn remarks(units: &[Unit], way: &Way, limit: f64, falling: bool) -> Vec<String> {
    let towards = if falling { -1.0 } else { 1.0 };
    let is_past = |reading: &Reading| limit * towards <= reading.value * towards;
    let named = |found: Vec<&Unit>| {
        let numbers: Vec<String> = found.iter().take(12).map(|unit| unit.number.to_string()).collect();
        let dots = if 12 < found.len() { ", …" } else { "" };
        (!found.is_empty()).then(|| format!("{}{dots}", numbers.join(", ")))
    };
    let mut remarks = Vec::new();
    if units.iter().flat_map(|unit| &unit.readings).all(is_past) {
        let other =
            if falling { "leave out --falling if readings rise to it" } else { "say --falling if readings fall to it" };
        remarks.push(format!("Every reading is past the limit already: {other}."));
    } else if let Some(numbers) = named(units.iter().filter(|unit| is_past(&unit.last())).collect()) {
        remarks.push(format!("Past the limit by its last reading: unit {numbers}."));
    }
    let moves_away = |unit: &&Unit| {
        let first = unit.readings.iter().min_by(|one, other| one.age.total_cmp(&other.age));
        first.is_some_and(|first| (unit.last().value - first.value) * towards < 0.0)
    };
    if let Some(numbers) = named(units.iter().filter(moves_away).collect()) {
        remarks.push(format!("Moves away from the limit: unit {numbers}."));
    }
    let has_no_range = |unit: &&Unit| unit.ages[0].is_some() && unit.ages[0] == unit.ages[2];
    if matches!(way, Way::OwnLine)
        && let Some(numbers) = named(units.iter().filter(has_no_range).collect())
    {
        remarks.push(format!("Unit {numbers}: on a line through the readings, without scatter to tell a range from."));
    }
    remarks
}

/// The readings of each unit.
fn readings(context: &Context, args: &cli::LifeDrift) -> Result<BTreeMap<usize, Vec<Reading>>, Trouble> {
    let cells = Cells::read(context, &args.file, &COLUMNS)?;
    cells.needs(&["age", "value"], "age is when a reading was taken, value what it was")?;
    let mut found: BTreeMap<usize, Vec<Reading>> = BTreeMap::new();
    for row in cells.rows() {
        let number = row.get("unit").unwrap_or(1.0);
        if number.fract() != 0.0 || !(0.0..=1e9).contains(&number) {
            return Err(row.refuse(format!("a unit has a whole number from 0 on, not {number}")));
        }
        let unit_index = number as usize;
        if row.need("age")? < 0.0 {
            return Err(row.refuse("a reading has no age below 0"));
        }
        let reading = Reading { unit_index, age: row.need("age")?, value: row.need("value")? };
        found.entry(unit_index).or_default().push(reading);
    }
    Ok(found)
}

fn last(readings: &[Reading]) -> Reading {
    // OK because a unit is only known by a reading.
    readings.iter().copied().max_by(|one, other| one.age.total_cmp(&other.age)).expect("a reading")
}

/// How it is told when a limit is reached.
enum Way {
    /// Lines that differ as those of the units do.
    AllUnits(Drift),
    /// Lines that differ as was assumed.
    Assumed(Drift),
    /// Each unit's own line.
    OwnLine,
    /// A gamma process, and whether it was assumed.
    Gamma(GammaProcess, bool),
}

impl Way {
    fn of(args: &cli::LifeDrift, all: &[Reading], direction: Direction) -> Result<Way, Trouble> {
        if let (Some(mean), Some(sd)) = (args.growth, args.growth_sd) {
            return assumed_process(mean, sd).map(|process| Way::Gamma(process, true));
        }
        if args.gamma {
            return process(all, direction).map(|process| Way::Gamma(process, false));
        }
        if let (Some([start, start_sd]), Some([slope, slope_sd]), Some(noise)) =
            (args.start.as_deref(), args.slope.as_deref(), args.noise)
        {
            let drift = Drift::assumed((*start, *start_sd), (*slope, *slope_sd), noise);
            return drift.map(Way::Assumed).map_err(refused);
        }
        match Drift::fit(all) {
            Ok(drift) => Ok(Way::AllUnits(drift)),
            Err(DriftError::TooFewUnits { .. } | DriftError::NoNoise { .. }) => Ok(Way::OwnLine),
            Err(error) => Err(refused(error)),
        }
    }

    fn ages(&self, readings: &[Reading], direction: Direction, limit: f64) -> Result<[Option<f64>; 3], Trouble> {
        let crossing = match self {
            Way::AllUnits(drift) | Way::Assumed(drift) => {
                drift.crossing(readings, direction, limit).map_err(refused)?
            }
            Way::OwnLine => Crossing::of_line(readings, direction, limit).map_err(|error| too_few(&error))?,
            Way::Gamma(process, _) => return ages_of_process(process, last(readings), direction, limit),
        };
        let [early, middle, late] = CHANCES.map(|chance| crossing.quantile(chance));
        Ok([early.map_err(refused)?, middle.map_err(refused)?, late.map_err(refused)?])
    }

    fn name(&self) -> &'static str {
        match self {
            Way::AllUnits(_) => "all units",
            Way::Assumed(_) => "assumed line",
            Way::OwnLine => "own line",
            Way::Gamma(_, false) => "gamma process",
            Way::Gamma(_, true) => "assumed gamma process",
        }
    }

    fn words(&self) -> String {
        match self {
            Way::AllUnits(_) => "Each unit's own readings, drawn towards the lines of all units.".to_owned(),
            Way::Assumed(_) => "The line that was assumed, drawn towards each unit's own readings.".to_owned(),
            Way::OwnLine => "Each unit's own line alone: there are too few units to tell how units differ.".to_owned(),
            Way::Gamma(process, assumed) => format!(
                "By a gamma process{}: growth in a unit of age {} on average, with a standard deviation of {}. It starts \
                 from the last reading alone.",
                if *assumed { ", which was assumed" } else { "" },
                figure(process.mean_growth()),
                figure(process.rate().sqrt() * process.scale())
            ),
        }
    }
}

/// The process whose growth in a unit of age has that mean and standard deviation: a·b and √a·b.
fn assumed_process(mean: f64, sd: f64) -> Result<GammaProcess, Trouble> {
    for (what, value) in [("growth", mean), ("growth's standard deviation", sd)] {
        if value <= 0.0 {
            let trouble = Trouble::refused(format!("the {what} is {value}, but must be above 0"));
            return Err(trouble.help("growth is towards the limit, also where readings fall to it"));
        }
    }
    GammaProcess::new((mean / sd).powi(2), sd * sd / mean).map_err(refused)
}

/// The likeliest process; by moments where a reading did not move, which has no likelihood.
fn process(all: &[Reading], direction: Direction) -> Result<GammaProcess, Trouble> {
    let process = match GammaProcess::by_likelihood(all, direction) {
        Err(DriftError::StoodStill { .. }) => GammaProcess::by_moments(all, direction),
        process => process,
    };
    process.map_err(|error| match error {
        DriftError::NoSpread { .. } => refused(error).help("or assume its growth: --growth MEAN --growth-sd SD"),
        DriftError::RunsBack { .. } => refused(error).help("leave out --gamma: a line bears readings that go back"),
        other => refused(other),
    })
}

fn ages_of_process(
    process: &GammaProcess,
    last: Reading,
    direction: Direction,
    limit: f64,
) -> Result<[Option<f64>; 3], Trouble> {
    let remaining = match process.remaining(last.value, direction, limit) {
        Err(DriftError::PastLimit { .. }) => return Ok([Some(last.age); 3]),
        remaining => remaining.map_err(refused)?,
    };
    let [early, middle, late] = CHANCES.map(|chance| remaining.quantile(chance));
    let ages = [early.map_err(refused)?, middle.map_err(refused)?, late.map_err(refused)?];
    Ok(ages.map(|span| Some(last.age + span)))
}

/// What to do where a unit has no line of its own.
fn too_few(error: &DriftError) -> Trouble {
    match error {
        DriftError::TooFewUnits { .. } | DriftError::NoNoise { .. } => Trouble::refused(
            "a unit has too few readings for a line of its own, and there are too few units to tell how units differ",
        )
        .help("take three readings at least, at different ages")
        .help("or assume how it drifts: --start MEAN SD --slope MEAN SD --noise SD, or --growth MEAN --growth-sd SD"),
        other => refused(other),
    }
}

/// Every unit's readings, and the fan from the last of them to the limit.
fn chart(units: &[Unit], limit: f64) -> Chart {
    let mut layers = Vec::new();
    let mut far: f64 = 0.0;
    for unit in units {
        let points: Vec<[f64; 2]> = unit.readings.iter().map(|reading| [reading.age, reading.value]).collect();
        let Reading { age, value, .. } = unit.last();
        for reached in unit.ages.into_iter().flatten().filter(|reached| age < *reached) {
            layers.push(Layer::Line(vec![[age, value], [reached, limit]]));
            far = far.max(reached);
        }
        far = far.max(age);
        layers.push(Layer::Points(points));
    }
    layers.push(Layer::Dashed(vec![[0.0, limit], [far, limit]], "limit"));
    if (2..=12).contains(&units.len()) {
        let name = |unit: &Unit| Layer::Word([unit.last().age, unit.last().value], format!("unit {}", unit.number));
        layers.extend(units.iter().map(name));
    }
    Chart {
        title: "Readings and their limit".to_owned(),
        says: "Readings by age; from each unit's last reading, lines to the limit by the ages of 10, 50 and 90 %."
            .to_owned(),
        x: Axis { label: "age".to_owned(), scale: Scale::Linear },
        y: Axis { label: "reading".to_owned(), scale: Scale::Linear },
        layers,
    }
}
