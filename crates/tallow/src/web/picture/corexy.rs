//! A CoreXY machine: two belts that share the work of X and Y, a bed that screws lift.

use upkeep::build::Axis;

use super::belt::{Turn, Wheel};
use super::geometry::{Cell, Point, at, cell};
use super::mark::{Form, Look, Mark, Member};
use super::role::Role;
use super::stage::{self, MIDDLE, Stage, WIDTH, pair, row, uprights};

/// The radius of idlers and motor pulleys.
const WHEEL: f64 = 8.0;
/// Where the inner upright runs of the belts are: the axles of the gantry's idlers.
const INNER: f64 = 100.0;
/// Where the motors and the outer idlers have their axles: so that what comes off a gantry's idler meets the pulley.
const OUTER: f64 = INNER - 2.0 * WHEEL;
/// The head as it is drawn, from above.
const HEAD: Point = at(222.0, 425.0);
/// Half of the head's width, and of the gap between the runs along the gantry.
const REACH: f64 = 24.0;
const APART: f64 = 6.0;

/// The two belts with the head in that place, as seen from above with the rear at the top.
///
/// From the head's clamp a belt goes over an idler at the gantry's end to a motor at the rear, down the side to the front,
/// across to the other side's front idler, and over the gantry's other end back to the head. The two are mirror images, and
/// cross at the front.
pub(super) fn belts(head: Point) -> [Vec<Wheel>; 2] {
    let gantry = head.y;
    let rear = gantry - APART;
    let front = gantry + APART;
    let of = |clamp_rear: f64, clamp_front: f64| {
        vec![
            Wheel::clamp(at(clamp_rear, rear)),
            Wheel::new(at(INNER, rear - WHEEL), WHEEL, Turn::Right),
            Wheel::new(at(OUTER, 334.0), WHEEL, Turn::Left),
            Wheel::new(at(OUTER, 510.0), WHEEL, Turn::Left),
            Wheel::new(at(WIDTH - INNER, 484.0), WHEEL, Turn::Left),
            Wheel::new(at(WIDTH - INNER, front + WHEEL), WHEEL, Turn::Left),
            Wheel::clamp(at(clamp_front, front)),
        ]
    };
    let (left, right) = (head.x - REACH, head.x + REACH);
    let other = of(2.0 * MIDDLE - right, 2.0 * MIDDLE - left);
    [of(left, right), other.into_iter().map(|wheel| wheel.mirrored(MIDDLE)).collect()]
}

pub(super) fn stage() -> Stage {
    let (mut ghost, mut rows) = stage::head();
    ghost.extend(front());
    ghost.extend(above());
    rows.extend([
        row(&[Role::Plate], cell(92.0, 130.0, 236.0, 7.0)),
        row(&[Role::BedMagnet], cell(92.0, 138.0, 236.0, 4.0)),
        row(&[Role::BedHeater], cell(92.0, 143.0, 236.0, 6.0)),
        row(&[Role::BedSprings], cell(100.0, 150.0, 220.0, 8.0)),
        row(&[Role::BedMount], cell(110.0, 159.0, 200.0, 8.0)),
        row(&[Role::BedWires], cell(318.0, 150.0, 14.0, 40.0)),
        row(&[Role::ChamberFan], cell(98.0, 84.0, 34.0, 34.0)),
        row(&[Role::Filter], cell(252.0, 84.0, 70.0, 30.0)),
        row(&[Role::ChamberHeater], cell(190.0, 182.0, 40.0, 20.0)),
        row(&[Role::Camera], cell(46.0, 26.0, 22.0, 16.0)),
        row(&[Role::Panel], cell(394.0, 30.0, 7.0, 170.0)),
        row(
            &[Role::Board, Role::PowerSupply, Role::Inlet, Role::Relay, Role::BoardFan],
            cell(48.0, 222.0, 324.0, 28.0),
        ),
    ]);
    Stage { ghost, captions: stage::captions("From above"), members: members(), rows }
}

fn members() -> Vec<(Role, Vec<Member>)> {
    let frame = Form::Area(vec![
        cell(30.0, 10.0, 360.0, 252.0).corners(),
        cell(40.0, 20.0, 340.0, 190.0).corners(),
        cell(40.0, 218.0, 340.0, 36.0).corners(),
    ]);
    let hinges = [62.0, 156.0].map(|y| Member::block(cell(21.0, y, 8.0, 26.0)));
    let wires = vec![at(232.0, 34.0), at(240.0, 27.0), at(300.0, 27.0), at(300.0, 34.0), at(242.0, 34.0)];
    let mut members = uprights(cell(74.0, 66.0, 7.0, 140.0), cell(138.0, 96.0, 8.0, 106.0), 148.0, 200.0);
    members.extend([
        (Role::Frame, vec![Member { marks: vec![Mark::body(frame)], at: at(35.0, 204.0) }]),
        (Role::Door, hinges.to_vec()),
        (Role::Wires, vec![Member { marks: vec![Mark::body(Form::Area(vec![wires]))], at: at(286.0, 30.0) }]),
        (Role::Guide(Axis::X), vec![along_x(46.0), along_x(60.0)]),
        (Role::Bushing(Axis::X), [42.0, 56.0].map(|y| Member::block(cell(204.0, y, 36.0, 12.0))).to_vec()),
        (Role::Guide(Axis::Y), pair(cell(52.0, 318.0, 7.0, 206.0)).into_iter().map(|rod| lowered(rod, 50.0)).collect()),
        (Role::Bushing(Axis::Y), pair(cell(48.0, HEAD.y - 18.0, 15.0, 36.0))),
        (
            Role::Switch,
            vec![Member::block(cell(66.0, 312.0, 12.0, 10.0)), Member::block(cell(342.0, 312.0, 12.0, 10.0))],
        ),
        (Role::Tensioner, pair(cell(OUTER - 5.0, 520.0, 10.0, 10.0))),
    ]);
    members.extend(driven());
    members
}

fn along_x(y: f64) -> Member {
    let rod = cell(66.0, y, 288.0, 5.0);
    Member::block(rod).pointed(rod.inside(0.16, 0.5))
}

fn lowered(member: Member, by: f64) -> Member {
    let to = at(member.at.x, member.at.y + by);
    member.pointed(to)
}

/// What the belts run over, and the belts.
fn driven() -> Vec<(Role, Vec<Member>)> {
    let belts = belts(HEAD);
    let wheels = |places: &[usize]| -> Vec<Wheel> {
        belts.iter().flat_map(|belt| places.iter().map(|place| belt[*place])).collect()
    };
    let round = |wheel: Wheel| {
        let mut round = Member::round(wheel.at, WHEEL);
        round.marks.push(Mark::hair(Form::Circle(wheel.at, 2.0)));
        round
    };
    // The flanges reach beyond the belt on either side.
    let flange = |wheel: Wheel| {
        let ring = Form::Circle(wheel.at, WHEEL + 3.5);
        Member { marks: vec![Mark { form: ring, look: Look::Hair }], at: wheel.at.plus(at(0.0, 1.0), WHEEL + 3.5) }
    };
    let idlers = wheels(&[1, 3, 4, 5]);
    // Each belt stands with a stretch of itself in section, so that its hatch can be seen.
    let run = |belt: &[Wheel], section: Cell| Member {
        marks: vec![
            Mark { form: Form::Belt(belt.to_vec()), look: Look::Chain },
            Mark::body(Form::Area(vec![section.corners()])),
        ],
        at: section.middle(),
    };
    let left = cell(OUTER - WHEEL - 3.0, 360.0, 6.0, 44.0);
    vec![
        (Role::Belt, vec![run(&belts[0], left), run(&belts[1], left.mirrored(MIDDLE))]),
        (Role::Idler, idlers.iter().map(|wheel| round(*wheel)).collect()),
        (Role::Flange, wheels(&[3]).into_iter().map(flange).collect()),
        (Role::Pulley, wheels(&[2]).into_iter().map(round).collect()),
    ]
}

/// The machine from the front, without its parts.
fn front() -> Vec<Mark> {
    let ends = [50.0, 354.0].map(|x| Mark::outline(cell(x, 42.0, 16.0, 28.0)));
    let rods = [55.0, 365.0].map(|x| Mark::hair(Form::Circle(at(x, 56.0), 3.5)));
    let nozzle = vec![at(214.0, 84.0), at(230.0, 84.0), at(224.0, 94.0), at(220.0, 94.0)];
    let head = [Mark::outline(cell(198.0, 36.0, 48.0, 48.0)), Mark::hair(Form::Area(vec![nozzle]))];
    let motors = pair_of(cell(130.0, 206.0, 24.0, 6.0)).map(Mark::outline);
    let box_ = Mark::outline(cell(40.0, 20.0, 340.0, 190.0));
    [vec![box_], ends.to_vec(), rods.to_vec(), head.to_vec(), motors.to_vec()].concat()
}

/// The machine from above, without its parts.
fn above() -> Vec<Mark> {
    let walls = [cell(30.0, 304.0, 360.0, 232.0), cell(40.0, 308.0, 340.0, 224.0)].map(Mark::outline);
    let gantry = [HEAD.y - 2.5, HEAD.y + 2.5].map(|y| Mark::hair(Form::Line(vec![at(62.0, y), at(358.0, y)])));
    let ends = pair_of(cell(46.0, HEAD.y - 24.0, 66.0, 48.0)).map(Mark::outline);
    let motors = pair_of(cell(OUTER - 16.0, 318.0, 32.0, 32.0)).map(Mark::outline);
    let head = Mark::outline(cell(HEAD.x - REACH, HEAD.y - 20.0, 2.0 * REACH, 40.0));
    let bed = Mark::hidden(cell(118.0, 340.0, 184.0, 132.0));
    [walls.to_vec(), gantry.to_vec(), ends.to_vec(), motors.to_vec(), vec![head, bed]].concat()
}

fn pair_of(of: Cell) -> [Cell; 2] {
    [of, of.mirrored(MIDDLE)]
}

#[cfg(test)]
mod tests {
    use super::super::belt::{length, runs};
    use super::super::geometry::cross;
    use super::*;

    #[test]
    fn neither_belt_grows_or_shrinks_wherever_the_head_goes() {
        // A belt does not stretch: the condition that makes the arrangement work.
        let whole = length(&belts(HEAD)[0]);
        for head in [at(150.0, 380.0), at(290.0, 380.0), at(150.0, 450.0), at(290.0, 450.0)] {
            for belt in belts(head) {
                assert!((length(&belt) - whole).abs() < 1e-6, "{head:?}: {} {whole}", length(&belt));
            }
        }
    }

    #[test]
    fn each_motor_turns_by_the_sum_or_the_difference_of_both_axes() {
        // x = (a + b) / 2, y = (a − b) / 2, as docs/METERING.md has the kinematics: a = x + y, b = x − y. What a motor takes
        // up is what the run from its pulley to the head grows by.
        let taken = |head: Point| -> [f64; 2] {
            belts(head).map(|belt| runs(&belt)[..2].iter().map(|[from, to]| from.distance(*to)).sum())
        };
        let moved = |x: f64, y: f64| {
            let (before, after) = (taken(HEAD), taken(at(HEAD.x + x, HEAD.y + y)));
            [after[0] - before[0], after[1] - before[1]]
        };
        for (x, y) in [(10.0, 0.0), (0.0, 10.0), (7.0, -3.0)] {
            let [a, b] = moved(x, y);
            assert!((a - (x + y)).abs() < 1e-6 && (b - (y - x)).abs() < 1e-6, "{x} {y}: {a} {b}");
        }
    }

    #[test]
    fn the_belts_cross_once_and_at_the_front() {
        let [one, other] = belts(HEAD).map(|belt| runs(&belt));
        let mut crossings = Vec::new();
        for (place, run) in one.iter().enumerate() {
            crossings.extend(other.iter().enumerate().filter(|(_, of)| cross(*run, **of)).map(|(of, _)| (place, of)));
        }
        // The fourth run of each is the one across the front. Those through the head cross inside it, clamped one above the
        // other.
        assert_eq!(crossings, [(3, 3), (6, 6)]);
    }
}
