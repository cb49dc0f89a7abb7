//! Ways in: what they are told of what comes, and what they make of it.

use std::collections::BTreeMap;
use std::sync::LazyLock;

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;
use serde::de::DeserializeOwned;
use upkeep::Materials;

use crate::commands::run::Told;
use crate::ways::mqtt::map::{Fact, Meant, facts};
use crate::ways::mqtt::watched::{About, Due, Watched};
use crate::ways::table::{Columns, Knows, Table};
use crate::ways::{TableWay, mqtt};

/// A run, as far as was told of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Run {
    /// The machine's name.
    pub machine: String,
    /// When it started.
    pub start: Option<Timestamp>,
    /// When it ended.
    pub end: Option<Timestamp>,
    /// How long it took, h, as told or from its start to its end; why it can't be booked, where the two contradict each other.
    pub hours: Result<Option<f64>, String>,
    /// Filament used, g.
    pub grams: Option<f64>,
    /// The SHA-256 of its file.
    pub sha256: Option<String>,
}

impl Run {
    fn of(told: Told) -> Run {
        let hours = told.length().map_err(|trouble| trouble.to_string());
        Run { machine: told.on, start: told.start, end: told.end, hours, grams: told.grams, sha256: told.sha256 }
    }
}

/// What follows from a message.
#[derive(Clone, Debug, PartialEq)]
pub enum Follows {
    /// A run.
    Run(Run),
    /// A value that was measured, or hours.
    Figure(f64),
    /// Something that can't be read or booked, and why.
    Refused(String),
}

/// A shop that listens to messages by a map.
#[derive(Clone, Debug, PartialEq)]
pub struct Listener {
    map: mqtt::Map,
    machines: BTreeMap<String, Watched>,
}

impl Listener {
    /// One that has heard nothing yet, by the TOML text of a map.
    ///
    /// # Errors
    /// What is wrong with the map, in words.
    pub fn new(map: &str) -> Result<Listener, String> {
        let map = mqtt::read("map.toml", map).map_err(|errors| errors.to_string())?;
        Ok(Listener { map, machines: BTreeMap::new() })
    }

    /// What a message says that comes at `at`, and whether all of it says when it happened.
    pub fn hear(&mut self, topic: &str, payload: &[u8], at: Timestamp) -> (Vec<Follows>, bool) {
        let (mut follows, mut tells_its_time) = (Vec::new(), true);
        for Meant { machine, what } in facts(&self.map, topic, payload, at) {
            tells_its_time &= what.as_ref().is_ok_and(Fact::tells_its_time);
            let about = About { machine: &machine, materials: &self.map.material };
            let row = self.machines.entry(machine.clone()).or_default();
            match what {
                Ok(fact) => row.hear(&about, fact),
                Err(unreadable) if unreadable.is_of_an_end => row.hear_wrong_end(&about, unreadable),
                Err(unreadable) => follows.push(Follows::Refused(unreadable.why)),
            }
            follows.extend(row.due.drain(..).map(Follows::of));
        }
        (follows, tells_its_time)
    }

    /// The same, as a shop keeps it and reads it again.
    ///
    /// # Errors
    /// Why it can't be read again.
    pub fn kept(&self) -> Result<Listener, String> {
        Ok(Listener { map: kept(&self.map)?, machines: kept(&self.machines)? })
    }
}

impl Follows {
    fn of(due: Due) -> Follows {
        match due {
            Due::Run(told) => Follows::Run(Run::of(told)),
            Due::Lost { why, .. } => Follows::Refused(why),
            Due::Reading { value, .. } => Follows::Figure(value),
            Due::HourMeter { hours, .. } => Follows::Figure(hours),
        }
    }
}

/// The shop that tables are of.
static KNOWS: LazyLock<Knows> = LazyLock::new(|| Knows {
    machines: ["bowline", "clove hitch"].map(str::to_owned).to_vec(),
    materials: Materials::built_in().clone(),
    zone: TimeZone::get("Europe/Oslo").expect("the system's time zones"),
});

/// Which columns of a table of print history say what.
#[derive(Clone, Debug, PartialEq)]
pub struct History(TableWay);

/// A row of such a table: a run, or all that is wrong with it.
pub type Row = Result<Run, Vec<String>>;

impl History {
    /// Reads what a shop keeps of such a way in.
    ///
    /// # Errors
    /// What is wrong with it, in words.
    pub fn read(settings: &str) -> Result<History, String> {
        serde_json::from_str(settings).map(History).map_err(|error| error.to_string())
    }

    /// The same, as a shop keeps it and reads it again.
    ///
    /// # Errors
    /// Why it can't be read again.
    pub fn kept(&self) -> Result<History, String> {
        kept(&self.0).map(History)
    }

    /// The rows of a table, each with its line.
    ///
    /// # Errors
    /// What is wrong with the table as a whole.
    pub fn rows(&self, table: &[u8]) -> Result<Vec<(u64, Row)>, String> {
        let table = Table::of(table, "table.csv").map_err(|trouble| trouble.to_string())?;
        let columns = Columns::find(&self.0, &table, &KNOWS).map_err(|trouble| trouble.to_string())?;
        let row = |(line, record): &(u64, _)| {
            let told = columns.row(record).map(Run::of);
            (*line, told.map_err(|flaws| flaws.into_iter().map(|flaw| flaw.reason).collect()))
        };
        Ok(table.rows.iter().map(row).collect())
    }
}

fn kept<T: Serialize + DeserializeOwned>(of: &T) -> Result<T, String> {
    let text = serde_json::to_string(of).map_err(|error| error.to_string())?;
    serde_json::from_str(&text).map_err(|error| format!("{error}: {text}"))
}
