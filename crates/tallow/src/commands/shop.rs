//! `tallow shop`: make one, look at it, prove its records.

use std::path::Path;

use jiff::tz::TimeZone;
use ledger::Ledger;
use serde_json::json;

use super::keep;
use crate::cli;
use crate::context::Context;
use crate::trouble::Trouble;

pub(crate) async fn shop(context: &Context, args: &cli::Shop) -> Result<(), Trouble> {
    match args {
        cli::Shop::New { name, zone } => new(context, name, zone.as_deref()).await,
        cli::Shop::Show => show(context).await,
        cli::Shop::Verify { rebuild } => verify(context, *rebuild).await,
        cli::Shop::Backup(args) => keep::backup(context, args).await,
        cli::Shop::Restore { file } => keep::restore(context, file).await,
        cli::Shop::Copy { place } => keep::copy(context, place).await,
        cli::Shop::Export { folder } => keep::export(context, folder).await,
        cli::Shop::Import { folder } => keep::import(context, folder).await,
    }
}

async fn new(context: &Context, name: &str, zone: Option<&str>) -> Result<(), Trouble> {
    let place = context.place()?;
    let ledger = make(&place, name, zone).await?;
    context.will_close(&ledger);
    if context.json {
        return context.out.json(&shape(&ledger, Some(&place)));
    }
    let zone = &ledger.shop().zone_name;
    context.out.line(format!("The shop \"{name}\" is at {place}; its days are those of {zone}."))?;
    context.out.line("Next: tallow build list, then tallow machine add NAME --build BUILD")
}

/// Makes a shop at a place, with the days of `zone`, else with those of this machine.
///
/// # Errors
/// A name or a zone that can't be, a place at which none can be made.
pub(crate) async fn make(place: &str, name: &str, zone: Option<&str>) -> Result<Ledger, Trouble> {
    let zone = zone.map_or_else(zone_here, |zone| Ok(zone.to_owned()))?;
    make_folder_for(place)?;
    Ok(Ledger::create(place, name, &zone).await?)
}

async fn show(context: &Context) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let (machines, builds) = (ledger.machines().await?.len(), ledger.builds().await?.len());
    // Where a server keeps its records is for whoever runs it.
    let place = if context.is_served() { None } else { Some(context.place()?) };
    if context.json {
        let mut shape = shape(&ledger, place.as_deref());
        shape["machines"] = json!(machines);
        shape["builds"] = json!(builds);
        return context.out.json(&shape);
    }
    let shop = ledger.shop();
    context.out.line(format!("{}, {}", shop.name, shop.zone_name))?;
    context.out.line(format!("{machines} machines, {builds} builds"))?;
    place.map_or(Ok(()), |place| context.out.line(format!("records at {place}")))
}

async fn verify(context: &Context, rebuild: bool) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    if rebuild {
        ledger.rebuild(None).await?;
    }
    let verdict = ledger.verify().await?;
    let differences: Vec<String> = verdict.differences.iter().map(ToString::to_string).collect();
    if context.json {
        context
            .out
            .json(&json!({ "machines": verdict.machines, "entries": verdict.entries, "differences": differences }))?;
    }
    if differences.is_empty() {
        let (machines, entries) = (verdict.machines, verdict.entries);
        return match context.json {
            true => Ok(()),
            false => {
                let machines = if machines == 1 { "1 machine".to_owned() } else { format!("{machines} machines") };
                context
                    .out
                    .line(format!("The sums of {machines} equal the {entries} entries that hold, to the last grain."))
            }
        };
    }
    Err(unequal(differences))
}

/// That sums are not what the entries say.
pub(super) fn unequal(differences: Vec<String>) -> Trouble {
    let trouble = Trouble::refused(format!("{} sums do not equal the entries", differences.len()));
    let shown = differences.into_iter().take(20).fold(trouble, Trouble::help);
    shown.help("make them anew: tallow shop verify --rebuild")
}

fn shape(ledger: &Ledger, place: Option<&str>) -> serde_json::Value {
    json!({ "shop": ledger.shop().name, "zone": ledger.shop().zone_name, "place": place })
}

fn zone_here() -> Result<String, Trouble> {
    TimeZone::system().iana_name().map(str::to_owned).ok_or_else(|| {
        Trouble::refused("this machine does not say in which time zone it is").help("say so: --zone Europe/Oslo")
    })
}

/// Makes the folder that a shop's file is to be in.
///
/// # Errors
/// Where the folder can't be made.
pub(crate) fn make_folder_for(place: &str) -> Result<(), Trouble> {
    let Some(folder) = Path::new(place).parent().filter(|_| !place.contains("://")) else { return Ok(()) };
    std::fs::create_dir_all(folder).map_err(|error| {
        Trouble::refused(format!("the folder {} can't be made: {error}", folder.display()))
            .help("name another place: --shop FILE")
    })
}
