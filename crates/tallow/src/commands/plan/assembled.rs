//! Everything that a plan is made of, read from the shop.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::ZonedDateTime;
use jiff::civil::Date;
use ledger::{Ledger, MachineInfo, Told};
use upkeep::agenda::{Agenda, Shop};
use upkeep::shop::{Item, Rostered, Visit, sources};
use upkeep::stores::Source;
use upkeep::{MachineState, Materials, Prices, Risk};

use crate::commands::lives::ALIKE;
use crate::context::{self, Context};
use crate::trouble::Trouble;
use crate::words::HISTORY_DAYS;

/// The shop on this morning.
pub(crate) struct Assembled {
    /// Its machines, by name.
    pub(crate) states: Vec<MachineState>,
    /// Who is there.
    pub(crate) keepers: Vec<Rostered>,
    /// What is in the stores.
    pub(crate) items: Vec<Item>,
    /// What work takes from, by item.
    pub(crate) sources: BTreeMap<String, Source>,
    /// Visits that people have been told of, from today on, those called off among them.
    pub(crate) told: Vec<Told>,
    /// What things cost.
    pub(crate) prices: Prices,
    /// Which of those are assumed.
    pub(crate) assumed: Vec<&'static str>,
    /// What the money is called.
    pub(crate) currency: String,
    /// Filament materials.
    pub(crate) materials: Materials,
    /// Now, in the shop's time zone.
    pub(crate) now: ZonedDateTime,
}

impl Assembled {
    /// Reads it.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(crate) async fn read(context: &Context, ledger: &Ledger) -> Result<Assembled, Trouble> {
        let mut shop = Assembled::without_machines(context, ledger).await?;
        shop.states = ledger.states(shop.history_from()).await?;
        Ok(shop)
    }

    /// Reads all but the machines.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(super) async fn without_machines(context: &Context, ledger: &Ledger) -> Result<Assembled, Trouble> {
        let now = context.now_in(ledger);
        let materials = context::materials(ledger).await?;
        let rates = ledger.rates().await?;
        let (prices, assumed) = Prices::from_rates(&rates);
        let items = ledger.stores(None).await?;
        let sources = sources(&items, now.date()).map_err(|error| Trouble::from_text(&error.to_string()))?;
        Ok(Assembled {
            states: Vec::new(),
            keepers: ledger.keepers().await?,
            items,
            sources,
            told: ledger.visits(now.date()).await?,
            prices,
            assumed,
            currency: rates.currency,
            materials,
            now,
        })
    }

    /// What is open within `days` days.
    pub(crate) fn agenda(&self, risks: &Risks, days: usize) -> Agenda {
        let (told, unit_prices) = (self.still_told(), self.unit_prices());
        Agenda::of(&self.shop(&told, &unit_prices), self.states.iter().map(|state| (state, risks.of(state))), days)
    }

    /// The shop as agendas are made of it.
    pub(super) fn shop<'a>(&'a self, told: &'a [(String, Visit)], unit_prices: &'a BTreeMap<String, f64>) -> Shop<'a> {
        Shop {
            keepers: &self.keepers,
            stock: &self.sources,
            unit_prices,
            told,
            prices: &self.prices,
            materials: &self.materials,
            now: &self.now,
        }
    }

    /// The visits that were not called off, by machine.
    pub(super) fn still_told(&self) -> Vec<(String, Visit)> {
        let told = self.told.iter().filter(|told| !told.is_cancelled);
        told.map(|told| (told.machine.clone(), told.visit.clone())).collect()
    }

    /// The first day of which the machines' use is read.
    pub(super) fn history_from(&self) -> Date {
        self.now.date().saturating_sub(HISTORY_DAYS.days())
    }

    /// What a unit of each item costs: by what was paid for what is there, else by the terms of buying it.
    pub(crate) fn unit_prices(&self) -> BTreeMap<String, f64> {
        self.items.iter().filter_map(|item| Some((item.name.clone(), item.unit_price()?))).collect()
    }
}

/// The risk of each task of every build that a machine has. Reading it takes whole histories, which not every screen needs.
pub(crate) struct Risks(BTreeMap<String, Vec<Risk>>);

impl Risks {
    /// Out of the records of some machines of each build.
    ///
    /// # Errors
    /// Where the shop can't be read.
    pub(crate) async fn read(context: &Context, ledger: &Ledger, materials: &Materials) -> Result<Risks, Trouble> {
        let machines = ledger.machines().await?;
        let mut alike: BTreeMap<&str, Vec<&MachineInfo>> = BTreeMap::new();
        for machine in &machines {
            alike.entry(&machine.build).or_default().push(machine);
        }
        let mut risks = BTreeMap::new();
        for (name, machines) in alike {
            let build = ledger.build(name).await?;
            let mut entries = Vec::new();
            for machine in machines.iter().take(ALIKE) {
                entries.push(ledger.effective(&machine.name).await?);
            }
            let entries: Vec<_> = entries.iter().map(Vec::as_slice).collect();
            let of_build = upkeep::risks(&build, &entries, materials, &ledger.shop().zone, context.now);
            risks.insert(name.to_owned(), of_build);
        }
        Ok(Risks(risks))
    }

    /// Those of a machine's build.
    pub(crate) fn of(&self, state: &MachineState) -> &[Risk] {
        self.0.get(&state.build.name).map_or(&[], Vec::as_slice)
    }
}
