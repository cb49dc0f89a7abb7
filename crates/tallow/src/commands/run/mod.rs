//! `tallow run` and `tallow queue`: what was and what will be executed.

mod arrive;
mod batch;
mod executed;
mod told;

use jiff::{ToSpan, ZonedDateTime};
use ledger::{Ledger, NewEntry};
use serde_json::json;
use upkeep::entry::{Queued, Run};
use upkeep::{Event, MachineState, Materials, used};

pub(crate) use self::arrive::{Came, How, arrive, refined};
pub(crate) use self::batch::{Fate, Line, arrive_all};
pub(crate) use self::executed::{printed_use, ratios};
pub(crate) use self::told::Told;

use self::arrive::book;
use self::executed::Executed;
use crate::cli;
use crate::commands::history::{usage_shape, use_words};
use crate::context::{self, Context, OnMachine};
use crate::input::Source;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::ways::keep_for_later;
use crate::when;
use crate::words::{self, HISTORY_DAYS};

pub(crate) async fn run(context: &Context, args: &cli::Run) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let machine = context::machine(&ledger, &args.program.on).await?;
    let now = context.now_in(&ledger);
    let told = Told::of_run(args, &now)?;
    let source = args.program.file.as_deref().map(|file| context.source(file)).transpose()?;
    if let (true, Some(source)) = (args.later, &source) {
        return later(context, &ledger, told, source).await;
    }
    let before = state(&ledger, &machine, &now).await?;
    let came = match args.once {
        true => arrive(&ledger, &machine, &told, source.as_ref(), &now).await?,
        false => book(&ledger, &machine, &told, source.as_ref(), &now).await?,
    };
    let after = state(&ledger, &machine, &now).await?;
    let materials = context::materials(&ledger).await?;
    let closer = closer(&before, &after, &materials, &now);
    say(context, &came, &after, &before, &closer)
}

/// Leaves a run to a worker.
async fn later(context: &Context, ledger: &Ledger, told: Told, source: &Source) -> Result<(), Trouble> {
    let job = keep_for_later(ledger, &context.files()?, told, source, context.now).await?;
    let said = format!("job {job}: {} is kept, and will be metered and booked", source.label());
    if context.json {
        return context.out.json(&json!({
            "entry": null, "job": job, "came": "kept", "said": said, "use": [], "closer": [],
        }));
    }
    context.out.line(said)?;
    context.out.line("By: tallow work. What came of it: tallow job")
}

pub(crate) async fn queue(context: &Context, args: &cli::Queue) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let machine = context::machine(&ledger, &args.program.on).await?;
    let now = context.now_in(&ledger);
    let on = args.day.as_deref().map(|day| when::coming_day(day, &now)).transpose()?;
    let told = Told::of_program(&args.program);
    let source = args.program.file.as_deref().map(|file| context.source(file)).transpose()?;
    let Run { label, program, materials, usage, .. } =
        Executed::of(&ledger, &machine, &told, source.as_ref()).await?.run;
    let use_words = use_words(&usage);
    let day = on.map_or("as soon as the machine is free".to_owned(), |date| words::day(date, now.date()));
    let said = format!("{} expects {label}, {day}: {use_words}", machine.info.name);
    let new = NewEntry {
        machine: machine.info.name.clone(),
        at: context.now,
        recorded: context.now,
        note: told.note,
        event: Event::Queued(Queued { label, program, on, materials, usage }),
    };
    let entry = ledger.append(new).await?;
    super::record::say_recorded(context, entry, context.now, &said)
}

async fn state(ledger: &Ledger, machine: &OnMachine, now: &ZonedDateTime) -> Result<MachineState, Trouble> {
    let from = now.date().saturating_sub(HISTORY_DAYS.days());
    Ok(ledger.machine_state(&machine.info.name, from).await?)
}

/// A task that a run has brought closer.
struct Closer {
    task: String,
    before: f64,
    after: f64,
}

/// The tasks that a run has brought closer, those that moved most first.
fn closer(before: &MachineState, after: &MachineState, materials: &Materials, now: &ZonedDateTime) -> Vec<Closer> {
    let shares = |state: &MachineState| -> Vec<f64> {
        state.build.tasks.iter().map(|task| by_use(&used(state, task, materials, now))).collect()
    };
    let rows = before.build.tasks.iter().zip(shares(before)).zip(shares(after));
    let mut moved: Vec<Closer> = rows
        .map(|((task, before), after)| Closer { task: task.name.clone(), before, after })
        .filter(|closer| 0.0005 <= closer.after - closer.before)
        .collect();
    moved.sort_by(|one, other| (other.after - other.before).total_cmp(&(one.after - one.before)));
    moved
}

/// The share used by the limits that runs move; those of the calendar stand still.
fn by_use(used: &upkeep::Used) -> f64 {
    used.limits.iter().filter(|limit| limit.until.is_none()).map(upkeep::LimitUsed::share).fold(0.0, f64::max)
}

fn say(
    context: &Context,
    came: &Came,
    after: &MachineState,
    before: &MachineState,
    closer: &[Closer],
) -> Result<(), Trouble> {
    let Came { entry, said, .. } = came;
    let mut added = after.total.clone();
    added.subtract(&before.total);
    if context.json {
        let rows =
            closer.iter().map(|row| json!({ "task": row.task, "used_before": row.before, "used_after": row.after }));
        return context.out.json(&json!({
            "entry": entry.0, "job": null, "came": came.how.word(), "said": said, "use": usage_shape(&added), "closer": rows.collect::<Vec<_>>(),
        }));
    }
    context.out.line(format!("entry {entry}: {said}"))?;
    if closer.is_empty() {
        return context.out.line("It brings no care noticeably closer.");
    }
    context.out.line("\nIt brings closer:\n")?;
    let mut table = Table::new([("care", Align::Left), ("used", Align::Right), ("before", Align::Right)]);
    for row in closer.iter().take(SHOWN_CLOSER) {
        let dress = if 1.0 <= row.after { Dress::Bold } else { Dress::Plain };
        table.row([row.task.clone(), share(row.after), share(row.before)], dress);
    }
    context.out.table(&table)?;
    match closer.len().saturating_sub(SHOWN_CLOSER) {
        0 => {}
        more => context.out.line(format!("and {more} more, by less"))?,
    }
    context.out.line(format!("\nNext: tallow due \"{}\"", after.name))
}

const SHOWN_CLOSER: usize = 10;

/// A share with one decimal place, since one run moves little.
fn share(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}
