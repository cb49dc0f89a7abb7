//! Who may: people with their roles, where they are signed in, and tokens by which machines book for themselves.
//!
//! None of it is part of the record, and nothing secret is readable in it: passwords are kept as their hash, tokens as theirs
//! (`migrations/*/0005_people.sql`).

use jiff::{SignedDuration, Timestamp};
use sqlx::any::AnyRow;
use sqlx::{AnyConnection, Row};

use crate::{Error, Ledger, read, time};

/// What a person may do; each role may do what those before it may.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// See everything, change nothing.
    Look,
    /// Record what happened.
    Record,
    /// Plan visits, and set what plans rest on.
    Plan,
    /// Say who may.
    Own,
}

impl Role {
    /// Every role, the least first.
    pub const ALL: [Role; 4] = [Role::Look, Role::Record, Role::Plan, Role::Own];

    /// Its word in the database and on screens. Never changes once released.
    pub const fn word(self) -> &'static str {
        match self {
            Role::Look => "look",
            Role::Record => "record",
            Role::Plan => "plan",
            Role::Own => "own",
        }
    }

    /// The role of that word.
    pub fn from_word(word: &str) -> Option<Role> {
        Role::ALL.into_iter().find(|role| role.word() == word)
    }
}

/// Somebody who may sign in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Person {
    /// The name.
    pub name: String,
    /// What the person may do.
    pub role: Role,
    /// When the person was set up.
    pub since: Timestamp,
}

/// A place where somebody is signed in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// Its number.
    pub id: i64,
    /// Who is signed in.
    pub person: String,
    /// What the person may do.
    pub role: Role,
    /// What the browser says it is.
    pub device: String,
    /// When it began.
    pub started: Timestamp,
    /// When its token was made.
    pub renewed: Timestamp,
    /// When it was last used; this is not noted at each use.
    pub seen: Timestamp,
}

/// A token by which a machine, or the computer beside it, books runs for itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MachineToken {
    /// Its number.
    pub id: i64,
    /// The machine's name.
    pub machine: String,
    /// What it was made for.
    pub label: String,
    /// When it was made.
    pub made: Timestamp,
    /// When it was last used; this is not noted at each use.
    pub used: Option<Timestamp>,
}

/// How long the token before the last renewal is still good: a browser may have asked for several things at once.
const GRACE: SignedDuration = SignedDuration::from_secs(60);

impl Ledger {
    /// The same shop, in which whatever is recorded is recorded by somebody of that name.
    pub fn recorded_by(&self, name: &str) -> Ledger {
        Ledger { by: Some(name.into()), ..self.clone() }
    }

    /// Whether anybody has been set up.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn has_people(&self) -> Result<bool, Error> {
        let mut connection = self.pool.acquire().await?;
        let first = sqlx::query("select id from person limit 1").fetch_optional(&mut *connection).await?;
        Ok(first.is_some())
    }

    /// Who has been set up, by name.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn people(&self) -> Result<Vec<Person>, Error> {
        let mut connection = self.pool.acquire().await?;
        let rows =
            sqlx::query("select name, role, since from person order by name").fetch_all(&mut *connection).await?;
        rows.iter()
            .map(|row| Ok(Person { name: row.try_get(0)?, role: role(row, 1)?, since: instant(row, 2)? }))
            .collect()
    }

    /// Sets somebody up, or changes what is said of somebody: the role, and the password where its hash is given. Every
    /// session of that person ends.
    ///
    /// # Errors
    /// [`Error::NoSuchPerson`] for somebody new without a password; [`Error::NoOwner`] where nobody would be left who may say
    /// who may; [`Error::BadPerson`].
    pub async fn set_person(&self, name: &str, role: Role, password: Option<&str>, at: Timestamp) -> Result<(), Error> {
        if name.is_empty() || name.trim() != name || name.chars().any(char::is_control) || 80 < name.chars().count() {
            return Err(Error::BadPerson);
        }
        let mut transaction = self.begin().await?;
        let query = match password {
            Some(password) => sqlx::query(
                "insert into person (name, role, since, password) values ($1, $2, $3, $4) \
                 on conflict (name) do update set role = excluded.role, password = excluded.password",
            )
            .bind(name)
            .bind(role.word())
            .bind(time::to_micros(at))
            .bind(password),
            None => sqlx::query("update person set role = $2 where name = $1").bind(name).bind(role.word()),
        };
        if query.execute(&mut *transaction).await?.rows_affected() == 0 {
            return Err(Error::NoSuchPerson { name: name.to_owned() });
        }
        end_sessions_of(&mut transaction, name).await?;
        refuse_without_owner(&mut transaction).await?;
        Ok(transaction.commit().await?)
    }

    /// Forgets somebody. What that person recorded stays, with the name.
    ///
    /// # Errors
    /// [`Error::NoSuchPerson`]; [`Error::NoOwner`] where others are left, none of whom may say who may.
    pub async fn remove_person(&self, name: &str) -> Result<(), Error> {
        let mut transaction = self.begin().await?;
        end_sessions_of(&mut transaction, name).await?;
        let gone = sqlx::query("delete from person where name = $1").bind(name).execute(&mut *transaction).await?;
        if gone.rows_affected() == 0 {
            return Err(Error::NoSuchPerson { name: name.to_owned() });
        }
        refuse_without_owner(&mut transaction).await?;
        Ok(transaction.commit().await?)
    }

    /// The hash of somebody's password.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn password_of(&self, name: &str) -> Result<Option<String>, Error> {
        let mut connection = self.pool.acquire().await?;
        let password = sqlx::query_scalar("select password from person where name = $1")
            .bind(name)
            .fetch_optional(&mut *connection)
            .await?;
        Ok(password)
    }

    /// Signs somebody in: from now on whoever has the token of this hash is that person.
    ///
    /// # Errors
    /// [`Error::NoSuchPerson`].
    pub async fn start_session(&self, name: &str, token: &str, device: &str, at: Timestamp) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        let started = sqlx::query(
            "insert into session (person, token, device, started, renewed, seen) \
             select id, $2, $3, $4, $4, $4 from person where name = $1",
        )
        .bind(name)
        .bind(token)
        .bind(device)
        .bind(time::to_micros(at))
        .execute(&mut *connection)
        .await?;
        match started.rows_affected() {
            0 => Err(Error::NoSuchPerson { name: name.to_owned() }),
            _ => Ok(()),
        }
    }

    /// The session of the token of this hash, if it was used since `idle_since`.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn session(&self, token: &str, idle_since: Timestamp, at: Timestamp) -> Result<Option<Session>, Error> {
        let mut connection = self.pool.acquire().await?;
        let row = sqlx::query(
            "select s.id, p.name, p.role, s.device, s.started, s.renewed, s.seen from session s join person p on p.id = s.person \
             where (s.token = $1 or (s.former = $1 and s.renewed >= $2)) and s.seen >= $3",
        )
        .bind(token)
        .bind(time::to_micros(at.saturating_sub(GRACE).unwrap_or(at)))
        .bind(time::to_micros(idle_since))
        .fetch_optional(&mut *connection)
        .await?;
        row.as_ref().map(session).transpose()
    }

    /// Gives a session a new token in place of `old`. Whether it did: where two ask at once, one does.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn renew_session(&self, old: &str, new: &str, at: Timestamp) -> Result<bool, Error> {
        let mut connection = self.pool.acquire().await?;
        let renewed =
            sqlx::query("update session set token = $2, former = $1, renewed = $3, seen = $3 where token = $1")
                .bind(old)
                .bind(new)
                .bind(time::to_micros(at))
                .execute(&mut *connection)
                .await?;
        Ok(0 < renewed.rows_affected())
    }

    /// Notes that a session was used.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn note_session(&self, id: i64, at: Timestamp) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        let note = sqlx::query("update session set seen = $2 where id = $1").bind(id).bind(time::to_micros(at));
        note.execute(&mut *connection).await?;
        Ok(())
    }

    /// Where people are signed in, the last used first; those not used since `idle_since` are forgotten.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn sessions(&self, idle_since: Timestamp) -> Result<Vec<Session>, Error> {
        let mut connection = self.pool.acquire().await?;
        let old = sqlx::query("delete from session where seen < $1").bind(time::to_micros(idle_since));
        old.execute(&mut *connection).await?;
        let rows = sqlx::query(
            "select s.id, p.name, p.role, s.device, s.started, s.renewed, s.seen from session s join person p on p.id = s.person \
             order by s.seen desc, s.id desc",
        )
        .fetch_all(&mut *connection)
        .await?;
        rows.iter().map(session).collect()
    }

    /// Ends a session; ending one that has ended does nothing.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn end_session(&self, id: i64) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        sqlx::query("delete from session where id = $1").bind(id).execute(&mut *connection).await?;
        Ok(())
    }

    /// Keeps the hash of a machine's new token, and gives its number.
    ///
    /// # Errors
    /// [`Error::NoSuchMachine`].
    pub async fn add_token(&self, machine: &str, token: &str, label: &str, at: Timestamp) -> Result<i64, Error> {
        let mut transaction = self.begin().await?;
        let machine = read::present(&mut transaction, machine).await?;
        let id = sqlx::query_scalar(
            "insert into machine_token (machine, token, label, made) values ($1, $2, $3, $4) returning id",
        )
        .bind(machine.id)
        .bind(token)
        .bind(label)
        .bind(time::to_micros(at))
        .fetch_one(&mut *transaction)
        .await?;
        transaction.commit().await?;
        Ok(id)
    }

    /// The machine's token of this hash.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn token(&self, token: &str) -> Result<Option<MachineToken>, Error> {
        let mut connection = self.pool.acquire().await?;
        let row = sqlx::query(
            "select t.id, m.name, t.label, t.made, t.used from machine_token t join machine m on m.id = t.machine \
             where t.token = $1",
        )
        .bind(token)
        .fetch_optional(&mut *connection)
        .await?;
        row.as_ref().map(machine_token).transpose()
    }

    /// The tokens of machines, by machine.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn tokens(&self) -> Result<Vec<MachineToken>, Error> {
        let mut connection = self.pool.acquire().await?;
        let rows = sqlx::query(
            "select t.id, m.name, t.label, t.made, t.used from machine_token t join machine m on m.id = t.machine \
             order by m.name, t.id",
        )
        .fetch_all(&mut *connection)
        .await?;
        rows.iter().map(machine_token).collect()
    }

    /// Notes that a machine's token was used.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn note_token(&self, id: i64, at: Timestamp) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        let note = sqlx::query("update machine_token set used = $2 where id = $1").bind(id).bind(time::to_micros(at));
        note.execute(&mut *connection).await?;
        Ok(())
    }

    /// Forgets a machine's token: who has it can do nothing with it any more.
    ///
    /// # Errors
    /// [`Error::NoSuchToken`].
    pub async fn revoke_token(&self, id: i64) -> Result<(), Error> {
        let mut connection = self.pool.acquire().await?;
        let gone = sqlx::query("delete from machine_token where id = $1").bind(id).execute(&mut *connection).await?;
        match gone.rows_affected() {
            0 => Err(Error::NoSuchToken { id }),
            _ => Ok(()),
        }
    }
}

async fn end_sessions_of(connection: &mut AnyConnection, name: &str) -> Result<(), Error> {
    sqlx::query("delete from session where person in (select id from person where name = $1)")
        .bind(name)
        .execute(connection)
        .await?;
    Ok(())
}

/// Refuses people none of whom may say who may; nobody at all is fine.
async fn refuse_without_owner(connection: &mut AnyConnection) -> Result<(), Error> {
    let row = sqlx::query("select count(*), count(case when role = $1 then 1 end) from person")
        .bind(Role::Own.word())
        .fetch_one(connection)
        .await?;
    match (row.try_get::<i64, _>(0)?, row.try_get::<i64, _>(1)?) {
        (1.., 0) => Err(Error::NoOwner),
        _ => Ok(()),
    }
}

fn session(row: &AnyRow) -> Result<Session, Error> {
    Ok(Session {
        id: row.try_get(0)?,
        person: row.try_get(1)?,
        role: role(row, 2)?,
        device: row.try_get(3)?,
        started: instant(row, 4)?,
        renewed: instant(row, 5)?,
        seen: instant(row, 6)?,
    })
}

fn machine_token(row: &AnyRow) -> Result<MachineToken, Error> {
    let used: Option<i64> = row.try_get(4)?;
    Ok(MachineToken {
        id: row.try_get(0)?,
        machine: row.try_get(1)?,
        label: row.try_get(2)?,
        made: instant(row, 3)?,
        used: used.and_then(time::from_micros),
    })
}

fn role(row: &AnyRow, column: usize) -> Result<Role, Error> {
    let damaged = || Error::Damaged { what: "the role of a person".to_owned() };
    Role::from_word(row.try_get(column)?).ok_or_else(damaged)
}

fn instant(row: &AnyRow, column: usize) -> Result<Timestamp, Error> {
    time::instant(row, column, "a person, a session or a token")
}
