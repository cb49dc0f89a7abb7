//! The plan that somebody asked for, so that whichever server is asked next can tell how it stands, show it and tell people of it.
//! It is no part of the record (`migrations/*/0012_anywhere.sql`).

use jiff::Timestamp;
use sqlx::Row;
use sqlx::any::AnyRow;

use crate::{Error, Ledger, time};

/// A plan that was asked for.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Asked {
    /// Its number: each plan that is asked for has a higher one.
    pub number: i64,
    /// For how many days.
    pub days: u16,
    /// For how long it is sought, s.
    pub seconds: u16,
    /// When it was asked for.
    pub since: Timestamp,
    /// By whom, where that is known.
    pub by: Option<String>,
    /// How it stands.
    pub stands: Sought,
}

/// How a plan stands that was asked for.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Sought {
    /// Somebody seeks it, and holds it until then.
    Held(Timestamp),
    /// It was made, and waits for somebody to decide.
    Made,
    /// It could not be made; why.
    Failed(String),
    /// People were told of it, or nobody wants it.
    Left,
}

impl Ledger {
    /// Asks for a plan of so many days, to be sought for so many seconds; whoever asks is to seek it, and holds it until `until`.
    /// Gives its number, or `None` where one is being sought and held: of several who ask at once one gets a number.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn ask_for_plan(
        &self,
        days: u16,
        seconds: u16,
        at: Timestamp,
        (now, until): (Timestamp, Timestamp),
    ) -> Result<Option<i64>, Error> {
        let mut connection = self.pool.acquire().await?;
        let number = sqlx::query_scalar(
            "insert into proposal (id, number, days, seconds, asked, asked_by, stands, held_until) \
             values (1, 1, $1, $2, $3, $4, 'sought', $5) on conflict (id) do update set number = proposal.number + 1, \
             days = excluded.days, seconds = excluded.seconds, asked = excluded.asked, asked_by = excluded.asked_by, \
             stands = 'sought', held_until = excluded.held_until, said = '' \
             where proposal.stands <> 'sought' or proposal.held_until < $6 returning number",
        )
        .bind(i64::from(days))
        .bind(i64::from(seconds))
        .bind(time::to_micros(at))
        .bind(self.by.as_deref())
        .bind(time::to_micros(until))
        .bind(time::to_micros(now))
        .fetch_optional(&mut *connection)
        .await?;
        Ok(number)
    }

    /// Holds a plan until `until` for whoever seeks it. Whether it is still wanted.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn hold_plan(&self, number: i64, until: Timestamp) -> Result<bool, Error> {
        let mut connection = self.pool.acquire().await?;
        let held = sqlx::query("update proposal set held_until = $2 where number = $1 and stands = 'sought'")
            .bind(number)
            .bind(time::to_micros(until))
            .execute(&mut *connection)
            .await?;
        Ok(0 < held.rows_affected())
    }

    /// Keeps a plan that was made, in place of the last one. Whether it was still wanted: who left it or asked for another does not
    /// want this one.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn put_plan(&self, number: i64, body: &str, made: Timestamp) -> Result<bool, Error> {
        let mut connection = self.pool.acquire().await?;
        let put = sqlx::query(
            "update proposal set stands = 'made', body = $2, made = $3 where number = $1 and stands = 'sought'",
        )
        .bind(number)
        .bind(body)
        .bind(time::to_micros(made))
        .execute(&mut *connection)
        .await?;
        Ok(0 < put.rows_affected())
    }

    /// Notes why a plan could not be made, if it is still wanted.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn fail_plan(&self, number: i64, why: &str) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        sqlx::query("update proposal set stands = 'failed', said = $2 where number = $1 and stands = 'sought'")
            .bind(number)
            .bind(why)
            .execute(&mut *connection)
            .await?;
        Ok(())
    }

    /// Takes a plan that was made, to tell people of it: of several who take it at once one has it. Whether it was there to be taken.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn take_plan(&self, number: i64) -> Result<bool, Error> {
        self.turn_plan("update proposal set stands = 'left' where number = $1 and stands = 'made'", number).await
    }

    /// Gives a plan back that was taken, because people could not be told of it; nothing where another was asked for meanwhile.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn give_back_plan(&self, number: i64) -> Result<(), Error> {
        self.turn_plan("update proposal set stands = 'made' where number = $1 and stands = 'left'", number).await?;
        Ok(())
    }

    async fn turn_plan(&self, text: &'static str, number: i64) -> Result<bool, Error> {
        let mut connection = self.pool.acquire().await?;
        let turned = sqlx::query(text).bind(number).execute(&mut *connection).await?;
        Ok(0 < turned.rows_affected())
    }

    /// Leaves the plan that was asked for, however it stands.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn leave_plan(&self) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        sqlx::query("update proposal set stands = 'left'").execute(&mut *connection).await?;
        Ok(())
    }

    /// The plan that was asked for last, if any ever was.
    ///
    /// # Errors
    /// Where the database refuses, or the row can't be read.
    pub async fn plan_asked_for(&self) -> Result<Option<Asked>, Error> {
        let mut connection = self.pool.acquire().await?;
        let row = sqlx::query("select number, days, seconds, asked, asked_by, stands, held_until, said from proposal")
            .fetch_optional(&mut *connection)
            .await?;
        row.as_ref().map(asked).transpose()
    }

    /// The last plan that was made, and when, if any ever was.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn last_plan(&self) -> Result<Option<(Timestamp, String)>, Error> {
        let mut connection = self.pool.acquire().await?;
        let row = sqlx::query("select made, body from proposal where body is not null")
            .fetch_optional(&mut *connection)
            .await?;
        row.map(|row| Ok((time::instant(&row, 0, "a plan that was asked for")?, row.try_get(1)?))).transpose()
    }
}

fn asked(row: &AnyRow) -> Result<Asked, Error> {
    let damaged = |what: &str| Error::Damaged { what: format!("{what} of the plan that was asked for") };
    let whole = |column: usize, what: &str| -> Result<u16, Error> {
        u16::try_from(row.try_get::<i64, _>(column)?).map_err(|_| damaged(what))
    };
    let stands: String = row.try_get(5)?;
    Ok(Asked {
        number: row.try_get(0)?,
        days: whole(1, "the days")?,
        seconds: whole(2, "the seconds")?,
        since: time::instant(row, 3, "a plan that was asked for")?,
        by: row.try_get(4)?,
        stands: match stands.as_str() {
            "sought" => Sought::Held(time::instant(row, 6, "a plan that was asked for")?),
            "made" => Sought::Made,
            "failed" => Sought::Failed(row.try_get(7)?),
            "left" => Sought::Left,
            _ => return Err(damaged("the state")),
        },
    })
}
