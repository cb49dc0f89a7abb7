//! `tallow measure heat`: how a heater heats up and holds its temperature, and what is odd in the log.

use signal::heat_log::{self, Changed, HeatSample, Heating, Oddity};
use signal::{Estimate, SignalError};
use upkeep::build::SignalWord;
use upkeep::fault::measured::What;

use super::Told;
use super::file::Bytes;
use super::place::Place;
use super::report::{Figure, Report, counted, found_by, times, words};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

/// How many points of a log are drawn at most.
const DRAWN: usize = 2000;
/// How many oddities are told in sentences.
const TOLD: usize = 5;

/// What is to be measured.
pub(crate) struct Input {
    pub(crate) log: Bytes,
    /// An earlier log.
    pub(crate) before: Option<Bytes>,
    /// What changes faster is a jump, K/s.
    pub(crate) fastest_k_per_s: f64,
    /// What falls further below a target that was reached was cut off, K.
    pub(crate) fall_k: f64,
    pub(crate) place: Option<Place>,
}

pub(super) async fn of_args(context: &Context, args: &cli::MeasureHeat) -> Result<Told, Trouble> {
    let input = Input {
        log: Bytes::read(context, &args.file)?,
        before: Bytes::read_some(context, args.before.as_deref())?,
        fastest_k_per_s: args.fastest,
        fall_k: args.fall,
        place: Place::of(context, &args.whose, &["hot end"], false).await?,
    };
    Ok(Told { report: measure(&input)?, place: input.place })
}

/// What a log tells of a heater and its sensor, and what has changed since an earlier one.
///
/// # Errors
/// A log that can't be read, with its name, and one that neither heats up nor holds a temperature.
pub(crate) fn measure(input: &Input) -> Result<Report, Trouble> {
    let (samples, heating) = read(&input.log)?;
    let before = input.before.as_ref().map(read).transpose()?;
    let odd = heat_log::oddities(&samples, input.fastest_k_per_s, input.fall_k).map_err(|e| input.log.refused(&e))?;
    let at = input.place.as_ref().and_then(|place| place.at.as_deref());
    let mut figures = figures(&heating, at);
    if figures.is_empty() {
        let what =
            format!("{}: the log neither heats up by 10 °C nor holds a temperature for 16 readings", input.log.name);
        return Err(Trouble::refused(what).help("log from cold to the target and some minutes on"));
    }
    let mut report = Report {
        title: input.place.as_ref().map_or_else(|| "Heating".to_owned(), |place| format!("Heating, {}", place.words())),
        result: figures.remove(0),
        others: figures,
        measured: Vec::new(),
        fits: Vec::new(),
        cautions: vec![(SignalWord::Warning, cli::AT_HEATER)],
        means: Vec::new(),
        next: Vec::new(),
        chart: Some(chart(&samples, before.as_ref().map(|(samples, _)| samples.as_slice()))),
    };
    held(&heating, at, &mut report);
    oddities(&odd, at, &mut report);
    match &before {
        Some((_, before)) => compare(heat_log::changed(before, &heating), at, &mut report),
        None => report.next.push("Keep the log, and compare the next one with it: --before.".to_owned()),
    }
    Ok(report)
}

fn read(bytes: &Bytes) -> Result<(Vec<HeatSample>, Heating), Trouble> {
    let read = || -> Result<_, SignalError> {
        let samples = heat_log::read(&bytes.bytes)?;
        let heating = heat_log::heating(&samples)?;
        Ok((samples, heating))
    };
    read().map_err(|error| bytes.refused(&error))
}

/// What is held first, then the rise.
fn figures(heating: &Heating, at: Option<&str>) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let Some(hold) = heating.hold {
        figures.push(Figure::new("steady error", at, hold.error_k, "°C"));
        figures.push(Figure::new("temperature swing", at, hold.amplitude_k, "°C"));
        let period = |s| Estimate { value: s, uncertainty: 0.0, degrees_of_freedom: f64::INFINITY };
        figures.extend(hold.period_s.map(|s| Figure::new("period of the swing", at, period(s), "s")));
    }
    figures.extend(heating.rise.map(|rise| Figure::new("rate of heating up", at, rise.rate_k_per_s, "°C/s")));
    figures
}

fn held(heating: &Heating, at: Option<&str>, report: &mut Report) {
    let told = |found: Estimate, unit| words(found.value, found.uncertainty, unit);
    if let Some(hold) = heating.hold {
        report.measured.push(found_by(What::SteadyError, at, hold.error_k));
        report.measured.push(found_by(What::TemperatureSwing, at, hold.amplitude_k));
        let error = told(hold.error_k, "°C");
        report.means.push(match hold.error_k.beyond_doubt() {
            true => format!("Held, it stands {error} from its target on the mean, beyond doubt."),
            false => format!("Held, it stands {error} from its target on the mean, which is not beyond doubt."),
        });
        let period = hold.period_s.map_or_else(
            || ", without a period that stands out".to_owned(),
            |period| format!(", every {}", words(period, 0.0, "s")),
        );
        report.means.push(format!("It swings by {} to either side{period}.", told(hold.amplitude_k, "°C")));
    }
    if let Some(rise) = heating.rise {
        report.means.push(format!(
            "From {:.0} °C towards {:.0} °C it heats up by {} in the middle of the way.",
            rise.from_c,
            rise.to_c,
            told(rise.rate_k_per_s, "°C/s")
        ));
    }
}

fn oddities(odd: &[Oddity], at: Option<&str>, report: &mut Report) {
    let jumps = odd.iter().filter(|odd| matches!(odd, Oddity::Jump { .. })).count();
    let cuts = odd.len() - jumps;
    for (what, count) in [(What::TemperatureJumps, jumps), (What::HeaterCutOuts, cuts)] {
        report.others.push(Figure::new(what.name(), at, counted(count), ""));
        report.measured.push(found_by(what, at, counted(count)));
    }
    let sentence = |odd: &Oddity| match *odd {
        Oddity::Jump { time_s, rate_k_per_s } => {
            format!("At {time_s} s the reading jumps by {rate_k_per_s:.0} °C/s, faster than a heater's mass lets it.")
        }
        Oddity::CutOut { time_s, fell_k } => {
            format!("From {time_s} s on it falls to {fell_k:.0} °C below a target that it had reached.")
        }
    };
    report.means.extend(odd.iter().take(TOLD).map(sentence));
    if TOLD < odd.len() {
        report.means.push(format!("{} more such places follow.", odd.len() - TOLD));
    }
    let isolated = "switched off, unplugged and cold";
    if 0 < jumps {
        report.next.push(format!(
            "Do not print on: with the machine {isolated}, look at the sensor's seat, its wires and their plug for what is \
             loose or broken."
        ));
    }
    if 0 < cuts {
        report.next.push(format!(
            "Do not print on: with the machine {isolated}, look at the heater's wires, plugs and terminals for what is loose, \
             dark or hot; mains parts are for a qualified person."
        ));
    }
}

fn compare(changed: Changed, at: Option<&str>, report: &mut Report) {
    let unknown = "Since the earlier log ";
    match changed.slower {
        Some(slower) => {
            let percent = times(slower, 100.0);
            report.measured.push(found_by(What::SlowerHeating, at, percent));
            report.others.push(Figure::new("heat-up slower than before", at, percent, "%"));
            let told = words(percent.value.abs(), percent.uncertainty, "%");
            let is_slower = 0.0 < slower.value;
            report.means.push(match (slower.beyond_doubt(), is_slower) {
                (false, _) => format!("{unknown}the rate of heating up has not changed beyond doubt ({told})."),
                (true, true) => format!("{unknown}it heats up slower by {told}, beyond doubt."),
                (true, false) => format!("{unknown}it heats up faster by {told}, beyond doubt."),
            });
            if slower.beyond_doubt() && is_slower {
                report.next.push(
                    "With the machine switched off, unplugged and cold, look at the heater's seat, its wires and terminals, \
                     and at what keeps the heat in: a sock, a fan that blows on it, the supply's voltage by a qualified person."
                        .to_owned(),
                );
            }
        }
        None => report.means.push(format!(
            "{unknown}nothing can be said of the rate of heating up: one of the two does not heat up, or between other \
             temperatures."
        )),
    }
    let each = [("its distance from the target", changed.error_k), ("its swing", changed.amplitude_k)];
    for (what, change) in each {
        let Some(change) = change.filter(Estimate::beyond_doubt) else { continue };
        let told = words(change.value, change.uncertainty, "°C");
        report.means.push(format!("{unknown}{what} changed by {told}, beyond doubt."));
    }
}

/// Measured and target over time, beside the earlier log.
fn chart(samples: &[HeatSample], before: Option<&[HeatSample]>) -> Chart {
    let line = |samples: &[HeatSample], value: fn(&HeatSample) -> f64| {
        let first = samples.first().map_or(0.0, |sample| sample.time_s);
        let every = samples.len().div_ceil(DRAWN).max(1);
        samples.iter().step_by(every).map(|sample| [sample.time_s - first, value(sample)]).collect::<Vec<_>>()
    };
    let mut layers = vec![
        Layer::Line(line(samples, |sample| sample.measured_c)),
        Layer::Dashed(line(samples, |sample| sample.target_c), "target"),
    ];
    layers.extend(before.map(|before| Layer::Dashed(line(before, |sample| sample.measured_c), "measured before")));
    Chart {
        title: "Temperature measured and asked for".to_owned(),
        says: "The temperature by time as it was measured, drawn as a whole line, and its target, dashed.".to_owned(),
        x: Axis { label: "time since the log began, s".to_owned(), scale: Scale::Linear },
        y: Axis { label: "temperature, °C".to_owned(), scale: Scale::Linear },
        layers,
    }
}
