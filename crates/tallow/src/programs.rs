//! Programs that the shop has metered before, kept by their content.

use ledger::{Ledger, Program, ProgramKey};
use motion::{Duty, Machine};
use sha2::{Digest, Sha256};

use crate::input::Source;
use crate::metering;
use crate::report;
use crate::stop::Point;
use crate::trouble::Trouble;

/// The version of the meter. Raise it when the meter's answers change, so that kept ones are computed anew.
const METER_VERSION: u32 = 1;

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
    let Source::File(_) = source else {
        let metered = metering::meter(source, machine, machine.corner, stop, &progress)?;
        return Ok(Known {
            sha256: None,
            duty: metered.duty,
            warnings: metered.report.warnings_total,
            cut: metered.report.ends_mid_line,
        });
    };
    let (sha256, bytes) = source.digest()?;
    let key = key(&sha256, machine);
    if stop.is_none()
        && let Some(program) = ledger.program(&key).await?
    {
        return Ok(Known {
            sha256: Some(sha256),
            cut: program.report.contains("\"ends_mid_line\":true"),
            duty: program.duty,
            warnings: 0,
        });
    }
    let metered = metering::meter(source, machine, machine.corner, stop, &progress)?;
    if stop.is_none() {
        let report = report::shape(&source.label(), &metered);
        let maps = report["wear_mm"].to_string().into_bytes();
        let program =
            Program { label: source.label(), bytes, duty: metered.duty.clone(), report: report.to_string(), maps };
        ledger.put_program(&key, &program).await?;
    }
    Ok(Known {
        sha256: Some(sha256),
        duty: metered.duty,
        warnings: metered.report.warnings_total,
        cut: metered.report.ends_mid_line,
    })
}

/// The key under which a program's duty on a machine is kept.
pub(crate) fn key(sha256: &str, machine: &Machine) -> ProgramKey {
    let motion = Sha256::digest(format!("{machine:?}"));
    ProgramKey {
        sha256: sha256.to_owned(),
        motion: motion.iter().map(|byte| format!("{byte:02x}")).collect(),
        corner: report::corner_word(machine.corner).to_owned(),
        meter: METER_VERSION,
    }
}
