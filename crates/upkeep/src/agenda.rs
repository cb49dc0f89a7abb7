//! What is open in a shop, as a problem for the planner of [`crate::rounds`].

use std::collections::BTreeMap;

use jiff::ZonedDateTime;
use jiff::civil::Date;
use motion::Quantity;

use crate::build::{Neglect, State, Task};
use crate::history::{days_after, days_between};
use crate::rounds::{self, Broken, Job, Keeper, MachineWork, Placed, Plan, Problem, Skills, Stock, ToldVisit};
use crate::shop::{QUALIFIED, Rostered, Visit};
use crate::stake::forbids_running;
use crate::state::MachineState;
use crate::stores::{Shelf, Source};
use crate::visit::heat;
use crate::{Ahead, Build, Materials, Prices, Risk, Stake, ahead};

/// A task is open from the share of its allowance on that it will have reached by the end of the days planned for: before, doing
/// it would throw half of its work away. Judgement, no source.
const OPEN_FROM: f64 = 0.5;

/// What a day beyond its limit weighs for a task whose neglect may injure, in damages: so much that no saving outweighs it. It is
/// no price, and is taken out again where money is told ([`Agenda::spent`]).
const INJURY_IN_DAMAGES: f64 = 100.0;

/// The least saving for which a told visit is moved, in hours of labour. Judgement, no source.
const WORTH_MOVING_H: f64 = 0.25;

/// A shop on the morning of a day.
#[derive(Clone, Copy, Debug)]
pub struct Shop<'a> {
    /// Its machines with the risk of each task of their builds, in the build's order.
    pub machines: &'a [(&'a MachineState, &'a [Risk])],
    /// Who is there.
    pub keepers: &'a [Rostered],
    /// What is in the stores and on its way, of each item that they count, in its unit.
    pub stock: &'a BTreeMap<String, Source>,
    /// What a unit of an item costs, where that is known.
    pub unit_prices: &'a BTreeMap<String, f64>,
    /// Visits that people have been told of, by machine.
    pub told: &'a [(String, Visit)],
    /// What things cost.
    pub prices: &'a Prices,
    /// Filament materials.
    pub materials: &'a Materials,
    /// Now, in the shop's time zone.
    pub now: &'a ZonedDateTime,
}

/// What is open, and the problem that it makes.
#[derive(Clone, Debug)]
pub struct Agenda {
    /// The problem.
    pub problem: Problem,
    /// For each machine and each of its jobs the indices of the build's tasks that it consists of.
    pub tasks: Vec<Vec<Vec<usize>>>,
    /// For each machine how its tasks stand and will.
    pub ahead: Vec<Ahead>,
    /// For each machine and each of its jobs how many days work that may injure is late by then, on each day and if it is left.
    pub late: Vec<Vec<Vec<usize>>>,
    /// For each machine the tasks by which it is not to be run until they are done.
    pub forbidden: Vec<Vec<usize>>,
    /// For each of the problem's told visits its place among those of the shop.
    pub told: Vec<usize>,
    /// The first day.
    pub today: Date,
    /// What a day of that weighs in the problem's costs.
    weight: f64,
}

/// What a plan costs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spent {
    /// In money.
    pub money: f64,
    /// By how many days, over all its tasks, work is late that may injure.
    pub days_late: usize,
}

/// What putting a visit elsewhere changes.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// What everything costs then less what it costs now, money.
    pub money: f64,
    /// By how many days more, over all its tasks, work is late that may injure.
    pub days_late: i64,
    /// What it breaks that is whole now.
    pub broken: Vec<Broken>,
}

impl Agenda {
    /// What is open in a shop within `days` days from today on.
    pub fn of(shop: &Shop<'_>, days: usize) -> Agenda {
        let today = shop.now.date();
        let stocks: Vec<Stock> = shop
            .stock
            .iter()
            .map(|(name, source)| Stock { name: name.clone(), by_day: by_day(&source.shelf, today, days) })
            .collect();
        let mut agenda = Agenda {
            problem: Problem {
                days,
                keepers: shop.keepers.iter().map(|one| keeper(one, today, days)).collect(),
                worth_moving: WORTH_MOVING_H * shop.prices.labour_per_hour,
                stocks,
                ..Problem::default()
            },
            tasks: Vec::new(),
            late: Vec::new(),
            weight: INJURY_IN_DAMAGES * shop.prices.damage,
            ahead: Vec::new(),
            forbidden: Vec::new(),
            told: Vec::new(),
            today,
        };
        for (state, risks) in shop.machines {
            agenda.add(shop, state, risks);
        }
        agenda.ration();
        agenda.tell(shop.told);
        agenda
    }

    fn add(&mut self, shop: &Shop<'_>, state: &MachineState, risks: &[Risk]) {
        let days = self.problem.days;
        let ahead = ahead(state, shop.materials, shop.now, days + 1);
        let tasks = &state.build.tasks;
        let share_now = |task: usize| ahead.shares[task].first().copied().unwrap_or(0.0);
        let is_forbidding = |task: &usize| forbids_running(&tasks[*task], share_now(*task));
        let forbidden: Vec<usize> = (0..tasks.len()).filter(is_forbidding).collect();
        let mut groups = groups(tasks, &ahead, days);
        groups.retain(|group| !group.iter().any(|&task| self.is_promised(shop, state, &tasks[task])));
        let context = Context { shop, state, risks, ahead: &ahead, days, stocks: &self.problem.stocks };
        let jobs: Vec<Job> = groups.iter().map(|group| context.job(group)).collect();
        let busy = busy_minutes(state, self.today, days);
        let (after, apart) = ties(tasks, &groups);
        // Where work is past its limit by which the machine must not run, what is queued waits for it.
        let window =
            |minutes: &f64| if forbidden.is_empty() { (MINUTES_A_DAY - minutes).max(0.0) } else { MINUTES_A_DAY };
        let standing = |minutes: &f64| if 0.0 < *minutes { shop.prices.standing(1.0) } else { 0.0 };
        let setup = state.build.visit_minutes;
        let minute_cost: Vec<f64> = busy.iter().map(standing).chain([0.0]).collect();
        self.problem.machines.push(MachineWork {
            name: state.name.clone(),
            setup_minutes: setup,
            setup_cost: minute_cost.iter().map(|minute| shop.prices.labour(setup) + minute * setup).collect(),
            minute_cost,
            window: busy.iter().map(window).collect(),
            accesses: accesses(&state.build),
            jobs,
            after,
            apart,
        });
        let late = |group: &Vec<usize>| {
            let of_day = |day: usize| group.iter().map(|&task| context.days_late(task, day)).sum();
            (0..=days).map(of_day).collect()
        };
        self.late.push(groups.iter().map(late).collect());
        self.tasks.push(groups);
        self.ahead.push(ahead);
        self.forbidden.push(forbidden);
    }

    /// What a job costs on a day in money, and by how many days work that may injure is late then. A day after the last stands
    /// for leaving it.
    pub fn cost_on(&self, machine: usize, job: usize, day: usize) -> Spent {
        let day = day.min(self.problem.days);
        let days_late = self.late[machine][job][day];
        let cost = self.problem.machines[machine].jobs[job].costs[day];
        Spent { money: cost - self.weight * days_late as f64, days_late }
    }

    /// What a plan costs in money, and how many days work that may injure is late by it.
    pub fn spent(&self, plan: &Plan) -> Spent {
        let mut days_late = 0;
        for (machine, jobs) in self.late.iter().enumerate() {
            for (job, late) in jobs.iter().enumerate() {
                let is_in = |visit: &&Placed| visit.machine == machine && visit.jobs.contains(&job);
                let day = plan.visits.iter().find(is_in).map_or(self.problem.days, |visit| visit.day);
                days_late += late[day];
            }
        }
        Spent { money: plan.cost - self.weight * days_late as f64, days_late }
    }

    /// What people have been told of as a plan: no other visit, and no bound.
    pub fn as_told(&self) -> Plan {
        rounds::of_visits(
            &self.problem,
            self.problem.told.iter().map(|told| rounds::placed(&self.problem, told)).collect(),
        )
    }

    /// What it changes to put one of the problem's told visits on another day, or into other hands.
    ///
    /// # Panics
    /// If the problem has no such visit, day or keeper.
    pub fn moved(&self, told: usize, day: usize, keeper: usize) -> Moved {
        // Nothing is locked here: a person may break what a plan may not, but is to know.
        let problem = Problem { told: Vec::new(), ..self.problem.clone() };
        let now = self.as_told();
        let mut visits = now.visits.clone();
        visits[told] = Placed { day, keeper, ..visits[told].clone() };
        let then = rounds::of_visits(&problem, visits);
        let broken_now = rounds::check(&problem, &now);
        let broken = rounds::check(&problem, &then).into_iter().filter(|broken| !broken_now.contains(broken)).collect();
        let (before, after) = (self.spent(&now), self.spent(&then));
        let late = |spent: &Spent| i64::try_from(spent.days_late).unwrap_or(i64::MAX);
        Moved { money: after.money - before.money, days_late: late(&after) - late(&before), broken }
    }

    /// Lets jobs be left without a visit thereafter where the stores do not reach for all of their kind: else the visit that the
    /// lacking supply makes necessary later would draw all other work of its machine behind it.
    fn ration(&mut self) {
        let problem = &mut self.problem;
        let asked = |stock: usize| -> f64 {
            let jobs = problem.machines.iter().flat_map(|machine| &machine.jobs);
            jobs.flat_map(|job| &job.uses).filter(|(other, _)| *other == stock).map(|(_, amount)| amount).sum()
        };
        let is_short = |stock: &Stock, asked: f64| stock.by_day.last().is_some_and(|there| *there < asked);
        let short: Vec<bool> =
            problem.stocks.iter().enumerate().map(|(index, stock)| is_short(stock, asked(index))).collect();
        for job in problem.machines.iter_mut().flat_map(|machine| &mut machine.jobs) {
            job.is_due_within &= !job.uses.iter().any(|(stock, _)| short[*stock]);
        }
    }

    /// Whether a locked visit after the last day will do a task: then it is not open before.
    fn is_promised(&self, shop: &Shop<'_>, state: &MachineState, task: &Task) -> bool {
        let is_later = |visit: &Visit| {
            let is_here = self.problem.keepers.iter().any(|keeper| keeper.name.eq_ignore_ascii_case(&visit.keeper));
            let is_after = self.problem.days <= days_between(self.today, visit.day);
            is_here && is_after && visit.is_locked && visit.took.is_none()
        };
        let of_machine = shop.told.iter().filter(|(machine, _)| *machine == state.name);
        of_machine.map(|(_, visit)| visit).any(|visit| is_later(visit) && visit.tasks.contains(&task.name))
    }

    /// Adds the visits that people have been told of, a task that is in several to the first alone, those of machines, keepers and tasks that are still there.
    fn tell(&mut self, told: &[(String, Visit)]) {
        for (place, (name, visit)) in told.iter().enumerate() {
            let problem = &self.problem;
            let Some(machine) = problem.machines.iter().position(|machine| machine.name == *name) else { continue };
            let keeper = |keeper: &Keeper| keeper.name.eq_ignore_ascii_case(&visit.keeper);
            let Some(keeper) = problem.keepers.iter().position(keeper) else { continue };
            if visit.took.is_some() || visit.day < self.today || problem.days <= days_between(self.today, visit.day) {
                continue;
            }
            let has_task = |job: &Job| visit.tasks.iter().any(|task| job.name.split(JOINED).any(|name| name == task));
            let jobs = &problem.machines[machine].jobs;
            let in_other =
                |job: usize| problem.told.iter().any(|told| told.machine == machine && told.jobs.contains(&job));
            let jobs: Vec<usize> = (0..jobs.len()).filter(|&job| has_task(&jobs[job]) && !in_other(job)).collect();
            if !jobs.is_empty() {
                let day = days_between(self.today, visit.day);
                self.problem.told.push(ToldVisit { machine, day, keeper, jobs, is_locked: visit.is_locked });
                self.told.push(place);
            }
        }
    }
}

const MINUTES_A_DAY: f64 = 1440.0;

/// The minutes of each of the build's ways of getting at parts, and last those of heating up and cooling down, which hot work
/// shares as well.
fn accesses(build: &Build) -> Vec<f64> {
    let heat = heat::heating_minutes(&build.heat) + heat::cooling_minutes(&build.heat);
    build.accesses.iter().map(|access| access.minutes).chain([heat]).collect()
}

/// What stands between the names of tasks that make one job.
const JOINED: &str = "; ";

/// What has come by each day.
fn by_day(shelf: &Shelf, today: Date, days: usize) -> Vec<f64> {
    (0..days).map(|day| shelf.come_by(days_after(today, day))).collect()
}

fn keeper(one: &Rostered, today: Date, days: usize) -> Keeper {
    let minutes = |day: usize| f64::from(one.minutes_on(days_after(today, day)));
    let is_qualified = one.keeper.skills.iter().any(|skill| skill.eq_ignore_ascii_case(QUALIFIED));
    let skills = Skills(u32::from(is_qualified));
    Keeper { name: one.keeper.name.clone(), skills, minutes: (0..days).map(minutes).collect() }
}

/// Tasks that are open, those that go together in one group; a group is open where one of it is.
fn groups(tasks: &[Task], ahead: &Ahead, days: usize) -> Vec<Vec<usize>> {
    let is_open = |index: &usize| ahead.shares[*index].get(days).is_some_and(|share| OPEN_FROM <= *share);
    let mut groups = together(tasks);
    groups.retain(|group| group.iter().any(is_open));
    groups
}

/// The indices of all tasks, those that go together in one group.
pub(crate) fn together(tasks: &[Task]) -> Vec<Vec<usize>> {
    let mut seen = vec![false; tasks.len()];
    let mut groups = Vec::new();
    for first in 0..tasks.len() {
        let mut group = Vec::new();
        let mut waiting = vec![first];
        while let Some(index) = waiting.pop() {
            if !std::mem::replace(&mut seen[index], true) {
                group.push(index);
                waiting.extend((0..tasks.len()).filter(|&other| go_together(&tasks[index], &tasks[other])));
            }
        }
        group.sort_unstable();
        if !group.is_empty() {
            groups.push(group);
        }
    }
    groups
}

fn go_together(one: &Task, other: &Task) -> bool {
    one.with.contains(&other.name) || other.with.contains(&one.name)
}

/// The pairs of groups of which the second is not before the first, and those that are never in one visit.
fn ties(tasks: &[Task], groups: &[Vec<usize>]) -> (Vec<[usize; 2]>, Vec<[usize; 2]>) {
    let group_of = |name: &String| groups.iter().position(|group| group.iter().any(|&task| tasks[task].name == *name));
    let (mut after, mut apart) = (Vec::new(), Vec::new());
    for (index, group) in groups.iter().enumerate() {
        for task in group.iter().map(|&task| &tasks[task]) {
            after.extend(
                task.after.iter().filter_map(group_of).filter(|&other| other != index).map(|first| [first, index]),
            );
            apart.extend(
                task.apart
                    .iter()
                    .filter_map(group_of)
                    .filter(|&other| other != index)
                    .map(|other| [index.min(other), index.max(other)]),
            );
        }
    }
    for pairs in [&mut after, &mut apart] {
        pairs.sort_unstable();
        pairs.dedup();
    }
    (after, apart)
}

/// What making jobs of tasks needs.
struct Context<'a> {
    shop: &'a Shop<'a>,
    state: &'a MachineState,
    risks: &'a [Risk],
    ahead: &'a Ahead,
    days: usize,
    stocks: &'a [Stock],
}

impl Context<'_> {
    fn job(&self, group: &[usize]) -> Job {
        let tasks: Vec<&Task> = group.iter().map(|&index| &self.state.build.tasks[index]).collect();
        let mut costs = vec![0.0; self.days + 1];
        for &index in group {
            for (sum, cost) in costs.iter_mut().zip(self.costs(index)) {
                *sum += cost;
            }
        }
        let share = |index: usize, day: usize| self.ahead.shares[index].get(day).copied().unwrap_or(0.0);
        let accesses = &self.state.build.accesses;
        let access_of = |task: &&Task| match &task.access {
            Some(name) => accesses.iter().position(|access| access.name == *name),
            None => (task.state == State::Hot).then_some(accesses.len()),
        };
        let mut uses: BTreeMap<usize, f64> = BTreeMap::new();
        for supply in tasks.iter().flat_map(|task| &task.uses) {
            // An item that the stores do not count is taken to be there.
            if let Some(stock) = self.stocks.iter().position(|stock| stock.name.eq_ignore_ascii_case(&supply.name)) {
                *uses.entry(stock).or_default() += supply.amount;
            }
        }
        Job {
            name: tasks.iter().map(|task| task.name.as_str()).collect::<Vec<_>>().join(JOINED),
            minutes: tasks.iter().map(|task| task.minutes).sum(),
            costs,
            is_due_within: group.iter().any(|&index| 1.0 <= share(index, self.days)),
            is_urgent: group.iter().any(|&index| forbids_running(&self.state.build.tasks[index], share(index, 0))),
            skills: Skills(u32::from(tasks.iter().any(|task| task.qualified))),
            access: tasks.iter().find_map(access_of),
            uses: uses.into_iter().collect(),
        }
    }

    /// By how many days a task is late on a day that may injure; none for others.
    fn days_late(&self, index: usize, day: usize) -> usize {
        match self.state.build.tasks[index].neglect {
            Neglect::Injury => self.ahead.shares[index][..=day].iter().skip(1).filter(|share| 1.0 <= **share).count(),
            Neglect::Nuisance | Neglect::FailedPrint | Neglect::Damage => 0,
        }
    }

    /// What a task costs on each day, and what leaving it until after the last day costs.
    fn costs(&self, index: usize) -> Vec<f64> {
        let task = &self.state.build.tasks[index];
        let price = |name: &String| self.shop.unit_prices.get(name).copied().unwrap_or(0.0);
        let supplies = task.uses.iter().map(|supply| supply.amount * price(&supply.name)).sum();
        let believed;
        let risk = match self.risks.get(index) {
            Some(risk) => risk,
            None => {
                believed = Risk::believed();
                &believed
            }
        };
        let stake = Stake::new(task, supplies, self.shop.prices, risk);
        let shares = &self.ahead.shares[index];
        let late = |day: usize| match stake.failure {
            Some(_) => stake.late(shares[day]) - stake.late(shares[0]),
            None => INJURY_IN_DAMAGES * self.shop.prices.damage * self.days_late(index, day) as f64,
        };
        (0..=self.days).map(|day| late(day) + if day < self.days { stake.early(shares[day]) } else { 0.0 }).collect()
    }
}

/// Minutes of each day for which runs are queued; those that go on as soon as the machine is free fill the days from today on.
pub fn busy_minutes(state: &MachineState, today: Date, days: usize) -> Vec<f64> {
    let mut busy = vec![0.0; days];
    for queued in &state.queue {
        let time = |(_, grains): (_, &crate::usage::Grains)| grains.get(Quantity::Time) as f64;
        let micros: f64 = queued.usage.streams().map(time).sum();
        let mut minutes = micros * crate::usage::grain(Quantity::Time.unit()) / 60.0;
        let first = queued.on.map_or(0, |on| if on <= today { 0 } else { days_between(today, on) });
        for day in busy.iter_mut().skip(first) {
            let here = minutes.min((MINUTES_A_DAY - *day).max(0.0));
            *day += here;
            minutes -= here;
        }
    }
    busy
}
