//! Circular arcs in the XY plane: from the words to centre, radius and sweep, and how far each axis moves along them.

use std::f64::consts::{FRAC_PI_2, FRAC_PI_4, PI, SQRT_2, TAU};

use crate::track::NOTHING;

/// Ends closer than this make a full turn, mm.
const SAME_POINT: f64 = 1e-6;
/// An end further than this off the circle is worth a warning, mm.
const OFF_CIRCLE: f64 = 0.05;
/// A chord may exceed the diameter by this part, for rounding.
const CHORD_SLACK: f64 = 1e-4;

/// How a command gives an arc.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Form {
    /// The centre from the start: I and J, mm.
    Centre { i: f64, j: f64 },
    /// The radius, mm; negative for the arc of more than half a turn.
    Radius(f64),
}

/// Why an arc can't be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NoArc {
    /// The chord is longer than the diameter.
    RadiusTooSmall,
    /// By radius, with the end at the start: any circle through the point would do.
    EndsCoincide,
}

/// An arc, seen from its centre.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Arc {
    /// Radius, mm.
    pub(crate) radius: f64,
    /// Angle of the start, rad.
    pub(crate) start: f64,
    /// Angle swept, rad; positive counter-clockwise (G3).
    pub(crate) sweep: f64,
    /// Where it starts on a circle of radius 1.
    pub(crate) leaves: [f64; 2],
    /// Where it ends on a circle of radius 1.
    pub(crate) arrives: [f64; 2],
    /// Whether the commanded end is off the circle by more than rounding explains.
    pub(crate) off_circle: bool,
}

impl Arc {
    /// The arc over the chord (`dx`, `dy`), mm; clockwise for G2.
    pub(crate) fn new(clockwise: bool, dx: f64, dy: f64, form: Form) -> Result<Arc, NoArc> {
        let chord = dx.hypot(dy);
        let (i, j) = match form {
            Form::Centre { i, j } => (i, j),
            Form::Radius(radius) => centre(clockwise, dx, dy, chord, radius)?,
        };
        let radius = i.hypot(j);
        let start = (-j).atan2(-i);
        let turned = if chord < SAME_POINT {
            TAU
        } else {
            let end = (dy - j).atan2(dx - i);
            (if clockwise { start - end } else { end - start }).rem_euclid(TAU)
        };
        let off_circle = OFF_CIRCLE < ((dx - i).hypot(dy - j) - radius).abs();
        let sweep = if clockwise { -turned } else { turned };
        let on_circle = |angle: f64| [angle.cos(), angle.sin()];
        let (leaves, arrives) = (on_circle(start), on_circle(start + sweep));
        Ok(Arc { radius, start, sweep, leaves, arrives, off_circle })
    }

    /// Length in the XY plane, mm.
    pub(crate) fn length(&self) -> f64 {
        self.radius * self.sweep.abs()
    }

    /// The direction of motion at a place on a circle of radius 1, as a unit vector.
    pub(crate) fn tangent(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [-y * self.sweep.signum(), x * self.sweep.signum()]
    }

    /// The angle of the end, rad.
    pub(crate) fn end(&self) -> f64 {
        self.start + self.sweep
    }

    /// The monotone pieces of the motion of `axis`, each as the coordinates of its ends from the centre, mm.
    pub(crate) fn pieces(&self, axis: Axis, mut each: impl FnMut(f64, f64)) {
        let (size, phase) = match axis {
            Axis::X => (self.radius, 0.0),
            Axis::Y => (self.radius, FRAC_PI_2),
            Axis::Sum => (self.radius * SQRT_2, FRAC_PI_4),
            Axis::Difference => (self.radius * SQRT_2, -FRAC_PI_4),
        };
        let along = |[x, y]: [f64; 2]| match axis {
            Axis::X => self.radius * x,
            Axis::Y => self.radius * y,
            Axis::Sum => self.radius * (x + y),
            Axis::Difference => self.radius * (x - y),
        };
        // Along the axis the motion is size · cos(angle − phase), which turns at multiples of pi.
        let (start, end) = (self.start - phase, self.end() - phase);
        let mut from = along(self.leaves);
        let (first, last) = if start < end {
            ((start / PI).floor() as i32 + 1, (end / PI).ceil() as i32 - 1)
        } else {
            ((start / PI).ceil() as i32 - 1, (end / PI).floor() as i32 + 1)
        };
        let step = if start < end { 1 } else { -1 };
        let mut turn = first;
        while (turn - last) * step <= 0 {
            let to = if turn % 2 == 0 { size } else { -size };
            if NOTHING < (to - from).abs() {
                each(from, to);
            }
            from = to;
            turn += step;
        }
        let to = along(self.arrives);
        if NOTHING < (to - from).abs() {
            each(from, to);
        }
    }
}

/// What moves along an arc.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Axis {
    /// x.
    X,
    /// y.
    Y,
    /// x + y.
    Sum,
    /// x − y.
    Difference,
}

/// The centre from the start, for an arc given by its radius.
fn centre(clockwise: bool, dx: f64, dy: f64, chord: f64, radius: f64) -> Result<(f64, f64), NoArc> {
    if chord < SAME_POINT {
        return Err(NoArc::EndsCoincide);
    }
    if 2.0 * radius.abs() * (1.0 + CHORD_SLACK) < chord {
        return Err(NoArc::RadiusTooSmall);
    }
    let height = (radius * radius - chord * chord / 4.0).max(0.0).sqrt();
    // The centre of a counter-clockwise arc of less than half a turn is to the left of its chord.
    let side = if clockwise == (0.0 < radius) { -height } else { height };
    Ok((dx / 2.0 - side * dy / chord, dy / 2.0 + side * dx / chord))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_standards_example_arc_has_its_sweep_and_length() {
        // NISTIR 6556, section 3.5.3.2: from (7, 7) to (10, 16) about (10, 11); radius 5. Angles by hand with atan2.
        let arc = |clockwise| Arc::new(clockwise, 3.0, 9.0, Form::Centre { i: 3.0, j: 4.0 }).unwrap();
        let (right, left) = (arc(true), arc(false));
        assert!((right.sweep + 2.498091545).abs() < 1e-9);
        assert!((right.length() - 12.49045772).abs() < 1e-8);
        assert!((left.length() - 18.92546881).abs() < 1e-8);
        // Rising by 9 mm meanwhile.
        assert!((right.length().hypot(9.0) - 15.39517893).abs() < 1e-8);
    }

    #[test]
    fn pieces_are_monotone_and_end_where_the_arc_does() {
        let arc = Arc::new(false, 3.0, 9.0, Form::Centre { i: 3.0, j: 4.0 }).unwrap();
        for (axis, sum) in [(Axis::X, 3.0), (Axis::Y, 9.0), (Axis::Sum, 12.0), (Axis::Difference, -6.0)] {
            let mut pieces = Vec::new();
            arc.pieces(axis, |from, to| pieces.push(to - from));
            assert!((pieces.iter().sum::<f64>() - sum).abs() < 1e-12, "{axis:?}");
            assert!(pieces.windows(2).all(|pair| pair[0] * pair[1] < 0.0), "{axis:?}");
        }
    }

    #[test]
    fn a_radius_too_small_for_its_chord_makes_no_arc() {
        assert_eq!(Arc::new(true, 10.0, 0.0, Form::Radius(4.0)).unwrap_err(), NoArc::RadiusTooSmall);
        assert_eq!(Arc::new(true, 0.0, 0.0, Form::Radius(4.0)).unwrap_err(), NoArc::EndsCoincide);
    }
}
