//! Fitting laws to life data by maximum likelihood.
//!
//! Meeker & Escobar (1998), chapters 7, 8 and 11; Lawless (2003), Statistical Models and Methods for Lifetime Data,
//! chapters 3 to 5.

use crate::data::Life;
use crate::law::{Family, Law};
use crate::special::normal_quantile;
use crate::surface::{Sample, Surface};
use crate::{Error, Level};

/// A law fitted to life data.
#[derive(Clone, Debug)]
pub struct Fit {
    pub(crate) sample: Sample,
    /// μ from the sample's centre, and τ = ln σ.
    pub(crate) at: [f64; 2],
    pub(crate) family: Family,
    log_likelihood: f64,
    /// Of (μ, τ): the inverse of the observed information; τ's are 0 where σ is not fitted.
    pub(crate) covariance: [f64; 3],
}

/// Why no law could be fitted.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoFit {
    /// There are no failures: lives can only be bounded from below (see [`crate::mtbf`] and [`crate::bayes`]).
    #[error("there is no failure among the lives, so they give no life but only a lower bound for it")]
    NoFailures,
    /// Everything was found failed at its first look, and nothing was ever seen good.
    #[error("every life was found failed at its first look, so they give no life but only an upper bound for it")]
    NeverGood,
    /// The failures are all at the last age, or share one interval: the likelihood grows without end as the law narrows.
    #[error(
        "the failures do not differ in age, and no life is longer: the shape could be of any size from about {at_least:.0} \
         up, so that it must be assumed"
    )]
    ShapeUnbounded {
        /// The largest shape that was tried.
        at_least: f64,
    },
    /// The likelihood grows without end as the law widens.
    #[error("the lives fit better the wider the law is, so that they do not tell its shape: it must be assumed")]
    Flat,
}

/// The narrowest and the widest spread that is tried: Weibull shapes from 2000 to 0.01.
pub(crate) const TAU: [f64; 2] = [-7.6, 4.6];

impl Fit {
    /// Fits a law of `family`.
    ///
    /// # Errors
    /// [`NoFit`], where the likelihood has no maximum.
    ///
    /// # Example
    /// ```
    /// use life::{End, Family, Fit, Life};
    /// // Lieblein & Zelen (1956): ball bearings, the first five.
    /// let lives: Vec<Life> = [17.88, 28.92, 33.0, 41.52, 42.12].iter().map(|&t| Life::new(End::Failed(t)).unwrap()).collect();
    /// let fit = Fit::new(&lives, Family::Weibull).unwrap();
    /// assert!(fit.law().shape() > 1.0);
    /// ```
    pub fn new(lives: &[Life], family: Family) -> Result<Fit, NoFit> {
        let sample = usable(lives, family)?;
        match family {
            Family::Exponential => Fit::with_spread(sample, family, 0.0).ok_or(NoFit::Flat),
            _ => Fit::of_both(sample, family),
        }
    }

    /// Fits the scale of a Weibull law of known shape (common practice calls it a one-parameter Weibull fit).
    ///
    /// # Errors
    /// No failures; a shape that is not positive and finite, as [`NoFit::Flat`].
    pub fn with_shape(lives: &[Life], shape: f64) -> Result<Fit, NoFit> {
        Fit::with_spread(usable(lives, Family::Weibull)?, Family::Weibull, -shape.ln()).ok_or(NoFit::Flat)
    }

    /// The best location at that spread.
    fn with_spread(sample: Sample, family: Family, tau: f64) -> Option<Fit> {
        let mu = best_location(&sample, tau)?;
        let surface = sample.at(mu, tau);
        let covariance = [-1.0 / surface.curve[0], 0.0, 0.0];
        Some(Fit { at: [mu, tau], family, log_likelihood: surface.value, covariance, sample })
    }

    fn of_both(sample: Sample, family: Family) -> Result<Fit, NoFit> {
        let start = sample.width.clamp(0.02, 3.0).ln();
        let at = match climb(&sample, start) {
            Some(at) => at,
            None => ridge(&sample)?,
        };
        let surface = sample.at(at[0], at[1]);
        let covariance = inverse(surface.curve).ok_or(NoFit::Flat)?;
        Ok(Fit { at, family, log_likelihood: surface.value, covariance, sample })
    }

    /// The law.
    pub fn law(&self) -> Law {
        Law::of(self.family, self.at[0] + self.sample.centre, self.at[1].exp())
    }

    /// The largest log-likelihood, in the unit of the ages.
    pub fn log_likelihood(&self) -> f64 {
        self.log_likelihood
    }

    /// Failures, by count.
    pub fn failures(&self) -> f64 {
        self.sample.failures
    }

    /// Akaike's information criterion: 2k − 2·ln L. The smaller, the better.
    pub fn aic(&self) -> f64 {
        2.0 * f64::from(self.family.parameters()) - 2.0 * self.log_likelihood
    }

    /// The covariance of (μ, ln σ) by the observed information: var μ, cov, var ln σ.
    pub fn covariance(&self) -> [f64; 3] {
        self.covariance
    }

    /// The standard error of the shape β (0 where it was not fitted).
    pub fn shape_error(&self) -> f64 {
        self.law().shape() * self.covariance[2].sqrt()
    }

    /// The standard error of the scale η = exp μ.
    pub fn scale_error(&self) -> f64 {
        self.law().scale() * self.covariance[0].sqrt()
    }

    /// The standard error of μ.
    pub fn location_error(&self) -> f64 {
        self.covariance[0].sqrt()
    }

    /// The standard error of σ (0 where it was not fitted).
    pub fn spread_error(&self) -> f64 {
        self.law().spread() * self.covariance[2].sqrt()
    }

    /// The standard error of the age by which a share `failed` has failed, by the delta method.
    ///
    /// # Errors
    /// If `failed` does not lie between 0 and 1.
    pub fn quantile_error(&self, failed: f64) -> Result<f64, Error> {
        Ok(self.law().quantile(failed)? * self.log_quantile_error(failed))
    }

    /// The standard error of ln of a quantile: of μ + σ·q.
    fn log_quantile_error(&self, failed: f64) -> f64 {
        let q = self.family.standard().quantile_of_survival(1.0 - failed) * self.at[1].exp();
        let [mu, both, tau] = self.covariance;
        (mu + 2.0 * q * both + q * q * tau).sqrt()
    }

    /// Bounds of the shape by its logarithm's standard error (Wald): β·exp(± z·se(ln β)).
    pub fn wald_shape(&self, level: Level) -> [f64; 2] {
        around_log(self.law().shape(), self.covariance[2].sqrt(), level)
    }

    /// As [`Fit::wald_shape`], of the spread σ.
    pub fn wald_spread(&self, level: Level) -> [f64; 2] {
        around_log(self.law().spread(), self.covariance[2].sqrt(), level)
    }

    /// As [`Fit::wald_shape`], of the scale η.
    pub fn wald_scale(&self, level: Level) -> [f64; 2] {
        around_log(self.law().scale(), self.covariance[0].sqrt(), level)
    }

    /// Bounds of the location μ: μ ± z·se(μ).
    pub fn wald_location(&self, level: Level) -> [f64; 2] {
        let width = level.z() * self.location_error();
        [self.law().location() - width, self.law().location() + width]
    }

    /// As [`Fit::wald_shape`], of a quantile.
    ///
    /// # Errors
    /// If `failed` does not lie between 0 and 1.
    pub fn wald_quantile(&self, failed: f64, level: Level) -> Result<[f64; 2], Error> {
        Ok(around_log(self.law().quantile(failed)?, self.log_quantile_error(failed), level))
    }
}

/// The lives made ready, if they bound life on both sides.
fn usable(lives: &[Life], family: Family) -> Result<Sample, NoFit> {
    if !lives.iter().any(|life| life.end().is_failure()) {
        return Err(NoFit::NoFailures);
    }
    let is_bounded = lives.iter().any(Life::was_seen_good);
    if is_bounded { Ok(Sample::new(lives, family.standard())) } else { Err(NoFit::NeverGood) }
}

fn around_log(value: f64, error: f64, level: Level) -> [f64; 2] {
    let factor = (level.z() * error).exp();
    [value / factor, value * factor]
}

impl Level {
    /// The normal quantile of a two-sided band of this level.
    pub(crate) fn z(self) -> f64 {
        -normal_quantile(0.5 * (1.0 - self.get()))
    }
}

/// A Newton step shorter than this, in spreads, is the last: its error is squared.
const SURE: f64 = 1e-8;

/// The location with the highest likelihood at that spread.
pub(crate) fn best_location(sample: &Sample, tau: f64) -> Option<f64> {
    highest(|mu| sample.at(mu, tau), 0.0, tau.exp())
}

/// The location at which a surface is highest, with that spread held: Newton's method, halved where it oversteps.
pub(crate) fn highest(surface: impl Fn(f64) -> Surface, start: f64, sigma: f64) -> Option<f64> {
    let mut mu = start;
    let mut here = surface(mu);
    for _ in 0..200 {
        if !here.value.is_finite() {
            // The start lies where the lives are impossible to a number's digits: go towards longer lives.
            mu += 10.0 * sigma;
            here = surface(mu);
            continue;
        }
        let step = newton(here.slope[0], here.curve[0], 3.0 * sigma);
        if step.abs() < SURE * sigma {
            return Some(mu + step);
        }
        let Some((share, there)) = halved(&here, |share| surface(mu + share * step)) else { return Some(mu) };
        mu += share * step;
        here = there;
    }
    None
}

/// A step uphill: Newton's where the surface is arched, else along the slope; never longer than `most`.
fn newton(slope: f64, curve: f64, most: f64) -> f64 {
    let step = if curve < 0.0 { -slope / curve } else { slope.signum() * most };
    step.clamp(-most, most)
}

/// The largest of the shares 1, ½, ¼ … of a step that does not lead downhill, with the surface there.
fn halved(here: &Surface, there: impl Fn(f64) -> Surface) -> Option<(f64, Surface)> {
    let slack = 1e-14 * here.value.abs();
    let mut share = 1.0;
    for _ in 0..50 {
        let surface = there(share);
        if here.value - slack <= surface.value {
            return Some((share, surface));
        }
        share *= 0.5;
    }
    None
}

/// Climbs from a spread to the top by Newton's method in both parameters; `None` if it leads out of bounds.
fn climb(sample: &Sample, tau: f64) -> Option<[f64; 2]> {
    let mut at = [best_location(sample, tau)?, tau];
    let mut here = sample.at(at[0], at[1]);
    for _ in 0..100 {
        let sigma = at[1].exp();
        let [a, b, c] = here.curve;
        let arched = a < 0.0 && b * b < a * c;
        let step = match arched {
            true => {
                let scale = a * c - b * b;
                [(b * here.slope[1] - c * here.slope[0]) / scale, (b * here.slope[0] - a * here.slope[1]) / scale]
            }
            // Along the ridge: the spread by its slope, the location after it.
            false => [newton(here.slope[0], a, 3.0 * sigma), here.slope[1].signum() * 0.5],
        };
        let length = (step[0] / sigma).abs().max(step[1].abs());
        if arched && length < SURE {
            return Some([at[0] + step[0], at[1] + step[1]]);
        }
        let shrink = (1.0 / length).min(1.0);
        let step = [step[0] * shrink, step[1] * shrink];
        let to = |share: f64| [at[0] + share * step[0], at[1] + share * step[1]];
        let next = halved(&here, |share| sample.at(to(share)[0], to(share)[1]));
        let Some((share, surface)) = next else { return Some(at).filter(|_| arched && length < 1e-7) };
        at = to(share);
        here = surface;
        if !(TAU[0]..=TAU[1]).contains(&at[1]) {
            return None;
        }
    }
    None
}

/// Walks the whole ridge of best locations for its highest point, and climbs from there; slower, and sure.
fn ridge(sample: &Sample) -> Result<[f64; 2], NoFit> {
    const STEPS: u32 = 60;
    let taus = (0..=STEPS).map(|step| TAU[0] + (TAU[1] - TAU[0]) * f64::from(step) / f64::from(STEPS));
    let points: Vec<(f64, f64)> = taus
        .filter_map(|tau| {
            let mu = best_location(sample, tau)?;
            Some((tau, sample.at(mu, tau).value)).filter(|(_, value)| value.is_finite())
        })
        .collect();
    let (best, &(tau, _)) =
        points.iter().enumerate().max_by(|(_, one), (_, other)| one.1.total_cmp(&other.1)).ok_or(NoFit::Flat)?;
    if let Some(at) = climb(sample, tau) {
        return Ok(at);
    }
    match best {
        0 => Err(NoFit::ShapeUnbounded { at_least: (-tau).exp() }),
        _ if tau < -2.0 => Err(NoFit::ShapeUnbounded { at_least: (-tau).exp() }),
        _ => Err(NoFit::Flat),
    }
}

/// The inverse of −`curve`, as a symmetric matrix; `None` if it is not positive definite.
fn inverse([a, b, c]: [f64; 3]) -> Option<[f64; 3]> {
    let determinant = a * c - b * b;
    (a < 0.0 && 0.0 < determinant).then(|| [-c / determinant, b / determinant, -a / determinant])
}
