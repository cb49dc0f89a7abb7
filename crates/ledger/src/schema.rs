//! The database's shape and its versions.

use sqlx::AnyConnection;
use sqlx::migrate::{MigrateError, Migrator};

use crate::Error;
use crate::place::{Engine, Place};

static SQLITE: Migrator = sqlx::migrate!("migrations/sqlite");
static POSTGRES: Migrator = sqlx::migrate!("migrations/postgres");

/// What a database holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Shape {
    /// No table at all.
    Empty,
    /// Tables of something else.
    Foreign,
    /// A shop, of that version.
    Version(i64),
}

/// The newest version that this program knows.
pub(crate) fn known(engine: Engine) -> i64 {
    migrator(engine).iter().map(|migration| migration.version).max().unwrap_or(0)
}

fn migrator(engine: Engine) -> &'static Migrator {
    match engine {
        Engine::Sqlite => &SQLITE,
        Engine::Postgres => &POSTGRES,
    }
}

/// Looks at what is there, without changing it.
pub(crate) async fn shape(connection: &mut AnyConnection, engine: Engine) -> Result<Shape, sqlx::Error> {
    let tables: Vec<String> = sqlx::query_scalar(match engine {
        Engine::Sqlite => "select name from sqlite_master where type = 'table' and name not like 'sqlite_%'",
        Engine::Postgres => {
            "select cast(table_name as text) from information_schema.tables where table_schema = current_schema()"
        }
    })
    .fetch_all(&mut *connection)
    .await?;
    if tables.is_empty() {
        return Ok(Shape::Empty);
    }
    if !tables.iter().any(|name| name == "_sqlx_migrations") {
        return Ok(Shape::Foreign);
    }
    let version: Option<i64> =
        sqlx::query_scalar("select max(version) from _sqlx_migrations").fetch_one(connection).await?;
    Ok(version.map_or(Shape::Empty, Shape::Version))
}

/// Refuses a database of something else, or of a newer version.
pub(crate) fn check(place: &Place, shape: Shape) -> Result<(), Error> {
    let known = known(place.engine);
    match shape {
        Shape::Foreign => Err(Error::NotAShop { place: place.shown.clone() }),
        Shape::Version(found) if known < found => Err(Error::Newer { place: place.shown.clone(), found, known }),
        Shape::Version(_) | Shape::Empty => Ok(()),
    }
}

/// Brings an older or empty database up to date; costs nothing where it is.
///
/// # Errors
/// As [`check`], or where the database refuses.
pub(crate) async fn migrate(connection: &mut AnyConnection, place: &Place, shape: Shape) -> Result<(), Error> {
    check(place, shape)?;
    if shape == Shape::Version(known(place.engine)) {
        return Ok(());
    }
    migrator(place.engine).run(connection).await.map_err(refused)
}

/// Brings an empty database to an older version, that rows of that version may be put into it.
///
/// # Errors
/// Where the database refuses.
pub(crate) async fn migrate_to(connection: &mut AnyConnection, engine: Engine, version: i64) -> Result<(), Error> {
    migrator(engine).run_to(version, connection).await.map_err(refused)
}

fn refused(error: MigrateError) -> Error {
    match error {
        MigrateError::Execute(cause) | MigrateError::ExecuteMigration(cause, _) => Error::from(cause),
        other => Error::Database(sqlx::Error::Migrate(Box::new(other))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_engines_have_the_same_migrations_and_each_says_why() {
        let numbered = |migrator: &Migrator| -> Vec<(i64, String)> {
            migrator.iter().map(|migration| (migration.version, migration.description.to_string())).collect()
        };
        assert_eq!(numbered(&SQLITE), numbered(&POSTGRES));
        for migration in SQLITE.iter().chain(POSTGRES.iter()) {
            let head = format!("-- {:04}: ", migration.version);
            assert!(migration.sql.as_str().starts_with(&head), "{}", migration.description);
        }
    }
}
