//! A cartesian machine whose bed moves: the bed's belt along Y, a gantry along X that screws lift on both sides.

use upkeep::build::Axis;

use super::belt::{Turn, Wheel};
use super::geometry::{Cell, at, cell};
use super::mark::{Form, Look, Mark, Member};
use super::role::Role;
use super::stage::{self, MIDDLE, Stage, pair, row, uprights};

/// The radius of idlers and motor pulleys.
const WHEEL: f64 = 8.0;
/// The gantry's height in the view from the front.
const GANTRY: f64 = 104.0;

/// The belt along X as seen from the front: from the head over the motor's pulley, below the gantry to the idler, and back.
pub(super) fn x_belt() -> Vec<Wheel> {
    vec![
        Wheel::clamp(at(196.0, GANTRY - WHEEL)),
        Wheel::new(at(64.0, GANTRY), WHEEL, Turn::Left),
        Wheel::new(at(356.0, GANTRY), WHEEL, Turn::Left),
        Wheel::clamp(at(228.0, GANTRY - WHEEL)),
    ]
}

pub(super) fn stage() -> Stage {
    let (mut ghost, mut rows) = stage::head();
    ghost.extend(front());
    ghost.extend(above());
    rows.extend([
        row(&[Role::Plate], cell(116.0, 152.0, 188.0, 7.0)),
        row(&[Role::BedMagnet], cell(116.0, 160.0, 188.0, 3.0)),
        row(&[Role::BedHeater], cell(116.0, 164.0, 188.0, 6.0)),
        row(&[Role::BedSprings], cell(124.0, 171.0, 172.0, 10.0)),
        row(&[Role::BedMount], cell(138.0, 182.0, 144.0, 6.0)),
        row(&[Role::Camera], cell(150.0, 28.0, 24.0, 16.0)),
        row(&[Role::Spool], cell(250.0, -8.0, 40.0, 40.0)),
        row(
            &[Role::Board, Role::PowerSupply, Role::Inlet, Role::Relay, Role::BoardFan],
            cell(146.0, 222.0, 128.0, 28.0),
        ),
    ]);
    Stage { ghost, captions: stage::captions("From above, bed lifted off"), members: members(), rows }
}

fn members() -> Vec<(Role, Vec<Member>)> {
    let frame = Form::Area(vec![
        cell(74.0, 212.0, 272.0, 48.0).corners(),
        cell(82.0, 220.0, 256.0, 32.0).corners(),
        vec![
            at(74.0, 212.0),
            at(74.0, 14.0),
            at(346.0, 14.0),
            at(346.0, 212.0),
            at(336.0, 212.0),
            at(336.0, 24.0),
            at(84.0, 24.0),
            at(84.0, 212.0),
        ],
    ]);
    let bed_wires = vec![at(286.0, 340.0), at(292.0, 340.0), at(330.0, 322.0), at(330.0, 316.0)];
    let loom = vec![
        at(222.0, 74.0),
        at(228.0, 60.0),
        at(310.0, 48.0),
        at(334.0, 48.0),
        at(334.0, 53.0),
        at(311.0, 53.0),
        at(231.0, 65.0),
        at(226.0, 74.0),
    ];
    let mut members = uprights(cell(98.0, 26.0, 6.0, 182.0), cell(114.0, 62.0, 8.0, 138.0), GANTRY, 199.0);
    members.extend([
        (Role::Frame, vec![Member { marks: vec![Mark::body(frame)], at: at(79.0, 192.0) }]),
        (Role::Guide(Axis::X), [GANTRY - 20.0, GANTRY + 15.0].map(along_x).to_vec()),
        (
            Role::Bushing(Axis::X),
            [GANTRY - 23.0, GANTRY + 12.0].map(|y| Member::block(cell(198.0, y, 28.0, 11.0))).to_vec(),
        ),
        (
            Role::Guide(Axis::Y),
            pair(cell(160.0, 312.0, 7.0, 216.0))
                .into_iter()
                .map(|rod| {
                    let to = at(rod.at.x, 500.0);
                    rod.pointed(to)
                })
                .collect(),
        ),
        (Role::Bushing(Axis::Y), pair(cell(154.0, 189.0, 18.0, 14.0))),
        (Role::BedWires, vec![Member { marks: vec![Mark::body(Form::Area(vec![bed_wires]))], at: at(318.0, 325.0) }]),
        (Role::Wires, vec![Member { marks: vec![Mark::body(Form::Area(vec![loom]))], at: at(312.0, 50.0) }]),
        (
            Role::Switch,
            vec![Member::block(cell(128.0, GANTRY - 6.0, 9.0, 12.0)), Member::block(cell(178.0, 312.0, 12.0, 9.0))],
        ),
        (
            Role::Tensioner,
            vec![Member::block(cell(368.0, GANTRY - 5.0, 10.0, 10.0)), Member::block(cell(204.0, 530.0, 12.0, 9.0))],
        ),
    ]);
    members.extend(driven());
    members
}

fn along_x(y: f64) -> Member {
    let rod = cell(130.0, y, 160.0, 5.0);
    Member::block(rod).pointed(rod.inside(0.8, 0.5))
}

fn driven() -> Vec<(Role, Vec<Member>)> {
    let x_belt = x_belt();
    let round = |wheel: &Wheel| {
        let mut round = Member::round(wheel.at, WHEEL);
        round.marks.push(Mark::hair(Form::Circle(wheel.at, 2.0)));
        round
    };
    let section_of_x = cell(140.0, GANTRY + WHEEL - 3.0, 44.0, 6.0);
    let section_of_y = cell(MIDDLE - 3.0, 350.0, 6.0, 40.0);
    // From above, the belt's two runs lie one upon the other.
    let y_belt = Form::Line(vec![at(MIDDLE, 318.0), at(MIDDLE, 520.0)]);
    let belts = [(Form::Belt(x_belt.clone()), section_of_x), (y_belt, section_of_y)].map(|(form, section)| Member {
        marks: vec![Mark { form, look: Look::Chain }, Mark::body(Form::Area(vec![section.corners()]))],
        at: section.middle(),
    });
    let ring = |x: f64| Member {
        marks: vec![Mark::hair(Form::Circle(at(x, GANTRY), WHEEL + 3.5))],
        at: at(x, GANTRY - WHEEL - 3.5),
    };
    let edges = Member {
        marks: [514.0, 525.0].map(|y| Mark::hair(Form::Line(vec![at(200.0, y), at(220.0, y)]))).to_vec(),
        at: at(218.0, 525.0),
    };
    vec![
        (Role::Belt, belts.to_vec()),
        (Role::Idler, vec![round(&x_belt[2]), Member::block(cell(204.0, 515.0, 12.0, 9.0))]),
        (Role::Flange, vec![ring(356.0), edges]),
        (Role::Pulley, vec![round(&x_belt[1]), Member::block(cell(203.0, 313.0, 14.0, 10.0))]),
    ]
}

fn front() -> Vec<Mark> {
    let ends = both(cell(94.0, GANTRY - 26.0, 34.0, 52.0)).map(Mark::outline);
    let motors = both(cell(106.0, 222.0, 24.0, 26.0)).map(Mark::outline);
    let motor = Mark::outline(cell(46.0, GANTRY - 16.0, 32.0, 32.0));
    let head = Mark::outline(cell(190.0, GANTRY - 30.0, 44.0, 60.0));
    let nozzle = vec![at(204.0, 134.0), at(220.0, 134.0), at(214.0, 146.0), at(210.0, 146.0)];
    let rods = [163.5, 256.5].map(|x| Mark::hair(Form::Circle(at(x, 196.0), 3.5)));
    let idler = Mark::outline(cell(342.0, GANTRY - 12.0, 26.0, 24.0));
    [ends.to_vec(), motors.to_vec(), vec![motor, head, idler, Mark::hair(Form::Area(vec![nozzle]))], rods.to_vec()]
        .concat()
}

fn above() -> Vec<Mark> {
    let base = Mark::outline(cell(74.0, 304.0, 272.0, 232.0));
    let beams = [cell(74.0, 304.0, 272.0, 8.0), cell(74.0, 528.0, 272.0, 8.0)].map(Mark::outline);
    let bed = Mark::hidden(cell(116.0, 340.0, 188.0, 150.0));
    let gantry = Mark::hidden(cell(74.0, 408.0, 272.0, 16.0));
    let head = Mark::hidden(cell(190.0, 400.0, 44.0, 32.0));
    let motor = Mark::outline(cell(217.0, 306.0, 28.0, 26.0));
    let screws = [118.0, 302.0].map(|x| Mark::hair(Form::Circle(at(x, 416.0), 4.0)));
    [vec![base, bed, gantry, head, motor], beams.to_vec(), screws.to_vec()].concat()
}

fn both(of: Cell) -> [Cell; 2] {
    [of, of.mirrored(MIDDLE)]
}

#[cfg(test)]
mod tests {
    use super::super::belt::length;
    use super::*;

    #[test]
    fn the_belt_along_x_is_closed_through_the_head_and_as_long_as_geometry_says() {
        // Two half circles and two runs of the wheels' distance.
        let expected = 2.0 * std::f64::consts::PI * WHEEL + 2.0 * (356.0 - 64.0);
        assert!((length(&x_belt()) - expected).abs() < 1e-9);
    }
}
