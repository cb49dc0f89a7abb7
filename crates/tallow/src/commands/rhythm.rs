//! `tallow rhythm`: one fixed habit for each machine, for whoever wants one on the wall.

use ledger::Ledger;
use serde_json::{Value, json};
use upkeep::build::Task;
use upkeep::{Habit, MachineState, Worth};

use crate::cli;
use crate::commands::plan::{Assembled, Risks};
use crate::context::{self, Context};
use crate::out::Dress;
use crate::trouble::Trouble;
use crate::words;

pub(crate) async fn rhythm(context: &Context, args: &cli::Rhythm) -> Result<(), Trouble> {
    let ledger = context.open().await?;
    let mut shop = Assembled::read(context, &ledger).await?;
    if shop.states.is_empty() {
        return Err(context::no_machine());
    }
    if let Some(name) = &args.machine {
        let name = context::machine(&ledger, name).await?.info.name;
        shop.states.retain(|state| state.name == name);
    }
    let habits = habits(context, &ledger, &shop).await?;
    if context.json {
        let machines: Vec<Value> = habits.iter().map(|(state, habit)| shape(state, habit.as_ref())).collect();
        return context.out.json(&json!({ "currency": shop.currency, "assumed": shop.assumed, "machines": machines }));
    }
    Screen { context, shop: &shop }.show(&habits)
}

/// Each machine with its habit, if any of its tasks can have one.
async fn habits<'a>(
    context: &Context,
    ledger: &Ledger,
    shop: &'a Assembled,
) -> Result<Vec<(&'a MachineState, Option<Habit>)>, Trouble> {
    let risks = Risks::read(context, ledger, &shop.materials).await?;
    let prices = shop.unit_prices();
    let price = |task: &Task| -> f64 {
        task.uses.iter().map(|supply| supply.amount * prices.get(&supply.name).copied().unwrap_or(0.0)).sum()
    };
    let of_machine = |state: &'a MachineState| {
        let supplies: Vec<f64> = state.build.tasks.iter().map(price).collect();
        let worth = Worth { risks: risks.of(state), supplies: &supplies, prices: &shop.prices };
        match Habit::of(state, worth, &shop.materials, &shop.now) {
            Ok(habit) => Ok((state, habit)),
            Err(error) => Err(Trouble::refused(format!("{} has no best rhythm: {error}", state.name))
                .help("give an hour of work a price: tallow rates --labour 32")
                .help("or its build the minutes that every visit takes: minutes in [visit]")),
        }
    };
    shop.states.iter().map(of_machine).collect()
}

struct Screen<'a> {
    context: &'a Context,
    shop: &'a Assembled,
}

impl Screen<'_> {
    fn show(&self, habits: &[(&MachineState, Option<Habit>)]) -> Result<(), Trouble> {
        let out = &self.context.out;
        out.line("One fixed habit for each machine, at its mean use")?;
        for (state, habit) in habits {
            out.line("")?;
            match habit {
                Some(habit) => self.habit(state, habit)?,
                None => {
                    out.prose("", &format!("{}: no task comes due at a pace that a habit could keep.", state.name))?
                }
            }
        }
        out.line("")?;
        out.prose(
            "",
            "In busy weeks limits are reached sooner than in the mean; what is due goes before the habit: tallow due",
        )?;
        if self.shop.assumed.is_empty() { Ok(()) } else { out.prose("", &words::assumed(&self.shop.assumed)) }
    }

    fn habit(&self, state: &MachineState, habit: &Habit) -> Result<(), Trouble> {
        let out = &self.context.out;
        let every = if habit.interval == 1 { "every day".to_owned() } else { format!("every {} days", habit.interval) };
        out.dressed_line(&format!("{}: a visit {every}", state.name), Dress::Bold)?;
        let mut turns: Vec<u32> = habit.turns.iter().map(|turn| turn.every).collect();
        turns.sort_unstable();
        turns.dedup();
        for every in turns {
            let tasks = habit.turns.iter().filter(|turn| turn.every == every).flat_map(|turn| &turn.tasks);
            out.prose(&format!("  {:<17} ", visits(every)), &names(state, tasks))?;
        }
        if !habit.too_often.is_empty() {
            out.prose("  due within a day  ", &names(state, &habit.too_often))?;
        }
        if !habit.unused.is_empty() {
            out.prose("  not used up here  ", &names(state, &habit.unused))?;
        }
        for pair in &habit.apart {
            let text = format!("{}: never in one visit; do one of them the day before", names(state, pair));
            out.prose("  apart             ", &text)?;
        }
        self.costs(habit)
    }

    fn costs(&self, habit: &Habit) -> Result<(), Trouble> {
        let money = |amount: f64| words::money(amount, &self.shop.currency);
        self.context.out.prose(
            "  ",
            &format!(
                "About {} a year (visits, work, failures to be expected); each task in a visit of its own when it is due: {}. \
                 No way of visiting that keeps the limits costs less than {}, so the habit is dearer than planning by {} at most.",
                money(habit.cost),
                money(habit.separately),
                money(habit.bound),
                words::percent(habit.cost / habit.bound - 1.0),
            ),
        )
    }
}

/// In which visits: `every visit`, `every 2nd visit`.
fn visits(every: u32) -> String {
    let ending = match (every % 10, every % 100) {
        (1, rest) if rest != 11 => "st",
        (2, rest) if rest != 12 => "nd",
        (3, rest) if rest != 13 => "rd",
        _ => "th",
    };
    if every == 1 { "every visit".to_owned() } else { format!("every {every}{ending} visit") }
}

fn names<'a>(state: &MachineState, tasks: impl IntoIterator<Item = &'a usize>) -> String {
    tasks.into_iter().map(|&task| state.build.tasks[task].name.as_str()).collect::<Vec<_>>().join("; ")
}

/// A machine's habit as JSON; the keys are in docs/JSON.md.
fn shape(state: &MachineState, habit: Option<&Habit>) -> Value {
    let name = |task: &usize| state.build.tasks[*task].name.as_str();
    let list = |tasks: &[usize]| tasks.iter().map(name).collect::<Vec<_>>();
    let of_habit = |habit: &Habit| {
        let turns = habit
            .turns
            .iter()
            .map(|turn| json!({ "tasks": list(&turn.tasks), "every": turn.every, "limit": turn.limit }));
        json!({
            "interval": habit.interval, "turns": turns.collect::<Vec<_>>(), "too_often": list(&habit.too_often),
            "unused": list(&habit.unused), "apart": habit.apart.iter().map(|pair| list(pair)).collect::<Vec<_>>(),
            "cost": habit.cost, "separately": habit.separately, "bound": habit.bound,
        })
    };
    json!({ "machine": state.name, "habit": habit.map(of_habit) })
}

#[cfg(test)]
mod tests {
    use super::visits;

    #[test]
    fn turns_are_said_as_people_count() {
        let said = [1, 2, 3, 4, 11, 12, 13, 21, 22].map(visits);
        let endings = ["every visit", "every 2nd visit", "every 3rd visit", "every 4th visit", "every 11th visit"];
        assert_eq!(said[..5], endings);
        assert_eq!(said[5..], ["every 12th visit", "every 13th visit", "every 21st visit", "every 22nd visit"]);
    }
}
