//! `tallow quantities`: what is metered.

use motion::{AddsUp, Quantity, Unit};
use serde_json::json;

use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

pub(crate) fn quantities(context: &Context) -> Result<(), Trouble> {
    if context.json {
        let rows = Quantity::ALL.iter().map(|quantity| {
            json!({ "name": quantity.name(), "unit": symbol(quantity.unit()),
                    "adds_up": if quantity.adds_up() == AddsUp::Sum { "sum" } else { "largest" },
                    "about": quantity.about() })
        });
        return context.out.json(&rows.collect());
    }
    let mut table = Table::new([("quantity", Align::Left), ("unit", Align::Left), ("is", Align::Left)]);
    for quantity in Quantity::ALL {
        let cells = [quantity.name().to_owned(), symbol(quantity.unit()).to_owned(), quantity.about().to_owned()];
        table.row(cells, Dress::Plain);
    }
    context.out.table(&table)
}

/// The symbol of a unit.
pub(crate) fn symbol(unit: Unit) -> &'static str {
    unit.symbol()
}
