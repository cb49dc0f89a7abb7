//! `tallow steps`: what to do for a task, with each caution before the step that it belongs to.

use serde_json::json;
use upkeep::build::{Caution, State, Supply, Task};
use upkeep::visit::Sinks;

use crate::cli;
use crate::context::{self, Context};
use crate::out::{Dress, Out};
use crate::sheet;
use crate::trouble::Trouble;

/// That the maker knows better.
pub(crate) const ABOVE: &str = "The maker's manual stands above this sheet.";

pub(crate) async fn steps(context: &Context, args: &cli::Steps) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let machine = context::machine(&ledger, &args.on).await?;
    let task = machine.build.task(&args.task)?;
    let sinks = Sinks::of(&machine.build).filter(|_| task.state == State::Isolated);
    if context.json {
        return context.out.json(&shape(&machine.info.name, task, sinks));
    }
    print(&context.out, &machine.info.name, task, sinks)?;
    let (name, on) = (&task.name, &machine.info.name);
    context.out.line(format!("\nWhen done: tallow done \"{name}\" --on \"{on}\""))
}

fn print(out: &Out, machine: &str, task: &Task, sinks: Option<Sinks>) -> Result<(), Trouble> {
    let head = format!("{}, on {machine}, about {} min", capital(&task.name), task.minutes);
    out.dressed_line(&head, Dress::Bold)?;
    sheet::before_off(sinks, &task.before_off).iter().try_for_each(|order| out.prose("", order))?;
    out.line(format!("Machine: {}", state_words(task.state)))?;
    list(out, "Wear", &task.gear)?;
    list(out, "Tools", &tools(task, sinks))?;
    list(out, "Supplies", &task.uses.iter().map(supply_words).collect::<Vec<_>>())?;
    list(out, "If needed", &task.may_use.iter().map(supply_words).collect::<Vec<_>>())?;
    out.line(format!("If neglected: {}", task.neglect))?;
    if task.qualified {
        out.line("Beyond looking, this is work for a qualified person under the local code.")?;
    }
    numbered(out, &task.steps, &task.cautions)?;
    if let Some(support) = sheet::support_out(sinks) {
        out.line("")?;
        out.prose("Before switching on: ", support)?;
    }
    out.line(format!("\n{ABOVE}"))
}

/// Steps by their number, each caution before the one that it belongs to.
pub(super) fn numbered(out: &Out, steps: &[String], cautions: &[Caution]) -> Result<(), Trouble> {
    for (index, step) in steps.iter().enumerate() {
        out.line("")?;
        cautions
            .iter()
            .filter(|caution| caution.before == index)
            .try_for_each(|caution| out.caution(caution.word, &caution.text))?;
        out.prose(&format!("{}. ", index + 1), step)?;
    }
    Ok(())
}

/// The tools of a task, and what holds up what would sink.
fn tools(task: &Task, sinks: Option<Sinks>) -> Vec<String> {
    task.tools.iter().cloned().chain(sheet::support(sinks).map(str::to_owned)).collect()
}

fn list(out: &Out, what: &str, things: &[String]) -> Result<(), Trouble> {
    if things.is_empty() { Ok(()) } else { out.prose(&format!("{what}: "), &things.join("; ")) }
}

/// `ISO VG 32 light oil, 0.5 ml`.
fn supply_words(supply: &Supply) -> String {
    match supply.unit.as_str() {
        "" => format!("{} × {}", supply.amount, supply.name),
        unit => format!("{}, {} {unit}", supply.name, supply.amount),
    }
}

/// The state that the machine must be in.
pub(crate) fn state_words(state: State) -> &'static str {
    match state {
        State::Isolated => "ISOLATED: switched off, unplugged, and cold",
        State::Cold => "POWERED, COLD: nozzle and bed at room temperature",
        State::Hot => "POWERED, HOT: nozzle or bed hot, axes ready to move",
    }
}

pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn shape(machine: &str, task: &Task, sinks: Option<Sinks>) -> serde_json::Value {
    let supply = |supply: &Supply| json!({ "supply": supply.name, "amount": supply.amount, "unit": supply.unit });
    let cautions = task
        .cautions
        .iter()
        .map(|caution| json!({ "word": caution.word.name(), "text": caution.text, "before": caution.before + 1 }));
    json!({
        "machine": machine, "task": task.name, "position": task.at, "state": task.state.name(), "minutes": task.minutes,
        "neglect": task.neglect.name(), "qualified": task.qualified, "gear": task.gear, "tools": tools(task, sinks),
        "before_off": sheet::before_off(sinks, &task.before_off), "before_on": sheet::support_out(sinks),
        "supplies": task.uses.iter().map(supply).collect::<Vec<_>>(),
        "if_needed": task.may_use.iter().map(supply).collect::<Vec<_>>(), "cautions": cautions.collect::<Vec<_>>(), "steps": task.steps,
        "note": ABOVE,
    })
}
