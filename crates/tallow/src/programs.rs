//! Programs that the shop has metered before, kept by their content.

use ledger::{Ledger, Program, ProgramKey};
use motion::{Duty, Machine, Metered};
use serde_json::Value;

use crate::input::{self, Source};
use crate::metering;
use crate::report;
use crate::stop::Point;
use crate::trouble::Trouble;

/// The version of the meter. Raise it when the meter's answers change, so that kept ones are computed anew.
const METER_VERSION: u32 = 2;

/// A print file's duty on a machine.
pub(crate) struct Known {
    /// SHA-256 of the file's plain bytes; `None` for standard input.
    pub(crate) sha256: Option<String>,
    /// What it asks of the machine.
    pub(crate) duty: Duty,
    /// Lines that could not be read as they stand.
    pub(crate) warnings: u64,
    /// Whether the last line has no end, so that the file may be cut off.
    pub(crate) cut: bool,
}

/// The duty of a print file: as kept if it is known, else metered and kept.
///
/// # Errors
/// A file that can't be read or has nothing to meter, and a shop that can't be read or written.
pub(crate) async fn duty(
    ledger: &Ledger,
    source: &Source,
    machine: &Machine,
    stop: Option<Point>,
) -> Result<Known, Trouble> {
    let progress = metering::progress(std::slice::from_ref(source), stop);
    let metered = || metering::meter(source, machine, machine.corner, stop, &progress);
    if let Source::Standard = source {
        return Ok(Known::metered(None, metered()?));
    }
    let (sha256, bytes) = source.digest()?;
    let key = key(&sha256, machine);
    if stop.is_none()
        && let Some(program) = ledger.program(&key).await?
    {
        return Ok(Known::kept(&sha256, program));
    }
    let metered = metered()?;
    if stop.is_none() {
        ledger.put_program(&key, &kept(&source.label(), bytes, &metered)).await?;
    }
    Ok(Known::metered(Some(sha256), metered))
}

/// The duty of a program that the shop has metered before, by its file's SHA-256, and what the file was called.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn known(
    ledger: &Ledger,
    sha256: &str,
    machine: &Machine,
) -> Result<Option<(String, Known)>, Trouble> {
    let program = ledger.program(&key(sha256, machine)).await?;
    Ok(program.map(|program| (program.label.clone(), Known::kept(sha256, program))))
}

impl Known {
    fn kept(sha256: &str, program: Program) -> Known {
        let report: Value = serde_json::from_str(&program.report).unwrap_or_default();
        Known { sha256: Some(sha256.to_owned()), duty: program.duty, warnings: 0, cut: report["ends_mid_line"] == true }
    }

    fn metered(sha256: Option<String>, metered: Metered) -> Known {
        let Metered { duty, report, .. } = metered;
        Known { sha256, duty, warnings: report.warnings_total, cut: report.ends_mid_line }
    }
}

/// What the shop keeps of a program that was metered whole.
pub(crate) fn kept(label: &str, bytes: u64, metered: &Metered) -> Program {
    let report = report::shape(label, metered);
    Program {
        label: label.to_owned(),
        bytes,
        duty: metered.duty.clone(),
        maps: report["wear_mm"].to_string().into_bytes(),
        report: report.to_string(),
    }
}

/// The key under which a program's duty on a machine is kept.
pub(crate) fn key(sha256: &str, machine: &Machine) -> ProgramKey {
    ProgramKey {
        sha256: sha256.to_owned(),
        motion: input::sha256(format!("{machine:?}").as_bytes()),
        corner: report::corner_word(machine.corner).to_owned(),
        meter: METER_VERSION,
    }
}
