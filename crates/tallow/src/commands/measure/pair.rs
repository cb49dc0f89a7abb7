//! `tallow measure pair`: how differently the two belts of a CoreXY machine carry.

use motion::Kinematics;
use signal::{Estimate, SignalError, square};
use upkeep::build::{SignalWord, TOOTHED_BELT};

use super::place::Place;
use super::report::{Figure, Report, size, times};
use super::{Told, refused, typed};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

/// What is to be measured.
pub(crate) struct Input {
    /// The diagonals of a printed square, mm.
    pub(crate) diagonals_mm: [f64; 2],
    /// The standard uncertainty of each, mm.
    pub(crate) uncertainty_mm: f64,
    pub(crate) place: Option<Place>,
}

pub(super) async fn of_args(context: &Context, args: &cli::MeasurePair) -> Result<Told, Trouble> {
    let input = Input {
        diagonals_mm: typed::two("diagonals", &args.diagonals, "141.2,141.6")?,
        uncertainty_mm: args.calipers.uncertainty,
        place: Place::of(context, &args.whose, &[TOOTHED_BELT], true).await?,
    };
    Ok(Told { report: measure(&input)?, place: input.place })
}

/// What the belts carry differently. It is no sign of its own: it can't be told from a frame out of square.
///
/// # Errors
/// A machine whose belts do not work as a pair, and lengths that can't be.
pub(crate) fn measure(input: &Input) -> Result<Report, Trouble> {
    if let Some(place) = input.place.as_ref().filter(|place| place.build.machine.kinematics != Kinematics::CoreXy) {
        let what = format!("{} is no CoreXY machine, so its belts do not share the diagonals", place.machine);
        return Err(
            Trouble::refused(what).help("for its axes: tallow measure square --diagonals 141.2,141.6 --side 100")
        );
    }
    let share = reckoned(input).map_err(|e| refused(&e))?;
    let at = input.place.as_ref().and_then(|place| place.at.as_deref());
    let result = Figure::new("difference of the diagonals", at, size(times(share, 100.0)), "%");
    let told = result.words();
    let (means, next) = if share.beyond_doubt() {
        let which = if 0.0 < share.value { "first" } else { "second" };
        (
            vec![
                format!(
                    "The {which} diagonal is longer by {told}, beyond doubt: the belt that makes it carries further."
                ),
                "A frame out of square looks the same.".to_owned(),
            ],
            vec![
                "Measure the frame first: corner to corner, by hand, with the belts slack or off.".to_owned(),
                "Then compare the belts by their tones: tallow measure belt A.wav --against B.wav.".to_owned(),
            ],
        )
    } else {
        (
            vec![format!("The difference of {told} is not beyond doubt: both belts carry alike.")],
            vec!["Leave the belts as they are.".to_owned()],
        )
    };
    Ok(Report {
        title: input
            .place
            .as_ref()
            .map_or_else(|| "Pair of belts".to_owned(), |p| format!("Pair of belts, {}", p.words())),
        result,
        others: Vec::new(),
        measured: Vec::new(),
        fits: Vec::new(),
        cautions: vec![(SignalWord::Warning, cli::AT_BELTS)],
        means,
        next,
        chart: None,
    })
}

fn reckoned(input: &Input) -> Result<Estimate, SignalError> {
    let [first, second] = input.diagonals_mm;
    let length = |mm| Estimate::new(mm, input.uncertainty_mm);
    square::belt_mismatch(length(first)?, length(second)?)
}
