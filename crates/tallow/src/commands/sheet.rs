//! `tallow sheet`: what is handed to the people who walk a round.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use jiff::ZonedDateTime;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use ledger::{Ledger, Told};
use serde_json::{Value, json};
use upkeep::build::Task;
use upkeep::shop::{Item, sources};
use upkeep::stake::forbids_running;
use upkeep::stores::{Source, Supplied, supplied};
use upkeep::visit::{self, Sinks, Start};
use upkeep::{Build, EntryId, MachineState, Materials, ahead};

use crate::cli::{self, Papers};
use crate::commands::plan::Assembled;
use crate::commands::readings::{self, Taken};
use crate::commands::stores;
use crate::context::Context;
use crate::sheet::{self, Blank, Change, Paper, Stage, TaskStage, VisitSheet, What};
use crate::trouble::Trouble;
use crate::words;

pub(crate) async fn sheet(context: &Context, args: &cli::Sheet) -> Result<(), Trouble> {
    let is_address = |site: &&String| site.starts_with("http://") || site.starts_with("https://");
    if let Some(other) = args.site.as_ref().filter(|site| !is_address(site)) {
        return Err(Trouble::refused(format!("\"{other}\" is not the address of a server"))
            .help("write what the browser shows: --site http://192.0.2.7:4630"));
    }
    let ledger = context.open().await?;
    let sheets = sheets(context, &ledger, args).await?;
    match &args.html {
        None if context.json => {
            sheets.iter().try_for_each(VisitSheet::check).map_err(refused)?;
            context.out.json(&sheets.iter().map(shape).collect())
        }
        None => print(context, args, &sheets),
        Some(file) => write(context, args, &sheets, file),
    }
}

/// The sheets of the visits that are asked for, by day.
///
/// # Errors
/// A visit that is not to be walked, or none at all.
pub(crate) async fn sheets(context: &Context, ledger: &Ledger, args: &cli::Sheet) -> Result<Vec<VisitSheet>, Trouble> {
    let shop = Assembled::read(context, ledger).await?;
    let told = wanted(&shop, args)?;
    let mut sheets = Vec::new();
    let mut stock = Stock::new(shop.sources.clone(), shop.now.date());
    for told in told {
        // OK because a visit is of a machine of the shop, and machines never leave it.
        let state = shop.states.iter().find(|state| state.name == told.machine).expect("the visit's machine");
        let around = Around { state, told: &shop.told, materials: &shop.materials, now: &shop.now };
        sheets.push(of_visit(ledger, &around, told, &mut stock, args.site.as_deref()).await?);
    }
    Ok(sheets)
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
        (numbers, _) => {
            let once = numbers.iter().enumerate().filter(|(at, number)| !numbers[..*at].contains(number));
            once.map(|(_, number)| named(number)).collect()
        }
    }
}

fn print(context: &Context, args: &cli::Sheet, sheets: &[VisitSheet]) -> Result<(), Trouble> {
    let width = context.out.width();
    let texts = match (args.round, args.only) {
        (false, _) | (true, Some(Papers::Visits)) => texts(sheets, Papers::Visits, width)?,
        (true, Some(only)) => texts(sheets, only, width)?,
        (true, None) => [texts(sheets, Papers::Bench, width)?, texts(sheets, Papers::Days, width)?].concat(),
    };
    context.out.verbatim(&texts.join("\n"))
}

/// Papers as text, one after another.
fn texts(sheets: &[VisitSheet], what: Papers, width: usize) -> Result<Vec<String>, Trouble> {
    match what {
        Papers::Bench => Ok(vec![sheet::bench_list(sheets).map_err(refused)?.text(width)]),
        Papers::Days => Ok(sheet::day_sheets(sheets).map_err(refused)?.iter().map(|day| day.text(width)).collect()),
        Papers::Visits => sheets.iter().map(|one| sheet::text(one, width).map_err(refused)).collect(),
    }
}

/// Papers as a page for a printer.
///
/// # Errors
/// What can't be set.
pub(crate) fn page(sheets: &[VisitSheet], what: Papers, paper: Paper) -> Result<String, Trouble> {
    Ok(match what {
        Papers::Bench => sheet::bench_list(sheets).map_err(refused)?.html(paper),
        Papers::Days => sheet::DaySheet::html(&sheet::day_sheets(sheets).map_err(refused)?, paper),
        Papers::Visits => sheet::html(sheets, paper).map_err(refused)?,
    })
}

/// Writes pages for a printer: of a round the bench list, the day sheets and the visits, each into a file of its own.
fn write(context: &Context, args: &cli::Sheet, sheets: &[VisitSheet], file: &Path) -> Result<(), Trouble> {
    let paper = match args.paper {
        cli::PaperSize::A4 => Paper::A4,
        cli::PaperSize::Letter => Paper::Letter,
    };
    let mut files = vec![(file.to_owned(), args.only.unwrap_or(Papers::Visits))];
    if args.round && args.only.is_none() {
        let beside = |what: &str| {
            let stem = file.file_stem().unwrap_or_default().to_string_lossy();
            file.with_file_name(format!("{stem}-{what}.html"))
        };
        files.extend([(beside("bench"), Papers::Bench), (beside("days"), Papers::Days)]);
    }
    let pages = files.into_iter().map(|(path, what)| Ok((path, page(sheets, what, paper)?)));
    // Nothing is written where any of them can't be set.
    for (path, page) in pages.collect::<Result<Vec<_>, Trouble>>()? {
        context.write(&path, page)?;
        context.out.line(format!("{}: open it in a browser, and print", path.display()))?;
    }
    Ok(())
}

fn shape(sheet: &VisitSheet) -> Value {
    let stages = sheet.stages.iter().map(|stage| match stage {
        Stage::Change(change) => {
            json!({ "does": change.what.words(), "is_task": false, "minutes": change.minutes, "readings": [] })
        }
        Stage::Task(stage) => json!({
            "does": stage.task.name, "is_task": true, "minutes": stage.task.minutes,
            "readings": stage.readings.iter().map(blank_shape).collect::<Vec<_>>(),
        }),
    });
    json!({
        "visit": sheet.number, "machine": sheet.machine, "day": sheet.day.to_string(), "keeper": sheet.keeper,
        "minutes": sheet.minutes, "not_to_be_run": sheet.not_to_be_run, "missing": sheet.missing,
        "stages": stages.collect::<Vec<_>>(),
    })
}

fn blank_shape(blank: &Blank) -> Value {
    json!({ "position": blank.position, "name": blank.name, "unit": blank.unit, "good": blank.good, "last": blank.last })
}

fn refused(error: impl std::fmt::Display) -> Trouble {
    Trouble::refused(error.to_string())
}

/// What the stores hold and what is on its way, less what the sheets before have taken.
struct Stock {
    sources: BTreeMap<String, Source>,
    today: Date,
}

impl Stock {
    fn new(sources: BTreeMap<String, Source>, today: Date) -> Stock {
        Stock { sources, today }
    }

    /// Takes what tasks use on a day, and says what lacks. What the stores do not count is taken to be there.
    fn take(&mut self, tasks: &[&Task], day: Date) -> Vec<String> {
        let needs = tasks.iter().flat_map(|task| &task.uses);
        let supplied = supplied(needs, day.max(self.today), &mut self.sources, self.today);
        let words = |one: &Supplied| {
            let enough = one.earliest.map(|day| format!(", enough from {}", words::weekday(day, self.today)));
            let lacking = stores::told(one.lacking(), &one.unit);
            format!("{}: {lacking} too little{}; tallow stores buy", one.item, enough.unwrap_or_default())
        };
        supplied.iter().filter(|one| 0.0 < one.lacking()).map(words).collect()
    }
}

/// What a visit's sheet is made of, besides the visit and the stores.
pub(crate) struct Around<'a> {
    /// The machine's state.
    pub(crate) state: &'a MachineState,
    /// The visits that people have been told of.
    pub(crate) told: &'a [Told],
    /// Filament materials.
    pub(crate) materials: &'a Materials,
    /// Now, in the shop's time zone.
    pub(crate) now: &'a ZonedDateTime,
}

/// The sheet of one visit, with all that the stores hold at its disposal. A server's address `site` goes into its code.
///
/// # Errors
/// Where the shop can't be read.
pub(crate) async fn of_one(
    ledger: &Ledger,
    around: &Around<'_>,
    told: &Told,
    items: &[Item],
    site: Option<&str>,
) -> Result<VisitSheet, Trouble> {
    let today = around.now.date();
    let sources = sources(items, today).map_err(|error| Trouble::from_text(&error.to_string()))?;
    of_visit(ledger, around, told, &mut Stock::new(sources, today), site).await
}

async fn of_visit(
    ledger: &Ledger,
    shop: &Around<'_>,
    told: &Told,
    stock: &mut Stock,
    site: Option<&str>,
) -> Result<VisitSheet, Trouble> {
    let state = shop.state;
    let build = &state.build;
    let tasks: Vec<&Task> =
        told.visit.tasks.iter().filter_map(|name| build.tasks.iter().find(|task| task.name == *name)).collect();
    let order = visit::order(build, &tasks, Start::Cold);
    let shares = shares(shop, state, told.visit.day);
    let share = |task: &Task| {
        let place = build.tasks.iter().position(|other| other.name == task.name);
        place.map_or(0.0, |place| shares[place])
    };
    let today = self::shares(shop, state, shop.now.date());
    let forbidding = |is_so: &dyn Fn(usize) -> bool| -> Vec<&str> {
        let tasks = build.tasks.iter().enumerate().filter(|(place, _)| is_so(*place));
        tasks.map(|(_, task)| task.name.as_str()).filter(|task| !is_done_before(shop, told, task)).collect()
    };
    let forbids = |place: usize, shares: &[f64]| forbids_running(&build.tasks[place], shares[place]);
    let past = forbidding(&|place| forbids(place, &today) && forbids(place, &shares));
    let to_be_past = forbidding(&|place| !forbids(place, &today) && forbids(place, &shares));
    let verb = if told.visit.day <= shop.now.date() { "is" } else { "will be" };
    let taken = readings::taken(ledger, &told.machine, None).await?;
    let blanks = Blanks { build, zone: &ledger.shop().zone, taken: &taken };
    let stages = order.stages.iter().enumerate().map(|(at, stage)| match stage.what {
        visit::What::Task(index) => Stage::Task(Box::new(TaskStage {
            task: tasks[index].clone(),
            why: format!("{} of its allowance {verb} used", words::percent(share(tasks[index]))),
            readings: blanks.of(tasks[index], is_last_at(&order.stages[at + 1..], &tasks, &tasks[index].at)),
        })),
        visit::What::HotWork => Stage::Change(Change {
            what: What::HotWork { gear: hot_gear(&order.stages[at..], &tasks) },
            minutes: stage.minutes,
        }),
        visit::What::SwitchOff => Stage::Change(Change {
            what: What::SwitchOff { sinks: Sinks::of(build), before: before_off(&order.stages[at..], &tasks) },
            minutes: stage.minutes,
        }),
        ref other => Stage::Change(Change { what: change(other, build), minutes: stage.minutes }),
    });
    Ok(VisitSheet {
        shop: ledger.shop().name.clone(),
        machine: told.machine.clone(),
        build: build.name.clone(),
        day: told.visit.day,
        keeper: told.visit.keeper.clone(),
        number: Some(told.id.0),
        code: Some(code(told, site)),
        not_to_be_run: why_not_run(&past, &to_be_past),
        starts_hot: false,
        stages: stages.collect(),
        spares: Vec::new(),
        missing: stock.take(&tasks, told.visit.day),
        minutes: told.visit.minutes,
        setup_minutes: build.visit_minutes.min(told.visit.minutes),
    })
}

/// What the square code of a visit's sheet holds: where it is walked, or how it is booked.
fn code(told: &Told, site: Option<&str>) -> String {
    match site {
        Some(site) => format!("{}/visits/{}", site.trim_end_matches('/'), told.id),
        None => format!("tallow visit walked {}", told.id),
    }
}

/// Why the machine is not to be run: what is past its limit, and what will be on the visit's day if it runs as it does.
fn why_not_run(past: &[&str], to_be_past: &[&str]) -> Option<String> {
    let words = |lead: &str, tasks: &[&str]| (!tasks.is_empty()).then(|| format!("{lead}: {}", tasks.join("; ")));
    let all = [
        words("past its limit", past),
        words("not past its limit today, but will be past its limit by then", to_be_past),
    ];
    let all: Vec<String> = all.into_iter().flatten().collect();
    (!all.is_empty()).then(|| all.join(". "))
}

/// The share of each task's allowance that will be used on a day, in the build's order; the one of today for days past.
fn shares(shop: &Around<'_>, state: &MachineState, day: Date) -> Vec<f64> {
    let until = usize::try_from((day - shop.now.date()).get_days()).unwrap_or(0);
    let ahead = ahead(state, shop.materials, shop.now, until + 1);
    ahead.shares.iter().map(|by_day| by_day.last().copied().unwrap_or(0.0)).collect()
}

/// Whether a visit of the machine that comes before this one does a task, and this one does not.
fn is_done_before(shop: &Around<'_>, told: &Told, task: &str) -> bool {
    let does = |visit: &Told| visit.visit.tasks.iter().any(|name| name == task);
    let is_before = |other: &Told| {
        other.stands()
            && other.machine == told.machine
            && (other.visit.day, other.id) < (told.visit.day, told.id)
            && shop.now.date() <= other.visit.day
    };
    !does(told) && shop.told.iter().any(|other| is_before(other) && does(other))
}

/// What the hot tasks ask to wear that come before the heaters are off, each once.
fn hot_gear(stages: &[visit::Stage], tasks: &[&Task]) -> Vec<String> {
    let until_off = stages.iter().take_while(|stage| stage.what != visit::What::HeatersOff);
    let gear = until_off.filter_map(|stage| match stage.what {
        visit::What::Task(index) => Some(&tasks[index].gear),
        _ => None,
    });
    gear.flatten().cloned().collect::<BTreeSet<String>>().into_iter().collect()
}

/// What the tasks ask to be done before the machine is switched off for them, each once, in their order.
fn before_off(stages: &[visit::Stage], tasks: &[&Task]) -> Vec<String> {
    let until_on = stages.iter().take_while(|stage| stage.what != visit::What::PowerOn);
    let asked = until_on.filter_map(|stage| match stage.what {
        visit::What::Task(index) => Some(&tasks[index].before_off),
        _ => None,
    });
    let mut orders: Vec<String> = Vec::new();
    for order in asked.flatten() {
        if !orders.contains(order) {
            orders.push(order.clone());
        }
    }
    orders
}

/// Whether no task in these stages is at the position.
fn is_last_at(stages: &[visit::Stage], tasks: &[&Task], at: &str) -> bool {
    !stages.iter().any(|stage| matches!(stage.what, visit::What::Task(index) if tasks[index].at == at))
}

fn change(what: &visit::What, build: &Build) -> What {
    let access = |index: usize| build.accesses.get(index).map(|access| access.name.clone()).unwrap_or_default();
    match *what {
        visit::What::PowerOn => What::PowerOn { sinks: Sinks::of(build) },
        visit::What::HeatersOff => What::HeatersOff,
        visit::What::CoolDown { to_c } => What::CoolDown { to_c },
        visit::What::Open(index) => What::Open(access(index)),
        visit::What::Close(index) => What::Close(access(index)),
        // A task is no change, and hot work and switching off have what their tasks ask for; the caller has told them apart.
        visit::What::Task(_) | visit::What::HotWork | visit::What::SwitchOff | visit::What::TestMove => What::TestMove,
    }
}

/// What is measured on a machine, and what it was last.
struct Blanks<'a> {
    build: &'a Build,
    zone: &'a TimeZone,
    taken: &'a [Taken],
}

impl Blanks<'_> {
    /// The blanks of a task: for what the build says that it measures and, where it is the last of its position, for what
    /// was measured there that no task of the build names.
    fn of(&self, task: &Task, is_last: bool) -> Vec<Blank> {
        let stated = task.readings.iter().map(|reading| Blank {
            position: reading.at.clone(),
            name: reading.name.clone(),
            unit: reading.unit.clone(),
            good: readings::good(reading),
            last: self.taken.iter().find(|taken| taken.is(reading)).map(|taken| self.last(taken)).unwrap_or_default(),
        });
        let is_own = |taken: &&Taken| {
            is_last && taken.position == task.at && self.build.reading(&taken.position, &taken.what).is_none()
        };
        let own = self.taken.iter().filter(is_own).map(|taken| Blank {
            position: taken.position.clone(),
            name: taken.what.clone(),
            unit: taken.unit.clone(),
            good: String::new(),
            last: self.last(taken),
        });
        stated.chain(own).collect()
    }

    /// `was 84 on 3 Nov`, and whether that was outside of its limits.
    fn last(&self, taken: &Taken) -> String {
        let day = taken.at.to_zoned_datetime(self.zone.clone()).date().strftime("%-d %b").to_string();
        let outside = if taken.outside_words(self.build).is_some() { ", outside" } else { "" };
        format!("was {} on {day}{outside}", taken.value)
    }
}
