//! Ways in: how runs come by themselves. Each is set up once and kept in the shop; what comes is booked by one function,
//! whichever way it came, so that it counts once.

pub(crate) mod folder;
mod later;
pub(crate) mod mqtt;
pub(crate) mod table;

use jiff::Timestamp;
use ledger::{Ledger, WayIn};
use serde::{Deserialize, Serialize};

pub(crate) use self::folder::FolderWay;
pub(crate) use self::later::{Place, RunJob, keep_for_later, sweep};
pub(crate) use self::mqtt::MqttWay;
pub(crate) use self::table::TableWay;
use crate::commands::run::{Came, Told, arrive};
use crate::context;
use crate::input::Source;
use crate::trouble::Trouble;

/// A way in, as it was set up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub(crate) enum Way {
    /// A folder that is watched.
    Folder(FolderWay),
    /// A broker that is listened to.
    Mqtt(Box<MqttWay>),
    /// A table of print history.
    Table(Box<TableWay>),
}

impl Way {
    /// The ways in of a shop, by name.
    ///
    /// # Errors
    /// Where the shop can't be read, or one of them makes no sense.
    pub(crate) async fn all(ledger: &Ledger) -> Result<Vec<(String, Way)>, Trouble> {
        let ways = ledger.ways().await?;
        let read = |way: WayIn| {
            let settings = serde_json::from_str(&way.settings).map_err(|error| {
                Trouble::refused(format!("the way in \"{}\" can't be read: {error}", way.name))
                    .help(format!("set it up anew, or take it away: tallow way remove \"{}\"", way.name))
            })?;
            Ok((way.name, settings))
        };
        ways.into_iter().map(read).collect()
    }

    /// Keeps it in the shop, in place of one of the same name.
    ///
    /// # Errors
    /// Where the shop can't be written.
    pub(crate) async fn set(&self, ledger: &Ledger, name: &str, now: Timestamp) -> Result<(), Trouble> {
        // OK because settings are plain data.
        let settings = serde_json::to_string(self).expect("settings are plain data");
        Ok(ledger.set_way(&WayIn { name: name.to_owned(), kind: self.kind().to_owned(), settings }, now).await?)
    }

    /// What it is, in a word.
    pub(crate) fn kind(&self) -> &'static str {
        match self {
            Way::Folder(_) => "folder",
            Way::Mqtt(_) => "mqtt",
            Way::Table(_) => "table",
        }
    }

    /// What it is, in words.
    pub(crate) fn said(&self) -> String {
        match self {
            Way::Folder(way) => way.said(),
            Way::Mqtt(way) => way.said(),
            Way::Table(way) => way.said(),
        }
    }
}

/// Books what came by a way in. What can't be booked, and will not be by waiting, is kept as a job that was given up, where
/// somebody sees it and can try it again.
///
/// # Errors
/// What may pass: the same is to be tried again.
pub(crate) async fn come(
    ledger: &Ledger,
    told: Told,
    source: Option<&Source>,
    now: Timestamp,
) -> Result<Result<Came, Trouble>, Trouble> {
    let came = async {
        let machine = context::machine(ledger, &told.on).await?;
        arrive(ledger, &machine, &told, source, &now.to_zoned_datetime(ledger.shop().zone.clone())).await
    };
    match came.await {
        Err(trouble) if trouble.may_pass() => Err(trouble),
        Err(trouble) => {
            RunJob::of(told, source).give_up(ledger, &trouble, now).await?;
            Ok(Err(trouble))
        }
        Ok(came) => Ok(Ok(came)),
    }
}
