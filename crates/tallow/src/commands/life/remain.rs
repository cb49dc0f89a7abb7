//! `tallow life remain`: how much longer a part lasts that is good at an age.

use life::Law;
use serde_json::json;

use super::source::Source;
use super::{figure, refused, share};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

/// The shares of which it is told when they have failed.
const SHARES: [f64; 3] = [0.1, 0.5, 0.9];

pub(crate) fn remain(context: &Context, args: &cli::LifeRemain) -> Result<(), Trouble> {
    let source = Source::of(context, &args.law)?;
    let law = source.law();
    let age = not_negative("age", args.age)?;
    let spans = args.spans.iter().map(|span| not_negative("span", *span)).collect::<Result<Vec<_>, _>>()?;
    let quantiles = SHARES.map(|share| law.residual_quantile(age, share));
    let [tenth, half, most] = quantiles;
    let quantiles = [tenth.map_err(refused)?, half.map_err(refused)?, most.map_err(refused)?];
    let fails_within = |span: f64| 1.0 - law.survival_given(age, span);
    if context.json {
        context.out.json(&json!({
            "law": source.shape(), "age": age, "survival": law.survival(age), "mean": law.mean_residual(age),
            "quantiles": SHARES.iter().zip(quantiles)
                .map(|(failed, span)| json!({ "share": failed, "span": span })).collect::<Vec<_>>(),
            "within": spans.iter()
                .map(|span| json!({ "span": span, "fails": fails_within(*span) })).collect::<Vec<_>>(),
        }))?;
    } else {
        let out = &context.out;
        out.prose("", &source.words())?;
        let words = format!(
            "{} of new ones reach age {}. One that is good there lasts {} longer on average.",
            share(law.survival(age)),
            figure(age),
            figure(law.mean_residual(age))
        );
        out.prose("", &words)?;
        out.line("")?;
        let mut printed = Table::new(["chance to fail", "within", "by age"].map(|name| (name, Align::Right)));
        let asked = spans.iter().map(|span| (fails_within(*span), *span));
        for (chance, span) in SHARES.into_iter().zip(quantiles).chain(asked) {
            printed.row([share(chance), figure(span), figure(age + span)], Dress::Plain);
        }
        out.table(&printed)?;
        if let Source::Fitted(..) = source {
            out.line("")?;
            out.prose(
                "",
                "What the lives leave open of the law is not in these figures: tallow life fit FILE tells it.",
            )?;
        }
    }
    super::draw(context, || Ok(chart(&law, age, quantiles[2])), args.svg.as_deref())
}

fn not_negative(what: &str, value: f64) -> Result<f64, Trouble> {
    match 0.0 <= value {
        true => Ok(value),
        false => Err(Trouble::refused(format!("the {what} is {value}, but can't be below 0"))),
    }
}

fn chart(law: &Law, age: f64, most: f64) -> Chart {
    let far = if 0.0 < most { 1.25 * most } else { 1.0 };
    let spans = (0..=60).map(|step| far * f64::from(step) / 60.0);
    Chart {
        title: "Still good, from that age on".to_owned(),
        says: "The chance to be good by age for one that is good at the age where the line starts.".to_owned(),
        x: Axis { label: "age".to_owned(), scale: Scale::Linear },
        y: Axis { label: "chance to be good".to_owned(), scale: Scale::Linear },
        layers: vec![Layer::Line(spans.map(|span| [age + span, law.survival_given(age, span)]).collect())],
    }
}
