//! What no plan can cost less than: prices on keepers' minutes.
//!
//! Let the sum of all visits' minutes on a day be no more than the sum of the keepers' minutes, and that of jobs that need a
//! skill no more than the minutes of those who hold it. Every plan keeps to that. Take the two out and charge for the minutes
//! instead: machines fall apart, each is solved exactly, and whatever the prices, the sum less what all minutes are worth at
//! them is a bound (Lagrangian relaxation; Geoffrion 1974, Mathematical Programming Study 2, 82–114). Better prices are sought
//! from the best so far along an average of the excess of minutes met on the way (the volume algorithm; Barahona & Anbil 2000,
//! Mathematical Programming 87, 385–399).

use super::group::{Prices, Work};
use super::problem::Skills;
use super::stage::Stage;

/// The share of the newest excess in the direction of a step.
const NEW: f64 = 0.15;

/// How far above the best bound the level lies, as a share of it.
const LEVEL: f64 = 0.05;

/// After how many steps without a better bound the steps get shorter.
const PATIENCE: usize = 4;

/// The reach below which no step is taken any more.
const SHORTEST: f64 = 1e-4;

/// One in so many rounds takes the bonds among a machine's jobs in.
const BONDED: usize = 3;

/// How many branches a machine's bonds are then looked into.
const BRANCHES: usize = 60;

/// One in so many rounds, the last ones, proves more of the bonds.
const PROVING: usize = 30;

/// How many branches a machine's bonds are looked into in those.
const PROVING_BRANCHES: usize = 1_000;

/// Prices and the bound that they prove.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Bound {
    pub(crate) prices: Prices,
    /// Money.
    pub(crate) value: f64,
}

/// The best bound found in some rounds, with some threads. The first rounds leave the bonds among a machine's jobs out, which
/// is quick; the next take them in, with long steps anew, and the last prove more of them.
pub(crate) fn bound(stage: &Stage<'_>, rounds: usize, threads: usize, stop: &dyn Fn() -> bool) -> Bound {
    let rows = Rows::of(stage);
    let mut climb = Climb::new(rows.room.len());
    let n_bonded = rounds.div_ceil(BONDED);
    let n_proving = rounds.div_ceil(PROVING).min(n_bonded);
    climb.run(rounds - n_bonded, stop, |values| rows.solve(stage, values, threads, 0));
    (climb.value, climb.reach) = (f64::NEG_INFINITY, 1.0);
    climb.run((n_bonded - n_proving).max(1), stop, |values| rows.solve(stage, values, threads, BRANCHES));
    climb.reach = climb.reach.max(SHORTEST);
    climb.run(n_proving, stop, |values| rows.solve(stage, values, threads, PROVING_BRANCHES));
    Bound { prices: rows.prices(&climb.values), value: climb.value }
}

/// A climb towards the best prices, each step from the best so far.
struct Climb {
    /// The best prices.
    values: Vec<f64>,
    /// Their bound.
    value: f64,
    /// How far a step goes, as a share of the way to the level.
    reach: f64,
}

impl Climb {
    fn new(rows: usize) -> Climb {
        Climb { values: vec![0.0; rows], value: f64::NEG_INFINITY, reach: 1.0 }
    }

    /// Takes some steps. `solve` gives the bound at some prices and the excess of minutes.
    fn run(&mut self, steps: usize, stop: &dyn Fn() -> bool, solve: impl Fn(&[f64]) -> (f64, Vec<f64>)) {
        let mut tried = self.values.clone();
        let mut direction: Vec<f64> = Vec::new();
        let mut idle = 0;
        for step in 0..steps {
            if self.value.is_finite() && (stop() || self.reach < SHORTEST) {
                break;
            }
            let (value, excess) = solve(&tried);
            if direction.is_empty() {
                direction.clone_from(&excess);
            }
            if self.value < value {
                let ahead: f64 = direction.iter().zip(&excess).map(|(before, now)| before * now).sum();
                if 0 < step && 0.0 < ahead {
                    self.reach *= 1.2;
                }
                (self.value, idle) = (value, 0);
                self.values.clone_from(&tried);
            } else {
                idle += 1;
                if PATIENCE <= idle {
                    (self.reach, idle) = (self.reach / 1.5, 0);
                }
            }
            direction.iter_mut().zip(&excess).for_each(|(kept, new)| *kept += NEW * (new - *kept));
            let counts = |(price, along): (&f64, &f64)| 0.0 < *price || 0.0 < *along;
            let pairs = || self.values.iter().zip(&direction);
            let norm: f64 = pairs().filter(|pair| counts(*pair)).map(|(_, along)| along * along).sum();
            if norm < 1e-9 {
                break;
            }
            let length = self.reach * LEVEL * self.value.abs().max(1e-3) / norm;
            tried = pairs().map(|(price, along)| (price + length * along).max(0.0)).collect();
        }
    }
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

    /// The bound at some prices, and by how much the minutes asked for exceed those that there are. Bonds among a machine's
    /// jobs, windows, and that no visit is longer than a keeper's day are taken in where they may be looked into.
    fn solve(&self, stage: &Stage<'_>, values: &[f64], threads: usize, branches: usize) -> (f64, Vec<f64>) {
        let prices = self.prices(values);
        let solved = in_threads(stage.works.len(), threads, |machine| {
            let work = &stage.works[machine];
            let costs = work.costs(&prices);
            let bonded = if 0 < branches { work.best(&costs, &stage.room, branches) } else { None };
            let (bound, asked) = match bonded {
                Some(chosen) => (chosen.bound, work.asked(&chosen)),
                // Where no choice keeps to all bonds, any without them is still a bound.
                None => work.relaxed(&costs).map_or((0.0, Vec::new()), |relaxed| (relaxed.bound, relaxed.asked)),
            };
            (bound + stage.fixed_cost(machine), self.asked(work, &asked))
        });
        let mut value = -self.worth(values);
        let mut excess: Vec<f64> = self.room.iter().map(|minutes| -minutes).collect();
        for (bound, asked) in solved {
            value += bound;
            asked.into_iter().for_each(|(row, minutes)| excess[row] += minutes);
        }
        (value, excess)
    }

    /// The minutes asked for in each row.
    fn asked(&self, work: &Work<'_>, asked: &[(usize, Vec<usize>)]) -> Vec<(usize, f64)> {
        let mut rows = Vec::new();
        for (day, jobs) in asked {
            rows.push((*day, work.extra_work_minutes(jobs, *day)));
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
