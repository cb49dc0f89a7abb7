//! Rating lives of rolling bearings.
//!
//! ISO 281:2007, Rolling bearings — Dynamic load ratings and rating life; ISO 14728-1:2017, Linear motion rolling bearings —
//! Part 1: Dynamic load ratings and rating life. A rating life is the one that nine in ten reach: their B10. The formulas
//! take plain loads; they do not know of shock, moment load, dirt or starved lubrication, and do not hold where the load is
//! above half the rating (from memory).

use crate::{Error, Law, positive};

/// What rolls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rolling {
    /// Balls: p = 3.
    Balls,
    /// Rollers: p = 10/3.
    Rollers,
}

impl Rolling {
    /// The exponent p of the load.
    pub fn exponent(self) -> f64 {
        match self {
            Rolling::Balls => 3.0,
            Rolling::Rollers => 10.0 / 3.0,
        }
    }

    /// The Weibull shape of life with which Lundberg & Palmgren (1947), Acta Polytechnica 7, derived load ratings: 10/9 for
    /// point contact, 9/8 for line contact.
    pub fn lundberg_palmgren_shape(self) -> f64 {
        match self {
            Rolling::Balls => 10.0 / 9.0,
            Rolling::Rollers => 9.0 / 8.0,
        }
    }
}

/// The Weibull shape behind the factors a1 of ISO 281 (ISO/TR 1281-2).
pub const ISO_281_SHAPE: f64 = 1.5;

/// The basic rating life in millions of revolutions of a bearing with that basic dynamic load rating under that equivalent
/// dynamic load, both in the same unit.
///
/// # Formula
/// L10 = (C/P)^p (ISO 281).
///
/// # Errors
/// A rating or load that is not positive and finite.
pub fn rating_life_million_revolutions(rolling: Rolling, rating: f64, load: f64) -> Result<f64, Error> {
    let (rating, load) = (positive("the load rating", rating)?, positive("the load", load)?);
    Ok((rating / load).powf(rolling.exponent()))
}

/// Hours that millions of revolutions take at a steady speed: 10⁶·L/(60·n).
///
/// # Errors
/// A life or speed that is not positive and finite.
pub fn hours_of_revolutions(million_revolutions: f64, revolutions_per_minute: f64) -> Result<f64, Error> {
    let life = positive("the life in millions of revolutions", million_revolutions)?;
    Ok(1e6 * life / (60.0 * positive("the speed in revolutions per minute", revolutions_per_minute)?))
}

/// The travel for which a linear bearing's load rating is stated. Mixing them up doubles or halves the life.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Basis {
    /// 100 km, the one of ISO 14728-1.
    Km100,
    /// 50 km, of many catalogues.
    Km50,
}

impl Basis {
    /// Its travel in kilometres.
    pub fn km(self) -> f64 {
        match self {
            Basis::Km100 => 100.0,
            Basis::Km50 => 50.0,
        }
    }
}

/// A linear bearing's basic dynamic load rating, restated for another travel.
///
/// # Formula
/// (C50/P)^p·50 km = (C100/P)^p·100 km, so C50 = C100·2^(1/p): 1.26 times for balls.
///
/// # Errors
/// A rating that is not positive and finite.
pub fn rating_on_basis(rolling: Rolling, rating: f64, from: Basis, to: Basis) -> Result<f64, Error> {
    Ok(positive("the load rating", rating)? * (from.km() / to.km()).powf(1.0 / rolling.exponent()))
}

/// The basic rating life in kilometres of travel of a linear bearing with that rating, stated on that basis, under that
/// equivalent load in the same unit.
///
/// # Formula
/// L10 = (C/P)^p·100 km (ISO 14728-1), or 50 km on that basis.
///
/// # Errors
/// A rating or load that is not positive and finite.
pub fn linear_rating_life_km(rolling: Rolling, rating: f64, basis: Basis, load: f64) -> Result<f64, Error> {
    Ok(basis.km() * rating_life_million_revolutions(rolling, rating, load)?)
}

/// Hours that a travel takes to and fro over a stroke: a double stroke is there and back.
///
/// # Errors
/// A life, stroke or rate that is not positive and finite.
pub fn hours_of_travel(km: f64, stroke_m: f64, double_strokes_per_minute: f64) -> Result<f64, Error> {
    let metres = 1e3 * positive("the travel in kilometres", km)?;
    let stroke = positive("the stroke in metres", stroke_m)?;
    Ok(metres / (2.0 * stroke * positive("the rate in double strokes per minute", double_strokes_per_minute)? * 60.0))
}

/// The edition of ISO 281 by whose table lives are stated for reliabilities above 90 %.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Edition {
    /// ISO 281:1990: a two-parameter Weibull law.
    Y1990,
    /// ISO 281:2007: a three-parameter law that has no failures before 5 % of the rating life.
    Y2007,
}

/// The factor a1 by which a rating life shrinks to the one that a share `reliability` reach.
///
/// # Formula
/// With x = (ln R/ln 0.9)^(1/1.5): x (1990), 0.95·x + 0.05 (2007; ISO/TR 1281-2). To two decimals they give the tables.
///
/// # Errors
/// A reliability below 0.9, where the tables begin, or not below 1.
pub fn reliability_factor(reliability: f64, edition: Edition) -> Result<f64, Error> {
    if !(0.9..1.0).contains(&reliability) {
        return Err(Error::OutOfRange { what: "the reliability", got: reliability, from: 0.9, to: 1.0 });
    }
    let x = (reliability.ln() / 0.9_f64.ln()).powf(1.0 / ISO_281_SHAPE);
    Ok(match edition {
        Edition::Y1990 => x,
        Edition::Y2007 => 0.95 * x + 0.05,
    })
}

/// The Weibull law that a rating life implies with that shape ([`ISO_281_SHAPE`] or
/// [`Rolling::lundberg_palmgren_shape`]): its B10 is the rating life, in the unit of which its ages are.
///
/// # Formula
/// η = L10/(−ln 0.9)^(1/β).
///
/// # Errors
/// A life or shape that is not positive and finite.
pub fn rated_law(rating_life: f64, shape: f64) -> Result<Law, Error> {
    let (life, shape) = (positive("the rating life", rating_life)?, positive("the shape", shape)?);
    Law::weibull(shape, life / (-(0.9_f64.ln())).powf(1.0 / shape))
}
