//! How often somebody tried to sign in and failed, counted for all servers of a shop. It is no part of the record
//! (`migrations/*/0012_anywhere.sql`).

use jiff::Timestamp;
use sqlx::Row;

use crate::{Error, Ledger, time};

/// Tries that failed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tries {
    /// How many, one after another.
    pub failed: u32,
    /// When the last was, to the microsecond.
    pub last: Timestamp,
}

impl Ledger {
    /// The tries of a name or an address; `None` where there are none.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn tries(&self, who: &str) -> Result<Option<Tries>, Error> {
        let mut connection = self.pool.acquire().await?;
        let row = sqlx::query("select failed, tried from sign_in_try where who = $1")
            .bind(who)
            .fetch_optional(&mut *connection)
            .await?;
        let tries = |row: &sqlx::any::AnyRow| -> Result<Tries, Error> {
            let failed = u32::try_from(row.try_get::<i64, _>(0)?).unwrap_or(u32::MAX);
            Ok(Tries { failed, last: time::instant(row, 1, "tries to sign in")? })
        };
        row.as_ref().map(tries).transpose()
    }

    /// Writes the tries of a name or an address, if they still are what was read. Whether they are: else somebody tried meanwhile.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn count_try(&self, who: &str, read: Option<Tries>, counted: Tries) -> Result<bool, Error> {
        let mut connection = self.pool.acquire().await?;
        let statement = match read {
            None => {
                sqlx::query("insert into sign_in_try (who, failed, tried) values ($1, $2, $3) on conflict do nothing")
            }
            Some(_) => sqlx::query(
                "update sign_in_try set failed = $2, tried = $3 where who = $1 and failed = $4 and tried = $5",
            ),
        };
        let statement = statement.bind(who).bind(i64::from(counted.failed)).bind(time::to_micros(counted.last));
        let statement = match read {
            None => statement,
            Some(read) => statement.bind(i64::from(read.failed)).bind(time::to_micros(read.last)),
        };
        Ok(0 < statement.execute(&mut *connection).await?.rows_affected())
    }

    /// Forgets the tries of a name or an address.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn forget_tries(&self, who: &str) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        sqlx::query("delete from sign_in_try where who = $1").bind(who).execute(&mut *connection).await?;
        Ok(())
    }

    /// Forgets tries up to `since`, and of all others all but the newest `most`.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn sweep_tries(&self, since: Timestamp, most: u32) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        sqlx::query(
            "delete from sign_in_try where tried <= $1 or tried < \
             (select tried from sign_in_try order by tried desc limit 1 offset $2)",
        )
        .bind(time::to_micros(since))
        .bind(i64::from(most) - 1)
        .execute(&mut *connection)
        .await?;
        Ok(())
    }
}
