//! How long a step of fault finding takes: `cargo run --release -p upkeep --example fault_speed`.
//!
//! For each symptom of each shipped build: that symptom alone, and with up to seven checks answered as the method asks them,
//! in turn no and yes.

use std::hint::black_box;
use std::io::Write;
use std::time::Instant;

use upkeep::fault::{Answer, Evidence, Faults, Guide, Progress, Step, prior, shipped};
use upkeep::{Build, Prices, Rates, Risk, Used, build};

/// Evidence items at most.
const MOST: usize = 8;

/// Each time is the least of so many.
const RUNS: usize = 3;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut out = std::io::stdout().lock();
    let (prices, _) = Prices::from_rates(&Rates::default());
    let (mut posteriors, mut steps, mut sets) = (Vec::new(), Vec::new(), 0);
    for ((file, text), (build_file, build_text)) in shipped().into_iter().zip(build::shipped()) {
        let build = Build::parse(build_file, build_text)?;
        let faults = Faults::parse(file, text, &build)?;
        let now = jiff::Timestamp::UNIX_EPOCH;
        let used: Vec<Used> = build.tasks.iter().map(|task| prior::at_share(task, 0.8, now)).collect();
        let risks = vec![Risk::believed(); build.tasks.len()];
        let network = faults.network(&prior::priors(&faults, &build, &used, &risks, &[], now));
        let guide = Guide::new(&faults, network.clone(), &prices);
        let n = faults.causes.len();
        writeln!(out, "{file}: {n} causes, {} checks", faults.checks.len())?;
        sets = sets.max(1 + n + n * (n - 1) / 2);
        for symptom in 0..faults.symptoms.len() {
            let mut progress = Progress { evidence: vec![Evidence::yes(symptom)], ..Progress::default() };
            while progress.evidence.len() <= MOST {
                posteriors.push(timed(|| network.posterior(&progress.evidence, 2).is_ok()));
                steps.push(timed(|| guide.next(&progress).is_ok()));
                let step = guide.next(&progress)?.step;
                match step {
                    Step::AskSomebody => break,
                    Step::Check(check) => {
                        let answer = if check % 2 == 0 { Answer::No } else { Answer::Yes };
                        guide.answer(&mut progress, step, answer);
                    }
                    _ => guide.answer(&mut progress, step, Answer::No),
                }
            }
        }
    }
    let limit = timed(|| (0..sets).map(|set| black_box(set as f64 + 1.0).ln().exp()).sum::<f64>());
    for (what, mut times) in [("posterior", posteriors), ("next step", steps)] {
        times.sort_by(f64::total_cmp);
        let (median, worst) = (times[times.len() / 2], times[times.len() - 1]);
        let times_limit = worst / limit;
        writeln!(out, "{what}: median {median:.3} ms, worst {worst:.3} ms of {}", times.len())?;
        writeln!(
            out,
            "  worst: {times_limit:.1} times a logarithm and an exponential of each of {sets} sets ({limit:.4} ms)"
        )?;
    }
    Ok(())
}

/// The least time of some runs, ms.
fn timed<T>(work: impl Fn() -> T) -> f64 {
    let once = || {
        let start = Instant::now();
        black_box(work());
        start.elapsed().as_secs_f64() * 1e3
    };
    (0..RUNS).map(|_| once()).fold(f64::INFINITY, f64::min)
}
