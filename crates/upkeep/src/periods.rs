//! What comes back on a machine after a length of travel: belt teeth, turns of pulleys, motors, idlers and screws, and the
//! drive gear's turns as the length of the line that they print.
//!
//! Marks on a print at the same distances point to the part that turns or meshes so (docs/MEASURING.md).

use std::f64::consts::FRAC_PI_4;

use motion::{Kinematics, Quantity};

use crate::build::{Allowance, Axis, BallBearing, Build, Idler, Position, SEALED_IDLER, TOOTHED_BELT};

/// Full steps of a motor in a turn: 1.8° each. Common practice, no source.
const STEPS_PER_TURN: f64 = 200.0;
/// Full steps after which a motor's coils carry the same currents again, by the principle of two-phase motors.
const STEPS_PER_POLE_PAIR: f64 = 4.0;

/// Something that comes back after a length along an axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Period {
    /// What it is: `belt tooth`.
    pub name: &'static str,
    /// The position at which it is, where the build has one for it.
    pub at: Option<String>,
    /// The travel, or the length of printed line, after which it comes back, mm.
    pub mm: f64,
    /// How many of its harmonics are looked for (judgement): what is out of round shows twice in a turn, too.
    pub harmonics: u32,
}

/// The cross-section of a printed line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    width_mm: f64,
    height_mm: f64,
}

/// A line that can't be.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error(
    "a line {width_mm} mm wide and {height_mm} mm high can't be\n  both are more than 0, and the width is not below the \
     height: 0.45 x 0.2 mm"
)]
pub struct NoLine {
    width_mm: f64,
    height_mm: f64,
}

impl Line {
    /// A line of that width and height, mm.
    ///
    /// # Errors
    /// Where one is not above 0, or the line is higher than wide.
    pub fn new(width_mm: f64, height_mm: f64) -> Result<Line, NoLine> {
        let can_be = 0.0 < height_mm && height_mm <= width_mm && width_mm < f64::INFINITY;
        if can_be { Ok(Line { width_mm, height_mm }) } else { Err(NoLine { width_mm, height_mm }) }
    }

    /// Its cross-section, mm².
    ///
    /// # Formula
    /// A = (w − h)·h + π·h²/4: a rectangle with round ends (common practice, no source).
    pub fn area_mm2(self) -> f64 {
        let Line { width_mm, height_mm } = self;
        (width_mm - height_mm) * height_mm + FRAC_PI_4 * height_mm * height_mm
    }
}

/// What comes back along an axis of a machine; the drive gear's turn where the line that was printed is known.
///
/// On a delta X and Y are moved by all three towers, each by another length from place to place, so that nothing of its belts
/// comes back at equal distances there: only the drive gear does.
///
/// # Formula
/// Belts: a tooth after the pitch, a pulley's turn after pitch × teeth, an idler's after its mm_per_turn. Along X alone and Y
/// alone each belt of a CoreXY machine moves as far as the head does (a = x + y, b = x − y). A motor's full step is 1/200, its
/// pair of poles 1/50 of its turn. A screw's turn is its lead. A drive gear's turn prints mm_per_turn × (π d²/4) / A of line,
/// by the volume that is kept. Balls pass a bearing's outer ring n/2·(1 − b/p) times a turn, its inner ring n/2·(1 + b/p)
/// times (n balls of diameter b on a circle of diameter p; Randall & Antoni (2011), Mechanical Systems and Signal Processing
/// 25: 485–520, from memory).
pub fn periods(build: &Build, along: Axis, line: Option<Line>) -> Vec<Period> {
    let is_delta = matches!(build.machine.kinematics, Kinematics::Delta { .. });
    let is_belted = if is_delta { along == Axis::Z } else { along != Axis::Z };
    let mut found = if is_belted { of_belts(build, along) } else { Vec::new() };
    if along == Axis::Z {
        found.extend(of_screws(build));
    } else {
        found.extend(line.into_iter().flat_map(|line| of_drive_gears(build, line)));
    }
    found
}

fn of_belts(build: &Build, along: Axis) -> Vec<Period> {
    let turn = build.machine.drive.belt_per_turn;
    let belts: Vec<&Position> = of_kind(build, TOOTHED_BELT).filter(|belt| moves(build, belt, along)).collect();
    let pulleys: Vec<&Position> = of_kind(build, "toothed pulley").collect();
    let motors: Vec<&Position> = of_kind(build, "motor").collect();
    // A motor turns as its pulley does, and a pulley pulls its belt: whichever of them the build names.
    let turned = [&pulleys, &belts].into_iter().find(|positions| !positions.is_empty()).cloned().unwrap_or_default();
    let motors = if motors.is_empty() { turned.clone() } else { motors };
    let mut found = at_each(&belts, "belt tooth", build.belt_pitch_mm, 2);
    found.extend(at_each(&turned, "pulley turn", turn, 3));
    found.extend(of_motor(&motors, turn));
    for position in of_kind(build, SEALED_IDLER) {
        found.extend(position.idler.into_iter().flat_map(|idler| of_idler(position, idler)));
    }
    found
}

fn of_screws(build: &Build) -> Vec<Period> {
    let Some(lead) = build.machine.drive.screw_lead else { return Vec::new() };
    let is_screw = |position: &&Position| {
        ["lead screw with brass nut", "lead screw with polymer nut", "ball screw"].contains(&position.kind.as_str())
    };
    let screws: Vec<&Position> = build.positions.iter().filter(is_screw).collect();
    let mut found = at_each(&screws, "screw turn", lead, 3);
    found.extend(of_motor(&screws, lead));
    found
}

fn of_drive_gears(build: &Build, line: Line) -> Vec<Period> {
    let drive = &build.machine.drive;
    let printed = drive.extruder_per_turn * drive.filament_area_mm2() / line.area_mm2();
    let gears: Vec<&Position> = of_kind(build, "extruder gear").collect();
    at_each(&gears, "drive gear turn", printed, 3)
}

fn of_motor(positions: &[&Position], per_turn: f64) -> Vec<Period> {
    let step = per_turn / STEPS_PER_TURN;
    let mut found = at_each(positions, "pair of motor poles", STEPS_PER_POLE_PAIR * step, 1);
    found.extend(at_each(positions, "motor step", step, 1));
    found
}

fn of_idler(position: &Position, Idler { mm_per_turn, bearing }: Idler) -> Vec<Period> {
    let mut found = at_each(&[position], "idler turn", mm_per_turn, 3);
    if let Some(BallBearing { balls, ball_mm, pitch_mm }) = bearing {
        let (half, share) = (f64::from(balls) / 2.0, ball_mm / pitch_mm);
        found.extend(at_each(&[position], "balls past the outer ring", mm_per_turn / (half * (1.0 - share)), 2));
        found.extend(at_each(&[position], "balls past the inner ring", mm_per_turn / (half * (1.0 + share)), 2));
    }
    found
}

/// The same period at each position, or nowhere in particular where there is none.
fn at_each(positions: &[&Position], name: &'static str, mm: f64, harmonics: u32) -> Vec<Period> {
    let of = |at: Option<String>| Period { name, at, mm, harmonics };
    if positions.is_empty() {
        return vec![of(None)];
    }
    positions.iter().map(|position| of(Some(position.name.clone()))).collect()
}

fn of_kind<'a>(build: &'a Build, kind: &'a str) -> impl Iterator<Item = &'a Position> {
    build.positions.iter().filter(move |position| position.kind == kind)
}

/// Whether a belt moves the head along an axis, as far as the build says: by the motor whose travel its tasks meter.
fn moves(build: &Build, belt: &Position, along: Axis) -> bool {
    let own = match (build.machine.kinematics, along) {
        (Kinematics::Cartesian, Axis::X) => [Quantity::BeltA, Quantity::TravelX],
        (Kinematics::Cartesian, Axis::Y) => [Quantity::BeltB, Quantity::TravelY],
        _ => return true,
    };
    let metered = |limit: &crate::build::Limit| match limit.every {
        Allowance::Amount { quantity, .. } => Some(quantity),
        Allowance::Elapsed { .. } => None,
    };
    let limits = build.tasks.iter().filter(|task| task.at == belt.name).flat_map(|task| &task.limits);
    let mut travel = limits.filter_map(metered).filter(|quantity| TRAVEL.contains(quantity)).peekable();
    travel.peek().is_none() || travel.any(|quantity| own.contains(&quantity))
}

/// What tells which motor a belt is on.
const TRAVEL: [Quantity; 4] = [Quantity::BeltA, Quantity::BeltB, Quantity::TravelX, Quantity::TravelY];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::build::shipped;

    fn build(name: &str) -> Build {
        let (_, text) = shipped().into_iter().find(|(known, _)| *known == name).unwrap();
        Build::parse(name, text).unwrap()
    }

    #[track_caller]
    fn mm_of(periods: &[Period], name: &str, at: &str) -> f64 {
        let found = periods.iter().find(|period| period.name == name && period.at.as_deref() == Some(at));
        found.unwrap_or_else(|| panic!("no {name} at {at}: {periods:#?}")).mm
    }

    #[track_caller]
    fn near(found: f64, expected: f64) {
        assert!((found - expected).abs() < 1e-9 * expected, "{found}, not {expected}");
    }

    #[test]
    fn belts_pulleys_and_motors_come_back_by_the_builds_own_figures() {
        // 2 mm pitch, 20 teeth: a turn of 40 mm, 200 steps of 0.2 mm, 50 pairs of poles.
        let found = periods(&build("rail-corexy"), Axis::X, None);
        near(mm_of(&found, "belt tooth", "belts"), 2.0);
        near(mm_of(&found, "pulley turn", "motor pulleys"), 40.0);
        near(mm_of(&found, "motor step", "motor pulleys"), 0.2);
        near(mm_of(&found, "pair of motor poles", "motor pulleys"), 0.8);
        // Without pulleys of its own a build's belts stand for them.
        near(mm_of(&periods(&build("enclosed-corexy"), Axis::Y, None), "pulley turn", "belts"), 40.0);
    }

    #[test]
    fn each_axis_of_a_cartesian_machine_has_its_own_belt_and_z_its_screws() {
        let machine = build("moving-bed");
        let teeth = |along| {
            let all = periods(&machine, along, None).into_iter().filter(|period| period.name == "belt tooth");
            all.map(|period| period.at.unwrap()).collect::<Vec<_>>()
        };
        assert_eq!((teeth(Axis::X), teeth(Axis::Y)), (vec!["x belt".to_owned()], vec!["y belt".to_owned()]));
        assert!(teeth(Axis::Z).is_empty());
        near(mm_of(&periods(&machine, Axis::Z, None), "screw turn", "z screws"), 8.0);
    }

    #[test]
    fn on_a_delta_only_the_drive_gear_comes_back_across_and_the_belts_upwards() {
        let machine = build("delta");
        assert!(periods(&machine, Axis::X, None).is_empty());
        let line = Line::new(0.4, 0.2).unwrap();
        let names: Vec<&str> = periods(&machine, Axis::Y, Some(line)).iter().map(|period| period.name).collect();
        assert_eq!(names, ["drive gear turn"]);
        near(mm_of(&periods(&machine, Axis::Z, None), "belt tooth", "tower belts"), 2.0);
    }

    #[test]
    fn a_drive_gears_turn_is_as_long_as_the_line_that_it_prints() {
        let line = Line::new(0.45, 0.2).unwrap();
        // By hand: 0.25 · 0.2 + π · 0.01.
        near(line.area_mm2(), 0.05 + std::f64::consts::PI * 0.01);
        let machine = build("enclosed-corexy");
        let mm = mm_of(&periods(&machine, Axis::X, Some(line)), "drive gear turn", "extruder gears");
        // The volume of 22.6 mm of filament of 1.75 mm, as a line.
        near(mm * line.area_mm2(), 22.6 * std::f64::consts::PI * 0.875 * 0.875);
        assert!(periods(&machine, Axis::Z, Some(line)).iter().all(|period| period.name != "drive gear turn"));
        for (width, height) in [(0.2, 0.4), (0.4, 0.0), (-1.0, -2.0), (f64::NAN, 0.2), (0.4, f64::NAN)] {
            assert!(Line::new(width, height).is_err(), "{width} {height}");
        }
    }

    #[test]
    fn an_idlers_balls_pass_its_rings_more_often_than_it_turns() {
        let bearing = BallBearing { balls: 8, ball_mm: 2.0, pitch_mm: 8.0 };
        let mut machine = build("enclosed-corexy");
        let idlers = machine.positions.iter_mut().find(|position| position.kind == SEALED_IDLER).unwrap();
        idlers.idler = Some(Idler { mm_per_turn: 30.0, bearing: Some(bearing) });
        let found = periods(&machine, Axis::X, None);
        near(mm_of(&found, "idler turn", "idlers"), 30.0);
        // By hand: 8/2·(1 − 2/8) = 3 and 8/2·(1 + 2/8) = 5 times a turn.
        near(mm_of(&found, "balls past the outer ring", "idlers"), 10.0);
        near(mm_of(&found, "balls past the inner ring", "idlers"), 6.0);
    }
}
