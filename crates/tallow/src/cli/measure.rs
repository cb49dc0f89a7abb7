//! The words of `tallow measure`, and the cautions that stand before each measurement.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::number;

/// Before hands go near belts.
pub(crate) const AT_BELTS: &str =
    "Switch the machine off and unplug it before reaching in, and let it cool down; then move axes by hand only.";
/// Before filament is pushed through a hot nozzle.
pub(crate) const AT_NOZZLE: &str =
    "The nozzle burns at once: keep hands clear of it, and catch what comes out with pliers, not with fingers.";
/// Before an axis is moved against a dial gauge.
pub(crate) const AT_GAUGE: &str =
    "Read the dial gauge while the axis stands, and keep hands, hair and sleeves away while it moves.";
/// Before axes are shaken.
pub(crate) const AT_SHAKING: &str =
    "Fix the sensor well, lead its cable away from all that moves, and stay clear while the axes shake.";
/// Before a heater is tried.
pub(crate) const AT_HEATER: &str = "A heater that can't be trusted is switched off at the mains and not tried again \
                                    unwatched. Mains wiring is for qualified people.";

const MANUAL: &str = "The maker's manual stands above this.";

#[derive(Debug, Subcommand)]
pub(crate) enum Measure {
    /// The tension of a belt by the tone of its plucked span, or what two belts differ by
    #[command(after_help = format!("\
CAUTION: {AT_BELTS}

Put the carriage where the span is as long as it gets. Hold the phone within a
hand's breadth, record as WAV, wait half a second, pluck the middle of the span
once, and wait a second. Length and mass of the span come from the options, or
from the machine's build. {MANUAL}

Examples:
  tallow measure belt a.wav --span \"420 mm\" --mass \"8.5 g/m\"
  tallow measure belt a.wav --against b.wav --machine bowline --svg tones.svg
  tallow measure belt a.wav --machine bowline --at belts --span \"420 ± 1 mm\" --keep"))]
    Belt(MeasureBelt),
    /// The spacing of marks on a print, and what on the machine comes back as often
    #[command(after_help = format!("\
Either the positions of at least four marks along one line, or a photo taken
squarely and lit from the side, with two points in it and its scale.
{MANUAL}

Examples:
  tallow measure marks --positions 0.1,2.1,4.05,6.1,8.1 --machine bowline --along x
  tallow measure marks wall.jpg --from 120,400 --to 1850,400 --apart \"100 mm\" --machine bowline --along x
  tallow measure marks --positions 0,8,16.1,23.9 --machine bowline --along y --line \"0.45 x 0.2 mm\""))]
    Marks(MeasureMarks),
    /// Filament asked for and used: what falls short, and whether it grows with the flow
    #[command(after_help = format!("\
CAUTION: {AT_NOZZLE}

Mark the filament, feed a known length, and measure how much went in; or weigh
what came out. At four flows or more it is told whether the loss grows.
{MANUAL}

Examples:
  tallow measure feed --asked \"100 mm\" --used \"96.5 mm\" --steps 415
  tallow measure feed --asked \"100 mm\" --used \"99 mm\" --flow 4 --used \"98 mm\" --flow 8 --used \"95 mm\" --flow 12 --used \"90 mm\" --flow 16
  tallow measure feed --asked \"1000 mm\" --weighed \"2.87 g\" --material PLA"))]
    Feed(MeasureFeed),
    /// The backlash of an axis from readings reached from below and from above
    #[command(after_help = format!("\
CAUTION: {AT_GAUGE}

Drive to the same position from below and from above in turn, and read the dial
gauge each time. {MANUAL}

Example:
  tallow measure backlash --up 10.00,10.01,9.99 --down 10.08,10.09,10.10"))]
    Backlash(MeasureBacklash),
    /// How far two axes are from square, by the diagonals of a printed square
    #[command(after_help = format!("\
Print a square with one wall, let it cool on the plate, and measure it from
corner to corner. The first diagonal begins at the corner whose angle is told.
{MANUAL}

Example:
  tallow measure square --diagonals 141.2,141.6 --side 100"))]
    Square(MeasureSquare),
    /// How differently the two belts of a CoreXY machine carry, by the diagonals of a printed square
    #[command(after_help = format!("\
A frame out of square looks the same: measure that first. {MANUAL}

Example:
  tallow measure pair --diagonals 141.2,141.6 --machine bowline"))]
    Pair(MeasurePair),
    /// Resonances in a log of accelerations, and what has changed since an earlier one
    #[command(after_help = format!("\
CAUTION: {AT_SHAKING}

The table has the columns time, x, y and z at a steady rate; the first is named
by its unit: \"time (s)\", \"time (ms)\" or \"time (us)\". Columns are separated
by commas; or by semicolons or tabs, and then decimal commas are read too.
{MANUAL}

Example:
  tallow measure shake today.csv --before spring.csv --svg shake.svg"))]
    Shake(MeasureShake),
    /// How a heater heats up and holds its temperature, and what is odd in the log
    #[command(after_help = format!("\
WARNING: {AT_HEATER}

The table has the columns time (s), target (°C) and measured (°C). Columns are
separated by commas; or by semicolons or tabs, and then decimal commas are read
too. {MANUAL}

Example:
  tallow measure heat nozzle.csv --before nozzle-new.csv --svg heat.svg"))]
    Heat(MeasureHeat),
}

/// Of which machine it is, and whether it is recorded.
#[derive(Args, Debug)]
pub(crate) struct Whose {
    /// The machine
    #[arg(long, value_name = "MACHINE")]
    pub(crate) machine: Option<String>,
    /// The position; not needed where the build has one alone that fits
    #[arg(long, value_name = "POSITION", requires = "machine")]
    pub(crate) at: Option<String>,
    /// Record the result as a reading
    #[arg(long, requires = "machine")]
    pub(crate) keep: bool,
    /// When it was measured; now if left out
    #[arg(long, default_value = "now")]
    pub(crate) when: String,
    /// Words to keep with the reading
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct MeasureBelt {
    /// The recording, WAV; - is standard input
    pub(crate) file: PathBuf,
    /// The free length that was plucked, perhaps with its standard uncertainty: "420 mm", "420 ± 1 mm"
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub(crate) span: Option<String>,
    /// The belt's mass per length: "8.5 g/m", "8.5 ± 0.1 g/m"
    #[arg(long, value_name = "MASS", allow_hyphen_values = true)]
    pub(crate) mass: Option<String>,
    /// A recording of the other belt, to compare them
    #[arg(long, value_name = "FILE")]
    pub(crate) against: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) whose: Whose,
    /// Draw the spectrum into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}

/// An axis of the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Along {
    /// From left to right
    X,
    /// From front to back
    Y,
    /// Upwards
    Z,
}

#[derive(Args, Debug)]
pub(crate) struct MeasureMarks {
    /// A photo, PNG or JPEG; - is standard input
    #[arg(conflicts_with = "positions", required_unless_present = "positions", requires_all = ["from", "to"])]
    pub(crate) photo: Option<PathBuf>,
    /// Where the marks are along one line, mm
    #[arg(long, value_name = "MM", value_delimiter = ',', allow_hyphen_values = true, value_parser = number)]
    pub(crate) positions: Vec<f64>,
    /// The photo's point at which the line begins, pixels from its upper left corner: 120,400
    #[arg(long, value_name = "X,Y", value_delimiter = ',', allow_hyphen_values = true, value_parser = number)]
    pub(crate) from: Vec<f64>,
    /// The photo's point at which the line ends
    #[arg(long, value_name = "X,Y", value_delimiter = ',', allow_hyphen_values = true, value_parser = number)]
    pub(crate) to: Vec<f64>,
    /// The photo's scale
    #[arg(long, value_name = "MM", conflicts_with = "apart", allow_hyphen_values = true, value_parser = number)]
    pub(crate) mm_per_pixel: Option<f64>,
    /// In place of the scale, how far the two points are apart on the print: "100 mm", "100 ± 0.2 mm"
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    pub(crate) apart: Option<String>,
    /// The axis along which the marks follow each other
    #[arg(long, value_name = "AXIS", value_enum, requires = "machine")]
    pub(crate) along: Option<Along>,
    /// Width and height of the printed lines, to tell turns of the drive gear: "0.45 x 0.2 mm"
    #[arg(long, value_name = "SECTION", requires = "along")]
    pub(crate) line: Option<String>,
    #[command(flatten)]
    pub(crate) whose: Whose,
    /// Draw the photo's grey values along the line, or the marks, into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct MeasureFeed {
    /// The filament that was asked for, once for all trials or for each: "100 mm"
    #[arg(long, value_name = "LENGTH", required = true, allow_hyphen_values = true)]
    pub(crate) asked: Vec<String>,
    /// The filament that was used, for each trial: "96.5 mm"
    #[arg(long, value_name = "LENGTH", required_unless_present = "weighed", allow_hyphen_values = true)]
    pub(crate) used: Vec<String>,
    /// In its place the mass that came out: "2.87 g"
    #[arg(long, value_name = "MASS", conflicts_with = "used", allow_hyphen_values = true)]
    pub(crate) weighed: Vec<String>,
    /// The material that was weighed, for its density
    #[arg(long, value_name = "MATERIAL", requires = "weighed", conflicts_with = "density")]
    pub(crate) material: Option<String>,
    /// Its density, g/cm³
    #[arg(long, value_name = "G/CM3", requires = "weighed", allow_hyphen_values = true, value_parser = number)]
    pub(crate) density: Option<f64>,
    /// The filament's diameter; the build's or 1.75 mm if left out: "1.74 ± 0.01 mm"
    #[arg(long, value_name = "LENGTH", requires = "weighed", allow_hyphen_values = true)]
    pub(crate) diameter: Option<String>,
    /// The flow of each trial, mm³/s
    #[arg(long, value_name = "MM3/S", allow_hyphen_values = true, value_parser = number)]
    pub(crate) flow: Vec<f64>,
    /// The steps for each mm that are set, to tell the right ones
    #[arg(long, value_name = "NUMBER", allow_hyphen_values = true, value_parser = number)]
    pub(crate) steps: Option<f64>,
    #[command(flatten)]
    pub(crate) whose: Whose,
}

#[derive(Args, Debug)]
pub(crate) struct MeasureBacklash {
    /// Readings of positions reached from below, mm: 10.00,10.01,9.99
    #[arg(long, value_name = "MM", required = true, value_delimiter = ',', allow_hyphen_values = true, value_parser = number)]
    pub(crate) up: Vec<f64>,
    /// Readings of positions reached from above, mm
    #[arg(long, value_name = "MM", required = true, value_delimiter = ',', allow_hyphen_values = true, value_parser = number)]
    pub(crate) down: Vec<f64>,
    #[command(flatten)]
    pub(crate) whose: Whose,
}

/// How far a length may be off that was measured with calipers.
#[derive(Args, Debug)]
pub(crate) struct Calipers {
    /// The standard uncertainty of each length, mm
    #[arg(long, value_name = "MM", default_value_t = 0.05, allow_hyphen_values = true, value_parser = number)]
    pub(crate) uncertainty: f64,
}

#[derive(Args, Debug)]
pub(crate) struct MeasureSquare {
    /// Both diagonals, mm: 141.2,141.6
    #[arg(long, value_name = "MM,MM", required = true, value_delimiter = ',', allow_hyphen_values = true, value_parser = number)]
    pub(crate) diagonals: Vec<f64>,
    /// The side, mm
    #[arg(long, value_name = "MM", allow_hyphen_values = true, value_parser = number)]
    pub(crate) side: f64,
    #[command(flatten)]
    pub(crate) calipers: Calipers,
    #[command(flatten)]
    pub(crate) whose: Whose,
}

#[derive(Args, Debug)]
pub(crate) struct MeasurePair {
    /// Both diagonals, mm: 141.2,141.6
    #[arg(long, value_name = "MM,MM", required = true, value_delimiter = ',', allow_hyphen_values = true, value_parser = number)]
    pub(crate) diagonals: Vec<f64>,
    #[command(flatten)]
    pub(crate) calipers: Calipers,
    #[command(flatten)]
    pub(crate) whose: Whose,
}

/// The unit of a log's time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum TimeUnit {
    /// Seconds
    S,
    /// Thousandths of a second
    Ms,
    /// Millionths of a second
    Us,
}

#[derive(Args, Debug)]
pub(crate) struct MeasureShake {
    /// The log, CSV; - is standard input
    pub(crate) file: PathBuf,
    /// An earlier log, to tell what has changed
    #[arg(long, value_name = "FILE")]
    pub(crate) before: Option<PathBuf>,
    /// The unit of the logs' time, where their header does not name it
    #[arg(long, value_name = "UNIT", value_enum)]
    pub(crate) time_unit: Option<TimeUnit>,
    #[command(flatten)]
    pub(crate) whose: Whose,
    /// Draw the spectra into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct MeasureHeat {
    /// The log, CSV; - is standard input
    pub(crate) file: PathBuf,
    /// An earlier log, to tell what has changed
    #[arg(long, value_name = "FILE")]
    pub(crate) before: Option<PathBuf>,
    /// What changes faster than this is a jump, K/s; judgement, no source
    #[arg(long, value_name = "K/S", default_value_t = 20.0, allow_hyphen_values = true, value_parser = number)]
    pub(crate) fastest: f64,
    /// What falls further than this below a target that was reached was cut off, K; judgement, no source
    #[arg(long, value_name = "K", default_value_t = 15.0, allow_hyphen_values = true, value_parser = number)]
    pub(crate) fall: f64,
    #[command(flatten)]
    pub(crate) whose: Whose,
    /// Draw the temperatures into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}
