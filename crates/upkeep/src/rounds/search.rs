//! A plan for all machines at once: put together along the prices, then improved by taking machines out and putting each back
//! at its best in the room that the others leave.
//!
//! Heuristic: how far it is from the best is told by the bound alone.

use std::ops::Range;

use super::bound::Bound;
use super::cost::{machine_cost, skills_of};
use super::group::Prices;
use super::plan::Effort;
use super::problem::Placed;
use super::random::Random;
use super::repack::{Movable, repack};
use super::room::Room;
use super::stage::Stage;

/// How many branches a machine is looked into when it is put back.
const BRANCHES: usize = 10;

/// Up to how many machines are taken out at once.
const TAKEN_OUT: usize = 5;

/// How many machines are drawn to take out the one that is furthest from its own best.
const DRAWN: usize = 3;

/// In how many orders a plan is put together before the cheapest is improved.
const ORDERS: usize = 6;

/// How much worse than before a plan may get in a step at first, as a share of the mean cost of a machine; falls to nothing.
const HEAT: f64 = 0.015;

/// How many searches go on beside each other.
const CHAINS: u64 = 2;

/// After how many steps each the dearer goes on from the cheaper's plan.
const EXCHANGE: usize = 2_000;

/// The visits of every machine.
pub(crate) type Visits = Vec<Vec<Placed>>;

/// The cheapest visits found in some steps.
pub(crate) fn search(stage: &Stage<'_>, bound: &Bound, effort: &Effort<'_>) -> Visits {
    let mut random = Random::new(1);
    let along_prices = (0..ORDERS).map(|order| put_together(stage, &bound.prices, order, &mut random));
    let starts = along_prices.chain(as_told(stage, &bound.prices));
    // OK because there is at least one order.
    let state = starts.min_by(|a, b| a.total.total_cmp(&b.total)).expect("an order");
    if stage.works.is_empty() {
        state.visits
    } else {
        let first = Improver::new(stage, &bound.prices, state);
        in_chains((1..=CHAINS).map(|seed| Improver { random: Random::new(seed), ..first.clone() }).collect(), effort)
    }
}

/// A plan on its way.
#[derive(Clone, Debug)]
struct State {
    visits: Visits,
    /// What each machine costs, moved visits included.
    costs: Vec<f64>,
    total: f64,
    room: Room,
}

impl State {
    /// The fixed visits alone.
    fn new(stage: &Stage<'_>) -> State {
        let visits: Visits = stage.works.iter().map(|work| work.fixed.clone()).collect();
        let costs: Vec<f64> = (0..visits.len()).map(|machine| cost(stage, machine, &visits[machine])).collect();
        State { total: costs.iter().sum(), visits, costs, room: stage.room.clone() }
    }

    /// Gives a machine other visits.
    fn set(&mut self, stage: &Stage<'_>, machine: usize, visits: Vec<Placed>) {
        let of = &stage.problem.machines[machine];
        self.visits[machine].iter().for_each(|visit| self.room.give_back(of, visit));
        visits.iter().for_each(|visit| self.room.take(of, visit));
        let cost = cost(stage, machine, &visits);
        self.total += cost - self.costs[machine];
        self.costs[machine] = cost;
        self.visits[machine] = visits;
    }

    /// Leaves a machine with its fixed visits alone.
    fn take_out(&mut self, stage: &Stage<'_>, machine: usize) -> Vec<Placed> {
        let before = self.visits[machine].clone();
        self.set(stage, machine, stage.works[machine].fixed.clone());
        before
    }

    /// Gives visits of a day to other keepers, so that free minutes come together. Which were whose before: machine, keeper.
    fn repack(&mut self, stage: &Stage<'_>, day: usize, around: &[usize]) -> Vec<(usize, usize)> {
        let is_movable = |machine: &usize| !stage.is_told(*machine) && stage.works[*machine].fixed.is_empty();
        let on_day = |machine: usize| {
            let visit = self.visits[machine].iter().find(|visit| visit.day == day)?;
            around.contains(&visit.keeper).then_some((machine, visit))
        };
        let mut there: Vec<(usize, &Placed)> = (0..self.visits.len()).filter(is_movable).filter_map(on_day).collect();
        there.sort_by(|a, b| b.1.minutes.total_cmp(&a.1.minutes));
        let movable = |&(machine, visit): &(usize, &Placed)| {
            let skills = skills_of(&stage.problem.machines[machine], &visit.jobs);
            Movable { keeper: visit.keeper, minutes: visit.minutes, skills }
        };
        let mut visits: Vec<Movable> = there.iter().map(movable).collect();
        let before: Vec<(usize, usize)> = there.iter().map(|(machine, visit)| (*machine, visit.keeper)).collect();
        repack(&mut visits, &mut self.room.left_on(day), around);
        let moved: Vec<(usize, usize)> =
            before.iter().zip(&visits).map(|((machine, _), visit)| (*machine, visit.keeper)).collect();
        self.set_keepers(day, &moved);
        before
    }

    /// Gives the visits of some machines on a day to other keepers.
    fn set_keepers(&mut self, day: usize, keepers: &[(usize, usize)]) {
        for &(machine, keeper) in keepers {
            if let Some(visit) = self.visits[machine].iter_mut().find(|visit| visit.day == day) {
                self.room.hand_over(visit, keeper);
                visit.keeper = keeper;
            }
        }
    }

    /// Puts a machine in at its best by some prices.
    fn put_in(&mut self, stage: &Stage<'_>, machine: usize, prices: &Prices) {
        if let Some(visits) = stage.best_visits(machine, prices, &mut self.room, BRANCHES) {
            self.set(stage, machine, visits);
        }
    }
}

fn cost(stage: &Stage<'_>, machine: usize, visits: &[Placed]) -> f64 {
    machine_cost(&stage.problem.machines[machine], stage.problem.days, visits) + stage.told_cost(machine, visits)
}

/// A plan put together machine by machine along the prices, those first that have been told of.
fn put_together(stage: &Stage<'_>, prices: &Prices, order: usize, random: &mut Random) -> State {
    let mut state = State::new(stage);
    let mut machines: Vec<usize> = (0..stage.works.len()).collect();
    if 0 < order {
        random.shuffle(&mut machines);
    }
    machines.sort_by_key(|&machine| !stage.is_told(machine));
    for machine in machines {
        state.put_in(stage, machine, prices);
    }
    state
}

/// The plan that people have been told of, as far as it holds, and the other machines put in along the prices; so what is found
/// is never dearer than what was told. `None` where nobody was told of anything that may be moved.
fn as_told(stage: &Stage<'_>, prices: &Prices) -> Option<State> {
    let mut state = State::new(stage);
    let (told, mut others): (Vec<usize>, Vec<usize>) =
        (0..stage.works.len()).partition(|&machine| stage.is_told(machine));
    if told.is_empty() {
        return None;
    }
    for machine in told {
        match stage.as_told(machine, &state.room) {
            Some(visits) => state.set(stage, machine, visits),
            None => others.push(machine),
        }
    }
    others.into_iter().for_each(|machine| state.put_in(stage, machine, prices));
    Some(state)
}

/// Improves a plan in some chains, which exchange the cheapest plan now and then. The same with any number of threads.
fn in_chains(mut chains: Vec<Improver<'_, '_>>, effort: &Effort<'_>) -> Visits {
    for from in (0..effort.steps).step_by(EXCHANGE) {
        let steps = from..effort.steps.min(from + EXCHANGE);
        if effort.threads < 2 {
            chains.iter_mut().for_each(|chain| chain.run(steps.clone(), effort));
        } else {
            std::thread::scope(|scope| {
                for chain in &mut chains {
                    scope.spawn(|| chain.run(steps.clone(), effort));
                }
            });
        }
        exchange(&mut chains);
    }
    let cheapest = chains.into_iter().map(Improver::cheapest).min_by(|a, b| a.0.total_cmp(&b.0));
    // OK because there is at least one chain.
    cheapest.expect("a chain").1
}

/// All chains go on from the cheapest plan.
fn exchange(chains: &mut [Improver<'_, '_>]) {
    let cheapest = chains.iter().map(|chain| &chain.state).min_by(|a, b| a.total.total_cmp(&b.total)).cloned();
    for chain in chains {
        if let Some(state) = cheapest.as_ref().filter(|state| state.total < chain.state.total) {
            chain.state.clone_from(state);
        }
    }
}

/// Improves a plan step by step.
#[derive(Clone)]
struct Improver<'a, 'b> {
    stage: &'a Stage<'b>,
    /// The prices as they are, halved, and none.
    prices: [Prices; 3],
    /// What each machine costs at its best, alone.
    alone: Vec<f64>,
    /// The days on which it would then be visited.
    wanted: Vec<Vec<usize>>,
    state: State,
    random: Random,
    /// How much worse a plan may get in a step at first, money.
    heat: f64,
    best: Option<(f64, Visits)>,
}

impl<'a, 'b> Improver<'a, 'b> {
    fn new(stage: &'a Stage<'b>, prices: &Prices, state: State) -> Improver<'a, 'b> {
        let none = Prices::none(stage.problem.days);
        let relaxed = |machine: usize| stage.works[machine].relaxed(&stage.works[machine].costs(&none));
        let relaxed: Vec<_> = (0..stage.works.len()).map(relaxed).collect();
        let alone = |(machine, relaxed): (usize, &Option<super::group::Relaxed>)| {
            relaxed.as_ref().map_or(0.0, |relaxed| relaxed.cost) + stage.fixed_cost(machine)
        };
        let days = |relaxed: &Option<super::group::Relaxed>| {
            relaxed.iter().flat_map(|relaxed| relaxed.asked.iter().map(|(day, _)| *day)).collect()
        };
        Improver {
            stage,
            prices: [prices.clone(), prices.scaled(0.5), none],
            alone: relaxed.iter().enumerate().map(alone).collect(),
            wanted: relaxed.iter().map(days).collect(),
            heat: HEAT * state.total / stage.works.len() as f64,
            state,
            random: Random::new(0),
            best: None,
        }
    }

    /// Takes some of all steps.
    fn run(&mut self, steps: Range<usize>, effort: &Effort<'_>) {
        for step in steps {
            if (effort.stop)() {
                break;
            }
            self.step(self.heat * (1.0 - step as f64 / effort.steps as f64));
        }
    }

    /// The cheapest plan on the way, and what it costs.
    fn cheapest(self) -> (f64, Visits) {
        match self.best {
            Some(best) if best.0 < self.state.total => best,
            _ => (self.state.total, self.state.visits),
        }
    }

    /// Takes some machines out and puts them back; takes that back if it is worse than `heat` allows.
    fn step(&mut self, heat: f64) {
        let machines = self.some_machines();
        let before = self.state.total;
        let visits: Vec<(usize, Vec<Placed>)> =
            machines.iter().map(|&machine| (machine, self.state.take_out(self.stage, machine))).collect();
        let repacked = self.repack_after(&visits);
        for &machine in &machines {
            let prices = &self.prices[self.random.below(self.prices.len())];
            self.state.put_in(self.stage, machine, prices);
        }
        let worse = self.state.total - before;
        let allowed = -heat * (1.0 - self.random.share()).ln();
        if allowed < worse {
            for &machine in &machines {
                self.state.take_out(self.stage, machine);
            }
            repacked.iter().for_each(|(day, keepers)| self.state.set_keepers(*day, keepers));
            visits.into_iter().for_each(|(machine, visits)| self.state.set(self.stage, machine, visits));
            self.state.total = before;
        } else if 0.0 < worse {
            self.remember(before, &visits, &repacked);
        }
    }

    /// Brings free minutes together on the days on which some machines were visited. Who went where before, by day.
    fn repack_after(&mut self, taken_out: &[(usize, Vec<Placed>)]) -> Vec<(usize, Vec<(usize, usize)>)> {
        let visits = || taken_out.iter().flat_map(|(_, visits)| visits);
        let mut days: Vec<usize> = visits().map(|visit| visit.day).collect();
        days.sort_unstable();
        days.dedup();
        let n_keepers = self.stage.problem.keepers.len();
        let around = |day: usize, random: &mut Random| {
            let mut keepers: Vec<usize> = visits().filter(|visit| visit.day == day).map(|visit| visit.keeper).collect();
            keepers.extend((0..3).map(|_| random.below(n_keepers)));
            keepers
        };
        let repacked = days.into_iter().map(|day| {
            let around = around(day, &mut self.random);
            (day, self.state.repack(self.stage, day, &around))
        });
        repacked.collect()
    }

    /// Keeps the plan from before a step to the worse, if none was better.
    fn remember(&mut self, total: f64, changed: &[(usize, Vec<Placed>)], repacked: &[(usize, Vec<(usize, usize)>)]) {
        if self.best.as_ref().is_some_and(|(best, _)| *best <= total) {
            return;
        }
        let mut visits = self.state.visits.clone();
        for (day, keepers) in repacked {
            for &(machine, keeper) in keepers {
                visits[machine].iter_mut().filter(|visit| visit.day == *day).for_each(|visit| visit.keeper = keeper);
            }
        }
        changed.iter().for_each(|(machine, before)| visits[*machine].clone_from(before));
        self.best = Some((total, visits));
    }

    /// A machine that is far from its own best, and some that are visited on the days that it would like.
    fn some_machines(&mut self) -> Vec<usize> {
        let count = self.stage.works.len();
        let drawn: Vec<usize> = (0..DRAWN).map(|_| self.random.below(count)).collect();
        let regret = |machine: usize| self.state.costs[machine] - self.alone[machine];
        // OK because at least one is drawn.
        let first = drawn.into_iter().max_by(|&a, &b| regret(a).total_cmp(&regret(b))).expect("a machine");
        let mut days = self.wanted[first].clone();
        days.extend(self.state.visits[first].iter().map(|visit| visit.day));
        let mut machines = vec![first];
        if !days.is_empty() {
            let day = days[self.random.below(days.len())];
            let is_there = |machine: &usize| self.state.visits[*machine].iter().any(|visit| visit.day == day);
            let mut there: Vec<usize> = (0..count).filter(|machine| *machine != first && is_there(machine)).collect();
            self.random.shuffle(&mut there);
            there.truncate(1 + self.random.below(TAKEN_OUT - 1));
            machines.extend(there);
        }
        self.random.shuffle(&mut machines);
        machines
    }
}
