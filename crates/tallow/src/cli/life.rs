//! The words of `tallow life`.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

/// A number as elsewhere, of no more than 1e12 either way: what is larger is a slip.
fn number(text: &str) -> Result<f64, String> {
    super::number(text).and_then(|number| match number.abs() <= 1e12 {
        true => Ok(number),
        false => Err("that is beyond what is counted here: at most 1000000000000, in a larger unit".to_owned()),
    })
}

/// How many, none included.
fn whole(text: &str) -> Result<u32, String> {
    text.parse().map_err(|_| "write a whole number from 0 on".to_owned())
}

const LIVES: &str = "\
The table has the columns time and event (1 failed, 0 still good), and where
they are known entry (the age when watching began), upper (the failure lies
between time and upper; time 0: found failed at the first look) and count.
Columns are separated by commas; or by semicolons or tabs, and then decimal
commas are read too.";

#[derive(Debug, Subcommand)]
pub(crate) enum Life {
    /// Fit a law of life to lives, with bounds
    #[command(after_help = format!("{LIVES}

Examples:
  tallow life fit tubes.csv
  tallow life fit tubes.csv --model lognormal --level 0.9 --svg paper.svg
  tallow life fit tubes.csv --at 200 --at 400 --quantile 0.01
  tallow life fit tubes.csv --shape 2"))]
    Fit(LifeFit),
    /// A Weibull law for few failures, none included, from what is believed beforehand
    #[command(after_help = format!("{LIVES}

Nothing need be believed of the life if something failed. Without a failure it
must be: --life-from, --life-to.

Examples:
  tallow life believe tubes.csv --at 200 --at 400
  tallow life believe tubes.csv --life-from 300 --life-to 2000 --svg band.svg
  tallow life believe tubes.csv --shape-from 1 --shape-to 5"))]
    Believe(LifeBelieve),
    /// The share still good by age, without a law
    #[command(after_help = format!("{LIVES}

Example:
  tallow life curve tubes.csv --svg curve.svg"))]
    Curve(LifeTable),
    /// The mean time between failures from total time and failures, none included
    #[command(after_help = "Example:\n  tallow life mtbf --time 1000 --failures 0")]
    Mtbf(LifeMtbf),
    /// How much longer a part lasts that is good at an age
    #[command(after_help = format!("{LIVES}

Examples:
  tallow life remain --shape 2.5 --scale 1000 --age 400
  tallow life remain tubes.csv --age 400 --within 50 --within 100"))]
    Remain(LifeRemain),
    /// Systems that are repaired and go on: do failures come faster?
    #[command(after_help = "\
The table has the columns system (a number), start, end and time, a row per
failure. A system without failures has one row with an empty time; one whose end
is its last failure was watched until then.

Example:
  tallow life repairs machines.csv")]
    Repairs(LifeTable),
    /// Readings that drift to a limit: by when they reach it
    #[command(after_help = "\
The table has the columns unit (a whole number; left out for one unit), age and
value.

Three ways to tell: straight lines, each unit's drawn towards those of all
units; a gamma process (--gamma), for what only ever grows and by steps of
chance; or, for a few readings or one, what is assumed of the line (--start,
--slope, --noise) or of the process (--growth, --growth-sd).

Examples:
  tallow life drift bores.csv --limit 0.45 --svg fan.svg
  tallow life drift tones.csv --limit 95 --falling
  tallow life drift bores.csv --limit 0.45 --gamma
  tallow life drift bore.csv --limit 0.45 --start 0.4 0.005 --slope 0.001 0.0003 --noise 0.004
  tallow life drift bore.csv --limit 0.45 --growth 0.001 --growth-sd 0.002")]
    Drift(LifeDrift),
    /// The best age to replace a part, beside other ways to keep it
    #[command(after_help = format!("{LIVES}

Examples:
  tallow life replace --shape 2.5 --scale 1000 --planned-cost 1 --failure-cost 5
  tallow life replace tubes.csv --planned-cost 1 --failure-cost 5 --level 0.9
  tallow life replace tubes.csv --planned-cost 1 --failure-cost 5 --block --minimal-repair 2"))]
    Replace(LifeReplace),
    /// How often to look for a fault that shows before it fails
    #[command(after_help = "\
The delay is the time from the first sign of a fault to the failure. It is
always the same, or a Weibull law's of that mean (--delay-shape 1: at random).

Examples:
  tallow life look --delay 40
  tallow life look --delay 40 --delay-shape 2 --sees 0.8 --wanted 0.95
  tallow life look --delay 40 --signs 0.002 --look-cost 2 --planned-cost 20 --failure-cost 200")]
    Look(LifeLook),
    /// How often to look for a failure that nobody notices until somebody looks
    #[command(after_help = "\
Such as a fan that stands still, or a cut-out that would no longer cut out.
Where somebody may be injured money decides nothing: look as often as the
maker's manual and the local code say.

Example:
  tallow life hidden --shape 1.5 --scale 2000 --look-cost 1 --undetected-cost 0.5 --repair-cost 10
  tallow life hidden fans.csv --look-cost 1 --undetected-cost 0.5 --repair-cost 10")]
    Hidden(LifeHidden),
    /// The rating life of a rolling bearing from its load (ISO 281, ISO 14728-1)
    #[command(after_help = "\
Rating and load are in the same unit. A linear bearing has a rating for 100 km
of travel (ISO 14728-1) or for 50 km (many catalogues): say which. Shock, dirt
and lack of grease are not in the formula.

Examples:
  tallow life bearing --rating 5000 --load 500 --speed 1500
  tallow life bearing --rating 5000 --load 500 --rollers --reliability 0.95
  tallow life bearing --rating 1200 --load 100 --linear-per 50 --stroke 0.25 --strokes 40")]
    Bearing(LifeBearing),
}

/// A law of life.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Model {
    /// The hazard rises or falls with age
    Weibull,
    /// The hazard does not know age
    Exponential,
    /// The hazard rises and falls again
    Lognormal,
}

/// What ended the watching.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum StoppedAt {
    /// A time set beforehand
    Time,
    /// The last failure
    Failure,
}

/// A table, and how to answer about it.
#[derive(Args, Debug)]
pub(crate) struct LifeTable {
    /// The table; - is standard input
    pub(crate) file: PathBuf,
    /// The level of the bounds
    #[arg(long, default_value_t = 0.95, allow_hyphen_values = true, value_parser = number)]
    pub(crate) level: f64,
    /// Draw the answer into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}

/// A law from a table, or from its parameters.
#[derive(Args, Debug)]
pub(crate) struct LifeLaw {
    /// A table of lives to fit the law to; - is standard input
    pub(crate) file: Option<PathBuf>,
    /// The law that is fitted to the table; weibull if left out
    #[arg(long, value_enum, conflicts_with_all = ["shape", "scale"])]
    pub(crate) model: Option<Model>,
    /// The shape of a Weibull law; with a table, the shape that is assumed
    #[arg(long, allow_hyphen_values = true, value_parser = number)]
    pub(crate) shape: Option<f64>,
    /// The scale of a Weibull law
    #[arg(long, allow_hyphen_values = true, value_parser = number, requires = "shape", conflicts_with = "file")]
    pub(crate) scale: Option<f64>,
}

#[derive(Args, Debug)]
pub(crate) struct LifeFit {
    #[command(flatten)]
    pub(crate) table: LifeTable,
    /// The law; if left out, weibull, with the others beside it
    #[arg(long, value_enum, conflicts_with = "shape")]
    pub(crate) model: Option<Model>,
    /// Assume this shape of a Weibull law; then lives without a failure bound the scale from below
    #[arg(long, allow_hyphen_values = true, value_parser = number)]
    pub(crate) shape: Option<f64>,
    /// Tell the share still good at this age; may be repeated
    #[arg(long = "at", value_name = "AGE", allow_hyphen_values = true, value_parser = number)]
    pub(crate) ages: Vec<f64>,
    /// Tell the age by which this share has failed, 0.01 for 1 %; may be repeated
    #[arg(long = "quantile", value_name = "SHARE", allow_hyphen_values = true, value_parser = number)]
    pub(crate) shares: Vec<f64>,
}

#[derive(Args, Debug)]
pub(crate) struct LifeBelieve {
    #[command(flatten)]
    pub(crate) table: LifeTable,
    /// The shape is believed to lie above this
    #[arg(long, default_value_t = 0.75, allow_hyphen_values = true, value_parser = number)]
    pub(crate) shape_from: f64,
    /// And below this; both as common practice takes them for parts that wear, no source
    #[arg(long, default_value_t = 4.0, allow_hyphen_values = true, value_parser = number)]
    pub(crate) shape_to: f64,
    /// With this chance
    #[arg(long, default_value_t = 0.9, allow_hyphen_values = true, value_parser = number)]
    pub(crate) shape_chance: f64,
    /// The life is believed to lie above this; nothing is believed of it if left out
    #[arg(long, allow_hyphen_values = true, value_parser = number, requires = "life_to")]
    pub(crate) life_from: Option<f64>,
    /// And below this
    #[arg(long, allow_hyphen_values = true, value_parser = number, requires = "life_from")]
    pub(crate) life_to: Option<f64>,
    /// With this chance
    #[arg(long, default_value_t = 0.9, allow_hyphen_values = true, value_parser = number)]
    pub(crate) life_chance: f64,
    /// Which life: the age by which this share has failed, the median if left out
    #[arg(long, default_value_t = 0.5, allow_hyphen_values = true, value_parser = number)]
    pub(crate) life_share: f64,
    /// Tell the chance to be good at this age; may be repeated
    #[arg(long = "at", value_name = "AGE", allow_hyphen_values = true, value_parser = number)]
    pub(crate) ages: Vec<f64>,
}

#[derive(Args, Debug)]
pub(crate) struct LifeMtbf {
    /// Time in service, summed over all that were watched
    #[arg(long, allow_hyphen_values = true, value_parser = number)]
    pub(crate) time: f64,
    /// Failures in it
    #[arg(long, allow_hyphen_values = true, value_parser = whole)]
    pub(crate) failures: u32,
    /// What ended the watching
    #[arg(long, value_enum, default_value_t = StoppedAt::Time)]
    pub(crate) stopped_at: StoppedAt,
    /// The level of the bounds
    #[arg(long, default_value_t = 0.9, allow_hyphen_values = true, value_parser = number)]
    pub(crate) level: f64,
}

#[derive(Args, Debug)]
pub(crate) struct LifeRemain {
    #[command(flatten)]
    pub(crate) law: LifeLaw,
    /// The age at which the part is good
    #[arg(long, allow_hyphen_values = true, value_parser = number)]
    pub(crate) age: f64,
    /// Tell the chance to fail within this span from there; may be repeated
    #[arg(long = "within", value_name = "SPAN", allow_hyphen_values = true, value_parser = number)]
    pub(crate) spans: Vec<f64>,
    /// Draw the chance to be good from there on into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct LifeDrift {
    /// The table; - is standard input
    pub(crate) file: PathBuf,
    /// The limit
    #[arg(long, allow_hyphen_values = true, value_parser = number)]
    pub(crate) limit: f64,
    /// Readings fall to it
    #[arg(long)]
    pub(crate) falling: bool,
    /// Readings only ever grow, by steps of chance: a gamma process
    #[arg(long)]
    pub(crate) gamma: bool,
    /// Assume a line: the reading at age 0, its mean and standard deviation over units
    #[arg(long, num_args = 2, value_names = ["MEAN", "SD"], allow_hyphen_values = true, value_parser = number,
          requires_all = ["slope", "noise"], conflicts_with_all = ["gamma", "growth"])]
    pub(crate) start: Option<Vec<f64>>,
    /// Its change per unit of age, mean and standard deviation over units
    #[arg(long, num_args = 2, value_names = ["MEAN", "SD"], allow_hyphen_values = true, value_parser = number,
          requires = "start")]
    pub(crate) slope: Option<Vec<f64>>,
    /// And the standard deviation of readings about the line
    #[arg(long, value_name = "SD", allow_hyphen_values = true, value_parser = number, requires = "start")]
    pub(crate) noise: Option<f64>,
    /// Assume a gamma process: its mean growth in a unit of age, towards the limit
    #[arg(long, value_name = "MEAN", allow_hyphen_values = true, value_parser = number, requires = "growth_sd")]
    pub(crate) growth: Option<f64>,
    /// And the standard deviation of that growth
    #[arg(long, value_name = "SD", allow_hyphen_values = true, value_parser = number, requires = "growth")]
    pub(crate) growth_sd: Option<f64>,
    /// Draw the readings and the fan to the limit into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct LifeReplace {
    #[command(flatten)]
    pub(crate) law: LifeLaw,
    /// What a planned replacement costs
    #[arg(long, allow_hyphen_values = true, value_parser = number)]
    pub(crate) planned_cost: f64,
    /// What a failure costs, its replacement included
    #[arg(long, allow_hyphen_values = true, value_parser = number)]
    pub(crate) failure_cost: f64,
    /// Set replacing in blocks beside it: all at fixed times whatever their age, and each that fails between
    #[arg(long)]
    pub(crate) block: bool,
    /// Set repairs beside it that cost this and leave a part as old as it was, with a replacement at a planned age
    #[arg(long, value_name = "COST", allow_hyphen_values = true, value_parser = number)]
    pub(crate) minimal_repair: Option<f64>,
    /// The level of what a table leaves open
    #[arg(long, default_value_t = 0.95, allow_hyphen_values = true, value_parser = number)]
    pub(crate) level: f64,
    /// Draw the cost curve into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct LifeLook {
    /// The delay from the first sign to the failure; its mean, with --delay-shape
    #[arg(long, allow_hyphen_values = true, value_parser = number)]
    pub(crate) delay: f64,
    /// The delay differs: the shape of its Weibull law
    #[arg(long, value_name = "SHAPE", allow_hyphen_values = true, value_parser = number)]
    pub(crate) delay_shape: Option<f64>,
    /// The chance that a look sees the sign, if it is there
    #[arg(long, value_name = "CHANCE", default_value_t = 1.0, allow_hyphen_values = true, value_parser = number)]
    pub(crate) sees: f64,
    /// The chance to see a fault before it fails that the interval shall give
    #[arg(long, value_name = "CHANCE", default_value_t = 0.9, allow_hyphen_values = true, value_parser = number)]
    pub(crate) wanted: f64,
    /// First signs of a fault per unit of time; with the three costs, for the cheapest interval
    #[arg(long, value_name = "RATE", allow_hyphen_values = true, value_parser = number,
          requires_all = ["look_cost", "planned_cost", "failure_cost"])]
    pub(crate) signs: Option<f64>,
    /// What a look costs
    #[arg(long, value_name = "COST", allow_hyphen_values = true, value_parser = number, requires = "signs")]
    pub(crate) look_cost: Option<f64>,
    /// What a repair costs that is planned since the sign was seen
    #[arg(long, value_name = "COST", allow_hyphen_values = true, value_parser = number, requires = "signs")]
    pub(crate) planned_cost: Option<f64>,
    /// What a failure costs, its repair included
    #[arg(long, value_name = "COST", allow_hyphen_values = true, value_parser = number, requires = "signs")]
    pub(crate) failure_cost: Option<f64>,
    /// Draw the curve into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(crate) struct LifeHidden {
    #[command(flatten)]
    pub(crate) law: LifeLaw,
    /// What a look costs
    #[arg(long, value_name = "COST", allow_hyphen_values = true, value_parser = number)]
    pub(crate) look_cost: f64,
    /// What a unit of time costs in which a failure is not noticed
    #[arg(long, value_name = "COST", allow_hyphen_values = true, value_parser = number)]
    pub(crate) undetected_cost: f64,
    /// What the repair costs
    #[arg(long, value_name = "COST", allow_hyphen_values = true, value_parser = number)]
    pub(crate) repair_cost: f64,
    /// Draw the cost curve into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}

/// The travel for which a linear bearing's rating is stated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum LinearPer {
    /// 100 km (ISO 14728-1)
    #[value(name = "100")]
    Km100,
    /// 50 km
    #[value(name = "50")]
    Km50,
}

/// An edition of ISO 281.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Edition {
    /// A two-parameter Weibull law
    #[value(name = "1990")]
    Y1990,
    /// No failures before a twentieth of the rating life
    #[value(name = "2007")]
    Y2007,
}

#[derive(Args, Debug)]
pub(crate) struct LifeBearing {
    /// The basic dynamic load rating, C
    #[arg(long, allow_hyphen_values = true, value_parser = number)]
    pub(crate) rating: f64,
    /// The equivalent dynamic load, P
    #[arg(long, allow_hyphen_values = true, value_parser = number)]
    pub(crate) load: f64,
    /// Rollers, not balls
    #[arg(long)]
    pub(crate) rollers: bool,
    /// The life that so many reach
    #[arg(long, value_name = "SHARE", default_value_t = 0.9, allow_hyphen_values = true, value_parser = number)]
    pub(crate) reliability: f64,
    /// The edition of ISO 281 that tells how life shrinks for it
    #[arg(long, value_enum, default_value_t = Edition::Y2007)]
    pub(crate) edition: Edition,
    /// Revolutions per minute, to tell the life in hours
    #[arg(long, value_name = "PER_MINUTE", allow_hyphen_values = true, value_parser = number,
          conflicts_with = "linear_per")]
    pub(crate) speed: Option<f64>,
    /// A linear bearing: kilometres for which its rating is stated
    #[arg(long, value_name = "KM", value_enum)]
    pub(crate) linear_per: Option<LinearPer>,
    /// Metres from end to end, to tell its life in hours
    #[arg(long, value_name = "METRES", allow_hyphen_values = true, value_parser = number,
          requires_all = ["strokes", "linear_per"])]
    pub(crate) stroke: Option<f64>,
    /// Double strokes per minute: there and back
    #[arg(long, value_name = "PER_MINUTE", allow_hyphen_values = true, value_parser = number, requires = "stroke")]
    pub(crate) strokes: Option<f64>,
    /// Draw the share still good by life into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}
