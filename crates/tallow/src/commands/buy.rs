//! `tallow stores buy`: what to order, how much of it, and by which day.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::Date;
use ledger::{Ledger, MachineInfo, Told};
use serde_json::{Value, json};
use upkeep::shop::{Item, Measured, Visit};
use upkeep::shopping::{Buyer, Coming, Shopping, Unsaid, ahead_days, needs};
use upkeep::stores::{Line, Why};

use crate::cli;
use crate::commands::stores::{late_words, told};
use crate::context::{self, Context};
use crate::goes::each_go;
use crate::out::{Align, Dress, Table};
use crate::parallel;
use crate::trouble::Trouble;
use crate::words::{self, HISTORY_DAYS};

pub(crate) async fn buy(context: &Context, ledger: &Ledger, args: &cli::Buy) -> Result<(), Trouble> {
    let list = List::read(context, ledger, args.days).await?;
    if context.json { context.out.json(&list.shape()) } else { list.show(context) }
}

/// The day on which the first machine joined.
fn joined(machines: &[MachineInfo], now: &jiff::ZonedDateTime) -> Option<Date> {
    machines.iter().map(|machine| now.time_zone().to_datetime(machine.added).date()).min()
}

/// What to order, with what is known of the items.
pub(crate) struct List {
    /// What to order, and what can't be said.
    pub(crate) shopping: Shopping,
    items: Vec<Item>,
    /// What the money is called.
    pub(crate) currency: String,
    today: Date,
    days: u16,
}

impl List {
    /// What can't wait until the shop orders again in `days` days.
    ///
    /// # Errors
    /// Where the shop can't be read, or terms or amounts can't be.
    pub(crate) async fn read(context: &Context, ledger: &Ledger, days: u16) -> Result<List, Trouble> {
        let now = context.now_in(ledger);
        let today = now.date();
        let from = today.saturating_sub(HISTORY_DAYS.days());
        let machines = ledger.machines().await?;
        let used_from = joined(&machines, &now).map_or(from, |joined| joined.max(from));
        let items =
            ledger.stores(from.to_zoned_datetime(now.time_zone().clone()).ok().map(|from| from.timestamp())).await?;
        let told = ledger.visits(today).await?.into_iter().filter(Told::stands);
        let told: Vec<(String, Visit)> = told.map(|told| (told.machine, told.visit)).collect();
        let materials = context::materials(ledger).await?;
        let n_days = ahead_days(&items, days);
        let names: Vec<&str> = machines.iter().map(|machine| machine.name.as_str()).collect();
        let mut coming = Coming::default();
        each_go(ledger, &names, from, |states| {
            let of_go = parallel::map(&states, |state| needs(state, &told, &materials, &now, n_days));
            of_go.into_iter().for_each(|of_one| coming.extend(of_one));
        })
        .await?;
        let buyer = Buyer { coming: &coming, items: &items, used_from, now: &now, review_days: days };
        let shopping = buyer.shopping().map_err(|error| Trouble::from_text(&error.to_string()))?;
        Ok(List { shopping, items, currency: ledger.rates().await?.currency, today, days })
    }

    fn show(&self, context: &Context) -> Result<(), Trouble> {
        let out = &context.out;
        match self.shopping.lines.is_empty() {
            true => out.line(format!("Nothing must be ordered {}.", words::within(self.days)))?,
            false => self.lines(context)?,
        }
        for item in &self.shopping.uncounted {
            let text = format!(
                "Taken to be none, since it was never counted: {item}. To count it: tallow stores count \"{item}\" 0"
            );
            out.prose("", &text)?;
        }
        self.late(context)?;
        self.unsaid(context)
    }

    fn lines(&self, context: &Context) -> Result<(), Trouble> {
        let columns = [
            ("order by", Align::Left),
            ("from", Align::Left),
            ("item", Align::Left),
            ("packs", Align::Right),
            ("cost", Align::Right),
            ("why", Align::Left),
        ];
        let mut table = Table::new(columns);
        for line in &self.shopping.lines {
            let cost = line.cost.map_or_else(String::new, |cost| words::money(cost, &self.currency));
            let day = words::weekday(line.order_by, self.today);
            let dress = if line.is_late { Dress::Bold } else { Dress::Plain };
            table.row([day, line.supplier.clone(), line.item.clone(), self.packs(line), cost, self.why(line)], dress);
        }
        let nobody = self.shopping.lines.iter().all(|line| line.supplier.is_empty());
        let table = if nobody { table.without("from") } else { table };
        match context.out.fits(table.width()) {
            true => context.out.table(&table)?,
            false => self.sentences(context)?,
        }
        let all = if self.shopping.lines.iter().any(|line| line.cost.is_none()) {
            ", as far as prices were told"
        } else {
            ""
        };
        let sum = words::money(self.sum(), &self.currency);
        context.out.line("")?;
        context.out.prose("", &format!("In all {sum}{all}."))
    }

    /// What should have come, and is not counted as on its way.
    fn late(&self, context: &Context) -> Result<(), Trouble> {
        for item in &self.items {
            for late in late_words(item, self.today) {
                let text =
                    format!("{}: {late}, so it is not counted on. Ask for it, or take the order back:", item.name);
                context.out.prose("", &format!("{text} tallow correct ENTRY --withdraw"))?;
            }
        }
        Ok(())
    }

    /// The lines on a terminal that is too narrow for their table.
    fn sentences(&self, context: &Context) -> Result<(), Trouble> {
        for line in &self.shopping.lines {
            let from = if line.supplier.is_empty() { String::new() } else { format!(" from {}", line.supplier) };
            let cost = line.cost.map_or_else(String::new, |cost| format!(", {}", words::money(cost, &self.currency)));
            let day = words::weekday(line.order_by, self.today);
            let text = format!("{day}: {} of {}{from}{cost}; {}", self.packs(line), line.item, self.why(line));
            context.out.prose("", &text)?;
        }
        Ok(())
    }

    /// What has no terms, with what to say.
    fn unsaid(&self, context: &Context) -> Result<(), Trouble> {
        let Some(first) = self.shopping.unsaid.first() else { return Ok(()) };
        context.out.line("\nNobody has said how these are bought:\n")?;
        let columns =
            [("item", Align::Left), ("needed", Align::Right), ("from", Align::Left), ("in stock", Align::Right)];
        let mut table = Table::new(columns);
        for unsaid in &self.shopping.unsaid {
            let day = unsaid.first.map(|first| words::weekday(first, self.today));
            let needed = day.as_ref().map(|_| told(unsaid.needed, &unsaid.unit));
            let there = unsaid.there.map_or_else(|| "not known".to_owned(), |there| told(there, &unsaid.unit));
            let cells = [unsaid.item.clone(), needed.unwrap_or_default(), day.unwrap_or_default(), there];
            table.row(cells, Dress::Plain);
        }
        context.out.table(&table)?;
        context.out.line("")?;
        let text = format!("Say so of each, for example: {}", terms_line(first));
        // A command can be copied where it stands in one line.
        if context.out.fits(text.chars().count()) { context.out.line(text) } else { context.out.prose("", &text) }
    }

    /// `2 × 100 ml`; where a pack is a piece, their number.
    pub(crate) fn packs(&self, line: &Line) -> String {
        let pack = self.item(line).and_then(|item| item.terms.as_ref()).map_or("", |terms| terms.pack.as_str());
        if pack == "1" { line.packs.to_string() } else { format!("{} × {pack}", line.packs) }
    }

    /// All the packs as an amount with its unit, as an order records it: `200 ml`, `5`.
    pub(crate) fn amount(&self, line: &Line) -> String {
        let pack = self.item(line).and_then(|item| Measured::parse(&item.terms.as_ref()?.pack).ok());
        // Nothing is listed without terms, and no terms are kept whose pack can't be read.
        pack.map_or_else(String::new, |pack| told(pack.amount * f64::from(line.packs), &pack.unit))
    }

    /// Why it is to be ordered by that day.
    pub(crate) fn why(&self, line: &Line) -> String {
        let unit = self.unit(line);
        let why = match line.why {
            Why::Low { left } => {
                let is = if self.coming(line) == 0.0 { "left" } else { "left or on its way" };
                format!(
                    "{} {is} by then, below the point of reordering, {}",
                    told(left.max(0.0), unit),
                    told(line.point, unit)
                )
            }
            Why::Lacking { day, missing } => {
                format!("{} too little for {}", told(missing, unit), words::weekday(day, self.today))
            }
        };
        let late = if line.is_late { "; comes too late" } else { "" };
        let spoils =
            if 0.0 < line.spoils { format!("; {} of it may go bad", told(line.spoils, unit)) } else { String::new() };
        format!("{why}{late}{spoils}")
    }

    fn item(&self, line: &Line) -> Option<&Item> {
        self.items.iter().find(|item| item.name == line.item)
    }

    /// How much of it is on its way.
    fn coming(&self, line: &Line) -> f64 {
        self.item(line).map_or(0.0, |item| item.on_its_way(self.today))
    }

    /// In what the item of a line is counted.
    pub(crate) fn unit(&self, line: &Line) -> &str {
        self.item(line).map_or("", |item| item.unit.as_str())
    }

    /// What all of it costs, as far as prices were told.
    pub(crate) fn sum(&self) -> f64 {
        // The sum of nothing is −0; 0 + −0 is 0.
        0.0 + self.shopping.lines.iter().filter_map(|line| line.cost).sum::<f64>()
    }

    fn shape(&self) -> Value {
        let unsaid = self.shopping.unsaid.iter().map(|unsaid| {
            json!({
                "item": unsaid.item, "unit": unsaid.unit, "there": unsaid.there, "needed": unsaid.needed,
                "first": unsaid.first.map(|day| day.to_string()), "say": terms_line(unsaid),
            })
        });
        let suppliers = self.shopping.lines.iter().filter_map(|line| Some((line.supplier.as_str(), line.cost?)));
        let mut sums: BTreeMap<&str, f64> = BTreeMap::new();
        suppliers.for_each(|(supplier, cost)| *sums.entry(supplier).or_default() += cost);
        json!({
            "days": self.days, "currency": self.currency, "cost": self.sum(), "cost_by_supplier": sums,
            "lines": self.shopping.lines.iter().map(|line| self.line_shape(line)).collect::<Value>(),
            "uncounted": self.shopping.uncounted, "unsaid": unsaid.collect::<Value>(),
        })
    }

    fn line_shape(&self, line: &Line) -> Value {
        let (left, lacks_on, missing) = match line.why {
            Why::Low { left } => (Some(left), None, None),
            Why::Lacking { day, missing } => (None, Some(day.to_string()), Some(missing)),
        };
        json!({
            "item": line.item, "unit": self.unit(line), "supplier": line.supplier, "packs": line.packs,
            "pack": self.item(line).and_then(|item| item.terms.as_ref()).map(|terms| terms.pack.as_str()),
            "order_by": line.order_by.to_string(), "late": line.is_late, "point": line.point, "left": left,
            "coming": self.coming(line), "lacks_on": lacks_on, "missing": missing, "cost": line.cost, "spoils": line.spoils,
        })
    }
}

/// What to say so that something can be bought.
fn terms_line(unsaid: &Unsaid) -> String {
    let pack = if unsaid.unit.is_empty() { "10".to_owned() } else { format!("\"100 {}\"", unsaid.unit) };
    format!("tallow stores terms \"{}\" --lead \"10 days\" --pack {pack}", unsaid.item)
}
