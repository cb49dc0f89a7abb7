//! `tallow due`: what needs care, how much of its allowance is used, and the likely day.

mod shape;
mod why;

use std::cmp::Reverse;
use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::{ToSpan, ZonedDateTime};
use ledger::Ledger;
use upkeep::build::Task;
use upkeep::{Due, Likely, MachineState, Materials, When, ahead, due as due_on, forecast};

use crate::cli;
use crate::commands::lives::Stakes;
use crate::commands::readings::{self, Taken};
use crate::context::{self, Context};
use crate::goes::each_go;
use crate::out::{Align, Dress, Out, Table};
use crate::parallel;
use crate::trouble::Trouble;
use crate::words::{self, HISTORY_DAYS};

pub(crate) use self::why::explained;

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
    let materials = context::materials(ledger).await?;
    let looked_at = look(ledger, args.machine.as_deref(), &materials, &now, horizon).await?;
    let mut rows = rows(&looked_at);
    rows.retain(|row| args.all || !matches!(row.due.when, When::Beyond));
    if context.json {
        return context.out.json(&rows.iter().map(shape::shape).collect());
    }
    let title = args.machine.as_ref().map_or(ledger.shop().name.as_str(), |_| looked_at[0].0.name.as_str());
    context.out.line(format!("{title}, {}\n", now.strftime("%A %-d %B %Y")))?;
    let close = match (&args.machine, args.why) {
        (Some(_), true) => Some(Close {
            stakes: Stakes::of(ledger, &looked_at[0].0.name, context.now).await?,
            taken: readings::taken(ledger, &looked_at[0].0.name, None).await?,
        }),
        _ => None,
    };
    if looked_at.is_empty() {
        return context.out.line("The shop has no machine yet. Add one: tallow machine add NAME --build BUILD");
    }
    show(context, args, &rows, &materials, close.as_ref(), &now)
}

/// Every task of the machine, or of all machines. Of all, use by day is forgotten once it has been looked at: that of a hall
/// would fill the memory.
async fn look(
    ledger: &Ledger,
    machine: Option<&str>,
    materials: &Materials,
    now: &ZonedDateTime,
    horizon: usize,
) -> Result<Vec<(MachineState, Vec<Due>)>, Trouble> {
    let from = now.date().saturating_sub(HISTORY_DAYS.days());
    if let Some(name) = machine {
        let machine = context::machine(ledger, name).await?;
        let state = ledger.machine_state(&machine.info.name, from).await?;
        let dues = due_on(&state, materials, now, horizon);
        return Ok(vec![(state, dues)]);
    }
    let machines = ledger.machines().await?;
    let names: Vec<&str> = machines.iter().map(|machine| machine.name.as_str()).collect();
    let mut looked_at = Vec::with_capacity(names.len());
    each_go(ledger, &names, from, |states| {
        let dues = parallel::map(&states, |state| due_on(state, materials, now, horizon));
        let forgetful = |state| MachineState { days: Vec::new(), standings: BTreeMap::new(), ..state };
        looked_at.extend(states.into_iter().map(forgetful).zip(dues));
    })
    .await?;
    Ok(looked_at)
}

/// What is told of one machine alone.
struct Close {
    stakes: Stakes,
    taken: Vec<Taken>,
}

/// One task of one machine.
struct Row<'a> {
    state: &'a MachineState,
    due: &'a Due,
}

/// Every task of every machine: what is due first, worst neglect and most used first, then the rest by likely day.
fn rows(looked_at: &[(MachineState, Vec<Due>)]) -> Vec<Row<'_>> {
    let mut rows: Vec<Row<'_>> =
        looked_at.iter().flat_map(|(state, dues)| dues.iter().map(move |due| Row { state, due })).collect();
    rows.sort_by_cached_key(Row::order);
    rows
}

impl Row<'_> {
    fn task(&self) -> &Task {
        &self.state.build.tasks[self.due.task]
    }

    fn order(&self) -> (u8, Reverse<u8>, Option<Date>, Reverse<u64>, String) {
        let used = Reverse((self.due.share() * 1e6) as u64);
        let machine = self.state.name.clone();
        match &self.due.when {
            When::Since(_) => (0, Reverse(self.task().neglect as u8), None, used, machine),
            When::Likely(likely) => (1, Reverse(0), Some(likely.median.unwrap_or(Date::MAX)), used, machine),
            When::Beyond => (2, Reverse(0), None, used, machine),
        }
    }

    fn by(&self) -> String {
        let index = self.due.limit();
        words::so_far(&self.task().limits[index], self.due.used.limits[index].so_far)
    }

    fn is_due(&self) -> bool {
        matches!(self.due.when, When::Since(_))
    }

    fn likely(&self) -> Option<&Likely> {
        match &self.due.when {
            When::Likely(likely) => Some(likely),
            When::Since(_) | When::Beyond => None,
        }
    }

    /// As [`Row::likely_due`], without the range.
    fn middle_day(&self, today: Date) -> String {
        match self.likely() {
            Some(likely) => likely.median.map_or("beyond two years".to_owned(), |day| words::near_day(day, today)),
            None => self.likely_due(today),
        }
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
    rows: &[Row<'_>],
    materials: &Materials,
    close: Option<&Close>,
    now: &ZonedDateTime,
) -> Result<(), Trouble> {
    let today = now.date();
    if args.why {
        rows.iter().try_for_each(|row| {
            why::explain(context, row, now)?;
            let Some(Close { stakes, taken }) = close else { return Ok(()) };
            why::read_last(context, row, taken, now)?;
            why::at_stake(context, row, stakes, &ahead(row.state, materials, now, 8))
        })?;
        if let Some(stakes) = close.map(|close| &close.stakes).filter(|stakes| !stakes.assumed.is_empty()) {
            context.out.line("")?;
            context.out.prose("", &words::assumed(&stakes.assumed))?;
        }
        if rows.iter().any(|row| row.likely().is_some_and(|likely| likely.late != Some(likely.early))) {
            context.out.line("")?;
            context.out.prose("", RANGE)?;
        }
    } else {
        show_table(&context.out, rows, today)?;
    }
    context.out.line("")?;
    context.out.prose("", &closing(args, rows, today))?;
    context.out.line(next(rows))
}

const RANGE: &str = "A range of days in brackets begins on the day by which the care comes due with a chance of 10 %, and \
                     ends on that of 90 %.";

/// The table with as much of it as the terminal holds.
fn show_table(out: &Out, rows: &[Row<'_>], today: Date) -> Result<(), Trouble> {
    let whole = table(rows, |row| row.likely_due(today));
    if out.fits(whole.width()) {
        return out.table(&whole);
    }
    let without = whole.without("by");
    let fits = out.fits(without.width());
    out.table(&if fits { without } else { table(rows, |row| row.middle_day(today)).without("by") })?;
    out.line("")?;
    let left_out = if fits { "by what each is counted" } else { "by what each is counted, and the range of days" };
    out.prose("", &format!("Left out, for the terminal is narrow: {left_out}. --why shows it."))
}

fn table(rows: &[Row<'_>], days: impl Fn(&Row<'_>) -> String) -> Table {
    let columns = [
        ("machine", Align::Left),
        ("care", Align::Left),
        ("used", Align::Right),
        ("by", Align::Left),
        ("likely due", Align::Left),
    ];
    let mut table = Table::new(columns);
    for row in rows {
        let dress = if row.is_due() { Dress::Bold } else { Dress::Plain };
        let used = words::percent(row.due.share());
        table.row([row.state.name.clone(), row.due.name.clone(), used, row.by(), days(row)], dress);
    }
    table
}

/// What the list says as a whole, and in which order.
fn closing(args: &cli::Due, rows: &[Row<'_>], today: Date) -> String {
    let due = rows.iter().filter(|row| row.is_due()).count();
    let may = rows.iter().filter(|row| row.likely().is_some()).count();
    let end = today.saturating_add(i64::from(args.days).days());
    let will = |row: &&Row<'_>| row.likely().and_then(|likely| likely.median).is_some_and(|median| median <= end);
    let will = rows.iter().filter(will).count();
    let ahead = match (args.all, may) {
        (true, _) => format!("{may} more to come"),
        (false, 0) => format!("nothing more {}", words::within(args.days)),
        (false, _) => format!("{may} more may come due {}, {will} of them likely", words::within(args.days)),
    };
    let order = if due < 2 { "" } else { ORDER };
    format!("{due} due, {ahead}.{order}")
}

const ORDER: &str = " What is due stands first: where neglect may injure somebody, then where it damages the machine, then \
                     where it costs a print, then where it annoys; among these the most used. The rest follows by day.";

fn next(rows: &[Row<'_>]) -> String {
    match rows.first() {
        Some(row) => format!("Next: tallow steps \"{}\" --on \"{}\"", row.due.name, row.state.name),
        None => "Everything, however far off: tallow due --all".to_owned(),
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
