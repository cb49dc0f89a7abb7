//! Backlash, squareness, and the pull of two belts against each other.

use crate::error::positive;
use crate::estimate::propagate;
use crate::{Estimate, SignalError};

/// Backlash, in mm: the mean of positions reached from above less that of those reached from below.
///
/// # Formula
/// B = x̄↓ − x̄↑ after ISO 230-2 (reversal value; its sign is the standard's, turned so that lost motion is positive when
/// positions from above read higher); u² = s↑²/n↑ + s↓²/n↓.
///
/// # Errors
/// If either has fewer than two readings, or one is not finite.
pub fn backlash(from_below_mm: &[f64], from_above_mm: &[f64]) -> Result<Estimate, SignalError> {
    let below = Estimate::mean("readings reached from below", from_below_mm)?;
    let above = Estimate::mean("readings reached from above", from_above_mm)?;
    Ok(above.less(&below))
}

/// How far from square a printed square is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Squareness {
    /// The corner's angle less 90°, in degrees; negative where the first diagonal is the longer.
    pub angle_deg: Estimate,
    /// The same as a slope, in mm for each 100 mm.
    pub mm_per_100_mm: Estimate,
}

/// The squareness of two axes from a printed square's diagonals and side, all in mm.
///
/// The first diagonal begins at the corner whose angle is told.
///
/// # Formula
/// In a rhombus d₁² − d₂² = 4 s² cos γ (law of cosines, Euclid II.12–13), so cos γ = (d₁² − d₂²)/(4s²); the error is
/// asin(cos γ) away from 90°, its slope 100·tan of that.
///
/// # Errors
/// If a length is not positive, or the three can't belong to one square.
pub fn squareness(first_mm: Estimate, second_mm: Estimate, side_mm: Estimate) -> Result<Squareness, SignalError> {
    let first = positive("the first diagonal (mm)", first_mm.value)?;
    let second = positive("the second diagonal (mm)", second_mm.value)?;
    let side = positive("the side (mm)", side_mm.value)?;
    // d₁² + d₂² = 4 s² in any rhombus; a tenth off is a slip of the pen.
    let ratio = (first * first + second * second) / (4.0 * side * side);
    if !(0.9 < ratio && ratio < 1.1) {
        let what = "the diagonals' squares over four times the side's";
        return Err(SignalError::OutOfRange { what, got: ratio, from: 0.9, to: 1.1 });
    }
    let cosine = (first * first - second * second) / (4.0 * side * side);
    if 0.5 <= cosine.abs() {
        return Err(SignalError::OutOfRange { what: "the cosine of the corner", got: cosine, from: -0.5, to: 0.5 });
    }
    let cosine = propagate(
        cosine,
        &[
            (first / (2.0 * side * side), first_mm),
            (-second / (2.0 * side * side), second_mm),
            (-2.0 * cosine / side, side_mm),
        ],
    );
    let share = 1.0 - cosine.value * cosine.value;
    let angle = -cosine.value.asin().to_degrees();
    let slope = -100.0 * cosine.value / share.sqrt();
    Ok(Squareness {
        angle_deg: propagate(angle, &[((1.0 / share.sqrt()).to_degrees(), cosine)]),
        mm_per_100_mm: propagate(slope, &[(100.0 * share.powf(-1.5), cosine)]),
    })
}

/// How much longer the first diagonal of a square is than the second, as a share of their mean.
///
/// On a CoreXY machine a move along a diagonal is made by one belt alone, so this is also by how much the two belts carry
/// differently: it shows tension or length that differs, or a frame that is not square, which [`squareness`] can't tell
/// apart either.
///
/// # Formula
/// m = 2(d₁ − d₂)/(d₁ + d₂); u² = (4/(d₁ + d₂)²)²·(d₂² u₁² + d₁² u₂²).
///
/// # Errors
/// If a diagonal (mm) is not positive.
pub fn belt_mismatch(first_mm: Estimate, second_mm: Estimate) -> Result<Estimate, SignalError> {
    let first = positive("the first diagonal (mm)", first_mm.value)?;
    let second = positive("the second diagonal (mm)", second_mm.value)?;
    let sum = first + second;
    let slope = 4.0 / (sum * sum);
    Ok(propagate(2.0 * (first - second) / sum, &[(slope * second, first_mm), (-slope * first, second_mm)]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_leaning_rhombus_is_told_by_its_angle() {
        // A rhombus of side 100 whose corner is 89°: its diagonals are 2·100·cos(44.5°) and 2·100·sin(44.5°).
        let half = 44.5_f64.to_radians();
        let with = |value| Estimate::new(value, 0.05).unwrap();
        let got = squareness(with(200.0 * half.cos()), with(200.0 * half.sin()), with(100.0)).unwrap();
        assert!((got.angle_deg.value + 1.0).abs() < 1e-9, "{got:?}");
        assert!((got.mm_per_100_mm.value + 100.0 * 1_f64.to_radians().tan()).abs() < 1e-9, "{got:?}");
        assert!(got.angle_deg.beyond_doubt());
        assert!(squareness(with(100.0), with(141.0), with(100.0)).is_err());
    }

    #[test]
    fn backlash_is_the_difference_of_means() {
        let got = backlash(&[10.00, 10.01, 9.99], &[10.10, 10.11, 10.09]).unwrap();
        assert!((got.value - 0.1).abs() < 1e-12 && got.beyond_doubt());
        assert!(backlash(&[10.0], &[10.1, 10.2]).is_err());
    }

    #[test]
    fn equal_diagonals_are_no_mismatch() {
        let with = |value| Estimate::new(value, 0.05).unwrap();
        assert!(!belt_mismatch(with(141.42), with(141.42)).unwrap().beyond_doubt());
        assert!((belt_mismatch(with(101.0), with(99.0)).unwrap().value - 0.02).abs() < 1e-12);
    }
}
