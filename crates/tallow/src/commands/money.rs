//! `tallow money`: what keeping the machines running has cost, by month, by machine and by cause.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::{ToSpan, ZonedDateTime};
use ledger::Ledger;
use serde_json::{Value, json};
use upkeep::Prices;
use upkeep::spent::{Calendar, Cause, Cost, FEWEST_DAYS, FEWEST_DONE, Spent, UnitPrices, Unpriced};

use crate::cli;
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::{when, words};

/// What was spent over a range of days, and what that rests on.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Report {
    /// The first and the last day.
    pub(crate) range: [Date; 2],
    /// By machine, month and cause.
    pub(crate) spent: Spent,
    /// Tasks against a calendar.
    pub(crate) calendar: Calendar,
    /// What the money is called.
    pub(crate) currency: String,
    /// Which prices are assumed.
    pub(crate) assumed: Vec<&'static str>,
}

/// What every figure rests on, besides the prices.
pub(crate) const ASSUMPTIONS: [&str; 6] = [
    "All prices are those of today.",
    "Labour: a walked visit's minutes as they were taken; else the minutes that the build gives each task (20 for a part that no \
     task replaces), with one set-up for all of a day at a machine.",
    "Parts and supplies: what care used, at what was paid for the stock that is there, else by the terms of buying. A spare \
     counts where it was named.",
    "Failures: what the worst neglect of the part's tasks leads to, beyond the repair. An injury has no price.",
    "Standing still: of the minutes of care on a day the share of the day's 24 hours in which the machine ran, as if it would \
     have run in them as in the rest of the day.",
    "How long machines stood between failure and repair is not recorded, and not counted.",
];

/// Longer ranges are refused: no picture of months holds them.
const MOST_YEARS: i32 = 10;

pub(crate) async fn money(context: &Context, args: &cli::Money) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let now = context.now_in(&ledger);
    let range = range(args, &now)?;
    let machine = match &args.machine {
        Some(name) => Some(context::machine(&ledger, name).await?.info.name),
        None => None,
    };
    let report = report(&ledger, &now, range, machine.as_deref()).await?;
    if context.json { context.out.json(&report.shape()) } else { report.show(context, now.date()) }
}

/// The first day of the range of so many months that ends today: this month so far and those before it.
pub(crate) fn months_back(today: Date, months: i32) -> Date {
    today.first_of_month().saturating_sub((months - 1).months())
}

fn range(args: &cli::Money, now: &ZonedDateTime) -> Result<[Date; 2], Trouble> {
    let today = now.date();
    if let Some(days) = args.days {
        return Ok([today.saturating_sub((i32::from(days) - 1).days()), today]);
    }
    let day = |text: &Option<String>| -> Result<Option<Date>, Trouble> {
        text.as_deref().map(|text| Ok(when::past(text, now)?.date())).transpose()
    };
    let (from, to) = (day(&args.from)?, day(&args.to)?);
    let last = to.unwrap_or(today);
    let first = from.unwrap_or_else(|| if to.is_some() { last.first_of_month() } else { months_back(today, 3) });
    checked([first, last], today)
}

/// A range of days that lies in the past and goes forward.
///
/// # Errors
/// Any other.
pub(crate) fn checked([from, to]: [Date; 2], today: Date) -> Result<[Date; 2], Trouble> {
    if today < to {
        return Err(Trouble::refused(format!("{to} is still to come")).help("the last day can be today at the latest"));
    }
    if to < from {
        let help = "give the first day before the last; a day without a year is the last of that name";
        return Err(Trouble::refused(format!("the range ends on {to}, before it begins on {from}")).help(help));
    }
    if from < to.saturating_sub(MOST_YEARS.years()) {
        return Err(
            Trouble::refused(format!("more than {MOST_YEARS} years are asked for")).help("give a later first day")
        );
    }
    Ok([from, to])
}

/// Reads the records of a range of days and adds up what they cost; of one machine, or of all.
///
/// # Errors
/// Where the shop can't be read, or has no machine.
pub(crate) async fn report(
    ledger: &Ledger,
    now: &ZonedDateTime,
    range: [Date; 2],
    machine: Option<&str>,
) -> Result<Report, Trouble> {
    let mut states = match machine {
        Some(machine) => vec![ledger.machine_state(machine, now.date()).await?],
        None => ledger.states(now.date()).await?,
    };
    states.retain(|state| state.added <= now.timestamp());
    if states.is_empty() {
        return Err(context::no_machine());
    }
    let zone = &ledger.shop().zone;
    let records = ledger.outlay(range[0], range[1], machine).await?;
    let rates = ledger.rates().await?;
    let (prices, assumed) = Prices::from_rates(&rates);
    let units = UnitPrices::of(&ledger.stores(None).await?);
    let materials = context::materials(ledger).await?;
    let builds: BTreeMap<_, _> = states.iter().map(|state| (state.name.clone(), state.build.clone())).collect();
    let spent = Spent::of(&records, range, &builds, &prices, &units, zone);
    let calendar = Calendar::of(&spent, &states, range, &materials, &prices, &units, zone);
    Ok(Report { range, spent, calendar, currency: rates.currency, assumed })
}

impl Report {
    /// An amount of money, with what it is called.
    pub(crate) fn money(&self, amount: f64) -> String {
        words::money(amount, &self.currency)
    }

    /// The machines, the dearest first.
    pub(crate) fn machines(&self) -> Vec<(&str, Cost)> {
        let mut machines: Vec<_> = self.spent.machines().collect();
        machines.sort_by(|(_, one), (_, other)| other.total().total_cmp(&one.total()));
        machines
    }

    /// `0.42 EUR for each of 1,250 hours run`, in a sentence.
    pub(crate) fn in_short(&self) -> String {
        let total = self.spent.total();
        let all = self.money(total.total());
        match total.per_hour() {
            Some(each) => format!("{} for each hour run: {all} over {:.0} h.", self.money(each), total.hours),
            None => format!("{all}, and no hour run."),
        }
    }

    /// What the figures leave out, a sentence each.
    pub(crate) fn left_out(&self) -> Vec<String> {
        let Spent { unpriced, unpriced_failures, unknown_tasks, .. } = &self.spent;
        let one = |(name, used): (&String, &Unpriced)| {
            // Of pieces the times say enough.
            let amount = match (used.unit.as_str(), used.amount) {
                ("", _) => String::new(),
                (unit, amount) if amount < 10.0 => format!("{amount:.1} {unit}, "),
                (unit, amount) => format!("{amount:.0} {unit}, "),
            };
            format!("{name} ({amount}{})", words::count(used.times as u64, "times"))
        };
        let items: Vec<String> = unpriced.iter().map(one).collect();
        let mut told = Vec::new();
        if !items.is_empty() {
            told.push(format!("Used without a price, and so in no figure: {}.", items.join("; ")));
        }
        if 0 < *unpriced_failures {
            let n = words::count(*unpriced_failures as u64, "failures");
            told.push(format!(
                "Without a price, and so in no figure: {n} that no task guards against or that may injure."
            ));
        }
        if 0 < *unknown_tasks {
            let n = words::count(*unknown_tasks as u64, "tasks");
            told.push(format!("Of {n} done the build says nothing any more, so that nobody knows the minutes."));
        }
        told
    }

    /// Tasks against a calendar, in words.
    pub(crate) fn compared(&self) -> String {
        let Calendar { machines, left_out, really, by_calendar } = &self.calendar;
        let few = format!(
            "records over fewer than {FEWEST_DAYS} days of this range, no hour run, or fewer than {FEWEST_DONE} tasks done"
        );
        if *machines == 0 {
            return format!("Too little is recorded to compare with a calendar: every machine has {few}.");
        }
        let apart = match left_out {
            0 => String::new(),
            n => format!(" {} left out: {few}.", words::count(*n as u64, "machines")),
        };
        format!(
            "On {} tasks took {} of labour and supplies. With each task on its calendar day (its calendar limit, or as many days as \
             its allowance lasts at the mean use), those of one day in one visit, it would have been {}. Failures are left out on \
             both sides, since nobody knows which a calendar would have prevented; where tasks were left undone or not recorded, the calendar looks the dearer for it.{apart}",
            words::count(*machines as u64, "machines"),
            self.money(*really),
            self.money(*by_calendar),
        )
    }

    fn show(&self, context: &Context, today: Date) -> Result<(), Trouble> {
        let out = &context.out;
        let [from, to] = self.range;
        let days = if to == from { words::day(from, today) } else { words::days(from, Some(to), today) };
        out.dressed_line(&format!("{days}: {}", self.in_short()), Dress::Bold)?;
        out.line("")?;
        let months = self.spent.by_month();
        let months = months.iter().map(|(month, cost)| (month.strftime("%b %Y").to_string(), *cost));
        out.table(&self.table("month", months))?;
        out.line("")?;
        out.table(&self.table("machine", self.machines().into_iter().map(|(name, cost)| (name.to_owned(), cost))))?;
        out.line("")?;
        for words in self.left_out() {
            out.prose("", &words)?;
        }
        out.prose("", &self.compared())?;
        if !self.assumed.is_empty() {
            out.prose("", &words::assumed(&self.assumed))?;
        }
        ASSUMPTIONS.iter().try_for_each(|words| out.prose("- ", words))
    }

    fn table(&self, of: &str, rows: impl Iterator<Item = (String, Cost)>) -> Table {
        let right = |name| (name, Align::Right);
        let [labour, supplies, failures, standing] = Cause::ALL.map(Cause::name);
        let columns = [labour, supplies, failures, standing, "all", "hours run", "per hour"].map(right);
        let [a, b, c, d, e, f, g] = columns;
        let mut table = Table::new([(of, Align::Left), a, b, c, d, e, f, g]);
        for (name, cost) in rows {
            let [labour, supplies, failures, standing] = Cause::ALL.map(|cause| figure(cost.of(cause)));
            let each = cost.per_hour().map_or_else(String::new, figure);
            let cells =
                [name, labour, supplies, failures, standing, figure(cost.total()), format!("{:.0}", cost.hours), each];
            table.row(cells, Dress::Plain);
        }
        table
    }

    /// As JSON; the keys are in docs/JSON.md.
    pub(crate) fn shape(&self) -> Value {
        let Spent { months, unpriced, unpriced_failures, unknown_tasks } = &self.spent;
        let of_month =
            |(month, cost): (&Date, &Cost)| with(json!({ "month": month.strftime("%Y-%m").to_string() }), cost);
        let machine = |(name, cost): (&str, Cost)| {
            let of_months: Vec<Value> = months[name].iter().map(of_month).collect();
            with(json!({ "machine": name, "months": of_months }), &cost)
        };
        let unpriced = unpriced
            .iter()
            .map(|(name, used)| json!({ "item": name, "times": used.times, "amount": used.amount, "unit": used.unit }));
        json!({
            "currency": self.currency, "assumed": self.assumed, "from": self.range[0].to_string(),
            "to": self.range[1].to_string(), "all": with(json!({}), &self.spent.total()),
            "months": self.spent.by_month().iter().map(of_month).collect::<Vec<_>>(),
            "machines": self.machines().into_iter().map(machine).collect::<Vec<_>>(),
            "unpriced": unpriced.collect::<Vec<_>>(), "unpriced_failures": unpriced_failures,
            "unknown_tasks": unknown_tasks,
            "calendar": {
                "machines": self.calendar.machines, "left_out": self.calendar.left_out,
                "really": self.calendar.really, "by_calendar": self.calendar.by_calendar,
            },
        })
    }
}

/// Money in a table, to the hundredth below 100.
pub(crate) fn figure(amount: f64) -> String {
    if amount.abs() < 100.0 { format!("{amount:.2}") } else { format!("{amount:.0}") }
}

/// A shape with a cost's keys.
fn with(mut shape: Value, cost: &Cost) -> Value {
    shape["hours"] = json!(cost.hours);
    for cause in Cause::ALL {
        shape[cause.name().replace(' ', "_")] = json!(cost.of(cause));
    }
    shape["total"] = json!(cost.total());
    shape["per_hour"] = json!(cost.per_hour());
    shape
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_are_counted_back_over_the_turn_of_the_year_and_this_one_is_the_last() {
        let day = |text: &str| -> Date { text.parse().unwrap() };
        assert_eq!(months_back(day("2026-11-30"), 3), day("2026-09-01"));
        assert_eq!(months_back(day("2027-01-31"), 12), day("2026-02-01"));
    }

    #[test]
    fn a_range_that_ends_before_it_begins_or_in_the_future_is_refused() {
        let day = |text: &str| -> Date { text.parse().unwrap() };
        let today = day("2026-11-25");
        assert_eq!(checked([today, today], today).unwrap(), [today, today]);
        assert!(checked([today, day("2026-11-24")], today).unwrap_err().what().contains("before it begins"));
        assert!(checked([today, day("2026-11-26")], today).unwrap_err().what().contains("still to come"));
        assert!(checked([day("1916-11-25"), today], today).unwrap_err().what().contains("10 years"));
    }
}
