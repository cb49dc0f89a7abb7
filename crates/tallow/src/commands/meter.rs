//! `tallow meter`: what a print file asks of a machine, without booking it.

use motion::{Corner, Metered, Quantity};
use serde_json::{Map, Value, json};
use upkeep::build::Axis;
use upkeep::{Build, amount};

use crate::cli::{self, CornerRule};
use crate::commands::build::build_of;
use crate::context::Context;
use crate::input::Source;
use crate::metering;
use crate::out::{self, Align, Dress, Table};
use crate::parallel;
use crate::report;
use crate::stop::Point;
use crate::trouble::Trouble;
use crate::wear::{self, Outside};
use crate::words;

pub(crate) async fn meter(context: &Context, args: &cli::Meter) -> Result<(), Trouble> {
    let build = build_of(context, context.already_open().as_ref(), &args.build).await?.build;
    let machine = &build.machine;
    let stop = args.stop.as_deref().map(Point::parse).transpose()?;
    let corner = args.corner.map_or(machine.corner, rule);
    let sources: Vec<Source> = args.files.iter().map(|file| context.source(file)).collect::<Result<_, _>>()?;
    let progress = metering::progress(&sources, stop);
    let results = parallel::map(&sources, |source| metering::meter(source, machine, corner, stop, &progress));
    drop(progress);
    if let ([source], [result]) = (&sources[..], &results[..]) {
        let metered = result.as_ref().map_err(Trouble::clone)?;
        return if context.json {
            context.out.json(&shape(source, metered, &build))
        } else {
            say(context, source, metered, &build)
        };
    }
    say_all(context, &sources, &results, &build)
}

fn say_all(
    context: &Context,
    sources: &[Source],
    results: &[Result<Metered, Trouble>],
    build: &Build,
) -> Result<(), Trouble> {
    if context.json {
        let shapes = sources.iter().zip(results).map(|(source, result)| match result {
            Ok(metered) => shape(source, metered, build),
            Err(trouble) => json!({ "file": source.name(), "error": trouble.what(), "help": trouble.help_lines() }),
        });
        context.out.json(&shapes.collect::<Vec<Value>>().into())?;
    } else {
        for (source, result) in sources.iter().zip(results) {
            match result {
                Ok(metered) => say(context, source, metered, build)?,
                Err(trouble) => out::trouble(trouble, false),
            }
        }
    }
    match results.iter().filter(|result| result.is_err()).count() {
        0 => Ok(()),
        failed => Err(Trouble::refused(format!("{failed} of {} files could not be metered", results.len()))),
    }
}

/// The report, and how much of the travel the build's machine could not make.
fn shape(source: &Source, metered: &Metered, build: &Build) -> Value {
    let mut shape = report::shape(&source.name(), metered);
    let outside = outside(metered, build).map(|(axis, outside)| (axis.name().to_owned(), json!(outside.travel_mm())));
    shape["outside_travel_mm"] = outside.into_iter().collect::<Map<_, _>>().into();
    shape
}

/// What each axis travels outside its reach.
fn outside(metered: &Metered, build: &Build) -> [(Axis, Outside); 3] {
    let maps = [(Axis::X, &metered.wear.x), (Axis::Y, &metered.wear.y), (Axis::Z, &metered.wear.z)];
    maps.map(|(axis, map)| (axis, Outside::of(map.bins(), wear::reach(build, axis))))
}

fn say(context: &Context, source: &Source, metered: &Metered, build: &Build) -> Result<(), Trouble> {
    let report = &metered.report;
    let time = amount::print(report.time.total_s, Quantity::Time);
    let head = format!(
        "{}: {time}, {}, corners by {}",
        source.name(),
        words::count(metered.layers.into(), "layers"),
        report::corner_word(report.time.corner)
    );
    context.out.dressed_line(&head, Dress::Bold)?;
    let mut table = Table::new([("quantity", Align::Left), ("amount", Align::Right)]);
    for (quantity, amount) in metered.duty.total().iter() {
        table.row([quantity.name().to_owned(), amount::print(amount, quantity)], Dress::Plain);
    }
    context.out.table(&table)?;
    for (axis, outside) in outside(metered, build) {
        if let Some(words) = outside.words() {
            context.out.line(format!("{} goes outside the build's travel: {words}", axis.name()))?;
        }
    }
    say_warnings(context, metered)?;
    context.out.line("")
}

fn say_warnings(context: &Context, metered: &Metered) -> Result<(), Trouble> {
    let report = &metered.report;
    if report.ends_mid_line {
        context.out.line("the last line has no end: the file may be cut off")?;
    }
    if !report.unknown.is_empty() {
        let names: Vec<String> = report.unknown.iter().map(|(name, count)| format!("{name} ({count})")).collect();
        context.out.line(format!("not known, and left aside: {}", names.join(", ")))?;
    }
    let shown = report.warnings.iter().take(SHOWN_WARNINGS);
    shown.into_iter().try_for_each(|warning| {
        context.out.line(format!("line {}, column {}: {}", warning.line, warning.column, warning.what))
    })?;
    match report.warnings_total.saturating_sub(SHOWN_WARNINGS as u64) {
        0 => Ok(()),
        more => context.out.line(format!(
            "and {}; --json lists up to {}",
            words::count(more, "more warnings"),
            report.warnings.len()
        )),
    }
}

const SHOWN_WARNINGS: usize = 10;

/// The corner rule that a command line names.
fn rule(rule: CornerRule) -> Corner {
    match rule {
        CornerRule::Jerk => Corner::Jerk,
        CornerRule::Deviation => Corner::Deviation,
    }
}
