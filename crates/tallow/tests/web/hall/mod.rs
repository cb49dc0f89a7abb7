//! A hall under fault: several servers, workers and ways in on one PostgreSQL, processes and the database killed at any instant.
//! Nothing that was acknowledged is lost, nothing counts twice, and the sums are those of the entries.
//!
//! Small here, so that it runs with all tests; as large as TALLOW_HALL_MACHINES and TALLOW_HALL_KILLS say otherwise
//! (docs/SCALE.md).

mod kept;

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::{Duration, Instant, UNIX_EPOCH};

use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};

use self::kept::{Kept, answers, free_port, tallow};
use crate::harness::{Browser, PHONE};
use crate::plain::{Ask, get, send};
use crate::postgres::Server as Database;
use crate::visit::{DONE, FINISH};

/// How long somebody tries to tell of a run.
const PATIENCE: Duration = Duration::from_secs(120);

/// How long the workers and those who watch may take for what is left when all was told.
const REST: Duration = Duration::from_secs(300);

/// How many different programs the machines run.
const PROGRAMS: usize = 6;

/// How many runs each machine tells of.
const RUNS: usize = 6;

/// A number from the environment.
fn from_environment(name: &str, usual: usize) -> usize {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap_or_else(|_| panic!("{name} is no number: {text}")))
}

/// A hall on a database of its own.
struct Hall {
    /// The database, first so that it outlives nobody who uses it for long.
    database: Database,
    folder: tempfile::TempDir,
    store: String,
    servers: Vec<(String, Kept)>,
    workers: Vec<Kept>,
    watch: Kept,
    machines: Vec<String>,
}

/// A run as the machine knows it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Run {
    machine: String,
    number: usize,
    start: Timestamp,
    program: usize,
}

/// How a run is told of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    /// Its file, metered while the sender waits.
    File,
    /// Its file, for a worker.
    Later,
    /// The hash of its file, and its start and end.
    Hash,
    /// Its file in a watched folder.
    Folder,
}

const WAYS: [Way; 4] = [Way::File, Way::Later, Way::Hash, Way::Folder];

/// A program of its own length: `number` + 20 layers of a wall.
fn program(number: usize) -> String {
    let mut text = "G90\nM83\n".to_owned();
    for layer in 1..=(20 + number) {
        text.push_str(&format!("G1 Z{:.1} F600\nG1 X120 E8 F3000\nG1 X0 E8\n", 0.2 * layer as f64));
    }
    text
}

fn sha256(text: &str) -> String {
    Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}

impl Hall {
    /// The demo, and so many machines more, served twice, with two workers and one who watches a folder.
    fn open(machines: usize) -> Hall {
        let database = Database::start();
        let folder = tempfile::tempdir().unwrap();
        let runtime = tokio::runtime::Runtime::new().unwrap();
        let store = std::thread::scope(|scope| {
            scope.spawn(|| runtime.block_on(database.new_database())).join().expect("a database")
        });
        let files = folder.path().join("files").display().to_string();
        let run = |words: &[&str]| run(&store, &files, words);
        run(&["demo", "--no-serve"]);
        run(&["plan", "--keep", "--seconds", "3"]);
        fs::create_dir(folder.path().join("in")).unwrap();
        let names: Vec<String> = (0..machines).map(|number| format!("berth {number}")).collect();
        for name in &names {
            run(&["machine", "add", name, "--build", "moving-bed", "--when", "5 days ago"]);
            fs::create_dir(folder.path().join("in").join(name)).unwrap();
        }
        let into = folder.path().join("in").display().to_string();
        run(&["way", "folder", "hall", &into, "--pattern", "{machine}/*", "--material", "PLA", "--time", "start"]);
        let servers = (0..2).map(|_| {
            let address = format!("127.0.0.1:{}", free_port());
            let kept = Kept::start(&store, &files, &["serve", "--listen", &address]);
            answers(&address);
            (address, kept)
        });
        let servers = servers.collect();
        let work = ["work", "--at-once", "1", "--hold", "3"];
        let workers = (0..2).map(|_| Kept::start(&store, &files, &work)).collect();
        let watch = Kept::start(&store, &files, &["watch"]);
        Hall { database, folder, store, servers, workers, watch, machines: names }
    }

    fn run(&self, words: &[&str]) -> String {
        run(&self.store, &self.folder.path().join("files").display().to_string(), words)
    }

    fn json(&self, words: &[&str]) -> Value {
        serde_json::from_str(&self.run(&[&["--json"], words].concat())).expect("JSON")
    }

    /// The runs that the machines will tell of, one after another and all over by now.
    #[expect(clippy::disallowed_methods, reason = "jobs are held by the real clock, so the runs are of the real past")]
    fn runs(&self) -> Vec<Run> {
        let first = Timestamp::now() - SignedDuration::from_hours(72);
        let first = Timestamp::from_second(first.as_second()).unwrap();
        let of = |(place, machine): (usize, &String)| -> Vec<Run> {
            let run = |number: usize| Run {
                machine: machine.clone(),
                number,
                start: first + SignedDuration::from_mins(i64::try_from(number * 60 + place % 50).unwrap()),
                program: (place + number) % PROGRAMS,
            };
            (0..RUNS).map(run).collect()
        };
        self.machines.iter().enumerate().flat_map(of).collect()
    }

    /// Tells of a run until it is acknowledged, at one server or the other.
    fn tell(&self, run: &Run, way: Way) {
        if way == Way::Folder {
            return self.put(run);
        }
        let ask = self.request(run, way);
        let until = Instant::now() + PATIENCE;
        let mut heard = None;
        for number in run.number.. {
            let (address, _) = &self.servers[number % self.servers.len()];
            heard = ask.to_address(address);
            if heard.as_ref().is_some_and(|heard| heard.status == 200) {
                return;
            }
            let is_refused = heard.as_ref().is_some_and(|heard| (400..500).contains(&heard.status));
            assert!(!is_refused && Instant::now() < until, "{run:?} by {way:?}: {heard:?}");
            std::thread::sleep(Duration::from_millis(100));
        }
        unreachable!("{heard:?}");
    }

    fn request(&self, run: &Run, way: Way) -> Ask {
        let Run { machine, number, start, program: of } = run;
        let text = program(*of);
        let end = *start + SignedDuration::from_mins(20);
        let label = format!("wall-{of}.gcode");
        let told = json!({
            "once": true, "on": machine, "material": ["PLA"], "label": label, "when": start.to_string(),
            "ended": end.to_string(), "sha256": sha256(&text), "note": format!("run {number}"),
        });
        let encoded = |text: &str| text.bytes().map(|byte| format!("%{byte:02X}")).collect::<String>();
        let query = format!(
            "on={}&material=PLA&label={label}&when={}&ended={}",
            encoded(machine),
            encoded(&start.to_string()),
            encoded(&end.to_string())
        );
        match way {
            Way::Hash => send("/api/run", "application/json", told.to_string()),
            Way::File => send(&format!("/api/run?once=true&{query}"), "text/plain", text),
            Way::Later => send(&format!("/api/run?later=true&{query}"), "text/plain", text),
            Way::Folder => unreachable!("it is put there"),
        }
    }

    fn put(&self, run: &Run) {
        let path: PathBuf = self.folder.path().join("in").join(&run.machine).join(format!("{}.gcode", run.number));
        fs::write(&path, program(run.program)).unwrap();
        let micros = u64::try_from(run.start.as_microsecond()).unwrap();
        let at = UNIX_EPOCH + Duration::from_micros(micros);
        File::options().write(true).open(&path).unwrap().set_modified(at).unwrap();
    }

    /// Tells of all runs by several at once, each by one way and every third by another as well.
    fn tell_all(&self, runs: &[Run]) {
        let next = AtomicUsize::new(0);
        std::thread::scope(|scope| {
            for _ in 0..4 {
                scope.spawn(|| {
                    while let Some(run) = runs.get(next.fetch_add(1, Ordering::SeqCst)) {
                        let place = run.number + run.program;
                        self.tell(run, WAYS[place % WAYS.len()]);
                        if place % 3 == 0 {
                            self.tell(run, WAYS[(place + 1) % WAYS.len()]);
                        }
                    }
                });
            }
        });
    }

    /// Kills one after another, each at another instant, until all was told and as often as was asked; whoever ended is started
    /// again meanwhile.
    fn kill(&self, kills: usize, victims: &[Victim], is_over: &AtomicBool) -> usize {
        let mut killed = 0;
        while killed < kills || !is_over.load(Ordering::SeqCst) {
            if killed < kills {
                // Another instant each time, by a multiplier that shares nothing with the pauses of those who are killed.
                std::thread::sleep(Duration::from_millis(150 + (killed as u64 * 379) % 450));
                let which = killed / victims.len() % 2;
                match victims[killed % victims.len()] {
                    Victim::Server => self.servers[which].1.kill(),
                    Victim::Worker => self.workers[which].kill(),
                    Victim::Watch => self.watch.kill(),
                    Victim::Database => self.database.crash(),
                }
                killed += 1;
            } else {
                std::thread::sleep(Duration::from_millis(200));
            }
            self.look_after();
        }
        killed
    }

    fn look_after(&self) {
        self.servers.iter().map(|(_, kept)| kept).chain(&self.workers).chain([&self.watch]).for_each(Kept::look_after);
    }

    /// Waits until nothing is left to be done, and proves that every run that was told of counts once and nothing else does.
    fn prove(&self, runs: &[Run]) {
        let wanted: BTreeSet<(String, String)> =
            runs.iter().map(|run| (run.machine.clone(), run.start.to_string())).collect();
        let until = Instant::now() + REST;
        loop {
            self.look_after();
            let jobs = self.json(&["job", "--most", "100000"]);
            let given_up: Vec<&Value> =
                jobs.as_array().unwrap().iter().filter(|job| job["stands"] == "given up").collect();
            assert!(given_up.is_empty(), "{given_up:#?}");
            let are_done = jobs.as_array().unwrap().iter().all(|job| job["stands"] == "done");
            let standing = self.standing();
            if are_done && standing.keys().cloned().collect::<BTreeSet<_>>() == wanted {
                break;
            }
            let lacking: Vec<_> = wanted.iter().filter(|run| !standing.contains_key(*run)).collect();
            assert!(Instant::now() < until, "not there: {lacking:#?}");
            std::thread::sleep(Duration::from_millis(500));
        }
        let standing = self.standing();
        let twice: Vec<_> = standing.iter().filter(|(_, count)| **count != 1).collect();
        assert!(twice.is_empty(), "{twice:#?}");
        assert_eq!(self.json(&["shop", "verify"])["differences"], json!([]));
    }

    /// How often each run of the hall's machines counts.
    fn standing(&self) -> BTreeMap<(String, String), usize> {
        let mut standing = BTreeMap::new();
        for machine in &self.machines {
            let history = self.json(&["history", machine, "--most", "10000"]);
            let is_run = |entry: &&Value| entry["kind"] == "run" && entry["replaced_by"].is_null();
            for entry in history.as_array().unwrap().iter().filter(is_run) {
                *standing.entry((machine.clone(), entry["at"].as_str().unwrap().to_owned())).or_default() += 1;
            }
        }
        standing
    }
}

/// Who is killed.
#[derive(Clone, Copy)]
enum Victim {
    Server,
    Worker,
    Watch,
    Database,
}

/// Says that all was told, also when telling it failed.
struct Over<'a>(&'a AtomicBool);

impl Drop for Over<'_> {
    fn drop(&mut self) {
        self.0.store(true, Ordering::SeqCst);
    }
}

/// Who is killed in a morning.
const MORNING: [Victim; 4] = [Victim::Worker, Victim::Database, Victim::Worker, Victim::Database];

/// Who is killed in turn.
const ALL: [Victim; 4] = [Victim::Server, Victim::Database, Victim::Worker, Victim::Watch];

fn run(store: &str, files: &str, words: &[&str]) -> String {
    // The database may just be starting again.
    for _ in 0..50 {
        let done = tallow(store, files).args(words).output().expect("tallow starts");
        if done.status.success() {
            return String::from_utf8(done.stdout).expect("UTF-8");
        }
        let told = String::from_utf8_lossy(&done.stderr).into_owned();
        assert!(told.contains("can't be opened") || told.contains("no answer"), "{words:?}: {told}");
        std::thread::sleep(Duration::from_millis(200));
    }
    panic!("{words:?}: the database does not come back");
}

/// 500 machines by command, 10 here; a worker and the database are each killed twice while keepers tick visits.
#[test]
fn a_halls_morning_loses_nothing_and_counts_nothing_twice() {
    let hall = Hall::open(from_environment("TALLOW_HALL_MACHINES", 10));
    let runs = hall.runs();
    let is_over = AtomicBool::new(false);
    let visits = hall.json(&["visit"]);
    let numbers: Vec<i64> = visits.as_array().unwrap().iter().filter_map(|visit| visit["visit"].as_i64()).collect();
    std::thread::scope(|scope| {
        let over = Over(&is_over);
        let chaos = scope.spawn(|| hall.kill(MORNING.len(), &MORNING, &is_over));
        let keepers: Vec<_> = (0..2)
            .map(|keeper| {
                let (address, number) = (hall.servers[keeper].0.clone(), numbers[keeper]);
                scope.spawn(move || walk(&address, number))
            })
            .collect();
        hall.tell_all(&runs);
        keepers.into_iter().for_each(|keeper| keeper.join().expect("a visit is walked"));
        drop(over);
        assert_eq!(chaos.join().expect("all were killed"), MORNING.len());
    });
    hall.prove(&runs);
    for number in &numbers[..2] {
        let visit = hall.json(&["visit"]);
        let still = visit.as_array().unwrap().iter().any(|visit| visit["visit"] == *number && visit["took"].is_null());
        assert!(!still, "visit {number} was finished on its page and is not booked");
    }
}

/// Ticks a visit off in a browser, task by task, and finishes it.
fn walk(address: &str, number: i64) {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        let browser = Browser::open(PHONE).await;
        let page = format!("http://{address}/visits/{number}");
        let until = Instant::now() + PATIENCE;
        loop {
            browser.go(&page).await;
            if browser.ask("return document.querySelector('section.step') !== null").await == true {
                break;
            }
            assert!(Instant::now() < until, "visit {number}:\n{}", browser.text().await);
            tokio::time::sleep(Duration::from_millis(300)).await;
        }
        while browser.ask("return document.activeElement?.textContent !== 'Finish'").await == true {
            assert!(Instant::now() < until, "visit {number}:\n{}", browser.text().await);
            browser.tap(DONE).await;
            tokio::time::sleep(Duration::from_millis(400)).await;
        }
        browser.tap(FINISH).await;
        browser.until_shown("Finished").await;
        browser.close().await;
    });
}

/// 1,000 kills by command, 30 here, of servers, workers, whoever watches, and the database.
#[test]
fn kills_at_any_instant_lose_nothing_that_was_acknowledged() {
    let kills = from_environment("TALLOW_HALL_KILLS", 30);
    let hall = Hall::open(kills.div_ceil(5).max(6));
    let runs = hall.runs();
    let is_over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let over = Over(&is_over);
        let chaos = scope.spawn(|| hall.kill(kills, &ALL, &is_over));
        hall.tell_all(&runs);
        drop(over);
        assert_eq!(chaos.join().expect("all were killed"), kills);
    });
    hall.prove(&runs);
}

/// How long an answer may take that says that the database does not answer: what waits for a connection gives up after 5 s.
const TOLD_WITHIN: Duration = Duration::from_secs(30);

#[test]
fn a_database_that_does_not_answer_is_told_of_and_waited_for() {
    let hall = Hall::open(1);
    let (address, _) = &hall.servers[0];
    hall.database.signal("STOP");
    for (path, kind) in [("/api/machine/list", "application/problem+json"), ("/machines", "text/html; charset=utf-8")] {
        let heard = get(path).to_address(address).expect("an answer");
        assert_eq!((heard.status, heard.header("content-type")), (503, Some(kind)), "{}", heard.body);
        assert!(heard.body.contains("no answer from the database"), "{}", heard.body);
        assert!(heard.took < TOLD_WITHIN, "{:?}", heard.took);
    }
    hall.database.signal("CONT");
    answers(address);
    let runs = hall.runs();
    hall.tell_all(&runs);
    hall.prove(&runs);
}
