//! How long the curve of lives that ended between looks takes, on one thread: 1,000 intervals, no two alike.
//!
//! `cargo bench -p life --bench turnbull`.

use std::io::Write;
use std::time::Instant;

use life::{DataError, End, Life, turnbull};

const SIZE: u64 = 1000;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let lives = (0..SIZE).map(looked_at).collect::<Result<Vec<Life>, DataError>>()?;
    let mut times = Vec::new();
    let mut falls = 0;
    for _ in 0..3 {
        let started = Instant::now();
        falls = turnbull(&lives)?.len();
        times.push(started.elapsed().as_secs_f64());
    }
    times.sort_by(f64::total_cmp);
    writeln!(std::io::stdout(), "{SIZE} intervals: {:.1} ms, {falls} falls", 1e3 * times[1])?;
    Ok(())
}

/// A life of a law with shape 2 and scale 1000, looked at every 50 to 350 from an age of its own.
fn looked_at(number: u64) -> Result<Life, DataError> {
    // Weyl's sequences: the fractions of multiples of irrational numbers are spread evenly.
    let [share, pace, offset] = [0.618_033_988_749_895, 0.414_213_562_373_095, 0.732_050_807_568_877]
        .map(|step| (number as f64 * step + 0.5 * step).fract());
    let (age, pace) = (1000.0 * (-share.ln()).sqrt(), 50.0 + 300.0 * pace);
    let look = ((age / pace - offset).floor() + offset) * pace;
    Life::new(End::Between(look.max(0.0), look + pace))
}
