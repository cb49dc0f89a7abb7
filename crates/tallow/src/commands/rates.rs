//! `tallow rates`: what things cost in the shop's money.

use serde_json::json;
use upkeep::{EntryId, Prices, Rates};

use crate::cli;
use crate::commands::history::{rates_shape, rates_words};
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

pub(crate) async fn rates(context: &Context, args: &cli::Rates) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let said = said(args)?;
    if said == Rates::default() && args.note.is_empty() {
        return show(context, &ledger.rates().await?, None);
    }
    let entry = ledger.set_rates(said.clone(), context.now, &args.note).await?;
    if !context.json {
        context.out.line(format!("entry {entry}: {}\n", rates_words(&said)))?;
    }
    show(context, &ledger.rates().await?, Some(entry))
}

fn said(args: &cli::Rates) -> Result<Rates, Trouble> {
    let currency = args.currency.as_deref().map(str::trim);
    if currency == Some("") {
        return Err(Trouble::refused("the money has no name").help("write 1 to 8 letters or signs: --currency EUR"));
    }
    Ok(Rates {
        currency: currency.unwrap_or_default().to_owned(),
        labour_per_hour: args.labour,
        standing_per_hour: args.standing,
        nuisance: args.nuisance,
        failed_print: args.failed_print,
        damage: args.damage,
    })
}

/// Tells all rates, those that are not set too; `entry` is the one that was written just now.
fn show(context: &Context, rates: &Rates, entry: Option<EntryId>) -> Result<(), Trouble> {
    if context.json {
        let mut shape = rates_shape(rates);
        shape["entry"] = json!(entry.map(|entry| entry.0));
        return context.out.json(&shape);
    }
    let money = if rates.currency.is_empty() { "costs" } else { &rates.currency };
    let mut table = Table::new([("", Align::Left), (money, Align::Right)]);
    let (prices, _) = Prices::from_rates(rates);
    for ((what, amount), assumed) in rates.amounts().into_iter().zip(prices.amounts()) {
        let amount = amount.map_or_else(|| format!("not set; assumed {assumed}"), |amount| amount.to_string());
        table.row([what.to_owned(), amount], Dress::Plain);
    }
    context.out.table(&table)?;
    context.out.line("")?;
    context.out.prose("", MEANING)?;
    match rates.amounts().iter().any(|(_, amount)| amount.is_none()) {
        true => context.out.prose("", NOT_SET),
        false => Ok(()),
    }
}

const MEANING: &str = "A nuisance, a failed print and damage are what one of each costs beyond the repair. An injury has no \
                       price, on purpose: no money is weighed against it.";

const NOT_SET: &str = "Where something is not set, plan, rhythm and before count with what is assumed here, and say so; lives \
                       and due --why tell no cost that needs it. To set it: tallow rates --labour 32";
