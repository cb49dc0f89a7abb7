//! How a shop stands apart from what its entries say: where it is kept, its version, what guards its entries, the clocks that wrote
//! it. Plain facts, for whoever looks after it.

use std::path::PathBuf;

use jiff::Timestamp;
use sqlx::Row;

use crate::place::Engine;
use crate::schema::{self, Shape};
use crate::{Error, Ledger, time};

/// How a shop stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Condition {
    /// The file that holds it; `None` for a database on a server.
    pub file: Option<PathBuf>,
    /// The version of its tables.
    pub version: i64,
    /// What keeps entries from being edited or deleted and is not there, by the names of the triggers.
    pub unguarded: Vec<&'static str>,
    /// How many entries were recorded after the instant that was asked about, by the clocks that wrote them.
    pub recorded_later: u64,
    /// When the last of all entries was recorded.
    pub last_recorded: Option<Timestamp>,
    /// What the server's own clock says; `None` for a file, which has none.
    pub clock: Option<Timestamp>,
    /// Whether people have passwords here, machines tokens, or calendars secret addresses.
    pub keeps_secrets: bool,
}

/// What keeps entries from being edited or deleted, by its names in the migrations.
fn guards(engine: Engine) -> &'static [&'static str] {
    match engine {
        Engine::Sqlite => &["entry_is_never_edited", "entry_is_never_lost"],
        Engine::Postgres => &["entry_is_never_edited"],
    }
}

impl Ledger {
    /// How the shop stands; entries recorded after `now` are counted.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn condition(&self, now: Timestamp) -> Result<Condition, Error> {
        let mut connection = self.pool.acquire().await?;
        let version = match schema::shape(&mut connection, self.engine).await? {
            Shape::Version(version) => version,
            Shape::Empty | Shape::Foreign => return Err(Error::Damaged { what: "the shop's version".to_owned() }),
        };
        let found: Vec<String> = sqlx::query_scalar(match self.engine {
            Engine::Sqlite => "select name from sqlite_master where type = 'trigger'",
            Engine::Postgres => {
                "select cast(t.tgname as text) from pg_trigger t join pg_class c on c.oid = t.tgrelid \
                 join pg_namespace n on n.oid = c.relnamespace \
                 where c.relname = 'entry' and n.nspname = current_schema() and t.tgenabled <> 'D'"
            }
        })
        .fetch_all(&mut *connection)
        .await?;
        let unguarded = guards(self.engine).iter().filter(|guard| !found.iter().any(|name| name == *guard));
        let unguarded = unguarded.copied().collect();
        let row = sqlx::query(
            "select cast(count(*) as bigint), (select max(recorded) from entry), \
             cast((select count(*) from person) + (select count(*) from machine_token) + (select count(*) from feed) as bigint) \
             from entry where recorded > $1",
        )
        .bind(time::to_micros(now))
        .fetch_one(&mut *connection)
        .await?;
        let clock: Option<i64> = match self.engine {
            Engine::Sqlite => None,
            Engine::Postgres => {
                let clock = "select cast(extract(epoch from clock_timestamp()) * 1000000 as bigint)";
                Some(sqlx::query_scalar(clock).fetch_one(&mut *connection).await?)
            }
        };
        Ok(Condition {
            file: self.file.as_deref().map(PathBuf::from),
            version,
            unguarded,
            recorded_later: u64::try_from(row.try_get::<i64, _>(0)?).unwrap_or(0),
            last_recorded: row.try_get::<Option<i64>, _>(1)?.and_then(time::from_micros),
            clock: clock.and_then(time::from_micros),
            keeps_secrets: 0 < row.try_get::<i64, _>(2)?,
        })
    }
}
