//! `tallow lives`: how long parts live here, by the shop's own records, and what that advises.

mod report;

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::sync::Arc;

use jiff::Timestamp;
use ledger::{Ledger, MachineInfo};
use life::{Bounds, End, Law, Level, Of};
use motion::Unit;
use serde_json::{Value, json};
use upkeep::build::Position;
use upkeep::lives::{
    Advice, Clock, Costs, Ending, KindLives, Place, Records, Stay, TRUSTED, Told, Uses, Verdict, Wanted,
};
use upkeep::spent::REPLACING_MINUTES;
use upkeep::{Build, Entry, EntryId, Event, Materials, Prices, Rates, Risk, amount, nearest};

use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli::{self, Curve};
use crate::commands::life::{chance, curve_layers, p_words, paper, replace_chart, save, with_band};
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::words;

pub(crate) use self::report::{KindEnds, Offer, Report, ends_of_kinds, reports};

/// With fewer failures a comparison of machines is too rough to be told. Judgement, no source.
const FEW: usize = 5;

/// The place after all entries until `now`.
fn the_end(now: Timestamp) -> Place {
    (now, EntryId(i64::MAX))
}

/// How many machines of a build are read to tell of the parts and tasks of one: more hardly change the figure, and a hall has
/// thousands.
pub(super) const ALIKE: usize = 20;

/// How far ahead a part's chance to fail is told, days.
const AHEAD: f64 = 28.0;

pub(crate) async fn lives(context: &Context, args: &cli::Lives) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let level = Level::new(args.level).map_err(|error| Trouble::refused(error.to_string()))?;
    let costs = [("planned", args.planned_cost), ("failure", args.failure_cost)];
    if let Some((which, cost)) = costs.into_iter().find_map(|(which, cost)| Some((which, cost.filter(|c| *c <= 0.0)?)))
    {
        return Err(Trouble::refused(format!("a {which} cost of {cost} can't be: it must be above 0"))
            .help("leave it out to take what the shop's rates say: tallow rates"));
    }
    let Some(name) = &args.kind else {
        kind_is_needed(args)?;
        return overview(context, &ledger).await;
    };
    let mut shop = Shop::new(&ledger, ledger.machines().await?).await?;
    let kinds = of_build(shop.named(name)?, args.build.as_deref())?;
    shop.read_ends(&ledger, &kinds, context.now).await?;
    let rates = ledger.rates().await?;
    let all = kinds.iter().map(|(build, kind)| (build, shop.lives(build, kind, context.now)));
    if args.csv {
        let told: Vec<_> = all.collect();
        return csv(context, &told);
    }
    let mut shapes = Vec::new();
    let mut charts = Vec::new();
    for (place, (build, lives)) in all.enumerate() {
        let said = Said { shop: &shop, build, costs: Money::new(args, &rates, &lives), level, lives };
        if context.json {
            shapes.push(said.shape());
        } else {
            if 0 < place {
                context.out.line("")?;
            }
            charts.extend(said.detail(context, args.only)?);
        }
    }
    if context.json {
        return context.out.json(&shapes.into());
    }
    save_all(context, &charts, args.svg.as_ref())
}

/// Refuses what can be told of one kind of part alone.
fn kind_is_needed(args: &cli::Lives) -> Result<(), Trouble> {
    let wanted = [("--csv", args.csv), ("--svg", args.svg.is_some()), ("--build", args.build.is_some())];
    match wanted.into_iter().find(|(_, is_wanted)| *is_wanted) {
        None => Ok(()),
        Some((option, _)) => Err(Trouble::refused(format!("{option} is for one kind of part, and none is named"))
            .help(format!("name it: tallow lives KIND {option}; all kinds: tallow lives"))),
    }
}

/// The kinds of that build alone, if one is named.
fn of_build(kinds: Vec<(String, String)>, build: Option<&str>) -> Result<Vec<(String, String)>, Trouble> {
    let Some(wanted) = build else { return Ok(kinds) };
    let lower = wanted.trim().to_lowercase();
    let builds: Vec<String> = kinds.iter().map(|(build, _)| build.clone()).collect();
    let found: Vec<_> = kinds.into_iter().filter(|(build, _)| build.to_lowercase() == lower).collect();
    if found.is_empty() { Err(upkeep::Unknown::new("build with such parts", wanted, builds).into()) } else { Ok(found) }
}

/// What is said of one kind of part on the machines of one build.
struct Said<'a> {
    shop: &'a Shop,
    build: &'a str,
    lives: KindLives,
    costs: Money,
    level: Level,
}

/// What a replacement and a failure cost, and where that comes from.
struct Money {
    costs: Costs,
    /// What the money is called.
    currency: String,
    grounds: Grounds,
}

/// Where costs come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Grounds {
    /// Both were given.
    Given,
    /// From the rates that the shop has set.
    Rates,
    /// From rates some of which are assumed.
    Assumed,
}

impl Grounds {
    /// In words that follow the costs, beginning with a blank.
    fn words(self) -> &'static str {
        match self {
            Grounds::Given => "",
            Grounds::Rates => " (by the shop's rates, without the part itself)",
            Grounds::Assumed => " (by assumed rates, without the part itself)",
        }
    }

    /// How better costs are given at a terminal, beginning with a blank.
    fn help(self) -> &'static str {
        match self {
            Grounds::Given => "",
            Grounds::Rates => " --planned-cost adds the part.",
            Grounds::Assumed => " tallow rates sets the shop's own rates, and --planned-cost adds the part.",
        }
    }
}

impl Money {
    /// As given; else by the shop's rates: labour for a planned replacement, and for a failure what neglect leads to beside
    /// it. The part's own price is not known here.
    fn new(args: &cli::Lives, rates: &Rates, lives: &KindLives) -> Money {
        let (prices, assumed) = Prices::from_rates(rates);
        let minutes = lives.renewals.first().map_or(REPLACING_MINUTES, |task| task.minutes);
        let planned = args.planned_cost.unwrap_or_else(|| prices.labour(minutes));
        let consequence = lives.neglect.and_then(|neglect| prices.of(neglect)).unwrap_or(0.0);
        let failure = args.failure_cost.unwrap_or(planned + consequence);
        let grounds = match (args.planned_cost.is_some() && args.failure_cost.is_some(), assumed.is_empty()) {
            (true, _) => Grounds::Given,
            (false, true) => Grounds::Rates,
            (false, false) => Grounds::Assumed,
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
            return Err(context::no_machine());
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
pub(crate) struct Stakes {
    /// The chances to fail soon of its parts of which anything is known.
    pub(super) parts: Vec<PartChance>,
    /// How long parts live, by kind.
    pub(super) lives: Vec<KindLives>,
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
pub(crate) struct PartChance {
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
        format!("{} chance to fail within four weeks at its kind's mean pace, {rests}", chance(self.chance))
    }
}

impl Stakes {
    /// The chance of the part at a position to fail soon, in words; `None` where nothing is known of it.
    pub(crate) fn chance_of(&self, position: &str) -> Option<String> {
        self.parts.iter().find(|part| part.position == position).map(PartChance::words)
    }

    /// Out of the records of the machine and of some of the same build.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(crate) async fn of(ledger: &Ledger, machine: &str, now: Timestamp) -> Result<Stakes, Trouble> {
        let shop = Shop::around(ledger, machine, now).await?;
        let rates = ledger.rates().await?;
        let (prices, assumed) = Prices::from_rates(&rates);
        let mut parts = Vec::new();
        let (mut risks, mut kinds) = (Vec::new(), Vec::new());
        for (build, kind) in shop.kinds() {
            let lives = shop.lives(&build, &kind, now);
            let there = lives.stays.iter().filter(|stay| stay.machine == machine && stay.end == Ending::StillThere);
            parts.extend(there.filter_map(|stay| {
                let chance = lives.fails_within(stay, AHEAD, &shop.materials)?;
                Some(PartChance { position: stay.position.clone(), chance, failures: lives.count(Ending::Failed) })
            }));
            kinds.push(lives);
        }
        // One machine's build alone was read.
        for Alike { build, machines } in shop.builds.values() {
            let entries: Vec<&[Entry]> = machines.iter().map(|past| past.entries.as_slice()).collect();
            risks = upkeep::risks(build, &entries, &shop.materials, &ledger.shop().zone, now);
        }
        Ok(Stakes { parts, lives: kinds, risks, prices, assumed, currency: rates.currency })
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

/// The columns that the table of ends takes with its words broken.
const ENDS_WIDTH: usize = 66;

/// The kinds of part of which anything ended, the one with the most failures first.
async fn ended(ledger: &Ledger, now: Timestamp) -> Result<Vec<(String, String, Ends)>, Trouble> {
    let machines = ledger.machines().await?;
    if machines.is_empty() {
        return Err(context::no_machine());
    }
    let entries = ledger.ends(&BTreeSet::new()).await?;
    let mut stays: BTreeMap<(String, String), Vec<Stay>> = BTreeMap::new();
    for machine in machines {
        let Some(own) = entries.get(&machine.name) else { continue };
        let build = ledger.build(&machine.build).await?;
        for stay in upkeep::lives::stays(&build, None, own, &Uses::default(), now) {
            // OK because a stay is of one of the build's positions.
            let kind = build.position(&stay.position).map(|position| position.kind.clone()).unwrap_or_default();
            stays.entry((machine.build.clone(), kind)).or_default().push(stay);
        }
    }
    let counted = stays.into_iter().map(|((build, kind), stays)| (build, kind, Ends::of(&stays)));
    let mut ended: Vec<(String, String, Ends)> =
        counted.filter(|(_, _, ends)| ends.0[..3].iter().any(|count| 0 < *count)).collect();
    ended.sort_by_key(|(_, _, ends)| std::cmp::Reverse(ends.0[0]));
    Ok(ended)
}

/// All kinds of part of which anything ended. Runs are not read: they tell no endings.
async fn overview(context: &Context, ledger: &Ledger) -> Result<(), Trouble> {
    let ended = ended(ledger, context.now).await?;
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
    let fits = context.out.fits(ENDS_WIDTH);
    context.out.table(&if fits { table } else { table.without("still there") })?;
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

/// What a clock counts more than once: `, abrasive counts twice`; empty where all counts alike.
fn weights(clock: &Clock) -> String {
    let times = |weight: f64| match weight {
        two if (two - 2.0).abs() < f64::EPSILON => "twice".to_owned(),
        other => format!("{other} times"),
    };
    clock.counts().iter().map(|(class, weight)| format!(", {class} counts {}", times(*weight))).collect()
}

/// A clock in words: `filament mass (abrasive counts twice)`.
fn clock_words(clock: &Clock) -> String {
    let name = clock.quantity().map_or_else(|| "days of the calendar".to_owned(), |quantity| quantity.to_string());
    match weights(clock).strip_prefix(", ") {
        Some(weights) => format!("{name} ({weights})"),
        None => name,
    }
}

impl Said<'_> {
    /// Says all, and gives the charts, or one of them.
    fn detail(&self, context: &Context, only: Option<Curve>) -> Result<Vec<Chart>, Trouble> {
        let (out, lives, materials) = (&context.out, &self.lives, &self.shop.materials);
        let head = format!("{}, on machines with the build \"{}\"", lives.kind, self.build);
        if out.fits(head.chars().count()) {
            out.dressed_line(&head, Dress::Bold)?;
        } else {
            out.prose("", &head)?;
        }
        let [failed, worn, good, still] = Ends::ORDER.map(|end| lives.count(end));
        let unknown = unknown_ages(lives.of_unknown_age());
        let help = if unknown.is_empty() { "" } else { " tallow age corrects that." };
        out.prose(
            "",
            &format!(
                "{failed} failed, {worn} replaced worn, {good} replaced good, {still} still there.{unknown}{help}"
            ),
        )?;
        let Some(advice) = lives.advice(self.costs.costs, self.level, materials) else { return Ok(Vec::new()) };
        if 0 < failed {
            if COMPARED <= failed {
                clocks(context, lives)?;
            }
            if let Some(told) = lives.best_clock()
                && let Some(words) = law_words(told, self.level)?
            {
                out.line("")?;
                out.prose("", &words)?;
            }
            if let Some(words) = pooled_words(lives, materials) {
                out.prose("", &words)?;
            }
        }
        still_there(context, lives, materials)?;
        out.line("")?;
        let help = if weighs_money(&advice.verdict) { self.costs.grounds.help() } else { "" };
        out.prose("", &format!("{}{help}", verdict_words(&advice, &self.costs, self.level)))?;
        if let Verdict::Replace { best, .. } = &advice.verdict {
            self.how_to(context, &advice, best.age)?;
        }
        let charts = [Curve::Life, Curve::Cost].into_iter().zip(self.charts(&advice)?);
        let wanted = charts.filter(|(curve, _)| only.is_none_or(|only| only == *curve));
        let charts: Vec<Chart> = wanted.map(|(_, chart)| chart).collect();
        for chart in &charts {
            out.verbatim(&format!("\n{}", chart.text(out.width())))?;
        }
        Ok(charts)
    }

    /// How the best age becomes the shop's own habit: the commands as they are typed, or the diary.
    fn how_to(&self, context: &Context, advice: &Advice, age: f64) -> Result<(), Trouble> {
        let out = &context.out;
        if advice.limits.is_empty() {
            let words = format!(
                "No task of the build puts in a new one by a limit into which that age could be carried, so none can be set: \
                 write it into the diary, and when a part reaches {}{} record it: tallow replace POSITION --on MACHINE \
                 --because good.",
                age_words(&advice.clock, age),
                weights(&advice.clock)
            );
            return out.prose("", &words);
        }
        out.prose("", "To make it the shop's own limit:")?;
        for wanted in &advice.limits {
            for machine in self.machines_for(&wanted.task) {
                out.line(format!("  {}", limit_command(&limit_args(wanted, machine, advice.failures))))?;
            }
        }
        if advice.limits.iter().any(|wanted| wanted.is_carried) {
            let words =
                format!("(The age is by {}; the limit is carried over by the mean paces.)", clock_words(&advice.clock));
            out.prose("", &words)?;
        }
        Ok(())
    }

    /// The machines whose limit a command must name one by one, since others have a task of that name too; `None` alone
    /// where all that have it are meant.
    fn machines_for(&self, task: &str) -> Vec<Option<&str>> {
        let others = self.shop.builds.iter().filter(|(name, _)| *name != self.build);
        if others.map(|(_, alike)| alike).all(|alike| alike.build.task(task).is_err()) {
            return vec![None];
        }
        self.shop.builds[self.build].machines.iter().map(|past| Some(past.name.as_str())).collect()
    }
}

/// What makes a limit the shop's own.
fn limit_args(wanted: &Wanted, machine: Option<&str>, failures: usize) -> cli::Limit {
    let every = match wanted.of {
        None => words::count(wanted.every.round().max(1.0) as u64, "days"),
        Some(quantity) => amount::print(wanted.every, quantity),
    };
    cli::Limit {
        task: wanted.task.clone(),
        every,
        of: wanted.of.map(|quantity| quantity.to_string()),
        on: machine.map(str::to_owned),
        reason: format!("{failures} failures"),
    }
}

/// The command that makes a limit the shop's own.
fn limit_command(args: &cli::Limit) -> String {
    let of = args.of.as_ref().map_or_else(String::new, |of| format!(" --of \"{of}\""));
    let on = args.on.as_ref().map_or_else(String::new, |name| format!(" --on \"{name}\""));
    format!("tallow limit \"{}\" --every \"{}\"{of}{on} --reason \"{}\"", args.task, args.every, args.reason)
}

/// How many parts were of unknown age, in a sentence that begins with a blank; empty where there is none.
fn unknown_ages(n: usize) -> String {
    match n {
        0 => String::new(),
        1 => " One sat there when its machine joined, and is counted as if it had been new then.".to_owned(),
        n => format!(" {n} of them sat there when their machine joined, and are counted as if they had been new then."),
    }
}

/// Writes the charts into the file that was named, and files beside it.
fn save_all(context: &Context, charts: &[Chart], svg: Option<&PathBuf>) -> Result<(), Trouble> {
    let Some(path) = svg else { return Ok(()) };
    if charts.is_empty() {
        return context.out.line(format!("\nThere is nothing to draw yet: {} is not written.", path.display()));
    }
    charts.iter().enumerate().try_for_each(|(place, chart)| {
        let name = if place == 0 { path.clone() } else { path.with_extension(format!("{place}.svg")) };
        save(context, chart, Some(&name))
    })
}

/// With fewer failures clocks are not compared: one failure suits any clock.
const COMPARED: usize = 2;

/// Which clock the wear runs on, and how sure that is.
fn clocks(context: &Context, lives: &KindLives) -> Result<(), Trouble> {
    context.out.line("\nBy which clock they fail:\n")?;
    let mut table = Table::new([("clock", Align::Left), ("evidence", Align::Right), ("half live to", Align::Right)]);
    for told in &lives.told {
        table.row([one_row(told), chance(told.share), half_words(told)], Dress::Plain);
    }
    context.out.table(&table)?;
    context.out.prose("", sure_words(lives))
}

/// The age to which half of them live.
fn half_words(told: &Told) -> String {
    match (&told.fit, told.unexplained) {
        (_, 1..) => "a failure without use".to_owned(),
        (Ok(fit), _) => age_words(&told.clock, fit.law().median()),
        (Err(_), _) => "no law".to_owned(),
    }
}

/// How sure it is which clock the wear runs on.
fn sure_words(lives: &KindLives) -> &'static str {
    let best = lives.told.first().map_or(0.0, |told| told.share);
    match best {
        _ if lives.told.len() == 1 => "All clocks advance alike here, so that nothing tells them apart.",
        share if 0.9 <= share => "The first explains the failures far better than the others.",
        share if 0.5 <= share => "The first explains them best, but the others are not ruled out.",
        _ => "The failures are too few, or the clocks too much alike here, to tell them apart.",
    }
}

/// A clock with those that tell the same here.
fn one_row(told: &Told) -> String {
    match &told.same[..] {
        [] => told.clock.to_string(),
        same => {
            let same: Vec<String> = same.iter().map(Clock::to_string).collect();
            format!("{} (here the same: {})", told.clock, same.join("; "))
        }
    }
}

/// The law in words, with what the lives leave open; `None` without one.
fn law_words(told: &Told, level: Level) -> Result<Option<String>, Trouble> {
    let Ok(fit) = &told.fit else { return Ok(None) };
    let law = fit.law();
    let few = told.few();
    let bounds = |of| match &few {
        Some(few) => few.band(of, level).map(|[lower, upper]| Bounds { lower: Some(lower), upper: Some(upper) }),
        None => fit.profile(of, level),
    };
    let bounds = |of| bounds(of).map_err(|error| Trouble::refused(error.to_string()));
    let (b10, shape) = (bounds(Of::Quantile(0.1))?, bounds(Of::Shape)?);
    let number = |bound: Option<f64>| bound.map_or_else(|| "no bound".to_owned(), |shape| format!("{shape:.2}"));
    let ten = law.quantile(0.1).map_err(|error| Trouble::refused(error.to_string()))?;
    Ok(Some(format!(
        "By {} a tenth fails by {} ({} to {}), half by {}. The shape is {:.2} ({} to {}): {}. The ranges hold {} %.",
        clock_words(&told.clock),
        age_words(&told.clock, ten),
        bound_words(&told.clock, b10.lower),
        bound_words(&told.clock, b10.upper),
        age_words(&told.clock, law.median()),
        law.shape(),
        number(shape.lower),
        number(shape.upper),
        shape_words(law.shape(), shape.lower, shape.upper),
        (level.get() * 100.0).round()
    )))
}

/// An end of a range of ages; what rounds to nothing, or has no end, bounds nothing.
fn bound_words(clock: &Clock, bound: Option<f64>) -> String {
    let words = bound.filter(|age| age.is_finite()).map(|age| age_words(clock, age));
    words.filter(|words| !words.starts_with("0 ")).unwrap_or_else(|| "no bound".to_owned())
}

fn shape_words(shape: f64, lower: Option<f64>, upper: Option<f64>) -> &'static str {
    match (lower, upper) {
        (Some(lower), _) if 1.0 < lower => "old parts fail more often than young ones",
        (_, Some(upper)) if upper < 1.0 => "young parts fail more often than old ones",
        _ if 1.0 < shape => "old parts seem to fail more often, but that may be chance",
        _ => "no sign that old parts fail more often than young ones",
    }
}

/// Whether the machines may be taken together; `None` with one alone.
fn pooled_words(lives: &KindLives, materials: &Materials) -> Option<String> {
    let (pooling, machines) = lives.alike(materials)?;
    let failures = lives.count(Ending::Failed);
    let words = match pooling.ratio.chance {
        _ if failures < FEW => {
            format!("Too few failures to tell whether the machines ({}) wear them alike.", machines.join(", "))
        }
        p if p < 0.05 => format!(
            "The machines ({}) do not wear these parts alike (likelihood ratio, {}): what is said of all holds for none of \
             them exactly.",
            machines.join(", "),
            p_words(p)
        ),
        p if (failures as f64) < TRUSTED => format!(
            "No difference between the machines ({}) is shown (likelihood ratio, {}), but {failures} failures would show a \
             large one only.",
            machines.join(", "),
            p_words(p)
        ),
        p => {
            format!("The machines ({}) may be taken together (likelihood ratio, {}).", machines.join(", "), p_words(p))
        }
    };
    Some(words)
}

fn still_there(context: &Context, lives: &KindLives, materials: &Materials) -> Result<(), Trouble> {
    let Some(told) = lives.best_clock() else { return Ok(()) };
    let there: Vec<&Stay> = lives.stays.iter().filter(|stay| stay.end == Ending::StillThere).collect();
    let chances: Vec<_> =
        there.iter().filter_map(|stay| Some((*stay, lives.fails_within(stay, AHEAD, materials)?))).collect();
    if chances.is_empty() {
        return Ok(());
    }
    context.out.line("")?;
    context.out.prose("", &format!("Still there, with ages by {}:", clock_words(&told.clock)))?;
    context.out.line("")?;
    let columns = [
        ("machine", Align::Left),
        ("position", Align::Left),
        ("age", Align::Right),
        ("fails in 4 weeks", Align::Right),
    ];
    let mut table = Table::new(columns);
    for (stay, chance_to_fail) in chances {
        let age = age_words(&told.clock, told.clock.age_of(stay, materials));
        table.row([stay.machine.clone(), stay.position.clone(), age, chance(chance_to_fail)], Dress::Plain);
    }
    context.out.table(&table)?;
    let rests = if lives.leans_on_belief() {
        "averages over what the lives and what is believed of such parts leave open of the law"
    } else {
        "is the likeliest law's"
    };
    let pace = lives.per_year(&told.clock, materials) * AHEAD / 365.25;
    let pace = age_words(&told.clock, pace);
    let words = match &told.clock {
        Clock::Days => format!("The chance {rests}."),
        Clock::Meter { .. } => {
            format!(
                "The chance {rests}, and goes by the mean pace of the kind, {pace} in four weeks, not by the machine's own."
            )
        }
    };
    context.out.prose("", &words)
}

/// Whether a verdict rests on costs.
fn weighs_money(verdict: &Verdict) -> bool {
    matches!(verdict, Verdict::NoGain | Verdict::Unsure { .. } | Verdict::Replace { .. })
}

/// The advice in words that do not say more than the lives do.
fn verdict_words(advice: &Advice, costs: &Money, level: Level) -> String {
    let Costs { planned, failure } = costs.costs;
    let money = format!(
        "a planned replacement at {} and a failure at {}{}",
        costs.words(planned),
        costs.words(failure),
        costs.grounds.words()
    );
    let age = |age: f64| age_words(&advice.clock, age);
    let failures = advice.failures;
    let per_year = |rate: Option<f64>| rate.map_or_else(|| "?".to_owned(), |rate| format!("{rate:.0}"));
    let today = match advice.today {
        Some(at) => {
            format!("{} a year and position as today, replaced at {}", per_year(advice.today_per_year), age(at))
        }
        None if advice.goes_worn => {
            format!("{} a year and position run until they fail", per_year(advice.to_failure_per_year))
        }
        None => format!("{} a year and position as today, run until they fail", per_year(advice.today_per_year)),
    };
    let by = format!("by {}", clock_words(&advice.clock));
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
            let from = band.age.lower.map_or_else(String::new, |lower| format!(", and any age from {} up is possible", age(lower)));
            format!(
                "{failures} failures: the likeliest law would replace at {} {by} ({} instead of {today}, with {money}), but the \
                 lives do not rule out laws by which replacing early gains nothing{from}. Keep the build's limits for now.",
                age(best.age),
                per_year(advice.best_per_year),
            )
        }
        Verdict::Replace { best, band } => {
            let [from, to] = [band.age.lower, band.age.upper].map(|end| bound_words(&advice.clock, end));
            format!(
                "{failures} failures: replace at {} {by} ({from} to {to} by what the lives leave open at {} %). With {money} that costs \
                 {} instead of {today}; against running to failure the saving lies between {:.0} and {:.0} %.",
                age(best.age),
                (level.get() * 100.0).round(),
                per_year(advice.best_per_year),
                band.saving[0] * 100.0,
                band.saving[1] * 100.0
            )
        }
    }
}

impl Said<'_> {
    /// The life curve with its law, and the cost curve where there is a law; in this order.
    fn charts(&self, advice: &Advice) -> Result<Vec<Chart>, Trouble> {
        let Some(told) = self.lives.best_clock() else { return Ok(Vec::new()) };
        let Ok(fit) = &told.fit else { return Ok(Vec::new()) };
        let law = fit.law();
        let (size, symbol) = large_unit(&advice.clock);
        let unit = match advice.clock.quantity() {
            None => symbol.to_owned(),
            Some(quantity) => format!("{quantity}, {symbol}{}", weights(&advice.clock)),
        };
        let mut layers = curve_layers(&told.lives, self.level);
        let far = 1.3 * law.quantile(0.9).map_err(|error| Trouble::refused(error.to_string()))?;
        let line = (0..=60).map(|step| far * f64::from(step) / 60.0).map(|age| [age, law.survival(age)]);
        layers.push(Layer::Dashed(line.collect(), "law"));
        let curve = Chart {
            title: format!("{}: still good", self.lives.kind),
            says: "The share of parts still good by age: steps are the records, the dashed line is the law.".to_owned(),
            x: Axis { label: String::new(), scale: Scale::Linear },
            y: Axis { label: "share still good".to_owned(), scale: Scale::Linear },
            layers,
        };
        let mut charts = vec![curve.x_in(size, unit.clone())];
        // Drawn in units that read well, the costs by the unit, too.
        let law = Law::weibull(law.shape(), law.scale() / size).map_err(|error| Trouble::refused(error.to_string()))?;
        let Costs { planned, failure } = self.costs.costs;
        if let Ok(policy) = life::AgeReplacement::new(law, planned, failure)
            && weighs_money(&advice.verdict)
        {
            let money = if self.costs.currency.is_empty() { "costs" } else { self.costs.currency.as_str() };
            let per = format!("{money} per {}", symbol.strip_suffix('s').unwrap_or(symbol));
            let drawn = match &advice.verdict {
                Verdict::Replace { band, .. } | Verdict::Unsure { band, .. } => {
                    let in_unit = |end: Option<f64>| end.map(|age| age / size);
                    let age = Bounds { lower: in_unit(band.age.lower), upper: in_unit(band.age.upper) };
                    with_band(replace_chart(&policy, law, &per)?, age)
                }
                _ => replace_chart(&policy, law, &per)?,
            };
            charts.push(drawn.x_in(1.0, format!("age at which parts are replaced, {unit}")));
        }
        Ok(charts)
    }
}

/// The unit in which a part's age reads well, with its size in that of the clock.
fn large_unit(clock: &Clock) -> (f64, &'static str) {
    match clock.quantity().map(|quantity| quantity.unit()) {
        None => (1.0, "days"),
        Some(Unit::Metre) => (1e3, "km"),
        Some(Unit::Second) => (3600.0, "h"),
        Some(Unit::Kilogram) => (1.0, "kg"),
        Some(other) => (1.0, crate::commands::symbol(other)),
    }
}

impl Said<'_> {
    fn shape(&self) -> Value {
        let (lives, materials, money) = (&self.lives, &self.shop.materials, &self.costs);
        let advice = lives.advice(money.costs, self.level, materials);
        let told = lives.told.iter().map(|told| {
            let law = told.fit.as_ref().ok().map(life::Fit::law);
            json!({
                "clock": told.clock.to_string(), "same": told.same.iter().map(Clock::to_string).collect::<Vec<_>>(),
                "evidence": told.share, "unexplained": told.unexplained,
                "shape": law.map(|law| law.shape()), "scale": law.map(|law| law.scale()),
            })
        });
        let stays = lives.stays.iter().map(|stay| {
            let clock = advice.as_ref().map(|advice| &advice.clock);
            let chance = (stay.end == Ending::StillThere).then(|| lives.fails_within(stay, AHEAD, materials)).flatten();
            json!({
                "machine": stay.machine, "position": stay.position, "from": stay.from.to_string(),
                "to": stay.to.to_string(), "end": end_word(stay.end),
                "age": clock.map(|clock| clock.age_of(stay, materials)), "fails_within_4_weeks": chance,
            })
        });
        let best = advice.as_ref().and_then(|advice| match &advice.verdict {
            Verdict::Replace { best, band } | Verdict::Unsure { best, band } => Some((best.age, band.age)),
            _ => None,
        });
        let limits = advice.iter().flat_map(|advice| &advice.limits).map(|wanted| {
            json!({ "task": wanted.task, "of": wanted.of.map(|of| of.to_string()), "every": wanted.every,
                    "carried": wanted.is_carried })
        });
        json!({
            "build": self.build, "kind": lives.kind, "unknown_age": lives.of_unknown_age(),
            "clocks": told.collect::<Vec<_>>(), "stays": stays.collect::<Vec<_>>(),
            "verdict": advice.as_ref().map(|advice| verdict_word(&advice.verdict)), "level": self.level.get(),
            "failures": advice.as_ref().map(|advice| advice.failures), "best_age": best.map(|(age, _)| age),
            "best_age_bounds": best.map_or([None, None], |(_, bounds)| [bounds.lower, bounds.upper]),
            "limits": limits.collect::<Vec<_>>(),
            "planned_cost": money.costs.planned, "failure_cost": money.costs.failure,
            "today_age": advice.as_ref().and_then(|advice| advice.today),
            "cost_per_year_today": advice.as_ref().and_then(|advice| advice.today_per_year),
            "cost_per_year": advice.as_ref().and_then(|advice| advice.best_per_year),
            "cost_per_year_run_to_failure": advice.as_ref().and_then(|advice| advice.to_failure_per_year),
            "alike": lives.alike(materials).map(|(pooling, _)| pooling.ratio.chance),
        })
    }
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

/// The lives by each build's best clock as a table that `tallow life` reads, in the units of the screen.
fn csv(context: &Context, all: &[(&String, KindLives)]) -> Result<(), Trouble> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let broken = |error: csv::Error| Trouble::refused(format!("the table can't be written: {error}"));
    writer.write_record(["time", "event", "entry", "upper", "build", "clock", "unit"]).map_err(broken)?;
    for (build, lives) in all {
        let Some(told) = lives.best_clock() else { continue };
        let (size, unit) = large_unit(&told.clock);
        let age = |age: f64| (age / size).to_string();
        for life in &told.lives {
            let (time, event, upper) = match life.end() {
                End::Failed(time) => (time, "1", String::new()),
                End::Good(time) => (time, "0", String::new()),
                End::Between(from, to) => (from, "1", age(to)),
            };
            let (clock, entry) = (told.clock.to_string(), age(life.entry()));
            writer.write_record([age(time).as_str(), event, &entry, &upper, build, &clock, unit]).map_err(broken)?;
        }
    }
    let text = writer.into_inner().map_err(|error| Trouble::refused(format!("the table can't be written: {error}")))?;
    // OK because every cell is text.
    context.out.verbatim(&String::from_utf8_lossy(&text))
}
