//! `tallow measure`: what a recording, a photo, a log or a few figures tell of a machine.
//!
//! Each measurement is a module with a pure `measure`: bytes and figures in, a [`Report`] out, for the command line, for
//! programs and for pages. What is typed is read by `typed`, files by `file`, machines by `place`.

pub(crate) mod backlash;
pub(crate) mod belt;
pub(crate) mod feed;
pub(crate) mod file;
pub(crate) mod heat;
mod keep;
pub(crate) mod marks;
pub(crate) mod pair;
pub(crate) mod place;
pub(crate) mod report;
pub(crate) mod shake;
mod show;
pub(crate) mod square;
mod typed;

use std::path::Path;

use self::place::Place;
use self::report::Report;
use crate::cli;
use crate::commands::life;
use crate::context::Context;
use crate::trouble::Trouble;

pub(crate) async fn measure(context: &Context, what: &cli::Measure) -> Result<(), Trouble> {
    match what {
        cli::Measure::Belt(args) => belt::belt(context, args).await,
        cli::Measure::Marks(args) => marks::marks(context, args).await,
        cli::Measure::Feed(args) => feed::feed(context, args).await,
        cli::Measure::Backlash(args) => backlash::backlash(context, args).await,
        cli::Measure::Square(args) => square::square(context, args).await,
        cli::Measure::Pair(args) => pair::pair(context, args).await,
        cli::Measure::Shake(args) => shake::shake(context, args).await,
        cli::Measure::Heat(args) => heat::heat(context, args).await,
    }
}

/// Records a result where that is asked for, shows it, and draws it into a file that was named.
async fn answer(
    context: &Context,
    report: &Report,
    place: Option<&Place>,
    whose: &cli::Whose,
    svg: Option<&Path>,
) -> Result<(), Trouble> {
    let kept = keep::keep(context, report, place, whose).await?;
    show::show(context, report, kept.as_ref())?;
    report.chart.as_ref().map_or(Ok(()), |chart| life::save(context, chart, svg))
}

/// Why something can't be measured, and what to do, as the command line tells it.
fn refused(error: &signal::SignalError) -> Trouble {
    let text = error.to_string();
    match text.split_once("; ") {
        Some((what, help)) => Trouble::refused(what).help(help),
        None => Trouble::refused(text),
    }
}
