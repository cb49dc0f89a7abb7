//! `tallow measure feed`: filament asked for and used, and whether the loss grows with the flow.

use signal::Estimate;
use signal::feed::{self, FlowTrial, Loss};
use upkeep::Materials;
use upkeep::build::SignalWord;
use upkeep::fault::measured::What;

use super::place::Place;
use super::report::{Figure, Report, found_by, times, words};
use super::typed::{self, Doubt};
use super::{Told, refused};
use crate::cli;
use crate::context::{self, Context};
use crate::printed;
use crate::trouble::Trouble;

/// What a length may be off that was measured to a mark on the filament, as a standard uncertainty, mm. Judgement, no source.
const LENGTH_DOUBT_MM: f64 = 0.5;
/// The same of a balance, g. Judgement, no source.
const MASS_DOUBT_G: f64 = 0.01;
/// The same of a filament's diameter, mm. Judgement, no source.
const DIAMETER_DOUBT_MM: f64 = 0.02;
/// The same of a density, as a share. Judgement, no source.
const DENSITY_DOUBT: f64 = 0.01;
/// The diameter of filament that nobody tells, mm.
const USUAL_DIAMETER_MM: f64 = 1.75;

/// What is to be measured.
pub(crate) struct Input {
    pub(crate) trials: Vec<Trial>,
    /// The steps for each mm that are set.
    pub(crate) steps_per_mm: Option<f64>,
    pub(crate) place: Option<Place>,
}

/// Filament asked for and used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Trial {
    pub(crate) asked_mm: f64,
    pub(crate) used_mm: Estimate,
    /// The flow, where it is known.
    pub(crate) flow_mm3_per_s: Option<f64>,
}

pub(super) async fn of_args(context: &Context, args: &cli::MeasureFeed) -> Result<Told, Trouble> {
    let place = Place::of(context, &args.whose, &["extruder gear"], false).await?;
    let input = Input { trials: trials(context, args, place.as_ref()).await?, steps_per_mm: args.steps, place };
    Ok(Told { report: measure(&input)?, place: input.place })
}

async fn trials(context: &Context, args: &cli::MeasureFeed, place: Option<&Place>) -> Result<Vec<Trial>, Trouble> {
    let length = |option| move |text: &String| typed::amount(option, text, typed::LENGTH, Doubt::Of(LENGTH_DOUBT_MM));
    let asked = args.asked.iter().map(length("asked")).collect::<Result<Vec<_>, _>>()?;
    let used = match args.weighed.is_empty() {
        true => args.used.iter().map(length("used")).collect::<Result<Vec<_>, _>>()?,
        false => weighed(context, args, place).await?,
    };
    let count = used.len();
    let fits = |option: &str, has: usize| {
        Trouble::refused(format!("--{option} is given {has} times for {count} trials"))
            .help(format!("give --{option} for each of them, in their order"))
    };
    if asked.len() != 1 && asked.len() != count {
        return Err(fits("asked", asked.len()).help("or once, where all asked for the same"));
    }
    if !args.flow.is_empty() && args.flow.len() != count {
        return Err(fits("flow", args.flow.len()));
    }
    let trial = |(place, used_mm): (usize, Estimate)| Trial {
        asked_mm: asked[place.min(asked.len() - 1)].value,
        used_mm,
        flow_mm3_per_s: args.flow.get(place).copied(),
    };
    Ok(used.into_iter().enumerate().map(trial).collect())
}

/// The lengths of filament that were weighed.
async fn weighed(context: &Context, args: &cli::MeasureFeed, place: Option<&Place>) -> Result<Vec<Estimate>, Trouble> {
    let density = density(context, args).await?;
    let density = Estimate::new(density, DENSITY_DOUBT * density.abs()).map_err(|e| refused(&e))?;
    let diameter = match &args.diameter {
        Some(text) => typed::amount("diameter", text, typed::LENGTH, Doubt::Of(DIAMETER_DOUBT_MM))?,
        None => {
            let stated = place.map_or(USUAL_DIAMETER_MM, |place| place.build.machine.drive.filament_diameter);
            Estimate::new(stated, DIAMETER_DOUBT_MM).map_err(|e| refused(&e))?
        }
    };
    let length = |text: &String| {
        let mass = typed::amount("weighed", text, typed::MASS, Doubt::Of(MASS_DOUBT_G))?;
        feed::length_of_mass(mass, diameter, density).map_err(|e| refused(&e))
    };
    args.weighed.iter().map(length).collect()
}

/// The density of what was weighed, g/cm³.
async fn density(context: &Context, args: &cli::MeasureFeed) -> Result<f64, Trouble> {
    let Some(name) = &args.material else {
        return args.density.ok_or_else(|| {
            Trouble::refused("it is not said what was weighed")
                .help("say it: --material PLA, or its density in g/cm³: --density 1.24")
        });
    };
    let materials = match context.open_if_there().await? {
        Some(ledger) => context::materials(&ledger).await?,
        None => Materials::with(Vec::new()),
    };
    Ok(printed::known(name, &materials)?.density_kg_m3 / 1000.0)
}

/// What falls short of what was asked for, and why.
///
/// # Errors
/// Lengths or flows that can't be.
pub(crate) fn measure(input: &Input) -> Result<Report, Trouble> {
    let (ratio, growth) = reckoned(&input.trials).map_err(|e| refused(&e))?;
    let at = input.place.as_ref().and_then(|place| place.at.as_deref());
    let short = times(Estimate { value: 1.0 - ratio.value, ..ratio }, 100.0);
    let result = Figure::new("filament shortfall", at, short, "%");
    let mut report = Report {
        title: input.place.as_ref().map_or_else(|| "Feed".to_owned(), |place| format!("Feed, {}", place.words())),
        means: vec![short_words(short)],
        measured: vec![found_by(What::Shortfall, at, short)],
        others: vec![Figure::new("used of what was asked for", at, times(ratio, 100.0), "%")],
        result,
        fits: Vec::new(),
        cautions: vec![(SignalWord::Warning, cli::AT_NOZZLE)],
        next: Vec::new(),
        chart: None,
    };
    if let Some(line) = growth {
        let slope = line.line.slope;
        let deviations = if 0.0 < slope.uncertainty { slope.value / slope.uncertainty } else { 0.0 };
        let found = Estimate { value: deviations, uncertainty: 1.0, degrees_of_freedom: slope.degrees_of_freedom };
        report.measured.push(found_by(What::ShortfallGrowth, at, found));
        report.others.push(Figure::new("shortfall for each mm³/s more", at, times(slope, 100.0), "%"));
        by_flow(line.loss, &mut report);
    } else if short.beyond_doubt() {
        report.next.push(
            "To tell a slipping drive or too little heat from wrong steps, feed the same length at four flows or more and \
             give each: --flow."
                .to_owned(),
        );
    } else {
        report.next.push("Leave the steps as they are.".to_owned());
    }
    let grows = growth.is_some_and(|line| line.loss == Loss::GrowsWithFlow);
    if short.beyond_doubt() && !grows {
        correct(ratio, input.steps_per_mm, &mut report);
    }
    Ok(report)
}

/// Used over asked for, and the loss over the flow where at least four trials tell it.
fn reckoned(trials: &[Trial]) -> Result<(Estimate, Option<feed::LossLine>), signal::SignalError> {
    let ratios = trials.iter().map(|t| feed::flow_ratio(t.asked_mm, t.used_mm)).collect::<Result<Vec<_>, _>>()?;
    let ratio = match ratios[..] {
        [only] => only,
        _ => {
            let values: Vec<f64> = ratios.iter().map(|ratio| ratio.value).collect();
            let mean = Estimate::mean("trials", &values)?;
            // What each length may be off stays, however well they agree.
            let each = ratios.iter().map(|ratio| ratio.uncertainty.powi(2)).sum::<f64>().sqrt() / values.len() as f64;
            if mean.uncertainty < each { Estimate::new(mean.value, each)? } else { mean }
        }
    };
    let with_flow = |trial: &Trial| {
        let Trial { asked_mm, used_mm, flow_mm3_per_s } = *trial;
        Some(FlowTrial { flow_mm3_per_s: flow_mm3_per_s?, asked_mm, used_mm: used_mm.value })
    };
    let flows: Option<Vec<FlowTrial>> = trials.iter().map(with_flow).collect();
    let growth = flows.filter(|flows| 4 <= flows.len()).map(|flows| feed::loss(&flows)).transpose()?;
    Ok((ratio, growth))
}

fn short_words(short: Estimate) -> String {
    let told = words(short.value.abs(), short.uncertainty, "%");
    match (short.beyond_doubt(), 0.0 < short.value) {
        (false, _) => format!("What was used differs by {told} from what was asked for, which is not beyond doubt."),
        (true, true) => format!("{told} of what was asked for did not come, beyond doubt."),
        (true, false) => format!("{told} more than was asked for came, beyond doubt."),
    }
}

fn by_flow(loss: Loss, report: &mut Report) {
    let (means, next) = match loss {
        Loss::GrowsWithFlow => (
            "The loss grows with the flow, beyond doubt: the drive slips, or the heat does not melt as much.",
            "Look at the drive gear for ground filament and at its pressure, then at the nozzle for a blockage and at its \
             temperature; or print slower. Steps are not what is wrong.",
        ),
        Loss::Constant => (
            "The loss is the same at each flow: the steps for each mm are wrong, or the filament's or the drive gear's \
             diameter.",
            "Measure the filament's diameter at several places, then correct the steps.",
        ),
        Loss::None => ("No loss is beyond doubt at these flows.", "Leave the steps as they are."),
    };
    report.means.push(means.to_owned());
    report.next.push(next.to_owned());
}

/// Tells the steps or the flow that would be right.
fn correct(ratio: Estimate, steps: Option<f64>, report: &mut Report) {
    if ratio.value <= 0.0 {
        report.next.push("Nothing was fed: look whether the drive gear turns and grips at all.".to_owned());
        return;
    }
    // u(1/r) = u(r)/r² (GUM 5.1.2).
    let inverse = Estimate { value: 1.0 / ratio.value, uncertainty: ratio.uncertainty / ratio.value.powi(2), ..ratio };
    let flow = times(inverse, 100.0);
    match steps {
        Some(steps) => {
            let right = times(inverse, steps);
            report.others.push(Figure::new("right steps", None, right, "1/mm"));
            report.next.push(format!(
                "If the drive grips well, set {} steps for each mm in place of {steps}, and measure again.",
                words(right.value, right.uncertainty, "")
            ));
        }
        None => report.next.push(format!(
            "If the drive grips well, set the flow to {}, or give the steps that are set, to hear the right ones: --steps.",
            words(flow.value, flow.uncertainty, "%")
        )),
    }
    report.others.push(Figure::new("right flow", None, flow, "%"));
}
