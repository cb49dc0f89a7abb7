//! `tallow material`: what is printed.

use serde_json::json;
use upkeep::{MaterialClass, MaterialInfo, Unknown};

use crate::cli;
use crate::context::{self, Context};
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

pub(crate) async fn material(context: &Context, args: &cli::Material) -> Result<(), Trouble> {
    match args {
        cli::Material::List => list(context).await,
        cli::Material::Add { name, density, classes } => {
            let ledger = context.open().await?;
            let before = context::materials(&ledger).await?.get(name.trim()).cloned();
            let info = MaterialInfo {
                // A name that differs in its case alone is the same one, by which runs are booked already.
                name: before.as_ref().map_or_else(|| checked_name(name), |before| Ok(before.name.clone()))?,
                density_kg_m3: checked_density(*density)?,
                classes: classes.iter().map(|class| checked_class(class)).collect::<Result<_, _>>()?,
            };
            ledger.put_material(&info, context.now).await?;
            match context.json {
                true => context.out.json(&shape(&info)),
                false => context.out.line(said(&info, before.as_ref())),
            }
        }
    }
}

/// What is known of it now, and what was before.
fn said(info: &MaterialInfo, before: Option<&MaterialInfo>) -> String {
    let words = |info: &MaterialInfo| {
        let does = if info.classes.is_empty() { String::new() } else { format!(", {}", classes(info)) };
        format!("{:.2} g/cm3{does}", info.density_kg_m3 / 1e3)
    };
    let was =
        before.map_or_else(String::new, |before| format!("; it was {}; runs booked before keep that", words(before)));
    format!("{} is known now: {}{was}", info.name, words(info))
}

fn classes(info: &MaterialInfo) -> String {
    info.classes.iter().map(|class| class.name()).collect::<Vec<_>>().join(", ")
}

/// A name that can be told from a class of materials, and from a tool and its material.
fn checked_name(name: &str) -> Result<String, Trouble> {
    let name = name.trim();
    let is_class = MaterialClass::from_name(&name.to_lowercase()).is_some();
    if name.is_empty()
        || is_class
        || name.contains('=')
        || 60 < name.chars().count()
        || name.chars().any(char::is_control)
    {
        let why = if is_class { ": it is a class of materials" } else { "" };
        return Err(Trouble::refused(format!("\"{name}\" can't be a material's name{why}"))
            .help("give 1 to 60 letters and figures without =, for example PLA-STONE"));
    }
    Ok(name.to_owned())
}

async fn list(context: &Context) -> Result<(), Trouble> {
    // The common ones can be listed before there is a shop.
    let materials = match context.open_if_there().await? {
        Some(ledger) => context::materials(&ledger).await?,
        None => upkeep::Materials::built_in().clone(),
    };
    if context.json {
        return context.out.json(&materials.iter().map(shape).collect());
    }
    let mut table = Table::new([("material", Align::Left), ("g/cm3", Align::Right), ("does", Align::Left)]);
    for info in materials.iter() {
        let density = format!("{:.2}", info.density_kg_m3 / 1e3);
        table.row([info.name.clone(), density, classes(info)], Dress::Plain);
    }
    context.out.table(&table)?;
    context.out.line("\nOne of your own: tallow material add NAME --density 1.24 --class abrasive")
}

fn shape(info: &MaterialInfo) -> serde_json::Value {
    let classes: Vec<&str> = info.classes.iter().map(|class| class.name()).collect();
    json!({ "name": info.name, "density_kg_m3": info.density_kg_m3, "classes": classes })
}

fn checked_density(g_per_cm3: f64) -> Result<f64, Trouble> {
    if (0.1..=25.0).contains(&g_per_cm3) {
        return Ok(g_per_cm3 * 1e3);
    }
    Err(Trouble::refused(format!("a density of {g_per_cm3} g/cm3 can't be"))
        .help("give it in g/cm3, between 0.1 and 25; most filaments lie between 0.9 and 1.5"))
}

fn checked_class(name: &str) -> Result<MaterialClass, Trouble> {
    MaterialClass::from_name(name).ok_or_else(|| {
        let names = MaterialClass::ALL.map(|class| class.name().to_owned());
        Unknown::new("class of material", name, names.to_vec()).into()
    })
}
