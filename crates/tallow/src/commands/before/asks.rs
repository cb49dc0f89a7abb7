//! What a program asks of each machine, or why the machine can't run it.

use std::collections::BTreeMap;

use ledger::{Ledger, MachineInfo};
use motion::Tool;
use upkeep::build::Axis;
use upkeep::{Build, MachineState, Material, Usage};

use crate::cli;
use crate::commands::plan::Assembled;
use crate::commands::run::{printed_use, ratios};
use crate::context::{Context, OnMachine};
use crate::input::Source;
use crate::printed::Printed;
use crate::programs;
use crate::trouble::Trouble;
use crate::wear::{self, Bins};

/// Travel outside the reach below this is rounding, mm.
const NOUGHT_MM: f64 = 0.1;

/// What is to be printed.
pub(super) enum Program {
    /// A file.
    File(Source),
    /// So many hours, and grams where they are known.
    Hours { hours: f64, grams: Option<f64> },
}

/// What it asks of one machine.
#[derive(Clone)]
pub(super) struct Asks {
    /// The use.
    pub(super) usage: Usage,
    /// The relative spread of an estimate.
    pub(super) spread: Option<f64>,
}

/// What it asks, or why the machine can't run it.
type OrWhyNot = Result<Asks, String>;

impl Program {
    /// What a command line names.
    ///
    /// # Errors
    /// Neither a file nor hours; standard input, which can be read but once.
    pub(super) fn all(context: &Context, args: &cli::Before) -> Result<Vec<Program>, Trouble> {
        let file = |path: &std::path::PathBuf| match context.source(path)? {
            Source::Standard => {
                Err(Trouble::refused("standard input can be read once only, and each build meters anew")
                    .help("write it into a file and name that; gzip and zstd files can be read"))
            }
            file @ (Source::File(_) | Source::Sent(_)) => Ok(Program::File(file)),
        };
        match args.hours {
            Some(hours) => Ok(vec![Program::Hours { hours, grams: args.grams }]),
            None if args.files.is_empty() => Err(Trouble::refused("neither a print file nor hours were given")
                .help("name the file, or where there is none say how long it runs: --hours 5.5 --grams 120")),
            None => args.files.iter().map(file).collect(),
        }
    }

    /// What messages call it.
    pub(super) fn label(&self, said: &Printed) -> String {
        match (self, said.only()) {
            (Program::File(source), _) => source.label(),
            (Program::Hours { hours, .. }, Ok((_, info))) => format!("{hours} h of {}", info.name),
            (Program::Hours { hours, .. }, Err(_)) => format!("{hours} h"),
        }
    }
}

/// What a program asks of each machine of the shop, in its order.
///
/// # Errors
/// What no machine could run: a file that can't be read or that moves nothing, materials that are not those of its tools,
/// hours that no print has.
pub(super) async fn of_each(
    ledger: &Ledger,
    shop: &Assembled,
    program: &Program,
    said: &Printed,
) -> Result<Vec<OrWhyNot>, Trouble> {
    match program {
        Program::File(source) => metered(ledger, shop, source, said).await,
        Program::Hours { hours, grams } => estimated(ledger, shop, (*hours, *grams), said).await,
    }
}

async fn metered(ledger: &Ledger, shop: &Assembled, source: &Source, said: &Printed) -> Result<Vec<OrWhyNot>, Trouble> {
    let mut by_build: BTreeMap<&str, OrWhyNot> = BTreeMap::new();
    let mut all = Vec::with_capacity(shop.states.len());
    for MachineState { build, .. } in &shop.states {
        if !by_build.contains_key(build.name.as_str()) {
            by_build.insert(&build.name, metered_on(ledger, source, said, build).await?);
        }
        all.push(by_build[build.name.as_str()].clone());
    }
    Ok(all)
}

async fn metered_on(ledger: &Ledger, source: &Source, said: &Printed, build: &Build) -> Result<OrWhyNot, Trouble> {
    let known = programs::duty(ledger, source, &build.machine, None).await?;
    let (_, usage) = printed_use(&known.duty, said)?;
    let tools: Vec<Tool> = known.duty.tools.keys().copied().collect();
    if let Some(why) = lacks_tool(build, &tools) {
        return Ok(Err(why));
    }
    let kept = match &known.sha256 {
        Some(sha256) => ledger.program(&programs::key(sha256, &build.machine)).await?,
        None => None,
    };
    let outside = kept.and_then(|program| outside(build, &program.maps));
    Ok(outside.map_or(Ok(Asks { usage, spread: None }), Err))
}

async fn estimated(
    ledger: &Ledger,
    shop: &Assembled,
    (hours, grams): (f64, Option<f64>),
    said: &Printed,
) -> Result<Vec<OrWhyNot>, Trouble> {
    let (tool, info) = said.only()?;
    let material = Material::new(&info.name);
    let infos: BTreeMap<String, MachineInfo> =
        ledger.machines().await?.into_iter().map(|info| (info.name.clone(), info)).collect();
    let mut all = Vec::with_capacity(shop.states.len());
    for MachineState { name, build, .. } in &shop.states {
        let Some(info) = infos.get(name) else {
            all.push(Err("it is no longer in the shop".to_owned()));
            continue;
        };
        let machine = OnMachine { info: info.clone(), build: build.clone() };
        let estimate = ratios(ledger, &machine).await?.estimate(hours, grams, tool, &material);
        let estimate =
            estimate.map_err(|error| Trouble::refused(error.to_string()).help("check --hours and --grams"))?;
        let asks = Asks { usage: estimate.usage, spread: Some(estimate.spread) };
        all.push(lacks_tool(build, &[tool]).map_or(Ok(asks), Err));
    }
    Ok(all)
}

/// Which of `tools` a machine does not have; one whose build names none has T0.
fn lacks_tool(build: &Build, tools: &[Tool]) -> Option<String> {
    let mut has: Vec<Tool> = build.positions.iter().filter_map(|position| position.tool).collect();
    if has.is_empty() {
        has.push(0);
    }
    let lacking = tools.iter().find(|tool| !has.contains(tool))?;
    Some(format!("it has no tool T{lacking}"))
}

/// What of the travel lies outside the machine's.
fn outside(build: &Build, maps: &[u8]) -> Option<String> {
    let said: Vec<String> = Axis::ALL.into_iter().filter_map(|axis| outside_along(build, maps, axis)).collect();
    (!said.is_empty()).then(|| format!("it would move outside its travel: {}", said.join("; ")))
}

fn outside_along(build: &Build, maps: &[u8], axis: Axis) -> Option<String> {
    let mut bins = Bins::default();
    bins.add(maps, axis, 1.0);
    let outside = bins.outside(wear::reach(build, axis));
    let words = outside.words().filter(|_| NOUGHT_MM < outside.travel_mm())?;
    Some(format!("{axis}, {words}"))
}
