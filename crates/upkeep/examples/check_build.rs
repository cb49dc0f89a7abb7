//! Checks build files: `cargo run -p upkeep --example check_build -- FILE...` prints what is wrong in each.

use std::io::Write;
use std::process::ExitCode;

use upkeep::Build;

fn main() -> std::io::Result<ExitCode> {
    let mut out = std::io::stdout().lock();
    let mut all_good = true;
    for file in std::env::args().skip(1) {
        match Build::parse(&file, &std::fs::read_to_string(&file)?) {
            Ok(build) => writeln!(out, "{file}: {} positions, {} tasks", build.positions.len(), build.tasks.len())?,
            Err(errors) => {
                all_good = false;
                writeln!(out, "{errors}")?;
            }
        }
    }
    Ok(if all_good { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}
