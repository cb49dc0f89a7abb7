//! What comes down by itself when a machine is switched off.

use motion::Kinematics;

use crate::Build;

/// What the motors hold up: without their current it comes down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sinks {
    /// A delta's head, whose carriages slide down the towers.
    Head,
    /// What Z carries, head or bed, where belts or ball screws hold it.
    Z,
}

impl Sinks {
    /// What sinks on a machine of this build; `None` where all that hangs is on screws that hold it, as far as the build
    /// tells: sliding screws of a steep lead may still give, which no build states.
    pub fn of(build: &Build) -> Option<Sinks> {
        let rolls = || build.positions.iter().any(|position| position.kind == BALL_SCREW);
        match build.machine.kinematics {
            Kinematics::Delta { .. } => Some(Sinks::Head),
            _ if build.machine.drive.screw_lead.is_none() || rolls() => Some(Sinks::Z),
            _ => None,
        }
    }
}

/// The kind of part that runs back under a load, for its friction is that of rolling.
const BALL_SCREW: &str = "ball screw";
