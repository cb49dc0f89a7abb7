//! Filament asked for against filament used.

use std::f64::consts::PI;

use crate::error::{at_least, finite, positive};
use crate::estimate::propagate;
use crate::{Estimate, Line, SignalError};

/// The length of filament, in mm, that weighs `mass_g`.
///
/// # Formula
/// L = 4m / (π d² ρ): the volume of a cylinder. u² sums (u(m)/m)², (u(ρ)/ρ)² and (2u(d)/d)² relatively (GUM 5.1.6).
///
/// # Errors
/// If mass (g), diameter (mm) or density (g/cm³) is not positive.
pub fn length_of_mass(
    mass_g: Estimate,
    diameter_mm: Estimate,
    density_g_per_cm3: Estimate,
) -> Result<Estimate, SignalError> {
    let mass = positive("the mass (g)", mass_g.value)?;
    let diameter = positive("the diameter (mm)", diameter_mm.value)?;
    let density = positive("the density (g/cm³)", density_g_per_cm3.value)?;
    // 1 cm³ is 1000 mm³.
    let length = positive("the length (mm)", 4000.0 * mass / (PI * diameter * diameter * density))?;
    Ok(propagate(
        length,
        &[(length / mass, mass_g), (-2.0 * length / diameter, diameter_mm), (-length / density, density_g_per_cm3)],
    ))
}

/// Filament used over filament asked for; 1 is right.
///
/// # Formula
/// r = used / asked; u(r) = u(used) / asked (GUM 5.1.2).
///
/// # Errors
/// If what was asked for (mm) is not positive, or what was used (mm) is negative.
pub fn flow_ratio(asked_mm: f64, used_mm: Estimate) -> Result<Estimate, SignalError> {
    let asked = positive("the filament asked for (mm)", asked_mm)?;
    finite("the filament used (mm)", used_mm.value)?;
    if used_mm.value < 0.0 {
        let what = "the filament used (mm)";
        return Err(SignalError::OutOfRange { what, got: used_mm.value, from: 0.0, to: f64::MAX });
    }
    Ok(propagate(used_mm.value / asked, &[(1.0 / asked, used_mm)]))
}

/// What was used at one flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlowTrial {
    /// The flow that was asked for, in mm³/s.
    pub flow_mm3_per_s: f64,
    /// The filament that was asked for, in mm.
    pub asked_mm: f64,
    /// The filament that was used, in mm.
    pub used_mm: f64,
}

/// What kind of loss it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loss {
    /// None beyond doubt.
    None,
    /// The same at each flow: a wrong number of steps for each mm, or a wrong diameter.
    Constant,
    /// It grows with the flow: the drive slips, or the heater can't melt as much.
    GrowsWithFlow,
}

/// The loss as a straight line over the flow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LossLine {
    /// The lost share (1 − ratio) over the flow in mm³/s; its slope is in s/mm³.
    pub line: Line,
    /// The mean lost share.
    pub mean: Estimate,
    /// What it amounts to.
    pub loss: Loss,
}

/// Tells whether the loss grows with the flow or is constant.
///
/// # Formula
/// The line of [`Line::fit`]; slope and mean are tested by Student's t at 1 %.
///
/// # Errors
/// If there are fewer than four trials, a flow or what was asked for is not positive, or all flows are the same.
pub fn loss(trials: &[FlowTrial]) -> Result<LossLine, SignalError> {
    at_least("trials", trials.len(), 4)?;
    let mut points = Vec::with_capacity(trials.len());
    for trial in trials {
        let flow = positive("the flow (mm³/s)", trial.flow_mm3_per_s)?;
        points.push((flow, 1.0 - flow_ratio(trial.asked_mm, Estimate::new(trial.used_mm, 0.0)?)?.value));
    }
    let line = Line::fit("trials", &points)?;
    let lost: Vec<f64> = points.iter().map(|point| point.1).collect();
    let mean = Estimate::mean("trials", &lost)?;
    let loss = if line.slope.beyond_doubt() && 0.0 < line.slope.value {
        Loss::GrowsWithFlow
    } else if mean.beyond_doubt() {
        Loss::Constant
    } else {
        Loss::None
    };
    Ok(LossLine { line, mean, loss })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn trials(lost: [f64; 5]) -> Vec<FlowTrial> {
        let at = |(i, lost): (usize, f64)| FlowTrial {
            flow_mm3_per_s: 4.0 * (i + 1) as f64,
            asked_mm: 100.0,
            used_mm: 100.0 * (1.0 - lost),
        };
        lost.into_iter().enumerate().map(at).collect()
    }

    #[test]
    fn a_loss_that_grows_is_told_from_one_that_does_not() {
        assert_eq!(loss(&trials([0.001, 0.021, 0.039, 0.061, 0.080])).unwrap().loss, Loss::GrowsWithFlow);
        assert_eq!(loss(&trials([0.050, 0.051, 0.049, 0.051, 0.050])).unwrap().loss, Loss::Constant);
        assert_eq!(loss(&trials([0.002, -0.001, 0.001, -0.002, 0.001])).unwrap().loss, Loss::None);
        assert!(loss(&trials([0.0; 5])[..3]).is_err());
    }

    #[test]
    fn a_gram_of_filament_is_a_cylinder() {
        let exact = |value| Estimate::new(value, 0.0).unwrap();
        // A wire of 2 mm has π mm² of section; π g at 1 g/cm³ are then a metre.
        let length = length_of_mass(Estimate::new(PI, 0.01 * PI).unwrap(), exact(2.0), exact(1.0)).unwrap();
        assert!((length.value - 1000.0).abs() < 1e-9 && (length.uncertainty - 10.0).abs() < 1e-9);
        assert!(flow_ratio(0.0, exact(1.0)).is_err());
    }
}
