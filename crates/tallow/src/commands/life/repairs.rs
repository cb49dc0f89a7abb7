//! `tallow life repairs`: systems that are repaired and go on.

use std::collections::BTreeMap;
use std::path::Path;

use life::repair::{
    MeanPoint, PowerLawFit, ReversalTest, System, chi_square_test, laplace_test, mean_failures, reversal_test,
};
use life::{Bounds, Level};
use serde_json::{Value, json};

use super::table::{Row, Table as Cells};
use super::{end, figure, p_words, refused, share};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::words;

const COLUMNS: [&str; 4] = ["system", "start", "end", "time"];

pub(crate) fn repairs(context: &Context, args: &cli::LifeTable) -> Result<(), Trouble> {
    let numbered = systems(context, &args.file)?;
    let reversals: Vec<(f64, ReversalTest)> = numbered.iter().filter_map(Numbered::reversals).collect();
    let systems: Vec<System> = numbered.into_iter().map(|system| system.watched).collect();
    let level = Level::new(args.level).map_err(refused)?;
    let means = mean_failures(&systems, level);
    let fit = PowerLawFit::new(&systems);
    if context.json {
        context.out.json(&shape(&systems, &reversals, &means, fit.as_ref().ok(), level))?;
    } else {
        say(context, &systems, &reversals, &fit, level)?;
    }
    if means.is_empty() && args.svg.is_none() {
        return Ok(());
    }
    super::draw(context, || Ok(chart(&means, fit.as_ref().ok())), args.svg.as_deref())
}

/// A system per number in the column `system`, in the order of those numbers.
fn systems(context: &Context, path: &Path) -> Result<Vec<Numbered>, Trouble> {
    let table = Cells::read(context, path, &COLUMNS)?;
    table.needs(
        &["system", "end", "time"],
        "each system was watched from start (0 if left out) to end; time is a failure",
    )?;
    let mut found: BTreeMap<u64, (f64, f64, Vec<f64>)> = BTreeMap::new();
    let mut lines: BTreeMap<u64, Lines> = BTreeMap::new();
    for row in table.rows() {
        let (name, start, end) = (row.need("system")?, row.get("start").unwrap_or(0.0), row.need("end")?);
        let (known_start, known_end, times) = found.entry(name.to_bits()).or_insert((start, end, Vec::new()));
        same(&row, "start", *known_start, start)?;
        same(&row, "end", *known_end, end)?;
        lines.entry(name.to_bits()).or_default().add(&row)?;
        times.extend(row.get("time"));
    }
    let system = |(bits, (start, end, times)): (u64, (f64, f64, Vec<f64>))| {
        let number = f64::from_bits(bits);
        let watched = System::new(start, end, times).map_err(|error| refused(format!("system {number}: {error}")))?;
        Ok(Numbered { number, watched })
    };
    found.into_iter().map(system).collect()
}

/// Where a system's rows stand.
#[derive(Default)]
struct Lines {
    /// The line of each failure, by its time.
    failures: BTreeMap<u64, u64>,
    /// The line that says that nothing failed.
    quiet: Option<u64>,
}

impl Lines {
    /// Refuses a row that says again what an earlier one said, or the opposite.
    fn add(&mut self, row: &Row<'_>) -> Result<(), Trouble> {
        let line = row.line();
        let (quiet, same, first) = match row.get("time") {
            Some(time) => (self.quiet, self.failures.insert(time.to_bits(), line), None),
            None => (None, self.quiet.replace(line), self.failures.values().min().copied()),
        };
        if let Some(before) = quiet.or(first) {
            let what = format!(
                "an empty time says that nothing failed, but line {before} and this one of the same system differ"
            );
            return Err(row
                .refuse(what)
                .help("a system without failures has one row with an empty time; others have none"));
        }
        let Some(before) = same else { return Ok(()) };
        Err(row
            .refuse(format!("this says the same of the same system as line {before}"))
            .help("leave out one of the two; failures at once have times a little apart"))
    }
}

/// A system with the number that it has in the table.
struct Numbered {
    number: f64,
    watched: System,
}

impl Numbered {
    /// Its test by reversals, from two failures on.
    fn reversals(&self) -> Option<(f64, ReversalTest)> {
        reversal_test(&self.watched).map(|test| (self.number, test))
    }
}

fn same(row: &Row<'_>, what: &str, before: f64, now: f64) -> Result<(), Trouble> {
    match before.total_cmp(&now).is_eq() {
        true => Ok(()),
        false => Err(row.refuse(format!("the {what} of this system was {before} before, and is {now} here"))),
    }
}

fn shape(
    systems: &[System],
    reversals: &[(f64, ReversalTest)],
    means: &[MeanPoint],
    fit: Option<&PowerLawFit>,
    level: Level,
) -> Value {
    let laplace = laplace_test(systems).ok().map(|test| json!({ "statistic": test.score, "p": test.two_sided }));
    let mil = chi_square_test(systems).ok().map(|test| json!({ "statistic": test.statistic, "p": test.two_sided() }));
    let law = fit.map(PowerLawFit::law);
    let ends = fit.map(|fit| (fit.shape_bounds(level).0, fit.end_bounds(level)));
    let at_end = fit.map(|fit| (fit.law().intensity(fit.end()), fit.law().mtbf(fit.end())));
    json!({
        "shape": law.map(|law| law.shape()), "scale_rate": law.map(|law| law.rate()),
        "intensity_at_end": at_end.map(|(intensity, _)| intensity), "mtbf_at_end": at_end.map(|(_, mtbf)| mtbf),
        "bounds": {
            "level": level.get(),
            "shape": ends.map(|(shape, _)| [shape.lower, shape.upper]),
            "mtbf_at_end": ends.map(|(_, ends)| [ends.mtbf.lower, ends.mtbf.upper]),
        },
        "laplace": laplace, "mil": mil,
        "reversals": reversals.iter().map(|(number, test)| json!({
            "system": number, "spans": test.spans, "reversals": test.reversals, "expected": test.expected(),
            "p": test.two_sided(),
        })).collect::<Vec<_>>(),
        "mean_cumulative": means.iter().map(|point| json!({
            "time": point.time, "at_risk": point.at_risk, "failures": point.failures, "mean": point.mean,
            "std_error": point.std_error, "lower": point.lower, "upper": point.upper,
        })).collect::<Vec<_>>(),
    })
}

fn say(
    context: &Context,
    systems: &[System],
    reversals: &[(f64, ReversalTest)],
    fit: &Result<PowerLawFit, life::repair::NoPowerLaw>,
    level: Level,
) -> Result<(), Trouble> {
    let out = &context.out;
    let fit = match fit {
        Ok(fit) => fit,
        Err(none) => return out.prose("", &format!("No law: {none}.")),
    };
    let (law, ends, (shape, _)) = (fit.law(), fit.end_bounds(level), fit.shape_bounds(level));
    let (failures, watched) =
        (words::count(fit.failures() as u64, "failures"), words::count(systems.len() as u64, "systems"));
    out.line(format!("{failures} of {watched}; bounds hold {}\n", share(level.get())))?;
    let columns = [("", Align::Left), ("fit", Align::Right), ("from", Align::Right), ("to", Align::Right)];
    let mut printed = Table::new(columns);
    let mut row = |name: String, value: f64, bounds: Bounds| {
        printed.row([name, figure(value), end(bounds.lower), end(bounds.upper)], Dress::Plain);
    };
    row("shape".to_owned(), law.shape(), shape);
    row(format!("mean time between failures at {}", figure(fit.end())), law.mtbf(fit.end()), ends.mtbf);
    out.table(&printed)?;
    out.line("")?;
    out.prose("", &trend(systems, law.shape()))?;
    if reversals.is_empty() { Ok(()) } else { say_reversals(context, reversals) }
}

/// The test by reversals, which takes no law, of each system.
fn say_reversals(context: &Context, reversals: &[(f64, ReversalTest)]) -> Result<(), Trouble> {
    let columns = ["system", "spans", "reversals", "by chance", "p"].map(|name| (name, Align::Right));
    let mut printed = Table::new(columns);
    for (number, test) in reversals {
        let counts = [test.spans, test.reversals].map(|count| count.to_string());
        let [spans, found] = counts;
        let row = [figure(*number), spans, found, figure(test.expected()), p_cell(test.two_sided())];
        printed.row(row, Dress::Plain);
    }
    context.out.line("")?;
    context.out.table(&printed)?;
    context.out.line("")?;
    context.out.prose(
        "",
        "A reversal is a pair of spans between failures of which the later is the longer: many tell that failures come ever \
         slower, few that they come ever faster, whatever their law.",
    )
}

fn p_cell(p: f64) -> String {
    if p < 0.001 { "< 0.001".to_owned() } else { format!("{p:.3}") }
}

/// Whether failures come faster or slower, as far as the tests can tell.
fn trend(systems: &[System], shape: f64) -> String {
    let Ok(test) = laplace_test(systems) else { return "Too few failures to tell a trend.".to_owned() };
    let way = if 1.0 < shape { "faster" } else { "slower" };
    match test.two_sided {
        p if p < 0.05 => format!("Failures come ever {way} (Laplace's test: {}).", p_words(p)),
        p => format!("That failures come ever {way} may be chance (Laplace's test: {}).", p_words(p)),
    }
}

fn chart(means: &[MeanPoint], fit: Option<&PowerLawFit>) -> Chart {
    let band = means.iter().filter_map(|point| Some([point.time, point.lower?, point.upper?])).collect();
    let steps = [[0.0, 0.0]].into_iter().chain(means.iter().map(|point| [point.time, point.mean])).collect();
    let mut layers = vec![Layer::Band(band, "bounds"), Layer::Steps(steps)];
    if let Some(fit) = fit {
        let line =
            (0..=60).map(|step| fit.end() * f64::from(step) / 60.0).map(|time| [time, fit.law().expected_by(time)]);
        layers.push(Layer::Dashed(line.collect(), "power law"));
    }
    Chart {
        title: "Failures so far".to_owned(),
        says: "The mean number of failures per system by time, and the power law through it.".to_owned(),
        x: Axis { label: "time".to_owned(), scale: Scale::Linear },
        y: Axis { label: "failures per system".to_owned(), scale: Scale::Linear },
        layers,
    }
}
