//! What a machine of some kinematics looks like, and where on it each part has its place.

use upkeep::build::Axis;

use super::geometry::{Cell, Point, at, cell};
use super::mark::{Form, Mark, Member};
use super::role::Role;

/// How wide every drawing is, in its own units.
pub(super) const WIDTH: f64 = 420.0;
/// The line about which machines are alike left and right.
pub(super) const MIDDLE: f64 = WIDTH / 2.0;

/// A machine that waits for its parts.
pub(super) struct Stage {
    /// What is drawn of it whether it has parts there or not.
    pub(super) ghost: Vec<Mark>,
    /// What the views are called, each under its view.
    pub(super) captions: Vec<(Point, &'static str)>,
    /// Parts of which there are a known number in known places. Positions of a role share them.
    pub(super) members: Vec<(Role, Vec<Member>)>,
    /// Places that the positions of some roles share in rows.
    pub(super) rows: Vec<Row>,
}

/// A place that positions share.
pub(super) struct Row {
    /// The roles.
    pub(super) roles: &'static [Role],
    /// The place.
    pub(super) cell: Cell,
    /// How many stand side by side at most.
    pub(super) across: usize,
}

/// A row for the positions of one role.
pub(super) const fn row(roles: &'static [Role], cell: Cell) -> Row {
    Row { roles, cell, across: usize::MAX }
}

/// The head as it is drawn enlarged: all of its parts in rows.
pub(super) fn head() -> (Vec<Mark>, Vec<Row>) {
    const TOP: f64 = 566.0;
    let on = |x: f64, y: f64, width: f64, height: f64| cell(x, TOP + y, width, height);
    let ghost = vec![
        Mark::outline(on(26.0, 30.0, 148.0, 74.0)),
        // Where the filament goes.
        Mark::hidden(on(99.0, 0.0, 2.0, 118.0)),
    ];
    let rows = vec![
        row(&[Role::FeedTube], on(60.0, 0.0, 80.0, 22.0)),
        row(&[Role::TubeCoupling], on(82.0, 23.0, 36.0, 7.0)),
        row(&[Role::ToolCoupling], on(34.0, 23.0, 132.0, 7.0)),
        row(&[Role::Gears], on(66.0, 33.0, 68.0, 24.0)),
        row(&[Role::Reduction], on(138.0, 32.0, 30.0, 26.0)),
        row(&[Role::FilamentSensor], on(34.0, 36.0, 24.0, 16.0)),
        row(&[Role::Cutter], on(72.0, 58.0, 56.0, 7.0)),
        row(&[Role::HotEnd], on(76.0, 68.0, 48.0, 34.0)),
        row(&[Role::Liner], on(95.0, 63.0, 10.0, 42.0)),
        row(&[Role::HotEndFan], on(34.0, 70.0, 36.0, 30.0)),
        row(&[Role::PartFan], on(130.0, 70.0, 40.0, 30.0)),
        row(&[Role::HeaterWires], on(126.0, 104.0, 40.0, 5.0)),
        row(&[Role::Sock], on(66.0, 106.0, 68.0, 6.0)),
        row(&[Role::Nozzle], on(70.0, 108.0, 60.0, 20.0)),
        row(&[Role::Probe], on(40.0, 104.0, 16.0, 24.0)),
        row(&[Role::Wiper], on(140.0, 118.0, 34.0, 10.0)),
    ];
    (ghost, rows)
}

/// Where what has no place on the machine stands.
pub(super) const BESIDE: Cell = cell(232.0, 568.0, 176.0, 126.0);

/// What the views are called; `above` is the one from above.
pub(super) fn captions(above: &'static str) -> Vec<(Point, &'static str)> {
    vec![
        (at(MIDDLE, 278.0), "From the front"),
        (at(MIDDLE, 553.0), above),
        (at(100.0, 712.0), "Head, enlarged"),
        (at(320.0, 712.0), "Beside the machine"),
    ]
}

/// A part in its place as its role is drawn.
pub(super) fn glyph(role: Role, place: Cell) -> Member {
    let block = Member::block(place);
    match role {
        Role::PartFan | Role::HotEndFan | Role::BoardFan | Role::ChamberFan => fan(place),
        Role::Gears => gears(place),
        Role::Reduction => {
            let radius = half(place);
            Member::round(place.middle(), radius).with(star(place.middle(), radius * 0.45))
        }
        Role::Nozzle => nozzle(place),
        Role::HotEnd => {
            let fins = [0.2, 0.4, 0.6].map(|down| vec![place.inside(0.0, down), place.inside(1.0, down)]);
            block.with(fins).pointed(place.inside(0.2, 0.8))
        }
        Role::FeedTube => {
            let width = place.width.min(9.0);
            let tube = cell(place.middle().x - width / 2.0, place.y, width, place.height);
            Member::block(tube).pointed(tube.inside(0.5, 0.3))
        }
        Role::Spool => {
            let radius = half(place);
            let hole = Mark::hair(Form::Circle(place.middle(), radius * 0.35));
            let mut spool =
                Member::round(place.middle(), radius).pointed(place.middle().plus(at(0.0, -1.0), radius * 0.65));
            spool.marks.push(hole);
            spool
        }
        Role::EmergencyOff => {
            let mut button = block;
            button.marks.push(Mark::hair(Form::Circle(place.middle(), half(place) * 0.6)));
            button
        }
        Role::Alarm => {
            let mut alarm = Member::round(place.middle(), half(place));
            alarm.marks.push(Mark::hair(Form::Circle(place.middle(), half(place) * 0.3)));
            alarm
        }
        Role::Extinguisher => extinguisher(place),
        Role::Camera => {
            let mut camera = block;
            camera.marks.push(Mark::hair(Form::Circle(place.middle(), half(place) * 0.5)));
            camera
        }
        Role::Box => block.with([vec![place.inside(0.0, 0.25), place.inside(1.0, 0.25)]]),
        Role::Inlet => {
            let pins = [0.3, 0.5, 0.7].map(|across| vec![place.inside(across, 0.3), place.inside(across, 0.7)]);
            block.with(pins).pointed(place.inside(0.12, 0.5))
        }
        Role::Board => {
            let chip =
                cell(place.x + place.width * 0.5, place.y + place.height * 0.3, place.width * 0.3, place.height * 0.4);
            block.with([[chip.corners(), vec![chip.inside(0.0, 0.0)]].concat()]).pointed(place.inside(0.25, 0.5))
        }
        Role::BedSprings => springs(place),
        _ => block,
    }
}

fn half(place: Cell) -> f64 {
    place.width.min(place.height) / 2.0
}

fn fan(place: Cell) -> Member {
    let radius = half(place);
    let middle = place.middle();
    Member::round(middle, radius).with(star(middle, radius * 0.8)).pointed(middle.plus(at(0.5, -0.2), radius))
}

fn star(middle: Point, radius: f64) -> [Vec<Point>; 3] {
    [0.0_f64, 60.0, 120.0].map(|degrees| {
        let along = at(degrees.to_radians().cos(), degrees.to_radians().sin());
        vec![middle.plus(along, -radius), middle.plus(along, radius)]
    })
}

fn gears(place: Cell) -> Member {
    let radius = half(place).min(place.width / 4.0);
    let [left, right] = [-radius, radius].map(|shift| at(place.middle().x + shift, place.middle().y));
    Member {
        marks: [left, right].into_iter().flat_map(|middle| [Mark::body(Form::Circle(middle, radius))]).collect(),
        at: left,
    }
    .with([star(left, radius * 0.5), star(right, radius * 0.5)].concat())
    .pointed(left.plus(at(0.0, -0.7), radius))
}

fn nozzle(place: Cell) -> Member {
    let width = place.width.min(26.0);
    let place = cell(place.middle().x - width / 2.0, place.y, width, place.height);
    let outline = [(0.0, 0.0), (1.0, 0.0), (1.0, 0.4), (0.62, 1.0), (0.38, 1.0), (0.0, 0.4)];
    let outline = outline.map(|(across, down)| place.inside(across, down)).to_vec();
    Member { marks: vec![Mark::body(Form::Area(vec![outline]))], at: place.inside(0.5, 0.4) }
}

fn extinguisher(place: Cell) -> Member {
    let width = place.width.min(place.height * 0.42);
    let place = cell(place.middle().x - width / 2.0, place.y, width, place.height);
    let outline = [(0.0, 1.0), (0.0, 0.35), (0.3, 0.22), (0.3, 0.0), (0.7, 0.0), (0.7, 0.22), (1.0, 0.35), (1.0, 1.0)];
    let outline = outline.map(|(across, down)| place.inside(across, down)).to_vec();
    Member { marks: vec![Mark::body(Form::Area(vec![outline]))], at: place.inside(0.5, 0.65) }
}

/// A spring at either end of its place.
fn springs(place: Cell) -> Member {
    let width = place.height * 1.1;
    let left = cell(place.x, place.y, width, place.height);
    let right = cell(place.x + place.width - width, place.y, width, place.height);
    let coil = |of: Cell| {
        let turns = [0.0, 1.0, 0.0, 1.0, 0.0, 1.0].into_iter().enumerate();
        turns.map(|(step, across)| of.inside(across, step as f64 / 5.0)).collect::<Vec<_>>()
    };
    Member { marks: [left, right].map(|of| Mark::body(Form::Area(vec![of.corners()]))).to_vec(), at: left.middle() }
        .with([coil(left), coil(right)])
}

/// A pair of upright guides with their mirror image.
pub(super) fn pair(of: Cell) -> Vec<Member> {
    vec![Member::block(of), Member::block(of.mirrored(MIDDLE))]
}

/// The members of each role by which a machine without towers stands and lifts.
pub(super) fn uprights(rod: Cell, screw: Cell, nut: f64, foot: f64) -> Vec<(Role, Vec<Member>)> {
    let coupling = cell(screw.x - 2.0, foot, screw.width + 4.0, 10.0);
    let bushing = cell(rod.x - 3.0, nut - 8.0, rod.width + 6.0, 16.0);
    let above = |of: Cell| of.inside(0.5, 0.3);
    let rods = pair(rod).into_iter().zip([rod, rod.mirrored(MIDDLE)]).map(|(member, of)| member.pointed(above(of)));
    let thread = |of: Cell| {
        let turns = (0..(of.height / 6.0) as usize).map(move |turn| {
            let y = of.y + 6.0 * turn as f64;
            vec![at(of.x, y + 3.0), at(of.x + of.width, y)]
        });
        turns.collect::<Vec<_>>()
    };
    let screws =
        [screw, screw.mirrored(MIDDLE)].map(|of| Member::block(of).with(thread(of)).pointed(of.inside(0.5, 0.8)));
    vec![
        (Role::Guide(Axis::Z), rods.collect()),
        (Role::Screw, screws.to_vec()),
        (Role::Bushing(Axis::Z), pair(bushing)),
        (Role::Coupling, pair(coupling)),
        (Role::ScrewBearing, pair(cell(screw.x - 4.0, screw.y - 8.0, screw.width + 8.0, 8.0))),
    ]
}
