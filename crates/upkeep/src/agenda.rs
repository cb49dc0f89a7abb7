//! What is open in a shop, as a problem for the planner of [`crate::rounds`].

use std::collections::{BTreeMap, BTreeSet};

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
    /// Who is there.
    pub keepers: &'a [Rostered],
    /// What is in the stores and on its way, of each item that they count, in its unit.
    pub stock: &'a BTreeMap<String, Source>,
    /// What a unit of an item costs, where that is known.
    pub unit_prices: &'a BTreeMap<String, f64>,
    /// Visits that people have been told of, by machine, those walked today among them.
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
    /// Tasks whose neglect may injure or damage and that locked visits leave past their limit.
    pub held: Vec<Held>,
    /// What a day of that weighs in the problem's costs.
    weight: f64,
    /// What waiting for locked visits after the last day costs, and those visits.
    promised: Spent,
}

/// A task whose neglect may injure or damage and that waits for a locked visit although it passes its limit before.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Held {
    /// The machine's index.
    pub machine: usize,
    /// The task's index in the build.
    pub task: usize,
    /// The first day at whose beginning it will be past its limit, in the mean; today if it is already.
    pub past_from: Date,
    /// The visit's day.
    pub day: Date,
    /// Its keeper.
    pub keeper: String,
}

/// What a plan costs.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
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
    pub fn of<'a>(
        shop: &Shop<'_>,
        machines: impl IntoIterator<Item = (&'a MachineState, &'a [Risk])>,
        days: usize,
    ) -> Agenda {
        let mut agenda = Agenda::begun(shop, days);
        for (state, risks) in machines {
            agenda.add(shop, state, risks);
        }
        agenda.finish(shop);
        agenda
    }

    /// An agenda of no machine yet. Each is to be added, and what ties them told by [`Agenda::finish`]: so a hall's records
    /// need not all be held at once.
    pub fn begun(shop: &Shop<'_>, days: usize) -> Agenda {
        let today = shop.now.date();
        let stocks: Vec<Stock> = shop
            .stock
            .iter()
            .map(|(name, source)| Stock { name: name.clone(), by_day: by_day(&source.shelf, today, days) })
            .collect();
        Agenda {
            problem: Problem {
                days,
                keepers: shop.keepers.iter().map(|one| keeper(one, shop.told, today, days)).collect(),
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
            held: Vec::new(),
            promised: Spent::default(),
            today,
        }
    }

    /// Shares out what there is too little of, and enters the visits that people have been told of.
    pub fn finish(&mut self, shop: &Shop<'_>) {
        self.ration();
        self.tell(shop.told);
    }

    /// Adds what is open on a machine; `risks` are those of its build's tasks, in the build's order.
    pub fn add(&mut self, shop: &Shop<'_>, state: &MachineState, risks: &[Risk]) {
        let days = self.problem.days;
        let ahead = ahead(state, shop.materials, shop.now, days + 1);
        let tasks = &state.build.tasks;
        let share_now = |task: usize| ahead.shares[task].first().copied().unwrap_or(0.0);
        let is_forbidding = |task: &usize| forbids_running(&tasks[*task], share_now(*task));
        let forbidden: Vec<usize> = (0..tasks.len()).filter(is_forbidding).collect();
        let mut groups = groups(tasks, &ahead, days);
        let promise = |group: &[usize]| group.iter().find_map(|&task| self.promise(shop, state, &tasks[task]));
        let promised: Vec<(Vec<usize>, &Visit)> =
            groups.iter().filter_map(|group| Some((group.clone(), promise(group)?))).collect();
        groups.retain(|group| promise(group).is_none());
        let context = Context { shop, state, risks, ahead: &ahead, days, stocks: &self.problem.stocks };
        let jobs: Vec<Job> = groups.iter().map(|group| context.job(group)).collect();
        let busy = busy_minutes(state, self.today, days);
        let (after, apart) = ties(tasks, &groups);
        let waits = waits(&state.build, &groups, &jobs);
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
            waits,
        });
        let waiting: Vec<Spent> = promised
            .iter()
            .map(|(group, visit)| waiting(shop, state, risks, group, days_between(self.today, visit.day)))
            .collect();
        self.promised.days_late += waiting.iter().map(|spent| spent.days_late).sum::<usize>();
        self.promised.money += waiting.iter().map(|spent| spent.money).sum::<f64>();
        let visits: BTreeSet<Date> = promised.iter().map(|(_, visit)| visit.day).collect();
        self.promised.money += shop.prices.labour(setup) * visits.len() as f64;
        let late = |group: &Vec<usize>| {
            let of_day = |day: usize| group.iter().map(|&task| context.days_late(task, day)).sum();
            (0..=days).map(of_day).collect()
        };
        self.late.push(groups.iter().map(late).collect());
        self.tasks.push(groups);
        self.ahead.push(ahead);
        self.forbidden.push(forbidden);
        self.hold(shop, state);
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
        let money = plan.cost - self.weight * days_late as f64 + self.promised.money;
        Spent { money, days_late: days_late + self.promised.days_late }
    }

    /// What no plan can cost less than, in money; `None` where work that may injure is late, which is weighed so far above money
    /// that a bound on both tells nothing of money.
    pub fn bound(&self, plan: &Plan) -> Option<f64> {
        (self.spent(plan).days_late == 0).then_some(plan.bound + self.promised.money)
    }

    /// Lets what is queued on machines that are not to be run follow the visit that releases them, and says whether that changed
    /// anything. At what time of its day the queue then goes on is not known: it is held against every visit that it might
    /// meet.
    pub fn release(&mut self, states: &[&MachineState], plan: &Plan) -> bool {
        let (today, days) = (self.today, self.problem.days);
        let mut is_changed = false;
        for (index, state) in states.iter().enumerate().filter(|(index, _)| !self.forbidden[*index].is_empty()) {
            let day_of = |task: &usize| {
                let job = self.tasks[index].iter().position(|group| group.contains(task))?;
                let visit = plan.visits.iter().find(|visit| visit.machine == index && visit.jobs.contains(&job))?;
                Some(visit.day)
            };
            let released = self.forbidden[index].iter().map(day_of).collect::<Option<Vec<usize>>>();
            let Some(day) = released.and_then(|days| days.into_iter().max()) else { continue };
            let (soon, later) = (busy_from(state, today, days, day), busy_from(state, today, days, day + 1));
            let window = |at: usize| MINUTES_A_DAY - if at <= day { 0.0 } else { soon[at].max(later[at]) };
            let window: Vec<f64> = (0..days).map(window).collect();
            is_changed |= window != self.problem.machines[index].window;
            self.problem.machines[index].window = window;
        }
        is_changed
    }

    /// Finds what locked visits of the machine that was added last leave past its limit.
    fn hold(&mut self, shop: &Shop<'_>, state: &MachineState) {
        let machine = self.problem.machines.len() - 1;
        let is_here = |visit: &Visit| self.problem.keepers.iter().any(|one| is_named(&one.name, &visit.keeper));
        let told = shop.told.iter().filter(|(name, _)| state.name == *name).map(|(_, visit)| visit);
        for visit in told.filter(|visit| visit.is_locked && visit.took.is_none() && is_here(visit)) {
            let past = past_before(state, shop.materials, shop.now, &visit.tasks, visit.day);
            let may_harm = |(task, _): &(usize, Date)| Neglect::Damage <= state.build.tasks[*task].neglect;
            let held = past.into_iter().filter(may_harm).map(|(task, past_from)| Held {
                machine,
                task,
                past_from,
                day: visit.day,
                keeper: visit.keeper.clone(),
            });
            self.held.extend(held);
        }
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

    /// The locked visit after the last day that will do a task: then it is not open before.
    fn promise<'a>(&self, shop: &Shop<'a>, state: &MachineState, task: &Task) -> Option<&'a Visit> {
        let is_later = |visit: &Visit| {
            let is_here = self.problem.keepers.iter().any(|keeper| is_named(&keeper.name, &visit.keeper));
            let is_after = self.problem.days <= days_between(self.today, visit.day);
            is_here && is_after && visit.is_locked && visit.took.is_none()
        };
        let of_machine = shop.told.iter().filter(|(machine, _)| *machine == state.name);
        of_machine.map(|(_, visit)| visit).find(|visit| is_later(visit) && visit.tasks.contains(&task.name))
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

/// How far ahead use is told at most, days.
const FARTHEST_DAYS: usize = 731;

fn is_named(keeper: &str, name: &str) -> bool {
    keeper.eq_ignore_ascii_case(name)
}

/// Which of a machine's tasks pass their limit, in the mean, if they are left until `day`: each one's index in the build, and the
/// first day at whose beginning it is past, today for one that is already. None for a visit of today.
pub fn past_before(
    state: &MachineState,
    materials: &Materials,
    now: &ZonedDateTime,
    tasks: &[String],
    day: Date,
) -> Vec<(usize, Date)> {
    let today = now.date();
    let days = days_between(today, day).min(FARTHEST_DAYS);
    if day <= today {
        return Vec::new();
    }
    let ahead = ahead(state, materials, now, days + 1);
    let past = |task: usize| {
        let first = ahead.shares[task].iter().position(|share| 1.0 <= *share)?;
        Some((task, days_after(today, first)))
    };
    let of_visit = (0..state.build.tasks.len()).filter(|&task| tasks.contains(&state.build.tasks[task].name));
    of_visit.filter_map(past).collect()
}

/// What it costs to leave tasks for so many days.
fn waiting(shop: &Shop<'_>, state: &MachineState, risks: &[Risk], group: &[usize], days: usize) -> Spent {
    let days = days.min(FARTHEST_DAYS);
    let ahead = ahead(state, shop.materials, shop.now, days + 1);
    let context = Context { shop, state, risks, ahead: &ahead, days, stocks: &[] };
    let days_late: usize = group.iter().map(|&task| context.days_late(task, days)).sum();
    let cost: f64 = group.iter().filter_map(|&task| context.costs(task).pop()).sum();
    Spent { money: cost - INJURY_IN_DAMAGES * shop.prices.damage * days_late as f64, days_late }
}

/// The minutes of each of the build's ways of getting at parts, and last those of heating up, which hot work shares as well.
fn accesses(build: &Build) -> Vec<f64> {
    let heating = heat::heating_minutes(&build.heat);
    build.accesses.iter().map(|access| access.minutes).chain([heating]).collect()
}

/// The pairs of hot and other jobs that take longer in one visit than each by itself, since what is done cold comes after what
/// is done hot; and by how many minutes.
fn waits(build: &Build, groups: &[Vec<usize>], jobs: &[Job]) -> Vec<([usize; 2], f64)> {
    let is = |group: &[usize], hot: bool| group.iter().any(|&task| (build.tasks[task].state == State::Hot) == hot);
    let accesses = accesses(build);
    let mut waits = Vec::new();
    for (second, other) in groups.iter().enumerate() {
        for (first, one) in groups[..second].iter().enumerate() {
            if !(is(one, true) && is(other, false) || is(one, false) && is(other, true)) {
                continue;
            }
            let both: Vec<usize> = one.iter().chain(other).copied().collect();
            let shared = match (jobs[first].access, jobs[second].access) {
                (one, other) if one == other => one.map_or(0.0, |access| accesses[access]),
                (one, other) => one.into_iter().chain(other).map(|access| accesses[access]).sum(),
            };
            let apart = build.visit_minutes + shared + jobs[first].minutes + jobs[second].minutes;
            let wait = minutes(build, &both) - apart;
            if NOUGHT_MINUTES < wait {
                waits.push(([first, second], wait));
            }
        }
    }
    waits
}

/// How long a visit takes with some of a build's tasks, min.
fn minutes(build: &Build, tasks: &[usize]) -> f64 {
    let tasks: Vec<&Task> = tasks.iter().map(|&task| &build.tasks[task]).collect();
    crate::visit::minutes(build, &tasks)
}

/// Minutes below this are rounding.
const NOUGHT_MINUTES: f64 = 1e-6;

/// What stands between the names of tasks that make one job.
const JOINED: &str = "; ";

/// What has come by each day.
fn by_day(shelf: &Shelf, today: Date, days: usize) -> Vec<f64> {
    (0..days).map(|day| shelf.come_by(days_after(today, day))).collect()
}

/// A keeper with the minutes of each day; what visits took that were walked today is gone from today's.
fn keeper(one: &Rostered, told: &[(String, Visit)], today: Date, days: usize) -> Keeper {
    let is_theirs = |visit: &&Visit| visit.day == today && visit.keeper.eq_ignore_ascii_case(&one.keeper.name);
    let walked: f64 = told.iter().map(|(_, visit)| visit).filter(is_theirs).filter_map(|visit| visit.took).sum();
    let minutes = |day: usize| {
        let has = f64::from(one.minutes_on(days_after(today, day)));
        if day == 0 { (has - walked).max(0.0) } else { has }
    };
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
        let access = tasks.iter().find_map(access_of);
        let shared = access.map_or(0.0, |access| self::accesses(&self.state.build)[access]);
        Job {
            name: tasks.iter().map(|task| task.name.as_str()).collect::<Vec<_>>().join(JOINED),
            // What a visit with nothing else takes, less what others share.
            minutes: (minutes(&self.state.build, group) - self.state.build.visit_minutes - shared).max(0.0),
            costs,
            is_due_within: group.iter().any(|&index| 1.0 <= share(index, self.days)),
            is_urgent: group.iter().any(|&index| forbids_running(&self.state.build.tasks[index], share(index, 0))),
            skills: Skills(u32::from(tasks.iter().any(|task| task.qualified))),
            access,
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
    busy_from(state, today, days, 0)
}

/// The same where nothing runs before a day, from 0 for today.
fn busy_from(state: &MachineState, today: Date, days: usize, day: usize) -> Vec<f64> {
    let mut busy = vec![0.0; days];
    for queued in &state.queue {
        let time = |(_, grains): (_, &crate::usage::Grains)| grains.get(Quantity::Time) as f64;
        let micros: f64 = queued.usage.streams().map(time).sum();
        let mut minutes = micros * crate::usage::grain(Quantity::Time.unit()) / 60.0;
        let first = queued.on.map_or(0, |on| if on <= today { 0 } else { days_between(today, on) }).max(day);
        for day in busy.iter_mut().skip(first) {
            let here = minutes.min((MINUTES_A_DAY - *day).max(0.0));
            *day += here;
            minutes -= here;
        }
    }
    busy
}
