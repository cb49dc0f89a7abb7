//! How long a Weibull fit with profile bounds of shape, scale and B10 takes, on one thread: 1,000 lives and 1,000,000.
//!
//! `cargo bench -p life --bench fit` prints the times. With a folder behind `--` it writes the lives there as well, as
//! `lives-1000.csv` and `lives-1000000.csv` (age, 1 if failed), for `peers.py` beside this file, which times other packages
//! on them: `python crates/life/benches/peers.py FOLDER` runs this bench and prints the ratios.

use std::io::Write;
use std::path::Path;
use std::time::Instant;

use life::{End, Family, Fit, Level, Life, Of};

const SIZES: [usize; 2] = [1000, 1_000_000];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    // The bench runner adds an option of its own.
    let folder = std::env::args().skip(1).find(|argument| !argument.starts_with("--"));
    let level = Level::new(0.95)?;
    let mut out = std::io::stdout().lock();
    for size in SIZES {
        let lives = lives(size)?;
        if let Some(folder) = &folder {
            write(&lives, &Path::new(folder).join(format!("lives-{size}.csv")))?;
        }
        let mut times = Vec::new();
        let mut shape = 0.0;
        for _ in 0..(2_000_000 / size).clamp(3, 200) {
            let started = Instant::now();
            let fit = Fit::new(&lives, Family::Weibull)?;
            for of in [Of::Shape, Of::Scale, Of::Quantile(0.1)] {
                fit.profile(of, level)?;
            }
            times.push(started.elapsed().as_secs_f64());
            shape = fit.law().shape();
        }
        times.sort_by(f64::total_cmp);
        writeln!(out, "{size} lives: {:.3} ms, shape {shape:.10}", 1e3 * times[times.len() / 2])?;
        writeln!(out, "{size} lives: {:.3} ms for one logarithm and one exponential of each age", 1e3 * least(&lives))?;
    }
    Ok(())
}

/// Seconds for what a plain evaluation of the likelihood can't do without: t² as exp(2·ln t), summed.
fn least(lives: &[Life]) -> f64 {
    let once = || {
        let started = Instant::now();
        std::hint::black_box(lives.iter().map(|life| (2.0 * life.end().last().ln()).exp()).sum::<f64>());
        started.elapsed().as_secs_f64()
    };
    (0..5).map(|_| once()).fold(f64::INFINITY, f64::min)
}

/// Lives of a law with shape 2 and scale 1000, each watched up to an age between 0 and 1500: about half are good at its end.
fn lives(size: usize) -> Result<Vec<Life>, life::DataError> {
    let mut random = 1_u64;
    let mut next = || {
        // Marsaglia (2003), xorshift.
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        ((random >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    };
    let mut one = || {
        let (age, limit) = (1000.0 * (-next().ln()).sqrt(), 1500.0 * next());
        Life::new(if limit < age { End::Good(limit) } else { End::Failed(age) })
    };
    (0..size).map(|_| one()).collect()
}

fn write(lives: &[Life], path: &Path) -> std::io::Result<()> {
    let mut file = std::io::BufWriter::new(std::fs::File::create(path)?);
    for life in lives {
        writeln!(file, "{:?},{}", life.end().last(), u8::from(life.end().is_failure()))?;
    }
    file.flush()
}
