//! `tallow measure belt`: the tension of a belt by the tone of its plucked span, and what two belts differ by.

use signal::pluck::{self, Fundamental, SHORTEST_AFTER_S};
use signal::spectrum::welch;
use signal::wav::{self, Recording};
use signal::{Estimate, SignalError};
use upkeep::build::{Belt, SignalWord, TOOTHED_BELT};
use upkeep::fault::measured::What;

use super::file::Bytes;
use super::place::Place;
use super::report::{Figure, Report, found_by, size, times, words};
use super::typed::{self, Doubt};
use super::{Told, refused};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

/// What a span measured with a tape may be off, as a standard uncertainty, mm. Judgement, no source.
const SPAN_DOUBT_MM: f64 = 2.0;
/// The same of a belt's mass, as a share of it: what belts of one make differ by. Judgement, no source.
const MASS_DOUBT: f64 = 0.03;
/// Belts that differ by less are left as they are, as a share of their tension: about 3 % of the tone. Common practice, no
/// source.
const LEFT_ALONE: f64 = 0.06;
/// How much after the pluck is drawn, s.
const DRAWN_S: f64 = 1.2;

/// What is to be measured.
pub(crate) struct Input {
    /// The recording of a pluck, WAV.
    pub(crate) recording: Bytes,
    /// One of the other belt's.
    pub(crate) against: Option<Bytes>,
    /// The free length of the span, mm.
    pub(crate) span_mm: Option<Estimate>,
    /// The belt's mass per length, g/m.
    pub(crate) mass_g_per_m: Option<Estimate>,
    /// Whose belt it is; its build tells what is not given.
    pub(crate) place: Option<Place>,
}

pub(super) async fn of_args(context: &Context, args: &cli::MeasureBelt) -> Result<Told, Trouble> {
    let option = |option, text: &Option<String>, units, doubt| {
        text.as_ref().map(|text| typed::amount(option, text, units, doubt)).transpose()
    };
    let input = Input {
        span_mm: option("span", &args.span, typed::LENGTH, Doubt::Of(SPAN_DOUBT_MM))?,
        mass_g_per_m: option("mass", &args.mass, typed::MASS_PER_LENGTH, Doubt::Share(MASS_DOUBT))?,
        place: Place::of(context, &args.whose, &[TOOTHED_BELT], true).await?,
        recording: Bytes::read(context, &args.file)?,
        against: Bytes::read_some(context, args.against.as_deref())?,
    };
    Ok(Told { report: measure(&input)?, place: input.place })
}

/// A recording with the tone that is heard in it.
struct Heard<'a> {
    name: &'a str,
    recording: Recording,
    tone: Fundamental,
}

impl<'a> Heard<'a> {
    fn of(bytes: &'a Bytes) -> Result<Heard<'a>, Trouble> {
        let heard = || -> Result<(Recording, Fundamental), SignalError> {
            let recording = wav::read(&bytes.bytes, SHORTEST_AFTER_S)?;
            let tone = pluck::fundamental(&recording)?;
            Ok((recording, tone))
        };
        let (recording, tone) = heard().map_err(|error| bytes.refused(&error))?;
        Ok(Heard { name: &bytes.name, recording, tone })
    }
}

/// The tone of a plucked belt, its tension where span and mass are known, and what it differs by from another.
///
/// # Errors
/// A recording in which no tone is heard, with its name.
pub(crate) fn measure(input: &Input) -> Result<Report, Trouble> {
    let heard = Heard::of(&input.recording)?;
    let other = input.against.as_ref().map(Heard::of).transpose()?;
    let at = input.place.as_ref().and_then(|place| place.at.as_deref());
    let known = known(input);
    let tension = |heard: &Heard<'_>| match known {
        (Some(span), Some(mass)) => {
            pluck::tension(heard.tone.frequency_hz, span, mass).map(Some).map_err(|e| refused(&e))
        }
        _ => Ok(None),
    };
    let tone = Figure::new("belt tone", at, heard.tone.frequency_hz, "Hz");
    // Of one pluck one figure tells: tone and tension say the same.
    let mut measured = vec![found_by(What::BeltTone, at, heard.tone.frequency_hz)];
    let (result, mut others) = match tension(&heard)? {
        Some(pull) => {
            measured = vec![found_by(What::BeltTension, at, pull)];
            (Figure::new("belt tension", at, pull, "N"), vec![tone])
        }
        None => (tone, Vec::new()),
    };
    let mut report = Report {
        title: input.place.as_ref().map_or_else(|| "Belt".to_owned(), |place| format!("Belt, {}", place.words())),
        means: means(&heard, &result),
        result,
        others: Vec::new(),
        measured,
        fits: Vec::new(),
        cautions: vec![(SignalWord::Warning, cli::AT_BELTS)],
        next: missing(input, known).into_iter().collect(),
        chart: Some(chart(&heard, other.as_ref())),
    };
    match &other {
        Some(other) => {
            others.push(Figure::new("belt tone of the other", None, other.tone.frequency_hz, "Hz"));
            let pull = tension(other)?;
            others.extend(pull.map(|pull| Figure::new("belt tension of the other", None, pull, "N")));
            others.extend(compare(&heard, other, &mut report)?);
        }
        None => report.next.push(
            "Hold it against the maker's figure for this machine and this span, or keep it and compare the next one with \
             it: --keep --machine MACHINE."
                .to_owned(),
        ),
    }
    report.others = others;
    Ok(report)
}

/// Span and mass, as given or by the build.
fn known(input: &Input) -> (Option<Estimate>, Option<Estimate>) {
    let of_build = input.place.as_ref().and_then(Place::position).map_or_else(Belt::default, |position| position.belt);
    let stated =
        |value: Option<f64>, doubt: fn(f64) -> f64| value.and_then(|value| Estimate::new(value, doubt(value)).ok());
    (
        input.span_mm.or_else(|| stated(of_build.span_mm, |_| SPAN_DOUBT_MM)),
        input.mass_g_per_m.or_else(|| stated(of_build.mass_g_per_m, |mass| MASS_DOUBT * mass)),
    )
}

/// What must be known to tell the tension, and which option or key of a build gives it.
fn missing(input: &Input, known: (Option<Estimate>, Option<Estimate>)) -> Option<String> {
    let span = known.0.is_none().then_some(("the free length of the span", "--span \"420 mm\"", "belt_span_mm"));
    let mass = known.1.is_none().then_some(("the belt's mass per length", "--mass \"8.5 g/m\"", "belt_mass_g_per_m"));
    let lacking: Vec<_> = [span, mass].into_iter().flatten().collect();
    if lacking.is_empty() {
        return None;
    }
    let each = |which: fn(&(&'static str, &'static str, &'static str)) -> &'static str| {
        lacking.iter().map(which).collect::<Vec<_>>().join(" and ")
    };
    let (what, options, keys) = (each(|l| l.0), each(|l| l.1), each(|l| l.2));
    Some(match &input.place {
        Some(place) => format!(
            "For the tension give {what}, which the build of {} does not tell: {options}; or write {keys} to the belt's \
             position in the build.",
            place.machine
        ),
        None => format!(
            "For the tension give {what}: {options}; or name a machine whose build tells it: --machine MACHINE."
        ),
    })
}

fn means(heard: &Heard<'_>, result: &Figure) -> Vec<String> {
    let tone = heard.tone.frequency_hz;
    let mut means = vec![format!("The span sounds at {}.", words(tone.value, tone.uncertainty, "Hz"))];
    if result.unit == "N" {
        means.push(format!(
            "By the law of the string it pulls with {}. A belt is stiffer than a string, so the true pull is somewhat less, \
             most of all in short spans; comparisons of equal spans stand.",
            result.words()
        ));
    }
    means.extend(heard.tone.hum_hz.map(|hum| format!("Hum of the mains at {hum:.0} Hz was heard and told apart.")));
    means
}

/// What two belts differ by.
fn compare(heard: &Heard<'_>, other: &Heard<'_>, report: &mut Report) -> Result<Vec<Figure>, Trouble> {
    let share = pluck::tension_mismatch(heard.tone.frequency_hz, other.tone.frequency_hz).map_err(|e| refused(&e))?;
    let percent = times(size(share), 100.0);
    let at = report.result.at.clone();
    report.measured.push(found_by(What::BeltDifference, at.as_deref(), percent));
    let (tighter, slacker) = if 0.0 < share.value { (heard.name, other.name) } else { (other.name, heard.name) };
    let told = words(percent.value, percent.uncertainty, "%");
    if !share.beyond_doubt() {
        report.means.push(format!("The belts' tensions differ by {told}, which is not beyond doubt."));
        report.next.push("Leave the belts as they are.".to_owned());
    } else if share.value.abs() < LEFT_ALONE {
        report.means.push(format!(
            "The belt of {tighter} is tighter by {told} of the tension. That is beyond doubt, but less than the 6 % that are \
             usually left alone (common practice, no source)."
        ));
        report.next.push("Leave the belts as they are, unless the maker's manual asks for less.".to_owned());
    } else {
        report.means.push(format!(
            "The belt of {tighter} is tighter than that of {slacker} by {told} of the tension, beyond doubt."
        ));
        report.next.push(format!(
            "Bring the belt of {slacker} up, or let that of {tighter} down, towards the maker's figure, in quarter turns; \
             move the head round all corners by hand a few times, and measure both again."
        ));
    }
    Ok(vec![Figure::new("difference between belts", None, percent, "%")])
}

/// The spectrum after the pluck, with the tone and its harmonics.
fn chart(heard: &Heard<'_>, other: Option<&Heard<'_>>) -> Chart {
    let tone = heard.tone.frequency_hz.value;
    let highest = 5.5 * other.map_or(tone, |other| tone.max(other.tone.frequency_hz.value));
    let line = |heard: &Heard<'_>| {
        let Recording { samples, rate_hz } = &heard.recording;
        let from = ((heard.tone.onset_s * rate_hz) as usize).min(samples.len());
        let stretch = &samples[from..samples.len().min(from + (DRAWN_S * rate_hz) as usize)];
        // OK to draw nothing: what was measured is long enough for a spectrum.
        let density = welch(stretch, *rate_hz, stretch.len()).ok();
        density.map_or_else(Vec::new, |density| {
            let points = density.density.iter().enumerate().map(|(bin, value)| [bin as f64 * density.step_hz, *value]);
            points.filter(|[hz, _]| 0.0 < *hz && *hz <= highest).collect()
        })
    };
    let mut layers = match other {
        None => vec![Layer::Line(line(heard))],
        Some(other) => {
            vec![Layer::Dashed(line(heard), "first recording"), Layer::Dashed(line(other), "the other")]
        }
    };
    layers.push(Layer::Mark(tone, format!("{tone:.1} Hz")));
    layers.extend(other.map(|other| other.tone.frequency_hz.value).map(|hz| Layer::Mark(hz, format!("{hz:.1} Hz"))));
    layers.extend(heard.tone.hum_hz.map(|hum| Layer::Mark(hum, format!("hum, {hum:.0} Hz"))));
    Chart {
        title: "What is heard after the pluck".to_owned(),
        says: format!("The spectrum of the sound after the pluck; its tone is at {tone:.1} Hz."),
        x: Axis { label: "frequency, Hz".to_owned(), scale: Scale::Linear },
        y: Axis { label: "power density, full scale²/Hz".to_owned(), scale: Scale::Log },
        layers,
    }
}
