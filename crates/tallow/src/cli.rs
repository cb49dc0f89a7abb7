//! The command line: words, options and their examples.

mod before;
mod fault;
mod life;
mod measure;
mod money;
mod people;
mod rhythm;
mod stores;
mod ways;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

pub(crate) use self::before::{Before, Moves};
pub(crate) use self::fault::{
    AnswerWord, Fault, FaultEnd, FaultGrade, FaultNew, FaultSay, FaultShow, FaultSymptoms, FaultWalk, FaultWas,
    FaultWord, GradeWord, Mending,
};
pub(crate) use self::life::{
    Edition, Life, LifeBearing, LifeBelieve, LifeDrift, LifeFit, LifeHidden, LifeLaw, LifeLook, LifeMtbf, LifeRemain,
    LifeReplace, LifeTable, LinearPer, Model, StoppedAt,
};
pub(crate) use self::measure::{
    AT_BELTS, AT_GAUGE, AT_HEATER, AT_NOZZLE, AT_SHAKING, Along, Calipers, Measure, MeasureBacklash, MeasureBelt,
    MeasureFeed, MeasureHeat, MeasureMarks, MeasurePair, MeasureShake, MeasureSquare, TimeUnit, Whose,
};
pub(crate) use self::money::Money;
pub(crate) use self::people::{
    Person, PersonRemove, PersonSet, PersonWord, RoleWord, Token, TokenNew, TokenRevoke, TokenWord,
};
pub(crate) use self::rhythm::Rhythm;
pub(crate) use self::stores::{
    Buy, Count, Discard, Keeper, KeeperAway, KeeperRemove, KeeperSet, KeeperWord, Move, Order, Receive, Stores,
    StoresWord, Terms, share,
};

pub(crate) use self::ways::{
    FileTimeWord, Import, JobList, JobWord, Watch, WayFolder, WayIn, WayMqtt, WayTable, WayWord, Work,
};

const AFTER: &str = "\
Where the records are:
  --shop FILE, else the environment's TALLOW_SHOP, else the user's data folder.
  A shop may also be a PostgreSQL database: --shop postgres://user@host/name

Ends with 0 when done, 1 when something was refused or failed, 2 when the words of the command were wrong.

First steps:
  tallow demo                                       an invented shop to look at
  tallow shop new \"My bench\"                        a shop of your own
  tallow build list                                 the machine types that are known
  tallow machine add bowline --build moving-bed
  tallow run part.gcode --on bowline --material PLA
  tallow due";

/// Keeps filament printers running: meters what each print asks of each part, tells what care is due, keeps the
/// records.
#[derive(Debug, Parser)]
#[command(name = "tallow", version, after_help = AFTER, max_term_width = 100)]
pub(crate) struct Cli {
    /// The shop's records
    #[arg(
        long,
        visible_alias = "store",
        global = true,
        value_name = "FILE",
        env = "TALLOW_SHOP",
        hide_env_values = true
    )]
    pub(crate) shop: Option<String>,

    /// Where files are kept until a worker meters them: a folder, or s3://BUCKET/PREFIX; beside the shop's file if left out
    #[arg(
        id = "kept_files",
        long = "files",
        global = true,
        value_name = "PLACE",
        env = "TALLOW_FILES",
        hide_env_values = true
    )]
    pub(crate) files: Option<String>,

    /// Answer as JSON, for programs; shapes are in docs/JSON.md
    #[arg(long, global = true)]
    pub(crate) json: bool,

    /// Take this instant for the present, for rehearsals: `2026-11-25T15:30[Europe/Oslo]`
    #[arg(long, global = true, value_name = "INSTANT", env = "TALLOW_NOW", hide = true)]
    pub(crate) now: Option<String>,

    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Make an invented shop, or open the one made before, show what is due in it, and serve it
    #[command(after_help = "Examples:\n  tallow demo\n  tallow demo --no-serve")]
    Demo(Demo),
    /// Make a shop, look at it, verify its records, keep copies of it
    #[command(subcommand)]
    Shop(Shop),
    /// Add machines and look at them
    #[command(subcommand)]
    Machine(Machine),
    /// Machine types: list them, check a file of your own, print one to start from
    #[command(subcommand)]
    Build(Build),
    /// Filament materials: list them, add your own
    #[command(subcommand)]
    Material(Material),
    /// Meter print files without booking them
    #[command(after_help = "\
Examples:
  tallow meter hull-rib.gcode --build enclosed-corexy
  tallow meter *.gcode --build mine.toml --json
  zcat rib.gcode.gz | tallow meter - --build delta --stop \"layer 12\"")]
    Meter(Meter),
    /// Book a run: a print file, or hours and grams alone
    #[command(after_help = "\
Examples:
  tallow run hull-rib.gcode --on bowline --material ASA
  tallow run two-tone.gcode --on bowline --material T0=PLA --material T1=PLA-CF --when \"yesterday 14:10\"
  tallow run hull-rib.gcode --on bowline --material ASA --stop \"40 %\"
  tallow run --on bowline --hours 5.5 --grams 120 --material PETG --label \"cleats\"
  tallow run hull-rib.gcode --on bowline --material ASA --once --ended now --outcome stopped --when \"9:30\"")]
    Run(Run),
    /// Say that a run is expected, so that the forecast counts it
    #[command(after_help = "\
Examples:
  tallow queue hull-rib.gcode --on bowline --material ASA --day friday
  tallow queue --on bowline --hours 12 --material PLA --label \"name boards\"")]
    Queue(Queue),
    /// What a print would use up of each machine that could run it, the cheapest first
    #[command(after_help = "\
Examples:
  tallow before hull-rib.gcode --material ASA
  tallow before two-tone.gcode --material T0=PLA --material T1=PLA-CF --why
  tallow before --hours 12 --grams 240 --material PLA")]
    Before(Before),
    /// What needs care, how much of its allowance is used, and the likely day
    #[command(after_help = "\
Examples:
  tallow due
  tallow due bowline --all
  tallow due bowline --why
  tallow due --days 30 --json")]
    Due(Due),
    /// Print the steps of a task with its cautions
    #[command(after_help = "Example:\n  tallow steps \"wipe the x rods\" --on bowline")]
    Steps(Steps),
    /// Slow moves for service, as G-code to look through and run yourself: list them, print one
    #[command(
        override_usage = "tallow moves [MACHINE NAME | --build <BUILD> NAME] [--out <FILE>]",
        after_help = "\
Examples:
  tallow moves
  tallow moves bowline \"spread grease\"
  tallow moves --build delta \"sweep z\" --out sweep.gcode"
    )]
    Moves(Moves),
    /// Record a task done
    #[command(after_help = "\
Examples:
  tallow done \"wipe the x rods\" --on bowline
  tallow done \"oil the y and z rods\" --on bowline --when \"monday 8:30\" --used \"ISO VG 32 light oil=2 ml\"")]
    Done(Done),
    /// Record a part replaced
    #[command(after_help = "\
Examples:
  tallow replace nozzle --on bowline --because worn
  tallow replace nozzle --on bowline --because worn --spare \"brass nozzle 0.4\"")]
    Replace(Replace),
    /// Record a failure of a part
    #[command(after_help = "\
Examples:
  tallow failure \"feed tube 2\" \"filament sticks in the tube\" --on bowline
  tallow failure \"belt a\" \"a tooth is missing\" --on bowline --found")]
    Failure(Failure),
    /// Find what is wrong where a machine squeals, slips or starves: what to check first, why, and what mends it
    #[command(after_help = "\
Examples:
  tallow fault new bowline squeal
  tallow fault walk 812
  tallow fault say 812 no
  tallow fault")]
    Fault(Fault),
    /// Record that a task of a visit was not done, and why; it stays as due as it was
    #[command(after_help = "Example:\n  tallow skip bowline \"oil the y and z rods\" --why \"no oil left\"")]
    Skip(Skip),
    /// Record a measured condition
    #[command(after_help = "Example:\n  tallow reading \"belt a\" \"belt frequency\" \"110 Hz\" --on bowline")]
    Reading(Reading),
    /// What a recording, a photo, a log or a few figures tell of a machine, with how far to trust it
    #[command(subcommand)]
    Measure(Measure),
    /// Record what the machine's own hour meter shows; use that was not booked is estimated
    #[command(after_help = "Example:\n  tallow hour-meter 1520.5 --on bowline")]
    HourMeter(HourMeter),
    /// Give a task a limit of the shop's own, in place of its build's, and say why
    #[command(after_help = "\
Examples:
  tallow limit \"oil the x rods\" --every \"300 km\" --on bowline --reason \"dry and clean here\"
  tallow limit \"look into feed tube 1\" --every \"25 spools\" --reason \"ten failures in two years\"")]
    Limit(Limit),
    /// Say how old the parts were that were there when a machine joined
    #[command(
        override_usage = "tallow age [OPTIONS] <MACHINE> [POSITION] <AMOUNT>",
        after_help = "\
Examples:
  tallow age bowline \"8 months\"
  tallow age bowline \"1200 h\" --of time --note \"by its own hour meter\"
  tallow age bowline nozzle \"3 spools\""
    )]
    Age(Age),
    /// What things cost in the shop's money: show it, or set what is named
    #[command(after_help = "\
Examples:
  tallow rates
  tallow rates --currency EUR --labour 32 --standing 4
  tallow rates --nuisance 5 --failed-print 25 --damage 180 --note \"mean of last year\"")]
    Rates(Rates),
    /// Who looks after machines: list keepers, set their minutes by weekday, their skills, their days off
    #[command(after_help = "\
Examples:
  tallow keeper
  tallow keeper set mate --minutes \"mon-fri 60, sat 30\" --skill qualified
  tallow keeper away mate --from \"24 Dec\" --to \"2 Jan\"")]
    Keeper(Keeper),
    /// What is in the stores; record what was ordered, what came, what a count found, what was thrown away, how it is bought
    #[command(after_help = "\
Examples:
  tallow stores
  tallow stores receive \"ISO VG 32 light oil\" \"100 ml\" --price 9.50 --expires 2028-01
  tallow stores count \"brass nozzle 0.4\" 3
  tallow stores buy")]
    Stores(Stores),
    /// What happened on a machine, newest first; without one, what the shop recorded of itself
    #[command(after_help = "\
Examples:
  tallow history bowline --most 20
  tallow history")]
    History(History),
    /// Correct an entry: a new entry that names the old one
    #[command(after_help = "\
Examples:
  tallow correct 123 --withdraw --note \"booked twice\"
  tallow correct 123 --when \"yesterday 14:10\"
  tallow correct 123 --material T0=ASA
  tallow correct 123 --file hull-rib.gcode")]
    Correct(Correct),
    /// How long parts live here, by the shop's own records, and what that advises
    #[command(after_help = "\
Examples:
  tallow lives
  tallow lives \"feed tube\" --planned-cost 25 --failure-cost 90
  tallow lives nozzle --csv > nozzles.csv")]
    Lives(Lives),
    /// Life-data statistics on a table (CSV), without a shop
    #[command(subcommand)]
    Life(Life),
    /// Plan the visits of the days to come, as cheap as they can be made
    #[command(after_help = "Examples:\n  tallow plan\n  tallow plan --days 7 --why\n  tallow plan --keep")]
    Plan(Plan),
    /// One fixed habit for a machine: a visit every so many days, and what is done in each
    #[command(after_help = "Examples:\n  tallow rhythm\n  tallow rhythm bowline")]
    Rhythm(Rhythm),
    /// What keeping the machines running has cost, by month, by machine and by cause
    #[command(after_help = "\
Examples:
  tallow money
  tallow money --days 365
  tallow money --from \"1 Sep\" --to \"30 Sep\" --machine bowline")]
    Money(Money),
    /// Visits that people have been told of: list, move, lock, call off, and book what was done
    #[command(after_help = "\
Examples:
  tallow visit
  tallow visit move 812 --to friday
  tallow visit walked 812
  tallow visit walked 812 --skip \"oil the y rods: no oil left\" --reading \"belts: belt frequency = 104 Hz\" --took 35")]
    Visit(Visit),
    /// Print the sheets of visits: what to lay out, the cautions, the steps in their order
    #[command(after_help = "\
Examples:
  tallow sheet
  tallow sheet 812 --html visit.html
  tallow sheet --round --html round.html --paper letter
  tallow sheet --round --only bench")]
    Sheet(Sheet),
    /// Write the visits into a calendar file
    #[command(after_help = "Example:\n  tallow calendar --out care.ics")]
    Calendar(Calendar),
    /// Ask the shop's own past how often the forecast's range held
    #[command(after_help = "Example:\n  tallow replay")]
    Replay(Replay),
    /// Show the shop in a browser: what is due, the visits at the machines, the records
    #[command(after_help = "\
Examples:
  tallow serve
  tallow serve --listen 127.0.0.1:8080
  tallow serve --listen 0.0.0.0:4630 --name print.hall.example --certificate hall.pem --key hall.key
  tallow serve --public-address https://loft.example")]
    Serve(Serve),
    /// Who may sign in to a served shop, and what they may do
    #[command(after_help = "\
Examples:
  tallow person
  tallow person set bosun --role own
  tallow person remove mate")]
    Person(Person),
    /// Tokens with which machines book their own runs: list, make, revoke
    #[command(after_help = "\
Examples:
  tallow token
  tallow token new bowline --label \"its computer\"
  tallow token revoke 3")]
    Token(Token),
    /// Ways in by which runs come by themselves: list them, set one up, take one away
    #[command(after_help = "\
Examples:
  tallow way
  tallow way folder bench /srv/prints --on bowline --material PLA --time start
  tallow way mqtt loft mqtt://broker.loft.example --map loft.toml
  tallow way remove bench")]
    Way(WayIn),
    /// Import print history from a table (CSV): a dry run, until --book says to book it
    #[command(after_help = "\
Examples:
  tallow import loft.csv
  tallow import loft.csv --by loft --book --rejected mend.csv")]
    Import(Import),
    /// Follow the ways in, and book what comes, until ended
    #[command(after_help = "Examples:\n  tallow watch\n  tallow watch bench --until-idle")]
    Watch(Watch),
    /// Do what was left for later: meter and book the files that were sent, until ended
    #[command(after_help = "Examples:\n  tallow work\n  tallow work --at-once 1 --until-idle")]
    Work(Work),
    /// What was left for later, and what came of it; try again or forget what was given up
    #[command(after_help = "Examples:\n  tallow job\n  tallow job retry 12\n  tallow job forget 12")]
    Job(JobList),
    /// The duty quantities that are metered, with their units
    Quantities,
    /// Look the shop over: its records, builds, ways in, jobs, tables, clocks, disk, permissions, and what to do for each thing found
    #[command(after_help = "Examples:\n  tallow doctor\n  tallow doctor --whole")]
    Doctor(Doctor),
    /// Write the manual's pages (man) into a folder, one for each command
    #[command(after_help = "Example:\n  tallow manual /usr/local/share/man/man1")]
    Manual(Manual),
    /// Print what lets a shell complete commands and options
    #[command(after_help = "\
Examples:
  tallow completions bash > ~/.local/share/bash-completion/completions/tallow
  tallow completions fish > ~/.config/fish/completions/tallow.fish")]
    Completions(Completions),
}

#[derive(Args, Debug)]
pub(crate) struct Doctor {
    /// Prove the sums of every machine, not of those alone to which something was recorded last
    #[arg(long)]
    pub(crate) whole: bool,
}

#[derive(Args, Debug)]
pub(crate) struct Manual {
    /// The folder; it is made if it is not there
    pub(crate) folder: PathBuf,
}

#[derive(Args, Debug)]
pub(crate) struct Completions {
    /// The shell
    pub(crate) shell: clap_complete::Shell,
}

#[derive(Args, Debug)]
pub(crate) struct Demo {
    /// Make it anew, even if there is one
    #[arg(long)]
    pub(crate) anew: bool,
    /// Show the list and end; do not serve the shop
    #[arg(long)]
    pub(crate) no_serve: bool,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Shop {
    /// Make a shop
    #[command(after_help = "Example:\n  tallow shop new \"Pattern loft\" --zone Europe/Oslo")]
    New {
        /// Its name
        name: String,
        /// Its time zone, by IANA name; the machine's own if left out
        #[arg(long, value_name = "ZONE")]
        zone: Option<String>,
    },
    /// Where it is and what it holds
    Show,
    /// Prove that the daily sums equal the entries; --rebuild makes them anew
    Verify {
        /// Make all sums anew from the entries first
        #[arg(long)]
        rebuild: bool,
    },
    /// Write the whole shop into one file, secrets too; others may record meanwhile
    #[command(after_help = "\
Examples:
  tallow shop backup loft.backup
  tallow shop backup /mnt/stick/loft.backup --replace")]
    Backup(ShopBackup),
    /// Make a shop of a backup, at an empty place
    #[command(after_help = "\
Examples:
  tallow shop restore loft.backup --shop loft.tallow
  tallow shop restore loft.backup --shop postgres://tallow@hall/loft")]
    Restore {
        /// The backup
        file: PathBuf,
    },
    /// Copy the whole shop to an empty place, secrets too: a file, or a PostgreSQL database
    #[command(after_help = "\
Examples:
  tallow shop copy postgres://tallow@hall/loft
  tallow shop copy loft.tallow --shop postgres://tallow@hall/loft")]
    Copy {
        /// Where to: a file that is not there yet, or the address of an empty database
        place: String,
    },
    /// Write the shop as CSV and JSON Lines, without secrets, for other programs
    #[command(after_help = "Example:\n  tallow shop export loft-records")]
    Export {
        /// A folder that is empty or not there yet
        folder: PathBuf,
    },
    /// Make a shop of an export, at an empty place
    #[command(after_help = "Example:\n  tallow shop import loft-records --shop loft.tallow")]
    Import {
        /// The folder of the export
        folder: PathBuf,
    },
}

#[derive(Args, Debug)]
pub(crate) struct ShopBackup {
    /// The file to make
    pub(crate) file: PathBuf,
    /// Put it in the place of a file that is there already, once it is whole
    #[arg(long)]
    pub(crate) replace: bool,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Machine {
    /// Add a machine
    #[command(after_help = "\
Examples:
  tallow machine add bowline --build enclosed-corexy
  tallow machine add bowline --build mine.toml --when 2026-09-01")]
    Add {
        /// Its name in the shop
        name: String,
        /// A known build, or a file of your own
        #[arg(long, value_name = "BUILD")]
        build: String,
        /// When its meters start; the beginning of today if left out
        #[arg(long)]
        when: Option<String>,
        /// Words to keep with the entry
        #[arg(long, default_value = "", hide_default_value = true)]
        note: String,
    },
    /// The machines of the shop
    List,
    /// A machine's parts with their meters, and where its axes have worn
    #[command(after_help = "Example:\n  tallow machine show bowline")]
    Show {
        /// Its name
        name: String,
    },
}

#[derive(Debug, Subcommand)]
pub(crate) enum Build {
    /// The known builds
    List,
    /// Check build files
    #[command(after_help = "Example:\n  tallow build check mine.toml")]
    Check {
        /// The files; - is standard input
        #[arg(required = true)]
        files: Vec<PathBuf>,
    },
    /// Print a build's text, to start one of your own from
    #[command(after_help = "Example:\n  tallow build print moving-bed > mine.toml")]
    Print {
        /// A known build
        name: String,
    },
    /// Change a build that machines of the shop have, and say what that changes for them
    #[command(after_help = "Example:\n  tallow build change mine.toml")]
    Change {
        /// The file; or a build that comes with tallow, to take its newer text
        #[arg(value_name = "BUILD")]
        build: String,
    },
}

#[derive(Debug, Subcommand)]
pub(crate) enum Material {
    /// The known materials
    List,
    /// Add a material of your own
    #[command(after_help = "Example:\n  tallow material add PLA-STONE --density 1.4 --class abrasive")]
    Add {
        /// Its name
        name: String,
        /// Its density, g/cm³
        #[arg(long, value_name = "G/CM3", allow_hyphen_values = true, value_parser = number)]
        density: f64,
        /// What it does to a machine: abrasive, fumes, hygroscopic, soft
        #[arg(long = "class", value_name = "CLASS")]
        classes: Vec<String>,
    },
}

/// How the speed through a corner is found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum CornerRule {
    /// Each axis may jump by its jerk
    Jerk,
    /// The corner is rounded by at most the junction deviation
    Deviation,
}

#[derive(Args, Debug)]
pub(crate) struct Meter {
    /// The files; - is standard input
    #[arg(required = true)]
    pub(crate) files: Vec<PathBuf>,
    /// A known build, or a file of your own
    #[arg(long, value_name = "BUILD")]
    pub(crate) build: String,
    /// The corner rule; the build's own if left out
    #[arg(long, value_name = "RULE")]
    pub(crate) corner: Option<CornerRule>,
    /// Stop at a share of time ("40 %"), of bytes ("40 % of bytes"), a layer ("layer 12") or a line ("line 300")
    #[arg(long, value_name = "POINT", allow_hyphen_values = true)]
    pub(crate) stop: Option<String>,
}

/// What was or will be run, and of what.
#[derive(Args, Debug)]
pub(crate) struct Program {
    /// The print file; - is standard input; left out when only hours are known
    pub(crate) file: Option<PathBuf>,
    /// The machine
    #[arg(long, value_name = "MACHINE")]
    pub(crate) on: String,
    /// What was printed: a material for every tool, or T0=MATERIAL once per tool
    #[arg(long = "material", value_name = "[Tn=]MATERIAL", required = true)]
    pub(crate) materials: Vec<String>,
    /// Hours printed, where there is no file; the use is then an estimate
    #[arg(long, conflicts_with = "file", allow_hyphen_values = true, value_parser = number)]
    pub(crate) hours: Option<f64>,
    /// Filament used, g, where there is no file
    #[arg(long, conflicts_with = "file", allow_hyphen_values = true, value_parser = number)]
    pub(crate) grams: Option<f64>,
    /// What to call it; the file's name if left out
    #[arg(long)]
    pub(crate) label: Option<String>,
    /// Words to keep with the entry
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct Run {
    #[command(flatten)]
    pub(crate) program: Program,
    /// When it started; if left out, it is taken to have ended just now
    #[arg(long)]
    pub(crate) when: Option<String>,
    /// When it ended; with --when, the hours between are those printed where there is no file
    #[arg(long, value_name = "WHEN")]
    pub(crate) ended: Option<String>,
    /// Where it stopped, if before the end: "40 %" of its time, "40 % of bytes", "layer 12" or "line 300"
    #[arg(long, value_name = "POINT", conflicts_with = "hours", allow_hyphen_values = true)]
    pub(crate) stop: Option<String>,
    /// How it ended; of one that stopped, --when and --ended tell where, if --stop does not
    #[arg(long, value_enum, default_value = "finished")]
    pub(crate) outcome: Outcome,
    /// The SHA-256 of the file's plain bytes, instead of the file: what it asks is known if it was metered before
    #[arg(long, value_name = "HASH", conflicts_with = "file")]
    pub(crate) sha256: Option<String>,
    /// Count it once, whichever way it came: where it is booked, say so; where only its hours were known, correct that
    #[arg(long)]
    pub(crate) once: bool,
    /// Keep the file and let a worker meter and book it, once: tallow work
    #[arg(long, requires = "file")]
    pub(crate) later: bool,
}

/// How a run ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum Outcome {
    /// It ran to its end
    #[default]
    Finished,
    /// It was stopped, or stopped by itself
    Stopped,
}

#[derive(Args, Debug)]
pub(crate) struct Queue {
    #[command(flatten)]
    pub(crate) program: Program,
    /// The day on which it is expected; as soon as the machine is free if left out
    #[arg(long)]
    pub(crate) day: Option<String>,
}

/// How many days the due list looks ahead, unless it is told otherwise.
pub(crate) const DUE_DAYS: u16 = 7;

#[derive(Args, Debug)]
pub(crate) struct Due {
    /// One machine; all if left out
    pub(crate) machine: Option<String>,
    /// How many days to look ahead
    #[arg(long, default_value_t = DUE_DAYS, allow_hyphen_values = true, value_parser = days)]
    pub(crate) days: u16,
    /// List every task, however far off
    #[arg(long)]
    pub(crate) all: bool,
    /// Show how each figure was reached
    #[arg(long)]
    pub(crate) why: bool,
}

#[derive(Args, Debug)]
pub(crate) struct Steps {
    /// The task
    pub(crate) task: String,
    /// The machine
    #[arg(long, value_name = "MACHINE")]
    pub(crate) on: String,
}

/// On which machine, when, and what to say of it.
#[derive(Args, Debug)]
pub(crate) struct Occasion {
    /// The machine
    #[arg(long, value_name = "MACHINE")]
    pub(crate) on: String,
    /// When; now if left out
    #[arg(long, default_value = "now")]
    pub(crate) when: String,
    /// Words to keep with the entry
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct Done {
    /// The task
    pub(crate) task: String,
    #[command(flatten)]
    pub(crate) occasion: Occasion,
    /// A supply that was used besides or instead of those of the task, with its amount
    #[arg(long = "used", value_name = "SUPPLY[=AMOUNT]")]
    pub(crate) supplies: Vec<String>,
    /// A supply is meant as it is written, however near its name is to another
    #[arg(long)]
    pub(crate) new: bool,
}

/// Why a part was replaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Reason {
    /// It had failed
    Failed,
    /// It was worn, but worked
    Worn,
    /// It was good
    Good,
}

#[derive(Args, Debug)]
pub(crate) struct Replace {
    /// The position of the part
    pub(crate) position: String,
    #[command(flatten)]
    pub(crate) occasion: Occasion,
    /// Why it went
    #[arg(long, value_name = "REASON")]
    pub(crate) because: Reason,
    /// The spare of the stores that was put in: one is taken out
    #[arg(long, value_name = "ITEM")]
    pub(crate) spare: Option<String>,
}

#[derive(Args, Debug)]
pub(crate) struct Skip {
    /// The machine
    pub(crate) machine: String,
    /// The task
    pub(crate) task: String,
    /// Why it was not done
    #[arg(long)]
    pub(crate) why: String,
    /// When; now if left out
    #[arg(long, default_value = "now")]
    pub(crate) when: String,
    /// Words to keep with the entry
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct Failure {
    /// The position of the part
    pub(crate) position: String,
    /// How it shows
    pub(crate) mode: String,
    /// It was found by looking: it happened at some time since the last look
    #[arg(long)]
    pub(crate) found: bool,
    /// It was put right without another part: the part's life goes on
    #[arg(long)]
    pub(crate) mended: bool,
    #[command(flatten)]
    pub(crate) occasion: Occasion,
}

#[derive(Args, Debug)]
pub(crate) struct Reading {
    /// The position of the part
    pub(crate) position: String,
    /// What was measured
    pub(crate) what: String,
    /// The value with its unit
    #[arg(allow_hyphen_values = true)]
    pub(crate) value: String,
    /// It is a new reading, however near its name is to another
    #[arg(long)]
    pub(crate) new: bool,
    #[command(flatten)]
    pub(crate) occasion: Occasion,
}

#[derive(Args, Debug)]
pub(crate) struct HourMeter {
    /// The hours that it shows
    #[arg(allow_hyphen_values = true, value_parser = number)]
    pub(crate) hours: f64,
    #[command(flatten)]
    pub(crate) occasion: Occasion,
    /// What was printed in hours that were not booked
    #[arg(long, default_value = "")]
    pub(crate) material: String,
}

#[derive(Args, Debug)]
pub(crate) struct Lives {
    /// A kind of part, or a position; all kinds if left out
    pub(crate) kind: Option<String>,
    /// Only on machines with this build
    #[arg(long, value_name = "BUILD")]
    pub(crate) build: Option<String>,
    /// What a planned replacement costs: part and labour; labour by the shop's rates if left out
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true, value_parser = number)]
    pub(crate) planned_cost: Option<f64>,
    /// What a failure costs: what it spoils, and the replacement; by the shop's rates if left out
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true, value_parser = number)]
    pub(crate) failure_cost: Option<f64>,
    /// The level of the bounds
    #[arg(long, default_value_t = 0.9, allow_hyphen_values = true, value_parser = number)]
    pub(crate) level: f64,
    /// Print the lives as a table that `tallow life` reads, ages in the unit of the last column
    #[arg(long, conflicts_with = "json")]
    pub(crate) csv: bool,
    /// Draw the life curve into this file, and the cost curve beside it
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
    /// Of the curves, draw this one alone
    #[arg(long, value_name = "CURVE", value_enum)]
    pub(crate) only: Option<Curve>,
}

/// What is drawn of how long parts live.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Curve {
    /// The share still good by age
    Life,
    /// What parts cost by the age at which they are replaced
    Cost,
}

#[derive(Args, Debug)]
pub(crate) struct Limit {
    /// The task
    pub(crate) task: String,
    /// The allowance: an amount, or a span of the calendar
    #[arg(long, value_name = "AMOUNT", allow_hyphen_values = true)]
    pub(crate) every: String,
    /// What is metered; not needed where the task has one limit by use
    #[arg(long, value_name = "QUANTITY")]
    pub(crate) of: Option<String>,
    /// One machine; all that have the task if left out
    #[arg(long, value_name = "MACHINE")]
    pub(crate) on: Option<String>,
    /// Why
    #[arg(long)]
    pub(crate) reason: String,
}

#[derive(Args, Debug)]
pub(crate) struct Age {
    /// The machine
    pub(crate) machine: String,
    /// The age when the machine joined, an amount or a span of the calendar: of every part that was there, or of the one
    /// whose position stands before it
    #[arg(value_name = "AMOUNT", allow_hyphen_values = true)]
    pub(crate) first: String,
    /// The amount, where `first` is a position
    #[arg(hide = true, allow_hyphen_values = true)]
    pub(crate) second: Option<String>,
    /// What the amount is of; not needed where one quantity alone fits
    #[arg(long, value_name = "QUANTITY")]
    pub(crate) of: Option<String>,
    /// Words to keep with the entry: how that is known
    #[arg(long, visible_alias = "reason", default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct Rates {
    /// What the money is called: 1 to 8 letters or signs
    #[arg(long, value_name = "NAME")]
    pub(crate) currency: Option<String>,
    /// An hour of a keeper's work
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true, value_parser = number)]
    pub(crate) labour: Option<f64>,
    /// An hour in which a machine stands still
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true, value_parser = number)]
    pub(crate) standing: Option<f64>,
    /// What a nuisance costs beyond the repair
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true, value_parser = number)]
    pub(crate) nuisance: Option<f64>,
    /// What a failed print costs beyond the repair
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true, value_parser = number)]
    pub(crate) failed_print: Option<f64>,
    /// What damage to a machine costs beyond the repair
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true, value_parser = number)]
    pub(crate) damage: Option<f64>,
    /// Words to keep with the entry
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct History {
    /// The machine; the shop itself if left out
    pub(crate) machine: Option<String>,
    /// How many entries at most
    #[arg(long, default_value_t = 30, allow_hyphen_values = true, value_parser = count)]
    pub(crate) most: u32,
    /// Only entries before this one
    #[arg(long, value_name = "ENTRY", allow_hyphen_values = true, value_parser = entry)]
    pub(crate) before: Option<i64>,
}

#[derive(Args, Debug)]
pub(crate) struct Correct {
    /// The entry's number
    #[arg(value_parser = entry)]
    pub(crate) entry: i64,
    /// It did not happen
    #[arg(long, conflicts_with_all = ["when", "materials", "because", "spare", "value"])]
    pub(crate) withdraw: bool,
    /// When it really happened
    #[arg(long)]
    pub(crate) when: Option<String>,
    /// What was really printed
    #[arg(long = "material", value_name = "[Tn=]MATERIAL")]
    pub(crate) materials: Vec<String>,
    /// The print file of a run that was known by its hours alone: what was estimated is metered
    #[arg(long, value_name = "FILE", conflicts_with_all = ["withdraw", "because", "spare", "value"])]
    pub(crate) file: Option<PathBuf>,
    /// Why the part was really replaced
    #[arg(long, value_name = "REASON")]
    pub(crate) because: Option<Reason>,
    /// The spare that was really put in
    #[arg(long, value_name = "ITEM")]
    pub(crate) spare: Option<String>,
    /// What was really measured, ordered, received, counted or thrown away, with its unit
    #[arg(long, value_name = "VALUE", allow_hyphen_values = true)]
    pub(crate) value: Option<String>,
    /// Words to keep with the correction
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct Plan {
    /// How many days, from today on
    #[arg(long, default_value_t = 14, value_parser = clap::value_parser!(u16).range(1..=31))]
    pub(crate) days: u16,
    /// What each task costs today, and on the days after
    #[arg(long)]
    pub(crate) why: bool,
    /// Tell people: write the visits down, and keep them when planning anew
    #[arg(long)]
    pub(crate) keep: bool,
    /// Plan no longer than this, s
    #[arg(long, default_value_t = 30, value_parser = clap::value_parser!(u16).range(1..))]
    pub(crate) seconds: u16,
}

#[derive(Args, Debug)]
pub(crate) struct Visit {
    #[command(subcommand)]
    pub(crate) action: Option<VisitAction>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum VisitAction {
    /// Move a visit to another day, or to another keeper; planning anew leaves it there
    Move {
        /// Its number
        visit: i64,
        /// The day
        #[arg(long, value_name = "DAY")]
        to: String,
        /// Who goes; who went so far if left out
        #[arg(long)]
        keeper: Option<String>,
    },
    /// Leave a visit where it is when planning anew
    Lock {
        /// Its number
        visit: i64,
    },
    /// Let planning anew move a visit again
    Free {
        /// Its number
        visit: i64,
    },
    /// Call a visit off
    Off {
        /// Its number
        visit: i64,
        /// Why
        #[arg(long)]
        why: String,
    },
    /// Book a whole visit: its tasks as done, but for those that were skipped
    Walked(Walked),
}

#[derive(Args, Debug)]
pub(crate) struct Walked {
    /// The visit's number
    pub(crate) visit: i64,
    /// A task that was not done, and why
    #[arg(long, value_name = "TASK: REASON")]
    pub(crate) skip: Vec<String>,
    /// A task that was done besides
    #[arg(long, value_name = "TASK")]
    pub(crate) also: Vec<String>,
    /// A supply that was used besides or instead of those of a task
    #[arg(long, value_name = "TASK: SUPPLY[=AMOUNT]")]
    pub(crate) used: Vec<String>,
    /// A reading that was taken
    #[arg(long, value_name = "POSITION: WHAT = VALUE")]
    pub(crate) reading: Vec<String>,
    /// Supplies and readings are meant as they are written, however near their names are to others
    #[arg(long)]
    pub(crate) new: bool,
    /// How long it took, min; as planned if left out
    #[arg(long, value_name = "MINUTES", allow_hyphen_values = true, value_parser = number)]
    pub(crate) took: Option<f64>,
    /// When it ended
    #[arg(long, default_value = "now")]
    pub(crate) when: String,
    /// Words to keep with its entries
    #[arg(long, default_value = "")]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct Sheet {
    /// The numbers of visits; those of the next day that has any if left out
    pub(crate) visits: Vec<i64>,
    /// The whole round: what to lay out for all of it, and a sheet for each keeper's day
    #[arg(long, conflicts_with = "visits")]
    pub(crate) round: bool,
    /// Of the round, these papers alone
    #[arg(long, value_name = "WHAT", value_enum, requires = "round")]
    pub(crate) only: Option<Papers>,
    /// Write pages for a printer into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) html: Option<PathBuf>,
    /// The paper
    #[arg(long, value_enum, default_value = "a4")]
    pub(crate) paper: PaperSize,
    /// Where the shop is served: the code on each sheet leads to the visit's page there
    #[arg(long, value_name = "ADDRESS")]
    pub(crate) site: Option<String>,
}

/// What is printed of a round.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum Papers {
    /// What to lay out for all of it
    Bench,
    /// A sheet for each keeper's day
    Days,
    /// The sheets of all visits
    Visits,
}

/// Paper to print on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum PaperSize {
    /// 210 mm × 297 mm
    A4,
    /// 8.5 in × 11 in
    Letter,
}

#[derive(Args, Debug)]
pub(crate) struct Calendar {
    /// The file; printed if left out
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
    /// The visits of this keeper alone
    #[arg(long, value_name = "NAME")]
    pub(crate) keeper: Option<String>,
}

#[derive(Args, Debug)]
pub(crate) struct Replay {
    /// One machine; all if left out
    pub(crate) machine: Option<String>,
}

/// The port that a shop is served at, unless another is named.
pub(crate) const PORT: u16 = 4630;

#[derive(Args, Debug)]
pub(crate) struct Serve {
    /// The address and port to listen at
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:4630")]
    pub(crate) listen: String,
    /// A name by which browsers call the server, besides its address
    #[arg(long = "name", value_name = "NAME")]
    pub(crate) names: Vec<String>,
    /// Where people open the server, if another one stands before it: https://loft.example
    #[arg(long, value_name = "ADDRESS")]
    pub(crate) public_address: Option<String>,
    /// The server's certificate and those that vouch for it (PEM): everything goes encrypted
    #[arg(long, value_name = "FILE", requires = "key")]
    pub(crate) certificate: Option<PathBuf>,
    /// The certificate's key (PEM)
    #[arg(long, value_name = "FILE", requires = "certificate")]
    pub(crate) key: Option<PathBuf>,
}

/// A decimal number as people write it: no exponents, no infinities.
fn number(text: &str) -> Result<f64, String> {
    let plain = text.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | '-' | '+'));
    text.parse().ok().filter(|_| plain).ok_or_else(|| "write a number with a point, for example 5.5".to_owned())
}

/// A number of days to look ahead: up to two years.
fn days(text: &str) -> Result<u16, String> {
    let days = text.parse().ok().filter(|days| (1..=730).contains(days));
    days.ok_or_else(|| "write a whole number of days from 1 to 730".to_owned())
}

/// How many, at least one.
fn count(text: &str) -> Result<u32, String> {
    text.parse().ok().filter(|count| 1 <= *count).ok_or_else(|| "write a whole number from 1 on".to_owned())
}

/// The number of an entry.
fn entry(text: &str) -> Result<i64, String> {
    text.parse().ok().filter(|id| 1 <= *id).ok_or_else(|| "an entry has a number: tallow history MACHINE".to_owned())
}
