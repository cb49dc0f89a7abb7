//! Use from hours and grams, where no file tells it: by the machine's own ratios.

use motion::{Amounts, Duty, Quantity, Tool};

use crate::build::Allowance;
use crate::{Build, Material, Usage};

/// The build's expectation counts as much as this many hours of metered runs. Judgement, no source: a shop's first few
/// runs say more of its work than the build can.
const EXPECTED_HOURS: f64 = 10.0;

/// Relative spread of a run's ratios, and of those of machines of one build, while only the build is known. Judgement, no source.
pub const EXPECTED_SPREAD: f64 = 0.5;

/// Hour meters show whole hours: the difference of two readings is uncertain by one.
const ROUNDING_HOURS: f64 = 1.0;

/// A planner's time is good to a few hundredths; this share of the booked hours is no reason to doubt the records.
const PLANNER_SHARE: f64 = 0.02;

/// What goes through the extruder, and so goes by the grams where they are known.
const BY_MASS: [Quantity; 5] = [
    Quantity::Filament,
    Quantity::FilamentFed,
    Quantity::FilamentVolume,
    Quantity::FilamentMass,
    Quantity::TurnsExtruder,
];

const SECONDS_PER_HOUR: f64 = 3600.0;

/// The longest run, h: a year. Judgement, no source; it keeps a slip of the finger out of the meters.
const LONGEST_RUN: f64 = 8784.0;

/// The most filament that goes through a machine in an hour, g: several times what the largest hot ends melt. Judgement,
/// no source.
const MOST_GRAMS_PER_HOUR: f64 = 5000.0;

/// What a machine does in an hour of printing.
#[derive(Clone, Debug, PartialEq)]
pub struct Ratios {
    per_hour: Vec<Ratio>,
    metered: Vec<Quantity>,
    doubt: f64,
}

/// One quantity's ratio.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// The quantity.
    pub quantity: Quantity,
    /// How much of it an hour brings, in its unit.
    pub per_hour: f64,
    /// Relative standard deviation of a run's ratio.
    pub spread: f64,
}

/// Estimated use.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    /// The use.
    pub usage: Usage,
    /// Its relative spread (one standard deviation): the median over the quantities that the build's limits meter.
    pub spread: f64,
}

/// Why use can't be estimated.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum EstimateError {
    /// Hours or grams that no run can have.
    #[error("{what} is {got}, but must be a number above 0")]
    NotPositive {
        /// What was given.
        what: &'static str,
        /// Its value.
        got: f64,
    },
    /// More than a run can have.
    #[error("{what} is {got}, but no run has more than {most}")]
    TooMuch {
        /// What was given.
        what: &'static str,
        /// Its value.
        got: f64,
        /// The most that is taken.
        most: f64,
    },
    /// The hour meter shows less than before.
    #[error("the hour meter shows {shown} h, but showed {before} h before; correct the reading, or the one before it")]
    RanBack {
        /// The last reading, h.
        before: f64,
        /// This one, h.
        shown: f64,
    },
    /// More hours are booked than the meter ran.
    #[error(
        "the hour meter ran {ran:.1} h since its last reading, but {booked:.1} h of runs are booked; \
         withdraw a run that is booked twice, or correct a reading"
    )]
    MoreBooked {
        /// Hours that the meter ran.
        ran: f64,
        /// Hours booked.
        booked: f64,
    },
}

impl Ratios {
    /// The ratios of a machine from its metered runs, and from its build while they are few.
    ///
    /// # Formula
    /// r = (Σa + κ·e) / (Σh + κ), the runs' amounts a and hours h with the build's ratio e as κ = 10 h more; its spread
    /// is √((Σh·(a/h − r)² + κ·(s·r)²) / (Σh + κ)) / r, s = 0.5.
    pub fn new<'a>(build: &Build, metered_runs: impl IntoIterator<Item = &'a Usage>) -> Ratios {
        let runs: Vec<(f64, &Usage)> = metered_runs
            .into_iter()
            .map(|usage| (usage.amount(Quantity::Time) / SECONDS_PER_HOUR, usage))
            .filter(|(hours, _)| 0.0 < *hours)
            .collect();
        let expected = |quantity| build.expected.per_hour.iter().find(|(known, _)| *known == quantity).map(|(_, e)| *e);
        let summed = Quantity::ALL.iter().filter(|quantity| quantity.adds_up() == motion::AddsUp::Sum);
        let per_hour = summed.filter_map(|&quantity| Ratio::new(quantity, &runs, expected(quantity))).collect();
        let hours: f64 = runs.iter().map(|(hours, _)| hours).sum();
        let doubt = EXPECTED_SPREAD * (EXPECTED_HOURS / (hours + EXPECTED_HOURS)).sqrt();
        Ratios { per_hour, metered: metered_by_limits(build), doubt }
    }

    /// Relative standard uncertainty of what an hour asks over many runs, whose own spread then has evened out.
    ///
    /// # Formula
    /// s·√(κ / (Σh + κ)): the quadratic loss of a credibility estimate is the variance between machines times 1 − Z, with
    /// Z = Σh / (Σh + κ) the weight of the machine's own runs (Bühlmann & Gisler 2005, A Course in Credibility Theory, ch. 3).
    pub fn doubt(&self) -> f64 {
        self.doubt
    }

    /// The ratio of each quantity that is known.
    pub fn iter(&self) -> impl Iterator<Item = &Ratio> {
        self.per_hour.iter()
    }

    /// The use of `hours` of printing with one tool; what goes through the extruder by `grams`, where they are given.
    ///
    /// # Errors
    /// If hours or grams are not positive numbers, or more than a run can have.
    pub fn estimate(
        &self,
        hours: f64,
        grams: Option<f64>,
        tool: Tool,
        material: &Material,
    ) -> Result<Estimate, EstimateError> {
        let hours = within("the number of hours", hours, LONGEST_RUN)?;
        let most = (MOST_GRAMS_PER_HOUR * hours).ceil();
        let grams = grams.map(|grams| within("the number of grams", grams, most)).transpose()?;
        let mut amounts = Amounts::default();
        for ratio in &self.per_hour {
            amounts[ratio.quantity] = ratio.per_hour * hours;
        }
        amounts[Quantity::Time] = hours * SECONDS_PER_HOUR;
        if let Some(grams) = grams {
            by_mass(&mut amounts, grams / 1000.0);
        }
        let duty = Duty { tools: [(tool, amounts)].into() };
        Ok(Estimate { usage: Usage::from_duty(&duty, |_| material.clone()), spread: self.spread(grams.is_some()) })
    }

    /// The use that the hour meter shows and that is not booked: hours run between two readings less hours booked
    /// between them. `None` where the two agree as far as whole hours and a planner's time can.
    ///
    /// # Errors
    /// If the meter ran back, or less than is booked.
    pub fn unbooked(
        &self,
        before: f64,
        shown: f64,
        booked: f64,
        tool: Tool,
        material: &Material,
    ) -> Result<Option<Estimate>, EstimateError> {
        if before.is_nan() || shown.is_nan() || shown < before {
            return Err(EstimateError::RanBack { before, shown });
        }
        let (ran, slack) = (shown - before, ROUNDING_HOURS + PLANNER_SHARE * booked);
        if ran - booked < -slack {
            return Err(EstimateError::MoreBooked { ran, booked });
        }
        if ran - booked <= slack { Ok(None) } else { self.estimate(ran - booked, None, tool, material).map(Some) }
    }

    fn spread(&self, mass_is_known: bool) -> f64 {
        let counts = |ratio: &&Ratio| self.metered.contains(&ratio.quantity);
        // What goes by the grams is known once they are, so that saying them never adds to the doubt.
        let is_known = |ratio: &Ratio| mass_is_known && BY_MASS.contains(&ratio.quantity);
        let spread = |ratio: &Ratio| if is_known(ratio) { 0.0 } else { ratio.spread };
        let mut spreads: Vec<f64> = self.per_hour.iter().filter(counts).map(spread).collect();
        spreads.sort_by(f64::total_cmp);
        spreads.get(spreads.len() / 2).copied().unwrap_or(0.0)
    }
}

impl Ratio {
    fn new(quantity: Quantity, runs: &[(f64, &Usage)], expected: Option<f64>) -> Option<Ratio> {
        let expected_hours = if expected.is_some() { EXPECTED_HOURS } else { 0.0 };
        let hours = expected_hours + runs.iter().map(|(hours, _)| hours).sum::<f64>();
        let amount: f64 = runs.iter().map(|(_, usage)| usage.amount(quantity)).sum();
        let per_hour = (amount + expected_hours * expected.unwrap_or(0.0)) / hours;
        let squares: f64 =
            runs.iter().map(|(hours, usage)| hours * (usage.amount(quantity) / hours - per_hour).powi(2)).sum();
        let variance = (squares + expected_hours * (EXPECTED_SPREAD * per_hour).powi(2)) / hours;
        (0.0 < per_hour).then(|| Ratio { quantity, per_hour, spread: variance.sqrt() / per_hour })
    }
}

/// The quantities whose ratios matter: those that a limit of the build meters, but for time, which is given.
fn metered_by_limits(build: &Build) -> Vec<Quantity> {
    let limits = build.tasks.iter().flat_map(|task| &task.limits);
    let quantities = limits.filter_map(|limit| match limit.every {
        Allowance::Amount { quantity, .. } => Some(quantity),
        Allowance::Elapsed { .. } => None,
    });
    let mut quantities: Vec<Quantity> = quantities.filter(|quantity| *quantity != Quantity::Time).collect();
    quantities.sort_unstable();
    quantities.dedup();
    quantities
}

/// Scales what goes through the extruder to a known mass, in kg.
fn by_mass(amounts: &mut Amounts, mass: f64) {
    let estimated = amounts[Quantity::FilamentMass];
    if 0.0 < estimated {
        for quantity in BY_MASS {
            amounts[quantity] *= mass / estimated;
        }
    }
    amounts[Quantity::FilamentMass] = mass;
}

fn within(what: &'static str, got: f64, most: f64) -> Result<f64, EstimateError> {
    match got {
        _ if 0.0 < got && got <= most => Ok(got),
        _ if most < got => Err(EstimateError::TooMuch { what, got, most }),
        _ => Err(EstimateError::NotPositive { what, got }),
    }
}
