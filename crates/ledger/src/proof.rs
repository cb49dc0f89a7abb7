//! Proof that the derived rows are what the entries say, and their rebuilding from the entries alone.

use std::collections::BTreeMap;
use std::fmt;

use motion::Quantity;
use upkeep::usage::{Grains, Stream};
use upkeep::{Care, Standing, Unknown, Usage};

use crate::derived::Derived;
use crate::read::present;
use crate::tables::{self, MachineRow};
use crate::{Error, Ledger};

/// A derived row that is not what the entries say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// The machine.
    pub machine: String,
    /// Which of its rows, and what in it.
    pub what: String,
    /// What is kept.
    pub kept: String,
    /// What the entries say.
    pub entries_say: String,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Difference { machine, what, kept, entries_say } = self;
        write!(f, "machine \"{machine}\", {what}: kept {kept}, the entries say {entries_say}")
    }
}

/// What a proof has looked at and found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Verdict {
    /// Machines proved, those withdrawn included.
    pub machines: usize,
    /// Entries that stand.
    pub entries: usize,
    /// Where the rows are not what the entries say; empty if they are equal to the last grain.
    pub differences: Vec<Difference>,
}

impl Ledger {
    /// Computes every derived row from the entries and compares it with what is kept.
    ///
    /// # Errors
    /// Where an entry itself cannot be read, or entries contradict each other.
    pub async fn verify(&self) -> Result<Verdict, Error> {
        self.verify_of(&self.all_machines().await?).await
    }

    /// As [`Ledger::verify`], of the shop itself and of those `most` machines alone to which something was recorded last: what is
    /// wrong after a crash is found there, in a time that does not grow with the hall.
    ///
    /// # Errors
    /// As [`Ledger::verify`].
    pub async fn verify_newest(&self, most: u32) -> Result<Verdict, Error> {
        let mut connection = self.pool.acquire().await?;
        let newest: Vec<i64> =
            sqlx::query_scalar("select machine from entry group by machine order by max(id) desc limit $1")
                // The shop itself may be among them.
                .bind(i64::from(most) + 1)
                .fetch_all(&mut *connection)
                .await?;
        let all = tables::machines(&mut connection).await?;
        drop(connection);
        let (shop, mut machines): (Vec<_>, Vec<_>) = all.into_iter().partition(MachineRow::is_the_shop);
        machines.sort_by_key(|machine| newest.iter().position(|id| *id == machine.id).unwrap_or(usize::MAX));
        machines.truncate(most as usize);
        machines.extend(shop);
        self.verify_of(&machines).await
    }

    async fn verify_of(&self, machines: &[MachineRow]) -> Result<Verdict, Error> {
        let mut verdict = Verdict::default();
        for machine in machines {
            self.prove(machine.clone(), &mut verdict).await?;
        }
        Ok(verdict)
    }

    /// As [`Ledger::verify`], of one machine.
    ///
    /// # Errors
    /// As [`Ledger::verify`]; [`Error::NoSuchMachine`].
    pub async fn verify_machine(&self, name: &str) -> Result<Verdict, Error> {
        let mut connection = self.pool.acquire().await?;
        let machine = present(&mut connection, name).await?;
        drop(connection);
        let mut verdict = Verdict::default();
        self.prove(machine, &mut verdict).await?;
        Ok(verdict)
    }

    async fn prove(&self, machine: MachineRow, verdict: &mut Verdict) -> Result<(), Error> {
        let mut snapshot = self.snapshot().await?;
        // Read again, so that the row is of the same instant as the entries.
        let machine = tables::machine(&mut snapshot, &machine.name).await?.unwrap_or(machine);
        let machines = usize::from(!machine.is_the_shop());
        let names = tables::names(&mut snapshot, &self.quantities).await?;
        let (effective, chains) = tables::effective(&mut snapshot, machine.id, &names).await?;
        let right = Derived::from_entries(&effective, &chains, &self.shop.zone)?;
        match tables::derived(&mut snapshot, &machine, &names).await {
            Ok(kept) => compare(&machine.name, &kept, &right, &mut verdict.differences),
            Err(Error::Damaged { what }) => {
                let (kept, entries_say) = ("bytes that cannot be read".to_owned(), "otherwise".to_owned());
                verdict.differences.push(Difference { machine: machine.name, what, kept, entries_say });
            }
            Err(error) => return Err(error),
        }
        verdict.machines += machines;
        verdict.entries += effective.len();
        Ok(())
    }

    /// Throws the derived rows of one machine, or of all, away and derives them anew from the entries. Gives how many
    /// machines that were.
    ///
    /// # Errors
    /// [`Error::NoSuchMachine`]; where an entry cannot be read, the rows of its machine stay as they were.
    pub async fn rebuild(&self, machine: Option<&str>) -> Result<usize, Error> {
        let mut machines = self.all_machines().await?;
        // Nothing is derived from what is of the shop itself.
        machines.retain(|machine| !machine.is_the_shop());
        if let Some(name) = machine {
            machines.retain(|machine| machine.name == name);
            if machines.is_empty() {
                let known = self.machines().await?.into_iter().map(|machine| machine.name).collect();
                return Err(Error::NoSuchMachine(Unknown::new("machine", name, known)));
            }
        }
        for machine in &machines {
            let mut transaction = self.begin().await?;
            tables::lock(&mut transaction, &machine.name).await?;
            let names = tables::names(&mut transaction, &self.quantities).await?;
            tables::clear_derived(&mut transaction, machine.id).await?;
            self.derive(&mut transaction, machine.id, &Derived::default(), &names).await?;
            transaction.commit().await?;
        }
        Ok(machines.len())
    }

    async fn all_machines(&self) -> Result<Vec<MachineRow>, Error> {
        let mut connection = self.pool.acquire().await?;
        tables::machines(&mut connection).await
    }
}

/// Names every difference between what is kept and what is right.
fn compare(machine: &str, kept: &Derived, right: &Derived, out: &mut Vec<Difference>) {
    let mut say = |what: String, kept: String, entries_say: String| {
        out.push(Difference { machine: machine.to_owned(), what, kept, entries_say });
    };
    if kept.joined != right.joined {
        say("how it joined".into(), format!("{:?}", kept.joined), format!("{:?}", right.joined));
    }
    usages("total", &kept.total, &right.total, &mut say);
    for_both(&kept.days, &right.days, |date, kept, right| {
        let none = Usage::new();
        usages(&format!("day {date}"), kept.unwrap_or(&none), right.unwrap_or(&none), &mut say);
    });
    for_both(&kept.standings.clone().into_map(), &right.standings.clone().into_map(), |care, kept, right| {
        standing(care, kept, right, &mut say);
    });
    for (what, kept, right) in [("queue", &kept.queue, &right.queue), ("own limits", &kept.limits, &right.limits)] {
        if kept != right {
            say(what.into(), format!("{kept:?}"), format!("{right:?}"));
        }
    }
}

fn standing(
    care: &Care,
    kept: Option<&Standing>,
    right: Option<&Standing>,
    say: &mut impl FnMut(String, String, String),
) {
    let what = match care {
        Care::Task(name) => format!("task \"{name}\""),
        Care::Position(name) => format!("part at \"{name}\""),
    };
    let when = |standing: Option<&Standing>| {
        standing.map_or_else(|| "never".to_owned(), |standing| format!("{} by entry {}", standing.at, standing.entry))
    };
    if when(kept) != when(right) {
        say(what.clone(), when(kept), when(right));
    }
    if let (Some(kept), Some(right)) = (kept, right) {
        usages(&format!("use before {what}"), &kept.base, &right.base, say);
    }
}

/// Names the quantities in which two values of use differ, in grains.
fn usages(what: &str, kept: &Usage, right: &Usage, say: &mut impl FnMut(String, String, String)) {
    if kept == right {
        return;
    }
    let streams = |usage: &Usage| -> BTreeMap<Stream, Grains> {
        usage.streams().map(|(stream, grains)| (stream.clone(), grains.clone())).collect()
    };
    for_both(&streams(kept), &streams(right), |stream, kept, right| {
        let grains = |side: Option<&Grains>, quantity| side.map_or(0, |grains| grains.get(quantity));
        for &quantity in Quantity::ALL {
            let (kept, right) = (grains(kept, quantity), grains(right, quantity));
            if kept != right {
                let what = format!("{what}, {quantity} of tool {} in {}", stream.tool, stream.material);
                say(what, kept.to_string(), right.to_string());
            }
        }
    });
}

/// Calls `each` with every key of either map and what each map holds for it.
fn for_both<K: Ord, V>(
    kept: &BTreeMap<K, V>,
    right: &BTreeMap<K, V>,
    mut each: impl FnMut(&K, Option<&V>, Option<&V>),
) {
    for (key, value) in kept {
        each(key, Some(value), right.get(key));
    }
    for (key, value) in right.iter().filter(|(key, _)| !kept.contains_key(key)) {
        each(key, None, Some(value));
    }
}
