//! `tallow measure square`: how far two axes are from square.

use signal::{Estimate, SignalError, square};
use upkeep::build::SignalWord;
use upkeep::fault::measured::What;

use super::place::Place;
use super::report::{Figure, Report, found_by, size, words};
use super::{Told, refused, typed};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

/// What is to be measured.
pub(crate) struct Input {
    /// The diagonals of a printed square, mm; the first begins at the corner whose angle is told.
    pub(crate) diagonals_mm: [f64; 2],
    pub(crate) side_mm: f64,
    /// The standard uncertainty of each, mm.
    pub(crate) uncertainty_mm: f64,
    pub(crate) place: Option<Place>,
}

pub(super) async fn of_args(context: &Context, args: &cli::MeasureSquare) -> Result<Told, Trouble> {
    let input = Input {
        diagonals_mm: typed::two("diagonals", &args.diagonals, "141.2,141.6")?,
        side_mm: args.side,
        uncertainty_mm: args.calipers.uncertainty,
        place: Place::of(context, &args.whose, &["frame"], false).await?,
    };
    Ok(Told { report: measure(&input)?, place: input.place })
}

/// The angle that two axes are from square.
///
/// # Errors
/// Lengths that can't belong to one square.
pub(crate) fn measure(input: &Input) -> Result<Report, Trouble> {
    let found = reckoned(input).map_err(|error| match error {
        SignalError::OutOfRange { .. } => refused(&error).help("measure both diagonals and the side again"),
        error => refused(&error),
    })?;
    let at = input.place.as_ref().and_then(|place| place.at.as_deref());
    let angle = found.angle_deg;
    let result = Figure::new("out of square", at, size(angle), "degrees");
    let told = result.words();
    let lean = words(found.mm_per_100_mm.value.abs(), found.mm_per_100_mm.uncertainty, "mm");
    let (means, next) = if angle.beyond_doubt() {
        let way = if 0.0 < angle.value { "wider" } else { "narrower" };
        (
            format!(
                "The corner at which the first diagonal begins is {told} {way} than square, beyond doubt: {lean} on 100 mm."
            ),
            "Look at the frame's bolts and the ends of the gantry, and at the two belts' tension, before anything is set; then \
             print the square again, turned by 90°: what turns with it is the print's, not the machine's.",
        )
    } else {
        (format!("The {told} that it is off square are not beyond doubt."), "Leave the frame as it is.")
    };
    Ok(Report {
        title: input.place.as_ref().map_or_else(|| "Squareness".to_owned(), |p| format!("Squareness, {}", p.words())),
        measured: vec![found_by(What::OutOfSquare, at, size(angle))],
        result,
        others: vec![
            Figure::new("corner less 90°", None, angle, "degrees"),
            Figure::new("lean on 100 mm", None, found.mm_per_100_mm, "mm"),
        ],
        fits: Vec::new(),
        cautions: vec![(SignalWord::Warning, cli::AT_BELTS)],
        means: vec![means],
        next: vec![next.to_owned()],
        chart: None,
    })
}

fn reckoned(input: &Input) -> Result<square::Squareness, SignalError> {
    let [first, second] = input.diagonals_mm;
    let length = |mm| Estimate::new(mm, input.uncertainty_mm);
    square::squareness(length(first)?, length(second)?, length(input.side_mm)?)
}
