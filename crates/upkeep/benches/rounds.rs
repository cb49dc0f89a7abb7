//! How cheap rounds are planned and how long that takes: halls made up from a seed, planned, and compared with the bound and
//! with two simple rules.
//!
//! "Booked" is the share of the keepers' minutes that all machines together would take if each were visited at its own best.
//! Plain wall time. Invented records.

use std::io::Write;
use std::time::{Duration, Instant};

use upkeep::rounds::{
    Effort, Job, Keeper, MachineWork, Plan, Problem, Skills, check, group, monthly, on_due_days, plan,
};

const DAYS: usize = 14;

/// A hall to plan, and how long that may take.
struct Hall {
    machines: usize,
    keepers: usize,
    booked: f64,
    seed: u64,
    effort: Effort<'static>,
    limit: Duration,
}

fn main() -> std::io::Result<()> {
    let small = |booked, seed| Hall {
        machines: 40,
        keepers: 3,
        booked,
        seed,
        effort: Effort { rounds: 300, steps: 30_000, ..Effort::new() },
        limit: Duration::from_secs(10),
    };
    let large = Hall {
        machines: 1_000,
        keepers: 30,
        booked: 2.0 / 3.0,
        seed: 1,
        effort: Effort { steps: 200_000, ..Effort::new() },
        limit: Duration::from_secs(60),
    };
    let mut halls: Vec<Hall> =
        [2.0 / 3.0, 0.87].into_iter().flat_map(|booked| (1..=6).map(move |seed| small(booked, seed))).collect();
    halls.push(large);
    let only: Option<usize> = std::env::args().nth(1).and_then(|place| place.parse().ok());
    let mut out = std::io::stdout().lock();
    if only.is_none_or(|only| only == halls.len()) {
        writeln!(out, "{}", one_machine())?;
    }
    for hall in
        halls.iter().enumerate().filter(|(place, _)| only.is_none_or(|only| only == *place)).map(|(_, hall)| hall)
    {
        let problem = hall.problem();
        let started = Instant::now();
        let stop = || hall.limit < started.elapsed();
        let planned = plan(&problem, &Effort { stop: &stop, ..hall.effort });
        let took = started.elapsed().as_secs_f64();
        let stopped = if stop() { ", stopped by time" } else { "" };
        assert_eq!(check(&problem, &planned), [], "the plan keeps to the problem");
        let [due, month] = [on_due_days(&problem), monthly(&problem)];
        [&due, &month].iter().for_each(|simple| assert_eq!(check(&problem, simple), []));
        let above = |simple: &Plan| 100.0 * (simple.cost / planned.cost - 1.0);
        writeln!(
            out,
            "{} machines, {} jobs, {} keepers booked to {:.0} %, seed {}: {} visits, cost {:.2}, bound {:.2}, gap {:.2} %, \
             {took:.1} s{stopped}; each job on its day {:.2} (+{:.0} %), all in one visit {:.2} (+{:.0} %)",
            hall.machines,
            problem.machines.iter().map(|machine| machine.jobs.len()).sum::<usize>(),
            hall.keepers,
            100.0 * hall.booked,
            hall.seed,
            planned.visits.len(),
            planned.cost,
            planned.bound,
            100.0 * planned.gap(),
            due.cost,
            above(&due),
            month.cost,
            above(&month),
        )?;
    }
    Ok(())
}

/// How long the visits of one machine take to group: 40 jobs with accesses, windows, order and apart. Nine such machines.
fn one_machine() -> String {
    let mut random = Xorshift(1);
    let mut took: Vec<f64> = Vec::new();
    let mut proved = 0;
    for index in 0..9 {
        let machine = MachineWork {
            jobs: (0..40).map(|index| job(index, &mut random)).collect(),
            window: (0..DAYS).map(|day| if day % 3 == 0 { 90.0 } else { 240.0 }).collect(),
            after: vec![[0, 1], [1, 2], [3, 4], [5, 6]],
            apart: vec![[7, 8], [9, 10], [2, 11]],
            ..machine(index, &mut random)
        };
        let started = Instant::now();
        let grouped = group(&machine, DAYS).expect("jobs that may be left");
        took.push(1e3 * started.elapsed().as_secs_f64());
        proved += usize::from(grouped.cost - grouped.bound < 1e-6);
    }
    took.sort_by(f64::total_cmp);
    format!(
        "one machine, 40 jobs with order, apart, accesses and windows, nine of them, {proved} proved: median {:.1} ms, {:.1} to {:.1} ms",
        took[4], took[0], took[8]
    )
}

impl Hall {
    fn problem(&self) -> Problem {
        let mut random = Xorshift(self.seed);
        let machines: Vec<MachineWork> = (0..self.machines).map(|index| machine(index, &mut random)).collect();
        let minutes = |machine: &MachineWork| -> f64 {
            let visits = group(machine, DAYS).expect("jobs that may be left").visits;
            visits.iter().map(|(_, jobs)| minutes_of(machine, jobs)).sum()
        };
        let asked: f64 = machines.iter().map(minutes).sum();
        // Saturdays are half as long, Sundays free; the first day is a Thursday.
        let length = |day: usize| match (day + 3) % 7 {
            5 => 0.5,
            6 => 0.0,
            _ => 1.0,
        };
        let lengths: f64 = (0..DAYS).map(length).sum();
        let day = asked / self.booked / lengths / self.keepers as f64;
        // One keeper in three is not qualified for everything.
        let keeper = |index: usize| Keeper {
            name: format!("keeper {index}"),
            skills: Skills(if index % 3 == 2 { 0 } else { 1 }),
            minutes: (0..DAYS).map(|at| day * length(at)).collect(),
        };
        let keepers = (0..self.keepers).map(keeper).collect();
        Problem { days: DAYS, keepers, machines, ..Problem::default() }
    }
}

/// Minutes of a visit.
fn minutes_of(machine: &MachineWork, jobs: &[usize]) -> f64 {
    let opened = |access: &usize| jobs.iter().any(|&job| machine.jobs[job].access == Some(*access));
    let accesses: f64 = (0..machine.accesses.len()).filter(opened).map(|access| machine.accesses[access]).sum();
    machine.setup_minutes + accesses + jobs.iter().map(|&job| machine.jobs[job].minutes).sum::<f64>()
}

/// A machine with 8 to 35 open jobs, some of which were due some days ago and some of which will be in weeks. Queued work makes
/// its standing still dear on some days.
fn machine(index: usize, random: &mut Xorshift) -> MachineWork {
    let setup_minutes = random.between(8.0, 20.0);
    let busy = random.between(0.0, 0.08);
    let minute_cost: Vec<f64> = (0..=DAYS).map(|_| if random.next() < 0.6 { busy } else { 0.0 }).collect();
    let n_jobs = 8 + (random.next() * 28.0) as usize;
    MachineWork {
        name: format!("machine {index}"),
        setup_minutes,
        setup_cost: minute_cost.iter().map(|minute| setup_minutes * (0.5 + minute)).collect(),
        minute_cost,
        window: (0..DAYS).map(|_| if random.next() < 0.2 { 90.0 } else { 480.0 }).collect(),
        accesses: vec![random.between(3.0, 10.0), random.between(3.0, 10.0)],
        jobs: (0..n_jobs).map(|index| job(index, random)).collect(),
        after: vec![[0, 1]],
        apart: vec![[2, 3]],
        waits: Vec::new(),
    }
}

/// A job that wastes life in proportion while it is early, and whose risk grows faster and faster while it is late.
fn job(index: usize, random: &mut Xorshift) -> Job {
    let due = random.between(-4.0, 30.0);
    let waste_a_day = random.between(0.05, 0.6);
    let risk = random.between(0.2, 2.0);
    let cost = |day: usize| {
        let late = day as f64 - due;
        if late < 0.0 { -late * waste_a_day } else { risk * late.powf(1.5) }
    };
    let access = random.next();
    Job {
        name: format!("job {index}"),
        minutes: random.between(2.0, 12.0),
        costs: (0..=DAYS).map(cost).collect(),
        is_due_within: due < DAYS as f64,
        is_urgent: false,
        skills: Skills(u32::from(random.next() < 0.1)),
        access: if access < 0.3 { Some((access / 0.15) as usize) } else { None },
        uses: Vec::new(),
    }
}

/// Numbers that look random and are the same each time.
struct Xorshift(u64);

impl Xorshift {
    /// A number from 0 to 1.
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, from: f64, to: f64) -> f64 {
        from + (to - from) * self.next()
    }
}
