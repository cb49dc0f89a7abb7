//! Entry and exit speeds of all blocks between two stops, in bounded memory.
//!
//! Between stops the speed at each corner is the highest that its cap allows and from which the blocks behind it can
//! brake (backward pass), and that the blocks before it can reach (forward pass). In squares of speed both are
//! v_in² ≤ v_out² + 2 a L.
//!
//! The backward pass need not wait for the stop. Suppose the last block known had to end at rest: the true future allows
//! at least that. A corner that reaches its cap even so has its final backward value, and all before it follows from it.
//! So blocks are settled in batches, up to the last such corner; what is kept is about the braking distance.

use crate::block::Block;
use crate::order::{larger, smaller};

/// How many blocks come in before the next attempt to settle.
const BATCH: usize = 512;

/// What the look-ahead needs of a block.
#[derive(Clone, Copy, Debug)]
struct Planned {
    /// Cap of the speed at its start, later the speed, squared, mm²/s².
    entry: f64,
    /// 2 a L, mm²/s².
    gain: f64,
    speed: f64,
    acceleration: f64,
    flow: f64,
    line: u64,
}

/// A block with its times.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Settled {
    /// Duration, s.
    pub(crate) seconds: f64,
    /// Highest speed, mm/s.
    pub(crate) peak: f64,
    /// As in [`Block`].
    pub(crate) flow: f64,
    /// As in [`Block`].
    pub(crate) line: u64,
}

/// The blocks that are not settled yet.
#[derive(Clone, Debug)]
pub(crate) struct Lookahead {
    blocks: Vec<Planned>,
    /// Length at which settling is tried next.
    due: usize,
    most: usize,
    /// How often blocks were settled before their speeds were certain, because there were too many.
    pub(crate) forced: u64,
}

impl Lookahead {
    /// `most`: how many blocks may wait.
    pub(crate) fn new(most: usize) -> Lookahead {
        Lookahead { blocks: Vec::new(), due: BATCH, most, forced: 0 }
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.blocks.is_empty()
    }

    /// The line of the oldest block that waits.
    pub(crate) fn oldest_line(&self) -> Option<u64> {
        self.blocks.first().map(|block| block.line)
    }

    /// Adds a block that may be passed into at `cap` mm/s.
    #[inline]
    pub(crate) fn push(&mut self, block: &Block, cap: f64, settle: &mut impl FnMut(Settled)) {
        self.blocks.push(Planned {
            entry: cap * cap,
            gain: 2.0 * block.acceleration * block.length,
            speed: block.speed,
            acceleration: block.acceleration,
            flow: block.flow,
            line: block.line,
        });
        if self.due <= self.blocks.len() {
            self.settle_certain(settle);
        }
    }

    /// Settles all blocks; the last ends at `exit` mm/s.
    pub(crate) fn stop(&mut self, exit: f64, settle: &mut impl FnMut(Settled)) {
        self.settle_first(self.blocks.len(), exit * exit, settle);
        self.due = BATCH;
    }

    fn settle_certain(&mut self, settle: &mut impl FnMut(Settled)) {
        if let Some(certain) = self.last_certain() {
            let cap = self.blocks[certain].entry;
            self.settle_first(certain, cap, settle);
        } else if self.most <= self.blocks.len() {
            self.settle_half(settle);
        }
        let kept = self.blocks.len();
        self.due = (kept + BATCH.max(kept / 4)).min(self.most.max(kept + 1));
    }

    /// The last corner, but not the first, that its cap limits even if the last block must end at rest.
    fn last_certain(&self) -> Option<usize> {
        let mut reach = 0.0;
        for (index, block) in self.blocks.iter().enumerate().skip(1).rev() {
            reach += block.gain;
            if block.entry <= reach {
                return Some(index);
            }
        }
        None
    }

    /// Settles the older half as if the newest block had to end at rest: right where acceleration decides, too slow
    /// where braking does.
    pub(crate) fn settle_half(&mut self, settle: &mut impl FnMut(Settled)) {
        let half = self.blocks.len() / 2;
        let exit = self.blocks[half..].iter().map(|block| block.gain).sum();
        self.forced += 1;
        self.settle_first(half, exit, settle);
    }

    /// Settles the first `count` blocks; the last of them ends at no more than the root of `exit`.
    fn settle_first(&mut self, count: usize, exit: f64, settle: &mut impl FnMut(Settled)) {
        let mut after = exit;
        for block in self.blocks[..count].iter_mut().rev() {
            block.entry = smaller(block.entry, after + block.gain);
            after = block.entry;
        }
        let mut entry = [after.sqrt(), after];
        for index in 0..count {
            let next = if index + 1 < count { self.blocks[index + 1].entry } else { exit };
            let block = &self.blocks[index];
            let squared = smaller(next, entry[1] + block.gain);
            let leave = [squared.sqrt(), squared];
            let (seconds, peak) = duration(block, entry, leave);
            settle(Settled { seconds, peak, flow: block.flow, line: block.line });
            entry = leave;
        }
        self.blocks.drain(..count);
        if let Some(first) = self.blocks.first_mut() {
            first.entry = entry[1];
        }
    }
}

/// Duration (s) and highest speed (mm/s) of a block between two speeds, each given as itself and squared.
///
/// # Formula
/// Accelerating and braking evenly over L, v_peak² = a L + (v_in² + v_out²) / 2 =: top, or the speed limit's square if
/// that is less. Then the ends take (2 v_peak − v_in − v_out) / a, and the rest of the length, (top − v_peak²) / a, is
/// passed at v_peak. Where the limit is not reached the rest is 0, so that one formula serves both, without a branch.
#[inline(always)]
fn duration(block: &Planned, entry: [f64; 2], leave: [f64; 2]) -> (f64, f64) {
    let top = 0.5 * (block.gain + entry[1] + leave[1]);
    let squared = smaller(top, block.speed * block.speed);
    let peak = squared.sqrt();
    let ends = larger(2.0 * peak - entry[0] - leave[0], 0.0);
    ((ends + (top - squared) / peak) / block.acceleration, peak)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::block::Rates;
    use crate::event::Move;
    use crate::machine::{Limits, PerAxis};

    /// A block of `length` mm at up to `speed` mm/s with `acceleration` mm/s².
    fn block(length: f64, speed: f64, acceleration: f64) -> Block {
        let no_limit = PerAxis { x: 1e9, y: 1e9, z: 1e9, e: 1e9 };
        let rates = Rates::new(&Limits {
            travel_acceleration: acceleration,
            max_speed: no_limit,
            max_acceleration: no_limit,
            ..Limits::default()
        });
        Block::straight(
            &rates,
            &Move { delta: [length, 0.0, 0.0, 0.0], to: [length, 0.0, 0.0], speed, line: 1 },
            length,
        )
    }

    /// Durations of blocks, each with the cap of its entry speed, that end at `exit`; at most `most` may wait.
    fn plan(blocks: &[(Block, f64)], exit: f64, most: usize) -> (Vec<Settled>, u64) {
        let mut lookahead = Lookahead::new(most);
        let mut settled = Vec::new();
        for (block, cap) in blocks {
            lookahead.push(block, *cap, &mut |block| settled.push(block));
        }
        lookahead.stop(exit, &mut |block| settled.push(block));
        (settled, lookahead.forced)
    }

    #[track_caller]
    fn check(length: f64, speed: f64, acceleration: f64, ends: [f64; 2], seconds: f64, peak: f64) {
        let (settled, _) = plan(&[(block(length, speed, acceleration), ends[0])], ends[1], 10);
        assert!((settled[0].seconds / seconds - 1.0).abs() < 1e-8, "{} s", settled[0].seconds);
        assert!((settled[0].peak / peak - 1.0).abs() < 1e-8, "{} mm/s", settled[0].peak);
    }

    #[test]
    fn from_rest_to_rest() {
        // By hand: v/a + L/v, or 2 sqrt(L/a) where the speed is not reached (below L = v²/a).
        check(100.0, 150.0, 3000.0, [0.0, 0.0], 0.7166666667, 150.0);
        check(4.0, 150.0, 3000.0, [0.0, 0.0], 0.07302967433, 109.5445115);
        check(7.5, 150.0, 3000.0, [0.0, 0.0], 0.1, 150.0);
    }

    #[test]
    fn from_one_speed_to_another() {
        // Closed form: v_peak² = (2 a L + v0² + v1²) / 2.
        check(10.0, 100.0, 2000.0, [40.0, 20.0], 0.125, 100.0);
        check(2.0, 100.0, 2000.0, [40.0, 20.0], 0.04071067812, 70.71067812);
    }

    #[test]
    fn a_block_is_not_entered_faster_than_it_can_brake() {
        // From 100 to 20 mm/s at 2000 mm/s² takes (100² - 20²) / (2 · 2000) = 2.4 mm.
        check(2.4, 100.0, 2000.0, [100.0, 20.0], 0.04, 100.0);
        let entry = (20f64 * 20.0 + 2.0 * 2000.0 * 2.0).sqrt();
        check(2.0, 100.0, 2000.0, [100.0, 20.0], (entry - 20.0) / 2000.0, entry);
    }

    proptest! {
        #[test]
        fn settling_early_gives_what_waiting_for_the_stop_gives(
            moves in proptest::collection::vec((0.01..20.0f64, 5.0..300.0f64, 300.0..9000.0f64, 0.0..1.0f64), 1..3000)
        ) {
            let mut before = 0.0;
            let blocks: Vec<_> = moves
                .iter()
                .map(|&(length, speed, acceleration, part)| {
                    let cap = part * speed.min(before);
                    before = speed;
                    (block(length, speed, acceleration), cap)
                })
                .collect();
            let (early, forced) = plan(&blocks, 0.0, 1 << 18);
            // A look-ahead that may hold all settles nothing before its end if nothing is due.
            let mut patient = Lookahead { blocks: Vec::new(), due: usize::MAX, most: usize::MAX, forced: 0 };
            let mut late = Vec::new();
            for (block, cap) in &blocks {
                patient.push(block, *cap, &mut |block| late.push(block));
            }
            patient.stop(0.0, &mut |block| late.push(block));
            prop_assert_eq!(forced, 0);
            prop_assert_eq!(early.len(), late.len());
            for (early, late) in early.iter().zip(&late) {
                prop_assert!((early.seconds - late.seconds).abs() <= 1e-12 * late.seconds.max(1e-3));
            }
        }
    }

    #[test]
    fn a_full_look_ahead_settles_early_and_never_too_fast() {
        // One long pull of short blocks at full speed needs 150²/(2·300) = 37.5 mm to brake: 3750 blocks of 0.01 mm.
        let blocks: Vec<_> = (0..20_000).map(|_| (block(0.01, 150.0, 300.0), 150.0)).collect();
        let total = |most| {
            let (settled, forced) = plan(&blocks, 0.0, most);
            (settled.iter().map(|block| block.seconds).sum::<f64>(), forced)
        };
        let ((long, none), (short, some)) = (total(1 << 18), total(1000));
        assert_eq!((none, 0 < some), (0, true));
        assert!(long < short);
    }
}
