//! How machines are foreseen, kept so that it is reckoned once for all servers (`migrations/*/0011_forecast.sql`).

use std::sync::Arc;

use jiff::Timestamp;
use jiff::civil::Date;
use upkeep::{Build, Due, Foreseen, Usage, Used, When};

use crate::states::{own_builds, wanted};
use crate::{Error, Ledger, catalogue, codec, tables, time};

/// Machines whose forecasts are read in one statement, and written in one transaction.
const GO: usize = 64;

/// The version of this program: another one may foresee otherwise.
const MADE_BY: &str = env!("CARGO_PKG_VERSION");

/// What forecasts are of, beside each machine's own record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OfDay {
    /// The day on which machines are foreseen.
    pub day: Date,
    /// How many descriptions there were ([`crate::News`]).
    pub descriptions: i64,
}

/// A forecast as it is kept.
pub(crate) struct Kept {
    pub total: Usage,
    /// How each task stands, in the build's order: the names stand there.
    pub dues: Vec<(Used, When)>,
    pub busy: Vec<f64>,
}

impl Ledger {
    /// Those of these machines' forecasts that were kept, and of whose machines nothing was recorded since; in no order.
    ///
    /// # Errors
    /// [`Error::BadBuild`], or where the database refuses.
    pub async fn forecasts(&self, machines: &[&str], of: OfDay) -> Result<Vec<Foreseen>, Error> {
        // Whole numbers and no text: they can stand in the statement, of which there are then few.
        let query = format!(
            "select f.machine, f.body from forecast f join machine m on m.id = f.machine and m.revision = f.revision \
             where f.day = {} and f.descriptions = {} and f.made_by = '{MADE_BY}' and f.machine in",
            time::day_number(of.day),
            of.descriptions,
        );
        let mut snapshot = self.snapshot().await?;
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let mut foreseen = Vec::new();
        for go in machines.chunks(GO) {
            let machines = tables::machines_named(&mut snapshot, go).await?;
            let ids: Vec<i64> = machines.iter().map(|machine| machine.id).collect();
            if ids.is_empty() {
                continue;
            }
            let rows = tables::of_machines(&mut snapshot, &query, &ids).await?;
            let mut kept = tables::by_machine(&rows, "forecast", |bytes| codec::forecast_from_bytes(bytes, &names))?;
            if kept.is_empty() {
                continue;
            }
            let builds = catalogue::builds(&mut snapshot, &wanted(&machines), &self.parsed).await?;
            let mut own = own_builds(&mut snapshot, &machines, &builds, &names).await?;
            for machine in machines {
                let Some(joined) = &machine.joined else { continue };
                let Some((kept, build)) = kept.remove(&machine.id).zip(own.remove(&machine.id)) else { continue };
                foreseen.extend(kept.of(machine.name, build, joined.at));
            }
        }
        Ok(foreseen)
    }

    /// Keeps forecasts for others, each with the revision that its machine's record had before it was read.
    ///
    /// # Errors
    /// Where the database refuses.
    pub async fn keep_forecasts(&self, forecasts: &[(i64, Arc<Foreseen>)], of: OfDay) -> Result<(), Error> {
        for go in forecasts.chunks(GO) {
            let mut transaction = self.begin().await?;
            let names = tables::names(&mut transaction, &self.quantities).await?;
            for (revision, machine) in go {
                sqlx::query(
                    "insert into forecast (machine, day, revision, descriptions, made_by, body) \
                     select id, $2, $3, $4, $5, $6 from machine where name = $1 on conflict (machine) do update set \
                     day = excluded.day, revision = excluded.revision, descriptions = excluded.descriptions, \
                     made_by = excluded.made_by, body = excluded.body",
                )
                .bind(machine.name.as_str())
                .bind(time::day_number(of.day))
                .bind(*revision)
                .bind(of.descriptions)
                .bind(MADE_BY)
                .bind(codec::forecast_to_bytes(machine, &names))
                .execute(&mut *transaction)
                .await?;
            }
            transaction.commit().await?;
        }
        Ok(())
    }
}

impl Kept {
    /// The forecast of the machine of that name; `None` where it is of another build, which none is whose revision is right.
    fn of(self, name: String, build: Arc<Build>, added: Timestamp) -> Option<Foreseen> {
        let due = |(task, (used, when)): (usize, (Used, When))| {
            Some(Due { task, name: build.tasks.get(task)?.name.clone(), used, when })
        };
        let dues = self.dues.into_iter().enumerate().map(due).collect::<Option<Vec<Due>>>()?;
        Some(Foreseen { name, build, added, total: self.total, dues, busy: self.busy })
    }
}
