//! `tallow sheet`: what is handed to the people who walk a round.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use jiff::civil::Date;
use ledger::{Filter, Kind, Ledger, Told};
use upkeep::build::{Neglect, Task};
use upkeep::visit::{self, Start};
use upkeep::{Build, EntryId, Event, ahead};

use crate::cli;
use crate::commands::plan::Assembled;
use crate::context::Context;
use crate::sheet::{self, Blank, Change, Paper, Stage, TaskStage, VisitSheet, What};
use crate::trouble::Trouble;
use crate::words;

pub(crate) async fn sheet(context: &Context, args: &cli::Sheet) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let shop = Assembled::read(context, &ledger).await?;
    let told = wanted(&shop, args)?;
    let mut sheets = Vec::new();
    let mut stock = Stock::of(&shop);
    for told in told {
        sheets.push(of_visit(&ledger, &shop, told, &mut stock).await?);
    }
    match &args.html {
        None => print(context, args, &sheets),
        Some(file) => write(context, args, &sheets, file),
    }
}

/// The visits that are asked for, by day: those named, else all that stand, or those of the first day that has any.
fn wanted<'a>(shop: &'a Assembled, args: &cli::Sheet) -> Result<Vec<&'a Told>, Trouble> {
    let standing: Vec<&Told> = shop.told.iter().filter(|told| told.stands()).collect();
    let Some(first) = standing.first() else {
        return Err(Trouble::refused("nobody has been told of a visit from today on")
            .help("plan some, and tell people: tallow plan --keep"));
    };
    let named = |number: &i64| {
        let found = standing.iter().find(|told| told.id == EntryId(*number));
        found.copied().ok_or_else(|| {
            Trouble::refused(format!("no visit {number} is still to be walked")).help("all of them: tallow visit")
        })
    };
    match (&args.visits[..], args.round) {
        ([], true) => Ok(standing),
        ([], false) => Ok(standing.iter().copied().filter(|told| told.visit.day == first.visit.day).collect()),
        (numbers, _) => numbers.iter().map(named).collect(),
    }
}

fn print(context: &Context, args: &cli::Sheet, sheets: &[VisitSheet]) -> Result<(), Trouble> {
    let width = context.out.width();
    if args.round {
        context.out.verbatim(&sheet::bench_list(sheets).map_err(refused)?.text(width))?;
        for day in sheet::day_sheets(sheets).map_err(refused)? {
            context.out.verbatim(&format!("\n{}", day.text(width)))?;
        }
        return Ok(());
    }
    for (place, one) in sheets.iter().enumerate() {
        let gap = if place == 0 { "" } else { "\n" };
        context.out.verbatim(&format!("{gap}{}", sheet::text(one, width).map_err(refused)?))?;
    }
    Ok(())
}

/// Writes pages for a printer: of a round the bench list, the day sheets and the visits, each into a file of its own.
fn write(context: &Context, args: &cli::Sheet, sheets: &[VisitSheet], file: &Path) -> Result<(), Trouble> {
    let paper = match args.paper {
        cli::PaperSize::A4 => Paper::A4,
        cli::PaperSize::Letter => Paper::Letter,
    };
    let mut files = vec![(file.to_owned(), sheet::html(sheets, paper).map_err(refused)?)];
    if args.round {
        let beside = |what: &str| {
            let stem = file.file_stem().unwrap_or_default().to_string_lossy();
            file.with_file_name(format!("{stem}-{what}.html"))
        };
        files.push((beside("bench"), sheet::bench_list(sheets).map_err(refused)?.html(paper)));
        let days = sheet::day_sheets(sheets).map_err(refused)?;
        files.push((beside("days"), sheet::DaySheet::html(&days, paper)));
    }
    for (path, page) in files {
        fs::write(&path, page).map_err(|error| {
            Trouble::refused(format!("{} can't be written: {error}", path.display()))
                .help("check the folder and its permissions")
        })?;
        context.out.line(format!("{}: open it in a browser, and print", path.display()))?;
    }
    Ok(())
}

fn refused(error: impl std::fmt::Display) -> Trouble {
    Trouble::refused(error.to_string())
}

/// What the stores hold, less what the sheets before have taken.
struct Stock(BTreeMap<String, f64>);

impl Stock {
    fn of(shop: &Assembled) -> Stock {
        Stock(shop.items.iter().filter_map(|item| Some((item.name.clone(), item.stock?))).collect())
    }

    /// Takes what tasks use, and says what lacks. What the stores do not count is taken to be there.
    fn take(&mut self, tasks: &[&Task]) -> Vec<String> {
        let mut lacking: BTreeMap<String, (f64, String)> = BTreeMap::new();
        for supply in tasks.iter().flat_map(|task| &task.uses) {
            let Some(there) = self.0.get_mut(&supply.name) else { continue };
            let short = (supply.amount - there.max(0.0)).max(0.0);
            *there -= supply.amount;
            if 0.0 < short {
                let entry = lacking.entry(supply.name.clone()).or_insert((0.0, supply.unit.clone()));
                entry.0 += short;
            }
        }
        let words = |(name, (short, unit)): (String, (f64, String))| {
            let amount = format!("{short} {unit}");
            format!("{name}: {} too little; tallow stores buy", amount.trim_end())
        };
        lacking.into_iter().map(words).collect()
    }
}

async fn of_visit(ledger: &Ledger, shop: &Assembled, told: &Told, stock: &mut Stock) -> Result<VisitSheet, Trouble> {
    // OK because a visit is of a machine of the shop, and machines never leave it.
    let state = shop.states.iter().find(|state| state.name == told.machine).expect("the visit's machine");
    let build = &state.build;
    let tasks: Vec<&Task> =
        told.visit.tasks.iter().filter_map(|name| build.tasks.iter().find(|task| task.name == *name)).collect();
    let order = visit::order(build, &tasks, Start::Cold);
    let ahead = ahead(state, &shop.materials, &shop.now, 1);
    let share = |task: &Task| {
        let place = build.tasks.iter().position(|other| other.name == task.name);
        place.map_or(0.0, |place| ahead.used[place].share())
    };
    let forbidding: Vec<&str> = build
        .tasks
        .iter()
        .filter(|task| Neglect::Damage <= task.neglect && 1.0 <= share(task))
        .map(|task| task.name.as_str())
        .collect();
    let blanks = blanks(ledger, &told.machine).await?;
    let stages = order.stages.iter().map(|stage| match stage.what {
        visit::What::Task(index) => Stage::Task(Box::new(TaskStage {
            task: tasks[index].clone(),
            why: format!("{} of its allowance is used", words::percent(share(tasks[index]))),
            readings: blanks.get(&tasks[index].at).cloned().unwrap_or_default(),
        })),
        ref other => Stage::Change(Change { what: change(other, build), minutes: stage.minutes }),
    });
    Ok(VisitSheet {
        shop: ledger.shop().name.clone(),
        machine: told.machine.clone(),
        build: build.name.clone(),
        day: told.visit.day,
        keeper: told.visit.keeper.clone(),
        number: Some(told.id.0),
        code: Some(format!("tallow visit walked {}", told.id)),
        not_to_be_run: (!forbidding.is_empty()).then(|| format!("past its limit: {}", forbidding.join("; "))),
        starts_hot: false,
        stages: once_a_position(stages.collect()),
        spares: Vec::new(),
        missing: stock.take(&tasks),
        minutes: order.minutes,
        setup_minutes: build.visit_minutes,
    })
}

/// Leaves blanks for a position's readings at its last task alone, so that each is taken once, when the work is done.
fn once_a_position(mut stages: Vec<Stage>) -> Vec<Stage> {
    let mut seen: BTreeSet<String> = BTreeSet::new();
    for stage in stages.iter_mut().rev() {
        if let Stage::Task(stage) = stage
            && !seen.insert(stage.task.at.clone())
        {
            stage.readings.clear();
        }
    }
    stages
}

fn change(what: &visit::What, build: &Build) -> What {
    let access = |index: usize| build.accesses.get(index).map(|access| access.name.clone()).unwrap_or_default();
    match *what {
        visit::What::SwitchOff => What::SwitchOff,
        visit::What::PowerOn => What::PowerOn,
        visit::What::HeatUp { nozzle_c, bed_c } => What::HeatUp { nozzle_c, bed_c },
        visit::What::HeatersOff => What::HeatersOff,
        visit::What::CoolDown { to_c } => What::CoolDown { to_c },
        visit::What::Open(index) => What::Open(access(index)),
        visit::What::Close(index) => What::Close(access(index)),
        // A task is no change; the caller has told them apart.
        visit::What::Task(_) | visit::What::TestMove => What::TestMove,
    }
}

/// How many of a machine's latest readings are looked at for what is measured at which position.
const READINGS: u32 = 200;

/// What is measured at each position of a machine, with what it was last.
async fn blanks(ledger: &Ledger, machine: &str) -> Result<BTreeMap<String, Vec<Blank>>, Trouble> {
    let filter = Filter { machine: Some(machine.to_owned()), kind: Some(Kind::Reading), ..Filter::default() };
    let mut blanks: BTreeMap<String, Vec<Blank>> = BTreeMap::new();
    for listed in ledger.entries(&filter, READINGS).await?.iter().filter(|listed| listed.replaced_by.is_none()) {
        let Event::Reading { position, what, value, unit } = &listed.entry.event else { continue };
        let of_position = blanks.entry(position.clone()).or_default();
        if !of_position.iter().any(|blank| blank.name == *what) {
            let day: Date = listed.entry.at.to_zoned_datetime(ledger.shop().zone.clone()).date();
            let good = format!("was {value} on {}", day.strftime("%-d %b"));
            of_position.push(Blank { name: what.clone(), unit: unit.clone(), good });
        }
    }
    Ok(blanks)
}
