//! Weibull laws for few failures, none included, by Bayes' theorem: a stated belief about the shape and about a life, and
//! what the lives make of it.
//!
//! # Formula
//! The density of (ln η, ln β) after the lives is proportional to their likelihood (all kinds of censoring) times the
//! density before. It is summed over an even grid that adapts: for each ln β a row over ln η around its highest point, with
//! steps of 0.3 of the narrower of the width there and 1/β; rows to both sides of the best ln β until nothing is left
//! (e⁻³⁰), halved until the total stays. Both rules are trapezoidal, whose error falls as an exponential of the number of
//! nodes for a smooth density that vanishes at both ends (Trefethen & Weideman (2014), SIAM Review 56: 385–458). No random
//! numbers are drawn: the same lives give the same answer.
//!
//! Bayesian Weibull: Meeker & Escobar (1998), chapter 14; Hamada, Wilson, Reese & Martz (2008), Bayesian Reliability,
//! chapter 4.

use std::f64::consts::PI;

use crate::data::{Life, failures};
use crate::fit::{Fit, TAU, highest};
use crate::law::{Family, Jet, Law};
use crate::quadrature::{Density, crossing};
use crate::special::normal_quantile;
use crate::surface::{Sample, Surface};
use crate::{Error, Level, Of, positive};

/// A belief about a positive quantity before any lives: its logarithm is normal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Belief {
    median: f64,
    spread: f64,
}

impl Belief {
    /// By its median and the standard deviation of its logarithm.
    ///
    /// # Errors
    /// If either is not positive and finite.
    pub fn new(median: f64, spread: f64) -> Result<Belief, Error> {
        Ok(Belief { median: positive("the median", median)?, spread: positive("the spread", spread)? })
    }

    /// The belief that holds the quantity between two values, as likely too low as too high, with the chance `level`.
    ///
    /// # Errors
    /// If the values are not positive, finite and rising.
    pub fn between(low: f64, high: f64, level: Level) -> Result<Belief, Error> {
        let (low, high) = (positive("the low end", low)?.ln(), positive("the high end", high)?.ln());
        Belief::new((0.5 * (low + high)).exp(), 0.5 * (high - low) / level.z())
    }

    /// Its median.
    pub fn median(&self) -> f64 {
        self.median
    }

    /// The standard deviation of the logarithm.
    pub fn spread(&self) -> f64 {
        self.spread
    }

    /// The value below which the quantity is believed to lie with this chance.
    ///
    /// # Errors
    /// If the chance does not lie between 0 and 1.
    pub fn quantile(&self, chance: f64) -> Result<f64, Error> {
        Ok(self.median * (self.spread * normal_quantile(crate::chance(chance)?)).exp())
    }

    /// ln of the density of the logarithm, without its constant, at a logarithm.
    fn log_density(&self, log: f64) -> Jet {
        let off = (log - self.median.ln()) / self.spread;
        [-0.5 * off * off, -off / self.spread, -1.0 / (self.spread * self.spread)]
    }
}

/// What is believed of the life before any lives are known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LifeBelief {
    /// Nothing: every logarithm of a life is as likely as any other. It takes at least one failure to say anything then.
    Flat,
    /// A belief about the age by which the share `failed` has failed: 0.5 for the median life.
    Quantile {
        /// The share.
        failed: f64,
        /// The belief.
        belief: Belief,
    },
}

/// What is believed of a Weibull law before any lives are known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prior {
    shape: Option<Belief>,
    life: LifeBelief,
}

impl Prior {
    /// A prior from both beliefs, which are taken to know nothing of each other.
    ///
    /// # Errors
    /// If the share of a life's quantile does not lie between 0 and 1.
    pub fn new(shape: Belief, life: LifeBelief) -> Result<Prior, Error> {
        if let LifeBelief::Quantile { failed, .. } = life {
            crate::chance(failed)?;
        }
        Ok(Prior { shape: Some(shape), life })
    }

    /// The shape of parts that wear: between 0.75 and 4 with a chance of 90 %, median 1.73 (common practice, no source).
    /// It allows early failures (below 1) and plain wear-out, but takes several failures to believe a shape of 8.
    pub fn common_shape() -> Belief {
        Belief { median: 3.0_f64.sqrt(), spread: 0.5 * (4.0 / 0.75_f64).ln() / 1.644_853_626_951_472_7 }
    }

    /// [`Prior::common_shape`], and nothing about the life.
    pub fn common() -> Prior {
        Prior { shape: Some(Prior::common_shape()), life: LifeBelief::Flat }
    }

    /// The prior that is flat in ln η and ln β, see [`Fit::conditional`].
    fn flat() -> Prior {
        Prior { shape: None, life: LifeBelief::Flat }
    }

    /// Where spreads are looked for: a flat belief has long ends.
    fn taus(&self) -> [f64; 2] {
        if self.shape.is_some() { TAU } else { [-25.0, 25.0] }
    }
}

/// Why there is nothing to be said.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoPosterior {
    /// Nothing is believed of the life, and nothing failed.
    #[error("nothing failed, and nothing was believed of the life before, so that any life however long is as likely")]
    NoFailures,
    /// Nothing is believed of the life, and everything was found failed at its first look.
    #[error(
        "every life was found failed at its first look, and nothing was believed of the life before, so that any life \
         however short is as likely"
    )]
    NeverGood,
    /// The chances do not fall off to both sides.
    #[error("the lives and what was believed before do not bound the law: state a belief, or a narrower one")]
    Unbounded,
}

/// What is believed of a Weibull law once lives are known.
///
/// # Example
/// ```
/// # fn main() -> Result<(), Box<dyn std::error::Error>> {
/// use life::bayes::{Belief, LifeBelief, Posterior, Prior};
/// use life::{End, Level, Life, Of};
/// // Four good at 300, none failed; the median life is believed to be around 500.
/// let lives = [Life::new(End::Good(300.0))?.times(4.0)?];
/// let belief = LifeBelief::Quantile { failed: 0.5, belief: Belief::new(500.0, 0.7)? };
/// let posterior = Posterior::new(&lives, Prior::new(Prior::common_shape(), belief)?)?;
/// assert!(posterior.median(Of::Quantile(0.5))? > 500.0);
/// let [low, high] = posterior.band(Of::Survival(400.0), Level::new(0.9)?)?;
/// assert!(low < posterior.survival(400.0) && posterior.survival(400.0) < high);
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Debug)]
pub struct Posterior {
    prior: Prior,
    family: Family,
    rows: Vec<Row>,
    /// Of τ = ln σ = −ln β.
    spread: Density,
}

/// All locations at one spread.
#[derive(Clone, Debug)]
struct Row {
    sigma: f64,
    /// The chance of this row, of 1 in all.
    weight: f64,
    /// Of μ = ln η.
    location: Density,
    /// Locations and their chances within the row.
    nodes: Vec<(f64, f64)>,
}

impl Posterior {
    /// What to believe of a Weibull law after these lives.
    ///
    /// # Errors
    /// [`NoPosterior`], if neither the prior nor the lives bound the law.
    pub fn new(lives: &[Life], prior: Prior) -> Result<Posterior, NoPosterior> {
        if prior.life == LifeBelief::Flat {
            bounded(lives)?;
        }
        Posterior::of(&Sample::new(lives, Family::Weibull.standard()), Family::Weibull, prior)
    }

    fn of(sample: &Sample, family: Family, prior: Prior) -> Result<Posterior, NoPosterior> {
        let joint = Joint { sample, family, prior };
        let (step, strips) = joint.strips().ok_or(NoPosterior::Unbounded)?;
        let from = strips[0].tau;
        let spread = Density::new(from, step, strips.iter().map(|strip| strip.evidence).collect());
        let weights = spread.weighted();
        let rows = strips.into_iter().zip(weights).map(|(strip, (_, weight))| strip.row(weight));
        Ok(Posterior { prior, family, rows: rows.filter(|row| 1e-17 < row.weight).collect(), spread })
    }

    /// What it started from.
    pub fn prior(&self) -> Prior {
        self.prior
    }

    /// The laws it is summed over, each with its chance; those of one shape follow each other.
    pub fn laws(&self) -> impl Iterator<Item = (Law, f64)> + '_ {
        let laws = |row: &Row| -> Vec<(Law, f64)> {
            row.nodes.iter().map(|&(mu, weight)| (Law::of(self.family, mu, row.sigma), row.weight * weight)).collect()
        };
        self.rows.iter().flat_map(laws)
    }

    /// The mean of what `of` says of a law, over all laws by their chances.
    pub fn mean(&self, of: impl Fn(&Law) -> f64) -> f64 {
        let row = |row: &Row| -> f64 {
            row.nodes.iter().map(|&(mu, weight)| weight * of(&Law::of(self.family, mu, row.sigma))).sum()
        };
        self.rows.iter().map(|at| at.weight * row(at)).sum()
    }

    /// The chance that a new part is good at that age (the predictive reliability).
    pub fn survival(&self, age: f64) -> f64 {
        self.mean(|law| law.survival(age))
    }

    /// The chance that a new part has failed by that age, with its digits where it is small.
    pub fn failed_by(&self, age: f64) -> f64 {
        self.mean(|law| law.failed_by(age))
    }

    /// The age by which a new part has failed with the chance `failed` (the predictive quantile).
    ///
    /// # Errors
    /// If `failed` does not lie between 0 and 1.
    pub fn quantile(&self, failed: f64) -> Result<f64, Error> {
        let q = (-(-crate::chance(failed)?).ln_1p()).ln();
        let [low, high] = self.reach(q);
        Ok(crossing(|log| self.failed_by(log.exp()).ln() - failed.ln(), low, high).exp())
    }

    /// The mean of the hazard at that age, for a part whose own life so far is among the lives.
    pub fn hazard(&self, age: f64) -> f64 {
        self.mean(|law| law.hazard(age))
    }

    /// The chance to fail within the next `span` for one good at `age` whose own life so far is among the lives: the mean
    /// of 1 − S(age + span)/S(age).
    pub fn fails_within(&self, age: f64, span: f64) -> f64 {
        self.mean(|law| -(law.log_survival(age + span) - law.log_survival(age)).exp_m1())
    }

    /// The same for one whose life is not among the lives, so that its being good is news:
    /// 1 − mean S(age + span)/mean S(age).
    pub fn fails_within_unseen(&self, age: f64, span: f64) -> f64 {
        let lost =
            self.mean(|law| law.survival(age) * -(law.log_survival(age + span) - law.log_survival(age)).exp_m1());
        lost / self.survival(age)
    }

    /// The middle of what is believed of a quantity.
    ///
    /// # Errors
    /// As [`Posterior::value`].
    pub fn median(&self, of: Of) -> Result<f64, Error> {
        self.value(of, 0.5)
    }

    /// The credible band of a quantity: as likely above as below.
    ///
    /// # Errors
    /// As [`Posterior::value`].
    pub fn band(&self, of: Of, level: Level) -> Result<[f64; 2], Error> {
        let tail = 0.5 * (1.0 - level.get());
        Ok([self.value(of, tail)?, self.value(of, 1.0 - tail)?])
    }

    /// The value below which a quantity lies with this chance.
    ///
    /// # Errors
    /// A chance outside 0 to 1, a quantile's too; an age that is not positive and finite.
    pub fn value(&self, of: Of, chance: f64) -> Result<f64, Error> {
        let chance = crate::chance(chance)?;
        match of {
            Of::Spread => Ok(self.spread.quantile(chance).exp()),
            Of::Shape => Ok((-self.spread.quantile(1.0 - chance)).exp()),
            Of::Location => Ok(self.log_life(0.0, chance)),
            Of::Scale => Ok(self.log_life(0.0, chance).exp()),
            Of::Quantile(failed) => {
                let failed = crate::chance(failed)?;
                Ok(self.log_life(self.family.standard().quantile_of_survival(1.0 - failed), chance).exp())
            }
            Of::Survival(age) => {
                let y = positive("the age", age)?.ln();
                Ok(self.family.standard().log_survival(self.standing(y, 1.0 - chance))[0].exp())
            }
        }
    }

    /// The value below which μ + σ·q lies with this chance.
    fn log_life(&self, q: f64, chance: f64) -> f64 {
        let [low, high] = self.reach(q);
        crossing(|log| self.below(log, q) - chance, low, high)
    }

    /// The value below which z = (y − μ)/σ lies with this chance.
    fn standing(&self, y: f64, chance: f64) -> f64 {
        let ends = || self.rows.iter().flat_map(|row| row.location.ends().map(|mu| (y - mu) / row.sigma));
        let (low, high) = (ends().fold(f64::INFINITY, f64::min), ends().fold(f64::NEG_INFINITY, f64::max));
        // z is below k where μ + σ·k is above y.
        crossing(|k| 1.0 - self.below(y, k) - chance, low, high)
    }

    /// The chance that μ + σ·q lies below `log`.
    fn below(&self, log: f64, q: f64) -> f64 {
        self.rows.iter().map(|row| row.weight * row.location.below(log - row.sigma * q)).sum()
    }

    /// The least and greatest μ + σ·q of which anything is believed.
    fn reach(&self, q: f64) -> [f64; 2] {
        let ends = || self.rows.iter().flat_map(|row| row.location.ends().map(|mu| mu + row.sigma * q));
        [ends().fold(f64::INFINITY, f64::min), ends().fold(f64::NEG_INFINITY, f64::max)]
    }
}

/// How far the prior pulls: what was believed before and after, and as how many failures it counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pull {
    /// Median of the shape, before and after.
    pub shape: [f64; 2],
    /// Median of B10, before (`None` if nothing was believed of the life) and after.
    pub b10: (Option<f64>, f64),
    /// As many failures as tell the shape as well as its prior: of r failures, none censored, ln β has a variance of
    /// 6/(π²·r) for large r (Lawless (2003), section 5.2), so that a spread s counts as 6/(π²·s²).
    pub shape_counts_as: f64,
    /// As many failures as tell the life as well as its prior at the prior's median shape β: the variance of ln η is
    /// 1/(r·β²), so that a spread s counts as 1/(s·β)². 0 if nothing was believed of it.
    pub life_counts_as: f64,
}

impl Posterior {
    /// How far the prior pulls; `None` for a prior that is flat in both.
    pub fn pull(&self) -> Option<Pull> {
        let shape = self.prior.shape?;
        let alone = match self.prior.life {
            LifeBelief::Flat => None,
            LifeBelief::Quantile { .. } => {
                Posterior::of(&Sample::new(&[], self.family.standard()), self.family, self.prior).ok()
            }
        };
        // OK because 0.1 is a chance.
        let b10 = |posterior: &Posterior| posterior.median(Of::Quantile(0.1)).expect("0.1 is a chance");
        let life_counts_as = match self.prior.life {
            LifeBelief::Flat => 0.0,
            LifeBelief::Quantile { belief, .. } => (belief.spread * shape.median).powi(-2),
        };
        Some(Pull {
            shape: [shape.median, (-self.spread.quantile(0.5)).exp()],
            b10: (alone.as_ref().map(b10), b10(self)),
            shape_counts_as: 6.0 / (PI * shape.spread).powi(2),
            life_counts_as,
        })
    }
}

impl Fit {
    /// Bounds by Fisher's conditional argument: what all fits with the same pattern of residuals say. For complete samples
    /// and those that stop at a failure that was fixed before they hold the truth exactly as often as they say, however few
    /// failures there are (Lawless (1978), Technometrics 20: 355–364; Lawless (2003), appendix E); for other censoring
    /// nearly so. They are worked out as the posterior of a prior that is flat in ln η and ln σ, which is the same.
    ///
    /// [`Posterior::band`] of what is returned gives the bounds. `None` where the shape was not fitted, and where the lives
    /// do not bound the law (fewer than two failures).
    pub fn conditional(&self) -> Option<Posterior> {
        let is_fitted = self.covariance[2] != 0.0;
        is_fitted.then(|| Posterior::of(&self.sample, self.family, Prior::flat()).ok()).flatten()
    }
}

/// Whether the lives bound life on both sides.
fn bounded(lives: &[Life]) -> Result<(), NoPosterior> {
    match lives.iter().any(Life::was_seen_good) {
        _ if failures(lives) <= 0.0 => Err(NoPosterior::NoFailures),
        false => Err(NoPosterior::NeverGood),
        true => Ok(()),
    }
}

/// What is left of a density below e^−DEPTH of its highest is nothing.
const DEPTH: f64 = 30.0;

/// Steps as a share of a width: a normal density is summed to e^(−2π²/0.3²), one with the double exponential end of a
/// likelihood to e^(−π²/0.3).
const STEP: f64 = 0.3;

/// More steps to one side than any bounded density takes.
const MOST_STEPS: u32 = 20_000;

/// Likelihood times prior.
struct Joint<'a> {
    sample: &'a Sample,
    family: Family,
    prior: Prior,
}

/// A row before its weight is known.
struct Strip {
    tau: f64,
    /// Its highest point, from the sample's centre.
    top: f64,
    /// ln of its sum, with its first two derivatives by τ.
    evidence: Jet,
    location: Density,
}

impl Strip {
    fn row(self, weight: f64) -> Row {
        Row { sigma: self.tau.exp(), weight, nodes: self.location.weighted(), location: self.location }
    }
}

impl Joint<'_> {
    /// ln of likelihood times prior at μ, from the sample's centre, and τ.
    fn at(&self, mu: f64, tau: f64) -> Surface {
        let mut surface = self.sample.at(mu, tau);
        if let Some(shape) = &self.prior.shape {
            // ln β = −τ.
            let [value, slope, curve] = shape.log_density(-tau);
            surface.value += value;
            surface.slope[1] -= slope;
            surface.curve[2] += curve;
        }
        if let LifeBelief::Quantile { failed, belief } = &self.prior.life {
            let lead = tau.exp() * self.family.standard().quantile_of_survival(1.0 - failed);
            let [value, slope, curve] = belief.log_density(mu + self.sample.centre + lead);
            surface.value += value;
            surface.slope[0] += slope;
            surface.slope[1] += slope * lead;
            surface.curve[0] += curve;
            surface.curve[1] += curve * lead;
            surface.curve[2] += curve * lead * lead + slope * lead;
        }
        surface
    }

    /// All of the density: the step in τ, and rows at even steps.
    fn strips(&self) -> Option<(f64, Vec<Strip>)> {
        let top = self.best_strip()?;
        // Twice as wide as what suits most densities: the first halving shows whether it does.
        let mut step = 2.0 * STEP / (-top.evidence[2]).sqrt();
        let mut strips = self.spread_out(top, step)?;
        let mut sum = total(&strips, step);
        for _ in 0..4 {
            step *= 0.5;
            strips = self.with_middles(strips)?;
            let finer = total(&strips, step);
            if (finer - sum).abs() < 1e-10 {
                break;
            }
            sum = finer;
        }
        Some((step, strips))
    }

    /// The row with the greatest sum: Newton's method, its steps no longer than a half.
    fn best_strip(&self) -> Option<Strip> {
        let [least, most] = self.prior.taus();
        let start =
            self.prior.shape.map_or_else(|| self.sample.width.clamp(0.02, 3.0).ln(), |shape| -shape.median.ln());
        let mut strip = self.strip(start.clamp(least, most), self.first_guess(start))?;
        for _ in 0..200 {
            let [_, slope, curve] = strip.evidence;
            let step = if curve < 0.0 { -slope / curve } else { 0.5 * slope.signum() };
            let enough = 1e-3 / curve.abs().sqrt();
            let tau = (strip.tau + step.clamp(-0.5, 0.5)).clamp(least, most);
            if curve < 0.0 && step.abs() < enough {
                return Some(strip);
            }
            strip = self.strip(tau, strip.top)?;
        }
        None
    }

    /// A location to start from.
    fn first_guess(&self, tau: f64) -> f64 {
        match &self.prior.life {
            LifeBelief::Quantile { failed, belief } => {
                let lead = tau.exp() * self.family.standard().quantile_of_survival(1.0 - failed);
                belief.median.ln() - lead - self.sample.centre
            }
            LifeBelief::Flat => 0.0,
        }
    }

    /// Rows to both sides of the best until nothing is left.
    fn spread_out(&self, top: Strip, step: f64) -> Option<Vec<Strip>> {
        let (tau, highest) = (top.tau, top.evidence[0]);
        let side = |sign: f64, mut guess: f64| -> Option<Vec<Strip>> {
            let mut strips = Vec::new();
            let [least, most] = self.prior.taus();
            for index in 1..=MOST_STEPS {
                let strip = self.strip(tau + sign * step * f64::from(index), guess)?;
                guess = strip.top;
                let is_last = strip.evidence[0] < highest - DEPTH || !(least..=most).contains(&strip.tau);
                strips.push(strip);
                if is_last {
                    return Some(strips);
                }
            }
            None
        };
        let (mut strips, above) = (side(-1.0, top.top)?, side(1.0, top.top)?);
        strips.reverse();
        strips.push(top);
        strips.extend(above);
        Some(strips)
    }

    /// The rows with one more between every two.
    fn with_middles(&self, strips: Vec<Strip>) -> Option<Vec<Strip>> {
        let mut finer: Vec<Strip> = Vec::with_capacity(2 * strips.len());
        for strip in strips {
            if let Some(last) = finer.last() {
                let middle = self.strip(0.5 * (last.tau + strip.tau), 0.5 * (last.top + strip.top))?;
                finer.push(middle);
            }
            finer.push(strip);
        }
        Some(finer)
    }

    /// The row at τ; its highest location is near `guess`.
    fn strip(&self, tau: f64, guess: f64) -> Option<Strip> {
        let sigma = tau.exp();
        let top = highest(|mu| self.at(mu, tau), guess, sigma)?;
        let there = self.at(top, tau);
        let width = if there.curve[0] < 0.0 { (-there.curve[0]).sqrt().recip() } else { sigma };
        let step = STEP * width.min(sigma);
        let (mut surfaces, above) = (self.side(top, tau, -step, &there)?, self.side(top, tau, step, &there)?);
        let from = top - step * surfaces.len() as f64;
        surfaces.reverse();
        surfaces.push(there);
        surfaces.extend(above);
        let evidence = evidence(&surfaces, there.value, step);
        let jets = surfaces.iter().map(|surface| [surface.value, surface.slope[0], surface.curve[0]]).collect();
        Some(Strip { tau, top, evidence, location: Density::new(from + self.sample.centre, step, jets) })
    }

    /// The surfaces of a row to one side of its top until nothing is left.
    fn side(&self, top: f64, tau: f64, step: f64, highest: &Surface) -> Option<Vec<Surface>> {
        let mut surfaces = Vec::new();
        for index in 1..=MOST_STEPS {
            let surface = self.at(top + step * f64::from(index), tau);
            // Not a number: where e^z is beyond what numbers hold.
            if !surface.value.is_finite() {
                return Some(surfaces);
            }
            surfaces.push(surface);
            if surface.value < highest.value - DEPTH {
                return Some(surfaces);
            }
        }
        None
    }
}

/// ln of a row's sum, with its first two derivatives by τ: those of the logarithm are means of the summands' own.
fn evidence(surfaces: &[Surface], top: f64, step: f64) -> Jet {
    let weights = || surfaces.iter().map(|surface| (surface, (surface.value - top).exp()));
    let sum: f64 = weights().map(|(_, weight)| weight).sum();
    let mean = |of: &dyn Fn(&Surface) -> f64| weights().map(|(at, weight)| weight * of(at)).sum::<f64>() / sum;
    let slope = mean(&|at| at.slope[1]);
    let curve = mean(&|at| at.curve[2] + (at.slope[1] - slope).powi(2));
    [top + (step * sum).ln(), slope, curve]
}

/// ln of the sum of all rows.
fn total(strips: &[Strip], step: f64) -> f64 {
    let top = strips.iter().map(|strip| strip.evidence[0]).fold(f64::NEG_INFINITY, f64::max);
    top + (step * strips.iter().map(|strip| (strip.evidence[0] - top).exp()).sum::<f64>()).ln()
}
