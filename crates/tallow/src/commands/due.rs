//! `tallow due`: what needs care, how much of its allowance is used, and the likely day.

use std::cmp::Reverse;

use jiff::civil::Date;
use jiff::{ToSpan, ZonedDateTime};
use ledger::Ledger;
use serde_json::{Value, json};
use upkeep::build::{Allowance, Limit, Task};
use upkeep::{
    Due, Grounds, Likely, MachineState, Materials, SinceWhat, UseGrounds, When, amount, due as due_on, forecast,
};

use crate::cli;
use crate::commands::symbol;
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
        return context.out.json(&rows.iter().map(Row::shape).collect());
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

    fn shape(&self) -> Value {
        let task = self.task();
        let limits = task.limits.iter().zip(&self.due.used.limits).map(|(limit, used)| {
            json!({ "every": limit.text, "of": quantity_name(limit), "unit": unit(limit), "so_far": used.so_far,
                    "allowed": used.allowed, "used": used.share(), "counts": counts(limit), "source": limit.source })
        });
        json!({
            "machine": self.state.name, "task": task.name, "position": task.at,
            "used": self.due.used.share(), "limit": self.limit(), "limits": limits.collect::<Vec<_>>(),
            "since": { "at": self.due.used.since.at.to_string(), "what": since_word(self.due.used.since.what),
                       "entry": self.due.used.since.entry.map(|entry| entry.0) },
            "due": when_shape(&self.due.when),
            "state": task.state.name(), "minutes": task.minutes, "neglect": task.neglect.name(),
        })
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
        rows.iter().try_for_each(|row| explain(context, row, now))?;
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

fn explain(context: &Context, row: &Row<'_>, now: &ZonedDateTime) -> Result<(), Trouble> {
    let today = now.date();
    let used = words::percent(row.due.used.share());
    let head = format!("{}: {}, {used}, {}", row.state.name, row.due.name, said_when(row, today));
    context.out.line(context.out.dressed(&head, Dress::Bold))?;
    let since = now.time_zone().to_datetime(row.due.used.since.at).date();
    context.out.line(format!("  counted since {} ({})", words::day(since, today), since_words(row)))?;
    for (limit, used) in row.task().limits.iter().zip(&row.due.used.limits) {
        context.out.line(format!(
            "  {:>5}  {}{}",
            words::percent(used.share()),
            words::so_far(limit, used.so_far),
            weighed(limit)
        ))?;
    }
    if let When::Likely(likely) = &row.due.when {
        context.out.line(format!("  {}", grounds_words(likely, &row.task().limits[likely.limit])))?;
    }
    Ok(())
}

fn said_when(row: &Row<'_>, today: Date) -> String {
    match &row.due.when {
        When::Likely(_) => format!("likely due {}", row.likely_due(today)),
        When::Since(_) => format!("due {}", row.likely_due(today)),
        When::Beyond => "not due within the days asked for".to_owned(),
    }
}

fn since_words(row: &Row<'_>) -> String {
    let since = &row.due.used.since;
    let what = match since.what {
        SinceWhat::Added => "the machine joined the shop",
        SinceWhat::Done => "it was done",
        SinceWhat::Replaced => "the part was replaced",
    };
    since.entry.map_or(what.to_owned(), |entry| format!("{what}, entry {entry}"))
}

fn since_word(what: SinceWhat) -> &'static str {
    match what {
        SinceWhat::Added => "added",
        SinceWhat::Done => "done",
        SinceWhat::Replaced => "replaced",
    }
}

fn weighed(limit: &Limit) -> String {
    let weights = words::weights(&limit.counts);
    if weights.is_empty() { format!(" [{}]", limit.source) } else { format!("; {weights} [{}]", limit.source) }
}

fn grounds_words(likely: &Likely, limit: &Limit) -> String {
    match (&likely.grounds, limit.every) {
        (Grounds::Use(grounds), Allowance::Amount { quantity, .. }) => {
            let UseGrounds { weeks, own_share, per_week, level_spread, queued } = grounds;
            let per_week = amount::print(*per_week, quantity);
            let queued = match queued {
                0 => String::new(),
                1 => ", with 1 queued run".to_owned(),
                many => format!(", with {many} queued runs"),
            };
            format!(
                "the day: about {per_week} a week (level uncertain by {}), from {weeks} weeks of its own records \
                 weighing {}, the rest the build's expectation{queued}",
                words::percent(*level_spread),
                words::percent(*own_share)
            )
        }
        _ => "the day: by the calendar".to_owned(),
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

fn when_shape(when: &When) -> Value {
    match when {
        When::Since(since) => json!({ "is": "due", "since": since.map(|date| date.to_string()) }),
        When::Beyond => json!({ "is": "beyond" }),
        When::Likely(likely) => json!({
            "is": "likely", "early": likely.early.to_string(), "median": likely.median.map(|date| date.to_string()),
            "late": likely.late.map(|date| date.to_string()), "grounds": grounds_shape(&likely.grounds),
        }),
    }
}

fn grounds_shape(grounds: &Grounds) -> Value {
    match grounds {
        Grounds::Calendar => json!({ "by": "calendar" }),
        Grounds::Use(UseGrounds { weeks, own_share, per_week, level_spread, queued }) => json!({
            "by": "use", "weeks": weeks, "own_share": own_share, "per_week": per_week, "level_spread": level_spread,
            "queued": queued,
        }),
    }
}

fn quantity_name(limit: &Limit) -> Option<&'static str> {
    match limit.every {
        Allowance::Amount { quantity, .. } => Some(quantity.name()),
        Allowance::Elapsed { .. } => None,
    }
}

fn unit(limit: &Limit) -> &'static str {
    match limit.every {
        Allowance::Amount { quantity, .. } => symbol(quantity.unit()),
        Allowance::Elapsed { .. } => "days",
    }
}

fn counts(limit: &Limit) -> Value {
    limit.counts.iter().map(|(class, weight)| (class.clone(), json!(weight))).collect::<serde_json::Map<_, _>>().into()
}
