//! Laws of life: Weibull, exponential, lognormal.
//!
//! All three are laws of location and scale in the logarithm of the age: ln T = μ + σ·Z, where Z has the smallest
//! extreme value law (Weibull, and exponential with σ = 1) or the standard normal law (lognormal). Meeker & Escobar
//! (1998), chapter 4.

use std::f64::consts::{LN_2, PI};

use libm::lgamma;

use crate::special::{erfcx, gamma_p, gamma_q, normal_cdf, normal_quantile};
use crate::{Error, positive};

/// The family of a law.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Family {
    /// Weibull: the hazard rises or falls as a power of age.
    Weibull,
    /// Exponential: the hazard does not know age.
    Exponential,
    /// Lognormal: the hazard rises and then falls.
    Lognormal,
}

impl Family {
    /// Every family.
    pub const ALL: [Family; 3] = [Family::Weibull, Family::Exponential, Family::Lognormal];

    /// Its name: `weibull`, `exponential`, `lognormal`.
    pub fn name(self) -> &'static str {
        match self {
            Family::Weibull => "weibull",
            Family::Exponential => "exponential",
            Family::Lognormal => "lognormal",
        }
    }

    /// Its name as it stands in a sentence: that of Waloddi Weibull, who described his law, begins with a capital.
    pub fn in_words(self) -> &'static str {
        if self == Family::Weibull { "Weibull" } else { self.name() }
    }

    /// How many parameters its laws have.
    pub fn parameters(self) -> u32 {
        if self == Family::Exponential { 1 } else { 2 }
    }

    /// ln S, ln f·σt and their first two derivatives, of the standard law.
    pub(crate) fn standard(self) -> Standard {
        match self {
            Family::Weibull | Family::Exponential => Standard::SmallestExtreme,
            Family::Lognormal => Standard::Normal,
        }
    }
}

/// The law of Z in ln T = μ + σ·Z.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Standard {
    /// S(z) = exp(−exp z).
    SmallestExtreme,
    /// S(z) = Φ(−z).
    Normal,
}

/// A function's value and its first two derivatives.
pub(crate) type Jet = [f64; 3];

impl Standard {
    /// ln g(z), where g is the density.
    #[inline]
    pub(crate) fn log_density(self, z: f64) -> Jet {
        match self {
            Standard::SmallestExtreme => {
                let e = z.exp();
                [z - e, 1.0 - e, -e]
            }
            Standard::Normal => [-0.5 * z * z - 0.5 * (2.0 * PI).ln(), -z, -1.0],
        }
    }

    /// ln S(z).
    #[inline]
    pub(crate) fn log_survival(self, z: f64) -> Jet {
        match self {
            Standard::SmallestExtreme => {
                let e = z.exp();
                [-e, -e, -e]
            }
            Standard::Normal => {
                let hazard = normal_hazard(z);
                [log_normal_survival(z), -hazard, -hazard * (hazard - z)]
            }
        }
    }

    /// The z at which S is `survival`, 0 < survival < 1.
    pub(crate) fn quantile_of_survival(self, survival: f64) -> f64 {
        match self {
            Standard::SmallestExtreme => (-survival.ln()).ln(),
            Standard::Normal => -normal_quantile(survival),
        }
    }
}

/// ln Φ(−z), with all its digits in both tails.
fn log_normal_survival(z: f64) -> f64 {
    if z < 0.0 {
        return (-normal_cdf(z)).ln_1p();
    }
    -0.5 * z * z + (0.5 * erfcx(z / std::f64::consts::SQRT_2)).ln()
}

/// φ(z)/Φ(−z), the hazard of the normal law.
fn normal_hazard(z: f64) -> f64 {
    if z < -5.0 {
        return (-0.5 * z * z).exp() / (2.0 * PI).sqrt() / normal_cdf(-z);
    }
    // √(2/π)/erfcx(z/√2); erfcx of a negative number is 2·exp(x²) − erfcx(−x).
    let x = z / std::f64::consts::SQRT_2;
    let scaled = if x < 0.0 { 2.0 * (x * x).exp() - erfcx(-x) } else { erfcx(x) };
    (2.0 / PI).sqrt() / scaled
}

/// A law of life.
///
/// # Example
/// ```
/// # fn main() -> Result<(), life::Error> {
/// let law = life::Law::weibull(2.5, 1000.0)?;
/// assert!((law.survival(500.0) - 0.8379668856).abs() < 1e-9);
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Law {
    family: Family,
    /// μ.
    location: f64,
    /// σ.
    spread: f64,
}

impl Law {
    /// The Weibull law with shape β and scale η: S(t) = exp(−(t/η)^β).
    ///
    /// # Errors
    /// If either is not positive and finite.
    pub fn weibull(shape: f64, scale: f64) -> Result<Law, Error> {
        let (shape, scale) = (positive("the shape", shape)?, positive("the scale", scale)?);
        Ok(Law { family: Family::Weibull, location: scale.ln(), spread: 1.0 / shape })
    }

    /// The exponential law with this mean.
    ///
    /// # Errors
    /// If it is not positive and finite.
    pub fn exponential(mean: f64) -> Result<Law, Error> {
        Ok(Law { family: Family::Exponential, location: positive("the mean", mean)?.ln(), spread: 1.0 })
    }

    /// The lognormal law: ln T is normal with mean `mu` and standard deviation `sigma`.
    ///
    /// # Errors
    /// If sigma is not positive and finite, or mu not finite.
    pub fn lognormal(mu: f64, sigma: f64) -> Result<Law, Error> {
        positive("exp(mu)", mu.exp())?;
        Ok(Law { family: Family::Lognormal, location: mu, spread: positive("sigma", sigma)? })
    }

    /// The law of `family` with ln T = location + spread·Z.
    pub(crate) fn of(family: Family, location: f64, spread: f64) -> Law {
        Law { family, location, spread }
    }

    /// Its family.
    pub fn family(&self) -> Family {
        self.family
    }

    /// μ, the location of ln T: ln η for a Weibull law.
    pub fn location(&self) -> f64 {
        self.location
    }

    /// σ, the scale of ln T: 1/β for a Weibull law.
    pub fn spread(&self) -> f64 {
        self.spread
    }

    /// β = 1/σ, the Weibull shape; 1 for an exponential law.
    pub fn shape(&self) -> f64 {
        1.0 / self.spread
    }

    /// η = exp μ: the Weibull scale, the exponential mean, the lognormal median.
    pub fn scale(&self) -> f64 {
        self.location.exp()
    }

    fn z(&self, age: f64) -> f64 {
        (age.ln() - self.location) / self.spread
    }

    /// ln S(t), 0 for t ≤ 0.
    pub fn log_survival(&self, age: f64) -> f64 {
        if age <= 0.0 { 0.0 } else { self.family.standard().log_survival(self.z(age))[0] }
    }

    /// S(t), the chance to be good at that age (the reliability).
    pub fn survival(&self, age: f64) -> f64 {
        self.log_survival(age).exp()
    }

    /// F(t) = 1 − S(t), with its digits where it is small.
    pub fn failed_by(&self, age: f64) -> f64 {
        -self.log_survival(age).exp_m1()
    }

    /// H(t) = −ln S(t), the cumulative hazard.
    pub fn cumulative_hazard(&self, age: f64) -> f64 {
        -self.log_survival(age)
    }

    /// f(t), the density; 0 for t < 0.
    pub fn density(&self, age: f64) -> f64 {
        if age <= 0.0 {
            return if age == 0.0 { self.hazard(0.0) } else { 0.0 };
        }
        self.family.standard().log_density(self.z(age))[0].exp() / (self.spread * age)
    }

    /// h(t) = f(t)/S(t), the hazard: failures per unit of age among those still good.
    pub fn hazard(&self, age: f64) -> f64 {
        if age <= 0.0 {
            // The limit from above.
            let limit = |shape: f64| {
                if shape < 1.0 {
                    f64::INFINITY
                } else if shape > 1.0 {
                    0.0
                } else {
                    1.0 / self.scale()
                }
            };
            return if self.family == Family::Lognormal { 0.0 } else { limit(self.shape()) };
        }
        -self.family.standard().log_survival(self.z(age))[1] / (self.spread * age)
    }

    /// The age by which a share `failed` has failed: B10 for 0.1.
    ///
    /// # Errors
    /// If it does not lie between 0 and 1.
    pub fn quantile(&self, failed: f64) -> Result<f64, Error> {
        if !(0.0 < failed && failed < 1.0) {
            return Err(Error::NotAChance { got: failed });
        }
        Ok((self.location + self.spread * self.quantile_z(failed)).exp())
    }

    /// z at which the standard law has failed by `failed`.
    fn quantile_z(&self, failed: f64) -> f64 {
        match self.family {
            // ln(−ln(1 − p)) keeps its digits for a small p this way.
            Family::Weibull | Family::Exponential => (-(-failed).ln_1p()).ln(),
            Family::Lognormal => normal_quantile(failed),
        }
    }

    /// The mean life. Weibull: η·Γ(1 + 1/β); lognormal: exp(μ + σ²/2).
    pub fn mean(&self) -> f64 {
        match self.family {
            Family::Exponential => self.scale(),
            Family::Weibull => (self.location + lgamma(1.0 + self.spread)).exp(),
            Family::Lognormal => (self.location + 0.5 * self.spread * self.spread).exp(),
        }
    }

    /// The standard deviation of life.
    pub fn std_dev(&self) -> f64 {
        match self.family {
            Family::Exponential => self.scale(),
            Family::Weibull => {
                let (first, second) = (lgamma(1.0 + self.spread), lgamma(1.0 + 2.0 * self.spread));
                self.scale() * (2.0 * first).exp().sqrt() * (second - 2.0 * first).exp_m1().sqrt()
            }
            Family::Lognormal => self.mean() * (self.spread * self.spread).exp_m1().sqrt(),
        }
    }

    /// The chance to be good at `age + span` for one that is good at `age`.
    pub fn survival_given(&self, age: f64, span: f64) -> f64 {
        (self.log_survival(age + span) - self.log_survival(age)).exp()
    }

    /// The span after `age` in which a share `failed` of those good at `age` fail.
    ///
    /// # Errors
    /// If `failed` does not lie between 0 and 1.
    pub fn residual_quantile(&self, age: f64, failed: f64) -> Result<f64, Error> {
        if !(0.0 < failed && failed < 1.0) {
            return Err(Error::NotAChance { got: failed });
        }
        let log_survival = self.log_survival(age) + (-failed).ln_1p();
        let z = match self.family {
            Family::Weibull | Family::Exponential => (-log_survival).ln(),
            Family::Lognormal => -normal_quantile_of_log(log_survival),
        };
        Ok(((self.location + self.spread * z).exp() - age).max(0.0))
    }

    /// The mean residual life at `age`: ∫ S(u) du from there, over S(age).
    ///
    /// # Formula
    /// Weibull: (η/β)·Γ(1/β, H(age))/S(age); lognormal: exp(μ + σ²/2)·Φ(σ − z)/Φ(−z) − age.
    pub fn mean_residual(&self, age: f64) -> f64 {
        if age <= 0.0 {
            return self.mean();
        }
        match self.family {
            Family::Exponential => self.scale(),
            Family::Weibull => {
                let hazard = self.cumulative_hazard(age);
                if hazard < 600.0 {
                    self.mean() * gamma_q(self.spread, hazard) * hazard.exp()
                } else {
                    // Γ(a, x)·eˣ = x^(a−1)·(1 + (a−1)/x + …), far out where both factors leave the range of numbers.
                    self.scale() * self.spread * hazard.powf(self.spread - 1.0) * (1.0 + (self.spread - 1.0) / hazard)
                }
            }
            Family::Lognormal => {
                let z = self.z(age);
                let mean = self.location + 0.5 * self.spread * self.spread;
                (mean + log_normal_survival(z - self.spread) - log_normal_survival(z)).exp() - age
            }
        }
    }

    /// ∫ S(u) du from 0 to `age`: how much of a life is used on average if parts go at that age at the latest.
    pub fn mean_up_to(&self, age: f64) -> f64 {
        if age <= 0.0 {
            return 0.0;
        }
        match self.family {
            Family::Exponential => -self.scale() * (-age / self.scale()).exp_m1(),
            Family::Weibull => self.mean() * gamma_p(self.spread, self.cumulative_hazard(age)),
            Family::Lognormal => {
                let z = self.z(age);
                self.mean() * normal_cdf(z - self.spread) + age * normal_cdf(-z)
            }
        }
    }

    /// The median life.
    pub fn median(&self) -> f64 {
        match self.family {
            Family::Lognormal => self.scale(),
            _ => self.scale() * LN_2.powf(self.spread),
        }
    }
}

/// The normal quantile of exp(`log_chance`), which may be too small for a number.
fn normal_quantile_of_log(log_chance: f64) -> f64 {
    if log_chance > -700.0 {
        return normal_quantile(log_chance.exp());
    }
    // Newton on ln Φ from the leading term of its tail: the slope is the hazard.
    let mut z = -(-2.0 * log_chance).sqrt();
    for _ in 0..8 {
        z -= (log_normal_survival(-z) - log_chance) / normal_hazard(-z);
    }
    z
}
