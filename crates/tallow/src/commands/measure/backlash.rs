//! `tallow measure backlash`: the lost motion of an axis.

use signal::square;
use upkeep::build::SignalWord;
use upkeep::fault::measured::What;

use super::place::Place;
use super::report::{Figure, Report, found_by, size};
use super::{Told, refused};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

/// What is to be measured.
pub(crate) struct Input {
    /// Readings of positions reached from below, mm.
    pub(crate) up_mm: Vec<f64>,
    /// Those reached from above, mm.
    pub(crate) down_mm: Vec<f64>,
    pub(crate) place: Option<Place>,
}

pub(super) async fn of_args(context: &Context, args: &cli::MeasureBacklash) -> Result<Told, Trouble> {
    let place = Place::of(context, &args.whose, &[], false).await?;
    let input = Input { up_mm: args.up.clone(), down_mm: args.down.clone(), place };
    Ok(Told { report: measure(&input)?, place: input.place })
}

/// The backlash.
///
/// # Errors
/// Fewer than two readings from either side.
pub(crate) fn measure(input: &Input) -> Result<Report, Trouble> {
    let found = square::backlash(&input.up_mm, &input.down_mm).map_err(|e| refused(&e))?;
    let at = input.place.as_ref().and_then(|place| place.at.as_deref());
    let result = Figure::new("backlash", at, size(found), "mm");
    let told = result.words();
    let (means, next) = if found.beyond_doubt() {
        let side = if 0.0 < found.value { "higher" } else { "lower" };
        (
            format!("The axis loses {told} when it turns round, beyond doubt; positions from above read {side}."),
            "Look for what gives way: the belt's tension and its clamps, the pulley's set screw, the nut of a screw, play in \
             the guide. Mend one, and measure again.",
        )
    } else {
        (
            format!("The difference of {told} is not beyond doubt: no backlash is shown."),
            "Leave it; if prints show it, take more readings from each side.",
        )
    };
    Ok(Report {
        title: input
            .place
            .as_ref()
            .map_or_else(|| "Backlash".to_owned(), |place| format!("Backlash, {}", place.words())),
        measured: vec![found_by(What::Backlash, at, size(found))],
        result,
        others: Vec::new(),
        fits: Vec::new(),
        cautions: vec![(SignalWord::Caution, cli::AT_GAUGE), (SignalWord::Warning, cli::AT_BELTS)],
        means: vec![means],
        next: vec![next.to_owned()],
        chart: None,
    })
}
