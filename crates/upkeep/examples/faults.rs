//! What fault finding saves: `cargo run --release -p upkeep --example faults` prints the mean cost until a fault is mended.

use std::io::Write;

use upkeep::fault::{
    Faults, shipped,
    simulate::{Told, simulate},
};
use upkeep::{Build, Prices, Rates, build};

/// Faults of each build, where the first argument says nothing else.
const FAULTS: usize = 2000;
const SEED: u64 = 1;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let count = std::env::args().nth(1).map_or(Ok(FAULTS), |text| text.parse())?;
    let mut out = std::io::stdout().lock();
    let (prices, _) = Prices::from_rates(&Rates::default());
    writeln!(out, "{count} faults each; money until mended, by the rates assumed where a shop has set none")?;
    writeln!(
        out,
        "{:<18}{:>10}{:>12}{:>10}{:>12}{:>12}",
        "build", "list", "no history", "history", "than list", "than no h."
    )?;
    for (told, words) in [(Told::One, "one symptom told"), (Told::All, "every symptom told that shows")] {
        writeln!(out, "{words}")?;
        for ((file, text), (build_file, build_text)) in shipped().into_iter().zip(build::shipped()) {
            let build = Build::parse(build_file, build_text)?;
            let faults = Faults::parse(file, text, &build)?;
            let means = simulate(&faults, &build, &prices, told, count, SEED);
            let saved = |than: f64| format!("{:.0} %", 100.0 * (1.0 - means.with_history / than));
            writeln!(
                out,
                "{file:<18}{:>10.2}{:>12.2}{:>10.2}{:>12}{:>12}",
                means.checklist,
                means.without_history,
                means.with_history,
                saved(means.checklist),
                saved(means.without_history)
            )?;
        }
    }
    Ok(())
}
