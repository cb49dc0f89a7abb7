//! What the server holds: the shop, its clock, and the last glance at it.

use std::sync::Arc;

use jiff::civil::Date;
use jiff::{Timestamp, ZonedDateTime};
use ledger::{Ledger, News};
use tokio::sync::{RwLock, Semaphore};

use super::api::Bell;
use super::desk::Desk;
use super::glance::Glance;
use super::guard::Door;
use super::later::Beside;
use super::shelf::Shelf;
use crate::context::{self, Context, Place};
use crate::trouble::Trouble;

tokio::task_local! {
    /// Who asked for what is being answered; what is recorded meanwhile is recorded by them.
    pub(crate) static BY: Option<String>;
}

/// Passwords that are looked at in one go: each takes 19 MiB and a core for a while.
const PASSWORDS_AT_ONCE: usize = 2;

/// The state of the records, and the day, that something was made of.
pub(crate) type Of = (News, Date);

/// What every request is answered from.
pub(crate) struct App {
    /// The shop's records.
    pub(crate) ledger: Ledger,
    /// How the server can be reached.
    pub(crate) door: Door,
    passwords: Semaphore,
    /// Rings when something was recorded.
    pub(crate) bell: Bell,
    /// What is reckoned in the background.
    pub(crate) desk: Desk,
    /// Pages as they were drawn last.
    pub(crate) shelf: Shelf,
    /// What takes longer than a page may.
    pub(crate) later: Beside,
    place: Place,
    fixed_now: Option<Timestamp>,
    glance: RwLock<Option<Arc<Glance>>>,
}

impl App {
    /// A server's state. With `fixed_now` its clock stands still, for rehearsals.
    pub(crate) fn new(ledger: Ledger, door: Door, place: Place, fixed_now: Option<Timestamp>) -> App {
        App {
            ledger,
            door,
            passwords: Semaphore::new(PASSWORDS_AT_ONCE),
            bell: Bell::default(),
            desk: Desk::default(),
            shelf: Shelf::default(),
            later: Beside::default(),
            place,
            fixed_now,
            glance: RwLock::default(),
        }
    }

    /// The present, by the shop's clock.
    pub(crate) fn now(&self) -> ZonedDateTime {
        context::now(self.fixed_now).to_zoned_datetime(self.ledger.shop().zone.clone())
    }

    /// What is made now is of this state of the records, and of today.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(crate) async fn of(&self) -> Result<Of, ledger::Error> {
        Ok((self.ledger.news().await?, self.now().date()))
    }

    /// The shop's records, in which whatever is recorded is recorded by whoever asked.
    pub(crate) fn recording(&self) -> Ledger {
        let by = BY.try_with(Clone::clone).ok().flatten();
        by.map_or_else(|| self.ledger.clone(), |name| self.ledger.recorded_by(&name))
    }

    /// A command's context: what it answers is kept, as JSON; what it records is recorded by whoever asked.
    pub(crate) fn context(&self) -> Context {
        Context::served(&self.recording(), &self.place, self.now().timestamp())
    }

    /// Does work on a password, which is slow by intent, beside the answering of others.
    ///
    /// # Errors
    /// Where the work broke off.
    pub(crate) async fn with_password<T: Send + 'static>(
        &self,
        work: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Trouble> {
        // OK to go on without: it is never closed.
        let _turn = self.passwords.acquire().await;
        let done = tokio::task::spawn_blocking(work).await;
        done.map_err(|error| Trouble::refused(format!("the password could not be looked at: {error}")))
    }

    /// The shop as its records stand now. Only what changed since the last glance is read anew.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(crate) async fn glance(&self) -> Result<Arc<Glance>, Trouble> {
        let now = self.now();
        let news = self.ledger.news().await?;
        let is_fresh = |glance: &&Arc<Glance>| glance.news == news && glance.now.date() == now.date();
        if let Some(fresh) = self.glance.read().await.as_ref().filter(is_fresh) {
            return Ok(fresh.clone());
        }
        let mut last = self.glance.write().await;
        // Somebody else may have looked while this request waited for its turn.
        if let Some(fresh) = last.as_ref().filter(is_fresh) {
            return Ok(fresh.clone());
        }
        let glance = Arc::new(Glance::at(&self.ledger, last.as_deref(), news, now).await?);
        *last = Some(glance.clone());
        Ok(glance)
    }
}
