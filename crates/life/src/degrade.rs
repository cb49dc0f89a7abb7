//! Readings that drift to a limit: when will they reach it?
//!
//! Every unit's readings lie on a line of its own with noise about it; intercepts and slopes differ over units by a normal
//! law (Laird & Ware (1982), Biometrics 38: 963–974; for crossing ages Lu & Meeker (1993), Technometrics 35: 161–174). The
//! law over units is fitted by restricted maximum likelihood with the EM algorithm (Laird, Lange & Stram (1987), JASA 82:
//! 97–105), whose steps can't leave what is possible; a unit's own readings then turn it into the law of its own line
//! (best linear unbiased prediction). Readings that only ever grow may be taken for a gamma process: [`crate::GammaProcess`].
//!
//! The law of the crossing age takes the covariance as known; of a few units it is not, and the bands are too narrow then.

use statrs::function::beta::beta_reg;

use crate::matrix::{Matrix, Vector};
use crate::solve::root;
use crate::special::normal_cdf;
use crate::{Error, positive};

/// A measured value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Which unit: readings with the same number belong together.
    pub unit_index: usize,
    /// The unit's age.
    pub age: f64,
    /// What was read.
    pub value: f64,
}

/// Which way readings go to their limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Up: play, bore, run-out.
    Rising,
    /// Down: tension.
    Falling,
}

impl Direction {
    /// 1 for rising, −1 for falling.
    pub(crate) fn sign(self) -> f64 {
        match self {
            Direction::Rising => 1.0,
            Direction::Falling => -1.0,
        }
    }
}

/// Why readings give no answer.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum DriftError {
    /// A reading's age or value, or a limit, is not a finite number.
    #[error("{what} is {got}, but must be a finite number")]
    NotFinite {
        /// What it is.
        what: &'static str,
        /// Its value.
        got: f64,
    },
    /// A parameter can't be.
    #[error(transparent)]
    Parameter(#[from] Error),
    /// There are too few units to tell how units differ.
    #[error(
        "{found} units have readings at two ages or more, but at least {needed} are needed to tell how units differ; use \
         the unit's own line, or assume a law over units"
    )]
    TooFewUnits {
        /// Units with readings at two ages or more.
        found: usize,
        /// How many are needed.
        needed: usize,
    },
    /// There are no readings beyond those that lines go through anyway.
    #[error(
        "{readings} readings leave nothing over to tell the noise from, once each of {units} units has a line; take a third \
         reading of one at least"
    )]
    NoNoise {
        /// Readings in all.
        readings: usize,
        /// Units with two ages or more.
        units: usize,
    },
    /// A reading runs against the direction, which a process that only grows can't.
    #[error(
        "unit {unit_index} goes from {from} to {to} by age {age}, against its direction: it is no process of growth alone"
    )]
    RunsBack {
        /// The unit.
        unit_index: usize,
        /// The age of the second reading.
        age: f64,
        /// The value before.
        from: f64,
        /// The value at that age.
        to: f64,
    },
    /// Two readings of a unit at one age.
    #[error("unit {unit_index} has two readings at age {age}: leave one out, or take their mean")]
    SameAge {
        /// The unit.
        unit_index: usize,
        /// The age.
        age: f64,
    },
    /// There are too few steps from reading to reading, or they are all alike, so that nothing is seen of chance in them.
    #[error(
        "{steps} steps from reading to reading do not tell how much chance is in them: at least two that differ in rate are needed"
    )]
    NoSpread {
        /// Steps.
        steps: usize,
    },
    /// A reading did not move, which has no likelihood.
    #[error("unit {unit_index} did not move up to age {age}: estimate by moments, which can bear that")]
    StoodStill {
        /// The unit.
        unit_index: usize,
        /// The age of the second reading.
        age: f64,
    },
    /// The limit is reached already.
    #[error("a reading of {value} is at or past the limit {limit} already")]
    PastLimit {
        /// The reading.
        value: f64,
        /// The limit.
        limit: f64,
    },
}

fn finite(what: &'static str, got: f64) -> Result<f64, DriftError> {
    if got.is_finite() { Ok(got) } else { Err(DriftError::NotFinite { what, got }) }
}

/// Checks that ages and values are numbers, and ages not below zero.
pub(crate) fn checked(readings: &[Reading]) -> Result<(), DriftError> {
    for reading in readings {
        finite("a reading", reading.value)?;
        if finite("a reading's age", reading.age)? < 0.0 {
            let (what, got) = ("a reading's age", reading.age);
            return Err(Error::OutOfRange { what, got, from: 0.0, to: f64::INFINITY }.into());
        }
    }
    Ok(())
}

/// The law over units of their lines: intercepts (values at age zero) and slopes, and the noise about each line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    mean: Vector,
    covariance: Matrix,
    noise: f64,
    /// Of the mean itself, as it is estimated.
    mean_covariance: Matrix,
}

impl Drift {
    /// A law that is assumed: mean and standard deviation over units of the intercept and of the slope, independent of each
    /// other, and the standard deviation of the noise.
    ///
    /// # Errors
    /// A mean that is not finite; a standard deviation that is negative or not finite; a noise that is not positive.
    pub fn assumed(intercept: (f64, f64), slope: (f64, f64), noise: f64) -> Result<Drift, DriftError> {
        for (what, got) in
            [("the intercept's standard deviation", intercept.1), ("the slope's standard deviation", slope.1)]
        {
            if !(0.0..f64::INFINITY).contains(&got) {
                return Err(Error::OutOfRange { what, got, from: 0.0, to: f64::INFINITY }.into());
            }
        }
        let mean = Vector([finite("the mean intercept", intercept.0)?, finite("the mean slope", slope.0)?]);
        let covariance = Matrix([[intercept.1.powi(2), 0.0], [0.0, slope.1.powi(2)]]);
        let noise = positive("the noise", noise)?;
        Ok(Drift { mean, covariance, noise, mean_covariance: Matrix::ZERO })
    }

    /// The law fitted to the readings of several units by restricted maximum likelihood. Units with one reading count, too.
    ///
    /// # Errors
    /// Fewer than two units with readings at two ages; no reading beyond two of each; a value that is not finite; a
    /// negative age.
    pub fn fit(readings: &[Reading]) -> Result<Drift, DriftError> {
        checked(readings)?;
        let frame = Frame::of(readings);
        let units = frame.units(readings);
        let lines = units.iter().filter(|unit| unit.has_a_slope()).count();
        if lines < 2 {
            return Err(DriftError::TooFewUnits { found: lines, needed: 2 });
        }
        let over: f64 = units.iter().map(|unit| (unit.n - 2.0).max(0.0)).sum();
        if over < 1.0 {
            return Err(DriftError::NoNoise { readings: readings.len(), units: lines });
        }
        Ok(frame.back(&restricted(&units)))
    }

    /// The mean intercept and slope over units.
    pub fn mean(&self) -> [f64; 2] {
        self.mean.0
    }

    /// The covariance over units: of the intercept, of both, of the slope.
    pub fn covariance(&self) -> [f64; 3] {
        let [[aa, ab], [_, bb]] = self.covariance.0;
        [aa, ab, bb]
    }

    /// The standard deviation of the noise.
    pub fn noise(&self) -> f64 {
        self.noise
    }

    /// The law of the age at which one unit's line crosses `limit`, given its own readings, if only one, or none (then from
    /// age zero). Their unit numbers do not matter: all are of this unit.
    ///
    /// The mean over units is taken to be as uncertain as the fit left it, which is right for a unit that is not in the fit,
    /// and slightly wide for one that is.
    ///
    /// # Errors
    /// A reading or limit that is not finite; a negative age.
    pub fn crossing(&self, own: &[Reading], direction: Direction, limit: f64) -> Result<Crossing, DriftError> {
        checked(own)?;
        finite("the limit", limit)?;
        let (mut line, mut spread) = (self.mean, self.covariance + self.mean_covariance);
        for reading in own {
            // One reading at a time: the gain of a Kalman filter whose state does not move.
            let at = Vector([1.0, reading.age]);
            let along = spread * at;
            let variance = at.dot(along) + self.noise * self.noise;
            line = line + along * ((reading.value - at.dot(line)) / variance);
            spread = spread + along.square() * (-1.0 / variance);
        }
        let now = own.iter().map(|reading| reading.age).fold(0.0, f64::max);
        Ok(Crossing::of(Line { at_zero: line, spread, freedom: None }, now, direction, limit))
    }
}

/// Ages and values shifted and scaled to about 1, so that the steps keep their digits.
struct Frame {
    age: (f64, f64),
    value: (f64, f64),
}

impl Frame {
    fn of(readings: &[Reading]) -> Frame {
        let frame = |get: fn(&Reading) -> f64| {
            let n = readings.len().max(1) as f64;
            let middle = readings.iter().map(get).sum::<f64>() / n;
            let width = (readings.iter().map(|reading| (get(reading) - middle).powi(2)).sum::<f64>() / n).sqrt();
            (middle, if 0.0 < width { width } else { 1.0 })
        };
        Frame { age: frame(|reading| reading.age), value: frame(|reading| reading.value) }
    }

    /// Sums of each unit.
    fn units(&self, readings: &[Reading]) -> Vec<Unit> {
        let mut by_unit = std::collections::BTreeMap::<usize, Unit>::new();
        for reading in readings {
            let x = (reading.age - self.age.0) / self.age.1;
            let y = (reading.value - self.value.0) / self.value.1;
            by_unit.entry(reading.unit_index).or_default().add(x, y);
        }
        by_unit.into_values().collect()
    }

    /// In the readings' own ages and values.
    fn back(&self, fitted: &Fitted) -> Drift {
        let slope = self.value.1 / self.age.1;
        let turn = Matrix([[self.value.1, -slope * self.age.0], [0.0, slope]]);
        Drift {
            mean: turn * fitted.mean + Vector([self.value.0, 0.0]),
            covariance: turn.around(fitted.covariance),
            noise: self.value.1 * fitted.noise_variance.sqrt(),
            mean_covariance: turn.around(fitted.mean_covariance),
        }
    }
}

/// What is needed of a unit's readings: XᵀX, Xᵀy and yᵀy, where X has a row (1, age) for each.
#[derive(Clone, Copy, Debug, Default)]
struct Unit {
    n: f64,
    xx: Matrix,
    xy: Vector,
    yy: f64,
}

impl Unit {
    fn add(&mut self, x: f64, y: f64) {
        let row = Vector([1.0, x]);
        self.n += 1.0;
        self.xx = self.xx + row.square();
        self.xy = self.xy + row * y;
        self.yy += y * y;
    }

    /// Whether there are readings at two ages.
    fn has_a_slope(&self) -> bool {
        1e-12 * self.n * self.xx.0[1][1] < self.xx.determinant()
    }

    /// The sum of squares about a line.
    fn squares_about(&self, line: Vector) -> f64 {
        (self.yy - 2.0 * line.dot(self.xy) + line.dot(self.xx * line)).max(0.0)
    }
}

struct Fitted {
    mean: Vector,
    mean_covariance: Matrix,
    covariance: Matrix,
    noise_variance: f64,
}

/// Below this share of the readings' variance noise is none: the readings lie on lines.
const NOISELESS: f64 = 1e-12;

/// Steps after which a variance that goes to nothing has gone far enough.
const STEPS: u32 = 20_000;

fn restricted(units: &[Unit]) -> Fitted {
    let (mut covariance, mut noise_variance) = (Matrix::IDENTITY, 1.0);
    for _ in 0..STEPS {
        let next = step(units, covariance, noise_variance);
        let moved = (next.covariance + covariance * -1.0).largest().max((next.noise_variance - noise_variance).abs());
        let size = next.covariance.largest().max(next.noise_variance);
        (covariance, noise_variance) = (next.covariance, next.noise_variance);
        if moved < 1e-12 * size {
            break;
        }
    }
    let mean = Mean::of(units, covariance, noise_variance);
    Fitted { mean: mean.at, mean_covariance: mean.covariance, covariance, noise_variance }
}

/// The mean over units by generalised least squares.
struct Mean {
    at: Vector,
    covariance: Matrix,
}

impl Mean {
    fn of(units: &[Unit], covariance: Matrix, noise_variance: f64) -> Mean {
        let (mut information, mut sum) = (Matrix::ZERO, Vector([0.0; 2]));
        for unit in units {
            // XᵀV⁻¹X = XᵀX·(1 − K)/s², XᵀV⁻¹y = (1 − K)ᵀ·Xᵀy/s², where K = W·XᵀX/s² as in `step`.
            let keep = (Matrix::IDENTITY + unit.xx * covariance * (1.0 / noise_variance)).inverse();
            information = information + keep * unit.xx * (1.0 / noise_variance);
            sum = sum + keep * unit.xy * (1.0 / noise_variance);
        }
        let covariance = information.inverse();
        Mean { at: covariance * sum, covariance }
    }
}

/// A step of the EM algorithm, in which the mean counts as unknown with a flat prior (that makes it the restricted one).
fn step(units: &[Unit], covariance: Matrix, noise_variance: f64) -> Fitted {
    let mean = Mean::of(units, covariance, noise_variance);
    let (mut spread, mut squares) = (Matrix::ZERO, 0.0);
    for unit in units {
        // The unit's deviation from the mean line, given its readings: covariance W = (1 + Σ·XᵀX/s²)⁻¹·Σ.
        let given = (Matrix::IDENTITY + covariance * unit.xx * (1.0 / noise_variance)).inverse() * covariance;
        let shrink = given * unit.xx * (1.0 / noise_variance);
        let keep = Matrix::IDENTITY + shrink * -1.0;
        let off = shrink_to(given, unit, mean.at) * (1.0 / noise_variance);
        spread = spread + off.square() + given + shrink.around(mean.covariance);
        let line = given + keep.around(mean.covariance);
        squares += unit.squares_about(mean.at + off) + (unit.xx * line).trace();
    }
    let readings: f64 = units.iter().map(|unit| unit.n).sum();
    Fitted {
        mean: mean.at,
        mean_covariance: mean.covariance,
        covariance: (spread * (1.0 / units.len() as f64)).symmetric(),
        noise_variance: (squares / readings).max(NOISELESS),
    }
}

/// W·Xᵀ(y − X·mean).
fn shrink_to(given: Matrix, unit: &Unit, mean: Vector) -> Vector {
    given * (unit.xy + unit.xx * mean * -1.0)
}

/// A line whose intercept and slope are uncertain.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Line {
    at_zero: Vector,
    spread: Matrix,
    /// Degrees of freedom of Student's law in place of the normal one.
    freedom: Option<f64>,
}

/// The law of the age at which a unit's line reaches its limit.
///
/// # Formula
/// F(t) = P(a + b·t ≥ D) with (a, b) normal (or Student's, where the noise is known from the same readings alone), from the
/// last reading's age on; where that would fall again with t, its greatest value so far. If the slope may be nothing or
/// less, F stays below 1: the limit may never be reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// The last reading's age.
    now: f64,
    /// Level less limit now, and slope; mirrored so that the limit is above.
    gap: f64,
    slope: f64,
    /// Of level and slope now.
    spread: Matrix,
    freedom: Option<f64>,
}

impl Crossing {
    /// By the unit's own readings alone: a straight line by least squares; Student's law with n − 2 degrees of freedom. The
    /// unit numbers do not matter.
    ///
    /// # Errors
    /// Fewer than three readings, or all at one age; a value that is not finite; a negative age.
    pub fn of_line(own: &[Reading], direction: Direction, limit: f64) -> Result<Crossing, DriftError> {
        checked(own)?;
        finite("the limit", limit)?;
        let one: Vec<Reading> = own.iter().map(|reading| Reading { unit_index: 0, ..*reading }).collect();
        let frame = Frame::of(&one);
        let unit = frame.units(&one).first().copied().unwrap_or_default();
        if !unit.has_a_slope() {
            return Err(DriftError::TooFewUnits { found: 0, needed: 1 });
        }
        let freedom = unit.n - 2.0;
        if freedom < 1.0 {
            return Err(DriftError::NoNoise { readings: own.len(), units: 1 });
        }
        let inverse = unit.xx.inverse();
        let mean = inverse * unit.xy;
        let noise_variance = unit.squares_about(mean) / freedom;
        let fitted =
            Fitted { mean, mean_covariance: inverse * noise_variance, covariance: Matrix::ZERO, noise_variance };
        let drift = frame.back(&fitted);
        let line = Line { at_zero: drift.mean, spread: drift.mean_covariance, freedom: Some(freedom) };
        let now = own.iter().map(|reading| reading.age).fold(0.0, f64::max);
        Ok(Crossing::of(line, now, direction, limit))
    }

    fn of(line: Line, now: f64, direction: Direction, limit: f64) -> Crossing {
        let here = Matrix([[1.0, now], [0.0, 1.0]]);
        let [level, slope] = (here * line.at_zero).0;
        let sign = direction.sign();
        Crossing {
            now,
            gap: sign * (level - limit),
            slope: sign * slope,
            spread: here.around(line.spread).symmetric(),
            freedom: line.freedom,
        }
    }

    /// The last reading's age, from which on the law is told.
    pub fn now(&self) -> f64 {
        self.now
    }

    /// The chance that the limit is reached by `age`; before the last reading's age, the chance that it is now.
    pub fn chance_by(&self, age: f64) -> f64 {
        self.chance(self.highest((age - self.now).max(0.0)))
    }

    /// The age by which the limit is reached with that chance: the last reading's if it is reached with that chance
    /// already, `None` if it never is.
    ///
    /// # Errors
    /// A chance that does not lie between 0 and 1.
    pub fn quantile(&self, chance: f64) -> Result<Option<f64>, Error> {
        if !(0.0 < chance && chance < 1.0) {
            return Err(Error::NotAChance { got: chance });
        }
        let lacks = |span: f64| self.chance(self.highest(span)) - chance;
        if 0.0 <= lacks(0.0) {
            return Ok(Some(self.now));
        }
        let mut far = 1.0;
        while lacks(far) < 0.0 {
            far *= 2.0;
            if f64::MAX.sqrt() < far {
                return Ok(None);
            }
        }
        Ok(Some(self.now + root(lacks, f64::MIN_POSITIVE, far)))
    }

    /// The greatest standardised distance past the limit up to `span` from now. It turns once at most.
    fn highest(&self, span: f64) -> f64 {
        let [[aa, ab], [_, bb]] = self.spread.0;
        let turn = -(self.slope * aa - self.gap * ab) / (self.slope * ab - self.gap * bb);
        let at_ends = self.standardised(0.0).max(self.standardised(span));
        if 0.0 < turn && turn < span { at_ends.max(self.standardised(turn)) } else { at_ends }
    }

    fn standardised(&self, span: f64) -> f64 {
        let [[aa, ab], [_, bb]] = self.spread.0;
        let variance = aa + span * (2.0 * ab + span * bb);
        (self.gap + self.slope * span) / variance.max(f64::MIN_POSITIVE).sqrt()
    }

    fn chance(&self, z: f64) -> f64 {
        let Some(freedom) = self.freedom else { return normal_cdf(z) };
        let square = z * z;
        // Near the middle the tail's own argument has lost the digits of z.
        let tail = if square < freedom {
            0.5 - 0.5 * beta_reg(0.5, 0.5 * freedom, square / (freedom + square))
        } else {
            0.5 * beta_reg(0.5 * freedom, 0.5, freedom / (freedom + square))
        };
        if z < 0.0 { tail } else { 1.0 - tail }
    }
}
