//! What a run did, from its file or from its hours.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp, ZonedDateTime};
use ledger::{Filter, Kind, Ledger};
use motion::{Duty, Quantity, Tool};
use upkeep::entry::{Basis, Run};
use upkeep::estimate::Ratios;
use upkeep::{Build, Event, Material, MaterialInfo, Materials, Usage, amount, booking};

use super::told::Told;
use crate::commands::history::use_words;
use crate::commands::slot;
use crate::context::{self, OnMachine};
use crate::input::Source;
use crate::printed::{self, Printed};
use crate::programs::{self, Known};
use crate::stop::Point;
use crate::trouble::Trouble;
use crate::when;
use crate::words;

/// What was executed, before it is known when.
pub(super) struct Executed {
    /// The run as it will be booked.
    pub(super) run: Run,
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
    /// What was told, metered where its file is at hand or known, else estimated by its hours.
    ///
    /// # Errors
    /// A file that can't be metered; neither a file nor hours; materials that do not fit.
    pub(super) async fn of(
        ledger: &Ledger,
        machine: &OnMachine,
        told: &Told,
        source: Option<&Source>,
    ) -> Result<Executed, Trouble> {
        let mut lookup = Lookup::new(ledger, machine).await?;
        let Some(source) = source else { return Executed::without_file(&mut lookup, told).await };
        let said = Printed::parse(&told.materials, &lookup.materials)?;
        let stop = match told.point()? {
            None if told.is_stopped => stopped_after(ledger, machine, source, told.length()?).await?,
            point => point,
        };
        let known = programs::duty(ledger, source, &machine.build.machine, stop).await?;
        Executed::metered(machine, told, &known, &source.label(), &said, stop)
    }

    /// The same of what comes without its file, by what was looked up before.
    ///
    /// # Errors
    /// As [`Executed::of`].
    pub(super) async fn without_file(lookup: &mut Lookup<'_>, told: &Told) -> Result<Executed, Trouble> {
        let said = Printed::parse(&told.materials, &lookup.materials)?;
        let length = told.length()?;
        if let (Some(sha256), false) = (&told.sha256, told.is_stopped) {
            let machine = lookup.machine;
            if let Some((label, known)) = lookup.program(sha256).await? {
                return Executed::metered(machine, told, known, label, &said, None);
            }
        }
        match length {
            Some(hours) => Executed::estimated(lookup.ratios().await?, told, hours, &said),
            None => Err(Trouble::refused(match &told.sha256 {
                Some(_) => "the shop does not know that file, and hours were not given",
                None => "neither a print file nor hours were given",
            })
            .help("name the file, or where there is none say how long it ran: --hours 5.5 --grams 120")),
        }
    }

    fn metered(
        machine: &OnMachine,
        told: &Told,
        known: &Known,
        label: &str,
        said: &Printed,
        stop: Option<Point>,
    ) -> Result<Executed, Trouble> {
        let tools: Vec<Tool> = known.duty.tools.keys().copied().collect();
        let strangers = stranger_tools(&machine.build, &tools);
        let (by_tool, usage) = printed_use(&known.duty, said)?;
        let run = Run {
            label: told.label.clone().unwrap_or_else(|| label.to_owned()),
            program: known.sha256.clone(),
            stopped: stop.map(|point| point.to_string()),
            materials: printed::names(&by_tool),
            usage,
            basis: Basis::Metered,
            queued: None,
        };
        Ok(Executed { run, warnings: known.warnings, cut: known.cut, strangers })
    }

    fn estimated(ratios: &Ratios, told: &Told, hours: f64, said: &Printed) -> Result<Executed, Trouble> {
        let (tool, info) = said.only()?;
        let material = Material::new(&info.name);
        let estimate = ratios
            .estimate(hours, told.grams, tool, &material)
            .map_err(|error| Trouble::refused(error.to_string()).help("check --hours and --grams"))?;
        let run = Run {
            label: told.label.clone().unwrap_or_else(|| format!("{hours} h of {material}")),
            program: told.sha256.clone(),
            stopped: told.is_stopped.then(|| format!("{hours:.2} h")),
            materials: BTreeMap::from([(tool, material)]),
            usage: estimate.usage,
            basis: Basis::Estimated { spread: estimate.spread },
            queued: None,
        };
        Ok(Executed { run, warnings: 0, cut: false, strangers: Vec::new() })
    }

    pub(super) fn duration(&self) -> SignedDuration {
        slot::duration(&self.run.usage)
    }

    /// When it started: as told, or so that it ended when it did, or now.
    pub(super) fn start(&self, told: &Told, now: &ZonedDateTime) -> ZonedDateTime {
        let zoned = |at: Timestamp| at.to_zoned_datetime(now.time_zone().clone());
        match (told.start, told.end) {
            (Some(start), _) => zoned(start),
            (None, Some(end)) => zoned(end).saturating_sub(self.duration()),
            (None, None) => now.saturating_sub(self.duration()),
        }
    }

    /// What was executed, in words.
    pub(super) fn said(&self, start: &ZonedDateTime) -> String {
        let basis = match self.run.basis {
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
        format!("{}, from {when}: {}{basis}{warned}{cut}{strangers}", self.run.label, use_words(&self.run.usage))
    }
}

/// What is looked up in a shop for runs of one machine that come without their files; once, for many of them.
pub(super) struct Lookup<'a> {
    ledger: &'a Ledger,
    machine: &'a OnMachine,
    materials: Materials,
    ratios: Option<Ratios>,
    /// Programs by SHA-256; `None` of those that the shop has not met.
    programs: BTreeMap<String, Option<(String, Known)>>,
}

impl<'a> Lookup<'a> {
    /// # Errors
    /// Where the shop can't be read.
    pub(super) async fn new(ledger: &'a Ledger, machine: &'a OnMachine) -> Result<Lookup<'a>, Trouble> {
        let materials = context::materials(ledger).await?;
        Ok(Lookup { ledger, machine, materials, ratios: None, programs: BTreeMap::new() })
    }

    async fn ratios(&mut self) -> Result<&Ratios, Trouble> {
        let ratios = match self.ratios.take() {
            Some(ratios) => ratios,
            None => ratios(self.ledger, self.machine).await?,
        };
        Ok(self.ratios.insert(ratios))
    }

    async fn program(&mut self, sha256: &str) -> Result<Option<&(String, Known)>, Trouble> {
        if !self.programs.contains_key(sha256) {
            let known = programs::known(self.ledger, sha256, &self.machine.build.machine).await?;
            self.programs.insert(sha256.to_owned(), known);
        }
        Ok(self.programs.get(sha256).and_then(Option::as_ref))
    }
}

/// Where a run stopped of which it is known how long it took.
async fn stopped_after(
    ledger: &Ledger,
    machine: &OnMachine,
    source: &Source,
    length: Option<f64>,
) -> Result<Option<Point>, Trouble> {
    let Some(hours) = length else {
        return Err(Trouble::refused("the run stopped, but where?")
            .help("say it: --stop \"40 %\"; or when it started and ended: --when TIME --ended TIME"));
    };
    let whole = programs::duty(ledger, source, &machine.build.machine, None).await?.duty;
    let seconds: f64 = whole.tools.values().map(|amounts| amounts[Quantity::Time]).sum();
    // To a thousandth: a clock and a planner agree no better.
    let share = (hours * 3600.0 / seconds * 1000.0).round() / 1000.0;
    Ok((share < 1.0).then_some(Point::TimeShare(share.max(0.001))))
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
