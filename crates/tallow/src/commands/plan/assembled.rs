//! Everything that a plan is made of, read from the shop.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::ZonedDateTime;
use ledger::{Ledger, Told};
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
        let now = context.now_in(ledger);
        let states = ledger.states(now.date().saturating_sub(HISTORY_DAYS.days())).await?;
        let materials = context::materials(ledger).await?;
        let rates = ledger.rates().await?;
        let (prices, assumed) = Prices::from_rates(&rates);
        let items = ledger.stores(None).await?;
        let sources = sources(&items, now.date()).map_err(|error| Trouble::from_text(&error.to_string()))?;
        Ok(Assembled {
            states,
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
        let machines: Vec<(&MachineState, &[Risk])> =
            self.states.iter().map(|state| (state, risks.of(state))).collect();
        let told = self.told.iter().filter(|told| !told.is_cancelled);
        let told: Vec<(String, Visit)> = told.map(|told| (told.machine.clone(), told.visit.clone())).collect();
        let shop = Shop {
            machines: &machines,
            keepers: &self.keepers,
            stock: &self.sources,
            unit_prices: &self.unit_prices(),
            told: &told,
            prices: &self.prices,
            materials: &self.materials,
            now: &self.now,
        };
        Agenda::of(&shop, days)
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
    pub(crate) async fn read(context: &Context, ledger: &Ledger, shop: &Assembled) -> Result<Risks, Trouble> {
        let mut alike: BTreeMap<&str, Vec<&MachineState>> = BTreeMap::new();
        for state in &shop.states {
            alike.entry(&state.build.name).or_default().push(state);
        }
        let mut risks = BTreeMap::new();
        for (name, machines) in alike {
            let build = ledger.build(name).await?;
            let mut entries = Vec::new();
            for machine in machines.iter().take(ALIKE) {
                entries.push(ledger.effective(&machine.name).await?);
            }
            let entries: Vec<_> = entries.iter().map(Vec::as_slice).collect();
            let of_build = upkeep::risks(&build, &entries, &shop.materials, &ledger.shop().zone, context.now);
            risks.insert(name.to_owned(), of_build);
        }
        Ok(Risks(risks))
    }

    /// Those of a machine's build.
    pub(crate) fn of(&self, state: &MachineState) -> &[Risk] {
        self.0.get(&state.build.name).map_or(&[], Vec::as_slice)
    }
}
