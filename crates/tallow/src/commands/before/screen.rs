//! The answer on a terminal.

use upkeep::build::SignalWord;

use super::{Answer, Told, ToldMachine};
use crate::context::Context;
use crate::out::{Align, Dress, Table};
use crate::trouble::Trouble;

pub(super) fn show(context: &Context, answer: &Answer, why: bool) -> Result<(), Trouble> {
    for (index, told) in answer.programs.iter().enumerate() {
        if 0 < index {
            context.out.line("")?;
        }
        program(context, told, why)?;
    }
    let Some(assumed) = &answer.assumed else { return Ok(()) };
    context.out.line("")?;
    context.out.prose("", assumed)
}

fn program(context: &Context, told: &Told, why: bool) -> Result<(), Trouble> {
    let out = &context.out;
    out.dressed_line(&told.label, Dress::Bold)?;
    told.order.map_or(Ok(()), |order| out.prose("  ", order))?;
    for of in &told.machines {
        machine(context, of)?;
        if why {
            allowances(context, of)?;
        }
    }
    told.can_not.iter().try_for_each(|(machine, why)| out.prose("  ", &format!("{machine} can't run it: {why}")))
}

fn machine(context: &Context, told: &ToldMachine) -> Result<(), Trouble> {
    let out = &context.out;
    told.not_before.iter().try_for_each(|text| out.caution(SignalWord::Warning, text))?;
    out.prose("  ", &format!("{}: {}", told.name, told.says))?;
    told.stopping.iter().try_for_each(|text| out.caution(SignalWord::Warning, text))?;
    told.supplies.iter().try_for_each(|line| out.prose("      ", line))
}

/// What it would use up of each allowance, the most used first.
fn allowances(context: &Context, told: &ToldMachine) -> Result<(), Trouble> {
    let columns = [("care", Align::Left), ("used", Align::Right), ("then", Align::Right), ("worth", Align::Right)];
    let mut table = Table::new(columns);
    for task in &told.tasks {
        let dress = if 1.0 <= task.to { Dress::Bold } else { Dress::Plain };
        table.row([task.name.clone(), share(task.from), share(task.to), task.worth.clone()], dress);
    }
    context.out.table(&table)?;
    context.out.line(format!("{}\n", told.worth))
}

/// A share with one decimal place, since one print uses little.
fn share(share: f64) -> String {
    format!("{:.1} %", share * 100.0)
}
