//! `tallow replay`: how often the forecast's range held, by the shop's own past.

use std::collections::BTreeMap;

use ledger::Ledger;
use motion::Quantity;
use serde_json::json;
use upkeep::replay::{Calibration, Past, Scored, calibration, replay as replay_past};
use upkeep::{Care, Event, HourReading, Materials};

use crate::cli;
use crate::context::{self, Context, OnMachine};
use crate::out::{Align, Dress, Table};
use crate::progress::{Progress, Unit};
use crate::trouble::Trouble;
use crate::words;

pub(crate) async fn replay(context: &Context, args: &cli::Replay) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let materials = context::materials(&ledger).await?;
    let names = match &args.machine {
        Some(name) => vec![context::machine(&ledger, name).await?.info.name],
        None => ledger.machines().await?.into_iter().map(|machine| machine.name).collect(),
    };
    let progress = Progress::new(Some(names.len() as u64), Unit::Pieces);
    let mut scored = Vec::new();
    for name in &names {
        let machine = context::machine(&ledger, name).await?;
        scored.extend(replay_machine(context, &ledger, &machine, &materials).await?);
        progress.advance(1);
    }
    drop(progress);
    say(context, names.len(), &scored)
}

async fn replay_machine(
    context: &Context,
    ledger: &Ledger,
    machine: &OnMachine,
    materials: &Materials,
) -> Result<Vec<Scored>, Trouble> {
    let zone = &ledger.shop().zone;
    let days = ledger.days(&machine.info.name, None).await?;
    let entries = ledger.effective(&machine.info.name).await?;
    let readings: Vec<HourReading> = entries.iter().filter_map(|entry| HourReading::of(entry, zone)).collect();
    let cared: Vec<_> = entries
        .into_iter()
        .filter_map(|entry| {
            let care = match entry.event {
                Event::Done { task, .. } => Care::Task(task),
                Event::Replaced { position, .. } => Care::Position(position),
                _ => return None,
            };
            Some((care, zone.to_datetime(entry.at).date()))
        })
        .collect();
    let past = Past {
        build: &machine.build,
        added: zone.to_datetime(machine.info.added).date(),
        last: context.now_in(ledger).date(),
        days: &days,
        readings: &readings,
        cared: &cared,
    };
    Ok(replay_past(&past, materials))
}

fn say(context: &Context, machines: usize, scored: &[Scored]) -> Result<(), Trouble> {
    let by_quantity = calibration(scored);
    let all = sum(&by_quantity);
    if context.json {
        let rows = by_quantity.iter().map(|(quantity, counts)| shape(quantity.name(), counts)).collect::<Vec<_>>();
        return context.out.json(&json!({ "machines": machines, "all": shape("all", &all), "quantities": rows }));
    }
    let Some(within) = all.share_within() else {
        return context.out.line("The records are too short to judge a forecast by: it takes some months of runs.");
    };
    context
        .out
        .line("Forecasts made at the start of each past month, from what was known then, against what came:\n")?;
    let columns = [
        ("limit on", Align::Left),
        ("forecasts", Align::Right),
        ("before", Align::Right),
        ("within", Align::Right),
        ("after", Align::Right),
        ("held", Align::Right),
    ];
    let mut table = Table::new(columns);
    for (quantity, counts) in &by_quantity {
        row(&mut table, quantity.name(), counts, Dress::Plain);
    }
    row(&mut table, "all", &all, Dress::Bold);
    context.out.table(&table)?;
    context.out.line(format!(
        "\nThe range from the 10 % to the 90 % day held {} of the time; it is meant to hold 80 %.",
        words::percent(within)
    ))
}

fn row(table: &mut Table, name: &str, counts: &Calibration, dress: Dress) {
    let Calibration { before, within, after } = counts;
    let held = counts.share_within().map_or_else(String::new, words::percent);
    let forecasts = before + within + after;
    table.row(
        [name.to_owned(), forecasts.to_string(), before.to_string(), within.to_string(), after.to_string(), held],
        dress,
    );
}

fn sum(by_quantity: &BTreeMap<Quantity, Calibration>) -> Calibration {
    by_quantity.values().fold(Calibration::default(), |sum, counts| Calibration {
        before: sum.before + counts.before,
        within: sum.within + counts.within,
        after: sum.after + counts.after,
    })
}

fn shape(name: &str, counts: &Calibration) -> serde_json::Value {
    json!({ "limit_on": name, "before": counts.before, "within": counts.within, "after": counts.after,
            "held": counts.share_within() })
}
