//! `tallow measure marks`: the spacing of marks on a print, and what on the machine comes back as often.

use std::f64::consts::TAU;

use signal::marks::{self, NamedPeriod, Point, Profile, Scale as PhotoScale};
use signal::{Estimate, SignalError};
use upkeep::build::{self, SignalWord};
use upkeep::fault::measured::What;
use upkeep::periods::{Line, Period, periods};

use super::file::Bytes;
use super::place::Place;
use super::report::{Figure, Fit, Report, found_by, words};
use super::typed::{self, Doubt};
use super::{Told, refused};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

/// What periods on prints are off by themselves, as a share: plastic shrinks, and steps for each mm are set for that or not.
/// Judgement, no source.
const TOLERANCE: f64 = 0.003;
/// What a photo's scale may be off, as a share. Judgement, no source.
const SCALE_DOUBT: f64 = 0.005;
/// What a length on a print may be off that was measured with a rule, mm. Judgement, no source.
const RULE_DOUBT_MM: f64 = 0.3;
/// How many fits are told in sentences.
const TOLD: usize = 4;

/// What is to be measured.
pub(crate) struct Input {
    pub(crate) marks: Marks,
    /// Whose print it is.
    pub(crate) place: Option<Place>,
    /// The axis along which the marks follow each other.
    pub(crate) along: Option<build::Axis>,
    /// The lines that were printed.
    pub(crate) line: Option<Line>,
}

/// Where the marks are seen.
pub(crate) enum Marks {
    /// Their positions along a line, mm.
    Positions(Vec<f64>),
    /// A photo, the two ends of a line in it, pixels, and its scale.
    Photo { photo: Bytes, from: [f64; 2], to: [f64; 2], scale: Option<PhotoScale> },
}

pub(super) async fn of_args(context: &Context, args: &cli::MeasureMarks) -> Result<Told, Trouble> {
    let marks = match &args.photo {
        None => Marks::Positions(args.positions.clone()),
        Some(photo) => Marks::Photo {
            scale: scale(args)?,
            from: typed::two("from", &args.from, "120,400")?,
            to: typed::two("to", &args.to, "1850,400")?,
            photo: Bytes::read(context, photo)?,
        },
    };
    let place = Place::of(context, &args.whose, &[], false).await?;
    if let (Some(place), None) = (&place, args.along) {
        let what = format!("it is not said along which axis of {} the marks follow each other", place.machine);
        return Err(Trouble::refused(what).help("say it: --along x, y or z"));
    }
    let axis = |along| match along {
        cli::Along::X => build::Axis::X,
        cli::Along::Y => build::Axis::Y,
        cli::Along::Z => build::Axis::Z,
    };
    let line = args.line.as_deref().map(typed::line).transpose()?;
    let input = Input { marks, place, along: args.along.map(axis), line };
    Ok(Told { report: measure(&input)?, place: input.place })
}

fn scale(args: &cli::MeasureMarks) -> Result<Option<PhotoScale>, Trouble> {
    let apart = args.apart.as_deref().map(|text| typed::amount("apart", text, typed::LENGTH, Doubt::Of(RULE_DOUBT_MM)));
    let per_pixel = args.mm_per_pixel.map(|mm| Estimate::new(mm, SCALE_DOUBT * mm.abs()).map_err(|e| refused(&e)));
    Ok(match (apart.transpose()?, per_pixel.transpose()?) {
        (Some(apart), _) => Some(PhotoScale::LengthMm(apart)),
        (None, per_pixel) => per_pixel.map(PhotoScale::MmPerPixel),
    })
}

/// The spacing of the marks, and what fits it.
///
/// # Errors
/// Marks without a common spacing, and a photo in which none can be measured, with its name.
pub(crate) fn measure(input: &Input) -> Result<Report, Trouble> {
    let (spacing, chart) = match &input.marks {
        Marks::Positions(positions) => {
            let spacing = marks::spacing(positions).map_err(|e| refused(&e))?;
            (spacing, of_positions(positions, spacing.value))
        }
        Marks::Photo { photo, from, to, scale } => {
            let (spacing, profile) = seen(photo, *from, *to, *scale).map_err(|error| unseen(photo, &error))?;
            (spacing, of_profile(&profile, spacing.value))
        }
    };
    let at = input.place.as_ref().and_then(|place| place.at.as_deref());
    let result = Figure::new("spacing of marks", at, spacing, "mm");
    let mut report = Report {
        title: input.place.as_ref().map_or_else(|| "Marks".to_owned(), |place| format!("Marks, {}", place.words())),
        means: vec![format!("The marks come back every {}.", result.words())],
        result,
        others: Vec::new(),
        measured: Vec::new(),
        fits: Vec::new(),
        cautions: vec![(SignalWord::Warning, cli::AT_BELTS)],
        next: Vec::new(),
        chart: Some(chart),
    };
    match input.place.as_ref().zip(input.along) {
        Some((place, along)) => {
            let all = periods(&place.build, along, input.line);
            held_against(&all, spacing, &mut report).map_err(|e| refused(&e))?;
            advise(place, input, &all, &mut report);
        }
        None => report.next.push(
            "To hear what on the machine comes back as often, name it and the axis: --machine MACHINE --along x."
                .to_owned(),
        ),
    }
    Ok(report)
}

fn seen(
    photo: &Bytes,
    [x0, y0]: [f64; 2],
    [x1, y1]: [f64; 2],
    scale: Option<PhotoScale>,
) -> Result<(Estimate, Profile), SignalError> {
    let profile = marks::profile(&photo.bytes, Point { x: x0, y: y0 }, Point { x: x1, y: y1 }, scale)?;
    Ok((marks::dominant_spacing(&profile)?, profile))
}

fn unseen(photo: &Bytes, error: &SignalError) -> Trouble {
    let trouble = photo.refused(error);
    match error {
        SignalError::NoScale => trouble.help("--mm-per-pixel 0.058, or --apart \"100 mm\""),
        _ => trouble,
    }
}

/// Holds the spacing against each period.
fn held_against(periods: &[Period], spacing: Estimate, report: &mut Report) -> Result<(), SignalError> {
    // Their places in the list are their names, so that each is found again.
    let named = |(place, period): (usize, &Period)| NamedPeriod {
        name: place.to_string(),
        period_mm: period.mm,
        harmonics: period.harmonics,
    };
    let named: Vec<NamedPeriod> = periods.iter().enumerate().map(named).collect();
    let of = |name: &str| name.parse::<usize>().ok().and_then(|place| periods.get(place));
    report.fits = marks::matches(spacing, &named, TOLERANCE)?
        .into_iter()
        .filter_map(|found| {
            let Period { name, at, mm, .. } = of(&found.name)?;
            let off = found.off_in_standard_uncertainties;
            Some(Fit { what: name, at: at.clone(), period_mm: *mm, harmonic: found.harmonic, off })
        })
        .collect();
    // Of each position the period that is nearest.
    let mut nearest: Vec<(&str, f64)> = Vec::new();
    for (period, found) in periods.iter().zip(marks::misfits(spacing, &named, TOLERANCE)?) {
        let Some(at) = period.at.as_deref() else { continue };
        let off = found.off_in_standard_uncertainties.abs();
        match nearest.iter_mut().find(|(other, _)| *other == at) {
            Some((_, least)) => *least = least.min(off),
            None => nearest.push((at, off)),
        }
    }
    // Told in standard uncertainties, it is uncertain by one.
    let misfit = |(at, off): (&str, f64)| {
        let found = Estimate { value: off, uncertainty: 1.0, degrees_of_freedom: spacing.degrees_of_freedom };
        found_by(What::MarkMisfit, Some(at), found)
    };
    report.measured = nearest.into_iter().map(misfit).collect();
    Ok(())
}

fn advise(place: &Place, input: &Input, all: &[Period], report: &mut Report) {
    let told = |fit: &Fit| {
        let at = fit.at.as_ref().map_or_else(String::new, |at| format!(" at {at}"));
        let harmonic = match fit.harmonic {
            1 => String::new(),
            harmonic => format!(", {harmonic} times in each"),
        };
        let off = fit.off.abs();
        format!(
            "It fits the {}{at}, every {}{harmonic}; it is {off:.1} standard uncertainties off.",
            fit.what,
            words(fit.period_mm, 0.0, "mm")
        )
    };
    report.means.extend(report.fits.iter().take(TOLD).map(told));
    if TOLD < report.fits.len() {
        report.means.push(format!("{} more fit less well.", report.fits.len() - TOLD));
    }
    if 1 < report.fits.len() {
        report.means.push("Where several fit, more marks or a longer stretch tell them apart.".to_owned());
    }
    if report.fits.is_empty() {
        let which =
            if all.is_empty() { "The build tells of no period" } else { "No period that the build tells of fits" };
        report.means.push(format!("{which} along this axis."));
    }
    if input.line.is_none() && input.along != Some(build::Axis::Z) {
        report.next.push(
            "To have turns of the drive gear compared too, give the printed lines: --line \"0.45 x 0.2 mm\"."
                .to_owned(),
        );
    }
    if let Some(at) = report.fits.first().and_then(|fit| fit.at.as_deref()) {
        report.next.push(format!("Look at {at} first."));
        report.next.extend(place.tasks(at).into_iter().map(|task| format!("{task}.")));
    }
}

/// Grey values along the line, and the wave of the spacing that was found in them.
fn of_profile(profile: &Profile, spacing_mm: f64) -> Chart {
    let step = profile.step_mm.value;
    let n = profile.grey.len() as f64;
    let mean = profile.grey.iter().sum::<f64>() / n;
    let turn = |i: usize| TAU * i as f64 * step / spacing_mm;
    let sum = |wave: fn(f64) -> f64| {
        2.0 / n * profile.grey.iter().enumerate().map(|(i, grey)| (grey - mean) * wave(turn(i))).sum::<f64>()
    };
    let (cosine, sine) = (sum(f64::cos), sum(f64::sin));
    let points = |value: &dyn Fn(usize) -> f64| (0..profile.grey.len()).map(|i| [i as f64 * step, value(i)]).collect();
    Chart {
        title: "Grey values along the line".to_owned(),
        says: format!("Grey values along the line in the photo, and a wave of {spacing_mm:.3} mm."),
        x: Axis { label: "along the line, mm".to_owned(), scale: Scale::Linear },
        y: Axis { label: "grey value, 0 black to 255 white".to_owned(), scale: Scale::Linear },
        layers: vec![
            Layer::Line(points(&|i| profile.grey[i])),
            Layer::Dashed(points(&|i| mean + cosine * turn(i).cos() + sine * turn(i).sin()), "the spacing found"),
        ],
    }
}

/// The marks by their numbers; one that was missed leaves a gap.
fn of_positions(positions: &[f64], spacing_mm: f64) -> Chart {
    let mut sorted = positions.to_vec();
    sorted.sort_by(f64::total_cmp);
    let first = sorted[0];
    let numbered = |&position: &f64| [((position - first) / spacing_mm).round(), position];
    Chart {
        title: "Marks by their numbers".to_owned(),
        says: format!("The marks' positions by their numbers; the spacing is {spacing_mm:.3} mm."),
        x: Axis { label: "number of the mark".to_owned(), scale: Scale::Linear },
        y: Axis { label: "position, mm".to_owned(), scale: Scale::Linear },
        layers: vec![Layer::Points(sorted.iter().map(numbered).collect())],
    }
}
