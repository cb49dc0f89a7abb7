//! `tallow measure shake`: resonances in a log of accelerations, and what has changed since an earlier one.

use signal::resonance::{self, Acceleration, Change, Resonance, TimeUnit};
use signal::spectrum::Density;
use signal::{Estimate, SignalError};
use upkeep::build::SignalWord;
use upkeep::fault::measured::What;

use super::Told;
use super::file::Bytes;
use super::place::Place;
use super::report::{Figure, Report, found_by, times, words};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

const AXES: [&str; 3] = ["x", "y", "z"];
/// The finest and the coarsest step of a spectrum, Hz, and how many of its stretches a log should have. Judgement, no source.
const FINEST_HZ: f64 = 0.5;
const COARSEST_HZ: f64 = 2.0;
const STRETCHES: f64 = 8.0;
/// Resonances of each axis that are told: the highest.
const TOLD: usize = 3;
/// What is drawn ends here, Hz: printers' frames and belts swing below.
const DRAWN_HZ: f64 = 250.0;

/// What is to be measured.
pub(crate) struct Input {
    pub(crate) log: Bytes,
    /// An earlier log.
    pub(crate) before: Option<Bytes>,
    /// The unit of the logs' time, where their header does not name it.
    pub(crate) time_unit: Option<TimeUnit>,
    pub(crate) place: Option<Place>,
}

pub(super) async fn of_args(context: &Context, args: &cli::MeasureShake) -> Result<Told, Trouble> {
    let unit = |unit| match unit {
        cli::TimeUnit::S => TimeUnit::Seconds,
        cli::TimeUnit::Ms => TimeUnit::Milliseconds,
        cli::TimeUnit::Us => TimeUnit::Microseconds,
    };
    let input = Input {
        log: Bytes::read(context, &args.file)?,
        before: Bytes::read_some(context, args.before.as_deref())?,
        time_unit: args.time_unit.map(unit),
        place: Place::of(context, &args.whose, &["frame"], false).await?,
    };
    Ok(Told { report: measure(&input)?, place: input.place })
}

/// An axis' spectrum and its resonances, the highest first.
struct Shaken {
    density: Density,
    resonances: Vec<Resonance>,
}

/// The resonances of each axis, and what has changed since an earlier log.
///
/// # Errors
/// A log that can't be read or is too short, with its name, and one in which nothing stands out.
pub(crate) fn measure(input: &Input) -> Result<Report, Trouble> {
    let log = read(&input.log, input.time_unit)?;
    let before = input.before.as_ref().map(|before| read(before, input.time_unit)).transpose()?;
    // Both with the same step, or a peak would seem to move between the bins of one.
    let step = before.as_ref().map_or(step_of(&log), |before| step_of(before).max(step_of(&log)));
    let now = spectra(&log, step).map_err(|error| input.log.refused(&error))?;
    let earlier = match (&before, &input.before) {
        (Some(log), Some(bytes)) => Some(spectra(log, step).map_err(|error| bytes.refused(&error))?),
        _ => None,
    };
    let at = input.place.as_ref().and_then(|place| place.at.as_deref());
    let Some((axis, highest)) = highest(&now) else {
        let what = format!("{}: no resonance stands out on any axis", input.log.name);
        return Err(
            Trouble::refused(what).help("shake each axis through its frequencies while logging, and log longer")
        );
    };
    let others = now.iter().zip(AXES).flat_map(|(shaken, axis)| told(&shaken.resonances, axis, at));
    let mut report = Report {
        title: input.place.as_ref().map_or_else(|| "Resonances".to_owned(), |p| format!("Resonances, {}", p.words())),
        result: Figure::new(format!("highest resonance, {axis}"), at, highest.frequency_hz, "Hz"),
        others: others.collect(),
        measured: Vec::new(),
        fits: Vec::new(),
        cautions: vec![(SignalWord::Caution, cli::AT_SHAKING), (SignalWord::Warning, cli::AT_BELTS)],
        means: vec![format!(
            "What swings most is {axis} at {}.",
            words(highest.frequency_hz.value, highest.frequency_hz.uncertainty, "Hz")
        )],
        next: Vec::new(),
        chart: Some(chart(&now)),
    };
    match earlier {
        Some(earlier) => compare(&earlier, &now, at, &mut report),
        None => report.next.push("Keep the log, and compare the next one with it: --before.".to_owned()),
    }
    Ok(report)
}

fn read(bytes: &Bytes, unit: Option<TimeUnit>) -> Result<Acceleration, Trouble> {
    resonance::read(&bytes.bytes, unit).map_err(|error| match error {
        SignalError::Header { .. } => bytes.refused(&error).help("or tell it: --time-unit s, ms or us"),
        error => bytes.refused(&error),
    })
}

/// The step of the spectrum of a log, Hz: fine, but with stretches enough to tell peaks from chance.
fn step_of(log: &Acceleration) -> f64 {
    let duration_s = log.axes[0].len() as f64 / log.rate_hz;
    (STRETCHES / duration_s).clamp(FINEST_HZ, COARSEST_HZ)
}

fn spectra(log: &Acceleration, step_hz: f64) -> Result<[Shaken; 3], SignalError> {
    let of = |axis: usize| {
        let density = resonance::spectrum(&log.axes[axis], log.rate_hz, step_hz)?;
        Ok(Shaken { resonances: resonance::resonances(&density), density })
    };
    Ok([of(0)?, of(1)?, of(2)?])
}

/// The axis that swings most, and where.
fn highest(all: &[Shaken; 3]) -> Option<(&'static str, Resonance)> {
    let each = all.iter().zip(AXES).filter_map(|(shaken, axis)| Some((axis, *shaken.resonances.first()?)));
    each.max_by(|(_, one), (_, other)| one.density.total_cmp(&other.density))
}

/// The highest resonances of an axis with their damping.
fn told(resonances: &[Resonance], axis: &str, at: Option<&str>) -> Vec<Figure> {
    let each = resonances.iter().take(TOLD).flat_map(|resonance| {
        let frequency = Figure::new(format!("resonance, {axis}"), at, resonance.frequency_hz, "Hz");
        let ratio =
            resonance.damping_ratio.map(|ratio| Figure::new(format!("its damping ratio, {axis}"), at, ratio, ""));
        std::iter::once(frequency).chain(ratio)
    });
    each.collect()
}

fn compare(before: &[Shaken; 3], now: &[Shaken; 3], at: Option<&str>, report: &mut Report) {
    let mut moved: Option<Estimate> = None;
    for ((before, now), axis) in before.iter().zip(now).zip(AXES) {
        let strongest = |resonances: &[Resonance]| resonances.iter().take(TOLD).copied().collect::<Vec<_>>();
        for change in resonance::changes(&strongest(&before.resonances), &strongest(&now.resonances)) {
            report.means.push(change_words(&change, axis));
            if let Change::Moved { before, by_hz, .. } = change {
                let share = times(by_hz, 100.0 / before.frequency_hz.value);
                moved = moved.filter(|most| share.value.abs() <= most.value.abs()).or(Some(share));
            }
        }
    }
    match moved {
        Some(most) => {
            report.others.push(Figure::new("resonance moved", at, most, "%"));
            report.measured.push(found_by(What::ResonanceMoved, at, most));
            let way = if most.value < 0.0 {
                "Lower means softer or heavier: look for a slack belt, a loose bolt, a worn guide, and what was added to the head."
            } else {
                "Higher means stiffer or lighter: look for a belt that was tightened, a guide that binds, and what was taken off."
            };
            report.next.push(way.to_owned());
            report.next.push("Where the machine damps its resonances by set frequencies, set them anew.".to_owned());
        }
        None => {
            // What did not move beyond doubt moved by nought, as far as its highest peak can tell.
            let doubt = highest(now).and_then(|(_, r)| r.frequency_hz.relative()).unwrap_or(0.0);
            let nought =
                Estimate { value: 0.0, uncertainty: 100.0 * doubt * 2_f64.sqrt(), degrees_of_freedom: f64::INFINITY };
            report.measured.push(found_by(What::ResonanceMoved, at, nought));
            report.means.push("No resonance moved beyond doubt since the earlier log.".to_owned());
        }
    }
}

fn change_words(change: &Change, axis: &str) -> String {
    let hz = |found: Estimate| words(found.value, found.uncertainty, "Hz");
    match change {
        Change::Moved { before, after, by_hz } => format!(
            "On {axis} a resonance moved from {} to {}, by {}, beyond doubt.",
            hz(before.frequency_hz),
            hz(after.frequency_hz),
            hz(*by_hz)
        ),
        Change::Came(now) => format!("On {axis} one at {} was not among the highest before.", hz(now.frequency_hz)),
        Change::Went(before) => {
            format!("On {axis} the one at {} is no longer among the highest.", hz(before.frequency_hz))
        }
    }
}

fn chart(all: &[Shaken; 3]) -> Chart {
    let line = |shaken: &Shaken| {
        let Density { step_hz, density, .. } = &shaken.density;
        let points = density.iter().enumerate().map(|(bin, value)| [bin as f64 * step_hz, *value]);
        points.filter(|[hz, _]| 0.0 < *hz && *hz <= DRAWN_HZ).collect::<Vec<_>>()
    };
    let [x, y, z] = all;
    let mut layers = vec![Layer::Dashed(line(x), "x"), Layer::Dashed(line(y), "y"), Layer::Dashed(line(z), "z")];
    for (shaken, axis) in all.iter().zip(AXES) {
        let first = shaken.resonances.first().map(|resonance| resonance.frequency_hz.value);
        layers.extend(first.map(|hz| Layer::Mark(hz, format!("{axis}, {hz:.1} Hz"))));
    }
    Chart {
        title: "Spectrum of the accelerations".to_owned(),
        says:
            "The power density of the accelerations along x, y and z by frequency, with the highest resonance of each."
                .to_owned(),
        x: Axis { label: "frequency, Hz".to_owned(), scale: Scale::Linear },
        y: Axis { label: "power density, the sensor's unit²/Hz".to_owned(), scale: Scale::Log },
        layers,
    }
}
