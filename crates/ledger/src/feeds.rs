//! Private links to calendars. They are no part of the record: they come and go (`migrations/*/0007_feed.sql`).

use jiff::Timestamp;
use sqlx::Row;

use crate::{Error, Ledger, time};

impl Ledger {
    /// The keepers whose visits can be read by a link, by name, each with the link's secret.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn feeds(&self) -> Result<Vec<(String, String)>, Error> {
        let mut connection = self.pool.acquire().await?;
        let rows = sqlx::query("select keeper, secret from feed order by keeper").fetch_all(&mut *connection).await?;
        rows.iter().map(|row| Ok((row.try_get(0)?, row.try_get(1)?))).collect()
    }

    /// Lets a keeper's visits be read by `secret`, and by no older one.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn set_feed(&self, keeper: &str, secret: &str, at: Timestamp) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        sqlx::query(
            "insert into feed (keeper, secret, made) values ($1, $2, $3) \
             on conflict (keeper) do update set secret = excluded.secret, made = excluded.made",
        )
        .bind(keeper)
        .bind(secret)
        .bind(time::to_micros(at))
        .execute(&mut *connection)
        .await?;
        Ok(())
    }

    /// Lets nobody read a keeper's visits by a link any more.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn drop_feed(&self, keeper: &str) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        sqlx::query("delete from feed where keeper = $1").bind(keeper).execute(&mut *connection).await?;
        Ok(())
    }

    /// The keeper whose visits a secret opens.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn keeper_of_feed(&self, secret: &str) -> Result<Option<String>, Error> {
        let mut connection = self.pool.acquire().await?;
        let row = sqlx::query("select keeper from feed where secret = $1")
            .bind(secret)
            .fetch_optional(&mut *connection)
            .await?;
        Ok(row.map(|row| row.try_get(0)).transpose()?)
    }
}
