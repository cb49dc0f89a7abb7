//! What changed since somebody last looked: cheap to ask, so that a server may ask before each answer.

use std::collections::BTreeMap;

use sqlx::Row;
use sqlx::any::AnyRow;

use crate::{Error, Ledger};

/// How much has been recorded so far. Where two are equal, nothing was recorded in between.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct News {
    /// The sum of the machines' revisions, that of the shop itself included.
    pub revisions: i64,
    /// Descriptions of machine types and of materials, old ones included.
    pub descriptions: i64,
}

/// How far the record of one machine, or of the shop itself, has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Revision {
    /// Rises with each booking.
    pub all: i64,
    /// Rises with each booking of anything but runs.
    pub besides_runs: i64,
    /// Whether the machine is in the shop now.
    pub is_here: bool,
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

    /// How far the record of each machine has come, by name. The shop's own has no name.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn revisions(&self) -> Result<BTreeMap<String, Revision>, Error> {
        let mut connection = self.pool.acquire().await?;
        let text = "select name, revision, besides_runs, cast(case when build is null then 0 else 1 end as bigint) \
                    from machine";
        let rows = sqlx::query(text).fetch_all(&mut *connection).await?;
        let revision = |row: &AnyRow| {
            let is_here = row.try_get::<i64, _>(3)? == 1;
            Ok((row.try_get(0)?, Revision { all: row.try_get(1)?, besides_runs: row.try_get(2)?, is_here }))
        };
        rows.iter().map(revision).collect()
    }
}
