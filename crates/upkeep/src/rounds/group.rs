//! The visits of one machine: exact, whatever binds its jobs to each other.
//!
//! Without bonds the jobs are sent to days by [`Costs::best`]. Where that breaks a bond (a job before the one that it comes
//! after, two that stay apart in one visit, more minutes than a window or a keeper has, more of a supply than there is), two
//! branches exclude it, each by taking days away from one job, and every plan without the breach is in one of them:
//! branch and bound. Jobs are first taken off a crowded day where that costs the least for each minute, so that the first
//! branches already end in a good plan.

use super::cost::{job_cost, machine_cost, skills_of, visit_minutes, work_minutes};
use super::opening::{Choice, Costs, EPSILON, ones};
use super::problem::{Job, MachineWork, Placed, Skills};
use super::room::{Room, TOLERANCE};

/// How many branches [`group`] solves before it takes the best so far without proof.
const BRANCHES: usize = 20_000;

/// How many times as many branches are looked into as long as no choice is found at all.
const FIRST: usize = 4;

/// The visits of one machine without regard to others.
#[derive(Clone, Debug, PartialEq)]
pub struct Grouping {
    /// The day of each visit and its jobs, ascending.
    pub visits: Vec<(usize, Vec<usize>)>,
    /// What they cost, left jobs included: money.
    pub cost: f64,
    /// What no visits can cost less than; equal to the cost where they are proved to be the best.
    pub bound: f64,
}

/// The cheapest visits of a machine in some days if keepers and supplies were boundless: one visit on a day at most, each within
/// its day's window. `None` where no visits keep to all bonds: where jobs that come after others must not be left alone.
///
/// # Panics
/// If the machine's values are not as many as [`super::Problem::check`] asks for.
pub fn group(machine: &MachineWork, days: usize) -> Option<Grouping> {
    let n_stocks = machine.jobs.iter().flat_map(|job| &job.uses).map(|(stock, _)| stock + 1).max().unwrap_or(0);
    let room = Room::boundless(days, n_stocks, 1);
    let work = Work::new(machine, days, &vec![all_days(days); machine.jobs.len()], Vec::new());
    let chosen = work.best(&work.costs(&Prices::none(days)), &room, BRANCHES)?;
    let visits = work.visits(&chosen, &room, &[])?;
    let cost = machine_cost(machine, days, &visits);
    let bound = cost - (chosen.cost - chosen.bound);
    Some(Grouping { visits: visits.into_iter().map(|visit| (visit.day, visit.jobs)).collect(), cost, bound })
}

/// All days, as a set of bits.
pub(crate) fn all_days(days: usize) -> u64 {
    (1 << days) - 1
}

/// What a keeper's minute is priced at, by day.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Prices {
    /// Of any keeper.
    pub(crate) minute: Vec<f64>,
    /// Of one who holds some skill, on top of that.
    pub(crate) skilled: Vec<(Skills, Vec<f64>)>,
}

impl Prices {
    /// Nothing is priced.
    pub(crate) fn none(days: usize) -> Prices {
        Prices { minute: vec![0.0; days], skilled: Vec::new() }
    }

    /// These prices times a factor.
    pub(crate) fn scaled(&self, factor: f64) -> Prices {
        let scaled = |prices: &[f64]| prices.iter().map(|price| price * factor).collect::<Vec<f64>>();
        let skilled = self.skilled.iter().map(|(skill, prices)| (*skill, scaled(prices))).collect();
        Prices { minute: scaled(&self.minute), skilled }
    }

    /// The price of a minute of a job that needs some skills.
    fn of(&self, skills: Skills, day: usize) -> f64 {
        let needed = self.skilled.iter().filter(|(skill, _)| skills.hold(*skill));
        self.minute[day] + needed.map(|(_, by_day)| by_day[day]).sum::<f64>()
    }
}

/// A machine's open jobs, some of which may be in visits that are fixed.
#[derive(Clone, Debug)]
pub(crate) struct Work<'a> {
    pub(crate) machine: &'a MachineWork,
    days: usize,
    /// The jobs that may be placed.
    jobs: Vec<usize>,
    /// The days on which each of them may be done, and at bit `days` whether it may be left.
    allowed: Vec<u64>,
    /// The visits that are fixed.
    pub(crate) fixed: Vec<Placed>,
    /// Pairs of places in `jobs`.
    after: Vec<[usize; 2]>,
    apart: Vec<[usize; 2]>,
}

/// Where each job of a [`Work`] goes: a day, or `days` where it is left.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Chosen {
    days: Vec<usize>,
    /// What it costs by the costs and prices it was chosen by.
    pub(crate) cost: f64,
    /// What no choice can cost less than by these.
    pub(crate) bound: f64,
}

/// What a machine would ask for if nothing bound its jobs to each other.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Relaxed {
    /// The days that it asks for, with the jobs of each.
    pub(crate) asked: Vec<(usize, Vec<usize>)>,
    /// What it costs by the costs and prices it was chosen by.
    pub(crate) cost: f64,
    /// What no choice can cost less than by these.
    pub(crate) bound: f64,
}

/// One of two ways out of a breach: a job must not be done on these days.
type WayOut = (usize, u64);

/// A branch: where jobs may still go, and the bound of the one it comes from.
struct Branch {
    allowed: Vec<u64>,
    bound: f64,
    /// The choice of the one it comes from, where the branch allows it: then no other is better here.
    choice: Option<Choice>,
}

impl<'a> Work<'a> {
    /// The work of a machine of which each job may be done on `possible` days, with some visits fixed.
    pub(crate) fn new(machine: &'a MachineWork, days: usize, possible: &[u64], fixed: Vec<Placed>) -> Work<'a> {
        let fixed_day = |job: usize| fixed.iter().find(|visit| visit.jobs.contains(&job)).map(|visit| visit.day);
        let jobs: Vec<usize> = (0..machine.jobs.len()).filter(|&job| fixed_day(job).is_none()).collect();
        let mut allowed: Vec<u64> = jobs.iter().map(|&job| possible[job] | 1 << days).collect();
        let place = |job: usize| jobs.binary_search(&job);
        for &[first, second] in &machine.after {
            if let (Some(day), Ok(second)) = (fixed_day(first), place(second)) {
                allowed[second] &= !((1 << day) - 1);
            }
        }
        for [one, other] in machine.apart.iter().flat_map(|&[a, b]| [[a, b], [b, a]]) {
            if let (Some(day), Ok(other)) = (fixed_day(one), place(other)) {
                allowed[other] &= !(1 << day);
            }
        }
        let among = |pairs: &[[usize; 2]]| {
            let both_free = |&[a, b]: &[usize; 2]| Some([place(a).ok()?, place(b).ok()?]);
            pairs.iter().filter_map(both_free).collect()
        };
        let (after, apart) = (among(&machine.after), among(&machine.apart));
        Work { machine, days, allowed, after, apart, jobs, fixed }
    }

    /// The fixed visit that further jobs of a day would join.
    fn joined(&self, day: usize) -> Option<&Placed> {
        self.fixed.iter().find(|visit| visit.day == day)
    }

    /// Whether a fixed visit of a day opens an access anyway.
    fn is_opened(&self, access: usize, day: usize) -> bool {
        self.joined(day)
            .is_some_and(|visit| visit.jobs.iter().any(|&job| self.machine.jobs[job].access == Some(access)))
    }

    /// The costs of the jobs, keepers' minutes priced in.
    pub(crate) fn costs(&self, prices: &Prices) -> Costs {
        let (machine, days) = (self.machine, self.days);
        let setup = |day: usize| match self.joined(day) {
            Some(_) => 0.0,
            None => machine.setup_cost[day] + machine.setup_minutes * prices.minute.get(day).unwrap_or(&0.0),
        };
        let mut costs = Costs { columns: days + 1, opening: (0..=days).map(setup).collect(), ..Costs::default() };
        for (&job, &allowed) in self.jobs.iter().zip(&self.allowed) {
            let Some(Job { minutes, skills, is_due_within, .. }) = machine.jobs.get(job) else { continue };
            let price = |day: usize| minutes * prices.of(*skills, day);
            let on = |day: usize| {
                if allowed >> day & 1 == 1 { job_cost(machine, day, job) + price(day) } else { f64::INFINITY }
            };
            let left = job_cost(machine, days, job);
            costs.jobs.extend((0..days).map(on));
            costs.jobs.push(if *is_due_within { left } else { f64::INFINITY });
            costs.leaving.push(if *is_due_within { f64::INFINITY } else { left });
        }
        for (access, minutes) in machine.accesses.iter().enumerate() {
            let shares = |place: &usize| machine.jobs[self.jobs[*place]].access == Some(access);
            let sharing: Vec<usize> = (0..self.jobs.len()).filter(shares).collect();
            if sharing.is_empty() {
                continue;
            }
            let opening = |day: usize| {
                let minute = machine.minute_cost[day] + prices.minute.get(day).unwrap_or(&0.0);
                if self.is_opened(access, day) { 0.0 } else { minutes * minute }
            };
            costs.sharing.push(sharing);
            costs.access_opening.extend((0..=days).map(opening));
        }
        costs
    }

    /// The cheapest choice that breaks no bond and for whose visits there is room, looking into no more than some branches.
    pub(crate) fn best(&self, costs: &Costs, room: &Room, branches: usize) -> Option<Chosen> {
        let mut best: Option<Chosen> = None;
        let mut skipped = f64::INFINITY;
        let mut open = vec![Branch { allowed: self.allowed_in(room), bound: f64::NEG_INFINITY, choice: None }];
        let mut looked_into = 0;
        while let Some(branch) = open.pop() {
            let to_beat = best.as_ref().map_or(f64::INFINITY, |best| best.cost - EPSILON);
            if to_beat <= branch.bound {
                continue;
            }
            looked_into += 1;
            // Without anything yet, going on is worth more: the first branches lead to a choice that holds.
            let enough = if best.is_some() { branches } else { FIRST * branches };
            if enough < looked_into {
                skipped = skipped.min(branch.bound);
                continue;
            }
            let solved = branch.choice.or_else(|| self.restricted(costs, &branch.allowed).best_below(to_beat));
            let Some(choice) = solved else { continue };
            if to_beat <= choice.bound {
                continue;
            }
            let days: Vec<usize> = choice.columns.iter().map(|column| column.unwrap_or(self.days)).collect();
            match self.breach(costs, room, &days, &branch.allowed) {
                Breach::None => {
                    skipped = skipped.min(choice.bound);
                    best = Some(Chosen { days, cost: choice.cost, bound: choice.bound });
                }
                Breach::Dead => {}
                Breach::Either(ways) => {
                    for (job, taken) in ways.into_iter().rev() {
                        let mut allowed = branch.allowed.clone();
                        allowed[job] &= !taken;
                        let stands = allowed[job] >> days[job] & 1 == 1;
                        let choice_there = stands.then(|| choice.clone());
                        open.push(Branch { allowed, bound: choice.bound, choice: choice_there });
                    }
                }
            }
        }
        best.map(|best| Chosen { bound: best.cost.min(skipped), ..best })
    }

    /// The days on which each job may be done, and on which there is room for it at least alone.
    fn allowed_in(&self, room: &Room) -> Vec<u64> {
        let mut longest: Vec<(Skills, Vec<f64>)> = Vec::new();
        let mut allowed = self.allowed.clone();
        for (&job, allowed) in self.jobs.iter().zip(&mut allowed) {
            let Job { minutes, skills, access, .. } = &self.machine.jobs[job];
            if !longest.iter().any(|(known, _)| known == skills) {
                longest.push((*skills, room.longest(*skills, self.days)));
            }
            let by_day = longest.iter().find(|(known, _)| known == skills).map_or(&[][..], |(_, by_day)| by_day);
            for day in ones(*allowed & all_days(self.days)) {
                let opening = access
                    .filter(|&access| !self.is_opened(access, day))
                    .map_or(0.0, |access| self.machine.accesses[access]);
                let fits = match self.joined(day) {
                    Some(visit) => room.keeper_fits(visit.keeper, day, minutes + opening, *skills),
                    None => self.machine.setup_minutes + minutes + opening <= by_day[day] + TOLERANCE,
                };
                if !fits {
                    *allowed &= !(1 << day);
                }
            }
        }
        allowed
    }

    /// The cheapest choice if nothing bound the jobs to each other.
    pub(crate) fn relaxed(&self, costs: &Costs) -> Option<Relaxed> {
        let choice = costs.best()?;
        let days = choice.columns.iter().map(|column| column.unwrap_or(self.days)).collect();
        let asked = self.asked(&Chosen { days, cost: choice.cost, bound: choice.bound });
        Some(Relaxed { asked, cost: choice.cost, bound: choice.bound })
    }

    /// The days that a choice asks for, with the jobs of each.
    pub(crate) fn asked(&self, chosen: &Chosen) -> Vec<(usize, Vec<usize>)> {
        let used = chosen.days.iter().fold(0_u64, |used, &day| used | 1 << day) & all_days(self.days);
        ones(used).map(|day| (day, self.added(&chosen.days, day))).collect()
    }

    /// The costs without the days that a branch has taken away.
    fn restricted(&self, costs: &Costs, allowed: &[u64]) -> Costs {
        let mut restricted = costs.clone();
        for (place, (&now, &before)) in allowed.iter().zip(&self.allowed).enumerate() {
            for day in ones(before & !now) {
                restricted.jobs[place * costs.columns + day] = f64::INFINITY;
                if day == self.days {
                    restricted.leaving[place] = f64::INFINITY;
                }
            }
        }
        restricted
    }

    /// A bond that a choice breaks.
    fn breach(&self, costs: &Costs, room: &Room, days: &[usize], allowed: &[u64]) -> Breach {
        for &[first, second] in &self.after {
            if days[second] < days[first] {
                let until = (1 << (days[second] + 1)) - 1;
                return Breach::Either([(first, !until), (second, until)]);
            }
        }
        for &[one, other] in &self.apart {
            if days[one] == days[other] && days[one] < self.days {
                return Breach::Either([(one, 1 << days[one]), (other, 1 << days[one])]);
            }
        }
        let used = days.iter().fold(0_u64, |used, &day| used | 1 << day) & all_days(self.days);
        let crowded = ones(used).find(|&day| !self.has_room(room, days, day));
        if let Some(day) = crowded {
            return self.off(costs, days, allowed, 1 << day, |_| true);
        }
        match self.overdrawn(room, days) {
            Some((stock, by)) => {
                let uses =
                    |place: usize| self.machine.jobs[self.jobs[place]].uses.iter().any(|(used, _)| *used == stock);
                self.off(costs, days, allowed, (1 << (by + 1)) - 1, uses)
            }
            None => Breach::None,
        }
    }

    /// One of some jobs must go off some days, unless all of them can go nowhere else.
    fn off(
        &self,
        costs: &Costs,
        days: &[usize],
        allowed: &[u64],
        taken: u64,
        counts: impl Fn(usize) -> bool,
    ) -> Breach {
        let may_go = |place: &usize| taken >> days[*place] & 1 == 1 && allowed[*place] & !taken != 0 && counts(*place);
        let regret = |place: usize| self.regret(costs, days, allowed[place] & !taken, place);
        let cheapest = (0..days.len()).filter(may_go).min_by(|&a, &b| regret(a).total_cmp(&regret(b)));
        cheapest.map_or(Breach::Dead, |place| Breach::Either([(place, taken), (place, !taken)]))
    }

    /// What it would cost at most to put a job on one of some other days, for each of its minutes.
    fn regret(&self, costs: &Costs, days: &[usize], others: u64, place: usize) -> f64 {
        let row = &costs.jobs[place * costs.columns..(place + 1) * costs.columns];
        let with_opening = |day: usize| row[day] + if days.contains(&day) { 0.0 } else { costs.opening[day] };
        let next = ones(others).map(with_opening).fold(f64::INFINITY, f64::min);
        let leaving = if others >> self.days & 1 == 1 { costs.leaving[place] } else { f64::INFINITY };
        (next.min(leaving) - row[days[place]]) / self.machine.jobs[self.jobs[place]].minutes.max(TOLERANCE)
    }

    /// Whether window and keepers have room for what a choice puts on a day.
    fn has_room(&self, room: &Room, days: &[usize], day: usize) -> bool {
        let added: Vec<usize> = self.added(days, day);
        let skills = skills_of(self.machine, &added);
        let fixed: f64 = self.fixed.iter().filter(|visit| visit.day == day).map(|visit| visit.minutes).sum();
        let extra = self.extra_minutes(&added, day);
        if self.machine.window[day] + TOLERANCE < fixed + extra {
            return false;
        }
        match self.joined(day) {
            Some(visit) => room.keeper_fits(visit.keeper, day, extra, skills),
            None => room.fits(day, extra, skills),
        }
    }

    /// Jobs that a choice puts on a day.
    fn added(&self, days: &[usize], day: usize) -> Vec<usize> {
        self.jobs.iter().zip(days).filter(|(_, chosen)| **chosen == day).map(|(job, _)| *job).collect()
    }

    /// The jobs that a choice does not leave.
    pub(crate) fn placed(&self, chosen: &Chosen) -> Vec<usize> {
        self.jobs.iter().zip(&chosen.days).filter(|(_, day)| **day < self.days).map(|(job, _)| *job).collect()
    }

    /// Minutes that some jobs add to a day.
    fn extra_minutes(&self, added: &[usize], day: usize) -> f64 {
        self.extra(added, day, visit_minutes)
    }

    /// Minutes that some jobs add to a day and that are priced: waits apart.
    pub(crate) fn extra_work_minutes(&self, added: &[usize], day: usize) -> f64 {
        self.extra(added, day, work_minutes)
    }

    fn extra(&self, added: &[usize], day: usize, minutes: fn(&MachineWork, &[usize]) -> f64) -> f64 {
        match self.joined(day) {
            Some(visit) => {
                let all: Vec<usize> = visit.jobs.iter().chain(added).copied().collect();
                minutes(self.machine, &all) - minutes(self.machine, &visit.jobs)
            }
            None => minutes(self.machine, added),
        }
    }

    /// A stock that a choice overdraws, and by which day.
    fn overdrawn(&self, room: &Room, days: &[usize]) -> Option<(usize, usize)> {
        let uses = |place: usize| self.machine.jobs[self.jobs[place]].uses.iter().map(move |used| (place, used));
        let placed = (0..days.len()).filter(|&place| days[place] < self.days);
        let mut by_stock: Vec<(usize, Vec<(usize, f64)>)> = Vec::new();
        for (place, &(stock, amount)) in placed.flat_map(uses) {
            let use_of = (days[place], amount);
            match by_stock.iter_mut().find(|(known, _)| *known == stock) {
                Some((_, uses)) => uses.push(use_of),
                None => by_stock.push((stock, vec![use_of])),
            }
        }
        by_stock.iter().find_map(|(stock, uses)| Some((*stock, room.overdrawn(*stock, uses)?)))
    }

    /// The visits of a choice, the fixed ones among them; `None` where there is no keeper with room for one. Keepers are taken
    /// as `preferred` by day, where they can.
    pub(crate) fn visits(&self, chosen: &Chosen, room: &Room, preferred: &[(usize, usize)]) -> Option<Vec<Placed>> {
        let mut visits = self.fixed.clone();
        for day in 0..self.days {
            let added = self.added(&chosen.days, day);
            if added.is_empty() {
                continue;
            }
            if let Some(joined) = visits.iter_mut().find(|visit| visit.day == day) {
                joined.jobs.extend(added);
                joined.jobs.sort_unstable();
                joined.minutes = visit_minutes(self.machine, &joined.jobs);
                continue;
            }
            let minutes = visit_minutes(self.machine, &added);
            let preferred = preferred.iter().find(|(told, _)| *told == day).map(|(_, keeper)| *keeper);
            let keeper = room.keeper_for(day, minutes, skills_of(self.machine, &added), preferred)?;
            visits.push(Placed { machine: 0, day, keeper, jobs: added, minutes });
        }
        visits.sort_by_key(|visit| visit.day);
        Some(visits)
    }
}

/// What a choice breaks, and how to get out of it.
enum Breach {
    None,
    /// Nothing can be changed about it.
    Dead,
    /// Every choice that does not break it has one of these.
    Either([WayOut; 2]),
}
