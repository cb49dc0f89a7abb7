//! What the tests of the meter share.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use motion::{Corner, Kinematics, Machine, Meter, MeterError, Metered, Options};

/// A file of the collection in `testdata/toolpaths`, inflated.
pub(crate) fn toolpath(name: &str) -> Vec<u8> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../testdata/toolpaths").join(name);
    let mut bytes = Vec::new();
    let packed = PathBuf::from(format!("{}.gz", path.display()));
    if packed.exists() {
        flate2::read::GzDecoder::new(File::open(packed).unwrap()).read_to_end(&mut bytes).unwrap();
    } else {
        File::open(&path).unwrap_or_else(|error| panic!("{name}: {error}")).read_to_end(&mut bytes).unwrap();
    }
    bytes
}

/// A CoreXY with the limits that hold until a file sets its own.
pub(crate) fn core_xy() -> Machine {
    Machine { kinematics: Kinematics::CoreXy, ..Machine::default() }
}

pub(crate) fn meter_with(machine: &Machine, options: Options, bytes: &[u8]) -> Result<Metered, MeterError> {
    let mut meter = Meter::new(machine, options);
    meter.push(bytes)?;
    meter.finish()
}

/// Meters a program by the jerk rule.
pub(crate) fn meter(program: &str) -> Metered {
    meter_with(&core_xy(), Options::default(), program.as_bytes()).unwrap()
}

pub(crate) fn with_corner(corner: Corner) -> Options {
    Options { corner, ..Options::default() }
}

#[track_caller]
pub(crate) fn close(found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance, "found {found}, expected {expected}");
}
