//! `tallow measure`: what a recording, a photo, a log or a few figures tell of a machine.
//!
//! Each measurement is a module with a pure `measure`: bytes and figures in, a [`Report`] out, for the command line, for
//! programs and for pages. What is typed is read by `typed`, files by `file`, machines by `place`.

pub(crate) mod backlash;
pub(crate) mod belt;
pub(crate) mod evidence;
pub(crate) mod feed;
pub(crate) mod file;
pub(crate) mod heat;
mod keep;
pub(crate) mod marks;
pub(crate) mod pair;
pub(crate) mod place;
pub(crate) mod report;
pub(crate) mod shake;
pub(crate) mod show;
pub(crate) mod square;
mod typed;

use std::path::Path;

use self::place::Place;
use self::report::Report;
use crate::cli;
use crate::commands::life;
use crate::context::Context;
use crate::trouble::Trouble;

/// What a measurement tells, and of which machine.
pub(crate) struct Told {
    pub(crate) report: Report,
    pub(crate) place: Option<Place>,
}

/// Measures; where that is asked for records the result, and draws it into a file that was named.
pub(crate) async fn measure(context: &Context, what: &cli::Measure) -> Result<(), Trouble> {
    let Told { report, place } = told(context, what).await?;
    let (whose, svg) = options(what);
    let kept = keep::keep(context, &report, place.as_ref(), whose).await?;
    let answers = evidence::tell(context, &report, whose).await?;
    show::show(context, &report, kept.as_ref(), &answers)?;
    report.chart.as_ref().map_or(Ok(()), |chart| life::save(context, chart, svg))
}

/// Measures and records nothing.
///
/// # Errors
/// What can't be read or measured, and a machine or position that there is not.
pub(crate) async fn told(context: &Context, what: &cli::Measure) -> Result<Told, Trouble> {
    match what {
        cli::Measure::Belt(args) => belt::of_args(context, args).await,
        cli::Measure::Marks(args) => marks::of_args(context, args).await,
        cli::Measure::Feed(args) => feed::of_args(context, args).await,
        cli::Measure::Backlash(args) => backlash::of_args(context, args).await,
        cli::Measure::Square(args) => square::of_args(context, args).await,
        cli::Measure::Pair(args) => pair::of_args(context, args).await,
        cli::Measure::Shake(args) => shake::of_args(context, args).await,
        cli::Measure::Heat(args) => heat::of_args(context, args).await,
    }
}

/// Of which machine something is measured, and the file into which it is drawn.
fn options(what: &cli::Measure) -> (&cli::Whose, Option<&Path>) {
    match what {
        cli::Measure::Belt(args) => (&args.whose, args.svg.as_deref()),
        cli::Measure::Marks(args) => (&args.whose, args.svg.as_deref()),
        cli::Measure::Feed(args) => (&args.whose, None),
        cli::Measure::Backlash(args) => (&args.whose, None),
        cli::Measure::Square(args) => (&args.whose, None),
        cli::Measure::Pair(args) => (&args.whose, None),
        cli::Measure::Shake(args) => (&args.whose, args.svg.as_deref()),
        cli::Measure::Heat(args) => (&args.whose, args.svg.as_deref()),
    }
}

/// Why something can't be measured, and what to do, as the command line tells it.
fn refused(error: &signal::SignalError) -> Trouble {
    let text = error.to_string();
    match text.split_once("; ") {
        Some((what, help)) => Trouble::refused(what).help(help),
        None => Trouble::refused(text),
    }
}
