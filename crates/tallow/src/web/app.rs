//! What the server holds: the shop, its clock, and the last glance at it.

use std::sync::Arc;

use jiff::{Timestamp, ZonedDateTime};
use ledger::Ledger;
use tokio::sync::RwLock;

use super::glance::Glance;
use crate::context::{self, Context};
use crate::trouble::Trouble;

/// What every request is answered from.
pub(crate) struct App {
    /// The shop's records.
    pub(crate) ledger: Ledger,
    fixed_now: Option<Timestamp>,
    glance: RwLock<Option<Arc<Glance>>>,
}

impl App {
    /// A server's state. With `fixed_now` its clock stands still, for rehearsals.
    pub(crate) fn new(ledger: Ledger, fixed_now: Option<Timestamp>) -> App {
        App { ledger, fixed_now, glance: RwLock::default() }
    }

    /// The present, by the shop's clock.
    pub(crate) fn now(&self) -> ZonedDateTime {
        self.fixed_now.unwrap_or_else(context::clock).to_zoned_datetime(self.ledger.shop().zone.clone())
    }

    /// A command's context: what it answers is kept, as JSON.
    pub(crate) fn context(&self) -> Context {
        Context::served(&self.ledger, self.now().timestamp())
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
