//! Cost curves as drawings.

use life::{Best, Error};

use super::refused;
use crate::chart::{Axis, Chart, Layer, Scale};
use crate::trouble::Trouble;

/// Points of a curve.
const POINTS: u32 = 200;

/// What costs more than this many times the doing of nothing only hides the rest.
const MOST: f64 = 3.0;

/// A cost curve, and what it is measured against.
pub(super) struct Costs<'a> {
    pub(super) title: &'a str,
    /// What is chosen: an age, or a time between.
    pub(super) choice: &'a str,
    /// The largest choice that is drawn.
    pub(super) far: f64,
    /// What the costs are per: `costs per unit of age`.
    pub(super) rate: &'a str,
    /// The cost rate of choosing nothing, and its name.
    pub(super) without: (f64, &'static str),
}

impl Costs<'_> {
    /// The drawing of `rate` by the choice, with the best marked.
    ///
    /// # Errors
    /// As `rate`.
    pub(super) fn chart(&self, rate: impl Fn(f64) -> Result<f64, Error>, best: Option<Best>) -> Result<Chart, Trouble> {
        let (level, name) = self.without;
        let mut layers =
            vec![Layer::Line(self.line(rate, POINTS)?), Layer::Dashed(vec![[0.0, level], [self.far, level]], name)];
        if let Some(best) = best {
            layers.push(Layer::Mark(best.age, "best".to_owned()));
            layers.push(Layer::Points(vec![[best.age, best.cost_rate]]));
        }
        Ok(Chart {
            title: self.title.to_owned(),
            says: format!("{} by the {}; the level line is {name}.", sentence(self.rate), self.choice),
            x: Axis { label: self.choice.to_owned(), scale: Scale::Linear },
            y: Axis { label: self.rate.to_owned(), scale: Scale::Linear },
            layers,
        })
    }

    /// The curve of `rate` at `points` choices.
    ///
    /// # Errors
    /// As `rate`.
    pub(super) fn line(&self, rate: impl Fn(f64) -> Result<f64, Error>, points: u32) -> Result<Vec<[f64; 2]>, Trouble> {
        let mut line = Vec::new();
        for choice in (1..=points).map(|point| self.far * f64::from(point) / f64::from(points)) {
            let rate = rate(choice).map_err(refused)?;
            if rate <= MOST * self.without.0 {
                line.push([choice, rate]);
            }
        }
        Ok(line)
    }
}

/// With a capital at its start.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
