//! How long it takes to say what is due in a hall of 1,000 machines with 26 weeks of records each, for several horizons.
//!
//! Plain wall time on one core, so that the figure can be read as what a keeper waits. Invented records.

use std::collections::BTreeMap;
use std::io::Write;
use std::sync::Arc;
use std::time::Instant;

use jiff::civil::{Date, date};
use jiff::tz::TimeZone;
use motion::Duty;
use upkeep::build::shipped;
use upkeep::{Build, Care, DayUse, EntryId, MachineState, Material, Materials, QueuedUse, Standing, Usage, When, due};

const N_MACHINES: i32 = 1000;
const N_DAYS: i32 = 182;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let builds = shipped().map(|(file, text)| Build::parse(file, text).map(Arc::new));
    let builds: Vec<Arc<Build>> = builds.into_iter().collect::<Result<_, _>>().map_err(|errors| errors.to_string())?;
    let hall: Vec<MachineState> =
        (0..N_MACHINES).zip(builds.iter().cycle()).map(|(index, build)| machine(index, build)).collect();
    let now = today().at(9, 0, 0, 0).to_zoned_datetime(TimeZone::UTC)?;
    let mut out = std::io::stdout().lock();
    for horizon_days in [14, 60, 731] {
        let started = Instant::now();
        let all = hall.iter().map(|state| due(state, Materials::built_in(), &now, horizon_days));
        let (mut n_tasks, mut n_due, mut n_likely) = (0, 0, 0);
        for due in all.flatten() {
            n_tasks += 1;
            n_due += usize::from(due.used.is_due());
            n_likely += usize::from(matches!(due.when, When::Likely(_)));
        }
        let took = started.elapsed();
        writeln!(
            out,
            "{horizon_days} days: {n_tasks} tasks, {n_due} due, {n_likely} likely within, {:.3} s, {:.0} µs a machine",
            took.as_secs_f64(),
            took.as_secs_f64() * 1e6 / f64::from(N_MACHINES)
        )?;
    }
    Ok(())
}

fn today() -> Date {
    date(2026, 11, 25)
}

/// A machine that has been in the shop for two to eight months, idle on some days, with three materials and a queue.
fn machine(index: i32, build: &Arc<Build>) -> MachineState {
    let mut random = Xorshift(u64::from(index.unsigned_abs()) + 1);
    let added = today().saturating_add(jiff::Span::new().days(-60 - index % 180));
    let mut days = Vec::new();
    let mut total = Usage::new();
    for ago in (1..=N_DAYS).rev() {
        let date = today().saturating_add(jiff::Span::new().days(-ago));
        if random.next() < 0.3 || date < added {
            continue;
        }
        let usage = usage(build, 12.0 * random.next(), ["PLA", "PETG", "ASA"][(3.0 * random.next()) as usize]);
        total.add(&usage);
        days.push(DayUse { date, usage });
    }
    let standings = standings(build, &total, &days, &mut random);
    MachineState {
        name: format!("machine {index}"),
        build: Arc::clone(build),
        added: added.at(8, 0, 0, 0).to_zoned_datetime(TimeZone::UTC).map(|at| at.timestamp()).unwrap_or_default(),
        total,
        standings,
        history_from: today().saturating_add(jiff::Span::new().days(-N_DAYS)),
        days,
        readings: Vec::new(),
        queue: vec![QueuedUse { on: None, usage: usage(build, 5.0, "PLA") }],
    }
}

/// Each task done on some morning of the last five weeks.
fn standings(build: &Build, total: &Usage, days: &[DayUse], random: &mut Xorshift) -> BTreeMap<Care, Standing> {
    let mut standings = BTreeMap::new();
    for task in &build.tasks {
        let date = today().saturating_add(jiff::Span::new().days(-((35.0 * random.next()) as i32)));
        let mut base = total.clone();
        days.iter().filter(|day| date <= day.date).for_each(|day| base.subtract(&day.usage));
        let at = date.at(7, 0, 0, 0).to_zoned_datetime(TimeZone::UTC).map(|at| at.timestamp()).unwrap_or_default();
        standings.insert(Care::Task(task.name.clone()), Standing { at, entry: EntryId(1), base });
    }
    standings
}

/// Hours of use in one material, at the build's expected ratios.
fn usage(build: &Build, hours: f64, material: &str) -> Usage {
    let mut duty = Duty::default();
    let amounts = duty.tools.entry(0).or_default();
    for &(quantity, per_hour) in &build.expected.per_hour {
        amounts[quantity] = per_hour * hours;
    }
    amounts[motion::Quantity::Time] = hours * 3600.0;
    Usage::from_duty(&duty, |_| Material::new(material))
}

/// Marsaglia (2003), "Xorshift RNGs", Journal of Statistical Software 8(14).
struct Xorshift(u64);

impl Xorshift {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }
}
