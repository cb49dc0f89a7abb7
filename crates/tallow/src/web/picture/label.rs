//! Where the labels of a drawing stand: in a column on either side, none upon another, their leader lines uncrossed.

use std::ops::Range;

use super::geometry::{Point, at, cross};

/// Where a label stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Spot {
    /// Whether on the left.
    pub(super) is_left: bool,
    /// Where its leader line begins.
    pub(super) from: Point,
}

/// A column of labels.
#[derive(Clone, Debug)]
pub(super) struct Column {
    /// Where its leader lines begin.
    pub(super) x: f64,
    /// From where to where its labels' middles may stand.
    pub(super) y: Range<f64>,
}

impl Column {
    /// How many labels find room in it.
    fn room(&self, gap: f64) -> usize {
        ((self.y.end - self.y.start).max(0.0) / gap).floor() as usize + 1
    }
}

/// Finds each label a spot: `to` are the places that they name, `gap` the least distance of two labels' middles.
///
/// The columns must have room for all; see [`least`].
pub(super) fn spots(to: &[Point], columns: &[Column; 2], gap: f64) -> Vec<Spot> {
    let middle = (columns[0].x + columns[1].x) / 2.0;
    let mut by_x: Vec<usize> = (0..to.len()).collect();
    by_x.sort_by(|one, other| to[*one].x.total_cmp(&to[*other].x));
    let on_left = by_x.iter().filter(|index| to[**index].x < middle).count();
    let least_left = to.len().saturating_sub(columns[1].room(gap));
    let on_left = on_left.max(least_left).min(columns[0].room(gap));
    let mut spots = vec![Spot { is_left: false, from: at(0.0, 0.0) }; to.len()];
    let (left, right) = by_x.split_at(on_left.min(to.len()));
    for (is_left, side, column) in [(true, left, &columns[0]), (false, right, &columns[1])] {
        for (index, y) in column_of(to, side, column, gap) {
            spots[index] = Spot { is_left, from: at(column.x, y) };
        }
    }
    spots
}

/// The labels of one side from above, each with its height.
fn column_of(to: &[Point], side: &[usize], column: &Column, gap: f64) -> Vec<(usize, f64)> {
    let mut order = side.to_vec();
    order.sort_by(|one, other| to[*one].y.total_cmp(&to[*other].y));
    let heights = heights(&order.iter().map(|index| to[*index].y).collect::<Vec<_>>(), column, gap);
    let leader = |index: usize, y: f64| [at(column.x, y), to[index]];
    // Two leader lines that cross are longer than the two that don't, so that this ends.
    let mut has_changed = true;
    while has_changed {
        has_changed = false;
        for one in 0..order.len() {
            for other in one + 1..order.len() {
                if cross(leader(order[one], heights[one]), leader(order[other], heights[other])) {
                    order.swap(one, other);
                    has_changed = true;
                }
            }
        }
    }
    order.into_iter().zip(heights).collect()
}

/// Heights near the wanted ones, which rise, at least `gap` apart and within the column.
fn heights(wanted: &[f64], column: &Column, gap: f64) -> Vec<f64> {
    let mut heights = wanted.to_vec();
    let mut least = column.y.start;
    for height in &mut heights {
        *height = height.max(least);
        least = *height + gap;
    }
    let mut most = column.y.end;
    for height in heights.iter_mut().rev() {
        *height = height.min(most);
        most = *height - gap;
    }
    heights
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_keep_their_distance_and_no_two_leader_lines_of_a_side_cross() {
        let columns = [Column { x: 0.0, y: 0.0..400.0 }, Column { x: 300.0, y: 0.0..400.0 }];
        // Places crowded in one corner, more of them than one side has room for.
        let to: Vec<Point> =
            (0..30).map(|i| at(20.0 + f64::from(i * 37 % 90), 30.0 + f64::from(i * 53 % 70))).collect();
        let spots = spots(&to, &columns, 20.0);
        for (one, (spot, place)) in spots.iter().zip(&to).enumerate() {
            assert!((0.0..=400.0).contains(&spot.from.y), "{spot:?}");
            for (other, place_of_other) in spots.iter().zip(&to).skip(one + 1) {
                if spot.is_left == other.is_left {
                    assert!(20.0 - 1e-9 <= (spot.from.y - other.from.y).abs(), "{spot:?} {other:?}");
                    assert!(!cross([spot.from, *place], [other.from, *place_of_other]));
                }
            }
        }
    }
}
