//! Recording a result as a reading.

use super::place::Place;
use super::report::{Figure, Report, digits};
use crate::cli::{self, Occasion};
use crate::commands::record::{Recorded, record_reading};
use crate::context::Context;
use crate::trouble::Trouble;

/// Records the result where that is asked for, by the same way as `tallow reading`. A reading is a size without a sign; the
/// uncertainty, and a sign that there was, stand in its note.
///
/// # Errors
/// Where it is not known at which position it was measured, and what `tallow reading` refuses.
pub(super) async fn keep(
    context: &Context,
    report: &Report,
    place: Option<&Place>,
    whose: &cli::Whose,
) -> Result<Option<Recorded>, Trouble> {
    let Some(place) = place.filter(|_| whose.keep) else { return Ok(None) };
    let at = place.at.as_ref().ok_or_else(|| {
        Trouble::refused("it is not said at which position that was measured")
            .help(format!("name it: --at POSITION; all of them: tallow machine show \"{}\"", place.machine))
    })?;
    let Figure { what, value, uncertainty, unit, .. } = &report.result;
    let occasion = Occasion { on: place.machine.clone(), when: whose.when.clone(), note: note(&report.result, whose) };
    let value = format!("{} {unit}", digits(value.abs(), *uncertainty).0);
    // The name is the measurement's own, however near it is to that of another reading there.
    record_reading(context, &occasion, at, what, &value, true).await.map(Some)
}

/// `± 0.4 N; by the new meter`.
fn note(result: &Figure, whose: &cli::Whose) -> String {
    let (value, doubt) = digits(result.value, result.uncertainty);
    let doubt = doubt.map(|doubt| format!("± {doubt} {}", result.unit).trim_end().to_owned());
    let sign = value.starts_with('-').then(|| format!("measured as {value} {}", result.unit).trim_end().to_owned());
    let own = Some(whose.note.trim().to_owned()).filter(|note| !note.is_empty());
    [doubt, sign, own].into_iter().flatten().collect::<Vec<_>>().join("; ")
}
