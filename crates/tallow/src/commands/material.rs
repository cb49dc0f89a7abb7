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
            let info = MaterialInfo {
                name: name.trim().to_owned(),
                density_kg_m3: checked_density(*density)?,
                classes: classes.iter().map(|class| checked_class(class)).collect::<Result<_, _>>()?,
            };
            context.open().await?.put_material(&info, context.now).await?;
            match context.json {
                true => context.out.json(&shape(&info)),
                false => context.out.line(format!("{} is known now: {density} g/cm3", info.name)),
            }
        }
    }
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
        let classes: Vec<&str> = info.classes.iter().map(|class| class.name()).collect();
        let density = format!("{:.2}", info.density_kg_m3 / 1e3);
        table.row([info.name.clone(), density, classes.join(", ")], Dress::Plain);
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
