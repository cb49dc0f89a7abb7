//! Carriages of a delta: the head hangs on three pairs of rods from carriages on three towers.
//!
//! A carriage stands at z + √(rod² − d²) above the bed, d being the head's horizontal distance from its tower. Along a
//! straight line d² is a square function of the way, so that the root is concave, and the carriage turns once at most.

use crate::arc::Arc;
use crate::track::Track;

/// Arcs are walked in chords that leave the circle by this much at most, mm.
const CHORD_ERROR: f64 = 1e-3;
/// The most chords to an arc.
const MOST_CHORDS: f64 = 10_000.0;

/// The three carriages of a delta. Seen from above, tower a stands at 210°, b at 330° and c at 90° from X.
#[derive(Clone, Debug)]
pub(crate) struct Towers {
    rod_squared: f64,
    places: [[f64; 2]; 3],
    /// Travel and reversals of the carriages.
    pub(crate) carriages: [Track; 3],
}

impl Towers {
    /// `rod` and `radius` as in [`Kinematics::Delta`](crate::Kinematics::Delta), mm.
    pub(crate) fn new(rod: f64, radius: f64) -> Towers {
        let place = |degrees: f64| [radius * degrees.to_radians().cos(), radius * degrees.to_radians().sin()];
        Towers { rod_squared: rod * rod, places: [210.0, 330.0, 90.0].map(place), carriages: Default::default() }
    }

    /// A straight move of the head between two points, mm.
    pub(crate) fn straight(&mut self, from: [f64; 3], to: [f64; 3]) {
        for (place, carriage) in self.places.iter().zip(&mut self.carriages) {
            let height = |t: f64| height(self.rod_squared, *place, point(from, to, t));
            let turn = turning_point(self.rod_squared, *place, from, to);
            let mut before = height(0.0);
            for t in turn.into_iter().chain([1.0]) {
                let here = height(t);
                carriage.push(here - before);
                before = here;
            }
        }
    }

    /// An arc of the head from a point, rising by `dz` mm.
    pub(crate) fn arc(&mut self, from: [f64; 3], arc: &Arc, dz: f64) {
        let step = 2.0 * (1.0 - CHORD_ERROR / arc.radius).clamp(-1.0, 1.0).acos();
        let chords = (arc.sweep.abs() / step).ceil().clamp(1.0, MOST_CHORDS);
        let on_circle = |part: f64| {
            let (sin, cos) = (arc.start + part * arc.sweep).sin_cos();
            let (sin_0, cos_0) = arc.start.sin_cos();
            [from[0] + arc.radius * (cos - cos_0), from[1] + arc.radius * (sin - sin_0), from[2] + part * dz]
        };
        let mut before = from;
        for chord in 1..=chords as u32 {
            let here = on_circle(f64::from(chord) / chords);
            self.straight(before, here);
            before = here;
        }
    }
}

fn point(from: [f64; 3], to: [f64; 3], t: f64) -> [f64; 3] {
    std::array::from_fn(|axis| from[axis] + t * (to[axis] - from[axis]))
}

/// The carriage's height, mm. A point out of the rods' reach counts as one that they just reach.
fn height(rod_squared: f64, place: [f64; 2], head: [f64; 3]) -> f64 {
    let (x, y) = (head[0] - place[0], head[1] - place[1]);
    head[2] + (rod_squared - x * x - y * y).max(0.0).sqrt()
}

/// Where on the line, 0 < t < 1, the carriage turns.
///
/// With p(t) = p₀ + t d and s = p₀ − tower in the plane, distance² = |s|² + 2 b t + c t², b = s·d, c = |d|². The height's
/// slope is zero where d_z √(rod² − distance²) = b + c t =: u. Squared and solved for u:
/// u² (1 + d_z²/c) = d_z² (rod² − |s|² + b²/c), and u has the sign of d_z.
fn turning_point(rod_squared: f64, place: [f64; 2], from: [f64; 3], to: [f64; 3]) -> Option<f64> {
    let d: [f64; 3] = std::array::from_fn(|axis| to[axis] - from[axis]);
    let s = [from[0] - place[0], from[1] - place[1]];
    let (b, c) = (s[0] * d[0] + s[1] * d[1], d[0] * d[0] + d[1] * d[1]);
    if c == 0.0 {
        return None;
    }
    let reach = (rod_squared - s[0] * s[0] - s[1] * s[1] + b * b / c).max(0.0);
    let u = d[2] * (reach / (1.0 + d[2] * d[2] / c)).sqrt();
    let t = (u - b) / c;
    (0.0 < t && t < 1.0).then_some(t)
}
