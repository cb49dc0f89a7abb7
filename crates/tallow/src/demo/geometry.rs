//! Plane geometry for the toolpaths: closed contours, their offsets, and lines clipped to them. Lengths in mm.

use std::f64::consts::{PI, TAU};

/// A point of the plane, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    pub(super) x: f64,
    pub(super) y: f64,
}

/// The point (x, y).
pub(super) const fn point(x: f64, y: f64) -> Point {
    Point { x, y }
}

impl Point {
    /// Moved by `by`.
    pub(super) fn plus(self, by: Point) -> Point {
        point(self.x + by.x, self.y + by.y)
    }

    fn minus(self, other: Point) -> Point {
        point(self.x - other.x, self.y - other.y)
    }

    fn times(self, factor: f64) -> Point {
        point(self.x * factor, self.y * factor)
    }

    #[cfg(test)]
    fn cross(self, other: Point) -> f64 {
        self.x * other.y - self.y * other.x
    }

    fn dot(self, other: Point) -> f64 {
        self.x * other.x + self.y * other.y
    }

    /// Distance to `other`.
    pub(super) fn distance(self, other: Point) -> f64 {
        let d = self.minus(other);
        d.x.hypot(d.y)
    }

    fn rotated(self, sin: f64, cos: f64) -> Point {
        point(cos * self.x - sin * self.y, sin * self.x + cos * self.y)
    }
}

/// A closed line with the material on its left: outer contours run counter-clockwise, holes clockwise.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Contour {
    /// Straight edges; the last point joins the first.
    Polygon(Vec<Point>),
    /// A full circle.
    Circle {
        /// Its centre.
        centre: Point,
        /// Its radius.
        radius: f64,
        /// Whether the material lies outside it.
        hole: bool,
    },
}

/// How far a drawn circle's edges may cut inside it, mm: what a nozzle does not show.
const SAGITTA: f64 = 0.05;

impl Contour {
    /// Its corners in order; a circle as the regular polygon of the same area.
    pub(super) fn corners(&self) -> Vec<Point> {
        match *self {
            Contour::Polygon(ref points) => points.clone(),
            Contour::Circle { centre, radius, hole } => {
                let n = (PI / (1.0 - (SAGITTA / radius).min(0.5)).acos()).ceil().max(8.0);
                let step = if hole { -TAU / n } else { TAU / n };
                let outer = radius * (step / step.sin()).sqrt();
                let corner =
                    |i: u32| point(outer, 0.0).rotated((step * f64::from(i)).sin(), (step * f64::from(i)).cos());
                (0..n as u32).map(|i| centre.plus(corner(i))).collect()
            }
        }
    }

    /// Enclosed area, mm²; negative for a hole. What the filament used is checked against.
    #[cfg(test)]
    pub(super) fn area(&self) -> f64 {
        match *self {
            Contour::Polygon(ref points) => edges(points).map(|(a, b)| a.cross(b)).sum::<f64>() / 2.0,
            Contour::Circle { radius, hole, .. } => PI * radius * radius * if hole { -1.0 } else { 1.0 },
        }
    }

    /// The contour `distance` further into the material, with sharp (mitred) corners.
    ///
    /// Each edge moves to its left and neighbours meet where their lines cross. Right as long as no edge is used up
    /// and no wall is thinner than twice the distance; the tests hold every part of the catalogue to that.
    pub(super) fn inset(&self, distance: f64) -> Contour {
        match *self {
            Contour::Polygon(ref points) => Contour::Polygon(inset_polygon(points, distance)),
            Contour::Circle { centre, radius, hole } => {
                let radius = if hole { radius + distance } else { radius - distance };
                Contour::Circle { centre, radius, hole }
            }
        }
    }

    /// Moved by `by`.
    pub(super) fn moved(&self, by: Point) -> Contour {
        match *self {
            Contour::Polygon(ref points) => Contour::Polygon(points.iter().map(|p| p.plus(by)).collect()),
            Contour::Circle { centre, radius, hole } => Contour::Circle { centre: centre.plus(by), radius, hole },
        }
    }
}

/// The edges of a closed polygon, in order.
fn edges(points: &[Point]) -> impl Iterator<Item = (Point, Point)> + '_ {
    points.iter().zip(points.iter().cycle().skip(1)).map(|(a, b)| (*a, *b))
}

fn inset_polygon(points: &[Point], distance: f64) -> Vec<Point> {
    let direction = |from: Point, to: Point| to.minus(from).times(1.0 / from.distance(to));
    let n = points.len();
    (0..n)
        .map(|i| {
            let before = direction(points[(i + n - 1) % n], points[i]);
            let after = direction(points[i], points[(i + 1) % n]);
            // The mitre: normals n1, n2 (to the left) give the shift d·(n1 + n2) / (1 + n1·n2).
            let normals = point(-before.y - after.y, before.x + after.x);
            points[i].plus(normals.times(distance / (1.0 + before.dot(after))))
        })
        .collect()
}

/// A straight piece of infill.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Segment {
    pub(super) from: Point,
    pub(super) to: Point,
}

/// The rows of parallel lines at `angle` (radians), `spacing` mm apart, that lie inside the contours (even-odd rule);
/// row by row, each from left to right as seen along the angle.
pub(super) fn hatch(contours: &[Contour], angle: f64, spacing: f64) -> Vec<Vec<Segment>> {
    let (sin, cos) = angle.sin_cos();
    let turned: Vec<Vec<Point>> =
        contours.iter().map(|contour| contour.corners().iter().map(|p| p.rotated(-sin, cos)).collect()).collect();
    // Rows lie on multiples of the spacing, so that sparse lines of different layers stand on each other.
    let mut crossings: std::collections::BTreeMap<i64, Vec<f64>> = Default::default();
    for (a, b) in turned.iter().flat_map(|points| edges(points)) {
        let (low, high) = if a.y < b.y { (a, b) } else { (b, a) };
        let mut row = (low.y / spacing).ceil() as i64;
        while (row as f64) * spacing < high.y {
            let share = (row as f64 * spacing - low.y) / (high.y - low.y);
            crossings.entry(row).or_default().push(low.x + share * (high.x - low.x));
            row += 1;
        }
    }
    crossings.into_iter().map(|(row, xs)| row_segments(xs, row as f64 * spacing, sin, cos)).collect()
}

/// Shorter pieces of infill than this are left out, mm: nothing would come out of the nozzle.
const SHORTEST: f64 = 0.3;

fn row_segments(mut xs: Vec<f64>, y: f64, sin: f64, cos: f64) -> Vec<Segment> {
    xs.sort_by(f64::total_cmp);
    let segment =
        |pair: &[f64]| Segment { from: point(pair[0], y).rotated(sin, cos), to: point(pair[1], y).rotated(sin, cos) };
    xs.chunks_exact(2).filter(|pair| SHORTEST < pair[1] - pair[0]).map(segment).collect()
}

/// Puts hatch rows into an order with few long jumps: to and fro from row to row while the next row has a piece near
/// by, else on to the first piece left over.
pub(super) fn to_and_fro(mut rows: Vec<Vec<Segment>>, near: f64) -> Vec<Segment> {
    let mut path: Vec<Segment> = Vec::new();
    let mut first_row = 0;
    while let Some(start) = (first_row..rows.len()).find(|&row| !rows[row].is_empty()) {
        first_row = start;
        let mut row = start;
        path.push(rows[row].remove(0));
        while let Some(next) = rows.get_mut(row + 1) {
            let here = path[path.len() - 1].to;
            let Some(found) = nearest(next, here, near) else { break };
            path.push(found);
            row += 1;
        }
    }
    path
}

/// Takes out of `row` the piece with an end nearest to `here`, turned to start there, if that is less than `near` off.
fn nearest(row: &mut Vec<Segment>, here: Point, near: f64) -> Option<Segment> {
    let distance = |segment: &Segment| here.distance(segment.from).min(here.distance(segment.to));
    let index = (0..row.len()).min_by(|&a, &b| distance(&row[a]).total_cmp(&distance(&row[b])))?;
    if distance(&row[index]) >= near {
        return None;
    }
    let Segment { from, to } = row.remove(index);
    let turned = here.distance(to) < here.distance(from);
    Some(if turned { Segment { from: to, to: from } } else { Segment { from, to } })
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    fn square(side: f64) -> Contour {
        Contour::Polygon(vec![point(0.0, 0.0), point(side, 0.0), point(side, side), point(0.0, side)])
    }

    /// Whether an inset is sound: every edge still points the way it did, and no two edges cross.
    pub(in super::super) fn is_sound(contour: &Contour, distance: f64) -> bool {
        if let Contour::Circle { radius, hole, .. } = *contour {
            return hole || distance < radius;
        }
        let (before, after) = (contour.corners(), contour.inset(distance).corners());
        let kept = edges(&before).zip(edges(&after)).all(|((a, b), (c, d))| 0.0 < b.minus(a).dot(d.minus(c)));
        let edges: Vec<_> = edges(&after).collect();
        let crossing = (0..edges.len())
            .any(|i| (i + 2..edges.len()).any(|j| (i, j) != (0, edges.len() - 1) && cross(edges[i], edges[j])));
        kept && !crossing
    }

    fn cross((a, b): (Point, Point), (c, d): (Point, Point)) -> bool {
        let side = |p: Point, q: Point, r: Point| q.minus(p).cross(r.minus(p));
        side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
    }

    #[test]
    fn insetting_a_square_and_a_circle_shrinks_them_and_widens_holes() {
        assert!((square(10.0).inset(1.0).area() - 64.0).abs() < 1e-9);
        let hole = Contour::Circle { centre: point(3.0, 4.0), radius: 2.0, hole: true };
        assert!((hole.inset(1.0).area() + 9.0 * PI).abs() < 1e-9);
    }

    #[test]
    fn a_circle_drawn_with_edges_keeps_its_area_and_its_sense() {
        for hole in [false, true] {
            let circle = Contour::Circle { centre: point(30.0, -4.0), radius: 12.0, hole };
            let drawn = Contour::Polygon(circle.corners());
            assert!((drawn.area() - circle.area()).abs() < 1e-9, "{drawn:?}");
        }
    }

    #[test]
    fn hatching_covers_an_area_of_length_times_spacing() {
        let hole = Contour::Circle { centre: point(20.0, 20.0), radius: 8.0, hole: true };
        let contours = [square(40.0), hole];
        let area: f64 = contours.iter().map(Contour::area).sum();
        for angle in [0.3, PI / 4.0, 2.0] {
            let rows = hatch(&contours, angle, 0.5);
            let length: f64 = rows.iter().flatten().map(|s| s.from.distance(s.to)).sum();
            // Both ends of the row of rows are rounded: at most a row in eighty.
            assert!((length * 0.5 / area - 1.0).abs() < 0.0125, "{angle}: {}", length * 0.5 / area);
        }
    }

    #[test]
    fn ordering_the_hatch_loses_nothing_and_jumps_little() {
        let hole = Contour::Circle { centre: point(20.0, 20.0), radius: 8.0, hole: true };
        let rows = hatch(&[square(40.0), hole], PI / 4.0, 2.0);
        let count = rows.iter().flatten().count();
        let path = to_and_fro(rows, 8.0);
        assert_eq!(path.len(), count);
        let jumps = path.windows(2).filter(|pair| 8.0 <= pair[0].to.distance(pair[1].from)).count();
        assert!(jumps <= 1, "{jumps}");
    }
}
