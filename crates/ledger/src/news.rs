//! What changed since somebody last looked: cheap to ask, so that a server may ask before each answer.

use std::collections::BTreeMap;

use sqlx::Row;

use crate::{Error, Ledger};

/// How much has been recorded so far. Where two are equal, nothing was recorded in between.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct News {
    /// The sum of the machines' revisions, that of the shop itself included.
    pub revisions: i64,
    /// Descriptions of machine types and of materials, old ones included.
    pub descriptions: i64,
}

impl Ledger {
    /// How much has been recorded so far.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn news(&self) -> Result<News, Error> {
        let mut connection = self.pool.acquire().await?;
        let row = sqlx::query(
            "select cast(coalesce((select sum(revision) + count(*) from machine), 0) as bigint), \
             cast((select count(*) from build) + (select count(*) from material) as bigint)",
        )
        .fetch_one(&mut *connection)
        .await?;
        Ok(News { revisions: row.try_get(0)?, descriptions: row.try_get(1)? })
    }

    /// The revision of each machine's record, by name; it rises with each of its entries. The shop's own has no name.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn revisions(&self) -> Result<BTreeMap<String, i64>, Error> {
        let mut connection = self.pool.acquire().await?;
        let rows = sqlx::query("select name, revision from machine").fetch_all(&mut *connection).await?;
        rows.iter().map(|row| Ok((row.try_get(0)?, row.try_get(1)?))).collect()
    }

    /// The revision of one machine's record; 0 where there never was one of that name.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn revision(&self, machine: &str) -> Result<i64, Error> {
        let mut connection = self.pool.acquire().await?;
        let revision = sqlx::query_scalar("select revision from machine where name = $1")
            .bind(machine)
            .fetch_optional(&mut *connection)
            .await?;
        Ok(revision.unwrap_or(0))
    }
}
