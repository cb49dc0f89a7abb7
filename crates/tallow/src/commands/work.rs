//! `tallow work` and `tallow job`: what was acknowledged and is done later.

use std::sync::Arc;
use std::thread::available_parallelism;
use std::time::Duration;

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp, ZonedDateTime};
use ledger::{Job, Ledger, Stands};
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use tokio::runtime::Handle;
use tokio::sync::watch;
use tokio::task::JoinSet;

use crate::cli::{self, JobWord};
use crate::commands::night::{self, ForecastJob};
use crate::commands::run::arrive;
use crate::context::{self, Context};
use crate::files::Files;
use crate::input::Source;
use crate::out::{Align, Dress, Table};
use crate::secret;
use crate::trouble::Trouble;
use crate::ways::{Place, RunJob, sweep};
use crate::{when, words};

/// How often a worker says that it still holds its job, in the time for which it holds it.
const WORDS: u32 = 4;

/// How long a worker waits before it asks again, when there is nothing to do.
const IDLE: Duration = Duration::from_secs(1);

/// How often a job is tried that fails for what may pass, and how long is waited before the second try; before each further one
/// twice as long.
const TRIES: i64 = 10;
const FIRST_WAIT: SignedDuration = SignedDuration::from_secs(2);

pub(crate) async fn work(context: &Context, args: &cli::Work) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let files = Arc::new(context.files()?);
    let at_once = args.at_once.map_or_else(|| available_parallelism().map_or(1, usize::from), |count| count as usize);
    match sweep(&ledger, &files).await {
        Ok(0) => {}
        Ok(count) => {
            context.out.line(format!("{} of which no job knows swept away", words::count(count as u64, "files")))?
        }
        Err(trouble) => context.out.line(format!("{trouble}"))?,
    }
    let (end, ended) = watch::channel(false);
    let mut workers = JoinSet::new();
    for _ in 0..at_once {
        let worker = Worker {
            name: secret::token()?,
            ledger: ledger.clone(),
            files: files.clone(),
            fixed_now: context.fixed_now(),
            hold: Duration::from_secs(args.hold.into()),
            until_idle: args.until_idle,
            ended: ended.clone(),
            says: context.out.clone(),
        };
        workers.spawn(worker.run());
    }
    tokio::spawn(async move {
        told_to_end().await;
        // OK to ignore: all have ended.
        let _ = end.send(true);
    });
    while let Some(done) = workers.join_next().await {
        done.map_err(|error| Trouble::refused(format!("a worker broke off: {error}")))??;
    }
    Ok(())
}

/// Waits until the process is told to end: what is begun is then finished first.
pub(super) async fn told_to_end() {
    let mut terminated = tokio::signal::unix::signal(tokio::signal::unix::SignalKind::terminate()).ok();
    let terminated = async {
        match &mut terminated {
            Some(signal) => signal.recv().await,
            None => std::future::pending().await,
        }
    };
    tokio::select! {
        _ = tokio::signal::ctrl_c() => {}
        _ = terminated => {}
    }
}

struct Worker {
    name: String,
    ledger: Ledger,
    files: Arc<Files>,
    fixed_now: Option<Timestamp>,
    /// How long a job is its own without a word from it.
    hold: Duration,
    until_idle: bool,
    ended: watch::Receiver<bool>,
    says: crate::out::Out,
}

impl Worker {
    async fn run(mut self) -> Result<(), Trouble> {
        let (mut is_cut_off, mut ear, mut foreseen) = (false, None, None);
        while !*self.ended.borrow() {
            match self.next(&mut foreseen).await {
                Ok(Some(job)) => {
                    is_cut_off = false;
                    self.see_to(job).await?;
                    continue;
                }
                Ok(None) if self.until_idle => return Ok(()),
                Ok(None) => is_cut_off = false,
                Err(error) if error.may_pass() => {
                    if !std::mem::replace(&mut is_cut_off, true) {
                        self.says.line(format!("{error}\n  trying again until it answers"))?;
                    }
                }
                Err(error) => return Err(error.into()),
            }
            if ear.is_none() {
                ear = self.ledger.ear().await.ok();
            }
            let rung = async {
                match &mut ear {
                    Some(ear) => ear.listen(IDLE).await,
                    None => tokio::time::sleep(IDLE).await,
                }
            };
            tokio::select! {
                () = rung => {}
                // OK to ignore: it is looked at above.
                _ = self.ended.changed() => {}
            }
        }
        Ok(())
    }

    /// Takes a job, if there is one; where a day is about to begin, asks for its forecasts first.
    async fn next(&self, foreseen: &mut Option<Date>) -> Result<Option<Job>, ledger::Error> {
        let now = self.now();
        let day = night::day(&self.here(now));
        if *foreseen != Some(day) {
            night::ask(&self.ledger, day, now).await?;
            *foreseen = Some(day);
        }
        self.ledger.take_job(&self.name, now, self.until()).await
    }

    /// Does a job, holding it meanwhile, and notes what came of it. Where that can't be noted just now, the job comes back when
    /// nobody holds it any more; doing it twice books it once.
    async fn see_to(&self, job: Job) -> Result<(), Trouble> {
        let (ledger, files, at) = (self.ledger.clone(), self.files.clone(), self.here(self.now()));
        let of = job.clone();
        // Metering takes its thread for itself.
        let mut doing =
            tokio::task::spawn_blocking(move || Handle::current().block_on(done(&ledger, &files, &of, &at)));
        let came = loop {
            tokio::select! {
                came = &mut doing => break came,
                () = tokio::time::sleep(self.hold / WORDS) => {
                    // OK to ignore: at worst another does it too, and it counts once.
                    let _ = self.ledger.hold_job(job.id, &self.name, self.until()).await;
                }
            }
        };
        let came = came.unwrap_or_else(|error| Err(Trouble::refused(format!("the work broke off: {error}"))));
        let noted = self.note(&job, &came).await;
        match (came, noted) {
            (Ok(said), Ok(())) => self.says.line(format!("job {}: {said}", job.id)),
            (Err(trouble), Ok(())) => self.says.line(format!("job {}: {trouble}", job.id)),
            (_, Err(error)) if error.may_pass() => Ok(()),
            (_, Err(error)) => Err(error.into()),
        }
    }

    async fn note(&self, job: &Job, came: &Result<String, Trouble>) -> Result<(), ledger::Error> {
        let now = self.now();
        match came {
            Ok(said) => {
                self.ledger.finish_job(job.id, said, now).await?;
                if let Some(key) = file_of(job) {
                    self.files.forget(&key).await;
                }
                Ok(())
            }
            Err(trouble) if trouble.may_pass() && job.tries < TRIES => {
                let doublings = u32::try_from(job.tries.clamp(1, TRIES) - 1).unwrap_or(0);
                let wait = FIRST_WAIT.saturating_mul(2_i32.saturating_pow(doublings));
                let due = now.saturating_add(wait).unwrap_or(now);
                self.ledger.give_back_job(job.id, &trouble.to_string(), due).await
            }
            Err(trouble) => self.ledger.give_up_job(job.id, &trouble.to_string(), now).await,
        }
    }

    fn now(&self) -> Timestamp {
        context::now(self.fixed_now)
    }

    /// `now` by the shop's clock.
    fn here(&self, now: Timestamp) -> ZonedDateTime {
        now.to_zoned_datetime(self.ledger.shop().zone.clone())
    }

    /// Until when a job is held that is taken, or told to be held, now.
    fn until(&self) -> Timestamp {
        let now = self.now();
        now.saturating_add(self.hold).unwrap_or(now)
    }
}

/// Does a job; gives what came of it, in words.
async fn done(ledger: &Ledger, files: &Files, job: &Job, now: &ZonedDateTime) -> Result<String, Trouble> {
    match job.kind.as_str() {
        RunJob::KIND => book(ledger, files, job, now).await,
        ForecastJob::KIND => night::done(ledger, job, now).await,
        other => Err(Trouble::refused(format!("nobody here knows how to do a job of the kind \"{other}\""))
            .help("start a newer version of this program")),
    }
}

/// Books the run that a job tells of.
async fn book(ledger: &Ledger, files: &Files, job: &Job, now: &ZonedDateTime) -> Result<String, Trouble> {
    let RunJob { told, file } = read(job)?;
    let source = match file {
        None => None,
        Some(file) => Some(match file.place {
            Place::Files(key) => files.fetch(&key, &file.name).await?,
            Place::Disk(path) => Source::File(path),
            Place::Gone => {
                return Err(Trouble::refused(format!("{} was not kept", file.name)).help("send it again"));
            }
        }),
    };
    let ledger = job.made_by.as_ref().map_or_else(|| ledger.clone(), |name| ledger.recorded_by(name));
    let machine = context::machine(&ledger, &told.on).await?;
    let came = arrive(&ledger, &machine, &told, source.as_ref(), now).await?;
    Ok(format!("entry {}: {}", came.entry, came.said))
}

/// What a job says.
pub(super) fn read<T: DeserializeOwned>(job: &Job) -> Result<T, Trouble> {
    let unreadable = |error| Trouble::refused(format!("job {} can't be read: {error}", job.id));
    serde_json::from_str(&job.body).map_err(|error| unreadable(error).help("have it asked for again"))
}

/// The name under which a job's file is kept.
fn file_of(job: &Job) -> Option<String> {
    read::<RunJob>(job).ok()?.key_of_file()
}

pub(crate) async fn job(context: &Context, args: &cli::JobList) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let said = match &args.what {
        None => return list(context, &ledger, args.most).await,
        Some(JobWord::Retry(number)) if ledger.retry_job(number.job, context.now).await? => {
            format!("job {} will be tried again", number.job)
        }
        Some(JobWord::Forget(number)) => {
            let job = ledger.job(number.job).await?;
            if !ledger.drop_job(number.job).await? {
                return Err(not_given_up(number.job));
            }
            if let Some(key) = job.as_ref().and_then(file_of) {
                context.files()?.forget(&key).await;
            }
            format!("job {} is forgotten", number.job)
        }
        Some(JobWord::Retry(number)) => return Err(not_given_up(number.job)),
    };
    if context.json {
        return context.out.json(&json!({ "said": said }));
    }
    context.out.line(said)
}

fn not_given_up(job: i64) -> Trouble {
    Trouble::refused(format!("there is no job {job} that was given up")).help("all of them: tallow job")
}

async fn list(context: &Context, ledger: &Ledger, most: u32) -> Result<(), Trouble> {
    let jobs = ledger.jobs(most, context.now).await?;
    if context.json {
        return context.out.json(&jobs.iter().map(shape).collect());
    }
    if jobs.is_empty() {
        return context.out.line("No job is waiting, and none was given up.");
    }
    let mut table = Table::new([
        ("job", Align::Right),
        ("asked for", Align::Left),
        ("stands", Align::Left),
        ("what came of it", Align::Left),
    ]);
    for job in &jobs {
        let made = when::spoken(&job.made.to_zoned_datetime(ledger.shop().zone.clone()));
        let said = job.said.lines().next().unwrap_or_default().to_owned();
        let dress = if matches!(job.stands, Stands::Failed(_)) { Dress::Bold } else { Dress::Plain };
        table.row([job.id.to_string(), made, word(job.stands).to_owned(), said], dress);
    }
    context.out.table(&table)?;
    match jobs.iter().find(|job| matches!(job.stands, Stands::Failed(_))) {
        None => Ok(()),
        Some(job) => context.out.line(format!(
            "\nWhat was given up: mend what it says, then tallow job retry {0}; or tallow job forget {0}",
            job.id
        )),
    }
}

fn word(stands: Stands) -> &'static str {
    match stands {
        Stands::Waits(_) => "waits",
        Stands::Held(_) => "at work",
        Stands::Done(_) => "done",
        Stands::Failed(_) => "given up",
    }
}

fn shape(job: &Job) -> Value {
    json!({
        "job": job.id, "kind": job.kind, "made": job.made.to_string(), "tries": job.tries,
        "stands": word(job.stands), "said": job.said,
    })
}
