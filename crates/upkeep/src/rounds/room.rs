//! What keepers and stores still have room for.

use super::problem::{MachineWork, Placed, Problem, Skills};

/// Minutes and amounts that differ by less are the same.
pub(crate) const TOLERANCE: f64 = 1e-6;

/// Minutes of keepers and supplies that are not taken yet.
#[derive(Clone, Debug)]
pub(crate) struct Room {
    skills: Vec<Skills>,
    /// Of each keeper on each day.
    minutes: Vec<Vec<f64>>,
    /// Of each stock by each day, cumulative.
    stocks: Vec<Vec<f64>>,
}

impl Room {
    /// The room before anything is planned.
    pub(crate) fn whole(problem: &Problem) -> Room {
        Room {
            skills: problem.keepers.iter().map(|keeper| keeper.skills).collect(),
            minutes: problem.keepers.iter().map(|keeper| keeper.minutes.clone()).collect(),
            stocks: problem.stocks.iter().map(|stock| stock.by_day.clone()).collect(),
        }
    }

    /// Room for anything, on every one of some days, with as many stocks and keepers.
    pub(crate) fn boundless(days: usize, stocks: usize, keepers: usize) -> Room {
        Room {
            skills: vec![Skills(u32::MAX); keepers],
            minutes: vec![vec![f64::INFINITY; days]; keepers],
            stocks: vec![vec![f64::INFINITY; days]; stocks],
        }
    }

    /// Takes a visit's minutes and supplies.
    pub(crate) fn take(&mut self, machine: &MachineWork, visit: &Placed) {
        self.change(machine, visit, -1.0);
    }

    /// Gives them back.
    pub(crate) fn give_back(&mut self, machine: &MachineWork, visit: &Placed) {
        self.change(machine, visit, 1.0);
    }

    /// Gives a visit's minutes back to its keeper and takes another's.
    pub(crate) fn hand_over(&mut self, visit: &Placed, to: usize) {
        self.minutes[visit.keeper][visit.day] += visit.minutes;
        self.minutes[to][visit.day] -= visit.minutes;
    }

    fn change(&mut self, machine: &MachineWork, visit: &Placed, sign: f64) {
        self.minutes[visit.keeper][visit.day] += sign * visit.minutes;
        for &(stock, amount) in visit.jobs.iter().flat_map(|&job| &machine.jobs[job].uses) {
            self.stocks[stock][visit.day..].iter_mut().for_each(|left| *left += sign * amount);
        }
    }

    /// Whether a keeper has the minutes on a day, and the skills.
    pub(crate) fn keeper_fits(&self, keeper: usize, day: usize, minutes: f64, skills: Skills) -> bool {
        self.skills[keeper].hold(skills) && minutes <= self.minutes[keeper][day] + TOLERANCE
    }

    /// The minutes that each keeper has left on a day, with what they may do.
    pub(crate) fn left_on(&self, day: usize) -> Vec<(f64, Skills)> {
        self.minutes.iter().zip(&self.skills).map(|(minutes, skills)| (minutes[day], *skills)).collect()
    }

    /// The most minutes that one keeper who holds some skills has left on each day.
    pub(crate) fn longest(&self, skills: Skills, days: usize) -> Vec<f64> {
        let holders = || self.skills.iter().zip(&self.minutes).filter(|(held, _)| held.hold(skills));
        (0..days).map(|day| holders().map(|(_, minutes)| minutes[day]).fold(f64::NEG_INFINITY, f64::max)).collect()
    }

    /// Whether any keeper has the minutes on a day, and the skills.
    pub(crate) fn fits(&self, day: usize, minutes: f64, skills: Skills) -> bool {
        (0..self.skills.len()).any(|keeper| self.keeper_fits(keeper, day, minutes, skills))
    }

    /// Who of those that fit should do it: the preferred one, else who has the fewest skills, and then the fewest minutes left.
    pub(crate) fn keeper_for(
        &self,
        day: usize,
        minutes: f64,
        skills: Skills,
        preferred: Option<usize>,
    ) -> Option<usize> {
        let fits = |keeper: &usize| self.keeper_fits(*keeper, day, minutes, skills);
        let order = |a: &usize, b: &usize| {
            let n_skills = |keeper: usize| self.skills[keeper].0.count_ones();
            n_skills(*a).cmp(&n_skills(*b)).then(self.minutes[*a][day].total_cmp(&self.minutes[*b][day]))
        };
        preferred.filter(fits).or_else(|| (0..self.skills.len()).filter(fits).min_by(order))
    }

    /// The first day by which some uses, each with its day, are more than a stock has.
    pub(crate) fn overdrawn(&self, stock: usize, uses: &[(usize, f64)]) -> Option<usize> {
        (0..self.stocks[stock].len()).find(|&by| {
            let used: f64 = uses.iter().filter(|(day, _)| *day <= by).map(|(_, amount)| amount).sum();
            0.0 < used && self.stocks[stock][by] + TOLERANCE < used
        })
    }

    /// Minutes on each day of those who hold some skills.
    pub(crate) fn minutes_by_day(&self, skills: Skills, days: usize) -> Vec<f64> {
        let holders: Vec<usize> = (0..self.skills.len()).filter(|&keeper| self.skills[keeper].hold(skills)).collect();
        (0..days).map(|day| holders.iter().map(|&keeper| self.minutes[keeper][day].max(0.0)).sum()).collect()
    }
}
