//! `tallow life believe`: a Weibull law for few failures from what is believed beforehand.

use life::bayes::{Belief, LifeBelief, NoPosterior, Posterior, Prior, Pull};
use life::{Law, Level, Life, Of};
use serde_json::{Value, json};

use super::fit::{B10, survival_name};
use super::{among, curve_layers, figure, refused, share, table};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

pub(crate) fn believe(context: &Context, args: &cli::LifeBelieve) -> Result<(), Trouble> {
    let lives = table::lives(context, &args.table.file)?;
    let level = Level::new(args.table.level).map_err(refused)?;
    let posterior = Posterior::new(&lives, prior(args)?).map_err(|none| no_posterior(&none))?;
    let parts = parts(&posterior, level)?;
    let at = args.ages.iter().map(|age| survival(&posterior, *age, level)).collect::<Result<Vec<_>, _>>()?;
    if context.json {
        context.out.json(&shape(&posterior, &lives, level, &parts, &at))?;
    } else {
        say(context, &posterior, &lives, level, [parts, at])?;
    }
    super::draw(context, || chart(&posterior, &lives, level), args.table.svg.as_deref())
}

/// What is believed by the words of the command.
fn prior(args: &cli::LifeBelieve) -> Result<Prior, Trouble> {
    let shape = between("shape", args.shape_from, args.shape_to, args.shape_chance)?;
    let life = match (args.life_from, args.life_to) {
        (Some(from), Some(to)) => {
            LifeBelief::Quantile { failed: args.life_share, belief: between("life", from, to, args.life_chance)? }
        }
        _ => LifeBelief::Flat,
    };
    Prior::new(shape, life).map_err(refused)
}

/// Failures by count; the sum of none is a zero with a minus.
fn failures(lives: &[Life]) -> f64 {
    life::failures(lives).abs()
}

fn between(what: &str, from: f64, to: f64, chance: f64) -> Result<Belief, Trouble> {
    if to <= from {
        let refusal = format!("the {what} can't be believed to lie between {from} and {to}");
        return Err(Trouble::refused(refusal).help(format!("--{what}-from is the smaller, --{what}-to the larger")));
    }
    Belief::between(from, to, Level::new(chance).map_err(refused)?).map_err(refused)
}

fn no_posterior(none: &NoPosterior) -> Trouble {
    let trouble = Trouble::refused(none.to_string());
    match none {
        NoPosterior::NoFailures | NoPosterior::NeverGood => {
            trouble.help("say between which ages half fail, as far as is believed: --life-from AGE --life-to AGE")
        }
        NoPosterior::Unbounded => trouble,
    }
}

/// Something believed, with its band.
struct Part {
    name: String,
    /// The age, where it is told of one.
    age: Option<f64>,
    /// The shape's mean, and the chance of a new part; the means of lives have no end, since shapes near nothing are not
    /// excluded.
    mean: Option<f64>,
    median: f64,
    band: [f64; 2],
}

fn part(posterior: &Posterior, name: &str, of: Of, level: Level) -> Result<Part, Trouble> {
    let (median, band) = (posterior.median(of).map_err(refused)?, posterior.band(of, level).map_err(refused)?);
    Ok(Part { name: name.to_owned(), age: None, mean: None, median, band })
}

fn parts(posterior: &Posterior, level: Level) -> Result<Vec<Part>, Trouble> {
    Ok(vec![
        Part { mean: Some(posterior.mean(Law::shape)), ..part(posterior, "shape", Of::Shape, level)? },
        part(posterior, "scale", Of::Scale, level)?,
        part(posterior, "b10", Of::Quantile(B10), level)?,
    ])
}

fn survival(posterior: &Posterior, age: f64, level: Level) -> Result<Part, Trouble> {
    let part = part(posterior, &survival_name(age), Of::Survival(age), level)?;
    Ok(Part { age: Some(age), mean: Some(posterior.survival(age)), ..part })
}

fn say(
    context: &Context,
    posterior: &Posterior,
    lives: &[Life],
    level: Level,
    parts: [Vec<Part>; 2],
) -> Result<(), Trouble> {
    let out = &context.out;
    let lives = among(failures(lives), life::total(lives));
    out.line(format!("What to believe of a Weibull law, {lives}\n"))?;
    let columns = ["mean", "median", "from", "to"].map(|name| (name, Align::Right));
    let [mean, median, from, to] = columns;
    let mut printed = Table::new([("", Align::Left), mean, median, from, to]);
    for part in parts.into_iter().flatten() {
        let [from, to] = part.band.map(figure);
        let mean = part.mean.map_or_else(String::new, figure);
        printed.row([part.name, mean, figure(part.median), from, to], Dress::Plain);
    }
    out.table(&printed)?;
    let words = format!(
        "Each lies between from and to with a chance of {}. The mean of what is good at an age is the chance of a new part.",
        share(level.get())
    );
    out.line("")?;
    out.prose("", &words)?;
    posterior.pull().map_or(Ok(()), |pull| out.prose("", &pull_words(&pull)))
}

/// How far what was believed before pulls.
fn pull_words(pull: &Pull) -> String {
    let [before, after] = pull.shape.map(figure);
    let shape = format!(
        "Before the lives the shape was believed to be about {before}, which counts as {:.1} failures; with them about \
         {after}.",
        pull.shape_counts_as
    );
    let life = match pull.b10.0 {
        None => "Of the life nothing was believed before.".to_owned(),
        Some(before) => format!(
            "A tenth was believed to fail by about {}, which counts as {:.1} failures; with the lives by about {}.",
            figure(before),
            pull.life_counts_as,
            figure(pull.b10.1)
        ),
    };
    format!("{shape} {life}")
}

fn shape(posterior: &Posterior, lives: &[Life], level: Level, parts: &[Part], at: &[Part]) -> Value {
    let told = |part: &Part| json!({ "mean": part.mean, "median": part.median, "band": part.band });
    let at = at
        .iter()
        .map(|part| json!({ "age": part.age, "survival": part.mean, "median": part.median, "band": part.band }));
    let pull = posterior.pull().map(|pull| {
        json!({
            "shape_before": pull.shape[0], "shape_after": pull.shape[1], "shape_counts_as": pull.shape_counts_as,
            "b10_before": pull.b10.0, "b10_after": pull.b10.1, "life_counts_as": pull.life_counts_as,
        })
    });
    let mut shape = json!({
        "level": level.get(), "failures": failures(lives), "lives": life::total(lives),
        "at": at.collect::<Vec<_>>(), "pull": pull,
    });
    parts.iter().for_each(|part| shape[part.name.as_str()] = told(part));
    shape
}

/// The chance to be good by age in its band, with the curve of the lives alone.
fn chart(posterior: &Posterior, lives: &[Life], level: Level) -> Result<Chart, Trouble> {
    let longest = lives.iter().map(|life| life.end().last()).fold(0.0, f64::max);
    // Few lives leave long ones possible, which would only press the rest into a corner.
    let far = posterior.quantile(0.9).map_err(refused)?.min(4.0 * longest);
    let (mut line, mut band) = (vec![[0.0, 1.0]], vec![[0.0, 1.0, 1.0]]);
    for age in (1..=40).map(|step| far * f64::from(step) / 40.0) {
        let [lower, upper] = posterior.band(Of::Survival(age), level).map_err(refused)?;
        band.push([age, lower, upper]);
        line.push([age, posterior.survival(age)]);
    }
    let steps = curve_layers(lives, level).into_iter().filter(|layer| matches!(layer, Layer::Steps(_)));
    Ok(Chart {
        title: "Still good, as believed".to_owned(),
        says: format!(
            "The chance to be good by age in a band that holds {}; the steps are the lives alone.",
            share(level.get())
        ),
        x: Axis { label: "age".to_owned(), scale: Scale::Linear },
        y: Axis { label: "chance to be good".to_owned(), scale: Scale::Linear },
        layers: [Layer::Band(band, "credible band"), Layer::Dashed(line, "as believed")]
            .into_iter()
            .chain(steps)
            .collect(),
    })
}
