//! What is known of a machine from what was heard of it: the print that is open, and what follows from those that ended.
//!
//! Pure, and the same whatever is told twice: a message that says when something was is known again by that, one that does not by
//! its packet. Whatever follows stands in [`Watched::due`] until it is done, so that all is kept in one row of the shop.

use std::collections::{BTreeMap, VecDeque};

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use super::map::{Began, Ended, Fact, Measured, Unreadable, When};
use crate::commands::run::Told;

/// How often a reading is kept, unless it moved.
const READING_EVERY: SignedDuration = SignedDuration::from_hours(1);

/// By how much an hour meter must have grown.
const HOURS_STEP: f64 = 1.0;

/// Progress is noted when it is later by this, so that a print that tells of itself each second is not written down each second.
const PROGRESS_STEP: SignedDuration = SignedDuration::from_secs(30);

/// Two starts told by one machine that are no farther apart are of one print: the message of its start and that of its end may
/// take it from different places. Judgement, no source.
const SAME_START: SignedDuration = SignedDuration::from_secs(60);

/// Of how many prints it is remembered that they are over; the ledger knows the older ones again.
const REMEMBERED: usize = 16;

/// Of how many messages it is remembered that they came. Brokers keep some dozens unacknowledged.
const MESSAGES: usize = 100;

/// What is known of a machine.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(crate) struct Watched {
    open: Option<Open>,
    /// What was last told of an end.
    ended: Option<Ended>,
    over: VecDeque<Over>,
    /// The last message of an end that can't be read.
    wrong: Option<String>,
    /// The readings that were kept last, by position and name.
    kept: BTreeMap<String, Kept>,
    /// The hours that were kept last.
    hours: Option<f64>,
    /// The messages from which this followed.
    came: VecDeque<Packet>,
    /// What is to be done.
    pub(crate) due: Vec<Due>,
}

/// A print that goes on, as far as is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Open {
    began: Began,
    /// When it was last heard of.
    last: Option<Timestamp>,
}

/// A print that is over, by the times that messages told.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Over {
    start: Option<Timestamp>,
    end: Option<Timestamp>,
}

#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct Kept(Timestamp, f64);

/// By what a broker's second delivery of a message is known: its packet identifier and the SHA-256 of topic and payload.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Packet(pub(crate) u16, pub(crate) String);

/// What follows from what was heard.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Due {
    /// A run is to be booked.
    Run(Told),
    /// A run can't be booked, for this reason.
    Lost { told: Told, why: String },
    /// A reading is to be recorded.
    Reading { at: Timestamp, position: String, what: String, value: f64, unit: String },
    /// An hour meter's reading is to be recorded.
    HourMeter { at: Timestamp, hours: f64 },
}

/// What is the same for all that is heard of a machine.
pub(crate) struct About<'a> {
    pub(crate) machine: &'a str,
    /// What is printed where no message says.
    pub(crate) materials: &'a [String],
}

impl About<'_> {
    fn told(&self, material: Option<&String>) -> Told {
        let materials = material.map_or_else(|| self.materials.to_vec(), |material| vec![material.clone()]);
        Told { on: self.machine.to_owned(), materials, ..Told::default() }
    }
}

impl Watched {
    /// Whether something followed from that message already.
    pub(crate) fn has_seen(&self, packet: &Packet) -> bool {
        self.came.contains(packet)
    }

    /// Notes that what is known now follows from that message too.
    pub(crate) fn saw(&mut self, packet: Packet) {
        push(&mut self.came, packet, MESSAGES);
    }

    /// Forgets the messages: a broker that begins anew gives their packet identifiers to others. Whether there were any.
    pub(crate) fn forget_packets(&mut self) -> bool {
        !std::mem::take(&mut self.came).is_empty()
    }

    /// Takes in what a message told.
    pub(crate) fn hear(&mut self, about: &About<'_>, fact: Fact) {
        match fact {
            Fact::Start(began) => self.start(about, began),
            Fact::Progress(when) => self.progress(when),
            Fact::End(ended) => self.end(about, ended),
            Fact::Reading(measured) => self.reading(measured),
            Fact::HourMeter { when, hours } => self.hour_meter(when, hours),
        }
    }

    /// Takes in that a message told of a print's end that can't be read.
    pub(crate) fn hear_wrong_end(&mut self, about: &About<'_>, wrong: Unreadable) {
        let Unreadable { why, text, .. } = wrong;
        if self.wrong.as_ref() == Some(&text) {
            return;
        }
        self.wrong = Some(text.clone());
        // The message names it, so that it is one job however often it comes.
        let told = Told { label: Some(text), is_stopped: true, ..about.told(None) };
        self.due.push(Due::Lost { told, why });
    }

    fn start(&mut self, about: &About<'_>, began: Began) {
        match (&mut self.open, began.when.told()) {
            (Some(open), None) if began.is_same(&open.began) => return open.go_on(began.when),
            (Some(Open { began: Began { when, .. }, .. }), Some(at)) if when.told().is_some_and(|open| at <= open) => {
                return;
            }
            (None, Some(at)) if self.over.iter().any(|over| over.is_after(at)) => return,
            _ => {}
        }
        self.lose_open(about);
        self.open = Some(Open { last: began.when.sure(), began });
    }

    fn progress(&mut self, when: When) {
        if let Some(open) = &mut self.open {
            open.go_on(when);
        }
    }

    fn end(&mut self, about: &About<'_>, ended: Ended) {
        // One that tells no time is known again only while no other print is open, which it might be of.
        if (self.open.is_none() || ended.tells_a_time()) && self.knows(&ended) {
            return;
        }
        let is_of_open = self.open.as_ref().is_some_and(|open| open.is_ended_by(&ended));
        if !is_of_open && self.open.as_ref().is_some_and(|open| !open.is_after(&ended)) {
            self.lose_open(about);
        }
        let open = if is_of_open { self.open.take() } else { None };
        let began = open.as_ref().and_then(|open| open.began.when.told());
        push(&mut self.over, Over { start: began.max(ended.start), end: ended.when.told() }, REMEMBERED);
        self.due.push(Due::Run(told(about, open.as_ref(), &ended)));
        self.ended = Some(ended);
    }

    /// The print that is open, if any, is over, and nobody heard of its end.
    fn lose_open(&mut self, about: &About<'_>) {
        let Some(Open { began, last }) = self.open.take() else { return };
        push(&mut self.over, Over { start: began.when.told(), end: None }, REMEMBERED);
        let (label, sha256) = (began.label.clone(), began.sha256.clone());
        let told =
            Told { label, sha256, start: began.when.sure(), is_stopped: true, ..about.told(began.material.as_ref()) };
        let due = match (told.start, last) {
            (Some(start), Some(end)) if start < end => Due::Run(Told { end: Some(end), ..told }),
            _ => Due::Lost { told, why: "a print began, and nothing more was heard of it until the next".to_owned() },
        };
        self.due.push(due);
    }

    /// Whether an end was told before.
    fn knows(&self, ended: &Ended) -> bool {
        let near = |one: Timestamp, other: Timestamp| one.duration_since(other).abs() <= SAME_START;
        let is_over = |over: &Over| match (over.start, ended.start, over.end, ended.when.told()) {
            (Some(known), Some(start), ..) => near(known, start),
            (_, _, Some(known), Some(end)) => known == end,
            _ => false,
        };
        self.ended.as_ref().is_some_and(|known| known.is_same(ended)) || self.over.iter().any(is_over)
    }

    fn reading(&mut self, measured: Measured) {
        let Measured { when, position, what, value, unit, step } = measured;
        let Some(at) = when.sure() else { return };
        let key = format!("{position}\n{what}");
        let is_news = self.kept.get(&key).is_none_or(|Kept(last, before)| {
            let has_moved = step.is_some_and(|step| step < (value - before).abs());
            *last < at && (has_moved || READING_EVERY <= at.duration_since(*last))
        });
        if is_news {
            self.kept.insert(key, Kept(at, value));
            self.due.push(Due::Reading { at, position, what, value, unit });
        }
    }

    /// A meter that ran back is passed on, so that it is told of once.
    fn hour_meter(&mut self, when: When, hours: f64) {
        if self.hours.is_none_or(|before| HOURS_STEP <= (hours - before).abs()) {
            self.hours = Some(hours);
            self.due.push(Due::HourMeter { at: when.at, hours });
        }
    }
}

impl Open {
    fn go_on(&mut self, when: When) {
        let Some(at) = when.sure() else { return };
        let is_in_time = self.began.when.told().is_none_or(|start| start <= at);
        if is_in_time && self.last.is_none_or(|last| PROGRESS_STEP <= at.duration_since(last)) {
            self.last = Some(at);
        }
    }

    fn is_ended_by(&self, ended: &Ended) -> bool {
        match (self.began.when.told(), ended.start, ended.when.told()) {
            _ if differ(&self.began.sha256, &ended.sha256) => false,
            (Some(open), Some(start), _) => open.duration_since(start).abs() <= SAME_START,
            (Some(open), None, Some(end)) => open <= end,
            _ => true,
        }
    }

    /// Whether it began after that print, as far as is told.
    fn is_after(&self, ended: &Ended) -> bool {
        let other = ended.start.or(ended.when.told());
        self.began.when.told().is_some_and(|open| other.is_some_and(|other| other < open))
    }
}

impl Over {
    /// Whether a print that began then is this one, or an earlier one.
    fn is_after(&self, start: Timestamp) -> bool {
        self.start.is_some_and(|known| start <= known) || self.end.is_some_and(|end| start < end)
    }
}

impl Began {
    /// Whether both say the same, leaving aside when they came.
    fn is_same(&self, other: &Began) -> bool {
        self.when.told() == other.when.told() && Began { when: other.when, ..self.clone() } == *other
    }
}

impl Ended {
    fn tells_a_time(&self) -> bool {
        self.start.is_some() || self.when.told().is_some()
    }

    /// As [`Began::is_same`].
    fn is_same(&self, other: &Ended) -> bool {
        self.when.told() == other.when.told() && Ended { when: other.when, ..self.clone() } == *other
    }
}

fn differ(one: &Option<String>, other: &Option<String>) -> bool {
    matches!((one, other), (Some(one), Some(other)) if one != other)
}

/// What is told of a print that ended; what its end leaves out is known from its start.
fn told(about: &About<'_>, open: Option<&Open>, ended: &Ended) -> Told {
    let began = open.map(|open| &open.began);
    let of = |own: &Option<String>, known: fn(&Began) -> &Option<String>| {
        own.clone().or_else(|| began.and_then(|began| known(began).clone()))
    };
    let start = ended.start.or_else(|| began.and_then(|began| began.when.sure()));
    // With hours alone, the day on which it came is the best that is known.
    let end = ended.when.sure().or((start.is_none()).then_some(ended.when.at));
    Told {
        sha256: of(&ended.sha256, |began| &began.sha256),
        label: of(&ended.label, |began| &began.label),
        start,
        end,
        hours: ended.hours,
        grams: ended.grams,
        is_stopped: ended.is_stopped,
        ..about.told(of(&ended.material, |began| &began.material).as_ref())
    }
}

fn push<T>(list: &mut VecDeque<T>, item: T, most: usize) {
    list.push_back(item);
    while most < list.len() {
        list.pop_front();
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::map::By;
    use super::*;

    const ABOUT: About<'_> = About { machine: "bowline", materials: &[] };

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_second(1_795_593_600 + minutes * 60).unwrap()
    }

    fn told_at(minutes: i64) -> When {
        When { at: at(minutes), by: By::Message }
    }

    fn heard_at(minutes: i64) -> When {
        When { at: at(minutes), by: By::Arrival }
    }

    fn start(when: When) -> Fact {
        Fact::Start(Began { when, label: Some("rib".to_owned()), sha256: None, material: None })
    }

    fn end(when: When) -> Fact {
        let (hours, grams, label, sha256, material) = (None, None, None, None, None);
        Fact::End(Ended { when, is_stopped: false, start: None, hours, grams, label, sha256, material })
    }

    fn end_of(when: When, started: i64) -> Fact {
        match end(when) {
            Fact::End(ended) => Fact::End(Ended { start: Some(at(started)), ..ended }),
            other => other,
        }
    }

    fn late(fact: Fact) -> Fact {
        fact.late()
    }

    /// What follows, after each message noted and read again as after a restart.
    fn heard(facts: impl IntoIterator<Item = Fact>) -> Vec<Due> {
        let mut watched = Watched::default();
        for fact in facts {
            watched.hear(&ABOUT, fact);
            watched = serde_json::from_str(&serde_json::to_string(&watched).unwrap()).unwrap();
        }
        watched.due
    }

    /// The runs that follow: start and end in minutes, and whether it stopped; those that are lost have none of either.
    fn runs(facts: impl IntoIterator<Item = Fact>) -> Vec<(Option<i64>, Option<i64>, bool)> {
        let minutes = |instant: Option<Timestamp>| instant.map(|instant| (instant.as_second() - 1_795_593_600) / 60);
        let of = |due| match due {
            Due::Run(told) => (minutes(told.start), minutes(told.end), told.is_stopped),
            Due::Lost { .. } => (None, None, true),
            other => panic!("{other:?}"),
        };
        heard(facts).into_iter().map(of).collect()
    }

    #[test]
    fn a_start_and_an_end_make_one_run() {
        assert_eq!(runs([start(told_at(0)), end(told_at(60))]), [(Some(0), Some(60), false)]);
        assert_eq!(runs([start(heard_at(0)), end(heard_at(60))]), [(Some(0), Some(60), false)]);
        // What the end itself says of the start goes before.
        assert_eq!(runs([start(heard_at(1)), end_of(told_at(60), 0)]), [(Some(0), Some(60), false)]);
        let Due::Run(told) = heard([start(told_at(0)), end(told_at(60))]).remove(0) else { panic!() };
        assert_eq!((told.label.as_deref(), told.on.as_str()), (Some("rib"), "bowline"));
    }

    #[test]
    fn an_end_without_a_start_is_told_by_itself() {
        assert_eq!(runs([end_of(told_at(60), 0)]), [(Some(0), Some(60), false)]);
        assert_eq!(runs([end(told_at(60))]), [(None, Some(60), false)]);
    }

    #[test]
    fn a_print_whose_end_never_came_stopped_at_its_last_progress() {
        let facts = [
            start(told_at(0)),
            Fact::Progress(told_at(20)),
            Fact::Progress(told_at(40)),
            start(told_at(90)),
            end(told_at(100)),
        ];
        assert_eq!(runs(facts), [(Some(0), Some(40), true), (Some(90), Some(100), false)]);
        // Of one of which nothing was heard it can't be said how long it took.
        assert_eq!(runs([start(told_at(0)), start(told_at(90))]), [(None, None, true)]);
    }

    #[test]
    fn an_end_of_another_print_does_not_end_the_one_that_is_open() {
        let facts = [start(told_at(100)), Fact::Progress(told_at(110)), end_of(told_at(60), 0), end(told_at(120))];
        assert_eq!(runs(facts), [(Some(0), Some(60), false), (Some(100), Some(120), false)]);
        let facts = [start(told_at(0)), Fact::Progress(told_at(10)), end_of(told_at(60), 30)];
        assert_eq!(runs(facts), [(Some(0), Some(10), true), (Some(30), Some(60), false)]);
    }

    #[test]
    fn a_machine_that_says_again_and_again_that_it_prints_prints_once() {
        let facts = [start(heard_at(0)), start(heard_at(1)), start(heard_at(2)), end(heard_at(60)), end(heard_at(61))];
        assert_eq!(runs(facts), [(Some(0), Some(60), false)]);
        // The same file again, once the first is over, is another run.
        let facts = [start(heard_at(0)), end(heard_at(60)), start(heard_at(70)), end(heard_at(90))];
        assert_eq!(runs(facts), [(Some(0), Some(60), false), (Some(70), Some(90), false)]);
    }

    #[test]
    fn a_message_that_came_late_and_tells_no_time_gives_none() {
        assert_eq!(runs([start(told_at(0)), late(end(heard_at(600)))]), [(Some(0), None, false)]);
        assert_eq!(runs([late(start(heard_at(600))), end(heard_at(660))]), [(None, Some(660), false)]);
        assert_eq!(
            runs([start(told_at(0)), late(Fact::Progress(heard_at(600))), start(told_at(700))]),
            [(None, None, true)]
        );
    }

    #[test]
    fn readings_are_kept_once_an_hour_or_when_they_moved() {
        let reading = |minutes: i64, value: f64| {
            let (position, what, unit) = ("bed".to_owned(), "temperature".to_owned(), "°C".to_owned());
            Fact::Reading(Measured { when: told_at(minutes), position, what, value, unit, step: Some(5.0) })
        };
        let kept = heard(
            [(0, 60.0), (10, 62.0), (20, 66.0), (30, 62.0), (79, 63.0), (80, 64.0), (75, 90.0)]
                .map(|(m, v)| reading(m, v)),
        );
        let values: Vec<f64> =
            kept.iter().map(|due| if let Due::Reading { value, .. } = due { *value } else { f64::NAN }).collect();
        assert_eq!(values, [60.0, 66.0, 64.0]);
    }

    #[test]
    fn an_hour_meter_is_kept_when_it_grew_by_an_hour() {
        let kept =
            heard([100.0, 100.4, 100.9, 101.0, 101.9, 103.0].map(|hours| Fact::HourMeter { when: heard_at(0), hours }));
        assert_eq!(kept.len(), 3, "{kept:?}");
    }

    /// Prints one after another: how long each takes and how long the machine then rests, in minutes, whether its end comes,
    /// and whether it tells its start.
    fn prints() -> impl Strategy<Value = Vec<(i64, i64, bool, bool)>> {
        prop::collection::vec((5..300i64, 2..100i64, any::<bool>(), any::<bool>()), 1..6)
    }

    /// The messages of those prints.
    fn messages(prints: &[(i64, i64, bool, bool)], when: fn(i64) -> When) -> Vec<Fact> {
        let (mut now, mut all) = (0, Vec::new());
        for &(takes, rests, ends, tells) in prints {
            all.push(start(when(now)));
            all.push(Fact::Progress(when(now + takes / 2 + 1)));
            if ends {
                all.push(if tells { end_of(when(now + takes), now) } else { end(when(now + takes)) });
            }
            now += takes + rests;
        }
        all
    }

    proptest! {
        /// Whatever of the past comes again, after whatever, in whatever order.
        #[test]
        fn messages_that_tell_their_times_may_come_again_at_any_time(
            prints in prints(), again in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>()), 0..20)
        ) {
            let once = messages(&prints, told_at);
            let mut places: Vec<Vec<Fact>> = once.iter().map(|fact| vec![fact.clone()]).collect();
            for (which, after) in again {
                let which = which.index(once.len());
                let after = which + after.index(once.len() - which);
                places[after].push(once[which].clone());
            }
            prop_assert_eq!(runs(places.into_iter().flatten()), runs(once));
        }

        /// A broker sends what was not acknowledged again, in its order and under the same packet identifiers, as often as one
        /// listens anew; of what was taken in some acknowledgements may have been lost.
        #[test]
        fn messages_that_tell_no_time_are_known_by_their_packets(
            prints in prints(), breaks in prop::collection::vec((1..8usize, 0..4usize), 0..6)
        ) {
            let once = messages(&prints, heard_at);
            let (mut watched, mut sent, mut next) = (Watched::default(), 0, 0);
            let mut breaks = breaks.into_iter();
            while next < once.len() {
                let (take, lose) = breaks.next().unwrap_or((once.len(), 0));
                let until = (next + take).min(once.len());
                for (number, message) in once.iter().enumerate().take(until).skip(next) {
                    let packet = Packet(u16::try_from(number).unwrap() + 1, number.to_string());
                    let is_again = number < sent;
                    if is_again && watched.has_seen(&packet) {
                        continue;
                    }
                    watched.hear(&ABOUT, message.clone());
                    watched.saw(packet);
                }
                sent = sent.max(until);
                if until == once.len() {
                    break;
                }
                next = until.saturating_sub(lose);
                watched = serde_json::from_str(&serde_json::to_string(&watched).unwrap()).unwrap();
            }
            prop_assert_eq!(watched.due, heard(once));
        }
    }
}
