//! `tallow lives`: how long parts live here, by the shop's own records, and what that advises.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::Arc;

use jiff::Timestamp;
use ledger::{Ledger, MachineInfo};
use life::{Bounds, End, Law, Level, Of};
use motion::Unit;
use serde_json::{Value, json};
use upkeep::build::Position;
use upkeep::lives::{Advice, Clock, Costs, Ending, KindLives, Place, Records, Stay, Told, Uses, Verdict};
use upkeep::{Build, Entry, EntryId, Event, Materials, Prices, Rates, Risk, amount, nearest};

use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::commands::life::{curve_layers, replace_chart, save};
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::words;

/// With fewer failures a comparison of machines is too rough to be told. Judgement, no source.
const FEW: usize = 5;

/// From so many failures on profile bounds hold the truth about as often as they say (docs/LIVES.md).
const TRUSTED: f64 = 20.0;

/// The place after all entries until `now`.
fn the_end(now: Timestamp) -> Place {
    (now, EntryId(i64::MAX))
}

fn no_machine() -> Trouble {
    Trouble::refused("the shop has no machine yet").help("add one: tallow machine add NAME --build BUILD")
}

/// How many machines of a build are read to tell of one machine's parts: more hardly change the figure, and a hall has
/// thousands.
const ALIKE: usize = 20;

/// How far ahead a part's chance to fail is told, days.
const AHEAD: f64 = 28.0;

pub(crate) async fn lives(context: &Context, args: &cli::Lives) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let level = Level::new(args.level).map_err(|error| Trouble::refused(error.to_string()))?;
    match &args.kind {
        None => overview(context, &ledger).await,
        Some(name) => {
            let mut shop = Shop::new(&ledger, ledger.machines().await?).await?;
            let kinds = shop.named(name)?;
            shop.read_ends(&ledger, &kinds, context.now).await?;
            let rates = ledger.rates().await?;
            let mut shapes = Vec::new();
            let mut charts = Vec::new();
            for (build, kind) in &kinds {
                let lives = shop.lives(build, kind, context.now);
                let costs = Money::new(args, &rates, &lives);
                if args.csv {
                    csv(context, &lives)?;
                } else if context.json {
                    shapes.push(shape(build, &lives, &costs, level, &shop.materials));
                } else {
                    charts.extend(detail(context, build, &lives, &costs, level, &shop.materials)?);
                }
            }
            if context.json {
                return context.out.json(&shapes.into());
            }
            save_all(context, &charts, args.svg.as_ref())
        }
    }
}

/// What a replacement and a failure cost, and where that comes from.
struct Money {
    costs: Costs,
    /// What the money is called.
    currency: String,
    /// In words, beginning with a blank; empty where both were given.
    grounds: String,
}

/// How long replacing a part takes where no task tells, min. Judgement, no source.
const REPLACING: f64 = 20.0;

impl Money {
    /// As given; else by the shop's rates: labour for a planned replacement, and for a failure what neglect leads to beside
    /// it. The part's own price is not known here.
    fn new(args: &cli::Lives, rates: &Rates, lives: &KindLives) -> Money {
        let (prices, assumed) = Prices::from_rates(rates);
        let minutes = lives.renewal.as_ref().map_or(REPLACING, |task| task.minutes);
        let planned = args.planned_cost.unwrap_or_else(|| prices.labour(minutes));
        let consequence = lives.neglect.and_then(|neglect| prices.of(neglect)).unwrap_or(0.0);
        let failure = args.failure_cost.unwrap_or(planned + consequence);
        let grounds = match (args.planned_cost.is_some() && args.failure_cost.is_some(), assumed.is_empty()) {
            (true, _) => String::new(),
            (false, true) => " (by the shop's rates, without the part itself; --planned-cost adds it)".to_owned(),
            (false, false) => {
                " (by assumed rates, without the part itself; tallow rates sets the shop's own, --planned-cost adds the part)"
                    .to_owned()
            }
        };
        Money { costs: Costs { planned, failure }, currency: rates.currency.clone(), grounds }
    }

    /// An amount of money, with what it is called.
    fn words(&self, amount: f64) -> String {
        words::money(amount, &self.currency)
    }
}

/// Machines of one build, with what tells of their parts' lives.
struct Alike {
    build: Arc<Build>,
    machines: Vec<Past>,
}

/// What tells of the lives of one machine's parts.
#[derive(Default)]
struct Past {
    name: String,
    /// Its effective entries, or those among them that tell of ends, oldest first.
    entries: Vec<Entry>,
    uses: Uses,
}

/// The shop's records, machines of one build together.
struct Shop {
    builds: BTreeMap<String, Alike>,
    materials: Materials,
}

impl Shop {
    /// The machines' names and builds, without records.
    async fn new(ledger: &Ledger, machines: Vec<MachineInfo>) -> Result<Shop, Trouble> {
        if machines.is_empty() {
            return Err(no_machine());
        }
        let mut builds: BTreeMap<String, Alike> = BTreeMap::new();
        for machine in machines {
            if !builds.contains_key(&machine.build) {
                let build = ledger.build(&machine.build).await?;
                builds.insert(machine.build.clone(), Alike { build, machines: Vec::new() });
            }
            if let Some(alike) = builds.get_mut(&machine.build) {
                alike.machines.push(Past { name: machine.name, ..Past::default() });
            }
        }
        Ok(Shop { builds, materials: context::materials(ledger).await? })
    }

    /// One machine and some of the same build, with all their records.
    async fn around(ledger: &Ledger, name: &str, now: Timestamp) -> Result<Shop, Trouble> {
        let mut machines = ledger.machines().await?;
        if let Some(place) = machines.iter().position(|machine| machine.name == name) {
            let one = machines.remove(place);
            machines.retain(|machine| machine.build == one.build);
            machines.truncate(ALIKE - 1);
            machines.push(one);
        }
        let mut shop = Shop::new(ledger, machines).await?;
        for past in shop.builds.values_mut().flat_map(|alike| &mut alike.machines) {
            past.entries = ledger.effective(&past.name).await?;
            past.uses = Uses::of(&past.entries, now);
        }
        Ok(shop)
    }

    /// Reads what tells of the lives of these kinds, and the use up to each end, but not every run.
    async fn read_ends(&mut self, ledger: &Ledger, kinds: &[(String, String)], now: Timestamp) -> Result<(), Trouble> {
        let wanted =
            |build: &str, position: &Position| kinds.iter().any(|(of, kind)| of == build && *kind == position.kind);
        let mut telling: BTreeMap<&str, (BTreeSet<&str>, BTreeSet<&str>)> = BTreeMap::new();
        for (name, Alike { build, .. }) in &self.builds {
            let positions = build.positions.iter().filter(|position| wanted(name, position));
            let positions: BTreeSet<&str> = positions.map(|position| position.name.as_str()).collect();
            let tasks = build.tasks.iter().filter(|task| positions.contains(task.at.as_str()));
            telling.insert(name, (tasks.map(|task| task.name.as_str()).collect(), positions));
        }
        let tasks: BTreeSet<&str> = telling.values().flat_map(|(tasks, _)| tasks).copied().collect();
        let mut ends = ledger.ends(&tasks).await?;
        let mut marks: BTreeMap<String, BTreeSet<Place>> = BTreeMap::new();
        let mut entries: BTreeMap<String, Vec<Entry>> = BTreeMap::new();
        for (build, alike) in &self.builds {
            let (tasks, positions) = &telling[build.as_str()];
            for past in alike.machines.iter().filter(|_| !positions.is_empty()) {
                let own = ends.remove(&past.name).unwrap_or_default();
                let at_ends = own.iter().filter(|entry| match &entry.event {
                    Event::Failed { position, .. } | Event::Replaced { position, .. } => {
                        positions.contains(position.as_str())
                    }
                    Event::Done { task, .. } => tasks.contains(task.as_str()),
                    _ => false,
                });
                let mut places: BTreeSet<Place> = at_ends.map(|entry| (entry.at, entry.id)).collect();
                places.insert(the_end(now));
                marks.insert(past.name.clone(), places);
                entries.insert(past.name.clone(), own);
            }
        }
        let mut used = ledger.used_before(&marks).await?;
        for past in self.builds.values_mut().flat_map(|alike| &mut alike.machines) {
            let mut before = used.remove(&past.name).unwrap_or_default();
            past.entries = entries.remove(&past.name).unwrap_or_default();
            past.uses = Uses { all: before.remove(&the_end(now)).unwrap_or_default(), before };
        }
        Ok(())
    }

    fn lives(&self, build: &str, kind: &str, now: Timestamp) -> KindLives {
        let Alike { build, machines } = &self.builds[build];
        let records: Vec<Records<'_>> = machines
            .iter()
            .filter(|past| !past.entries.is_empty())
            .map(|past| Records { build, entries: &past.entries, uses: &past.uses })
            .collect();
        // OK because the kind is one of the build's, which at least one machine has.
        KindLives::of(kind, &records, &self.materials, now).expect("a kind of the build's own")
    }

    /// The kinds of part of every build, each once.
    fn kinds(&self) -> Vec<(String, String)> {
        let mut kinds: Vec<(String, String)> = Vec::new();
        for (name, Alike { build, .. }) in &self.builds {
            for position in &build.positions {
                if !kinds.iter().any(|(other, kind)| other == name && *kind == position.kind) {
                    kinds.push((name.clone(), position.kind.clone()));
                }
            }
        }
        kinds
    }

    /// The kinds that are meant by a kind's or a position's name.
    fn named(&self, name: &str) -> Result<Vec<(String, String)>, Trouble> {
        let wanted = name.trim().to_lowercase();
        let kinds = self.kinds();
        let is_meant = |build: &str, kind: &String| {
            let positions = &self.builds[build].build.positions;
            kind.to_lowercase() == wanted
                || positions.iter().any(|one| one.kind == *kind && one.name.to_lowercase() == wanted)
        };
        let meant: Vec<_> = kinds.iter().filter(|(build, kind)| is_meant(build, kind)).cloned().collect();
        if !meant.is_empty() {
            return Ok(meant);
        }
        let names: Vec<&str> = kinds.iter().map(|(_, kind)| kind.as_str()).collect();
        let trouble = Trouble::refused(format!("no machine of the shop has a part or a position called \"{name}\""))
            .help("all kinds of part: tallow lives");
        Err(match nearest(name, names) {
            Some(near) => trouble.help(format!("did you mean {near}?")),
            None => trouble,
        })
    }
}

/// What a machine's records, and those of machines like it, say of what waiting risks.
pub(super) struct Stakes {
    /// The chances to fail soon of its parts of which anything is known.
    pub(super) parts: Vec<PartChance>,
    /// The risk of each task of its build.
    pub(super) risks: Vec<Risk>,
    /// What things cost.
    pub(super) prices: Prices,
    /// Which of those are assumed.
    pub(super) assumed: Vec<&'static str>,
    /// What the money is called.
    pub(super) currency: String,
}

/// A part's chance to fail soon.
pub(super) struct PartChance {
    /// Where it sits.
    pub(super) position: String,
    chance: f64,
    failures: usize,
}

impl PartChance {
    /// The chance in words, with what it rests on.
    pub(super) fn words(&self) -> String {
        let rests = match self.failures {
            0 => "by what its build believes; none of its kind has failed here".to_owned(),
            some => format!("by {} of its kind here", words::count(some as u64, "failures")),
        };
        format!("{} chance to fail within four weeks, {rests}", words::percent(self.chance))
    }
}

impl Stakes {
    /// Out of the records of the machine and of some of the same build.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(super) async fn of(ledger: &Ledger, machine: &str, now: Timestamp) -> Result<Stakes, Trouble> {
        let shop = Shop::around(ledger, machine, now).await?;
        let rates = ledger.rates().await?;
        let (prices, assumed) = Prices::from_rates(&rates);
        let mut parts = Vec::new();
        let mut risks = Vec::new();
        for (build, kind) in shop.kinds() {
            let lives = shop.lives(&build, &kind, now);
            let there = lives.stays.iter().filter(|stay| stay.machine == machine && stay.end == Ending::StillThere);
            parts.extend(there.filter_map(|stay| {
                let chance = lives.fails_within(stay, AHEAD, &shop.materials)?;
                Some(PartChance { position: stay.position.clone(), chance, failures: lives.count(Ending::Failed) })
            }));
        }
        // One machine's build alone was read.
        for Alike { build, machines } in shop.builds.values() {
            let entries: Vec<&[Entry]> = machines.iter().map(|past| past.entries.as_slice()).collect();
            risks = upkeep::risks(build, &entries, &shop.materials, &ledger.shop().zone, now);
        }
        Ok(Stakes { parts, risks, prices, assumed, currency: rates.currency })
    }
}

/// How the parts of a kind on the machines of a build ended.
#[derive(Clone, Debug, Default)]
struct Ends([usize; 4]);

impl Ends {
    const ORDER: [Ending; 4] = [Ending::Failed, Ending::Worn, Ending::Good, Ending::StillThere];

    fn of(stays: &[Stay]) -> Ends {
        Ends(Ends::ORDER.map(|end| stays.iter().filter(|stay| stay.end == end).count()))
    }
}

/// All kinds of part of which anything ended. Runs are not read: they tell no endings.
async fn overview(context: &Context, ledger: &Ledger) -> Result<(), Trouble> {
    let machines = ledger.machines().await?;
    if machines.is_empty() {
        return Err(no_machine());
    }
    let entries = ledger.ends(&BTreeSet::new()).await?;
    let mut stays: BTreeMap<(String, String), Vec<Stay>> = BTreeMap::new();
    for machine in machines {
        let Some(own) = entries.get(&machine.name) else { continue };
        let build = ledger.build(&machine.build).await?;
        for stay in upkeep::lives::stays(&build, None, own, &Uses::default(), context.now) {
            // OK because a stay is of one of the build's positions.
            let kind = build.position(&stay.position).map(|position| position.kind.clone()).unwrap_or_default();
            stays.entry((machine.build.clone(), kind)).or_default().push(stay);
        }
    }
    let counted = stays.into_iter().map(|((build, kind), stays)| (build, kind, Ends::of(&stays)));
    let mut ended: Vec<(String, String, Ends)> =
        counted.filter(|(_, _, ends)| ends.0[..3].iter().any(|count| 0 < *count)).collect();
    ended.sort_by_key(|(_, _, ends)| std::cmp::Reverse(ends.0[0]));
    if context.json {
        let rows = ended.iter().map(|(build, kind, Ends([failed, worn, good, still]))| {
            json!({ "build": build, "kind": kind, "failed": failed, "worn": worn, "good": good, "still_there": still })
        });
        return context.out.json(&rows.collect());
    }
    if ended.is_empty() {
        return context.out.line("No part was replaced or failed yet, so there are no lives to tell of.");
    }
    let columns = [
        ("part", Align::Left),
        ("failed", Align::Right),
        ("worn", Align::Right),
        ("good", Align::Right),
        ("still there", Align::Right),
        ("build", Align::Left),
    ];
    let mut table = Table::new(columns);
    for (build, kind, ends) in &ended {
        let [failed, worn, good, still] = ends.0.map(|count| count.to_string());
        table.row([kind.clone(), failed, worn, good, still, build.clone()], Dress::Plain);
    }
    context.out.table(&table)?;
    match ended.first() {
        Some((_, kind, _)) => context.out.line(format!("\nNext: tallow lives \"{kind}\"")),
        None => Ok(()),
    }
}

/// An amount of a clock in words.
fn age_words(clock: &Clock, age: f64) -> String {
    match clock {
        Clock::Days => words::count(age.round() as u64, "days"),
        Clock::Meter { quantity, .. } => amount::print(age, *quantity),
    }
}

/// Says all of one kind on the machines of one build, and gives its charts.
fn detail(
    context: &Context,
    build: &str,
    lives: &KindLives,
    money: &Money,
    level: Level,
    materials: &Materials,
) -> Result<Vec<Chart>, Trouble> {
    let out = &context.out;
    out.dressed_line(&format!("{}, on machines with the build \"{build}\"", lives.kind), Dress::Bold)?;
    let [failed, worn, good, still] =
        [Ending::Failed, Ending::Worn, Ending::Good, Ending::StillThere].map(|end| lives.count(end));
    out.prose(
        "",
        &format!(
            "{failed} failed, {worn} replaced worn, {good} replaced good, {still} still there.{}",
            unknown_ages(lives.of_unknown_age())
        ),
    )?;
    let Some(advice) = lives.advice(money.costs, level, materials) else { return Ok(Vec::new()) };
    if 0 < failed {
        clocks(context, lives)?;
        if let Some(told) = lives.best_clock() {
            law(context, told, level)?;
        }
        pooled(context, lives, materials)?;
    }
    still_there(context, lives, materials)?;
    out.line("")?;
    out.prose("", &verdict_words(&advice, money))?;
    let charts = charts(lives, &advice, money.costs, level)?;
    for chart in &charts {
        out.verbatim(&format!("\n{}", chart.text(out.width())))?;
    }
    Ok(charts)
}

fn unknown_ages(n: usize) -> String {
    match n {
        0 => String::new(),
        1 => " One sat there when its machine joined, and is counted as if it had been new then; tallow age corrects that."
            .to_owned(),
        n => format!(
            " {n} of them sat there when their machine joined, and are counted as if they had been new then; tallow age \
             corrects that."
        ),
    }
}

/// Writes the charts into the file that was named, and files beside it.
fn save_all(context: &Context, charts: &[Chart], svg: Option<&PathBuf>) -> Result<(), Trouble> {
    let Some(path) = svg else { return Ok(()) };
    charts.iter().enumerate().try_for_each(|(place, chart)| {
        let name = if place == 0 { path.clone() } else { path.with_extension(format!("{place}.svg")) };
        save(context, chart, Some(&name))
    })
}

/// Which clock the wear runs on, and how sure that is.
fn clocks(context: &Context, lives: &KindLives) -> Result<(), Trouble> {
    context.out.line("\nBy which clock they fail:\n")?;
    let mut table = Table::new([("clock", Align::Left), ("evidence", Align::Right), ("half live to", Align::Right)]);
    for told in &lives.told {
        let half = match (&told.fit, told.unexplained) {
            (_, 1..) => "a failure without use".to_owned(),
            (Ok(fit), _) => age_words(&told.clock, fit.law().median()),
            (Err(_), _) => "no law".to_owned(),
        };
        table.row([told.clock.to_string(), words::percent(told.share), half], Dress::Plain);
    }
    context.out.table(&table)?;
    let best = lives.told.first().map_or(0.0, |told| told.share);
    let sure = match best {
        share if 0.9 <= share => "The first explains the failures far better than the others.",
        share if 0.5 <= share => "The first explains them best, but the others are not ruled out.",
        _ => "The failures are too few, or the clocks too much alike here, to tell them apart.",
    };
    context.out.prose("", sure)
}

fn law(context: &Context, told: &Told, level: Level) -> Result<(), Trouble> {
    let Ok(fit) = &told.fit else { return Ok(()) };
    let law = fit.law();
    // Profile bounds of few failures are too narrow; docs/LIVES.md measures it.
    let few = if fit.failures() < TRUSTED { fit.conditional() } else { None };
    let bounds = |of| match &few {
        Some(few) => few.band(of, level).map(|[lower, upper]| Bounds { lower: Some(lower), upper: Some(upper) }),
        None => fit.profile(of, level),
    };
    let bounds = |of| bounds(of).map_err(|error| Trouble::refused(error.to_string()));
    let end = |bound: Option<f64>| bound.map_or_else(|| "no bound".to_owned(), |age| age_words(&told.clock, age));
    let (b10, shape) = (bounds(Of::Quantile(0.1))?, bounds(Of::Shape)?);
    let number = |bound: Option<f64>| bound.map_or_else(|| "no bound".to_owned(), |shape| format!("{shape:.2}"));
    let ten = law.quantile(0.1).map_err(|error| Trouble::refused(error.to_string()))?;
    context.out.line("")?;
    context.out.prose(
        "",
        &format!(
            "A tenth fails by {} ({} to {}), half by {}. The shape is {:.2} ({} to {}): {}. The ranges hold {} %.",
            age_words(&told.clock, ten),
            end(b10.lower),
            end(b10.upper),
            age_words(&told.clock, law.median()),
            law.shape(),
            number(shape.lower),
            number(shape.upper),
            shape_words(law.shape(), shape.lower, shape.upper),
            (level.get() * 100.0).round()
        ),
    )
}

fn shape_words(shape: f64, lower: Option<f64>, upper: Option<f64>) -> &'static str {
    match (lower, upper) {
        (Some(lower), _) if 1.0 < lower => "old parts fail more often than young ones",
        (_, Some(upper)) if upper < 1.0 => "young parts fail more often than old ones",
        _ if 1.0 < shape => "old parts seem to fail more often, but that may be chance",
        _ => "no sign that old parts fail more often than young ones",
    }
}

fn pooled(context: &Context, lives: &KindLives, materials: &Materials) -> Result<(), Trouble> {
    let Some((pooling, machines)) = lives.alike(materials) else { return Ok(()) };
    let words = match pooling.ratio.chance {
        _ if lives.count(Ending::Failed) < FEW => {
            format!("Too few failures to tell whether the machines ({}) wear them alike.", machines.join(", "))
        }
        p if p < 0.05 => format!(
            "The machines ({}) do not wear these parts alike (likelihood ratio, p = {}): what is said of all holds for none of \
             them exactly.",
            machines.join(", "),
            if p < 0.001 { "less than 0.001".to_owned() } else { format!("{p:.3}") }
        ),
        p => format!("The machines ({}) may be taken together (likelihood ratio, p = {p:.2}).", machines.join(", ")),
    };
    context.out.prose("", &words)
}

fn still_there(context: &Context, lives: &KindLives, materials: &Materials) -> Result<(), Trouble> {
    let Some(told) = lives.best_clock() else { return Ok(()) };
    let there: Vec<&Stay> = lives.stays.iter().filter(|stay| stay.end == Ending::StillThere).collect();
    let chances: Vec<_> =
        there.iter().filter_map(|stay| Some((*stay, lives.fails_within(stay, AHEAD, materials)?))).collect();
    if chances.is_empty() {
        return Ok(());
    }
    context.out.line("\nStill there:\n")?;
    let columns = [
        ("machine", Align::Left),
        ("position", Align::Left),
        ("age", Align::Right),
        ("fails within 4 weeks", Align::Right),
    ];
    let mut table = Table::new(columns);
    for (stay, chance) in chances {
        let age = age_words(&told.clock, told.clock.age_of(stay, materials));
        table.row([stay.machine.clone(), stay.position.clone(), age, words::percent(chance)], Dress::Plain);
    }
    context.out.table(&table)
}

/// The advice in words that do not say more than the lives do.
fn verdict_words(advice: &Advice, costs: &Money) -> String {
    let Costs { planned, failure } = costs.costs;
    let money = format!(
        "a planned replacement at {} and a failure at {}{}",
        costs.words(planned),
        costs.words(failure),
        costs.grounds
    );
    let age = |age: f64| age_words(&advice.clock, age);
    let failures = advice.failures;
    let per_year = |rate: Option<f64>| rate.map_or_else(|| "?".to_owned(), |rate| format!("{rate:.0}"));
    let today = match advice.today {
        Some(at) => format!("{} as today at {}", per_year(advice.today_per_year), age(at)),
        None => format!("{} as today, when run until they fail", per_year(advice.today_per_year)),
    };
    match &advice.verdict {
        Verdict::MayInjure => {
            "Neglect of this part may injure somebody, so no money is weighed against it: keep the build's limits, and the \
             maker's manual above them."
                .to_owned()
        }
        Verdict::NothingFailed => {
            "Nothing failed: the records give no reason to replace sooner, and can't say how much later would do. Keep the \
             build's limits."
                .to_owned()
        }
        Verdict::TooFew { failures } => format!(
            "{}: too few to choose an interval by. Keep the build's limits, and go on recording why parts go.",
            words::count(*failures as u64, "failures")
        ),
        Verdict::NoLaw { why } => format!("No law can be fitted: {why}. Keep the build's limits."),
        Verdict::NoGain => format!(
            "With {money}, replacing these parts early gains nothing: let them run until they fail or show wear ({} a year and \
             position).",
            per_year(advice.to_failure_per_year)
        ),
        Verdict::Unsure { best, band } => {
            let from = band.age.lower.map_or_else(String::new, |lower| format!(", and anything from {} up is possible", age(lower)));
            format!(
                "{failures} failures: the likeliest law would replace at {} ({} instead of {today} a year and position, with \
                 {money}), but the lives do not rule out laws by which replacing early gains nothing{from}. Keep the build's limits for now.",
                age(best.age),
                per_year(advice.best_per_year),
            )
        }
        Verdict::Replace { best, band } => {
            let [from, to] = [band.age.lower, band.age.upper].map(|end| end.map_or_else(|| "?".to_owned(), age));
            format!(
                "{failures} failures: replace at {} ({from} to {to} by what the lives leave open). With {money} that costs {} a \
                 year and position instead of {today}; against running to failure the saving lies between {:.0} and {:.0} %. To make it the \
                 shop's own limit: tallow limit TASK --every AMOUNT --reason \"{failures} failures\".",
                age(best.age),
                per_year(advice.best_per_year),
                band.saving[0] * 100.0,
                band.saving[1] * 100.0
            )
        }
    }
}

/// The life curve with its law, and the cost curve where there is a law.
fn charts(lives: &KindLives, advice: &Advice, costs: Costs, level: Level) -> Result<Vec<Chart>, Trouble> {
    let Some(told) = lives.best_clock() else { return Ok(Vec::new()) };
    let Ok(fit) = &told.fit else { return Ok(Vec::new()) };
    let law = fit.law();
    let (size, unit) = match &advice.clock {
        Clock::Days => (1.0, "days".to_owned()),
        Clock::Meter { quantity, .. } => {
            let (size, symbol) = large_unit(quantity.unit());
            (size, format!("{quantity}, {symbol}"))
        }
    };
    let mut layers = curve_layers(&told.lives, level);
    let far = 1.3 * law.quantile(0.9).map_err(|error| Trouble::refused(error.to_string()))?;
    layers.push(Layer::Line(
        (0..=60).map(|step| far * f64::from(step) / 60.0).map(|age| [age, law.survival(age)]).collect(),
    ));
    let curve = Chart {
        title: format!("{}: still good", lives.kind),
        says: "The share of parts still good by age: steps are the records, the smooth line is the law.".to_owned(),
        x: Axis { label: String::new(), scale: Scale::Linear },
        y: Axis { label: "share still good".to_owned(), scale: Scale::Linear },
        layers,
    };
    let mut charts = vec![curve.x_in(size, unit.clone())];
    let chosen = matches!(advice.verdict, Verdict::NoGain | Verdict::Unsure { .. } | Verdict::Replace { .. });
    // Drawn in units that read well, the costs by the unit, too.
    let law = Law::weibull(law.shape(), law.scale() / size).map_err(|error| Trouble::refused(error.to_string()))?;
    if let Ok(policy) = life::AgeReplacement::new(law, costs.planned, costs.failure)
        && chosen
    {
        charts.push(replace_chart(&policy, law)?.x_in(1.0, format!("age at which parts are replaced, {unit}")));
    }
    Ok(charts)
}

/// The unit in which a part's age reads well.
fn large_unit(unit: Unit) -> (f64, &'static str) {
    match unit {
        Unit::Metre => (1e3, "km"),
        Unit::Second => (3600.0, "h"),
        Unit::Kilogram => (1.0, "kg"),
        other => (1.0, crate::commands::symbol(other)),
    }
}

fn shape(build: &str, lives: &KindLives, money: &Money, level: Level, materials: &Materials) -> Value {
    let advice = lives.advice(money.costs, level, materials);
    let told = lives.told.iter().map(|told| {
        let law = told.fit.as_ref().ok().map(life::Fit::law);
        json!({
            "clock": told.clock.to_string(), "evidence": told.share, "unexplained": told.unexplained,
            "shape": law.map(|law| law.shape()), "scale": law.map(|law| law.scale()),
        })
    });
    let stays = lives.stays.iter().map(|stay| {
        let clock = advice.as_ref().map(|advice| &advice.clock);
        let chance = (stay.end == Ending::StillThere).then(|| lives.fails_within(stay, AHEAD, materials)).flatten();
        json!({
            "machine": stay.machine, "position": stay.position, "from": stay.from.to_string(), "to": stay.to.to_string(),
            "end": end_word(stay.end), "age": clock.map(|clock| clock.age_of(stay, materials)), "fails_within_4_weeks": chance,
        })
    });
    let best = advice.as_ref().and_then(|advice| match &advice.verdict {
        Verdict::Replace { best, band } | Verdict::Unsure { best, band } => Some((best.age, band.age)),
        _ => None,
    });
    json!({
        "build": build, "kind": lives.kind, "unknown_age": lives.of_unknown_age(), "clocks": told.collect::<Vec<_>>(),
        "stays": stays.collect::<Vec<_>>(), "verdict": advice.as_ref().map(|advice| verdict_word(&advice.verdict)),
        "failures": advice.as_ref().map(|advice| advice.failures), "best_age": best.map(|(age, _)| age),
        "best_age_bounds": best.map_or([None, None], |(_, bounds)| [bounds.lower, bounds.upper]),
        "planned_cost": money.costs.planned, "failure_cost": money.costs.failure,
        "today_age": advice.as_ref().and_then(|advice| advice.today),
        "cost_per_year_today": advice.as_ref().and_then(|advice| advice.today_per_year),
        "cost_per_year": advice.as_ref().and_then(|advice| advice.best_per_year),
        "cost_per_year_run_to_failure": advice.as_ref().and_then(|advice| advice.to_failure_per_year),
        "alike": lives.alike(materials).map(|(pooling, _)| pooling.ratio.chance),
    })
}

fn end_word(end: Ending) -> &'static str {
    match end {
        Ending::Failed => "failed",
        Ending::Worn => "worn",
        Ending::Good => "good",
        Ending::StillThere => "still there",
    }
}

fn verdict_word(verdict: &Verdict) -> &'static str {
    match verdict {
        Verdict::MayInjure => "may injure",
        Verdict::NothingFailed => "nothing failed",
        Verdict::TooFew { .. } => "too few failures",
        Verdict::NoLaw { .. } => "no law",
        Verdict::NoGain => "no gain",
        Verdict::Unsure { .. } => "unsure",
        Verdict::Replace { .. } => "replace",
    }
}

/// The lives by the best clock as a table that `tallow life` reads.
fn csv(context: &Context, lives: &KindLives) -> Result<(), Trouble> {
    let Some(told) = lives.best_clock() else { return Ok(()) };
    let mut text = String::from("time,event,entry,upper\n");
    for life in &told.lives {
        let (time, event, upper) = match life.end() {
            End::Failed(age) => (age, 1, String::new()),
            End::Good(age) => (age, 0, String::new()),
            End::Between(from, to) => (from, 1, to.to_string()),
        };
        text += &format!("{time},{event},{},{upper}\n", life.entry());
    }
    context.out.verbatim(&text)
}
