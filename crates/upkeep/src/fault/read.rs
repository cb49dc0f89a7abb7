//! From text to [`Faults`]: the file of a build, and the files that it takes from.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

use super::knowledge::{Cause, Check, Faults, Remedy, RemedyKind, Symptom, Work};
use super::measured::{Limits, What};
use super::{Grade, shipped::SHARED};
use crate::build::check::{names, parse};
use crate::build::error::Report;
use crate::build::raw::{Section, Value, all};
use crate::build::{self, Build, BuildErrors, Position, SignalWord, State, task};
use crate::supply::Kind;

const TOP: &[&str] = &["take", "symptom", "cause", "check"];
const SYMPTOM: &[&str] = &["name", "aliases", "about", "leak", "stop"];
const CAUSE: &[&str] = &["name", "at", "on", "mode", "weight", "shows", "remedy"];
const REMEDY: &[&str] = &["task", "care", "replace", "steps", "minutes", "money", "state", "qualified", "caution"];
const CHECK: &[&str] = &[
    "name",
    "at",
    "on",
    "steps",
    "minutes",
    "money",
    "state",
    "qualified",
    "caution",
    "tells",
    "otherwise",
    "measured",
];
const MEASURED: &[&str] = &["what", "unit", "below", "above"];

/// Where the keys are told.
const GUIDE: &str = "docs/FAULTS.md";

/// The longest time of one step, min.
const LONGEST_MIN: f64 = 24.0 * 60.0;

/// Reads the file and what it takes.
pub(super) fn faults(file: &str, text: &str, build: &Build) -> Result<Faults, BuildErrors> {
    let report = Report::new(GUIDE);
    let taken = parse(text, &report).and_then(|document| {
        let top = Section::new("a file of faults", 0..0, document.get_ref(), TOP, &report);
        let shared = SHARED.map(|(name, text)| (name, (name, text)));
        top.get("take").map_or(Some(Vec::new()), |value| {
            let items = value.list()?;
            let taken = all(items.iter().map(|item| item.choice(shared)))?;
            let again = (0..taken.len()).find(|&place| taken[..place].contains(&taken[place]));
            again.map_or(Some(()), |place| {
                items[place].refuse(format!("\"{}\" is taken twice", taken[place].0), "take it once");
                None
            })?;
            Some(taken)
        })
    });
    // Keys of the file are looked at again with all that it takes.
    let Some(taken) = taken else { return Err(refused(report, file, text)) };
    let faults = Faults { symptoms: vec![], causes: vec![], checks: vec![] };
    let mut reading = Reading { build, faults, causes: vec![], places: BTreeMap::new() };
    let files: Vec<(&str, &str)> = taken.into_iter().chain([(file, text)]).collect();
    let files = || files.iter().enumerate().map(|(place, &(name, text))| File { place, name, text });
    for pass in [Pass::Symptoms, Pass::Causes, Pass::Checks] {
        for file in files() {
            let report = Report::new(GUIDE);
            reading.pass(pass, file, &report);
            report.finish(file.name, file.text).map_or(Ok(()), Err)?;
        }
    }
    Ok(reading.faults)
}

fn refused(report: Report, file: &str, text: &str) -> BuildErrors {
    // OK because whoever answers `None` has noted why.
    report.finish(file, text).unwrap_or_else(|| unreachable!("faults that cannot be read have at least one error"))
}

/// What is read in one go through the files: symptoms before the causes that show them, causes before their checks.
#[derive(Clone, Copy)]
enum Pass {
    Symptoms,
    Causes,
    Checks,
}

struct Reading<'a> {
    build: &'a Build,
    faults: Faults,
    /// The names of all causes, also of those for which the build has no position.
    causes: Vec<String>,
    /// The file of everything that was read and where it stands there, by its kind and title in small letters.
    places: BTreeMap<(&'static str, String), (usize, String)>,
}

/// A file that is read.
#[derive(Clone, Copy)]
struct File<'a> {
    place: usize,
    name: &'a str,
    text: &'a str,
}

impl<'a> Reading<'a> {
    fn pass(&mut self, pass: Pass, file: File<'_>, report: &Report) -> Option<()> {
        let document = parse(file.text, report)?;
        let top = Section::new("a file of faults", 0..0, document.get_ref(), TOP, report);
        let (key, what, keys) = match pass {
            Pass::Symptoms => ("symptom", "a symptom", SYMPTOM),
            Pass::Causes => ("cause", "a cause", CAUSE),
            Pass::Checks => ("check", "a check", CHECK),
        };
        let sections = top.get(key)?.sections(what, keys)?;
        names(&sections, key);
        for section in &sections {
            match pass {
                Pass::Symptoms => self.symptom(section, file),
                Pass::Causes => self.cause(section, file),
                Pass::Checks => self.check(section, file),
            };
        }
        Some(())
    }

    fn symptom(&mut self, section: &Section<'_>, file: File<'_>) -> Option<()> {
        let name = section.need("name").and_then(|value| value.name());
        let aliases = section.names("aliases");
        let about = section.need("about").and_then(|value| value.prose());
        let leak = section.need("leak").and_then(|value| grade(&value));
        let stop = section.get("stop").map_or(Some(None), |value| value.prose().map(Some));
        let symptom = Symptom { name: name?, aliases: aliases?, about: about?, leak: leak?, stop: stop? };
        self.place("symptom", &symptom.name, section, file)?;
        self.faults.symptoms.push(symptom);
        Some(())
    }

    /// Keeps where something stands; refuses what stood in another file before.
    fn place(&mut self, kind: &'static str, title: &str, section: &Section<'_>, file: File<'_>) -> Option<()> {
        let before = self.places.entry((kind, title.to_lowercase()));
        let Entry::Occupied(before) = before else {
            let line = file.text[..section.span.start].matches('\n').count() + 1;
            before.or_insert((file.place, format!("{}, line {line}", file.name)));
            return Some(());
        };
        let (other, stands) = before.get();
        // Within one file names were compared before.
        if *other != file.place {
            let found = format!("there are two {kind}s \"{title}\", the other in {stands}");
            section.report.add(&section.span_of("name"), found, "give each a name of its own; case does not count");
        }
        None
    }

    fn cause(&mut self, section: &Section<'_>, file: File<'_>) -> Option<()> {
        let name = section.need("name").and_then(|value| value.name());
        let places = self.places(section);
        let mode = section.need("mode").and_then(|value| value.name());
        let weight = section.need("weight").and_then(|value| grade(&value));
        let symptoms: Vec<String> = self.faults.symptoms.iter().map(|symptom| symptom.name.clone()).collect();
        let shows = section.need("shows").and_then(|value| grades(&value, "symptom", &symptoms));
        let remedy = section.need("remedy").and_then(|value| value.section("a remedy", REMEDY));
        let (name, mode, weight, shows, remedy) = (name?, mode?, weight?, shows?, remedy?);
        let Some(places) = places? else {
            section.report.add(&section.span, "this cause says nowhere where it sits", WHERE);
            return None;
        };
        self.causes.push(name.clone());
        for position in places {
            let remedy = self.remedy(&remedy, position)?;
            let (name, at, mode) = (name.clone(), position.name.clone(), mode.clone());
            let cause = Cause { name, at, mode, weight, shows: shows.clone(), remedy };
            self.place("cause", &cause.title(), section, file)?;
            self.faults.causes.push(cause);
        }
        Some(())
    }

    fn check(&mut self, section: &Section<'_>, file: File<'_>) -> Option<()> {
        let name = section.need("name").and_then(|value| value.name());
        let places = self.places(section);
        let otherwise = section.need("otherwise").and_then(|value| grade(&value));
        let known = self.causes.clone();
        let tells = section.need("tells").and_then(|value| grades(&value, "cause", &known));
        let work = work(section);
        let measured = measured(section);
        let (name, otherwise, tells, work, measured) = (name?, otherwise?, tells?, work?, measured?);
        let at: Vec<Option<&'a Position>> =
            places?.map_or(vec![None], |positions| positions.into_iter().map(Some).collect());
        for at in at {
            mains_is_for_the_qualified(section, &work, at);
            let told = self.faults.causes.iter().enumerate().filter_map(|(place, cause)| {
                let here = at.is_none_or(|position| position.name == cause.at);
                let grade = tells.iter().find(|(known_cause, _)| here && known[*known_cause] == cause.name)?.1;
                Some((place, grade))
            });
            let told: Vec<(usize, Grade)> = told.collect();
            if !told.is_empty() {
                let at = at.map(|position| position.name.clone());
                let check = Check { name: name.clone(), at, work: work.clone(), tells: told, otherwise, measured };
                self.place("check", &check.title(), section, file)?;
                self.faults.checks.push(check);
            }
        }
        Some(())
    }

    /// The positions that `at` names, or that are of the kinds `on`; `None` within where neither key is there.
    fn places(&self, section: &Section<'_>) -> Option<Option<Vec<&'a Position>>> {
        let names: Vec<String> = self.build.positions.iter().map(|position| position.name.clone()).collect();
        let positions = self.build.positions.iter();
        match (section.get("at"), section.get("on")) {
            (Some(at), Some(_)) => {
                at.refuse("\"at\" and \"on\" stand here together", WHERE);
                None
            }
            (Some(at), None) => {
                let at = at.one_of("position", &names)?;
                Some(Some(positions.filter(|position| position.name == at).collect()))
            }
            (None, Some(on)) => {
                let kinds = all(on.list()?.iter().map(kind))?;
                Some(Some(positions.filter(|position| kinds.contains(&position.kind.as_str())).collect()))
            }
            (None, None) => Some(None),
        }
    }

    fn remedy(&self, section: &Section<'_>, position: &Position) -> Option<Remedy> {
        let tasks: Vec<String> = self.build.tasks.iter().map(|task| task.name.clone()).collect();
        let care = section
            .get("care")
            .map_or(Some(None), |value| value.choice(build::Work::ALL.map(|work| (work.name(), work))).map(Some))?;
        let named = section.get("task").map_or(Some(None), |value| value.one_of("task", &tasks).map(Some))?;
        let task = self.build.tasks.iter().find(|task| match &named {
            Some(name) => task.name == *name,
            None => task.at == position.name && Some(task.work) == care,
        });
        if let Some(task) = task {
            let work = Work {
                steps: task.steps.clone(),
                minutes: task.minutes,
                money: 0.0,
                state: task.state,
                qualified: task.qualified,
                cautions: task.cautions.clone(),
            };
            return Some(Remedy { kind: RemedyKind::Task(task.name.clone()), work });
        }
        let replace = section.get("replace").map_or(Some(false), |value| value.boolean())?;
        let work = work(section)?;
        mains_is_for_the_qualified(section, &work, Some(position));
        Some(Remedy { kind: if replace { RemedyKind::Replace } else { RemedyKind::Setting }, work })
    }
}

/// How to say where something sits.
const WHERE: &str = "write at = \"a position\", or on = [\"a kind of part\"] for all positions of that kind";

fn kind(value: &Value<'_>) -> Option<&'static str> {
    value.choice(Kind::all().iter().map(|kind| (kind.name.as_str(), kind.name.as_str())))
}

fn grade(value: &Value<'_>) -> Option<Grade> {
    value.choice(Grade::ALL.map(|grade| (grade.name(), grade)))
}

/// A table of names with grades; names are among `known`.
fn grades(value: &Value<'_>, what: &'static str, known: &[String]) -> Option<Vec<(usize, Grade)>> {
    let entries = value.entries()?;
    if entries.is_empty() {
        value.refuse(format!("{} is empty", value.label), format!("name at least one {what}: \"…\" = \"often\""));
        return None;
    }
    all(entries.iter().map(|(key, value)| {
        let Some(place) = known.iter().position(|name| name == key.name) else {
            let found = format!("there is no {what} \"{}\"", key.name);
            value.report.add_unknown(&key.span, found, key.name, known.iter().map(String::as_str));
            return None;
        };
        Some((place, grade(value)?))
    }))
}

fn work(section: &Section<'_>) -> Option<Work> {
    let steps = section.need("steps").and_then(|value| task::steps(&value));
    let minutes = section.need("minutes").and_then(|value| value.between(0.5, LONGEST_MIN));
    let money = section.get("money").map_or(Some(0.0), |value| value.positive());
    let state = section.need("state").and_then(|value| value.choice(State::ALL.map(|state| (state.name(), state))));
    let qualified = section.get("qualified").map_or(Some(false), |value| value.boolean());
    let cautions = section.get("caution").map_or(Some(Vec::new()), |value| task::cautions(&value, steps.as_deref()));
    let work = Work {
        steps: steps?,
        minutes: minutes?,
        money: money?,
        state: state?,
        qualified: qualified?,
        cautions: cautions?,
    };
    if work.state == State::Hot && !work.cautions.iter().any(|caution| caution.word < SignalWord::Notice) {
        let help = "add caution = [{ word = \"warning\", text = \"…\" }]: what can happen, and how to avoid it";
        section.report.add(&section.span_of("state"), "work on a hot machine must carry a caution", help);
        return None;
    }
    Some(work)
}

/// The measurement that answers a check; `None` within where it has none.
fn measured(check: &Section<'_>) -> Option<Option<Limits>> {
    let Some(value) = check.get("measured") else { return Some(None) };
    let section = value.section("a measurement", MEASURED)?;
    let what = section.need("what").and_then(|value| value.choice(What::ALL.map(|what| (what.name(), what))));
    let unit = section.need("unit");
    let limit = |key| section.get(key).map_or(Some(None), |value| value.positive().map(Some));
    let (below, above) = (limit("below"), limit("above"));
    let (what, unit, below, above) = (what?, unit?, below?, above?);
    unit.choice([(what.unit(), ())])?;
    match (below, above) {
        (None, None) => {
            value.refuse("this measurement has no limit", "write below = a number, above = a number, or both")
        }
        (Some(below), Some(above)) if above <= below => {
            let found = format!("\"below\" is {below} and \"above\" is {above}, so that every value would mean yes");
            value.refuse(found, "of two limits \"below\" must be the smaller: yes is what lies outside");
        }
        _ => return Some(Some(Limits { what, below, above })),
    }
    None
}

/// Mains is looked at by anybody and opened by the qualified.
fn mains_is_for_the_qualified(section: &Section<'_>, work: &Work, position: Option<&Position>) {
    let Some(position) = position else { return };
    let is_mains = Kind::from_name(&position.kind).is_some_and(|kind| kind.mains);
    let warned = work.cautions.iter().any(|caution| caution.word <= SignalWord::Warning);
    if is_mains && !(work.qualified && warned) {
        let found = format!("\"{}\" carries mains voltage", position.name);
        let help = "add qualified = true and a caution whose word is \"danger\" or \"warning\"";
        section.report.add(&section.span, found, help);
    }
}
