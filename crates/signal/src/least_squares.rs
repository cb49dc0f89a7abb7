//! Linear least squares: small systems, and straight lines.

use crate::error::{at_least, finite};
use crate::{Estimate, SignalError};

/// Solves the symmetric positive definite `matrix` (rows one after another) for `right` by Cholesky's method.
/// `None` where columns can't be told apart.
pub(crate) fn solve(mut matrix: Vec<f64>, mut right: Vec<f64>) -> Option<Vec<f64>> {
    let n = right.len();
    for j in 0..n {
        let own = matrix[j * n + j];
        let pivot = own - (0..j).map(|k| matrix[j * n + k].powi(2)).sum::<f64>();
        // A column that others make up to a part in 1e10 would be fitted with rounding errors.
        if pivot <= own * 1e-10 || pivot.is_nan() {
            return None;
        }
        matrix[j * n + j] = pivot.sqrt();
        for i in j + 1..n {
            let rest = matrix[i * n + j] - (0..j).map(|k| matrix[i * n + k] * matrix[j * n + k]).sum::<f64>();
            matrix[i * n + j] = rest / matrix[j * n + j];
        }
    }
    for i in 0..n {
        let rest = right[i] - (0..i).map(|k| matrix[i * n + k] * right[k]).sum::<f64>();
        right[i] = rest / matrix[i * n + i];
    }
    for i in (0..n).rev() {
        let rest = right[i] - (i + 1..n).map(|k| matrix[k * n + i] * right[k]).sum::<f64>();
        right[i] = rest / matrix[i * n + i];
    }
    Some(right)
}

/// A straight line through points by ordinary least squares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// The value at zero.
    pub intercept: Estimate,
    /// The growth for each unit.
    pub slope: Estimate,
    /// The standard deviation of the points about the line.
    pub scatter: f64,
}

impl Line {
    /// Fits a line.
    ///
    /// # Formula
    /// b = Σ(x − x̄)(y − ȳ)/Σ(x − x̄)², u(b) = s/√Σ(x − x̄)², u(a) = s·√(1/n + x̄²/Σ(x − x̄)²), s² = Σr²/(n − 2);
    /// Draper & Smith (1998), Applied Regression Analysis, chapter 1.
    ///
    /// # Errors
    /// If there are fewer than three points, one is not finite, or all stand at the same x.
    pub fn fit(what: &'static str, points: &[(f64, f64)]) -> Result<Line, SignalError> {
        at_least(what, points.len(), 3)?;
        for &(x, y) in points {
            finite(what, x)?;
            finite(what, y)?;
        }
        let n = points.len() as f64;
        let mean_x = points.iter().map(|point| point.0).sum::<f64>() / n;
        let mean_y = points.iter().map(|point| point.1).sum::<f64>() / n;
        let spread: f64 = points.iter().map(|point| (point.0 - mean_x).powi(2)).sum();
        if spread <= n * (mean_x.abs() * 1e-12).powi(2) {
            return Err(SignalError::TooFew { what: "different places along the line", got: 1, needed: 2 });
        }
        let slope = points.iter().map(|point| (point.0 - mean_x) * (point.1 - mean_y)).sum::<f64>() / spread;
        let intercept = mean_y - slope * mean_x;
        let squares: f64 = points.iter().map(|point| (point.1 - intercept - slope * point.0).powi(2)).sum();
        let degrees_of_freedom = n - 2.0;
        let scatter = (squares / degrees_of_freedom).sqrt();
        let with = |value, uncertainty| Estimate { value, uncertainty, degrees_of_freedom };
        Ok(Line {
            intercept: with(intercept, scatter * (1.0 / n + mean_x * mean_x / spread).sqrt()),
            slope: with(slope, scatter / spread.sqrt()),
            scatter,
        })
    }

    /// The line's value at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.intercept.value + self.slope.value * x
    }
}
