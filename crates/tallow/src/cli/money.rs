//! The words of `tallow money`.

use clap::Args;

#[derive(Args, Debug, Default)]
pub(crate) struct Money {
    /// The last so many days, today among them; this month so far and the two before it if no range is given
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..=3660), conflicts_with_all = ["from", "to"])]
    pub(crate) days: Option<u16>,
    /// The first day; that of the month of the last day if left out
    #[arg(long, value_name = "DAY")]
    pub(crate) from: Option<String>,
    /// The last day; today if left out
    #[arg(long, value_name = "DAY")]
    pub(crate) to: Option<String>,
    /// Only this machine
    #[arg(long, value_name = "NAME")]
    pub(crate) machine: Option<String>,
}
