//! Where a law of life comes from: fitted to a table, or told by its parameters.

use life::{Family, Fit, Law, Life, NoFit};
use serde_json::{Value, json};

use super::{a_law, among, figure, refused, table};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

/// A law with what it rests on.
pub(super) enum Source {
    /// Told by whoever asks.
    Told(Law),
    /// Fitted to this many lives.
    Fitted(Box<Fit>, f64),
}

impl Source {
    /// The law that the words of a command mean.
    ///
    /// # Errors
    /// Parameters that are no law's; a table that can't be read or tells no law.
    pub(super) fn of(context: &Context, args: &cli::LifeLaw) -> Result<Source, Trouble> {
        if let (Some(shape), Some(scale)) = (args.shape, args.scale) {
            return Ok(Source::Told(Law::weibull(shape, scale).map_err(refused)?));
        }
        let file = args.file.as_ref().ok_or_else(|| {
            Trouble::refused("there is neither a table nor a law").help("give a table, or --shape and --scale")
        })?;
        let lives = table::lives(context, file)?;
        let fit = fitted(&lives, args.model, args.shape)?;
        Ok(Source::Fitted(Box::new(fit), life::total(&lives)))
    }

    pub(super) fn law(&self) -> Law {
        match self {
            Source::Told(law) => *law,
            Source::Fitted(fit, _) => fit.law(),
        }
    }

    /// The law in a sentence, with what it rests on.
    pub(super) fn words(&self) -> String {
        let law = self.law();
        let parameters = match law.family() {
            Family::Weibull => format!("shape {}, scale {}", figure(law.shape()), figure(law.scale())),
            Family::Exponential => format!("mean {}", figure(law.mean())),
            Family::Lognormal => format!("mu {}, sigma {}", figure(law.location()), figure(law.spread())),
        };
        let from = match self {
            Source::Told(_) => String::new(),
            Source::Fitted(fit, lives) => format!(", fitted to {}", among(fit.failures(), *lives)),
        };
        format!("{}, {parameters}{from}.", a_law(law.family()))
    }

    /// The law as JSON.
    pub(super) fn shape(&self) -> Value {
        let law = self.law();
        let of = |families: &[Family], value: f64| families.contains(&law.family()).then_some(value);
        json!({
            "model": law.family().name(),
            "shape": of(&[Family::Weibull], law.shape()), "scale": of(&[Family::Weibull], law.scale()),
            "mean": law.mean(),
            "mu": of(&[Family::Lognormal], law.location()), "sigma": of(&[Family::Lognormal], law.spread()),
        })
    }
}

/// The law of that family that suits lives best, weibull if none is named; with a shape, the Weibull law of that shape.
pub(super) fn fitted(lives: &[Life], model: Option<cli::Model>, shape: Option<f64>) -> Result<Fit, Trouble> {
    let fit = match shape {
        Some(shape) => {
            checked_shape(shape)?;
            Fit::with_shape(lives, shape)
        }
        None => Fit::new(lives, family(model.unwrap_or(cli::Model::Weibull))),
    };
    fit.map_err(|none| no_fit(&none, lives))
}

/// Refuses a shape that no Weibull law has.
pub(super) fn checked_shape(shape: f64) -> Result<(), Trouble> {
    Law::weibull(shape, 1.0).map(|_| ()).map_err(refused)
}

fn family(model: cli::Model) -> Family {
    match model {
        cli::Model::Weibull => Family::Weibull,
        cli::Model::Exponential => Family::Exponential,
        cli::Model::Lognormal => Family::Lognormal,
    }
}

/// What to do where no law can be fitted.
fn no_fit(none: &NoFit, lives: &[Life]) -> Trouble {
    let watched: f64 = lives.iter().map(|life| life.count() * (life.end().last() - life.entry())).sum();
    let trouble = Trouble::refused(none.to_string());
    match none {
        NoFit::NoFailures => trouble
            .help(format!("a lower bound for the mean life: tallow life mtbf --time {watched} --failures 0"))
            .help("one by an assumed shape: tallow life fit FILE --shape 2")
            .help("with what is believed of the life: tallow life believe FILE --life-from AGE --life-to AGE"),
        NoFit::NeverGood => {
            trouble.help("with what is believed of the life: tallow life believe FILE --life-from AGE --life-to AGE")
        }
        NoFit::ShapeUnbounded { .. } | NoFit::Flat => trouble
            .help("a law with one parameter may do: --model exponential, or a shape that is assumed: --shape 2")
            .help("what common practice believes of the shape, and the lives with it: tallow life believe FILE"),
    }
}
