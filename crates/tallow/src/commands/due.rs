//! `tallow due`: what needs care, how much of its allowance is used, and the likely day.

mod shape;
mod why;

use std::cmp::Reverse;

use jiff::civil::Date;
use jiff::{ToSpan, ZonedDateTime};
use ledger::Ledger;
use upkeep::build::Task;
use upkeep::{Due, Likely, MachineState, Materials, When, due as due_on, forecast};

use crate::cli;
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table};
use crate::parallel;
use crate::trouble::Trouble;
use crate::words::{self, HISTORY_DAYS};

pub(crate) async fn due(context: &Context, args: &cli::Due) -> Result<(), Trouble> {
    show_shop(context, &context.open().await?, args).await
}

/// Shows the due list of an open shop.
///
/// # Errors
/// A machine that the shop has not, and a shop that can't be read.
pub(crate) async fn show_shop(context: &Context, ledger: &Ledger, args: &cli::Due) -> Result<(), Trouble> {
    let now = context.now_in(ledger);
    let horizon = if args.all { forecast::MAX_DAYS } else { usize::from(args.days) };
    let states = states(ledger, args.machine.as_deref(), &now).await?;
    let materials = context::materials(ledger).await?;
    let mut rows = rows(&states, &materials, &now, horizon);
    rows.retain(|row| args.all || !matches!(row.due.when, When::Beyond));
    if context.json {
        return context.out.json(&rows.iter().map(shape::shape).collect());
    }
    let title = args.machine.as_ref().map_or(ledger.shop().name.as_str(), |_| states[0].name.as_str());
    context.out.line(format!("{title}, {}\n", now.strftime("%A %-d %B %Y")))?;
    show(context, args, &states, &rows, &now)
}

async fn states(ledger: &Ledger, machine: Option<&str>, now: &ZonedDateTime) -> Result<Vec<MachineState>, Trouble> {
    let from = now.date().saturating_sub(HISTORY_DAYS.days());
    match machine {
        None => Ok(ledger.states(from).await?),
        Some(name) => {
            let machine = context::machine(ledger, name).await?;
            Ok(vec![ledger.machine_state(&machine.info.name, from).await?])
        }
    }
}

/// One task of one machine.
struct Row<'a> {
    state: &'a MachineState,
    due: Due,
}

/// Every task of every machine: what is due first, worst neglect and most used first, then the rest by likely day.
fn rows<'a>(states: &'a [MachineState], materials: &Materials, now: &ZonedDateTime, horizon: usize) -> Vec<Row<'a>> {
    let dues = parallel::map(states, |state| due_on(state, materials, now, horizon));
    let of_one = |(state, dues): (&'a MachineState, Vec<Due>)| dues.into_iter().map(move |due| Row { state, due });
    let mut rows: Vec<Row<'a>> = states.iter().zip(dues).flat_map(of_one).collect();
    rows.sort_by_cached_key(Row::order);
    rows
}

impl Row<'_> {
    fn task(&self) -> &Task {
        &self.state.build.tasks[self.due.task]
    }

    fn order(&self) -> (u8, Reverse<u8>, Option<Date>, Reverse<u64>, String) {
        let used = Reverse((self.due.used.share() * 1e6) as u64);
        let machine = self.state.name.clone();
        match &self.due.when {
            When::Since(_) => (0, Reverse(self.task().neglect as u8), None, used, machine),
            When::Likely(likely) => (1, Reverse(0), Some(likely.median.unwrap_or(Date::MAX)), used, machine),
            When::Beyond => (2, Reverse(0), None, used, machine),
        }
    }

    /// The index of the limit to name: the one that is most used, or will be reached first.
    fn limit(&self) -> usize {
        match &self.due.when {
            When::Likely(likely) => likely.limit,
            _ => self.due.used.governing(),
        }
    }

    fn by(&self) -> String {
        let index = self.limit();
        words::so_far(&self.task().limits[index], self.due.used.limits[index].so_far)
    }

    fn likely_due(&self, today: Date) -> String {
        match &self.due.when {
            When::Since(Some(date)) if *date == today => "today".to_owned(),
            When::Since(Some(date)) => format!("since {}", words::day(*date, today)),
            When::Since(None) => "since over half a year".to_owned(),
            When::Likely(likely) => likely_days(likely, today),
            When::Beyond => String::new(),
        }
    }
}

fn show(
    context: &Context,
    args: &cli::Due,
    states: &[MachineState],
    rows: &[Row<'_>],
    now: &ZonedDateTime,
) -> Result<(), Trouble> {
    if states.is_empty() {
        return context.out.line("The shop has no machine yet. Add one: tallow machine add NAME --build BUILD");
    }
    let today = now.date();
    if args.why {
        rows.iter().try_for_each(|row| why::explain(context, row, now))?;
    } else {
        context.out.table(&table(rows, today))?;
    }
    context.out.line(closing(args, rows))
}

fn table(rows: &[Row<'_>], today: Date) -> Table {
    let columns = [
        ("machine", Align::Left),
        ("care", Align::Left),
        ("used", Align::Right),
        ("by", Align::Left),
        ("likely due", Align::Left),
    ];
    let mut table = Table::new(columns);
    for row in rows {
        let dress = if matches!(row.due.when, When::Since(_)) { Dress::Bold } else { Dress::Plain };
        let used = words::percent(row.due.used.share());
        let cells = [row.state.name.clone(), row.due.name.clone(), used, row.by(), row.likely_due(today)];
        table.row(cells, dress);
    }
    table
}

fn closing(args: &cli::Due, rows: &[Row<'_>]) -> String {
    let due = rows.iter().filter(|row| matches!(row.due.when, When::Since(_))).count();
    let soon = rows.iter().filter(|row| matches!(row.due.when, When::Likely(_))).count();
    let ahead = match (args.all, args.days) {
        (true, _) => "more to come".to_owned(),
        (false, 7) => "within a week".to_owned(),
        (false, 14) => "within a fortnight".to_owned(),
        (false, days) => format!("within {days} days"),
    };
    let counts = format!("\n{due} due, {soon} {ahead}.");
    match rows.first() {
        Some(row) if args.why => {
            format!("{counts} Next: tallow steps \"{}\" --on \"{}\"", row.due.name, row.state.name)
        }
        Some(row) => format!("{counts} Next: tallow steps \"{}\" --on \"{}\"", row.due.name, row.state.name),
        None => format!("{counts} Everything, however far off: tallow due --all"),
    }
}

/// `26 Nov  (25–30 Nov)`.
fn likely_days(likely: &Likely, today: Date) -> String {
    let range = words::days(likely.early, likely.late, today);
    match likely.median {
        Some(median) if likely.late == Some(likely.early) => words::near_day(median, today),
        Some(median) => format!("{}  ({range})", words::near_day(median, today)),
        None => format!("beyond two years  ({range})"),
    }
}
