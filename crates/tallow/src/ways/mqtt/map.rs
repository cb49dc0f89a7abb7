//! What messages mean: topics and places in payloads, as a shop's map names them, to facts.
//!
//! Pure, and made to be fed anything: no message makes it panic, and what can't be read is told with where and why.

use std::collections::BTreeMap;
use std::fmt;

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// The largest payload that is looked into, bytes. Judgement, no source: what tells of a print is a few hundred.
const LARGEST: usize = 1 << 20;

/// The longest name of a file or machine, characters; a longer one is cut off.
const LONGEST_NAME: usize = 200;

/// From this number on a time is in milliseconds since 1970, below in seconds: as seconds it would be the year 5138, as
/// milliseconds it is 1973.
const MILLISECONDS_FROM: f64 = 1e11;

/// What messages mean.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields, rename_all = "kebab-case")]
pub(crate) struct Map {
    /// What is printed where no message says, as `--material` takes it.
    pub(crate) material: Vec<String>,
    /// The names of machines that topics name otherwise.
    pub(crate) machines: BTreeMap<String, String>,
    /// What tells that a print started.
    pub(crate) start: Vec<StartRule>,
    /// What tells that a print goes on.
    pub(crate) progress: Vec<ProgressRule>,
    /// What tells that a print ended.
    pub(crate) end: Vec<EndRule>,
    /// What tells a measured value.
    pub(crate) reading: Vec<ReadingRule>,
    /// What tells a machine's hour meter.
    pub(crate) hour_meter: Vec<HourMeterRule>,
}

impl Map {
    /// The machines that it names.
    pub(crate) fn machines(&self) -> impl Iterator<Item = &str> {
        fn on<R: Rule>(rules: &[R]) -> impl Iterator<Item = &str> {
            rules.iter().filter_map(Rule::on)
        }
        let named = on(&self.start).chain(on(&self.progress)).chain(on(&self.end)).chain(on(&self.reading));
        named.chain(on(&self.hour_meter)).chain(self.machines.values().map(String::as_str))
    }
}

/// A message that tells that a print started.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct StartRule {
    pub(crate) topic: Topic,
    /// The machine, where the topic does not name it.
    pub(crate) on: Option<String>,
    /// Which messages are meant; all of the topic if left out.
    pub(crate) only: Option<Only>,
    /// When it started.
    pub(crate) time: Option<Pointer>,
    pub(crate) label: Option<Pointer>,
    pub(crate) sha256: Option<Pointer>,
    pub(crate) material: Option<Pointer>,
}

/// A message that tells that a print goes on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ProgressRule {
    pub(crate) topic: Topic,
    pub(crate) on: Option<String>,
    pub(crate) only: Option<Only>,
    /// When that was so.
    pub(crate) time: Option<Pointer>,
}

/// A message that tells that a print ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct EndRule {
    pub(crate) topic: Topic,
    pub(crate) on: Option<String>,
    /// Which words tell that it ended, and how; each message of the topic tells of a finished print if left out.
    pub(crate) outcome: Option<OutcomeWords>,
    /// When it ended.
    pub(crate) time: Option<Pointer>,
    /// When it started.
    pub(crate) start: Option<Pointer>,
    pub(crate) hours: Option<Pointer>,
    /// In place of hours.
    pub(crate) seconds: Option<Pointer>,
    pub(crate) grams: Option<Pointer>,
    pub(crate) label: Option<Pointer>,
    pub(crate) sha256: Option<Pointer>,
    pub(crate) material: Option<Pointer>,
}

/// A message that tells a measured value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ReadingRule {
    pub(crate) topic: Topic,
    pub(crate) on: Option<String>,
    pub(crate) value: Pointer,
    pub(crate) time: Option<Pointer>,
    /// The position of the machine's build where it was measured.
    pub(crate) position: String,
    /// What was measured.
    pub(crate) what: String,
    pub(crate) unit: String,
    /// A value that differs by more than this from the one kept last is kept before the hour is over.
    pub(crate) step: Option<f64>,
}

/// A message that tells a machine's hour meter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct HourMeterRule {
    pub(crate) topic: Topic,
    pub(crate) on: Option<String>,
    pub(crate) hours: Option<Pointer>,
    /// In place of hours.
    pub(crate) seconds: Option<Pointer>,
    pub(crate) time: Option<Pointer>,
}

/// Which messages of a topic are meant: those in which a word stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Only {
    pub(crate) at: Pointer,
    pub(crate) is: Vec<String>,
}

/// Which words tell how a print ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct OutcomeWords {
    pub(crate) at: Pointer,
    #[serde(default)]
    pub(crate) finished: Vec<String>,
    #[serde(default)]
    pub(crate) stopped: Vec<String>,
}

/// What every rule has.
pub(crate) trait Rule {
    /// The word of its table in a map.
    const WORD: &'static str;
    fn topic(&self) -> &Topic;
    fn on(&self) -> Option<&str>;
}

macro_rules! rules {
    ($($rule:ty, $word:literal;)*) => {
        $(impl Rule for $rule {
            const WORD: &'static str = $word;
            fn topic(&self) -> &Topic {
                &self.topic
            }
            fn on(&self) -> Option<&str> {
                self.on.as_deref()
            }
        })*
    };
}

rules! {
    StartRule, "start";
    ProgressRule, "progress";
    EndRule, "end";
    ReadingRule, "reading";
    HourMeterRule, "hour-meter";
}

/// A topic with a place for a machine's name, `hall/{machine}/state`, or with `+` for any level.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub(crate) struct Topic(String);

const MACHINE: &str = "{machine}";
const ANY: &str = "+";

impl Topic {
    /// Whether it says where a machine's name stands.
    pub(crate) fn names_a_machine(&self) -> bool {
        self.0.split('/').any(|level| level == MACHINE)
    }

    /// What a broker is asked for (MQTT 3.1.1, § 4.7).
    pub(crate) fn filter(&self) -> String {
        self.0.replace(MACHINE, ANY)
    }

    /// The level of a topic in which this one has its machine, empty where it has none; `None` where they don't fit.
    fn machine<'a>(&self, topic: &'a str) -> Option<&'a str> {
        let (mut machine, mut levels) = ("", topic.split('/'));
        for wanted in self.0.split('/') {
            let level = levels.next()?;
            match wanted {
                MACHINE if level.is_empty() || level.chars().any(char::is_control) => return None,
                MACHINE => machine = level,
                ANY => {}
                wanted if wanted == level => {}
                _ => return None,
            }
        }
        levels.next().is_none().then_some(machine)
    }
}

impl TryFrom<String> for Topic {
    type Error = String;

    fn try_from(text: String) -> Result<Topic, String> {
        if text.is_empty() || text.starts_with('$') || text.chars().any(char::is_control) {
            return Err(format!("\"{}\" is no topic that machines publish to", text.escape_debug()));
        }
        for level in text.split('/') {
            if level != ANY && level.contains(['+', '#']) {
                return Err(format!(
                    "\"{level}\" in the topic \"{text}\": + stands for one whole level, and # is not taken"
                ));
            }
            if level != MACHINE && level.contains(['{', '}']) {
                return Err(format!("\"{level}\" in the topic \"{text}\": {MACHINE} stands for one whole level"));
            }
        }
        match text.split('/').filter(|level| *level == MACHINE).count() {
            0 | 1 => Ok(Topic(text)),
            _ => Err(format!("the topic \"{text}\" names its machine more than once")),
        }
    }
}

impl From<Topic> for String {
    fn from(topic: Topic) -> String {
        topic.0
    }
}

impl fmt::Display for Topic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A place in a payload, as a JSON Pointer (RFC 6901); empty for the payload as a whole, which then need not be JSON.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub(crate) struct Pointer(String);

impl TryFrom<String> for Pointer {
    type Error = String;

    fn try_from(text: String) -> Result<Pointer, String> {
        let is_escaped = text.split('~').skip(1).all(|after| after.starts_with(['0', '1']));
        match is_escaped && (text.is_empty() || text.starts_with('/')) {
            true => Ok(Pointer(text)),
            false => Err(format!(
                "\"{text}\" is no JSON Pointer: write \"/job/name\" for the name in the job, and \"\" for all of it"
            )),
        }
    }
}

impl From<Pointer> for String {
    fn from(pointer: Pointer) -> String {
        pointer.0
    }
}

/// How an instant is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum By {
    /// The message says it.
    Message,
    /// It is when the message came.
    Arrival,
    /// It is when the message came, which may be long after it was sent.
    LateArrival,
}

/// When something was.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct When {
    pub(crate) at: Timestamp,
    pub(crate) by: By,
}

impl When {
    /// The instant, where the message itself says it.
    pub(crate) fn told(self) -> Option<Timestamp> {
        (self.by == By::Message).then_some(self.at)
    }

    /// The instant, where it is known well enough to reckon with.
    pub(crate) fn sure(self) -> Option<Timestamp> {
        (self.by != By::LateArrival).then_some(self.at)
    }
}

/// That a print started.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Began {
    pub(crate) when: When,
    pub(crate) label: Option<String>,
    pub(crate) sha256: Option<String>,
    pub(crate) material: Option<String>,
}

/// That a print ended.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Ended {
    pub(crate) when: When,
    pub(crate) is_stopped: bool,
    pub(crate) start: Option<Timestamp>,
    pub(crate) hours: Option<f64>,
    pub(crate) grams: Option<f64>,
    pub(crate) label: Option<String>,
    pub(crate) sha256: Option<String>,
    pub(crate) material: Option<String>,
}

/// A measured value.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Measured {
    pub(crate) when: When,
    pub(crate) position: String,
    pub(crate) what: String,
    pub(crate) value: f64,
    pub(crate) unit: String,
    pub(crate) step: Option<f64>,
}

/// What a message tells of a machine.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Fact {
    Start(Began),
    Progress(When),
    End(Ended),
    Reading(Measured),
    HourMeter { when: When, hours: f64 },
}

impl Fact {
    fn when_mut(&mut self) -> &mut When {
        match self {
            Fact::Start(Began { when, .. })
            | Fact::Progress(when)
            | Fact::End(Ended { when, .. })
            | Fact::Reading(Measured { when, .. })
            | Fact::HourMeter { when, .. } => when,
        }
    }

    /// Whether the message itself says when that was.
    pub(crate) fn tells_its_time(&self) -> bool {
        self.clone().when_mut().told().is_some()
    }

    /// The same of a message that may have been sent long before it came.
    pub(crate) fn late(mut self) -> Fact {
        let when = self.when_mut();
        if when.by == By::Arrival {
            when.by = By::LateArrival;
        }
        self
    }
}

/// What can't be read of a message that is meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Unreadable {
    /// What is wrong, and where.
    pub(crate) why: String,
    /// The beginning of the message, by which it is told from others.
    pub(crate) text: String,
    /// Whether the message told of a print's end, of which a run is now lacking.
    pub(crate) is_of_an_end: bool,
}

/// Something that a message tells, of this machine.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Meant {
    pub(crate) machine: String,
    pub(crate) what: Result<Fact, Unreadable>,
}

/// What a message tells that came at `at`: in the order of starts, progress, ends, hour meters, readings, and of each in the map's.
/// Nothing where the map means none such.
pub(crate) fn facts(map: &Map, topic: &str, payload: &[u8], at: Timestamp) -> Vec<Meant> {
    let message = Message { map, topic, bytes: payload, payload: Payload::of(payload), at };
    let mut all = Vec::new();
    message.read(&map.start, &mut all, Message::start);
    message.read(&map.progress, &mut all, Message::progress);
    message.read(&map.end, &mut all, Message::end);
    message.read(&map.hour_meter, &mut all, Message::hour_meter);
    message.read(&map.reading, &mut all, Message::reading);
    all
}

/// What stands in a message.
enum Payload {
    Json(Value),
    /// A word, or several.
    Text(String),
    /// Neither, and why.
    Neither(String),
}

impl Payload {
    fn of(bytes: &[u8]) -> Payload {
        if LARGEST < bytes.len() {
            return Payload::Neither(format!("it has {} bytes, more than any that tells of a print", bytes.len()));
        }
        let text = match str::from_utf8(bytes) {
            Ok(text) => text.trim(),
            Err(error) => return Payload::Neither(format!("byte {} is no text (UTF-8)", error.valid_up_to() + 1)),
        };
        match serde_json::from_str(text) {
            Ok(value) => Payload::Json(value),
            Err(error) if text.starts_with(['{', '[', '"']) => Payload::Neither(format!("it is no JSON: {error}")),
            Err(_) => Payload::Text(text.to_owned()),
        }
    }

    /// The value at a place; `None` where nothing stands.
    fn at(&self, pointer: &Pointer) -> Result<Option<Plain<'_>>, String> {
        let value = match self {
            Payload::Json(value @ (Value::String(_) | Value::Number(_) | Value::Bool(_))) if !pointer.0.is_empty() => {
                return Err(no_place(&value.to_string(), pointer));
            }
            Payload::Json(value) => value.pointer(&pointer.0),
            Payload::Text(text) if pointer.0.is_empty() => {
                return Ok(Some(Plain::Text(text)).filter(|_| !text.is_empty()));
            }
            Payload::Text(text) if text.is_empty() => return Ok(None),
            Payload::Text(text) => return Err(no_place(text, pointer)),
            Payload::Neither(why) => return Err(why.clone()),
        };
        match value {
            None | Some(Value::Null) => Ok(None),
            Some(Value::String(text)) if text.trim().is_empty() => Ok(None),
            Some(Value::String(text)) => Ok(Some(Plain::Text(text.trim()))),
            Some(Value::Number(number)) => Ok(Some(Plain::Number(number.to_string()))),
            Some(Value::Bool(word)) => Ok(Some(Plain::Text(if *word { "true" } else { "false" }))),
            Some(Value::Array(_) | Value::Object(_)) => {
                Err(format!("at \"{}\" stands no single word or number", pointer.0))
            }
        }
    }
}

fn no_place(text: &str, pointer: &Pointer) -> String {
    format!("\"{}\" is no JSON in which \"{}\" could stand", shown(text), pointer.0)
}

/// A word or a number.
enum Plain<'a> {
    Text(&'a str),
    Number(String),
}

impl Plain<'_> {
    fn text(&self) -> &str {
        match self {
            Plain::Text(text) => text,
            Plain::Number(number) => number,
        }
    }
}

/// A message, as rules read it.
struct Message<'a> {
    map: &'a Map,
    topic: &'a str,
    bytes: &'a [u8],
    payload: Payload,
    at: Timestamp,
}

impl Message<'_> {
    /// What all rules of a kind read in it.
    fn read<R: Rule>(
        &self,
        rules: &[R],
        all: &mut Vec<Meant>,
        read: impl Fn(&Self, &R) -> Result<Option<Fact>, String>,
    ) {
        for rule in rules {
            let Some(level) = rule.topic().machine(self.topic) else { continue };
            let machine = rule.on().or(self.map.machines.get(level).map(String::as_str)).unwrap_or(level);
            let what = read(self, rule).map_err(|why| Unreadable {
                why: format!("a message on {} (as {}): {why}", shown(self.topic), R::WORD),
                text: shown(&String::from_utf8_lossy(&self.bytes[..self.bytes.len().min(4 * LONGEST_NAME)])),
                is_of_an_end: R::WORD == EndRule::WORD,
            });
            all.extend(what.transpose().map(|what| Meant { machine: machine.to_owned(), what }));
        }
    }

    fn start(&self, rule: &StartRule) -> Result<Option<Fact>, String> {
        if !self.is_meant(rule.only.as_ref())? {
            return Ok(None);
        }
        Ok(Some(Fact::Start(Began {
            when: self.when(rule.time.as_ref())?,
            label: self.name(rule.label.as_ref())?,
            sha256: self.sha256(rule.sha256.as_ref())?,
            material: self.name(rule.material.as_ref())?,
        })))
    }

    fn progress(&self, rule: &ProgressRule) -> Result<Option<Fact>, String> {
        match self.is_meant(rule.only.as_ref())? {
            true => Ok(Some(Fact::Progress(self.when(rule.time.as_ref())?))),
            false => Ok(None),
        }
    }

    fn end(&self, rule: &EndRule) -> Result<Option<Fact>, String> {
        let Some(is_stopped) = self.is_stopped(rule.outcome.as_ref())? else { return Ok(None) };
        Ok(Some(Fact::End(Ended {
            when: self.when(rule.time.as_ref())?,
            is_stopped,
            start: self.instant(rule.start.as_ref())?,
            hours: self.hours(rule.hours.as_ref(), rule.seconds.as_ref())?,
            grams: self.size(rule.grams.as_ref())?,
            label: self.name(rule.label.as_ref())?,
            sha256: self.sha256(rule.sha256.as_ref())?,
            material: self.name(rule.material.as_ref())?,
        })))
    }

    fn hour_meter(&self, rule: &HourMeterRule) -> Result<Option<Fact>, String> {
        let hours = self.hours(rule.hours.as_ref(), rule.seconds.as_ref())?;
        let when = self.when(rule.time.as_ref())?;
        Ok(hours.map(|hours| Fact::HourMeter { when, hours }))
    }

    fn reading(&self, rule: &ReadingRule) -> Result<Option<Fact>, String> {
        let Some(value) = self.number(Some(&rule.value))? else { return Ok(None) };
        Ok(Some(Fact::Reading(Measured {
            when: self.when(rule.time.as_ref())?,
            position: rule.position.clone(),
            what: rule.what.clone(),
            value,
            unit: rule.unit.clone(),
            step: rule.step,
        })))
    }

    fn is_meant(&self, only: Option<&Only>) -> Result<bool, String> {
        let Some(only) = only else { return Ok(true) };
        Ok(self.payload.at(&only.at)?.is_some_and(|word| is_among(&only.is, word.text())))
    }

    /// Whether it tells of a print that stopped early; `None` where it tells of no end.
    fn is_stopped(&self, outcome: Option<&OutcomeWords>) -> Result<Option<bool>, String> {
        let Some(outcome) = outcome else { return Ok(Some(false)) };
        Ok(self.payload.at(&outcome.at)?.and_then(|word| match word.text() {
            word if is_among(&outcome.finished, word) => Some(false),
            word if is_among(&outcome.stopped, word) => Some(true),
            _ => None,
        }))
    }

    fn at(&self, pointer: Option<&Pointer>) -> Result<Option<Plain<'_>>, String> {
        pointer.map_or(Ok(None), |pointer| self.payload.at(pointer))
    }

    fn name(&self, pointer: Option<&Pointer>) -> Result<Option<String>, String> {
        Ok(self.at(pointer)?.map(|plain| shown(plain.text())))
    }

    fn sha256(&self, pointer: Option<&Pointer>) -> Result<Option<String>, String> {
        let Some(plain) = self.at(pointer)? else { return Ok(None) };
        let text = plain.text();
        match text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            true => Ok(Some(text.to_lowercase())),
            false => Err(format!("\"{}\" is no SHA-256 of 64 hexadecimal digits", shown(text))),
        }
    }

    fn number(&self, pointer: Option<&Pointer>) -> Result<Option<f64>, String> {
        let Some(plain) = self.at(pointer)? else { return Ok(None) };
        match plain.text().parse().ok().filter(|number: &f64| number.is_finite()) {
            None => Err(format!("\"{}\" is no number", shown(plain.text()))),
            number => Ok(number),
        }
    }

    /// A number that is not negative.
    fn size(&self, pointer: Option<&Pointer>) -> Result<Option<f64>, String> {
        match self.number(pointer)? {
            Some(number) if number < 0.0 => Err(format!("{number} is negative")),
            number => Ok(number),
        }
    }

    fn hours(&self, hours: Option<&Pointer>, seconds: Option<&Pointer>) -> Result<Option<f64>, String> {
        match self.size(hours)? {
            None => Ok(self.size(seconds)?.map(|seconds| seconds / 3600.0)),
            hours => Ok(hours),
        }
    }

    fn when(&self, pointer: Option<&Pointer>) -> Result<When, String> {
        Ok(match self.instant(pointer)? {
            Some(at) => When { at, by: By::Message },
            None => When { at: self.at, by: By::Arrival },
        })
    }

    fn instant(&self, pointer: Option<&Pointer>) -> Result<Option<Timestamp>, String> {
        let Some(plain) = self.at(pointer)? else { return Ok(None) };
        let text = plain.text();
        let read = match text.parse::<f64>() {
            Ok(number) => since_1970(number),
            Err(_) => text.parse().ok(),
        };
        match read {
            None => Err(format!(
                "\"{}\" is no time: neither as 2026-11-25T08:00:00Z nor seconds or milliseconds since 1970",
                shown(text)
            )),
            read => Ok(read),
        }
    }
}

/// The instant of so many seconds or milliseconds since 1970.
fn since_1970(number: f64) -> Option<Timestamp> {
    let seconds = if number < MILLISECONDS_FROM { number } else { number / 1000.0 };
    // A clock that was never set counts from 1970, or shows 0.
    let span = SignedDuration::try_from_secs_f64(seconds).ok().filter(|_| 1.0 <= seconds)?;
    Timestamp::UNIX_EPOCH.checked_add(span).ok()
}

/// Whether a word is one of some, whatever their case.
fn is_among(words: &[String], word: &str) -> bool {
    words.iter().any(|one| one.to_lowercase() == word.to_lowercase())
}

/// A text as messages can show it: in one line, and not too long.
fn shown(text: &str) -> String {
    let plain = |letter: char| if letter.is_control() { ' ' } else { letter };
    let shown: String = text.chars().take(LONGEST_NAME).map(plain).collect();
    if text.chars().nth(LONGEST_NAME).is_some() { format!("{shown}…") } else { shown }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const AT: &str = "2026-11-25T14:30:00Z";

    fn at() -> Timestamp {
        AT.parse().unwrap()
    }

    fn map(text: &str) -> Map {
        toml::from_str(text).unwrap()
    }

    /// What a message means by a map, of the one rule that it has.
    fn read(text: &str, topic: &str, payload: &str) -> Option<Result<Fact, Unreadable>> {
        facts(&map(text), topic, payload.as_bytes(), at()).pop().map(|meant| meant.what)
    }

    fn when(payload: &str) -> Result<When, String> {
        match read("[[progress]]\ntopic = 'a'\non = 'b'\ntime = ''", "a", payload).unwrap() {
            Ok(Fact::Progress(when)) => Ok(when),
            Ok(other) => panic!("{other:?}"),
            Err(wrong) => Err(wrong.why),
        }
    }

    #[test]
    fn a_topic_tells_the_machine() {
        let machine =
            |pattern: &str, topic: &str| Topic::try_from(pattern.to_owned()).unwrap().machine(topic).map(str::to_owned);
        assert_eq!(machine("loft/{machine}/job", "loft/clove hitch/job").as_deref(), Some("clove hitch"));
        assert_eq!(machine("+/{machine}", "any/bowline").as_deref(), Some("bowline"));
        assert_eq!(machine("loft/+/job", "loft/x/job").as_deref(), Some(""));
        for other in ["loft/bowline", "loft/bowline/job/more", "Loft/bowline/job", "loft//job", "loft/a\u{1b}b/job", ""]
        {
            assert_eq!(machine("loft/{machine}/job", other), None, "{other}");
        }
        for wrong in ["", "#", "loft/#", "loft/a+/job", "{machine}/{machine}", "loft/x{machine}", "$SYS/uptime", "{m}"]
        {
            assert!(Topic::try_from(wrong.to_owned()).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_topic_that_names_machines_otherwise_is_told_their_names() {
        let map = map("machines = { s7 = 'clove hitch' }\n[[progress]]\ntopic = 'loft/{machine}/job'");
        let machine = |topic: &str| facts(&map, topic, b"", at()).pop().unwrap().machine;
        assert_eq!(machine("loft/s7/job"), "clove hitch");
        assert_eq!(machine("loft/bowline/job"), "bowline");
    }

    #[test]
    fn times_are_read_as_text_and_since_1970() {
        // 25 November 2026, 08:00 UTC, is 1 795 593 600 s after 1970 began: 20 782 days of 86 400 s, and 8 h.
        let eight: Timestamp = "2026-11-25T08:00:00Z".parse().unwrap();
        assert_eq!(eight.as_second(), 20_782 * 86_400 + 8 * 3600);
        for text in
            ["\"2026-11-25T09:00:00+01:00\"", "1795593600", "1795593600000", "\"1795593600\"", "2026-11-25T08:00:00Z"]
        {
            assert_eq!(when(text), Ok(When { at: eight, by: By::Message }), "{text}");
        }
        for text in ["", "null", "\"\""] {
            assert_eq!(when(text), Ok(When { at: at(), by: By::Arrival }), "{text}");
        }
        for text in ["0", "-5", "1e300", "\"nan\"", "\"yesterday\"", "\"2026-11-25T08:00\"", "[]", "{}", "{"] {
            assert!(when(text).is_err(), "{text}: {:?}", when(text));
        }
    }

    #[test]
    fn words_tell_how_a_print_ended() {
        let rule =
            "[[end]]\ntopic = 'a'\non = 'b'\noutcome = { at = '/is', finished = ['done'], stopped = ['off', '7'] }";
        let stopped = |payload: &str| match read(rule, "a", payload) {
            Some(Ok(Fact::End(ended))) => Some(ended.is_stopped),
            None => None,
            other => panic!("{other:?}"),
        };
        assert_eq!(stopped(r#"{"is": "Done"}"#), Some(false));
        assert_eq!(stopped(r#"{"is": "off"}"#), Some(true));
        assert_eq!(stopped(r#"{"is": 7}"#), Some(true));
        assert_eq!(stopped(r#"{"is": "at work"}"#), None);
        assert_eq!(stopped(r#"{"other": "done"}"#), None);
    }

    #[test]
    fn numbers_may_come_as_text_and_alone() {
        let rule = |pointer: &str| format!("[[hour-meter]]\ntopic = 'a'\non = 'b'\nhours = '{pointer}'");
        let hours = |pointer: &str, payload: &str| match read(&rule(pointer), "a", payload) {
            Some(Ok(Fact::HourMeter { hours, .. })) => Some(hours),
            _ => None,
        };
        assert_eq!(hours("", " 120.5 "), Some(120.5));
        assert_eq!(hours("", "\"120.5\""), Some(120.5));
        assert_eq!(hours("/a~1b/0", r#"{"a/b": ["7"]}"#), Some(7.0));
        for (pointer, payload) in
            [("/h", "120"), ("/h", r#"{"h": -1}"#), ("", "many"), ("", "inf"), ("/h", r#"{"h": true}"#)]
        {
            assert!(read(&rule(pointer), "a", payload).unwrap().is_err(), "{pointer} {payload}");
        }
        for (pointer, payload) in [("/h", "{}"), ("/h", r#"{"h": null}"#), ("", "")] {
            assert_eq!(read(&rule(pointer), "a", payload), None, "{pointer} {payload}");
        }
    }

    #[test]
    fn what_cannot_be_read_is_told_with_its_topic_and_reason() {
        let rule = "[[end]]\ntopic = 'loft/{machine}'\nsha256 = '/sum'";
        let wrong = |payload: &str| read(rule, "loft/bowline", payload).unwrap().unwrap_err();
        assert!(wrong("{\"sum\":").why.contains("loft/bowline"));
        assert!(wrong("{\"sum\":").why.contains("column"));
        assert!(wrong("{\"sum\": \"12ab\"}").why.contains("SHA-256"));
        assert!(wrong("word").is_of_an_end);
        let bytes = facts(&map(rule), "loft/bowline", &[b'{', 0xff], at()).pop().unwrap().what.unwrap_err();
        assert!(bytes.why.contains("byte 2"), "{}", bytes.why);
        assert!(Payload::of(&vec![b' '; LARGEST + 1]).at(&Pointer(String::new())).is_err());
    }

    /// A map that looks everywhere at once.
    const ALL: &str = "
        machines = { s1 = 'bowline' }
        [[start]]
        topic = '{machine}/+'
        only = { at = '/a', is = ['x'] }
        time = '/t'
        label = '/b'
        sha256 = '/s'
        [[progress]]
        topic = '{machine}/+'
        time = ''
        [[end]]
        topic = '{machine}/+'
        start = '/t'
        time = '/a'
        hours = '/b/0'
        seconds = '/s'
        grams = ''
        [[reading]]
        topic = '{machine}/+'
        value = '/a'
        position = 'bed'
        what = 'temperature'
        unit = '°C'
        [[hour-meter]]
        topic = '{machine}/+'
        hours = '/b'";

    proptest! {
        #[test]
        fn no_message_makes_it_panic(topic in "\\PC{0,6}/\\PC{0,6}", payload in prop::collection::vec(any::<u8>(), 0..64)) {
            facts(&map(ALL), &topic, &payload, at());
        }

        #[test]
        fn no_json_makes_it_panic(
            key in "[abst]", value in prop_oneof![
                "\\PC{0,12}".prop_map(Value::from), any::<f64>().prop_map(Value::from), any::<i64>().prop_map(Value::from),
                Just(Value::Null), Just(serde_json::json!(["1", {}])), any::<bool>().prop_map(Value::from),
            ]
        ) {
            let payload = serde_json::json!({ key: value }).to_string();
            for meant in facts(&map(ALL), "s1/x", payload.as_bytes(), at()) {
                prop_assert_eq!(&meant.machine, "bowline");
                if let Ok(Fact::HourMeter { hours, .. }) = meant.what {
                    prop_assert!(hours.is_finite() && 0.0 <= hours);
                }
            }
        }
    }
}
