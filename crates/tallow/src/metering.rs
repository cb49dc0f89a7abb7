//! From a print file to its duty on a machine.

use std::sync::Arc;

use motion::{Corner, Machine, MeterError, Metered, Options, Stop, meter_reader_on_two_cores, meter_to_time_share};

use crate::input::Source;
use crate::progress::{Progress, Unit};
use crate::stop::Point;
use crate::trouble::Trouble;
use crate::words;

/// Meters a print file, wholly or to the point where it stopped. `progress` is told of the bytes read.
///
/// # Errors
/// A file that can't be read or unpacked, one with nothing to meter, and a point that lies beyond its end.
pub(crate) fn meter(
    source: &Source,
    machine: &Machine,
    corner: Corner,
    stop: Option<Point>,
    progress: &Arc<Progress>,
) -> Result<Metered, Trouble> {
    let metered = meter_to(source, machine, Options { corner, ..Options::default() }, stop, progress)?;
    let metered = metered.map_err(|error| explained(source, error))?;
    reached(source, &metered, stop)?;
    Ok(metered)
}

/// How much will be read of some sources, for a bar.
pub(crate) fn progress(sources: &[Source], stop: Option<Point>) -> Arc<Progress> {
    let times = if matches!(stop, Some(Point::TimeShare(_))) { 2 } else { 1 };
    let total = sources.iter().map(Source::size).sum::<Option<u64>>().map(|bytes| bytes * times);
    Arc::new(Progress::new(total, Unit::Bytes))
}

fn meter_to(
    source: &Source,
    machine: &Machine,
    options: Options,
    stop: Option<Point>,
    progress: &Arc<Progress>,
) -> Result<Result<Metered, MeterError>, Trouble> {
    let open = || source.open(progress);
    let until = |stop| meter_reader_on_two_cores(open()?, machine, Options { stop, ..options });
    Ok(match stop {
        None => until(None),
        Some(Point::Layer(layer)) => until(Some(Stop::Layer(layer))),
        Some(Point::Line(line)) => until(Some(Stop::Line(line))),
        Some(Point::ByteShare(share)) => {
            let (_, bytes) = twice(source)?.digest()?;
            until(Some(Stop::byte_share(share, bytes)))
        }
        Some(Point::TimeShare(share)) => {
            twice(source)?;
            meter_to_time_share(open, machine, options, share)
        }
    })
}

/// The source, if it can be read twice.
fn twice(source: &Source) -> Result<&Source, Trouble> {
    match source {
        Source::File(_) | Source::Sent(_) => Ok(source),
        Source::Standard => Err(Trouble::refused("a share of standard input can't be known before its end")
            .help("name the file, or stop at a layer or a line")),
    }
}

/// Refuses a stop that lies beyond the end of the file: the run would be counted whole without a word.
fn reached(source: &Source, metered: &Metered, stop: Option<Point>) -> Result<(), Trouble> {
    match stop {
        Some(Point::Layer(layer)) if metered.layers < layer => Err(Trouble::refused(format!(
            "{} has {}, so it can't stop at layer {layer}",
            source.name(),
            words::count(u64::from(metered.layers), "layers")
        ))
        .help("leave --stop out if the run was whole")),
        Some(Point::Line(line)) if metered.stopped.is_none() && metered.report.lines < line => Err(Trouble::refused(
            format!("{} has {} lines, so it can't stop at line {line}", source.name(), metered.report.lines),
        )
        .help("leave --stop out if the run was whole")),
        _ => Ok(()),
    }
}

fn explained(source: &Source, error: MeterError) -> Trouble {
    match error {
        MeterError::Io(error) => source.trouble(&error),
        MeterError::NotGcode { .. } => Trouble::refused(format!("{}: {error}", source.name()))
            .help("give the G-code itself; plain, gzip and zstd files can be read"),
        MeterError::NothingToMeter(report) if 0 < report.warnings_total => {
            let first = report
                .warnings
                .first()
                .map_or_else(String::new, |first| format!("line {}: {}", first.line, first.what));
            Trouble::refused(format!(
                "{}: nothing to meter; {}",
                source.name(),
                words::count(report.warnings_total, "warnings")
            ))
            .help(first)
        }
        _ => Trouble::refused(format!("{}: {error}", source.name())).help("give a print file that moves a machine"),
    }
}
