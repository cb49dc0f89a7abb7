//! From a print file to its duty on a machine.

use std::io;

use motion::{Corner, Machine, MeterError, Metered, Options, Stop, meter_reader, meter_to_time_share};

use crate::input::{Plain, Source};
use crate::progress::Watched;
use crate::stop::Point;
use crate::trouble::Trouble;

/// Meters a print file, wholly or to the point where it stopped.
///
/// # Errors
/// A file that can't be read or unpacked, and one with nothing to meter.
pub(crate) fn meter(
    source: &Source,
    machine: &Machine,
    corner: Corner,
    stop: Option<Point>,
) -> Result<Metered, Trouble> {
    let options = Options { corner, ..Options::default() };
    let with = |stop| Options { stop: Some(stop), ..options };
    let metered = match stop {
        None => meter_reader(watched(source)?, machine, options),
        Some(Point::Layer(layer)) => meter_reader(watched(source)?, machine, with(Stop::Layer(layer))),
        Some(Point::Line(line)) => meter_reader(watched(source)?, machine, with(Stop::Line(line))),
        Some(Point::ByteShare(share)) => {
            let (_, bytes) = twice(source)?.digest()?;
            meter_reader(watched(source)?, machine, with(Stop::byte_share(share, bytes)))
        }
        Some(Point::TimeShare(share)) => {
            let open = || watched(source).map_err(|trouble| io::Error::other(trouble.to_string()));
            meter_to_time_share(open, machine, Options { stop: twice(source).map(|_| None)?, ..options }, share)
        }
    };
    let metered = metered.map_err(|error| explained(source, error))?;
    reached(source, &metered, stop)?;
    Ok(metered)
}

fn watched(source: &Source) -> Result<Watched<Plain>, Trouble> {
    let plain = source.open()?;
    let total = if plain.is_packed() { None } else { source.size() };
    Ok(Watched::new(plain, total))
}

/// The source, if it can be read twice.
fn twice(source: &Source) -> Result<&Source, Trouble> {
    match source {
        Source::File(_) => Ok(source),
        Source::Standard => Err(Trouble::refused("a share of standard input can't be known before its end")
            .help("name the file, or stop at a layer or a line")),
    }
}

/// Refuses a stop that lies beyond the end of the file: the run would be counted whole without a word.
fn reached(source: &Source, metered: &Metered, stop: Option<Point>) -> Result<(), Trouble> {
    match stop {
        Some(Point::Layer(layer)) if metered.layers < layer => Err(Trouble::refused(format!(
            "{} has {} layers, so it can't stop at layer {layer}",
            source.name(),
            metered.layers
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
            Trouble::refused(format!("{}: nothing to meter; {} warnings", source.name(), report.warnings_total))
                .help(first)
        }
        _ => Trouble::refused(format!("{}: {error}", source.name())).help("give a print file that moves a machine"),
    }
}
