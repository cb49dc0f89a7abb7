//! The words of `tallow fault`.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

use super::Reason;

#[derive(Args, Debug)]
pub(crate) struct Fault {
    /// What to do with faults; lists those that are open if left out
    #[command(subcommand)]
    pub(crate) what: Option<FaultWord>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum FaultWord {
    /// Symptoms by your own words; all of them without
    #[command(after_help = "Examples:\n  tallow fault symptoms\n  tallow fault symptoms \"it squeaks\"")]
    Symptoms(FaultSymptoms),
    /// Say what a machine shows; begins a search for the cause
    #[command(after_help = "\
Examples:
  tallow fault new bowline squeal
  tallow fault new bowline \"layer shift\" \"squeal while moving\" --when \"today 9:40\"")]
    New(FaultNew),
    /// How likely each cause is, why, and what to check or to do next
    #[command(after_help = "Examples:\n  tallow fault show 812\n  tallow fault show 812 --most 20 --svg causes.svg")]
    Show(FaultShow),
    /// Answer what was asked, or say something else that you found
    #[command(after_help = "\
Examples:
  tallow fault say 812 yes
  tallow fault say 812 no --of \"belts: pluck the belt\"
  tallow fault say 812 fixed --used \"ISO VG 32 light oil=1 ml\"")]
    Say(FaultSay),
    /// Be asked question by question; stops at an empty line, and goes on from there another time
    #[command(after_help = "Example:\n  tallow fault walk 812")]
    Walk(FaultWalk),
    /// Close a fault: say what it was
    #[command(after_help = "\
Examples:
  tallow fault end 812 --cause \"belts: slack belt\"
  tallow fault end 812 --other \"a pin was lying on the bed\"
  tallow fault end 812 --unknown \"it has not come back for a week\"")]
    End(FaultEnd),
    /// How often causes show what they show, by this shop's own cases; set one by your own judgement
    #[command(after_help = "\
Examples:
  tallow fault grade
  tallow fault grade \"dry rod\" \"squeal while moving\" nearly-always --why \"ours sing before they stick\"")]
    Grade(FaultGrade),
}

#[derive(Args, Debug)]
pub(crate) struct FaultSymptoms {
    /// What you see, hear, smell or measure
    pub(crate) words: Vec<String>,
}

#[derive(Args, Debug)]
pub(crate) struct FaultNew {
    /// The machine
    pub(crate) machine: String,
    /// What it shows, each in a name or in words that mean one
    #[arg(required = true, value_name = "SYMPTOM")]
    pub(crate) symptoms: Vec<String>,
    /// Since when it shows; now if left out
    #[arg(long, default_value = "now")]
    pub(crate) when: String,
    /// Words to keep with the entry
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct FaultShow {
    /// The fault, by its number
    #[arg(value_parser = super::entry)]
    pub(crate) fault: i64,
    /// How many causes to show
    #[arg(long, default_value_t = 6)]
    pub(crate) most: u16,
    /// Draw the causes into this file
    #[arg(long, value_name = "FILE")]
    pub(crate) svg: Option<PathBuf>,
}

/// An answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum AnswerWord {
    /// It is so
    Yes,
    /// It is not so; of a remedy: it was done, and did not help
    No,
    /// It can't be told
    CannotTell,
    /// That was done before, and did not help
    DidAlready,
    /// This mended it
    Fixed,
}

#[derive(Args, Debug)]
pub(crate) struct FaultSay {
    /// The fault, by its number
    #[arg(value_parser = super::entry)]
    pub(crate) fault: i64,
    /// The answer
    pub(crate) answer: AnswerWord,
    /// The check, remedy or symptom that is answered; what is asked next if left out
    #[arg(long, value_name = "NAME")]
    pub(crate) of: Option<String>,
    /// Which cause it was, where what mended it mends several; the likeliest if left out
    #[arg(long, value_name = "CAUSE")]
    pub(crate) cause: Option<String>,
    #[command(flatten)]
    pub(crate) mending: Mending,
}

/// How something was mended.
#[derive(Args, Debug)]
pub(crate) struct Mending {
    /// A supply that was used besides those of the task, with its amount
    #[arg(long = "used", value_name = "SUPPLY[=AMOUNT]")]
    pub(crate) used: Vec<String>,
    /// A supply is meant as it is written, however near its name is to another
    #[arg(long)]
    pub(crate) new: bool,
    /// The spare of the stores that was put in: one is taken out
    #[arg(long, value_name = "ITEM")]
    pub(crate) spare: Option<String>,
    /// Why a part went that was replaced; failed where that mended it, good where it did not
    #[arg(long, value_name = "REASON")]
    pub(crate) because: Option<Reason>,
    /// Words to keep with the entries
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct FaultWalk {
    /// The fault, by its number
    #[arg(value_parser = super::entry)]
    pub(crate) fault: i64,
}

#[derive(Args, Debug)]
pub(crate) struct FaultEnd {
    /// The fault, by its number
    #[arg(value_parser = super::entry)]
    pub(crate) fault: i64,
    #[command(flatten)]
    pub(crate) was: FaultWas,
    #[command(flatten)]
    pub(crate) mending: Mending,
}

#[derive(Args, Debug)]
#[group(required = true, multiple = false)]
pub(crate) struct FaultWas {
    /// The cause that was found and mended
    #[arg(long, value_name = "CAUSE")]
    pub(crate) cause: Option<String>,
    /// What it was, where no listed cause was it
    #[arg(long, value_name = "WORDS")]
    pub(crate) other: Option<String>,
    /// Why nobody looks for it any more
    #[arg(long, value_name = "WHY")]
    pub(crate) unknown: Option<String>,
}

/// How often.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(crate) enum GradeWord {
    /// Next to never
    HardlyEver,
    /// Now and then
    Seldom,
    /// About every other time
    Often,
    /// With few exceptions
    NearlyAlways,
}

#[derive(Args, Debug)]
pub(crate) struct FaultGrade {
    /// The cause, by its name without a position
    #[arg(requires = "finding")]
    pub(crate) cause: Option<String>,
    /// The symptom or check that it shows in
    #[arg(requires = "grade")]
    pub(crate) finding: Option<String>,
    /// How often it does
    #[arg(requires = "why")]
    pub(crate) grade: Option<GradeWord>,
    /// Why you think so
    #[arg(long)]
    pub(crate) why: Option<String>,
}
