//! Events as the columns of a row: a kind, what it is about, and the rest as readable JSON. Use is kept apart, as bytes.

use std::collections::BTreeMap;

use jiff::civil::Date;
use motion::Tool;
use serde::{Deserialize, Serialize, de::DeserializeOwned};
use upkeep::entry::{Basis, Because, OwnLimit, Queued, Run};
use upkeep::estimate::EXPECTED_SPREAD;
use upkeep::fault::said::{Answered, Asked, Over, OwnGrade, Shown, Was};
use upkeep::fault::{Answer, Grade};
use upkeep::shop::{Away, Counted, Keeper, Ordered, Received, Terms, ThrownAway, Visit};
use upkeep::{EntryId, Event, Material, Rates, Usage};

use crate::Kind;

/// An event without its use.
pub(crate) struct Columns {
    /// Which of the events it is.
    pub kind: Kind,
    /// The build, label, task, position, day, keeper or item; empty where the machine as a whole, or the shop, is meant.
    pub about: String,
    /// The rest, as a JSON object.
    pub body: String,
    /// Of the rest, as a JSON object too, what other runs of the same file say alike; `None` where that is not expected.
    pub alike: Option<String>,
}

/// The columns that `event` fills.
pub(crate) fn to_columns(event: &Event) -> Columns {
    let (about, body) = match event {
        Event::Added { build } => (build.clone(), String::from("{}")),
        Event::Run(run) if is_of_a_known_file(run) => (run.label.clone(), json(&RunBody::own(run))),
        Event::Run(run) => (run.label.clone(), json(&RunBody::from(run))),
        Event::Queued(queued) => (queued.label.clone(), json(&QueuedBody::from(queued))),
        Event::Done { task, supplies } => (task.clone(), json(&DoneBody { supplies: supplies.clone() })),
        Event::Replaced { position, because, spare } => {
            let body = ReplacedBody { because: because_to_word(*because).to_owned(), spare: spare.clone() };
            (position.clone(), json(&body))
        }
        Event::Failed { position, mode, found, mended } => {
            (position.clone(), json(&FailedBody { mode: mode.clone(), found: *found, mended: *mended }))
        }
        Event::Reading { position, what, value, unit } => {
            (position.clone(), json(&ReadingBody { what: what.clone(), value: *value, unit: unit.clone() }))
        }
        Event::HourMeter { hours, doubt, .. } => (String::new(), json(&HourMeterBody { hours: *hours, doubt: *doubt })),
        Event::Limit(own) => (own.task.clone(), json(&LimitBody::from(own))),
        Event::Age { position, of, amount } => {
            let body = AgeBody { of: of.clone(), amount: amount.clone() };
            (position.clone().unwrap_or_default(), json(&body))
        }
        Event::Rates(rates) => (String::new(), json(&RatesBody::from(rates))),
        Event::Visit(visit) => (visit.day.to_string(), json(&VisitBody::from(visit))),
        Event::Skipped { task, reason } => (task.clone(), json(&SkippedBody { reason: reason.clone() })),
        Event::Keeper(keeper) => (keeper.name.clone(), json(&KeeperBody::from(keeper))),
        Event::Away(away) => (away.keeper.clone(), json(&AwayBody::from(away))),
        Event::Ordered(ordered) => (ordered.item.clone(), json(&OrderedBody::from(ordered))),
        Event::Received(received) => (received.item.clone(), json(&ReceivedBody::from(received))),
        Event::Counted(Counted { item, amount }) => (item.clone(), json(&CountedBody { amount: amount.clone() })),
        Event::ThrownAway(ThrownAway { item, amount, why }) => {
            (item.clone(), json(&ThrownAwayBody { amount: amount.clone(), why: why.clone() }))
        }
        Event::Terms(terms) => (terms.item.clone(), json(&TermsBody::from(terms))),
        Event::FaultShown(Shown { symptoms }) => {
            (symptoms.first().cloned().unwrap_or_default(), json(&ShownBody { symptoms: symptoms.clone() }))
        }
        Event::FaultAnswered(answered) => (answered.fault.to_string(), json(&AnsweredBody::from(answered))),
        Event::FaultOver(Over { fault, was }) => (fault.to_string(), json(&OverBody::from(was))),
        Event::FaultGrade(own) => (own.cause.clone(), json(&GradeBody::from(own))),
        Event::Withdrawn => (String::new(), String::from("{}")),
    };
    Columns { kind: Kind::of(event), about, body, alike: alike(event) }
}

/// What a run says as others of the same file do; `None` where that is not expected.
fn alike(event: &Event) -> Option<String> {
    match event {
        Event::Run(run) if is_of_a_known_file(run) => Some(json(&RunBody { queued: None, ..RunBody::from(run) })),
        _ => None,
    }
}

/// Whether a run used what its file asks for: so does every other run of the file, whereas one that was stopped or estimated
/// used what no other did.
fn is_of_a_known_file(run: &Run) -> bool {
    run.program.is_some() && run.stopped.is_none() && run.basis == Basis::Metered
}

/// What the body of a run of a program holds, where it names it itself.
pub(crate) fn of_program(sha256: &str) -> String {
    format!("\"program\":{}", serde_json::Value::from(sha256))
}

/// The use that `event` carries in the column of its own; a queued run's is not yet on any meter.
pub(crate) fn usage_of(event: &Event) -> Option<&Usage> {
    match event {
        Event::Queued(queued) => Some(&queued.usage),
        _ => event.usage(),
    }
}

/// The event that the columns hold; `None` where they make no sense. `alike` is what a run says as others do.
pub(crate) fn from_columns(kind: Kind, about: String, body: &str, alike: Option<&str>, usage: Usage) -> Option<Event> {
    Some(match kind {
        Kind::Added => Event::Added { build: about },
        Kind::Run => {
            let own: RunBody = parse(body)?;
            let body = match alike {
                Some(alike) => RunBody { queued: own.queued, ..parse(alike)? },
                None => own,
            };
            Event::Run(body.into_run(about, usage))
        }
        Kind::Queued => Event::Queued(parse::<QueuedBody>(body)?.into_queued(about, usage)),
        Kind::Done => Event::Done { task: about, supplies: parse::<DoneBody>(body)?.supplies },
        Kind::Replaced => {
            let ReplacedBody { because, spare } = parse(body)?;
            Event::Replaced { position: about, because: because_from_word(&because)?, spare }
        }
        Kind::Failed => {
            let FailedBody { mode, found, mended } = parse(body)?;
            Event::Failed { position: about, mode, found, mended }
        }
        Kind::Reading => {
            let body: ReadingBody = parse(body)?;
            Event::Reading { position: about, what: body.what, value: body.value, unit: body.unit }
        }
        Kind::HourMeter => {
            let HourMeterBody { hours, doubt } = parse(body)?;
            Event::HourMeter { hours, unbooked: usage, doubt }
        }
        Kind::Limit => {
            let LimitBody { of, every, reason } = parse(body)?;
            Event::Limit(OwnLimit { task: about, of, every, reason })
        }
        Kind::Age => {
            let AgeBody { of, amount } = parse(body)?;
            Event::Age { position: Some(about).filter(|position| !position.is_empty()), of, amount }
        }
        Kind::Rates => Event::Rates(parse::<RatesBody>(body)?.into()),
        Kind::Visit => Event::Visit(parse::<VisitBody>(body)?.into_visit(about.parse().ok()?)),
        Kind::Skipped => Event::Skipped { task: about, reason: parse::<SkippedBody>(body)?.reason },
        Kind::Keeper => Event::Keeper(parse::<KeeperBody>(body)?.into_keeper(about)),
        Kind::Away => Event::Away(parse::<AwayBody>(body)?.into_away(about)),
        Kind::Ordered => Event::Ordered(parse::<OrderedBody>(body)?.into_ordered(about)),
        Kind::Received => Event::Received(parse::<ReceivedBody>(body)?.into_received(about)),
        Kind::Counted => Event::Counted(Counted { item: about, amount: parse::<CountedBody>(body)?.amount }),
        Kind::ThrownAway => {
            let ThrownAwayBody { amount, why } = parse(body)?;
            Event::ThrownAway(ThrownAway { item: about, amount, why })
        }
        Kind::Terms => Event::Terms(parse::<TermsBody>(body)?.into_terms(about)),
        Kind::FaultShown => Event::FaultShown(Shown { symptoms: parse::<ShownBody>(body)?.symptoms }),
        Kind::FaultAnswered => Event::FaultAnswered(parse::<AnsweredBody>(body)?.into_answered(fault_of(&about)?)?),
        Kind::FaultOver => {
            Event::FaultOver(Over { fault: fault_of(&about)?, was: parse::<OverBody>(body)?.into_was()? })
        }
        Kind::FaultGrade => Event::FaultGrade(parse::<GradeBody>(body)?.into_own(about)?),
        Kind::Withdrawn => Event::Withdrawn,
    })
}

fn json(body: &impl Serialize) -> String {
    // OK because these bodies hold only text, finite numbers and maps keyed by text or whole numbers.
    serde_json::to_string(body).expect("a body is plain data")
}

fn parse<T: DeserializeOwned>(body: &str) -> Option<T> {
    serde_json::from_str(body).ok()
}

#[derive(Default, Serialize, Deserialize)]
struct RunBody {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    program: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    stopped: Option<String>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    materials: BTreeMap<Tool, String>,
    /// Only where the use was estimated.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    spread: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    queued: Option<i64>,
}

impl From<&Run> for RunBody {
    fn from(run: &Run) -> RunBody {
        RunBody {
            program: run.program.clone(),
            stopped: run.stopped.clone(),
            materials: names_of(&run.materials),
            spread: match run.basis {
                Basis::Metered => None,
                Basis::Estimated { spread } => Some(spread),
            },
            queued: run.queued.map(|id| id.0),
        }
    }
}

impl RunBody {
    /// What no other run says.
    fn own(run: &Run) -> RunBody {
        RunBody { queued: run.queued.map(|id| id.0), ..RunBody::default() }
    }

    fn into_run(self, label: String, usage: Usage) -> Run {
        Run {
            label,
            program: self.program,
            stopped: self.stopped,
            materials: materials_of(&self.materials),
            usage,
            basis: self.spread.map_or(Basis::Metered, |spread| Basis::Estimated { spread }),
            queued: self.queued.map(EntryId),
        }
    }
}

#[derive(Serialize, Deserialize)]
struct QueuedBody {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    program: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    on: Option<Date>,
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    materials: BTreeMap<Tool, String>,
}

impl From<&Queued> for QueuedBody {
    fn from(queued: &Queued) -> QueuedBody {
        QueuedBody { program: queued.program.clone(), on: queued.on, materials: names_of(&queued.materials) }
    }
}

impl QueuedBody {
    fn into_queued(self, label: String, usage: Usage) -> Queued {
        Queued { label, program: self.program, on: self.on, materials: materials_of(&self.materials), usage }
    }
}

#[derive(Serialize, Deserialize)]
struct DoneBody {
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    supplies: BTreeMap<String, String>,
}

#[derive(Serialize, Deserialize)]
struct ReplacedBody {
    because: String,
    /// Left out where nobody said: so is that of every part replaced before this was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    spare: Option<String>,
}

#[derive(Serialize, Deserialize)]
struct FailedBody {
    mode: String,
    /// Left out where it was not: so is every failure of before this was asked.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    found: bool,
    /// Left out where it was not, or nobody was asked.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    mended: bool,
}

#[derive(Serialize, Deserialize)]
struct ReadingBody {
    what: String,
    value: f64,
    unit: String,
}

#[derive(Serialize, Deserialize)]
struct HourMeterBody {
    hours: f64,
    /// Left out by earlier versions: as large then as while the build alone tells.
    #[serde(default = "unknown_doubt")]
    doubt: f64,
}

fn unknown_doubt() -> f64 {
    EXPECTED_SPREAD
}

#[derive(Serialize, Deserialize)]
struct LimitBody {
    /// Left out for calendar time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    of: Option<String>,
    every: String,
    reason: String,
}

impl From<&OwnLimit> for LimitBody {
    fn from(own: &OwnLimit) -> LimitBody {
        LimitBody { of: own.of.clone(), every: own.every.clone(), reason: own.reason.clone() }
    }
}

#[derive(Serialize, Deserialize)]
struct AgeBody {
    /// Left out for calendar time.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    of: Option<String>,
    amount: String,
}

/// What is not said is left out.
#[derive(Serialize, Deserialize)]
struct RatesBody {
    #[serde(default, skip_serializing_if = "String::is_empty")]
    currency: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    labour_per_hour: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    standing_per_hour: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    nuisance: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    failed_print: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    damage: Option<f64>,
}

impl From<&Rates> for RatesBody {
    fn from(rates: &Rates) -> RatesBody {
        let Rates { currency, labour_per_hour, standing_per_hour, nuisance, failed_print, damage } = rates.clone();
        RatesBody { currency, labour_per_hour, standing_per_hour, nuisance, failed_print, damage }
    }
}

impl From<RatesBody> for Rates {
    fn from(body: RatesBody) -> Rates {
        let RatesBody { currency, labour_per_hour, standing_per_hour, nuisance, failed_print, damage } = body;
        Rates { currency, labour_per_hour, standing_per_hour, nuisance, failed_print, damage }
    }
}

/// The day is the column `about`: visits are looked for by it.
#[derive(Serialize, Deserialize)]
struct VisitBody {
    keeper: String,
    tasks: Vec<String>,
    minutes: f64,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    locked: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    took: Option<f64>,
}

impl From<&Visit> for VisitBody {
    fn from(visit: &Visit) -> VisitBody {
        let Visit { day: _, keeper, tasks, minutes, is_locked, took } = visit.clone();
        VisitBody { keeper, tasks, minutes, locked: is_locked, took }
    }
}

impl VisitBody {
    fn into_visit(self, day: Date) -> Visit {
        let VisitBody { keeper, tasks, minutes, locked, took } = self;
        Visit { day, keeper, tasks, minutes, is_locked: locked, took }
    }
}

#[derive(Serialize, Deserialize)]
struct SkippedBody {
    reason: String,
}

#[derive(Serialize, Deserialize)]
struct KeeperBody {
    /// From Monday on.
    minutes: [u16; 7],
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    skills: Vec<String>,
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    gone: bool,
}

impl From<&Keeper> for KeeperBody {
    fn from(keeper: &Keeper) -> KeeperBody {
        KeeperBody { minutes: keeper.minutes, skills: keeper.skills.clone(), gone: keeper.is_gone }
    }
}

impl KeeperBody {
    fn into_keeper(self, name: String) -> Keeper {
        Keeper { name, minutes: self.minutes, skills: self.skills, is_gone: self.gone }
    }
}

#[derive(Serialize, Deserialize)]
struct AwayBody {
    from: Date,
    to: Date,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    why: String,
}

impl From<&Away> for AwayBody {
    fn from(away: &Away) -> AwayBody {
        AwayBody { from: away.from, to: away.to, why: away.why.clone() }
    }
}

impl AwayBody {
    fn into_away(self, keeper: String) -> Away {
        Away { keeper, from: self.from, to: self.to, why: self.why }
    }
}

#[derive(Serialize, Deserialize)]
struct OrderedBody {
    amount: String,
    by: Date,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    supplier: String,
}

impl From<&Ordered> for OrderedBody {
    fn from(ordered: &Ordered) -> OrderedBody {
        let Ordered { item: _, amount, by, supplier } = ordered.clone();
        OrderedBody { amount, by, supplier }
    }
}

impl OrderedBody {
    fn into_ordered(self, item: String) -> Ordered {
        let OrderedBody { amount, by, supplier } = self;
        Ordered { item, amount, by, supplier }
    }
}

#[derive(Serialize, Deserialize)]
struct ReceivedBody {
    amount: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    price: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    expires: Option<Date>,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    supplier: String,
}

impl From<&Received> for ReceivedBody {
    fn from(received: &Received) -> ReceivedBody {
        let Received { item: _, amount, price, expires, supplier } = received.clone();
        ReceivedBody { amount, price, expires, supplier }
    }
}

impl ReceivedBody {
    fn into_received(self, item: String) -> Received {
        let ReceivedBody { amount, price, expires, supplier } = self;
        Received { item, amount, price, expires, supplier }
    }
}

#[derive(Serialize, Deserialize)]
struct CountedBody {
    amount: String,
}

#[derive(Serialize, Deserialize)]
struct ThrownAwayBody {
    amount: String,
    why: String,
}

#[derive(Serialize, Deserialize)]
struct TermsBody {
    #[serde(default, skip_serializing_if = "String::is_empty")]
    supplier: String,
    lead_days: u16,
    pack: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    price: Option<f64>,
    service: f64,
}

impl From<&Terms> for TermsBody {
    fn from(terms: &Terms) -> TermsBody {
        let Terms { item: _, supplier, lead_days, pack, price, service } = terms.clone();
        TermsBody { supplier, lead_days, pack, price, service }
    }
}

impl TermsBody {
    fn into_terms(self, item: String) -> Terms {
        let TermsBody { supplier, lead_days, pack, price, service } = self;
        Terms { item, supplier, lead_days, pack, price, service }
    }
}

#[derive(Serialize, Deserialize)]
struct ShownBody {
    symptoms: Vec<String>,
}

/// The fault is the column `about`: answers are looked for by it.
#[derive(Serialize, Deserialize)]
struct AnsweredBody {
    asked: String,
    name: String,
    answer: String,
    /// Only where a measurement answered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    chance: Option<f64>,
}

impl From<&Answered> for AnsweredBody {
    fn from(answered: &Answered) -> AnsweredBody {
        let asked = match answered.asked {
            Asked::Symptom(_) => "symptom",
            Asked::Check(_) => "check",
            Asked::Remedy(_) => "remedy",
            Asked::Stop(_) => "stop",
        };
        let (answer, chance) = match answered.answer {
            Answer::Yes => ("yes", None),
            Answer::No => ("no", None),
            Answer::CannotTell => ("can't tell", None),
            Answer::DidThatAlready => ("did that already", None),
            Answer::FixedIt => ("fixed it", None),
            Answer::Likely(chance) => ("measured", Some(chance)),
        };
        let name = answered.asked.name().to_owned();
        AnsweredBody { asked: asked.to_owned(), name, answer: answer.to_owned(), chance }
    }
}

impl AnsweredBody {
    fn into_answered(self, fault: EntryId) -> Option<Answered> {
        let asked = match self.asked.as_str() {
            "symptom" => Asked::Symptom(self.name),
            "check" => Asked::Check(self.name),
            "remedy" => Asked::Remedy(self.name),
            "stop" => Asked::Stop(self.name),
            _ => return None,
        };
        let answer = match (self.answer.as_str(), self.chance) {
            ("yes", _) => Answer::Yes,
            ("no", _) => Answer::No,
            ("can't tell", _) => Answer::CannotTell,
            ("did that already", _) => Answer::DidThatAlready,
            ("fixed it", _) => Answer::FixedIt,
            ("measured", Some(chance)) => Answer::Likely(chance),
            _ => return None,
        };
        Some(Answered { fault, asked, answer })
    }
}

#[derive(Serialize, Deserialize)]
struct OverBody {
    was: String,
    words: String,
}

impl From<&Was> for OverBody {
    fn from(was: &Was) -> OverBody {
        let kind = match was {
            Was::Cause(_) => "cause",
            Was::Unlisted(_) => "unlisted",
            Was::Unknown(_) => "unknown",
        };
        OverBody { was: kind.to_owned(), words: was.words().to_owned() }
    }
}

impl OverBody {
    fn into_was(self) -> Option<Was> {
        Some(match self.was.as_str() {
            "cause" => Was::Cause(self.words),
            "unlisted" => Was::Unlisted(self.words),
            "unknown" => Was::Unknown(self.words),
            _ => return None,
        })
    }
}

/// The number of a fault, of a column `about`.
fn fault_of(about: &str) -> Option<EntryId> {
    about.parse().ok().map(EntryId)
}

#[derive(Serialize, Deserialize)]
struct GradeBody {
    finding: String,
    grade: String,
    reason: String,
}

impl From<&OwnGrade> for GradeBody {
    fn from(own: &OwnGrade) -> GradeBody {
        GradeBody { finding: own.finding.clone(), grade: own.grade.name().to_owned(), reason: own.reason.clone() }
    }
}

impl GradeBody {
    fn into_own(self, cause: String) -> Option<OwnGrade> {
        let grade = Grade::ALL.into_iter().find(|grade| grade.name() == self.grade)?;
        Some(OwnGrade { cause, finding: self.finding, grade, reason: self.reason })
    }
}

fn names_of(materials: &BTreeMap<Tool, Material>) -> BTreeMap<Tool, String> {
    materials.iter().map(|(&tool, material)| (tool, material.name().to_owned())).collect()
}

fn materials_of(names: &BTreeMap<Tool, String>) -> BTreeMap<Tool, Material> {
    names.iter().map(|(&tool, name)| (tool, Material::new(name))).collect()
}

fn because_to_word(because: Because) -> &'static str {
    match because {
        Because::Failed => "failed",
        Because::Worn => "worn",
        Because::Good => "good",
    }
}

fn because_from_word(word: &str) -> Option<Because> {
    [Because::Failed, Because::Worn, Because::Good].into_iter().find(|&because| because_to_word(because) == word)
}
