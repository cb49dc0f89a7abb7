//! `tallow lives`: how long parts live here, by the shop's own records, and what that advises.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;

use jiff::Timestamp;
use ledger::{Filter, Kind, Ledger};
use life::{Level, Of};
use motion::Unit;
use serde_json::{Value, json};
use upkeep::lives::{Advice, Clock, Costs, Ending, KindLives, Records, Stay, Told, Verdict};
use upkeep::{Build, Entry, Materials, amount, nearest};

use crate::chart::{Axis, Chart, Layer, Scale};
use crate::cli;
use crate::commands::life::{curve_layers, replace_chart, save};
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;
use crate::words;

/// With fewer failures a comparison of machines is too rough to be told. Judgement, no source.
const FEW: usize = 5;

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
            let shop = Shop::read(&ledger, None).await?;
            let kinds = shop.named(name)?;
            let mut shapes = Vec::new();
            let mut charts = Vec::new();
            for (build, kind) in kinds {
                let lives = shop.lives(build, &kind, context.now);
                let costs = Costs { planned: args.planned_cost, failure: args.failure_cost };
                if args.csv {
                    csv(context, &lives, &shop.materials)?;
                } else if context.json {
                    shapes.push(shape(build, &lives, costs, level, &shop.materials));
                } else {
                    charts.extend(detail(context, build, &lives, costs, level, &shop.materials)?);
                }
            }
            if context.json {
                return context.out.json(&shapes.into());
            }
            save_all(context, &charts, args.svg.as_ref())
        }
    }
}

/// The shop's records, machines of one build together.
struct Shop {
    builds: BTreeMap<String, (Arc<Build>, Vec<Vec<Entry>>)>,
    materials: Materials,
}

impl Shop {
    /// Reads all machines; or one, `like`, and some of the same build.
    async fn read(ledger: &Ledger, like: Option<&str>) -> Result<Shop, Trouble> {
        let mut builds: BTreeMap<String, (Arc<Build>, Vec<Vec<Entry>>)> = BTreeMap::new();
        let mut machines = ledger.machines().await?;
        if let Some(place) = machines.iter().position(|machine| Some(machine.name.as_str()) == like) {
            let one = machines.remove(place);
            machines.retain(|machine| machine.build == one.build);
            machines.truncate(ALIKE - 1);
            machines.push(one);
        }
        for machine in machines {
            let entries = ledger.effective(&machine.name).await?;
            if !builds.contains_key(&machine.build) {
                builds.insert(machine.build.clone(), (ledger.build(&machine.build).await?, Vec::new()));
            }
            if let Some((_, machines)) = builds.get_mut(&machine.build) {
                machines.push(entries);
            }
        }
        if builds.is_empty() {
            return Err(no_machine());
        }
        Ok(Shop { builds, materials: context::materials(ledger).await? })
    }

    fn lives(&self, build: &str, kind: &str, now: Timestamp) -> KindLives {
        let (build, machines) = &self.builds[build];
        let records: Vec<Records<'_>> = machines.iter().map(|entries| Records { build, entries }).collect();
        // OK because the kind is one of the build's, which at least one machine has.
        KindLives::of(kind, &records, &self.materials, now).expect("a kind of the build's own")
    }

    /// The kinds of part of every build, each once.
    fn kinds(&self) -> Vec<(&str, String)> {
        let mut kinds: Vec<(&str, String)> = Vec::new();
        for (name, (build, _)) in &self.builds {
            for position in &build.positions {
                if !kinds.iter().any(|(other, kind)| other == name && *kind == position.kind) {
                    kinds.push((name, position.kind.clone()));
                }
            }
        }
        kinds
    }

    /// The kinds that are meant by a kind's or a position's name.
    fn named(&self, name: &str) -> Result<Vec<(&str, String)>, Trouble> {
        let wanted = name.trim().to_lowercase();
        let kinds = self.kinds();
        let is_meant = |build: &str, kind: &String| {
            let positions = &self.builds[build].0.positions;
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

/// A part's chance to fail soon.
pub(super) struct Hazard {
    /// Where it sits.
    pub(super) position: String,
    chance: f64,
    failures: usize,
}

impl Hazard {
    /// The chance in words, with what it rests on.
    pub(super) fn words(&self) -> String {
        let failures = words::count(self.failures as u64, "failures");
        format!("{} chance to fail within four weeks, by {failures} of its kind here", words::percent(self.chance))
    }
}

/// The chances of a machine's parts to fail soon, of those whose kind has failed on machines of its build.
///
/// # Errors
/// Where the shop can't be read.
pub(super) async fn hazards(ledger: &Ledger, machine: &str, now: Timestamp) -> Result<Vec<Hazard>, Trouble> {
    let shop = Shop::read(ledger, Some(machine)).await?;
    let mut hazards = Vec::new();
    for (build, kind) in shop.kinds() {
        let lives = shop.lives(build, &kind, now);
        let failures = lives.count(Ending::Failed);
        let there =
            lives.stays.iter().filter(|stay| 0 < failures && stay.machine == machine && stay.end == Ending::StillThere);
        hazards.extend(there.filter_map(|stay| {
            let chance = lives.fails_within(stay, AHEAD, &shop.materials)?;
            Some(Hazard { position: stay.position.clone(), chance, failures })
        }));
    }
    Ok(hazards)
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
    let mut entries: BTreeMap<String, Vec<Entry>> = BTreeMap::new();
    for kind in [Kind::Added, Kind::Failed, Kind::Replaced] {
        let filter = Filter { kind: Some(kind), ..Filter::default() };
        for listed in ledger.entries(&filter, u32::MAX).await? {
            if listed.replaced_by.is_none() {
                entries.entry(listed.entry.machine.clone()).or_default().push(listed.entry);
            }
        }
    }
    let mut stays: BTreeMap<(String, String), Vec<Stay>> = BTreeMap::new();
    for machine in machines {
        let Some(own) = entries.get_mut(&machine.name) else { continue };
        own.sort_by_key(|entry| (entry.at, entry.id));
        let build = ledger.build(&machine.build).await?;
        for stay in upkeep::lives::stays(&build, None, own, context.now) {
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
    costs: Costs,
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
            "{failed} failed, {worn} replaced worn, {good} replaced good, {still} still there. {} of them sat there when \
             their machine joined, and are counted as if they had been new then.",
            lives.first()
        ),
    )?;
    let Some(advice) = lives.advice(costs, level, materials) else { return Ok(Vec::new()) };
    if 0 < failed {
        clocks(context, lives)?;
        if let Some(told) = lives.best_clock() {
            law(context, told, level)?;
        }
        pooled(context, lives, materials)?;
    }
    still_there(context, lives, materials)?;
    out.line("")?;
    out.prose("", &verdict_words(&advice, costs))?;
    let charts = charts(lives, &advice, costs, level)?;
    for chart in &charts {
        out.verbatim(&format!("\n{}", chart.text(out.width())))?;
    }
    Ok(charts)
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
    let bounds = |of| fit.profile(of, level).map_err(|error| Trouble::refused(error.to_string()));
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
fn verdict_words(advice: &Advice, costs: Costs) -> String {
    let Costs { planned, failure } = costs;
    let money = format!("a planned replacement at {planned} and a failure at {failure}");
    let age = |age: f64| age_words(&advice.clock, age);
    let failures = advice.failures;
    let per_year = |rate: Option<f64>| rate.map_or_else(|| "?".to_owned(), |rate| format!("{rate:.0}"));
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
                "{failures} failures: the likeliest law would replace at {} ({} instead of {} a year and position, with \
                 {money}), but the lives do not rule out laws by which replacing early gains nothing{from}. Keep the build's limits for now.",
                age(best.age),
                per_year(advice.best_per_year),
                per_year(advice.to_failure_per_year)
            )
        }
        Verdict::Replace { best, band } => {
            let [from, to] = [band.age.lower, band.age.upper].map(|end| end.map_or_else(|| "?".to_owned(), age));
            format!(
                "{failures} failures: replace at {} ({from} to {to} by what the lives leave open). With {money} that costs {} a \
                 year and position instead of {} when run to failure; the saving lies between {:.0} and {:.0} %. To make it the \
                 shop's own limit: tallow limit TASK --every AMOUNT --reason \"{failures} failures\".",
                age(best.age),
                per_year(advice.best_per_year),
                per_year(advice.to_failure_per_year),
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
    if let Ok(policy) = life::AgeReplacement::new(law, costs.planned, costs.failure)
        && chosen
    {
        charts.push(replace_chart(&policy, law)?.x_in(size, format!("age at which parts are replaced, {unit}")));
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

fn shape(build: &str, lives: &KindLives, costs: Costs, level: Level, materials: &Materials) -> Value {
    let advice = lives.advice(costs, level, materials);
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
        "build": build, "kind": lives.kind, "first": lives.first(), "clocks": told.collect::<Vec<_>>(),
        "stays": stays.collect::<Vec<_>>(), "verdict": advice.as_ref().map(|advice| verdict_word(&advice.verdict)),
        "failures": advice.as_ref().map(|advice| advice.failures), "best_age": best.map(|(age, _)| age),
        "best_age_bounds": best.map_or([None, None], |(_, bounds)| [bounds.lower, bounds.upper]),
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
fn csv(context: &Context, lives: &KindLives, materials: &Materials) -> Result<(), Trouble> {
    let Some(told) = lives.best_clock() else { return Ok(()) };
    let mut text = String::from("time,event\n");
    for stay in &lives.stays {
        let age = told.clock.age_of(stay, materials);
        text += &format!("{age},{}\n", u8::from(stay.end == Ending::Failed));
    }
    context.out.verbatim(&text)
}
