//! How often bounds hold the truth: a simulation over shapes and numbers of failures.
//!
//! Prints the table of `docs/LIVES.md`: `cargo run --release -p life --example coverage`, or with another number of samples
//! a cell behind `--`.

use std::io::Write;
use std::num::NonZero;
use std::sync::Mutex;

use life::{End, Family, Fit, Law, Level, Life, Of};

const SHAPES: [f64; 5] = [0.7, 1.0, 1.5, 2.5, 4.0];
const FAILURES: [usize; 4] = [5, 10, 20, 50];
const QUANTITIES: [Of; 3] = [Of::Shape, Of::Scale, Of::Quantile(0.1)];
const LEVEL: f64 = 0.9;
const SCALE: f64 = 1000.0;
const SAMPLES: u32 = 2000;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let samples = std::env::args().nth(1).map_or(Ok(SAMPLES), |samples| samples.parse())?;
    let cells: Vec<Cell> = cells();
    let counts = all_cores(&cells, |cell| cell.count(samples));
    let mut out = std::io::stdout().lock();
    let columns = "profile: shape | scale | B10 | Wald: shape | scale | B10 | conditional: shape | scale | B10";
    writeln!(out, "| sample | failures | shape | {columns} |\n{}|", "|---".repeat(12))?;
    for (cell, count) in cells.iter().zip(counts) {
        write!(out, "| {} | {} | {} |", cell.kind(), cell.failures, cell.shape)?;
        for held in count.iter().flatten() {
            write!(out, " {:.1} |", 100.0 * f64::from(*held) / f64::from(samples))?;
        }
        writeln!(out)?;
    }
    Ok(())
}

/// How lives end that do not fail.
#[derive(Clone, Copy)]
enum Sample {
    /// There are none.
    Complete,
    /// As many as failures were still good when the last failure stopped the test.
    HalfCensored,
    /// Each of twice as many lives as failures has an age of its own at which it is suspended, drawn from the same law: half
    /// of them fail first, on average.
    Suspended,
}

/// One line of the table.
#[derive(Clone, Copy)]
struct Cell {
    sample: Sample,
    shape: f64,
    failures: usize,
}

fn cells() -> Vec<Cell> {
    let mut cells = Vec::new();
    for sample in [Sample::Complete, Sample::HalfCensored] {
        for failures in FAILURES {
            cells.extend(SHAPES.map(|shape| Cell { sample, shape, failures }));
        }
    }
    cells.extend(FAILURES.map(|failures| Cell { sample: Sample::Suspended, shape: 1.5, failures }));
    cells
}

/// How many samples' bounds held the truth, by method and quantity.
type Count = [[u32; 3]; 3];

impl Cell {
    fn kind(&self) -> &'static str {
        match self.sample {
            Sample::Complete => "complete",
            Sample::HalfCensored => "half censored",
            Sample::Suspended => "suspended",
        }
    }

    fn count(&self, samples: u32) -> Count {
        // OK because the cell's numbers are small: each has a start of its own.
        let mut random = Random(1 + (self.shape * 10.0) as u64 + 1000 * self.failures as u64 + 7 * self.good() as u64);
        let mut count = Count::default();
        for _ in 0..samples {
            let held = self.held(&mut random);
            for (sum, held) in count.iter_mut().flatten().zip(held.into_iter().flatten()) {
                *sum += u32::from(held);
            }
        }
        count
    }

    /// Whether each bound of one sample holds the truth.
    fn held(&self, random: &mut Random) -> [[bool; 3]; 3] {
        // OK because shapes, scale, level and share are constants that are what they must be.
        let truth = Law::weibull(self.shape, SCALE).expect("a law");
        let level = Level::new(LEVEL).expect("a level");
        // OK because the failures are at different ages, so that there is a fit.
        let fit = Fit::new(&self.lives(random), Family::Weibull).expect("a fit");
        let values = [self.shape, SCALE, truth.quantile(0.1).expect("a share")];
        let wald = [fit.wald_shape(level), fit.wald_scale(level), fit.wald_quantile(0.1, level).expect("a share")];
        // OK because there are two failures and more.
        let conditional = fit.conditional().expect("two failures");
        let mut held = [[false; 3]; 3];
        for (index, (of, value)) in QUANTITIES.into_iter().zip(values).enumerate() {
            let within = |[low, high]: [f64; 2]| low <= value && value <= high;
            held[0][index] = fit.profile(of, level).expect("a share").holds(value);
            held[1][index] = within(wald[index]);
            held[2][index] = within(conditional.band(of, level).expect("a share"));
        }
        held
    }

    /// Lives that do not fail, on average or exactly.
    fn good(&self) -> usize {
        if let Sample::Complete = self.sample { 0 } else { self.failures }
    }

    fn lives(&self, random: &mut Random) -> Vec<Life> {
        let Sample::Suspended = self.sample else { return self.first_failures(random) };
        loop {
            let ends = (0..2 * self.failures).map(|_| match (self.age(random), self.age(random)) {
                (age, limit) if age < limit => End::Failed(age),
                (_, limit) => End::Good(limit),
            });
            // OK because every age is positive.
            let lives: Vec<Life> = ends.map(|end| Life::new(end).expect("a life")).collect();
            // One sample in a hundred with 5 failures on average has less than two, and no shape.
            if 2.0 <= life::failures(&lives) {
                return lives;
            }
        }
    }

    fn age(&self, random: &mut Random) -> f64 {
        SCALE * (-random.next().ln()).powf(1.0 / self.shape)
    }

    /// The first failures of so many lives, and the others good at the last of them.
    fn first_failures(&self, random: &mut Random) -> Vec<Life> {
        let mut ages: Vec<f64> = (0..self.failures + self.good()).map(|_| self.age(random)).collect();
        ages.sort_by(f64::total_cmp);
        let last = ages[self.failures - 1];
        let end = |(index, &age): (usize, &f64)| if index < self.failures { End::Failed(age) } else { End::Good(last) };
        // OK because every age is positive.
        ages.iter().enumerate().map(|at| Life::new(end(at)).expect("a life")).collect()
    }
}

/// Steele, Lea & Flood (2014), "Fast splittable pseudorandom number generators": splitmix64.
struct Random(u64);

impl Random {
    /// A number between 0 and 1, both left out.
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (((z ^ (z >> 31)) >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }
}

/// The results of `of` for all cells, worked out on all cores.
fn all_cores(cells: &[Cell], of: impl Fn(&Cell) -> Count + Sync) -> Vec<Count> {
    let results = Mutex::new(vec![Count::default(); cells.len()]);
    let next = Mutex::new(0..cells.len());
    let work = || {
        loop {
            // OK because no holder of a lock panics.
            let Some(index) = next.lock().expect("not poisoned").next() else { break };
            let count = of(&cells[index]);
            results.lock().expect("not poisoned")[index] = count;
        }
    };
    let cores = std::thread::available_parallelism().map_or(1, NonZero::get);
    std::thread::scope(|scope| (0..cores).for_each(|_| drop(scope.spawn(work))));
    // OK because all threads are done.
    results.into_inner().expect("not poisoned")
}
