//! `tallow life fit`: a law fitted to lives.

use life::bayes::Posterior;
use life::{Bounds, Family, Fit, Level, Life, Of, compare};
use serde_json::{Value, json};

use super::source::fitted;
use super::{a_law, among, below, end, figure, refused, share, table};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

/// The share that has failed at a B10 life.
pub(super) const B10: f64 = 0.1;

/// With fewer failures profile bounds are too narrow (docs/LIVES.md measures it), and conditional ones stand beside them.
const FEW: f64 = 20.0;

/// Among more lives than this conditional bounds take seconds, and gain little over profile ones where so many were seen good.
const MANY: usize = 20_000;

pub(crate) fn fit(context: &Context, args: &cli::LifeFit) -> Result<(), Trouble> {
    let lives = table::lives(context, &args.table.file)?;
    let level = Level::new(args.table.level).map_err(refused)?;
    if let Some(shape) = args.shape
        && life::failures(&lives) <= 0.0
    {
        return below::below(context, args, &lives, shape, level);
    }
    let fit = fitted(&lives, args.model, args.shape)?;
    let is_rough = fit.failures() < FEW && lives.len() <= MANY;
    let few = if is_rough { fit.conditional() } else { None };
    // Only whoever names no law asks which.
    let laws = if args.model.is_none() && args.shape.is_none() { compare::families(&lives) } else { Vec::new() };
    let told = Told { fit: &fit, lives: &lives, level, few };
    let (parts, asked) = (told.parts()?, told.asked(args)?);
    if context.json {
        context.out.json(&told.shape(&parts, &asked, &laws))?;
    } else {
        told.say(context, &parts, &asked)?;
        say_laws(context, &lives, &laws)?;
    }
    super::draw(context, || told.chart(), args.table.svg.as_deref())
}

/// A fit with what its bounds rest on.
struct Told<'a> {
    fit: &'a Fit,
    lives: &'a [Life],
    level: Level,
    /// For the conditional bounds, where there are few failures.
    few: Option<Posterior>,
}

/// A parameter, or what follows from the parameters, with its bounds.
struct Part {
    name: String,
    value: f64,
    error: Option<f64>,
    wald: Option<[f64; 2]>,
    profile: Option<Bounds>,
    conditional: Option<[f64; 2]>,
}

/// What was asked beside the parameters.
struct Asked {
    /// Ages, with the share still good at each.
    survival: Vec<(f64, Part)>,
    /// Shares, with the age by which each has failed.
    quantiles: Vec<(f64, Part)>,
}

impl Told<'_> {
    fn part(&self, name: &str, value: f64, of: Of) -> Result<Part, Trouble> {
        let conditional = self.few.as_ref().map(|few| few.band(of, self.level)).transpose().map_err(refused)?;
        let profile = Some(self.fit.profile(of, self.level).map_err(refused)?);
        Ok(Part { name: name.to_owned(), value, error: None, wald: None, profile, conditional })
    }

    /// The parameters of the fit by the field's names, and the B10 life.
    fn parts(&self) -> Result<Vec<Part>, Trouble> {
        let (fit, law, level) = (self.fit, self.fit.law(), self.level);
        let parameter = |name, value, error, wald, of| -> Result<Part, Trouble> {
            Ok(Part { error: Some(error), wald: Some(wald), ..self.part(name, value, of)? })
        };
        let scale = |name| parameter(name, law.scale(), fit.scale_error(), fit.wald_scale(level), Of::Scale);
        let mut parts = match law.family() {
            Family::Weibull if self.is_assumed() => vec![assumed("shape", law.shape()), scale("scale")?],
            Family::Weibull => vec![
                parameter("shape", law.shape(), fit.shape_error(), fit.wald_shape(level), Of::Shape)?,
                scale("scale")?,
            ],
            Family::Exponential => vec![scale("mean")?],
            Family::Lognormal => vec![
                parameter("mu", law.location(), fit.location_error(), fit.wald_location(level), Of::Location)?,
                parameter("sigma", law.spread(), fit.spread_error(), fit.wald_spread(level), Of::Spread)?,
            ],
        };
        parts.push(Part { name: "b10".to_owned(), ..self.quantile(B10)? });
        Ok(parts)
    }

    /// Whether the shape was assumed, and only the scale fitted.
    fn is_assumed(&self) -> bool {
        self.fit.law().family() == Family::Weibull && self.fit.shape_error() == 0.0
    }

    fn quantile(&self, share: f64) -> Result<Part, Trouble> {
        let age = self.fit.law().quantile(share).map_err(refused)?;
        let error = Some(self.fit.quantile_error(share).map_err(refused)?);
        let wald = Some(self.fit.wald_quantile(share, self.level).map_err(refused)?);
        Ok(Part { error, wald, ..self.part(&quantile_name(share), age, Of::Quantile(share))? })
    }

    fn asked(&self, args: &cli::LifeFit) -> Result<Asked, Trouble> {
        let survival =
            |&age: &f64| Ok((age, self.part(&survival_name(age), self.fit.law().survival(age), Of::Survival(age))?));
        let quantile = |&share: &f64| Ok((share, self.quantile(share)?));
        Ok(Asked {
            survival: args.ages.iter().map(survival).collect::<Result<_, Trouble>>()?,
            quantiles: args.shares.iter().map(quantile).collect::<Result<_, Trouble>>()?,
        })
    }

    fn say(&self, context: &Context, parts: &[Part], asked: &Asked) -> Result<(), Trouble> {
        let (out, law) = (&context.out, self.fit.law());
        let lives = among(self.fit.failures(), life::total(self.lives));
        out.line(format!("{}, {lives}\n", a_law(law.family())))?;
        let quantiles = asked.quantiles.iter().map(|(_, part)| part);
        let all: Vec<&Part> =
            parts.iter().chain(asked.survival.iter().map(|(_, part)| part)).chain(quantiles).collect();
        out.table(&bounds_table(&all))?;
        let level = share(self.level.get());
        out.line("")?;
        out.prose(
            "",
            &format!(
                "The mean life is {}. The bounds hold {level}, by the profile of the likelihood.",
                figure(law.mean())
            ),
        )?;
        if self.is_assumed() {
            return out.prose("", "The shape is assumed: what is wrong with it is not in the bounds.");
        }
        if self.few.is_some() {
            out.line("")?;
            let few = format!(
                "With fewer than {FEW} failures those are too narrow. The conditional bounds hold {level} with few failures, too:"
            );
            out.prose("", &few)?;
            out.line("")?;
            out.table(&conditional_table(&all))?;
            out.line("")?;
        } else if self.fit.failures() < FEW {
            let few = format!(
                "With fewer than {FEW} failures those are too narrow. What is believed beforehand adds to few lives: tallow \
                 life believe FILE."
            );
            out.prose("", &few)?;
        }
        out.line(format!("Log-likelihood {:.4}, AIC {:.3}.", self.fit.log_likelihood(), self.fit.aic()))
    }

    fn shape(&self, parts: &[Part], asked: &Asked, laws: &[compare::Candidate]) -> Value {
        let law = self.fit.law();
        let mut shape = json!({
            "model": law.family().name(), "log_likelihood": self.fit.log_likelihood(),
            // A shape that is assumed is no parameter that was fitted, and its law not compared with others.
            "aic": (!self.is_assumed()).then(|| self.fit.aic()),
            "mean": law.mean(), "sd": law.std_dev(), "failures": self.fit.failures(), "lives": life::total(self.lives),
            "standard_error": {},
            "bounds": { "level": self.level.get(), "wald": {}, "profile": {}, "conditional": null, "one_sided": null },
            "laws": laws.iter().map(law_shape).collect::<Vec<_>>(),
            "at": asked.survival.iter().map(|(age, part)| json!({
                "age": age, "survival": part.value, "profile": ends(part.profile), "conditional": part.conditional,
                "one_sided": null,
            })).collect::<Vec<_>>(),
            "quantiles": asked.quantiles.iter().map(|(share, part)| json!({
                "share": share, "age": part.value, "wald": part.wald, "profile": ends(part.profile),
                "conditional": part.conditional, "one_sided": null,
            })).collect::<Vec<_>>(),
        });
        for part in parts {
            let name = part.name.as_str();
            shape[name] = json!(part.value);
            if name != "b10" {
                shape["standard_error"][name] = json!(part.error);
            }
            if part.profile.is_some() {
                shape["bounds"]["wald"][name] = json!(part.wald);
                shape["bounds"]["profile"][name] = ends(part.profile);
            }
            if let Some(conditional) = part.conditional {
                shape["bounds"]["conditional"][name] = json!(conditional);
            }
        }
        shape
    }

    /// Bounds of the share still good at an age: the conditional ones where there are few failures.
    fn survival_bounds(&self, age: f64) -> Result<Option<[f64; 2]>, Trouble> {
        if let Some(few) = &self.few {
            return few.band(Of::Survival(age), self.level).map(Some).map_err(refused);
        }
        let bounds = self.fit.profile(Of::Survival(age), self.level).map_err(refused)?;
        Ok(bounds.lower.zip(bounds.upper).map(|(lower, upper)| [lower, upper]))
    }

    /// Probability paper: the failures at their positions, the law and its bounds as lines.
    fn chart(&self) -> Result<Chart, Trouble> {
        let law = self.fit.law();
        // Lives that ended between looks have no place on paper, but the law has.
        let positions = life::plot_positions(self.lives).unwrap_or_default();
        let points = positions.iter().map(|position| [position.time, position.failed]).collect();
        let chances =
            (0..=40).map(|step| 10f64.powf(-2.0 + 1.996 * f64::from(step) / 40.0)).map(|chance| chance.min(0.99));
        let (mut line, mut band) = (Vec::new(), Vec::new());
        for chance in chances {
            let age = law.quantile(chance).map_err(refused)?;
            line.push([age, chance]);
            if let Some([lower, upper]) = self.survival_bounds(age)? {
                band.push([age, 1.0 - upper, 1.0 - lower]);
            }
        }
        let kind = if self.few.is_some() { "conditional bounds" } else { "bounds" };
        Ok(Chart {
            title: "Failed by age, on probability paper".to_owned(),
            says: format!(
                "Failures and the {} law through them, with {kind} that hold {}.",
                law.family().in_words(),
                share(self.level.get())
            ),
            x: Axis { label: "age".to_owned(), scale: Scale::Log },
            y: Axis { label: "share failed".to_owned(), scale: Scale::Weibull },
            layers: vec![Layer::Band(band, kind), Layer::Line(line), Layer::Points(points)],
        })
    }
}

/// Probability paper with a law that was fitted to lives; `few` tells the bounds where failures are few.
///
/// # Errors
/// Where the law has no bounds.
pub(in crate::commands) fn paper(
    fit: &Fit,
    lives: &[Life],
    level: Level,
    few: Option<Posterior>,
) -> Result<Chart, Trouble> {
    Told { fit, lives, level, few }.chart()
}

/// A parameter that was not fitted.
fn assumed(name: &str, value: f64) -> Part {
    Part { name: name.to_owned(), value, error: None, wald: None, profile: None, conditional: None }
}

/// The name of the share still good at an age.
pub(super) fn survival_name(age: f64) -> String {
    format!("good at {}", figure(age))
}

/// The name of the age by which a share has failed.
pub(super) fn quantile_name(share: f64) -> String {
    format!("{} fail by", super::share(share))
}

fn ends(bounds: Option<Bounds>) -> Value {
    bounds.map_or(Value::Null, |bounds| json!([bounds.lower, bounds.upper]))
}

fn bounds_table(parts: &[&Part]) -> Table {
    let columns = [
        ("", Align::Left),
        ("fit", Align::Right),
        ("error", Align::Right),
        ("from", Align::Right),
        ("to", Align::Right),
    ];
    let mut printed = Table::new(columns);
    for part in parts {
        let error = part.error.map_or_else(String::new, figure);
        let [from, to] = match part.profile {
            Some(bounds) => [bounds.lower, bounds.upper].map(end),
            None => ["assumed".to_owned(), String::new()],
        };
        printed.row([part.name.clone(), figure(part.value), error, from, to], Dress::Plain);
    }
    printed
}

fn conditional_table(parts: &[&Part]) -> Table {
    let mut printed = Table::new([("", Align::Left), ("from", Align::Right), ("to", Align::Right)]);
    for part in parts {
        if let Some([from, to]) = part.conditional {
            printed.row([part.name.clone(), figure(from), figure(to)], Dress::Plain);
        }
    }
    printed
}

/// A law with its share of the evidence.
fn law_shape(law: &compare::Candidate) -> Value {
    let aic = law.fit.as_ref().map(Fit::aic).ok();
    json!({ "model": law.family.name(), "aic": aic, "evidence": law.weight })
}

/// The laws beside each other, and whether age matters at all; nothing where one was named.
fn say_laws(context: &Context, lives: &[Life], laws: &[compare::Candidate]) -> Result<(), Trouble> {
    if laws.is_empty() {
        return Ok(());
    }
    let mut printed = Table::new([("law", Align::Left), ("AIC", Align::Right), ("evidence", Align::Right)]);
    for law in laws {
        let aic = law.fit.as_ref().map_or_else(|_| "no fit".to_owned(), |fit| format!("{:.3}", fit.aic()));
        printed.row([law.family.name().to_owned(), aic, super::chance(law.weight)], Dress::Plain);
    }
    context.out.line("")?;
    context.out.table(&printed)?;
    let Ok(test) = compare::age_matters(lives) else { return Ok(()) };
    let words = if test.chance < 0.05 { "Failures know age" } else { "That failures know age may be chance" };
    context.out.line("")?;
    context.out.prose(
        "",
        &format!(
            "The smaller the AIC, the better; evidence is its share (Akaike). {words} (exponential against Weibull: \
             {}). Another law: --model NAME.",
            super::p_words(test.chance)
        ),
    )
}
