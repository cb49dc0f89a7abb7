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
use crate::broker::Broker;
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

/// The program of an hour that stands for the runs of a machine of which only its hour meter tells.
const LONG: usize = PROGRAMS;

/// What the hour meters of such machines show, h, and how long after the first run they show it, h.
const HOURS: [(f64, i64); 4] = [(100.0, 0), (102.5, 10), (106.0, 20), (111.0, 30)];

/// By how much the hours of a machine may differ from its meter's, h: what the program leaves as it is.
const HOURS_LEFT: f64 = 0.05;

/// In how many pieces the table of print history comes.
const TABLES: usize = 3;

/// What the messages of the hall mean.
const MAP: &str = r#"
material = ["PLA"]

[[start]]
topic = "hall/{machine}/began"
time = "/at"
label = "/label"
sha256 = "/sum"

[[end]]
topic = "hall/{machine}/over"
time = "/at"
start = "/start"

[[hour-meter]]
topic = "hall/{machine}/hours"
hours = "/shown"
time = "/at"
"#;

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
    broker: Broker,
    machines: Vec<String>,
    /// Machines of which nothing is told but what their hour meters show.
    metered: Vec<String>,
}

/// A run as the machine knows it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Run {
    machine: String,
    number: usize,
    start: Timestamp,
    program: usize,
    /// The ways by which it comes, one or two.
    ways: Vec<Way>,
}

/// How a run is told of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Way {
    /// Its file, metered while the sender waits.
    File,
    /// Its file, for a worker.
    Later,
    /// The hash of its file, and its start and end.
    Hash,
    /// Its file in a watched folder.
    Folder,
    /// Messages over MQTT of its start and its end.
    Messages,
    /// A row of a table of print history.
    Table,
}

const WAYS: [Way; 6] = [Way::File, Way::Later, Way::Hash, Way::Folder, Way::Messages, Way::Table];

/// A program of its own length: `number` + 20 layers of a wall; the long one then waits for an hour.
fn program(number: usize) -> String {
    let mut text = "G90\nM83\n".to_owned();
    if number == LONG {
        text.push_str("G4 S3600\n");
    }
    for layer in 1..=(20 + number) {
        text.push_str(&format!("G1 Z{:.1} F600\nG1 X120 E8 F3000\nG1 X0 E8\n", 0.2 * layer as f64));
    }
    text
}

fn sha256(text: &str) -> String {
    Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}

impl Hall {
    /// The demo, and so many machines more, served twice, with two workers and one who watches a folder and listens to a broker.
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
        let metered: Vec<String> =
            (0..machines.div_ceil(10).max(2)).map(|number| format!("mooring {number}")).collect();
        for name in &metered {
            run(&["machine", "add", name, "--build", "moving-bed", "--when", "5 days ago"]);
        }
        let into = folder.path().join("in").display().to_string();
        run(&["way", "folder", "hall", &into, "--pattern", "{machine}/*", "--material", "PLA", "--time", "start"]);
        let broker = Broker::new();
        let map = folder.path().join("hall.toml");
        fs::write(&map, MAP).unwrap();
        run(&["way", "mqtt", "messages", &broker.address(), "--map", &map.display().to_string()]);
        // The broker must know of the listener before it keeps anything for it.
        run(&["watch", "messages", "--until-idle"]);
        run(&[
            "way",
            "table",
            "history",
            "--machine-column",
            "Machine",
            "--material",
            "PLA",
            "--start",
            "Start",
            "--end",
            "End",
            "--label",
            "Label",
            "--sha256",
            "Sum",
        ]);
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
        Hall { database, folder, store, servers, workers, watch, broker, machines: names, metered }
    }

    fn run(&self, words: &[&str]) -> String {
        run(&self.store, &self.folder.path().join("files").display().to_string(), words)
    }

    fn json(&self, words: &[&str]) -> Value {
        serde_json::from_str(&self.run(&[&["--json"], words].concat())).expect("JSON")
    }

    /// The instant of the first runs: three days ago.
    #[expect(clippy::disallowed_methods, reason = "jobs are held by the real clock, so the runs are of the real past")]
    fn first() -> Timestamp {
        let first = Timestamp::now() - SignedDuration::from_hours(72);
        Timestamp::from_second(first.as_second()).unwrap()
    }

    /// The runs that the machines will tell of, one after another and all over by now: each by one way, every third by another as
    /// well.
    fn runs(&self, first: Timestamp) -> Vec<Run> {
        let of = |(place, machine): (usize, &String)| -> Vec<Run> {
            let run = |number: usize| Run {
                machine: machine.clone(),
                number,
                start: first + SignedDuration::from_mins(i64::try_from(number * 60 + place % 50).unwrap()),
                program: (place + number) % PROGRAMS,
                ways: [0, 1 + place % (WAYS.len() - 1)]
                    .into_iter()
                    .take(if (place + 2 * number).is_multiple_of(3) { 2 } else { 1 })
                    .map(|further| WAYS[(place + number + further) % WAYS.len()])
                    .collect(),
            };
            (0..RUNS).map(run).collect()
        };
        self.machines.iter().enumerate().flat_map(of).collect()
    }

    /// A run of a machine of which so far its hour meter alone has told, within what that showed.
    fn late_run(&self, first: Timestamp) -> Run {
        let start = first + SignedDuration::from_hours(12);
        Run { machine: self.metered[0].clone(), number: 0, start, program: LONG, ways: vec![Way::File] }
    }

    /// Tells of a run until it is acknowledged, at one server or the other.
    fn tell(&self, run: &Run, way: Way) {
        let ask = match way {
            Way::Folder => return self.put(run),
            // They come by themselves, one after another.
            Way::Messages | Way::Table => return,
            way => self.request(run, way),
        };
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
        let Run { machine, number, start, program: of, .. } = run;
        let (text, end, label) = (program(*of), run.end(), run.label());
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
            Way::Folder | Way::Messages | Way::Table => unreachable!("it is no request"),
        }
    }

    fn put(&self, run: &Run) {
        let path: PathBuf = self.folder.path().join("in").join(&run.machine).join(format!("{}.gcode", run.number));
        fs::write(&path, program(run.program)).unwrap();
        let micros = u64::try_from(run.start.as_microsecond()).unwrap();
        let at = UNIX_EPOCH + Duration::from_micros(micros);
        File::options().write(true).open(&path).unwrap().set_modified(at).unwrap();
    }

    /// Publishes what machines say over MQTT: each its starts and ends in their order, and what hour meters show. The broker
    /// acknowledges it.
    fn publish(&self, runs: &[Run], first: Timestamp) {
        for run in runs.iter().filter(|run| run.ways.contains(&Way::Messages)) {
            let Run { machine, start, program: of, .. } = run;
            let began = json!({ "at": start.to_string(), "label": run.label(), "sum": sha256(&program(*of)) });
            self.broker.publish(&format!("hall/{machine}/began"), &began.to_string());
            let over = json!({ "at": run.end().to_string(), "start": start.to_string() });
            self.broker.publish(&format!("hall/{machine}/over"), &over.to_string());
        }
        for (shown, after) in HOURS {
            let at = (first + SignedDuration::from_hours(after)).to_string();
            for machine in &self.metered {
                let payload = json!({ "at": at, "shown": shown }).to_string();
                self.broker.publish(&format!("hall/{machine}/hours"), &payload);
            }
        }
    }

    /// Imports the table of print history, piece by piece; a piece of which it is not known whether it was taken is imported again.
    fn import(&self, runs: &[Run]) {
        let rows: Vec<&Run> = runs.iter().filter(|run| run.ways.contains(&Way::Table)).collect();
        for (number, piece) in rows.chunks(rows.len().div_ceil(TABLES).max(1)).enumerate() {
            let mut text = "Machine,Start,End,Label,Sum\n".to_owned();
            for run in piece {
                let sum = sha256(&program(run.program));
                text.push_str(&format!("{},{},{},{},{sum}\n", run.machine, run.start, run.end(), run.label()));
            }
            let table = self.folder.path().join(format!("history-{number}.csv"));
            fs::write(&table, text).unwrap();
            let said = self.json(&["import", &table.display().to_string(), "--by", "history", "--book"]);
            let taken: u64 = ["new", "already", "refined"].iter().map(|key| said[key].as_u64().unwrap()).sum();
            assert_eq!((taken, &said["bad_rows"]), (piece.len() as u64, &json!(0)), "{said:#}");
        }
    }

    /// Tells of all runs by several at once, each by its ways; last comes the file of a run that only an hour meter told of.
    fn tell_all(&self, runs: &[Run], first: Timestamp) {
        let next = AtomicUsize::new(0);
        std::thread::scope(|scope| {
            scope.spawn(|| self.publish(runs, first));
            scope.spawn(|| self.import(runs));
            for _ in 0..4 {
                scope.spawn(|| {
                    while let Some(run) = runs.get(next.fetch_add(1, Ordering::SeqCst)) {
                        run.ways.iter().for_each(|way| self.tell(run, *way));
                    }
                });
            }
        });
        self.tell(&self.late_run(first), Way::File);
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

    /// Waits until nothing is left to be done, and proves that every run that was told of counts once and nothing else does, and
    /// that machines of which hour meters told have run for so long.
    fn prove(&self, runs: &[Run], first: Timestamp) {
        let wanted: BTreeSet<(String, String)> = runs
            .iter()
            .chain([&self.late_run(first)])
            .map(|run| (run.machine.clone(), run.start.to_string()))
            .collect();
        let until = Instant::now() + REST;
        loop {
            self.look_after();
            let jobs = self.json(&["job", "--most", "100000"]);
            let given_up: Vec<&Value> =
                jobs.as_array().unwrap().iter().filter(|job| job["stands"] == "given up").collect();
            assert!(given_up.is_empty(), "{given_up:#?}");
            let are_done = jobs.as_array().unwrap().iter().all(|job| job["stands"] == "done");
            let standing = self.standing();
            let hours = self.hours();
            if are_done && standing.keys().cloned().collect::<BTreeSet<_>>() == wanted && hours.iter().all(are_shown) {
                break;
            }
            let lacking: Vec<_> = wanted.iter().filter(|run| !standing.contains_key(*run)).collect();
            let surplus: Vec<_> = standing.keys().filter(|run| !wanted.contains(*run)).collect();
            let is_in_time = Instant::now() < until;
            assert!(is_in_time, "not there: {lacking:#?}; not told of: {surplus:#?}; hours {hours:?}; jobs {jobs:#}");
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
        for machine in self.machines.iter().chain(&self.metered) {
            let history = self.json(&["history", machine, "--most", "10000"]);
            let is_run = |entry: &&Value| entry["kind"] == "run" && entry["replaced_by"].is_null();
            for entry in history.as_array().unwrap().iter().filter(is_run) {
                *standing.entry((machine.clone(), entry["at"].as_str().unwrap().to_owned())).or_default() += 1;
            }
        }
        standing
    }

    /// For how long each machine has run of which an hour meter told, h.
    fn hours(&self) -> Vec<f64> {
        let of = |machine: &String| {
            let shown = self.json(&["machine", "show", machine]);
            let streams = shown["total"].as_array().unwrap().iter();
            streams.filter_map(|stream| stream["amounts"]["time"].as_f64()).sum::<f64>() / 3600.0
        };
        self.metered.iter().map(of).collect()
    }
}

impl Run {
    fn end(&self) -> Timestamp {
        let minutes = if self.program == LONG { 65 } else { 20 };
        self.start + SignedDuration::from_mins(minutes)
    }

    fn label(&self) -> String {
        format!("wall-{}.gcode", self.program)
    }
}

/// Whether a machine has run for as long as its hour meter showed.
fn are_shown(hours: &f64) -> bool {
    let shown = HOURS[HOURS.len() - 1].0 - HOURS[0].0;
    (hours - shown).abs() <= HOURS_LEFT
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
const MORNING: [Victim; 5] = [Victim::Worker, Victim::Database, Victim::Watch, Victim::Worker, Victim::Database];

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

/// 500 machines by command, 10 here; a worker and the database are each killed twice, and whoever watches once, while keepers tick
/// visits.
#[test]
fn a_halls_morning_loses_nothing_and_counts_nothing_twice() {
    let hall = Hall::open(from_environment("TALLOW_HALL_MACHINES", 10));
    let first = Hall::first();
    let runs = hall.runs(first);
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
        hall.tell_all(&runs, first);
        keepers.into_iter().for_each(|keeper| keeper.join().expect("a visit is walked"));
        drop(over);
        assert_eq!(chaos.join().expect("all were killed"), MORNING.len());
    });
    hall.prove(&runs, first);
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
    let first = Hall::first();
    let runs = hall.runs(first);
    let is_over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let over = Over(&is_over);
        let chaos = scope.spawn(|| hall.kill(kills, &ALL, &is_over));
        hall.tell_all(&runs, first);
        drop(over);
        assert_eq!(chaos.join().expect("all were killed"), kills);
    });
    hall.prove(&runs, first);
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
    let first = Hall::first();
    let runs = hall.runs(first);
    hall.tell_all(&runs, first);
    hall.prove(&runs, first);
}
