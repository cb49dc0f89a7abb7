//! The parts that the pattern loft prints, as outlines from formulae. Lengths in mm, centred near the origin.
//!
//! Rule for every outline: no wall thinner than 10 mm or so and no outer radius under 3 mm (sharp corners are fine), so
//! that the walls' insets stay sound; the tests hold each part to it.

use std::f64::consts::{PI, TAU};

use super::geometry::{Contour, Point, point};

/// Something that the loft prints.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Part {
    /// A frame of a hull, an open U.
    HullRib,
    /// A two-horned cleat, seen from above.
    Cleat,
    /// An oval ring that leads a rope.
    Fairlead,
    /// The ring that keeps an oar in its crutch.
    OarCollar,
    /// One side of a pulley block.
    BlockCheek,
    /// The bracket that a rudder hangs from.
    RudderPintle,
    /// The turned knob at a tiller's end.
    TillerKnob,
    /// A board with recesses for its letters.
    NameBoard,
    /// The letters that fill a name board's recesses, as bars and rounds.
    Letters,
    /// A drilling template for a stern gland.
    GlandTemplate,
    /// A turned post to make fast to.
    Bollard,
    /// A round deck plate.
    DeckPlate,
    /// A three-cornered template for a chine.
    ChineTemplate,
    /// The square socket under a mast.
    MastStep,
    /// A tapered pin that an oar works against.
    TholePin,
    /// A flared oval pipe for an anchor rope.
    HawsePipe,
    /// Half a hull, built up of its waterlines.
    HalfModel,
}

impl Part {
    /// Every part, for the tests.
    #[cfg(test)]
    pub(super) const ALL: [Part; 17] = [
        Part::HullRib,
        Part::Cleat,
        Part::Fairlead,
        Part::OarCollar,
        Part::BlockCheek,
        Part::RudderPintle,
        Part::TillerKnob,
        Part::NameBoard,
        Part::Letters,
        Part::GlandTemplate,
        Part::Bollard,
        Part::DeckPlate,
        Part::ChineTemplate,
        Part::MastStep,
        Part::TholePin,
        Part::HawsePipe,
        Part::HalfModel,
    ];

    /// Its name in plain words.
    pub(super) fn name(self) -> &'static str {
        match self {
            Part::HullRib => "hull rib",
            Part::Cleat => "cleat pattern",
            Part::Fairlead => "fairlead",
            Part::OarCollar => "oar collar",
            Part::BlockCheek => "block cheek",
            Part::RudderPintle => "rudder pintle pattern",
            Part::TillerKnob => "tiller knob",
            Part::NameBoard => "name board",
            Part::Letters => "letters",
            Part::GlandTemplate => "stern gland template",
            Part::Bollard => "bollard pattern",
            Part::DeckPlate => "deck plate",
            Part::ChineTemplate => "chine template",
            Part::MastStep => "mast step",
            Part::TholePin => "thole pin",
            Part::HawsePipe => "hawse pipe",
            Part::HalfModel => "half model",
        }
    }

    /// Its section at a share `h` (0 to 1) of its height.
    pub(super) fn section(self, h: f64) -> Vec<Contour> {
        match self {
            Part::HullRib => hull_rib(),
            Part::Cleat => cleat(),
            Part::Fairlead => {
                vec![
                    ellipse(45.0, 28.0, 36),
                    reversed(ellipse(25.0, 11.0, 28)),
                    hole(-35.0, 0.0, 2.5),
                    hole(35.0, 0.0, 2.5),
                ]
            }
            Part::OarCollar => vec![disc(38.0), hole(0.0, 0.0, 27.0)],
            Part::BlockCheek => block_cheek(),
            Part::RudderPintle => rudder_pintle(),
            Part::TillerKnob => tiller_knob(h),
            Part::NameBoard => {
                [vec![rounded_rectangle(170.0, 36.0, 8.0)], letters().iter().map(flipped).collect()].concat()
            }
            Part::Letters => letters(),
            Part::GlandTemplate => {
                let bolts = [(-32.0, -32.0), (32.0, -32.0), (32.0, 32.0), (-32.0, 32.0)].map(|(x, y)| hole(x, y, 3.0));
                [vec![rounded_rectangle(90.0, 90.0, 18.0), hole(0.0, 0.0, 24.0)], bolts.to_vec()].concat()
            }
            Part::Bollard => vec![disc(20.0 + 5.0 * (TAU * (h - 0.1)).cos())],
            Part::DeckPlate => {
                let bolts = (0..6).map(|i| on_circle(46.0, TAU * f64::from(i) / 6.0)).map(|p| hole(p.x, p.y, 3.0));
                [disc(60.0), hole(0.0, 0.0, 20.0)].into_iter().chain(bolts).collect()
            }
            Part::ChineTemplate => vec![
                Contour::Polygon(vec![point(-55.0, -28.0), point(85.0, -28.0), point(-55.0, 42.0)]),
                hole(-20.0, -6.0, 14.0),
            ],
            Part::MastStep => vec![rectangle(0.0, 0.0, 80.0, 80.0), flipped(&rectangle(0.0, 0.0, 36.0, 36.0))],
            Part::TholePin => vec![disc(10.0 - 3.0 * h)],
            Part::HawsePipe => {
                let flare = 8.0 * (1.0 - 2.0 * h).powi(2);
                vec![ellipse(38.0 + flare, 26.0 + flare, 32), reversed(ellipse(26.0, 14.0, 28))]
            }
            Part::HalfModel => vec![ellipse(85.0 - 8.0 * h, 26.0 - 9.0 * h, 48)],
        }
    }
}

fn on_circle(radius: f64, angle: f64) -> Point {
    point(radius * angle.cos(), radius * angle.sin())
}

fn disc(radius: f64) -> Contour {
    Contour::Circle { centre: point(0.0, 0.0), radius, hole: false }
}

fn hole(x: f64, y: f64, radius: f64) -> Contour {
    Contour::Circle { centre: point(x, y), radius, hole: true }
}

/// A closed curve through `n` points at equal steps of its angle.
fn curve(n: u16, at: impl Fn(f64) -> Point) -> Contour {
    Contour::Polygon((0..n).map(|i| at(TAU * f64::from(i) / f64::from(n))).collect())
}

fn ellipse(a: f64, b: f64, n: u16) -> Contour {
    curve(n, |t| point(a * t.cos(), b * t.sin()))
}

fn rectangle(x: f64, y: f64, width: f64, depth: f64) -> Contour {
    let (right, top) = (width / 2.0, depth / 2.0);
    let corners = [(-right, -top), (right, -top), (right, top), (-right, top)];
    Contour::Polygon(corners.map(|(dx, dy)| point(x + dx, y + dy)).to_vec())
}

fn rounded_rectangle(width: f64, depth: f64, radius: f64) -> Contour {
    const PER_CORNER: u16 = 7;
    let corner = |quarter: u16| {
        let (sx, sy) = [(1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0)][usize::from(quarter)];
        let centre = point(sx * (width / 2.0 - radius), sy * (depth / 2.0 - radius));
        let step = PI / 2.0 / f64::from(PER_CORNER - 1);
        (0..PER_CORNER)
            .map(move |i| centre.plus(on_circle(radius, f64::from(quarter) * PI / 2.0 + f64::from(i) * step)))
    };
    Contour::Polygon((0..4).flat_map(corner).collect())
}

/// The contour run the other way round: an outline becomes a hole.
fn flipped(contour: &Contour) -> Contour {
    match *contour {
        Contour::Polygon(ref points) => Contour::Polygon(points.iter().rev().copied().collect()),
        Contour::Circle { centre, radius, hole } => Contour::Circle { centre, radius, hole: !hole },
    }
}

fn reversed(contour: Contour) -> Contour {
    flipped(&contour)
}

/// A frame 22 mm wide along a round-bilged section, with limber holes by the keel.
fn hull_rib() -> Vec<Contour> {
    const STEPS: u16 = 24;
    let side = |half_width: f64, i: u16| {
        let t = PI * (1.0 + f64::from(i) / f64::from(STEPS));
        let (sin, cos) = t.sin_cos();
        let middle = point(74.0 * cos * (1.0 - 0.12 * sin * sin), 45.0 + 90.0 * sin);
        let slope = point(-74.0 * sin * (1.0 - 0.12 * sin * sin) - 74.0 * 0.24 * cos * sin * cos, 90.0 * cos);
        let length = slope.distance(point(0.0, 0.0));
        middle.plus(point(half_width * slope.y / length, -half_width * slope.x / length))
    };
    let outer = (0..=STEPS).map(|i| side(11.0, i));
    let inner = (0..=STEPS).rev().map(|i| side(-11.0, i));
    vec![Contour::Polygon(outer.chain(inner).collect()), hole(-22.0, -42.0, 3.0), hole(22.0, -42.0, 3.0)]
}

fn cleat() -> Vec<Contour> {
    let outline = curve(40, |t| point(60.0 * t.cos(), t.sin() * (14.0 + 4.0 * (2.0 * t).cos())));
    vec![outline, hole(-18.0, 0.0, 2.5), hole(18.0, 0.0, 2.5)]
}

fn block_cheek() -> Vec<Contour> {
    let outline = curve(40, |t| on_circle(34.0 + 8.0 * t.cos(), t));
    vec![outline, hole(0.0, 0.0, 6.0), hole(28.0, 0.0, 2.5), hole(-12.0, 11.0, 2.5), hole(-12.0, -11.0, 2.5)]
}

/// Two rounds of 20 and 12 mm, 85 mm apart, in one tight band.
fn rudder_pintle() -> Vec<Contour> {
    const STEPS: u16 = 14;
    let tangent = (8.0_f64 / 85.0).acos();
    let arc = |centre: f64, radius: f64, from: f64, sweep: f64| {
        (0..=STEPS)
            .map(move |i| point(centre, 0.0).plus(on_circle(radius, from + sweep * f64::from(i) / f64::from(STEPS))))
    };
    let eye = arc(-40.0, 20.0, tangent, TAU - 2.0 * tangent);
    let tail = arc(45.0, 12.0, -tangent, 2.0 * tangent);
    vec![Contour::Polygon(eye.chain(tail).collect()), hole(-40.0, 0.0, 8.0), hole(12.0, 0.0, 2.5), hole(40.0, 0.0, 2.5)]
}

/// A bulb on a neck; the hole for the tiller ends inside it.
fn tiller_knob(h: f64) -> Vec<Contour> {
    let bulb = disc(11.0 + 13.0 * (PI * (0.1 + 0.8 * h)).sin());
    if h < 0.6 { vec![bulb, hole(0.0, 0.0, 5.0)] } else { vec![bulb] }
}

/// Bars and rounds that read as letters from across the water.
fn letters() -> Vec<Contour> {
    let bar = |x: f64| rectangle(x, 0.0, 9.0, 22.0);
    let round = |x: f64| Contour::Circle { centre: point(x, 0.0), radius: 6.5, hole: false };
    vec![bar(-65.0), round(-46.0), bar(-27.0), bar(-8.0), round(11.0), bar(30.0), round(49.0), bar(68.0)]
}

#[cfg(test)]
mod tests {
    use super::super::geometry::tests::is_sound;
    use super::*;

    #[test]
    fn walls_of_every_part_stay_sound_at_every_height() {
        for part in Part::ALL {
            for contour in (0..=20).flat_map(|i| part.section(f64::from(i) / 20.0)) {
                for distance in [0.3, 1.0, 2.4] {
                    assert!(is_sound(&contour, distance), "{} at {distance} mm", part.name());
                }
            }
        }
    }

    #[test]
    fn every_part_is_one_outline_around_its_holes() {
        for part in Part::ALL {
            for section in [0.0, 0.5, 1.0].map(|h| part.section(h)) {
                let area = |contour: &Contour| contour.area();
                assert!(0.0 < area(&section[0]), "{}", part.name());
                let outlines = section.iter().filter(|contour| 0.0 < area(contour)).count();
                assert!(outlines == 1 || part == Part::Letters, "{}", part.name());
                assert!(0.0 < section.iter().map(area).sum::<f64>(), "{}", part.name());
            }
        }
    }

    #[test]
    fn insets_from_both_sides_of_a_wall_do_not_meet() {
        // A point of one contour moved inward by 2.4 mm keeps more than 2.4 mm from every other contour.
        for part in Part::ALL {
            let section = part.section(0.3);
            for (i, a) in section.iter().enumerate() {
                for (_, b) in section.iter().enumerate().filter(|(j, _)| *j != i) {
                    let inner = a.inset(2.4).corners();
                    let near = inner.iter().flat_map(|p| b.corners().into_iter().map(|q| p.distance(q)));
                    let nearest = near.fold(f64::INFINITY, f64::min);
                    assert!(2.4 < nearest, "{}: {nearest}", part.name());
                }
            }
        }
    }
}
