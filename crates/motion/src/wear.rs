//! Where along an axis its travel fell.
//!
//! A move adds to the bins at its two ends what it covers of them, and to all bins between them their full width. The
//! latter are kept as differences, so that a move costs the same however many bins it crosses.

use crate::order::{larger, smaller};

/// Bins below zero; with bins of 10 mm they reach to −10.24 m.
const BELOW: usize = 1024;
/// The last bin; with bins of 10 mm it ends at 30.72 m.
const LAST: i32 = 4095;
/// All bins.
const BINS: usize = LAST as usize + 1;

/// The travel along one axis, in bins of equal width along it. What lies beyond the outermost bins counts to them.
#[derive(Clone, Debug)]
pub struct WearMap {
    /// Width of a bin, mm.
    width: f64,
    bins_per_mm: f64,
    /// Travel that did not cross the whole bin, mm.
    partly: Box<[f64; BINS]>,
    /// Full crossings of bin i, less those of bin i − 1.
    crossings: Box<[i64; BINS]>,
}

impl WearMap {
    /// An empty map with bins of `width` mm.
    pub(crate) fn new(width: f64) -> WearMap {
        WearMap { width, bins_per_mm: 1.0 / width, partly: Box::new([0.0; BINS]), crossings: Box::new([0; BINS]) }
    }

    /// Adds a move between two coordinates, mm.
    #[inline(always)]
    pub(crate) fn add(&mut self, from: f64, to: f64) {
        let (low, high) = if from < to { (from, to) } else { (to, from) };
        let (first, last) = (self.bin(low), self.bin(high));
        if first == last {
            self.partly[first] += high - low;
        } else {
            self.partly[first] += self.start(first + 1) - low;
            self.partly[last] += high - self.start(last);
            self.crossings[first + 1] += 1;
            self.crossings[last] -= 1;
        }
    }

    /// The bin of a coordinate; beyond the outermost, those. On the border of two it may be either, which is the same,
    /// for the part of the move in the wrong one is nothing.
    #[inline(always)]
    fn bin(&self, at: f64) -> usize {
        /// Added to a number below it, 2^52 leaves the number, rounded to a whole one, in the lowest bits. That takes a
        /// third of the instructions of a cast, which must guard against all that a number can be.
        const WHOLE: f64 = (1u64 << 52) as f64;
        let bin = at * self.bins_per_mm + (BELOW as f64 - 0.5);
        let whole = larger(smaller(bin, BINS as f64 - 1.0), 0.0) + WHOLE;
        whole.to_bits() as usize % BINS
    }

    #[inline(always)]
    fn start(&self, bin: usize) -> f64 {
        (bin as f64 - BELOW as f64) * self.width
    }

    /// Width of a bin, mm.
    pub fn width_mm(&self) -> f64 {
        self.width
    }

    /// The bins in which anything moved, in order: the coordinate at which the bin starts, mm, and the travel in it, mm.
    pub fn bins(&self) -> Vec<(f64, f64)> {
        let mut crossed = 0;
        let mut found = Vec::new();
        for (bin, (partly, change)) in self.partly.iter().zip(self.crossings.iter()).enumerate() {
            crossed += change;
            let travel = partly + crossed as f64 * self.width;
            if 0.0 < travel {
                found.push((self.start(bin), travel));
            }
        }
        found
    }

    /// All travel, mm.
    pub fn travel_mm(&self) -> f64 {
        self.bins().iter().map(|(_, travel)| travel).sum()
    }
}

/// Wear maps of the axes, by machine coordinates: the place after homing is 0, whatever G92 calls it later.
#[derive(Clone, Debug)]
pub struct WearMaps {
    /// Along X.
    pub x: WearMap,
    /// Along Y.
    pub y: WearMap,
    /// Along Z.
    pub z: WearMap,
}

impl WearMaps {
    pub(crate) fn new(width: f64) -> WearMaps {
        WearMaps { x: WearMap::new(width), y: WearMap::new(width), z: WearMap::new(width) }
    }
}
