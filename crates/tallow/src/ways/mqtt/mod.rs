//! MQTT: what machines and the programs beside them publish of their prints.
//!
//! A message is acknowledged when what follows from it stands in the shop, in one row for its machine: the print that is open, and
//! what is still to be booked. So whatever breaks off is told again, or goes on from that row; what is told again changes nothing.

mod address;
pub(crate) mod map;
mod read;
pub(crate) mod watched;

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;
use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use ledger::{Filter, Kind, Ledger, NewEntry};
use rumqttc::{
    AsyncClient, ConnAck, ConnectReturnCode, ConnectionError, Event, EventLoop, MqttOptions, Packet as Incoming,
    Publish, QoS, SubAck, SubscribeFilter, SubscribeReasonCode,
};
use serde::{Deserialize, Serialize};
use serde_json::json;
use tokio::time::Instant;
use upkeep::EntryId;

pub(crate) use self::address::Address;
pub(crate) use self::map::Map;
use self::map::{Fact, Meant, facts};
pub(crate) use self::read::read;
use self::watched::{About, Due, Packet, Watched};
use super::{RunJob, come};
use crate::commands::hours;
use crate::commands::readings;
use crate::commands::run::Told;
use crate::context::{self, Context};
use crate::input;
use crate::out::{Out, remark};
use crate::secret;
use crate::trouble::Trouble;

/// Where and what is listened to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct MqttWay {
    /// The broker.
    pub(crate) broker: Address,
    /// Where its password is read, where the address has none; see [`MqttWay::password`].
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) password_file: Option<PathBuf>,
    /// Under what name the broker keeps what was not acknowledged.
    pub(crate) client: String,
    /// What messages mean.
    pub(crate) map: Map,
}

impl MqttWay {
    /// What it is, in words.
    pub(crate) fn said(&self) -> String {
        format!("messages from {}; {}", self.broker, self.filters().join(", "))
    }

    /// The password, if there is one: that of the address, or the one line that its file holds now.
    ///
    /// # Errors
    /// A file that can't be read; a credential that nobody handed over.
    fn password(&self) -> Result<String, Trouble> {
        let Some(file) = &self.password_file else { return Ok(self.broker.password.clone().unwrap_or_default()) };
        let path = match file.is_absolute() {
            true => file.clone(),
            false => context::credentials_folder().map(|folder| folder.join(file)).ok_or_else(|| {
                Trouble::refused(format!(
                    "nobody handed over the credential \"{}\", the broker's password",
                    file.display()
                ))
                .help("have systemd do it, in a drop-in: LoadCredential=NAME:FILE")
                .help("or name a file with its folder: --password-file /FOLDER/FILE")
            })?,
        };
        let text = std::fs::read_to_string(&path).map_err(|error| {
            Trouble::refused(format!("the broker's password can't be read: {}: {error}", path.display()))
                .help("check the file and who may read it, or name another: --password-file")
        })?;
        Ok(text.trim_end_matches(['\r', '\n']).to_owned())
    }

    /// A name that no other listener at a broker has: 22 letters and figures, which every broker takes (MQTT 3.1.1, § 3.1.3.1).
    ///
    /// # Errors
    /// Where the system gives no random bytes.
    pub(crate) fn client_name() -> Result<String, Trouble> {
        Ok(format!("tallow{}", &secret::token()?[..16]))
    }

    /// What the broker is asked for, each once.
    fn filters(&self) -> Vec<String> {
        let Map { start, progress, end, reading, hour_meter, .. } = &self.map;
        let mut filters: Vec<String> = start.iter().map(|rule| rule.topic.filter()).collect();
        filters.extend(progress.iter().map(|rule| rule.topic.filter()));
        filters.extend(end.iter().map(|rule| rule.topic.filter()));
        filters.extend(reading.iter().map(|rule| rule.topic.filter()));
        filters.extend(hour_meter.iter().map(|rule| rule.topic.filter()));
        filters.sort_unstable();
        filters.dedup();
        filters
    }
}

/// The most that MQTT puts into a packet, bytes (MQTT 3.1.1, § 2.2.3). One that is too large must come in, so that it can be told of
/// and is not sent again for ever.
const LARGEST_PACKET: usize = 268_435_460;

/// After how long without a word each side asks the other whether it is there.
const KEEP_ALIVE: Duration = Duration::from_secs(30);

/// How long is waited before the broker, or the shop, is tried again.
const AGAIN: Duration = Duration::from_secs(1);

/// How long is waited before what can't be booked yet is tried again.
const NOT_YET: SignedDuration = SignedDuration::from_secs(60);

/// How long nothing must come until nothing is expected any more.
const IDLE: Duration = Duration::from_secs(3);

/// How often a broker that does not answer is tried where nobody waits for it to come up.
const TRIES: u32 = 5;

/// How long no message must come until those are over that a broker had kept, and how long they are waited out at most.
const PAUSE: Duration = Duration::from_secs(1);
const LONGEST_BACKLOG: Duration = Duration::from_secs(60);

/// By how much the time of a message may be uncertain that tells none: a run's start and end are then good to that. Judgement, no
/// source: no print that wears a machine is so short.
const MOST_DOUBT: SignedDuration = SignedDuration::from_secs(120);

/// How often it is noted that nothing was missed.
const NOTED_EVERY: SignedDuration = SignedDuration::from_secs(60);

/// The key of the mark that says until when nothing was missed; no machine has it for a name.
const HEARD: &str = "";

/// How many different complaints are remembered, so that each is made once.
const COMPLAINTS: usize = 1000;

/// A way in that is being listened to.
pub(crate) struct Listener {
    events: EventLoop,
    taker: Taker,
}

/// What is done with what comes.
struct Taker {
    name: String,
    way: MqttWay,
    ledger: Ledger,
    says: Says,
    fixed_now: Option<Timestamp>,
    client: AsyncClient,
    machines: BTreeMap<String, Watched>,
    /// Until when something is not tried again, by machine.
    waiting: BTreeMap<String, Timestamp>,
    complaints: BTreeSet<String>,
    /// Until when nothing was missed.
    heard: Option<Timestamp>,
    link: Link,
}

/// How the connection stands.
enum Link {
    /// There is none, after so many tries.
    Down(u32),
    /// Messages come that were kept meanwhile.
    CatchingUp {
        since: Instant,
        /// Whether so long that the time of one that tells none is not known.
        is_late: bool,
    },
    Up,
}

/// Where what came is told.
struct Says {
    out: Out,
    json: bool,
    way: String,
}

impl Says {
    fn came(&self, machine: &str, entry: Option<EntryId>, came: &str, said: &str) -> Result<(), Trouble> {
        if self.json {
            let entry = entry.map(|entry| entry.0);
            let shape = json!({ "way": self.way, "machine": machine, "entry": entry, "came": came, "said": said });
            return self.out.json(&shape);
        }
        let entry = entry.map_or_else(String::new, |entry| format!("entry {entry}: "));
        self.out.line(format!("{}: {machine}: {entry}{said}", self.way))
    }
}

impl Listener {
    /// One that has not begun yet.
    ///
    /// # Errors
    /// As [`MqttWay::password`].
    pub(crate) fn new(context: &Context, ledger: &Ledger, name: &str, way: MqttWay) -> Result<Listener, Trouble> {
        let mut options = MqttOptions::new(&way.client, &way.broker.host, way.broker.port);
        options.set_clean_session(false).set_manual_acks(true).set_keep_alive(KEEP_ALIVE);
        options.set_max_packet_size(LARGEST_PACKET, LARGEST_PACKET);
        if let Some(user) = &way.broker.user {
            options.set_credentials(user, way.password()?);
        }
        // Room for the acknowledgements of all that may come at one reading.
        let (client, events) = AsyncClient::new(options, 1000);
        let taker = Taker {
            name: name.to_owned(),
            way,
            ledger: ledger.clone(),
            says: Says { out: context.out.clone(), json: context.json, way: name.to_owned() },
            fixed_now: context.fixed_now(),
            client,
            machines: BTreeMap::new(),
            waiting: BTreeMap::new(),
            complaints: BTreeSet::new(),
            heard: None,
            link: Link::Down(0),
        };
        Ok(Listener { events, taker })
    }

    /// Listens until it is dropped, or until nothing comes for a while.
    ///
    /// # Errors
    /// Where the shop refuses for good, or answers can't be written; a broker that does not answer, if nobody waits for it.
    pub(crate) async fn listen(self, until_idle: bool) -> Result<(), Trouble> {
        let Listener { mut events, mut taker } = self;
        taker.read_marks().await?;
        let mut last = Instant::now();
        loop {
            taker.see_to_due().await?;
            match tokio::time::timeout(taker.patience(), events.poll()).await {
                Ok(Ok(Event::Incoming(Incoming::Publish(publish)))) => {
                    last = Instant::now();
                    taker.take(&publish).await?;
                    // OK to ignore: what is not acknowledged comes again, and changes nothing.
                    let _ = taker.client.try_ack(&publish);
                }
                Ok(Ok(Event::Incoming(Incoming::ConnAck(answer)))) => {
                    last = Instant::now();
                    taker.connected(answer).await?;
                }
                Ok(Ok(Event::Incoming(Incoming::SubAck(answer)))) => taker.subscribed(&answer),
                Ok(Ok(_)) => {}
                Ok(Err(error)) => {
                    // What had come but was not looked at comes again, unless the broker forgot it too: then it counts now.
                    let left: Vec<Event> = events.state.events.drain(..).collect();
                    for event in left {
                        if let Event::Incoming(Incoming::Publish(publish)) = event {
                            taker.take(&publish).await?;
                        }
                    }
                    taker.cut_off(&error, until_idle)?;
                    tokio::time::sleep(AGAIN).await;
                }
                Err(_) => taker.nothing_came(),
            }
            taker.note_heard().await?;
            if until_idle && matches!(taker.link, Link::Up) && IDLE <= last.elapsed() {
                return Ok(());
            }
        }
    }
}

impl Taker {
    /// How long the next word of the broker is waited for.
    fn patience(&self) -> Duration {
        match self.link {
            Link::Down(_) => KEEP_ALIVE,
            Link::CatchingUp { .. } => PAUSE,
            Link::Up => IDLE,
        }
    }

    fn nothing_came(&mut self) {
        if let Link::CatchingUp { .. } = self.link {
            self.link = Link::Up;
        }
    }

    async fn read_marks(&mut self) -> Result<(), Trouble> {
        let (ledger, name) = (self.ledger.clone(), self.name.clone());
        let marks = self.until_answered(|| ledger.way_marks(&name)).await?;
        self.heard = marks.get(HEARD).and_then(|mark| mark.parse().ok());
        let mut machines = BTreeMap::new();
        for (machine, mark) in marks.into_iter().filter(|(machine, _)| machine != HEARD) {
            let read = serde_json::from_str(&mark).map_err(|error| {
                Trouble::refused(format!("what the way in \"{name}\" noted of {machine} can't be read: {error}"))
                    .help("start the version of this program that noted it, or take the way in away and set it up anew")
            });
            machines.insert(machine, read?);
        }
        self.machines = machines;
        Ok(())
    }

    async fn connected(&mut self, answer: ConnAck) -> Result<(), Trouble> {
        // Somebody else may have listened meanwhile.
        self.read_marks().await?;
        if let Link::Down(1..) = self.link {
            remark(&format!("{}: {} answers", self.name, self.way.broker));
        }
        if !answer.session_present {
            let machines: Vec<String> = self.machines.keys().cloned().collect();
            for machine in machines {
                let mut row = self.machines[&machine].clone();
                if row.forget_packets() {
                    self.keep(&machine, row).await?;
                }
            }
        }
        let away = self.heard.map(|heard| self.now().duration_since(heard));
        let is_late = away.is_none_or(|away| MOST_DOUBT < away);
        // A new session has nothing that was kept.
        self.link = match answer.session_present {
            true => Link::CatchingUp { since: Instant::now(), is_late },
            false => Link::Up,
        };
        let filters = self.way.filters().into_iter().map(|filter| SubscribeFilter::new(filter, QoS::AtLeastOnce));
        self.client
            .try_subscribe_many(filters)
            .map_err(|error| Trouble::refused(format!("the topics can't be asked for: {error}")))
    }

    fn subscribed(&mut self, answer: &SubAck) {
        let filters = self.way.filters();
        let refused =
            answer.return_codes.iter().zip(&filters).filter(|(code, _)| **code == SubscribeReasonCode::Failure);
        for (_, filter) in refused {
            let said = format!("{}: the broker lets nobody of this name listen to {filter}", self.name);
            if is_new(&mut self.complaints, &said) {
                remark(&said);
            }
        }
    }

    fn cut_off(&mut self, error: &ConnectionError, until_idle: bool) -> Result<(), Trouble> {
        let tries = match self.link {
            Link::Down(tries) => tries + 1,
            _ => 1,
        };
        let trouble = self.refusal(error);
        if until_idle && TRIES <= tries {
            return Err(trouble);
        }
        if tries == 1 {
            remark(&format!("{}: {trouble}\n  trying again until it answers", self.name));
        }
        self.link = Link::Down(tries);
        Ok(())
    }

    fn refusal(&self, error: &ConnectionError) -> Trouble {
        let broker = &self.way.broker;
        match error {
            ConnectionError::ConnectionRefused(
                ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized,
            ) => Trouble::refused(format!("{broker} does not let this user and password in")).help(
                match &self.way.password_file {
                    Some(file) => {
                        format!("put the right one where it is read, or set the user right: {}", file.display())
                    }
                    None => {
                        format!("set it up anew with the right ones: tallow way mqtt \"{}\" mqtt://USER@…", self.name)
                    }
                },
            ),
            error => Trouble::refused(format!("{broker} does not answer: {error}"))
                .help("check that the broker runs, and its address"),
        }
    }

    /// Takes a message in: when this returns, what follows from it is written down.
    async fn take(&mut self, publish: &Publish) -> Result<(), Trouble> {
        let mut meant = facts(&self.way.map, &publish.topic, &publish.payload, self.now());
        if publish.retain {
            // It was sent at some time before; an hour meter shows at least what it showed then.
            meant.retain(|meant| match &meant.what {
                Ok(fact) => fact.tells_its_time() || matches!(fact, Fact::HourMeter { .. }),
                Err(_) => false,
            });
        }
        if self.is_late() {
            meant = meant
                .into_iter()
                .map(|Meant { machine, what }| Meant { machine, what: what.map(Fact::late) })
                .collect();
        }
        let packet = (publish.qos != QoS::AtMostOnce).then(|| {
            let content = [publish.topic.as_bytes(), &[0], &publish.payload].concat();
            Packet(publish.pkid, input::sha256(&content))
        });
        let mut rows: BTreeMap<String, Watched> = BTreeMap::new();
        for Meant { machine, what } in meant {
            let known = self.machines.get(&machine).cloned().unwrap_or_default();
            if publish.dup && packet.as_ref().is_some_and(|packet| known.has_seen(packet)) {
                continue;
            }
            let row = rows.entry(machine.clone()).or_insert(known);
            let about = About { machine: &machine, materials: &self.way.map.material };
            match what {
                Ok(fact) => row.hear(&about, fact),
                Err(unreadable) => {
                    if unreadable.is_of_an_end {
                        row.hear_wrong_end(&about, unreadable);
                    } else if is_new(&mut self.complaints, &unreadable.why) {
                        self.says.came(&machine, None, "refused", &unreadable.why)?;
                    }
                }
            }
        }
        for (machine, mut row) in rows {
            if self.machines.get(&machine).unwrap_or(&Watched::default()) == &row {
                continue;
            }
            packet.iter().for_each(|packet| row.saw(packet.clone()));
            self.keep(&machine, row).await?;
            self.waiting.remove(&machine);
        }
        Ok(())
    }

    /// Whether a message that comes now may have been sent long ago.
    fn is_late(&mut self) -> bool {
        match self.link {
            Link::CatchingUp { since, .. } if LONGEST_BACKLOG < since.elapsed() => {
                self.link = Link::Up;
                false
            }
            Link::CatchingUp { is_late, .. } => is_late,
            Link::Up | Link::Down(_) => false,
        }
    }

    /// Does what is due on all machines, but for what is to wait.
    async fn see_to_due(&mut self) -> Result<(), Trouble> {
        let now = self.now();
        let is_due = |(machine, row): &(&String, &Watched)| {
            !row.due.is_empty() && self.waiting.get(*machine).is_none_or(|until| *until <= now)
        };
        let machines: Vec<String> = self.machines.iter().filter(is_due).map(|(machine, _)| machine.clone()).collect();
        for machine in machines {
            let mut row = self.machines[&machine].clone();
            let mut left = Vec::new();
            for due in std::mem::take(&mut row.due) {
                if !self.is_done(&machine, &due).await? {
                    left.push(due);
                }
            }
            if left.is_empty() {
                self.waiting.remove(&machine);
            } else {
                self.waiting.insert(machine.clone(), now.saturating_add(NOT_YET).unwrap_or(now));
            }
            row.due = left;
            if self.machines[&machine] != row {
                self.keep(&machine, row).await?;
            }
        }
        Ok(())
    }

    /// Does something, and tells of it; whether it is done, and not to be tried again.
    async fn is_done(&mut self, machine: &str, due: &Due) -> Result<bool, Trouble> {
        let done = match due {
            Due::Run(told) => self.run(machine, told).await,
            Due::Lost { told, why } => self.lost(machine, told, why).await,
            Due::Reading { .. } | Due::HourMeter { .. } => self.figure(machine, due).await,
        };
        match done {
            Ok(()) => Ok(true),
            Err(trouble) if trouble.may_pass() => Ok(false),
            Err(trouble) => Err(trouble),
        }
    }

    async fn run(&self, machine: &str, told: &Told) -> Result<(), Trouble> {
        match come(&self.ledger, told.clone(), None, self.now()).await? {
            Ok(came) => self.says.came(machine, Some(came.entry), came.how.word(), &came.said),
            Err(trouble) => self.says.came(machine, None, "refused", &given_up(&trouble)),
        }
    }

    async fn lost(&self, machine: &str, told: &Told, why: &str) -> Result<(), Trouble> {
        let trouble = Trouble::refused(why).help("if it is to count, book it by hand: tallow run --hours …");
        RunJob::of(told.clone(), None).give_up(&self.ledger, &trouble, self.now()).await?;
        self.says.came(machine, None, "refused", &given_up(&trouble))
    }

    /// Records a figure; one that can't be recorded is told of once.
    async fn figure(&mut self, machine: &str, due: &Due) -> Result<(), Trouble> {
        match self.recorded(machine, due).await {
            Ok(None) => Ok(()),
            Ok(Some((entry, said))) => self.says.came(machine, Some(entry), "recorded", &said),
            Err(trouble) if trouble.may_pass() => Err(trouble),
            Err(trouble) => match is_new(&mut self.complaints, &format!("{machine}: {}", trouble.what())) {
                true => self.says.came(machine, None, "refused", &trouble.to_string()),
                false => Ok(()),
            },
        }
    }

    /// The entry of a figure, and what it says; `None` where it is recorded already.
    async fn recorded(&self, machine: &str, due: &Due) -> Result<Option<(EntryId, String)>, Trouble> {
        let ledger = &self.ledger;
        let machine = context::machine(ledger, machine).await?;
        let (at, kind) = match due {
            Due::Reading { at, .. } => (*at, Kind::Reading),
            Due::HourMeter { at, .. } => (*at, Kind::HourMeter),
            Due::Run(_) | Due::Lost { .. } => return Ok(None),
        };
        let zoned = at.to_zoned_datetime(ledger.shop().zone.clone());
        machine.joined_by(&zoned)?;
        if self.now() < at {
            return Err(Trouble::refused(format!("a reading of {at} lies in the future")).until_it_is_over());
        }
        let until = at.saturating_add(SignedDuration::from_nanos(1000)).unwrap_or(at);
        let name = machine.info.name.clone();
        let filter = Filter {
            machine: Some(name.clone()),
            kind: Some(kind),
            from: Some(at),
            to: Some(until),
            ..Filter::default()
        };
        let there = ledger.entries(&filter, 100).await?;
        match due {
            Due::Reading { position, what, value, unit, .. } => {
                let position = machine.position(position)?.name.clone();
                let (event, words) =
                    readings::event(ledger, &machine, &position, what, &format!("{value} {unit}"), true).await?;
                if there.iter().any(|listed| listed.entry.event == event) {
                    return Ok(None);
                }
                let new = NewEntry { machine: name, at, recorded: self.now(), note: String::new(), event };
                Ok(Some((ledger.append(new).await?, format!("{position}: {words}"))))
            }
            Due::HourMeter { hours, .. } if there.is_empty() => {
                // What one tool prints says nothing of hours.
                let material = self.way.map.material.iter().find(|material| !material.contains('='));
                let material = hours::material(ledger, material.map_or("", String::as_str)).await?;
                let read = hours::read(ledger, &machine, at, *hours, &material, "", self.now()).await?;
                Ok(Some(read))
            }
            Due::HourMeter { .. } | Due::Run(_) | Due::Lost { .. } => Ok(None),
        }
    }

    /// Notes what is known of a machine; when this returns, it has reached the disk.
    async fn keep(&mut self, machine: &str, row: Watched) -> Result<(), Trouble> {
        // OK because it is plain data.
        let mark = serde_json::to_string(&row).expect("a row is plain data");
        self.mark(machine, &mark).await?;
        self.machines.insert(machine.to_owned(), row);
        Ok(())
    }

    async fn note_heard(&mut self) -> Result<(), Trouble> {
        let now = self.now();
        let is_old = self.heard.is_none_or(|heard| NOTED_EVERY <= now.duration_since(heard));
        if matches!(self.link, Link::Up) && is_old {
            self.mark(HEARD, &now.to_string()).await?;
            self.heard = Some(now);
        }
        Ok(())
    }

    async fn mark(&self, key: &str, mark: &str) -> Result<(), Trouble> {
        self.until_answered(|| self.ledger.put_way_mark(&self.name, key, Some(mark), self.now())).await
    }

    /// Asks the shop until it answers, if it may yet.
    async fn until_answered<T, F>(&self, ask: impl Fn() -> F) -> Result<T, Trouble>
    where
        F: Future<Output = Result<T, ledger::Error>>,
    {
        let mut is_cut_off = false;
        loop {
            match ask().await {
                Err(error) if error.may_pass() => {
                    if !std::mem::replace(&mut is_cut_off, true) {
                        remark(&format!("{error}\n  trying again until it answers"));
                    }
                    tokio::time::sleep(AGAIN).await;
                }
                answer => return Ok(answer?),
            }
        }
    }

    fn now(&self) -> Timestamp {
        context::now(self.fixed_now)
    }
}

/// Whether a complaint is made for the first time.
fn is_new(complaints: &mut BTreeSet<String>, said: &str) -> bool {
    if COMPLAINTS <= complaints.len() {
        complaints.clear();
    }
    complaints.insert(said.to_owned())
}

fn given_up(trouble: &Trouble) -> String {
    format!("{trouble}\n  it is kept as a job: tallow job")
}
