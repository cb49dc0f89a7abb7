//! A problem as the planner works on it: what is fixed, what may go where, and what room that leaves.

use super::cost::{skills_of, visit_cost, visit_minutes};
use super::group::{Chosen, Prices, Work};
use super::problem::{Placed, Problem, ToldVisit};
use super::room::{Room, TOLERANCE};

/// Up to how many told visits of one machine every choice of those that are kept is tried.
const TOLD_CHOSEN: usize = 3;

/// A problem with some visits fixed.
#[derive(Clone, Debug)]
pub(crate) struct Stage<'a> {
    pub(crate) problem: &'a Problem,
    /// The work of each machine with the fixed visits alone.
    pub(crate) works: Vec<Work<'a>>,
    /// The days on which each machine's jobs may be done.
    possible: &'a [Vec<u64>],
    /// The told visits of each machine that may be moved.
    told: Vec<Vec<&'a ToldVisit>>,
    /// What the fixed visits leave.
    pub(crate) room: Room,
}

impl<'a> Stage<'a> {
    /// A problem of which each machine's jobs may be done on `possible` days, and on those of `fixed` visits.
    pub(crate) fn new(problem: &'a Problem, possible: &'a [Vec<u64>], fixed: &[Vec<Placed>]) -> Stage<'a> {
        let mut room = Room::whole(problem);
        for visit in fixed.iter().flatten() {
            room.take(&problem.machines[visit.machine], visit);
        }
        let work = |machine: usize| {
            Work::new(&problem.machines[machine], problem.days, &possible[machine], fixed[machine].clone())
        };
        let works = (0..problem.machines.len()).map(work).collect();
        let mut told = vec![Vec::new(); problem.machines.len()];
        problem.told.iter().filter(|told| !told.is_locked).for_each(|visit| told[visit.machine].push(visit));
        Stage { problem, works, possible, told, room }
    }

    /// Whether people have been told of a visit to a machine that may be moved.
    pub(crate) fn is_told(&self, machine: usize) -> bool {
        !self.told[machine].is_empty()
    }

    /// What it is worth that some visits move told ones or call them off. Money.
    pub(crate) fn told_cost(&self, machine: usize, visits: &[Placed]) -> f64 {
        let stands = |told: &ToldVisit| visits.iter().any(|visit| visit.day == told.day && visit.keeper == told.keeper);
        let moved = self.told[machine].iter().filter(|told| !stands(told)).count();
        moved as f64 * self.problem.worth_moving
    }

    /// What the fixed visits of a machine's work cost. Money.
    pub(crate) fn fixed_cost(&self, machine: usize) -> f64 {
        let of = &self.problem.machines[machine];
        self.works[machine].fixed.iter().map(|visit| visit_cost(of, visit.day, &visit.jobs)).sum()
    }

    /// The cheapest visits of a machine by some prices that there is room for, told visits kept or not. Looks into no more than
    /// some branches.
    pub(crate) fn best_visits(
        &self,
        machine: usize,
        prices: &Prices,
        room: &mut Room,
        branches: usize,
    ) -> Option<Vec<Placed>> {
        let free = self.try_work(machine, &self.works[machine], prices, room, branches);
        let kept =
            self.kept(machine).into_iter().filter_map(|kept| self.try_kept(machine, &kept, prices, room, branches));
        let all = free.into_iter().chain(kept);
        all.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, visits)| visits)
    }

    /// The visits of one work, and what they cost by the prices.
    fn try_work(
        &self,
        machine: usize,
        work: &Work<'_>,
        prices: &Prices,
        room: &Room,
        branches: usize,
    ) -> Option<(f64, Vec<Placed>)> {
        let chosen: Chosen = work.best(&work.costs(prices), room, branches)?;
        let preferred: Vec<(usize, usize)> = self.told[machine].iter().map(|told| (told.day, told.keeper)).collect();
        let mut visits = work.visits(&chosen, room, &preferred)?;
        visits.iter_mut().for_each(|visit| visit.machine = machine);
        let fixed = work.fixed.iter().map(|visit| self.priced_cost(visit, prices)).sum::<f64>();
        Some((chosen.cost + fixed + self.told_cost(machine, &visits), visits))
    }

    /// What a fixed visit costs, its minutes priced as those of others are.
    fn priced_cost(&self, visit: &Placed, prices: &Prices) -> f64 {
        visit_cost(&self.problem.machines[visit.machine], visit.day, &visit.jobs)
            + visit.minutes * prices.minute[visit.day]
    }

    /// The same with some told visits as they were told.
    fn try_kept(
        &self,
        machine: usize,
        kept: &[Placed],
        prices: &Prices,
        room: &mut Room,
        branches: usize,
    ) -> Option<(f64, Vec<Placed>)> {
        let of = &self.problem.machines[machine];
        let fixed: Vec<Placed> = self.works[machine].fixed.iter().chain(kept).cloned().collect();
        if !self.can_be_kept(machine, kept, room) {
            return None;
        }
        let work = Work::new(of, self.problem.days, &self.possible[machine], fixed);
        kept.iter().for_each(|visit| room.take(of, visit));
        let tried = self.try_work(machine, &work, prices, room, branches);
        kept.iter().for_each(|visit| room.give_back(of, visit));
        tried
    }

    /// The told visits of a machine that may be kept together, every choice of them, or all of them where there are many.
    fn kept(&self, machine: usize) -> Vec<Vec<Placed>> {
        let told = &self.told[machine];
        let choices: Vec<u32> = match told.len() {
            0 => return Vec::new(),
            count if count <= TOLD_CHOSEN => (1..1 << count).collect(),
            _ => vec![u32::MAX],
        };
        let placed = |told: &ToldVisit| self.placed(told);
        let of_choice = |choice: u32| {
            let is_chosen = |place: usize| choice.checked_shr(place as u32).unwrap_or(1) & 1 == 1;
            told.iter().enumerate().filter(|(place, _)| is_chosen(*place)).map(|(_, told)| placed(told)).collect()
        };
        choices.into_iter().map(of_choice).collect()
    }

    /// The fixed visits of a machine and all that people have been told of, as they were told; `None` where they do not hold
    /// any more.
    pub(crate) fn as_told(&self, machine: usize, room: &Room) -> Option<Vec<Placed>> {
        let told: Vec<Placed> = self.told[machine].iter().map(|told| self.placed(told)).collect();
        let can_be = !told.is_empty() && self.can_be_kept(machine, &told, room);
        can_be.then(|| self.works[machine].fixed.iter().cloned().chain(told).collect())
    }

    /// A told visit with its jobs.
    fn placed(&self, told: &ToldVisit) -> Placed {
        placed(self.problem, told)
    }

    /// Whether told visits can be kept beside the fixed ones: no bond among their jobs is broken and there is room.
    fn can_be_kept(&self, machine: usize, kept: &[Placed], room: &Room) -> bool {
        let of = &self.problem.machines[machine];
        let fixed = &self.works[machine].fixed;
        let day_of =
            |job: usize| fixed.iter().chain(kept).find(|visit| visit.jobs.contains(&job)).map(|visit| visit.day);
        let in_order =
            |pair: &[usize; 2]| match (day_of(pair[0]), kept.iter().find(|visit| visit.jobs.contains(&pair[1]))) {
                (Some(first), Some(second)) => first <= second.day,
                // What goes before would have to be found a place too: leave that to planning afresh.
                (None, Some(_)) => false,
                _ => true,
            };
        let is_apart = |pair: &[usize; 2]| day_of(pair[0]).is_none() || day_of(pair[0]) != day_of(pair[1]);
        let fits = |visit: &Placed| {
            let others = fixed.iter().chain(kept).filter(|other| other.day == visit.day).count();
            let can = |job: &usize| self.possible[machine][*job] >> visit.day & 1 == 1;
            others == 1
                && !visit.jobs.is_empty()
                && visit.jobs.iter().all(can)
                && !visit.jobs.iter().any(|job| fixed.iter().any(|fixed| fixed.jobs.contains(job)))
                && visit.minutes <= of.window[visit.day] + TOLERANCE
                && room.keeper_fits(visit.keeper, visit.day, visit.minutes, skills_of(of, &visit.jobs))
        };
        let uses = |stock: usize| {
            let of_visit = |visit: &Placed| {
                let uses = visit.jobs.iter().flat_map(|&job| &of.jobs[job].uses).filter(|(used, _)| *used == stock);
                uses.map(|(_, amount)| (visit.day, *amount)).collect::<Vec<_>>()
            };
            kept.iter().flat_map(of_visit).collect::<Vec<_>>()
        };
        of.after.iter().all(in_order)
            && of.apart.iter().all(is_apart)
            && kept.iter().all(fits)
            && (0..self.problem.stocks.len()).all(|stock| room.overdrawn(stock, &uses(stock)).is_none())
    }
}

/// A told visit as part of a plan.
pub(crate) fn placed(problem: &Problem, told: &ToldVisit) -> Placed {
    let mut jobs = told.jobs.clone();
    jobs.sort_unstable();
    let minutes = visit_minutes(&problem.machines[told.machine], &jobs);
    Placed { machine: told.machine, day: told.day, keeper: told.keeper, jobs, minutes }
}
