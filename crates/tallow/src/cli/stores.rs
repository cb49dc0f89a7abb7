//! The words of `tallow stores` and `tallow keeper`.

use clap::{Args, Subcommand};

use super::number;

#[derive(Args, Debug)]
pub(crate) struct Keeper {
    /// What to say of keepers; lists them if left out
    #[command(subcommand)]
    pub(crate) what: Option<KeeperWord>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum KeeperWord {
    /// Say who looks after machines, and for how long on which weekday
    #[command(after_help = "\
Examples:
  tallow keeper set mate --minutes \"mon-fri 60, sat 30\"
  tallow keeper set bosun --minutes \"daily 20\" --skill qualified
  tallow keeper set bosun --no-skills")]
    Set(KeeperSet),
    /// Say that a keeper has days off
    #[command(after_help = "Example:\n  tallow keeper away mate --from \"24 Dec\" --to 2027-01-02 --why \"at sea\"")]
    Away(KeeperAway),
    /// Say that a keeper looks after machines no more
    #[command(after_help = "Example:\n  tallow keeper remove mate")]
    Remove(KeeperRemove),
}

#[derive(Args, Debug)]
pub(crate) struct KeeperSet {
    /// The keeper's name
    pub(crate) name: String,
    /// Minutes for care by weekday; as they were if left out
    #[arg(long, value_name = "DAYS MINUTES, ...")]
    pub(crate) minutes: Option<String>,
    /// What the keeper may do beyond what everybody may; `qualified` is what builds ask for. As it was if left out
    #[arg(long = "skill", value_name = "WORD")]
    pub(crate) skills: Vec<String>,
    /// No skills any more
    #[arg(long, conflicts_with = "skills")]
    pub(crate) no_skills: bool,
    /// Words to keep with the entry
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct KeeperAway {
    /// The keeper's name
    pub(crate) name: String,
    /// The first day off
    #[arg(long, value_name = "DAY")]
    pub(crate) from: String,
    /// The last day off; the first if left out
    #[arg(long, value_name = "DAY")]
    pub(crate) to: Option<String>,
    /// Why
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) why: String,
}

#[derive(Args, Debug)]
pub(crate) struct KeeperRemove {
    /// The keeper's name
    pub(crate) name: String,
    /// Words to keep with the entry
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct Stores {
    /// What happened in the stores; lists them if left out
    #[command(subcommand)]
    pub(crate) what: Option<StoresWord>,
}

#[derive(Debug, Subcommand)]
pub(crate) enum StoresWord {
    /// Record that something was ordered, and by when it is to come
    #[command(after_help = "\
Examples:
  tallow stores order \"ISO VG 32 light oil\" \"100 ml\"
  tallow stores order \"brass nozzle 0.4\" 5 --by \"12 Dec\" --supplier chandler")]
    Order(Order),
    /// Record that something came; it counts for what was ordered first
    #[command(after_help = "\
Examples:
  tallow stores receive \"ISO VG 32 light oil\" \"100 ml\" --price 9.50 --expires 2028-01
  tallow stores receive \"brass nozzle 0.4\" 5 --price 12 --supplier chandler")]
    Receive(Receive),
    /// Record what a count found: from then on that is the stock
    #[command(after_help = "Example:\n  tallow stores count \"lint-free wipe\" 40")]
    Count(Count),
    /// Record that something was thrown away
    #[command(after_help = "Example:\n  tallow stores discard acetone \"20 ml\" --why \"dirty\"")]
    Discard(Discard),
    /// Say how something is bought; what is left out stays as it was
    #[command(after_help = "\
Example:
  tallow stores terms \"ISO VG 32 light oil\" --lead \"10 days\" --pack \"100 ml\" --price 9.50 --supplier chandler")]
    Terms(Terms),
    /// What to order, how much of it, and by which day
    #[command(after_help = "Examples:\n  tallow stores buy\n  tallow stores buy --days 14")]
    Buy(Buy),
}

#[derive(Args, Debug)]
pub(crate) struct Buy {
    /// In how many days you order again: what can't wait until then is listed
    #[arg(long, default_value_t = 7, value_parser = clap::value_parser!(u16).range(1..=180))]
    pub(crate) days: u16,
}

/// What was moved in the stores, and when.
#[derive(Args, Debug)]
pub(crate) struct Move {
    /// The supply or spare
    pub(crate) item: String,
    /// How much, with its unit: "100 ml", "0.5 kg", 5
    #[arg(allow_hyphen_values = true)]
    pub(crate) amount: String,
    /// When; now if left out
    #[arg(long, default_value = "now")]
    pub(crate) when: String,
    /// Words to keep with the entry
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

#[derive(Args, Debug)]
pub(crate) struct Order {
    #[command(flatten)]
    pub(crate) moved: Move,
    /// The day by which it is to come; by the time that its terms say if left out
    #[arg(long, value_name = "DAY")]
    pub(crate) by: Option<String>,
    /// Who supplies it; the one that its terms name if left out
    #[arg(long)]
    pub(crate) supplier: Option<String>,
    /// It is a new thing, however near its name is to another
    #[arg(long)]
    pub(crate) new: bool,
}

#[derive(Args, Debug)]
pub(crate) struct Receive {
    #[command(flatten)]
    pub(crate) moved: Move,
    /// What all of it cost
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true, value_parser = number)]
    pub(crate) price: Option<f64>,
    /// The last month or day in which it is good: 2028-01, 2028-01-15
    #[arg(long, value_name = "DAY")]
    pub(crate) expires: Option<String>,
    /// Who supplied it
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) supplier: String,
    /// It is a new thing, however near its name is to another
    #[arg(long)]
    pub(crate) new: bool,
}

#[derive(Args, Debug)]
pub(crate) struct Count {
    #[command(flatten)]
    pub(crate) moved: Move,
    /// It is a new thing, however near its name is to another
    #[arg(long)]
    pub(crate) new: bool,
}

#[derive(Args, Debug)]
pub(crate) struct Discard {
    #[command(flatten)]
    pub(crate) moved: Move,
    /// Why
    #[arg(long)]
    pub(crate) why: String,
}

#[derive(Args, Debug)]
pub(crate) struct Terms {
    /// The supply or spare
    pub(crate) item: String,
    /// Who supplies it
    #[arg(long)]
    pub(crate) supplier: Option<String>,
    /// From order to shelf: "10 days", "2 weeks"
    #[arg(long, value_name = "SPAN")]
    pub(crate) lead: Option<String>,
    /// How much a pack holds
    #[arg(long, value_name = "AMOUNT")]
    pub(crate) pack: Option<String>,
    /// What a pack costs
    #[arg(long, value_name = "MONEY", allow_hyphen_values = true, value_parser = number)]
    pub(crate) price: Option<f64>,
    /// The share of waits for an order in which it may not run out, "95 %" or 0.95; that if never said
    #[arg(long, value_name = "SHARE", allow_hyphen_values = true, value_parser = share)]
    pub(crate) service: Option<f64>,
    /// It is a new thing, however near its name is to another
    #[arg(long)]
    pub(crate) new: bool,
    /// Words to keep with the entry
    #[arg(long, default_value = "", hide_default_value = true)]
    pub(crate) note: String,
}

/// A share as people write it: `95 %` or `0.95`.
///
/// # Errors
/// What is no number.
pub(crate) fn share(text: &str) -> Result<f64, String> {
    match text.trim().strip_suffix('%') {
        Some(hundredths) => number(hundredths.trim_end()).map(|hundredths| hundredths / 100.0),
        None => number(text.trim()),
    }
}

#[cfg(test)]
mod tests {
    use super::share;

    #[test]
    fn a_share_is_read_in_hundredths_and_plainly() {
        for text in ["95 %", "95%", "0.95", " 0.95 "] {
            assert_eq!(share(text), Ok(0.95), "{text}");
        }
        for text in ["%", "95 %%", "most", "9,5 %"] {
            assert!(share(text).is_err(), "{text}");
        }
    }
}
