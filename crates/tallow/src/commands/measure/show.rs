//! A report on the screen, and as JSON.

use serde_json::{Value, json};

use upkeep::fault::Measured;

use super::report::{Figure, Fit, Report, digits};
use crate::commands::record::Recorded;
use crate::context::Context;
use crate::out::{Align, Dress, Out, Table};
use crate::trouble::Trouble;

pub(super) fn show(
    context: &Context,
    report: &Report,
    kept: Option<&Recorded>,
    told: &[String],
) -> Result<(), Trouble> {
    if context.json {
        return context.out.json(&shape(report, kept, told));
    }
    say(&context.out, report)?;
    if !told.is_empty() {
        context.out.line("")?;
        told.iter().try_for_each(|line| context.out.prose("", line))?;
    }
    let Some(kept) = kept else { return Ok(()) };
    context.out.line(format!("\nentry {}: {}", kept.entry, kept.said))?;
    kept.outside_words.as_ref().map_or(Ok(()), |words| context.out.prose("", words))
}

fn say(out: &Out, report: &Report) -> Result<(), Trouble> {
    out.dressed_line(&report.title, Dress::Bold)?;
    out.line("")?;
    let columns = [("", Align::Left), ("found", Align::Right), ("±", Align::Right), ("", Align::Left)];
    let mut table = Table::new(columns);
    for (place, figure) in std::iter::once(&report.result).chain(&report.others).enumerate() {
        let (value, doubt) = digits(figure.value, figure.uncertainty);
        let dress = if place == 0 { Dress::Bold } else { Dress::Plain };
        table.row([named(figure), value, doubt.unwrap_or_default(), figure.unit.to_owned()], dress);
    }
    out.table(&table)?;
    out.line("")?;
    report.means.iter().try_for_each(|sentence| out.prose("", sentence))?;
    if report.next.is_empty() {
        return Ok(());
    }
    out.line("")?;
    report.cautions.iter().try_for_each(|(word, text)| out.caution(*word, text))?;
    out.line("Do next:")?;
    report.next.iter().try_for_each(|sentence| out.prose("- ", sentence))
}

/// `belt tone, belts`.
pub(crate) fn named(figure: &Figure) -> String {
    figure.at.as_ref().map_or_else(|| figure.what.clone(), |at| format!("{}, {at}", figure.what))
}

fn shape(report: &Report, kept: Option<&Recorded>, told: &[String]) -> Value {
    let figure = |figure: &Figure| {
        let Figure { what, at, value, uncertainty, unit } = figure;
        json!({ "what": what, "at": at, "value": value, "uncertainty": uncertainty, "unit": unit })
    };
    let measured = |found: &Measured| {
        let Measured { what, at, value, uncertainty } = found;
        json!({ "what": what.name(), "at": at, "value": value, "uncertainty": uncertainty })
    };
    let fit = |fit: &Fit| {
        let Fit { what, at, period_mm, harmonic, off } = fit;
        json!({ "what": what, "at": at, "period_mm": period_mm, "harmonic": harmonic, "off": off })
    };
    let mut shape = figure(&report.result);
    shape["title"] = report.title.as_str().into();
    shape["others"] = report.others.iter().map(figure).collect();
    shape["measured"] = report.measured.iter().map(measured).collect();
    shape["fits"] = report.fits.iter().map(fit).collect();
    let cautions = report.cautions.iter().map(|(word, text)| json!({ "word": word.name(), "text": text }));
    shape["cautions"] = cautions.collect();
    shape["means"] = report.means.clone().into();
    shape["next"] = report.next.clone().into();
    shape["answers"] = told.into();
    shape["kept"] = kept.map_or(Value::Null, Recorded::shape);
    shape
}
