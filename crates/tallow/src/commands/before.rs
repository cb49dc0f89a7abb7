//! `tallow before`: what a print would use up of each machine that could run it, the cheapest first.

mod asks;
mod screen;
mod shape;
mod told;

use jiff::ZonedDateTime;
use ledger::Ledger;
use motion::Quantity;
use upkeep::build::Task;
use upkeep::stores::{Supplied, supplied};
use upkeep::{Asked, Before, MachineState, Risk, Worth, free_from};

use self::asks::{Asks, Program};
pub(crate) use self::told::{Answer, Told, ToldMachine, ToldTask};
use crate::cli;
use crate::commands::plan::{Assembled, Risks};
use crate::context::{self, Context};
use crate::printed::Printed;
use crate::trouble::Trouble;

pub(crate) async fn before(context: &Context, args: &cli::Before) -> Result<(), Trouble> {
    let programs = Program::all(context, args)?;
    let ledger = context.open().await?;
    let shop = assembled(context, &ledger).await?;
    let ranked = ranked(context, &ledger, &shop, &programs, args).await?;
    if context.json {
        return context.out.json(&ranked.iter().map(|ranked| shape::shape(&shop, ranked)).collect());
    }
    screen::show(context, &told::told(&shop, &ranked), args.why)
}

/// The answer in words, for whoever shows it otherwise than on a terminal.
///
/// # Errors
/// What [`before`] refuses.
pub(crate) async fn answer(context: &Context, args: &cli::Before) -> Result<Answer, Trouble> {
    let programs = Program::all(context, args)?;
    let ledger = context.open().await?;
    let shop = assembled(context, &ledger).await?;
    Ok(told::told(&shop, &ranked(context, &ledger, &shop, &programs, args).await?))
}

async fn assembled(context: &Context, ledger: &Ledger) -> Result<Assembled, Trouble> {
    let shop = Assembled::read(context, ledger).await?;
    if shop.states.is_empty() { Err(context::no_machine()) } else { Ok(shop) }
}

async fn ranked<'a>(
    context: &Context,
    ledger: &Ledger,
    shop: &'a Assembled,
    programs: &[Program],
    args: &cli::Before,
) -> Result<Vec<Ranked<'a>>, Trouble> {
    let said = Printed::parse(&args.materials, &shop.materials)?;
    let risks = Risks::read(context, ledger, &shop.materials).await?;
    let mut ranked = Vec::with_capacity(programs.len());
    for program in programs {
        ranked.push(Ranked::of(ledger, shop, &risks, program, &said).await?);
    }
    Ok(ranked)
}

/// A program, and what it would be on each machine of the shop.
struct Ranked<'a> {
    /// What it is called.
    label: String,
    /// The machines that could run it: the cheapest first, those that are not to be run last.
    could: Vec<Could<'a>>,
    /// The others, each with the reason.
    can_not: Vec<(&'a str, String)>,
}

/// A machine that could run the program.
struct Could<'a> {
    state: &'a MachineState,
    /// How long it takes there, s.
    seconds: f64,
    /// The relative spread of an estimate; `None` where a file was metered.
    spread: Option<f64>,
    /// What it takes of the machine.
    takes: Before,
    /// From when on the queue leaves time for it.
    free: ZonedDateTime,
    /// What the tasks need that fall due in it or must be done before.
    supplies: Vec<Supplied>,
}

impl<'a> Ranked<'a> {
    async fn of(
        ledger: &Ledger,
        shop: &'a Assembled,
        risks: &Risks,
        program: &Program,
        said: &Printed,
    ) -> Result<Ranked<'a>, Trouble> {
        let (mut could, mut can_not) = (Vec::new(), Vec::new());
        for (state, asks) in shop.states.iter().zip(asks::of_each(ledger, shop, program, said).await?) {
            match asks {
                Ok(asks) => could.push(Could::of(shop, risks.of(state), state, &asks)),
                Err(why) => can_not.push((state.name.as_str(), why)),
            }
        }
        could.sort_by(|one, other| {
            let waits = one.is_not_to_be_run().cmp(&other.is_not_to_be_run());
            waits.then(one.takes.cost().total_cmp(&other.takes.cost()))
        });
        Ok(Ranked { label: program.label(said), could, can_not })
    }
}

impl<'a> Could<'a> {
    fn of(shop: &'a Assembled, risks: &[Risk], state: &'a MachineState, asks: &Asks) -> Could<'a> {
        let prices = shop.unit_prices();
        let price = |task: &Task| {
            task.uses.iter().map(|supply| supply.amount * prices.get(&supply.name).copied().unwrap_or(0.0)).sum()
        };
        let supplies: Vec<f64> = state.build.tasks.iter().map(price).collect();
        let worth = Worth { risks, supplies: &supplies, prices: &shop.prices };
        let seconds = asks.usage.amount(Quantity::Time);
        let asked = Asked { usage: &asks.usage, seconds };
        let takes = upkeep::before(state, asked, worth, &shop.materials, &shop.now);
        let wanted = takes.falling_due().into_iter().map(|takes| takes.task).chain(takes.forbidding.iter().copied());
        let needs = wanted.flat_map(|task| &state.build.tasks[task].uses);
        let today = shop.now.date();
        let supplies = supplied(needs, today, &mut shop.sources.clone(), today);
        Could {
            state,
            seconds,
            spread: asks.spread,
            free: free_from(&state.queue, seconds, &shop.now),
            supplies,
            takes,
        }
    }

    /// Whether a task forbids to run the machine before it is done.
    fn is_not_to_be_run(&self) -> bool {
        !self.takes.forbidding.is_empty()
    }

    fn task(&self, index: usize) -> &'a Task {
        &self.state.build.tasks[index]
    }
}
