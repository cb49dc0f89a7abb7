//! `tallow age`: how old the parts were that were there when a machine joined.

use ledger::NewEntry;
use motion::Quantity;
use upkeep::build::{Allowance, Build};
use upkeep::{Event, amount, measure};

use crate::cli;
use crate::commands::history::aged;
use crate::commands::record::say_recorded;
use crate::context::{self, Context};
use crate::trouble::Trouble;
use crate::when;

pub(crate) async fn age(context: &Context, args: &cli::Age) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let machine = context::machine(&ledger, &args.machine).await?;
    let (position, amount) = match &args.second {
        Some(amount) => (Some(machine.build.position(&args.first)?.name.clone()), sensible(amount)?),
        None => (None, sensible(&args.first)?),
    };
    let of = match &args.of {
        Some(name) => Some(name.trim().to_lowercase()),
        None if amount::is_span(&amount) => None,
        None => Some(only_quantity(&machine.build, position.as_deref(), &amount)?.name().to_owned()),
    };
    measure::read(of.as_deref(), &amount).map_err(|error| Trouble::from_text(&error.to_string()))?;
    let joined = when::spoken(&machine.info.added.to_zoned_datetime(ledger.shop().zone.clone()));
    let said = format!(
        "{} on {}: {} when it joined, {joined}",
        position.as_deref().unwrap_or("every part"),
        machine.info.name,
        aged(&amount, of.as_deref())
    );
    let new = NewEntry {
        machine: machine.info.name,
        at: context.now,
        recorded: context.now,
        note: args.note.clone(),
        event: Event::Age { position, of, amount },
    };
    let entry = ledger.append(new).await?;
    say_recorded(context, entry, context.now, &said)
}

/// An age as typed, if it begins with a number that is not negative.
fn sensible(text: &str) -> Result<String, Trouble> {
    let read = amount::parse_measured(text);
    let (number, _) = read.map_err(|error| {
        Trouble::refused(error.found()).help("write the age as a number and its unit: \"1200 h\", \"8 months\"")
    })?;
    if number < 0.0 {
        return Err(Trouble::refused(format!("an age of {} can't be: it is negative", text.trim()))
            .help("give 0 of it for a part that was new"));
    }
    Ok(text.trim().to_owned())
}

/// The one quantity that the amount can be of, among those by which tasks on the position, or any, are limited.
fn only_quantity(build: &Build, position: Option<&str>, amount: &str) -> Result<Quantity, Trouble> {
    let tasks = build.tasks.iter().filter(|task| position.is_none_or(|position| task.at == position));
    let mut quantities: Vec<Quantity> = Vec::new();
    for limit in tasks.flat_map(|task| &task.limits) {
        if let Allowance::Amount { quantity, .. } = limit.every
            && amount::parse(amount, quantity).is_ok()
            && !quantities.contains(&quantity)
        {
            quantities.push(quantity);
        }
    }
    match quantities[..] {
        [only] => Ok(only),
        [] => Err(Trouble::refused(format!("it is not said what {amount} is an amount of"))
            .help("say the quantity: --of \"travel x\"; all of them: tallow quantities")
            .help("or tell the age by the calendar: \"8 months\"")),
        _ => {
            let names: Vec<&str> = quantities.iter().map(|quantity| quantity.name()).collect();
            Err(Trouble::refused(format!("{amount} may be an amount of several quantities"))
                .help(format!("say which one: --of \"{}\"", names.join("\", or --of \""))))
        }
    }
}
