//! Ways in by which runs come by themselves, as they were set up. They are no part of the record
//! (`migrations/*/0009_ways.sql`).

use std::collections::BTreeMap;

use jiff::Timestamp;
use sqlx::Row;

use crate::{Error, Ledger, time};

/// A way in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WayIn {
    /// Its name.
    pub name: String,
    /// What it is.
    pub kind: String,
    /// How it was set up, as JSON.
    pub settings: String,
}

impl Ledger {
    /// The ways in, by name.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn ways(&self) -> Result<Vec<WayIn>, Error> {
        let mut connection = self.pool.acquire().await?;
        let rows =
            sqlx::query("select name, kind, settings from way order by name").fetch_all(&mut *connection).await?;
        rows.iter()
            .map(|row| Ok(WayIn { name: row.try_get(0)?, kind: row.try_get(1)?, settings: row.try_get(2)? }))
            .collect()
    }

    /// Sets a way in up, in place of one of the same name.
    ///
    /// # Errors
    /// [`Error::Nameless`]; where the database refuses.
    pub async fn set_way(&self, way: &WayIn, at: Timestamp) -> Result<(), Error> {
        if way.name.trim().is_empty() {
            return Err(Error::Nameless { what: "way in" });
        }
        let mut connection = self.pool.acquire().await?;
        sqlx::query(
            "insert into way (name, kind, settings, made) values ($1, $2, $3, $4) on conflict (name) \
             do update set kind = excluded.kind, settings = excluded.settings, made = excluded.made",
        )
        .bind(way.name.as_str())
        .bind(way.kind.as_str())
        .bind(way.settings.as_str())
        .bind(time::to_micros(at))
        .execute(&mut *connection)
        .await?;
        Ok(())
    }

    /// Takes a way in away, with all that it knew. Whether there was one of that name.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn drop_way(&self, name: &str) -> Result<bool, Error> {
        let mut transaction = self.begin().await?;
        let dropped = sqlx::query("delete from way where name = $1").bind(name).execute(&mut *transaction).await?;
        sqlx::query("delete from way_mark where way = $1").bind(name).execute(&mut *transaction).await?;
        transaction.commit().await?;
        Ok(0 < dropped.rows_affected())
    }

    /// What a way in noted, by key.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn way_marks(&self, way: &str) -> Result<BTreeMap<String, String>, Error> {
        let mut connection = self.pool.acquire().await?;
        let rows = sqlx::query("select key, mark from way_mark where way = $1").bind(way).fetch_all(&mut *connection);
        rows.await?.iter().map(|row| Ok((row.try_get(0)?, row.try_get(1)?))).collect()
    }

    /// Notes something for a way in, in place of what it noted under that key; `None` forgets it.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn put_way_mark(&self, way: &str, key: &str, mark: Option<&str>, at: Timestamp) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        let statement = match mark {
            None => sqlx::query("delete from way_mark where way = $1 and key = $2").bind(way).bind(key),
            Some(mark) => sqlx::query(
                "insert into way_mark (way, key, mark, at) values ($1, $2, $3, $4) on conflict (way, key) \
                 do update set mark = excluded.mark, at = excluded.at",
            )
            .bind(way)
            .bind(key)
            .bind(mark)
            .bind(time::to_micros(at)),
        };
        statement.execute(&mut *connection).await?;
        Ok(())
    }
}
