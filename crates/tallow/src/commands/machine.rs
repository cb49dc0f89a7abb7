//! `tallow machine`: add machines and look at them.

use std::collections::BTreeMap;

use jiff::{Timestamp, ToSpan, ZonedDateTime};
use ledger::{Filter, Kind, Ledger, Program};
use motion::Quantity;
use serde_json::{Value, json};
use upkeep::build::{Allowance, Axis, Position};
use upkeep::entry::Run;
use upkeep::{Build, Event, MachineState, Since, SinceWhat, Usage, amount, part_meters};

use crate::builds::Read;
use crate::cli;
use crate::commands::build::{build_of, machines_of};
use crate::commands::history::usage_shape;
use crate::commands::readings::{self, Taken};
use crate::commands::record::say_recorded;
use crate::context::{self, Context, OnMachine};
use crate::out::{Align, Dress, Table};
use crate::programs;
use crate::trouble::Trouble;
use crate::wear::{self, Bins};
use crate::when;
use crate::words::{self, HISTORY_DAYS};

pub(crate) async fn machine(context: &Context, args: &cli::Machine) -> Result<(), Trouble> {
    match args {
        cli::Machine::Add { name, build, when, note } => add(context, name, build, when.as_deref(), note).await,
        cli::Machine::List => list(context).await,
        cli::Machine::Show { name } => show(context, name).await,
    }
}

async fn add(context: &Context, name: &str, build: &str, when: Option<&str>, note: &str) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let name = sensible(name)?;
    let read = build_of(context, Some(&ledger), build).await?;
    let now = context.now_in(&ledger);
    let at = when.map_or_else(|| Ok(midnight(&now)), |text| when::since(text, &now))?;
    leave_others_alone(&ledger, &read, build).await?;
    ledger.add_build(&read.build.name, &read.text, context.now).await?;
    let entry = ledger.add_machine(name, &read.build.name, at.timestamp(), context.now, note).await?;
    let tasks = words::count(read.build.tasks.len() as u64, "tasks");
    let said = format!(
        "{name} joined the shop, build \"{}\", {tasks}; its meters start {}",
        read.build.name,
        when::spoken(&at)
    );
    say_recorded(context, entry, at.timestamp(), &said)?;
    match context.json {
        true => Ok(()),
        false => context.out.line(format!("Next: tallow run FILE --on \"{name}\" --material MATERIAL")),
    }
}

/// Refuses a build that would change machines which the shop has already.
async fn leave_others_alone(ledger: &Ledger, read: &Read, typed: &str) -> Result<(), Trouble> {
    let name = &read.build.name;
    let is_other = ledger.builds().await?.iter().any(|kept| kept.name == *name && kept.text != read.text);
    let machines = if is_other { machines_of(ledger, name).await? } else { Vec::new() };
    if machines.is_empty() {
        return Ok(());
    }
    Err(Trouble::refused(format!("{typed} would change the build \"{name}\" that {} has already", machines.join(", ")))
        .help("give it a name of its own: name = \"…\" in its first lines")
        .help(format!("or change theirs first: tallow build change \"{typed}\"")))
}

/// The beginning of today, so that what was printed earlier today can be booked.
fn midnight(now: &ZonedDateTime) -> ZonedDateTime {
    now.start_of_day().unwrap_or_else(|_| now.clone())
}

/// A name that can be typed and printed.
///
/// # Errors
/// One that can't.
pub(crate) fn sensible(name: &str) -> Result<&str, Trouble> {
    let name = name.trim();
    if name.is_empty() || name.chars().count() > 60 || name.chars().any(char::is_control) || name.starts_with('-') {
        return Err(Trouble::refused(format!("\"{name}\" can't be a machine's name"))
            .help("give 1 to 60 letters, figures and spaces that do not begin with -"));
    }
    Ok(name)
}

async fn list(context: &Context) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let now = context.now_in(&ledger);
    let states = ledger.states(now.date()).await?;
    if context.json {
        let rows = states.iter().map(|state| {
            json!({ "machine": state.name, "build": state.build.name, "added": state.added.to_string(),
                    "time_s": state.total.amount(Quantity::Time), "filament_kg": state.total.amount(Quantity::FilamentMass) })
        });
        return context.out.json(&rows.collect());
    }
    if states.is_empty() {
        return context.out.line("The shop has no machine yet. Add one: tallow machine add NAME --build BUILD");
    }
    let columns = [
        ("machine", Align::Left),
        ("since", Align::Left),
        ("ran", Align::Right),
        ("filament", Align::Right),
        ("build", Align::Left),
    ];
    let mut table = Table::new(columns);
    for state in &states {
        let since = words::day(now.time_zone().to_datetime(state.added).date(), now.date());
        let ran = amount::print(state.total.amount(Quantity::Time), Quantity::Time);
        let filament = amount::print(state.total.amount(Quantity::FilamentMass), Quantity::FilamentMass);
        table.row([state.name.clone(), since, ran, filament, state.build.name.clone()], Dress::Plain);
    }
    context.out.table(&table)
}

async fn show(context: &Context, name: &str) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let machine = context::machine(&ledger, name).await?;
    let now = context.now_in(&ledger);
    let from = now.date().saturating_sub(HISTORY_DAYS.days());
    let state = ledger.machine_state(&machine.info.name, from).await?;
    let maps = worn(&ledger, &machine, &state).await?;
    let taken = readings::taken(&ledger, &state.name, None).await?;
    if context.json {
        return context.out.json(&shape(&state, &maps, &taken));
    }
    let since = words::day(now.time_zone().to_datetime(state.added).date(), now.date());
    context.out.prose("", &format!("{}, {}, in the shop since {since}", state.name, state.build.name))?;
    context.out.line("")?;
    let parts = parts(&state, &now);
    match context.out.fits(parts.width()) {
        true => context.out.table(&parts)?,
        false => below_each_other(context, &state, &now)?,
    }
    measured(context, &state.build, &taken, &now)?;
    maps.iter().try_for_each(|map| {
        let since = words::day(now.time_zone().to_datetime(map.since).date(), now.date());
        let picture = wear::picture(&map.bins, wear::reach(&state.build, map.axis));
        let (position, axis) = (&map.position.name, map.axis.name());
        context.out.line("")?;
        context.out.prose("", &format!("Travel along {axis} over the {position} since {since}:"))?;
        context.out.line(picture)
    })
}

fn parts(state: &MachineState, now: &ZonedDateTime) -> Table {
    let columns =
        [("position", Align::Left), ("part since", Align::Left), ("went through", Align::Left), ("kind", Align::Left)];
    let mut table = Table::new(columns);
    for ((name, since, usage), position) in part_meters(state).into_iter().zip(&state.build.positions) {
        let cells = [
            name.to_owned(),
            since_words(since, now),
            went_through(&state.build, position, &usage),
            position.kind.clone(),
        ];
        table.row(cells, Dress::Plain);
    }
    table
}

/// The parts on a terminal that is too narrow for their table.
fn below_each_other(context: &Context, state: &MachineState, now: &ZonedDateTime) -> Result<(), Trouble> {
    part_meters(state).into_iter().zip(&state.build.positions).try_for_each(|((name, since, usage), position)| {
        context.out.prose("", &format!("{name}, {}", position.kind))?;
        let went_through = went_through(&state.build, position, &usage);
        context.out.prose("  ", &format!("since {}: {went_through}", since_words(since, now)))
    })
}

/// `1 Nov, with the machine`.
fn since_words(since: Since, now: &ZonedDateTime) -> String {
    let day = words::day(now.time_zone().to_datetime(since.at).date(), now.date());
    if since.what == SinceWhat::Added { format!("{day}, with the machine") } else { day }
}

/// What was measured, as it was last, those outside of their limits marked.
fn measured(context: &Context, build: &Build, taken: &[Taken], now: &ZonedDateTime) -> Result<(), Trouble> {
    if !taken.is_empty() {
        context.out.line("\nRead last:")?;
    }
    taken.iter().try_for_each(|last| context.out.prose("  ", &last.words(build, now)))
}

/// What a part went through, by the meters that its position's own tasks go by; by hours where they go by the calendar.
pub(crate) fn went_through(build: &Build, position: &Position, usage: &Usage) -> String {
    let tasks = build.tasks.iter().filter(|task| task.at == position.name);
    let mut quantities: Vec<Quantity> = Vec::new();
    for limit in tasks.flat_map(|task| &task.limits) {
        match limit.every {
            Allowance::Amount { quantity, .. } if !quantities.contains(&quantity) => quantities.push(quantity),
            _ => {}
        }
    }
    if quantities.is_empty() {
        quantities.push(Quantity::Time);
    }
    let metered = quantities.iter().map(|&quantity| words::metered(usage.amount(quantity), quantity));
    metered.collect::<Vec<_>>().join(", ")
}

/// Where a position's part has been worn since it was put in.
struct Worn<'a> {
    position: &'a Position,
    axis: Axis,
    since: Timestamp,
    bins: Bins,
}

/// Where each position that lies along an axis has been worn since its part was put in: travel per bin, from the runs
/// whose files were metered.
async fn worn<'a>(ledger: &Ledger, machine: &'a OnMachine, state: &MachineState) -> Result<Vec<Worn<'a>>, Trouble> {
    let entries = ledger.effective(&machine.info.name).await?;
    let runs = entries.iter().filter_map(|entry| match &entry.event {
        Event::Run(run) => Some((entry.at, run, run.program.as_deref()?)),
        _ => None,
    });
    let runs: Vec<(Timestamp, &Run, &str)> = runs.collect();
    let mut programs: BTreeMap<&str, Option<Program>> = BTreeMap::new();
    for (_, _, sha256) in &runs {
        if !programs.contains_key(sha256) {
            programs.insert(sha256, ledger.program(&programs::key(sha256, &machine.build.machine)).await?);
        }
    }
    let known: BTreeMap<&str, (&Program, f64)> = programs
        .iter()
        .filter_map(|(sha256, program)| Some((*sha256, program.as_ref()?)))
        .map(|(sha256, program)| (sha256, (program, program.duty.total()[Quantity::Time])))
        .collect();
    let along = machine.build.positions.iter().zip(part_meters(state));
    Ok(along
        .filter_map(|(position, (_, since, _))| Some((position, position.along?, since)))
        .map(|(position, axis, since)| {
            let mut times_run: BTreeMap<&str, f64> = BTreeMap::new();
            for (_, run, sha256) in runs.iter().filter(|(at, ..)| since.at <= *at) {
                if let Some((_, whole)) = known.get(sha256) {
                    *times_run.entry(sha256).or_default() += share_of(run, *whole);
                }
            }
            let mut bins = Bins::default();
            times_run.iter().for_each(|(sha256, times)| bins.add(&known[sha256].0.maps, axis, *times));
            Worn { position, axis, since: since.at, bins }
        })
        .filter(|worn| !worn.bins.is_empty())
        .collect())
}

/// Where a part has been worn along an axis, by its latest runs.
pub(crate) struct WornLately {
    /// Travel per bin.
    pub(crate) bins: Bins,
    /// How many runs that tells of.
    pub(crate) runs: usize,
    /// Whether earlier runs of the part were left out.
    pub(crate) is_cut: bool,
}

/// Where travel along `axis` fell since `since`, by at most `most` of the latest runs, as far as their files were metered.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn worn_lately(
    ledger: &Ledger,
    machine: &OnMachine,
    axis: Axis,
    since: Timestamp,
    most: u32,
) -> Result<WornLately, Trouble> {
    let filter = Filter { machine: Some(machine.info.name.clone()), kind: Some(Kind::Run), ..Filter::default() };
    let listed = ledger.entries(&filter, most).await?;
    let is_cut = listed.len() == most as usize && listed.last().is_some_and(|last| since <= last.entry.at);
    let standing = listed.iter().filter(|listed| listed.replaced_by.is_none() && since <= listed.entry.at);
    let mut programs: BTreeMap<&str, Option<Program>> = BTreeMap::new();
    let (mut bins, mut runs) = (Bins::default(), 0);
    for run in standing.filter_map(|listed| run_of(&listed.entry.event)) {
        let Some(sha256) = run.program.as_deref() else { continue };
        if !programs.contains_key(sha256) {
            programs.insert(sha256, ledger.program(&programs::key(sha256, &machine.build.machine)).await?);
        }
        if let Some(Some(program)) = programs.get(sha256) {
            bins.add(&program.maps, axis, share_of(run, program.duty.total()[Quantity::Time]));
            runs += 1;
        }
    }
    Ok(WornLately { bins, runs, is_cut })
}

fn run_of(event: &Event) -> Option<&Run> {
    match event {
        Event::Run(run) => Some(run),
        _ => None,
    }
}

/// How much a run did of its program, which takes `whole` seconds: 1 unless it was stopped.
fn share_of(run: &Run, whole: f64) -> f64 {
    if run.stopped.is_none() || whole <= 0.0 { 1.0 } else { run.usage.amount(Quantity::Time) / whole }
}

fn shape(state: &MachineState, maps: &[Worn<'_>], taken: &[Taken]) -> Value {
    let parts = part_meters(state).into_iter().zip(&state.build.positions).map(|((name, since, usage), position)| {
        let map = maps.iter().find(|worn| worn.position.name == name).map(|worn| worn.bins.shape());
        json!({ "position": name, "kind": position.kind, "since": since.at.to_string(), "entry": since.entry.map(|id| id.0),
                "use": usage_shape(&usage), "wear_mm": map })
    });
    json!({ "machine": state.name, "build": state.build.name, "added": state.added.to_string(),
            "parts": parts.collect::<Vec<_>>(),
            "readings": taken.iter().map(|last| last.shape(&state.build)).collect::<Vec<_>>(), "total": usage_shape(&state.total) })
}
