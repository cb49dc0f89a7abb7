//! From a move to a block: the speed and acceleration it may have, and how fast it may be passed into.

use crate::arc::Arc;
use crate::event::Move;
use crate::machine::{Corner, Limits, PerAxis};
use crate::order::{larger, smaller};

/// A jerk of zero forbids any jump; its reciprocal must stay finite, for 0 · ∞ is not a number.
const LARGEST_RECIPROCAL: f64 = 1e250;

/// The limits as the planner multiplies with them.
#[derive(Clone, Debug)]
pub(crate) struct Rates {
    /// Reciprocals of the axes' maximum speeds, s/mm.
    per_speed: [f64; 4],
    /// Reciprocals of the axes' maximum accelerations, s²/mm.
    per_acceleration: [f64; 4],
    /// Reciprocals of the axes' jerks, s/mm.
    per_jerk: [f64; 4],
    print: f64,
    retract: f64,
    travel: f64,
    junction_deviation: f64,
}

impl Rates {
    pub(crate) fn new(limits: &Limits) -> Rates {
        Rates {
            per_speed: reciprocals(limits.max_speed),
            per_acceleration: reciprocals(limits.max_acceleration),
            per_jerk: reciprocals(limits.jerk),
            print: limits.print_acceleration,
            retract: limits.retract_acceleration,
            travel: limits.travel_acceleration,
            junction_deviation: limits.junction_deviation,
        }
    }

    /// The speed at which a block of `speed` mm/s in the direction `unit` may start or end on its own, mm/s.
    #[inline(always)]
    fn safe_speed(&self, speed: f64, unit: [f64; 4]) -> f64 {
        speed / larger(speed * largest_product(unit, &self.per_jerk), 1.0)
    }

    /// The acceleration of a kind of move, before the axes' limits.
    #[inline(always)]
    fn acceleration(&self, travels: bool, de: f64) -> f64 {
        if !travels {
            self.retract
        } else if de != 0.0 {
            self.print
        } else {
            self.travel
        }
    }
}

fn reciprocals(of: PerAxis) -> [f64; 4] {
    [of.x, of.y, of.z, of.e].map(|value| (1.0 / value).min(LARGEST_RECIPROCAL))
}

/// A block on its way into the look-ahead: what the corner to the next block depends on.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Block {
    /// Length, mm.
    pub(crate) length: f64,
    /// The highest speed, mm/s.
    pub(crate) speed: f64,
    /// Acceleration, mm/s².
    pub(crate) acceleration: f64,
    /// Filament per path while it prints, 0 for other moves; mm/mm.
    pub(crate) flow: f64,
    /// The line, counted from 1.
    pub(crate) line: u64,
    /// How far X, Y, Z, E move per mm of path, at the start.
    leaves: [f64; 4],
    /// The same at the end.
    arrives: [f64; 4],
    /// The speed from which it may start on its own by the jerk rule, mm/s.
    safe_start: f64,
    /// The speed at which it may end on its own by the jerk rule, mm/s.
    safe_end: f64,
    travels: bool,
}

impl Block {
    /// The block of a straight move whose path is `path` mm long; 0 if only the extruder moves.
    #[inline(always)]
    pub(crate) fn straight(rates: &Rates, of: &Move, path: f64) -> Block {
        let travels = 0.0 < path;
        let length = if travels { path } else { of.delta[3].abs() };
        let per_mm = 1.0 / length;
        let unit = of.delta.map(|delta| delta * per_mm);
        let acceleration = lowered(rates.acceleration(travels, unit[3]), unit, &rates.per_acceleration);
        let speed = lowered(of.speed, unit, &rates.per_speed);
        let safe = rates.safe_speed(speed, unit);
        Block {
            length,
            speed,
            acceleration,
            flow: if travels { larger(unit[3], 0.0) } else { 0.0 },
            line: of.line,
            leaves: unit,
            arrives: unit,
            safe_start: safe,
            safe_end: safe,
            travels,
        }
    }

    /// The block of an arc, if it has a length. X and Y count with the whole of its part in their plane.
    pub(crate) fn arc(rates: &Rates, of: &Move, arc: &Arc) -> Option<Block> {
        let [_, _, dz, de] = of.delta;
        let length = arc.length().hypot(dz);
        if length == 0.0 {
            return None;
        }
        let per_mm = 1.0 / length;
        let (flat, z, e) = (arc.length() * per_mm, dz * per_mm, de * per_mm);
        let along = |place| {
            let [x, y] = arc.tangent(place);
            [x * flat, y * flat, z, e]
        };
        let (leaves, arrives, largest) = (along(arc.leaves), along(arc.arrives), [flat, flat, z, e]);
        let acceleration = lowered(rates.acceleration(true, e), largest, &rates.per_acceleration);
        let mut speed = lowered(of.speed, largest, &rates.per_speed);
        // A helix of no radius only rises.
        if 0.0 < flat {
            speed = smaller(speed, (acceleration * arc.radius).sqrt());
        }
        Some(Block {
            length,
            speed,
            acceleration,
            flow: larger(e, 0.0),
            line: of.line,
            leaves,
            arrives,
            safe_start: rates.safe_speed(speed, leaves),
            safe_end: rates.safe_speed(speed, arrives),
            travels: true,
        })
    }

    /// The speed from which it may start on its own, mm/s.
    pub(crate) fn start_speed(&self, corner: Corner) -> f64 {
        match corner {
            Corner::Jerk => self.safe_start,
            Corner::Deviation => 0.0,
        }
    }

    /// The speed at which it may end on its own, mm/s.
    pub(crate) fn end_speed(&self, corner: Corner) -> f64 {
        match corner {
            Corner::Jerk => self.safe_end,
            Corner::Deviation => 0.0,
        }
    }

    /// The highest speed at which `self` may be passed into from `before`, mm/s.
    #[inline(always)]
    pub(crate) fn corner_speed(&self, before: &Block, corner: Corner, rates: &Rates) -> f64 {
        match corner {
            Corner::Jerk => self.jerk_corner(before, rates),
            Corner::Deviation => self.deviation_corner(before, rates),
        }
    }

    /// Each axis may jump by its jerk. Axis after axis lowers the speed in proportion, so that the one that would jump
    /// most beyond its jerk decides.
    #[inline(always)]
    fn jerk_corner(&self, before: &Block, rates: &Rates) -> f64 {
        let slower = smaller(before.speed, self.speed);
        let jumps: [f64; 4] = std::array::from_fn(|axis| {
            let (exit, entry) = (before.arrives[axis] * slower, self.leaves[axis] * self.speed);
            // Of one sign the difference is less than the larger, of two signs more.
            smaller((exit - entry).abs(), larger(exit.abs(), entry.abs())) * rates.per_jerk[axis]
        });
        let jump = larger(largest(jumps), 1.0);
        let corner = slower / jump;
        let (nearly, safe) = (0.99 * corner, smaller(self.safe_start, before.speed));
        // Both are at hand, so that the processor need not guess.
        if (nearly < before.safe_end) & (nearly < self.safe_start) { safe } else { corner }
    }

    /// The corner is rounded by an arc that leaves it by the junction deviation at most; the acceleration towards its
    /// centre limits the speed.
    #[inline(always)]
    fn deviation_corner(&self, before: &Block, rates: &Rates) -> f64 {
        if !(before.travels && self.travels) {
            return 0.0;
        }
        let cos: f64 = (0..3).map(|axis| before.arrives[axis] * self.leaves[axis]).sum();
        let half = ((1.0 + cos) / 2.0).max(0.0).sqrt();
        let acceleration = before.acceleration.min(self.acceleration);
        let squared = acceleration * rates.junction_deviation * half / (1.0 - half).max(1e-12);
        before.speed.min(self.speed).min(squared.sqrt())
    }
}

/// `value` along the path, lowered so that no axis, with its part of it, passes its limit.
#[inline(always)]
fn lowered(value: f64, parts: [f64; 4], per_limit: &[f64; 4]) -> f64 {
    let over = value * largest_product(parts, per_limit);
    if over <= 1.0 { value } else { value / over }
}

#[inline(always)]
fn largest_product(parts: [f64; 4], factors: &[f64; 4]) -> f64 {
    let products: [f64; 4] = std::array::from_fn(|axis| parts[axis].abs() * factors[axis]);
    largest(products)
}

#[inline(always)]
fn largest(values: [f64; 4]) -> f64 {
    larger(larger(values[0], values[1]), larger(values[2], values[3]))
}
