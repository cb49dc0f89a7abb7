//! `tallow limit`: a limit of the shop's own in place of a build's.

use std::sync::Arc;

use ledger::{Ledger, MachineInfo, NewEntry};
use serde_json::json;
use upkeep::build::{Allowance, Build};
use upkeep::entry::OwnLimit;
use upkeep::{Event, Unknown};

use crate::cli;
use crate::context::{self, Context};
use crate::trouble::Trouble;

pub(crate) async fn limit(context: &Context, args: &cli::Limit) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let reason = args.reason.trim();
    if reason.is_empty() {
        return Err(
            Trouble::refused("no reason is given").help("say why in a few words: --reason \"tubes last longer here\"")
        );
    }
    let mut entries = Vec::new();
    for (machine, build) in machines(&ledger, args).await? {
        let own = own_limit(&build, args, reason)?;
        // What can't stand is refused here, and not when it is first read.
        Build::clone(&build).set_limit(&own).map_err(|error| Trouble::from_text(&error.to_string()))?;
        let new = NewEntry {
            machine: machine.name.clone(),
            at: context.now,
            recorded: context.now,
            note: String::new(),
            event: Event::Limit(own),
        };
        entries.push((machine.name, ledger.append(new).await?));
    }
    if context.json {
        let rows = entries.iter().map(|(machine, entry)| json!({ "machine": machine, "entry": entry.0 }));
        return context.out.json(&rows.collect());
    }
    for (machine, entry) in &entries {
        context.out.line(format!("entry {entry}: {} on {machine}: every {} from now on", args.task, args.every))?;
    }
    let back = match &entries[..] {
        [(_, only)] => format!("To take it back: tallow correct {only} --withdraw"),
        several => {
            let example = several.first().map_or_else(String::new, |(_, entry)| entry.to_string());
            format!(
                "To take it back, each machine's by its own entry, so the first: tallow correct {example} --withdraw"
            )
        }
    };
    context.out.prose("", &format!("The build stays as it is. {back}"))
}

/// The machines that are meant, with their builds: the one that is named, or all that have the task.
async fn machines(ledger: &Ledger, args: &cli::Limit) -> Result<Vec<(MachineInfo, Arc<Build>)>, Trouble> {
    if let Some(name) = &args.on {
        let machine = context::machine(ledger, name).await?;
        return Ok(vec![(machine.info, machine.build)]);
    }
    let mut found = Vec::new();
    let mut tasks: Vec<String> = Vec::new();
    for info in ledger.machines().await? {
        let build = ledger.build(&info.build).await?;
        if build.task(&args.task).is_ok() {
            found.push((info, build));
            continue;
        }
        for task in &build.tasks {
            if !tasks.contains(&task.name) {
                tasks.push(task.name.clone());
            }
        }
    }
    match (found.is_empty(), tasks.is_empty()) {
        // Those of all builds, so that one of any of them is offered.
        (true, false) => Err(Unknown::new("task", &args.task, tasks).into()),
        (true, true) => Err(context::no_machine()),
        (false, _) => Ok(found),
    }
}

/// The limit as said. Where the task has one limit by use, its quantity need not be said.
fn own_limit(build: &Build, args: &cli::Limit, reason: &str) -> Result<OwnLimit, Trouble> {
    let task = build.task(&args.task)?;
    let metered = || {
        let quantities = task.limits.iter().filter_map(|limit| match limit.every {
            Allowance::Amount { quantity, .. } => Some(quantity),
            Allowance::Elapsed { .. } => None,
        });
        quantities.collect::<Vec<_>>()
    };
    let of = match (&args.of, upkeep::amount::is_span(&args.every)) {
        (Some(of), _) => Some(of.clone()),
        (None, true) => None,
        (None, false) => match metered()[..] {
            [only] => Some(only.name().to_owned()),
            [] => {
                return Err(Trouble::refused(format!("\"{}\" is limited by the calendar alone", task.name))
                    .help("write a span: --every \"6 weeks\""));
            }
            _ => {
                let names: Vec<&str> = metered().iter().map(|quantity| quantity.name()).collect();
                return Err(Trouble::refused(format!("\"{}\" is limited by several meters", task.name))
                    .help(format!("say which one: --of \"{}\"", names.join("\", or --of \""))));
            }
        },
    };
    Ok(OwnLimit { task: task.name.clone(), of, every: args.every.trim().to_owned(), reason: reason.to_owned() })
}
