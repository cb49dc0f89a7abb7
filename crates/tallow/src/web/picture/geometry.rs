//! Places on a drawing, in its own units: x to the right, y down.

/// A place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Point {
    /// To the right.
    pub(super) x: f64,
    /// Down.
    pub(super) y: f64,
}

/// The place at `x` and `y`.
pub(super) const fn at(x: f64, y: f64) -> Point {
    Point { x, y }
}

impl Point {
    /// The place that lies `by` times the vector `along` from here.
    pub(super) fn plus(self, along: Point, by: f64) -> Point {
        at(self.x + along.x * by, self.y + along.y * by)
    }

    /// How far away another place is.
    pub(super) fn distance(self, other: Point) -> f64 {
        (other.x - self.x).hypot(other.y - self.y)
    }

    /// Its mirror image left and right of a vertical line.
    pub(super) fn mirrored(self, middle: f64) -> Point {
        at(2.0 * middle - self.x, self.y)
    }
}

/// An upright rectangle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cell {
    /// Its left edge.
    pub(super) x: f64,
    /// Its upper edge.
    pub(super) y: f64,
    /// How wide it is.
    pub(super) width: f64,
    /// How high it is.
    pub(super) height: f64,
}

/// The rectangle with that corner at the upper left.
pub(super) const fn cell(x: f64, y: f64, width: f64, height: f64) -> Cell {
    Cell { x, y, width, height }
}

/// The gap between neighbours in a row.
const GAP: f64 = 4.0;

impl Cell {
    /// Its middle.
    pub(super) fn middle(self) -> Point {
        at(self.x + self.width / 2.0, self.y + self.height / 2.0)
    }

    /// Its corners, clockwise from the upper left.
    pub(super) fn corners(self) -> Vec<Point> {
        let (right, low) = (self.x + self.width, self.y + self.height);
        vec![at(self.x, self.y), at(right, self.y), at(right, low), at(self.x, low)]
    }

    /// The place at those shares of its width and height.
    pub(super) fn inside(self, across: f64, down: f64) -> Point {
        at(self.x + across * self.width, self.y + down * self.height)
    }

    /// The same with its edges `by` further in.
    pub(super) fn inset(self, by: f64) -> Cell {
        cell(self.x + by, self.y + by, self.width - 2.0 * by, self.height - 2.0 * by)
    }

    /// Its mirror image left and right of a vertical line.
    pub(super) fn mirrored(self, middle: f64) -> Cell {
        cell(2.0 * middle - self.x - self.width, self.y, self.width, self.height)
    }

    /// `count` cells side by side in it, in rows of at most `across`.
    pub(super) fn grid(self, count: usize, across: usize) -> Vec<Cell> {
        let across = across.clamp(1, count.max(1));
        let rows = count.div_ceil(across).max(1);
        let width = (self.width - GAP * (across - 1) as f64) / across as f64;
        let height = (self.height - GAP * (rows - 1) as f64) / rows as f64;
        let place = |index: usize| {
            let (column, row) = ((index % across) as f64, (index / across) as f64);
            cell(self.x + column * (width + GAP), self.y + row * (height + GAP), width, height)
        };
        (0..count).map(place).collect()
    }
}

/// Whether two stretches cross each other.
pub(super) fn cross([a, b]: [Point; 2], [c, d]: [Point; 2]) -> bool {
    let side = |p: Point, q: Point, r: Point| (q.x - p.x) * (r.y - p.y) - (q.y - p.y) * (r.x - p.x);
    side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
}
