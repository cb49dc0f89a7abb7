//! Work that is to be done once by whichever worker is free: taken, held while somebody works on it, given back when that
//! somebody dies. It is no part of the record (`migrations/*/0009_ways.sql`).

use jiff::{SignedDuration, Timestamp};
use sqlx::Row;
use sqlx::any::AnyRow;

use crate::place::Engine;
use crate::{Error, Ledger, time};

/// How long done jobs are told of.
const REMEMBERED: SignedDuration = SignedDuration::from_hours(7 * 24);

/// A job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    /// Its number.
    pub id: i64,
    /// What is to be done.
    pub kind: String,
    /// What it is about: two of one key are one job.
    pub key: String,
    /// The rest, as JSON.
    pub body: String,
    /// Who asked for it, where that is known.
    pub made_by: Option<String>,
    /// When that was.
    pub made: Timestamp,
    /// How often it was begun.
    pub tries: i64,
    /// How it stands.
    pub stands: Stands,
    /// What came of it, or why the last try failed; may be empty.
    pub said: String,
}

/// How a job stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    /// Nobody works on it; it may be taken from this instant on.
    Waits(Timestamp),
    /// Somebody works on it, and holds it until then.
    Held(Timestamp),
    /// It was done then.
    Done(Timestamp),
    /// It was given up then.
    Failed(Timestamp),
}

/// How many jobs stand how.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct JobCounts {
    /// Waiting, or held by somebody.
    pub open: i64,
    /// Given up.
    pub failed: i64,
}

macro_rules! columns {
    () => {
        "id, kind, key, body, made_by, made, due, tries, held_by, held_until, done, said, failed"
    };
}

/// The statement that takes a job; its inner part ends in what the engine needs so that two who ask at once pass each other by.
macro_rules! taking {
    ($passing:literal) => {
        concat!(
            "update job set held_by = $1, held_until = $3, tries = tries + 1 where id = (select id from job \
             where done is null and failed is null and due <= $2 and (held_by = '' or held_until < $2) \
             order by due, id limit 1",
            $passing,
            ") returning ",
            columns!()
        )
    };
}
impl Ledger {
    /// Keeps a job, and gives its number. One of the same key that is there already stays as it is, unless it was given up: then
    /// it is to be tried again. When this returns, the job has reached the disk.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn post_job(&self, kind: &str, key: &str, body: &str, at: Timestamp) -> Result<i64, Error> {
        let mut connection = self.pool.acquire().await?;
        let id = sqlx::query_scalar(
            "insert into job (kind, key, body, made_by, made, due) values ($1, $2, $3, $4, $5, $5) \
             on conflict (key) do update set tries = case when job.failed is null then job.tries else 0 end, \
             due = case when job.failed is null then job.due else excluded.due end, failed = null returning id",
        )
        .bind(kind)
        .bind(key)
        .bind(body)
        .bind(self.by.as_deref())
        .bind(time::to_micros(at))
        .fetch_one(&mut *connection)
        .await?;
        drop(connection);
        self.ring().await;
        Ok(id)
    }

    /// Takes the job that has waited longest, if there is one for anybody at `now`; it is `worker`'s until `until`. Of several who
    /// ask at once each gets another one.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn take_job(&self, worker: &str, now: Timestamp, until: Timestamp) -> Result<Option<Job>, Error> {
        // SQLite has one writer at a time, so there nobody is to be passed over.
        let text = match self.engine {
            Engine::Sqlite => taking!(""),
            Engine::Postgres => taking!(" for update skip locked"),
        };
        let mut connection = self.pool.acquire().await?;
        let row = sqlx::query(text)
            .bind(worker)
            .bind(time::to_micros(now))
            .bind(time::to_micros(until))
            .fetch_optional(&mut *connection)
            .await?;
        row.as_ref().map(job).transpose()
    }

    /// Holds a job until `until`. Whether it is still `worker`'s: else another has it, and this one is to leave it.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn hold_job(&self, id: i64, worker: &str, until: Timestamp) -> Result<bool, Error> {
        let mut connection = self.pool.acquire().await?;
        let held = sqlx::query("update job set held_until = $3 where id = $1 and held_by = $2 and done is null")
            .bind(id)
            .bind(worker)
            .bind(time::to_micros(until))
            .execute(&mut *connection)
            .await?;
        Ok(0 < held.rows_affected())
    }

    /// Notes what came of a job, which is then over.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn finish_job(&self, id: i64, said: &str, at: Timestamp) -> Result<(), Error> {
        self.let_go(
            "update job set done = $2, said = $3, held_by = '', failed = null where id = $1 and done is null",
            id,
            said,
            at,
        )
        .await
    }

    /// Gives a job back: it may be tried again from `due` on.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn give_back_job(&self, id: i64, why: &str, due: Timestamp) -> Result<(), Error> {
        self.let_go("update job set due = $2, said = $3, held_by = '' where id = $1 and done is null", id, why, due)
            .await
    }

    /// Gives a job up: somebody must look at why.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn give_up_job(&self, id: i64, why: &str, at: Timestamp) -> Result<(), Error> {
        self.let_go("update job set failed = $2, said = $3, held_by = '' where id = $1 and done is null", id, why, at)
            .await
    }

    async fn let_go(&self, text: &'static str, id: i64, said: &str, at: Timestamp) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        sqlx::query(text).bind(id).bind(time::to_micros(at)).bind(said).execute(&mut *connection).await?;
        Ok(())
    }

    /// Tries a job again that was given up. Whether there is such a one.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn retry_job(&self, id: i64, at: Timestamp) -> Result<bool, Error> {
        let mut connection = self.pool.acquire().await?;
        let again =
            sqlx::query("update job set failed = null, tries = 0, due = $2 where id = $1 and failed is not null")
                .bind(id)
                .bind(time::to_micros(at))
                .execute(&mut *connection)
                .await?;
        Ok(0 < again.rows_affected())
    }

    /// Forgets a job that was given up. Whether there is such a one.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn drop_job(&self, id: i64) -> Result<bool, Error> {
        let mut connection = self.pool.acquire().await?;
        let dropped = sqlx::query("delete from job where id = $1 and failed is not null").bind(id);
        Ok(0 < dropped.execute(&mut *connection).await?.rows_affected())
    }

    /// Forgets jobs that were done long before `now`.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn forget_done_jobs(&self, now: Timestamp) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        let long_ago = now.saturating_sub(REMEMBERED).map_or(i64::MIN, time::to_micros);
        sqlx::query("delete from job where done < $1").bind(long_ago).execute(&mut *connection).await?;
        Ok(())
    }

    /// The newest jobs, at most so many; those done long ago are forgotten.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn jobs(&self, most: u32, now: Timestamp) -> Result<Vec<Job>, Error> {
        self.forget_done_jobs(now).await?;
        let mut connection = self.pool.acquire().await?;
        let rows = sqlx::query(concat!("select ", columns!(), " from job order by id desc limit $1"))
            .bind(i64::from(most))
            .fetch_all(&mut *connection)
            .await?;
        rows.iter().map(job).collect()
    }

    /// What each job of that kind says that is not done, those that were given up among them, as JSON.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn unfinished_jobs(&self, kind: &str) -> Result<Vec<String>, Error> {
        let mut connection = self.pool.acquire().await?;
        let bodies = sqlx::query_scalar("select body from job where kind = $1 and done is null").bind(kind);
        Ok(bodies.fetch_all(&mut *connection).await?)
    }

    /// The job of that number.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn job(&self, id: i64) -> Result<Option<Job>, Error> {
        let mut connection = self.pool.acquire().await?;
        let row = sqlx::query(concat!("select ", columns!(), " from job where id = $1")).bind(id);
        row.fetch_optional(&mut *connection).await?.as_ref().map(job).transpose()
    }

    /// How many jobs are to be done, and how many were given up.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn job_counts(&self) -> Result<JobCounts, Error> {
        let mut connection = self.pool.acquire().await?;
        let row = sqlx::query(
            "select (select count(*) from job where done is null and failed is null), \
             (select count(*) from job where failed is not null)",
        )
        .fetch_one(&mut *connection)
        .await?;
        Ok(JobCounts { open: row.try_get(0)?, failed: row.try_get(1)? })
    }
}

fn job(row: &AnyRow) -> Result<Job, Error> {
    let instant = |column: usize| -> Result<Option<Timestamp>, Error> {
        Ok(row.try_get::<Option<i64>, _>(column)?.and_then(time::from_micros))
    };
    let damaged = || Error::Damaged { what: "an instant of a job".to_owned() };
    let (due, held_until) = (instant(6)?.ok_or_else(damaged)?, instant(9)?.ok_or_else(damaged)?);
    let is_held = !row.try_get::<String, _>(8)?.is_empty();
    let stands = match (instant(10)?, instant(12)?) {
        (Some(done), _) => Stands::Done(done),
        (None, Some(failed)) => Stands::Failed(failed),
        (None, None) if is_held => Stands::Held(held_until),
        (None, None) => Stands::Waits(due),
    };
    Ok(Job {
        id: row.try_get(0)?,
        kind: row.try_get(1)?,
        key: row.try_get(2)?,
        body: row.try_get(3)?,
        made_by: row.try_get(4)?,
        made: instant(5)?.ok_or_else(damaged)?,
        tries: row.try_get(7)?,
        stands,
        said: row.try_get(11)?,
    })
}
