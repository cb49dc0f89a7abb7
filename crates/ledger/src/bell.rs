//! Waking those who wait for something new in a shop that several processes share.
//!
//! On PostgreSQL by LISTEN and NOTIFY; on a file nobody can be told, so who waits looks again after a while. Nobody depends on
//! being woken: a word that is lost costs that while. It is rung after a transaction and never in one, since PostgreSQL lets
//! transactions that notify commit only one after another.

use std::sync::atomic::Ordering;
use std::time::Duration;

use sqlx::postgres::PgListener;

use crate::place::Engine;
use crate::{Error, Ledger};

/// What the shops of a database listen to.
const CHANNEL: &str = "tallow";

/// Somebody who waits for something new.
pub struct Ear(Option<PgListener>);

impl Ledger {
    /// Somebody who waits for something new.
    ///
    /// # Errors
    /// Where the database can't be reached.
    pub async fn ear(&self) -> Result<Ear, Error> {
        let Some(address) = &self.address else { return Ok(Ear(None)) };
        let mut listener = PgListener::connect(address).await?;
        listener.listen(CHANNEL).await?;
        Ok(Ear(Some(listener)))
    }

    /// How often something was recorded through this ledger and its clones: where that has risen, somebody is to be woken.
    pub fn recordings(&self) -> u64 {
        self.recordings.load(Ordering::SeqCst)
    }

    pub(crate) fn note_recording(&self) {
        self.recordings.fetch_add(1, Ordering::SeqCst);
    }

    /// Wakes all who wait, in whatever process.
    pub async fn ring(&self) {
        if self.engine == Engine::Postgres
            && let Ok(mut connection) = self.pool.acquire().await
        {
            // OK to ignore: who waits looks by itself after a while.
            let _ = sqlx::query("select pg_notify($1, '')").bind(CHANNEL).execute(&mut *connection).await;
        }
    }
}

impl Ear {
    /// Waits until somebody rings, at most so long.
    pub async fn listen(&mut self, most: Duration) {
        let rung = async {
            let is_rung = match &mut self.0 {
                Some(listener) => listener.recv().await.is_ok(),
                None => false,
            };
            // After an error it waits in full; the connection is made anew by the next call.
            if !is_rung {
                std::future::pending::<()>().await;
            }
        };
        // OK to ignore: either has come.
        let _ = tokio::time::timeout(most, rung).await;
    }
}
