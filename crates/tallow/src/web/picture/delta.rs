//! A delta: three towers with a belt and a carriage each, three pairs of rods, the effector, a fixed bed.

use super::belt::{Turn, Wheel};
use super::geometry::{Cell, Point, at, cell};
use super::mark::{Form, Look, Mark, Member};
use super::role::Role;
use super::stage::{self, MIDDLE, Row, Stage, row};

/// From the machine's axis to the towers' middles.
const TOWER: f64 = 126.0;
/// From the axis to the joints on the carriages, and from the effector's middle to its joints.
const CARRIAGE: f64 = 104.0;
const EFFECTOR: f64 = 28.0;
/// Half of the distance between the two rods of a pair.
const PAIR: f64 = 13.0;
/// The effector's place: its middle from above, and its height in the view from the front.
const HEAD: Point = at(10.0, 8.0);
const LOW: f64 = 190.0;
/// Where the machine's axis is in the view from above.
const AXIS: Point = at(MIDDLE, 434.0);
/// The wheels of the towers' belts.
const WHEEL: f64 = 8.0;
const TOP: f64 = 32.0;
const FOOT: f64 = 228.0;

/// The towers: front left, front right, rear. Degrees, anticlockwise from the right, as seen from above.
const TOWERS: [f64; 3] = [210.0, 330.0, 90.0];

/// A place in the machine: from above (rear up), and its height.
#[derive(Clone, Copy)]
struct Place {
    x: f64,
    y: f64,
    down: f64,
}

impl Place {
    fn front(self) -> Point {
        at(MIDDLE + self.x, self.down)
    }

    fn above(self) -> Point {
        at(AXIS.x + self.x, AXIS.y + self.y)
    }
}

/// A tower's direction from the axis, and that at right angles to it.
fn directions(tower: f64) -> (Point, Point) {
    let (sine, cosine) = tower.to_radians().sin_cos();
    (at(cosine, -sine), at(sine, cosine))
}

/// The joints of one rod: on the carriage, and on the effector. `side` is −1 or 1.
///
/// The carriage stands as high as rods of one length allow: h² = L² − d², with d the distance from above.
fn rod(tower: f64, side: f64, length: f64) -> [Place; 2] {
    let (out, across) = directions(tower);
    let joint = |from: Point, radius: f64| from.plus(out, radius).plus(across, side * PAIR);
    let (carriage, effector) = (joint(at(0.0, 0.0), CARRIAGE), joint(HEAD, EFFECTOR));
    let height = (length.powi(2) - carriage.distance(effector).powi(2)).max(0.0).sqrt();
    let place = |of: Point, down: f64| Place { x: of.x, y: of.y, down };
    [place(carriage, LOW - height), place(effector, LOW)]
}

/// How long the rods are drawn: as long against the towers' radius as they are in the build, in mm.
fn drawn(rod_mm: f64, radius_mm: f64) -> f64 {
    (CARRIAGE - EFFECTOR) * rod_mm / radius_mm
}

/// A tower's belt as seen along its plane.
pub(super) fn belt(x: f64) -> Vec<Wheel> {
    vec![Wheel::new(at(x, TOP), WHEEL, Turn::Left), Wheel::new(at(x, FOOT), WHEEL, Turn::Left)]
}

pub(super) fn stage(rod_mm: f64, radius_mm: f64) -> Stage {
    let length = drawn(rod_mm, radius_mm);
    let (mut ghost, mut rows) = stage::head();
    ghost.extend(bodies());
    rows.extend(places());
    Stage { ghost, captions: stage::captions("From above"), members: members(length), rows }
}

fn places() -> Vec<Row> {
    vec![
        row(&[Role::Plate], cell(136.0, 208.0, 148.0, 7.0)),
        row(&[Role::BedMagnet], cell(136.0, 216.0, 148.0, 3.0)),
        row(&[Role::BedHeater], cell(142.0, 219.0, 136.0, 7.0)),
        row(&[Role::BedMount, Role::BedSprings], cell(150.0, 227.0, 120.0, 6.0)),
        row(
            &[Role::Board, Role::PowerSupply, Role::Inlet, Role::Relay, Role::BoardFan],
            cell(100.0, 238.0, 220.0, 20.0),
        ),
        row(&[Role::Camera], cell(256.0, 24.0, 22.0, 14.0)),
        row(&[Role::Spool], cell(246.0, -10.0, 32.0, 32.0)),
    ]
}

fn x_of(tower: f64) -> f64 {
    MIDDLE + directions(tower).0.x * TOWER
}

fn members(length: f64) -> Vec<(Role, Vec<Member>)> {
    let sides: Vec<Cell> = TOWERS.map(|tower| cell(x_of(tower) - 4.0, 20.0, 8.0, 214.0)).to_vec();
    let tracks = sides.iter().map(|side| Member::block(*side).pointed(side.inside(0.5, 0.86)));
    let carriage = |tower: f64| rod(tower, 1.0, length)[0].down;
    let wheels = TOWERS.map(|tower| {
        let (x, y) = (x_of(tower), carriage(tower));
        let all = [(-9.5, -7.0), (9.5, -7.0), (-9.5, 7.0), (9.5, 7.0)].map(|(dx, dy)| at(x + dx, y + dy));
        Member { marks: all.map(|middle| Mark::body(Form::Circle(middle, 5.0))).to_vec(), at: all[0] }
    });
    let effector: Vec<Point> =
        TOWERS.iter().flat_map(|tower| [1.0, -1.0].map(|side| rod(*tower, side, length)[1].above())).collect();
    let (Some(first), Some(last)) = (effector.first(), effector.last()) else { return Vec::new() };
    let pointed = at((first.x + last.x) / 2.0, (first.y + last.y) / 2.0);
    let hole = AXIS.plus(HEAD, 1.0);
    let ring = Mark::hair(Form::Circle(hole, 8.0));
    let effector =
        Member { marks: vec![Mark::body(Form::Area(vec![effector])), ring], at: pointed.plus(at(1.0, 0.3), 8.0) };
    let frame = Form::Area(vec![
        cell(58.0, 12.0, 304.0, 8.0).corners(),
        cell(58.0, 234.0, 304.0, 28.0).corners(),
        cell(66.0, 238.0, 288.0, 20.0).corners(),
    ]);
    let wires = [
        (-6.0, 0.0),
        (-24.0, -50.0),
        (-48.0, -110.0),
        (-78.0, -164.0),
        (-71.0, -164.0),
        (-42.0, -110.0),
        (-18.0, -50.0),
        (0.0, 0.0),
    ];
    let wires = wires.map(|(dx, dy)| at(MIDDLE + HEAD.x + dx, LOW - 6.0 + dy)).to_vec();
    let mut members = vec![
        (Role::Frame, vec![Member { marks: vec![Mark::body(frame)], at: at(62.0, 248.0) }]),
        (
            Role::Wires,
            vec![Member {
                marks: vec![Mark::body(Form::Area(vec![wires]))],
                at: at(MIDDLE + HEAD.x - 45.0, LOW - 116.0),
            }],
        ),
        (Role::Track, tracks.collect()),
        (Role::Wheels, wheels.to_vec()),
        (Role::Switch, TOWERS.map(|tower| Member::block(cell(x_of(tower) - 24.0, 21.0, 9.0, 9.0))).to_vec()),
        (Role::Tensioner, TOWERS.map(|tower| Member::block(cell(x_of(tower) - 5.0, 3.0, 10.0, 9.0))).to_vec()),
        (Role::Effector, vec![effector]),
    ];
    members.extend(rods(length));
    members.extend(driven());
    members
}

/// The rods as they are from above, and their joints as they are from the front.
fn rods(length: f64) -> Vec<(Role, Vec<Member>)> {
    let all: Vec<[Place; 2]> =
        TOWERS.iter().flat_map(|tower| [-1.0, 1.0].map(|side| rod(*tower, side, length))).collect();
    let bar = |[carriage, effector]: [Point; 2]| {
        let far = carriage.distance(effector);
        let aside = at((effector.y - carriage.y) / far, (carriage.x - effector.x) / far);
        let corners = [(carriage, 2.2), (effector, 2.2), (effector, -2.2), (carriage, -2.2)];
        Form::Area(vec![corners.map(|(point, by)| point.plus(aside, by)).to_vec()])
    };
    let rods = all.iter().map(|ends| {
        let [carriage, effector] = ends.map(Place::front);
        Member {
            marks: vec![Mark::body(bar([carriage, effector]))],
            at: at((carriage.x + effector.x) / 2.0, (carriage.y + effector.y) / 2.0),
        }
    });
    let joints = all.iter().map(|ends| {
        let [carriage, effector] = ends.map(Place::front);
        let marks = [carriage, effector].map(|end| Mark::body(Form::Circle(end, 3.6))).to_vec();
        Member { marks, at: carriage }
    });
    vec![(Role::Rod, rods.collect()), (Role::Joint, joints.collect())]
}

fn driven() -> Vec<(Role, Vec<Member>)> {
    // Seen from the front, the belts of the two front towers stand aslant by 60°: half as wide as they are.
    let slants = [0.5, 0.5, 1.0];
    let towers = TOWERS.iter().zip(slants);
    let belts = towers.clone().map(|(tower, slant)| {
        let x = x_of(*tower);
        let form = if slant < 1.0 { loop_aslant(x, slant) } else { Form::Belt(belt(x)) };
        let section = cell(x + WHEEL * slant - 2.5, 128.0, 5.0, 44.0);
        Member {
            marks: vec![Mark { form, look: Look::Chain }, Mark::body(Form::Area(vec![section.corners()]))],
            at: section.middle(),
        }
    });
    let wheels = |y: f64| {
        towers.clone().map(move |(tower, slant)| {
            let middle = at(x_of(*tower), y);
            Member { marks: vec![Mark::body(Form::Oval(middle, WHEEL * slant, WHEEL))], at: middle }
        })
    };
    let flanges = towers.clone().map(|(tower, slant)| {
        let middle = at(x_of(*tower), TOP);
        let rim = Form::Oval(middle, WHEEL * slant + 3.5, WHEEL + 3.5);
        Member { marks: vec![Mark::hair(rim)], at: middle.plus(at(0.0, 1.0), WHEEL + 3.5) }
    });
    vec![
        (Role::Belt, belts.collect()),
        (Role::Idler, wheels(TOP).collect()),
        (Role::Flange, flanges.collect()),
        (Role::Pulley, wheels(FOOT).collect()),
    ]
}

/// A belt over its two wheels, seen aslant: there and back, with the wheels' arcs in eight steps each.
fn loop_aslant(x: f64, slant: f64) -> Form {
    let arc = |y: f64, from: f64| {
        (0..=8).map(move |step| {
            let angle = (from + 22.5 * f64::from(step)).to_radians();
            at(x + WHEEL * slant * angle.cos(), y + WHEEL * angle.sin())
        })
    };
    let mut points: Vec<Point> = arc(FOOT, 0.0).chain(arc(TOP, 180.0)).collect();
    points.extend(points.first().copied());
    Form::Line(points)
}

/// The machine without its parts: the carriages and the effector from the front, frame, bed and towers from above.
fn bodies() -> Vec<Mark> {
    let effector = Mark::outline(cell(MIDDLE + HEAD.x - 30.0, LOW - 3.0, 60.0, 6.0));
    let nozzle = [(-6.0, 3.0), (6.0, 3.0), (2.0, 14.0), (-2.0, 14.0)];
    let nozzle = nozzle.map(|(dx, dy)| at(MIDDLE + HEAD.x + dx, LOW + dy)).to_vec();
    let corner = |tower: f64, radius: f64, turn: f64| AXIS.plus(directions(tower + turn).0, radius);
    let triangle =
        TOWERS.iter().flat_map(|tower| [corner(*tower, TOWER + 12.0, -8.0), corner(*tower, TOWER + 12.0, 8.0)]);
    let posts = TOWERS.map(|tower| {
        let middle = AXIS.plus(directions(tower).0, TOWER);
        Mark::outline(cell(middle.x - 8.0, middle.y - 8.0, 16.0, 16.0))
    });
    let bed = [80.0, 76.0].map(|radius| Mark::hair(Form::Circle(AXIS, radius)));
    let tip = Mark::hair(Form::Area(vec![nozzle]));
    // From above the rods are hair lines: they stand in the view from the front.
    let rods = TOWERS.iter().flat_map(|tower| {
        let (out, across) = directions(*tower);
        [-1.0, 1.0].map(|side| {
            let carriage = AXIS.plus(out, CARRIAGE).plus(across, side * PAIR);
            let effector = AXIS.plus(HEAD, 1.0).plus(out, EFFECTOR).plus(across, side * PAIR);
            Mark::hair(Form::Line(vec![carriage, effector]))
        })
    });
    let carriages = TOWERS.iter().map(|tower| {
        let (out, across) = directions(*tower);
        let corner = |radius: f64, side: f64| AXIS.plus(out, radius).plus(across, side);
        Mark::hair(Form::Area(vec![vec![
            corner(CARRIAGE, -18.0),
            corner(CARRIAGE, 18.0),
            corner(TOWER - 8.0, 18.0),
            corner(TOWER - 8.0, -18.0),
        ]]))
    });
    let mut all = vec![effector, tip, Mark::hair(Form::Area(vec![triangle.collect()]))];
    all.extend(posts);
    all.extend(bed);
    all.extend(rods);
    all.extend(carriages);
    all
}

#[cfg(test)]
mod tests {
    use super::super::belt::length;
    use super::*;

    #[test]
    fn all_six_rods_are_equally_long_and_as_long_as_the_build_says() {
        // Radius 165 mm is drawn as the distance of the joints; a rod of 330 mm is twice that.
        let wanted = drawn(330.0, 165.0);
        assert!((wanted - 2.0 * (CARRIAGE - EFFECTOR)).abs() < 1e-9);
        for tower in TOWERS {
            for side in [-1.0, 1.0] {
                let [carriage, effector] = rod(tower, side, wanted);
                let flat = carriage.above().distance(effector.above());
                assert!((flat.hypot(effector.down - carriage.down) - wanted).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn a_towers_belt_is_closed_over_its_two_wheels() {
        // Two half circles and two runs.
        let expected = 2.0 * std::f64::consts::PI * WHEEL + 2.0 * (FOOT - TOP);
        assert!((length(&belt(100.0)) - expected).abs() < 1e-9);
    }
}
