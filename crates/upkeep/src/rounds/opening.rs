//! Which days of a machine to open, when each day that is opened costs something and each job then takes its cheapest open day.
//!
//! This is the uncapacitated facility location problem, with a second level: jobs that share a way of getting at parts pay for
//! it once on each day on which it is used. Solved exactly by branch and bound. The bound raises a value for each job until
//! what the jobs would save by a day's opening pays for it (dual ascent: Erlenkotter 1978, Operations Research 26, 992–1009;
//! the second level is ours: on each day a shared access takes its own price off the savings of its jobs before the rest goes
//! towards the day). Any such values are feasible in the linear programme's dual, so their sum is a bound whatever the order
//! in which they were raised.

/// Below this two amounts of money are the same.
pub(crate) const EPSILON: f64 = 1e-9;

/// How many branches are looked into before the best so far is taken without proof.
const NODES: usize = 20_000;

/// Up to how many open days the ways to open an access are simply counted through.
const COUNTED_DAYS: u32 = 6;

/// Costs of a machine's jobs in every column: the days, and last the visit after them.
#[derive(Clone, Debug, Default)]
pub(crate) struct Costs {
    /// How many columns there are, at most 64.
    pub(crate) columns: usize,
    /// What each column costs once it is used, not negative.
    pub(crate) opening: Vec<f64>,
    /// What each job costs in each column, row by row; infinite where it must not be done.
    pub(crate) jobs: Vec<f64>,
    /// What each job costs if it is left without any visit; infinite where that is not possible.
    pub(crate) leaving: Vec<f64>,
    /// The jobs of each access.
    pub(crate) sharing: Vec<Vec<usize>>,
    /// What each access costs in each column, once, row by row.
    pub(crate) access_opening: Vec<f64>,
}

/// Where each job goes.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Choice {
    /// The column of each job; `None` where it is left without a visit.
    pub(crate) columns: Vec<Option<usize>>,
    /// What it costs.
    pub(crate) cost: f64,
    /// What nothing can cost less than; the cost itself where it is proved to be the best.
    pub(crate) bound: f64,
}

impl Costs {
    /// How many jobs there are.
    pub(crate) fn n_jobs(&self) -> usize {
        self.leaving.len()
    }

    /// The columns in which some job may be done.
    fn useful_columns(&self) -> u64 {
        let is_useful = |column: &usize| (0..self.n_jobs()).any(|job| self.row(job)[*column].is_finite());
        (0..self.columns).filter(is_useful).fold(0, |all, column| all | 1 << column)
    }

    fn row(&self, job: usize) -> &[f64] {
        &self.jobs[job * self.columns..(job + 1) * self.columns]
    }

    fn access_row(&self, access: usize) -> &[f64] {
        &self.access_opening[access * self.columns..(access + 1) * self.columns]
    }

    /// The access of each job.
    fn access_of_jobs(&self) -> Vec<Option<usize>> {
        let mut access_of = vec![None; self.n_jobs()];
        for (access, jobs) in self.sharing.iter().enumerate() {
            jobs.iter().for_each(|&job| access_of[job] = Some(access));
        }
        access_of
    }

    /// The cheapest choice, or `None` where some job can go nowhere.
    pub(crate) fn best(&self) -> Option<Choice> {
        self.best_below(f64::INFINITY)
    }

    /// The cheapest choice, or `None` where some job can go nowhere or where nothing costs less than a limit.
    pub(crate) fn best_below(&self, limit: f64) -> Option<Choice> {
        if let Some(neighbours) = self.best_by_neighbours() {
            return Some(neighbours).filter(|choice| choice.cost < limit);
        }
        let access_of = self.access_of_jobs();
        let mut search = Search {
            costs: self,
            plain: (0..self.n_jobs()).filter(|&job| access_of[job].is_none()).collect(),
            access_of,
            best: limit,
            open: 0,
            nodes: 0,
            skipped: f64::INFINITY,
        };
        search.visit(0, self.useful_columns());
        if limit <= search.best && search.skipped == f64::INFINITY {
            return None;
        }
        let (cost, columns) = self.assign(search.open)?;
        let columns = columns.into_iter().map(|column| (column != NOWHERE).then_some(column)).collect();
        Some(Choice { columns, cost, bound: cost.min(search.skipped) })
    }

    /// The cheapest choice where the costs of each job fall to one lowest and rise again, and no access is shared: exact, in
    /// time proportional to columns² × jobs. `None` where that does not hold, or some job can go nowhere.
    ///
    /// # Theorem
    /// With some columns open, a job's cheapest open one is the last before its lowest or the first from there on, since costs
    /// fall towards the lowest and rise from it. So what a job costs depends only on the two neighbouring open columns between
    /// which its lowest lies, and the cost of all open columns is a sum over neighbouring pairs: a shortest path. The idea to
    /// group only neighbours: Wildeman, Dekker & Smit (1997), European Journal of Operational Research 99, 530–551.
    pub(crate) fn best_by_neighbours(&self) -> Option<Choice> {
        if !self.sharing.is_empty() {
            return None;
        }
        let lowest: Vec<usize> =
            (0..self.n_jobs()).map(|job| lowest_if_unimodal(self.row(job))).collect::<Option<_>>()?;
        // Node 0 stands for "none before", node c + 1 for column c, the last for "none after".
        let n_nodes = self.columns + 2;
        let mut reached = vec![(f64::INFINITY, 0); n_nodes];
        reached[0].0 = 0.0;
        for to in 1..n_nodes {
            let opening = self.opening.get(to - 1).copied().unwrap_or(0.0);
            for from in 0..to {
                let cost = reached[from].0 + opening + self.between(&lowest, from, to);
                if cost < reached[to].0 {
                    reached[to] = (cost, from);
                }
            }
        }
        let mut open = 0;
        let mut node = reached[n_nodes - 1].1;
        while node != 0 {
            open |= 1 << (node - 1);
            node = reached[node].1;
        }
        let (cost, columns) = self.assign(open)?;
        let columns = columns.into_iter().map(|column| (column != NOWHERE).then_some(column)).collect();
        Some(Choice { columns, cost, bound: cost })
    }

    /// What the jobs cost whose lowest lies between two neighbouring open columns.
    fn between(&self, lowest: &[usize], from: usize, to: usize) -> f64 {
        let within = (0..self.n_jobs()).filter(|&job| from <= lowest[job] + 1 && lowest[job] + 1 < to);
        let cost = |job: usize| {
            let row = self.row(job);
            let before = if from == 0 { f64::INFINITY } else { row[from - 1] };
            let after = row.get(to - 1).copied().unwrap_or(f64::INFINITY);
            before.min(after).min(self.leaving[job])
        };
        within.map(cost).sum()
    }

    /// What it costs to open some columns, and where each job then goes; `None` where some job can go nowhere.
    fn assign(&self, open: u64) -> Option<(f64, Vec<usize>)> {
        let mut chosen = vec![NOWHERE; self.n_jobs()];
        let mut cost = 0.0;
        let mut shares = vec![false; self.n_jobs()];
        for (access, jobs) in self.sharing.iter().enumerate() {
            jobs.iter().for_each(|&job| shares[job] = true);
            cost += self.assign_sharing(access, open, &mut chosen)?;
        }
        for job in (0..self.n_jobs()).filter(|&job| !shares[job]) {
            let (amount, column) = self.cheapest(job, open);
            cost += amount;
            chosen[job] = column;
        }
        let used = chosen.iter().filter(|&&column| column != NOWHERE).fold(0, |used, &column| used | 1_u64 << column);
        cost += ones(used).map(|column| self.opening[column]).sum::<f64>();
        cost.is_finite().then_some((cost, chosen))
    }

    /// A job's cheapest of some columns, or leaving it.
    fn cheapest(&self, job: usize, open: u64) -> (f64, usize) {
        let row = self.row(job);
        let mut best = (self.leaving[job], NOWHERE);
        for column in ones(open) {
            if row[column] < best.0 {
                best = (row[column], column);
            }
        }
        best
    }

    /// The same for all jobs that share an access.
    fn assign_sharing(&self, access: usize, open: u64, chosen: &mut [usize]) -> Option<f64> {
        let (cost, opened) = self.best_sharing(access, open)?;
        self.sharing[access].iter().for_each(|&job| chosen[job] = self.cheapest(job, opened).1);
        Some(cost)
    }

    /// On which of some open columns an access is best opened, and what its jobs then cost.
    fn best_sharing(&self, access: usize, open: u64) -> Option<(f64, u64)> {
        let jobs = &self.sharing[access];
        let is_useful = |column: &usize| jobs.iter().any(|&job| self.row(job)[*column] < self.leaving[job]);
        let useful = ones(open).filter(is_useful).fold(0_u64, |all, column| all | 1 << column);
        if COUNTED_DAYS < useful.count_ones() {
            return self.best_sharing_by_branching(access, useful);
        }
        let mut best = (f64::INFINITY, 0);
        let mut subset = useful;
        loop {
            let opening: f64 = ones(subset).map(|column| self.access_row(access)[column]).sum();
            if opening < best.0 {
                let cost = opening + jobs.iter().map(|&job| self.cheapest(job, subset).0).sum::<f64>();
                if cost < best.0 {
                    best = (cost, subset);
                }
            }
            if subset == 0 {
                break;
            }
            subset = (subset - 1) & useful;
        }
        best.0.is_finite().then_some(best)
    }

    /// The same where there are many open days: one level of the same problem.
    fn best_sharing_by_branching(&self, access: usize, useful: u64) -> Option<(f64, u64)> {
        let jobs = &self.sharing[access];
        let only_useful = |(column, &cost): (usize, &f64)| if useful >> column & 1 == 1 { cost } else { f64::INFINITY };
        let level = Costs {
            columns: self.columns,
            opening: self.access_row(access).to_vec(),
            jobs: jobs.iter().flat_map(|&job| self.row(job).iter().enumerate().map(only_useful)).collect(),
            leaving: jobs.iter().map(|&job| self.leaving[job]).collect(),
            sharing: Vec::new(),
            access_opening: Vec::new(),
        };
        let best = level.best()?;
        Some((best.cost, best.columns.into_iter().flatten().fold(0, |opened, column| opened | 1 << column)))
    }
}

/// Stands for "left" among columns.
const NOWHERE: usize = usize::MAX;

/// The places of the ones in a set of bits, ascending.
pub(crate) fn ones(mut bits: u64) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        (bits != 0).then(|| {
            let place = bits.trailing_zeros() as usize;
            bits &= bits - 1;
            place
        })
    })
}

/// The place of the lowest of some costs if they never fall after a rise.
fn lowest_if_unimodal(costs: &[f64]) -> Option<usize> {
    let mut lowest = 0;
    for (column, cost) in costs.iter().enumerate() {
        if *cost < costs[lowest] {
            lowest = column;
        }
    }
    let falls = costs[..=lowest].windows(2).all(|pair| pair[1] <= pair[0]);
    let rises = costs[lowest..].windows(2).all(|pair| pair[0] <= pair[1]);
    (falls && rises).then_some(lowest)
}

/// A branch and bound over which columns are open.
struct Search<'a> {
    costs: &'a Costs,
    access_of: Vec<Option<usize>>,
    /// The jobs that share no access.
    plain: Vec<usize>,
    best: f64,
    open: u64,
    nodes: usize,
    /// The lowest bound of the branches that were not looked into.
    skipped: f64,
}

impl Search<'_> {
    /// Looks into the branch in which some columns are open, some may be, and the others are not.
    fn visit(&mut self, open: u64, free: u64) {
        let ascent = Ascent::climb(self.costs, &self.access_of, open, free);
        if self.best - EPSILON <= ascent.bound {
            return;
        }
        self.nodes += 1;
        if NODES < self.nodes {
            self.skipped = self.skipped.min(ascent.bound);
            return;
        }
        let candidates = ones(free).filter(|&column| ascent.slack[column] <= EPSILON);
        let candidates = candidates.fold(0_u64, |all, column| all | 1 << column);
        let saving = |column: usize| ascent.saving(self.costs, column);
        self.drop_in_turn(open, candidates, saving);
        if free == 0 || self.best - EPSILON <= ascent.bound {
            return;
        }
        let among = if candidates == 0 { free } else { candidates };
        let by_saving = |a: &usize, b: &usize| saving(*a).total_cmp(&saving(*b)).then(b.cmp(a));
        // OK because `free` has at least one column, and so has a part of it that is not empty.
        let branch = 1_u64 << ones(among).max_by(by_saving).expect("a column");
        self.visit(open | branch, free & !branch);
        self.visit(open, free & !branch);
    }

    /// Tries the open columns with the candidates, without one after the other where that is cheaper, those first that save
    /// the least.
    fn drop_in_turn(&mut self, open: u64, candidates: u64, saving: impl Fn(usize) -> f64) {
        let mut set = open | candidates;
        let mut cost = self.cost(set);
        let mut in_turn: Vec<(f64, usize)> = ones(candidates).map(|column| (saving(column), column)).collect();
        in_turn.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (_, column) in in_turn {
            let without = self.cost(set & !(1 << column));
            if without <= cost {
                cost = without;
                set &= !(1 << column);
            }
        }
        if cost < self.best {
            self.best = cost;
            self.open = set;
        }
    }

    /// What it costs to open all of some columns.
    fn cost(&self, open: u64) -> f64 {
        let opening: f64 = ones(open).map(|column| self.costs.opening[column]).sum();
        let plain: f64 = self.plain.iter().map(|&job| self.costs.cheapest(job, open).0).sum();
        let sharing = |access: usize| self.costs.best_sharing(access, open).map_or(f64::INFINITY, |best| best.0);
        opening + plain + (0..self.costs.sharing.len()).map(sharing).sum::<f64>()
    }
}

/// Values of jobs raised until days pay for themselves.
struct Ascent {
    /// The value of each job.
    values: Vec<f64>,
    /// What of each column's opening is not yet paid for.
    slack: Vec<f64>,
    bound: f64,
}

impl Ascent {
    fn climb(costs: &Costs, access_of: &[Option<usize>], open: u64, free: u64) -> Ascent {
        let usable = open | free;
        let mut slack = costs.opening.clone();
        ones(open).for_each(|column| slack[column] = 0.0);
        let mut access_slack = costs.access_opening.clone();
        let lowest = |job: usize| {
            let row = costs.row(job);
            ones(usable).map(|column| row[column]).fold(costs.leaving[job], f64::min)
        };
        let mut values: Vec<f64> = (0..costs.n_jobs()).map(lowest).collect();
        let mut rising: Vec<usize> = (0..costs.n_jobs()).filter(|&job| values[job] < costs.leaving[job]).collect();
        if values.iter().all(|value| value.is_finite()) {
            while !rising.is_empty() {
                rising.retain(|&job| {
                    let of_access = access_of[job].map(|access| access * costs.columns);
                    let access_slack = of_access.map(|from| &mut access_slack[from..from + costs.columns]);
                    raise(costs.row(job), costs.leaving[job], usable, &mut values[job], &mut slack, access_slack)
                });
            }
        }
        let opened: f64 = ones(open).map(|column| costs.opening[column]).sum();
        let bound = opened + values.iter().sum::<f64>();
        Ascent { values, slack, bound }
    }

    /// What all jobs would save by one column, beside their values.
    fn saving(&self, costs: &Costs, column: usize) -> f64 {
        (0..costs.n_jobs()).map(|job| (self.values[job] - costs.row(job)[column]).max(0.0)).sum()
    }
}

/// Raises one job's value to its next cost, as far as the days that it would pay for allow. Whether it may rise further.
fn raise(
    row: &[f64],
    leaving: f64,
    usable: u64,
    value: &mut f64,
    slack: &mut [f64],
    mut access_slack: Option<&mut [f64]>,
) -> bool {
    let (mut next, mut room, mut paid) = (leaving, f64::INFINITY, 0_u64);
    for column in ones(usable) {
        if row[column] <= *value {
            paid |= 1 << column;
            room = room.min(slack[column] + access_slack.as_ref().map_or(0.0, |access| access[column]));
        } else {
            next = next.min(row[column]);
        }
    }
    let rise = room.min(next - *value);
    // An infinite rise means that no open day bounds the value: no column serves the job, and it can't be left.
    if rise <= 0.0 || rise.is_infinite() {
        return false;
    }
    for column in ones(paid) {
        let of_access = access_slack.as_mut().map_or(0.0, |access| {
            let taken = rise.min(access[column]);
            access[column] -= taken;
            taken
        });
        slack[column] = (slack[column] - (rise - of_access)).max(0.0);
    }
    *value += rise;
    rise < room && *value < leaving
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Costs of a few jobs, the last two of which share an access, out of whole amounts.
    fn some_costs() -> impl Strategy<Value = Costs> {
        (2..6_usize, 3..6_usize).prop_flat_map(|(columns, jobs)| {
            let amounts = |count| prop::collection::vec((0..30_u8).prop_map(f64::from), count);
            (amounts(columns), amounts(columns * jobs), amounts(jobs), amounts(columns)).prop_map(
                move |(opening, jobs_costs, leaving, access_opening)| Costs {
                    columns,
                    opening,
                    jobs: jobs_costs,
                    leaving,
                    sharing: vec![vec![jobs - 2, jobs - 1]],
                    access_opening,
                },
            )
        })
    }

    /// The cheapest of all ways to send jobs to columns, counted through.
    fn by_counting(costs: &Costs) -> f64 {
        let ways = (costs.columns + 1).pow(u32::try_from(costs.n_jobs()).unwrap());
        let cost = |way: usize| {
            let mut rest = way;
            let mut total = 0.0;
            let (mut used, mut accessed) = (0_u64, vec![0_u64; costs.sharing.len()]);
            let access_of = costs.access_of_jobs();
            for (job, access) in access_of.iter().enumerate() {
                let column = rest % (costs.columns + 1);
                rest /= costs.columns + 1;
                if column == costs.columns {
                    total += costs.leaving[job];
                    continue;
                }
                total += costs.row(job)[column];
                used |= 1 << column;
                if let Some(access) = *access {
                    accessed[access] |= 1 << column;
                }
            }
            total += ones(used).map(|column| costs.opening[column]).sum::<f64>();
            for (access, used) in accessed.iter().enumerate() {
                total += ones(*used).map(|column| costs.access_row(access)[column]).sum::<f64>();
            }
            total
        };
        (0..ways).map(cost).fold(f64::INFINITY, f64::min)
    }

    proptest! {
        #[test]
        fn the_choice_is_the_cheapest_of_all(costs in some_costs()) {
            let best = costs.best().unwrap();
            prop_assert!((best.cost - by_counting(&costs)).abs() < 1e-9, "{best:?}");
            prop_assert!((best.cost - best.bound).abs() < 1e-9);
        }

        #[test]
        fn the_way_over_neighbours_and_the_branches_agree(mut costs in some_costs(), lowest in 0..6_usize) {
            costs.sharing.clear();
            for job in 0..costs.n_jobs() {
                let row = &mut costs.jobs[job * costs.columns..(job + 1) * costs.columns];
                let lowest = (lowest + job) % row.len();
                row[..=lowest].sort_by(|a, b| b.total_cmp(a));
                row[lowest..].sort_by(f64::total_cmp);
            }
            let neighbours = costs.best_by_neighbours().unwrap();
            prop_assert!((neighbours.cost - by_counting(&costs)).abs() < 1e-9, "{neighbours:?}");
        }

        #[test]
        fn counting_the_ways_to_open_an_access_agrees_with_branching(costs in some_costs()) {
            let all = (1 << costs.columns) - 1;
            let counted = costs.best_sharing(0, all).unwrap();
            let branched = costs.best_sharing_by_branching(0, all).unwrap();
            prop_assert!((counted.0 - branched.0).abs() < 1e-9);
        }
    }
}
