//! `tallow life`: life-data statistics on a table, without a shop.

mod bearing;
mod believe;
mod below;
mod costs;
mod curve;
mod drift;
mod fit;
mod hidden;
mod look;
mod mtbf;
mod remain;
mod repairs;
mod replace;
mod source;
mod table;

pub(crate) use self::table::separator;

use std::path::Path;

use crate::chart::{Chart, scientific};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;
use crate::words;

pub(super) use costs::with_band;
pub(super) use curve::layers as curve_layers;
pub(super) use fit::paper;
pub(super) use replace::chart as replace_chart;
pub(crate) use table::lives_in;

pub(crate) fn life(context: &Context, args: &cli::Life) -> Result<(), Trouble> {
    match args {
        cli::Life::Fit(args) => fit::fit(context, args),
        cli::Life::Believe(args) => believe::believe(context, args),
        cli::Life::Curve(args) => curve::curve(context, args),
        cli::Life::Mtbf(args) => mtbf::mtbf(context, args),
        cli::Life::Remain(args) => remain::remain(context, args),
        cli::Life::Repairs(args) => repairs::repairs(context, args),
        cli::Life::Drift(args) => drift::drift(context, args),
        cli::Life::Replace(args) => replace::replace(context, args),
        cli::Life::Look(args) => look::look(context, args),
        cli::Life::Hidden(args) => hidden::hidden(context, args),
        cli::Life::Bearing(args) => bearing::bearing(context, args),
    }
}

/// Up to five significant digits; what is huge or tiny in powers of ten.
pub(crate) fn figure(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    if !(1e-4..1e7).contains(&value.abs()) {
        return scientific(value);
    }
    let places = (4 - value.abs().log10().floor() as i32).clamp(0, 12) as usize;
    let text = format!("{value:.places$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A share in per cent, with as many digits as it deserves; none rounds to all.
fn share(value: f64) -> String {
    match figure(value * 100.0).as_str() {
        "100" if value < 1.0 => NEARLY_ALL.to_owned(),
        figure => format!("{figure} %"),
    }
}

/// What is told of a chance that would round to certainty.
const NEARLY_ALL: &str = "more than 99.99 %";

/// A chance in whole per cent, which no rounding makes certain or impossible.
pub(super) fn chance(value: f64) -> String {
    match value {
        nearly if 0.9999 < nearly => NEARLY_ALL.to_owned(),
        high if 0.995 <= high => format!("{:.2} %", (high * 1e4).floor() / 100.0),
        low if 0.0 < low && low < 0.005 => "less than 1 %".to_owned(),
        value => words::percent(value),
    }
}

/// The p of a test: `p = 0.06`, `p < 0.001`.
pub(super) fn p_words(p: f64) -> String {
    match p {
        p if p < 0.001 => "p < 0.001".to_owned(),
        p if p < 0.1 => format!("p = {p:.3}"),
        p => format!("p = {p:.2}"),
    }
}

/// Failures among lives, both by count.
fn among(failures: f64, lives: f64) -> String {
    let failures = match failures {
        none if none <= 0.0 => "no failure".to_owned(),
        one if (one - 1.0).abs() < f64::EPSILON => "1 failure".to_owned(),
        many => format!("{} failures", figure(many)),
    };
    let life = if (lives - 1.0).abs() < f64::EPSILON { "life" } else { "lives" };
    format!("{failures} among {} {life}", figure(lives))
}

/// A law by its name, with its article.
fn a_law(family: life::Family) -> String {
    let article = if family == life::Family::Exponential { "An" } else { "A" };
    format!("{article} {} law", family.in_words())
}

/// An end of a band, or that there is none.
fn end(bound: Option<f64>) -> String {
    bound.filter(|bound| bound.is_finite()).map_or_else(|| "no bound".to_owned(), figure)
}

/// Draws a chart below an answer in text, and into a file if one is named; makes it for nothing else.
fn draw(context: &Context, chart: impl FnOnce() -> Result<Chart, Trouble>, svg: Option<&Path>) -> Result<(), Trouble> {
    if context.json && svg.is_none() {
        return Ok(());
    }
    let chart = chart()?;
    if !context.json {
        context.out.verbatim(&format!("\n{}", chart.text(context.out.width())))?;
    }
    save(context, &chart, svg)
}

/// Writes a chart into a file if one is named.
pub(super) fn save(context: &Context, chart: &Chart, svg: Option<&Path>) -> Result<(), Trouble> {
    let Some(path) = svg else { return Ok(()) };
    context.write(path, chart.svg())?;
    if context.json { Ok(()) } else { context.out.line(format!("\nThe drawing is in {}.", path.display())) }
}

fn refused(error: impl std::fmt::Display) -> Trouble {
    Trouble::from_text(&error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_rounding_makes_certain_or_impossible() {
        assert_eq!(
            [1.0, 0.999_95, 0.998_7, 0.42, 0.001].map(chance),
            ["more than 99.99 %", "more than 99.99 %", "99.87 %", "42 %", "less than 1 %"]
        );
        assert_eq!([0.999_999_99, 0.95, 1.0].map(share), ["more than 99.99 %", "95 %", "100 %"]);
        assert_eq!([1e-9, 0.0123, 0.1234].map(p_words), ["p < 0.001", "p = 0.012", "p = 0.12"]);
        assert_eq!([None, Some(f64::INFINITY), Some(2.0)].map(end), ["no bound", "no bound", "2"]);
    }

    #[test]
    fn huge_and_tiny_figures_stay_short() {
        assert_eq!(
            [1.234_56e15, 1e7, 0.000_012, 12.5, -3e9].map(figure),
            ["1.2346e15", "1e7", "1.2e-5", "12.5", "-3e9"]
        );
    }
}
