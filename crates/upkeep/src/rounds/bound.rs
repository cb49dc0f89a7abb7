//! What no plan can cost less than: prices on keepers' minutes.
//!
//! Let the sum of all visits' minutes on a day be no more than the sum of the keepers' minutes, and that of jobs that need a
//! skill no more than the minutes of those who hold it. Every plan keeps to that. Take the two out and charge for the minutes
//! instead: machines fall apart, each is solved exactly, and whatever the prices, the sum less what all minutes are worth at
//! them is a bound (Lagrangian relaxation; Geoffrion 1974, Mathematical Programming Study 2, 82–114). Better prices are sought
//! along the averaged excess of minutes, by steps towards a level a little above the best bound so far, which is raised when
//! the steps reach it and lowered when they do not (subgradient with level control; Goffin & Kiwiel 1999, Mathematical
//! Programming 85, 207–211).

use super::group::{Prices, Work};
use super::problem::Skills;
use super::stage::Stage;

/// How much of the direction before is kept in the next.
const KEPT: f64 = 0.5;

/// After how many steps without a better bound the level is lowered.
const PATIENCE: usize = 6;

/// How many branches a machine's bonds are looked into for the last, tightened bound.
const BRANCHES: usize = 200;

/// Prices and the bound that they prove.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Bound {
    pub(crate) prices: Prices,
    /// Money.
    pub(crate) value: f64,
}

/// The best bound found in some rounds, each machine's bonds taken in at last; it never asks for more than some threads.
pub(crate) fn bound(stage: &Stage<'_>, rounds: usize, threads: usize, stop: &dyn Fn() -> bool) -> Bound {
    let rows = Rows::of(stage);
    let mut best = Bound { prices: rows.prices(&vec![0.0; rows.room.len()]), value: f64::NEG_INFINITY };
    let mut values = vec![0.0; rows.room.len()];
    let mut best_values = values.clone();
    let mut direction = vec![0.0; values.len()];
    let mut lift = f64::NAN;
    let mut idle = 0;
    for _ in 0..rounds {
        let (value, excess) = rows.solve(stage, &values, threads);
        if lift.is_nan() {
            lift = 0.05 * value.abs() + 1e-3;
        }
        if best.value < value {
            if best.value + lift / 2.0 <= value {
                lift *= 1.5;
            }
            idle = if best.value + lift / 20.0 < value { 0 } else { idle + 1 };
            best = Bound { prices: rows.prices(&values), value };
            best_values.clone_from(&values);
        } else {
            idle += 1;
        }
        if PATIENCE <= idle {
            // From the best prices in their own direction again, by shorter steps.
            (lift, idle) = (lift / 2.0, 0);
            values.clone_from(&best_values);
            direction.fill(0.0);
        }
        direction.iter_mut().zip(&excess).for_each(|(kept, new)| *kept = KEPT * *kept + (1.0 - KEPT) * new);
        let counts = |(price, along): (&f64, &f64)| 0.0 < *price || 0.0 < *along;
        let norm: f64 = values.iter().zip(&direction).filter(|pair| counts(*pair)).map(|(_, along)| along * along).sum();
        if norm < 1e-9 || lift < 1e-6 * best.value.abs() || stop() {
            break;
        }
        let step = (best.value + lift - value) / norm;
        values.iter_mut().zip(&direction).for_each(|(price, along)| *price = (*price + step * along).max(0.0));
    }
    let tightened = rows.tightened(stage, &best_values, threads);
    Bound { value: best.value.max(tightened), ..best }
}

/// What is priced: minutes of all keepers on each day, then those of the holders of each scarce skill.
struct Rows {
    days: usize,
    skills: Vec<Skills>,
    /// How many minutes there are.
    room: Vec<f64>,
}

impl Rows {
    fn of(stage: &Stage<'_>) -> Rows {
        let problem = stage.problem;
        let needed = problem.machines.iter().flat_map(|machine| &machine.jobs).fold(0, |all, job| all | job.skills.0);
        let held_by_all = problem.keepers.iter().fold(u32::MAX, |all, keeper| all & keeper.skills.0);
        let scarce = needed & !held_by_all;
        let skills: Vec<Skills> = (0..32).filter(|bit| scarce >> bit & 1 == 1).map(|bit| Skills(1 << bit)).collect();
        let groups = std::iter::once(Skills(0)).chain(skills.iter().copied());
        let room = groups.flat_map(|skills| stage.room.minutes_by_day(skills, problem.days)).collect();
        Rows { days: problem.days, skills, room }
    }

    fn prices(&self, values: &[f64]) -> Prices {
        let of_skill = |(place, &skill): (usize, &Skills)| {
            let from = (place + 1) * self.days;
            (skill, values[from..from + self.days].to_vec())
        };
        Prices { minute: values[..self.days].to_vec(), skilled: self.skills.iter().enumerate().map(of_skill).collect() }
    }

    /// The bound at some prices, and by how much the minutes asked for exceed those that there are.
    fn solve(&self, stage: &Stage<'_>, values: &[f64], threads: usize) -> (f64, Vec<f64>) {
        let prices = self.prices(values);
        let solved = in_threads(stage.works.len(), threads, |machine| {
            let work = &stage.works[machine];
            // OK because any free job may be left: `best` of relaxed costs always finds something.
            let chosen = work.relaxed(&work.costs(&prices));
            (chosen.as_ref().map_or(0.0, |chosen| chosen.bound), chosen.map(|chosen| self.asked(work, &chosen.asked)))
        });
        let mut value = -self.worth(values);
        let mut excess: Vec<f64> = self.room.iter().map(|minutes| -minutes).collect();
        for (machine, (bound, asked)) in solved.into_iter().enumerate() {
            value += bound + stage.fixed_cost(machine);
            for (row, minutes) in asked.into_iter().flatten() {
                excess[row] += minutes;
            }
        }
        (value, excess)
    }

    /// The minutes asked for in each row.
    fn asked(&self, work: &Work<'_>, asked: &[(usize, Vec<usize>)]) -> Vec<(usize, f64)> {
        let mut rows = Vec::new();
        for (day, jobs) in asked {
            rows.push((*day, work.extra_minutes(jobs, *day)));
            for (place, &skill) in self.skills.iter().enumerate() {
                let needing = jobs.iter().map(|&job| &work.machine.jobs[job]).filter(|job| job.skills.hold(skill));
                rows.push(((place + 1) * self.days + day, needing.map(|job| job.minutes).sum()));
            }
        }
        rows
    }

    /// What all minutes are worth at some prices.
    fn worth(&self, values: &[f64]) -> f64 {
        values.iter().zip(&self.room).map(|(price, minutes)| price * minutes).sum()
    }

    /// The bound at some prices if every machine also keeps to its own bonds, and no visit is longer than a keeper's day.
    fn tightened(&self, stage: &Stage<'_>, values: &[f64], threads: usize) -> f64 {
        let prices = self.prices(values);
        let bounds = in_threads(stage.works.len(), threads, |machine| {
            let work = &stage.works[machine];
            let costs = work.costs(&prices);
            let bonded = work.best(&costs, &stage.room, BRANCHES).map(|chosen| chosen.bound);
            bonded.or_else(|| work.relaxed(&costs).map(|relaxed| relaxed.bound)).unwrap_or(0.0)
        });
        let fixed: f64 = (0..stage.works.len()).map(|machine| stage.fixed_cost(machine)).sum();
        bounds.into_iter().sum::<f64>() + fixed - self.worth(values)
    }
}

/// What `of` gives for every place below `count`, in order, worked out in some threads.
fn in_threads<T: Send>(count: usize, threads: usize, of: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let share = count.div_ceil(threads.max(1)).max(1);
    if count <= share || count < 16 {
        return (0..count).map(of).collect();
    }
    std::thread::scope(|scope| {
        let of = &of;
        let part = |from: usize| scope.spawn(move || (from..count.min(from + share)).map(of).collect::<Vec<T>>());
        let parts: Vec<_> = (0..count).step_by(share).map(part).collect();
        // OK because `of` does not panic; where it did, so should this.
        parts.into_iter().flat_map(|part| part.join().expect("a thread that worked out its share")).collect()
    })
}
