//! The forecasts of a hall's machines, reckoned by workers shortly before the day begins, a part of the hall to the job.

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp, ZonedDateTime};
use ledger::{Job, Ledger};
use serde::{Deserialize, Serialize};

use crate::commands::work::read;
use crate::foreseeing;
use crate::trouble::Trouble;
use crate::words;

/// How long before the day begins it is foreseen: what is recorded in between is reckoned again by whoever shows it.
const BEFORE: SignedDuration = SignedDuration::from_mins(5);

/// Machines to the job: some seconds of work, so that several workers end at about the same time.
const MACHINES: usize = 250;

/// What such a job says.
#[derive(Serialize, Deserialize)]
pub(super) struct ForecastJob {
    day: Date,
    machines: Vec<String>,
}

impl ForecastJob {
    /// The kind of its jobs.
    pub(super) const KIND: &'static str = "forecast";
}

/// The day that is to be foreseen at `now`.
pub(super) fn day(now: &ZonedDateTime) -> Date {
    now.saturating_add(BEFORE).date()
}

/// Asks for the forecasts of a day where there are many machines, once: workers that ask at once ask for the same jobs. What was done long ago is forgotten.
///
/// # Errors
/// Where the database refuses.
pub(super) async fn ask(ledger: &Ledger, day: Date, now: Timestamp) -> Result<(), ledger::Error> {
    ledger.forget_done_jobs(now).await?;
    let names: Vec<String> = ledger.machines().await?.into_iter().map(|machine| machine.name).collect();
    if names.len() < foreseeing::MANY {
        return Ok(());
    }
    for (place, machines) in names.chunks(MACHINES).enumerate() {
        let said = ForecastJob { day, machines: machines.to_vec() };
        // OK because a list of names can be written.
        let body = serde_json::to_string(&said).expect("names as JSON");
        ledger.post_job(ForecastJob::KIND, &format!("forecast {day} {place}"), &body, now).await?;
    }
    Ok(())
}

/// Does such a job; gives what came of it, in words.
///
/// # Errors
/// Where the shop can't be read, or written to.
pub(super) async fn done(ledger: &Ledger, job: &Job, now: &ZonedDateTime) -> Result<String, Trouble> {
    let ForecastJob { day, machines } = read(job)?;
    if day < now.date() {
        return Ok(format!("{day} is over"));
    }
    let names: Vec<&str> = machines.iter().map(String::as_str).collect();
    let start =
        day.to_zoned_datetime(now.time_zone().clone()).map_err(|error| Trouble::refused(format!("{day}: {error}")))?;
    // On the day itself its first hours are over.
    let kept = foreseeing::keep(ledger, &names, &start.max(now.clone())).await?;
    Ok(format!("{} foreseen on {day}", words::count(kept as u64, "machines")))
}
