//! Comparing fits: is a simpler law enough, which family is the likeliest, may groups be pooled?
//!
//! # Formula
//! Likelihood ratio: 2·(ln L of the wider model − ln L of the narrower) is nearly chi-square with as many degrees of
//! freedom as the wider one has parameters more (Wilks (1938), Annals of Mathematical Statistics 9: 60–62; Lawless (2003),
//! section 4.3.3 for the common shape). Akaike weights: exp(−Δ/2) over the sum of them (Burnham & Anderson (2002), Model
//! Selection and Multimodel Inference, section 2.9).

use crate::data::{Life, failures};
use crate::fit::{Fit, NoFit, TAU, best_location};
use crate::law::Family;
use crate::quadrature::crossing;
use crate::special::gamma_q;
use crate::surface::{Sample, Surface};

/// The outcome of a likelihood-ratio test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    /// Twice the gain in log-likelihood.
    pub statistic: f64,
    /// Degrees of freedom.
    pub freedom: u32,
    /// The chance of a gain at least as large if the simpler model holds (p-value); small with few lives only by luck.
    pub chance: f64,
}

impl Ratio {
    fn new(gain: f64, freedom: u32) -> Ratio {
        // The simpler model can't be the better one; below 0 is rounding.
        let statistic = (2.0 * gain).max(0.0);
        Ratio { statistic, freedom, chance: gamma_q(0.5 * f64::from(freedom), 0.5 * statistic) }
    }
}

/// Tests whether failures know age: exponential against Weibull.
///
/// # Errors
/// As [`Fit::new`].
pub fn age_matters(lives: &[Life]) -> Result<Ratio, NoFit> {
    let (wide, narrow) = (Fit::new(lives, Family::Weibull)?, Fit::new(lives, Family::Exponential)?);
    Ok(Ratio::new(wide.log_likelihood() - narrow.log_likelihood(), 1))
}

/// One family in the table of [`families`].
#[derive(Clone, Debug)]
pub struct Candidate {
    /// The family.
    pub family: Family,
    /// Its best fit, or why there is none.
    pub fit: Result<Fit, NoFit>,
    /// Its Akaike weight: its share of the evidence among those fitted; 0 without a fit.
    pub weight: f64,
}

/// Fits every family: the likeliest first, those that can't be fitted last.
pub fn families(lives: &[Life]) -> Vec<Candidate> {
    let fits = Family::ALL.map(|family| (family, Fit::new(lives, family)));
    let aic = |fit: &Result<Fit, NoFit>| fit.as_ref().map_or(f64::INFINITY, Fit::aic);
    let best = fits.iter().map(|(_, fit)| aic(fit)).fold(f64::INFINITY, f64::min);
    let evidence = |fit: &Result<Fit, NoFit>| fit.as_ref().map_or(0.0, |fit| (0.5 * (best - fit.aic())).exp());
    let sum: f64 = fits.iter().map(|(_, fit)| evidence(fit)).sum();
    let mut candidates = fits.map(|(family, fit)| Candidate {
        family,
        weight: if fit.is_ok() { evidence(&fit) / sum } else { 0.0 },
        fit,
    });
    candidates.sort_by(|one, other| aic(&one.fit).total_cmp(&aic(&other.fit)));
    candidates.into()
}

/// Whether groups have the same Weibull law, if their shape is the same.
#[derive(Clone, Debug, PartialEq)]
pub struct Pooling {
    /// One scale for all against a scale for each group. For few failures the chance is rough.
    pub ratio: Ratio,
    /// The shape that suits all groups best, each with its own scale.
    pub shape: f64,
    /// Each group's scale at that shape; `None` where its lives do not bound it (nothing failed, or nothing was ever seen
    /// good).
    pub scales: Vec<Option<f64>>,
    /// The shape and the scale of all groups as one.
    pub pooled: [f64; 2],
}

/// Why groups can't be tested.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoTest {
    /// Fewer than two groups in which anything was watched.
    #[error("found {groups} groups with lives that were watched for any time, but a comparison takes two")]
    TooFewGroups {
        /// How many there are.
        groups: usize,
    },
    /// All groups together, or the groups with a common shape, can't be fitted.
    #[error(transparent)]
    NoFit(#[from] NoFit),
}

/// Tests whether groups may be pooled: common shape, one scale against a scale for each.
///
/// A group without failures has its best likelihood, 1, at a scale without end: it counts among the degrees of freedom as
/// any other, which makes the test shy of saying that they differ. Groups in which nothing was watched are left out.
///
/// # Errors
/// [`NoTest`].
pub fn pooling(groups: &[&[Life]]) -> Result<Pooling, NoTest> {
    let watched = groups.iter().filter(|lives| lives.iter().any(tells)).count();
    if watched < 2 {
        return Err(NoTest::TooFewGroups { groups: watched });
    }
    let all: Vec<Life> = groups.concat();
    let pooled = Fit::new(&all, Family::Weibull)?;
    let samples: Vec<Option<Sample>> = groups.iter().map(|lives| sample_of(lives)).collect();
    let bounded: Vec<&Sample> = samples.iter().flatten().collect();
    let tau = common_spread(&bounded)?;
    // OK because the watched groups are at most as many as a slice holds in a test anyone would run.
    let freedom = u32::try_from(watched - 1).unwrap_or(u32::MAX);
    let scale = |sample: &Sample| Some((best_location(sample, tau)? + sample.centre).exp());
    Ok(Pooling {
        ratio: Ratio::new(ridge(&bounded, tau).value - pooled.log_likelihood(), freedom),
        shape: (-tau).exp(),
        scales: samples.iter().map(|sample| sample.as_ref().and_then(scale)).collect(),
        pooled: [pooled.law().shape(), pooled.law().scale()],
    })
}

/// Whether a life says anything of a law.
fn tells(life: &Life) -> bool {
    life.end().is_failure() || life.entry() < life.end().last()
}

/// The lives made ready, if they bound the scale on both sides.
fn sample_of(lives: &[Life]) -> Option<Sample> {
    (0.0 < failures(lives) && lives.iter().any(Life::was_seen_good))
        .then(|| Sample::new(lives, Family::Weibull.standard()))
}

/// The sum of the groups' best log-likelihoods at τ and its slope: the best location's own slope is nothing.
struct Ridge {
    value: f64,
    slope: f64,
}

fn ridge(samples: &[&Sample], tau: f64) -> Ridge {
    let best = |sample: &&Sample| -> Option<Surface> { Some(sample.at(best_location(sample, tau)?, tau)) };
    let add = |sum: Ridge, surface: Option<Surface>| match surface {
        Some(surface) => Ridge { value: sum.value + surface.value, slope: sum.slope + surface.slope[1] },
        None => Ridge { value: f64::NEG_INFINITY, slope: f64::NAN },
    };
    samples.iter().map(best).fold(Ridge { value: 0.0, slope: 0.0 }, add)
}

/// τ of the common shape: the best of even steps, then where the slope crosses nothing beside it.
fn common_spread(samples: &[&Sample]) -> Result<f64, NoFit> {
    const STEPS: u32 = 60;
    let tau = |step: usize| TAU[0] + (TAU[1] - TAU[0]) * step as f64 / f64::from(STEPS);
    let values: Vec<f64> = (0..=STEPS as usize).map(|step| ridge(samples, tau(step)).value).collect();
    let by_value = |&one: &usize, &other: &usize| values[one].total_cmp(&values[other]);
    let finite = (0..values.len()).filter(|&step| values[step].is_finite());
    let best = finite.max_by(by_value).ok_or(NoFit::Flat)?;
    let is_inside = 0 < best && best < values.len() - 1;
    let slope = |tau: f64| ridge(samples, tau).slope;
    match is_inside.then(|| (tau(best - 1), tau(best + 1))) {
        Some((low, high)) if 0.0 < slope(low) && slope(high) < 0.0 => Ok(crossing(slope, low, high)),
        _ if tau(best) < -2.0 => Err(NoFit::ShapeUnbounded { at_least: (-tau(best)).exp() }),
        _ => Err(NoFit::Flat),
    }
}
