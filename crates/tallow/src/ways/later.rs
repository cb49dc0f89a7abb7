//! Runs that are booked later, by a worker: what is told of them is kept as a job, and the file beside it.

use std::collections::BTreeSet;
use std::path::PathBuf;

use jiff::{SignedDuration, Timestamp};
use ledger::Ledger;
use serde::{Deserialize, Serialize};

use crate::commands::run::Told;
use crate::context;
use crate::files::Files;
use crate::input::{self, Source};
use crate::trouble::Trouble;

/// A run that is to be booked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct RunJob {
    /// What is told of it.
    pub(crate) told: Told,
    /// Its file, if there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub(crate) file: Option<Kept>,
}

/// A file of a run that is to be booked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Kept {
    /// What it is called.
    pub(crate) name: String,
    /// Where it is.
    pub(crate) place: Place,
}

/// Where a file is until it is metered.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub(crate) enum Place {
    /// In the place for files, under this name.
    Files(String),
    /// Where whoever told of it left it.
    Disk(PathBuf),
    /// Nowhere: it did not last.
    Gone,
}

/// With what the names of a shop's files begin, so that it takes none away from another that keeps its files in the same place.
fn owner(ledger: &Ledger) -> String {
    let shop = ledger.shop();
    input::sha256(format!("{}\n{}", shop.name, shop.zone_name).as_bytes())[..16].to_owned()
}

/// A file must be so old that it is swept away: whoever keeps one notes its job right after.
const ABANDONED: SignedDuration = SignedDuration::from_hours(24);

/// Sweeps away files of this shop that are a day old and that no job needs: whoever kept them ended before their job was noted, or
/// before they were forgotten. Gives how many there were.
///
/// # Errors
/// A place for files, or a shop, that can't be read; a job that can't be, since it might need one.
pub(crate) async fn sweep(ledger: &Ledger, files: &Files) -> Result<usize, Trouble> {
    // By the real clock, also in a rehearsal: files bear the time of the real one.
    let since = context::clock().saturating_sub(ABANDONED).unwrap_or(Timestamp::MIN);
    let old = files.older_than(since, &owner(ledger)).await?;
    if old.is_empty() {
        return Ok(0);
    }
    let mut needed = BTreeSet::new();
    for body in ledger.unfinished_jobs(RunJob::KIND).await? {
        let job: RunJob = serde_json::from_str(&body).map_err(|error| {
            Trouble::refused(format!("files are not swept, since a job can't be read: {error}"))
                .help("start a newer version of this program")
        })?;
        needed.extend(job.key_of_file());
    }
    let abandoned: Vec<String> = old.into_iter().filter(|key| !needed.contains(key)).collect();
    for key in &abandoned {
        files.forget(key).await;
    }
    Ok(abandoned.len())
}

impl RunJob {
    /// The name under which its file is kept in the place for files.
    pub(crate) fn key_of_file(self) -> Option<String> {
        match self.file?.place {
            Place::Files(key) => Some(key),
            Place::Disk(_) | Place::Gone => None,
        }
    }

    /// The kind of these jobs.
    pub(crate) const KIND: &'static str = "run";

    /// A job of a run whose file, if any, stays where it is.
    pub(crate) fn of(told: Told, source: Option<&Source>) -> RunJob {
        let file = source.map(|source| Kept {
            name: source.label(),
            place: match source {
                Source::File(path) => Place::Disk(std::path::absolute(path).unwrap_or_else(|_| path.clone())),
                Source::Sent(_) | Source::Standard => Place::Gone,
            },
        });
        RunJob { told, file }
    }

    /// Its key: what makes two of them the same.
    fn key(&self, sha256: Option<&str>) -> String {
        let told = &self.told;
        let file = sha256.or(told.sha256.as_deref()).or(self.file.as_ref().map(|file| file.name.as_str()));
        let what = format!("{:?}", (&told.on, told.start, told.end, file.or(told.label.as_deref())));
        input::sha256(what.as_bytes())
    }

    fn body(&self) -> String {
        // OK because a job is plain data.
        serde_json::to_string(self).expect("a job is plain data")
    }

    /// Keeps it as given up, so that somebody sees why.
    ///
    /// # Errors
    /// Where the shop can't be written.
    pub(crate) async fn give_up(&self, ledger: &Ledger, why: &Trouble, now: Timestamp) -> Result<(), Trouble> {
        let id = ledger.post_job(RunJob::KIND, &self.key(None), &self.body(), now).await?;
        Ok(ledger.give_up_job(id, &why.to_string(), now).await?)
    }
}

/// Keeps a run and its file for a worker; gives the job's number. What is sent twice is one job.
///
/// # Errors
/// What can't be read or kept.
pub(crate) async fn keep_for_later(
    ledger: &Ledger,
    files: &Files,
    told: Told,
    source: &Source,
    now: Timestamp,
) -> Result<i64, Trouble> {
    let (sha256, _) = source.digest()?;
    let key = files.keep(source, &owner(ledger)).await?;
    // What is told of no time has just ended.
    let end = if told.start.is_none() { told.end.or(Some(now)) } else { told.end };
    let told = Told { end, ..told };
    let job = RunJob { told, file: Some(Kept { name: source.label(), place: Place::Files(key.clone()) }) };
    let id = ledger.post_job(RunJob::KIND, &job.key(Some(&sha256)), &job.body(), now).await?;
    let is_this_one = ledger.job(id).await?.is_some_and(|there| there.body == job.body());
    if !is_this_one {
        // The same was sent before, and has a file of its own.
        files.forget(&key).await;
    }
    Ok(id)
}
