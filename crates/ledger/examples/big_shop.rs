//! Makes a hall of machines with three years of invented records, and times what a due list, lives, stores and calendars
//! need of it.
//!
//! ```text
//! cargo run --release -p ledger --example big_shop -- make hall.shop [machines [runs of each]]   # a minute or two for 1000
//! cargo run --release -p ledger --example big_shop -- copy postgres://… 10   # each machine ten times
//! cargo run --release -p ledger --example big_shop -- size postgres://…
//! cargo run --release -p ledger --example big_shop -- states hall.shop
//! cargo run --release -p ledger --example big_shop -- one hall.shop
//! cargo run --release -p ledger --example big_shop -- lives hall.shop
//! cargo run --release -p ledger --example big_shop -- stores hall.shop
//! cargo run --release -p ledger --example big_shop -- prove hall.shop
//! ```

// An example speaks to whoever runs it.
#![allow(clippy::print_stdout)]

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use std::time::Instant;

use jiff::civil::{Date, date};
use jiff::{SignedDuration, Timestamp};
use ledger::{Error, Ledger, NewEntry};
use motion::{Duty, Quantity, Unit};
use sqlx::{AnyConnection, AssertSqlSafe, Connection, Executor};
use upkeep::build::shipped;
use upkeep::entry::{Basis, Because, Run};
use upkeep::shop::Counted;
use upkeep::{Build, EntryId, Event, Material, Supplies, Usage};

/// The last day of the records.
const TODAY: Date = date(2026, 9, 30);

/// Days of records: three years.
const DAYS: i64 = 1096;

/// Tasks done per machine and week, so that 40 tasks come round every three months or so.
const TASKS_PER_WEEK: u64 = 3;

/// Days between two parts that are replaced on a machine, on the mean; every fifth has failed.
const DAYS_PER_PART: u64 = 40;

/// Days of history that a due list looks at: 26 weeks.
const WINDOW: i64 = 182;

#[tokio::main]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    sqlx::any::install_default_drivers();
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["make", at] => make(at, 1000, None).await,
        ["make", at, machines] => make(at, machines.parse()?, None).await,
        ["make", at, machines, runs] => make(at, machines.parse()?, Some(runs.parse()?)).await,
        ["copy", at, times] => copy(at, times.parse()?).await,
        ["size", at] => size(at).await,
        ["states", at] => states(at).await,
        ["one", at] => one(at).await,
        ["lives", at] => lives(at).await,
        ["stores", at] => stores(at).await,
        ["prove", at] => prove(at).await,
        ["trickle", at, seconds] => trickle(at, seconds.parse()?).await,
        ["sample", at, machines] => sample(at, machines.parse()?).await,
        _ => {
            Err("usage: big_shop make PLACE [machines [runs of each]] | copy ADDRESS TIMES | sample PLACE MACHINES | \
                  trickle PLACE SECONDS | size|states|one|lives|stores|prove PLACE"
                .into())
        }
    }
}

/// Machines that are written at once.
const WRITERS: u64 = 2;

async fn make(at: &str, machines: u64, runs: Option<u64>) -> Result<(), Box<dyn std::error::Error>> {
    let start = Instant::now();
    let ledger = Ledger::create(at, "invented hall", "Europe/Lisbon").await?;
    let first = midnight(-DAYS)?;
    let mut builds = Vec::new();
    for (file, text) in shipped() {
        let build = Build::parse(file, text)?;
        ledger.add_build(&build.name, text, first).await?;
        builds.push(build);
    }
    let builds = Arc::new(builds);
    for number in 0..machines {
        ledger.add_machine(&named(number), &build_of(&builds, number).name, first, first, "").await?;
    }
    let write = |ledger: Ledger, builds: Arc<Vec<Build>>, writer: u64| async move {
        let programs = programs(&mut Dice(1));
        let (mut booked, mut tasks) = (0, 0);
        for number in (writer..machines).step_by(WRITERS as usize) {
            let build = build_of(&builds, number);
            let mut entries = history(build, &programs, runs, &mut Dice(1000 + number)).map_err(|e| e.to_string())?;
            entries.extend(parts(build, &mut Dice(1_000_000 + number)).map_err(|e| e.to_string())?);
            booked += entries.iter().filter(|entry| matches!(entry.event, Event::Run(_))).count();
            tasks += entries.iter().filter(|entry| matches!(entry.event, Event::Done { .. })).count();
            ledger.import(&named(number), entries).await.map_err(|e| e.to_string())?;
        }
        Ok::<_, String>((booked, tasks))
    };
    let writers: Vec<_> =
        (0..WRITERS).map(|writer| tokio::spawn(write(ledger.clone(), builds.clone(), writer))).collect();
    let (mut booked, mut tasks) = (0, 0);
    for writer in writers {
        let (of_runs, of_tasks) = writer.await??;
        (booked, tasks) = (booked + of_runs, tasks + of_tasks);
    }
    count_all(&ledger).await?;
    ledger.close().await;
    println!("made {machines} machines, {booked} runs, {tasks} tasks done in {:.1?}", start.elapsed());
    Ok(())
}

fn named(number: u64) -> String {
    format!("m{number:04}")
}

fn build_of(builds: &[Build], number: u64) -> &Build {
    &builds[number as usize % builds.len()]
}

/// Makes of each machine of a hall on a server so many with the same history: the entries are copied there, and what follows
/// from them is derived from them as after any damage.
async fn copy(at: &str, times: i64) -> Result<(), Box<dyn std::error::Error>> {
    let start = Instant::now();
    let mut connection = AnyConnection::connect(at).await?;
    let (machines, entries): (i64, i64) =
        sqlx::query_as("select (select max(id) from machine), (select max(id) from entry)")
            .fetch_one(&mut connection)
            .await?;
    for copy in 1..times {
        let mut transaction = connection.begin().await?;
        sqlx::query("insert into machine (id, name) select id + $1, $2 || name from machine where id between 1 and $3")
            .bind(copy * machines)
            .bind(format!("c{copy}"))
            .bind(machines)
            .execute(&mut *transaction)
            .await?;
        sqlx::query(
            "insert into entry (id, machine, kind, at, recorded, corrects, about, body, note, usage, recorded_by, alike) \
             select id + $1, machine + $2, kind, at, recorded, corrects + $1, about, body, note, usage, recorded_by, alike \
             from entry where machine > 0 and id <= $3 order by id",
        )
        .bind(copy * entries)
        .bind(copy * machines)
        .bind(entries)
        .execute(&mut *transaction)
        .await?;
        transaction.commit().await?;
        println!("copy {copy} after {:.1?}", start.elapsed());
    }
    for table in ["machine", "entry"] {
        let text = format!("select setval(pg_get_serial_sequence('{table}', 'id'), (select max(id) from {table}))");
        sqlx::query(AssertSqlSafe(text)).execute(&mut connection).await?;
    }
    let names: Vec<String> =
        sqlx::query_scalar("select name from machine where id > $1").bind(machines).fetch_all(&mut connection).await?;
    let ledger = Ledger::open(at).await?;
    let share = names.len().div_ceil(WRITERS as usize).max(1);
    let derive = |ledger: Ledger, names: Vec<String>| async move {
        for name in names {
            ledger.rebuild(Some(&name)).await?;
        }
        Ok::<_, Error>(())
    };
    let writers: Vec<_> =
        names.chunks(share).map(|names| tokio::spawn(derive(ledger.clone(), names.to_vec()))).collect();
    for writer in writers {
        writer.await??;
    }
    connection.execute("vacuum analyze").await?;
    println!("{} machines more in {:.1?}", names.len(), start.elapsed());
    Ok(())
}

/// Where the room on a server goes.
async fn size(at: &str) -> Result<(), Box<dyn std::error::Error>> {
    let mut connection = AnyConnection::connect(at).await?;
    let runs: i64 =
        sqlx::query_scalar("select count(*) from entry where kind = 'run'").fetch_one(&mut connection).await?;
    let relations: Vec<(String, i64)> = sqlx::query_as(
        "select cast(c.relname as text), pg_relation_size(c.oid) + coalesce(pg_total_relation_size(nullif(c.reltoastrelid, 0)), 0) \
         from pg_class c join pg_namespace n on n.oid = c.relnamespace \
         where n.nspname = current_schema() and c.relkind in ('r', 'i') order by 2 desc",
    )
    .fetch_all(&mut connection)
    .await?;
    let whole: i64 = relations.iter().map(|(_, bytes)| bytes).sum();
    println!("{runs} runs, {:.0} MB, {:.0} bytes to the run", whole as f64 / 1e6, whole as f64 / runs as f64);
    for (name, bytes) in relations.iter().filter(|(_, bytes)| 1_000_000 < *bytes) {
        println!("{name:<28} {:>8.1} MB {:>8.1} bytes to the run", *bytes as f64 / 1e6, *bytes as f64 / runs as f64);
    }
    Ok(())
}

/// Books a run on one machine after another, one each half second.
async fn trickle(at: &str, seconds: u64) -> Result<(), Box<dyn std::error::Error>> {
    let ledger = Ledger::open(at).await?;
    let names: Vec<String> = ledger.machines().await?.into_iter().map(|machine| machine.name).collect();
    let programs = programs(&mut Dice(1));
    let (start, mut dice) = (Instant::now(), Dice(7));
    while start.elapsed().as_secs() < seconds {
        let (label, duty) = &programs[dice.index(programs.len())];
        let name = names[dice.index(names.len())].clone();
        let at = midnight(0)? + SignedDuration::from_micros(dice.below(3_600_000_000).cast_signed());
        ledger.append(NewEntry { machine: name, ..entry(at, Event::Run(run(label, duty, "PLA"))) }).await?;
        tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    }
    Ok(())
}

/// Proves the derived rows of some machines, far apart.
async fn sample(at: &str, machines: usize) -> Result<(), Box<dyn std::error::Error>> {
    let ledger = Ledger::open(at).await?;
    let names: Vec<String> = ledger.machines().await?.into_iter().map(|machine| machine.name).collect();
    let (start, mut entries, mut differences) = (Instant::now(), 0, 0);
    for name in names.iter().step_by(names.len().div_ceil(machines).max(1)) {
        let verdict = ledger.verify_machine(name).await?;
        entries += verdict.entries;
        differences += verdict.differences.len();
    }
    println!("{entries} entries of {machines} machines proved in {:.1?}, {differences} differences", start.elapsed());
    Ok(())
}

/// Three years of one machine: a run on most working days, sometimes two, or `runs` of them evenly, and a few tasks a week.
fn history(
    build: &Build,
    programs: &[(String, Duty)],
    runs: Option<u64>,
    dice: &mut Dice,
) -> Result<Vec<NewEntry>, Box<dyn std::error::Error>> {
    let favourites = [dice.below(8), dice.below(8), dice.below(8)];
    let mut entries = Vec::new();
    for day in -DAYS..0 {
        let morning = midnight(day)? + SignedDuration::from_hours(8);
        let working = (day.rem_euclid(7) as u64) < 5;
        let since = (day + DAYS).cast_unsigned();
        let (of_day, apart) = match runs {
            Some(runs) => ((since + 1) * runs / DAYS.cast_unsigned() - since * runs / DAYS.cast_unsigned(), 3),
            None if working => (1 + dice.below(10) / 7, 5),
            None => (u64::from(dice.below(10) < 1), 5),
        };
        for n in 0..of_day {
            let at = morning + SignedDuration::from_secs((n * apart * 3600 + dice.below(3600)).cast_signed());
            let material = MATERIALS[favourites[dice.index(3)] as usize % MATERIALS.len()];
            let (label, duty) = &programs[dice.index(programs.len())];
            entries.push(entry(at, Event::Run(run(label, duty, material))));
        }
        if dice.below(7) < TASKS_PER_WEEK {
            let task = build.tasks[dice.index(build.tasks.len())].name.clone();
            let at = morning + SignedDuration::from_secs(dice.below(36_000).cast_signed());
            entries.push(entry(at, Event::Done { task, supplies: BTreeMap::new() }));
        }
    }
    Ok(entries)
}

/// Three years of parts replaced on one machine.
fn parts(build: &Build, dice: &mut Dice) -> Result<Vec<NewEntry>, Box<dyn std::error::Error>> {
    let mut entries = Vec::new();
    for day in (-DAYS..0).filter(|_| dice.below(DAYS_PER_PART) == 0).collect::<Vec<_>>() {
        let at = midnight(day)? + SignedDuration::from_hours(20);
        let position = build.positions[dice.index(build.positions.len())].name.clone();
        let because = match dice.below(5) {
            0 => Because::Failed,
            1 => Because::Good,
            _ => Because::Worn,
        };
        if because == Because::Failed {
            let mode = "does not work".to_owned();
            entries.push(entry(at, Event::Failed { position: position.clone(), mode, found: false, mended: false }));
        }
        entries.push(entry(at + SignedDuration::from_mins(20), Event::Replaced { position, because, spare: None }));
    }
    Ok(entries)
}

/// Counts every supply a quarter of a year before the last day.
async fn count_all(ledger: &Ledger) -> Result<(), Box<dyn std::error::Error>> {
    for supply in Supplies::built_in().iter() {
        let (item, amount) = (supply.name.clone(), format!("100000 {}", supply.unit));
        ledger.append(entry(midnight(-COUNTED_AGO)?, Event::Counted(Counted { item, amount }))).await?;
    }
    Ok(())
}

/// What a list of the stores, and one of what to buy, wait for.
async fn stores(at: &str) -> Result<(), Box<dyn std::error::Error>> {
    let ledger = Ledger::open(at).await?;
    for (what, from) in [("stock alone", None), ("with half a year's use", Some(midnight(-WINDOW)?))] {
        for pass in ["first", "again"] {
            let start = Instant::now();
            let items = ledger.stores(from).await?;
            println!("{what}, {pass}: {} items in {:.1?}", items.len(), start.elapsed());
        }
    }
    let start = Instant::now();
    let visits = ledger.visits(TODAY).await?;
    println!("visits: {} in {:.1?}", visits.len(), start.elapsed());
    Ok(())
}

/// Days since the stores were counted.
const COUNTED_AGO: i64 = 91;

const MATERIALS: [&str; 6] = ["PLA", "PETG", "ASA", "ABS", "TPU", "PA-CF"];

fn run(label: &str, duty: &Duty, material: &str) -> Run {
    let material = Material::new(material);
    Run {
        label: format!("{label}.gcode"),
        program: Some(label.repeat(64 / label.len())),
        stopped: None,
        materials: BTreeMap::from([(0, material.clone())]),
        usage: Usage::from_duty(duty, |_| material.clone()),
        basis: Basis::Metered,
        queued: None,
    }
}

fn entry(at: Timestamp, event: Event) -> NewEntry {
    NewEntry { machine: String::new(), at, recorded: at, note: String::new(), event }
}

/// Forty programs of a few hours each; amounts are invented and of the right size.
fn programs(dice: &mut Dice) -> Vec<(String, Duty)> {
    let program = |number: u64| {
        let seconds = 3600.0 * (1.0 + dice.share() * 9.0);
        let mut duty = Duty::default();
        let amounts = duty.tools.entry(0).or_default();
        for &quantity in Quantity::ALL {
            let per_second = match quantity.unit() {
                Unit::Second => 0.9,
                Unit::Metre => 0.035,
                Unit::Kilogram => 6e-6,
                Unit::CubicMetre => 5e-9,
                Unit::Turn | Unit::Count => 2.0,
                Unit::CubicMetrePerSecond => continue,
            };
            amounts[quantity] = seconds * per_second * (0.5 + dice.share());
            if quantity.unit() == Unit::Count {
                amounts[quantity] = amounts[quantity].round();
            }
        }
        (format!("{number:08x}"), duty)
    };
    (0..40).map(program).collect()
}

/// What a due list waits for when the program has just been started.
async fn states(at: &str) -> Result<(), Box<dyn std::error::Error>> {
    let start = Instant::now();
    let ledger = Ledger::open(at).await?;
    println!("open         {:>9.2?}", start.elapsed());
    let start = Instant::now();
    let states = ledger.states(TODAY.checked_sub(jiff::Span::new().days(WINDOW))?).await?;
    let took = start.elapsed();
    let days: usize = states.iter().map(|state| state.days.len()).sum();
    let standings: usize = states.iter().map(|state| state.standings.len()).sum();
    println!("all states   {took:>9.2?}  {} machines, {standings} standings, {days} days", states.len());
    Ok(())
}

/// What one machine costs, to read and to book a run on.
async fn one(at: &str) -> Result<(), Box<dyn std::error::Error>> {
    let ledger = Ledger::open(at).await?;
    let name = ledger.machines().await?.first().ok_or("the shop has no machines")?.name.clone();
    let booked =
        ledger.days(&name, Some(TODAY)).await?.iter().map(|day| day.usage.amount(Quantity::ToolChanges)).sum::<f64>();
    let start = Instant::now();
    ledger.machine_state(&name, TODAY.checked_sub(jiff::Span::new().days(WINDOW))?).await?;
    println!("one state    {:>9.2?}", start.elapsed());
    let programs = programs(&mut Dice(1));
    let mut took = Vec::new();
    for second in 0..200 {
        // Other starts each time that this is run.
        let at = midnight(0)? + SignedDuration::from_secs(second + booked as i64 % 86_000);
        let event = Event::Run(run(&programs[0].0, &programs[0].1, "PLA"));
        let start = Instant::now();
        match ledger.append(NewEntry { machine: name.clone(), ..entry(at, event) }).await {
            Ok(_) => took.push(start.elapsed()),
            Err(Error::AlreadyBooked(_)) => {}
            Err(error) => return Err(error.into()),
        }
    }
    took.sort();
    if let (Some(least), Some(most)) = (took.first(), took.last()) {
        println!(
            "append       {:>9.2?}  median of {}, from {least:.2?} to {most:.2?}",
            took[took.len() / 2],
            took.len()
        );
    }
    ledger.close().await;
    Ok(())
}

/// What lives of parts wait for: how all parts ended, and the use up to each end.
async fn lives(at: &str) -> Result<(), Box<dyn std::error::Error>> {
    let ledger = Ledger::open(at).await?;
    let start = Instant::now();
    let ends = ledger.ends(&BTreeSet::new()).await?;
    println!("all ends     {:>9.2?}  {}", start.elapsed(), ends.values().map(Vec::len).sum::<usize>());
    let end = (midnight(1)?, EntryId(i64::MAX));
    let start = Instant::now();
    let whole = ends.keys().map(|machine| (machine.clone(), BTreeSet::from([end]))).collect();
    ledger.used_before(&whole).await?;
    println!("use at end   {:>9.2?}", start.elapsed());
    let start = Instant::now();
    let marks =
        |entries: &[upkeep::Entry]| entries.iter().skip(1).map(|entry| (entry.at, entry.id)).chain([end]).collect();
    let all: BTreeMap<_, BTreeSet<_>> =
        ends.iter().map(|(machine, entries)| (machine.clone(), marks(entries))).collect();
    ledger.used_before(&all).await?;
    println!("use at ends  {:>9.2?}  {} marks", start.elapsed(), all.values().map(BTreeSet::len).sum::<usize>());
    Ok(())
}

/// What the proof of every derived row costs.
async fn prove(at: &str) -> Result<(), Box<dyn std::error::Error>> {
    let ledger = Ledger::open(at).await?;
    let start = Instant::now();
    let verdict = ledger.verify().await?;
    println!(
        "proof        {:>9.2?}  {} entries, {} differences",
        start.elapsed(),
        verdict.entries,
        verdict.differences.len()
    );
    Ok(())
}

/// The start, in the shop's zone, of the day that many days after the last one.
fn midnight(days: i64) -> Result<Timestamp, jiff::Error> {
    let day = TODAY.checked_add(jiff::Span::new().days(days))?;
    Ok(day.in_tz("Europe/Lisbon")?.timestamp())
}

/// A small generator of even numbers (SplitMix64; Steele, Lea & Flood 2014), so that every run makes the same hall.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: u64) -> u64 {
        self.next() % n
    }

    fn index(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }

    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }
}
