//! Belts: closed paths over wheels, by the tangents that two circles have in common.

use std::fmt::Write as _;

use super::geometry::{Point, at};

/// A wheel that a belt runs over; of no radius where the belt is clamped.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Wheel {
    /// Its axle.
    pub(super) at: Point,
    /// Its radius.
    pub(super) radius: f64,
    /// Which way the belt turns there, as the drawing shows it.
    pub(super) turn: Turn,
}

/// Which way a belt turns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turn {
    /// Against the clock.
    Left,
    /// With the clock.
    Right,
}

impl Turn {
    fn sign(self) -> f64 {
        match self {
            Turn::Left => 1.0,
            Turn::Right => -1.0,
        }
    }

    fn other(self) -> Turn {
        match self {
            Turn::Left => Turn::Right,
            Turn::Right => Turn::Left,
        }
    }
}

impl Wheel {
    /// A wheel that the belt runs over.
    pub(super) fn new(at: Point, radius: f64, turn: Turn) -> Wheel {
        Wheel { at, radius, turn }
    }

    /// Where the belt is clamped.
    pub(super) fn clamp(at: Point) -> Wheel {
        Wheel { at, radius: 0.0, turn: Turn::Left }
    }

    /// Its mirror image left and right of a vertical line; the belt turns the other way there.
    pub(super) fn mirrored(self, middle: f64) -> Wheel {
        Wheel { at: self.at.mirrored(middle), turn: self.turn.other(), ..self }
    }
}

/// A straight run: where it leaves a wheel, and where it meets the next.
pub(super) type Straight = [Point; 2];

/// The straight runs of a closed belt: the first from the first wheel to the second, the last back to the first.
///
/// # Formula
/// With the wheels' radii signed by the side on which the belt passes, ρ, their centres d apart and n the unit normal of the
/// run: d·n = ρ₁ − ρ₂.
pub(super) fn runs(wheels: &[Wheel]) -> Vec<Straight> {
    let next = wheels.iter().cycle().skip(1);
    wheels.iter().zip(next).map(|(from, to)| tangent(*from, *to)).collect()
}

fn tangent(from: Wheel, to: Wheel) -> Straight {
    let distance = from.at.distance(to.at);
    let (first, second) = (from.radius * from.turn.sign(), to.radius * to.turn.sign());
    let towards = (to.at.y - from.at.y).atan2(to.at.x - from.at.x);
    let normal = towards + ((first - second) / distance).acos();
    let normal = at(normal.cos(), normal.sin());
    [from.at.plus(normal, first), to.at.plus(normal, second)]
}

/// The closed path as the drawing's pen goes it, with each place moved by `paper` and lengths by `scale`.
pub(super) fn path(wheels: &[Wheel], scale: f64, paper: impl Fn(Point) -> Point) -> String {
    let runs = runs(wheels);
    let mut path = String::new();
    let wheels_met = wheels.iter().cycle().skip(1).zip(runs.iter().cycle().skip(1));
    for (run, (wheel, next)) in runs.iter().zip(wheels_met) {
        let [from, to] = run.map(&paper);
        let leaves = paper(next[0]);
        let head = if path.is_empty() { format!("M{:.1} {:.1}", from.x, from.y) } else { String::new() };
        // OK to ignore: writing into a text can't fail.
        let _ = write!(path, "{head}L{:.1} {:.1}", to.x, to.y);
        if 0.0 < wheel.radius {
            let radius = wheel.radius * scale;
            let far = u8::from(std::f64::consts::PI < turned(*wheel, run[1], next[0]));
            let clockwise = u8::from(wheel.turn == Turn::Right);
            let _ = write!(path, "A{radius:.1} {radius:.1} 0 {far} {clockwise} {:.1} {:.1}", leaves.x, leaves.y);
        }
    }
    path.push('Z');
    path
}

/// By how much a belt turns on a wheel from where it meets it to where it leaves it, rad.
fn turned(wheel: Wheel, meets: Point, leaves: Point) -> f64 {
    let angle = |place: Point| (place.y - wheel.at.y).atan2(place.x - wheel.at.x);
    let clockwise = (angle(leaves) - angle(meets)).rem_euclid(std::f64::consts::TAU);
    match wheel.turn {
        Turn::Right => clockwise,
        Turn::Left => (std::f64::consts::TAU - clockwise) % std::f64::consts::TAU,
    }
}

/// How long the belt is.
#[cfg(test)]
pub(super) fn length(wheels: &[Wheel]) -> f64 {
    let runs = runs(wheels);
    let straight: f64 = runs.iter().map(|[from, to]| from.distance(*to)).sum();
    let met = wheels.iter().cycle().skip(1).zip(runs.iter().cycle().skip(1));
    let bent: f64 = runs
        .iter()
        .zip(met)
        .filter(|(_, (wheel, _))| 0.0 < wheel.radius)
        .map(|(run, (wheel, next))| wheel.radius * turned(*wheel, run[1], next[0]))
        .sum();
    straight + bent
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_belt_round_two_like_wheels_is_as_long_as_geometry_says() {
        // Two half circles and two straight runs: 2 π r + 2 d (Euclid).
        let pair = |turn| [Wheel::new(at(10.0, 5.0), 4.0, turn), Wheel::new(at(110.0, 5.0), 4.0, turn)];
        for turn in [Turn::Left, Turn::Right] {
            let expected = 2.0 * std::f64::consts::PI * 4.0 + 200.0;
            assert!((length(&pair(turn)) - expected).abs() < 1e-9, "{turn:?}");
        }
    }

    #[test]
    fn a_run_touches_both_its_wheels_at_right_angles_to_their_radii() {
        let crossed = [Wheel::new(at(0.0, 0.0), 5.0, Turn::Left), Wheel::new(at(40.0, 30.0), 8.0, Turn::Right)];
        for ([from, to], (one, other)) in runs(&crossed).into_iter().zip([(0, 1), (1, 0)]) {
            for (wheel, touched) in [(crossed[one], from), (crossed[other], to)] {
                assert!((wheel.at.distance(touched) - wheel.radius).abs() < 1e-9);
                let along = (to.x - from.x) * (touched.x - wheel.at.x) + (to.y - from.y) * (touched.y - wheel.at.y);
                assert!(along.abs() < 1e-9, "{along}");
            }
        }
    }
}
