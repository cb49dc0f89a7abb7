//! `tallow run` and `tallow queue`: what was and what will be executed.

use std::collections::BTreeMap;

use jiff::{SignedDuration, ToSpan, ZonedDateTime};
use ledger::{Filter, Kind, Ledger, NewEntry};
use motion::{Duty, Quantity, Tool};
use serde_json::json;
use upkeep::entry::{Basis, Queued, Run};
use upkeep::estimate::Ratios;
use upkeep::{Build, EntryId, Event, MachineState, Material, MaterialInfo, Materials, Usage, amount, booking, used};

use crate::cli;
use crate::commands::history::{usage_shape, use_words};
use crate::commands::hours;
use crate::commands::slot::{self, Slot};
use crate::context::{self, Context, OnMachine};
use crate::input::Source;
use crate::out::{Align, Dress, Table};
use crate::printed::{self, Printed};
use crate::programs;
use crate::stop::Point;
use crate::trouble::Trouble;
use crate::when;
use crate::words::{self, HISTORY_DAYS};

pub(crate) async fn run(context: &Context, args: &cli::Run) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let machine = context::machine(&ledger, &args.program.on).await?;
    let materials = context::materials(&ledger).await?;
    let stop = args.stop.as_deref().map(Point::parse).transpose()?;
    let now = context.now_in(&ledger);
    let executed = Executed::of(context, &ledger, &machine, &args.program, &materials, stop).await?;
    let start = executed.start(args.when.as_deref(), &now)?;
    machine.joined_by(&start)?;
    let slot = Slot {
        machine: &machine.info.name,
        label: &executed.label,
        program: executed.program.as_deref(),
        start: start.timestamp(),
        duration: executed.duration(),
        corrects: None,
    };
    slot.refuse_if_taken(&ledger, &now).await?;
    let before = state(&ledger, &machine, &now).await?;
    let said = executed.said(&start);
    let new = NewEntry {
        machine: machine.info.name.clone(),
        at: start.timestamp(),
        recorded: context.now,
        note: args.program.note.clone(),
        event: Event::Run(executed.into_run(stop)),
    };
    let entry = append(&ledger, new).await?;
    hours::settle(&ledger, &machine, context.now).await?;
    let said = format!("{said}{}", fulfilled(&ledger, entry).await?);
    let after = state(&ledger, &machine, &now).await?;
    let closer = closer(&before, &after, &materials, &now);
    say(context, entry, &said, &after, &before, &closer)
}

pub(crate) async fn queue(context: &Context, args: &cli::Queue) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let machine = context::machine(&ledger, &args.program.on).await?;
    let materials = context::materials(&ledger).await?;
    let now = context.now_in(&ledger);
    let on = args.day.as_deref().map(|day| when::coming_day(day, &now)).transpose()?;
    let expected = Executed::of(context, &ledger, &machine, &args.program, &materials, None).await?;
    let use_words = use_words(&expected.usage);
    let day = on.map_or("as soon as the machine is free".to_owned(), |date| words::day(date, now.date()));
    let said = format!("{} expects {}, {day}: {use_words}", machine.info.name, expected.label);
    let Executed { label, program, materials, usage, .. } = expected;
    let new = NewEntry {
        machine: machine.info.name.clone(),
        at: context.now,
        recorded: context.now,
        note: args.program.note.clone(),
        event: Event::Queued(Queued { label, program, on, materials, usage }),
    };
    let entry = ledger.append(new).await?;
    super::record::say_recorded(context, entry, context.now, &said)
}

/// What was executed, before it is known when.
struct Executed {
    label: String,
    program: Option<String>,
    materials: BTreeMap<Tool, Material>,
    usage: Usage,
    basis: Basis,
    warnings: u64,
    cut: bool,
    /// Tools of the file that no position of the build names, though others are named.
    strangers: Vec<Tool>,
}

/// The tools among `tools` that no position of a build with parts of single tools names.
fn stranger_tools(build: &Build, tools: &[Tool]) -> Vec<Tool> {
    let named: Vec<Tool> = build.positions.iter().filter_map(|position| position.tool).collect();
    tools.iter().copied().filter(|tool| !named.is_empty() && !named.contains(tool)).collect()
}

/// What each tool printed, and the use that a metered duty then is.
///
/// # Errors
/// A tool that used filament, of which nothing was said; one of which something was said, and that printed nothing.
pub(crate) fn printed_use(duty: &Duty, said: &Printed) -> Result<(BTreeMap<Tool, MaterialInfo>, Usage), Trouble> {
    let tools: Vec<Tool> = duty.tools.keys().copied().collect();
    let by_tool = said.by_tool(&tools)?;
    let usage = booking::booked(duty, &by_tool).map_err(|unsaid| {
        let used = amount::print(unsaid.filament, Quantity::Filament);
        Trouble::refused(format!("T{} printed {used} of filament, but of what?", unsaid.tool))
            .help(format!("say so: --material T{}=MATERIAL", unsaid.tool))
    })?;
    Ok((by_tool, usage))
}

impl Executed {
    async fn of(
        context: &Context,
        ledger: &Ledger,
        machine: &OnMachine,
        args: &cli::Program,
        materials: &Materials,
        stop: Option<Point>,
    ) -> Result<Executed, Trouble> {
        let said = Printed::parse(&args.materials, materials)?;
        match (&args.file, args.hours) {
            (Some(file), _) => Executed::metered(ledger, machine, args, &context.source(file)?, &said, stop).await,
            (None, Some(hours)) => Executed::estimated(ledger, machine, args, hours, &said).await,
            (None, None) => Err(Trouble::refused("neither a print file nor hours were given")
                .help("name the file, or where there is none say how long it ran: --hours 5.5 --grams 120")),
        }
    }

    async fn metered(
        ledger: &Ledger,
        machine: &OnMachine,
        args: &cli::Program,
        source: &Source,
        said: &Printed,
        stop: Option<Point>,
    ) -> Result<Executed, Trouble> {
        let known = programs::duty(ledger, source, &machine.build.machine, stop).await?;
        let tools: Vec<Tool> = known.duty.tools.keys().copied().collect();
        let strangers = stranger_tools(&machine.build, &tools);
        let (by_tool, usage) = printed_use(&known.duty, said)?;
        Ok(Executed {
            label: args.label.clone().unwrap_or_else(|| source.label()),
            program: known.sha256,
            materials: printed::names(&by_tool),
            usage,
            basis: Basis::Metered,
            warnings: known.warnings,
            cut: known.cut,
            strangers,
        })
    }

    async fn estimated(
        ledger: &Ledger,
        machine: &OnMachine,
        args: &cli::Program,
        hours: f64,
        said: &Printed,
    ) -> Result<Executed, Trouble> {
        let (tool, info) = said.only()?;
        let material = Material::new(&info.name);
        let ratios = ratios(ledger, machine).await?;
        let estimate = ratios
            .estimate(hours, args.grams, tool, &material)
            .map_err(|error| Trouble::refused(error.to_string()).help("check --hours and --grams"))?;
        Ok(Executed {
            label: args.label.clone().unwrap_or_else(|| format!("{hours} h of {material}")),
            program: None,
            materials: BTreeMap::from([(tool, material)]),
            usage: estimate.usage,
            basis: Basis::Estimated { spread: estimate.spread },
            warnings: 0,
            cut: false,
            strangers: Vec::new(),
        })
    }

    fn duration(&self) -> SignedDuration {
        slot::duration(&self.usage)
    }

    /// When it started: as said, or so that it ends now.
    fn start(&self, said: Option<&str>, now: &ZonedDateTime) -> Result<ZonedDateTime, Trouble> {
        match said {
            Some(text) => when::past_run(text, now),
            None => Ok(now.saturating_sub(self.duration())),
        }
    }

    fn said(&self, start: &ZonedDateTime) -> String {
        let basis = match self.basis {
            Basis::Metered => String::new(),
            Basis::Estimated { spread } => format!(", estimated, give or take {}", words::percent(spread)),
        };
        let warned = match self.warnings {
            0 => String::new(),
            count => format!("; {count} lines could not be read as they stand, see tallow meter"),
        };
        let cut = if self.cut { "; its last line has no end, so the file may be cut off" } else { "" };
        let strangers: Vec<String> = self.strangers.iter().map(|tool| format!("T{tool}")).collect();
        let strangers = match strangers.is_empty() {
            true => String::new(),
            false => format!("; the build has no part of {}, so no tool's own part counts it", strangers.join(", ")),
        };
        let when = when::spoken(start);
        format!("{}, from {when}: {}{basis}{warned}{cut}{strangers}", self.label, use_words(&self.usage))
    }

    fn into_run(self, stop: Option<Point>) -> Run {
        Run {
            label: self.label,
            program: self.program,
            stopped: stop.map(|point| point.to_string()),
            materials: self.materials,
            usage: self.usage,
            basis: self.basis,
            queued: None,
        }
    }
}

/// What an hour of printing on this machine asks of it, by its own metered runs and its build.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn ratios(ledger: &Ledger, machine: &OnMachine) -> Result<Ratios, Trouble> {
    let filter = Filter { machine: Some(machine.info.name.clone()), kind: Some(Kind::Run), ..Filter::default() };
    let runs = ledger.entries(&filter, RUNS_FOR_RATIOS).await?;
    let metered =
        runs.iter().filter(|listed| listed.replaced_by.is_none()).filter_map(|listed| match &listed.entry.event {
            Event::Run(run) if run.basis == Basis::Metered => Some(&run.usage),
            _ => None,
        });
    Ok(Ratios::new(&machine.build, metered))
}

/// How many of a machine's latest runs its ratios rest on.
const RUNS_FOR_RATIOS: u32 = 200;

async fn append(ledger: &Ledger, new: NewEntry) -> Result<EntryId, Trouble> {
    match ledger.append(new).await {
        Err(ledger::Error::AlreadyBooked(entry)) => {
            Err(Trouble::refused(format!("this run is already booked, as entry {entry}; it counts once"))
                .help(format!("if that entry is wrong: tallow correct {entry} --withdraw")))
        }
        appended => Ok(appended?),
    }
}

/// Says which queued run this one was.
async fn fulfilled(ledger: &Ledger, entry: EntryId) -> Result<String, Trouble> {
    Ok(match ledger.entry(entry).await?.event {
        Event::Run(Run { queued: Some(queued), .. }) => format!("; it was in the queue, as entry {queued}"),
        _ => String::new(),
    })
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
    entry: EntryId,
    said: &str,
    after: &MachineState,
    before: &MachineState,
    closer: &[Closer],
) -> Result<(), Trouble> {
    let mut added = after.total.clone();
    added.subtract(&before.total);
    if context.json {
        let rows =
            closer.iter().map(|row| json!({ "task": row.task, "used_before": row.before, "used_after": row.after }));
        return context.out.json(&json!({
            "entry": entry.0, "said": said, "use": usage_shape(&added), "closer": rows.collect::<Vec<_>>(),
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
