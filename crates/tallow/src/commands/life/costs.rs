//! Cost curves as drawings.

use life::{Best, Bounds, Error};

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

/// Adds to a cost curve what the lives leave open of the best age: an area from end to end, each end named. Where they leave
/// open that there is no best age at all, the area goes to the end of the curve.
pub(in crate::commands) fn with_band(mut chart: Chart, age: Bounds) -> Chart {
    let Some(lower) = age.lower else { return chart };
    let all = || {
        chart.layers.iter().filter_map(|layer| if let Layer::Line(line) = layer { Some(line) } else { None }).flatten()
    };
    let far = all().map(|point| point[0]).fold(0.0, f64::max);
    let [low, high] =
        [all().map(|point| point[1]).fold(f64::MAX, f64::min), all().map(|point| point[1]).fold(0.0, f64::max)];
    if far <= lower {
        return chart;
    }
    let upper = age.upper.filter(|upper| *upper <= far);
    chart.layers.insert(
        0,
        Layer::Band(vec![[lower, low, high], [upper.unwrap_or(far), low, high]], "the best age may lie here"),
    );
    chart.layers.push(Layer::Mark(lower, "best at least".to_owned()));
    chart.layers.extend(upper.map(|upper| Layer::Mark(upper, "best at most".to_owned())));
    chart.says += " The grey area is what the lives leave open of the best age.";
    chart
}

/// With a capital at its start.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
