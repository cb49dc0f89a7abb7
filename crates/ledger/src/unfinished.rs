//! What jobs that are not done still need.

use crate::{Error, Ledger};

impl Ledger {
    /// What each job says that is not done, those that were given up among them, as JSON.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn unfinished_jobs(&self) -> Result<Vec<String>, Error> {
        let mut connection = self.pool.acquire().await?;
        Ok(sqlx::query_scalar("select body from job where done is null").fetch_all(&mut *connection).await?)
    }
}
