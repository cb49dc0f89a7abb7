//! `tallow life bearing`: the rating life of a rolling bearing.

use life::bearing::{
    Basis, Edition, Rolling, hours_of_revolutions, hours_of_travel, linear_rating_life_km,
    rating_life_million_revolutions, rating_on_basis, reliability_factor,
};
use serde_json::json;

use super::{figure, refused, share};
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

/// A life in the bearing's own measure, and in hours where the speed is told.
#[derive(Clone, Copy, Debug)]
struct RatingLife {
    life: f64,
    hours: Option<f64>,
}

pub(crate) fn bearing(context: &Context, args: &cli::LifeBearing) -> Result<(), Trouble> {
    let rolling = if args.rollers { Rolling::Rollers } else { Rolling::Balls };
    let edition = match args.edition {
        cli::Edition::Y1990 => Edition::Y1990,
        cli::Edition::Y2007 => Edition::Y2007,
    };
    let basis = args.linear_per.map(basis);
    let l10 = match basis {
        Some(basis) => linear_rating_life_km(rolling, args.rating, basis, args.load),
        None => rating_life_million_revolutions(rolling, args.rating, args.load),
    };
    let ten = with_hours(args, l10.map_err(refused)?)?;
    let factor = reliability_factor(args.reliability, edition).map_err(refused)?;
    let asked = with_hours(args, ten.life * factor)?;
    let per_100 =
        basis.map(|basis| rating_on_basis(rolling, args.rating, basis, Basis::Km100)).transpose().map_err(refused)?;
    let unit = if basis.is_some() { "km" } else { "million revolutions" };
    if context.json {
        context.out.json(&json!({
            "unit": unit, "l10": ten.life, "l10_hours": ten.hours, "reliability": args.reliability, "a1": factor,
            "life": asked.life, "hours": asked.hours, "rating_per_100_km": per_100,
        }))?;
    } else {
        say(context, args, unit, [ten, asked], factor)?;
        if let (Some(Basis::Km50), Some(per_100)) = (basis, per_100) {
            context
                .out
                .prose("", &format!("Stated for 100 km of travel (ISO 14728-1) its rating is {}.", figure(per_100)))?;
        }
    }
    super::draw(context, || chart(ten.life, asked.life, unit, edition), args.svg.as_deref())
}

fn basis(per: cli::LinearPer) -> Basis {
    match per {
        cli::LinearPer::Km100 => Basis::Km100,
        cli::LinearPer::Km50 => Basis::Km50,
    }
}

fn with_hours(args: &cli::LifeBearing, life: f64) -> Result<RatingLife, Trouble> {
    let hours = match (args.speed, args.stroke, args.strokes) {
        (Some(speed), _, _) => Some(hours_of_revolutions(life, speed)),
        (None, Some(stroke), Some(strokes)) => Some(hours_of_travel(life, stroke, strokes)),
        _ => None,
    };
    Ok(RatingLife { life, hours: hours.transpose().map_err(refused)? })
}

fn say(
    context: &Context,
    args: &cli::LifeBearing,
    unit: &str,
    [ten, asked]: [RatingLife; 2],
    factor: f64,
) -> Result<(), Trouble> {
    let out = &context.out;
    let words = |life: RatingLife| {
        let hours = life.hours.map_or_else(String::new, |hours| format!(", {} h", figure(hours)));
        format!("{} {unit}{hours}", figure(life.life))
    };
    out.prose("", &format!("Nine in ten reach {} (L10).", words(ten)))?;
    if 0.9 < args.reliability {
        let reach = share(args.reliability);
        out.prose("", &format!("{reach} reach {} (a1 = {}).", words(asked), figure(factor)))?;
    }
    if 0.5 * args.rating < args.load {
        out.prose("", "The load is above half the rating, where the formula does not hold: the life will be shorter.")?;
    }
    out.prose(
        "",
        "Shock, dirt and lack of grease shorten it and are not in the formula; the maker's manual stands above it.",
    )
}

/// The share still good by life from nine in ten on, as the standard has it: below that it says nothing.
fn chart(l10: f64, asked: f64, unit: &str, edition: Edition) -> Result<Chart, Trouble> {
    let mut line = vec![[l10, 0.9]];
    for step in 1..=60 {
        // Evenly by the logarithm of the share failed, from 0.1 to 0.0005.
        let good = 1.0 - 0.1 * 0.005_f64.powf(f64::from(step) / 60.0);
        line.push([l10 * reliability_factor(good, edition).map_err(refused)?, good]);
    }
    Ok(Chart {
        title: "Still good".to_owned(),
        says: "The share still good by life, from nine in ten up, as ISO 281 has it.".to_owned(),
        x: Axis { label: unit.to_owned(), scale: Scale::Linear },
        y: Axis { label: "share still good".to_owned(), scale: Scale::Linear },
        layers: vec![Layer::Line(line), Layer::Mark(asked, "life".to_owned())],
    })
}
